"""The vocabulary: subjects, lists and facts, from which schemas, forms, columns and error texts all come."""

import re
from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from typing import Final, Literal

from fitsvc.language.display import DISPLAY_UNITS
from fitsvc.language.intervals import Bounds
from fitsvc.language.problems import nearest
from fitsvc.language.quantities import DIMENSIONS, LENGTH, MASS, Dimension, QuantityError, parse_any, parse_quantity
from fitsvc.language.types import TEXT, TRUTH, FactType, ListType, Mask, NumberType, TextType, Type, Value
from fitsvc.rulebook.forms import QUANTITY, Form, by_name, either, many, named, one_of
from fitsvc.rulebook.forms import TEXT as WRITTEN
from fitsvc.rulebook.measuring import KEYS, POINTS, Tape, read_tape
from fitsvc.rulebook.roles import MEMBER, ROLE, Role, read_members
from fitsvc.rulebook.serving import SERVICES, Service, read_service
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence
from fitsvc.tongues import spoken

EFFORTS: Final = ("ask", "label", "tape", "scales", "dealer")
"""How much work learning a fact is, least first."""

PRESENCES: Final = ("always", "asked", "repeated")
TYRE_PARTS: Final = ("diameter", "width", "rim", "load")
"""What expressions read of a tyre; its load only of one whose designation has a load index."""

_NAME: Final = re.compile(r"[a-z][a-z0-9_]*\Z")
_MEMBER: Final = re.compile(r"[A-Za-z][A-Za-z0-9_]*\Z")
_MOST_MEMBERS: Final = 60
DEFAULT_UNITS: Final = {"length": "in", "mass": "lb", "angle": "deg", "force": "kN", "torque": "ft-lb", "ratio": "%"}
VALUE_TYPES: Final = (*DEFAULT_UNITS, "count", "yes_no")
"""The types that a value has, beside the lists."""
FACT_TYPES: Final = (*DIMENSIONS, "yes_no", "text", "tyre")
"""The types that a fact has, beside the lists."""
TOLERANCES: Final = Form("tolerances", {}, dict.fromkeys(DIMENSIONS, QUANTITY))
FORMERLY: Final = "formerly"
"""Under this key a fact says what it was called before, and a list which of its members were."""
_MEMBERS: Final = either(by_name(either(WRITTEN, MEMBER.kind)), many(QUANTITY))
LIST: Final = Form(
    "a list",
    {"members": _MEMBERS},
    {"dimension": one_of(*DIMENSIONS), "meaning": WRITTEN, "roles": by_name(ROLE.kind), FORMERLY: by_name(WRITTEN)},
)
LISTS_FILE: Final = Form(
    "a vocabulary of lists",
    {"lists": by_name(LIST.kind)},
    {"tolerances": by_name(TOLERANCES.kind, one_of(*EFFORTS))},
)
_ENDS: Final = many(QUANTITY, minItems=2, maxItems=2)
_PRESENCE: Final = ("always", "asked")
_GATHERED: Final = ("largest", "smallest")
FACT: Final = Form(
    "a fact",
    {
        "type": named("fact_type"),
        "label": WRITTEN,
        "meaning": WRITTEN,
        "how_to_measure": WRITTEN,
        "effort": one_of(*EFFORTS),
    },
    {
        "range": _ENDS,
        "shown_in": named("unit"),
        "presence": one_of(*_PRESENCE),
        "tolerance": QUANTITY,
        "gathered": one_of(*_GATHERED),
        "leans_on": many(named("fact")),
        "sum_of": many(named("fact"), minItems=2),
        "usual": _ENDS,
        "below_zero": WRITTEN,
        "above_zero": WRITTEN,
        "serves": one_of(*SERVICES),
        FORMERLY: many(WRITTEN, minItems=1),
        **dict.fromkeys(KEYS, many(one_of(*POINTS), minItems=2, maxItems=2)),
    },
)
SUBJECT_FILE: Final = Form(
    "a vocabulary file",
    {"subject": WRITTEN, "title": WRITTEN, "presence": one_of(*PRESENCES), "facts": by_name(FACT.kind)},
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One named, typed value of a subject. `range` and `type` are in inside units; a tyre's `type` is text.

    An `asked` fact opens a topic: the question is about it when it names it, and rules that read it are
    silent otherwise. `tape` says between which points it is measured, for the drawing. A measurement told without
    a tolerance has `tolerance`, as `tolerance_text`. Of what is `gathered` each telling is one case that was tried, and
    the largest or smallest is the fact. A reading of it holds as long as what it `leans_on` is what it was.
    Where nobody tells it and each of what it is the `sum_of` is told, it is what these come to.
    `usual` is where nearly every one lies: outside of it a figure is taken, and asked about. A figure below zero is
    told without its sign, by the words `below_zero`, and one above zero beside it by the words `above_zero`. What
    fitsvc itself makes use of it for is what it `serves`.
    What is told under a name that it had `formerly`, within its subject, is told of it.
    """

    name: str
    type: FactType
    kind: str
    label: str
    meaning: str
    how_to_measure: str
    effort: str
    shown_in: str = ""
    range: Bounds | None = None
    range_text: tuple[str, str] | None = None
    asked: bool = False
    tape: Tape | None = None
    tolerance: float = 0.0
    tolerance_text: str = ""
    gathered: Literal["", "largest", "smallest"] = ""
    leans_on: tuple[str, ...] = ()
    sum_of: tuple[str, ...] = ()
    usual: Bounds | None = None
    below_zero: str = ""
    above_zero: str = ""
    serves: Service = ""
    formerly: tuple[str, ...] = ()

    @property
    def brought_up(self) -> bool:
        """Whether a customer brings it up or nobody does: it opens a topic, and no label tells it."""
        return self.asked and self.effort == "ask"

    @property
    def rating(self) -> bool:
        """Whether it is a weight or force that a maker tells, on a label or a sheet: of two the lower counts."""
        return self.kind in ("mass", "force") and self.effort in ("ask", "label", "dealer")

    @property
    def subject(self) -> str:
        """The subject the fact is of."""
        return self.name.split(".", 1)[0]

    @property
    def short(self) -> str:
        """The fact's name within its subject."""
        return self.name.split(".", 1)[1]

    @property
    def the(self) -> str:
        """The fact as it is spoken of within a sentence."""
        return spoken(self.label)

    @property
    def tyre(self) -> bool:
        """Whether the fact is a tyre designation, which expressions read by its parts."""
        return self.kind == "tyre"


@dataclass(frozen=True, slots=True)
class Subject:
    """What facts are about; `presence` says whether it is always, only when asked about, or repeatedly there."""

    name: str
    title: str
    presence: str


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Every subject, list and fact of a rulebook.

    `words` gives a list member's wording for people, `roles` the roles of those lists that have any.
    """

    subjects: Map[str, Subject]
    lists: Map[str, ListType]
    words: Map[str, Map[str, str]]
    facts: Map[str, Fact]
    roles: Map[str, tuple[Role, ...]] = field(default_factory=dict)

    def slots(self) -> dict[str, Type]:
        """What expressions may read: the facts but for texts, and a tyre's parts in place of the tyre."""
        slots: dict[str, Type] = {}
        for fact in self.facts.values():
            if not isinstance(fact.type, TextType):
                slots[fact.name] = fact.type
            if fact.tyre:
                parts = {part: MASS if part == "load" else LENGTH for part in TYRE_PARTS}
                slots |= {f"{fact.name}.{part}": NumberType(one, negative=False) for part, one in parts.items()}
        return slots

    def texts(self) -> frozenset[str]:
        """The facts that are told to people and read by no rule, as text."""
        return frozenset(fact.name for fact in self.facts.values() if isinstance(fact.type, TextType))

    def ranges(self) -> dict[str, tuple[Bounds, tuple[str, str]]]:
        """What each fact with a figure can be: its range in the inside unit, and as it is written."""
        facts = self.facts.values()
        return {one.name: (one.range, one.range_text) for one in facts if one.range and one.range_text}

    def fact_of(self, slot: str) -> Fact | None:
        """The fact a slot is (part of)."""
        return self.facts.get(slot) or self.facts.get(slot.rpartition(".")[0])

    def of(self, subject: str) -> dict[str, Fact]:
        """A subject's facts by their short names."""
        return {fact.short: fact for fact in self.facts.values() if fact.subject == subject}

    def naming(self) -> dict[str, Fact]:
        """The facts that tell one configuration of a vehicle from another by a word or a count."""
        return {
            fact.name: fact
            for fact in self.of("vehicle").values()
            if (
                (fact.kind == "text" and fact.effort == "ask")
                or fact.kind == "count"
                or isinstance(fact.type, ListType)
            )
            and fact.serves != "equipment"
        }

    def former(self, subject: str) -> dict[str, Fact]:
        """A subject's facts by what they were called before."""
        return {was: fact for fact in self.of(subject).values() for was in fact.formerly}

    def serving(self, service: Service, subject: str = "") -> list[str]:
        """The names of the facts that serve for something, of one subject where it is named."""
        return [one.name for one in self.facts.values() if one.serves == service and subject in ("", one.subject)]

    def role_facts(self) -> Iterator[tuple[str, Fact, Role]]:
        """Each role of each fact that is chosen from a list with roles, by the name that rules read it by.

        Of a subject that a question may hold several of, such as adapters, there is no one fact and so no role.
        """
        for fact in self.facts.values():
            if self.subjects[fact.subject].presence != "repeated":
                for role in self.roles.get(fact.kind, ()):
                    yield f"{fact.short}.{role.name}", fact, role

    def kinds_instead(self, fact: str, kind: Value | None) -> list[Mask]:
        """The other members of a fact's list of which one may do in place of one of this kind, each as its bit.

        None of a kind that is not surely one.
        """
        of = self.facts.get(fact)
        if of is None or not isinstance(of.type, ListType) or not isinstance(kind, int) or kind.bit_count() != 1:
            return []
        members, own = of.type.members, of.type.members[kind.bit_length() - 1]
        able = {
            one for role in self.roles.get(of.kind, ()) if role.instead and own in role.members for one in role.members
        }
        return [Mask(1 << place) for place, member in enumerate(members) if member in able and member != own]

    def asked(self) -> frozenset[str]:
        """The subjects that a question may leave out."""
        return frozenset(name for name, subject in self.subjects.items() if subject.presence == "asked")

    def asked_facts(self) -> frozenset[str]:
        """The facts that a question is about only when it names them, a tyre's load among them."""
        loads = (f"{fact.name}.load" for fact in self.facts.values() if fact.tyre)
        return frozenset(fact.name for fact in self.facts.values() if fact.asked).union(loads)


@dataclass(slots=True)
class Lists:
    """The lists read so far: their types, words for members and roles, each by the list's name.

    `tolerances` are those of a measurement that tells none, by the fact's effort and kind.
    """

    types: dict[str, ListType] = field(default_factory=dict)
    words: dict[str, Map[str, str]] = field(default_factory=dict)
    roles: dict[str, tuple[Role, ...]] = field(default_factory=dict)
    tolerances: dict[tuple[str, str], str] = field(default_factory=dict)


def read_lists(shape: Shape, tree: Node, lists: Lists) -> None:
    """Read `lists` of one file into those read so far."""
    top = shape.form(tree, LISTS_FILE)
    _tolerances(shape, top, lists)
    for name, node in shape.open_mapping(top.entries["lists"] if top else None, "`lists`"):
        entry = shape.form(node, LIST, f"list `{name}`")
        if entry is None:
            continue
        members = entry.entries["members"]
        if "dimension" in entry.entries:
            lists.types[name] = _size_list(shape, name, entry)
            lists.words[name] = {member: member for member in lists.types[name].members}
        else:
            _plain_list(shape, name, entry, lists)
        if not 0 < len(lists.types[name].members) <= _MOST_MEMBERS:
            count = len(lists.types[name].members)
            shape.complain(members, f"list `{name}` has {count} members", f"1 to {_MOST_MEMBERS}")


def _tolerances(shape: Shape, top: Mapping | None, lists: Lists) -> None:
    """Read how far off a measurement may be that does not say it, by effort and kind of figure."""
    for effort, node in shape.open_mapping(top.entries.get("tolerances") if top else None, "`tolerances`"):
        if effort not in EFFORTS:
            shape.complain(node, f"`{effort}` is not an effort", ", ".join(EFFORTS))
        entry = shape.form(node, TOLERANCES, f"tolerances of `{effort}`")
        if entry is None:
            continue
        for kind in (one for one in entry.entries if one in DIMENSIONS):
            text = shape.text(entry, kind)
            if _end(shape, entry.entries[kind], DIMENSIONS[kind], kind) is not None:
                lists.tolerances[effort, kind] = text


def _plain_list(shape: Shape, name: str, entry: Mapping, lists: Lists) -> None:
    told = read_members(shape, name, entry)
    nodes = dict(shape.open_mapping(entry.entries["members"], f"members of `{name}`"))
    for member in told.words:
        if not _MEMBER.match(member):
            shape.complain(nodes[member], f"`{member}` cannot be a member's name", "use letters, digits and `_`")
    lists.types[name] = ListType(name, tuple(told.words), former=_former_members(shape, entry, tuple(told.words)))
    lists.words[name] = told.words
    if told.roles:
        lists.roles[name] = told.roles


def _former_members(shape: Shape, entry: Mapping, members: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """What members were called before, each with its name of today."""
    found = []
    for was, node in shape.open_mapping(entry.entries.get(FORMERLY), f"`{FORMERLY}`"):
        now = node.value if isinstance(node, Scalar) else ""
        if was in members:
            shape.complain(node, f"`{was}` is a member, so it cannot stand for another", "leave it out here")
        elif now not in members:
            near = nearest(now, members)
            help = f"did you mean `{near}`?" if near else f"write `{was}: MEMBER`"
            shape.complain(node, f"`{now}` is no member of this list", help)
        else:
            found.append((was, now))
    return tuple(found)


def _size_list(shape: Shape, name: str, entry: Mapping) -> ListType:
    dimension = DIMENSIONS[shape.one_of(entry, "dimension", DIMENSIONS)]
    members: dict[str, float] = {}
    for item in shape.items(entry.entries["members"], f"members of `{name}`"):
        text = item.value or "" if isinstance(item, Scalar) else ""
        try:
            members[text] = parse_quantity(text, dimension)
        except QuantityError as error:
            shape.complain(item, error.message, error.help)
    return ListType(name, tuple(members), tuple(members.values()), dimension)


def read_subject(shape: Shape, tree: Node, lists: Lists, subjects: dict[str, Subject], facts: dict[str, Fact]) -> None:
    """Read one subject's file into the given dictionaries."""
    top = shape.form(tree, SUBJECT_FILE)
    if top is None:
        return
    subject = shape.text(top, "subject")
    if subject in subjects:
        shape.complain(top.entries["subject"], f"subject `{subject}` is declared twice")
    presence = shape.one_of(top, "presence", PRESENCES)
    subjects[subject] = Subject(subject, shape.text(top, "title"), presence)
    for name, node in shape.open_mapping(top.entries["facts"], "`facts`"):
        fact = read_fact_entry(shape, f"{subject}.{name}", node, lists)
        if not _NAME.match(name):
            shape.complain(node, f"`{name}` cannot be a fact's name", "use small letters, digits and `_`")
        elif fact:
            facts[fact.name] = fact


def read_fact_entry(shape: Shape, name: str, node: Node, lists: Lists) -> Fact | None:
    """Read the declaration of one fact."""
    entry = shape.form(node, FACT, f"fact `{name}`")
    if entry is None:
        return None
    kind = shape.one_of(entry, "type", [*lists.types, *FACT_TYPES])
    effort = shape.one_of(entry, "effort", EFFORTS)
    label, meaning, how = (shape.text(entry, key) for key in ("label", "meaning", "how_to_measure"))
    asked = shape.one_of(entry, "presence", _PRESENCE, "always") == "asked"
    tape = read_tape(shape, entry, kind)
    shown_in = shape.text(entry, "shown_in") or DEFAULT_UNITS.get(kind, "")
    if shown_in not in DISPLAY_UNITS:
        shape.complain(entry.entries["shown_in"], f"`{shown_in}` is not a unit to show", ", ".join(DISPLAY_UNITS))
    if kind not in DIMENSIONS:
        if "range" in entry.entries:
            shape.complain(entry.entries["range"], f"`{name}` is no number and has no range")
        return Fact(
            name=name,
            type=TEXT if kind in ("text", "tyre") else value_type(kind, lists.types),
            kind=kind,
            label=label,
            meaning=meaning,
            how_to_measure=how,
            effort=effort,
            asked=asked,
            leans_on=_named(shape, entry, "leans_on"),
            serves=read_service(shape, entry, name, kind),
            formerly=_former(shape, entry),
        )
    found = _range(shape, name, entry, kind)
    if found is None:
        return None
    limits, written = found
    number = NumberType(DIMENSIONS[kind], limits[0] < 0.0)
    tolerance = _tolerance(shape, entry, kind, lists.tolerances.get((effort, kind), ""))
    return Fact(
        name=name,
        type=number,
        kind=kind,
        label=label,
        meaning=meaning,
        how_to_measure=how,
        effort=effort,
        shown_in=shown_in,
        range=limits,
        range_text=written,
        asked=asked,
        tape=tape,
        tolerance=tolerance[0],
        tolerance_text=tolerance[1],
        gathered=shape.one_of(entry, "gathered", _GATHERED) if "gathered" in entry.entries else "",
        leans_on=_named(shape, entry, "leans_on"),
        sum_of=_named(shape, entry, "sum_of"),
        usual=_usual(shape, entry, kind),
        below_zero=shape.text(entry, "below_zero") if "below_zero" in entry.entries else "",
        above_zero=shape.text(entry, "above_zero") if "above_zero" in entry.entries else "",
        serves=read_service(shape, entry, name, kind),
        formerly=_former(shape, entry),
    )


def _former(shape: Shape, entry: Mapping) -> tuple[str, ...]:
    """What a fact was called before, within its subject."""
    nodes = shape.items(entry.entries.get(FORMERLY), f"`{FORMERLY}`")
    for node in nodes:
        if not isinstance(node, Scalar) or not _NAME.match(node.value):
            help = "write it without its subject, in small letters, digits and `_`"
            shape.complain(node, "this was never a fact's name", help)
    return tuple(node.value for node in nodes if isinstance(node, Scalar))


def check_former(shape: Shape, trees: Iterable[Mapping], facts: Map[str, Fact]) -> None:
    """Complain of a former name that is a fact's now, or that two facts had: what is told by it could be of either."""
    had = dict[str, str]()
    for fact, node, was in _naming(shape, trees, FORMERLY):
        subject, _, short = fact.partition(".")
        name = f"{subject}.{was}"
        if name in facts or name in had:
            help = "leave it out here, or call the other one by another name"
            shape.complain(node, f"`{was}` is `{subject}.{had.get(name, was)}`, so it cannot stand for this one", help)
        had.setdefault(name, short)


def _range(shape: Shape, name: str, entry: Mapping, kind: str) -> tuple[Bounds, tuple[str, str]] | None:
    """The plausible range of a number, and its two ends as they are written."""
    if "range" not in entry.entries:
        shape.complain(entry, f"`{name}` has no plausible range", "write `range: [LOW, HIGH]`; be generous")
        return None
    ends = shape.items(entry.entries["range"], "`range`")
    bounds = [_end(shape, item, DIMENSIONS[kind], kind) for item in ends]
    if None in bounds:
        return None
    if len(bounds) != 2 or bounds[0] is None or bounds[1] is None or bounds[0] >= bounds[1]:
        shape.complain(entry.entries["range"], "a range has two ends, the lower first", "write `range: [LOW, HIGH]`")
        return None
    low, high = (str(end.value) for end in ends if isinstance(end, Scalar))
    return (bounds[0], bounds[1]), (low, high)


def _usual(shape: Shape, entry: Mapping, kind: str) -> Bounds | None:
    """The usual range of a fact, inside its plausible one."""
    if "usual" not in entry.entries:
        return None
    ends = [_end(shape, node, DIMENSIONS[kind], kind) for node in shape.items(entry.entries["usual"], "`usual`")]
    if len(ends) != 2 or ends[0] is None or ends[1] is None or ends[0] >= ends[1]:
        message = "a usual range has two ends, the lower first"
        shape.complain(entry.entries["usual"], message, "write `usual: [LOW, HIGH]`")
        return None
    return (ends[0], ends[1])


def _named(shape: Shape, entry: Mapping, key: str) -> tuple[str, ...]:
    """The facts that an entry names under a key, by their whole names."""
    nodes = shape.items(entry.entries.get(key), f"`{key}`")
    return tuple(node.value for node in nodes if isinstance(node, Scalar) and node.value)


def check_leaning(shape: Shape, trees: Iterable[Mapping], facts: Map[str, Fact]) -> None:
    """Complain of what facts lean on that is not there, leans itself, or is of neither the subject nor its vehicle."""
    for leaning, node, name in _naming(shape, trees, "leans_on"):
        fact, ground = facts.get(leaning), facts.get(name)
        near = fact is not None and ground is not None and ground.subject in (fact.subject, "vehicle")
        if fact is not None and (ground is None or ground.leans_on or not near):
            help = "name a fact of its own subject, or of a mounting's vehicle, that leans on nothing itself"
            shape.complain(node, f"`{leaning}` cannot lean on `{name}`", help)


def check_sums(shape: Shape, trees: Iterable[Mapping], facts: Map[str, Fact]) -> None:
    """Complain of what a fact is the sum of that is not there, is another kind of figure or of another subject."""
    for sum_, node, name in _naming(shape, trees, "sum_of"):
        fact, part = facts.get(sum_), facts.get(name)
        of_kind = fact is not None and part is not None and (part.subject, part.type) == (fact.subject, fact.type)
        if fact is not None and (part is None or part.sum_of or not of_kind):
            help = "name facts of its own subject and kind, that are no sums themselves"
            shape.complain(node, f"`{sum_}` cannot be a sum of `{name}`", help)


def _naming(shape: Shape, trees: Iterable[Mapping], key: str) -> Iterator[tuple[str, Node, str]]:
    """Each fact that names others in a list under a key, with where it names one and how; no list was told before."""
    for tree in trees:
        subject, entries = shape.text(tree, "subject"), tree.entries.get("facts")
        for short, entry in entries.entries.items() if isinstance(entries, Mapping) else ():
            named = entry.entries.get(key) if isinstance(entry, Mapping) else None
            for node in named.items if isinstance(named, Sequence) else ():
                yield f"{subject}.{short}", node, node.value or "" if isinstance(node, Scalar) else ""


def _tolerance(shape: Shape, entry: Mapping, kind: str, usual: str) -> tuple[float, str]:
    """How far off a measurement of a fact may be that does not say it: the fact's own word, or its effort's."""
    text = shape.text(entry, "tolerance") or usual
    if "tolerance" in entry.entries:
        return _end(shape, entry.entries["tolerance"], DIMENSIONS[kind], kind) or 0.0, text
    return (parse_quantity(text, DIMENSIONS[kind]), text) if text else (0.0, "")


def _end(shape: Shape, node: Node, dimension: Dimension, kind: str) -> float | None:
    text = node.value or "" if isinstance(node, Scalar) else ""
    try:
        amount, found = parse_any(text) if kind in ("ratio", "count") else (parse_quantity(text, dimension), dimension)
    except QuantityError as error:
        shape.complain(node, error.message, error.help)
        return None
    if found != dimension:
        shape.complain(node, f"`{text}` is a {found}, expected a {kind}")
    return amount


def value_type(kind: str, lists: Map[str, ListType]) -> Type:
    """The type a `type:` word of a value names; numbers may be negative."""
    if kind in lists:
        return lists[kind]
    if kind in DIMENSIONS:
        return NumberType(DIMENSIONS[kind])
    return TRUTH
