"""The side view: well formed, to scale, true to the rules, and told in words."""

from pathlib import Path
from xml.etree import ElementTree

import demo_world
import pytest

from fitsvc.answers.drawing.ink import Drawing
from fitsvc.answers.drawing.side_view import side_view
from fitsvc.answers.question import read_question
from fitsvc.language.display import System

QUESTIONS = sorted(path.name for path in (Path(demo_world.SEED) / "questions").glob("*.json"))
SVG = "{http://www.w3.org/2000/svg}"


def _demo(name: str, system: System = "us") -> Drawing:
    answerer = demo_world.answerer()
    question = read_question(demo_world.question(name), answerer.reader, demo_world.world())
    return side_view(answerer.wording, question.case, system, labels=question.labels)


@pytest.mark.parametrize("name", QUESTIONS)
def test_every_demo_question_is_drawn(name: str) -> None:
    """Each drawing is well-formed XML, an image with a title and a description."""
    drawing = _demo(name)
    root = ElementTree.fromstring(drawing.svg)
    assert root.tag == f"{SVG}svg" and root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == drawing.title
    assert root.findtext(f"{SVG}desc") == drawing.description
