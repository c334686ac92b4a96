"""A row of a record file → an entry for the store, or every problem of the row."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any, Final

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader, escape
from fitsvc.language.problems import Problem, nearest
from fitsvc.language.types import TruthType
from fitsvc.loading.rows import INSTANT, Row, quoted, read_instant
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft
from fitsvc.subjects import SOLD, STORED, SUBJECTS

_COMMON: Final = ("subject", "label", "facts", "assumed", "measured")
_MEASURED: Final = ("facts", "by", "at", "note")
_RIG: Final = ("subject", "id", "name", "rig")
_NOT_MEASURED: Final = Provenance(kind="measured")
TRUTHS: Final = {
    **dict.fromkeys(("yes", "true", "y", "sí", "ja"), True),
    **dict.fromkeys(("no", "false", "n", "nein"), False),
}
"""Yes and no as files of texts have them, in English, Spanish and German."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordEntry:
    """One record to be stored: its published facts in the draft, the assumed and the measured ones beside it."""

    row: Row
    subject: str
    key: str
    draft: Draft
    assumed: Document = field(default_factory=dict)
    measured: Document = field(default_factory=dict)
    told: Provenance = _NOT_MEASURED


@dataclass(frozen=True, slots=True)
class RigEntry:
    """One rig to be saved."""

    row: Row
    key: str
    name: str
    document: Document


def read_entry(row: Row, reader: FactReader, problems: list[Problem]) -> RecordEntry | RigEntry | None:
    """Read a row; None when it has problems, which are added to those given."""
    reading = _EntryReading(row, reader)
    entry = reading.entry()
    problems += reading.problems
    return None if reading.problems else entry


class _EntryReading:
    """One row being read."""

    def __init__(self, row: Row, reader: FactReader) -> None:
        self.row, self.reader = row, reader
        self.problems: list[Problem] = []

    def entry(self) -> RecordEntry | RigEntry | None:
        document = self.row.document
        subject = document.get("subject")
        if subject == "rig":
            return self._rig()
        if not isinstance(subject, str) or subject not in STORED:
            self._subject(subject)
            return None
        links = SUBJECTS[subject].links
        self._keys(document, "", f"a {subject}", (SUBJECTS[subject].key, *links, *_COMMON))
        key = self._text(SUBJECTS[subject].key, required=True)
        label = self._text("label")
        facts = self._facts(subject, document.get("facts"), "/facts")
        assumed = self._facts(subject, document.get("assumed"), "/assumed")
        measured, told = self._measured(subject, document.get("measured"))
        for name in assumed.keys() & (facts.keys() | measured.keys()):
            self._complain(f"/assumed/{escape(name)}", f"`{name}` is known as well as assumed", "keep what is known")
        vehicle, receiver = (self._text(link, required=True) for link in links) if links else (None, None)
        sold_as: Any = subject if subject in SOLD else "accessory"
        draft = Draft(key=key, label=label, facts=facts, vehicle_id=vehicle, receiver_id=receiver, sold_as=sold_as)
        return RecordEntry(
            row=self.row, subject=subject, key=key, draft=draft, assumed=assumed, measured=measured, told=told
        )

    def _rig(self) -> RigEntry:
        self._keys(self.row.document, "", "a rig", _RIG)
        document = self.row.document.get("rig")
        if not isinstance(document, dict):
            self._complain("/rig", "the rig's own `rig` is missing", "write it as the `rig` of a question")
            document = {}
        return RigEntry(self.row, self._text("id", required=True), self._text("name", required=True), document)

    def _subject(self, subject: Json) -> None:
        listed = ", ".join(f"`{one}`" for one in STORED)
        if subject in (None, ""):
            self._complain("/subject", "the record does not say what it is of", f"its `subject` is one of {listed}")
            return
        near = nearest(subject, STORED) if isinstance(subject, str) else None
        help = f"did you mean `{near}`? It is one of {listed}" if near else f"it is one of {listed}"
        self._complain("/subject", f"{quoted(subject)} is not a subject", help)

    def _keys(self, document: Mapping[str, Json], pointer: str, what: str, known: tuple[str, ...]) -> None:
        for key in document:
            if key not in known:
                near = nearest(key, known)
                listed = ", ".join(f"`{name}`" for name in known)
                help = f"did you mean `{near}`?" if near else f"it may have {listed}"
                self._complain(f"{pointer}/{escape(key)}", f"{what} has no {quoted(key)}", help)

    def _text(self, key: str, *, required: bool = False) -> str:
        value = self.row.document.get(key)
        if isinstance(value, str) and (value or not required):
            return value
        if value is not None and value != "":
            self._complain(f"/{key}", f"{quoted(value)} is not a text", f"write the {key} in quotes")
        elif required:
            self._complain(f"/{key}", f"the `{key}` is missing", f"every {self.row.document['subject']} here has one")
        return ""

    def _facts(self, subject: str, facts: Json, pointer: str) -> Document:
        """The known facts as they are stored, once they are found to be facts."""
        if facts is None:
            return {}
        if not isinstance(facts, dict):
            self._complain(pointer, f"`{pointer[1:]}` holds facts by their names", "write `fact: value`")
            return {}
        fact = partial(self.reader.fact, subject)
        wired = {name: wire_fact(fact(name), value) for name, value in facts.items()}
        found: list[Problem] = []
        self.reader.read(subject, wired, pointer, found, {}, {})
        for problem in found:
            self._complain(problem.pointer, problem.message, problem.help)
        told = self.reader.today(subject, wired)
        return {name: value for name, value in told.items() if value is not None}

    def _measured(self, subject: str, measured: Json) -> tuple[Document, Provenance]:
        if measured is None:
            return {}, _NOT_MEASURED
        if not isinstance(measured, dict):
            self._complain("/measured", "`measured` has `facts`, and may have `by`, `at` and `note`", "write them so")
            return {}, _NOT_MEASURED
        self._keys(measured, "/measured", "`measured`", _MEASURED)
        facts = self._facts(subject, measured.get("facts"), "/measured/facts")
        if not facts:
            self._complain("/measured", "`measured` names no facts", "write what was measured under `facts`")
        texts = {key: measured.get(key) or "" for key in ("by", "note")}
        for key, value in texts.items():
            if not isinstance(value, str):
                self._complain(f"/measured/{key}", f"{quoted(value)} is not a text", "write it in quotes")
        return facts, Provenance(
            kind="measured", by=str(texts["by"]), at=self._instant(measured.get("at")), note=str(texts["note"])
        )

    def _instant(self, at: Json) -> datetime | None:
        if at is None:
            return None
        found = read_instant(at)
        if found is None:
            self._complain("/measured/at", f"{quoted(at)} is not a date", INSTANT)
        return found

    def _complain(self, pointer: str, message: str, help: str = "") -> None:
        self.problems.append(self.row.place(pointer, message, help))


def wire_fact(fact: Fact | None, value: Json) -> Json:
    """A value from a file as JSON has it: files of texts write counts and yes/no as texts."""
    if fact is None or fact.tyre or fact.kind == "text":
        return value
    if isinstance(value, str):
        if fact.kind == "count" and value.isascii() and value.isdigit() and len(value) < 16:
            return int(value)
        return TRUTHS.get(value, value) if isinstance(fact.type, TruthType) else value
    if isinstance(value, dict) and fact.kind == "count":
        return {key: wire_fact(fact, inner) for key, inner in value.items()}
    return value
