"""Where the tape goes: a sketch for each fact that names its measuring points, and points that are checked."""

import re
from pathlib import Path
from xml.etree import ElementTree

import demo_world
import pytest

from fitsvc.drawing.sketches import PLACES, points_of, sketch
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import digest_of
from fitsvc.rulebook.measuring import POINTS
from fitsvc.rulebook.vocabulary import Fact

SVG = "{http://www.w3.org/2000/svg}"
FACTS = demo_world.answerer().rulebook.vocabulary.facts
DRAWN = [fact for fact in FACTS.values() if fact.tape]


def test_every_point_has_its_place() -> None:
    """What the vocabulary may name and what the sketch can draw are the same."""
    assert set(PLACES) == set(POINTS)


@pytest.mark.parametrize("fact", DRAWN, ids=lambda fact: str(fact.name))
def test_the_tape_joins_the_points_named(fact: Fact) -> None:
    """The tape's ends lie level with, or plumb under, the two points, and the text names both."""
    drawing, tape = sketch(fact), fact.tape
    assert drawing and tape
    root = ElementTree.fromstring(drawing.svg)
    (line,) = [one for one in root.iter(f"{SVG}line") if one.get("class") == "d-tape"]
    axis, place = ("x", 0) if tape.lies == "along" else ("y", 1)
    assert [float(line.get(f"{axis}{i}") or 0) for i in (1, 2)] == [PLACES[tape.start][place], PLACES[tape.end][place]]
    assert POINTS[tape.start] in drawing.description and POINTS[tape.end] in drawing.description


@pytest.mark.parametrize("fact", DRAWN, ids=lambda fact: str(fact.name))
def test_close_by_the_tape_is_shown_whole_and_its_numbers_are_large(fact: Fact) -> None:
    """Both ends and both numbers are in the window, and on a telephone no digit is under 11 px high."""
    drawing = sketch(fact, close=True)
    assert drawing and len(points_of(fact)) == 2
    root = ElementTree.fromstring(drawing.svg)
    left, top, across, high = map(float, (root.get("viewBox") or "").split())
    scale = min(330 / across, 138 / high)
    (line,) = [one for one in root.iter(f"{SVG}line") if one.get("class") == "d-tape"]
    ends = [(float(line.get(f"x{i}") or 0), float(line.get(f"y{i}") or 0)) for i in (1, 2)]
    badges = [one for one in root.iter(f"{SVG}circle") if one.get("r") == "8"]
    assert len(badges) == 2
    for group in root.iter(f"{SVG}g"):
        place, large = re.findall(r"\((.*?)\)", group.get("transform") or "")
        ends.append(tuple(map(float, place.split())))  # type: ignore[arg-type]  # two numbers
        assert 11 * float(large) * scale >= 10.9
    assert all(left <= x <= left + across and top <= y <= top + high for x, y in ends)


def test_every_length_on_the_rigs_line_is_sketched() -> None:
    """Whatever is measured with a tape from the pin hole rearward or the ground up has a sketch, by its own meaning.

    What lies ahead of the pin hole is inside the receiver, and what stands beside is worked out, not measured.
    """
    starts = ("Centre of the accessory's pin hole", "Centre of the pin hole", "Ground to", "Top of the shank up")
    lengths = [fact for fact in FACTS.values() if fact.meaning.startswith(starts) and fact.subject != "beside"]
    assert len(lengths) > 10
    assert [one.name for one in lengths if " forward to " not in one.meaning and not one.tape] == []


def test_a_fact_without_points_has_no_sketch() -> None:
    """A label is read, not measured."""
    assert sketch(FACTS["receiver.opening"]) is None


def _changed(tmp_path: Path, old: str, new: str) -> Path:
    for file in sorted(data_dir("rules").rglob("*.yaml")):
        copy = tmp_path / file.relative_to(data_dir("rules"))
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_text(file.read_text("utf-8").replace(old, new), "utf-8")
    return tmp_path


def test_a_hint_for_a_drawing_changes_no_digest(tmp_path: Path) -> None:
    """Answers do not rest on it."""
    assert digest_of(_changed(tmp_path, "    measured_along: [pin_hole, bumper]\n", "")) == digest_of(data_dir("rules"))


@pytest.mark.parametrize(
    ("new", "message"),
    [
        ("measured_along: [pin_hole, bumpr]", "did you mean `bumper`?"),
        ("measured_along: [pin_hole]", "names two points"),
        ("measured_along: pin_hole", "is a list"),
        ("measured_along: [pin_hole, bumper]\n    measured_up: [ground, bumper]", "given once"),
        ("measured_abaft: [pin_hole, bumper]", "no key `measured_abaft`"),
    ],
)
def test_a_wrong_hint_is_told_where_it_stands(tmp_path: Path, new: str, message: str) -> None:
    """A slip in a point's name, a point too few, both ways at once."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(_changed(tmp_path, "measured_along: [pin_hole, bumper]", new))
    told = "\n".join(f"{one.message} {one.help}" for one in found.value.problems)
    assert message in told
