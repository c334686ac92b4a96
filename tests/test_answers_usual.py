"""What is usual of a fact is told as a thing to check, with what it would come to, and never taken for known."""

from pathlib import Path
from shutil import copytree

import pytest
from demo_world import answerer, question, world
from test_answers_next import WORKS, answer, told
from test_answers_next_bounded import swept

from fitsvc.answers.summary import as_usual
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

PINS = ("receiver.pin_hole", "accessory.pin")


@pytest.mark.parametrize("name", WORKS)
def test_a_usual_pin_is_a_thing_to_check_and_no_silent_yes(name: str) -> None:
    """Neither pin nor pin hole known: the answer holds up for them, and says what it is if they are as usual."""
    document = question(name)
    for fact in PINS:
        document = told(document, fact, None)
    found = answer(document)
    assert found.outcome == "conditional"
    assert {step.fact: step.usual for step in found.next if step.fact in PINS} == dict.fromkeys(PINS, "5/8 in")
    assert found.if_usual and found.if_usual.outcome == "works" and "pin-fits-hole" in found.if_usual.settles
    assert "it works. Check it." in as_usual(found, answerer().wording)


def test_what_is_said_of_the_usual_comes_true_where_it_is_so() -> None:
    """Told that it is as usual, every answer has the outcome that was said, and the points are settled that were."""
    tried = 0
    for document, found in swept():
        if found.if_usual is None:
            continue
        settled = document
        for fact, text in found.if_usual.facts.items():
            settled = told(settled, fact, int(text) if text.isdigit() else _wire(fact, text))
        after = answer(settled)
        tried += 1
        assert after.outcome == found.if_usual.outcome
        left = {one.rule for one in after.findings if one.result == "undetermined"}
        assert left.isdisjoint(found.if_usual.settles)
    assert tried > 10


def _wire(fact: str, text: str) -> str | dict[str, str]:
    """A choice as the API takes it, of the words in which it is told, or of a figure its middle and how far about."""
    vocabulary = answerer().rulebook.vocabulary
    words = vocabulary.words.get(vocabulary.facts[fact].kind, {})
    middle, _, apart = text.partition(" ± ")
    if apart:
        return {"value": middle, "tolerance": apart}
    return next((member for member, word in words.items() if word == text), text)


def test_nothing_is_usual_where_the_book_knows_of_nothing() -> None:
    """A 3 in opening has no usual pin, and one that is told to be another size is not told the usual one."""
    rig = {"receiver": {"facts": {"opening": "3 in"}}}
    found = answerer().answer({"rig": rig, "accessory": {"facts": {"kind": "step", "shank": "3 in"}}}, world())
    assert not any(step.usual for step in found.next) and found.if_usual is None
    rig["receiver"]["facts"] |= {"opening": "2 in", "pin_hole": ["3/4 in", "1 in"]}  # type: ignore[dict-item]  # the question is plain JSON
    found = answerer().answer({"rig": rig, "accessory": {"facts": {"kind": "step"}}}, world())
    assert not any(step.usual for step in found.next if step.fact == "receiver.pin_hole")


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("{fact: receiver.pin_whole, is: 5/8 in, source: {kind: common_practice}}", "did you mean `receiver.pin_hole`"),
        ("{fact: receiver.pin_hole, is: 5 lb, source: {kind: common_practice}}", "pin_size"),
        ("{fact: receiver.tube_outside, is: 3 in}", "lacks `source`"),
        (
            "{fact: adapter.pin, is: 5/8 in, source: {kind: common_practice}}",
            "no fact of which something usual is said",
        ),
    ],
)
def test_a_usual_value_that_is_wrong_is_complained_of(tmp_path: Path, entry: str, said: str) -> None:
    """An unknown fact, a value of another type, a missing source, or an adapter's fact."""
    folder = copytree(data_dir("rules"), tmp_path / "rules")
    top = folder / "rulebook.yaml"
    top.write_text(top.read_text().replace("usual:\n", f"usual:\n  - {entry}\n", 1))
    with pytest.raises(ProblemsFound) as refused:
        load_rulebook(folder)
    assert any(said in f"{problem}" or said in problem.help for problem in refused.value.problems), (
        refused.value.problems
    )
