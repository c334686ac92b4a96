"""/v1/suppliers: whose catalogues were audited, and what their deliveries came to, one after the other."""

from typing import Final

from litestar import Response, get

from fitsvc.audits.scorecard import Delivery, by_supplier, deliveries_of
from fitsvc.document import Document
from fitsvc.service.audits.private import may_see
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.replies import reply

_MOST: Final = 24
"""Deliveries of a supplier that are told, the last ones."""
_SUPPLIERS: Final = Operation(
    id="list_suppliers",
    summary="List suppliers by their audits",
    about=(
        "Whose catalogues were audited, by the audits' names: the one with the largest share of false claims in its "
        f"last delivery first, each with its last {_MOST} deliveries, the newest first. Those audits count that the "
        "caller may see."
    ),
    tag="Audits",
    gives="Suppliers",
)


@get("/v1/suppliers", opt=_SUPPLIERS.opt, sync_to_thread=True)
def suppliers(request: AnyRequest) -> Response[bytes]:
    """Give the suppliers."""
    query_of(request)
    listed = by_supplier(seen_by(request))
    found = [
        {"supplier": one[-1].supplier, "deliveries": [_told(each) for each in one[: -_MOST - 1 : -1]]} for one in listed
    ]
    return reply({"suppliers": found})


def seen_by(request: AnyRequest) -> list[Delivery]:
    """Return the deliveries whose audits the caller may see."""
    return deliveries_of(one.out for one in service_of(request).audits.finished() if may_see(request, one))


def _told(one: Delivery) -> Document:
    names = ("file", "day", "rows", "judged", "claims", "false", "open", "fixes")
    return {"audit": one.out.parent.name, **{name: getattr(one, name) for name in names}}
