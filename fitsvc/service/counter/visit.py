"""A visit to a vehicle with a tape: what is measured, as the fields of its address, and as statements to record.

Each reading is a field by the fact's name, as it is written in a cell of a file; `with.FACT` is the tool it was taken
with, `cannot` lists the facts that could not be measured, `tried` what was tried. So an address keeps a visit.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Final
from urllib.parse import parse_qsl, urlencode

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import QuantityError, parse_any
from fitsvc.language.types import NumberType
from fitsvc.loading.cells import read_cell
from fitsvc.observing.slips import slips
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.counter.links import Fields, unit_of
from fitsvc.subjects import OF_YARD
from fitsvc.tongues import later

LONGEST: Final = 80
"""Longest field of a visit that is no reading, in characters: a tyre, a tool, a name on a label."""
MOST_TRIED: Final = 20
"""So many things are tried in one visit."""
TRIED: Final = ("sku", "state", "result", "gap", "through")
"""The fields of an item that was tried."""
SPARES: Final[Mapping[str, tuple[str, Document]]] = {
    "stowed": (later("went up"), {"stowed": True}),
    "rubbed": (later("went up, and rubs"), {"stowed": True, "rubbed": True}),
    "blocked": (later("did not go up"), {"stowed": False}),
}
"""What can come of trying a spare: in words, and as evidence."""


@dataclass(frozen=True, slots=True)
class Tool:
    """What a length is measured with, and how far off that may be, in inches and in millimetres.

    Common practice, no source.
    """

    name: str
    us: str
    metric: str

    def off(self, system: System) -> str:
        """How far off a reading may be."""
        return self.us if system == "us" else self.metric


TOOLS: Final = (
    Tool(later("steel rule"), "1/16 in", "2 mm"),
    Tool(later("tape"), "1/8 in", "3 mm"),
    Tool(later("tape, hard to reach"), "1/4 in", "6 mm"),
    Tool(later("by eye"), "1/2 in", "12 mm"),
)
_KINDS: Final[Mapping[str, str]] = {"tape": "measured", "scales": "measured"}
"""How what is learnt by an effort is known; by any other it is read off the part or the vehicle."""
_OWN: Final = ("vehicle", "receiver", "mounting", "called", "cannot", "tried", "units")


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What is at hand, and what has been read: texts by fact, the tools, what cannot be measured, what was tried.

    `called` is what the label of a receiver says that is not stored yet.
    """

    vehicle: str = ""
    receiver: str = ""
    mounting: str = ""
    called: str = ""
    readings: Mapping[str, str] = field(default_factory=dict)
    tools: Mapping[str, str] = field(default_factory=dict)
    cannot: tuple[str, ...] = ()
    tried: tuple[Document, ...] = ()
    system: System = "us"

    def fields(self) -> dict[str, str]:
        """The fields of its address."""
        own = {"vehicle": self.vehicle, "receiver": self.receiver, "mounting": self.mounting, "called": self.called}
        own |= self.readings
        own |= {f"with.{name}": tool for name, tool in self.tools.items() if name in self.readings}
        own |= {"cannot": ",".join(self.cannot), "tried": "|".join(map(urlencode, self.tried))}
        return {name: text for name, text in (own | shown(self.system)).items() if text}

    @property
    def place(self) -> str:
        """What of it is measured, which tells visits apart."""
        return "/".join((self.vehicle, self.receiver or self.called))

    def rig(self, facts: Mapping[str, Mapping[str, Json]]) -> Document:
        """The rig with what has been read of it, as a question has it."""
        keys = {"vehicle": self.vehicle, "receiver": self.receiver, "mounting": self.mounting}
        parts = {subject: {"id": keys[subject]} if keys[subject] else {} for subject in OF_YARD}
        told = {
            subject: part | ({"facts": dict(facts[subject])} if subject in facts else {})
            for subject, part in parts.items()
        }
        return {subject: part for subject, part in told.items() if part}

    def record(self, subject: str) -> str:
        """The record that a reading of a subject is kept for; of what is not stored yet the one to be made."""
        if subject == "vehicle":
            return self.vehicle
        receiver = self.receiver or _made("rcv_", self.vehicle, self.called)
        return receiver if subject == "receiver" else self.mounting or _made("mnt_", self.vehicle, receiver)


def shown(system: System) -> dict[str, str]:
    """The field that keeps the units, where they are not the usual ones."""
    return {} if system == "us" else {"units": system}


def read_visit(fields: Fields, reader: FactReader, system: System) -> Visit:
    """The visit that some fields tell; what is no field of one is left out."""
    facts = reader.vocabulary.facts
    readings = {
        name: text for name, text in fields.items() if name in facts and facts[name].subject in OF_YARD and text
    }
    tried = [dict(parse_qsl(part)) for part in fields.get("tried", "").split("|") if part][:MOST_TRIED]
    return Visit(
        vehicle=fields.get("vehicle", ""),
        receiver=fields.get("receiver", ""),
        mounting=fields.get("mounting", ""),
        called=fields.get("called", "")[:LONGEST],
        readings=readings,
        tools={name: fields[f"with.{name}"][:LONGEST] for name in readings if fields.get(f"with.{name}")},
        cannot=tuple(name for name in fields.get("cannot", "").split(",") if name in facts),
        tried=tuple(one for one in tried if evidence_of(one)),
        system=system,
    )


def kept_in(fields: Fields, reader: FactReader, system: System) -> dict[str, str]:
    """The fields of a visit to the rig of a question, with what that tells of it; none where no record is named.

    With anything to keep it is `send` that the page begins with.
    """
    visit = read_visit(fields, reader, system)
    if not (visit.mounting or (visit.vehicle and visit.receiver) or fields.get("rig")):
        return {}
    rig = {"rig": fields["rig"]} if fields.get("rig") else {}
    return visit.fields() | rig | ({"send": "yes"} if visit.readings else {})


def with_off(text: str, fact: Fact, tool: str, system: System, reader: FactReader) -> str:
    """A reading with how far off its tool may be, unless it says itself how sure it is."""
    off = next((one.off(system) for one in TOOLS if one.name == tool), "")
    read = read_cell(text, fact, unit_of(fact, system), reader.bounds)
    if not off or fact.kind != "length" or not isinstance(read, str) or not _is_figure(read):
        return text
    return f"{read} ± {off}"


def _is_figure(text: str) -> bool:
    """Whether a text is one figure, without a word of how sure it is."""
    try:
        parse_any(text)
    except QuantityError:
        return False
    return True


def read_readings(visit: Visit, reader: FactReader) -> tuple[dict[str, dict[str, Json]], dict[str, list[Problem]]]:
    """The readings that can be read, by subject and fact, and what is wrong with the others, by the fact's name."""
    told: dict[str, dict[str, Json]] = {}
    wrong: dict[str, list[Problem]] = {}
    for name, text in visit.readings.items():
        fact = reader.vocabulary.facts[name]
        value = read_cell(text, fact, unit_of(fact, visit.system), reader.bounds)
        try:
            reader.value(fact, value)
            found = slips(reader, fact.subject, {fact.short: value}, "")
        except ProblemsFound as refused:
            found = list(refused.problems)
        if found:
            wrong[name] = found
        else:
            told.setdefault(fact.subject, {})[fact.short] = value
    return told, wrong


def statements(
    visit: Visit, told: Mapping[str, Mapping[str, Json]], reader: FactReader, beside: Mapping[str, str]
) -> Iterator[Document]:
    """What was read and tried as bodies of observations: one for each record, kind of knowing and tool.

    `beside` is what stands with each: who, when, in what condition.
    """
    grouped: dict[tuple[str, str, str], Document] = {}
    for subject, facts in told.items():
        for short, value in facts.items():
            fact = reader.vocabulary.facts[f"{subject}.{short}"]
            kind = _KINDS.get(fact.effort, "read")
            tool = visit.tools.get(fact.name, "") if isinstance(fact.type, NumberType) else ""
            grouped.setdefault((subject, kind, tool), {})[short] = value
    for (subject, kind, tool), facts in grouped.items():
        body: Document = {"subject": subject, "record": visit.record(subject), "kind": kind, "facts": facts}
        yield body | ({"tool": tool} if tool else {}) | dict(beside)
    for one in visit.tried:
        tried = {"subject": "mounting", "record": visit.record("mounting"), "kind": "tried"}
        yield tried | {"evidence": evidence_of(one), **beside}


def evidence_of(tried: Mapping[str, str]) -> Document:
    """What a form says was tried, as evidence: a spare and what came of it, or an item, how, and what came of it.

    Several adapters that it hung on have commas between.
    """
    if tried.get("tyre"):
        return {"tyre": tried["tyre"][:LONGEST], **SPARES.get(tried.get("came", ""), ("", {}))[1]}
    found: Document = {name: tried[name][:LONGEST] for name in TRIED if tried.get(name)}
    adapters = [one for one in map(str.strip, found.pop("through", "").split(",")) if one]
    through = {"through": adapters if len(adapters) > 1 else adapters[0]} if adapters else {}
    return found | through if "sku" in found else {}


def needs_mounting(visit: Visit, told: Mapping[str, Sequence[str] | Mapping[str, Json]]) -> bool:
    """Whether something is told of how a receiver sits that is stored on no such vehicle yet."""
    return not visit.mounting and bool(visit.tried or "mounting" in told or visit.called)


def _made(prefix: str, *parts: str) -> str:
    """An id that the same parts make again, so that what is sent twice is one record."""
    return prefix + blake2b("\0".join(parts).encode(), digest_size=8).hexdigest()
