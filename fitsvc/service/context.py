"""What every handler of one service shares: its store, its rulebook's answerer, and what is made from the two once."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, cast

from litestar import Litestar, Request
from litestar.connection import ASGIConnection

from fitsvc.answers.answering import Answerer
from fitsvc.answers.borders import Borders
from fitsvc.caching import LruCache
from fitsvc.inventory.shelf import Shop
from fitsvc.planning.planner import Planner
from fitsvc.service.audits.folder import Audits
from fitsvc.service.counter.lookup import Library
from fitsvc.service.metrics import Metrics
from fitsvc.service.published import Followed
from fitsvc.service.reporting import Nightly
from fitsvc.service.rule_trials import RuleTrials
from fitsvc.service.selecting import Selections
from fitsvc.service.settings import Operator
from fitsvc.service.threads import Threads
from fitsvc.store.database import Database
from fitsvc.tongues import Tongue, tongue

AnyRequest = Request[Any, Any, Any]
_KEY: Final = "service"
_MOST_TONGUES: Final = 8


@dataclass(frozen=True, slots=True)
class Description:
    """The API's OpenAPI document as it is sent, with its entity tag."""

    body: bytes
    tag: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """One running service, whole before its first request.

    An audit's file may have `audit_bytes`, schedules are carried out as `nightly` says, and what is `public` needs no
    key. `published` says which rulebook is in force, where that may change. `tongues` are the languages to choose from,
    each by its code and its own name.
    """

    database: Database
    judge: Answerer
    metrics: Metrics
    shop: Shop
    planner: Planner
    selections: Selections
    rule_trials: RuleTrials
    audits: Audits
    audit_bytes: int
    nightly: Nightly
    public: frozenset[str]
    max_age: int
    description: Description
    operator: Operator
    published: Followed | None
    tongues: Sequence[tuple[str, str]]
    borders: Borders
    threads: Threads = field(default_factory=Threads)
    libraries: LruCache[Tongue, Library] = field(default_factory=lambda: LruCache(_MOST_TONGUES))

    @property
    def answerer(self) -> Answerer:
        """What answers in the language that is spoken now."""
        return self.judge.spoken

    @property
    def library(self) -> Library:
        """The rulebook as its pages tell it in the language that is spoken now."""
        return self.libraries.get(tongue(), lambda: Library(self.answerer.rulebook, self.borders))


def keep(service: Service, app: Litestar) -> None:
    """Let an application's handlers find their service."""
    app.state[_KEY] = service


def service_in(app: Litestar) -> Service:
    """Return the service that an application serves; nothing else reads the application's state."""
    return cast(Service, app.state[_KEY])


def service_of(connection: ASGIConnection[Any, Any, Any, Any]) -> Service:
    """Return the service that a request came to."""
    return service_in(connection.app)
