"""What an operator sets of a service; each has a default that suits one service behind one balancer."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from fitsvc.service.reporting import Nightly
from fitsvc.service.signing import Hooks

KEEP_ALIVE: Final = 75
"""Seconds: a balancer usually lets go of an idle connection after 60, and must be the first of the two to do so."""
HEADER_SECONDS: Final = 10
BODY_SECONDS: Final = 30
SLOWEST: Final = 10_000
"""Bytes a second that a body comes at, at least, once `body_seconds` have passed: a slow telephone's."""
INSIDE: Final = 256
"""Requests: on one core they are answered within some seconds, and who would wait longer does better to ask again."""

OPEN: Final = frozenset({"ask", "read", "audit"})
"""The scopes that a service may open to callers without a key; nothing is changed without one."""


RECORD_DAYS: Final = 90
"""Long enough to look back over a season of complaints, and no longer than that needs (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Operator:
    """Whose service it is: the shop's name, the line below it on sheets, and the address that customers reach it by.

    Each is empty where it is not set; the address of a page is then the one that it was asked for by.
    """

    name: str = ""
    heading: str = ""
    address: str = ""


_NOBODY: Final = Operator()
_NO_HOOKS: Final = Hooks()
_NO_NIGHTLY: Final = Nightly()


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """One service's settings.

    What is `public` needs no key: of `OPEN`, none unless the operator says so, but on the loopback address. `hosts` are
    the names it answers to, in small letters and without a port, none for any; `proxies` the addresses and networks of
    those who hand requests on, and may say for whom; `origins` the pages of other sites whose
    scripts may ask, `*` for all. A caller may send `per_minute` requests, 0 for any number. A cache may
    keep for `max_age` seconds what it would else ask about each time. At most `inside` requests
    are worked on or wait at a time. So many `workers`, processes, answer on the one address, and each has its own
    counts of what is inside and what a caller has sent. With `traces` each request is a span of OpenTelemetry. The
    addresses of `hooks` are told what changed; schedules are carried out as `nightly` says. With a folder to `record`
    in, a `record_share` (0 to 1) of what is asked and answered is kept there, for `record_days`, without what the facts
    `record_without` are.
    """

    public: frozenset[str] = OPEN
    hosts: tuple[str, ...] = ()
    proxies: tuple[str, ...] = ()
    origins: tuple[str, ...] = ()
    inside: int = INSIDE
    workers: int = 1
    keep_alive: int = KEEP_ALIVE
    header_seconds: float = HEADER_SECONDS
    body_seconds: float = BODY_SECONDS
    per_minute: int = 0
    max_age: int = 0
    log: Literal["text", "json"] = "text"
    traces: bool = False
    operator: Operator = _NOBODY
    hooks: Hooks = _NO_HOOKS
    nightly: Nightly = _NO_NIGHTLY
    record: Path | None = None
    record_share: float = 1.0
    record_days: int = RECORD_DAYS
    record_without: frozenset[str] = frozenset()
