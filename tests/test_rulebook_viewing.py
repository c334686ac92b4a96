"""What a side view is drawn by: checked against the vocabulary, told where something is missing, and free of names."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from changed_rules import changed
from drawn_rigs import case_of, random_facts
from judging import answerer

from fitsvc.answers.answering import Answerer
from fitsvc.drawing.measures import Measures
from fitsvc.drawing.side_view import side_view
from fitsvc.drawing.staging import scene_of
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.viewing import WANTED


def only(rules: Path) -> Problem:
    """Give the one problem of a folder."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(rules)
    (problem,) = found.value.problems
    return problem


@pytest.mark.parametrize(
    ("file", "old", "new", "message", "help"),
    [
        ("clearance.yaml", "shape: folded", "shape: foldet", "`foldet` is not a shape", "did you mean `folded`?"),
        ("clearance.yaml", "against: bumper", "against: moon", "`moon` is not what a shape is held", "`spare`"),
        ("clearance.yaml", "{shape: folded, against: bumper}", "{shape: folded}", "`draws` lacks `against`", ""),
        ("drawing.yaml", "vehicle.closure_length", "vehicle.closure_lenth", "there is no fact `vehicle.closure_lenth`",
         "did you mean `vehicle.closure_length`?"),
        ("drawing.yaml", "hinge_height: v", "hinge_hight: v", "the side view draws no `hinge_hight`", "`hinge_height`"),
        ("drawing.yaml", "  hinge_height: vehicle.closure_hinge_height\n", "", "the side view lacks `hinge_height`",
         "or write `none`"),
        ("drawing.yaml", "jack_height: trailer.jack_height", "jack_height: trailer.gross_weight",
         "is a mass, expected a length", ""),
        ("drawing.yaml", "jack_height: trailer.jack_height", "jack_height: trailer.jack_height + 1 in",
         "`jack_height` is a fact or a derived name", "give the expression a name"),
        ("drawing.yaml", "ball_size: ball.diameter", "ball_size: vehicle.body", "chosen from a list of sizes", ""),
        ("drawing.yaml", "tows: kind.tows", "tows: kind.tow", "there is no fact `kind.tow`", "`kind.tows`"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_drawing_is_told_in_place(
    tmp_path: Path, file: str, old: str, new: str, message: str, help: str
) -> None:
    """A shape that is none, a fact that the vocabulary lacks, a word left out: one error each, with file and line."""
    rules = changed(tmp_path, file, old, new)
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(rules)
    problem = found.value.problems[0]
    assert problem.file == f"rules/{file}"
    assert problem.line > 0
    assert message in problem.message
    assert help in problem.help


def test_rules_that_draw_ask_for_what_they_are_drawn_by(tmp_path: Path) -> None:
    """Without `drawing.yaml` no rule may draw."""
    shutil.copytree(data_dir("rules"), tmp_path / "rules")
    (tmp_path / "rules" / "drawing.yaml").unlink()
    problem = only(tmp_path / "rules")
    assert problem.file.endswith("drawing.yaml")
    assert "draws, and nothing says what a side view is drawn by" in problem.message


def test_a_rulebook_that_draws_nothing_says_so(tmp_path: Path) -> None:
    """No file and no rule that draws: the drawing says why it is empty."""
    shutil.copytree(data_dir("rules"), tmp_path / "rules")
    (tmp_path / "rules" / "drawing.yaml").unlink()
    for path in (tmp_path / "rules").glob("*.yaml"):
        kept = [line for line in path.read_text().splitlines(keepends=True) if not line.startswith("    draws: ")]
        path.write_text("".join(kept))
    drawing = side_view(Answerer(load_rulebook(tmp_path / "rules")).wording, case_of(*random_facts(1)))
    assert "Nothing is drawn: this rulebook has no `drawing.yaml`" in drawing.description


WORDS = [word for word in WANTED if word != "closes"]


@pytest.mark.parametrize("words", [WORDS, WORDS[::2], WORDS[1::2]], ids=["all", "every second", "the others"])
def test_any_word_may_be_none(tmp_path: Path, words: list[str]) -> None:
    """Each that is `none` is left out of what is drawn by, and nothing else is."""
    rules = Path(shutil.copytree(data_dir("rules"), tmp_path / "rules"))
    text = (rules / "drawing.yaml").read_text("utf-8")
    for word in words:
        assert text.count(f"  {word}: ") == 1
        text = text.replace(f"  {word}: ", f"  {word}: none # ")
    (rules / "drawing.yaml").write_text(text, "utf-8")
    assert load_rulebook(rules).side_view == without(words).side_view


def without(words: list[str]) -> Rulebook:
    """The shipped rulebook that has nothing for some words of the side view."""
    book = answerer().rulebook
    return replace(book, side_view={word: one for word, one in book.side_view.items() if word not in words})


@pytest.mark.parametrize("word", WORDS)
def test_what_a_rulebook_has_nothing_for_is_left_out(word: str) -> None:
    """Every rig is still drawn, and not one word more is drawn than before."""
    wording = Answerer(without([word])).wording
    for seed in range(4):
        case = case_of(*random_facts(seed))
        less, full = side_view(wording, case), side_view(answerer().wording, case)
        assert less.svg.count("data-length=") <= full.svg.count("data-length=")
        assert less.svg.count("data-box=") <= full.svg.count("data-box=")


def test_dimensions_are_told_in_the_vocabularys_words() -> None:
    """Each dimension's label is a fact's or derived value's own, never the drawing's word for it."""
    wording, book = answerer().wording, answerer().rulebook
    known = {one.label for one in book.vocabulary.facts.values()} | {one.label for one in book.derived.values()}
    known |= {one.label for one in book.opening.values()} | {"height of the ball platform"}
    for seed in range(8):
        scene = scene_of(Measures(wording, case_of(*random_facts(seed)), "us"))
        labels = [one.label for one in scene.heights] + [one.label for one in scene.lengths]
        labels += [one.label for one in scene.angles]
        assert {label.removesuffix(", above the ground") for label in labels} <= known
        assert labels
