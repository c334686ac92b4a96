"""Changing a record from its page: what was not touched stays, and what somebody else changed meanwhile is shown."""

from html import unescape
from html.parser import HTMLParser

import pytest
from litestar import Litestar
from litestar.testing import TestClient

Client = TestClient[Litestar]
Key = dict[str, str]
PAGE = "/edit/mounting/mnt_1"


class Form(HTMLParser):
    """What a browser would send of a page's forms as they stand."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self._select = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a field with its value, and of a choice the one that is selected."""
        told = dict(attrs)
        if tag == "input" and told.get("name"):
            self.fields[str(told["name"])] = told.get("value") or ""
        elif tag == "select":
            self._select = told.get("name") or ""
        elif tag == "option" and ("selected" in told or self._select not in self.fields):
            self.fields[self._select] = told.get("value") or ""


@pytest.fixture
def mounting(client: Client, key: Key) -> None:
    """Store a mounting with published facts, one of which was measured too."""
    for path, body in (("vehicles", {"id": "veh_1"}), ("receivers", {"id": "rcv_1"})):
        client.post(f"/v1/{path}", json=body, headers=key)
    known = {"height": "17 in", "pin_to_bumper": "4 in", "drilling": True}
    ours = {"id": "mnt_1", "label": "ours", "vehicle": "veh_1", "receiver": "rcv_1", "facts": known}
    client.post("/v1/mountings", json=ours, headers=key)
    measured(client, key, "4-1/8 in")


def measured(client: Client, key: Key, text: str) -> None:
    """Measure from pin to bumper."""
    told = {"subject": "mounting", "record": "mnt_1", "facts": {"pin_to_bumper": text}, "by": "Ann"}
    assert client.post("/v1/observations", json=told, headers=key).status_code == 201


def test_only_what_was_changed_is_told(client: Client, key: Key, mounting: None) -> None:
    """A new name and one figure: every other fact keeps its value and how it is known."""
    before = client.get("/v1/mountings/mnt_1").json()
    form = Form(client.get(PAGE).text).fields
    assert client.post(PAGE, data=form | {"label": "x"}).status_code == 401
    changed = form | {"label": "Ours, seen again", "mounting.height": "16-1/2 in", "key": key["X-API-Key"]}
    assert client.post(PAGE, data=changed, follow_redirects=False).status_code == 303
    after = client.get("/v1/mountings/mnt_1").json()
    assert (after["label"], after["facts"]) == ("Ours, seen again", before["facts"] | {"height": "16-1/2 in"})
    assert {**after["provenance"], "height": 0} == {**before["provenance"], "height": 0}


def test_what_was_changed_meanwhile_is_shown_beside_what_was_typed(client: Client, key: Key, mounting: None) -> None:
    """Nothing is kept over another's change unseen; sent again from the page that shows both, it is."""
    form = Form(client.get(PAGE).text).fields
    measured(client, key, "4-1/4 in")
    typed = form | {"mounting.pin_to_bumper": "5 in", "mounting.height": "16 in", "key": key["X-API-Key"]}
    clash = client.post(PAGE, data=typed)
    assert clash.status_code == 412
    text = unescape(clash.text)
    assert "Somebody has changed it" in text
    for said in ("4-1/8 in", "4-1/4 in", "you typed <b>5 in</b>"):
        assert said in text
    assert client.get("/v1/mountings/mnt_1").json()["facts"]["height"] == "17 in"
    again = Form(clash.text).fields | {"key": key["X-API-Key"], "kind": "measured", "by": "Bo"}
    assert client.post(PAGE, data=again, follow_redirects=False).status_code == 303
    sheet = client.get("/v1/mountings/mnt_1/sheet").json()
    pin, height = (next(one for one in sheet["facts"] if one["fact"] == name) for name in ("pin_to_bumper", "height"))
    assert pin["state"] == "disputed"
    assert height["value"].startswith("16 in")
    settling = Form(client.get(PAGE).text).fields | {"settles": "yes", "kind": "measured", "key": key["X-API-Key"]}
    settling |= {"mounting.pin_to_bumper": "5-1/8 in"}
    assert client.post(PAGE, data=settling | {"note": ""}).status_code == 422
    settled = client.post(PAGE, data=settling | {"note": "both of us, twice"}, follow_redirects=False)
    assert settled.status_code == 303
    now = client.get("/v1/mountings/mnt_1").json()
    assert "state" not in now["provenance"]["pin_to_bumper"]


def test_a_statement_is_taken_back_with_a_reason(client: Client, key: Key, mounting: None) -> None:
    """What is known follows from the rest, and the history says why."""
    sheet = client.get("/v1/mountings/mnt_1/sheet").json()
    said = next(one["statements"] for one in sheet["facts"] if one["fact"] == "pin_to_bumper")
    target = next(one["observation"] for one in said if one["by"] == "Ann")
    assert target in client.get("/records/mounting/mnt_1").text
    form = Form(client.get(f"{PAGE}?retracts={target}").text).fields | {"key": key["X-API-Key"]}
    assert client.post(PAGE, data=form).status_code == 422
    form["note"] = "the wrong truck"
    assert client.post(PAGE, data=form, follow_redirects=False).status_code == 303
    assert client.get("/v1/mountings/mnt_1").json()["facts"]["pin_to_bumper"] == "4 in"
    assert "the wrong truck" in client.get("/records/mounting/mnt_1").text


def test_what_cannot_be_is_told_at_its_field(client: Client, key: Key, mounting: None) -> None:
    """A figure that is none stays typed, with what is wrong beside it, and nothing is changed."""
    form = Form(client.get(PAGE).text).fields | {"mounting.height": "lots", "key": key["X-API-Key"]}
    refused = client.post(PAGE, data=form)
    assert refused.status_code == 422
    assert 'value="lots"' in refused.text
    assert "mounting-height-error" in refused.text
    assert client.get("/v1/mountings/mnt_1").json()["facts"]["height"] == "17 in"
