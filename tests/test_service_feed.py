"""What changed since a revision: each change of an outcome is told, and why; what cannot be told is to be reread."""

import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer, world
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem
from sqlmodel import col, select
from waiting import LONGEST

from fitsvc.answers.records import Stored
from fitsvc.service import feed
from fitsvc.service.app import create_app
from fitsvc.store import observations
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.rigs import parts_used, rigs_using
from fitsvc.store.tables import Observation

Client = TestClient[Litestar]
RIG = {"id": "rig_one", "name": "One", "rig": {"receiver": {"id": "rcv_one"}}}
PAGE = "/v1/rigs/rig_one/accessories?detail=compact&limit=1000"


class Shop:
    """A service with a rig and some goods, and what is written to it."""

    def __init__(self, client: Client, key: dict[str, str], database: Database) -> None:
        self.client, self.key, self.database = client, key, database

    def write(self, path: str, **document: Any) -> None:
        """Store something."""
        made = self.client.post(path, json=document, headers=self.key)
        assert made.status_code == 201, made.text

    def delete(self, path: str) -> None:
        """Delete something."""
        assert self.client.delete(path, headers=self.key | {"If-Match": "*"}).status_code == 204

    def item(self, sku: str, shank: str, subject: str = "accessory") -> None:
        """Store an item."""
        facts = {"kind": "cargo_carrier", "shank": shank} if subject == "accessory" else {}
        self.write("/v1/accessories", sku=sku, subject=subject, facts=facts)

    def tell(self, subject: str, record: str, **facts: str) -> None:
        """Tell a fact of a record."""
        self.write("/v1/observations", subject=subject, record=record, facts=facts, by="us")

    def told_of(self, record: str) -> list[str]:
        """What was told of an accessory, its deletion too, in its order."""
        with self.database.session() as session:
            query = select(Observation.id).where(Observation.record_id == record)
            return list(session.exec(query.order_by(col(Observation.sequence))))

    def outcomes(self) -> dict[str, str]:
        """What the rig comes to with each item."""
        return {one["sku"]: one["outcome"] for one in self.client.get(PAGE).json()["items"]}

    def changes(self, query: str) -> Any:
        """Ask what changed."""
        response = self.client.get(f"/v1/changes?{query}")
        assert response.status_code == 200, response.text
        return response.json()

    def rigs(self, since: str) -> tuple[list[str], list[str]]:
        """The rigs that are to be read anew, and those that are gone."""
        found = self.changes(f"since={since}")
        return found["everything"], found["gone"]

    def revision(self) -> str:
        """The revision of now."""
        return str(self.client.get("/v1/changes").json()["revision"])


@pytest.fixture
def shop(url: str, tmp_path: Path) -> Iterator[Shop]:
    """Give a shop."""
    database = Database(url)
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "feed")[0]}
    with TestClient(create_app(database, answerer(), tmp_path / "audits"), raise_server_exceptions=False) as client:
        made = Shop(client, key, database)
        made.write("/v1/receivers", id="rcv_one", facts={"opening": "2 in"})
        made.write("/v1/rigs", **RIG)
        for sku, shank in (("A", "2 in"), ("B", "1-1/4 in"), ("C", "2 in")):
            made.item(sku, shank)
        yield made
    database.close()


def facts_of(record: Stored | None) -> dict[str, Any]:
    """The facts of a record of the demo's shop."""
    assert record is not None
    return dict(record.facts)


def told(before: dict[str, str], after: dict[str, str]) -> dict[str, tuple[str | None, str | None]]:
    """The differences of two pages."""
    skus = before.keys() | after.keys()
    return {sku: (before.get(sku), after.get(sku)) for sku in skus if before.get(sku) != after.get(sku)}


def test_every_change_of_an_outcome_is_told(shop: Shop) -> None:
    """An item made, changed or deleted, and a rig's own part changed: what is told is how the pages differ, and why."""

    def make() -> None:
        shop.item("D", "2 in")
        shop.item("A-BALL", "", "ball")

    steps = [
        (make, "item"),
        (lambda: shop.tell("accessory", "A", shank="1-1/4 in"), "item"),
        (lambda: shop.delete("/v1/accessories/C"), "item"),
        (lambda: shop.tell("receiver", "rcv_one", opening="1-1/4 in"), "rig"),
    ]
    for step, why in steps:
        before, since = shop.outcomes(), shop.revision()
        step()
        found = shop.changes(f"since={since}")
        assert found["everything"] == []
        assert {one["sku"]: (one["before"], one["after"]) for one in found["changes"]} == told(
            before, shop.outcomes()
        ), why
        assert all(one["because"] == [why] for one in found["changes"])
        for one in found["changes"]:
            of = {shop.client.get(f"/v1/observations/{key}").json()["record"] for key in one["observations"]}
            assert of <= {one["sku"] if why == "item" else "rcv_one"}
            assert one["observations"] or one["after"] is None
        assert shop.changes(f"since={found['revision']}")["changes"] == []


def test_a_fit_with_less_on_it_is_told(shop: Shop) -> None:
    """By the item's own label, and by the rig's: the outcome stays, and both say what was promised and what holds.

    Where too many on a rig may be loaded otherwise its pages are to be read anew.
    """
    rig = world().rigs["rig_farm_muckle"]["rig"]
    parts = {name: facts_of(world().find(name, of["id"])) for name, of in rig.items()}
    stored = {"vehicle": {"id": "veh_two"}, "receiver": {"id": "rcv_two"}}
    for name, of in stored.items():
        shop.write(f"/v1/{name}s", id=of["id"], facts=parts[name])
    shop.write(
        "/v1/accessories", sku="TRAY", subject="accessory", facts=facts_of(world().find("accessory", "PKM-ALU-48"))
    )
    shop.write("/v1/rigs", id="rig_two", name="Two", rig=stored | {"mounting": {"facts": parts["mounting"]}})
    since = shop.revision()
    shop.tell("accessory", "TRAY", capacity="120 lb")
    [item] = shop.changes(f"since={since}&rig=rig_two")["changes"]
    assert (item["before"], item["after"], item["because"]) == ("conditional", "conditional", ["item"])
    assert (item["carried_before"], item["carried_after"]) == (
        "with up to 300 lb on it, a driver alone aboard",
        "with up to 120 lb on it, a driver alone aboard",
    )
    since = shop.revision()
    shop.tell("receiver", "rcv_two", tongue_rating="110 lb")
    promised = item["carried_after"]
    [rated] = shop.changes(f"since={since}&rig=rig_two")["changes"]
    assert (rated["sku"], rated["because"], rated["carried_before"]) == ("TRAY", ["rig"], promised)
    assert (rated["before"], rated["after"]) == ("conditional", "conditional")
    since = shop.revision()
    shop.tell("receiver", "rcv_two", tongue_rating="90 lb")
    [lower] = shop.changes(f"since={since}&rig=rig_two")["changes"]
    assert lower["before"] == lower["after"] == "conditional" and lower["carried_before"] == rated["carried_after"]
    assert "with at most 66 lb on it" in lower["carried_after"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(feed, "MOST_LOADED", 0)
        assert shop.changes(f"since={since}&rig=rig_two")["everything"] == ["rig_two"]


def test_what_is_deleted_is_told_by_what_it_was(shop: Shop) -> None:
    """A deleted item has what it came to then, also when another is sold under its SKU since; a ball had nothing."""
    shop.tell("accessory", "A", shank="2 in")
    shop.item("A-BALL", "", "ball")
    before, since = shop.outcomes(), shop.revision()
    for sku in ("A", "B", "A-BALL"):
        shop.delete(f"/v1/accessories/{sku}")
    shop.item("B", "2 in")
    shop.item("E", "2 in")
    shop.delete("/v1/accessories/E")
    found = {one["sku"]: (one["before"], one["after"]) for one in shop.changes(f"since={since}")["changes"]}
    assert found == {"A": (before["A"], None), "B": (before["B"], shop.outcomes()["B"])}
    shop.write("/v1/accessories", sku="A", subject="ball", facts={})
    assert shop.changes(f"since={since}&sku=A")["changes"] == [
        {"rig": "rig_one", "sku": "A", "before": before["A"], "after": None, "because": ["item"]}
        | {"observations": shop.told_of("A")[-2:]}
    ]


def test_what_an_earlier_version_deleted_is_told_without_what_it_was(shop: Shop) -> None:
    """Where it is not kept what was sold under a SKU, that it is no more is told all the same."""
    since = shop.revision()
    shop.delete("/v1/accessories/A")
    with shop.database.session() as session:
        (closing,) = session.exec(select(Observation).where(Observation.act == "deletes")).all()
        closing.ground = None
        session.add(closing)
    (found,) = shop.changes(f"since={since}")["changes"]
    assert (found["sku"], found["before"], found["after"]) == ("A", None, None)


def test_rigs_that_are_saved_and_deleted_are_told(shop: Shop) -> None:
    """A rig that was made or saved anew is to be read anew, and one that was deleted is gone."""
    since = shop.revision()
    assert shop.rigs(since) == ([], [])
    shop.write("/v1/rigs", **RIG | {"id": "rig_two"})
    assert shop.rigs(since) == (["rig_two"], [])
    since = shop.revision()
    assert shop.rigs(since) == ([], [])
    tag = shop.key | {"If-Match": "*"}
    state = {"name": "Two", "rig": {"receiver": {"facts": {"opening": "2-1/2 in"}}}}
    assert shop.client.put("/v1/rigs/rig_two", json=state, headers=tag).status_code == 200
    assert shop.rigs(since) == (["rig_two"], [])
    since = shop.revision()
    shop.delete("/v1/rigs/rig_two")
    assert shop.rigs(f"{since}&wait=20") == ([], ["rig_two"])
    shop.write("/v1/rigs", **RIG | {"id": "rig_two"})
    assert shop.rigs(since) == (["rig_two"], [])


def test_more_rigs_than_are_compared_are_all_named(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """None of many rigs is left out, and where there are more than are named it is said that it is all of them."""
    since, ids = shop.revision(), ["rig_one"]
    for number in range(feed.MOST_RIGS + 2):
        ids.append(f"rig_z{number:03}")
        shop.write("/v1/rigs", **RIG | {"id": ids[-1]})
    found = shop.changes(f"since={since}")
    assert (found["everything"], found["every_rig"]) == (ids, False)
    monkeypatch.setattr(feed, "MOST_NAMED", 10)
    found = shop.changes(f"since={since}")
    assert (found["everything"], found["every_rig"]) == (ids[:10], True)


def test_after_more_than_is_looked_through_all_pages_are_read_anew(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a catalogue was loaded: no change is left out, and the work of one who asks is bounded."""
    since = shop.revision()
    for number in range(3):
        shop.item(f"N-{number}", "2 in")
    monkeypatch.setattr(feed, "MOST_SAID", 3)
    assert len(shop.changes(f"since={since}")["changes"]) == 3
    monkeypatch.setattr(feed, "MOST_SAID", 2)
    found = shop.changes(f"since={since}")
    assert (found["changes"], found["everything"], found["other_rulebook"]) == ([], ["rig_one"], False)


def test_a_rig_saved_very_often_can_still_be_told_of(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """That it was saved is noted so many times only; then it is told with what is written next."""
    monkeypatch.setattr(observations, "MOST_NOTED", 2)
    state = {"name": "One", "rig": {"receiver": {"id": "rcv_one"}}}
    tag = shop.key | {"If-Match": "*"}
    for _ in range(3):
        since = shop.revision()
        assert shop.client.put("/v1/rigs/rig_one", json=state, headers=tag).status_code == 200
    assert shop.changes(f"since={since}")["everything"] == []
    shop.item("D", "2 in")
    assert shop.changes(f"since={since}")["everything"] == ["rig_one"]


def test_one_rig_and_one_item_are_told_by_themselves(shop: Shop) -> None:
    """Filters leave out the rest; what is not stored is not found."""
    since = shop.revision()
    shop.tell("accessory", "A", shank="1-1/4 in")
    shop.tell("accessory", "C", shank="1-1/4 in")
    assert [one["sku"] for one in shop.changes(f"since={since}&sku=C&rig=rig_one")["changes"]] == ["C"]
    problem(shop.client.get(f"/v1/changes?since={since}&rig=rig_none"), 404)


def test_a_change_names_what_was_told_of_all_that_a_rig_is_made_of(shop: Shop) -> None:
    """A rig of a vehicle and a receiver is made of the mounting they bring, too; told of itself it is read anew."""
    shop.write("/v1/vehicles", id="veh_one", facts={})
    shop.write("/v1/mountings", id="mnt_one", vehicle="veh_one", receiver="rcv_one", facts={})
    shop.write(
        "/v1/rigs", id="rig_both", name="Both", rig={"vehicle": {"id": "veh_one"}, "receiver": {"id": "rcv_one"}}
    )
    with shop.database.session() as session:
        found = parts_used(session, "rig_both")
        for subject, key in found:
            assert any(one.id == "rig_both" for one in rigs_using(session, subject, key))
    assert found == {("vehicle", "veh_one"), ("receiver", "rcv_one"), ("mounting", "mnt_one"), ("rig", "rig_both")}
    since = shop.revision()
    shop.tell("mounting", "mnt_one", height="17 in")
    shop.tell("receiver", "rcv_one", opening="1-1/4 in")
    changes = shop.changes(f"since={since}&rig=rig_both")["changes"]
    assert {one["sku"] for one in changes} == {"A", "B", "C"}
    by = {shop.told_of(key)[-1] for key in ("mnt_one", "rcv_one")}
    assert all((one["because"], {*one["observations"]}) == (["rig"], by) for one in changes)
    shop.tell("rig", "rig_both", **{"receiver.opening": "2 in"})
    assert shop.changes(f"since={since}&rig=rig_both")["everything"] == ["rig_both"]


def test_what_cannot_be_told_is_to_be_read_anew(shop: Shop) -> None:
    """A rig that was saved anew, and another rulebook, change whatever they change: the rig's pages are read again."""
    since = shop.revision()
    assert shop.changes(f"since={since}&rulebook=sha256:other")["everything"] == ["rig_one"]
    shop.tell("accessory", "A", shank="1-1/4 in")
    state = {"name": "One", "rig": {"receiver": {"facts": {"opening": "2-1/2 in"}}}}
    assert shop.client.put("/v1/rigs/rig_one", json=state, headers=shop.key | {"If-Match": "*"}).status_code == 200
    assert shop.changes(f"since={since}")["everything"] == ["rig_one"]


def test_a_change_of_the_rules_is_told_to_who_goes_on_from_a_revision(shop: Shop) -> None:
    """A revision is of a rulebook: with that of another, or with a bare number of none, every rig is read anew."""
    number, _, by = shop.revision().partition(".")
    digest = shop.changes("")["rulebook"]["digest"]
    assert digest.startswith(f"sha256:{by}")
    for since in (f"{number}.{'0' * 16}", number, f"{number}&rulebook=sha256:", f"{number}&rulebook=sha256:{'0' * 64}"):
        found = shop.changes(f"since={since}&wait=20")
        assert (found["everything"], found["other_rulebook"]) == (["rig_one"], True)
    for since in (f"{number}.{by}", f"{number}&rulebook={digest}"):
        assert shop.changes(f"since={since}")["everything"] == []
    problem(shop.client.get(f"/v1/changes?since={number}.{by[:-1]}"), 400)


def test_a_store_behind_the_revision_is_read_anew(shop: Shop) -> None:
    """After a store was restored from a copy the revision asked from is none of its own; what is then told is."""
    number, _, by = shop.revision().partition(".")
    found = shop.changes(f"since={int(number) + 1}.{by}")
    assert found["everything"] == ["rig_one"] and found["revision"] == shop.revision() and not found["other_rulebook"]
    assert shop.changes(f"since={found['revision']}")["everything"] == []


def test_a_clock_that_was_set_back_hides_no_change(shop: Shop) -> None:
    """What came after a revision with a time before it cannot be told one by one, and is not left out."""
    since = shop.revision()
    shop.tell("accessory", "A", shank="1-1/4 in")
    with shop.database.session() as session:
        newest = session.exec(select(Observation).order_by(col(Observation.sequence).desc())).first()
        assert newest is not None
        newest.recorded_at -= timedelta(days=1)
        session.add(newest)
    assert shop.changes(f"since={since}")["everything"] == ["rig_one"]
    shop.tell("accessory", "C", shank="1-1/4 in")
    assert shop.changes(f"since={since}")["everything"] == ["rig_one"]


def test_who_waits_is_told_when_there_is_something(shop: Shop) -> None:
    """A reply that is waited for comes with the change, and without one when the time is over."""
    since = shop.revision()
    assert shop.changes(f"since={since}&wait=1")["changes"] == []
    found: list[Any] = []
    waiting = threading.Thread(target=lambda: found.append(shop.changes(f"since={since}&wait=25")))
    waiting.start()
    shop.tell("accessory", "A", shank="1-1/4 in")
    waiting.join(LONGEST)
    assert [one["sku"] for one in found[0]["changes"]] == ["A"]
