"""Faults planted in a rulebook of a few rules, each of which `rules prove` names by a question or proves."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from fitsvc.proving.book import claims_of
from fitsvc.proving.claims import WHATS, Prover, Ruling, What
from fitsvc.proving.equal import TwoBooks
from fitsvc.proving.solver import GaveUpError, Solver
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook

_TEXTS = "label: l, meaning: m, how_to_measure: h, effort: tape"
_EXAMPLES = "[{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]"
_CAUTIONS = _EXAMPLES.replace("blocks", "caution").replace("open", "caution")
FILES = {
    "rulebook.yaml": "name: few\n",
    "vocabulary/lists.yaml": """
lists:
  kinds:
    roles: {holds: {label: whether it holds a load, meaning: m}, steps: {label: whether it is stood on, meaning: m}}
    members: {rack: {word: rack, is: [holds]}, step: {word: step, is: [steps]}}
  bore: {dimension: length, members: [2 in, 3 in]}
""",
    "vocabulary/receiver.yaml": f"""
subject: receiver
title: t
presence: always
facts:
  opening: {{type: bore, {_TEXTS}}}
  rating: {{type: mass, range: [0 lb, 2000 lb], {_TEXTS}}}
""",
    "vocabulary/accessory.yaml": f"""
subject: accessory
title: t
presence: asked
facts:
  kind: {{type: kinds, {_TEXTS}}}
  shank: {{type: bore, {_TEXTS}}}
  weight: {{type: mass, range: [0 lb, 500 lb], {_TEXTS}}}
  length: {{type: length, range: [0 in, 90 in], {_TEXTS}}}
""",
    "vocabulary/load.yaml": f"""
subject: load
title: t
presence: asked
facts:
  goods: {{type: mass, range: [0 lb, 1000 lb], presence: asked, {_TEXTS}}}
""",
    "hazards.yaml": """
weights: [accessory.weight, load.goods]
hazards:
  receiver.rating:
    - exceeded_when: accessory.weight + load.goods > receiver.rating
""",
}


def rule(id: str, requires: str, when: str = "", severity: str = "blocking") -> str:
    """A rule as it stands in a file."""
    guard = f"applies_when: '{when}', " if when else ""
    examples = (
        _EXAMPLES if severity == "blocking" else _EXAMPLES.replace("blocks", "caution").replace("open", "caution")
    )
    told = "title: t, fails_because: no, source: {kind: common_practice}"
    return f"  - {{id: {id}, {guard}requires: '{requires}', severity: {severity}, {told}, examples: {examples}}}\n"


SHANK = rule("shank-fits", "accessory.shank == receiver.opening")
EMPTY = rule("empty-borne", "accessory.weight <= receiver.rating", "not (present(load) and present(load.goods))")
LADEN = rule("laden-borne", "accessory.weight + load.goods <= receiver.rating")
SHORT = rule("short-enough", "accessory.length <= 60 in")


def rulebook(folder: Path, *rules: str) -> Rulebook:
    """The few rules, with these in place of its own."""
    for name, text in {**FILES, "few.yaml": f"topic: few\nabout: a\nrules:\n{''.join(rules)}"}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return load_rulebook(folder)


def faults(book: Rulebook) -> dict[tuple[What, str], Ruling]:
    """What is found at fault, by the kind of claim and what it is of."""
    prover = Prover(book)
    rulings = [prover.decide(claim) for claim in claims_of(prover, None, [*WHATS])]
    assert [ruling.reason for ruling in rulings if ruling.state == "undecided"] == []
    return {(ruling.claim.what, ruling.claim.about): ruling for ruling in rulings if ruling.fault}


def test_sound_rules_have_no_fault(tmp_path: Path) -> None:
    """Of the few rules as they are everything wanted is proven or has its case."""
    assert faults(rulebook(tmp_path, SHANK, EMPTY, LADEN, SHORT)) == {}


@dataclass(frozen=True)
class Planted:
    """A fault, by the rules with it, and what names it."""

    rules: tuple[str, ...]
    what: What
    about: str


LOOSE = rule("laden-borne", "accessory.weight + load.goods <= receiver.rating + 100 lb")
PLANTED = {
    "a gap between two guards": Planted(
        (SHANK, rule("empty-borne", "accessory.weight <= receiver.rating", "kind.holds"), SHORT),
        "hazards",
        "receiver.rating",
    ),
    "a loosened limit": Planted((SHANK, EMPTY, LOOSE, SHORT), "hazards", "receiver.rating"),
    "a load that is not counted": Planted(
        (SHANK, EMPTY, rule("laden-borne", "load.goods <= receiver.rating"), SHORT), "hazards", "receiver.rating"
    ),
    "a factor too many": Planted(
        (SHANK, EMPTY, rule("laden-borne", "accessory.weight + load.goods <= 2 * receiver.rating")),
        "hazards",
        "receiver.rating",
    ),
    "a guard that a missing fact switches off": Planted(
        (SHANK, rule("empty-borne", "accessory.weight <= receiver.rating", "present(load) and present(load.goods)")),
        "hazards",
        "receiver.rating",
    ),
    "a kind that nothing refuses": Planted(
        (SHANK, rule("laden-borne", "accessory.weight + load.goods <= receiver.rating", "not kind.holds"), SHORT),
        "ratings",
        "receiver.rating",
    ),
    "a caution where a stop belongs": Planted(
        (SHANK, rule("laden-borne", "accessory.weight + load.goods <= receiver.rating", "", "caution")),
        "ratings",
        "receiver.rating",
    ),
    "a dead rule": Planted(
        (SHANK, EMPTY, LADEN, rule("dead", "accessory.length > 9 in", "accessory.weight > accessory.weight + 5 lb")),
        "dead",
        "dead",
    ),
    "what nothing passes": Planted(
        (SHANK, EMPTY, LADEN, rule("stuck", "accessory.length - 1 in > 90 in")), "dead", "stuck"
    ),
    "what nothing fails": Planted((SHANK, EMPTY, LADEN, rule("idle", "accessory.length <= 90 in")), "idle", "idle"),
    "a wrong unit": Planted((SHANK, EMPTY, LADEN, rule("idle", "accessory.length + 0 in <= 60 ft")), "idle", "idle"),
    "a rule said twice": Planted(
        (SHANK, EMPTY, LADEN, SHORT, rule("twice", "accessory.length <= 65 in")), "implied", "twice"
    ),
    "a contradiction": Planted(
        (SHANK, EMPTY, LADEN, SHORT, rule("long-enough", "accessory.length >= 61 in", "kind.holds")),
        "pairs",
        "short-enough",
    ),
    "a comparison turned round": Planted(
        (SHANK, LADEN, rule("heavy-enough", "accessory.weight >= 50 lb"), EMPTY), "worse", "accessory.weight"
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_a_planted_fault_is_named(tmp_path: Path, name: str) -> None:
    """Each is named by the kind of claim that is made for it; what is refuted or gets past all has a question."""
    planted = PLANTED[name]
    found = faults(rulebook(tmp_path, *planted.rules))
    assert (planted.what, planted.about) in found, found
    ruling = found[planted.what, planted.about]
    assert (ruling.document is None) == (ruling.state == "proven" and planted.what != "ratings")


HEAVY_ENOUGH = rule("heavy-enough", "accessory.weight >= 50 lb")
HEAVY_WHERE_LADEN = rule(
    "heavy-where-laden", "accessory.weight >= 50 lb", "present(load) and present(load.goods) and load.goods > 30 lb"
)


@pytest.mark.parametrize(
    ("own", "helps", "faulty"),
    [
        (HEAVY_ENOUGH, "{fact: accessory.weight, rules: [heavy-enough], because: b}", set()),
        (HEAVY_ENOUGH, "{fact: load.goods, rules: [heavy-enough], because: b}", {"accessory.weight"}),
        (HEAVY_ENOUGH, "{fact: accessory.weight, rules: [shank-fits], because: b}", {"accessory.weight"}),
        (HEAVY_WHERE_LADEN, "{fact: accessory.weight, when: load.goods >= 30 lb, because: b}", set()),
        (HEAVY_WHERE_LADEN, "{fact: accessory.weight, when: load.goods >= 40 lb, because: b}", {"accessory.weight"}),
        (HEAVY_WHERE_LADEN, "{fact: load.goods, when: load.goods >= 30 lb, because: b}", {"accessory.weight"}),
    ],
)
def test_more_helps_by_what_is_named_for_it_alone(tmp_path: Path, own: str, helps: str, faulty: set[str]) -> None:
    """By another rule, of another fact, or beyond the condition it is a fault all the same."""
    rulebook(tmp_path, SHANK, LADEN, EMPTY, own)
    path = tmp_path / "hazards.yaml"
    path.write_text(f"{path.read_text()}helps:\n  - {helps}\n")
    prover = Prover(load_rulebook(tmp_path))
    rulings = [prover.decide(claim) for claim in claims_of(prover, None, ["worse"])]
    assert {ruling.claim.about for ruling in rulings if ruling.state != "proven"} == faulty
    assert all(ruling.fault for ruling in rulings if ruling.claim.about in faulty)


def test_a_rating_is_held_to_by_whatever_refuses_all_that_could_exceed_it(tmp_path: Path) -> None:
    """No rule holds a step to the receiver's rating: a fault, unless nothing may be put on a step at all."""
    held = [
        rule("empty-borne", "accessory.weight <= receiver.rating", "kind.holds and not present(load)"),
        rule("laden-borne", "accessory.weight + load.goods <= receiver.rating", "kind.holds"),
    ]
    lines = """
    - when: kind.holds
      exceeded_when: accessory.weight + load.goods > receiver.rating
    - when: not kind.holds
      exceeded_when: load.goods > receiver.rating
"""

    def found(folder: Path, *rules: str) -> list[Ruling]:
        rulebook(folder, SHANK, *held, *rules)
        top, _, _ = FILES["hazards.yaml"].partition("    - exceeded_when")
        (folder / "hazards.yaml").write_text(top + lines.lstrip("\n"))
        prover = Prover(load_rulebook(folder))
        rulings = [prover.decide(claim) for claim in claims_of(prover, None, ["ratings"])]
        return [ruling for ruling in rulings if ruling.state == "proven"]

    (bare,) = found(tmp_path / "bare")
    assert bare.fault and bare.document is not None and bare.claim.says == "no step is refused for its receiver.rating"
    (empty,) = found(tmp_path / "empty", rule("nothing-on-a-step", "not present(load)", "kind.steps"))
    assert (empty.fault, empty.document, empty.claim.says) == (False, None, bare.claim.says)


def test_a_rule_of_what_another_refuses_is_no_contradiction(tmp_path: Path) -> None:
    """It applies to nothing that passes the other, which has said so; either has to be passed where both apply."""
    masked = rule("light-where-long", "accessory.weight <= 5 lb", "accessory.length > 60 in")
    assert [
        about for what, about in faults(rulebook(tmp_path, SHANK, EMPTY, LADEN, SHORT, masked)) if what == "pairs"
    ] == []


def test_pairs_that_the_solver_gives_up_on_are_not_decided(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine without time it has no answer: the contradiction is claimed all the same, and is no proof."""

    def gives_up(*_: object) -> None:
        raise GaveUpError("no answer in time")

    prover = Prover(rulebook(tmp_path, *PLANTED["a contradiction"].rules))
    monkeypatch.setattr(Solver, "model", gives_up)
    rulings = [prover.decide(claim) for claim in claims_of(prover, None, ["pairs"])]
    assert ("short-enough", "undecided") in {(ruling.claim.about, ruling.state) for ruling in rulings}
    assert {ruling.state for ruling in rulings} <= {"undecided", "refuted"}


def test_what_no_claim_can_know_is_named_by_comparison(tmp_path: Path) -> None:
    """A figure that is right nowhere but in its source, and a rule taken out, are told by the smallest rig."""
    old = rulebook(tmp_path / "old", SHANK, EMPTY, LADEN, SHORT)
    new = rulebook(tmp_path / "new", SHANK, EMPTY, LADEN, rule("short-enough", "accessory.length <= 61 in"))
    books = TwoBooks(old, Prover(new))
    states = {claim.about: books.prover.decide(claim).state for claim in books.claims()}
    assert states == {
        "shank-fits": "proven",
        "empty-borne": "proven",
        "laden-borne": "proven",
        "short-enough": "refuted",
    }
    books = TwoBooks(old, Prover(rulebook(tmp_path / "less", SHANK, EMPTY, SHORT)))
    assert [claim.about for claim in books.claims() if books.prover.decide(claim).fault] == ["laden-borne"]
