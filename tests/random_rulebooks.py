"""Rulebooks and cases made up from a seed: every kind of expression, every kind of knowledge about a fact.

A rulebook is written as YAML files and loaded by the real loader. Cases are drawn for any rulebook, the real
one too, with the figures its rules compare with among the values, so that thresholds are met exactly.
Past 400 lines, because each kind of expression is written here once, and both halves are always used together.
"""

import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, partial
from math import inf
from pathlib import Path
from random import Random

from interpreter import Interpreter

from fitsvc.engine.point import Point
from fitsvc.facts import Case, at_place
from fitsvc.language import typed
from fitsvc.language.functions import FUNCTIONS, Function
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import ANGLE, FORCE, LENGTH, MASS, NUMBER, Dimension
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType, Mask, NumberType, TruthType, Value
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook

COLOURS = ("red", "green", "blue", "black", "none")
BORES = ("1 in", "1-1/4 in", "50 mm", "2 in", "2-1/2 in")
LITERALS = {
    "length": ("0 in", "1 in", "1-1/4 in", "50 mm", "2 in", "2-1/2 in", "10 in", "120 mm"),
    "mass": ("0 lb", "100 lb", "50 kg", "300 lb", "1 t"),
    "number": ("0", "1", "2", "0.5", "10 %", "75 %"),
    "angle": ("0 deg", "5 deg", "30 deg"),
    "force": ("0 kN", "14.3 kN"),
}
RANGES = {
    "length": ("0 in", "100 in"),
    "mass": ("0 lb", "9000 lb"),
    "ratio": ("0 %", "200 %"),
    "count": ("0", "20"),
    "angle": ("-90 deg", "90 deg"),
    "force": ("0 kN", "50 kN"),
}
KINDS = ("length", "length", "mass", "mass", "ratio", "count", "angle", "force", "yes_no", "colour", "bore", "rod")
OF_NUMBER = ("ratio", "count")
TABLES = """tables:
  - {id: colour_length, title: t, key: colour, gives: length, rows: {%(colour_length)s}, source: %(source)s}
  - {id: colour_flag, title: t, key: colour, gives: yes_no, rows: {%(colour_flag)s}, source: %(source)s}
  - {id: bore_mass, title: t, key: bore, gives: mass, rows: {%(bore_mass)s}, source: %(source)s}
  - {id: bore_rod, title: t, key: bore, gives: rod, rows: {%(bore_rod)s}, source: %(source)s}
  - {id: mass_colour, title: t, key: mass, gives: colour, source: %(source)s,
     bands: [{up_to: 100 lb, is: %(mass_colour)s}, {up_to: 50 kg, is: red}, {up_to: 300 lb, is: green}, {is: red}]}
  - {id: length_number, title: t, key: length, gives: count, source: %(source)s,
     bands: [{up_to: 1 in, is: 3}, {up_to: 2 in, is: 1}, {is: 2}]}
  - {id: length_force, title: t, key: length, gives: force, source: %(source)s,
     points: [{at: 0 in, is: 9 kN}, {at: 2 in, is: 5 kN}, {at: 40 in, is: 6 kN}, {at: 90 in, is: 1 kN}]}
"""
DIMENSION_OF = {"length": LENGTH, "mass": MASS, "number": NUMBER, "angle": ANGLE, "force": FORCE}
FROM_TABLE = {  # what a lookup gives, from which table, by which key
    "length": ("colour_length", "colour"),
    "yes_no": ("colour_flag", "colour"),
    "mass": ("bore_mass", "bore"),
    "rod": ("bore_rod", "bore"),
    "colour": ("mass_colour", "mass"),
    "number": ("length_number", "length"),
    "force": ("length_force", "length"),
}


MOST_DRAWN = 50
"""Rulebooks drawn for one that is taken: about as many are as are not."""
_DECIDES_NOTHING = re.compile("is zero, and|is the same whatever is told")


@dataclass
class Writer:
    """Writes one rulebook's files. `names` are what an expression may read where the writer stands."""

    rng: Random
    span: bool = True
    names: dict[str, str] = field(default_factory=dict)
    lists: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def one(self, *choices: Callable[[], str]) -> str:
        """One of several ways of writing, chosen evenly."""
        return self.rng.choice(choices)()

    def files(self) -> dict[str, str]:
        """The texts of all files by their path within the rulebook's folder."""
        files = {"rulebook.yaml": "name: random\n", "vocabulary/lists.yaml": self._lists()}
        for subject, presence in (("base", "always"), ("item", "asked"), ("cargo", "asked"), ("adapter", "repeated")):
            files[f"vocabulary/{subject}.yaml"] = self._subject(subject, presence)
        files["hazards.yaml"] = self._hazards()
        files["tables/all.yaml"] = TABLES % self._rows()
        files["adapters.yaml"] = self._adapters()
        files["topic.yaml"] = self._topic()
        return files

    # the vocabulary

    def _lists(self) -> str:
        def some(members: tuple[str, ...]) -> tuple[str, ...]:
            return tuple(sorted(self.rng.sample(members, self.rng.randint(2, len(members))), key=members.index))

        self.lists = {"colour": ("red", "green", *some(COLOURS[2:])), "bore": some(BORES), "rod": some(BORES)}
        colours = ", ".join(f"{name}: {name}" for name in self.lists["colour"])
        sizes = "".join(
            f"  {name}: {{dimension: length, members: [{', '.join(self.lists[name])}]}}\n" for name in ("bore", "rod")
        )
        return f"lists:\n  colour: {{members: {{{colours}}}}}\n{sizes}"

    def _subject(self, subject: str, presence: str) -> str:
        lines = [f"subject: {subject}", f"title: {subject}", f"presence: {presence}", "facts:"]
        for i, kind in enumerate([*self.rng.sample(KINDS, 6), *(KINDS if subject == "base" else ())]):
            low, high = RANGES.get(kind, ("", ""))
            if low and self.rng.random() < 0.3:
                low = "-" + high
            ends = f", range: [{low}, {high}]" if low else ""
            self.names[f"{subject}.f{i}"] = kind
            texts = "label: l, meaning: m, how_to_measure: h, effort: tape"
            opens = ", presence: asked" if presence != "repeated" and self.rng.random() < 0.1 else ""
            lines.append(f"  f{i}: {{type: {kind}{ends}{opens}, {texts}}}")
        return "\n".join(lines) + "\n"

    def _hazards(self) -> str:
        """What bears on each rating: nothing that anybody is held to."""
        ratings = [name for name, kind in self.names.items() if kind in ("mass", "force")]
        lines = "".join(f"  {name}: [{{accepted: made up}}]\n" for name in ratings)
        return f"weights: []\nhazards:{' {}' if not lines else ''}\n{lines}"

    def _rows(self) -> dict[str, str]:
        colours, bores, pick = self.lists["colour"], self.lists["bore"], self.rng.choice
        return {
            "colour_length": ", ".join(f"{c}: {pick(LITERALS['length'])}" for c in colours),
            "colour_flag": ", ".join(f"{c}: {pick(('yes', 'no'))}" for c in colours),
            "bore_mass": ", ".join(f"{b}: {pick(LITERALS['mass'])}" for b in bores),
            "bore_rod": ", ".join(f"{b}: {pick(self.lists['rod'])}" for b in bores),
            "mass_colour": pick(colours),
            "source": "{kind: common_practice}",
        }

    # rules

    def _adapters(self) -> str:
        kinds = {"size": "bore", "reach": "length", "rating": "mass", "good": "yes_no", "kind": "colour"}
        facts = "".join(f"    {name}: {{type: {kind}, label: l}}\n" for name, kind in kinds.items())
        every = dict(self.names)
        self.names = {name: kind for name, kind in every.items() if name.startswith("base")}
        bare = "".join(f'    {name}: "{self.of(kind, 1)}"\n' for name, kind in kinds.items())
        opening = {f"opening.{name}": kind for name, kind in kinds.items()}
        self.names = {name: kind for name, kind in every.items() if name.startswith("adapter")} | opening
        each = "".join(f'    {name}: "{self.of(kind, 2)}"\n' for name, kind in kinds.items())
        self.names = {name: kind for name, kind in every.items() if not name.startswith("adapter")} | opening
        return f"topic: adapters\nabout: a\nadapters:\n  bare:\n{bare}  each:\n{each}  facts:\n{facts}"

    def _topic(self) -> str:
        derived = []
        for i, kind in enumerate(self.rng.choices(KINDS, k=4)):
            derived.append(f'  - {{name: more.d{i}, label: l, type: {kind}, is: "{self.of(kind, 2)}"}}\n')
            self.names[f"more.d{i}"] = kind
        rules = "".join(self._rule(i) for i in range(self.rng.randint(1, 10)))
        needs = "".join(self._need(i) for i in range(2))
        text = f"topic: topic\nabout: a\nderived:\n{''.join(derived)}rules:\n{rules}needs:\n{needs}"
        return text + f"limits:\n{self._limit(0)}{self._limit(1)}"

    def _guard(self, chance: float) -> str:
        return f'applies_when: "{self.truth(2)}", ' if self.rng.random() < chance else ""

    def _severity(self) -> str:
        severity = self.rng.choice(("blocking", "blocking", "caution"))
        unknown = self.rng.choice(("", "if_unknown: caution, ", "if_unknown: undetermined, "))
        return f"severity: {severity}, {unknown if severity == 'blocking' else ''}"

    def _rule(self, number: int) -> str:
        examples = "examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]"
        body = f'{self._guard(0.6)}requires: "{self.truth(3)}", {self._severity()}fails_because: no, {examples}'
        return f"  - {{id: rule-{number}, title: t, source: {{kind: common_practice}}, {body}}}\n"

    def _need(self, number: int) -> str:
        met = f'met_when: "{self.truth(1)}", ' if self.rng.random() < 0.7 else ""
        values = f'values: {{size: "{self.number(self.rng.choice(("length", "mass")), 1)}"}}, '
        texts = "because: b, source: {kind: common_practice}, examples: [{gives: open}]"
        return f"  - {{id: need-{number}, title: t, {self._guard(0.7)}{met}{values}{texts}}}\n"

    def _limit(self, number: int) -> str:
        masses = [name for name, kind in self.names.items() if kind == "mass"]
        ratings = []
        for name in self.rng.sample(masses, min(3, len(masses))):
            unknown = self.rng.choice(("", ", if_unknown: caution"))
            guard = self._guard(0.4).rstrip(", ")
            ratings.append(f"{{rating: {name}{unknown}{', ' + guard if guard else ''}}}")
        texts = "title: t, quantity: q, source: {kind: common_practice}"
        examples = "examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]"
        severity = self.rng.choice(("blocking", "caution"))
        when = f'judged_when: "{self.truth(1)}", ' if self.rng.random() < 0.4 else ""
        body = f"{self._guard(0.4)}lowest_of: [{', '.join(ratings)}], {when}judged: {self.rng.choice(masses)}"
        return f"  - {{id: limit-{number}, {texts}, severity: {severity}, {body}, {examples}}}\n"

    # expressions

    def of(self, kind: str, depth: int) -> str:
        """An expression of a kind, where the place says which list a bare member is of."""
        if kind == "yes_no":
            return self.truth(depth)
        if kind in self.lists:
            return self.listed(kind, depth, bare=True)
        return self.number("number" if kind in OF_NUMBER else kind, depth)

    def named(self, *kinds: str) -> list[str]:
        """The names of any of several kinds."""
        wanted = {part for kind in kinds for part in (OF_NUMBER if kind == "number" else (kind,))}
        return [name for name, kind in self.names.items() if kind in wanted]

    def read(self, kind: str, otherwise: str) -> str:
        """A name of a kind, or something else where there is none."""
        names = self.named(kind)
        return self.rng.choice(names) if names else otherwise

    def number(self, kind: str, depth: int) -> str:
        """A number of a dimension: length, mass, number, angle or force."""
        literal = self.rng.choice(LITERALS[kind])
        if depth == 0 or self.rng.random() < 0.2:
            return self.read(kind, literal) if self.rng.random() < 0.75 else literal
        return self.one(*self._ways(kind, depth), *self._own_ways(kind, depth))

    def _ways(self, kind: str, depth: int) -> list[Callable[[], str]]:
        """The ways of writing a number of any dimension."""

        def a() -> str:
            return self.number(kind, depth - 1)

        def share() -> str:
            return self.number("number", depth - 1)

        ways = [
            lambda: f"({a()} + {a()})",
            lambda: f"({a()} - {a()})",
            lambda: f"-{a()}",
            lambda: f"({a()} * {share()})",
            lambda: f"({a()} / {share()})",
            lambda: f"min({a()}, {a()}, {a()})",
            lambda: f"max({a()}, {a()})",
            lambda: f"abs({a()})",
            lambda: f"({a()} if {self.truth(depth - 1)} else {a()})",
        ]
        if self.span:
            ways.append(lambda: f"span({a()}, {a()})")
        return ways

    def _own_ways(self, kind: str, depth: int) -> list[Callable[[], str]]:
        """The ways of writing a number of one dimension only."""

        def length() -> str:
            return self.number("length", depth - 1)

        ways: list[Callable[[], str]] = []
        if kind in FROM_TABLE:
            ways.append(lambda: self.lookup(kind, depth))
        if kind == "length":
            size = self.read("bore", "3 in")
            ways += [
                lambda: f"({size} + {length()})",
                lambda: f"max({size}, {length()})",
                lambda: f"({length()} * {length()} / {length()})",
            ]
        for row in FUNCTIONS.values():
            if row.result == DIMENSION_OF[kind]:
                ways.append(partial(self._registered, row, depth))
        if kind == "number":
            ways.append(lambda: f"({length()} / {length()})")
        return ways

    def _registered(self, row: Function, depth: int) -> str:
        """A call of a registered function, by its signature."""
        kinds = {dimension: kind for kind, dimension in DIMENSION_OF.items()}
        arguments = [self.number(kinds[of], depth - 1) for of in row.arguments if of is not None]
        return f"{row.name}({', '.join(arguments)})"

    def lookup(self, kind: str, depth: int) -> str:
        """A table's value for a key of any form."""
        table, key = FROM_TABLE[kind]
        return f"lookup({table}, {self.of(key, depth - 1)})"

    def listed(self, kind: str, depth: int, *, bare: bool = False) -> str:
        """A member of a list; `bare` where the place tells the list."""
        member = self.rng.choice(self.lists[kind])
        if depth == 0 or self.rng.random() < 0.4:
            return member if bare and self.rng.random() < 0.5 else self.read(kind, f"({member} if no else {member})")
        ways = [
            lambda: (
                f"({self.listed(kind, depth - 1, bare=bare)} if {self.truth(depth - 1)} else "
                f"{self.listed(kind, depth - 1, bare=bare)})"
            )
        ]
        if kind in FROM_TABLE:
            ways.append(lambda: self.lookup(kind, depth))
        return self.one(*ways)

    def truth(self, depth: int) -> str:
        """A condition."""
        if depth == 0 or self.rng.random() < 0.1:
            return self.one(
                lambda: self.read("yes_no", "yes"),
                lambda: self.read("yes_no", "no"),
                self._member_test,
                lambda: f"({self.number('mass', 0)} <= {self.number('mass', 0)})",
            )

        def a() -> str:
            return self.truth(depth - 1)

        return self.one(
            lambda: f"({a()} and {a()})",
            lambda: f"({a()} or {a()} or {a()})",
            lambda: f"(not {a()})",
            lambda: f"({a()} if {a()} else {a()})",
            lambda: f"({a()} == {a()})",
            lambda: f"({a()} != {a()})",
            lambda: self._comparison(depth),
            lambda: self._comparison(depth),
            lambda: self._comparison(depth),
            lambda: self._member_test(depth - 1),
            lambda: self._member_test(depth - 1),
            self._sizes,
            lambda: f"known({self.rng.choice(list(self.names))})",
            lambda: f"known({self.number('mass', depth - 1)})",
            lambda: f"present({self._given()})",
            lambda: self.lookup("yes_no", depth),
            lambda: self.rng.choice(("yes", "no")),
        )

    def _given(self) -> str:
        """A subject, or a fact that a question may give."""
        subjects = ("base", "item", "cargo")
        facts = [name for name in self.names if name.split(".")[0] in (*subjects, "adapter")]
        return self.rng.choice((*subjects, *self.rng.sample(facts, min(3, len(facts)))))

    def _operator(self) -> str:
        return self.rng.choice(("==", "!=", "<", "<=", ">", ">="))

    def _comparison(self, depth: int) -> str:
        kind = self.rng.choice(("length", "mass", "number", "angle", "force", "area"))
        if kind == "area":
            a, b, c, d = (self.number("length", depth - 1) for _ in range(4))
            return f"({a} * {b} {self._operator()} {c} * {d})"
        return f"({self.number(kind, depth - 1)} {self._operator()} {self.number(kind, depth - 1)})"

    def _member_test(self, depth: int = 0) -> str:
        kind = self.rng.choice(list(self.lists))
        facts = self.named(kind)
        if not facts:
            return "yes"
        fact, other = self.rng.choice(facts), self.listed(kind, depth, bare=True)
        some = ", ".join(self.rng.sample(self.lists[kind], self.rng.randint(1, len(self.lists[kind]))))
        return self.one(
            lambda: f"({fact} == {other})",
            lambda: f"({other} == {fact})",
            lambda: f"({fact} != {other})",
            lambda: f"({fact} in [{some}])",
            lambda: f"({fact} not in [{some}])",
            lambda: f"({self.listed(kind, depth)} in [{some}])",
        )

    def _sizes(self) -> str:
        """A comparison in which a size may count as its length."""
        sizes, lengths = self.named("bore", "rod"), self.named("length")
        if not sizes or not lengths:
            return "no"
        pick = self.rng.choice
        size, other, length = pick(sizes), pick(sizes), pick(lengths)
        return self.one(
            lambda: f"({size} {self._operator()} {other})",
            lambda: f"({length} {self._operator()} {size})",
            lambda: f"({size} {self._operator()} ({other} if {self.truth(0)} else {length}))",
            lambda: f"({size} {self._operator()} {pick(self.lists[self.names[size]])})",
        )


def write_rulebook(folder: Path, seed: int, *, span: bool = True) -> Path:
    """Write the rulebook of a seed into a folder, and return where: the first drawn whose figures all decide something.

    A rulebook with another is refused, and what else is refused is a fault here.
    """
    top, rng = folder / f"random-{seed}", Random(seed)
    for _ in range(MOST_DRAWN):
        for name, text in Writer(rng, span=span).files().items():
            path = top / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        try:
            load_rulebook(top)
        except ProblemsFound as found:
            if not all(_DECIDES_NOTHING.search(one.message) for one in found.problems):
                raise
        else:
            return top
    raise AssertionError(f"none of {MOST_DRAWN} rulebooks drawn is taken")


@dataclass(frozen=True)
class Made:
    """A rulebook with both of its readings, and the facts that cases for it may hold, by subject."""

    rulebook: Rulebook
    engine: Point
    specification: Interpreter
    slots: "Mapping[str, Mapping[str, Slot]]"


def made_of(folder: Path) -> Made:
    """Load a folder for the engine and for the interpreter."""
    rulebook = load_rulebook(folder)
    return Made(rulebook, Point(rulebook), Interpreter(folder), slots_of(rulebook))


@cache
def random_rulebook(seed: int, *, span: bool = True) -> Made:
    """The rulebook of a seed, loaded once."""
    with tempfile.TemporaryDirectory() as folder:
        return made_of(write_rulebook(Path(folder), seed, span=span))


@cache
def shipped_rulebook() -> Made:
    """The rulebook that ships with fitsvc."""
    return made_of(data_dir("rules"))


def figures_of(rulebook: Rulebook) -> dict[Dimension, tuple[float, ...]]:
    """Every number that a rulebook's expressions and tables write, by dimension."""
    found: dict[Dimension, set[float]] = {}
    for node in nodes_of(rulebook):
        if isinstance(node.type, NumberType):
            figures = found.setdefault(node.type.dimension, set())
            if isinstance(node, typed.Constant) and isinstance(node.value, tuple):
                figures.add(node.value[0])
        if isinstance(node, typed.LookupBand) and isinstance(node.key.type, NumberType):
            found.setdefault(node.key.type.dimension, set()).update(node.tops)
        if isinstance(node, typed.LookupBetween) and isinstance(node.key.type, NumberType):
            found.setdefault(node.key.type.dimension, set()).update(node.at)
    return {dimension: tuple(sorted(figures)) for dimension, figures in found.items()}


def nodes_of(rulebook: Rulebook) -> Iterator[AnyTyped]:
    """Every node of a rulebook's rules, derived values and adapters."""
    roots: list[AnyTyped | None] = [one.node for one in rulebook.derived.values()]
    roots += [part for rule in rulebook.rules for part in (rule.guard, rule.requires)]
    roots += [part for one in rulebook.opening.values() for part in (one.bare, one.each)]
    return (node for root in roots if root is not None for node in _nodes(root))


def _nodes(node: AnyTyped) -> Iterator[AnyTyped]:
    yield node
    for part in typed.parts(node):
        yield from _nodes(part)


# cases


@dataclass(frozen=True)
class Slot:
    """What a fact can be: its type, and for a number its plausible range and the rulebook's figures."""

    kind: NumberType | ListType | TruthType
    low: float = 0.0
    high: float = inf
    figures: tuple[float, ...] = ()


def slots_of(rulebook: Rulebook) -> dict[str, dict[str, Slot]]:
    """The facts that cases may hold, by subject."""
    figures, slots = figures_of(rulebook), dict[str, dict[str, Slot]]()
    for name, kind in rulebook.vocabulary.slots().items():
        if isinstance(kind, NumberType):
            fact = rulebook.vocabulary.fact_of(name)
            low, high = (fact.range if fact else None) or (0.0, inf)
            slot = Slot(kind, low, high, figures.get(kind.dimension) or (0.0, 1.0))
        elif isinstance(kind, ListType | TruthType):
            slot = Slot(kind)
        else:
            continue
        slots.setdefault(name.split(".", 1)[0], {})[name] = slot
    return slots


def random_case(rng: Random, made: Made) -> Case:
    """A case: some subjects, up to three adapters, and each fact known exactly, roughly or not at all."""
    subjects = made.rulebook.vocabulary.subjects.values()
    knowing = rng.choice((0.3, 0.6, 0.9, 1.0))
    present = [one.name for one in subjects if one.presence == "always"]
    present += [one.name for one in subjects if one.presence == "asked" and rng.random() < 0.7]
    facts: dict[str, Value] = {}
    for subject in present:
        facts |= _facts(rng, made.slots.get(subject, {}), knowing)
    held = made.slots.get("adapter", {})
    adapters = tuple(_facts(rng, held, knowing) for _ in range(rng.choice((0, 0, 1, 2, 3))))
    may = {name for name in made.rulebook.named if not name.startswith("adapter.")}
    may |= {at_place(n, name) for n in range(1, len(adapters) + 1) for name in made.rulebook.named - may}
    topics = [name for name in sorted(may) if rng.random() < 0.6]
    return Case(facts, frozenset((*present, *topics)), adapters)


def by_one_end(made: Made, facts: Mapping[str, Value]) -> dict[str, Value]:
    """The facts as they were told: of a bound with one end alone that end, as of any item of a catalogue."""
    kinds, told = made.rulebook.vocabulary.slots(), dict(facts)
    for name, value in facts.items():
        kind = kinds[name]
        if isinstance(kind, NumberType) and isinstance(value, tuple):
            ends = [end for end, untold in zip(value, kind.unknown, strict=True) if end != untold]
            told |= {f"{name}{typed.TOLD}": (ends[0], ends[0])} if len(ends) == 1 else {}
    return told


def _facts(rng: Random, slots: Mapping[str, Slot], knowing: float) -> dict[str, Value]:
    return {name: _value(rng, slot) for name, slot in slots.items() if rng.random() < knowing}


def _value(rng: Random, slot: Slot) -> Value:
    kind = slot.kind
    if isinstance(kind, ListType):
        if rng.random() < 0.3:
            return Mask(rng.randint(1, kind.unknown))
        return kind.member(rng.randrange(len(kind.members)))
    if not isinstance(kind, NumberType):
        return rng.choice((NO, YES, YES, NO, UNKNOWN))
    figure = _figure(rng, slot)
    if rng.random() < 0.6:
        return (figure, figure)
    other = _figure(rng, slot)
    low, high = min(figure, other), max(figure, other)
    return rng.choice(((low, high), (low, high), (low, inf), (kind.unknown[0], high), kind.unknown))


def _figure(rng: Random, slot: Slot) -> float:
    """A figure of the rulebook or near one: the same, the same to any comparison, or just not the same."""
    if rng.random() < 0.3:
        top = 2.0 * max(map(abs, slot.figures))
        found = rng.uniform(slot.low, min(max(top, slot.low), slot.high))
    else:
        found = rng.choice(slot.figures) + rng.choice((0.0, 0.0, 1e-6, -1e-6, 1e-7, -1e-7, 1e-5, -1e-5, 1.0))
    return min(max(found if rng.random() < 0.8 else -found, slot.low), slot.high)


def completed(rng: Random, case: Case, made: Made, *, chance: float, exactly: bool = False) -> Case:
    """The same case known better: each fact, with a chance, within narrower bounds or exactly."""

    def narrower_all(facts: Mapping[str, Value], slots: Mapping[str, Slot]) -> dict[str, Value]:
        before = {name: facts.get(name, slot.kind.unknown) for name, slot in slots.items()}
        return {
            name: narrower(rng, slots[name], value, exactly) if rng.random() < chance else value
            for name, value in before.items()
        }

    facts: dict[str, Value] = {}
    for subject in sorted({one.partition(".")[0] for one in case.present}):  # a fact may be named, and so its subject
        facts |= narrower_all(case.facts, made.slots.get(subject, {}))
    adapters = tuple(narrower_all(adapter, made.slots["adapter"]) for adapter in case.adapters)
    return Case(facts, case.present, adapters)


def narrower(rng: Random, slot: Slot, value: Value, exactly: bool) -> Value:
    """A value that says no less than another, and does not contradict it."""
    if isinstance(value, tuple):
        low, high = value
        a, b = sorted(min(max(_figure(rng, slot), low), high) for _ in range(2))
        return (a, b) if rng.random() < 0.3 and not exactly else (a, a)
    if not isinstance(slot.kind, ListType):
        return rng.choice((NO, YES)) if value == UNKNOWN else value
    if exactly:
        return rng.choice([slot.kind.member(i) for i in range(len(slot.kind.members)) if value >> i & 1])
    return Mask(value & rng.randint(1, slot.kind.unknown)) or value
