"""The sheet of a record, and what stands of it as rows that load elsewhere to the same facts."""

import json
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem

from fitsvc.cli.app import main
from fitsvc.facts import FactReader
from fitsvc.loading.load import load_file
from fitsvc.observing.sheet import standing_rows
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.database import Database
from fitsvc.store.records import get_record

Client = TestClient[Litestar]
Key = dict[str, str]


@pytest.fixture
def mounting(client: Client, key: Key) -> str:
    """Store a mounting with two published facts."""
    for path, body in (("vehicles", {"id": "veh_1"}), ("receivers", {"id": "rcv_1"})):
        client.post(f"/v1/{path}", json=body, headers=key)
    known = {"height": "17 in", "pin_to_bumper": "4 in"}
    ours: dict[str, Any] = {"id": "mnt_1", "label": "ours", "vehicle": "veh_1", "receiver": "rcv_1", "facts": known}
    client.post("/v1/mountings", json=ours, headers=key)
    return "mnt_1"


def tell(client: Client, key: Key, **members: Any) -> Any:
    """Tell something of the mounting."""
    body = {"subject": "mounting", "record": "mnt_1"} | members
    response = client.post("/v1/observations", json=body, headers=key)
    assert response.status_code == 201, response.text
    return response.json()


def test_f13_the_sheet_tells_every_word_and_what_counts(client: Client, key: Key, mounting: str) -> None:
    """By whom, with what, in what condition; what is outranked and what was taken back, and why."""
    ours = tell(client, key, facts={"pin_to_bumper": "4-1/8 in"}, by="Ann", tool="tape", condition="empty, level")
    slip = tell(client, key, facts={"pin_to_bumper": "14 in"}, by="Bo")
    tell(client, key, retracts=slip["observation"]["id"], reason="the wrong truck")
    tell(client, key, evidence={"tyre": "245/75R16", "stowed": True}, by="Ann")
    sheet = client.get("/v1/mountings/mnt_1/sheet").json()
    facts = {one["fact"]: one for one in sheet["facts"]}
    pin = facts["pin_to_bumper"]
    assert (pin["value"], pin["state"], pin["kind"]) == ("4-1/8 in ± 1/8 in", "", "measured")
    assert [(one["said"], one.get("counts", False), one.get("why", "")) for one in pin["statements"]] == [
        ("4 in", False, ""), ("4-1/8 in", True, ""), ("14 in", False, "retracts: the wrong truck")]  # fmt: skip
    assert (pin["statements"][1]["tool"], pin["statements"][1]["condition"]) == ("tape", "empty, level")
    assert facts["spare_fits_up_to"]["value"] == "773.9 mm"
    (tried,) = sheet["tries"]
    assert (tried["evidence"]["tyre"], tried["taken_back"]) == ("245/75R16", False)
    assert "spare_room_taken" in sheet["unknown"]
    assert ours["observation"]["tool"] == "tape"


def test_what_was_known_at_an_earlier_time_can_be_asked_for(client: Client, key: Key, mounting: str) -> None:
    """After each statement the sheet as of then is the sheet that was given then."""
    given = []
    for facts in ({"height": "18 in"}, {"height": "19 in"}, {"height": None}, {"pin_to_bumper": "5 in"}):
        told = tell(client, key, facts=facts, by="Ann")["observation"]["recorded_at"]
        given.append((told, client.get("/v1/mountings/mnt_1/sheet").json()))
    for at, sheet in given:
        assert client.get("/v1/mountings/mnt_1/sheet", params={"as_of": at}).json() == sheet
    assert client.get("/v1/mountings/mnt_1/sheet?as_of=2000-01-01T00:00:00Z").json()["facts"] == []


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_still_holds_is_taken_over_to_another_mounting(
    client: Client, key: Key, mounting: str, database_url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who saw it, when and how goes along; nothing that is not named does, and nothing that nobody saw."""
    tell(client, key, facts={"height": "18 in", "pin_to_bumper": "5 in"}, by="Ann", at="2026-05-01T00:00:00Z")
    client.post("/v1/mountings", json={"id": "mnt_2", "vehicle": "veh_1", "receiver": "rcv_1"}, headers=key)
    at = ("--database", database_url)
    assert main(["observe", "mnt_2", "height", "--from", "mnt_1", *at]) == 0
    (fact,) = client.get("/v1/mountings/mnt_2/sheet").json()["facts"]
    (said,) = fact["statements"]
    assert (fact["fact"], fact["value"], said["by"], said["at"][:10], said["note"]) == (
        "height", "18 in ± 1/8 in", "Ann", "2026-05-01", "taken over from mnt_1")  # fmt: skip
    assert main(["observe", "mnt_2", "fascia_trim", "--from", "mnt_1", *at]) == 2
    assert "nobody saw fascia_trim of mnt_1" in capsys.readouterr().err


def test_a_sheet_that_cannot_be_given_says_why(client: Client, key: Key, mounting: str) -> None:
    """An unknown record, and a time that is none."""
    problem(client.get("/v1/mountings/mnt_none/sheet"), 404)
    problem(client.get("/v1/mountings/mnt_1/sheet?as_of=yesterday"), 400)


def test_what_stands_loads_elsewhere_to_the_same_facts(
    client: Client, key: Key, mounting: str, database: Database, rulebook: Rulebook, tmp_path: Path
) -> None:
    """Disputes, tolerances, kinds and what was tried go along; what was taken back does not."""
    tell(client, key, facts={"pin_to_bumper": "14 in"}, by="Ann")
    tell(client, key, facts={"pin_to_bumper": "5 in"}, by="Bo")
    tell(client, key, facts={"height": "17-1/8 in", "drilling": True})
    slip = tell(client, key, evidence={"tyre": "285/75R17", "stowed": True})
    tell(client, key, retracts=slip["observation"]["id"], reason="a slip")
    tell(client, key, evidence={"tyre": "245/75R16", "stowed": True})
    reader = FactReader(rulebook)
    with database.session() as session:
        rows = standing_rows(session, reader, "mounting", "mnt_1")
    rows = [{**row, "record": "mnt_2"} for row in rows]
    other = {"subject": "mounting", "id": "mnt_2", "vehicle": "veh_1", "receiver": "rcv_1"}
    path = tmp_path / "out.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in [*rows, other]), encoding="utf-8")
    load_file(database, reader, path)
    with database.session() as session:
        one, two = (get_record(session, "mounting", name) for name in ("mnt_1", "mnt_2"))
        assert one.facts == two.facts
        states = [{name: how.get("state") for name, how in each.provenance.items()} for each in (one, two)]
        assert states[0] == states[1]
        assert states[0]["pin_to_bumper"] == "disputed"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    assert load_file(database, reader, path).repeated == len(rows)
