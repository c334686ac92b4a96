"""Draws conformance cases: each construct of the language in order, expressions and rigs by chance, rules' examples.

What is drawn is kept, so this is run only to draw anew, after the language has grown or facts were renamed.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, islice, product
from random import Random
from typing import Any, Final

from interpreter import behind, tree
from random_rulebooks import LITERALS, Writer
from working_rigs import KINDS, plain_facts

from conformance.ours import SHIPPED as SHIPPED_RULES
from conformance.ours import by_engine, made
from conformance.run import Case
from fitsvc.engine.examples import wire_value
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import parse_any
from fitsvc.rulebook.yaml_text import to_plain

OWN: Final = "tests/conformance/rules"
LANGUAGE, ANSWERS, SHIPPED = 2_400, 1_000, 2_200
"""How many cases each file has."""
_LONGEST: Final = 110
_ALIKE, _PLAIN = 4, 150
"""Cases that give the same codes, and such as give none: a plain yes is held to as well."""
_OF_A_RULE: Final = 5
_WORDS: Final = ("fails", "undetermined", "needs")
_FIGURES: Final[Mapping[str, Sequence[str]]] = {
    "length": LITERALS["length"],
    "mass": LITERALS["mass"],
    "ratio": ("0 %", "10 %", "75 %", "100 %"),
    "count": ("0", "1", "2", "3"),
    "angle": LITERALS["angle"],
    "force": LITERALS["force"],
}
_TYRES: Final = ("245/75R16 111T", "LT235/85R16", "31x10.50R15")
_BELOW: Final = ("base.gap", "item.setback")
"""Lengths that may be below zero."""
QUANTITIES: Final[Mapping[str, str]] = {
    "2 in": "length", "2-1/2 in": "length", "1/2 in": "length", "2.5 in": "length", "50 mm": "length",
    "1.5 m": "length", "3 ft": "length", "12 cm": "length", "900 lb": "mass", "50 kg": "mass", "1 t": "mass",
    "10 %": "ratio", "0.5": "ratio", "3": "count", "30 deg": "angle", "14.3 kN": "force", "80 ft-lb": "torque",
    "100 N m": "torque", "1500 N": "force",
}  # fmt: skip
WRITTEN: Final[Mapping[str, Sequence[Any]]] = {
    "base.length": ("2 in", "2in", "2 1/2 in", "2-1/2 in", '2.5"', "5 ft 2 in", "5 ft", "50 mm", "0.5 m",
                    "1,5 cm", "2", 2, "2 lb", "300 in", {"at_least": "3 in", "at_most": "2 in"}, "two inches"),
    "base.weight": ("900 lb", "900 lbs", "1,200 lb", "50 kg", "1 t", "0 lb", "900 pounds"),
    "base.share": ("10 %", "10%", "1/2", "100 percent"),
    "base.count": ("3", 3, 0),
    "base.slope": ("30 deg", "30°", "-5 deg"),
    "base.pull": ("14.3 kN", "1500 N"),
    "base.fitted": (True, False, "yes", "no", "true"),
    "base.colour": ("red", ["red", "green"], ["red", "green", "blue", "none"]),
    "base.size": ("2 in", "50 mm", ["1 in", "2 in"], "50.8 mm"),
}  # fmt: skip
"""Facts in the ways in which people write them."""
REFUSED: Final = {
    "base.length <= base.weight": "yes_no", "base.length + base.weight": "length", "base.lenght <= 2 in": "yes_no",
    "base.length": "yes_no", "1 in < base.length < 2 in": "yes_no", "base.colour == purple": "yes_no",
    "base.colour in [red, purple]": "yes_no", "base.fitted + 1": "count", "not base.length": "yes_no",
    "base.fitted and base.length": "yes_no", "base.length == base.colour": "yes_no", "base.colour < red": "yes_no",
    "max(base.length, base.weight)": "length", "max()": "length", "minimum(base.length, 2 in)": "length",
    "lookup(no_table, base.colour)": "length", "lookup(colour_length, base.size)": "length", "1,000 lb": "mass",
    "base.length = 2 in": "yes_no", "base.length is 2 in": "yes_no", "2 in 3": "length", "(base.length": "length",
    "base.length <= 2 parsecs": "yes_no", "base.length if base.weight else 2 in": "length", "": "yes_no",
    "base.length if base.fitted else base.weight": "length", "present(base.length <= 2 in)": "yes_no",
    "base.size == 3 in": "yes_no", "d_value(base.weight, base.length)": "force", "AND": "yes_no", "base": "yes_no",
    "base.fitted == red": "yes_no", "base.length <= 2": "yes_no", "base.weight * base.weight": "mass",
}  # fmt: skip
WORKS: Final[Mapping[str, Any]] = {
    "base.size": "2 in", "base.rod": "2 in", "base.length": "10 in", "base.gap": "-2 in", "base.weight": "300 lb",
    "base.rating": "1 t", "base.second_rating": "1 t", "base.share": "75 %", "base.count": "3",
    "base.slope": "30 deg", "base.pull": "14.3 kN", "base.fitted": True, "base.guarded": True,
    "base.colour": "green", "base.tyre": "245/75R16 111T", "item.kind": "rack", "item.size": "2 in",
    "item.rod": "1 in", "item.length": "10 in", "item.setback": "1 in", "item.weight": "50 kg",
    "item.capacity": "300 lb", "item.colour": "blue", "item.good": True, "item.count": "3",
}  # fmt: skip
"""A rig of the own rulebook that is a plain yes, and with it a cargo."""
CARGO: Final[Mapping[str, Any]] = {
    "cargo.weight": "0 lb", "cargo.count": "1", "cargo.colour": "red", "cargo.tied": True,
}  # fmt: skip


def gives(case: Case) -> Case:
    """The case with what it gives, by the engine."""
    whole = {"adapters": [], "present": [], **case}
    found = by_engine(whole)
    return {**case, "gives": {key: value for key, value in found.items() if value != []}}


# the language


def language() -> Iterator[Case]:
    """The cases of expressions: what can be listed in order, and the rest by chance."""
    listed = [gives({"rules": OWN, "facts": {}, **one}) for one in _listed()]
    yield from listed
    yield from islice(_by_chance(Random(1)), LANGUAGE - len(listed))


def _one(name: str, expression: str, kind: str = "yes_no", **facts: Any) -> Case:
    told = {key.replace("_", ".", 1): value for key, value in facts.items() if value is not None}
    return {"name": name, "expression": expression, "as": kind, "facts": told}


def _listed() -> Iterator[Case]:
    for text, kind in QUANTITIES.items():
        yield _one(f"quantity {text}", text, kind)
    kinds = made(OWN).specification.texts.kinds
    for name, ways in WRITTEN.items():
        for way in ways:
            yield {"name": f"{name} written {way!r}", "expression": name, "as": kinds[name], "facts": {name: way}}
    for text, kind in REFUSED.items():
        yield _one(f"refused {text or 'nothing'}", text, kind)
    yield from _truths()
    yield from _comparisons()
    yield from _members()


def _truths() -> Iterator[Case]:
    words = {"yes": True, "no": False, "unknown": None}
    for (a, first), (b, second) in product(words.items(), repeat=2):
        for operator in ("and", "or", "==", "!="):
            text = f"base.fitted {operator} base.guarded"
            yield _one(f"{a} {operator} {b}", text, base_fitted=first, base_guarded=second)
        yield _one(f"{a} if {b}", "base.fitted if base.guarded else no", base_fitted=first, base_guarded=second)
    for a, first in words.items():
        yield _one(f"not {a}", "not base.fitted", base_fitted=first)
        yield _one(f"known {a}", "known(base.fitted)", base_fitted=first)
        yield _one(f"present {a}", "present(base.fitted)", base_fitted=first)
        yield _one(f"{a} or its opposite", "base.fitted or not base.fitted", base_fitted=first)


def _comparisons() -> Iterator[Case]:
    facts: Mapping[str, Any] = {
        "below": "9.99 in", "the same": "10 in", "the same in mm": "254 mm", "above": "10.01 in",
        "up to it": {"at_least": "5 in", "at_most": "10 in"}, "from it": {"at_least": "10 in", "at_most": "12 in"},
        "about it": {"value": "10 in", "tolerance": "1/4 in"}, "at least it": {"at_least": "10 in"},
        "at most it": {"at_most": "10 in"}, "at least more": {"at_least": "11 in"}, "at most less": {"at_most": "9 in"},
        "unknown": None,
    }  # fmt: skip
    for operator in ("==", "!=", "<", "<=", ">", ">="):
        for name, fact in facts.items():
            yield _one(f"{name} {operator} 10 in", f"base.length {operator} 10 in", base_length=fact)
            yield _one(f"10 in {operator} {name}", f"10 in {operator} base.length", base_length=fact)


def _members() -> Iterator[Case]:
    colours: Mapping[str, Any] = {"red": "red", "none": "none", "red or blue": ["red", "blue"], "unknown": None}
    for name, fact in colours.items():
        for test in ("== red", "!= red", "in [red, blue]", "not in [red, blue]", "in [green]"):
            yield _one(f"{name} {test}", f"base.colour {test}", base_colour=fact)
        yield _one(f"length of {name}", "lookup(colour_length, base.colour)", "length", base_colour=fact)
        yield _one(f"flag of {name}", "lookup(colour_flag, base.colour)", base_colour=fact)
    sizes: Mapping[str, Any] = {"2 in": "2 in", "50 mm": "50 mm", "1 or 2 in": ["1 in", "2 in"], "unknown": None}
    for name, fact in sizes.items():
        for test in ("== 2 in", "<= 2 in", "> 50 mm", "== base.rod", "in [1 in, 2 in]"):
            yield _one(f"size {name} {test}", f"base.size {test}", base_size=fact, base_rod="2 in")
        yield _one(f"mass by {name}", "lookup(bore_mass, base.size)", "mass", base_size=fact)
        yield _one(f"length of size {name}", "base.size + 0 in", "length", base_size=fact)


def _writer(rng: Random) -> Writer:
    """What writes expressions over the facts of the own rulebook."""
    texts = made(OWN).specification.texts
    listed = {name: tuple(members) for name, members in texts.lists.items() if name != "kind"}
    usable = {*LITERALS, *listed, "ratio", "count", "yes_no"}
    names = {name: kind for name, kind in texts.kinds.items() if kind in usable and not name.startswith("adapter.")}
    return Writer(rng, names=names, lists=listed)


def _by_chance(rng: Random) -> Iterator[Case]:
    writer, texts, numbers = _writer(rng), made(OWN).specification.texts, Counter[str]()
    seen = set[str]()
    while True:
        kind = rng.choice(("length", "mass", "ratio", "angle", "force", "colour", "bore", *["yes_no"] * 6))
        expression = writer.of(kind, rng.choice((1, 2, 2, 3)))
        read = behind(texts, expression)
        if len(expression) > _LONGEST or expression in seen or not read:
            continue
        seen.add(expression)
        adapters = [_adapter(rng) for _ in range(rng.choice((0, 1, 2)))] if "opening." in expression else []
        facts = {name: fact for name in sorted(read) if (fact := _fact(rng, name)) is not None}
        case: Case = {"rules": OWN, "expression": expression, "as": kind, "facts": facts}
        case |= {"adapters": adapters} if adapters else {}
        found = gives(case)
        if found["gives"]["value"] in ("refused", "unreadable"):
            continue
        construct = type(tree(expression)).__name__.lower()
        numbers[construct] += 1
        yield {"name": f"{construct} {numbers[construct]}", **found}


def _fact(rng: Random, name: str, absent: float = 0.12) -> Any:
    """A fact as somebody writes it, within bounds, or not told."""
    kind = made(OWN).specification.texts.kinds.get(name, "tyre")
    members = list(made(OWN).specification.texts.lists.get(kind, ()))
    if name.startswith("adapter.") or rng.random() < absent:
        return None
    if kind == "yes_no":
        return rng.random() < 0.5
    if members:
        return rng.choice(members) if rng.random() < 0.75 else sorted(rng.sample(members, 2), key=members.index)
    if name.startswith("base.tyre"):
        return None
    figures = _FIGURES[kind]
    if rng.random() < 0.65:
        sign = "-" if name in _BELOW and rng.random() < 0.3 else ""
        return sign + rng.choice(figures)
    low, high = sorted(rng.sample(figures, 2), key=lambda text: parse_any(text)[0])
    return rng.choice(({"at_least": low, "at_most": high}, {"at_least": low}, {"at_most": high}))


def _adapter(rng: Random) -> Case:
    return {
        "size": rng.choice(("1-1/4 in", "2 in", "2 in")), "fits": rng.choice(("2 in", "2 in", "2-1/2 in")),
        "length": rng.choice(_FIGURES["length"]), "share": rng.choice(_FIGURES["ratio"]), "rating": "300 lb",
    }  # fmt: skip


# answers


def _few_alike(cases: Iterator[Case], count: int) -> Iterator[Case]:
    """So many of some cases, each named by what decides it, of those that give the same a few only."""
    alike, named = Counter[str](), Counter[str]()
    for case in cases:
        told = case["gives"]
        key = str(sorted(told.items()))
        alike[key] += 1
        if alike[key] > (_ALIKE if len(told) > 1 else _PLAIN):
            continue
        first = next((f"{told[word][0]} {word}" for word in _WORDS if word in told), "plain")
        named[first] += 1
        yield {"name": case.pop("name", f"{first} {named[first]}"), **case}
        count -= 1
        if not count:
            return


def answers() -> Iterator[Case]:
    """Rigs of the own rulebook: those that work with some facts changed, bounded or not told."""
    return _few_alike(_answers(Random(2)), ANSWERS)


OWN_BASES: Final[Mapping[str, Mapping[str, Any]]] = {"works": WORKS, "works with a cargo": {**WORKS, **CARGO}}


def _answers(rng: Random) -> Iterator[Case]:
    while True:
        on = rng.choice(list(OWN_BASES))
        facts: Case = {}
        for name in rng.sample(list(OWN_BASES[on]), rng.choice((0, 1, 1, 2, 2, 3, 5))):
            facts[name] = rng.choice(_TYRES) if name == "base.tyre" else _fact(rng, name, 0.3)
        if rng.random() < 0.1:
            facts["cargo.grade"] = rng.choice(("0 %", "10 %", "75 %"))
        adapters = [_adapter(rng) for _ in range(rng.choice((0, 0, 0, 1, 2)))]
        yield from _laid_over({"rules": OWN, "on": on, "facts": facts, "adapters": adapters}, OWN_BASES[on])


def _laid_over(case: Case, base: Mapping[str, Any]) -> Iterator[Case]:
    """The case with what it gives on its base, where its facts can be read."""
    told = {name: fact for name, fact in {**base, **case["facts"]}.items() if fact is not None}
    try:
        found = gives({**case, "facts": told})
    except ProblemsFound:
        return
    yield {**{key: value for key, value in case.items() if value not in ([], "")}, "gives": found["gives"]}


def shipped() -> Iterator[Case]:
    """The shipped rules: their own examples, each laid over the rig that works of which it changes least."""
    return _few_alike(chain(_of_rules(), _of_rigs(Random(3))), SHIPPED)


def _of_rigs(rng: Random) -> Iterator[Case]:
    """Rigs that work with some facts told as in any rule's examples, or not at all."""
    book, found = made(SHIPPED_RULES).rulebook, shipped_bases()
    ways: dict[str, list[Any]] = {}
    for example in (one for examples in book.examples.values() for one in examples):
        for name, node in example.facts.items():
            ways.setdefault(name, []).append(wire_value(to_plain(node)))
    while True:
        on = rng.choice(list(found))
        names = rng.sample(sorted(ways.keys() & found[on].keys() - {"accessory.kind"}), rng.choice((1, 1, 2, 3)))
        facts = {name: rng.choice([*ways[name], None, None]) for name in names}
        yield from _laid_over({"rules": SHIPPED_RULES, "on": on, "facts": facts, "adapters": []}, found[on])


def shipped_bases() -> Mapping[str, Mapping[str, Any]]:
    """The rigs that examples are laid over, by kind."""
    return {kind: plain_facts(kind) for kind in KINDS}


def _of_rules() -> Iterator[Case]:
    book, found = made(SHIPPED_RULES).rulebook, shipped_bases()
    named = {*(one.id for one in book.rules), *(one.id for one in book.limits), *(one.id for one in book.needs)}
    for name, examples in book.examples.items():
        if name not in named:
            continue
        some = sorted(examples, key=lambda one: ("fails", "undetermined").index(one.gives) if one.so else 2)
        for number, example in enumerate(some[:_OF_A_RULE], 1):
            facts = {fact: wire_value(to_plain(node)) for fact, node in example.facts.items()}
            adapters = [{fact: wire_value(to_plain(node)) for fact, node in one.items()} for one in example.adapters]
            case = {"name": f"{name} {number}", "rules": SHIPPED_RULES, "facts": facts, "adapters": adapters}
            case["present"] = list(example.present)
            over = [one for on, base in (*found.items(), ("", {})) for one in _laid_over({**case, "on": on}, base)]
            yield from sorted(over, key=lambda one: (not _told(one, name, example.gives), _codes(one)))[:1]


def _told(case: Case, name: str, gives: str) -> bool:
    """Whether a case gives of a rule, limit or need what its example says."""
    told = case["gives"]
    found = {word for word in _WORDS for one in told.get(word, ()) if one.split("/")[0] == name}
    return found == {"open": {"needs"}, "fails": {"fails"}, "undetermined": {"undetermined"}}.get(gives, set())


def _codes(case: Case) -> int:
    return sum(len(told) for told in case["gives"].values() if isinstance(told, list))
