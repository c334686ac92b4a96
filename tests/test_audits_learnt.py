"""What is usual of figures, learnt from the audits of other suppliers."""

import json
from pathlib import Path

import pytest
from audit_world import found, summary

from fitsvc.audits.learnt import middle_of, usual_of_audits
from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound

_RIG = "rigs:\n  - {id: rig_a, name: Ours, rig: {receiver: {facts: {opening: 2 in, pin_hole: 5/8 in}}}}\n"
_POUND = 0.45359237


def _audit(folder: Path, name: str, supplier: str, factor: float = 1.0, *more: str) -> Path:
    """Audit a delivery of ten mounts of some 10 lb, its weights as many times what they are."""
    rows = "".join(f"M-{n},ball_mount,2 in,5/8 in,{(9 + n / 5) * factor:.2f}\n" for n in range(10))
    (folder / f"{name}.csv").write_text(f"sku,kind,shank,pin,weight [lb]\n{rows}", encoding="utf-8")
    (folder / "rigs.yaml").write_text(_RIG, encoding="utf-8")
    out = folder / "audits" / name
    command = ["audit", str(folder / f"{name}.csv"), "--rigs", str(folder / "rigs.yaml"), "--supplier", supplier]
    assert main([*command, *more, "-o", str(out)]) == 0
    return out


def test_a_file_in_kilograms_is_told_by_what_others_deliver(tmp_path: Path) -> None:
    """Its title says pounds and no store is there: beside two other suppliers' last deliveries the column looks wrong.

    It teaches nothing in its turn, and neither did the supplier's own earlier file.
    """
    earlier = ("--earlier", str(tmp_path / "audits"))
    _audit(tmp_path, "fell-1", "Fell")
    alone = _audit(tmp_path, "thorn-1", "Thorn", _POUND)
    assert summary(alone)["suspicious_columns"] == {}
    of_others = usual_of_audits(tmp_path / "audits", "Thorn")
    assert [list(usual) for usual in of_others] == [[("ball_mount", "weight")]]
    _audit(tmp_path, "moss-1", "Moss", 1.1)
    again = _audit(tmp_path, "thorn-2", "Thorn", _POUND, *earlier)
    assert summary(again)["suspicious_columns"] == {"weight": "the whole column: kilograms written as pounds"}
    (column,) = found(again, "suspicious")
    assert (column["sku"], column["column"]) == ("", "weight [lb]")
    assert json.loads((again / "usual.json").read_text("utf-8")) == []
    honest = _audit(tmp_path, "thorn-3", "Thorn", 1.0, *earlier)
    assert summary(honest)["suspicious_columns"] == {}


def test_one_supplier_counts_once_by_its_last_delivery(tmp_path: Path) -> None:
    """However often it delivered; the median of suppliers is what is usual, so that one that errs moves nothing."""
    for name, supplier, factor in (("a-1", "A", 9.0), ("a-2", "A", 1.0), ("b-1", "B", 1.0), ("c-1", "C", _POUND)):
        _audit(tmp_path, name, supplier, factor)
    usual = middle_of(usual_of_audits(tmp_path / "audits", "D"))
    right = middle_of(usual_of_audits(tmp_path / "audits", "C"))
    assert usual == right and len(usual) == 1


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Rather than nothing learnt in silence."""
    with pytest.raises(ProblemsFound, match="is no folder"):
        usual_of_audits(tmp_path / "audtis", "Thorn")
    (tmp_path / "a.csv").write_text("sku,kind\nA,step\n", encoding="utf-8")
    (tmp_path / "rigs.yaml").write_text(_RIG, encoding="utf-8")
    command = ["audit", str(tmp_path / "a.csv"), "--rigs", str(tmp_path / "rigs.yaml"), "-o", str(tmp_path / "out")]
    assert main([*command, "--earlier", str(tmp_path / "audtis")]) == 2
    assert "is no folder" in capsys.readouterr().err
