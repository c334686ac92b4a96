"""API keys: reading and answering are open, writing needs one."""

from typing import Any, Final

from anyio import to_thread
from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler

from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.problems import problem
from fitsvc.store.api_keys import check_key

HEADER: Final = "X-API-Key"
_CHALLENGE: Final = {"WWW-Authenticate": 'ApiKey realm="fitsvc", header="X-API-Key"'}


async def needs_key(connection: ASGIConnection[Any, Any, Any, Any], _: BaseRouteHandler) -> None:
    """Let only callers with a valid key through, others get a problem; note the key's name for who tells facts."""
    given = connection.headers.get(HEADER.lower())
    if given is None:
        raise problem(
            401,
            f"changing what is stored needs an API key in the header `{HEADER}`",
            headers=_CHALLENGE,
            code="key-missing",
        )
    name = await to_thread.run_sync(holder_of, service_of(connection), given)
    if name is None:
        raise problem(401, f"the API key in `{HEADER}` is unknown or revoked", headers=_CHALLENGE)
    connection.state["key_name"] = name


def key_name(request: AnyRequest) -> str:
    """Return the name of the key a request came with."""
    return str(request.state["key_name"])


def holder_of(service: Service, given: str) -> str | None:
    """Return the name of the key that a text is, or None where it is none that may be used."""
    with service.database.session() as session:
        key = check_key(session, given)
        return key.name if key else None
