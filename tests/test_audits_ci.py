"""An audit's findings for what watches over builds: JUnit's XML and SARIF 2.1.0."""

import json
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest
from audit_world import found, summary
from demo_world import SEED

from fitsvc.audits.fix_rows import SORTS
from fitsvc.cli.app import main

ROWS = (
    "sku,kind,shank,pin,weight [lb],fits\n"
    "A,ball_mount,2-1/2 in,5/8 in,9.5,rig_farm_muckle\nB,ball_mount,9 in,5/8 in,,rig_far\nB,step,,,,\n"
    "\x0bD,step,2 in,,,\n"
)
_RIGS = [
    *("--rigs", str(SEED / "rigs.yaml")),
    *(
        argument
        for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "accessories.csv")
        for argument in ("--rigs", str(SEED / name))
    ),
]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """The folder of an audit with one condition that is crossed and one that is not; what the command ended with."""
    folder = tmp_path_factory.mktemp("ci")
    (folder / "spring list.csv").write_text(ROWS)
    written = ["--junit", str(folder / "junit.xml"), "--sarif", str(folder / "audit.sarif")]
    conditions = ["--fail-if", "contradicted > 0", "--fail-if", "bad_rows > 60%"]
    audited = ["audit", str(folder / "spring list.csv"), *_RIGS, "-o", str(folder / "out")]
    return folder, main([*audited, *written, *conditions])


def test_junit_says_which_condition_is_crossed(told: tuple[Path, int]) -> None:
    """A test case for each condition; the one that ends the command with 1 fails, with the first cells to be mended."""
    folder, ended = told
    suite = ElementTree.parse(folder / "junit.xml").getroot()[0]
    cases = {case.get("name"): case.find("failure") for case in suite}
    assert ended == 1
    assert list(cases) == ["contradicted > 0", "bad_rows > 60%"]
    failure = cases["contradicted > 0"]
    assert failure is not None and cases["bad_rows > 60%"] is None
    assert failure.get("message") == "`contradicted > 0` is crossed: 1"
    assert "row 3, B, shank `9 in`: `9 in` is not a size" in (failure.text or "")
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")


def test_sarif_has_each_cell_at_its_line(told: tuple[Path, int]) -> None:
    """What the fix list has, at the line of the file; what the standard asks for is there, section by section.

    Sections are those of SARIF 2.1.0 (OASIS, 2020).
    """
    folder, _ = told
    log = json.loads((folder / "audit.sarif").read_text("utf-8"))
    assert log["version"] == "2.1.0"  # 3.13.2
    (run,) = log["runs"]
    driver = run["tool"]["driver"]
    assert driver["name"] == "fitsvc"  # 3.19.8
    rules = [rule["id"] for rule in driver["rules"]]
    assert rules == list(SORTS)  # 3.49.3: an id each, no two alike
    rows = found(folder / "out", "fix_list")
    assert len(run["results"]) == len(rows) == summary(folder / "out")["fixes"] > 3
    for row, result in zip(rows, run["results"], strict=True):
        _check_result(result, rules)
        place = result["locations"][0]["physicalLocation"]
        assert (result["ruleId"], place["region"]["startLine"]) == (row["sort"], int(row["row"]))
        assert place["artifactLocation"]["uri"].endswith("/spring%20list.csv")
    assert {"bad_row", "bad_cell", "bad_claim", "false_claim"} <= {row["sort"] for row in rows}
    prints = [json.dumps(result["partialFingerprints"]) for result in run["results"]]
    assert len(set(prints)) == len(prints)


def _check_result(result: dict[str, Any], rules: list[str]) -> None:
    """What the standard asks of a result."""
    assert result["message"]["text"]  # 3.27.11 and 3.11.8
    assert rules[result["ruleIndex"]] == result["ruleId"]  # 3.27.6
    assert result["level"] in ("none", "note", "warning", "error")  # 3.27.10
    place = result["locations"][0]["physicalLocation"]
    assert urlsplit(place["artifactLocation"]["uri"]).scheme in ("", "file")  # 3.4.3
    assert place["region"]["startLine"] >= 1  # 3.30.5


def test_without_conditions_the_faults_are_told(told: tuple[Path, int], tmp_path: Path) -> None:
    """What `--strict` ends with 1 for are the test cases then, and the command ends as it would without the file."""
    folder, _ = told
    audited = ["audit", str(folder / "spring list.csv"), *_RIGS, "-o", str(folder / "out")]
    assert main([*audited, "--junit", str(tmp_path / "junit.xml")]) == 0
    cases = ElementTree.parse(tmp_path / "junit.xml").getroot()[0]
    assert [(case.get("name"), len(case)) for case in cases] == [
        ("bad_rows > 0", 1),
        ("bad_cells > 0", 1),
        ("bad_claims > 0", 1),
        ("contradicted > 0", 1),
        ("suspicious_columns > 0", 0),
    ]
