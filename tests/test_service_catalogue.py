"""A catalogue put in place over HTTP: whole or not at all, what becomes of it and of what fits told before it is."""

import io
import json
from codecs import BOM_UTF8
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem

from fitsvc.audits import parquet_chunks
from fitsvc.cli.app import main
from fitsvc.service.app import create_app
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
HEADER = "sku,subject,label,kind,shank,pin"
RACK = "A-RACK,accessory,A rack,cargo_carrier,2 in,5/8 in"
STEP = "A-STEP,accessory,A step,step,2 in,5/8 in"
BALL = "A-BALL,ball,A ball,,,"


@pytest.fixture
def shop(url: str, tmp_path: Path) -> Iterator[tuple[Client, dict[str, str]]]:
    """Give a client of a service with one saved rig, and a key that may publish and edit."""
    database = Database(url)
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "feed", ("publish", "edit", "administer"))[0]}
    with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as client:
        rig = {"id": "rig_one", "name": "One", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}
        assert client.post("/v1/rigs", json=rig, headers=key).status_code == 201
        yield client, key
    database.close()


def send(shop: tuple[Client, dict[str, str]], *rows: str, query: str = "", kind: str = "text/csv") -> Any:
    """Send a catalogue."""
    client, key = shop
    body = "\n".join((HEADER, *rows)).encode()
    return client.post(f"/v1/catalogue{query}", content=body, headers={**key, "Content-Type": kind})


def skus(shop: tuple[Client, dict[str, str]]) -> list[str]:
    """Give what is stored."""
    return [one["sku"] for one in shop[0].get("/v1/accessories").json()["items"]]


def test_a_dry_run_tells_and_stores_nothing(shop: tuple[Client, dict[str, str]]) -> None:
    """The report of a dry run is that of the run itself, but for its name; then it is all there at once."""
    dry = send(shop, RACK, STEP, BALL, query="?dry_run=yes").json()
    assert skus(shop) == []
    done = send(shop, RACK, STEP, BALL).json()
    assert dry == done | {"dry_run": True}
    assert done["stored"] == {"accessory": 2, "ball": 1}
    assert skus(shop) == ["A-BALL", "A-RACK", "A-STEP"]
    assert send(shop, RACK, STEP, BALL).json()["unchanged"] == 3
    assert [line["act"] for line in shop[0].get("/v1/log", headers=shop[1]).json()["items"]] == [
        "creates",
        "loads",
        "loads",
    ]


def test_what_fits_otherwise_is_told_by_rig(shop: tuple[Client, dict[str, str]]) -> None:
    """What a change of a shank takes from a rig, and gives back, is what the rig's page says before and after."""
    client, _ = shop
    send(shop, RACK, STEP)

    def fitting() -> set[str]:
        page = client.get("/v1/rigs/rig_one/accessories?outcome=works,conditional&detail=compact").json()
        return {one["sku"] for one in page["items"]}

    for row in (STEP.replace("2 in", "1-1/4 in"), STEP):
        before = fitting()
        report = send(shop, RACK, row).json()
        after = fitting()
        told = {one["rig"]: (set(one["gained_skus"]), set(one["lost_skus"])) for one in report["fits"]}
        assert told == ({"rig_one": (after - before, before - after)} if before != after else {})
        assert report["replaced"] == 1


def test_a_replacement_takes_away_what_the_feed_no_longer_has(shop: tuple[Client, dict[str, str]]) -> None:
    """Of its own source only, and not what somebody else tells of or a rig has; without a source it is refused."""
    client, key = shop
    send(shop, RACK, STEP, "A-PIN,accessory,A pin,locking_pin,,5/8 in", query="?source=ours")
    send(shop, BALL, query="?source=theirs")
    note = {"subject": "accessory", "record": "A-STEP", "facts": {"weight": "20 lb"}, "kind": "measured", "by": "us"}
    assert client.post("/v1/observations", json=note, headers=key).status_code == 201
    found = send(shop, RACK, query="?source=ours&mode=replace").json()
    assert found["removed"] == 1
    assert [one["sku"] for one in found["not_removed"]] == ["A-STEP"]
    assert skus(shop) == ["A-BALL", "A-RACK", "A-STEP"]
    assert problem(send(shop, RACK, query="?mode=replace"), 422)["errors"][0]["parameter"] == "source"


@pytest.mark.parametrize("row", [STEP, "A-STEP,accessory,A step,,,"], ids=["told of", "only named"])
@pytest.mark.parametrize("measured", [True, False], ids=["measured", "not measured"])
def test_what_was_deleted_before_is_nobody_elses_word(
    shop: tuple[Client, dict[str, str]], row: str, measured: bool
) -> None:
    """What a feed told anew after a deletion it takes away again: what came before, and the end itself, is past."""
    client, key = shop
    send(shop, RACK, row, query="?source=ours")
    if measured:
        note = {"subject": "accessory", "record": "A-STEP", "facts": {"weight": "20 lb"}, "kind": "measured"}
        assert client.post("/v1/observations", json=note, headers=key).status_code == 201
    assert client.delete("/v1/accessories/A-STEP", headers=key | {"If-Match": "*"}).status_code == 204
    send(shop, RACK, STEP, query="?source=ours")
    found = send(shop, RACK, query="?source=ours&mode=replace").json()
    assert (found["removed"], found["not_removed"]) == (1, [])
    assert skus(shop) == ["A-RACK"]


def test_a_bad_row_keeps_all_out(shop: tuple[Client, dict[str, str]]) -> None:
    """Every bad row is told by its line, and none of the file is stored."""
    told = problem(send(shop, RACK, "B,accessory,B,no_such_kind,2 in,", "C,boat,C,,,"), 400)
    assert {entry["line"] for entry in told["errors"]} == {3, 4}
    assert skus(shop) == []
    problem(send(shop, RACK, kind="application/pdf"), 415)


def test_lines_and_columns_say_the_same(shop: tuple[Client, dict[str, str]]) -> None:
    """JSON Lines and Parquet are read as the text of the same rows is."""
    client, key = shop
    assert send(shop, RACK).json()["stored"] == {"accessory": 1}
    facts = {"kind": "cargo_carrier", "shank": "2 in", "pin": "5/8 in"}
    line = json.dumps({"subject": "accessory", "sku": "A-RACK", "label": "A rack", "facts": facts}).encode()
    lines = client.post("/v1/catalogue", content=line, headers={**key, "Content-Type": "application/x-ndjson"})
    assert lines.json()["unchanged"] == 1
    for media, body in (("text/csv", f"{HEADER}\n{RACK}".encode()), ("application/x-ndjson", line)):
        marked = client.post("/v1/catalogue", content=BOM_UTF8 + body, headers={**key, "Content-Type": media})
        assert marked.json()["unchanged"] == 1
    table, stream = (
        pa.table({name: [cell] for name, cell in zip(HEADER.split(","), RACK.split(","), strict=True)}),
        io.BytesIO(),
    )
    pq.write_table(table, stream)
    kind = {"Content-Type": "application/vnd.apache.parquet"}
    assert client.post("/v1/catalogue", content=stream.getvalue(), headers=key | kind).json()["unchanged"] == 1


def test_a_table_that_cannot_be_read_is_told(
    shop: tuple[Client, dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is no Parquet, is cut off, has lists in a column, or more in one than is held at once, stores nothing."""
    client, key = shop
    kind = {"Content-Type": "application/vnd.apache.parquet"}

    def packed(**columns: list[Any]) -> bytes:
        stream = io.BytesIO()
        pq.write_table(pa.table(columns), stream)
        return stream.getvalue()

    whole = packed(sku=["A-RACK"], subject=["accessory"], label=["A rack"], kind=["cargo_carrier"])
    for body in (b"PAR1 and no more", whole[: len(whole) // 2], packed(sku=["A-RACK"], subject=[["accessory"]])):
        told = problem(client.post("/v1/catalogue", content=body, headers=key | kind), 400)
        assert "Parquet" in told["detail"]
    with monkeypatch.context() as patched:
        patched.setattr(parquet_chunks, "LARGEST_CHUNK", 10)
        told = problem(client.post("/v1/catalogue", content=whole, headers=key | kind), 400)
        assert "fewer rows" in told["errors"][0]["help"]
    assert skus(shop) == []
    assert client.post("/v1/catalogue", content=whole, headers=key | kind).status_code == 200


def test_many_statements_go_in_by_one_request_or_none_does(shop: tuple[Client, dict[str, str]]) -> None:
    """Readings as a file has them: each is in the log under who told it, and one that cannot be read keeps all out."""
    client, key = shop
    send(shop, RACK)
    told = [
        {"subject": "accessory", "record": "A-RACK", "by": f"p{n}", "facts": {"weight": "40 lb"}} for n in range(30)
    ]
    log = "/v1/observations?subject=accessory&record=A-RACK&limit=100"
    headers = {**key, "Content-Type": "application/x-ndjson"}
    for rows, status, by in (
        ([*told[:7], {**told[7], "facts": {"weight": "heavy"}}], 400, [""]),
        (told, 200, ["", *(f"p{n}" for n in range(30))]),
    ):
        sent = client.post("/v1/catalogue", content="\n".join(map(json.dumps, rows)), headers=headers)
        assert sent.status_code == status, sent.text
        assert [one["by"] for one in client.get(log).json()["items"]] == by
    assert sent.json()["stored"] == {"observation": 30}


def test_of_two_feeds_it_is_told_which_said_what(
    shop: tuple[Client, dict[str, str]], url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where they contradict each other: in the sheet, the record, the answer, what it rests on, and the shell."""
    client, _ = shop
    said = {"North": "2 in", "South": "1-1/4 in"}
    sent = [send(shop, RACK.replace("2 in", shank), query=f"?source={source}") for source, shank in said.items()]
    assert [(one.status_code, one.json()["disputed"]) for one in sent] == [(200, 0), (200, 1)]
    sheet = {one["fact"]: one for one in client.get("/v1/accessories/A-RACK/sheet").json()["facts"]}
    assert {one["source"]: one["said"] for one in sheet["shank"]["statements"]} == said
    kept = client.get("/v1/accessories/A-RACK").json()["provenance"]["shank"]["said"]
    assert {one["source"]: one["value"] for one in kept} == said
    question = {"rig": {"id": "rig_one"}, "accessory": {"sku": "A-RACK"}}
    answer = client.post("/v1/answers?include=rests_on,disputed", json=question).json()
    rests = {one["fact"]: one for one in answer["rests_on"]}
    assert rests["accessory.shank"]["state"] == "disputed"
    assert {one["source"]: one["said"] for one in rests["accessory.shank"]["said"]} == said
    assert "said" not in rests["accessory.kind"]
    (because,) = (one["because"] for one in answer["disputed"])
    assert all(f"{value} on " in because and f" by {source}" in because for source, value in said.items())
    assert main(["show", "A-RACK", "--database", url]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert all(f"{value}, published by {source} on " in shown for source, value in said.items())
    page = client.get("/records/accessory/A-RACK").text
    assert all(f"according to {source}" in page for source in said)


def test_a_feed_takes_back_what_it_no_longer_says_of_what_others_tell_of(shop: tuple[Client, dict[str, str]]) -> None:
    """The item stays as the others tell it, with what was seen on it, and the last to tell of it deletes it."""
    client, key = shop

    def known() -> dict[str, Any]:
        found: dict[str, Any] = client.get("/v1/accessories/A-RACK").json()["facts"]
        return found

    send(shop, RACK, STEP, query="?source=North")
    send(shop, RACK.replace("2 in", "1-1/4 in"), STEP, query="?source=South")
    note = {"subject": "accessory", "record": "A-RACK", "facts": {"weight": "20 lb"}, "kind": "measured", "by": "us"}
    measured = client.post("/v1/observations", json={**note, "source": "South"}, headers=key).json()["observation"]
    assert sorted(known()["shank"]) == ["1-1/4 in", "2 in"]
    told = send(shop, STEP, query="?source=South&mode=replace&dry_run=yes").json()
    assert sorted(known()["shank"]) == ["1-1/4 in", "2 in"]
    found = send(shop, STEP, query="?source=South&mode=replace").json()
    assert told == found | {"dry_run": True}
    because = "somebody else tells of it too"
    assert found["not_removed"] == [{"sku": "A-RACK", "because": because, "taken_back": ["shank"]}]
    assert (found["removed"], found["withdrawn"]) == (0, 1)
    assert (known()["shank"], known()["kind"]) == ("2 in", "cargo_carrier")
    assert known()["weight"]["value"] == "20 lb"
    lines = {one["fact"]: one["statements"] for one in client.get("/v1/accessories/A-RACK/sheet").json()["facts"]}
    assert [one.get("why", "") for one in lines["shank"]] == ["", "replaces: its feed no longer lists it"]
    again = send(shop, STEP, query="?source=South&mode=replace").json()
    assert again["withdrawn"] == 0 and all(not one["taken_back"] for one in again["not_removed"])
    body = {"subject": "accessory", "record": "A-RACK", "retracts": measured["id"], "reason": "another one"}
    assert client.post("/v1/observations", json=body, headers=key).status_code == 201
    assert send(shop, STEP, query="?source=South&mode=replace").json()["not_removed"] == []
    assert send(shop, STEP, query="?source=North&mode=replace").json()["removed"] == 1
    assert skus(shop) == ["A-STEP"]


def test_a_feed_that_lists_an_item_again_says_it_anew(shop: tuple[Client, dict[str, str]]) -> None:
    """What was taken back is no lasting no; what a feed only named, without a fact, is taken back as well."""
    client, _ = shop
    send(shop, RACK, STEP, query="?source=North")
    send(shop, RACK.replace("2 in", "1-1/4 in"), query="?source=South")
    send(shop, STEP, query="?source=South&mode=replace")
    send(shop, RACK.replace("2 in", "1-1/4 in"), query="?source=South")
    assert sorted(client.get("/v1/accessories/A-RACK").json()["facts"]["shank"]) == ["1-1/4 in", "2 in"]
    send(shop, "A-PIN,accessory,A pin,,,", query="?source=South")
    send(shop, "A-PIN,accessory,A pin,locking_pin,,5/8 in", query="?source=North")
    send(shop, RACK, STEP, query="?source=South&mode=replace")
    found = send(shop, RACK, STEP, query="?source=North&mode=replace").json()
    assert (found["removed"], skus(shop)) == (1, ["A-RACK", "A-STEP"])


def test_a_part_of_a_feed_that_is_loaded_takes_back_nothing_else(
    shop: tuple[Client, dict[str, str]], url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the shell a file may be a part of the feed: of an item that it does not list the dispute stands."""
    client, _ = shop
    load = ["load", "--database", url, "--replace", "--source"]
    for source, rows in (
        ("North", (RACK, STEP)),
        ("South", (RACK.replace("2 in", "1-1/4 in"), STEP)),
        ("South", (STEP,)),
    ):
        path = tmp_path / f"{source}-{len(rows)}.csv"
        path.write_text("\n".join((HEADER, *rows)))
        assert main([*load, source, str(path)]) == 0
    assert "A-RACK: shank" in " ".join(capsys.readouterr().out.split())
    assert sorted(client.get("/v1/accessories/A-RACK").json()["facts"]["shank"]) == ["1-1/4 in", "2 in"]
