"""The bars of a chain: as long as the ratings, marked where the rules fail, the lowest named as the answer names it."""

import random
from typing import Any
from xml.etree import ElementTree

import demo_world
import pytest
from drawn_rigs import SVG

from fitsvc.answers.question import read_question
from fitsvc.drawing.ink import EM, WIDTH, Drawing
from fitsvc.drawing.rating_bars import rating_bars
from fitsvc.service.speaking import spoken_tongues
from fitsvc.tongues import speaking

CHAIN = {
    "towing.opening_trailer_rating": ("receiver", "trailer_rating"),
    "towing.vehicle_trailer_rating": ("vehicle", "tow_rating"),
    "accessory.trailer_rating": ("accessory", "trailer_rating"),
    "ball.rating": ("ball", "rating"),
    "trailer.coupler_rating": ("trailer", "coupler_rating"),
}


def _random(seed: int) -> dict[str, dict[str, Any]]:
    chance = random.Random(seed)
    facts: dict[str, dict[str, Any]] = {
        "accessory": {"kind": "ball_mount"},
        "trailer": {"gross_weight": chance.randint(500, 12000), "weight_distribution": False},
        "vehicle": {},
        "receiver": {},
        "ball": {},
        "mounting": {},
    }
    for subject, name in CHAIN.values():
        if chance.random() < 0.9:
            facts[subject][name] = chance.randint(1000, 15000)
    return facts


def _document(facts: dict[str, dict[str, Any]]) -> dict[str, Any]:
    wire = {
        name: {"facts": {key: f"{value} lb" if type(value) is int else value for key, value in one.items()}}
        for name, one in facts.items()
    }
    return {"rig": {name: wire.pop(name) for name in ("vehicle", "receiver", "mounting")}, **wire}


def _drawn(facts: dict[str, dict[str, Any]]) -> tuple[Drawing, ElementTree.Element]:
    answerer = demo_world.answerer()
    case = read_question(_document(facts), answerer.reader, demo_world.world()).case
    drawing = rating_bars(answerer.wording, case)
    assert drawing is not None
    return drawing, ElementTree.fromstring(drawing.svg)


def _bars(root: ElementTree.Element, dashed: bool) -> dict[str, ElementTree.Element]:
    return {
        one.get("data-fact") or "": one
        for one in root.iter(f"{SVG}rect")
        if one.get("data-fact") in CHAIN and ("d-range" in (one.get("class") or "")) is dashed
    }


def test_bars_are_as_long_as_the_ratings() -> None:
    """Each known rating's bar to what is asked, which has a stroke across it, in 500 random chains."""
    for seed in range(500):
        facts = _random(seed)
        _, root = _drawn(facts)
        solid, asked = _bars(root, False), facts["trailer"]["gross_weight"]
        known = {name: facts[subject][fact] for name, (subject, fact) in CHAIN.items() if fact in facts[subject]}
        assert set(solid) == set(known), seed
        stroke = next(one for one in root.iter(f"{SVG}line") if one.get("class") == "d-asked")
        for name, bar in solid.items():
            unit = float(bar.get("width") or 0) / known[name]
            assert (float(stroke.get("x1") or 0) - float(bar.get("x") or 0)) / unit == pytest.approx(
                asked, rel=0.005
            ), seed


def test_too_little_is_what_the_rules_fail_and_the_lowest_is_the_answers() -> None:
    """The pattern fills the ratings whose rule fails; the lowest is the part that the answer says governs."""
    for seed in range(0, 500, 5):
        facts = _random(seed)
        drawing, root = _drawn(facts)
        answer = demo_world.answerer().answer(_document(facts), demo_world.world())
        failing = {
            one.rule.split("/")[1]
            for one in answer.findings
            if one.result == "fails" and one.rule.startswith("trailer-weight/")
        }
        filled = {name for name, bar in _bars(root, False).items() if bar.get("fill") == "url(#ratings-strikes)"}
        assert filled == failing, seed
        (limit,) = [one for one in answer.limits if one.limit == "trailer_weight"]
        label = demo_world.answerer().wording.label(limit.governed_by)
        assert f"is the {label}" in drawing.description, seed
        assert ("The lowest that is known" in drawing.description.split("Most tongue weight")[0]) is bool(limit.unknown)


def test_the_lowest_is_the_same_in_every_language() -> None:
    """In Spanish, whose words are a rulebook of their own, as many chains tell their lowest rating as in English."""
    english = demo_world.answerer()
    for seed in range(0, 100, 5):
        case = read_question(_document(_random(seed)), english.reader, demo_world.world()).case
        plain = rating_bars(english.wording, case)
        with speaking(spoken_tongues(None)["es"]):
            spanish = rating_bars(english.spoken.wording, case)
        assert plain and spanish, seed
        for told, so in (("No rating is known.", "No se sabe ninguna capacidad."), ("The lowest", "La más baja")):
            assert spanish.description.count(so) == plain.description.count(told), seed
        assert "La más baja" in spanish.description, seed


def test_what_is_not_known_is_an_empty_dashed_bar() -> None:
    """A rating that is not known has no solid bar; one known in bounds is dashed between them."""
    facts = {**_random(1), "ball": {}}
    facts["vehicle"] = {"tow_rating": {"at_least": "4000 lb", "at_most": "6000 lb"}}
    _, root = _drawn(facts)
    solid, dashed = _bars(root, False), _bars(root, True)
    assert "ball.rating" in dashed and "ball.rating" not in solid
    ratio = float(dashed["towing.vehicle_trailer_rating"].get("width") or 0) / float(
        solid["towing.vehicle_trailer_rating"].get("width") or 1
    )
    assert ratio == pytest.approx(0.5, rel=0.005)


def test_labels_touch_nowhere_at_extreme_weights() -> None:
    """A featherweight trailer and the heaviest: texts stay on the drawing and clear of each other."""
    for asked in (1, 59999):
        for rating in (1, 60000):
            facts = _random(2)
            facts["trailer"]["gross_weight"], facts["ball"]["rating"] = asked, rating
            _, root = _drawn(facts)
            boxes = []
            for one in root.iter(f"{SVG}text"):
                x, y, size = (float(one.get(key) or 0) for key in ("x", "y", "font-size"))
                wide = len(one.text or "") * size * EM
                left = x - wide if one.get("text-anchor") == "end" else x
                boxes.append((left, y - 0.75 * size, left + wide, y + 0.2 * size, one.text))
            assert [one for one in boxes if one[0] < 0 or one[2] > WIDTH] == []
            assert [
                (a[4], b[4])
                for i, a in enumerate(boxes)
                for b in boxes[:i]
                if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
            ] == []


def test_without_a_limit_there_is_no_chart() -> None:
    """A question about a locking pin has nothing to chart but what the vehicle carries."""
    answerer = demo_world.answerer()
    document = {"rig": {}, "accessory": {"facts": {"kind": "locking_pin"}}}
    case = read_question(document, answerer.reader, demo_world.world()).case
    assert rating_bars(answerer.wording, case) is None
