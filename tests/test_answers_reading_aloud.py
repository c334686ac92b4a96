"""Answers read aloud at a counter: questions of a clerk's day, whole, and the sentences of hundreds more.

The answers stand in `tests/reading_aloud/` beside their questions, as `fitsvc answer` prints them at 80 columns
on the demo records; `FITSVC_UPDATE=1` writes them anew, to be read before they are kept. That a sentence reads
well is for a person to say; what is held here are the marks of one that does not.
"""

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import redirect_stdout
from dataclasses import replace
from functools import cache
from io import StringIO
from pathlib import Path
from random import Random
from typing import Final

import pytest
from demo_world import answerer, stock, world
from effort import NIGHTLY
from test_answers_promises import answer, incomplete, random_question

from fitsvc.answers.answer import Answer
from fitsvc.answers.phrases import capped
from fitsvc.answers.summary import told
from fitsvc.cli import main
from fitsvc.cli.answer_view import show_answer
from fitsvc.cli.console import out
from fitsvc.engine.examples import case_of
from fitsvc.facts import Case
from fitsvc.rulebook.rules import Limit, Need, Rule
from fitsvc.service.counter.seeing import see

FOLDER: Final = Path(__file__).parent / "reading_aloud"
QUESTIONS: Final = {
    "01-mount-for-the-farm-trailer": "works",
    "02-trays-on-the-school-run": "conditional",
    "03-borrowed-rack-on-a-peewit": "fails",
    "04-measured-with-a-school-ruler": "undetermined",
    "05-some-muckle-of-2023": "conditional",
    "06-camper-on-spring-bars": "works",
    "07-lift-gate-behind-the-bikes": "undetermined",
    "08-taller-spare": "undetermined",
    "09-rack-on-an-extension": "fails",
    "10-camper-without-brakes-in-california": "fails",
    "11-imported-trailer-plug": "undetermined",
    "12-basket-with-no-load-named": "conditional",
}
"""What each is there to show, by its file."""
COUNT: Final = 300
EACH: Final = 1 if NIGHTLY else 3
"""Of an example's facts each is left out at night, by day each third of them, from another one on each time."""
_HEADINGS: Final = (
    "Which it may be",
    "Why",
    "What would make it work",
    "What it would have to be",
    "It also needs",
    "What to find out next",
    "Most that may be carried here",
    "Limits",
    "Keep in mind",
    "Rests on what was assumed",
)
_DIGEST: Final = re.compile(r"(?<=by the rulebook fitsvc core, )[0-9a-f]{12}")
_FAULTS: Final = {
    "a word twice": re.compile(r"\b(\w+) \1\b", re.IGNORECASE),
    "a name of the code": re.compile(r"\b[a-z]+_[a-z]|\b(?:accessory|vehicle|receiver|mounting|load|trailer)\.[a-z]"),
    "what Python writes": re.compile(r"\b(?:None|True|False|nan|inf)\b|[<>{}]|\['|\\|\bdict\b"),
    "a blank too many": re.compile(r"^ | $|  | [,.;:)]|\( "),
    "the before a verb": re.compile(r"\bthe (?:hides|allows|whether|where|is|allowed|tilts)\b", re.IGNORECASE),
    "a before a vowel": re.compile(r"\ba (?:[aeio]|un(?!it|i\b))\w+", re.IGNORECASE),
    "two stops": re.compile(r"[.;:,][.;:,]|\?"),
    "one of several": re.compile(r"\b1 [a-z]+s\b"),
    "a bound twice": re.compile(r"\bat (?:least|most) at (?:least|most)\b"),
    "a bound that is not sure": re.compile(
        r"± [\d/-]+ [a-z]+ at (?:least|most)\b|\bat (?:least|most) [\d/-]+ [a-z]+ ±"
    ),
    "a margin that is not sure": re.compile(r"\d [a-z]+ to [^.,;:]* (?:too|to spare)\b"),
    "a figure below nothing": re.compile(r"(?<![\w/])-\d"),
    "nothing for a bound": re.compile(r"\bif that is at (?:least|most) 0 (?:lb|in)\b"),
}
_US: Final = re.compile(r"(?<![\d/-])(?![123] in)\d[\d,]* (?:in|lb|ft|ft-lb)\b(?! drop\b| \(\d+ (?:kg|mm)\))")
"""A figure in units of the United States alone, but for the sizes that openings, balls and mounts are called by."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The URL of a store with the demo records."""
    file = tmp_path_factory.mktemp("shop") / "demo.db"
    assert main(["demo", "--into", str(file)]) == 0
    return f"sqlite:///{file}"


@pytest.fixture(scope="module")
def printed(shop: str) -> Mapping[str, str]:
    """What `fitsvc answer` prints for each question, its rulebook's digest left out."""
    found = {}
    for name in QUESTIONS:
        with pytest.MonkeyPatch.context() as patch, redirect_stdout(StringIO()) as out:
            patch.setenv("COLUMNS", "80")
            assert main(["answer", str(FOLDER / f"{name}.json"), "--database", shop]) == 0
        found[name] = _DIGEST.sub("...", out.getvalue())
    return found


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_clerks_question_is_answered_as_it_was_read(name: str, printed: Mapping[str, str]) -> None:
    """The whole answer is the one that a person has read and kept."""
    kept = FOLDER / f"{name}.txt"
    if os.environ.get("FITSVC_UPDATE"):
        kept.write_text(printed[name], "utf-8")
    assert printed[name] == kept.read_text("utf-8")


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_outcome_comes_first_and_then_what_to_do(name: str, printed: Mapping[str, str]) -> None:
    """The outcome, a sentence, why, what to do; limits, cautions and assumptions come after."""
    lines = printed[name].splitlines()
    assert lines[0] == QUESTIONS[name].upper()
    headings = [line for line in lines if line in _HEADINGS]
    assert headings == sorted(headings, key=_HEADINGS.index)
    assert "Keep in mind" in headings


def test_every_file_is_a_question() -> None:
    """No kept answer is without its question, and none is left out."""
    assert {path.stem for path in FOLDER.iterdir()} == set(QUESTIONS)
    assert {path.suffix for path in FOLDER.iterdir()} == {".json", ".txt"}


@cache
def answers() -> tuple[Answer, ...]:
    """Answers to questions of the demo world, whole ones and such that much is missing of."""
    random = Random(41)
    return tuple(answer(random_question(random) if i % 5 == 0 else incomplete(random)) for i in range(COUNT))


def cases(*, whole: bool = False) -> Iterator[Case]:
    """The case of every example beside the rules, and unless `whole` again without each `EACH`th of its facts."""
    rulebook, reader = answerer().rulebook, answerer().reader
    owners: list[Rule | Limit | Need] = [*rulebook.rules, *rulebook.limits, *rulebook.needs]
    for owner in owners:
        for number, example in enumerate(rulebook.examples.get(owner.id, ())):
            case = case_of(example, reader)
            yield case
            for left_out in () if whole else [*case.facts][number % EACH :: EACH]:
                yield replace(case, facts={name: value for name, value in case.facts.items() if name != left_out})


@cache
def texts() -> tuple[str, ...]:
    """Every text that is read out, once: of the answers, and of what the rules say of their own examples."""
    found: dict[str, None] = {}
    for case in cases():
        opened = answerer().engine.opened(case)
        verdict = answerer().engine.evaluate(opened)
        found |= dict.fromkeys(finding.reason for finding in answerer().findings(verdict, opened))
        found |= dict.fromkeys(answerer().need(number, opened)["because"] for number in verdict.open_needs)
    for one in answers():
        found |= dict.fromkeys([one.summary, *one.cautions, *one.assumed])
        found |= dict.fromkeys(finding.reason for finding in one.findings)
        found |= dict.fromkeys(need["because"] for need in one.needs)
        found |= dict.fromkeys(step.how for step in one.next)
        found |= dict.fromkeys(f"{capped(text)}." for text in readings(one))
        found |= dict.fromkeys(remedy.because for remedy in one.remedies)
    return tuple(found)


def readings(one: Answer) -> Iterator[str]:
    """What the readings of an answer's steps come to."""
    for step in one.next:
        yield from told(step, one, answerer().rulebook.vocabulary.facts.get(step.fact))


@cache
def metric_texts() -> tuple[str, ...]:
    """What is told in metric of the same examples, and of some of the questions."""
    found: dict[str, None] = {}
    for case in cases(whole=True):
        opened = answerer().engine.opened(case)
        verdict = answerer().engine.evaluate(opened)
        found |= dict.fromkeys(finding.reason for finding in answerer().findings(verdict, opened, "metric"))
        found |= dict.fromkeys(answerer().need(number, opened, "metric")["because"] for number in verdict.open_needs)
        found |= dict.fromkeys(answerer().cautions.told(opened, "metric"))
        found |= dict.fromkeys(answerer().assumptions.told(opened, "metric"))
    random = Random(43)
    for _ in range(COUNT // 12):
        one = answerer().answer(incomplete(random), world(), "metric", stock())
        found |= dict.fromkeys([one.summary, *readings(one)])
        found |= dict.fromkeys(remedy.because for remedy in one.remedies)
    return tuple(found)


def sentences(text: str) -> list[str]:
    """A text's sentences, each with its stop."""
    return re.split(r"(?<=\.) (?=[A-Z])", text)


@pytest.mark.parametrize("fault", _FAULTS)
def test_no_sentence_has_a_mark_of_bad_speech(fault: str) -> None:
    """No doubled words, names of the code, Python's own words, stray blanks or `the hides` in what is read out."""
    assert [text for text in texts() if _FAULTS[fault].search(text)] == []


def test_no_text_says_a_sentence_twice() -> None:
    """What is read out says each sentence once, and no two reasons of one answer are the same."""
    assert [text for text in texts() if len(set(sentences(text))) < len(sentences(text))] == []
    for one in answers():
        reasons = [finding.reason for finding in one.findings]
        assert len(set(reasons)) == len(reasons), sorted(reasons)


def test_metric_texts_are_metric() -> None:
    """Whoever asks in millimetres and kilograms is told no inches and pounds, but for what things are called by."""
    assert [text for text in metric_texts() if _US.search(text)] == []


def test_every_sentence_begins_and_ends_as_one() -> None:
    """Each begins with a capital or a figure and ends with a full stop."""
    whole = re.compile(r"[A-Z0-9].*\.", re.DOTALL)
    assert [one for text in texts() for one in sentences(text) if not whole.fullmatch(one)] == []


def test_no_sentence_has_two_colons() -> None:
    """A second colon in one sentence loses the listener."""
    assert [one for text in texts() for one in sentences(text) if one.count(":") > 1] == []


def test_brackets_have_their_partners() -> None:
    """Round brackets open and close in turn; no others are read out."""
    assert [text for text in texts() if text.count("(") != text.count(")") or set(text) & set("[]{}|")] == []


def test_nothing_unknown_is_told_as_a_figure() -> None:
    """No text says `unknown` where a figure should stand: it says what is not known, or leaves it out."""
    assert [text for text in texts() if "unknown" in text] == []


def test_labels_stand_in_a_sentence() -> None:
    """A label is what follows `the`, or `whether ...` of a yes or no, and begins small but for abbreviations."""
    facts = answerer().rulebook.vocabulary.facts.values()
    assert [f.name for f in facts if (f.kind == "yes_no") != f.label.startswith("whether ")] == []
    noun = re.compile(r"(?:[a-z][a-z'-]*|GVWR|GCWR|[DS] value)(?: .*)?")
    assert [f.name for f in facts if not noun.fullmatch(f.label) or f.label.startswith(("the ", "a "))] == []


def test_a_caution_is_told_once() -> None:
    """What is to be kept in mind stands once, and not in the reasons as well."""
    for one in answers():
        assert len(set(one.cautions)) == len(one.cautions)
        assert not any(caution in finding.reason for caution in one.cautions for finding in one.findings)


def test_a_step_reads_the_same_on_the_page_and_printed() -> None:
    """Each reading that the page tells of a step is printed by the command in the same words."""
    readings = 0
    for one in (one for one in answers() if one.next and not one.candidates):
        with redirect_stdout(StringIO()) as printed:
            show_answer(out(), one, answerer(), everything=True)
        text = " ".join(printed.getvalue().split())
        for step in see(answerer(), one, {}, "us", {}).steps:
            readings += len(step.readings)
            # The command tells several in one sentence.
            assert [reading for reading in step.readings if reading[1:-1] not in text] == []
    assert readings > COUNT
