"""`fitsvc rules prove`: claims about rules, proven or refuted by a question that the engine agrees with."""

import json

import pytest
from effort import NIGHTLY

from fitsvc.answers.answering import Answerer
from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.proving import claims as claims_of
from fitsvc.proving.asking import BUDGET
from fitsvc.proving.claims import Prover
from fitsvc.proving.of_ratings import OfRatings
from fitsvc.rulebook.cache import cached_rulebook


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    """What `rules prove` ends with, and prints."""
    code = main(["rules", "prove", *arguments])
    return code, capsys.readouterr().out


def test_a_rule_applies_passes_fails_and_fails_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a rule that ships each claim is refuted by a question, and the one in which it fails is refused for it."""
    code, text = told(capsys, "shank-fits-opening", "--only", "dead", "--only", "idle", "--only", "implied")
    assert code == 0
    assert "4 claims: 0 proven, 4 refuted by a case, 0 not decided; 0 faults" in text
    questions = [json.loads(line) for line in text.splitlines() if line.lstrip().startswith("{")]
    answers = [Answerer(cached_rulebook(data_dir("rules"))).answer(question) for question in questions]
    failing = [finding.rule for finding in answers[-1].findings if finding.result == "fails"]
    assert failing == ["shank-fits-opening"]


def test_examples_about_what_is_not_asked_show_a_rule_too(capsys: pytest.CaptureFixture[str]) -> None:
    """A load alone is no question: with something to ask about beside it an example shows that the rule passes."""
    code, text = told(capsys, "heaviest-is-one-of-them", "--only", "dead")
    assert code == 0
    assert "2 claims: 0 proven, 2 refuted by a case, 0 not decided; 0 faults" in text


def test_a_rule_is_needless_with_no_adapters_only_if_it_is_with_some(capsys: pytest.CaptureFixture[str]) -> None:
    """Two things in one opening are refused anyhow; in a dual receiver it alone refuses what meets the body."""
    code, text = told(capsys, "trailer-behind-what-hangs-above", "--only", "implied")
    assert code == 0
    assert "1 claims: 0 proven, 1 refuted by a case, 0 not decided; 0 faults" in text
    (question,) = (json.loads(line) for line in text.splitlines() if line.lstrip().startswith("{"))
    found = Answerer(cached_rulebook(data_dir("rules"))).answer(question)
    assert [one.rule for one in found.findings if one.result == "fails" and one.severity == "blocking"] == [
        "trailer-behind-what-hangs-above"
    ]


def test_what_is_not_there_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A rule or a kind of claim that there is none of is refused with what is meant."""
    assert main(["rules", "prove", "shank-fits-openin"]) == 2
    assert "did you mean `shank-fits-opening`?" in capsys.readouterr().err
    assert main(["rules", "prove", "--only", "hazard"]) == 2
    assert "did you mean `hazards`?" in capsys.readouterr().err


def test_no_rating_that_ships_is_exceeded_and_works(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some lines of the hazards by day, all at night: none is refuted, and few are left undecided.

    By day they are too few for one to be left, and so have more time than the command gives a claim.
    """
    if not NIGHTLY:
        monkeypatch.setattr(claims_of, "BUDGET", 5 * BUDGET)
    prover = Prover(cached_rulebook(data_dir("rules")))
    claims = list(OfRatings(prover).hazards())
    rulings = [prover.decide(claim) for claim in claims if NIGHTLY or claim.about == "receiver.trailer_rating"]
    assert rulings
    assert [(ruling.claim.says, ruling.document) for ruling in rulings if ruling.fault] == []
    assert sum(ruling.state == "undecided" for ruling in rulings) <= len(rulings) / 10
