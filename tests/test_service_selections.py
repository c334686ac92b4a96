"""Selecting over HTTP: which of the store's accessories work on a rig, page by page, and what is refused."""

from pathlib import Path
from threading import Event
from typing import Any

import pytest
from demo_world import answerer, world
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem
from test_service_asking import store_examples
from waiting import until

from fitsvc.service.app import create_app
from fitsvc.service.examples import BODIES
from fitsvc.service.selecting import Selections
from fitsvc.store.creation import bulk_create
from fitsvc.store.database import Database
from fitsvc.store.records import Draft

Client = TestClient[Litestar]
LEAST_CAPACITIES = ("capacity=at least 100 lb", "capacity=at least 160 lb")
SAVED = "/v1/rigs/rig_farm/accessories"
INLINE = "/v1/selections"
LOAD = {"facts": {"bikes": 3, "bike_weight": "40 lb"}}


@pytest.fixture
def stocked(client: Client, database: Database, key: dict[str, str]) -> Client:
    """Give a client of a service that has the demo world's accessories and the description's rig."""
    with database.session() as session:
        bulk_create(
            session,
            "accessory",
            (Draft(key=one.key, label=one.label, facts=one.facts) for one in world().of("accessory")),
        )
    store_examples(client, key)
    return client


def pages(client: Client, query: str) -> list[dict[str, Any]]:
    """Return every page for the saved rig."""
    found = [client.get(f"{SAVED}?{query}").json()]
    while after := found[-1]["next"]:
        found.append(client.get(f"{SAVED}?{query}&after={after}").json())
    return found


def test_each_item_is_told_as_an_answer_tells_it(stocked: Client) -> None:
    """What a page says of an item is what a question about the two says."""
    body = {"rig": {"id": "rig_farm"}, "load": LOAD}
    page = stocked.post(f"{INLINE}?limit=1000", json=body).json()
    assert len(page["items"]) == page["matching"] == len(world().of("accessory")) + 1
    for one in page["items"][::5]:
        answer = stocked.post("/v1/answers", json={**body, "accessory": {"sku": one["sku"]}}).json()
        assert one["outcome"] == answer["outcome"]
        if one["codes"] and answer["findings"][0]["result"] != "passes":
            assert (one["codes"][0], one["reason"]) == (answer["findings"][0]["rule"], answer["findings"][0]["reason"])
    assert page["rulebook"] == answer["rulebook"]


def test_a_saved_rig_and_the_same_rig_inline_are_told_alike(stocked: Client) -> None:
    """By its id in the path, by its id in the body, and with its parts in the body."""
    by_path = stocked.get(SAVED).json()
    for rig in ({"id": "rig_farm"}, BODIES["NewRig"]["rig"]):
        by_body = stocked.post(INLINE, json={"rig": rig}).json()
        assert {**by_body, "next": ""} == {**by_path, "next": ""}


def test_pages_hold_everything_once(stocked: Client) -> None:
    """Pages follow each other by `next`, in order of outcome and SKU."""
    (whole,) = pages(stocked, "limit=1000")
    found = pages(stocked, "limit=7")
    assert [one for page in found for one in page["items"]] == whole["items"]
    assert [page["counts"] for page in found] == [whole["counts"]] * len(found)
    assert {page["moved"] for page in found} == {False}
    order = list(whole["counts"]["outcomes"])
    keys = [(order.index(one["outcome"]), one["sku"]) for one in whole["items"]]
    assert keys == sorted(keys)


def test_filters_and_forms(stocked: Client) -> None:
    """Kinds, outcomes and words leave what they name; a compact page has three members an item."""
    (whole,) = pages(stocked, "limit=1000")
    chosen = [one for one in whole["items"] if one["kind"] in ("bike_carrier", "step") and one["outcome"] != "fails"]
    query = "kind=bike_carrier,step&outcome=works,conditional,undetermined&limit=1000"
    assert stocked.get(f"{SAVED}?{query}").json()["items"] == chosen != []
    named = [one for one in whole["items"] if "dray" in f"{one['label']} {one['sku']}".lower()]
    assert stocked.get(f"{SAVED}?text=dRaY&limit=1000").json()["items"] == named != []
    where = stocked.get(SAVED, params={"where": "shank=2 in,kind=step", "limit": 1000}).json()["items"]
    assert where == [one for one in stocked.get(f"{SAVED}?kind=step&limit=1000").json()["items"] if one in where] != []
    least = [stocked.get(SAVED, params={"where": w, "limit": 1000}).json()["items"] for w in LEAST_CAPACITIES]
    assert len(least[0]) > len(least[1]) > 0 and {one["sku"] for one in least[1]} < {one["sku"] for one in least[0]}
    refused = problem(stocked.get(SAVED, params={"where": "kind=step,weight=30"}), 400)["errors"]
    assert [one["detail"] for one in refused] == ["`where`, weight: `30` has no unit"]
    assert problem(stocked.get(f"{SAVED}?where=shank=50 mm"), 400)["errors"][0]["help"]
    compact = stocked.get(f"{SAVED}?detail=compact").json()["items"]
    assert {tuple(one) for one in compact} == {("sku", "outcome", "codes")}
    metric = stocked.get(f"{SAVED}?units=metric&limit=1000").json()["items"]
    assert [one["sku"] for one in metric] == [one["sku"] for one in whole["items"]]
    assert metric != whole["items"]


def test_what_a_caller_has_is_not_sent_again(stocked: Client, key: dict[str, str]) -> None:
    """The tag holds until what the page says is another: a ball more in the store changes no page."""
    first = stocked.get(SAVED)
    tag = {"If-None-Match": first.headers["etag"]}
    again = stocked.get(SAVED, headers=tag)
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", first.headers["etag"])
    assert stocked.get(f"{SAVED}?limit=3", headers=tag).status_code == 200
    told = {"subject": "receiver", "record": "rcv_dray_2", "facts": {"tongue_rating": "450 lb"}}
    assert stocked.post("/v1/observations", json=told, headers=key).status_code == 201
    changed = stocked.get(SAVED, headers=tag)
    assert (changed.status_code, changed.json()["revision"]) == (200, first.json()["revision"])
    ball = {"sku": "A-BALL", "subject": "ball", "facts": {}}
    assert stocked.post("/v1/accessories", json=ball, headers=key).status_code == 201
    assert stocked.get(SAVED, headers={"If-None-Match": changed.headers["etag"]}).status_code == 304
    told = {"subject": "accessory", "record": "DRY-RACK-4", "facts": {"shank": "1-1/4 in"}}
    assert stocked.post("/v1/observations", json=told, headers=key).status_code == 201
    moved = stocked.get(SAVED, headers={"If-None-Match": changed.headers["etag"]})
    assert (moved.status_code, moved.json()["revision"] == first.json()["revision"]) == (200, False)
    assert stocked.post(INLINE, json={"rig": {"id": "rig_farm"}}).headers["etag"] == moved.headers["etag"]


def test_a_change_is_seen_at_once_and_told(stocked: Client, key: dict[str, str]) -> None:
    """What is stored between two pages is on the next one if it belongs there, and `moved` says so."""
    first = stocked.get(f"{SAVED}?limit=2").json()
    body = {"sku": "ZZZ-LAST", "subject": "accessory", "label": "Last", "facts": {"kind": "step", "shank": "1-1/4 in"}}
    assert stocked.post("/v1/accessories", json=body, headers=key).status_code == 201
    second = stocked.get(f"{SAVED}?limit=1000&after={first['next']}").json()
    assert second["moved"] is True
    assert second["items"][-1]["sku"] == "ZZZ-LAST"
    assert len(first["items"]) + len(second["items"]) == second["counts"]["items"] == first["counts"]["items"] + 1


def test_what_cannot_be_selected_is_told(stocked: Client) -> None:
    """An unknown rig, an accessory in the body, a foreign cursor and unknown words are refused with what to do."""
    problem(stocked.get("/v1/rigs/rig_none/accessories"), 404)
    body = {"accessory": {"sku": "DRY-RACK-4"}, "load": {"facts": {"bikes": "many"}}}
    assert pointers(problem(stocked.post(INLINE, json=body), 400)) == ["/accessory", "/rig", "/load/facts/bikes"]
    assert pointers(problem(stocked.post(INLINE, json={"rig": {"id": "rig_none"}}), 409)) == ["/rig/id"]
    problem(stocked.get(f"{SAVED}?after=nonsense"), 422)
    after = stocked.get(f"{SAVED}?limit=1").json()["next"]
    problem(stocked.get(f"{SAVED}?limit=1&sort=label&after={after}"), 422)
    for query in ("kind=sled", "kind=", "kind=step,", "outcome=works&outcome=fails", "limit=0", "detail=long"):
        problem(stocked.get(f"{SAVED}?{query}"), 400)


def test_an_empty_store_has_an_empty_page(client: Client) -> None:
    """Nothing to select from is no fault."""
    page = client.post(INLINE, json={"rig": {}}).json()
    assert (page["items"], page["next"], page["matching"], page["counts"]["items"]) == ([], None, 0, 0)
    assert set(page["counts"]["outcomes"].values()) == {0}


def test_a_service_is_ready_when_its_index_is_open(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a folder for the index it is opened at the start, and the service says so."""
    begin = Event()
    open_ = Selections._open
    monkeypatch.setattr(Selections, "_open", lambda self: begin.wait() and open_(self))
    app = create_app(database, answerer(), tmp_path / "audits", index_in=tmp_path / "index")
    with TestClient(app, raise_server_exceptions=False) as client:
        assert client.get("/health/live").status_code == 200
        early = client.get("/health/ready")
        assert early.headers["retry-after"] == "1"
        assert "index for selections" in problem(early, 503)["detail"]
        begin.set()
        until(lambda: client.get("/health/ready").status_code == 200, "the service to be ready")
        assert client.post(INLINE, json={"rig": {}}).json()["items"] == []
