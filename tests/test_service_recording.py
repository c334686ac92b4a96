"""Recorded answers: kept only when asked for, given again byte by byte, and told apart by rule where they are not."""

import json
import stat
from pathlib import Path
from typing import Any, Final

import pytest
from changed_rules import changed
from demo_world import SEED, answerer
from effort import NIGHTLY
from litestar.testing import TestClient

from fitsvc.cli.app import main
from fitsvc.engine.examples import wire_value
from fitsvc.loading.load import load_file
from fitsvc.rulebook.yaml_text import to_plain
from fitsvc.service import recording
from fitsvc.service.app import create_app
from fitsvc.service.examples import QUESTION
from fitsvc.service.settings import OPEN, Settings
from fitsvc.store.database import Database

RIG: Final = ("vehicle", "receiver", "mounting", "spare")


def questions(sku: str) -> list[dict[str, object]]:
    """Questions that work, fail and stay open, with a record of the store and without."""
    openings, widths = ("2 in", "1-1/4 in", None), ("30 in", "4 ft", "9 ft", None)
    found: list[dict[str, object]] = []
    for opening in openings:
        rig = {"receiver": {"facts": {"opening": opening}}}
        found.append({"rig": rig, "accessory": {"sku": sku}})
        for width in widths:
            accessory = {"facts": {"kind": "cargo_carrier", "shank": "2 in", "pin": "5/8 in", "width": width}}
            found.append({"rig": rig, "accessory": accessory})
    return [QUESTION, *found]


@pytest.fixture
def recorded(url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Give the files of a service that was asked with two accessories in its store, and that rotates early."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    monkeypatch.setattr(recording, "MOST_BYTES", 60_000)
    rows = (SEED / "accessories.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "accessories.csv").write_text("".join(rows[:3]), "utf-8")
    database, settings = Database(url), Settings(public=OPEN, record=tmp_path / "kept")
    load_file(database, answerer().reader, tmp_path / "accessories.csv")
    app = create_app(database, answerer(), tmp_path / "audits", settings=settings)
    with TestClient(app) as client:
        for number, question in enumerate(questions(rows[1].partition(",")[0])):
            told = client.post(
                "/v1/answers",
                json=question,
                params={"units": "metric"} if number % 2 else {},
                headers={"accept-language": "es"} if number % 3 == 0 else {},
            )
            assert told.status_code == 200
        assert client.post("/v1/answers", json={"rig": 1}).status_code == 400
    database.close()
    return sorted((tmp_path / "kept").iterdir())


def test_the_same_bytes_or_by_which_rule_not(
    recorded: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All come again byte by byte. Under another rule the answers that differ are told by it, and a line cut off is."""
    names = [str(file) for file in recorded]
    assert main(["replay", *names]) == 0
    assert capsys.readouterr().out == "16 recorded answers: 16 same\n"
    other = changed(tmp_path, "coupling.yaml", "requires: accessory.shank == opening.size", "requires: yes")
    assert main(["replay", *names, "--rules", str(other)]) == 1
    told = capsys.readouterr().out
    assert "outcome: fails -> undetermined; shank-fits-opening: fails -> passes" in told
    line = recorded[0].read_bytes().splitlines()[0]
    (tmp_path / "torn.jsonl").write_bytes(
        line.replace(answerer().rulebook.digest.encode(), b"sha256:0", 1) + b'\n{"at":'
    )
    assert main(["replay", str(tmp_path / "torn.jsonl")]) == 1
    assert "1 by a rulebook that is not here, 1 cut off" in capsys.readouterr().out


def test_a_store_that_went_on_answers_as_of_then(
    recorded: list[Path], url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """More on the shelf changes what else would serve, and nothing of what was asked: told apart, and no fault."""
    database = Database(url)
    rows = (SEED / "accessories.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "accessories.csv").write_text("".join([rows[0], *rows[3:]]), "utf-8")
    load_file(database, answerer().reader, tmp_path / "accessories.csv")
    database.close()
    assert main(["replay", *map(str, recorded)]) == 0
    assert " but for the shelf" in capsys.readouterr().out


def of_examples() -> list[dict[str, Any]]:
    """The examples of all shipped rules as questions: what is about several things, or about nothing, is left out."""
    found: list[dict[str, Any]] = []
    for examples in answerer().rulebook.examples.values():
        for example in examples:
            parts: dict[str, Any] = {}
            for name, node in example.facts.items():
                subject, _, short = name.partition(".")
                parts.setdefault(subject, {"facts": {}})["facts"][short] = wire_value(to_plain(node))
            stack = [{"facts": {short: wire_value(to_plain(one)) for short, one in adapter.items()}}
                     for adapter in example.adapters]  # fmt: skip
            rig = {name: parts.pop(name) for name in RIG if name in parts} | ({"adapters": stack} if stack else {})
            if "beside" not in parts and (parts.keys() | rig.keys()) & {"accessory", "trailer", "spare", "adapters"}:
                found.append({"rig": rig, **parts})
    return found


@pytest.mark.timeout(3_600)  # at night they are some minutes of processor time
def test_as_many_as_a_shop_answers_come_again(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ten thousand answers at night, of every example of every rule, units and languages by turns: the same bytes."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    database, settings = Database(url), Settings(public=OPEN, record=tmp_path / "kept")
    asked, count = of_examples(), 0
    numbers = range(3 * len(asked)) if NIGHTLY else range(0, 3 * len(asked), 61)
    with TestClient(create_app(database, answerer(), tmp_path / "audits", settings=settings)) as client:
        for number in numbers:
            turn, place = divmod(number, len(asked))
            told = client.post(
                "/v1/answers",
                json=asked[place],
                params={"units": "metric"} if turn else {},
                headers={"accept-language": "es"} if turn == 2 else {},
            )
            count += told.status_code == 200
    database.close()
    assert count > (10_000 if NIGHTLY else 150)
    assert main(["replay", *map(str, sorted((tmp_path / "kept").iterdir()))]) == 0
    assert capsys.readouterr().out == f"{count} recorded answers: {count} same\n"


def test_files_are_their_owners_and_few(recorded: list[Path]) -> None:
    """Nobody else may read them; a question is kept as it came, and a file ends before it is too large."""
    assert len(recorded) > 1
    assert all(file.stat().st_size <= 60_000 and stat.S_IMODE(file.stat().st_mode) == 0o600 for file in recorded)
    assert json.loads(json.loads(recorded[0].read_text().splitlines()[0])["question"]) == QUESTION
