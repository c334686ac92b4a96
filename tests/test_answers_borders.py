"""Border cases of rules: each side gives what is said of it, nothing sure lies between, and others find the same."""

from collections.abc import Mapping
from functools import cache, partial
from pathlib import Path
from random import Random

from conformance.ours import judged
from effort import NIGHTLY
from random_rulebooks import shipped_rulebook
from test_proving_planted import rule, rulebook

from fitsvc.answers.borders import Border, Borders, BorderSide
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.language.display import step
from fitsvc.language.truth import YES
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.proving.asking import ask
from fitsvc.proving.claims import Prover
from fitsvc.proving.facts import Told
from fitsvc.proving.terms import SolverTerm, at_most, figure, negation, same
from fitsvc.rulebook.rules import Rule
from fitsvc.service.counter.links import cell

REFUSED = ("fails", "open")
DRAWN, WALKED, SOLVED = (400, 400, 60) if NIGHTLY else (120, 30, 8)
"""Borders drawn at random: whose figures beyond are asked, that the specification judges, and the solver."""


@cache
def borders() -> Borders:
    """Those of the shipped rules."""
    return Borders(shipped_rulebook().engine, FactReader(shipped_rulebook().rulebook))


@cache
def found() -> list[tuple[str, Border]]:
    """All of them, each with the rule, limit or need that it is of."""
    book = shipped_rulebook().rulebook
    rules = [one.id for one in book.rules if not one.limit]
    ids = [*rules, *(one.id for one in book.limits), *(one.id for one in book.needs)]
    return [(id, border) for id in ids for border in borders().of(id)]


def drawn(count: int) -> list[tuple[str, Border]]:
    """Some of them."""
    return Random(7).sample(found(), count)


def case_of(border: Border, wire: Json) -> Case:
    """The question of a border with a figure, as anybody asks it."""
    document = border.question(BorderSide(wire, "", beyond=False))
    return read_question(document, borders().reader, NoRecords()).case


def given(id: str, case: Case) -> str:
    """What a rule, limit or need gives where all of them are judged."""
    engine, book = shipped_rulebook().engine, shipped_rulebook().rulebook
    verdict = engine.rule_by_rule(case)
    if any(need.id == id for need in book.needs):
        return "open" if id in [book.needs[number].id for number in verdict.open_needs] else "met"
    results = zip(book.rules, verdict.results(len(book.rules)), strict=True)
    gives = [result for one, result in results if id in (one.id, one.limit)]
    return next(result for result in ("fails", "undetermined", "passes", "not_applicable") if result in gives)


def amount(border: Border, wire: Json) -> float:
    """A figure in the inside unit."""
    (value,) = borders().reader.value(borders().reader.vocabulary.facts[border.fact], wire).values()
    assert isinstance(value, tuple) and value[0] == value[1]
    return value[0]


def step_of(border: Border) -> float:
    """A step of a border's figure."""
    fact = borders().reader.vocabulary.facts[border.fact]
    return 1.0 if fact.kind == "count" else step(fact.shown_in, "us")


def test_each_side_gives_what_is_said_and_nothing_between_is_sure() -> None:
    """Asked as a question, one side refuses and one does not; a step from either, where there is one, it is open."""
    for id, one in found():
        assert [given(id, case_of(one, side.figure)) for side in (one.low, one.high)] == [one.low.gives, one.high.gives]
        assert (one.low.gives in REFUSED) != (one.high.gives in REFUSED), id
        low, high = (amount(one, side.figure) for side in (one.low, one.high))
        steps = round((high - low) / step_of(one))
        assert steps >= 1
        for near, way in ((low, 1), (high, -1)) if steps > 1 else ():
            assert given(id, within(one, near + way * step_of(one), near + way * step_of(one))) == "undetermined", id


def within(border: Border, low: float, high: float) -> Case:
    """The case of a border with its figure anywhere within bounds."""
    case = case_of(border, border.low.figure)

    def anew(facts: Mapping[str, Value]) -> dict[str, Value]:
        return {name: value for name, value in facts.items() if name != f"{border.fact}.told"} | {
            border.fact: (low, high)
        }

    if border.place is None:
        return Case(anew(case.facts), case.present, case.adapters)
    adapters = list(case.adapters)
    adapters[border.place] = anew(adapters[border.place])
    return Case(case.facts, case.present, tuple(adapters))


def test_every_figure_beyond_gives_the_same() -> None:
    """Of sides that say so some figures of the whole range are asked, and its end."""
    random, asked = Random(11), 0
    for id, one in drawn(DRAWN):
        fact = borders().reader.vocabulary.facts[one.fact]
        assert fact.range
        for side, end in ((one.low, fact.range[0]), (one.high, fact.range[1])):
            near = amount(one, side.figure)
            for figure_beyond in (end, *(random.uniform(near, end) for _ in range(4))) if side.beyond else ():
                value = round(figure_beyond) if fact.kind == "count" else figure_beyond
                assert given(id, within(one, value, value)) == side.gives, (id, one, value)
                asked += 1
    assert asked > 6 * DRAWN


def test_the_specification_agrees() -> None:
    """The slow walk over the rules' texts, which shares no code with the engine, comes to the same on both sides."""
    rules = {one.id for one in shipped_rulebook().rulebook.rules}
    some = [(id, one) for id, one in drawn(2 * WALKED) if id in rules][:WALKED]
    assert len(some) > WALKED / 2
    for id, one in some:
        for side in (one.low, one.high):
            fails = judged(shipped_rulebook().specification, case_of(one, side.figure))["fails"]
            assert (id in fails) == (side.gives == "fails"), (id, one)


def test_the_solver_finds_the_same_border() -> None:
    """Of all figures, with nothing else told, none up to the one side and none from the other on gives otherwise.

    That of the rules' terms, by which `rules prove` asks; it hangs on no halving and on no example.
    """
    prover, solved = Prover(shipped_rulebook().rulebook), 0
    rules = {one.id: one for one in shipped_rulebook().rulebook.rules}
    for id, one in Random(5).sample(found(), len(found())):
        simple = id in rules and not one.told.adapters and one.low.beyond and one.high.beyond
        if simple and solved < SOLVED and {one.low.gives, one.high.gives} == {"passes", "fails"}:
            solved += settled(prover, rules[id], one)
    assert solved == SOLVED


def settled(prover: Prover, of: Rule, border: Border) -> bool:
    """Whether the solver could say it of a border; an assertion fails where it says otherwise."""
    world, case = prover.world(0), case_of(border, border.low.figure)
    fails, free = world.judged(of).fails, world.facts.fact(border.fact, None)
    told = [term for one in world.facts.told.values() for term in as_told(one, case, free=one is free)]
    told += [one if name in case.present else negation(one) for name, one in world.facts.subjects.items()]
    below = at_most(free.figure, figure(amount(border, border.low.figure)))
    above = at_most(figure(amount(border, border.high.figure)), free.figure)
    otherwise = {"passes": fails, "fails": negation(fails)}
    answers = [
        ask(world, [*told, beyond, otherwise[side.gives]], partial(gives_otherwise, of.id, side.gives))
        for side, beyond in ((border.low, below), (border.high, above))
    ]
    assert not any(isinstance(one, Case) for one in answers), (of.id, border)
    return answers == [None, None]


def gives_otherwise(id: str, gives: str, case: Case) -> bool:
    """Whether the engine gives something else: the last word on a formula that the solver has by points alone."""
    return given(id, case) != gives


def as_told(one: Told, case: Case, *, free: bool) -> list[SolverTerm]:
    """That a fact is what a case tells of it, or is not told; of one that is free only that it is told."""
    value = case.facts.get(one.slot)
    if free or value is None:
        return [one.known if free else negation(one.known)]
    if isinstance(one.type, NumberType):
        assert isinstance(value, tuple)
        return [one.known, same(one.figure, figure(value[0]))]
    if isinstance(one.type, ListType):
        assert isinstance(value, int)
        return [one.known, one.members[value.bit_length() - 1]]
    return [one.known, one.members[0] if value == YES else negation(one.members[0])]


def test_a_border_is_where_the_rule_says(tmp_path: Path) -> None:
    """By a figure, one more or less strictly held, and by another fact: told with what it takes and no more."""
    told = "accessory.weight: 60 lb, accessory.length: 30 in"
    assert few(tmp_path / "a", "accessory.length <= 60 in", told) == [
        "accessory.length 60 in or less passes | 60-1/16 in or more fails | "
    ]
    assert few(tmp_path / "b", "accessory.length < 60 in", told) == [
        "accessory.length 59-15/16 in or less passes | 60 in or more fails | "
    ]
    assert few(tmp_path / "c", "accessory.length >= 12 in and accessory.length <= 60 in", told) == [
        "accessory.length 11-15/16 in or less fails | 12 in passes | ",
        "accessory.length 60 in passes | 60-1/16 in or more fails | ",
    ]
    rated = "accessory.weight: 60 lb, receiver.rating: 100 lb, accessory.length: 30 in"
    assert few(tmp_path / "d", "accessory.weight + 10 lb <= receiver.rating", rated) == [
        "receiver.rating 69 lb or less fails | 70 lb or more passes | accessory.weight 60 lb",
        "accessory.weight 90 lb or less passes | 91 lb or more fails | receiver.rating 100 lb",
    ]


def test_what_stays_open_between_is_left_between(tmp_path: Path) -> None:
    """Where another fact told within bounds decides too, the two sides are as far apart as these are."""
    told = "accessory.weight: 60 lb, receiver.rating: {at_least: 99 lb, at_most: 150 lb}"
    assert few(tmp_path, "accessory.weight <= receiver.rating", told) == [
        "accessory.weight 99 lb or less passes | 151 lb or more fails | receiver.rating at least 99 lb, at most 150 lb"
    ]


def test_a_rule_that_compares_no_figure_has_none(tmp_path: Path) -> None:
    """Nor has one whose figure decides nothing anywhere in its range."""
    assert few(tmp_path / "a", "accessory.shank == receiver.opening", "accessory.weight: 60 lb") == []
    assert few(tmp_path / "b", "accessory.weight + 1000 lb >= receiver.rating", "accessory.weight: 60 lb") == []


def few(folder: Path, requires: str, example: str) -> list[str]:
    """The border cases of one rule with one example, a line each."""
    text = rule("it", requires).replace("[{gives: passes}", f"[{{{example}, gives: passes}}")
    book = rulebook(folder, text)
    return [
        f"{one.fact} {told_side(one.low, 'less')} | {told_side(one.high, 'more')} | "
        + ", ".join(f"{name} {cell(wire)}" for name, wire in one.written.items())
        for one in Borders(Point(book), FactReader(book)).of("it")
    ]


def told_side(side: BorderSide, way: str) -> str:
    """A side in a few words."""
    return f"{side.figure}{f' or {way}' * side.beyond} {side.gives}"


def test_nearly_every_rule_that_reads_a_figure_has_one() -> None:
    """But for those of tyres, whose figures are told together, and those whose figures never part yes from no."""
    engine, have = shipped_rulebook().engine, {id for id, _ in found()}
    lacking = {
        rule.limit or rule.id
        for number, rule in enumerate(shipped_rulebook().rulebook.rules)
        if any(isinstance(leaf.type, NumberType) for leaf in engine.support(number, adapted=True).leaves)
    } - have
    assert lacking == {
        "spare-no-wider-than-its-place",  # tyres
        "spare-carries-as-much",
        "spare-rolls-as-far",
        "unbraked-rating-looked-up",  # asks for what is not told
        "air-for-air-brakes",  # a weight stands in for brakes that are not told: it is open then
    }
