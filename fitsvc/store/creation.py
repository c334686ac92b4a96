"""Storing new records, one or a whole catalogue at a time."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import insert
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel

from fitsvc.store.engines import violated
from fitsvc.store.errors import AlreadyExists, Conflict, called
from fitsvc.store.folding import first_told
from fitsvc.store.observations import Provenance, observation_row
from fitsvc.store.records import Draft, check_links, chunks, existing_keys, get_record, table_of
from fitsvc.store.statements import Laws, plain
from fitsvc.store.tables import TABLES, Observation, Record, columns_of, key_name, now
from fitsvc.store.validation import Checks, new_id
from fitsvc.subjects import Subject
from fitsvc.tongues import t

_CHUNK = 2000
_MOST_PROBLEMS = 1000
_PUBLISHED = Provenance()


def create_record(
    session: Session, subject: Subject, draft: Draft, told: Provenance = _PUBLISHED, *, laws: Laws = plain
) -> Record:
    """Store a new record with one observation of its facts, and return it, or raise AlreadyExists or InvalidValue."""
    table_of(subject)
    checks = Checks()
    told.check(checks)
    _check(subject, draft, checks)
    check_links(session, subject, [("", draft)], checks)
    checks.finish()
    if taken := _taken(session, subject, [draft]):
        raise AlreadyExists(subject, taken)
    (key,) = _store(session, subject, [draft], told, laws)
    return get_record(session, subject, key)


def bulk_create(
    session: Session,
    subject: Subject,
    drafts: Iterable[Draft],
    told: Provenance = _PUBLISHED,
    *,
    laws: Laws = plain,
) -> int:
    """Store many new records, each with one observation, and return how many.

    When anything is wrong with any, everything that is wrong is raised at the end, each problem
    under the draft's number (`/12/facts/width`), and the session must be left: some are in it.
    """
    table_of(subject)
    checks, taken, count = Checks(), list[str](), 0
    told.check(checks)
    for chunk in chunks(drafts, _CHUNK):
        numbered = [(f"/{number}", draft) for number, draft in enumerate(chunk, start=count)]
        _check_all(session, subject, numbered, checks)
        count += len(chunk)
        if len(checks.problems) >= _MOST_PROBLEMS:
            break
        if not checks.problems:
            taken += _taken(session, subject, chunk)
            if not taken:
                _store(session, subject, chunk, told, laws)
    checks.finish()
    if taken:
        raise AlreadyExists(subject, taken)
    return count


def _check_all(session: Session, subject: Subject, numbered: Sequence[tuple[str, Draft]], checks: Checks) -> None:
    for prefix, draft in numbered:
        checks.prefix = prefix
        _check(subject, draft, checks)
    check_links(session, subject, numbered, checks)


def _check(subject: Subject, draft: Draft, checks: Checks) -> None:
    draft.check(subject, checks)
    if draft.key is not None or subject == "accessory":
        checks.key(subject, draft.key)


def _taken(session: Session, subject: Subject, drafts: Sequence[Draft]) -> list[str]:
    """Return the keys that are stored already or stand twice among the drafts."""
    given = Counter(draft.key for draft in drafts if draft.key is not None)
    stored = existing_keys(session, subject, given)
    return [key for key, times in given.items() if times > 1 or key in stored]


def _store(session: Session, subject: Subject, drafts: Sequence[Draft], told: Provenance, laws: Laws) -> list[str]:
    pairs = [_rows(subject, draft, told, laws) for draft in drafts]
    keys = [row[key_name(TABLES[subject])] for row, _ in pairs]
    try:
        insert_rows(session, TABLES[subject], [row for row, _ in pairs])
    except IntegrityError as error:
        if violated(error) == "unique":
            raise AlreadyExists(subject, keys) from error
        raise Conflict(
            t("a vehicle or receiver that a {subject} names was deleted meanwhile", subject=called(subject))
        ) from error
    insert_rows(session, Observation, [observation for _, observation in pairs])
    return keys


def _rows(subject: Subject, draft: Draft, told: Provenance, laws: Laws) -> tuple[dict[str, Any], dict[str, Any]]:
    key, recorded = draft.key or new_id(subject), now()
    observation = observation_row(subject, key, draft.known_facts(), told, recorded)
    current = first_told(observation, laws(draft.sold_as if subject == "accessory" else subject))
    row = {
        key_name(TABLES[subject]): key,
        "label": draft.label,
        "facts": current.facts,
        "provenance": current.provenance,
        "version": 1,
        "created_at": recorded,
        "updated_at": recorded,
        **draft.links(subject),
    }
    return row, observation


def insert_rows(session: Session, table: type[SQLModel], rows: Sequence[dict[str, Any]]) -> None:
    """Insert rows without building an object for each, which a catalogue has no use for."""
    session.flush()
    session.connection().execute(insert(columns_of(table)), list(rows))
