"""The schemas made from the vocabulary: they take what the readers take, and refuse what is no figure at all."""

import re
from functools import cache
from typing import Any

import jsonschema_rs
import pytest
from demo_world import answerer
from effort import tries
from hypothesis import given
from hypothesis import strategies as st
from openapi_schema_validator import OAS31Validator

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.things import read_things
from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import DIMENSIONS, LENGTH, UNITS, QuantityError, parse_quantity
from fitsvc.observing import trials
from fitsvc.planning.reading import read_wishes
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.selector import Selector
from fitsvc.service.examples import BODIES, QUESTION
from fitsvc.service.schema import facts_wanted_pattern, quantity_pattern, told_pattern
from fitsvc.service.shapes import components
from fitsvc.subjects import SUBJECTS

RULEBOOK = answerer().rulebook
READER = FactReader(RULEBOOK)
COMPONENTS = components(RULEBOOK)
THING = {"hangs_on": "rear_receiver", "accessory": {}}
KINDS = [kind for kind in DIMENSIONS if kind != "count"]
kinds = pytest.mark.parametrize("kind", KINDS)


def _called(subject: str) -> str:
    """A subject as the description's schemas are called by it."""
    return subject.title().replace("_", "")


def validator(name: str) -> OAS31Validator:
    """Return the validator of a component."""
    return OAS31Validator({"$ref": f"#/components/schemas/{name}", "components": {"schemas": COMPONENTS}})


def reads(text: str, kind: str) -> bool:
    """Tell whether a text is a quantity of a kind."""
    try:
        parse_quantity(text, DIMENSIONS[kind])
    except QuantityError:
        return False
    return True


amounts = st.one_of(
    st.integers(0, 999_999_999).map(str),
    st.integers(0, 10**9 - 1).map(lambda number: f"{number:,}"),
    st.decimals(0, 10**6, places=3).map(str),
    st.tuples(st.integers(0, 99), st.integers(0, 99), st.integers(1, 99)).map(lambda n: f"{n[0]}-{n[1]}/{n[2]}"),
    st.tuples(st.integers(0, 99), st.integers(1, 99)).map(lambda n: f"{n[0]} / {n[1]}"),
)


@kinds
@given(data=st.data())
def test_every_figure_that_is_read_fits_its_pattern(kind: str, data: st.DataObject) -> None:
    """Signs, blanks, capitals, fractions and every spelling of a unit: what is read, the pattern lets through."""
    units = [unit for unit, (of, _) in UNITS.items() if of == DIMENSIONS[kind]]
    unit = data.draw(st.sampled_from(units).flatmap(lambda u: st.sampled_from([u, u.upper(), u.capitalize()])))
    text = data.draw(st.sampled_from(["", "-", "− ", " "])) + data.draw(amounts)
    text += data.draw(st.sampled_from(["", " ", "  "])) + unit
    if reads(text, kind):
        assert re.search(quantity_pattern(kind), text)


@given(st.integers(0, 99), st.integers(0, 11), st.sampled_from(["6 ft 2 in", "{}'{}\"", "{}ft {} inches"]))
def test_feet_and_inches_fit_the_pattern_of_a_length(feet: int, inches: int, form: str) -> None:
    """The one pair of units that stands together."""
    text = form.format(feet, inches)
    assert parse_quantity(text, LENGTH) is not None
    assert re.search(quantity_pattern("length"), text)


@pytest.mark.parametrize(
    "text",
    [
        "3-1/2 in ± 1/8 in",
        "3-1/2 in +- 1/8 in",
        "3-1/2 in +/- 3 mm",
        "exactly 4 in",
        "Exactly 4 in",
        "at least 3 in",
        "at most 3 in",
        "at least 3 in, at most 4 in",
        "at least 3 in and at most 4 in",
        "at most 1 ft; at least 3 in",
    ],
)
def test_how_far_off_a_figure_may_be_is_spelt_as_in_files(text: str, rulebook: Rulebook) -> None:
    """What a cell of a file may say of a figure, and the page, a body may say too: the schema lets it through."""
    fact = rulebook.vocabulary.facts["mounting.pin_to_bumper"]
    assert FactReader(rulebook).value(fact, text)
    assert validator("Length").is_valid(text)
    assert validator("MountingFacts").is_valid({"pin_to_bumper": text})


@pytest.mark.parametrize(
    "text", ["4 in ± ", "4 ± 1/8", "exactly 4", "at least", "at least 3 in, at least 4 in", "4 in or 5 in"]
)
def test_other_words_about_a_figure_are_no_figure(text: str, rulebook: Rulebook) -> None:
    """Neither the schema nor the reader takes them."""
    assert not validator("Length").is_valid(text)
    with pytest.raises(ProblemsFound):
        FactReader(rulebook).value(rulebook.vocabulary.facts["mounting.pin_to_bumper"], text)


@cache
def texts_of(pattern: str) -> st.SearchStrategy[str]:
    """Give texts that a pattern takes."""
    return st.from_regex(pattern, alphabet=st.characters(max_codepoint=0x2FFF))


@kinds
@tries(100)
@given(data=st.data())
def test_what_fits_a_pattern_is_a_figure_or_nearly(kind: str, data: st.DataObject) -> None:
    """A text of the pattern is refused only for a fraction beside its whole number that makes one or more."""
    text = data.draw(texts_of(quantity_pattern(kind)))
    if len(text) <= 64 and not reads(text, kind):
        with pytest.raises(QuantityError, match=r"fraction of one or more|too large"):
            parse_quantity(text, DIMENSIONS[kind])


@kinds
@given(st.text(max_size=12))
def test_other_texts_fit_no_pattern(kind: str, text: str) -> None:
    """A text that is not read as a figure of the kind does not look like one."""
    if not reads(text, kind):
        assert not re.search(quantity_pattern(kind), text)


@pytest.mark.parametrize("fact", RULEBOOK.vocabulary.facts.values(), ids=lambda fact: fact.name)
def test_a_fact_and_its_schema_take_the_same_forms(fact: Any) -> None:
    """Of forms good and bad, the schema takes those that the reader takes, or refuses only for their meaning."""
    check = validator(f"{_called(fact.subject)}Facts")
    some = fact.range_text[0] if fact.range_text else getattr(fact.type, "members", ("245/75R16",))[0]
    forms: list[Any] = [
        some, None, True, "yes", 2, 2.5, "2", "2 in", "3 lb", "no such", "", [], [some], {}, {"value": some},
        {"value": some, "tolerance": some}, {"at_least": some}, {"at_least": some, "at_most": some}, {"at_lest": some},
        {"value": some, "at_most": some}, [some, some], [5], {"value": None, "tolerance": some}, "a\0b", "x" * 3000,
        {"value": some, "tolerance": 99999}, {"value": some, "tolerance": "40"}, {"value": some, "tolerance": -1},
    ]  # fmt: skip
    for form in forms:
        told = False  # that the schema refuses what cannot be: a count out of its range, a tolerance below nothing
        try:
            READER.value(fact, form) if form is not None else None
            taken = True
        except ProblemsFound as found:
            taken = all(one.meaning for one in found.problems)
            told = taken and (fact.kind == "count" or any(one.pointer == "/tolerance" for one in found.problems))
        allowed = check.is_valid({fact.short: form})
        if told:
            assert not allowed, form
            continue
        # The schema knows a tyre and a list's sizes less closely than their readers do.
        assert allowed == taken or (fact.tyre and allowed) or (taken and form == "2 in"), form


@pytest.mark.parametrize("place", [("RigState", "name"), ("RemarkState", "because"), ("NewObservation", "reason")])
def test_a_text_of_blanks_is_one_by_its_schema_too(place: tuple[str, str], rulebook: Rulebook) -> None:
    """What the service takes for empty no schema lets through, though ECMA-262 counts fewer marks as blank."""
    schema = _text_schema(components(rulebook)[place[0]], place[1])
    blanks = [chr(code) for code in range(0x3001) if chr(code).isspace()]
    assert len(blanks) > 20
    assert [one for one in blanks if jsonschema_rs.is_valid(schema, f" {one}")] == []
    assert jsonschema_rs.is_valid(schema, " a ")


def test_the_range_of_a_gap_is_told_as_it_is_held(rulebook: Rulebook) -> None:
    """What is refused beyond it stands beside the schema, as for facts."""
    told = _text_schema(components(rulebook)["TriedThing"], "gap")["x-range"]
    assert told == list(trials.GAP)
    assert parse_quantity(told[1], LENGTH) == trials._MOST_GAP


def _text_schema(schema: Any, name: str) -> Any:
    """The schema of a member, wherever in one of several forms it stands."""
    forms = [schema, *schema.get("oneOf", ()), *schema.get("anyOf", ())]
    return next(form["properties"][name] for form in forms if name in form.get("properties", {}))


def test_a_question_has_the_parts_that_are_read(rulebook: Rulebook) -> None:
    """The reader knows every part and key of the schema, and the schema refuses what the reader does not know."""
    whole: dict[str, Any] = {"rig": {"adapters": []}} | {
        name: {"facts": {}} for name in ("accessory", "ball", "trailer", "wiring_adapter", "load", "beside")
    }
    whole["rig"] |= {name: {"facts": {}} for name in ("vehicle", "receiver", "mounting", "spare")}
    check = validator("Question")
    assert check.is_valid(whole)
    read_question(whole, READER, NoRecords())
    assert set(COMPONENTS["Question"]["properties"]) == {*whole, "together"}
    assert set(COMPONENTS["Rig"]["properties"]) == {*whole["rig"], "id"}
    for part in ("Question", "Rig", *(f"{_called(subject)}Part" for subject in SUBJECTS)):
        assert not validator(part).is_valid({"colour": "red"})
    assert set(SUBJECTS) == set(rulebook.vocabulary.subjects)


@pytest.mark.parametrize(
    ("question", "asks"),
    [
        ({}, False),
        ({"rig": {}}, False),
        ({"rig": None, "accessory": None}, False),
        ({"load": {}, "ball": {}}, False),
        ({"wiring_adapter": {}}, True),
        ({"rig": {"adapters": []}}, False),
        ({"rig": {"vehicle": {"facts": {"year": 2020}}}}, False),
        ({"accessory": {}}, True),
        ({"trailer": {}}, True),
        ({"rig": {"spare": {}}}, True),
        ({"rig": {"adapters": [{}]}}, True),
        ({"accessory": {}, "together": None}, True),
        ({"together": [THING, THING], "load": {}}, True),
        ({"together": [THING, THING], "accessory": None}, True),
        ({"together": [THING, THING], "accessory": {}}, False),
        ({"together": [THING, THING], "beside": {}}, False),
    ],
)
def test_the_schema_says_what_a_question_is_about(question: dict[str, Any], asks: bool) -> None:
    """What asks about nothing, or about one thing and several at once, is no question by its schema either."""
    assert validator("Question").is_valid(question) == asks
    read = read_things if question.get("together") else read_question
    try:
        read(question, READER, NoRecords())
        assert asks
    except ProblemsFound:
        assert not asks


WISHED: dict[str, Any] = {"rig": {"receiver": {}}}
BIKES: dict[str, Any] = {"facts": {"bikes": 2}}


@pytest.mark.parametrize(
    ("plan", "can_be"),
    [
        (WISHED | {"wishes": [{"kind": "step"}]}, True),
        (WISHED | {"wishes": [{"load": BIKES}]}, True),
        (WISHED | {"wishes": [{"trailer": {}, "load": {"facts": {"occupants_weight": "300 lb"}}}]}, True),
        (WISHED | {"wishes": [{"load": BIKES, "trailer": {}, "kind": "step"}]}, True),
        ({"wishes": [{"load": BIKES}]}, False),
        ({"wishes": [{"load": BIKES}], "rig": None}, False),
        ({"wishes": [{"load": BIKES}], "rig": {"receiver": None, "adapters": []}}, False),
        (WISHED | {"wishes": [{"load": BIKES}], "together": "rear_receiver"}, False),
        (WISHED | {"wishes": [{"load": BIKES}] * 2, "together": "rear_receiver"}, True),
        (WISHED | {"wishes": [{"load": BIKES}] * 5, "together": "rear_receiver"}, False),
        (WISHED | {"wishes": [{"load": BIKES}] * 5, "together": None}, True),
    ],
)
def test_the_schema_says_what_a_plan_needs(plan: dict[str, Any], can_be: bool) -> None:
    """A way to a receiver, what is to serve each wish, and as many wishes as hold at a time."""
    assert validator("Wishes").is_valid(plan) == can_be
    try:
        read_wishes(plan, answerer().engine, READER, NoRecords())
        assert can_be
    except ProblemsFound:
        assert not can_be


@pytest.mark.parametrize(
    "wish", [{}, {"kind": None, "load": {"facts": {"bikes": None}}}, {"load": BIKES, "trailer": {}}]
)
def test_what_a_wish_must_say_is_left_to_its_refusal(wish: dict[str, Any]) -> None:
    """Makers of clients and linters each refuse another form of "one of these", so the schema does not say it."""
    plan = WISHED | {"wishes": [wish]}
    assert validator("Wishes").is_valid(plan)
    with pytest.raises(ProblemsFound) as refused:
        read_wishes(plan, answerer().engine, READER, NoRecords())
    assert {problem.pointer for problem in refused.value.problems} == {"/wishes/0"}


@pytest.mark.parametrize(
    ("text", "fits"),
    [("1.700 lb", False), ("1.7000 lb", True), ("0.700 lb", True), ("1.700 t", True), ("1.700 in", True)],
)
def test_a_point_that_may_part_thousands_is_in_no_pattern(text: str, fits: bool) -> None:
    """What is refused as it may be read in two ways the description does not promise to take."""
    kind = "length" if text.endswith("in") else "mass"
    assert bool(re.search(quantity_pattern(kind), text)) == reads(text, kind) == fits
    assert bool(re.search(told_pattern(kind), f"at least {text}")) == fits


SELECTOR = Selector(answerer())
WANTED = facts_wanted_pattern(RULEBOOK.vocabulary, SELECTOR.slots)


@tries(100)
@given(st.from_regex(WANTED))
def test_what_fits_the_pattern_of_a_filter_is_read_but_for_its_figures(text: str) -> None:
    """Names, choices and forms of figures are what the filter takes; how large a figure may be stands elsewhere."""
    try:
        SELECTOR.facts(text)
    except ProblemsFound as found:
        assert {one.kind for one in found.problems} == {"implausible"}


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("", True),
        ("shank=2 in,capacity=at least 200 lb,pin_supplied=yes", True),
        ("kind=bike_carrier,rear_extent=12-1/2 in,bikes_max=4", True),
        ("sku=X", False),
        ("shank", False),
        ("weight=30", False),
        ("shank=2 in,", False),
        ("pin_supplied=maybe", False),
    ],
)
def test_what_the_filter_cannot_read_is_not_in_its_pattern(text: str, fits: bool) -> None:
    """The pattern and the reader agree on what people write."""
    assert bool(re.search(WANTED, text)) == fits
    try:
        SELECTOR.facts(text)
        assert fits
    except ProblemsFound:
        assert not fits


def test_a_thing_has_the_parts_that_are_read() -> None:
    """The reader of several things knows every part of the schema, and refuses what the schema refuses."""
    parts: dict[str, Any] = {name: {"facts": {}} for name in ("ball", "trailer", "wiring_adapter", "load", "accessory")}
    thing: dict[str, Any] = {"name": "it", "hangs_on": "rear_receiver", "rig": {}, **parts}
    assert set(COMPONENTS["Thing"]["properties"]) == set(thing)
    several: dict[str, Any] = {"rig": {}, "load": {"facts": {}}, "together": [thing, thing]}
    assert validator("Question").is_valid(several)
    assert len(read_things(several, READER, NoRecords())) == 2
    on_its_own_ball = {**several, "together": [thing, {**thing, "accessory": None}]}
    assert validator("Question").is_valid(on_its_own_ball)
    assert len(read_things(on_its_own_ball, READER, NoRecords())) == 2
    for wrong in (
        [thing],
        [thing] * 5,
        [thing, {}],
        [thing, {**thing, "hangs_on": "roof"}],
        [thing, thing | {"at": 1}],
        [thing, {**thing, "accessory": None, "trailer": None}],
        [thing, {**thing, "name": ""}],
        "both",
    ):
        assert not validator("Question").is_valid({**several, "together": wrong})
        with pytest.raises(ProblemsFound) as refused:
            read_things({**several, "together": wrong}, READER, NoRecords())
        assert not any(problem.meaning for problem in refused.value.problems)


@pytest.mark.parametrize("name", BODIES)
def test_the_examples_are_what_their_schemas_say(name: str) -> None:
    """Each example of a body is valid, and invalid with a member more."""
    assert [error.message for error in validator(name).iter_errors(BODIES[name])] == []
    assert not validator(name).is_valid(BODIES[name] | {"colour": "red"})


def test_an_answer_is_what_its_schema_says(rulebook: Rulebook) -> None:
    """An answer, with everything in it, is valid."""
    import msgspec

    answer = msgspec.to_builtins(answerer().answer(QUESTION))
    assert [error.message for error in validator("Answer").iter_errors(answer)] == []
