"""Putting the entries of one file into an open session; what the store refuses is told by row.

Rows that are right are stored even after one that is wrong was found, so that rows naming them are judged
rightly; whoever opened the session takes everything back when there is any problem.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.entries import RecordEntry, RigEntry
from fitsvc.loading.rows import quoted
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import Touched
from fitsvc.store.creation import bulk_create
from fitsvc.store.errors import Conflict, InvalidValue, NotFound
from fitsvc.store.observations import Entered, Provenance, all_observations, told_before
from fitsvc.store.records import add_observation, differs, existing_keys, get_records, replace_record
from fitsvc.store.rigs import create_rig, get_rig, replace_rig
from fitsvc.store.statements import RANK, SEEN, Laws
from fitsvc.store.tables import Record, SavedRig
from fitsvc.subjects import SUBJECTS, Subject, stored_as

EXISTS: Final = "give it another key, or load with `--replace`"
_FIELDS: Final = {"vehicle_id": "vehicle", "receiver_id": "receiver", "document": "rig"}
"""Where the store's fields stand in a file."""


@dataclass(slots=True, kw_only=True)
class Loaded:
    """What a file came to: how many records of each subject went in, and what became of those already there.

    `repeated` observations had been told word for word before; `standing` are by record the facts seen on a part that
    a file that replaces says otherwise, or not at all, and `given_up` counts those that went. `disputed` are by record
    the facts that others say otherwise, since the file was loaded. `touched` are the saved
    rigs as they were and as they are, where they were watched.
    """

    file: str
    stored: dict[str, int] = field(default_factory=dict)
    replaced: int = 0
    unchanged: int = 0
    repeated: int = 0
    given_up: int = 0
    contradictions: list[str] = field(default_factory=list)
    standing: list[tuple[str, list[str]]] = field(default_factory=list)
    disputed: dict[str, list[str]] = field(default_factory=dict)
    touched: Touched | None = None

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
    also_seen: bool = False
    source: str = ""
    lines: dict[tuple[str, str], int] = field(default_factory=dict)
    faulty: set[tuple[str, str]] = field(default_factory=set)

    @property
    def laws(self) -> Laws:
        """The law by which statements become facts."""
        return laws_of(self.reader)

    @property
    def _assumed(self) -> Provenance:
        return Provenance(kind="assumed", source=self.source)

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
            self._complain(entry, _key_pointer(entry), f"{quoted(entry.key)} is stored already", EXISTS)

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
            told = Provenance(source=self.source)
            bulk_create(self.session, table, [entry.draft for entry in entries], told, laws=self.laws)
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
        for facts, told in ((assumed, self._assumed), (measured, entry.told)):
            if facts:
                try:
                    add_observation(self.session, table, entry.key, facts, told, laws=self.laws)
                except InvalidValue as error:
                    self._refused([entry], error, numbered=False)

    def _replace(self, table: Subject, entry: RecordEntry, record: Record) -> None:
        """Make what the source says of a stored record what the file says; what it says already is left alone."""
        if self._says_already(table, entry, record):
            self.loaded.unchanged += 1
            return
        earlier = all_observations(self.session, table, entry.key)
        assumed = _untold(earlier, entry.assumed, self._assumed)
        measured = _untold(earlier, entry.measured, entry.told)
        kept = {} if assumed else entry.assumed
        draft, told = replace(entry.draft, facts={**entry.draft.facts, **kept}), Provenance(source=self.source)
        how: Any = {"told": told, "laws": self.laws, "also_seen": self.also_seen}
        try:
            if not assumed and not measured and not differs(table, record, draft, earlier, **how):
                self.loaded.unchanged += 1
                return
            seen, before = _seen(record), _disputed(record)
            replaced = replace_record(self.session, table, entry.key, draft, **how)
            self.loaded.given_up += len(seen - _seen(replaced) - entry.measured.keys())
            self._observe(table, entry, assumed, measured)
            self.loaded.replaced += 1
            self._standing(entry, replaced)
            if names := sorted(_disputed(replaced) - before):
                self.loaded.disputed[entry.key] = names
        except (InvalidValue, Conflict) as error:
            self._refused([entry], error, numbered=False)

    def _says_already(self, table: Subject, entry: RecordEntry, record: Record) -> bool:
        """Whether a record holds what its entry says and nothing else, of which most of a feed's do."""
        draft = entry.draft
        published = all(how.get("kind") == "published" for how in record.provenance.values())
        alone = published and not (entry.assumed or entry.measured)
        return alone and draft.stands_beside(table, record) and _same(record.facts, draft.facts)

    def _standing(self, entry: RecordEntry, record: Record) -> None:
        """Note which facts seen on the part the file says otherwise, or not at all."""
        said = {**entry.draft.facts, **entry.measured}
        stand = [name for name in _seen(record) if not _same(said.get(name), record.facts.get(name))]
        if stand:
            self.loaded.standing.append((entry.key, sorted(stand)))

    def _save(self, entry: RigEntry) -> None:
        saved = self._saved(entry.key)
        if saved is None:
            create_rig(self.session, entry.name, entry.document, entry.key)
            self.loaded.count("rig")
        elif not self.replaces:
            self._complain(entry, "/id", f"{quoted(entry.key)} is stored already", EXISTS)
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
        self, entries: Sequence[RecordEntry | RigEntry], error: InvalidValue | Conflict, *, numbered: bool = True
    ) -> set[int]:
        """Note what the store refuses, and return the numbers of the entries it is about."""
        refused = set()
        if isinstance(error, Conflict):
            self._complain(entries[0], _key_pointer(entries[0]), str(error))
            return {0}
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


def _disputed(record: Record) -> set[str]:
    """The facts of a record of which what was said cannot all hold."""
    return {name for name, how in record.provenance.items() if how.get("state") == "disputed"}


def _seen(record: Record) -> set[str]:
    """The facts of a record that somebody saw on the part itself."""
    return {name for name, how in record.provenance.items() if RANK[how["kind"]] == SEEN}


def _untold(earlier: Sequence[Entered], facts: Document, told: Provenance) -> Document:
    """Those facts, unless they were told before word for word."""
    return {} if not facts or told_before(earlier, facts, None, told) else facts


def _same(one: Json, other: Json) -> bool:
    """Whether two wire values are the same text, so that true is not 1."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)
