"""`fitsvc audit`: what it prints, where its rigs come from, and how it ends."""

import csv
import errno
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from audit_world import PARTS, accessories, found, pairs, rigs, summary, write_csv
from demo_world import SEED, answerer, world

from fitsvc.cli import main

_RIGS = [argument for path in (SEED / "rigs.yaml", *PARTS) for argument in ("--rigs", str(path))]


@pytest.fixture
def catalogue(tmp_path: Path) -> Path:
    """Give a small catalogue without faults."""
    return write_csv(tmp_path / "items.csv", accessories()[:30])


def test_a_clean_audit(catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An audit without faults tells its figures and ends with 0, strict or not; progress goes to standard error."""
    assert main(["audit", str(catalogue), *_RIGS, "-o", str(tmp_path / "out"), "--strict"]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("30 items with 6 rigs: 180 pairs.\n")
    assert "No faults" in told.out
    assert "judging pairs: 180 of 180" in told.err
    outcomes = {name: int(count.replace(",", "")) for count, name in re.findall(r"([\d,]+) (works|fails)", told.out)}
    assert outcomes == {name: summary(tmp_path / "out")["outcomes"][name] for name in outcomes}


def test_faults_end_with_1_when_strict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bad row and a claim that fails are faults: told, and with `--strict` the exit code is 1."""
    rows = accessories()[:30]
    rows[3]["shank"], rows[7]["fits"] = "50 mm", "rig_farm_muckle"
    rows[7]["shank"] = "3 in"
    path = write_csv(tmp_path / "items.csv", [{**row, "wieght": "3 lb"} for row in rows])
    command = ["audit", str(path), *_RIGS, "-o", str(tmp_path / "out")]
    assert main(command) == 0
    assert main([*command, "--strict"]) == 1
    told = capsys.readouterr().out
    assert "Faults: 1 bad cell, 1 contradicted claim" in told
    assert "Columns not read: wieght" in told
    assert {row["rig"] for row in found(tmp_path / "out", "claims")} == {"rig_farm_muckle"}


def test_what_changed_is_told(catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Against an earlier audit the figures of `changes` are told, or that nothing changed; so is what fits nothing."""

    def told(number: int) -> str:
        command = ["audit", str(catalogue), *_RIGS, "-o", str(tmp_path / f"out{number}")]
        assert main([*command, "--against", str(tmp_path / f"out{number - 1}")] if number else command) == 0
        return " ".join(capsys.readouterr().out.split())

    assert "Since" not in told(0)
    assert "Since the earlier audit: the same fits" in told(1)
    rows = accessories()[:29]
    fits = next(place for place, row in enumerate(rows) if row["shank"] == "2 in")
    rows[fits]["shank"] = "3 in"
    write_csv(catalogue, rows)
    words, found_now = told(2), summary(tmp_path / "out2")
    lost = found_now["changes"]["lost"]["item"]
    assert lost > 0
    assert f"Since the earlier audit: {lost} lost fits by item" in words
    assert ", 1 gone items" in words
    page = " ".join((tmp_path / "out2" / "summary.html").read_text("utf-8").split())
    assert f"{found_now['fits_nothing']} items are not known to fit any of the vehicles" in page
    assert f"{found_now['fits_nothing']} items are not known to fit any of the rigs" in words


def test_bad_input_ends_with_2(catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No rigs, rigs that are none, a catalogue that is not there, too little memory: told, and 2."""
    out = ["-o", str(tmp_path / "out")]
    assert main(["audit", str(catalogue), *out]) == 2
    assert "there are no rigs" in capsys.readouterr().err
    assert main(["audit", str(catalogue), "--rigs", str(SEED / "accessories.csv"), *out]) == 2
    assert "there are no rigs" in capsys.readouterr().err
    assert main(["audit", str(catalogue), "--rigs", str(SEED / "rigs.yaml"), *out]) == 2
    assert "rig `rig_farm_muckle`: no vehicle is stored under `veh_muckle_2023_short`" in capsys.readouterr().err
    assert main(["audit", str(tmp_path / "none.csv"), *_RIGS, *out]) == 2
    assert "none.csv: error: does not exist" in capsys.readouterr().err
    assert main(["audit", str(catalogue), *_RIGS, *out, "--memory", "100"]) == 2
    assert "give at least 512" in capsys.readouterr().err
    assert main(["audit", str(catalogue), *_RIGS, *out, "--format", "csv", "--against", str(tmp_path)]) == 2
    assert "as Parquet" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_full_disk_is_told_with_what_to_do(
    catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk without room says neither its name nor what to do: the command does."""

    def full(stream: object, **arrays: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(np, "savez", full)
    assert main(["audit", str(catalogue), *_RIGS, "-o", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert f"{tmp_path / 'out'}: error: no space left on device" in told
    assert "make room there, then give the same command again" in told


def test_rigs_of_a_store(catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The saved rigs of a database are judged as those of files; without any, its mountings are."""
    url = f"sqlite:///{tmp_path / 'demo.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert main(["load", *map(str, PARTS), "--database", url]) == 0
    assert main(["audit", str(catalogue), "-o", str(tmp_path / "mounted"), "--database", url]) == 0
    mounted = [rig.key for rig in rigs() if rig.key.startswith("mnt_")]
    assert sorted(row["rig"] for row in found(tmp_path / "mounted", "rigs")) == sorted(mounted)
    assert main(["load", str(SEED / "rigs.yaml"), "--database", url]) == 0
    assert main(["audit", str(catalogue), "-o", str(tmp_path / "stored"), "--database", url]) == 0
    assert main(["audit", str(catalogue), *_RIGS, "-o", str(tmp_path / "files")]) == 0
    stored, of_files = (sorted(map(str, found(tmp_path / name, "rigs"))) for name in ("stored", "files"))
    assert stored == of_files


def test_what_every_rig_carries(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A load is asked of every pair, as it is of one question; a fact of the rigs themselves is refused."""
    rows = [row for row in accessories() if row["kind"] == "bike_carrier"]
    command = ["audit", str(write_csv(tmp_path / "items.csv", rows)), *_RIGS, "-o", str(tmp_path / "out")]
    assert main([*command, "--fact", "mounting.height=17 in"]) == 2
    assert main([*command, "--fact", "load.bikes=2 lb"]) == 2
    assert capsys.readouterr().err.count("load/facts/bikes") == 1
    assert main([*command, "--fact", "load.bikes=2", "--fact", "load.bike_weight=65 lb"]) == 0
    for row in pairs(tmp_path / "out"):
        question = {
            "rig": {"id": row["rig"]},
            "accessory": {"sku": row["sku"]},
            "load": {"facts": {"bikes": 2, "bike_weight": "65 lb"}},
        }
        assert answerer().answer(question, world()).outcome == row["outcome"]


def test_what_cannot_be_done_is_told_before_anything_is_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Too little memory comes before a rig that is not there; an address is told to be one."""
    assert main(["audit", "none.csv", "--rigs", "none.yaml", "-o", str(tmp_path / "out"), "--memory", "256"]) == 2
    assert "256 MB of memory are too few" in capsys.readouterr().err
    assert main(["audit", "s3://bucket/items.csv", *_RIGS, "-o", str(tmp_path / "out")]) == 2
    assert "is an address (`s3://`) and no file" in capsys.readouterr().err


def test_progress_ends_with_all_of_it(catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The last line without a terminal tells that all was done."""
    assert main(["audit", str(catalogue), *_RIGS, "-o", str(tmp_path / "out")]) == 0
    assert capsys.readouterr().err.splitlines()[-1] == "writing the findings: 1 of 1"


def test_a_file_in_kilograms_is_told_beside_the_stored_goods(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Weights in kilograms under a title that says pounds: the whole column, once; in pounds nothing of the kind."""
    url = f"sqlite:///{tmp_path / 'rigs.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert main(["load", *map(str, PARTS), "--database", url]) == 0
    rows = accessories()
    for name in ("right", "wrong"):
        write_csv(tmp_path / f"{name}.csv", rows)
        assert main(["audit", str(tmp_path / f"{name}.csv"), "-o", str(tmp_path / name), "--database", url]) == 0
        whole = [row for row in found(tmp_path / name, "suspicious") if not row["sku"]]
        rows = [{**row, "weight [lb]": _in_kilograms(row["weight [lb]"])} for row in rows]
        assert (summary(tmp_path / name)["suspicious_columns"] == {}) == (name == "right") == (not whole)
    (told,) = whole
    assert (told["column"], told["guess"]) == ("weight [lb]", "the whole column: kilograms written as pounds")
    assert summary(tmp_path / "wrong")["faults"]["suspicious_columns"] == 1
    assert found(tmp_path / "wrong", "fix_list")[0]["column"] == "weight [lb]"
    assert "weight looks wrong in the whole column" in " ".join(capsys.readouterr().out.split())


def _in_kilograms(cell: str) -> str:
    return f"{float(cell.split(maxsplit=1)[0]) * 0.45359237:.1f}" if cell else ""


def test_other_subjects_are_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Balls are told with what they come to on the mounts, adapters with what they do in the openings."""
    assert main(["audit", str(SEED / "accessories.csv"), *_RIGS, "-o", str(tmp_path / "out")]) == 0
    with (SEED / "accessories.csv").open(encoding="utf-8", newline="") as stream:
        of = Counter(row["subject"] for row in csv.DictReader(stream) if row["subject"] != "accessory")
    told = summary(tmp_path / "out")
    assert told["rows"]["other_subjects"] == {}
    assert told["balls"]["items"] == of["ball"]
    assert told["others"]["adapter"]["items"] == of["adapter"]
    assert told["others"]["adapter"]["pairs"] == of["adapter"] * told["rigs"]
    words = " ".join(capsys.readouterr().out.split())
    assert f"{of['ball']} balls with the catalogue's mounts:" in words
    assert f"{of['adapter']} adapters with them:" in words
    page = (tmp_path / "out" / "summary.html").read_text("utf-8")
    assert f"{of['ball']} balls were judged" in page
    assert "not audited" not in page


def test_records_that_were_not_given_are_told_once(
    catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rigs without the files of their vehicles and receivers: one problem, with how many and what to do."""
    assert main(["audit", str(catalogue), "--rigs", str(SEED / "rigs.yaml"), "-o", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert told.count("error:") == 1
    assert "and 19 more records that the rigs name are missing" in told
    assert "each by a `--rigs FILE`" in told


def test_all_that_is_wrong_with_rigs_is_told_at_once(
    catalogue: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is wrong with a file's rows keeps nobody from being told what is wrong with its rigs."""
    lines = (
        "{id: rig_x, name: X, rig: {receiver: {facts: {opening: 2 in}}}}",
        "{id: rig_x, name: again, rig: {receiver: {facts: {opening: 2 in}}}}",
        "{id: rig_y, rig: {receiver: {facts: {openning: 2 in}}}}",
        "{id: rig_z, name: Z, rig: {vehicle: {id: veh_none}}}",
    )
    (tmp_path / "rigs.yaml").write_text("rigs:\n" + "".join(f"  - {line}\n" for line in lines))
    assert main(["audit", str(catalogue), "--rigs", str(tmp_path / "rigs.yaml"), "-o", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert told.count("error:") == 4
    assert all(one in told for one in ("stands here again", "`name` is missing", "`openning`", "`veh_none`"))


def test_the_shell_counts_claims_as_the_page_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The false claims of each kind add up to the contradicted ones that are told as faults."""
    (tmp_path / "a.csv").write_text(
        "sku,subject,kind,shank,ball_hole,shank_diameter,fits\nM,accessory,ball_mount,2-1/2 in,1 in,,rig_farm_muckle\n"
        "B,ball,,,,1-1/4 in,M\nA,adapter,reducer_sleeve,3 in,,,rig_farm_muckle\n"
    )
    assert main(["audit", str(tmp_path / "a.csv"), *_RIGS, "-o", str(tmp_path / "out")]) in (0, 1)
    told = " ".join(capsys.readouterr().out.split())
    counts = [int(one) for one in re.findall(r"(\d+) (?:is|are) false", told)]
    assert len(counts) == 2
    assert sum(counts) == summary(tmp_path / "out")["faults"]["contradicted_claims"] >= 2
