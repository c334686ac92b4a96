"""The checker: what each expression's type is, how bare members are read, and the whole text of every complaint."""

import inspect
import os
from dataclasses import replace
from math import inf
from pathlib import Path
from random import Random

import pytest

from fitsvc.language import complaints, typed
from fitsvc.language.checker import Names, check
from fitsvc.language.functions import FUNCTIONS, SPECIAL_FORMS
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import ANGLE, FORCE, LENGTH, MASS, NUMBER, TORQUE
from fitsvc.language.source import Source
from fitsvc.language.tables import Table
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, ListType, NumberType, Type

ERRORS = Path(__file__).with_name("language_errors.txt")

KIND = ListType("accessory_kind", ("ball_mount", "bike_carrier", "cargo_carrier", "step"))
BODY = ListType("body", ("pickup", "suv", "none"))
OPENING = ListType("opening_size", ("1-1/4 in", "2 in", "2-1/2 in", "3 in"), (31.75, 50.8, 63.5, 76.2), LENGTH)
PIN = ListType("pin_size", ("1/2 in", "5/8 in"), (12.7, 15.875), LENGTH)
NAMES = Names(
    {
        "accessory.kind": KIND,
        "accessory.shank": OPENING,
        "accessory.weight": NumberType(MASS, negative=False),
        "accessory.length": NumberType(LENGTH, negative=False),
        "accessory.pin": PIN,
        "accessory.pin_supplied": TRUTH,
        "receiver.opening": OPENING,
        "receiver.tongue_rating": NumberType(MASS, negative=False),
        "vehicle.body": BODY,
        "vehicle.wheelbase": NumberType(LENGTH, negative=False),
        "mounting.pin_to_bumper": NumberType(LENGTH),
        "load.bikes": NumberType(NUMBER, negative=False),
        "load.steepest_grade": NumberType(NUMBER, negative=False),
        "ball.rise_angle": NumberType(ANGLE),
        "mounting.torque": NumberType(TORQUE, negative=False),
        "ball.pull": NumberType(FORCE, negative=False),
    },
    frozenset(("vehicle", "receiver", "mounting", "accessory", "ball", "trailer", "load")),
    {
        "usual_pin": Table(OPENING, PIN, (PIN.member(0), *[PIN.member(1)] * 3)),
        "trailer_class": Table(NumberType(MASS), BODY, (BODY.member(0), BODY.member(1)), (907.0,)),
    },
    given=frozenset(("load.bikes", "load.steepest_grade", "accessory.kind")),
    texts=frozenset(("receiver.notes",)),
    ranges={"vehicle.wheelbase": ((1016.0, 10160.0), ("40 in", "400 in"))},
    strict=True,
)


def checked(text: str, expected: Type | None = None) -> AnyTyped:
    """The checked tree of a text."""
    return check(Source.plain(text, "rules/a.yaml"), NAMES, expected)


def complaint(text: str) -> str:
    """All that is said of a text that does not check, as a condition."""
    with pytest.raises(ProblemsFound) as caught:
        checked(text, TRUTH)
    return str(caught.value)


def blocks() -> list[tuple[str, str]]:
    """The pairs of expression and whole error text in the golden file."""
    pairs = []
    for block in ERRORS.read_text(encoding="utf-8").split("\n\n"):
        lines = [line for line in block.strip("\n").split("\n") if not line.startswith("#")]
        written = [line.removeprefix("> ") for line in lines if line.startswith("> ")]
        if written:
            pairs.append(("\n".join(written), "\n".join(line for line in lines if not line.startswith("> "))))
    return pairs


def test_error_texts() -> None:
    """Each expression in language_errors.txt is refused with exactly the text that stands below it.

    FITSVC_UPDATE=1 writes the texts anew; read the difference before it is kept.
    """
    found = [(text, complaint(text)) for text, _ in blocks()]
    if os.environ.get("FITSVC_UPDATE"):
        head = [line for line in ERRORS.read_text(encoding="utf-8").split("\n") if line.startswith("#")]
        body = ["> " + text.replace("\n", "\n> ") + "\n" + error for text, error in found]
        ERRORS.write_text("\n\n".join(["\n".join(head), *body]) + "\n", encoding="utf-8")
    assert len(found) >= 50
    for (text, wanted), (_, said) in zip(blocks(), found, strict=True):
        assert said == wanted, text


def test_a_column_that_is_not_there_is_told_apart_from_its_table() -> None:
    """Whoever misspells a column is not told that the table is missing, and sees which columns there are."""
    known = ["brake_law.line", "brake_law.whole", "brake_law.known", "usual_pin"]
    has = "columns are `line`, `whole`, `known`"
    told = {
        "brake_law.lines": ("the table `brake_law` has no column `lines`", f"did you mean `brake_law.line`? Its {has}"),
        "brake_law.overr": ("the table `brake_law` has no column `overr`", f"its {has}"),
        "brake_laws.over": ("there is no table `brake_laws`", f"did you mean `brake_law`? Its {has}"),
        "brake_law": (
            "the table `brake_law` has several columns",
            f"name one behind it, as `brake_law.COLUMN`: its {has}",
        ),
        "usual_pin.over": ("the table `usual_pin` has no columns", "write `lookup(usual_pin, subject.fact)`"),
        "usual_pn": ("there is no table `usual_pn`", "did you mean `usual_pin`?"),
        "weather.of": ("there is no table `weather`", "there are `brake_law`, `usual_pin`"),
    }
    assert {name: complaints.unknown_table(name, known) for name in told} == told


def test_error_texts_cover_every_complaint() -> None:
    """Each kind of complaint the checker can make stands in the golden file."""
    golden = ERRORS.read_text(encoding="utf-8")
    words = {
        "wrong_type": "expected a yes/no",
        "not_a_number": "expected a number",
        "not_a_size": "is not in opening_size",
        "text_fact": "is a text, and no rule",
        "unknown_fact": "there is no fact",
        "unknown_member": "is not in accessory_kind",
        "bare_name": "alone says nothing",
        "different_dimensions": "cannot be compared with",
        "not_comparable": "cannot compare",
        "beyond_its_range": "is never 80 ft",
        "zero_divides": "nothing can be divided by it",
        "zero_times": "makes zero of whatever",
        "two_figures": "is the same whatever is told",
        "not_a_list": "asks for a list's member",
        "member_twice": "is among them already",
        "not_a_member": "not a member of",
        "different_branches": "the two branches differ",
        "unknown_function": "there is no function",
        "wrong_count": "arguments, found",
        "wrong_argument": "takes a length here",
        "lookup_form": "`lookup` takes",
        "lookup_keys": "is looked up by one key",
        "unknown_table": "there is no table",
        "known_form": "`known` takes",
        "present_form": "`present` takes",
        "never_given": "is never given",
        "unknown_subject": "there is no subject",
    }
    functions = dict(inspect.getmembers(complaints, inspect.isfunction))
    made = {name for name, of in functions.items() if of.__module__ == complaints.__name__}
    assert {name for name in made if not name.startswith("_")} == set(words)
    assert [name for name, part in words.items() if part not in golden] == []


@pytest.mark.parametrize("text", ["accessory.length / 0 >= 2 in", "0 * accessory.length < 2 in", "1 in < 2 in"])
def test_the_language_itself_has_a_value_for_what_rules_may_not_say(text: str) -> None:
    """Arithmetic is total, as the conformance cases hold it to be; only who writes a rule is told of the slip."""
    assert check(Source.plain(text), replace(NAMES, strict=False), TRUTH).type == TRUTH


@pytest.mark.parametrize("text", ["accessory.length - 0 in <= 2 in", "accessory.length * 0.5 >= 1 in / 4"])
def test_other_figures_are_taken(text: str) -> None:
    """A zero that is added, and a quotient of figures, decide something."""
    assert check(Source.plain(text), NAMES, TRUTH).type == TRUTH


@pytest.mark.parametrize(
    ("text", "dimension", "negative"),
    [
        ("accessory.length + 2 in", LENGTH, False),
        ("accessory.length - 2 in", LENGTH, True),
        ("-accessory.length", LENGTH, True),
        ("accessory.length * 2", LENGTH, False),
        ("accessory.length * mounting.pin_to_bumper", LENGTH * LENGTH, True),
        ("accessory.weight / vehicle.wheelbase", MASS / LENGTH, False),
        ("accessory.length / 2 in", NUMBER, False),
        ("mounting.torque / accessory.length", FORCE, False),
        ("ball.pull * 2 in", TORQUE, False),
        ("abs(mounting.pin_to_bumper)", LENGTH, False),
        ("max(accessory.length, mounting.pin_to_bumper)", LENGTH, True),
        ("accessory.shank + 1 in", LENGTH, False),
        ("min(accessory.shank, accessory.pin)", LENGTH, False),
        ("rear_axle_share(accessory.weight, 1 m, vehicle.wheelbase)", MASS, False),
        ("rear_axle_share(accessory.weight - 1 kg, 1 m, vehicle.wheelbase)", MASS, True),
        ("front_axle_relief(accessory.weight - 1 kg, 1 m, vehicle.wheelbase)", MASS, False),
        ("1 in if accessory.pin_supplied else mounting.pin_to_bumper", LENGTH, True),
        ("accessory.shank if accessory.pin_supplied else accessory.pin", LENGTH, False),
        ("10 %", NUMBER, False),
        ("load.bikes * 20 kg", MASS, False),
        ("span(1 in, 2 in)", LENGTH, False),
    ],
)
def test_dimension_and_sign(text: str, dimension: object, negative: bool) -> None:
    """Arithmetic carries dimensions, and knows what cannot be below zero."""
    assert checked(text).type == NumberType(dimension, negative)  # type: ignore[arg-type]  # the figures come from a table of the test


@pytest.mark.parametrize(
    ("text", "mask"),
    [
        ("accessory.kind == step", 8),
        ("step == accessory.kind", 8),
        ("accessory.kind in [step, ball_mount]", 9),
        ("accessory.shank == 2 in", 2),
        ("50.8 mm == accessory.shank", 2),
        ("accessory.shank in [2 in, 3 in]", 10),
        ("lookup(usual_pin, accessory.shank) == 5/8 in", 2),
        ("lookup(trailer_class, 1 t) == suv", 2),
        ("(accessory.shank if accessory.pin_supplied else 3 in) == 2 in", 2),
    ],
)
def test_bare_members_are_read_by_the_other_side(text: str, mask: int) -> None:
    """A bare member or a size stands for one of the list it is compared with."""
    node = checked(text)
    assert isinstance(node, typed.Membership) and node.mask == mask


@pytest.mark.parametrize("text", ["accessory.kind == %s", "%s == accessory.kind"])
def test_a_choice_of_members_is_read_by_the_other_side(text: str) -> None:
    """A choice between bare members may stand on either side of a comparison."""
    node = checked(text % "(step if accessory.pin_supplied else ball_mount)")
    assert isinstance(node, typed.SameMember)
    assert {type(node.left), type(node.right)} == {typed.Read, typed.Conditional}


def test_sizes_of_two_lists_compare_by_length() -> None:
    """Sizes of one list compare as members, of two lists as lengths."""
    assert isinstance(checked("accessory.shank == receiver.opening"), typed.SameMember)
    assert isinstance(checked("accessory.shank == accessory.pin"), typed.Equal)
    assert isinstance(checked("accessory.shank <= receiver.opening"), typed.LessOrEqual)


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("accessory.length > 2 in", "not accessory.length <= 2 in"),
        ("accessory.length >= 2 in", "2 in <= accessory.length"),
        ("accessory.length < 2 in", "not 2 in <= accessory.length"),
        ("accessory.kind != step", "not accessory.kind == step"),
        ("accessory.kind not in [step]", "not accessory.kind in [step]"),
    ],
)
def test_few_comparisons_carry_all(text: str, same: str) -> None:
    """Strict and reversed comparisons are written with `<=`, `==` and `not`."""
    assert checked(text) == checked(same)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("accessory.shank", NumberType(LENGTH)),
        ("2 in", OPENING),
        ("step", KIND),
        ("yes", TRUTH),
        ("3", NumberType(NUMBER)),
    ],
)
def test_an_expected_type_helps(text: str, expected: Type) -> None:
    """Where the type is given, a bare member is read by it, and a size serves as a length."""
    found = checked(text, expected).type
    assert type(found) is type(expected)


def test_all_problems_of_an_expression_are_told() -> None:
    """Three faults in one expression give three problems, in one go."""
    found = complaint("accessory.wait <= 2 in and accessory.kind == stepp and receiver.opening <= 3 lb")
    assert [line for line in found.split("\n") if "rules/a.yaml" in line] == [
        "rules/a.yaml:1:1: there is no fact `accessory.wait`",
        "rules/a.yaml:1:46: `stepp` is not in accessory_kind",
        "rules/a.yaml:1:73: a length cannot be compared with a mass: `receiver.opening` and `3 lb`",
    ]


def test_every_function_has_words() -> None:
    """Each function says what it is, and names no special form."""
    for name, row in FUNCTIONS.items():
        assert row.name == name and row.doc and row.source and name not in SPECIAL_FORMS


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_keep_the_sign_they_state(name: str) -> None:
    """No result is below zero where the row says so, nor where no argument is, unless it says it may be."""
    row, rng = FUNCTIONS[name], Random(name)
    for _ in range(2_000):
        least = rng.choice((0.0, -100.0))
        arguments = [
            (low := rng.choice((least, rng.uniform(least, 100.0))), rng.choice((low, inf, rng.uniform(low, 200.0))))
            for _ in row.arguments * (2 if row.variadic else 1)
        ]
        if row.never_negative or (least >= 0.0 and not row.may_be_negative):
            assert row.over_bounds(*arguments)[0] >= 0.0, arguments


def test_present_takes_subjects_and_the_facts_a_question_gives() -> None:
    """Whether a subject is asked about and whether a fact is given are one kind of question, and read nothing."""
    for name in ("load", "load.bikes", "accessory.kind"):
        node = checked(f"present({name})", TRUTH)
        assert node == typed.Present(TRUTH, name)
        assert typed.reads(node) == {} and typed.presences(node) == {name}
