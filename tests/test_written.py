"""What people type of a fact, by the shipped rulebook's words: what it is read as, or both readings if it has two."""

from math import inf
from typing import Any

import pytest
from random_rulebooks import shipped_rulebook

from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import LONGEST_TEXT
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import Value

INCH, POUND = 25.4, 0.45359237
READER = FactReader(shipped_rulebook().rulebook)


def read(name: str, wire: Any) -> Value:
    """A fact's value as it is read."""
    return READER.value(READER.vocabulary.facts[name], wire)[name]


def refused(name: str, wire: Any) -> Problem:
    """The one problem of a fact that cannot be read."""
    with pytest.raises(ProblemsFound) as caught:
        read(name, wire)
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize(
    ("name", "wire", "low", "high"),
    [
        ("accessory.rise", "2 in drop", -2 * INCH, -2 * INCH),
        ("accessory.rise", "2-1/4 IN DROP", -2.25 * INCH, -2.25 * INCH),
        ("accessory.rise", "2 in of drop", -2 * INCH, -2 * INCH),
        ("accessory.rise", "2 in of rise", 2 * INCH, 2 * INCH),
        ("accessory.rise", "2 in rise", 2 * INCH, 2 * INCH),
        ("accessory.rise", "1¼ in", 1.25 * INCH, 1.25 * INCH),
        ("accessory.rise", "1 ¼ in", 1.25 * INCH, 1.25 * INCH),
        ("accessory.rise", "2 to 3 in drop", -3 * INCH, -2 * INCH),
        ("accessory.rise", "at least 2 in drop", -inf, -2 * INCH),
        ("accessory.rise", "3 in ± 1/8 in drop", -3.125 * INCH, -2.875 * INCH),
        ("accessory.rise", {"value": "3 in drop", "tolerance": "1/8 in"}, -3.125 * INCH, -2.875 * INCH),
        ("accessory.rise", "+2 in", 2 * INCH, 2 * INCH),
        ("accessory.rise", '+ 1-1/4"', 1.25 * INCH, 1.25 * INCH),
        ("accessory.rise", "+50 mm", 50, 50),
        ("accessory.rise", {"value": "+2 in", "tolerance": "1/8 in"}, 1.875 * INCH, 2.125 * INCH),
        ("load.bikes", "two", 2, 2),
        ("load.bikes", "Two bikes", 2, 2),
        ("load.bikes", "2 bikes", 2, 2),
        ("receiver.tongue_rating", "350#", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "350 # max", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "350 lb max", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "350 lb (max.)", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "Maximum 350 lb", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "max. 350 lb", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "up to 350 lb", 350 * POUND, 350 * POUND),
        ("accessory.bikes_max", "up to 4", 4, 4),
        ("accessory.weight", "up to 50 lb", 0, 50 * POUND),
        ("accessory.weight", "<50 lb", 0, 50 * POUND),
        ("accessory.weight", "≤ 50 lb", 0, 50 * POUND),
        ("accessory.weight", ">=50 lb", 50 * POUND, inf),
        ("accessory.weight", "> 50 lb", 50 * POUND, inf),
        ("accessory.weight", "50 lb or less", 0, 50 * POUND),
        ("accessory.weight", "50 lb or more", 50 * POUND, inf),
        ("accessory.weight", "50 lb and above", 50 * POUND, inf),
        ("accessory.weight", "50 lb and below", 0, 50 * POUND),
        ("accessory.weight", "50lb+", 50 * POUND, inf),
        ("load.bikes", "<3", 0, 3),
        ("accessory.weight", "under 50 lb", 0, 50 * POUND),
        ("accessory.weight", "less than 50 lb", 0, 50 * POUND),
        ("accessory.weight", "no less than 50 lb", 50 * POUND, inf),
        ("accessory.weight", "al menos 50 lb", 50 * POUND, inf),
        ("accessory.weight", "Como máximo 50 lb", 0, 50 * POUND),
        ("accessory.weight", "50 lb como mínimo", 50 * POUND, inf),
        ("accessory.weight", "50 lb o menos", 0, 50 * POUND),
        ("accessory.weight", "hasta 50 lb", 0, 50 * POUND),
        ("accessory.weight", "mínimo 50 lb", 50 * POUND, inf),
        ("accessory.weight", "entre 40 y 50 kg", 40, 50),
        ("accessory.weight", "entre 40 kg y 50 kg", 40, 50),
        ("receiver.tongue_rating", "hasta 350 lb", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "350 lb máximo", 350 * POUND, 350 * POUND),
        ("receiver.tongue_rating", "al menos 350 lb", 350 * POUND, inf),
        ("load.bikes", "al menos 2", 2, inf),
        ("accessory.rise", "< 2 in drop", -2 * INCH, inf),
        ("accessory.weight", "40 kilos", 40, 40),
        ("accessory.weight", "40 Kilograms", 40, 40),
        ("mounting.height", "38 centimetres", 380, 380),
        ("adapter.keeps_fraction", "50%", 0.5, 0.5),
        ("adapter.keeps_fraction", "1/2", 0.5, 0.5),
        ("load.steepest_grade", "1/8", 0.125, 0.125),
    ],
)
def test_figures_as_they_are_typed(name: str, wire: Any, low: float, high: float) -> None:
    """Words behind a figure say which way it goes, what there is of it, or that it is a rating."""
    found = read(name, wire)
    assert isinstance(found, tuple)
    assert found == pytest.approx((low, high), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "wire", "member"),
    [
        ("vehicle.body", "SUV", "suv"),
        ("accessory.kind", "Bike carrier", "bike_carrier"),
        ("accessory.kind", "ball-mount", "ball_mount"),
        ("receiver.hitch_class", "class III", "III"),
        ("trailer.brakes", "Electric brakes", "electric"),
    ],
)
def test_choices_in_their_own_words(name: str, wire: str, member: str) -> None:
    """A member is known by its name or its words, however they are written; and by no other."""
    assert read(name, wire) == read(name, member) and read(name, [wire]) == read(name, member)


@pytest.mark.parametrize(("wire", "value"), [("Yes", YES), ("NO", NO), (" true ", YES), ("False", NO)])
def test_yes_and_no_in_any_letters(wire: str, value: Value) -> None:
    """Capitals and blanks around it do not matter."""
    assert read("load.needs_closure_open", wire) == value


@pytest.mark.parametrize(
    ("name", "wire", "message", "help"),
    [
        ("load.steepest_grade", "15 deg", "`15 deg` is an angle, expected a number", "one of 15 deg rises 26.8 %"),
        ("adapter.keeps_fraction", 0.5, "`0.5` has no unit", ": `50 %` or `0.5 %`"),
        ("adapter.keeps_fraction", "0.5", "`0.5` has no unit", ": `50 %` or `0.5 %`"),
        ("adapter.keeps_fraction", 1, "`1` has no unit", ": `100 %` or `1 %`"),
        ("adapter.keeps_fraction", "50", "`50` has no unit", ": `50 %`"),
        ("accessory.weight", "350 lb max", "`350 lb max` could be 350 lb, or no more", "`350 lb`, or `at most 350 lb`"),
        ("accessory.weight", "about 50 lb", "`about 50 lb` does not say how far off", "write `50 lb ± ...`"),
        ("accessory.weight", "unos 50 kg", "`unos 50 kg` does not say how far off", "write `50 kg ± ...`"),
        ("accessory.weight", "?", "`?` tells nothing of the accessory's own weight", "leave it out"),
        ("accessory.weight", "Unknown", "`Unknown` tells nothing of", "leave it out where it is not known"),
        ("accessory.weight", "n/a", "`n/a` tells nothing of", "leave it out where it is not known"),
        ("receiver.opening", "unknown", "`unknown` tells nothing of the receiver's opening size", "leave it out"),
        ("vehicle.body", "N/A", "`N/A` tells nothing of the body style", "leave it out where it is not known"),
        ("vehicle.rear_camera", "?", "`?` tells nothing of whether", "leave it out where it is not known"),
        ("vehicle.tyre", "not known", "`not known` tells nothing of", "leave it out where it is not known"),
        ("load.bikes", "1 or 2", "`1 or 2` does not say which", "write `at least 1, at most 2` where it may be either"),
        ("load.bikes", "two or one bikes", "`two or one bikes` does not say which", "`at least 1, at most 2`"),
        ("load.bikes", "1 o 2", "`1 o 2` does not say which", "write `at least 1, at most 2`"),
        (
            "accessory.weight",
            "10 or 12 lb",
            "`10 or 12 lb` does not say which",
            "write `at least 10 lb, at most 12 lb`",
        ),
        (
            "accessory.weight",
            "1000 lb or 900 lb",
            "`1000 lb or 900 lb` does not say which",
            "write `at least 900 lb, at most 1000 lb`",
        ),
        ("accessory.weight", "10 in or 12 lb", "`10 in or 12 lb` is not one quantity", "write one number"),
        (
            "vehicle.body",
            "Pickup or SUV",
            "`Pickup or SUV` does not say which",
            "list of both, in a cell `pickup | suv`",
        ),
        (
            "receiver.opening",
            "2 in or 2-1/2 in",
            "the receiver's opening size is one size, and",
            "write a list of these",
        ),
        (
            "receiver.opening",
            "2 or 2-1/2 in",
            "the receiver's opening size is one size, and here are",
            "write a list of these",
        ),
        ("accessory.weight", "~50 lb", "`~50 lb` does not say how far off", "write `50 lb ± ...`"),
        ("accessory.weight", "50 lb or so", "`50 lb or so` does not say how far off", "write `50 lb ± ...`"),
        ("accessory.weight", "1.700 lb", "`1.700 lb` could be 1.7 or 1,700 lb", "write `1.7 lb` or `1,700 lb`"),
        ("accessory.rise", "-2 in drop", "`-2 in drop` is below zero twice", "with the sign or with the word"),
        ("accessory.rise", "+2 in drop", "`+2 in drop` is above zero by its sign and below it by", "or with the word"),
        ("accessory.weight", "+2 lb", "`+2 lb` is not a quantity", "write a number"),
        ("accessory.rise", "+-2 in", "`` is not a quantity", "write a number"),
        ("accessory.rise", "++2 in", "`++2 in` is not a quantity", "write a number"),
        ("accessory.rise", {"value": "2 in", "tolerance": "+1/8 in"}, "`+1/8 in` is not a quantity", "write a number"),
        ("accessory.kind", "bike rack", "`bike rack` is not a choice for the kind", "did you mean `bike_carrier`?"),
        ("vehicle.body", "Truck", "`Truck` is not a choice for the body style", "did you mean `pickup`? It is one of"),
        ("accessory.kind", "wheelchair lift", "`wheelchair lift` is not a choice", "did you mean `mobility_carrier`?"),
        ("accessory.kind", "D-rings", "`D-rings` is not a choice", "did you mean `recovery_shackle`?"),
        ("accessory.kind", "hitch rack", "`hitch rack` is not a choice", "`bike_carrier` or `cargo_carrier` or `ski"),
        ("accessory.kind", "Tow bar", "`Tow bar` is not judged here", "ask who fits tow bars"),
        ("accessory.kind", "snow plow", "`snow plow` is not judged here", "no receiver's ratings tell of"),
        ("accessory.kind", "salt spreader", "`salt spreader` is not judged here", "Ask for it as a `cargo_carrier`"),
        ("accessory.kind", "spare_wheel_carrier", "`spare_wheel_carrier` is not", "weigh it with the wheel"),
        ("accessory.kind", "tire_carrier", "`tire_carrier` is not judged here", "the receiver's tongue rating"),
        ("accessory.kind", "bed extender", "`bed extender` is not judged here", "loads that stand out"),
        ("accessory.kind", "load_bar", "`load_bar` is not judged here", "its maker's sheet"),
        ("accessory.kind", "Hitch cover", "`Hitch cover` is not judged here", "hides no plate"),
        ("accessory.kind", "anti_rattle", "`anti_rattle` is not judged here", "the opening's size"),
        ("accessory.kind", "lamp", "`lamp` is not judged here", "hides no plate"),
        ("accessory.kind", "canoe_loader", "`canoe_loader` is not judged here", "loads that stand out"),
        ("accessory.kind", "roof_rack", "`roof_rack` is not judged here", "the roof load in the owner's manual"),
        ("accessory.kind", "gooseneck_ball", "`gooseneck_ball` is not judged here", "ask who fits bed hitches"),
        ("vehicle.body", "RV", "`RV` is not a choice for the body style", "did you mean `motorhome` or `towed`?"),
        ("vehicle.body", "ute", "`ute` is not a choice for the body style", "did you mean `pickup`?"),
        ("trailer.body", "tow dolly", "`tow dolly` is not judged here", "ask who fits tow bars"),
        ("accessory.weight", "90 kg más o menos", "`90 kg más o menos` does not say how far", "write `90 kg ± ...`"),
        ("receiver.opening", "2", "`2` has no unit", "; did you mean `2 in`?"),
        ("load.bikes", "a couple", "`a couple` is not a quantity", "the number of bikes as a whole number between"),
        ("load.bikes", "1.5", "`1.5` is not a whole number", "number of bikes as a whole number between 0 and 12"),
        ("load.person_weight", "12 st", "`st` in `12 st` is not a unit that is read", "a stone is 14 lb"),
        ("load.person_weight", "12st 4lb", "`st` in `12st 4lb` is not a unit that is read", "a stone is 14 lb"),
        ("accessory.weight", "6 cwt", "`cwt` in `6 cwt` is not a unit that is read", "100 or 112 lb: write lb"),
        ("accessory.weight", "max", "`max` is not a quantity", "write a number"),
    ],
)
def test_two_readings_are_a_question(name: str, wire: Any, message: str, help: str) -> None:
    """What could be either of two is refused with both, and what is no figure with what to write."""
    found = refused(name, wire)
    assert found.message.startswith(message) and help in found.help


@pytest.mark.parametrize("key", ["value", "at_most"])
def test_a_part_points_at_itself(key: str) -> None:
    """A word that leaves two readings is told where it stands."""
    wire = {key: "350 lb max"} | ({"tolerance": "1 lb"} if key == "value" else {})
    assert refused("accessory.weight", wire).pointer == f"/{key}"


@pytest.mark.parametrize("key", ["value", "at_most"])
def test_a_part_longer_than_a_figure_is_none_though_it_ends_in_blanks(key: str) -> None:
    """What is said of the longest that is taken holds of blanks too."""
    rest = {"tolerance": "1 lb"} if key == "value" else {}
    read("accessory.weight", {key: "350 lb".ljust(LONGEST_TEXT), **rest})
    assert "too long" in refused("accessory.weight", {key: "350 lb".ljust(LONGEST_TEXT + 1), **rest}).message
