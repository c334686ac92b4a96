"""The sheet of a record: each fact as it is known, now or at an earlier time, what was said of it, what was tried."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final, cast

import msgspec
from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.fact_values import as_written
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.observing.earlier import ground_then, told_by
from fitsvc.observing.effects import rig_case
from fitsvc.observing.law import facts_of, laws_of
from fitsvc.rulebook.vocabulary import EFFORTS, Fact
from fitsvc.selection.waiting import Waits
from fitsvc.store.folding import KnownFact, fold, taken_back
from fitsvc.store.observations import Entered, all_observations, ground_of, sold_as, tried_in
from fitsvc.store.rigs import get_known
from fitsvc.store.statements import ALL, Said
from fitsvc.store.tables import Record, SavedRig, ToldOf
from fitsvc.subjects import RIG, Told

_WHOLE: Final = ("mounting", RIG)
"""What is a rig by itself, on which a catalogue waits for facts."""
_NOTHING: Final = Waits(Counter(), Counter())


class SheetStatement(msgspec.Struct, omit_defaults=True, kw_only=True):
    """One statement of a fact: what was said, how it is known, by whom, by which feed, with what, in what condition.

    `counts` says that what is known follows from it; one that is taken back has `why`.
    """

    said: str
    kind: str
    by: str
    at: str
    observation: str
    source: str = ""
    counts: bool = False
    tool: str = ""
    condition: str = ""
    note: str = ""
    photo: str = ""
    why: str = ""


class SheetFact(msgspec.Struct, kw_only=True):
    """One fact: what is known of it as people write it (empty where nothing is), how sure that is, and every word."""

    fact: str
    label: str
    value: str
    state: str
    kind: str
    statements: list[SheetStatement]


class SheetTry(msgspec.Struct, kw_only=True):
    """What was tried, by whom and when, and whether that was taken back."""

    evidence: Document
    by: str
    at: str
    note: str
    observation: str
    taken_back: bool


class Sheet(msgspec.Struct, kw_only=True):
    """All that is known of a record: its facts, what was tried, and what is not known, the easiest to learn first.

    Of a mounting, and of a saved rig of which is shown what was told of it alone, `waiting` says how many accessories
    of the catalogue wait for each fact, by itself or with others; what is not known comes in that order, and `outcomes`
    is what all of them come to on it, without a load.
    """

    subject: str
    record: str
    label: str
    facts: list[SheetFact]
    tries: list[SheetTry]
    unknown: list[str]
    waiting: dict[str, int] = {}
    outcomes: dict[str, int] = {}


Waited = Callable[[Case], Waits]
"""What the accessories held wait for on a rig, of all its facts."""


def sheet(
    session: Session,
    reader: FactReader,
    subject: Told,
    key: str,
    as_of: datetime | None = None,
    waited: Waited | None = None,
) -> Sheet:
    """The sheet of a record by what had been entered by then; NotFound where there is no such record now.

    What waits for the facts of a mounting is told of now, where there is a catalogue to ask.
    """
    record = get_known(session, subject, key)
    own, laws = sold_as(record), laws_of(reader)
    told = all_observations(session, subject, key) if as_of is None else told_by(session, record, as_of)
    law, dead = laws(own), taken_back(told)
    touched = {observation for observation, _ in dead}
    now = as_of is None
    ground = _ground(session, record, told) if as_of is None else ground_then(session, laws, record, told, as_of)
    known = fold(told, law, ground)
    said = _said(told, dead, _reasons(told), facts := facts_of(reader, own))
    waits = _waits(session, reader, subject, key, waited) if waited and subject in _WHOLE and now else _NOTHING
    counts = _by_fact(waits.sets, facts)
    return Sheet(
        subject=own,
        record=key,
        label=record.name if isinstance(record, SavedRig) else cast(Record, record).label,
        facts=[
            _fact(name, fact, known.get(name), said.get(name, ()))
            for name, fact in facts.items()
            if name in known or name in said
        ],
        tries=[_try(one, one.id in touched) for one in told if one.evidence],
        unknown=[] if own == RIG else [fact.short for fact in _unknown(facts, known, counts)],
        waiting=counts,
        outcomes=dict(waits.outcomes),
    )


def _ground(session: Session, record: ToldOf, told: Sequence[Entered]) -> Document:
    return ground_of(session, record, tried_in(told))


def _waits(session: Session, reader: FactReader, subject: str, key: str, waited: Waited) -> Waits:
    document: Document = {"id": key} if subject == RIG else {subject: {"id": key}}
    case = rig_case(document, reader, StoreRecords(session))
    return waited(case) if case is not None else _NOTHING


def _by_fact(sets: Mapping[frozenset[str], int], facts: Mapping[str, Fact]) -> dict[str, int]:
    """How many accessories wait for each fact of a record, by itself or with others; those of most first."""
    counts, names_here = Counter[str](), {fact.name: name for name, fact in facts.items()}
    for names, count in sets.items():
        counts.update({names_here[name]: count for name in names if name in names_here})
    return dict(counts.most_common())


def _reasons(told: Sequence[Entered]) -> Mapping[tuple[str, str], str]:
    """Why each fact of an observation was taken back: by what, and for what reason."""
    return {
        (earlier, fact): f"{one.act or 'taken back'}: {one.reason}" if one.reason else one.act
        for one in told
        for fact, ids in (one.takes_back or {}).items()
        for earlier in ids
    }


def _said(
    told: Sequence[Entered],
    dead: set[tuple[str, str]],
    reasons: Mapping[tuple[str, str], str],
    facts: Mapping[str, Fact],
) -> dict[str, list[tuple[Entered, Json, str]]]:
    """What was said of each fact of the vocabulary, with why it was taken back; a deleted record's is left out."""
    found: dict[str, list[tuple[Entered, Json, str]]] = {}
    for one in told:
        if reasons.get((one.id, ALL)) == "deletes":
            continue
        for name, value in one.facts.items():
            gone = next((place for place in ((one.id, name), (one.id, ALL)) if place in dead), None)
            if value is not None and name in facts:
                found.setdefault(name, []).append((one, value, reasons.get(gone, "") if gone else ""))
    return found


def _fact(name: str, fact: Fact, known: KnownFact | None, said: Sequence[tuple[Entered, Json, str]]) -> SheetFact:
    counts = {one.observation for one in known.counts} if known and known.state != "stale" else set()
    return SheetFact(
        fact=name,
        label=fact.label,
        value=as_written(known.value) if known and known.value is not None else "",
        state=known.state if known else "",
        kind=known.kind if known else "",
        statements=[
            SheetStatement(
                said=as_written(value),
                kind=one.kind,
                by=one.by,
                at=one.at.isoformat(),
                observation=one.id,
                source=one.source,
                counts=one.id in counts,
                tool=one.tool,
                condition=one.condition,
                note=one.note,
                photo=one.photo,
                why=why,
            )
            for one, value, why in said
        ],
    )


def _try(one: Entered, gone: bool) -> SheetTry:
    return SheetTry(
        evidence=one.evidence or {},
        by=one.by,
        at=one.at.isoformat(),
        note=one.note,
        observation=one.id,
        taken_back=gone,
    )


def _unknown(facts: Mapping[str, Fact], known: Mapping[str, KnownFact], waiting: Mapping[str, int]) -> list[Fact]:
    """The facts of which nothing usable is known: stale ones, those that most wait for, then the easiest to learn."""
    missing = [fact for name, fact in facts.items() if name not in known or known[name].value is None]
    return sorted(
        missing, key=lambda fact: (fact.short not in known, -waiting.get(fact.short, 0), EFFORTS.index(fact.effort))
    )


def standing_rows(
    session: Session, reader: FactReader, subject: Told, key: str, *, stale: bool = True
) -> list[Document]:
    """What stands of a record, as observations that load elsewhere to the same knowledge.

    What is `stale` goes along with what it leant on, so that it is so there, and so does what was said word for word
    like it later, which would else be taken for it; or it stays here, with all that is said of a fact of which nothing
    else is left, as a maker's word for it is no better on another part.
    """
    record, every = get_known(session, subject, key), all_observations(session, subject, key)
    law, ground = laws_of(reader)(sold_as(record)), _ground(session, record, every)
    known = fold(every, law, ground)
    old = {(one.observation, one.fact) for fact in known.values() for one in _stays(fact)}
    gone, rows = taken_back(every) | (set() if stale else old), list[Document]()
    leant_on, leaning = {observation for observation, _ in old}, list[Document]()
    for one in every:
        facts = {n: v for n, v in one.facts.items() if v is not None and not {(one.id, n), (one.id, ALL)} & gone}
        taught = law.teaches(one.evidence) if one.evidence else ()
        evidence = one.evidence if not {(one.id, ALL), *((one.id, name) for name in taught)} & gone else None
        if facts or evidence:
            row = _row(one, facts, evidence)
            if one.ground and (one.id in leant_on or row in leaning):
                leaning.append(row)
                row = row | {"leant_on": one.ground}
            rows.append(row)
    return rows


def _stays(known: KnownFact) -> Sequence[Said]:
    return (*known.counts, *known.beside) if known.state == "stale" else known.stale


def _row(one: Entered, facts: Document, evidence: Document | None) -> Document:
    """One observation as a line of a file; a name that is only the key's is nobody's."""
    by = one.by if one.by != one.written_by else ""
    texts = {"by": by, "note": one.note, "tool": one.tool, "condition": one.condition, "photo": one.photo}
    row: Document = {"subject": one.subject, "record": one.record_id, "kind": one.kind, "at": one.at.isoformat()}
    row |= {name: text for name, text in {**texts, "source": one.source}.items() if text}
    row |= {"facts": facts} if facts else {}
    return row | ({"evidence": evidence} if evidence else {})
