"""Several things over HTTP and in the command line: the same bytes, problems that point, and what people read."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from several import asked, bikes, boat, step

from fitsvc.answers.answer import Answer, encode
from fitsvc.cli import main
from fitsvc.service.app import create_app
from fitsvc.store.database import Database

QUESTION = asked([bikes(), boat()], occupants_weight="300 lb")


@pytest.fixture
def client(url: str) -> Iterator[TestClient[Litestar]]:
    """Give a client of the service over an empty store."""
    database = Database(url)
    with TestClient(create_app(database, answerer()), raise_server_exceptions=False) as opened:
        yield opened
    database.close()


@pytest.mark.parametrize("units", ["us", "metric"])
def test_service_and_command_give_the_same_bytes(
    client: TestClient[Litestar], tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes], units: str
) -> None:
    """`POST /v1/answers` and `fitsvc answer --json` send what the library answers, which reads back as it was."""
    import msgspec

    file = tmp_path / "together.json"
    file.write_text(json.dumps(QUESTION))
    assert main(["answer", str(file), "--json", "--units", units]) == 0
    sent = client.post("/v1/answers", json=QUESTION, params={"units": units})
    found = answerer().answer(QUESTION, system="metric" if units == "metric" else "us")
    assert (sent.status_code, sent.content) == (200, encode(found))
    assert capfdbinary.readouterr().out == sent.content + b"\n"
    assert msgspec.json.decode(sent.content, type=Answer) == found


def test_a_wire_answer_has_each_ones_own(client: TestClient[Litestar]) -> None:
    """One outcome, each thing's own with its findings and next steps, and what spoils it between which."""
    told = client.post("/v1/answers", json=QUESTION).json()
    assert told["outcome"] == "fails" and [one["name"] for one in told["together"]] == ["bikes", "boat"]
    assert all(one["answer"]["findings"] and one["alone"] != "fails" for one in told["together"])
    assert told["spoils"][0]["between"] == ["bikes", "boat"] and told["spoils"][0]["result"] == "fails"


@pytest.mark.parametrize(
    ("change", "status", "pointer"),
    [
        ({"together": [bikes()]}, 400, "/together"),
        ({"together": [bikes(), {**boat(), "hangs_on": "roof"}]}, 400, "/together/1/hangs_on"),
        ({"together": [bikes(weight="900 t"), boat()]}, 422, "/together/0/accessory/facts/weight"),
        ({"together": [bikes(), {**boat(), "hangs_on": "front_receiver"}]}, 422, "/together/1"),
        ({"accessory": {"facts": {}}}, 422, "/accessory"),
    ],
)
def test_what_is_wrong_is_pointed_at(
    client: TestClient[Litestar], change: dict[str, Any], status: int, pointer: str
) -> None:
    """What cannot be read is 400, what cannot be is 422, each at its place."""
    sent = client.post("/v1/answers", json={**QUESTION, **change})
    assert sent.status_code == status
    assert [error["pointer"] for error in sent.json()["errors"]] == [pointer]


def test_people_read_each_of_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The outcome first, what is wrong between them, then each by itself and with all else."""
    file = tmp_path / "together.json"
    file.write_text(json.dumps(QUESTION))
    assert main(["answer", str(file)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("FAILS\nNo, not together.")
    for text in ("The bikes, in the receiver at the rear", "The boat, in the receiver at the rear"):
        assert text in told
    assert told.count("With all else: fails.") == 2
    assert main(["answer", str(file), "--all"]) == 0
    assert "between the bikes and the boat" in capsys.readouterr().out


def test_four_things_of_which_only_the_kind_is_known(client: TestClient[Litestar]) -> None:
    """They come to an answer, in which nothing works and each is asked about."""
    bare = [{**one, "accessory": {"facts": {"kind": one["accessory"]["facts"]["kind"]}}} for one in (bikes(), step())]
    unknown = [{**one, "name": f"thing {i}"} for i, one in enumerate([*bare, *bare])]
    told = client.post("/v1/answers", json=asked(unknown)).json()
    assert told["outcome"] == "fails"  # four shanks in a dual receiver
    assert [one["alone"] for one in told["together"]] == ["undetermined"] * 4
