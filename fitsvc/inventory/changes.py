"""What changed in the store since it was last looked at, told by the numbers of its observations.

On PostgreSQL a number is given when an observation is written and seen when its transaction ends, so a lower one
can appear after a higher one. Numbers passed over are therefore looked for again, for as long as a transaction
may take.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import monotonic
from typing import Final, NamedTuple

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from fitsvc.store.database import Database
from fitsvc.store.tables import Observation
from fitsvc.subjects import Subject

LONGEST_TRANSACTION: Final = 3600.0
"""Seconds after which a number passed over is taken to be one that was never stored."""
_MOST_GAPS: Final = 50

_SEQUENCE = col(Observation.sequence)
_NEWEST = select(func.max(_SEQUENCE))
_COUNT = select(func.count(_SEQUENCE), func.min(_SEQUENCE), func.max(_SEQUENCE))


class Gap(NamedTuple):
    """Numbers passed over, both ends among them, and until when they are looked for."""

    low: int
    high: int
    until: float


@dataclass(frozen=True, slots=True)
class Watermark:
    """How far a store has been seen: its newest observation, and the numbers passed over."""

    newest: int = 0
    gaps: tuple[Gap, ...] = ()


@contextmanager
def steady(database: Database) -> Iterator[Session]:
    """Give a session in which every query sees the store as it was at the first."""
    with database.session() as session:
        connection = session.connection()
        sqlite = connection.dialect.name == "sqlite"
        connection.exec_driver_sql("BEGIN" if sqlite else "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield session


def seen_all(session: Session) -> Watermark:
    """Return how far the store is seen by one who reads all of it now."""
    count, least, most = session.exec(_COUNT).one()
    if not count or (least == 1 and most == count):  # none is passed over: to find those takes ten times as long
        return Watermark(most or 0)
    before = func.lag(_SEQUENCE, 1, 0).over(order_by=_SEQUENCE)
    steps = select(_SEQUENCE.label("number"), before.label("before")).subquery()
    passed = select(steps.c.before, steps.c.number).where(steps.c.number > steps.c.before + 1)
    until = monotonic() + LONGEST_TRANSACTION
    gaps = [Gap(low + 1, high - 1, until) for low, high in session.exec(passed.order_by(steps.c.number))]
    return Watermark(int(most or 0), _few(gaps))


def newest(session: Session) -> int:
    """Return the number of the newest observation, 0 where there is none."""
    return int(session.exec(_NEWEST).one() or 0)


def resumed(newest: int, gaps: Sequence[Sequence[int]]) -> Watermark:
    """Return how far a store had been seen by someone else, before."""
    until = monotonic() + LONGEST_TRANSACTION
    return Watermark(newest, tuple(Gap(low, high, until) for low, high in gaps))


def changed_since(session: Session, seen: Watermark, subject: Subject) -> tuple[Watermark, list[str]]:
    """Return how far the store is seen now, and the keys of a subject's records told of in between."""
    query = select(_SEQUENCE, Observation.subject, Observation.record_id).order_by(_SEQUENCE)
    now = monotonic()
    gaps = [gap for gap in seen.gaps if gap.until > now]
    # Nothing is new most times this is asked, and this tells it sooner than the query below.
    if not gaps and (session.connection().execute(_NEWEST).scalar() or 0) <= seen.newest:
        return Watermark(seen.newest), []
    rows = session.exec(query.where(or_(seen.newest < _SEQUENCE, *(_SEQUENCE.between(g.low, g.high) for g in gaps))))
    numbers, changed = list[int](), dict[str, None]()
    for number, of, key in rows:
        numbers.append(int(number or 0))
        if of == subject:
            changed[key] = None
    if not numbers:
        return Watermark(seen.newest, tuple(gaps)), []
    newest = max(seen.newest, numbers[-1])
    open_ = [*gaps, Gap(seen.newest + 1, newest, now + LONGEST_TRANSACTION)]
    return Watermark(newest, _few([left for gap in open_ for left in _without(gap, numbers)])), list(changed)


def _without(gap: Gap, numbers: Sequence[int]) -> Iterator[Gap]:
    """What is left of a gap without some numbers, given in order."""
    low = gap.low
    for number in numbers:
        if gap.low <= number <= gap.high:
            if number > low:
                yield Gap(low, number - 1, gap.until)
            low = number + 1
    if low <= gap.high:
        yield Gap(low, gap.high, gap.until)


def _few(gaps: Sequence[Gap]) -> tuple[Gap, ...]:
    """Join gaps to one span if they are many: to look at a record once more changes nothing."""
    if len(gaps) <= _MOST_GAPS:
        return tuple(gaps)
    late = gaps[-_MOST_GAPS + 1 :]
    early = gaps[: -_MOST_GAPS + 1]
    return (Gap(early[0].low, early[-1].high, max(gap.until for gap in early)), *late)
