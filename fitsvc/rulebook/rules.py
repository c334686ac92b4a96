"""What a rulebook is made of, once read and checked. Everything here is immutable."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from fitsvc.language.quantities import Dimension
from fitsvc.language.tables import Table
from fitsvc.language.truth import WORDS
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType, NumberType, Type, Value
from fitsvc.rulebook.outcomes import EFFECTS, NEED_EFFECTS, OUTCOME_OF, Effect, IfUnknown, Result, Severity
from fitsvc.rulebook.signing import SignedOff
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.rulebook.words import Words
from fitsvc.rulebook.yaml_text import Node


@dataclass(frozen=True, slots=True)
class Reference:
    """Where a statement comes from: published (with `cite`), common practice, or an estimate (with `because`).

    What is published names its sources of the register, or a table whose rows do, in `named`.
    """

    kind: str
    cite: str = ""
    because: str = ""
    named: tuple[str, ...] = ()

    def document(self) -> dict[str, str]:
        """The source as it stands in rule files and answers."""
        return {key: value for key in ("kind", "cite", "because") if (value := getattr(self, key))}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A value within a reason: what to compute, its dimension or list, its US unit; `told` is how it is written.

    `below` are the words by which a figure below zero is told without its sign, `above` those of another beside it.
    """

    node: AnyTyped
    dimension: Dimension | None = None
    unit: str = ""
    words: tuple[str, ...] = ()
    told: str = ""
    below: str = ""
    above: str = ""


@dataclass(frozen=True, slots=True)
class IfKnown:
    """Words with values that are told only where all of those are known, and others told in their place."""

    words: tuple[str | Shown, ...]
    otherwise: tuple[str | Shown, ...]


Template = tuple[str | Shown | IfKnown, ...]
"""A reason: fixed words and values in turn."""


def values_of(template: Template) -> list[Shown]:
    """The values that a reason may show, in the order in which they stand."""
    parts = [(*part.words, *part.otherwise) if isinstance(part, IfKnown) else (part,) for part in template]
    return [one for several in parts for one in several if not isinstance(one, str)]


def optional_values(template: Template) -> list[bool]:
    """Whether each of these values is told only where it is known."""
    found = list[bool]()
    for part in template:
        if isinstance(part, IfKnown):
            found += [True for one in part.words if not isinstance(one, str)]
            found += [False for one in part.otherwise if not isinstance(one, str)]
        elif not isinstance(part, str):
            found.append(False)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """A case written beside a rule, and what the rule gives on it; read and run by the engine's examples.

    `so` says what that brings to the answer, where it fails or is undetermined.
    """

    node: Node
    facts: Mapping[str, Node]
    adapters: tuple[Mapping[str, Node], ...]
    present: tuple[str, ...]
    gives: str
    so: str
    values: Mapping[str, Node]


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """A named value computed from facts."""

    name: str
    label: str
    type: Type
    node: AnyTyped
    unit: str
    text: str


@dataclass(frozen=True, slots=True)
class Draws:
    """What a rule's finding marks in the side view: which shape, against what."""

    shape: str
    against: str


@dataclass(frozen=True, slots=True)
class Taken:
    """What one of the side view's words is drawn by; `name` is a fact's or derived value's, empty of a condition."""

    name: str
    node: AnyTyped


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPoint:
    """A point of a body's outline, inches: rearward of a place, or of a share of the way from tail to front axle where
    `place` is empty; above a height taken `times`; its corner rounded by `corner`.
    """

    place: str
    share: float
    behind: float
    height: str
    times: float
    above: float
    corner: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """How a body is sketched, in inches: its outline from the tail over the roof to the nose, its glass and seams.

    `usual` has what the outline hangs on where it is not known, `square` says that bumper and lamps are upright.
    """

    nose: float
    square: bool
    usual: Mapping[str, float]
    roof: BodyPoint
    outline: tuple[BodyPoint, ...]
    glass: tuple[tuple[BodyPoint, ...], ...]
    seams: tuple[tuple[BodyPoint, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A requirement. `subjects` are the asked ones it is about: without one of them it does not apply.

    `reads` are the names it reads directly; `margin` the amount by which it fails, when it compares numbers;
    `limit` the limit whose member it judges; `draws` what its finding marks in the side view;
    `asks` is no of one that reads a fact only to refuse it, which is no reason to ask for the fact; `accepted` is why
    it is not written as rules are.
    """

    id: str
    topic: str
    title: str
    subjects: tuple[str, ...]
    guard: AnyTyped | None
    requires: AnyTyped
    severity: Severity
    if_unknown: IfUnknown
    fails: Template
    unknown: Template
    remedy: str
    source: Reference
    margin: Shown | None
    applies_text: str
    requires_text: str
    limit: str = ""
    draws: Draws | None = None
    asks: bool = True
    accepted: str = ""

    @property
    def effects(self) -> Mapping[Result, Effect]:
        """What each result brings to the outcome."""
        return EFFECTS[self.severity, self.if_unknown]

    @property
    def blocks(self) -> bool:
        """Whether the outcome is no where it fails."""
        return OUTCOME_OF[self.effects["fails"]] == "fails"

    @property
    def leaves_open(self) -> bool:
        """Whether the outcome is open where it is undetermined."""
        return OUTCOME_OF[self.effects["undetermined"]] == "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """One member of a limit: a rating, its own subjects and guard, and the rule that judges by it."""

    name: str
    label: str
    node: AnyTyped
    subjects: tuple[str, ...]
    guard: AnyTyped | None
    shown: Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The lowest of several ratings; `id` with underscores is its name in answers."""

    id: str
    topic: str
    title: str
    quantity: str
    judged: str
    ratings: tuple[Rating, ...]
    source: Reference
    applies_text: str

    @property
    def name(self) -> str:
        """The limit's name in answers."""
        return self.id.replace("-", "_")


@dataclass(frozen=True, slots=True)
class Fills:
    """What of the shelf meets a need: a record of `subject`, put into the question beside the accessory.

    Where that is an accessory, it is one of these `kinds` (a mask) and judged by itself in the same opening; `gives`
    is the yes or no of the rig that is yes with it at hand.
    """

    subject: str
    kinds: int = 0
    gives: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualValue:
    """What a fact nearly always is, where `guard` holds: told as a thing to check, and never taken for known.

    `text` and `when` are the value and the guard as they are written.
    """

    fact: str
    guard: AnyTyped
    node: AnyTyped
    source: Reference
    text: str = ""
    when: str = ""


@dataclass(frozen=True, slots=True)
class WishKinds:
    """Which kinds of accessory serve a wish that names none: where `when` holds, those that `served_by` may hold of."""

    when: AnyTyped
    served_by: AnyTyped


From = Literal["receiver", "rig"]
Joined = Literal["sum", "any", "each"]


@dataclass(frozen=True, slots=True)
class Adds:
    """What makes a fact of all else on a rig: the `value` of each other thing, `on` the same receiver or the rig.

    Several come together `by` their sum, or by any of them being so; what is told of `each` is looked at one by one.
    """

    value: AnyTyped
    on: From
    by: Joined


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Something the rig must also have; open unless `met` is surely true.

    `unknown` is told in place of `because` where it is not known whether the guard holds; `fills` is what a plan takes
    from the shelf for it. It is a part to have unless it is `work`, and one thing to see to together with the rules and
    needs that it `goes_with`.
    """

    id: str
    topic: str
    title: str
    subjects: tuple[str, ...]
    guard: AnyTyped | None
    met: AnyTyped | None
    values: Mapping[str, Shown]
    because: Template
    unknown: Template
    source: Reference
    applies_text: str
    fills: Fills | None = None
    work: bool = False
    goes_with: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The need's name in answers."""
        return self.id.replace("-", "_")

    @property
    def effects(self) -> Mapping[Result, Effect]:
        """What being open brings to the outcome."""
        return NEED_EFFECTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One fact of the working opening: its value in the bare receiver, and after one more adapter."""

    name: str
    label: str
    type: Type
    unit: str
    bare: AnyTyped
    each: AnyTyped


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A sentence shown with every answer it may apply to; one with figures in it, only where it surely does.

    `assumed` says that it tells what the answer takes for granted where the question does not say.
    """

    id: str
    text: Template
    subjects: tuple[str, ...]
    guard: AnyTyped | None
    source: Reference
    assumed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """One way to load an accessory: `fact` is what it weighs, of one of `times` where that names a count.

    `called` is what one of them is called, and several.
    """

    fact: str
    times: str
    called: tuple[str, ...]
    guard: AnyTyped | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """What an accessory may be loaded with where the question names no load, by every rule that reads the load.

    The first of `loadings` that surely applies is tried, up to what its own label allows (`by_label`), with the facts
    of `assuming` at these values, which `assumed_as` says in words. `told_by` are the rules that hold the whole label's
    load against the rig: what they find fault with, the allowance says already.
    """

    name: str
    title: str
    guard: AnyTyped | None
    loadings: tuple[Loading, ...]
    by_label: AnyTyped
    assuming: Mapping[str, AnyTyped]
    assumed_as: str
    told_by: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One line of what bears on a rating: of what (`guard`), and when the rating is exceeded; `text` as it is written.

    One that is `accepted` says why it is no hazard to whoever drives away; where nothing can bear on the rating it has
    no `exceeded`. One that is `cautioned` says why it makes a yes no plain one, and is no ground to refuse. A line that
    reads an adapter's facts is about each adapter in turn.
    """

    rating: str
    guard: AnyTyped | None
    exceeded: AnyTyped | None
    accepted: str
    cautioned: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialState:
    """One way to try an accessory on a rig, and the room that it leaves there: below nothing where it strikes.

    What came of it bounds those facts of the mounting that it `bears_on`, by the room, where there is one for it and
    the `guard` surely holds. `told_as` is the fact that says of the very accessory that it touched here.
    """

    name: str
    title: str
    bears_on: tuple[str, ...]
    told_as: str
    room: AnyTyped | None = None
    guard: AnyTyped | None = None


Seen = Literal["text", "agency", "secondary", "memory"]
SEEN: tuple[Seen, ...] = ("text", "agency", "secondary", "memory")
"""How the words behind a row were seen: the text itself, an agency's own page, a quotation elsewhere, or not at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cited:
    """A source of the register: its citation, how it was seen and when, the state of its text, and what it says.

    It has `words` of its own, or `says` in ours what they come to; one from memory was not `read`.
    """

    cite: str
    seen: Seen
    as_of: str
    read: str = ""
    words: str = ""
    says: str = ""


@dataclass(frozen=True, slots=True)
class RowTold:
    """What is told of one row of a table with columns: what it asks, and the source that it cites."""

    asks: str
    source: Cited


@dataclass(frozen=True, slots=True, kw_only=True)
class TableEntry:
    """A lookup table with what is told of it.

    A plain table has one column without a name, which may be by several keys. One with `rows` has several, and tells of
    each row by its member; `otherwise` is what stands in a column where a row leaves it out.
    """

    id: str
    title: str
    columns: Mapping[str, Table]
    source: Reference
    rows: Mapping[str, RowTold] = field(default_factory=dict)
    otherwise: Mapping[str, Value] = field(default_factory=dict)

    @property
    def lookups(self) -> dict[str, Table]:
        """Its columns, and the tables within them, by the names that lookups go by."""
        named = (table.named(f"{self.id}.{name}" if name else self.id) for name, table in self.columns.items())
        return {name: table for several in named for name, table in several}


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """Two blocking rules of which no rig gets past both, as is meant, and why."""

    rule: str
    other: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A fact of which more, or of a rating less, rightly makes an answer better, and why.

    By these rules alone; or by any rule where the condition surely holds.
    """

    fact: str
    because: str
    rules: frozenset[str] = frozenset()
    when: AnyTyped | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rulebook:
    """A set of rule files, checked and immutable, known by the digest over its meaning.

    `rules` holds the limits' member rules too, in the order findings are told. `derived` includes the
    working opening's facts as the bare receiver has them. `named` are the facts that a question is about when it
    names them: those that open a topic, and those that some expression asks the presence of. `side_view` has what
    each of the side view's words is drawn by, where the rulebook says; `wishes` the kinds that serve a wish of a plan;
    `asks_for` the subjects that the counter asks for beside an accessory, each with its condition; `allowances` what
    may be loaded where no load is named; `beside` what makes each fact of all else on the rig, where a question names
    several things; `usual` what a fact nearly always is; `trials` how an accessory is tried on a rig. No answer rests
    on `hazards`, what bears on each rating, on `words`, what people call what is stored,
    nor on `signed`, who answers for rules that let more pass; `sources` are what the published of them cite. `renamed`
    are ids that rules, limits and needs had, each with today's.
    """

    name: str
    digest: str
    vocabulary: Vocabulary
    tables: Mapping[str, TableEntry]
    derived: Mapping[str, Derived]
    opening: Mapping[str, Opening]
    rules: tuple[Rule, ...]
    limits: tuple[Limit, ...]
    needs: tuple[Need, ...]
    cautions: tuple[Caution, ...]
    topics: Mapping[str, str]
    named: frozenset[str]
    examples: Mapping[str, tuple[Example, ...]]
    side_view: Mapping[str, Taken] = field(default_factory=dict)
    bodies: Mapping[str, Body] = field(default_factory=dict)
    wishes: tuple[WishKinds, ...] = ()
    asks_for: Mapping[str, AnyTyped] = field(default_factory=dict)
    allowances: tuple[Allowance, ...] = ()
    beside: Mapping[str, Adds] = field(default_factory=dict)
    usual: Mapping[str, UsualValue] = field(default_factory=dict)
    trials: Mapping[str, TrialState] = field(default_factory=dict)
    hazards: tuple[Hazard, ...] = ()
    agree: frozenset[str] = frozenset()
    helps: tuple[Relief, ...] = ()
    apart: tuple[Exclusion, ...] = ()
    words: Words = field(default_factory=Words)
    signed: tuple[SignedOff, ...] = ()
    sources: Mapping[str, Cited] = field(default_factory=dict)
    renamed: Mapping[str, str] = field(default_factory=dict)

    def today(self, id: str) -> str:
        """Today's id of a rule, limit or need that may be named by a former one; a limit's rating keeps its own."""
        name, slash, rating = id.partition("/")
        return f"{self.renamed.get(name, name)}{slash}{rating}"

    def shown(self, node: AnyTyped, unit: str) -> Shown:
        """How a value is shown to people."""
        return shown(node, unit, self.vocabulary)


def shown(node: AnyTyped, unit: str, vocabulary: Vocabulary) -> Shown:
    """How a value is shown: a number in a unit, a list's member or yes/no in words."""
    kind = node.type
    if isinstance(kind, NumberType):
        return Shown(node=node, dimension=kind.dimension, unit=unit)
    if isinstance(kind, ListType):
        words = vocabulary.words.get(kind.name, {})
        return Shown(node=node, words=tuple(words.get(member, member) for member in kind.members))
    return Shown(node=node, words=WORDS)
