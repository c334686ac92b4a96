"""Rows of observations → observations in an open session, or the problems of each row."""

import json
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from itertools import groupby
from typing import Any, Final, cast

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, nearest
from fitsvc.loading.entries import TRUTHS, wire_fact
from fitsvc.loading.rows import INSTANT, Row, quoted, read_instant
from fitsvc.loading.storing import Storing
from fitsvc.observing.evidence import Contradiction, read_evidence
from fitsvc.observing.law import facts_of, rig_problems
from fitsvc.observing.recording import observe
from fitsvc.observing.requests import read_request, unfit_for_rig
from fitsvc.observing.slips import slips
from fitsvc.observing.telling import Telling
from fitsvc.store.errors import InvalidValue, NotFound
from fitsvc.store.observations import TEXTS, Provenance, sold_as
from fitsvc.store.rigs import get_known
from fitsvc.store.statements import who_said
from fitsvc.store.tables import TABLES
from fitsvc.store.taking_back import Request
from fitsvc.store.validation import Checks
from fitsvc.subjects import RIG, Subject

_MEMBERS: Final = (
    *("observed", "subject", "record", "facts", "evidence", "kind", "by", "at", "note", "tool", "condition", "photo"),
    *("source", "leant_on", "retracts", "corrects", "settles", "reason"),
)


_TOLD_OF: Final = (*TABLES, RIG)
_CHUNK: Final = 1_000
"""Rows that are taken together: their records are locked and read at once."""


def tell_all(rows: Sequence[Row], storing: Storing) -> None:
    """Record the observations of a file's rows; what is wrong is noted, what contradicts another is kept to be told."""
    telling = Telling(storing.session, storing.reader)
    for subject, group in groupby(rows, key=lambda row: row.document.get("subject")):
        told = list(group)
        for at in range(0, len(told), _CHUNK):
            chunk = told[at : at + _CHUNK]
            _open(telling, subject, chunk)
            for number, row in enumerate(chunk):
                if not _tell(row, storing, telling):
                    _open(telling, subject, chunk[number + 1 :])
    telling.finish()


def _open(telling: Telling, subject: Json, rows: Sequence[Row]) -> None:
    """Have the records at hand that some rows of a kind tell of."""
    telling.finish()
    keys = {key for row in rows if isinstance(key := row.document.get("record"), str)}
    if isinstance(subject, str) and subject in TABLES and keys:
        telling.open(cast(Subject, subject), keys)


def _tell(row: Row, storing: Storing, telling: Telling) -> bool:
    """Record one row's observation; whether that left what is at hand as it is."""
    reading = _ObservationReading(row, storing)
    told, request = reading.told(), reading.request()
    document = reading.document(request)
    reading.fit(told)
    storing.problems += reading.problems
    if reading.problems:
        return True
    facts = document["facts"]
    plain = not request.act and "evidence" not in document and None not in facts.values()
    plain = plain and document["subject"] != RIG
    try:
        if plain:
            _noted(storing, document, telling.tell(document["subject"], document["record"], facts, told))
        else:
            telling.finish()
            seen = observe(storing.session, storing.reader, document, told, request, rigs=False)
            _noted(storing, document, None if seen.repeated else seen.contradictions)
    except InvalidValue as error:
        storing.problems += [row.place(problem.field, problem.message, "") for problem in error.problems]
    return plain


def _noted(storing: Storing, document: Document, contradictions: Sequence[Contradiction] | None) -> None:
    """Count an observation that was stored; None is for one that had been told before."""
    if contradictions is None:
        storing.loaded.repeated += 1
        return
    storing.loaded.count("observation")
    for found in contradictions:
        whose = [(one, who_said(one.by, one.source)) for one in found.said]
        said = "; ".join(f"{one.kind}{f' by {who}' if who else ''} on {one.at:%Y-%m-%d}" for one, who in whose)
        storing.loaded.contradictions.append(f"{document['record']}: {found.because} ({said})")


class _ObservationReading:
    """One row being read."""

    def __init__(self, row: Row, storing: Storing) -> None:
        self.row, self.session = row, storing.session
        self.reader: FactReader = storing.reader
        self.problems: list[Problem] = []

    def told(self) -> Provenance:
        """How the row's facts come to be known: measured, if it does not say."""
        kind: Json = self.row.document.get("kind", "measured")
        texts = {name: self.row.document.get(name) or "" for name in TEXTS}
        told = Provenance(kind=kind, at=self._instant(self.row.document.get("at")), leant_on=self._leant_on(), **texts)
        checks = Checks()
        told.check(checks)
        for problem in checks.problems:
            self._complain(problem.field, problem.message)
        return told

    def _leant_on(self) -> Document | None:
        """What the row's facts leant on when they were seen, by whole names: a cell holds it as JSON."""
        told: Json = self.row.document.get("leant_on")
        if isinstance(told, str):
            with suppress(ValueError):
                told = json.loads(told)
        if told is not None and not isinstance(told, dict):
            self._complain("/leant_on", "is not what facts leant on", 'write `{"vehicle.tyre": "245/75R16"}`')
            return None
        for problem in rig_problems(self.reader, told or {}, "/leant_on"):
            self._complain(problem.pointer, problem.message, problem.help)
        return told if told is None else dict(self.reader.today(RIG, told))

    def request(self) -> Request:
        """What the row does to earlier observations."""
        document = self.row.document
        settles = document.get("settles")
        settles = TRUTHS.get(settles.casefold(), settles) if isinstance(settles, str) else settles
        asked, problems = read_request(document | ({"settles": settles} if settles else {}))
        for problem in problems:
            self._complain(problem.pointer, problem.message, problem.help)
        return asked

    def document(self, request: Request) -> Document:
        """The row as a body of `/v1/observations`."""
        row = self.row.document
        subject: Any = row.get("subject")
        key = row.get("record")
        self._names()
        if not (isinstance(subject, str) and subject in _TOLD_OF):
            near = nearest(subject, _TOLD_OF) if isinstance(subject, str) and subject else None
            help = f"did you mean `{near}`?" if near else f"it is one of {', '.join(_TOLD_OF)}"
            self._complain("/subject", f"{quoted(subject)} is not a kind of record" if subject else "is missing", help)
            return {}
        if not isinstance(key, str) or not key:
            self._complain("/record", "is missing, or no text", "write the record's id or SKU")
            return {}
        try:
            own = sold_as(get_known(self.session, subject, key))
        except NotFound as error:
            self._complain("/record", str(error), "load the record first")
            return {}
        known = facts_of(self.reader, own)
        told = row.get("facts") or {}
        if not isinstance(told, dict):
            self._complain("/facts", "`facts` holds facts by their names", 'write `{"fact": value}`')
            return {}
        names = self.reader.names_today(own)
        facts = {name: wire_fact(known.get(names.get(name, name)), value) for name, value in told.items()}
        document = {"subject": subject, "record": key, "facts": facts} | self._evidence()
        if request.act != "retracts":
            self._check(own, facts, document)
        return document | {"facts": self.reader.today(own, facts)}

    def fit(self, told: Provenance) -> None:
        """Note what is not told so of what the row tells of."""
        for problem in unfit_for_rig(self.row.document.get("subject"), told, "/kind"):
            self._complain(problem.pointer, problem.message, problem.help)

    def _names(self) -> None:
        """Note members that an observation does not have."""
        for name in self.row.document:
            if name not in _MEMBERS:
                near = nearest(name, _MEMBERS)
                help = f"did you mean `{near}`?" if near else f"it may have {', '.join(_MEMBERS[1:])}"
                self._complain(f"/{name}", f"an observation has no {quoted(name)}", help)

    def _evidence(self) -> Document:
        evidence = self.row.document.get("evidence")
        if evidence is None:
            return {}
        if not isinstance(evidence, dict):
            return {"evidence": evidence}
        said = {name: evidence[name] for name in ("stowed", "rubbed") if isinstance(evidence.get(name), str)}
        return {"evidence": evidence | {name: TRUTHS.get(text.casefold(), text) for name, text in said.items()}}

    def _check(self, own: str, facts: Document, document: Document) -> None:
        found: list[Problem] = []
        if own == RIG:
            found = rig_problems(self.reader, facts, "/facts")
        else:
            self.reader.read(own, facts, "/facts", found, {}, {})
        # What a maker publishes is taken as it stands, as in a file of records.
        typed = self.row.document.get("kind") != "published"
        found += slips(self.reader, own, facts, "/facts") if typed and not found else []
        if "evidence" in document:
            found += read_evidence(self.reader, document["evidence"], document["subject"], "/evidence")
        elif not facts:
            self._complain("/record", "the row says nothing", "fill in at least one fact, or the evidence")
        for problem in found:
            pointer = problem.pointer
            if pointer.startswith("/evidence"):
                pointer = pointer.replace("/evidence/", "/evidence_", 1)
            self._complain(pointer, problem.message, problem.help)

    def _instant(self, at: Json) -> datetime | None:
        if at is None:
            return None
        found = read_instant(at)
        if found is None:
            self._complain("/at", f"{quoted(at)} is not a date", INSTANT)
        return found

    def _complain(self, pointer: str, message: str, help: str = "") -> None:
        self.problems.append(self.row.place(pointer, message, help))
