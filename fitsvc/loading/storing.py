"""Putting the entries of one file into an open session; what the store refuses is told by row.

Rows that are right are stored even after one that is wrong was found, so that rows naming them are judged
rightly; whoever opened the session takes everything back when there is any problem.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.entries import RecordEntry, RigEntry
from fitsvc.loading.rows import quoted
from fitsvc.store.creation import bulk_create
from fitsvc.store.errors import InvalidValue, NotFound
from fitsvc.store.observations import Provenance
from fitsvc.store.records import add_observation, existing_keys, get_records, replace_record
from fitsvc.store.rigs import create_rig, get_rig, replace_rig
from fitsvc.store.tables import Record, SavedRig
from fitsvc.subjects import SUBJECTS, Subject, stored_as

_ASSUMED: Final = Provenance("assumed")
_EXISTS: Final = "give it another key, or load with `--replace`"
_FIELDS: Final = {"vehicle_id": "vehicle", "receiver_id": "receiver", "document": "rig"}
"""Where the store's fields stand in a file."""


@dataclass(slots=True)
class Loaded:
    """What a file came to: how many records of each subject went in, and what became of those already there."""

    file: str
    stored: dict[str, int] = field(default_factory=dict)
    replaced: int = 0
    unchanged: int = 0
    contradictions: list[str] = field(default_factory=list)

    def count(self, subject: str) -> None:
        """Note that a record was stored anew."""
        self.stored[subject] = self.stored.get(subject, 0) + 1


@dataclass(slots=True, kw_only=True)
class Storing:
    """One file being stored; `lines` are the keys it has named, `faulty` those among them that were refused."""

    session: Session
    reader: FactReader
    problems: list[Problem]
    loaded: Loaded
    replaces: bool = False
    lines: dict[tuple[str, str], int] = field(default_factory=dict)
    faulty: set[tuple[str, str]] = field(default_factory=set)

    def repeats(self, entry: RecordEntry | RigEntry) -> bool:
        """Whether the file has named this record before, which is noted."""
        name = _name(entry)
        if name not in self.lines:
            self.lines[name] = entry.row.line
            return False
        message, help = f"{quoted(entry.key)} stands in this file twice", f"it is already in line {self.lines[name]}"
        self._complain(entry, _key_pointer(entry), message, help)
        return True

    def records(self, entries: Sequence[RecordEntry]) -> None:
        """Store a chunk of entries of one table."""
        table = stored_as(entries[0].subject)
        existing = existing_keys(self.session, table, [entry.key for entry in entries])
        held = [entry for entry in entries if entry.key in existing]
        self._create(table, [entry for entry in entries if entry.key not in existing])
        if held and self.replaces:
            known = get_records(self.session, table, [entry.key for entry in held])
            for entry in held:
                self._replace(table, entry, known[entry.key])
            return
        for entry in held:
            self._complain(entry, _key_pointer(entry), f"{quoted(entry.key)} is stored already", _EXISTS)

    def rig(self, entry: RigEntry) -> None:
        """Store a rig, once its parts and facts are found to be right."""
        # A question must ask about something; an accessory without facts adds nothing.
        question = {"rig": entry.document, "accessory": {"facts": {}}}
        try:
            read_question(question, self.reader, StoreRecords(self.session))
            self._save(entry)
        except ProblemsFound as found:
            for problem in found.problems:
                self._complain(entry, problem.pointer, problem.message, problem.help)
        except InvalidValue as error:
            self._refused([entry], error, numbered=False)

    def _create(self, table: Subject, entries: Sequence[RecordEntry]) -> None:
        """Store new records; those that the store refuses are noted and left out."""
        if not entries:
            return
        try:
            bulk_create(self.session, table, [entry.draft for entry in entries])
        except InvalidValue as error:
            refused = self._refused(entries, error)
            # Nothing of a chunk is stored when anything in it is refused.
            self._create(table, [entry for number, entry in enumerate(entries) if number not in refused])
            return
        for entry in entries:
            self.loaded.count(entry.subject)
            self._observe(table, entry, entry.assumed, entry.measured)

    def _observe(
        self, table: Subject, entry: RecordEntry, assumed: Mapping[str, Json], measured: Mapping[str, Json]
    ) -> None:
        for facts, told in ((assumed, _ASSUMED), (measured, entry.told)):
            if facts:
                try:
                    add_observation(self.session, table, entry.key, facts, told)
                except InvalidValue as error:
                    self._refused([entry], error, numbered=False)

    def _replace(self, table: Subject, entry: RecordEntry, record: Record) -> None:
        """Make a stored record what the file says; what it says already is left alone."""
        assumed, measured = _new(record, entry.assumed, "assumed"), _new(record, entry.measured, "measured")
        kept = {n: v for n, v in (entry.assumed | entry.measured).items() if n not in assumed | measured}
        draft = replace(entry.draft, facts=dict(entry.draft.facts) | kept)
        links = {name: getattr(record, name) for name in draft.links(table)}
        same = record.label == draft.label and links == draft.links(table) and _same(record.facts, draft.facts)
        if same and not assumed and not measured:
            self.loaded.unchanged += 1
            return
        try:
            replace_record(self.session, table, entry.key, draft)
            self._observe(table, entry, assumed, measured)
            self.loaded.replaced += 1
        except InvalidValue as error:
            self._refused([entry], error, numbered=False)

    def _save(self, entry: RigEntry) -> None:
        saved = self._saved(entry.key)
        if saved is None:
            create_rig(self.session, entry.name, entry.document, entry.key)
            self.loaded.count("rig")
        elif not self.replaces:
            self._complain(entry, "/id", f"{quoted(entry.key)} is stored already", _EXISTS)
        elif saved.name == entry.name and _same(saved.document, entry.document):
            self.loaded.unchanged += 1
        else:
            replace_rig(self.session, entry.key, entry.name, entry.document)
            self.loaded.replaced += 1

    def _saved(self, key: str) -> SavedRig | None:
        try:
            return get_rig(self.session, key)
        except NotFound:
            return None

    def _refused(
        self, entries: Sequence[RecordEntry | RigEntry], error: InvalidValue, *, numbered: bool = True
    ) -> set[int]:
        """Note what the store refuses, and return the numbers of the entries it is about."""
        refused = set()
        for problem in error.problems:
            number, pointer = 0, problem.field
            if numbered:
                first, _, rest = problem.field[1:].partition("/")
                number, pointer = int(first), f"/{rest}"
            refused.add(number)
            entry = entries[number]
            field, _, below = pointer[1:].partition("/")
            field = _FIELDS.get(field, field)
            if isinstance(entry, RecordEntry) and (field, getattr(entry.draft, f"{field}_id", None)) in self.faulty:
                self.faulty.add(_name(entry))
                continue
            self._complain(entry, f"/{field}" + (f"/{below}" if below else ""), problem.message)
        return refused

    def _complain(self, entry: RecordEntry | RigEntry, pointer: str, message: str, help: str = "") -> None:
        self.faulty.add(_name(entry))
        self.problems.append(entry.row.place(pointer, message, help))


def _name(entry: RecordEntry | RigEntry) -> tuple[str, str]:
    return ("rig" if isinstance(entry, RigEntry) else stored_as(entry.subject), entry.key)


def _key_pointer(entry: RecordEntry | RigEntry) -> str:
    return "/id" if isinstance(entry, RigEntry) else f"/{SUBJECTS[entry.subject].key}"


def _new(record: Record, facts: Mapping[str, Json], kind: str) -> Document:
    """Those facts that a record does not hold in this way already."""
    return {
        name: value
        for name, value in facts.items()
        if record.provenance.get(name, {}).get("kind") != kind or not _same(record.facts.get(name), value)
    }


def _same(one: Json, other: Json) -> bool:
    """Whether two wire values are the same text, so that true is not 1."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)
