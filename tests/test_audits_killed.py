"""Taking in, comparing and handing over, ended at each of their steps and begun again: the same bytes.

The audit itself is ended at random moments in `test_audits_resume`.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from audit_world import PARTS, accessories, files, write_csv
from driven import ENDED, driven, stepped

_DRIVER = stepped(
    """
from fitsvc.audits import run as audit_run
from fitsvc.cli import audit, intake, main
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

rulebook = load_rulebook(data_dir("rules"))
audit.load_rules = intake.load_rules = lambda given: rulebook
audit_run.shares = lambda memory: audit_run.Shares(10, 30, 1 << 20)
""",
    'sys.addaudithook(lambda event, _: step() if event == "os.rename" else None)',
)
"""Each file that a command would put in its place is a step."""


class Driver:
    """Carries out commands, each ended at a step or left to end by itself."""

    def __init__(self) -> None:
        self._process = driven(_DRIVER)

    def close(self) -> None:
        """End it."""
        self._process.communicate()

    def run(self, command: list[str], last: int = -1) -> tuple[int, int]:
        """With what a command ended, and how many files it put in their places; -1 where it was ended."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps([last, command]) + "\n")
        self._process.stdin.flush()
        code, done = json.loads(self._process.stdout.readline())
        return code, done


@pytest.fixture(scope="module")
def driver() -> Iterator[Driver]:
    """A process that carries out commands."""
    one = Driver()
    yield one
    one.close()


def _steps(count: int, most: int) -> list[int]:
    """So many of some steps at most: the first, the last and those between."""
    return sorted({round(place * (count - 1) / (most - 1)) for place in range(most)})


def _holds(driver: Driver, command: list[str], out: Path, before: Path | None, most: int) -> int:
    """Hold a command that writes to `out`, ended at its steps, to itself; returns at how many steps it was ended."""

    def fresh() -> None:
        if before is not None:
            copytree(before, out)

    fresh()
    code, count = driver.run(command)
    assert code == 0
    whole = files(out)
    out.rename(out.with_name(f"{out.name}-whole"))
    steps = _steps(count, most)
    for step in steps:
        fresh()
        assert driver.run(command, step) == (ENDED, -1)
        assert driver.run(command)[0] == 0
        assert files(out) == whole, f"ended at step {step} of {count}"
        out.rename(out.with_name(f"{out.name}-{step}"))
    return len(steps)


@pytest.fixture(scope="module")
def catalogues(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two deliveries of a small catalogue: rows gone, new and changed, and a bad cell in each."""
    folder, rows = tmp_path_factory.mktemp("killed"), accessories()
    some: list[dict[str, Any]] = [{**row, "fits": "rig_farm_muckle"} for row in rows[:40]]
    some[3]["weight [lb]"] = "heavy"
    write_csv(folder / "first.csv", some)
    later = [dict(row) for row in some[4:]] + [{**some[0], "sku": "NEW-1"}]
    later[0]["shank"] = "3 in"
    write_csv(folder / "second.csv", later)
    return folder


def test_taking_in_ended_at_each_step(driver: Driver, tmp_path: Path) -> None:
    """Whether the mapping is drafted, or kept already: mapping, what it is held to, catalogue and remarks."""
    (tmp_path / "list.csv").write_text(
        "Artikelnr.;Produktart;Gewicht [kg]\nTH-1;Kugelträger;4,3\nTH-2;Trittklotz;5,1\n", encoding="utf-8"
    )

    def command(out: Path) -> list[str]:
        of = ["--supplier", "thorn", "--into", str(out), "-o", str(out / "clean")]
        return ["intake", str(tmp_path / "list.csv"), *of]

    drafted, kept = tmp_path / "drafted", tmp_path / "kept"
    assert _holds(driver, command(drafted), drafted, None, 20) == 5
    assert _holds(driver, command(kept), kept, tmp_path / "drafted-whole", 20) == 3


def test_a_comparison_ended_at_its_steps(driver: Driver, catalogues: Path, tmp_path: Path) -> None:
    """An audit against an earlier one, from its first part to the changes and the summary."""
    named = [word for path in PARTS for word in ("--rigs", str(path))]
    first = ["audit", str(catalogues / "first.csv"), *named, "-o", str(tmp_path / "first")]
    assert driver.run(first)[0] == 0
    out = tmp_path / "second"
    command = ["audit", str(catalogues / "second.csv"), *named, "--against", str(tmp_path / "first"), "-o", str(out)]
    assert _holds(driver, command, out, None, 8) == 8
    changes = (tmp_path / "second-whole" / "changes.csv").read_text("utf-8")
    assert ",lost," in changes or ",new," in changes or len(changes.splitlines()) > 1


def test_what_goes_to_the_shop_ended_at_each_step(driver: Driver, catalogues: Path, tmp_path: Path) -> None:
    """The fits of an audit and how they differ from the last night's."""
    named = [word for path in PARTS for word in ("--rigs", str(path))]
    for name in ("first", "second"):
        assert driver.run(["audit", str(catalogues / f"{name}.csv"), *named, "-o", str(tmp_path / name)])[0] == 0
    out = tmp_path / "shop"
    command = ["fits", str(tmp_path / "second"), "-o", str(out), "--against", str(tmp_path / "first")]
    assert _holds(driver, command, out, None, 10) >= 3
