"""Facts as people write them: each form that is read, each that is refused, and all that is wrong at once."""

from decimal import Decimal
from math import inf
from typing import Any

import pytest
from demo_world import answerer
from effort import tries
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.fact_values import LONGEST_TEXT
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import ANGLE, LENGTH, MASS, NUMBER
from fitsvc.language.types import TEXT, TRUTH, FactType, ListType, NumberType, Value
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact, Subject, Vocabulary
from fitsvc.written import parted

OPENING = ListType("opening_size", ("1-1/4 in", "2 in", "2-1/2 in"), (31.75, 50.8, 63.5), LENGTH)
KIND = ListType("kind", ("step", "ball_mount", "bike_carrier"))
INCH, POUND = 25.4, 0.45359237


def fact(name: str, type_: FactType, kind: str, range_: tuple[float, float] | None = None, *ends: str) -> Fact:
    """A fact of a made-up vocabulary; its label is its name with blanks."""
    label = name.split(".")[1].replace("_", " ")
    written = (ends[0], ends[1]) if ends else None
    return Fact(
        name=name,
        type=type_,
        kind=kind,
        label=label,
        meaning="meaning",
        how_to_measure="how",
        effort="tape",
        range=range_,
        range_text=written,
    )


FACTS = [
    fact("part.opening", OPENING, "opening_size"),
    fact("part.kind", KIND, "kind"),
    fact("part.weight", NumberType(MASS, False), "mass", (0.0, 1000 * POUND), "0 lb", "1000 lb"),
    fact("part.offset", NumberType(LENGTH), "length", (-60 * INCH, 60 * INCH), "-60 in", "60 in"),
    fact("part.share", NumberType(NUMBER, False), "ratio", (0.0, 1.0), "0 %", "100 %"),
    fact("part.bikes", NumberType(NUMBER, False), "count", (0.0, 6.0), "0", "6"),
    fact("part.slope", NumberType(ANGLE, False), "angle", (0.0, 45.0), "0 deg", "45 deg"),
    fact("part.folds", TRUTH, "yes_no"),
    fact("part.notes", TEXT, "text"),
    fact("part.tyre", TEXT, "tyre"),
]
VOCABULARY = Vocabulary(
    {"part": Subject("part", "A part", "always")},
    {"opening_size": OPENING, "kind": KIND},
    {},
    {f.name: f for f in FACTS},
)
BOOK = Rulebook(
    name="",
    digest="",
    vocabulary=VOCABULARY,
    tables={},
    derived={},
    opening={},
    rules=(),
    limits=(),
    needs=(),
    cautions=(),
    topics={},
    examples={},
    named=frozenset(),
)


def read(**facts: Any) -> dict[str, Value]:
    """The values of facts that are all right."""
    values, problems = read_all(facts)
    assert problems == []
    return values


def read_all(facts: dict[str, Any]) -> tuple[dict[str, Value], list[Problem]]:
    """The values of a subject's facts, and all problems."""
    values: dict[str, Value] = {}
    problems: list[Problem] = []
    FactReader(BOOK).read("part", facts, "/rig/part/facts", problems, values, {})
    return values, problems


def refused(name: str, wire: Any) -> Problem:
    """The one problem of one fact that is refused; nothing of it becomes a value."""
    values, problems = read_all({name: wire})
    assert len(problems) == 1 and not values
    return problems[0]


@pytest.mark.parametrize(
    ("name", "wire", "value"),
    [
        ("offset", "3 in", (3 * INCH, 3 * INCH)), ("offset", "-1/4 in", (-INCH / 4, -INCH / 4)),
        ("offset", "76.2 mm", (76.2, 76.2)), ("offset", '2.5"', (63.5, 63.5)),
        ("weight", "900 lb", (900 * POUND, 900 * POUND)), ("weight", "410 kg", (410.0, 410.0)),
        ("share", "12 %", (0.12, 0.12)), ("share", "12 percent", (0.12, 0.12)), ("share", "12 PERCENT", (0.12, 0.12)),
        ("bikes", 3, (3.0, 3.0)), ("bikes", 3.0, (3.0, 3.0)), ("bikes", "3", (3.0, 3.0)), ("bikes", 0, (0.0, 0.0)),
        ("slope", "12 deg", (12.0, 12.0)),
        ("offset", {"value": "3 in", "tolerance": "1/8 in"}, (2.875 * INCH, 3.125 * INCH)),
        ("offset", {"value": "60 in", "tolerance": "1 in"}, (59 * INCH, 60 * INCH)),
        ("weight", {"value": "1 kg", "tolerance": "2 kg"}, (0.0, 3.0)),
        ("bikes", {"value": 3, "tolerance": 1}, (2.0, 4.0)),
        ("weight", {"at_least": "10 kg", "at_most": "20 kg"}, (10.0, 20.0)),
        ("weight", {"at_least": "10 kg"}, (10.0, inf)), ("weight", {"at_most": "20 kg"}, (0.0, 20.0)),
        ("offset", {"at_most": "20 mm"}, (-inf, 20.0)), ("weight", {"at_least": "5 kg", "at_most": "5 kg"}, (5.0, 5.0)),
        ("opening", "2 in", 2), ("opening", "50.8 mm", 2), ("opening", '2"', 2), ("opening", ["2 in", "1-1/4 in"], 3),
        ("kind", "step", 1), ("kind", ["step", "bike_carrier"], 5), ("kind", ["step", "step"], 1),
        ("folds", True, 2), ("folds", False, 0), ("folds", "yes", 2), ("folds", "no", 0),
    ],
)  # fmt: skip
def test_forms_that_are_read(name: str, wire: Any, value: Value) -> None:
    """Each form of a fact has its value inside."""
    found = read(**{name: wire})[f"part.{name}"]
    if isinstance(value, tuple):
        assert found == pytest.approx(value, rel=1e-15)
    else:
        assert found == value and type(found) is int


def test_null_and_absent_are_unknown() -> None:
    """A null says no more than leaving the fact out."""
    assert read(weight=None, opening=None, folds=None, notes=None, tyre=None) == {}


def test_texts_are_kept_for_people() -> None:
    """A text and a tyre's designation are kept as written, beside what rules read of the tyre."""
    values: dict[str, Value] = {}
    texts: dict[str, str] = {}
    facts = {"notes": "mind the hose", "tyre": "245/75R16"}
    FactReader(BOOK).read("part", facts, "", [], values, texts)
    assert texts == {"part.notes": "mind the hose", "part.tyre": "245/75R16"}
    assert set(values) == {"part.tyre.diameter", "part.tyre.width", "part.tyre.rim"}
    assert values["part.tyre.rim"] == (16 * INCH, 16 * INCH)


@pytest.mark.parametrize(
    ("name", "wire", "message", "help"),
    [
        ("weight", 900, "`900` has no unit", "write the weight as a figure between 0 lb and 1000 lb"),
        ("weight", "900", "`900` has no unit", "write `900 lb` or `900 kg`"),
        ("share", 0.12, "`0.12` has no unit", "write the share as a figure between 0 % and 100 %"),
        ("share", "0.12", "`0.12` has no unit", "write the share as a figure between 0 % and 100 %"),
        ("weight", "3 in", "`3 in` is a length, expected a mass", "such as `300 lb`"),
        ("weight", "3 inn", "`inn` in `3 inn` is not a known unit", "write one of lb, oz, kg, g, t"),
        ("weight", "900 t", "`900 t` is not plausible for the weight",
         "it is between 0 lb and 1000 lb; check the figure and its unit"),
        ("weight", "-1 kg", "`-1 kg` is not plausible for the weight",
         "it is between 0 lb and 1000 lb; check the figure and its unit"),
        ("weight", True, "`true` is not a figure for the weight", "write the weight as a figure between"),
        ("weight", ["1 kg"], '`["1 kg"]` is not a figure for the weight',
         "write the weight as a figure between 0 lb and 1000 lb"),
        ("weight", {}, "the weight cannot be read from nothing", "give `value` with `tolerance`, or `at_least` and/or"),
        ("weight", {"value": "1 kg"}, "the weight cannot be read from `value`", "give `value` with `tolerance`, or"),
        ("weight", {"min": "1 kg", "at_most": "2 kg"}, "the weight cannot be read from `at_most`, `min`", "give"),
        ("weight", {"at_least": "9 kg", "at_most": "8 kg"}, "at least `9 kg` and at most `8 kg` cannot both hold",
         "`at_least` is the lower one"),
        ("bikes", 2.5, "`2.5` is not a whole number", "write the bikes as a whole number between 0 and 6"),
        ("bikes", "300 %", "`300 %` is a share, not a count", "write the bikes as a whole number between 0 and 6"),
        ("bikes", 10**400, "`" + ("1" + "0" * 59) + "…` is not plausible for the bikes", "it is between 0"),
        ("bikes", float("nan"), "`NaN` is not plausible for the bikes", "it is between 0 and 6; check"),
        ("bikes", float("inf"), "`Infinity` is not plausible for the bikes", "it is between 0 and 6; check"),
        ("opening", "50 mm", "`50 mm` is not a size of the opening",
         "did you mean `2 in` (50.8 mm)? It is one of `1-1/4 in`, `2 in`, `2-1/2 in`"),
        ("opening", "50 in", "`50 in` is not a size of the opening",
         "did you mean 50 mm, by which `2 in` goes? It is one of `1-1/4 in`, `2 in`, `2-1/2 in`"),
        ("opening", "40 in", "`40 in` is not a size of the opening", "it is one of `1-1/4 in`, `2 in`, `2-1/2 in`"),
        ("opening", "2 lb", "`2 lb` is a mass, expected a length", "the opening is one of `1-1/4 in`, `2 in`"),
        ("opening", "2", "`2` has no unit", "the opening is one of `1-1/4 in`, `2 in`, `2-1/2 in`"),
        ("opening", 2, "`2` is not a choice for the opening", "it is one of `1-1/4 in`, `2 in`, `2-1/2 in`"),
        ("opening", [], "the list of candidates for the opening is empty", "leave the fact out if it is unknown"),
        ("opening", {"value": "2 in"}, '`{"value": "2 in"}` is not a choice for the opening', "it is one of"),
        ("kind", "bike_carier", "`bike_carier` is not a choice for the kind",
         "did you mean `bike_carrier`? It is one of `step`, `ball_mount`, `bike_carrier`"),
        ("kind", "zebra", "`zebra` is not a choice for the kind", "it is one of `step`, `ball_mount`, `bike_carrier`"),
        ("folds", 1, "`1` is neither yes nor no for the folds", "write yes or no"),
        ("folds", "maybe", "`maybe` is neither yes nor no for the folds", "write yes or no"),
        ("folds", [True], "`[true]` is neither yes nor no for the folds", "write yes or no"),
        ("notes", 3, "`3` is not a text for the notes", "a text has at most 2000 characters"),
        ("notes", "a\0b", "`a\N{REPLACEMENT CHARACTER}b` is not a text for the notes", "a text has at most 2000"),
        ("tyre", 16, "`16` is not a tyre designation", "write it as on the sidewall, such as `245/75R16`"),
    ],
)  # fmt: skip
def test_forms_that_are_refused(name: str, wire: Any, message: str, help: str) -> None:
    """Each form that is no fact is told in the user's words, with what to write instead."""
    found = refused(name, wire)
    assert (found.message, found.pointer) == (message, f"/rig/part/facts/{name}")
    assert found.help.startswith(help)


def test_a_tolerance_in_percent_is_told_what_to_write() -> None:
    """A share is of a figure and no tolerance of it: the very ends are offered, or how ends are written."""
    told = "write from what to what it may be, such as `{}`, or `at_least` and `at_most`"
    for wire, ends in (
        ("12 kg ±10%", "10.8-13.2 kg"),
        ({"value": "1/2 lb", "tolerance": "5 %"}, "10.8-13.2 lb"),
        ({"value": "90 kg", "tolerance": "2.5 %"}, "87.75-92.25 kg"),
    ):
        found = refused("weight", wire)
        assert found.message.endswith(" %` is a share, and a tolerance has a unit")
        assert found.pointer == f"/rig/part/facts/weight{'/tolerance' if isinstance(wire, dict) else ''}"
        assert found.help == told.format(ends)


@pytest.mark.parametrize("wire", ["zebra", "245/75R", "", "9999/75R16"])
def test_tyres_that_are_refused(wire: str) -> None:
    """A designation that is none is told with an example of one."""
    found = refused("tyre", wire)
    assert found.message and found.help and found.pointer == "/rig/part/facts/tyre"


@pytest.mark.parametrize(
    ("name", "wire", "pointer", "message"),
    [
        ("weight", {"value": "9 in", "tolerance": "1 kg"}, "/value", "`9 in` is a length, expected a mass"),
        ("weight", {"value": "9 kg", "tolerance": "1"}, "/tolerance", "`1` has no unit"),
        ("weight", {"value": "9 kg", "tolerance": "-1 kg"}, "/tolerance", "`-1 kg` is below nothing"),
        ("weight", {"value": "9 t", "tolerance": "1 kg"}, "/value", "`9 t` is not plausible for the weight"),
        ("weight", {"at_least": None}, "/at_least", "`null` is not a figure for the weight"),
        ("weight", {"at_most": {"value": "1 kg"}}, "/at_most", '`{"value": "1 kg"}` is not a figure for the weight'),
        ("kind", ["step", "zebra"], "/1", "`zebra` is not a choice for the kind"),
        ("opening", ["50 mm", "2 in"], "/0", "`50 mm` is not a size of the opening"),
        ("opening", [["2 in"]], "/0", '`["2 in"]` is not a choice for the opening'),
    ],
)
def test_pointers_reach_inside(name: str, wire: Any, pointer: str, message: str) -> None:
    """A problem within a value points at the very part that is wrong."""
    found = refused(name, wire)
    assert (found.pointer, found.message) == (f"/rig/part/facts/{name}{pointer}", message)


@pytest.mark.parametrize("wire", ["9 t ± 1 kg", "9 kg ± 1 in", "at least 9 t", "at least 9 kg, at most 8 kg"])
def test_a_figure_in_one_text_is_pointed_at_as_a_whole(wire: str) -> None:
    """Its parts have no places of their own in what was sent."""
    assert refused("weight", wire).pointer == "/rig/part/facts/weight"


def test_all_problems_are_told_at_once() -> None:
    """Every fact that is wrong is told, with its pointer, and the right ones are still read."""
    wire = {
        "weight": {"at_least": "9 in", "at_most": "1"},
        "wait": "9 kg",
        "kind": ["zebra", "step", "lion"],
        "folds": True,
        "opening": "50 mm",
        "a/b~c": 1,
        "offset": {"value": "3 lb", "tolerance": "1 lb"},
    }
    values, problems = read_all(wire)
    assert values == {"part.folds": 2}
    assert [problem.pointer.removeprefix("/rig/part/facts") for problem in problems] == [
        "/weight/at_least",
        "/weight/at_most",
        "/wait",
        "/kind/0",
        "/kind/2",
        "/opening",
        "/a~1b~0c",
        "/offset/value",
        "/offset/tolerance",
    ]


@pytest.mark.parametrize(
    ("name", "help"),
    [
        ("wieght", "did you mean `weight`? `fitsvc rules facts` and `/v1/vocabulary` tell all facts"),
        ("open", "did you mean `opening`? `fitsvc rules facts` and `/v1/vocabulary` tell all facts"),
        ("zebra", "it has `bikes`, `folds`, `kind`, `notes`, `offset`, `opening`, `share`, `slope`, `tyre`, `weight`"),
    ],
)
def test_unknown_facts_have_a_nearest(name: str, help: str) -> None:
    """A fact that the subject does not have is told with the nearest it has, or with all."""
    found = refused(name, "1 kg")
    assert (found.message, found.help) == (f"`{name}` is not a fact of part", help)


def test_what_is_well_formed_but_cannot_be_is_marked() -> None:
    """A weight of 900 t is well formed; `9 in` for a weight is not."""
    assert refused("weight", "900 t").meaning and refused("weight", {"at_least": "9 kg", "at_most": "8 kg"}).meaning
    assert not refused("weight", "9 in").meaning


@pytest.mark.parametrize(("wire", "value"), [("-0.0000005 kg", 0.0), ("453.5923705 kg", 1000 * POUND)])
def test_an_end_of_the_range_is_met_with_tolerance(wire: str, value: float) -> None:
    """What is the same as the range's end is that end, so nothing that cannot be negative is."""
    assert read(weight=wire)["part.weight"] == (value, value)
    assert read(weight={"at_least": wire})["part.weight"] == (value, inf)
    assert read(weight={"value": wire, "tolerance": "0 kg"})["part.weight"] == (value, value)


def test_a_true_is_not_a_one_though_equal_in_python() -> None:
    """A remembered reading of 1 does not serve for true, nor the other way round."""
    reader, values = FactReader(BOOK), dict[str, Value]()
    problems: list[Problem] = []
    for wire in ({"bikes": 1, "folds": True}, {"bikes": True, "folds": 1}):
        reader.read("part", wire, "", problems, values, {})
    assert [problem.pointer for problem in problems] == ["/bikes", "/folds"]
    assert values == {"part.bikes": (1.0, 1.0), "part.folds": 2}


@pytest.mark.parametrize(
    "wire", ["9" * 1_000_000, "x" * 1_000_000, ["x" * 1_000_000], {"value": "9" * 1_000_000, "tolerance": "1 kg"}]
)
@pytest.mark.parametrize("name", ["weight", "opening", "kind", "folds", "tyre", "notes", "x" * 1_000_000])
def test_hostile_values_cost_an_error(name: str, wire: Any) -> None:
    """A megabyte of anything is refused at once, in a line."""
    _, problems = read_all({name: wire})
    assert problems
    assert all(len(problem.message) < 200 and "\n" not in problem.message for problem in problems)


wires = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["2 in", "9 kg", "yes", "step", "245/75R16", "12 %"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["value", "tolerance", "at_least", "at_most", "x"]), inner, max_size=3)
    ),
    max_leaves=5,
)


@tries(500)
@given(st.sampled_from([one.short for one in FACTS]), wires)
def test_anything_is_read_or_refused(name: str, wire: Any) -> None:
    """Whatever JSON holds, it gives a value within the fact's type or problems below its pointer."""
    values, problems = read_all({name: wire})
    assert all(problem.pointer.startswith(f"/rig/part/facts/{name}") and problem.message for problem in problems)
    for slot, value in values.items():
        kind = VOCABULARY.slots()[slot]
        if isinstance(value, tuple):
            assert isinstance(kind, NumberType) and value[0] <= value[1]
            assert kind.negative or value[0] >= 0.0
        else:
            assert not isinstance(kind, NumberType) and 0 <= value <= 15


@tries(200)
@given(st.integers(0, 900 * 16))
def test_the_unit_written_does_not_matter(sixteenths: int) -> None:
    """A weight in pounds is the same in kilograms: exactly, for a pound is 0.45359237 kg."""
    kilograms = sixteenths * Decimal("0.45359237") / 16
    assert read(weight=f"{sixteenths}/16 lb") == read(weight=f"{kilograms:f} kg")


def test_numbers_too_long_to_print_are_refused() -> None:
    """A number that Python itself will not print is still an error in a line."""
    assert refused("bikes", 10**5000).message == "`…` is not plausible for the bikes"
    assert refused("kind", [10**5000]).pointer == "/rig/part/facts/kind/0"


def test_texts_at_the_bound() -> None:
    """The longest text is kept, one character more is refused."""
    assert read(notes="x" * LONGEST_TEXT) == {}
    assert refused("notes", "x" * (LONGEST_TEXT + 1)).help == f"a text has at most {LONGEST_TEXT} characters"


def test_one_value_raises_its_problems() -> None:
    """A single fact read alone raises, with pointers below the fact."""
    with pytest.raises(ProblemsFound) as caught:
        FactReader(BOOK).value(VOCABULARY.facts["part.kind"], ["zebra", "lion"])
    assert [problem.pointer for problem in caught.value.problems] == ["/0", "/1"]


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("5-6 in", "5 in", "6 in"),
        ("5 to 6 in", "5 in", "6 in"),
        ("3,001 - 4,000 lb", "3,001 lb", "4,000 lb"),
        ("between 4 and 5 in", "4 in", "5 in"),
        ("15.5 deg to 19.4 deg", "15.5 deg", "19.4 deg"),
        ("2½ to 3 in", "2½ in", "3 in"),
        ("10 – 12 lb", "10 lb", "12 lb"),
    ],
)
def test_a_figure_from_one_to_another_is_bounds(text: str, low: str, high: str) -> None:
    """What people write who are not sure is what they know: no less than the one, no more than the other."""
    assert parted(text) == {"at_least": low, "at_most": high}


@pytest.mark.parametrize(
    "text",
    [
        "38 and 52 lb",
        "38, 52 lb",
        "38 lb; 52 lb",
        "one 38 lb, one 52 lb",
        "52 & 38 lb",
        "38 y 52 lb",
        "40 + 38 + 52 lb",
    ],
)
def test_several_figures_are_none_and_no_range(text: str) -> None:
    """Bikes told one by one are not "each from the lightest to the heaviest", of which a no would be left open."""
    fact = answerer().reader.vocabulary.facts["load.bike_weight"]
    with pytest.raises(ProblemsFound) as refused:
        answerer().reader.value(fact, text)
    (problem,) = refused.value.problems
    assert "tells several figures" in problem.message and "`38 lb to 52 lb`" in problem.help
    assert "tell the heaviest by itself" in problem.help


@pytest.mark.parametrize("text", ["6 ft, 2 in", "5 lb, 3 oz", "3,5 lb", "40 lb and heavy"])
def test_what_is_wrong_otherwise_is_told_so(text: str) -> None:
    """Parts of one figure, a comma for a point and other words are not several figures."""
    with pytest.raises(ProblemsFound) as refused:
        answerer().reader.value(answerer().reader.vocabulary.facts["load.bike_weight"], text)
    assert "several" not in refused.value.problems[0].message


@pytest.mark.parametrize("text", ["1-1/4 in", "2-5/16 in", "-2 in", "6 ft 2 in", "exactly 4 in", "1,700 lb", "class I"])
def test_one_figure_stays_one(text: str) -> None:
    """A mixed number, a sign, feet and inches are no range."""
    assert parted(text) == text
