"""The rigs of an audit: saved rigs, or every mounting with its vehicle and receiver, from files or from a store."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
from sqlmodel import Session

from fitsvc.answers.question import hold_to_one_vehicle, read_question
from fitsvc.answers.records import Doubt, Named, Records, Stored
from fitsvc.answers.vehicles import Vehicles
from fitsvc.document import Json
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.shelf import Shop
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import Value
from fitsvc.loading.entries import RecordEntry, RigEntry, read_entry
from fitsvc.loading.load import read_rows
from fitsvc.store.records import list_records
from fitsvc.store.rigs import list_rigs
from fitsvc.store.tables import SavedRig

_PAGE: Final = 1_000
_MOUNTING: Final = "mounting"
_MOST_NEAR: Final = 1_000
_ASIDE: Final = b"aside"
"""Ids that one which is in no file is held against, to tell the nearest."""


@dataclass(frozen=True, slots=True)
class AuditRig:
    """One rig: the id it goes by, the id of its vehicle if it has one, and what is known of it.

    `label` is the vehicle's own, where it has one, and `called` what the rig itself or its mounting is called. `doubts`
    are those of its facts of which what was said cannot all hold, hardly can, or is stale. Where it is `mounted`, the
    id is that of a mounting, and of no saved rig.
    """

    key: str
    vehicle: str
    case: Case
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    label: str = ""
    called: str = field(default="", kw_only=True)
    mounted: bool = field(default=False, kw_only=True)

    @property
    def name(self) -> str:
        """What people call it: the vehicle, and in brackets which of those that are stored; its id where untold."""
        vehicle = self.label or self.vehicle
        return f"{vehicle} ({self.called})" if vehicle and self.called else vehicle or self.called or self.key

    def document(self) -> str:
        """All that is known of the rig, as one text; equal rigs have equal texts."""
        case = self.case
        whole = {"facts": case.facts, "present": sorted(case.present), "adapters": case.adapters, "texts": case.texts}
        whole["of_items"] = case.of_items
        if case.row:
            whole["row"] = case.row
        return json.dumps(whole, sort_keys=True, default=dict)

    def digest(self) -> str:
        """A digest of all that is known of the rig."""
        return hashlib.sha256(self.document().encode()).hexdigest()[:16]


def rigs_table(rigs: Iterable[AuditRig], aside: Iterable[Problem] = ()) -> pa.Table:
    """Rigs as an Arrow table of texts: `rig`, `vehicle`, `case`, `doubts`, names; and why others are set `aside`.

    What is asked by a mounting has `yes` as `mounted`.
    """
    names = ["rig", "vehicle", "case", "doubts", "label", "called", "mounted"]
    rows = [
        (one.key, one.vehicle, one.document(), _told(one.doubts), one.label, one.called, "yes" if one.mounted else "")
        for one in rigs
    ]
    table = pa.table([pa.array([row[place] for row in rows], pa.string()) for place in range(len(names))], names=names)
    told = [[problem.message, problem.help] for problem in aside]
    return table.replace_schema_metadata({_ASIDE: json.dumps(told)}) if told else table


def aside_of_table(table: pa.Table) -> list[Problem]:
    """Why rigs were set aside of the table that `rigs_table` wrote."""
    told = json.loads((table.schema.metadata or {}).get(_ASIDE, b"[]"))
    return [Problem(message, help) for message, help in told]


def told_aside(problem: Problem) -> str:
    """Why a rig was set aside, and what to do: as the summary and the page of an audit tell it."""
    return f"{problem.message}; {problem.help}" if problem.help else problem.message


def _told(doubts: Mapping[str, Doubt]) -> str:
    return json.dumps({name: [[doubt.state, *doubt.changed], *doubt.said] for name, doubt in doubts.items()})


def _doubt(how: Any, said: list[Any]) -> Doubt:
    """A doubt as it was told; of one that an earlier version told, the state stands alone."""
    whole: Any = [how] if isinstance(how, str) else how
    return Doubt(whole[0], tuple(map(tuple, said)), tuple(whole[1:]))


def rigs_of_table(table: pa.Table) -> list[AuditRig]:
    """The rigs that `rigs_table` wrote."""
    found = []
    for row in table.to_pylist():
        read = json.loads(row["case"])
        adapters = tuple(_values(adapter) for adapter in read["adapters"])
        of_items = {sku: _values(facts) for sku, facts in read["of_items"].items()}
        present, texts, sold = frozenset(read["present"]), read["texts"], tuple(read.get("row", ()))
        case = Case(_values(read["facts"]), present, adapters, texts, of_items=of_items, row=sold)
        told = json.loads(row.get("doubts") or "{}")
        doubts = {name: _doubt(how, said) for name, (how, *said) in told.items()}
        label, called, mounted = (row.get(name) or "" for name in ("label", "called", "mounted"))
        found.append(AuditRig(row["rig"], row["vehicle"], case, doubts, label, called=called, mounted=bool(mounted)))
    return found


def _values(read: Mapping[str, Json]) -> dict[str, Value]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in read.items()}


@dataclass(slots=True)
class _FileRecords:
    """The records of some files, as questions look for them."""

    reader: FactReader
    found: dict[tuple[str, str], Stored] = field(default_factory=dict)
    rigs: dict[str, Mapping[str, Json]] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)

    @property
    def earlier(self) -> bool:
        return False

    def find(self, subject: str, key: str) -> Stored | None:
        if subject != "accessory":
            return self.found.get((subject, key))
        return next((one for (_, name), one in self.found.items() if name == key), None)

    def keys_near(self, subject: str, key: str) -> Iterable[str]:
        of_it = (name for (one, name) in self.found if subject in (one, "accessory"))
        return islice(self.rigs if subject == "rig" else of_it, _MOST_NEAR)

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        links = {"vehicle": vehicle, "receiver": receiver}
        if vehicle is None:
            return [one for one in self.found.values() if one.links.get("receiver") == receiver]
        return [one for one in self.found.values() if one.links == links]

    def rig(self, key: str) -> Mapping[str, Json] | None:
        return self.rigs.get(key)

    def rig_told(self, key: str) -> Stored:
        return Stored(subject="rig", key=key, label=self.names.get(key, ""), facts={})

    def vehicles(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> Sequence[Named]:
        of_files = [one for (subject, _), one in self.found.items() if subject == "vehicle"]
        return Vehicles(self.reader, of_files).agreeing(values, texts)


CARRIED: Final = ("load", "ball", "trailer")
"""What a question may have beside a rig and an accessory, and an audit may ask of every pair."""
_NOTHING: Final[Mapping[str, Json]] = {}


def read_rigs(paths: Sequence[Path], reader: FactReader, carried: Mapping[str, Json] = _NOTHING) -> list[AuditRig]:
    """The rigs of record files, in their order; ProblemsFound with everything wrong with them.

    `carried` is the load, ball or trailer of a question, which every rig then has.
    """
    records, problems = _FileRecords(reader), list[Problem]()
    rigs, whole, listed = list[tuple[str, Mapping[str, Json]]](), True, ", ".join(map(str, paths))
    for path in paths:
        for row in read_rows(path, reader.vocabulary, problems, reader.bounds):
            entry = read_entry(row, reader, problems)
            is_rig, document = row.document.get("subject") == "rig", row.document.get("rig")
            whole &= entry is not None or is_rig
            if is_rig and isinstance(document, dict):
                rigs.append((str(row.document.get("id") or ""), document))
            if isinstance(entry, RigEntry):
                _once(records.rigs, entry.key, entry.document, entry, problems)
                records.names[entry.key] = entry.name
            elif entry is not None:
                _once(records.found, (entry.subject, entry.key), _stored(entry), entry, problems)
    if problems:
        more = _wrong_with(rigs, records, reader, listed, carried, whole=whole) if rigs else ()
        raise ProblemsFound([*problems, *more])
    mounted = [key for subject, key in records.found if subject == "mounting"]
    return _read((records.rigs or _of_mountings(mounted)).items(), records, reader, listed, carried)


def _wrong_with(
    rigs: Sequence[tuple[str, Mapping[str, Json]]],
    records: Records,
    reader: FactReader,
    file: str,
    carried: Mapping[str, Json],
    *,
    whole: bool,
) -> list[Problem]:
    """What is wrong with rigs themselves, of files of which more is; a record is missing only where all are `whole`."""
    try:
        _read(rigs, records, reader, file, carried)
    except ProblemsFound as found:
        return [one for one in found.problems if whole or one.kind != "missing record"]
    return []


def stored_rigs(
    session: Session,
    reader: FactReader,
    carried: Mapping[str, Json] = _NOTHING,
    aside: list[Problem] | None = None,
    most: int | None = None,
) -> list[AuditRig]:
    """The saved rigs of a store, or its mountings if no rig is saved, in the order of their ids; the first so many.

    A rig that a later change of its parts broke, or whose vehicle may be several of those stored, is set aside, with
    why; ProblemsFound when no other is left.
    """
    documents, kept = _saved(session, most)
    held = StoreRecords(session, Shop(reader).vehicles)
    asked = documents if kept else _mounted(session, most)
    return _read(asked.items(), held, reader, "the database", carried, aside)


def rigs_and_mountings(
    session: Session, reader: FactReader, aside: list[Problem], mounted: int | None = None, most: int | None = None
) -> list[AuditRig]:
    """The saved rigs of a store and then its mountings, of which anything may be asked as well; in order of their ids.

    Of both together there are `most`, of mountings so many; none says all. Those of which nothing can be asked are set
    aside, with why.
    """
    held, found = StoreRecords(session, Shop(reader).vehicles), list[AuditRig]()
    saved, kept = _saved(session, most)
    left = mounted if most is None else min(most - len(kept), most if mounted is None else mounted)
    for documents in (saved, _mounted(session, left)):
        try:
            found += _read(documents.items(), held, reader, "the database", _NOTHING, aside) if documents else []
        except ProblemsFound as wrong:  # none of them is left
            aside += wrong.problems
    return found


def _saved(session: Session, most: int | None) -> tuple[dict[str, Mapping[str, Json]], list[SavedRig]]:
    """How saved rigs are asked about, and the rigs: while they are kept the session has each at hand."""
    documents, held = dict[str, Mapping[str, Json]](), list[SavedRig]()
    while (most is None or len(documents) < most) and (
        page := list_rigs(session, after=next(reversed(documents), None), limit=_page(most, len(documents)))
    ):
        documents |= {rig.id: {"id": rig.id} for rig in page}
        held += page
    return documents, held


def _mounted(session: Session, most: int | None) -> dict[str, Mapping[str, Json]]:
    keys: list[str] = []
    while (most is None or len(keys) < most) and (
        page := list_records(session, _MOUNTING, after=keys[-1] if keys else None, limit=_page(most, len(keys)))
    ):
        keys += [record.key for record in page]
    return _of_mountings(keys)


def _page(most: int | None, held: int) -> int:
    return _PAGE if most is None else min(_PAGE, most - held)


def _of_mountings(keys: Iterable[str]) -> dict[str, Mapping[str, Json]]:
    return {key: _mounting(key) for key in keys}


def _mounting(key: str) -> Mapping[str, Json]:
    return {_MOUNTING: {"id": key}}


def _once(found: dict[Any, Any], key: Any, value: Any, entry: RecordEntry | RigEntry, problems: list[Problem]) -> None:
    if key in found:
        problems.append(entry.row.place("/id", f"`{entry.key}` stands here again", "keep one of them"))
    found[key] = value


def _stored(entry: RecordEntry) -> Stored:
    draft = entry.draft
    facts = {**entry.assumed, **draft.facts, **entry.measured}
    links = (
        {"vehicle": str(draft.vehicle_id), "receiver": str(draft.receiver_id)} if entry.subject == "mounting" else {}
    )
    return Stored(
        subject=entry.subject,
        key=entry.key,
        label=draft.label,
        facts=facts,
        assumed=frozenset(entry.assumed),
        links=links,
    )


def _read(
    documents: Iterable[tuple[str, Mapping[str, Json]]],
    records: Records,
    reader: FactReader,
    file: str,
    carried: Mapping[str, Json],
    aside: list[Problem] | None = None,
) -> list[AuditRig]:
    check_carried(carried, reader, records)
    rigs, problems = [], list[Problem]()
    for key, document in documents:
        # A question asks about something; an accessory of which nothing is told stands for every item.
        try:
            question = read_question({"rig": document, "accessory": {"facts": {}}, **carried}, reader, records)
            hold_to_one_vehicle(question)
        except ProblemsFound as found:
            problems += [_at_rig(problem, key, file) for problem in found.problems]
            continue
        case = question.case
        case = replace(case, present=case.present - {"accessory"})
        vehicle = _vehicle(document, records)
        told = records.find("vehicle", vehicle) if vehicle else None
        label, mounted = told.label if told else "", document == _mounting(key)
        called = _called(key, records)
        rigs.append(AuditRig(key, vehicle, case, question.doubts, label, called=called, mounted=mounted))
    if not rigs and not problems:
        help = "give `rigs`, or mountings with their vehicles and receivers"
        problems.append(Problem("there are no rigs", help, file=file))
    if problems and (aside is None or not rigs):
        raise ProblemsFound(problems)
    if aside is not None:
        aside += problems
    return rigs


def check_carried(carried: Mapping[str, Json], reader: FactReader, records: Records) -> None:
    """Raise what is wrong with the load, ball or trailer, once and not for every rig."""
    problems = [
        Problem(f"`{subject}` is not the same for every pair", "give facts of a load, a ball or a trailer")
        for subject in carried
        if subject not in CARRIED
    ]
    if problems:
        raise ProblemsFound(problems)
    if carried:
        read_question({"rig": {}, "accessory": {"facts": {}}, **carried}, reader, records)


def _vehicle(document: Mapping[str, Json], records: Records) -> str:
    """The id of a rig's vehicle, its own or its mounting's."""
    if "id" in document:
        document = records.rig(document["id"]) or {}
    named = document.get("vehicle") or {}
    if named.get("id"):
        return str(named["id"])
    mounting = (document.get("mounting") or {}).get("id")
    found = records.find("mounting", mounting) if mounting else None
    return found.links.get("vehicle", "") if found else ""


def _called(key: str, records: Records) -> str:
    """What a saved rig, or the mounting that is one, is called."""
    if records.rig(key) is not None:
        return records.rig_told(key).label
    found = records.find("mounting", key)
    return found.label if found else ""


def _at_rig(problem: Problem, key: str, file: str) -> Problem:
    return replace(problem, message=f"rig `{key}`: {problem.message}", file=file)
