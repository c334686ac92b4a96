"""The side view: well formed, to scale, true to the rules, and told in words."""

import re
from itertools import pairwise
from math import asin, atan, degrees, hypot, sqrt
from typing import Any
from xml.etree import ElementTree

import demo_world
import pytest
from drawn_rigs import SVG, Read, case_of, draw, random_facts

from fitsvc.answers.question import read_question
from fitsvc.drawing.ink import EM, WIDTH
from fitsvc.drawing.placing import spread
from fitsvc.language.display import System

QUESTIONS = sorted(demo_world.OF_ONE)
CASES = 500
CARRIER = next(seed for seed in range(99) if "trailer" not in random_facts(seed)[0])
HOSTILE = "<script>alert(1)</script> ]]> \"&' \x00\x1b\u202e\ud800 --> " + "W" * 300


def _demo(name: str) -> Any:
    return read_question(demo_world.question(name), demo_world.answerer().reader, demo_world.world())


@pytest.mark.parametrize("system", ["us", "metric"])
@pytest.mark.parametrize("name", QUESTIONS)
def test_every_demo_question_is_drawn(name: str, system: System) -> None:
    """Each drawing is well-formed XML, an image with a title and a description, in the user's units."""
    question = _demo(name)
    drawing, read = draw(question.case, system, labels=question.labels)
    assert read.root.get("role") == "img"
    assert read.root.findtext(f"{SVG}title") == drawing.title
    assert read.root.findtext(f"{SVG}desc") == drawing.description
    units = set(re.findall(r"\d (in|mm)\b", " ".join(_texts(read))))
    assert units == ({"in"} if system == "us" else {"mm"})


def _lengths(facts: dict[str, dict[str, Any]], reach: float) -> dict[str, float]:
    """Each length along the ground that is drawn, by the facts themselves."""
    vehicle, accessory, load = facts["vehicle"], facts["accessory"], facts["load"]
    found = {f"vehicle.{name}": vehicle[name] for name in ("rear_overhang", "closure_length", "closure_hinge_setback")}
    found |= {"mounting.pin_to_bumper": facts["mounting"]["pin_to_bumper"], "load.parking_room": load["parking_room"]}
    names = ["front_setback", "rear_extent"]
    names += ["length"] if "trailer" in facts else ["stow_setback", "stow_extent"]
    found |= {f"accessory.{name}": accessory[name] for name in names}
    if reach:
        found["opening.reach"] = reach
    if vehicle["spare_location"] == "rear_door":
        found["clearance.door_spare_reach"] = vehicle["spare_protrusion"]
    if "trailer" in facts:
        found["trailer.jack_behind_ball"] = facts["trailer"]["jack_behind_ball"]
    return found | {"load.front_setback": load["front_setback"]}


def _heights(facts: dict[str, dict[str, Any]], level: float, adapted: bool) -> dict[str, float]:
    """Each height above the ground that is drawn, by the facts themselves."""
    accessory, vehicle = facts["accessory"], facts["vehicle"]
    found = {f"vehicle.{name}": vehicle[name] for name in ("tyre_radius", "closure_hinge_height")}
    found |= {"opening.height" if adapted else "mounting.height": level}
    found |= {
        "accessory.top_height": level + accessory["top_height"],
        "load.top_height": level + facts["load"]["top_height"],
    }
    lowest = level - accessory["lowest_drop"]
    if accessory["kind"] == "adjustable_ball_mount":
        lowest = min(lowest, facts["trailer"]["coupler_height"] - 50.8)
    found |= {"ground.lowest_set": lowest}
    if "trailer" not in facts:
        return found | {"accessory.stow_height": level + accessory["stow_height"]}
    found |= {f"trailer.{name}": facts["trailer"][name] for name in ("coupler_height", "jack_height")}
    return found | ({"accessory.rise": level + accessory["rise"]} if accessory["kind"] == "ball_mount" else {})


def _close(drawn: float, fact: float, scale: float) -> bool:
    """Within half a percent, or a hundredth of a unit of the drawing, which is written to thousandths."""
    return abs(drawn - fact) <= max(0.005 * abs(fact), 0.01 / scale)


def test_lengths_and_heights_are_to_scale() -> None:
    """Whatever is drawn as a dimension measures what the facts say, in 500 random rigs, and none is forgotten."""
    for seed in range(CASES):
        facts, adapters = random_facts(seed)
        _, read = draw(case_of(facts, adapters))
        reach = adapters[0]["adds_length"] if adapters else 0.0
        level = facts["mounting"]["height"] + (adapters[0]["adds_rise"] if adapters else 0.0)
        drawn = {
            one.get("data-length"): abs(float(one.get("x2") or 0) - float(one.get("x1") or 0)) / read.scale
            for one in read.all("line", class_="d-length")
        }
        expected = _lengths(facts, reach)
        assert set(drawn) == set(expected), seed
        assert [name for name in expected if not _close(drawn[name], abs(expected[name]), read.scale)] == [], seed
        ticks = {
            one.get("data-height"): read.z(float(one.get("y1") or 0))
            for one in read.all("line", class_="d-tick")
            if one.get("data-height")
        }
        expected = _heights(facts, level, bool(adapters))
        if facts["accessory"]["kind"] == "adjustable_ball_mount":
            ticks.pop("accessory.rise")
        assert set(ticks) == set(expected), seed
        assert [name for name in expected if not _close(ticks[name], expected[name], read.scale)] == [], seed


def test_shapes_stand_where_the_facts_put_them() -> None:
    """Boxes, wheel, bumper and hinge, counted from the pin hole as the vocabulary defines them."""
    for seed in range(0, CASES, 5):
        facts, adapters = random_facts(seed)
        _, read = draw(case_of(facts, adapters))
        accessory, vehicle = facts["accessory"], facts["vehicle"]
        seat = (adapters[0]["adds_length"] if adapters else 0.0) - facts["mounting"]["pin_to_bumper"]
        level = facts["mounting"]["height"] + (adapters[0]["adds_rise"] if adapters else 0.0)
        left, right, bottom, top = read.box("in use")
        expected = [
            seat + accessory["front_setback"],
            seat + accessory["rear_extent"],
            level - accessory["lowest_drop"],
            level + accessory["top_height"],
        ]
        drawn = [left, right, bottom, top]
        if "trailer" not in facts:
            drawn += read.box("folded")
            expected += [seat + accessory["stow_setback"], seat + accessory["stow_extent"], level]
            expected += [level + accessory["stow_height"]]
        (wheel,) = read.all("circle", class_="d-wheel")
        drawn += [read.x(float(wheel.get("cx") or 0)), read.z(float(wheel.get("cy") or 0))]
        drawn += [float(wheel.get("r") or 0) / read.scale]
        expected += [-vehicle["rear_overhang"], vehicle["tyre_radius"], vehicle["tyre_radius"]]
        (hinge,) = read.all("circle", class_="d-hinge")
        drawn += [read.x(float(hinge.get("cx") or 0)), read.z(float(hinge.get("cy") or 0))]
        expected += [-vehicle["closure_hinge_setback"], vehicle["closure_hinge_height"]]
        assert all(_close(a, b, read.scale) for a, b in zip(drawn, expected, strict=True)), seed


def test_departure_lines_have_the_angles_of_the_published_formula() -> None:
    """Before and after by 49 CFR 523.2, tangent to the tyre: asin(r/d) - atan((r - h)/x), wording from memory."""
    for seed in range(0, CASES, 5):
        facts, adapters = random_facts(seed)
        _, read = draw(case_of(facts, adapters))
        accessory, vehicle = facts["accessory"], facts["vehicle"]
        r = vehicle["tyre_radius"]
        reach = adapters[0]["adds_length"] if adapters else 0.0
        x = vehicle["rear_overhang"] - facts["mounting"]["pin_to_bumper"] + reach
        x += min(accessory["lowest_behind"], accessory["rear_extent"])
        rise = adapters[0]["adds_rise"] if adapters else 0.0
        h = facts["mounting"]["height"] + rise - accessory["lowest_drop"]
        after = degrees(asin(r / hypot(x, r - h)) - atan((r - h) / x))
        for kind, angle in (("d-departure-vehicle", vehicle["departure_angle"]), ("d-departure", after)):
            x1, z1, x2, z2 = read.line(class_=kind)
            assert degrees(atan((z2 - z1) / (x2 - x1))) == pytest.approx(angle, rel=0.005, abs=0.02), seed
            # It touches the tyre: its distance from the wheel's centre is the radius.
            across = abs((x2 - x1) * (z1 - r) - (x1 + vehicle["rear_overhang"]) * (z2 - z1)) / hypot(x2 - x1, z2 - z1)
            assert across == pytest.approx(r, rel=0.005), seed


def test_the_text_tells_all_that_is_drawn() -> None:
    """Every row of the key and every figure beside a dimension stands in the description."""
    for seed in range(0, CASES, 10):
        systems: tuple[System, ...] = ("us", "metric")
        for system in systems:
            drawing, read = draw(case_of(*random_facts(seed)), system)
            said = drawing.description.lower().replace(" ", "")
            rows = [_joined(row) for row in read.all("g", class_="d-row")]
            figures = [text for text in _texts(read) if text.endswith((" in", " mm", " deg", " %"))]
            assert [one for one in rows + figures if one.lower().replace(" ", "") not in said] == []


def _joined(row: ElementTree.Element) -> str:
    """A row of the key without its badge."""
    return "".join(text.text or "" for text in list(row.iter(f"{SVG}text"))[1:])


def _texts(read: Read) -> list[str]:
    return [one.text or "" for one in read.root.iter(f"{SVG}text")]


BOUNDED = [
    ("mounting", "pin_to_bumper"),
    ("mounting", "height"),
    ("accessory", "front_setback"),
    ("accessory", "stow_height"),
    ("vehicle", "closure_length"),
    ("vehicle", "tyre_radius"),
    ("accessory", "rear_extent"),
]


@pytest.mark.parametrize(("subject", "name"), BOUNDED)
def test_what_is_known_in_bounds_is_dashed_between_them(subject: str, name: str) -> None:
    """The dimension is dashed from the lower to the upper bound, and so is the shape that hangs on it."""
    facts, _ = random_facts(CARRIER)
    value = facts[subject][name]
    facts[subject][name] = {"at_least": f"{value - 20} mm", "at_most": f"{value + 20} mm"}
    _, read = draw(case_of(facts))
    full = f"{subject}.{name}"
    along, up = (
        read.all("line", data_length=full, class_="d-range"),
        read.all("line", data_height=full, class_="d-range"),
    )
    (dashed,) = along or up
    axis = "x" if along else "y"
    assert abs(float(dashed.get(f"{axis}2") or 0) - float(dashed.get(f"{axis}1") or 0)) / read.scale == pytest.approx(
        40, rel=0.005
    )
    shapes = [
        one for tag in ("rect", "circle", "path") for one in read.all(tag) if one.get("stroke-dasharray") == "5 4"
    ]
    assert dashed.get("stroke-dasharray") == "5 4" and shapes


@pytest.mark.parametrize(("subject", "name"), BOUNDED)
def test_what_is_not_known_is_left_out_and_listed(subject: str, name: str) -> None:
    """No dimension of it is drawn, and the text says that it is not known."""
    facts, _ = random_facts(CARRIER)
    facts[subject].pop(name)
    drawing, read = draw(case_of(facts))
    full = f"{subject}.{name}"
    assert not read.all("line", data_length=full) and not read.all("line", data_height=full)
    label = demo_world.answerer().wording.label(full)
    assert label in drawing.description.split("Not known, and left out:")[1]


def test_what_else_is_in_the_receiver_stands_where_it_is_told() -> None:
    """From the pin hole rearward and between its heights; a jack that meets it is marked, a lower one is not."""
    tows = next(seed for seed in range(99) if "trailer" in random_facts(seed)[0])
    facts, _ = random_facts(tows)
    facts["beside"] = {"things": 1, "rear_end": 900.0, "underside": 610.0, "top": 1300.0}
    for jack, marked in ((700.0, True), (600.0, False)):
        facts["trailer"]["jack_height"] = jack
        drawing, read = draw(case_of(facts))
        pin = -facts["mounting"]["pin_to_bumper"]
        assert read.box("beside") == pytest.approx((pin, pin + 900.0, 610.0, 1300.0), abs=5.0)
        assert "the other thing in the receiver" in drawing.description
        assert bool(read.all("rect", data_region="jack-under-what-hangs-above")) == marked
    del facts["beside"]["top"]
    assert not draw(case_of(facts))[1].all("rect", data_box="beside")


def test_nothing_known_is_still_a_drawing() -> None:
    """A bare question draws the ground and says what is missing."""
    drawing, _ = draw(case_of({"accessory": {}}))
    assert "Not known, and left out" in drawing.description


def test_hostile_names_are_only_text() -> None:
    """Markup, control characters and lone surrogates in a record's name neither break nor enter the markup."""
    drawing, read = draw(case_of(*random_facts(1)), labels={"accessory": HOSTILE, "vehicle": HOSTILE})
    assert not [one for one in read.root.iter() if one.tag == f"{SVG}script"]
    assert "<script" not in drawing.svg and "\x00" not in drawing.svg
    drawing.svg.encode("utf-8")


def test_nothing_a_strict_policy_forbids() -> None:
    """No style, no script, no handler, no address outside; every id starts with the prefix and stands once."""
    drawing, read = draw(case_of(*random_facts(2)), prefix="first")
    attributes = [(key, value) for one in read.root.iter() for key, value in one.attrib.items()]
    assert not [key for key, _ in attributes if key == "style" or key.startswith("on") or key.endswith("href")]
    ids = [value for key, value in attributes if key == "id"]
    assert len(ids) == len(set(ids)) and all(one.startswith("first") for one in ids)
    assert all(
        f"url(#{one})" in drawing.svg or one.endswith(("first", "title", "desc", "strikes", "open")) for one in ids
    )


def test_labels_touch_nowhere() -> None:
    """Texts and badges neither overlap nor leave the drawing, in random rigs and in rigs of extreme lengths."""
    for seed in range(0, CASES, 2):
        facts, adapters = random_facts(seed)
        if seed % 4 == 0:
            _stretch(facts, seed)
        _, read = draw(case_of(facts, adapters), "metric" if seed % 3 else "us")
        boxes = _label_boxes(read)
        height = float((read.root.get("viewBox") or "").split()[3])
        assert [one for one in boxes if one[0] < 0 or one[2] > WIDTH + 1 or one[1] < 0 or one[3] > height] == [], seed
        assert [(a, b) for i, a in enumerate(boxes) for b in boxes[:i] if _overlap(a, b)] == [], seed


def _stretch(facts: dict[str, dict[str, Any]], seed: int) -> None:
    """Very long carriers, tiny heights, far axles, and figures with odd fractions."""
    facts["accessory"] |= {"rear_extent": 4500.0, "stow_height": 0.3, "top_height": 0.1 + seed % 7}
    facts["mounting"] |= {"height": {"at_least": "301.3 mm", "at_most": "302.7 mm"}, "pin_to_bumper": 1.1}
    facts["vehicle"] |= {"rear_overhang": 6000.0, "closure_hinge_setback": 0.4, "closure_length": 2900.0}


def _label_boxes(read: Read) -> list[tuple[float, float, float, float, str]]:
    """What each badge and each text outside a badge covers, a letter taken as 0.6 of its size."""
    found = []
    for one in read.all("circle"):
        if one.get("r") == "8":
            x, y = float(one.get("cx") or 0), float(one.get("cy") or 0)
            found.append((x - 8, y - 8, x + 8, y + 8, "badge"))
    for one in read.all("text", class_="d-text"):
        x, y, size = (float(one.get(key) or 0) for key in ("x", "y", "font-size"))
        found.append((x, y - 0.75 * size, x + len(one.text or "") * size * EM, y + 0.2 * size, one.text or ""))
    return found


def _overlap(a: tuple[float, float, float, float, str], b: tuple[float, float, float, float, str]) -> bool:
    if a[4] == b[4] == "badge":
        return hypot(a[0] - b[0], a[1] - b[1]) < 16
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_spread_keeps_order_and_distance() -> None:
    """Labels stay in order, touch nowhere and end where told while there is room."""
    wanted, sizes = [50.0, 51.0, 49.0, 120.0, 121.0], [19.0, 30.0, 19.0, 19.0, 19.0]
    middles = spread(wanted, sizes, 4.0, 130.0)
    order = sorted(range(5), key=lambda i: wanted[i])
    tops = [(middles[i] - sizes[i] / 2, middles[i] + sizes[i] / 2) for i in order]
    assert all(a[1] <= b[0] + 1e-9 for a, b in pairwise(tops))
    assert tops[0][0] >= 4.0 and tops[-1][1] <= 130.0
    assert sqrt(sum((middles[i] - wanted[i]) ** 2 for i in range(5))) < 40
