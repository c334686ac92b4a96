"""Recorded answers: kept only when asked for, given again byte by byte, and told apart by rule where they are not."""

import json
import stat
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import duckdb
import msgspec
import pytest
from changed_rules import changed
from demo_world import SEED, answerer
from effort import NIGHTLY
from golden import of_examples
from litestar.testing import TestClient

from fitsvc.cli.app import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import load_file
from fitsvc.service import recording
from fitsvc.service.app import create_app
from fitsvc.service.examples import QUESTION
from fitsvc.service.masking import Masks
from fitsvc.service.recording import RecordedAnswer
from fitsvc.service.settings import OPEN, Settings
from fitsvc.store.database import Database


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
        line.replace(answerer().rulebook.digest.encode(), b"sha256:" + b"0" * 64, 1) + b'\n{"at":'
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


def kept(folder: Path) -> list[dict[str, Any]]:
    """All lines of a folder's files."""
    return [json.loads(line) for path in sorted(folder.iterdir()) for line in path.read_text("utf-8").splitlines()]


def asked_with(url: str, folder: Path, asked: list[dict[str, Any]], **settings: Any) -> list[dict[str, Any]]:
    """What a service keeps of some questions."""
    database = Database(url)
    app = create_app(database, answerer(), folder, settings=Settings(public=OPEN, record=folder / "kept", **settings))
    with TestClient(app) as client:
        for question in asked:
            assert client.post("/v1/answers", json=question).status_code == 200
    database.close()
    return kept(folder / "kept")


TOLD: Final[dict[str, Any]] = {
    "rig": {"receiver": {"facts": {"opening": "2 in", "tongue_rating": "1234 lb"}}},
    "accessory": {"facts": {"kind": "cargo_carrier", "shank": "2 in"}},
    "load": {"facts": {"cargo_weight": "1500 lb"}},
}
UNTOLD: Final[dict[str, Any]] = {**TOLD, "rig": {"receiver": {"facts": {"opening": "2 in"}}}}


def test_a_masked_fact_is_kept_nowhere(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither in the question nor in any word of the answer, of which the codes stay; what tells none is kept whole.

    A vehicle may be a stored one, whose facts the answer tells, so that it is kept by its codes as well.
    """
    vehicle = {**UNTOLD, "rig": {"vehicle": {"facts": {"body": "pickup"}}}}
    lines = asked_with(url, tmp_path, [TOLD, UNTOLD, vehicle], record_without=frozenset({"receiver.tongue_rating"}))
    assert [line["masked"] for line in lines] == [True, False, True]
    assert "1234" not in json.dumps(lines[0]) and "1,234" not in json.dumps(lines[0])
    facts = json.loads(lines[0]["question"])["rig"]["receiver"]["facts"]
    assert facts == {"opening": "2 in", "tongue_rating": "(masked)"}
    answer = lines[0]["answer"]
    assert answer.keys() == {"outcome", "rulebook", "findings"} and answer["outcome"] == "fails"
    assert {"fails", "passes"} <= {one["result"] for one in answer["findings"]}
    assert {name for one in answer["findings"] for name in one} == {"rule", "result"}
    assert set(lines[1]["answer"]) > {"summary", "next"} and json.loads(lines[1]["question"]) == UNTOLD
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    assert main(["replay", *map(str, (tmp_path / "kept").iterdir())]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "2 kept without some facts, and not to be asked again" in told and "1 same" in told


def test_a_mask_that_is_no_fact_is_refused(url: str, tmp_path: Path) -> None:
    """What is misspelt would be kept; a former name of a fact is masked with it."""
    with pytest.raises(ProblemsFound, match="there is no fact `receiver"):
        asked_with(url, tmp_path, [], record_without=frozenset({"receiver.tonge_rating"}))
    facts = dict(answerer().rulebook.vocabulary.facts)
    facts["receiver.opening"] = replace(facts["receiver.opening"], formerly=("mouth",))
    masks = Masks(["receiver.opening"], replace(answerer().rulebook.vocabulary, facts=facts))
    asked, told = '{"rig":{"receiver":{"facts":{"mouth":"2 in"}}}}', b'{"outcome":"","rulebook":{},"findings":[]}'
    question, _, masked = masks.masked(asked, told)
    assert masked and "2 in" not in question


def test_a_share_is_kept(url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of so many drawn, those below it."""
    drawn = iter([0.1, 0.6, 0.24, 0.25])
    monkeypatch.setattr(recording, "drawn", lambda: next(drawn))
    asked = [{**TOLD, "load": {"facts": {"cargo_weight": f"{pounds} lb"}}} for pounds in (1, 2, 3, 4)]
    lines = asked_with(url, tmp_path, asked, record_share=0.25)
    assert [json.loads(line["question"])["load"]["facts"]["cargo_weight"] for line in lines] == ["1 lb", "3 lb"]


def test_files_are_of_a_day_and_go_after_some(tmp_path: Path) -> None:
    """A new one begins with each day (UTC), and those of so many days ago go then, whoever wrote them."""
    recorder = recording.Recorder(tmp_path, days=2)
    line = RecordedAnswer(
        at=datetime(2026, 1, 1, 23, 59, tzinfo=UTC),
        program="",
        rulebook="",
        query="",
        question="",
        answer=msgspec.Raw(b"{}"),
    )
    for hours in (0, 1, 2, 26, 60):
        recorder.keep(msgspec.structs.replace(line, at=line.at + timedelta(hours=hours)))
    names = sorted(path.name[8:16] for path in tmp_path.iterdir())
    assert names == ["20260102", "20260103", "20260104"]


def test_one_answer_is_given_again_by_its_file_and_line(
    recorded: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """As a table's `id` names it."""
    assert main(["replay", f"{recorded[0]}:2"]) == 0
    assert capsys.readouterr().out == "1 recorded answers: 1 same\n"


def test_tables_have_each_answer_in_a_folder_of_its_day(
    recorded: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Read by another library as one set of data: as many rows, the same bytes; written again they are the same."""
    torn = tmp_path / "answers-torn.jsonl"
    torn.write_bytes(recorded[0].read_bytes().splitlines()[0] + b'\n{"at":')
    for _ in range(2):
        assert main(["recorded", *map(str, recorded), str(torn), "--to", str(tmp_path / "tables")]) == 0
        assert capsys.readouterr().out.endswith("; 1 lines cut off\n")
    found = duckdb.execute(
        'select id, answer, outcome, len(failing), cast(day as varchar), epoch_us("at") '
        f"from read_parquet('{tmp_path}/tables/*/*.parquet', hive_partitioning=true)"
    ).fetchall()
    lines = [line for file in (*recorded, torn) for line in file.read_bytes().splitlines() if line.endswith(b"}")]
    told = [msgspec.json.decode(line, type=RecordedAnswer) for line in lines]
    assert len({row[0] for row in found}) == len(found) == len(told) == 17
    assert sorted(row[1] for row in found) == sorted(bytes(one.answer).decode() for one in told)
    assert all(failing for _, _, outcome, failing, _, _ in found if outcome == "fails")
    assert {(row[4], row[5]) for row in found} == {
        (one.at.date().isoformat(), (one.at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1))
        for one in told
    }
