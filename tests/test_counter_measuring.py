"""Measuring at the vehicle: kept in the address, sent once with a key, and kept on the phone where there is no line."""

import re
from html import unescape
from urllib.parse import parse_qsl, urlsplit

import pytest
from counter_browser import Counter, Seen, context
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser, Page, expect

from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
Key = dict[str, str]
HAND = {"width": 390, "height": 844}


@pytest.fixture
def vehicle(client: Client, key: Key) -> str:
    """Store a vehicle on which no receiver is stored, and a ball mount."""
    client.post("/v1/vehicles", json={"id": "veh_1", "label": "Ashgill van"}, headers=key)
    mount = {"kind": "ball_mount", "shank": "2 in", "pin": "5/8 in", "trailer_rating": "3500 lb"}
    client.post("/v1/accessories", json={"sku": "MOUNT-1", "subject": "accessory", "facts": mount}, headers=key)
    longer = {"sku": "EXT-8", "subject": "adapter", "facts": {"adds_length": "8 in"}}
    client.post("/v1/accessories", json=longer, headers=key)
    return "veh_1"


def step(client: Client, address: str, **fields: str) -> str:
    """Send a step's form as a browser without scripts does; the address that it leads to."""
    sent = dict(parse_qsl(urlsplit(address).query)) | fields
    reply = client.get("/measure", params=sent, follow_redirects=False)
    assert reply.status_code == 303, reply.text
    return str(reply.headers["location"])


def test_f14_a_visit_is_kept_in_its_address_and_recorded_once(client: Client, key: Key, vehicle: str) -> None:
    """Without scripts: what is read of a receiver that nobody has stored makes it, once however often it is sent."""
    at = f"/measure?vehicle={vehicle}&called=Tarrow 3"
    assert "Size of the receiver" in client.get(at).text
    at = step(client, at, ask="receiver.opening", value="2 in")
    at = step(client, at, ask="mounting.pin_to_bumper", value="4-3/8", tool="steel rule")
    at = step(client, at, ask="mounting.height", **{"cannot.now": "yes"})
    at = step(client, at, tyre="245/75R16", came="rubbed")
    at = step(client, at, sku="MOUNT-1", state="in_use", result="clear", gap="1 in", through="EXT-8, EXT-8")
    fields = dict(parse_qsl(urlsplit(at).query))
    assert fields["mounting.pin_to_bumper"] == "4-3/8 in ± 1/16 in"
    body = fields | {"by": "Wilf", "at": "2026-04-17T09:00:00Z"}
    refused = client.post("/measure", data=body)
    assert refused.status_code == 401
    assert "4-3/8 in ± 1/16 in" in refused.text
    assert client.get("/v1/mountings").json()["items"] == []
    for again in (False, True):
        reply = client.post("/measure", data=body | {"key": key["X-API-Key"]})
        assert reply.status_code == 200, reply.text
        assert ("not a second time" in reply.text) is again
    (mounting,), (receiver,) = (client.get(f"/v1/{many}").json()["items"] for many in ("mountings", "receivers"))
    assert (receiver["label"], receiver["facts"]) == ("Tarrow 3", {"opening": "2 in"})
    assert mounting["facts"]["pin_to_bumper"] == {"value": "4-3/8 in", "tolerance": "1/16 in"}
    sheet = client.get(f"/v1/mountings/{mounting['id']}/sheet").json()
    (said,) = next(one["statements"] for one in sheet["facts"] if one["fact"] == "pin_to_bumper")
    assert (said["kind"], said["by"], said["tool"]) == ("measured", "Wilf", "steel rule")
    assert [one["evidence"] for one in sheet["tries"]] == [
        {"tyre": "245/75R16", "stowed": True, "rubbed": True},
        {"sku": "MOUNT-1", "state": "in_use", "result": "clear", "gap": "1 in", "through": ["EXT-8"] * 2},
    ]


def test_what_contradicts_is_shown_with_both_values_and_names(client: Client, key: Key, vehicle: str) -> None:
    """The second who reads another figure is told the first one's, and answers go by both."""
    client.post("/v1/receivers", json={"id": "rcv_1"}, headers=key)
    client.post("/v1/mountings", json={"id": "mnt_1", "vehicle": vehicle, "receiver": "rcv_1"}, headers=key)
    for by, text in (("Ann", "4 in"), ("Bo", "14 in")):
        told = {"mounting": "mnt_1", "mounting.pin_to_bumper": text, "by": by, "key": key["X-API-Key"]}
        page = unescape(client.post("/measure", data=told).text)
    assert "This cannot all hold" in page
    assert "4 in by Ann" in page
    assert "14 in by Bo" in page
    # It is asked again, and says why.
    assert "cannot both hold" in client.get("/measure?mounting=mnt_1").text


def test_a_figure_that_cannot_be_is_asked_again(client: Client, vehicle: str) -> None:
    """What is typed stays in its field, and what is wrong with it stands beside."""
    for value, says in (("102 in", "not plausible"), ("13 mm", "did you mean"), ("<b>", 'value="<b>"')):
        fields = {"vehicle": vehicle, "called": "x", "ask": "mounting.height", "value": value}
        reply = client.get("/measure", params=fields, follow_redirects=False)
        assert reply.status_code == 422
        assert says in unescape(reply.text)


def test_a_phone_without_a_line_keeps_what_is_read_and_sends_it_once(browser: Browser, counter: Counter) -> None:
    """Keys for the thumb; questions go on without a line; what was sent meanwhile goes when there is one."""
    database = Database(counter.database)
    with database.session() as session:
        key = create_key(session, "phone")[0]
    database.close()
    with context(browser, counter, HAND, has_touch=True, is_mobile=True) as window:
        page, seen = window.new_page(), Seen(counter.url)
        seen.watch(page)
        page.goto(
            "/measure?vehicle=veh_mossback_2021_four&called=Bench+test+2&vehicle.spare_bottom_height=30+in&mounting.height=18+in"
        )
        counts = page.locator(".tallyline b")
        before = int(counts.first.inner_text())
        page.get_by_text("5/8 in", exact=True).tap()
        page.get_by_role("button", name="Keep", exact=True).first.tap()
        expect(page).to_have_url(re.compile("receiver.pin_hole"))
        assert int(counts.first.inner_text()) > before
        window.set_offline(True)
        _read_pin_to_bumper(page)
        expect(page.locator("[data-line]")).to_contain_text("kept on this phone")
        page.locator("#send summary").tap()
        page.get_by_label("Who measured").fill("Wilf")
        page.get_by_label("Key that may record").fill(key)
        page.get_by_role("button", name="Send", exact=True).tap()
        expect(page.locator("[data-line]")).to_contain_text("sent when there is one")
        assert key not in page.evaluate("JSON.stringify(localStorage)")
        window.set_offline(False)
        expect(page.locator("[data-sent]")).to_contain_text("4-7/16 in ± 1/8 in")
        assert page.evaluate("localStorage['fitsvc.unsent']") == "{}"
        assert seen.elsewhere == []


def _read_pin_to_bumper(page: Page) -> None:
    """Pass over questions until the tape's comes, and type it by the keys."""
    while "pin hole to bumper" not in page.locator("h1").first.inner_text():
        asked = page.locator("h1").first.inner_text()
        page.get_by_role("button", name="Cannot measure").first.tap()
        expect(page.locator("h1").first).not_to_have_text(asked)
    for name in ("4", "3/8", "+ 1/16"):
        page.get_by_role("button", name=name, exact=True).tap()
    page.get_by_role("button", name="Keep", exact=True).first.tap()


def test_a_key_that_may_only_record_makes_no_records(client: Client, database: Database, vehicle: str) -> None:
    """What the API asks for of whoever makes or changes a record, the pages ask for too."""
    with database.session() as session:
        records = create_key(session, "yard phone", ["record"])[0]
    new = {"vehicle": vehicle, "called": "Tarrow 3", "receiver.opening": "2 in", "key": records}
    refused = client.post("/measure", data=new)
    assert refused.status_code == 403
    assert "a key that may edit" in refused.text
    assert client.get("/v1/receivers").json()["items"] == []
    assert client.post(f"/edit/vehicle/{vehicle}", data={"label": "mine", "key": records}).status_code == 401
    assert client.get(f"/v1/vehicles/{vehicle}").json()["label"] == "Ashgill van"


def test_on_a_slow_line_the_next_question_is_there_at_once(browser: Browser, counter: Counter) -> None:
    """What is read waits for no answer: the next question comes from the phone, and the count follows."""
    with context(browser, counter, HAND, has_touch=True, is_mobile=True) as window:
        page, waited = window.new_page(), list[str]()
        page.goto("/measure?vehicle=veh_mossback_2021_four&called=Bench+test+3")
        first, counts = page.locator("h1").first.inner_text(), page.locator(".tallyline b").first
        before = counts.inner_text()
        page.on("requestfinished", lambda one: waited.append(one.url))
        slow = {"offline": False, "latency": 2_000, "downloadThroughput": 5_000, "uploadThroughput": 5_000}
        window.new_cdp_session(page).send("Network.emulateNetworkConditions", slow)
        page.get_by_text("5/8 in", exact=True).tap()
        page.get_by_role("button", name="Keep", exact=True).first.tap()
        expect(page.locator("h1").first).not_to_have_text(first)
        assert not any("/measure?" in one for one in waited) and "receiver.pin_hole" in page.url
        expect(counts).not_to_have_text(before)
        assert any("/measure?" in one for one in waited)


def test_without_scripts_a_visit_goes_on_by_buttons(browser: Browser, counter: Counter) -> None:
    """On a phone too: a reading, one that cannot be taken, and both stand among what is kept and not sent yet."""
    with context(browser, counter, HAND, has_touch=True, is_mobile=True, java_script_enabled=False) as window:
        page = window.new_page()
        page.goto("/measure?vehicle=veh_mossback_2021_four&called=Bench+test+4")
        page.locator("input[name=value][value='5/8 in']").check()
        page.get_by_role("button", name="Keep", exact=True).first.tap()
        expect(page).to_have_url(re.compile("receiver.pin_hole=5"))
        page.get_by_role("button", name="Cannot measure").first.tap()
        expect(page).to_have_url(re.compile("cannot="))
        page.locator("summary", has_text="Kept, not sent yet").tap()
        expect(page.locator("[data-kept] li").first).to_contain_text("5/8 in")
