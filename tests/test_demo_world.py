"""The demo world: every file of `seed_demo` reads, hangs together, and its questions come out as they say."""

from collections import Counter
from collections.abc import Mapping
from functools import cache

import pytest
from demo_world import ASKED, SEED, answerer, question, world

from fitsvc.answers.answer import Answer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import Stored
from fitsvc.language.problems import Problem
from fitsvc.language.types import Value

FEWEST = {
    "vehicle": 12,
    "receiver": 15,
    "mounting": 25,
    "accessory": 150,
    "adapter": 10,
    "ball": 10,
    "trailer": 5,
    "wiring_adapter": 5,
}


@cache
def _read() -> Mapping[str, Mapping[str, Value]]:
    """Every record's facts as typed values; any problem is told with the record it is in."""
    reader = answerer().reader
    read: dict[str, dict[str, Value]] = {}
    problems: list[Problem] = []
    for record in world().records:
        read[record.key] = {}
        reader.read(record.subject, record.facts, f"/{record.key}", problems, read[record.key], {})
    assert not problems, "\n".join(f"{problem.pointer}: {problem.message}" for problem in problems)
    return read


def _number(record: Stored, name: str) -> tuple[float, float] | None:
    value = _read()[record.key].get(f"{record.subject}.{name}")
    return value if isinstance(value, tuple) else None


@cache
def _answer(name: str) -> Answer:
    return answerer().answer(question(name), world())


def test_every_fact_reads_by_the_vocabulary() -> None:
    """Every record gives at least one fact, and none that cannot be read."""
    assert all(_read().values())


def test_there_is_enough_of_everything() -> None:
    """Each subject has at least the records a demonstration needs."""
    counted = Counter(record.subject for record in world().records)
    assert {subject: count for subject, count in FEWEST.items() if counted[subject] < count} == {}


@pytest.mark.parametrize(
    ("subject", "fact", "kinds"),
    [
        ("accessory", "kind", "accessory_kind"),
        ("adapter", "kind", "adapter_kind"),
        ("vehicle", "body", "body"),
        ("receiver", "opening", "opening_size"),
        ("receiver", "hitch_class", "hitch_class"),
    ],
)
def test_every_kind_is_present(subject: str, fact: str, kinds: str) -> None:
    """Every kind of accessory and adapter, body, opening and class is in the world."""
    members = set(answerer().rulebook.vocabulary.lists[kinds].members)
    assert {record.facts.get(fact) for record in world().of(subject)} >= members


def test_ids_and_skus_are_unique() -> None:
    """No two records share an id or SKU."""
    counted = Counter(record.key for record in world().records)
    assert [key for key, count in counted.items() if count > 1] == []


def test_mountings_name_stored_parts_once() -> None:
    """A mounting's vehicle and receiver are stored, and no pair has two mountings."""
    pairs = [(record.links["vehicle"], record.links["receiver"]) for record in world().of("mounting")]
    known = {(vehicle.key, receiver.key) for vehicle in world().of("vehicle") for receiver in world().of("receiver")}
    assert set(pairs) <= known
    assert len(set(pairs)) == len(pairs)


def test_rigs_name_stored_records() -> None:
    """Every part of a saved rig is stored under its name, and its spare can be read."""
    reader = answerer().reader
    assert 4 <= len(world().rigs) <= 6
    for key in world().rigs:
        assert read_question({"rig": {"id": key}, "accessory": {"facts": {}}}, reader, world()).case.facts


def test_one_model_year_has_several_configurations() -> None:
    """At least two models of one year differ by configuration, such as a short and a long bed."""
    models = Counter((record.facts["year"], record.facts["model"]) for record in world().of("vehicle"))
    assert sum(count > 1 for count in models.values()) >= 2


def test_some_facts_are_toleranced_unknown_and_assumed() -> None:
    """Mountings and accessories show the ways of not quite knowing."""
    mountings = world().of("mounting")
    assert any(isinstance(value, dict) for record in mountings for value in record.facts.values())
    assert any("pin_to_bumper" not in record.facts for record in mountings)
    assert any(record.assumed for record in mountings)
    cells = [value for record in world().of("accessory") for value in record.facts.values()]
    assert {type(value) for value in cells} >= {dict, list}


def test_vehicle_weights_add_up() -> None:
    """Axles carry the curb weight, ratings leave room above it, and the axle ratings bear the vehicle's."""
    for record in world().of("vehicle"):
        known = {name: _number(record, name) for name in record.facts}
        at = {name: bounds[0] for name, bounds in known.items() if bounds}
        assert at["curb_weight"] < at["gvwr"] < at.get("gcwr", 1e9)
        if "curb_weight_front" in at:
            assert at["curb_weight_front"] + at["curb_weight_rear"] == pytest.approx(at["curb_weight"])
            assert at["curb_weight_front"] < at["gawr_front"]
            assert at["curb_weight_rear"] < at["gawr_rear"]
            assert at["gawr_front"] + at["gawr_rear"] >= at["gvwr"]


def test_vehicles_stand_on_their_tyres() -> None:
    """A loaded tyre's radius is a little less than half the design diameter."""
    for record in world().of("vehicle"):
        diameter, radius = _read()[record.key]["vehicle.tyre.diameter"], _number(record, "tyre_radius")
        assert isinstance(diameter, tuple)
        assert radius
        assert 0.46 < radius[0] / diameter[1] < 0.5, record.key


def test_mountings_sit_where_receivers_can() -> None:
    """Openings are 12 to 25 in up, and pin holes -2 to 8 in ahead of the bumper."""
    for record in world().of("mounting"):
        for name, low, high in (("height", 12, 25), ("pin_to_bumper", -2, 8)):
            bounds = _number(record, name)
            assert bounds is None or low * 25.4 <= bounds[0] <= bounds[1] <= high * 25.4, record.key


def test_accessories_are_possible_things() -> None:
    """Nothing ends before it begins, and a bike carrier bears the bikes it is made for."""
    for record in world().of("accessory"):
        values = {name: bounds[0] for name in record.facts if (bounds := _number(record, name))}
        assert values.get("front_setback", 0) <= values.get("length", 1e9) <= values.get("rear_extent", 1e9), record.key
        assert values.get("stow_setback", 0) <= values.get("front_setback", 1e9), record.key
        assert values.get("stow_setback", 0) < values.get("stow_extent", 1e9), record.key
        if record.facts["kind"] == "bike_carrier":
            assert values["bikes_max"] * values["bike_weight_max"] <= values["capacity"] + 1e-6, record.key


def test_the_index_lists_every_question() -> None:
    """Seventeen questions, each listed in order with the words of a clerk."""
    assert list(ASKED) == sorted(path.name for path in (SEED / "questions").glob("*.json"))
    assert len(ASKED) == 17
    assert all(entry["ask"].strip().endswith("?") for entry in ASKED.values())


def test_questions_show_every_outcome_twice() -> None:
    """Between them the questions show each outcome at least twice."""
    counted = Counter(entry["expect"] for entry in ASKED.values())
    assert set(counted) == {"works", "conditional", "undetermined", "fails"}
    assert min(counted.values()) >= 2


@pytest.mark.parametrize("name", ASKED)
def test_questions_come_out_as_the_index_says(name: str) -> None:
    """Each question reaches the outcome it is here to show."""
    answer = _answer(name)
    told = [f"{finding.rule}: {finding.result}" for finding in answer.findings if finding.result != "passes"]
    assert answer.outcome == ASKED[name]["expect"], told


def test_some_answers_say_what_they_assume() -> None:
    """At least one answer rests on a fact that is only assumed, and says so."""
    assert any(_answer(name).assumed for name in ASKED)


def test_a_question_about_a_spare_is_told_no_towing_limits() -> None:
    """What the rig may tow is not told to someone who asks about the spare."""
    assert _answer("07-taller-spare.json").limits == []
