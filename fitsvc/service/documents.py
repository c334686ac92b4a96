"""Stored things as they go over the wire, and the bodies by which callers make and change them."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final, cast, get_args
from urllib.parse import quote

import msgspec

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.observing.law import rig_problems
from fitsvc.service.bodies import read_object
from fitsvc.service.problems import wire_pointer
from fitsvc.store.errors import FieldProblem
from fitsvc.store.observations import TEXTS, Entered, Provenance
from fitsvc.store.records import Draft
from fitsvc.store.tables import Accessory, Mounting, Observation, Record, Remark, SavedRig, ToldOf
from fitsvc.store.validation import Checks
from fitsvc.subjects import RIG, SUBJECTS, Subject
from fitsvc.tongues import t

TOLD: Final = ("kind", "by", "at", "note", "tool", "condition", "photo", "source")
KEPT: Final = dict.fromkeys(("provenance", "version", "created_at", "updated_at"), "the service keeps it; leave it out")
"""Help for what callers read and may not write."""


@dataclass(frozen=True, slots=True)
class RecordKind:
    """A kind of record as a resource of the API."""

    subject: Subject

    @property
    def many(self) -> str:
        """The word for many of them, in paths."""
        return SUBJECTS[self.subject].many

    @property
    def key(self) -> str:
        """The member that names a record."""
        return SUBJECTS[self.subject].key

    @property
    def links(self) -> tuple[str, ...]:
        """The members that name other records."""
        return SUBJECTS[self.subject].links

    @property
    def members(self) -> tuple[str, ...]:
        """What a body may have."""
        own = ("subject",) if self.subject == "accessory" else self.links
        return (self.key, *own, "label", "facts", "told")

    def path(self, key: str = "") -> str:
        """The resource's path; a SKU may hold what a URL cannot."""
        return f"/v1/{self.many}/{quote(key, safe='')}" if key else f"/v1/{self.many}"


KINDS: Final = tuple(map(RecordKind, get_args(Subject)))


def record_document(record: Record) -> Document:
    """Return a record as the API shows it."""
    own: Document = {"id": record.key}
    if isinstance(record, Accessory):
        own = {"sku": record.sku, "subject": record.subject}
    elif isinstance(record, Mounting):
        own |= {"vehicle": record.vehicle_id, "receiver": record.receiver_id}
    return own | {
        "label": record.label,
        "facts": record.facts,
        "provenance": record.provenance,
        "version": record.version,
        "created_at": record.created_at,
        "updated_at": record.updated_at,
    }


def rig_document(rig: SavedRig) -> Document:
    """Return a saved rig as the API shows it."""
    return {
        "id": rig.id,
        "name": rig.name,
        "rig": rig.document,
        "facts": rig.facts,
        "provenance": rig.provenance,
        "version": rig.version,
        "created_at": rig.created_at,
        "updated_at": rig.updated_at,
    }


def told_document(told_of: ToldOf) -> Document:
    """Return what something was told of, a record or a saved rig, as the API shows it."""
    return rig_document(told_of) if isinstance(told_of, SavedRig) else record_document(cast(Record, told_of))


def observation_document(observation: Observation | Entered) -> Document:
    """Return an observation as the API shows it."""
    return {
        "id": observation.id,
        "subject": observation.subject,
        "record": observation.record_id,
        "facts": observation.facts,
        "kind": observation.kind,
        "by": observation.by,
        "at": observation.at.astimezone(UTC),
        "note": observation.note,
        "recorded_at": observation.recorded_at,
        "evidence": observation.evidence,
        "written_by": observation.written_by,
        "tool": observation.tool,
        "condition": observation.condition,
        "photo": observation.photo,
        "source": observation.source,
        "act": observation.act,
        "reason": observation.reason,
        "takes_back": observation.takes_back or {},
    }


def remark_document(remark: Remark) -> Document:
    """Return a remark on a rule as the API shows it."""
    return {
        "id": remark.id,
        "rule": remark.rule,
        "question": remark.question,
        "outcome": remark.outcome,
        "result": remark.result,
        "reason": remark.reason,
        "text": remark.text,
        "by": remark.by,
        "written_by": remark.written_by,
        "rulebook": remark.digest,
        "made_at": remark.made_at,
        "closed_at": remark.closed_at,
        "closed_by": remark.closed_by,
        "closed_because": remark.closed_because,
    }


def read_draft(kind: RecordKind, document: Json, reader: FactReader, by: str, *, new: bool) -> tuple[Draft, Provenance]:
    """Read a record's body; facts told without a name are told by the key's holder."""
    required = (("sku", "subject") if new else ("subject",)) if kind.subject == "accessory" else kind.links
    problems = read_object(document, kind.members, required, told=KEPT)
    sold_as, facts = _or(document.get("subject"), "accessory"), _or(document.get("facts"), {})
    links = {f"{name}_id": document.get(name) for name in kind.links}
    draft = Draft(
        key=document.get(kind.key),
        label=_or(document.get("label"), ""),
        facts=facts,
        sold_as=sold_as,
        **links,
    )
    subject = sold_as if kind.subject == "accessory" else kind.subject
    problems += read_facts(reader, subject, facts, "/facts")
    told, more = read_told(document.get("told"), "published", by, "/told")
    checks = Checks()
    draft.check(kind.subject, checks)
    if new and draft.key is not None:
        checks.key(kind.subject, draft.key)
    _finish(problems + more, [replace(one, field=wire_pointer(one.field)) for one in checks.problems])
    return replace(draft, facts=reader.today(subject, facts)), told


def read_told(document: Json, kind: str, by: str, pointer: str) -> tuple[Provenance, list[Problem]]:
    """Read how facts come to be known; the problems lie under a pointer."""
    if document is None:
        document = {}
    if not isinstance(document, dict):
        return Provenance(), [
            Problem(t("`told` is not an object"), t("it may have {listed}", listed=", ".join(TOLD)), pointer=pointer)
        ]
    problems = read_object(document, TOLD)
    at, fault = _instant(document.get("at"))
    texts = {name: _or(document.get(name), "") for name in TEXTS if name != "by"}
    by_whom = {"by": _or(document.get("by"), by), "written_by": by}
    told = Provenance(kind=_or(document.get("kind"), kind), at=at, **by_whom, **texts)
    checks = Checks()
    told.check(checks)
    problems += fault + [
        Problem(one.message, pointer=one.field, meaning=True, kind=one.kind) for one in checks.problems
    ]
    return told, [replace(one, pointer=pointer + one.pointer) for one in problems]


def read_facts(reader: FactReader, subject: Json, facts: Json, pointer: str) -> list[Problem]:
    """Return what is wrong with facts by the vocabulary."""
    if not isinstance(facts, dict) or not isinstance(subject, str):
        return []
    if subject == RIG:
        return rig_problems(reader, facts, pointer)
    problems: list[Problem] = []
    if subject in reader.subjects:
        reader.read(subject, facts, pointer, problems, {}, {})
    return problems


def finish(problems: Iterable[Problem]) -> None:
    """Raise the problems, if there are any."""
    if found := list(problems):
        raise ProblemsFound(found)


def _finish(problems: list[Problem], more: Iterable[FieldProblem]) -> None:
    """Raise all problems; where the vocabulary has spoken, the store need not."""
    told = [one.pointer for one in problems]
    unsaid = [one for one in more if not _spoken(one.field, told)]
    finish(problems + [Problem(one.message, pointer=one.field, meaning=True, kind=one.kind) for one in unsaid])


def _spoken(field: str, told: list[str]) -> bool:
    return any(field == pointer or field.startswith(f"{pointer}/") for pointer in told)


def _instant(value: Json) -> tuple[datetime | None, list[Problem]]:
    if value is None:
        return None, []
    try:
        return msgspec.convert(value, datetime), []
    except msgspec.ValidationError:
        help = t("write it with its zone, such as `2024-05-01T12:00:00Z`")
        return None, [Problem(t("is not a date and time"), help, pointer="/at")]


def _or(value: Json, default: Json) -> Json:
    return default if value is None else value
