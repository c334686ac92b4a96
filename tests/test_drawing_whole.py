"""The picture of an answer: every body at its places, what decides to scale, and words that never meet."""

from collections import Counter
from typing import Any
from xml.etree import ElementTree

import demo_world
import pytest
from drawn_rigs import SVG, Read, case_of, random_facts, things_of

from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.measures import Measures
from fitsvc.drawing.outline import outline_of
from fitsvc.drawing.panel import TEXT, WIDE
from fitsvc.drawing.several_view import several_view
from fitsvc.drawing.staging import scene_of
from fitsvc.drawing.whole_view import whole_view
from fitsvc.language.display import System

BODIES = demo_world.answerer().rulebook.bodies
CARRIER = next(seed for seed in range(99) if "trailer" not in random_facts(seed)[0])
EM = 0.56


def picture(facts: dict[str, dict[str, Any]], adapters: Any = None, system: System = "us") -> Drawing:
    """The picture of random facts."""
    found = whole_view(demo_world.answerer().wording, case_of(facts, adapters), system)
    assert found is not None
    return found


def panels(drawing: Drawing) -> dict[str, Read]:
    """Each window of a picture, read by its own scale."""
    root = ElementTree.fromstring(drawing.svg)
    return {one.get("data-panel") or "": Read(one) for one in root.iter(f"{SVG}g") if one.get("data-panel")}


def words(drawing: Drawing) -> list[ElementTree.Element]:
    """The texts of a picture."""
    return list(ElementTree.fromstring(drawing.svg).iter(f"{SVG}text"))


def test_what_hangs_behind_is_to_scale_in_both_windows() -> None:
    """A carrier's box, in use above and in its deciding state below, stands where the facts put it."""
    counted: Counter[str] = Counter()
    for seed in range(0, 200, 2):
        facts, adapters = random_facts(seed)
        if "trailer" in facts:
            continue
        accessory = facts["accessory"]
        seat = (adapters[0]["adds_length"] if adapters else 0.0) - facts["mounting"]["pin_to_bumper"]
        level = facts["mounting"]["height"] + (adapters[0]["adds_rise"] if adapters else 0.0)
        expected = {
            "in use": (
                seat + accessory["front_setback"],
                seat + accessory["rear_extent"],
                level - accessory["lowest_drop"],
                level + accessory["top_height"],
            ),
            "folded": (
                seat + accessory["stow_setback"],
                seat + accessory["stow_extent"],
                level,
                level + accessory["stow_height"],
            ),
        }
        for panel in panels(picture(facts, adapters)).values():
            for rect in panel.all("rect"):
                name = rect.get("data-box") or ""
                if name in expected:
                    assert panel.rect(rect) == pytest.approx(expected[name], abs=0.02 / panel.scale + 0.1), seed
                    counted[name] += 1
    assert min(counted["in use"], counted["folded"]) > 20


@pytest.mark.parametrize("name", BODIES)
def test_every_body_stands_on_its_wheels(name: str) -> None:
    """The rear wheel is where overhang and radius put it, the front one a wheelbase on; no two bodies look alike."""
    facts, _ = random_facts(CARRIER)
    body, _, closure = name.partition(" ")
    facts["vehicle"] |= {"body": body, "wheelbase": 2900.0, "rear_overhang": 1000.0}
    if closure:
        facts["vehicle"]["rear_closure"] = closure
    far = panels(picture(facts))["far"]
    radius = facts["vehicle"]["tyre_radius"]
    wheels = far.all("circle", class_="v-tyre")
    assert [far.x(float(one.get("cx") or 0)) for one in wheels] == pytest.approx([-1000.0, -3900.0], abs=2.0)
    assert [far.z(float(one.get("cy") or 0)) for one in wheels] == pytest.approx([radius] * 2, abs=2.0)
    shell = far.all("path", class_="v-body")[0]
    others = {}
    for other in BODIES:
        if other != name:
            facts["vehicle"]["body"] = other.partition(" ")[0]
            path = panels(picture(facts))["far"].all("path", class_="v-body")[0]
            others[other] = path.get("d")
    assert sum(shell.get("d") == path for path in others.values()) <= 1  # a body with two tails has two names


def test_the_shell_keeps_its_shape_at_extremes() -> None:
    """However long, low or high the facts, an outline's roof stands over its sill and its nose ahead of its tail."""
    for name in BODIES:
        for overhang, setback, hinge in ((300.0, 0.0, 500.0), (3000.0, 900.0, 2200.0)):
            facts, _ = random_facts(CARRIER)
            facts["vehicle"] |= {
                "body": name.partition(" ")[0],
                "rear_overhang": overhang,
                "closure_hinge_setback": setback,
                "closure_hinge_height": hinge,
            }
            scene = scene_of(Measures(demo_world.answerer().wording, case_of(facts), "us"))
            outline = outline_of(scene)
            assert outline is not None
            assert outline.zs["roof"] > outline.zs["sill"] and outline.xs["nose"] < outline.xs["tail"], name


def stretched(facts: dict[str, dict[str, Any]], seed: int) -> None:
    """Pins behind and far ahead of the bumper, openings low and high, reaches short and long."""
    facts["mounting"] |= {"pin_to_bumper": (-150.0, 305.0)[seed % 2], "height": (230.0, 660.0)[seed // 2 % 2]}
    if seed % 3 == 0:
        facts["mounting"]["pin_to_bumper"] = {"value": "5 in", "tolerance": "1 in"}
    facts["accessory"] |= {"rear_extent": (320.0, 4500.0)[seed // 4 % 2], "stow_setback": 5.0 + seed}


def test_words_meet_nowhere_and_keep_their_size() -> None:
    """At extremes too, in both systems: no two words overlap or leave the picture, and none is set smaller."""
    for seed in range(0, 240, 2):
        facts, adapters = random_facts(seed)
        facts["vehicle"]["body"] = list(BODIES)[seed % len(BODIES)].partition(" ")[0]
        if seed % 4 == 0:
            stretched(facts, seed // 4)
        _hold_words_apart(picture(facts, adapters, "metric" if seed % 3 else "us"), seed)


def _hold_words_apart(drawing: Drawing, seed: int) -> None:
    high = float((ElementTree.fromstring(drawing.svg).get("viewBox") or "").split()[3])
    boxes = [_box(one) for one in words(drawing)]
    assert all(one.get("font-size") == f"{TEXT:g}" for one in words(drawing))
    outside = [one for one in boxes if one[0] < 0 or one[2] > WIDE + 1 or one[1] < 0 or one[3] > high]
    assert outside == [], seed
    assert [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if _meet(a, b)] == [], seed


def _box(text: ElementTree.Element) -> tuple[float, float, float, float, str]:
    x, y = float(text.get("x") or 0), float(text.get("y") or 0)
    told = text.text or ""
    wide = len(told) * TEXT * EM
    x -= wide / 2 if text.get("text-anchor") == "middle" else 0.0
    return x, y - 0.75 * TEXT, x + wide, y + 0.2 * TEXT, told


def _meet(a: tuple[float, float, float, float, str], b: tuple[float, float, float, float, str]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_a_shank_that_does_not_go_in_is_drawn_apart() -> None:
    """The failing thing is in the picture: too thick, and by how much; one that goes in is drawn in the opening."""
    for shank, told in (("2 in", "3/4 in too thick: it does not go in"), ("1-1/4 in", "")):
        facts: dict[str, dict[str, Any]] = {
            "vehicle": {"body": "suv"},
            "receiver": {"opening": "1-1/4 in"},
            "mounting": {"height": 400.0, "pin_to_bumper": 60.0},
            "accessory": {"kind": "bike_carrier", "shank": shank},
        }
        drawing = picture(facts)
        assert ("apart" in panels(drawing)) == bool(told)
        assert any(one.text == told for one in words(drawing)) == bool(told)


def test_positions_are_drawn_as_they_are() -> None:
    """Tilted and swung when the closure must open, the spare under the body, a front drawn the other way round."""
    facts, _ = random_facts(CARRIER)
    facts["vehicle"] |= {"body": "suv", "rear_closure": "lift_gate", "closure_hinge_height": 1700.0}
    facts["spare"] = {"tyre": "245/75R16", "stowed_where": "underbody"}
    told = set()
    for way in ("tilts_clear", "swings_away"):
        facts["accessory"] |= {"tilts_clear": False, "swings_away": False} | {way: True}
        told |= {one.text for one in words(picture(facts))}
    assert {"tilted", "swung", "aside", "lift gate open", "spare"} <= told
    facts["receiver"]["place"] = "front"
    scene = scene_of(Measures(demo_world.answerer().wording, case_of(facts), "us"))
    turned = outline_of(scene)
    assert turned is not None and turned.turned
    assert turned.x(turned.xs["nose"]) == 0.0 and turned.x(turned.xs["tail"]) < turned.x(turned.xs["front"]) < 0.0


def test_in_front_nothing_is_told_of_the_rear() -> None:
    """What hangs in front leaves the departure angle as it is, and reaches forward."""
    told, angles = dict[str, list[str]](), dict[str, int]()
    for place in ("frame", "front"):
        facts, _ = random_facts(CARRIER)
        facts["vehicle"] |= {"departure_angle": 24.0, "spare_location": "underbody"}
        facts["receiver"]["place"] = place
        angles[place] = len(scene_of(Measures(demo_world.answerer().wording, case_of(facts), "us")).angles)
        told[place] = [one.text or "" for one in words(picture(facts)) if (one.text or "").startswith("reaches")]
    assert angles == {"frame": 2, "front": 0}
    assert all("back" in one for one in told["frame"]) and all("forward" in one for one in told["front"])
    assert told["frame"] and told["front"]


def test_several_things_stand_each_at_its_own_place() -> None:
    """Of several things in one receiver each is drawn where it would be alone, and named; what is hatched is of one."""
    hatched = 0
    for seed in range(0, 60, 3):
        several = [random_facts(seed), random_facts(seed + 1), random_facts(seed + 2)][: 2 + seed % 2]
        drawing = several_view(demo_world.answerer(), things_of(several), "metric" if seed % 2 else "us")
        assert drawing is not None
        _hold_words_apart(drawing, seed)
        near = panels(drawing)["near"]
        drawn = [near.rect(one) for one in near.all("rect", data_box="in use")]
        places = [_in_use(facts, adapters, several[0][0]["mounting"]) for facts, adapters in several]
        for place, (facts, _) in zip(places, several, strict=True):
            assert "trailer" in facts or any(one == pytest.approx(place, abs=2.0) for one in drawn), seed
        for mark in near.all("rect", class_="v-hit", data_region="things-stand-apart"):
            left, right, bottom, top = near.rect(mark)
            least = 4.0 / near.scale + 2.0
            held = (a - 2 < left and right < b + least and c - 2 < bottom and top < d + least for a, b, c, d in places)
            assert any(held), seed
            hatched += 1
    assert hatched > 5


def _in_use(
    facts: dict[str, Any], adapters: list[dict[str, Any]], mounting: dict[str, float]
) -> tuple[float, float, float, float]:
    seat = (adapters[0]["adds_length"] if adapters else 0.0) - mounting["pin_to_bumper"]
    level = mounting["height"] + (adapters[0]["adds_rise"] if adapters else 0.0)
    one = facts["accessory"]
    ends = (seat + one["front_setback"], seat + one["rear_extent"])
    return (*ends, level - one["lowest_drop"], level + one["top_height"])


def test_what_strikes_is_hatched_and_nothing_else() -> None:
    """The hatched regions are of rules that fail, and of no other."""
    seen = 0
    for seed in range(0, 120, 3):
        case = case_of(*random_facts(seed))
        answerer = demo_world.answerer()
        opened = answerer.engine.opened(case)
        failing = {
            one.rule for one in answerer.findings(answerer.engine.evaluate(opened), opened) if one.result == "fails"
        }
        found = whole_view(answerer.wording, case)
        assert found is not None
        marked = {one.get("data-region") for one in ElementTree.fromstring(found.svg).iter() if one.get("data-region")}
        assert marked <= failing
        seen += bool(marked)
    assert seen > 10


def test_nothing_known_has_no_picture() -> None:
    """Of a bare question there is no empty frame."""
    assert whole_view(demo_world.answerer().wording, case_of({"accessory": {}})) is None


def test_nothing_a_strict_policy_forbids() -> None:
    """No style, no script, no handler, and every id starts with the prefix and stands once."""
    drawing = whole_view(demo_world.answerer().wording, case_of(*random_facts(2)), prefix="first")
    assert drawing is not None
    attributes = [pair for one in ElementTree.fromstring(drawing.svg).iter() for pair in one.attrib.items()]
    assert not [key for key, _ in attributes if key == "style" or key.startswith("on") or key.endswith("href")]
    ids = [value for key, value in attributes if key == "id"]
    assert len(ids) == len(set(ids)) and all(one.startswith("first") for one in ids)
