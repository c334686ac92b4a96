"""Single changes to rules: which are made, that examples are asked of them, and the example that would notice one."""

from pathlib import Path

import pytest
from effort import NIGHTLY
from test_rulebook_loader import FILES, write

from fitsvc.cli import main
from fitsvc.engine.mutating import Mutating
from fitsvc.engine.noticing import Noticing
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import digest_of
from fitsvc.rulebook.mutants import texts

OWN = data_dir("rules")
HELD = """[
      {accessory.kind: step, accessory.shank: 2 in, receiver.opening: 2 in, gives: passes},
      {accessory.kind: step, accessory.shank: 2 in, receiver.opening: 1-1/4 in, gives: fails, so: blocks},
      {accessory.kind: step, accessory.shank: 2 in, gives: undetermined, so: open},
      {accessory.kind: ball_mount, accessory.shank: 2 in, receiver.opening: 1-1/4 in, gives: not_applicable}]"""
SMALL = FILES["coupling.yaml"].replace(
    "[{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]", HELD
)
SILENT = HELD.splitlines()[-1]
OF_THE_RULE = {
    "applies_when: not (accessory.kind == step)",
    "applies_when: accessory.kind == step -> accessory.kind != step",
    "applies_when: step -> ball_mount",
    "applies_when left out",
    "requires: not (accessory.shank == opening.size)",
    "requires: accessory.shank == opening.size -> accessory.shank != opening.size",
    "severity: caution",
    "if_unknown: caution",
}


@pytest.mark.parametrize(
    ("text", "changed"),
    [
        ("a.x <= 5 lb", {"a.x < 5 lb", "a.x >= 5 lb", "a.x <= 6 lb", "a.x <= 4 lb", "a.x <= 5 kg"}),
        ("a.x > 1 in", {"a.x >= 1 in", "a.x < 1 in", "a.x > 1.0625 in", "a.x > 0.9375 in", "a.x > 1 ft"}),
        ("a.x + a.y", {"a.x - a.y"}),
        ("a.x * a.y", {"a.x / a.y"}),
        ("min(a.x, a.y)", {"max(a.x, a.y)"}),
        ("a.k == step", {"a.k != step", "a.k == ball_mount"}),
        (
            "a.k in [step, ball_mount]",
            {
                "a.k not in [step, ball_mount]",
                "a.k in [step]",
                "a.k in [ball_mount]",
                "a.k in [ball_mount, ball_mount]",
                "a.k in [step, step]",
            },
        ),
        ("a.b and not a.c", {"a.b or (not a.c)", "a.b", "not a.c", "a.b and a.c"}),
        ("present(a.x) or a.b", {"present(a.x) and a.b", "a.b", "present(a.x)", "(not present(a.x)) or a.b"}),
        (
            "present(a) and present(a.x)",
            {
                "present(a) or present(a.x)",
                "present(a)",
                "(not present(a)) and present(a.x)",
                "present(a) and (not present(a.x))",
            },
        ),
        ("yes if a.b else a.c", {"yes if (not a.b) else a.c", "yes", "a.c", "no if a.b else a.c"}),
        ("a.x <= 50 %", {"a.x < 50 %", "a.x >= 50 %", "a.x <= 51 %", "a.x <= 49 %"}),
    ],
)
def test_each_part_of_an_expression_is_changed(tmp_path: Path, text: str, changed: set[str]) -> None:
    """Operators, figures by a step of display, units, members, what is asked together, and the whole turned round."""
    vocabulary = load_rulebook(write(tmp_path, {})).vocabulary
    assert {whole for _, whole in texts(text, vocabulary)} == {f"not ({_printed(text)})", *changed}


def _printed(text: str) -> str:
    return text.replace("and not a.c", "and (not a.c)")


def test_the_changes_of_a_rule_are_all_noticed_by_examples_that_hold_it(tmp_path: Path) -> None:
    """What a rule says is changed singly, its severity and what it makes of not knowing too, and each is noticed."""
    mutating = Mutating(write(tmp_path, {"coupling.yaml": SMALL}))
    mutants = list(mutating.mutants(names=["shank-fits"]))
    assert {mutant.told for mutant in mutants} == OF_THE_RULE
    assert [mutant.told for mutant in mutants if not mutating.noticed(mutant)] == []


def test_an_example_is_found_that_notices_what_survives(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the example that keeps it silent a rule's guard is not held; the one that is printed holds it.

    Where an example is broken as it stands, nothing is asked of any: it would notice everything.
    """
    weak = SMALL.replace(",\n" + SILENT, "]")
    rules = write(tmp_path, {"coupling.yaml": weak})
    assert main(["rules", "mutate", "shank-fits", "--rules", str(rules)]) == 1
    told = capsys.readouterr().out
    assert "applies_when left out\n" in told
    (found,) = {line.strip().removeprefix("- ") for line in told.splitlines() if line.strip().startswith("- {")}
    assert "gives: not_applicable" in found
    write(tmp_path, {"coupling.yaml": weak.replace("so: open}]", f"so: open}},\n      {found}]", 1)})
    assert main(["rules", "mutate", "shank-fits", "--rules", str(rules)]) == 0
    assert capsys.readouterr().out.endswith(": 100.0 %\n")
    write(tmp_path, {"coupling.yaml": SMALL.replace("1-1/4 in, gives: fails", "2 in, gives: fails")})
    assert main(["rules", "mutate", "shank-fits", "--rules", str(rules)]) == 1
    assert "gives passes here, the example says fails" in capsys.readouterr().out


def test_a_reason_stands_for_what_nothing_can_notice_and_for_nothing_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`same` argues a change that comes to the same; of one that is noticed it is a fault. It changes no digest."""
    weak = SMALL.replace(",\n" + SILENT, "]")
    folder = write(tmp_path, {"coupling.yaml": weak})
    before = digest_of(folder)
    same = '    same: {"applies_when left out": a reason, "severity: caution": no reason}\n'
    write(tmp_path, {"coupling.yaml": weak.replace("    severity: blocking\n", "    severity: blocking\n" + same)})
    assert digest_of(folder) == before
    assert main(["rules", "mutate", "shank-fits", "--rules", str(folder), "--no-search"]) == 1
    told = capsys.readouterr().out
    assert "shank-fits\n    severity: caution\n    `same` says that nothing can notice this" in told
    assert "1 argued, 1 left" in told


def test_a_table_a_value_and_a_caution_are_changed_too(tmp_path: Path) -> None:
    """Cells of tables, derived values by examples of their own, and the guards of cautions."""
    _, weights = SMALL.split("  - id: not-too-heavy")
    step = "{accessory.kind: step, accessory.weight: 5 lb, receiver.tongue_rating: 50 lb, gives: passes}"
    heavy = step.replace("5 lb, rec", "90 lb, rec").replace("passes", "fails, so: caution")
    held = f"[{step}, {heavy}, {{accessory.kind: step, gives: undetermined, so: caution}}]"
    reads = weights[: weights.index("[{gives")].replace("<=", "+ lookup(heavy, accessory.kind) <=") + held + "\n"
    book = SMALL.replace(weights, reads)
    book = book.replace("10 lb}", "10 lb, examples: [{accessory.weight: 5 lb, is: 15 lb}]}")
    told = "{id: d, text: Mind., applies_when: present(accessory), source: {kind: common_practice}, examples: EX}\n"
    told = told.replace("EX", "[{accessory.kind: step, gives: told}, {gives: not_told}]")
    mutating = Mutating(
        write(tmp_path, {"coupling.yaml": book, "rulebook.yaml": f"{FILES['rulebook.yaml']}  - {told}"})
    )
    found = {(mutant.name, mutant.told): mutating.noticed(mutant) for mutant in mutating.mutants()}
    assert found["heavy", "step: 10 lb -> 11 lb"] is False
    assert found["carried.weight", "is: 10 lb -> 11 lb"] is True
    assert found["d", "applies_when left out"] is True
    mutant = next(one for one in mutating.mutants(names=["heavy"]) if one.told == "step: 10 lb -> 11 lb")
    example = Noticing(mutating).example(mutant)
    assert example is not None and example[0] == "not-too-heavy"


def test_every_change_of_the_shipped_rules_is_noticed_or_argued(capsys: pytest.CaptureFixture[str]) -> None:
    """No single slip in the shipped rules goes unseen, but for those that come to the same; by day in two files."""
    assert main(["rules", "mutate", *(() if NIGHTLY else ("bed.yaml", "fitting.yaml"))]) == 0, capsys.readouterr().out
