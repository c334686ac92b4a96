"""What is stored as pages: found by words, by what is not known of it, and each record's sheet."""

from html import unescape

import pytest
from litestar import Litestar
from litestar.testing import TestClient

Client = TestClient[Litestar]
Key = dict[str, str]


@pytest.fixture
def mounting(client: Client, key: Key) -> str:
    """Store a vehicle, a receiver and how it sits, of which two people tell what cannot both hold."""
    for path, body in (("vehicles", {"id": "veh_1", "label": "Ashgill van"}), ("receivers", {"id": "rcv_1"})):
        client.post(f"/v1/{path}", json=body, headers=key)
    ours = {"id": "mnt_1", "vehicle": "veh_1", "receiver": "rcv_1", "facts": {"height": "17 in"}}
    client.post("/v1/mountings", json=ours, headers=key)
    for by, said in (("Ann", "4 in"), ("Bo", "14 in")):
        told = {"subject": "mounting", "record": "mnt_1", "facts": {"pin_to_bumper": said}, "by": by, "tool": "tape"}
        assert client.post("/v1/observations", json=told, headers=key).status_code == 201
    return "mnt_1"


def shown(client: Client, path: str) -> str:
    """A page's text as it is read."""
    reply = client.get(path)
    assert reply.status_code == 200, reply.text
    return unescape(reply.text)


def test_records_are_found_by_words_and_by_what_is_not_known(client: Client, mounting: str) -> None:
    """A mounting goes by its vehicle's name; one whose height is told does not lack it."""
    assert "/records/mounting/mnt_1" in shown(client, "/records?text=ashgill")
    assert "None is like that" in shown(client, "/records/mounting?lacking=height")
    assert "mnt_1" in shown(client, "/records/mounting?lacking=fitted")
    assert "Nothing goes by" in shown(client, "/records?text=zzz%25")
    assert client.get("/records/nothing").status_code == client.get("/records/mounting/mnt_2").status_code == 404


def test_a_sheet_tells_what_is_disputed_by_whom_and_what_is_not_known(client: Client, mounting: str) -> None:
    """Both readings stand with their names; the page of the past has neither."""
    sheet = shown(client, "/records/mounting/mnt_1")
    assert "1 to measure again" in sheet
    for text in ("4 in, measured by Ann", "14 in, measured by Bo", "tape", "largest spare known to stow"):
        assert text in sheet
    assert "measured by" not in shown(client, "/records/mounting/mnt_1?as_of=2020-01-01")


def test_an_empty_store_says_how_to_fill_it(client: Client) -> None:
    """Whoever opens an empty store is told what to do."""
    assert "fitsvc load" in shown(client, "/records")
    assert "None is stored yet" in shown(client, "/records/vehicle")


def test_a_saved_rig_that_is_typed_as_a_vehicle_is_pointed_to_the_records(client: Client) -> None:
    """Its name stands in no list of vehicles, and where it does stand is said."""
    page = shown(client, "/?find.vehicle=ashgill")
    assert "Nothing goes by" in page and "A saved rig is found by its name under Records." in page
