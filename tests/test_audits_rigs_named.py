"""A rig whose vehicle goes by a name that several stored vehicles have: its answers take each, an audit none."""

import json
from pathlib import Path

import pytest
from audit_world import PARTS
from demo_world import SEED, answerer

from fitsvc.audits.rigs import read_rigs
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound

RIGS = """rigs:
  - {id: rig_in_part, name: in part, rig: {vehicle: {facts: {make: Brannoch, model: Bothy, year: 2021}},
     receiver: {facts: {opening: 2 in, pin_hole: 5/8 in}}}}
  - {id: rig_of_one, name: of one, rig: {vehicle: {id: veh_muckle_2023_short},
     receiver: {facts: {opening: 2 in, pin_hole: 5/8 in}}}}
"""
SEVERAL = "rig `rig_in_part`: 2 stored vehicles go by that name"


def test_a_rig_named_in_part_is_set_aside_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As if nothing of its vehicle were stored it would be asked less than its single answer: nothing is judged."""
    (tmp_path / "rigs.yaml").write_text(RIGS)
    (tmp_path / "items.csv").write_text("sku,kind,shank\nA-1,ball_mount,2 in\n")
    database = f"sqlite:///{tmp_path / 'a.db'}"
    assert main(["db", "upgrade", "--database", database]) == 0
    assert main(["load", str(SEED / "vehicles.yaml"), str(tmp_path / "rigs.yaml"), "--database", database]) == 0
    out = tmp_path / "out"
    assert main(["audit", str(tmp_path / "items.csv"), "--database", database, "-o", str(out)]) == 0
    summary = json.loads((out / "summary.json").read_text())
    (aside,) = summary["rigs_set_aside"]
    assert aside.startswith(f"{SEVERAL}; give the `id` of one: `veh_bothy_")
    assert (summary["rigs"], summary["pairs"]) == (1, 1)
    assert f"set aside: {SEVERAL}" in " ".join(capsys.readouterr().err.split())
    assert SEVERAL.partition(": ")[2] in (out / "summary.html").read_text()


def test_rigs_of_files_are_to_name_one_vehicle(tmp_path: Path) -> None:
    """What is wrong with a file of rigs is said before anything is judged, this too."""
    (tmp_path / "rigs.yaml").write_text(RIGS)
    with pytest.raises(ProblemsFound) as found:
        read_rigs([*PARTS, tmp_path / "rigs.yaml"], answerer().reader)
    (problem,) = found.value.problems
    assert problem.message == SEVERAL and problem.help.startswith("give the `id` of one: `veh_bothy_")
