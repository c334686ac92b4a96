"""What every handler of one service shares: its database, its rulebook's answerer and its counters."""

from dataclasses import dataclass
from typing import Any, cast

from litestar import Request
from litestar.connection import ASGIConnection

from fitsvc.answers.answering import Answerer
from fitsvc.inventory.shelf import Shop
from fitsvc.service.metrics import Metrics
from fitsvc.store.database import Database

AnyRequest = Request[Any, Any, Any]


@dataclass(frozen=True, slots=True)
class Service:
    """One running service."""

    database: Database
    answerer: Answerer
    metrics: Metrics
    shop: Shop


def service_of(connection: ASGIConnection[Any, Any, Any, Any]) -> Service:
    """Return the service that a request came to."""
    return cast(Service, connection.app.state["service"])
