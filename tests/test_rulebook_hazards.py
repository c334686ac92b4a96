"""The hazards of a rulebook: what `rules check` refuses in `hazards.yaml`, and that no answer rests on it."""

from pathlib import Path
from shutil import copytree

import pytest
from changed_rules import changed

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

HAZARDS = "hazards.yaml"
ROOM = "  vehicle.gvwr:\n"
BALL = "max(trailer.gross_weight, trailer.empty_weight + trailer.cargo_weight) > ball.rating"
TAKES = "    - when: kind.takes_bikes\n      exceeded_when: load.bikes > accessory.bikes_max\n"
LABELS = (
    "brakes-by-the-trailers-label, surge-brakes-by-the-trailers-label, surge-brakes-that-the-driver-works, "
    "chain-by-the-trailers-label"
)
LABEL = f"    rules: [{LABELS}]\n"
SUBJECT = "vocabulary/trailer.yaml"
NEW = """\
  roof_rating:
    type: mass
    range: [0 lb, 500 lb]
    label: roof rating
    meaning: m
    how_to_measure: h
    effort: label
"""


def problems(rules: Path) -> tuple[Problem, ...]:
    """Give the problems of a folder."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(rules)
    return found.value.problems


@pytest.mark.parametrize(
    ("file", "old", "new", "message", "help"),
    [
        (SUBJECT, "facts:\n", f"facts:\n{NEW}", "nothing is said of what bears on `trailer.roof_rating`",
         "an overlay says it in a `hazards.yaml` of its own"),
        (HAZARDS, "  accessory.bikes_max:\n", "  accessory.bikesmax:\n", "`accessory.bikesmax` is no fact with a",
         "did you mean `accessory.bikes_max`?"),
        (HAZARDS, "  - accessory.weight\n", "  - accessory.weigh\n", "`accessory.weigh` is no fact with a figure",
         "did you mean `accessory.weight`?"),
        (HAZARDS, "  - accessory.weight\n", "  - accessory.weight\n  - ball.rating\n", "`ball.rating` has hazards",
         "take it out here"),
        (HAZARDS, BALL, "trailer.gross_weight > accessory.weight", "`exceeded_when` does not read `ball.rating`", ""),
        (HAZARDS, BALL, "trailer.gross_weight + ball.rating", "expected a yes/no", ""),
        (HAZARDS, BALL, "trailer.gros_weight > ball.rating", "no fact `trailer.gros_weight`", "trailer.gross_weight"),
        (HAZARDS, BALL, "present(ball.rating) and ball.rating > 0 lb", "does not ask whether `ball.rating` is named",
         "ask for the subject"),
        (HAZARDS, ROOM, f"{ROOM}    - {{when: kind.tows}}\n", "does not say when `vehicle.gvwr` is exceeded",
         "write `exceeded_when: ...`"),
        (HAZARDS, ROOM, f"{ROOM}    - {{wen: kind.tows}}\n", "a hazard has no key `wen`", "did you mean `when`?"),
        (HAZARDS, "rules: [hangs-where-its-receiver-is, ", "rules: [hangs-where-its-receiver, ",
         "there is no rule `hangs-where-its-receiver`", "did you mean `hangs-where-its-receiver-is`?"),
        (HAZARDS, "[hangs-where-its-receiver-is, no-bars-on-a-bumper]", "[no-bars-on-a-bumper, no-bars-on-a-bumper]",
         "a pair is of two rules", "write `rules: [ONE, OTHER]`"),
        (HAZARDS, "  - fact: trailer.gvwr\n", "  - fact: trailer.gvw\n", "`trailer.gvw` is no fact with a figure",
         "did you mean `trailer.gvwr`?"),
        (HAZARDS, "rules: [brakes-by-the-trailers-label, ", "rules: [brakes-by-the-trailers-labl, ",
         "there is no rule `brakes-by-the-trailers-labl`", "did you mean `brakes-by-the-trailers-label`?"),
        (HAZARDS, LABEL, "", "a fact helps by some rules, or where something",
         "write `rules:` or `when:`"),
        (HAZARDS, LABEL, f"{LABEL}    when: present(trailer)\n",
         "a fact helps by some rules, or where something", "write `rules:` or `when:`"),
        (HAZARDS, "when: trailer.coupler_to_cargo >= trailer.coupler_to_axle", "when: trailer.coupler_to_cargo",
         "expected a yes/no", ""),
        (HAZARDS, "[hangs-where-its-receiver-is, no-bars-on-a-bumper], because", "[no-bars-on-a-bumper], becaus",
         "a pair of rules", "because"),
        (HAZARDS, TAKES, "", "no line says what bears on `accessory.bikes_max` of `bike_carrier`", "add a line for it"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_hazards_is_told_at_its_place(
    tmp_path: Path, file: str, old: str, new: str, message: str, help: str
) -> None:
    """A mass that is forgotten, a line that reads another figure, a kind left out: each with its file and line."""
    found = problems(changed(tmp_path, file, old, new))
    problem = next(one for one in found if message in one.message)
    assert help in problem.help
    assert problem.file == f"rules/{HAZARDS}"
    assert problem.line > 0


def test_a_weight_that_bears_on_nothing_is_refused(tmp_path: Path) -> None:
    """A weight is named because some rating is held against it."""
    rules = changed(tmp_path, HAZARDS, "+ load.person_weight", "+ 0 lb")
    text = (rules / HAZARDS).read_text("utf-8")
    text = text.replace("load.person_weight > accessory.capacity", "0 lb > accessory.capacity")
    (rules / HAZARDS).write_text(text.replace("+ load.person_weight", "+ 0 lb"), "utf-8")
    assert [one.message for one in problems(rules)] == ["`load.person_weight` bears on no rating"]


def test_a_kind_that_is_added_needs_its_lines(tmp_path: Path) -> None:
    """A new kind whose roles no line of a rating speaks of is told of, by the rating."""
    rules = changed(tmp_path, HAZARDS, "    - when: not kind.takes_bikes\n", "    - when: kind.tows\n")
    (problem,) = problems(rules)
    assert problem.message.startswith("no line says what bears on `accessory.bikes_max` of `cargo_carrier`")
    assert "`accepted`" in problem.help


def test_a_folder_with_limits_says_what_bears_on_ratings(tmp_path: Path) -> None:
    """Left out whole, the file is missed: silence is no acceptance."""
    copytree(data_dir("rules"), tmp_path / "rules")
    (tmp_path / "rules" / HAZARDS).unlink()
    (problem,) = problems(tmp_path / "rules")
    assert "no hazards.yaml says what bears on them" in problem.message
    assert problem.file == str(tmp_path / "rules" / HAZARDS)


def test_no_answer_rests_on_a_hazard(tmp_path: Path) -> None:
    """The digest, which every saved answer names, is over what answers rest on."""
    rules = changed(tmp_path, HAZARDS, BALL, f"{BALL} * 1.05")
    assert load_rulebook(rules).digest == load_rulebook(data_dir("rules")).digest
