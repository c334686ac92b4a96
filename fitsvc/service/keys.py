"""API keys: what each caller may do. What an operator has opened needs none; nothing is changed without one."""

from dataclasses import dataclass
from typing import Any, Final

from anyio import to_thread
from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler

from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.operations import Operation
from fitsvc.service.problems import problem
from fitsvc.store.api_keys import check_key, may
from fitsvc.store.written import Write
from fitsvc.tongues import t

HEADER: Final = "X-API-Key"
_CHALLENGE: Final = {"WWW-Authenticate": 'ApiKey realm="fitsvc", header="X-API-Key"'}
_OPEN_PAGES: Final = ("/docs", "/problems", "/counter", "/guide")
"""Pages that show nothing of what is stored."""
_STORED_PAGES: Final = ("/records", "/edit", "/remarks", "/worklist", "/whatif")
"""Pages that show what is stored as it is."""
_HOLDER: Final = "holder"


@dataclass(frozen=True, slots=True)
class Holder:
    """Whose key a request came with, and whether it sees what is others'."""

    name: str
    administers: bool = False


async def admitted(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Let in whoever may do what the route is for, and note whose key it is; others get a problem."""
    operation: Operation | None = handler.opt.get("operation")
    scope = operation.needs if operation else _of_page(connection.url.path)
    changes = operation is not None and operation.needs_key
    given, service = connection.headers.get(HEADER.lower()), service_of(connection)
    if not scope or (given is None and not changes and scope in service.public):
        return
    if given is None:
        told = t("this needs an API key in the header `{header}` that may `{scope}`", header=HEADER, scope=scope)
        raise problem(401, told, headers=_CHALLENGE, code="key-missing")
    found = await to_thread.run_sync(_holder, service, given, scope)
    if found is None:
        raise problem(
            401, t("the API key in `{header}` is unknown, revoked or has expired", header=HEADER), headers=_CHALLENGE
        )
    if isinstance(found, str):
        raise problem(
            403,
            t("the API key in `{header}` may not `{scope}`: it may {found}", header=HEADER, scope=scope, found=found),
        )
    connection.state[_HOLDER] = found


def holder(request: AnyRequest) -> Holder | None:
    """Return whose key a request came with; None where it came with none, and needed none."""
    found: Holder | None = request.state.get(_HOLDER)
    return found


def key_name(request: AnyRequest) -> str:
    """Return the name of the key a request came with."""
    found = holder(request)
    assert found is not None, "a route that asks whose key it is needs one"
    return found.name


def write_of(request: AnyRequest) -> Write:
    """Return who writes with a request, for the log."""
    return Write(by=key_name(request), request=str(request.scope.get("request_id", "")))


def holder_of(service: Service, given: str, scope: str = "record") -> str | None:
    """Return the name of the key that a text is, or None where it is none that may be used for something."""
    found = _holder(service, given, scope)
    return found.name if isinstance(found, Holder) else None


def _holder(service: Service, given: str, scope: str) -> Holder | str | None:
    """Whose key a text is; what it may do instead; or None where it is none."""
    with service.database.session() as session:
        key = check_key(session, given)
        if key is None:
            return None
        return Holder(key.name, may(key, "administer")) if may(key, scope) else key.scopes.replace(",", ", ")


def _of_page(path: str) -> str:
    """What a page for people needs."""
    if path.startswith(_OPEN_PAGES):
        return ""
    if path.startswith(_STORED_PAGES):
        return "read"
    return "audit" if path.startswith(("/audits", "/intake")) else "ask"
