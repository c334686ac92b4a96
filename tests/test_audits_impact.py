"""What a change of rules does to whole answers: more yes apart from fewer, by rule and kind, and who signs for more."""

import json
from pathlib import Path

import pytest
from changed_rules import changed
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.context import service_in
from fitsvc.store.rigs import count_rigs

OWN = data_dir("rules")
SHANK = "    requires: accessory.shank == opening.size\n    severity: blocking\n"
LOOSER = SHANK.replace("==", "<=")


def _question(kind: str, shank: str) -> str:
    facts = {"kind": kind, "shank": shank}
    return json.dumps({"rig": {"receiver": {"facts": {"opening": "2 in"}}}, "accessory": {"facts": facts}})


@pytest.fixture
def questions(tmp_path: Path) -> Path:
    """Give a log of three questions: one of a shank that is too small, one that fits, one that cannot be read."""
    log = tmp_path / "asked.jsonl"
    log.write_text(
        "\n".join([_question("step", "1-1/4 in"), "", _question("step", "2 in"), _question("stepp", "2 in")])
    )
    return log


def test_a_looser_rule_says_yes_to_more_and_wants_a_name(
    tmp_path: Path, questions: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Answers that are better are told by rule and kind, with the question; without a signature that is a fault."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    compare = ["rules", "compare", str(OWN), str(rules), "--on", str(questions)]
    assert main(compare) == 1
    told = capsys.readouterr().out
    assert "More say yes\n  + shank-fits-opening, step: 1 from fails to " in told
    assert f"{questions}:1\n" in told and "Fewer say yes" not in told
    assert "2 asked: 1 have another outcome" in told and f"  {questions}:4: `stepp` is not a choice" in told
    assert "1 rule says yes to more, and nobody has signed for that" in told
    since = load_rulebook(OWN).digest.removeprefix("sha256:")[:12]
    entry = f"{{since: {since}, rules: [shank-fits-opening], by: M. Keeper, because: tried on the bench}}"
    (rules / "signed.yaml").write_text(f"signed:\n  - {entry}\n")
    digest = load_rulebook(rules).digest
    assert main(compare) == 0
    assert load_rulebook(rules).signed[0].by == "M. Keeper"
    (rules / "signed.yaml").write_text(f"signed:\n  - {entry.replace(since, '0' * 12)}\n")
    assert main(compare) == 1  # signed for a change of another rulebook
    assert load_rulebook(rules).digest == digest


def test_a_tighter_rule_wants_none(tmp_path: Path, questions: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The other way round the same answers are worse, and nobody has to sign."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    assert main(["rules", "compare", str(rules), str(OWN), "--on", str(questions)]) == 0
    told = capsys.readouterr().out
    assert "Fewer say yes\n  - shank-fits-opening, step: 1 from " in told and "More say yes" not in told


def test_a_rule_that_is_gone_is_told_on_the_shop_s_own_store(
    tmp_path: Path, pages: TestClient[Litestar], capsys: pytest.CaptureFixture[str]
) -> None:
    """Every saved rig with every accessory: what the rule refused is told, and the examples that went with it."""
    text = (OWN / "coupling.yaml").read_text()
    gone = text[text.index("  - id: shank-fits-opening") : text.index("  - id: pin-fits-hole")]
    rules = changed(tmp_path, "coupling.yaml", gone, "")
    assert main(["rules", "compare", str(OWN), str(rules), "--on", service_in(pages.app).database.url]) == 1
    told = capsys.readouterr().out
    assert "; 9 examples are gone with what they stood beside" in told
    assert "+ shank-fits-opening, ball_mount: " in told and " --accessory " in told and "Fewer say yes" not in told
    assert "any kind" not in told
    service = service_in(pages.app)
    with service.database.session() as session:
        asked = count_rigs(session) * service.selections.index.held().items
    assert f"\n{asked} asked: " in told
