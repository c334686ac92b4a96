"""Published rulebooks: kept whole by their digests, and a log of which of them is in force from when on.

A publication is one row, and so is an activation: whoever reads finds it whole or not at all, whenever a writer dies.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final, cast

from sqlalchemy import func
from sqlalchemy.orm import defer
from sqlmodel import Session, col, select

from fitsvc.store.errors import NotFound, StoreError, shown
from fitsvc.store.tables import LABEL, NOTE, Activation, Publication, now
from fitsvc.store.validation import Checks
from fitsvc.store.written import Write, log_write
from fitsvc.subjects import storable

MOST_TOLD: Final = 100
"""How far back the log is read: further than anybody rolls back."""
_UNSIGNED: Final[Mapping[str, str]] = {}
_PREFIX: Final = "sha256:"
_LEAST_DIGITS: Final = 8


def publish(
    session: Session,
    digest: str,
    name: str,
    files: Mapping[str, str],
    write: Write,
    signatures: Mapping[str, str] = _UNSIGNED,
) -> bool:
    """Keep a rulebook under its digest, and say whether it is new; one that is there stays, and is signed at most.

    StoreError where what is signed is not what is there, since comments and examples are not of the digest.
    """
    held = session.get(Publication, digest)
    if held is not None:
        _sign(session, held, files, signatures, write)
        return False
    kept = Publication(digest=digest, name=name[:LABEL], files=dict(files), signatures=dict(signatures), by=write.by)
    session.add(kept)
    session.flush()
    log_write(session, write, "publishes", "rulebook", digest, after={"name": name, "signed by": [*signatures]})
    return True


def _sign(
    session: Session, held: Publication, files: Mapping[str, str], signatures: Mapping[str, str], write: Write
) -> None:
    """Add signatures to a publication."""
    if not signatures:
        return
    if held.files != files:
        raise StoreError(
            f"{held.digest} was published before with other comments or examples, and its signature would be of those: "
            "take it out with `fitsvc rules published DIGEST --to DIR`, and publish that"
        )
    before = [*held.signatures]
    held.signatures = {**held.signatures, **signatures}
    session.add(held)
    session.flush()
    log_write(session, write, "signs", "rulebook", held.digest, {"by": before}, {"by": [*held.signatures]})


def published(session: Session, digits: str) -> Publication:
    """The publication of a digest, or of its first digits; NotFound, or StoreError where they are too few.

    They are where there are fewer than eight, and where more than one begins so.
    """
    start = _PREFIX + digits.removeprefix(_PREFIX)
    found: Sequence[Publication] = ()
    if len(start) < len(_PREFIX) + _LEAST_DIGITS:
        raise StoreError(f"`{shown(digits)}` is too short: give {_LEAST_DIGITS} digits of the digest, or more")
    if storable(start):
        query = select(Publication).where(col(Publication.digest).startswith(start, autoescape=True)).limit(2)
        found = session.exec(query).all()
    if not found:
        raise NotFound("rulebook", digits)
    if len(found) > 1:
        raise StoreError(f"more than one published rulebook begins with `{digits}`: give more digits")
    return found[0]


def is_published(session: Session, digest: str) -> bool:
    """Whether there is a publication of a digest."""
    return session.exec(select(Publication.digest).where(Publication.digest == digest)).first() is not None


def activate(
    session: Session, digits: str, write: Write, because: str, holds_from: datetime | None = None
) -> Activation:
    """Let a published rulebook be in force from some time on, or from now; StoreError where it cannot.

    So it is where another came into force after that time already: it would be behind that one for good; and where it
    came into force itself after that time, as what was answered by till then was another.
    """
    checks = Checks()
    checks.text("/because", because, NOTE, required=True)
    checks.finish()
    digest, at = published(session, digits).digest, now()
    if holds_from is not None and (after := _after(session, holds_from, at)):
        since, asked = (f"{one:%Y-%m-%d %H:%M:%S}" for one in (after.holds_from, holds_from))
        if after.digest == digest:
            raise StoreError(
                f"{digest} is in force already, from {since} UTC on, and was not from {asked} on: leave the time out "
                "to say once more that it is"
            )
        raise StoreError(
            f"{digest} would never be in force: {after.digest} is, from {since} UTC on, which comes after {asked}; "
            "leave the time out to bring it into force now"
        )
    line = Activation(
        digest=digest, holds_from=holds_from or _at_once(session, at), by=write.by, because=because, at=at
    )
    session.add(line)
    session.flush()
    told = {"holds_from": line.holds_from.isoformat(), "because": because}
    log_write(session, write, "activates", "rulebook", digest, after=told)
    return line


def _after(session: Session, begins: datetime, at: datetime) -> Activation | None:
    """What is in force at an instant, where it came into force after a time."""
    query = select(Activation).where(col(Activation.holds_from) > begins, col(Activation.holds_from) <= at)
    return session.exec(query.order_by(col(Activation.holds_from).desc(), col(Activation.sequence).desc())).first()


def _at_once(session: Session, at: datetime) -> datetime:
    """A time that is not before what was to hold at once earlier, by whoever's clock: the last word must count."""
    query = select(func.max(Activation.holds_from)).where(col(Activation.holds_from) <= col(Activation.at))
    last = session.exec(query).one()
    return at if last is None else max(at, last)


def roll_back(session: Session, write: Write, because: str) -> Activation:
    """Let the rulebook that was in force before be so again, from now on; StoreError where there was none."""
    held = in_force(session, now())
    if len(held) <= 1:
        raise StoreError("there is no rulebook to go back to: none was in force before")
    return activate(session, held[1], write, because)


def in_force(session: Session, at: datetime) -> list[str]:
    """The digest that is in force at an instant, and behind it those that were before, each once; the latest first."""
    query = select(Activation.digest).where(col(Activation.holds_from) <= at)
    ordered = query.order_by(col(Activation.holds_from).desc(), col(Activation.sequence).desc())
    return list(dict.fromkeys(session.exec(ordered.limit(MOST_TOLD))))


def to_come(session: Session, at: datetime) -> list[Activation]:
    """What comes into force after an instant, by what has been said so far: the last word for each time, in order."""
    query = select(Activation).where(col(Activation.holds_from) > at)
    ordered = query.order_by(col(Activation.holds_from).desc(), col(Activation.sequence).desc())
    found: dict[datetime, Activation] = {}
    for line in session.exec(ordered.limit(MOST_TOLD)):
        found.setdefault(line.holds_from, line)
    return [*found.values()][::-1]


def list_activations(session: Session) -> Sequence[Activation]:
    """The last lines of the log, the oldest first."""
    query = select(Activation).order_by(col(Activation.sequence).desc()).limit(MOST_TOLD)
    return session.exec(query).all()[::-1]


def list_publications(session: Session) -> Sequence[Publication]:
    """The last publications, the oldest first; their files are not read before they are asked for."""
    query = select(Publication).order_by(col(Publication.at).desc(), col(Publication.digest)).limit(MOST_TOLD)
    return session.exec(query.options(defer(cast(Any, Publication.files)))).all()[::-1]
