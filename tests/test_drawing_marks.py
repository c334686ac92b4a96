"""What is drawn as striking is what the rules say strikes, and what the drawn shapes themselves do."""

import re
from collections import Counter
from functools import cache
from math import sqrt
from typing import Any
from xml.etree import ElementTree

import demo_world
import pytest
from drawn_rigs import SVG, Read, case_of, draw, random_facts
from shapely import LineString, Point, Polygon, box

from fitsvc.drawing.ink import Drawing
from fitsvc.facts import Case
from fitsvc.rulebook.viewing import AGAINST, SHAPES

MARKS = {rule.id: rule.draws for rule in demo_world.answerer().rulebook.rules if rule.draws is not None}
CASES = 500
NEAR = 0.2
INCH, HIGHEST_EDGE = 25.4, 48 * 25.4
"""Shapes this near to touching, in mm, are left to the rules: the drawing is written to thousandths of a unit."""


@cache
def _drawn(seed: int) -> tuple[Drawing, Read, set[str]]:
    """A random rig as it is drawn, with the rules that fail on it."""
    case = case_of(*random_facts(seed))
    return *draw(case), _failing(case)


def _failing(case: Case) -> set[str]:
    answerer = demo_world.answerer()
    case = answerer.engine.opened(case)
    told = answerer.findings(answerer.engine.evaluate(case), case)
    return {one.rule for one in told if one.result == "fails" and one.rule in MARKS}


def _marked(read: Read, kind: str = "d-strikes") -> set[str]:
    """The rules that the key names beside a mark."""
    rows = [row for row in read.all("g", class_="d-row") if row.get("data-rule")]
    return {row.get("data-rule") or "" for row in rows if kind in _classes(row)}


def _classes(row: ElementTree.Element) -> set[str]:
    return {name for one in row.iter(f"{SVG}circle") for name in (one.get("class") or "").split()}


def _filled(read: Read) -> set[str]:
    """The rules whose mark is filled with the pattern of what strikes."""
    return {
        one.get("data-region") or ""
        for one in read.root.iter()
        if (one.get("fill") or "").endswith("-strikes)") and one.get("data-region")
    }


def test_every_shape_is_marked_by_some_rule() -> None:
    """The shipped rules mark each shape, and hold one against each thing, that the drawing knows."""
    assert {draws.shape for draws in MARKS.values()} == set(SHAPES)
    assert {draws.against for draws in MARKS.values()} == set(AGAINST)


def test_what_is_marked_is_what_fails() -> None:
    """Key and pattern mark the findings that fail, each of them and no other, in 500 random rigs."""
    seen: Counter[str] = Counter()
    for seed in range(CASES):
        drawing, read, failing = _drawn(seed)
        assert _marked(read) == failing, seed
        assert _filled(read) == failing - {"vehicle-clears-steepest-grade"}, seed
        assert len(re.findall("url\\(#side-strikes\\)", drawing.svg)) == len(_filled(read))
        seen.update(failing)
    # No enclosed carrier is among the random rigs, it is judged and drawn as a carrier in use; nothing stands beside
    # the accessory there; and of a carrier each says whether the closure must open.
    others = {"things-stand-apart", "jack-under-what-hangs-above", "enclosed-clears-bumper", "load-lets-closure-open"}
    assert [rule for rule in MARKS if seen[rule] < 5 and rule not in others] == []


def _sweep(read: Read, kind: str) -> Polygon:
    """What the closure sweeps, from the path that is drawn."""
    (path,) = read.all("path", class_="d-sweep")
    figures = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", path.get("d") or "")]
    x, z = read.x(figures[0]), read.z(figures[1])
    if kind in ("side_hinged", "twin_doors"):
        return box(x, z, x + figures[2] / read.scale, z + 1e5)
    length = abs(figures[2]) / read.scale
    disc = Point(x, z).buffer(length, quad_segs=500)
    below = kind in ("lift_gate", "trunk_lid")
    return disc.intersection(box(x, z - length if below else z, x + length, z if below else z + length))


def _beside(facts: dict[str, dict[str, Any]], behind: float) -> bool:
    """Whether a door strikes in plan: its quarter disc about the hinge against the accessory's outline."""
    vehicle, half = facts["vehicle"], facts["accessory"]["width"] / 2
    length, offset = vehicle["closure_length"], vehicle["closure_hinge_offset"]
    disc = Point(0, offset).buffer(length, quad_segs=500).intersection(box(0, offset - length, length, offset))
    return bool(disc.intersects(box(max(behind, 0.0), -half, 1e5, half)))


def _strikes(read: Read, facts: dict[str, dict[str, Any]], name: str, plan: bool) -> bool | None:
    """Whether a drawn shape meets the drawn sweep; None where it stands ahead of the hinge or all but touches."""
    kind = facts["vehicle"]["rear_closure"]
    left, right, bottom, top = read.box(name)
    hinge = -facts["vehicle"]["closure_hinge_setback"]
    shape = LineString([(left, bottom), (left, top)]) if right - left < 1e-6 else box(left, bottom, right, top)
    sweep = _sweep(read, kind)
    if left < hinge + NEAR or sweep.buffer(NEAR).intersects(shape) != sweep.buffer(-NEAR).intersects(shape):
        return None
    doors = kind in ("side_hinged", "twin_doors")
    return bool(sweep.intersects(shape)) and (not plan or not doors or _beside(facts, left - hinge))


def test_drawn_shapes_meet_where_the_rules_say() -> None:
    """The closure's sweep, as shapely cuts the drawn shapes; doors also in plan, which a side view does not show."""
    counted: Counter[tuple[str, bool]] = Counter()
    for seed in range(CASES):
        facts, adapters = random_facts(seed)
        facts["accessory"]["tilts_clear"] = False
        case = case_of(facts, adapters)
        _, read = draw(case)
        failing = _failing(case)
        carries, must = "trailer" not in facts, facts["load"]["needs_closure_open"]
        drops = not carries and facts["vehicle"]["rear_closure"] == "drop_tailgate"
        for rule, name, asked in (
            ("closure-opens-past-accessory", "front", must),
            ("closure-opens-past-folded", "folded", carries),
            ("closure-opens-past-load", "load", carries),
            ("tailgate-clears-jack", "jack", drops and not must),
            ("closure-that-must-open-clears-jack", "jack", drops and must),
        ):
            met = _strikes(read, facts, name, name != "load") if asked else None
            if met is not None:
                assert met == (rule in failing), (seed, rule)
                counted[name, met] += 1
    assert len(counted) == 8 and min(counted.values()) >= 10, counted


def test_drawn_edges_cross_where_the_rules_say() -> None:
    """Bumper line, door spare, wall and ramp, against the drawn boxes and the lowest point."""
    counted: Counter[tuple[str, bool]] = Counter()
    for seed in range(CASES):
        facts, _ = random_facts(seed)
        _, read, failing = _drawn(seed)
        carries = "trailer" not in facts
        in_use = read.box("in use")
        shortest = min(in_use[1], read.box("folded")[1]) if carries else in_use[1]
        wall = read.line(class_="d-wall")[0]
        told = {"fits-where-it-is-parked": shortest - wall if carries else None}
        if carries:
            folded = read.box("folded")[0]
            told |= {"folded-clears-bumper": -folded, "in-use-clears-bumper": -in_use[0]}
            # These rigs do not tell the spare's lower edge, which is taken for no higher than 48 in: what is folded up
            # low may pass under it, and does not fail for sure.
            low = facts["mounting"]["height"] + facts["accessory"]["stow_height"] < HIGHEST_EDGE - INCH
            if facts["vehicle"]["spare_location"] == "rear_door" and facts["vehicle"]["body"] != "pickup":
                told["folded-clears-door-spare"] = None if low else read.box("spare")[1] - folded
                assert not low or "folded-clears-door-spare" not in failing, seed
        told["clears-steepest-grade"] = _below_ramp(read, facts)
        for rule, overlap in told.items():
            if overlap is not None and abs(overlap) > NEAR:
                assert (overlap > 0) == (rule in failing), (seed, rule)
                counted[rule, overlap > 0] += 1
    assert len(counted) == 10 and min(counted.values()) >= 5, counted


def _below_ramp(read: Read, facts: dict[str, dict[str, Any]]) -> float | None:
    """How far the accessory's loaded lowest point lies under the ramp's drawn line."""
    if not read.all("line", class_="d-grade"):
        return None
    x1, z1, x2, z2 = read.line(class_="d-grade")
    points = read.all("circle", class_="d-lowest-point")
    x, z = read.x(float(points[0].get("cx") or 0)), read.z(float(points[0].get("cy") or 0))
    slope = (z2 - z1) / (x2 - x1)
    return float(z1 + slope * (x - x1) - (z - facts["load"]["rear_sag"])) / sqrt(1 + slope * slope)


@pytest.mark.parametrize("tolerance", ["40 mm", "1 mm"])
def test_what_is_open_is_marked_as_open(tolerance: str) -> None:
    """Known in bounds that reach past the bumper it may strike: another pattern, another class, never the first."""
    facts, _ = random_facts(next(seed for seed in range(99) if "trailer" not in random_facts(seed)[0]))
    facts["mounting"]["pin_to_bumper"] = {
        "value": f"{facts['accessory']['stow_setback'] + 5:.1f} mm",
        "tolerance": tolerance,
    }
    drawing, read = draw(case_of(facts))
    rule, is_open = "folded-clears-bumper", tolerance == "40 mm"
    assert (rule in _marked(read, "d-open")) is is_open
    assert (rule in _marked(read)) is not is_open
    (region,) = [one for one in read.root.iter() if one.get("data-region") == rule]
    assert region.get("fill") == f"url(#side-{'open' if is_open else 'strikes'})"
    answerer = demo_world.answerer()
    case = answerer.engine.opened(case_of(facts))
    (told,) = [one for one in answerer.findings(answerer.engine.evaluate(case), case) if one.rule == rule]
    assert told.reason in drawing.description


def test_nothing_is_marked_that_was_not_asked() -> None:
    """A closure that need not open strikes nothing, however the shapes lie; nor does a carrier that tilts."""
    for seed in range(0, CASES, 25):
        facts, adapters = random_facts(seed)
        facts["load"].pop("needs_closure_open")
        _, read = draw(case_of(facts, adapters))
        assert not [rule for rule in _marked(read) | _marked(read, "d-open") if rule.startswith("closure-opens")]
