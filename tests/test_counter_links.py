"""A page's address is the whole question: what its fields say, and that they say the same back and forth."""

import json
import re
from typing import Any

import pytest
from demo_world import answerer
from hypothesis import given
from hypothesis import strategies as st
from pseudo import pseudo_tongue

from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.facts import FactReader
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import parse_any
from fitsvc.language.types import ListType, NumberType, TruthType
from fitsvc.loading.cells import read_cell
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.counter.fields import FieldMaker
from fitsvc.service.counter.links import (
    ONE_EACH,
    REAR,
    adapter_places,
    cell,
    field_of,
    read_fields,
    spread,
    write_fields,
)
from fitsvc.service.speaking import spoken_tongues
from fitsvc.subjects import BESIDE_RIG, OF_RIG
from fitsvc.tongues import speaking

BOOK = answerer().rulebook
READER = FactReader(BOOK)


def wires(fact: Fact) -> st.SearchStrategy[Any]:
    """Values of a fact as people send them."""
    if fact.tyre:
        return st.sampled_from(["245/75R16", "31X10.50R15LT"])
    if isinstance(fact.type, TruthType):
        return st.booleans()
    if isinstance(fact.type, ListType):
        members = st.sampled_from(fact.type.members)
        return members | st.lists(members, min_size=2, max_size=3, unique=True)
    if isinstance(fact.type, NumberType) and fact.range_text:
        low, high = fact.range_text
        one = st.sampled_from([low, high])
        return (
            one
            | st.fixed_dictionaries({"value": one, "tolerance": st.just(high)})
            | st.just({"at_least": low, "at_most": high})
            | st.just({"at_most": high})
        )
    return st.sampled_from(["A plain name", "with ± and | and =&", "at least so"])


def parts(subject: str) -> st.SearchStrategy[dict[str, Any]]:
    """A subject of a question, its facts inline."""
    facts = {fact.short: wires(fact) for fact in BOOK.vocabulary.of(subject).values()}
    return st.fixed_dictionaries({}, optional=facts).map(lambda told: {"facts": told})


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """Whole questions."""
    subjects = [name for name in ONE_EACH if name != "accessory"]
    told = {name: draw(parts(name)) for name in subjects if draw(st.integers(0, 2)) == 0}
    rig: dict[str, Any] = {name: part for name, part in told.items() if name in OF_RIG}
    if draw(st.booleans()):
        rig["adapters"] = draw(st.lists(parts("adapter").filter(lambda part: bool(part["facts"])), max_size=2))
    rest = {name: part for name, part in told.items() if name not in OF_RIG}
    return {"rig": rig, "accessory": draw(parts("accessory")), **rest}


@given(documents())
def test_a_link_asks_what_the_question_asks(document: dict[str, Any]) -> None:
    """Whatever the question, its fields are read back as the same case, and written the same again."""
    fields = write_fields(document)
    asked = read_fields(fields, READER, "us")
    assert asked.problems == ()
    assert write_fields(asked.document) == fields
    before, after = (read_question(one, READER, NoRecords()).case for one in (document, asked.document))
    assert before == after


def test_a_link_takes_out_of_a_saved_rig_what_is_in_its_opening() -> None:
    """No adapters, said of a saved rig, are other than none said; one that is named besides is what is there."""
    for adapters in ([], [{"sku": "BTX-SLEEVE-2-125"}]):
        document = {"rig": {"id": "rig_bothy_bikes", "adapters": adapters}, "accessory": {"sku": "SPK-TRUG-2"}}
        assert read_fields(write_fields(document), READER, "us").document == document
    bare = {"rig": "rig_bothy_bikes", "adapter.1": "none"}
    assert read_fields({"rig": "rig_bothy_bikes"}, READER, "us").document == {"rig": {"id": "rig_bothy_bikes"}}
    told = read_fields({**bare, "adapter.2": "BTX-TWIN-2"}, READER, "us").document
    assert told["rig"]["adapters"] == [{"sku": "BTX-TWIN-2"}]
    assert adapter_places(bare) == [] and adapter_places({**bare, "adapter.2": "BTX-TWIN-2"}) == ["adapter.2"]


@given(documents(), st.lists(parts("load"), min_size=1, max_size=3))
def test_a_link_asks_about_several_things_at_once(document: dict[str, Any], loads: list[dict[str, Any]]) -> None:
    """What hangs on the rig at the same time is told in fields of its own, and read back as the same things."""
    told = {name: document.pop(name) for name in BESIDE_RIG if name in document and name != "beside"}
    more = [{"accessory": {"sku": f"S-{number}"}, "load": load} for number, load in enumerate(loads)]
    things = [{"hangs_on": REAR, **one} for one in (told, *more)]
    fields = write_fields({"rig": document["rig"], TOGETHER: things})
    asked = read_fields(fields, READER, "us")
    assert asked.problems == () and write_fields(asked.document) == fields
    again = asked.document[TOGETHER]
    assert [one.get("accessory", {}).get("sku") for one in again[1:]] == [f"S-{number}" for number in range(len(loads))]
    assert [write_fields(one) for one in again] == [write_fields(one) for one in things]


def test_bare_numbers_have_the_unit_of_their_field() -> None:
    """A field names its unit, in either system; what is typed with another unit keeps it."""
    fields = {"load.bike_weight": "40", "mounting.pin_to_bumper": "100 mm", "load.bikes": "2"}
    us = read_fields(fields, READER, "us").document
    metric = read_fields(fields, READER, "metric").document
    assert us["load"]["facts"] == {"bikes": "2", "bike_weight": "40 lb"}
    assert metric["load"]["facts"]["bike_weight"] == "40 kg"
    assert us["rig"]["mounting"]["facts"] == {"pin_to_bumper": "100 mm"}


@pytest.mark.parametrize(
    ("field", "pointer", "help"),
    [
        ("load.bike_wieght", "load.bike_wieght", "did you mean `bike_weight`?"),
        ("accesory", "accesory", "did you mean `accessory`?"),
        ("adapter.9.kind", "adapter.9.kind", "did you mean"),
        ("nothing.here", "nothing.here", "take it out of the link"),
    ],
)
def test_an_unknown_field_is_told(field: str, pointer: str, help: str) -> None:
    """A field that says nothing to us is told, with the nearest that does."""
    (found,) = read_fields({field: "1"}, READER, "us").problems
    assert found.pointer == pointer
    assert help in found.help


@pytest.mark.parametrize("name", ["utm_source", "fbclid", "<script>", "gclid"])
def test_what_a_mailer_adds_is_left_out(name: str) -> None:
    """A name without a dot that is none of ours, nor nearly one, spoils no link; it is told as left out."""
    asked = read_fields({name: "mail", "load.bikes": "2"}, READER, "us")
    assert (asked.problems, asked.left_out) == ((), (name,))
    assert asked.document == {"load": {"facts": {"bikes": "2"}}}


@pytest.mark.parametrize(
    ("pointer", "field"),
    [
        ("/rig/mounting/facts/pin_to_bumper", "mounting.pin_to_bumper"),
        ("/load/facts/bike_weight/value", "load.bike_weight"),
        ("/rig/adapters/0/facts/kind", "adapter.1.kind"),
        ("/rig/adapters/1/sku", "adapter.2"),
        ("/rig/vehicle/id", "vehicle"),
        ("/accessory/sku", "accessory"),
        ("/together/0/accessory", "accessory"),
        ("/together/1/accessory/sku", "also.1"),
        ("/together/2/load/facts/bikes", "also.2.load.bikes"),
        ("load.bikes", "load.bikes"),
        ("", ""),
    ],
)
def test_a_problem_finds_its_field(pointer: str, field: str) -> None:
    """A pointer into the question is a field of its page."""
    assert field_of(Problem("wrong", pointer=pointer)) == field


def test_any_of_several_vehicles_is_spread_out() -> None:
    """A choice may stand for several vehicles by what they share; empty repeats tell nothing."""
    told = [
        ("vehicle", "vehicle.make=Brannoch&vehicle.year=2023&load.bikes=9"),
        ("load.bikes", "2"),
        ("load.bikes", ""),
    ]
    assert spread(told) == {"vehicle.make": "Brannoch", "vehicle.year": "2023", "load.bikes": "2"}


LEAVES = st.none() | st.booleans() | st.integers() | st.text(max_size=5)
NESTED = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["value", "at_least"]), inner)
)


@given(NESTED)
def test_any_value_has_a_text(wire: Any) -> None:
    """No value of a question, right or wrong, breaks the page that shows it."""
    assert isinstance(cell(json.loads(json.dumps(wire))), str)


@pytest.mark.parametrize(
    "wire", [{"at_least": "38 lb", "at_most": "52 lb"}, {"at_most": "20 kg"}, {"at_least": "20 kg"}]
)
@pytest.mark.parametrize("code", ["es", "qps"])
def test_bounds_are_shown_as_they_can_be_typed_in_any_language(wire: dict[str, str], code: str) -> None:
    """No English word stands in the field of who speaks another language, and what stands there reads as it was."""
    with speaking(spoken_tongues(None).get(code) or pseudo_tongue(set(), set())):
        shown = cell(wire)
        assert not re.search("least|most", shown)
        assert read_cell(shown, BOOK.vocabulary.facts["load.bike_weight"], "lb", READER.bounds) == wire


@pytest.mark.parametrize("system", ["us", "metric"])
def test_what_a_field_shows_as_an_example_is_plausible_of_its_fact(system: System) -> None:
    """Nobody is shown a bike of 400 lb: what stands in a field can be typed there, and is low in the fact's range."""
    vocabulary, shown = answerer().rulebook.vocabulary, 0
    for fact in vocabulary.facts.values():
        example = FieldMaker(vocabulary, {}, [], system).of(fact).example
        if not example or fact.tyre or fact.range is None:
            continue
        in_link = fact.name.replace("adapter.", "adapter.1.")
        assert not read_fields({in_link: example}, READER, system).problems, (fact.name, example)
        low, high = max(0.0, fact.range[0]), fact.range[1]
        assert low <= parse_any(example)[0] <= (low + high) / 2
        shown += 1
    assert shown > 100


AT_MOST: tuple[str, ...] = (
    "at most 3000", "under 3000", "below 3000", "less than 3000", "3000 or less", "<3000", "hasta 3000",
    "menos de 3000", "como máximo 3000", "3000 como máximo", "3000 o menos", "no más de 3000", "not more than 3000",
)  # fmt: skip
AT_LEAST: tuple[str, ...] = (
    "at least 3000", "more than 3000", "over 3000", "3000+", "al menos 3000",
    "más de 3000", "mas de 3000", "3000 como mínimo", "3000 o más", "no menos de 3000",
)  # fmt: skip
BETWEEN: tuple[str, ...] = (
    "between 2000 and 3000", "2000 to 3000", "2000-3000", "entre 2000 y 3000", "at least 2000, at most 3000",
)  # fmt: skip


@pytest.mark.parametrize("system", ["us", "metric"])
@pytest.mark.parametrize(
    ("text", "unit_told"),
    [(text, re.sub(r"(\d+)(?=\D*\Z)", r"\1 {}", text)) for text in (*AT_MOST, *AT_LEAST, *BETWEEN)],
)
def test_a_bound_without_a_unit_has_its_fields(text: str, unit_told: str, system: System) -> None:
    """However people say what a figure is at least or at most, the unit beside the field is that of it."""
    unit = {"us": "lb", "metric": "kg"}[system]
    bare, told = (read_fields({"trailer.gross_weight": one}, READER, system) for one in (text, unit_told.format(unit)))
    assert not bare.problems
    one, other = (read_question({"accessory": {}, **read.document}, READER, NoRecords()).case for read in (bare, told))
    assert one.facts["trailer.gross_weight"] == other.facts["trailer.gross_weight"]
    low, high = one.facts["trailer.gross_weight"]  # type: ignore[misc]  # a figure has two ends
    assert low < high


@pytest.mark.parametrize("text", ["about 3000", "unos 3000", "3000 or so", "3000 hasta", "hasta", "hasta tres"])
def test_what_is_no_bound_stays_as_it_was_typed(text: str) -> None:
    """What does not say how far off it is, and what is no figure, are told of in their own words."""
    asked = read_fields({"trailer.gross_weight": text}, READER, "us")
    with pytest.raises(ProblemsFound) as refused:
        read_question({"accessory": {}, **asked.document}, READER, NoRecords())
    assert f"`{text}`" in refused.value.problems[0].message
