"""What suppliers' audits came to for a shop, kept by supplier, item and rig; each audit tells what is otherwise since.

All of one audit is put in at once or not at all. What was there before and is in it no more does not fit: that is said
in its row, and not by leaving it out, so that whoever takes the changes alone hears of it too.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from sqlalchemy import case, func, text, update
from sqlmodel import Session, col, select

from fitsvc.store.errors import Conflict, FieldProblem, InvalidValue
from fitsvc.store.tables import KEY, LABEL, NAME, StoredFit

NO_FIT: Final = "no fit"
_MOST_TOLD: Final = 20
_SHOWN: Final = 40
_LONGEST: Final = {"sku": KEY, "rig": KEY, "vehicle": KEY, "name": LABEL}
_COLUMNS: Final = tuple(StoredFit.model_fields)
_PUT: Final = text(
    f"INSERT INTO fit ({', '.join(_COLUMNS)}) VALUES ({', '.join(f':{name}' for name in _COLUMNS)}) "  # noqa: S608  # names of ours
    "ON CONFLICT (supplier, sku, rig) DO UPDATE SET vehicle = excluded.vehicle, name = excluded.name, "
    "since = CASE WHEN fit.status = excluded.status AND fit.at_most = excluded.at_most "
    "AND fit.times = excluded.times AND fit.each = excluded.each THEN fit.since ELSE excluded.since END, "
    "status = excluded.status, because = excluded.because, at_most = excluded.at_most, times = excluded.times, "
    "each = excluded.each, audited_on = excluded.audited_on, "
    "rulebook = excluded.rulebook, delivery = excluded.delivery"
)
"""One row put in, or in place of what an earlier audit said of the same: SQLite and PostgreSQL write it alike."""


class FitRow(NamedTuple):
    """What holds of one item on one rig, and what it may be loaded with: all of it together, how many, and of each."""

    sku: str
    vehicle: str
    name: str
    rig: str
    status: str
    because: str
    at_most: str = ""
    times: str = ""
    each: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitsOrigin:
    """The audit that rows are of: whose catalogue, on what day (ISO 8601), by which rulebook, and its own digest.

    `follows` is the digest of the audit that it was compared with; empty where it was with none.
    """

    supplier: str
    day: str
    rulebook: str
    digest: str
    follows: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitsPut:
    """How many rows an audit has, and of how many pairs it is otherwise since its day, with those that fit no more."""

    rows: int
    changed: int
    since: str


def put_fits(session: Session, delivery: FitsOrigin, tables: Iterable[Sequence[FitRow]]) -> FitsPut:
    """Put what an audit came to in the place of what the supplier's audit before did.

    InvalidValue where a text is longer than is kept. Conflict where the audit that is there is of a later day, or of
    the same day and not the one that this one was compared with: nothing else tells which of the two is the later.
    """
    if len(delivery.supplier) > NAME:
        raise InvalidValue([FieldProblem("/supplier", f"is longer than {NAME} characters")])
    of_supplier = col(StoredFit.supplier) == delivery.supplier
    _refuse_older(session, delivery)
    own = {"supplier": delivery.supplier, "since": delivery.day, "audited_on": delivery.day}
    own |= {"rulebook": delivery.rulebook, "delivery": delivery.digest}
    rows = 0
    for table in tables:
        if problems := [one for row in table for one in _problems(row)]:
            raise InvalidValue(problems[:_MOST_TOLD])
        if table:
            session.execute(_PUT, [row._asdict() | own for row in table])
        rows += len(table)
    # What was no fit before is found so again, by this audit: the rows of a supplier are all of its last one.
    since = case((col(StoredFit.status) == NO_FIT, col(StoredFit.since)), else_=delivery.day)
    gone = update(StoredFit).where(of_supplier, col(StoredFit.delivery) != delivery.digest)
    session.execute(gone.values(**own | {"since": since}, status=NO_FIT, because="", at_most="", times="", each=""))
    changed = select(func.count()).select_from(StoredFit).where(of_supplier, col(StoredFit.since) == delivery.day)
    return FitsPut(rows=rows, changed=session.exec(changed).one(), since=delivery.day)


def _refuse_older(session: Session, delivery: FitsOrigin) -> None:
    """Raise Conflict where what is kept of the supplier is of a later audit, or may be."""
    of_supplier = col(StoredFit.supplier) == delivery.supplier
    newest = session.exec(select(func.max(StoredFit.audited_on)).where(of_supplier)).one()
    if newest is None or newest < delivery.day:
        return
    if newest > delivery.day:
        message = f"an audit of `{delivery.supplier}` of {newest} is kept already, and this one is of {delivery.day}"
        raise Conflict(message)
    of_day = select(StoredFit.delivery).where(of_supplier, col(StoredFit.audited_on) == newest).distinct()
    if not {delivery.digest, delivery.follows} & set(session.exec(of_day).all()):
        message = (
            f"another audit of `{delivery.supplier}` of the same day, {newest}, is kept already, and nothing tells "
            "that this one is the later: if it is, audit its catalogue anew with `--against` the folder of the audit "
            "that is kept"
        )
        raise Conflict(message)


def _problems(row: FitRow) -> Iterator[FieldProblem]:
    """What of a row is longer than is kept."""
    for name, most in _LONGEST.items():
        if len(text_of := getattr(row, name)) > most:
            yield FieldProblem(f"/{name}", f"`{text_of[:_SHOWN]}…` is longer than {most} characters")
