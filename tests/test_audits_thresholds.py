"""What ends a nightly audit as failed, and that one audit at a time is at work in a folder."""

from pathlib import Path

import pytest
from audit_world import audit, audit_of, rigs, summary

from fitsvc.audits.summary import run
from fitsvc.audits.thresholds import crossed, read_threshold
from fitsvc.cli import main
from fitsvc.files import locked
from fitsvc.language.problems import ProblemsFound

_BEFORE = (
    "sku,kind,shank,fits\nA,ball_mount,2-1/2 in,{0}\nB,ball_mount,2 in,{0}\nC,ball_mount,9 in,\nD,step,2 in,\n,step,,\n"
)
_AFTER = _BEFORE.replace("B,ball_mount,2 in,", "B,ball_mount,2-1/2 in,")


@pytest.fixture(scope="module")
def audits(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two deliveries, audited one against the other: in the second one more claim is contradicted."""
    folder, rig = tmp_path_factory.mktemp("deliveries"), next(one for one in rigs() if one.key == "rig_farm_muckle")
    for name, text in (("before", _BEFORE), ("after", _AFTER)):
        (folder / f"{name}.csv").write_text(text.format(rig.key))
        audit(folder / f"{name}.csv", folder / name, [rig], against=folder / "before" if name == "after" else None)
    return folder


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("bad_rows > 0", "1"),
        ("bad_rows > 1", ""),
        ("bad_rows > 19.5%", "1 of 5, 20 %"),
        ("bad_rows>20 %", ""),
        ("bad_cells > 24%", ""),
        ("bad_cells > 19 %", "1 of 5, 20 %"),
        ("contradicted > 1", "2"),
        ("contradicted_claims > 99%", "2 of 2, 100 %"),
        ("new contradicted > 0", "1"),
        ("new contradicted > 1", ""),
        ("new bad_cells > 0", ""),
        ("undecided > 0", ""),
    ],
)
def test_conditions_count_what_they_say(audits: Path, text: str, words: str) -> None:
    """A number or a share, of all there are or of those that are new since the earlier audit."""
    told = crossed(read_threshold(text), summary(audits / "after"), audits / "after", audits / "before")
    assert told == (f"`{text}` is crossed: {words}" if words else "")


@pytest.mark.parametrize("text", ["bad_rows", "bad_rows < 1", "bad_row > 1", "new bad_rows > 0", "> 1"])
def test_what_is_no_condition_is_refused(text: str) -> None:
    """With what may be written."""
    with pytest.raises(ProblemsFound) as told:
        read_threshold(text)
    assert told.value.problems[0].help


def test_a_condition_of_what_is_new_needs_an_earlier_audit(audits: Path) -> None:
    """Else it would hold of whatever was found."""
    with pytest.raises(ProblemsFound, match="needs an earlier audit"):
        crossed(read_threshold("new contradicted > 0"), summary(audits / "before"), audits / "before", None)


def test_the_command_ends_by_its_conditions(audits: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An audit that is done already is held to them, each that is crossed is told, and the code is 1."""
    (audits / "rigs.yaml").write_text(
        "rigs:\n  - {id: r, name: a, rig: {receiver: {facts: {opening: 2 in, pin_hole: 5/8 in}}}}\n"
    )
    command = ["audit", str(audits / "before.csv"), "--rigs", str(audits / "rigs.yaml"), "-o", str(audits / "command")]
    assert main([*command, "--fail-if", "bad_rows > 20%", "--fail-if", "bad_cells > 1"]) == 0
    capsys.readouterr()
    assert main([*command, "--fail-if", "bad_rows > 1%", "--fail-if", "bad_cells > 0"]) == 1
    told = capsys.readouterr().err
    assert "`bad_rows > 1%` is crossed" in told
    assert "`bad_cells > 0` is crossed" in told
    assert main([*command, "--fail-if", "bad_rows > many"]) == 2


def test_one_audit_at_a_time_is_at_work_in_a_folder(tmp_path: Path) -> None:
    """A second one is told to wait, changes nothing, and finds the audit done when the first has ended."""
    (tmp_path / "a.csv").write_text("sku,kind\nA,step\n")
    first = audit_of(tmp_path / "a.csv", tmp_path / "out", rigs()[:1])
    second = audit_of(tmp_path / "a.csv", tmp_path / "out", rigs()[:1])
    with locked(tmp_path / "out" / ".spool" / "audit.lock"), pytest.raises(ProblemsFound) as told:
        run(second)
    assert "another audit is at work in this folder" in told.value.problems[0].message
    found = run(first)
    assert run(second) == found
    assert not (tmp_path / "out" / ".spool").exists()
