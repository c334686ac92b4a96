"""Several things at once on the pages: asked for, kept, changed, let go of, and answered for one by one."""

import re
from html import unescape
from typing import Final
from urllib.parse import urlencode

import pytest
from counter_browser import (
    BIKES_TOO,
    FRONT_AND_REAR,
    IN_FRONT,
    MUCKLE,
    PHONE,
    TOGETHER,
    TWIN,
    Counter,
    context,
)
from demo_world import answerer, question, world
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser, expect
from test_counter_choosing import Form

from fitsvc.service.counter.links import FRONT, REAR

ONE_BIKE: Final = "load.bikes=1&load.bike_weight=30+lb"
_PARTS: Final = ('h2 id="why"', 'details class="minded noprint"')
MOUNT: Final = f"{MUCKLE}&accessory=TUG-2-D2-10"


def _page(pages: TestClient[Litestar], path: str) -> str:
    return pages.get(path, headers={"accept": "text/html"}).text


def _words(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", "", html)))


def test_a_page_says_of_each_what_the_answer_to_all_says(pages: TestClient[Litestar]) -> None:
    """Bikes above a trailer: the outcome of all, each one's sentence, all that stands between them, one picture."""
    found = answerer().answer(question("15-bikes-and-cart-on-a-twin.json"), world())
    html = _page(pages, TOGETHER)
    words = _words(html)
    assert re.search(r'class="outcome (\w+)"', html)[1] == found.outcome == "fails"  # type: ignore[index]  # a page without an outcome is to fail here
    for one in found.together:
        assert one.answer.summary.partition(". ")[0].removeprefix("No") in words
    between = re.search(r'(?s)<h2 id="why">.*?</section>', html)
    blocks = {one.rule for one in found.findings if (one.result, one.severity) == ("fails", "blocking")}
    causes = [one for one in found.spoils if one.rule in blocks]
    assert between and between[0].count('<li class="fails">') == len(causes) > 0
    assert all(rf'href="/rules/{one.rule}"' in between[0] and one.helps in words for one in causes)
    assert "Side view: " in html


def test_a_step_left_in_leads_on_and_its_cause_stands_alone(pages: TestClient[Litestar]) -> None:
    """One opening for two: the cause with what helps, the next move a link to the answer without one of them.

    What would only have to be minded, as how high the openings stand, is no cause of it and stands below.
    """
    html = _page(pages, f"/answer?{MUCKLE}&accessory=SPK-HIGH-2&{ONE_BIKE}&also.1=STT-FOLD-2")
    between, minded = (re.search(rf"(?s)<{part}.*?</(?:section|details)>", html) for part in _PARTS)
    assert between and re.findall(r'href="/rules/([^"]+)"', between[0]) == ["an-opening-for-each"]
    assert "What helps:</b> a dual receiver that bears all of it, or one of them left off." in between[0]
    assert minded and "openings-told-apart" in minded[0]
    (href,) = re.findall(r'<a class="button main noprint" href="([^"]+)">See that answer', html)
    assert "also" not in href and 'class="outcome fails"' not in _page(pages, unescape(href))


def test_each_leads_to_the_answer_about_it_alone(pages: TestClient[Litestar]) -> None:
    """What it comes to by itself is what its own page says, with the journey told for all and its own load."""
    html = _page(pages, TOGETHER)
    found = re.findall(r'<a href="([^"]+)">By itself.*?</a>: ([^<]+)<', html)
    alone = {unescape(href): said for href, said in found}
    assert len(alone) == 2
    (bikes,) = [href for href in alone if "SPK-TRUG-2" in href]
    assert "load.bikes=2" in bikes and "occupants_weight=330" in bikes and "also" not in bikes and "TUG" not in bikes
    for href, said in alone.items():
        outcome = re.search(r'class="outcome (\w+)"', _page(pages, href))[1]  # type: ignore[index]  # as above
        assert {"No": "fails", "Only if": "conditional"}[said] == outcome


def test_a_next_step_asks_for_the_thing_it_is_about(pages: TestClient[Litestar]) -> None:
    """What is to be told of the further thing has that thing's field, and the answer takes it."""
    html = _page(pages, f"/answer?{TWIN}&accessory=SPK-TRUG-1&{ONE_BIKE}&also.1=SPK-HIGH-2&also.1.load.bikes=1")
    assert '<input id="step-also-1-load-bike-weight" name="also.1.load.bike_weight"' in html
    assert 'name="load.bike_weight" value="30 lb"' in html


def test_the_form_keeps_changes_and_lets_go_without_scripts(pages: TestClient[Litestar]) -> None:
    """Typed by a word, chosen from what goes by it, kept with its own load, let go of with all that was told of it."""
    assert "find.also.1" not in Form(_page(pages, f"/?{MUCKLE}")).fields
    assert "find.also.1" in Form(_page(pages, f"/?{MOUNT}")).fields
    found = Form(_page(pages, f"/?{MOUNT}&find.also.1=two+trays"))
    assert "SPK-TRUG-2" in found.radios["also.1"] and not found.fields["also.1"]
    asked = pages.get(f"/answer?{MOUNT}&find.also.1=trug&seen.also.1=trug", headers={"accept": "text/html"})
    assert asked.status_code == 422 and 'href="#find-also-1"' in asked.text
    kept = Form(_page(pages, f"/?{MOUNT}&{BIKES_TOO}&find.also.2=step")).fields
    assert (kept["also.1"], kept["also.1.load.bikes"], kept["find.also.2"]) == ("SPK-TRUG-2", "2", "step")
    scanned = Form(_page(pages, f"/?{MOUNT}&{BIKES_TOO}&find.also.1=SPK-HIGH-2&seen.also.1=")).fields
    assert scanned["also.1"] == "SPK-HIGH-2"
    gone = Form(_page(pages, f"/?{MOUNT}&{BIKES_TOO.replace('SPK-TRUG-2', '')}")).fields
    assert not any(text and name.startswith("also.1") for name, text in gone.items())
    moved = Form(_page(pages, f"/?{MOUNT}&also.3=SPK-HIGH-2&also.3.load.bikes=2")).fields
    assert (moved["also.1"], moved["also.1.load.bikes"]) == ("SPK-HIGH-2", "2")


@pytest.mark.parametrize("path", ["/fits", "/sell"])
def test_a_page_about_one_thing_says_that_it_leaves_the_others_out(pages: TestClient[Litestar], path: str) -> None:
    """No outcome beside others is shown where the others are not judged."""
    assert "also.1" in _words(_page(pages, f"{path}?{TWIN}&{BIKES_TOO}&want.step=yes"))


def test_a_clerk_adds_a_thing_and_sees_the_answer_turn(browser: Browser, counter: Counter) -> None:
    """With scripts: the outcome so far is that of all at once, survives a reload, and goes back when it is let go."""
    window = context(browser, counter)
    page = window.new_page()
    page.goto(f"/?{MUCKLE}&accessory=LLH-TRAY-60&load.cargo_weight=50+lb")
    before = page.locator("#so-far .outcome").get_attribute("class")
    page.locator("summary", has_text="at the same time").click()
    page.locator("#find-also-1").fill("SPK-TRUG-2-")
    page.locator("#find-also-1").fill("SPK-TRUG-2")
    page.locator("label:has(input[name='also.1'])", has_text="SPK-TRUG-2").first.click()
    page.locator("#also-1-load-bikes").fill("2")
    page.locator("#also-1-load-bikes").press("Tab")
    expect(page.locator("#so-far .outcome")).to_have_class("outcome fails")
    expect(page).to_have_url(re.compile(r"also\.1\.load\.bikes=2"))
    page.reload()
    expect(page.locator("#also-1-load-bikes")).to_have_value("2")
    expect(page.locator("#so-far .outcome")).to_have_class("outcome fails")
    page.locator("#find-also-1").fill("")
    page.locator("#also-1-none").click()
    expect(page.locator("#so-far .outcome")).to_have_class(before or "")
    window.close()


# in front and behind at the same time


def test_what_hangs_in_front_is_judged_by_its_own_receiver(pages: TestClient[Litestar]) -> None:
    """Bikes behind and a box in front: the page says what the API says of the same, and nothing of the rear's label."""
    rig = {"vehicle": {"id": "veh_muckle_2023_short"}, "receiver": {"id": "rcv_brannoch_muckle"}}
    rig["mounting"] = {"id": "mnt_muckle_short_own"}
    front = {"vehicle": {"id": "veh_muckle_2023_short"}, "receiver": {"facts": {"opening": "2 in"}}}
    bikes = {
        "hangs_on": REAR,
        "accessory": {"sku": "SPK-TRUG-2"},
        "load": {"facts": {"bikes": 2, "bike_weight": "38 lb"}},
    }
    tray = {
        "hangs_on": FRONT,
        "rig": front,
        "accessory": {"sku": "LLH-TRAY-60"},
        "load": {"facts": {"cargo_weight": "60 lb"}},
    }
    told = pages.post("/v1/answers", json={"rig": rig, "together": [bikes, tray]}).json()
    html = _page(pages, FRONT_AND_REAR)
    words = _words(html)
    assert re.search(r'class="outcome (\w+)"', html)[1] == told["outcome"]  # type: ignore[index]  # as above
    for one in told["together"]:
        assert one["answer"]["summary"].partition(". ")[0].removeprefix("No") in words
    assert "At the same time: the receiver at the front, " in words
    assert html.count('class="figure picture"') == 2  # the rear, and the front the other way round
    # What is to be told first is what the sentence says, of the thing that it is about.
    assert '<select id="step-also-1-accessory-allowed-at-front" name="also.1.accessory.allowed_at_front"' in html


def test_a_receiver_in_front_of_which_nothing_is_told_is_no_yes(pages: TestClient[Litestar]) -> None:
    """The rear's opening and ratings are not the front's: untold, its opening is the first to be asked for, there."""
    bare = FRONT_AND_REAR.replace("&also.1.receiver.opening=2+in", "")
    html = _page(pages, bare)
    assert re.search(r'class="outcome (\w+)"', html)[1] in ("undetermined", "fails")  # type: ignore[index]  # as above
    own = Form(_page(pages, bare.replace("/answer?", "/?"))).fields
    assert own["also.1.hangs_on"] == FRONT and own["also.1.receiver.opening"] == ""
    small = _page(pages, FRONT_AND_REAR.replace("receiver.opening=2+in", "receiver.opening=1-1%2F4+in"))
    assert 'class="outcome fails"' in small


def test_what_hangs_in_front_stays_with_its_vehicle(pages: TestClient[Litestar]) -> None:
    """Hung behind again, or on another vehicle, what was told of the receiver in front counts no more."""
    ask = FRONT_AND_REAR.replace("/answer?", "/?")
    behind = Form(_page(pages, ask.replace("hangs_on=front_receiver", "hangs_on=rear_receiver"))).fields
    assert behind["also.1"] and not any(name.startswith("also.1.receiver") for name in behind)
    moved = _page(pages, f"{ask}&on=veh_dunlin_2022%7Crcv_pell_wicket_3")
    assert "stays with 2022 Hestrel Dunlin" in _words(moved)
    assert Form(moved).fields.get("also.1.receiver.opening", "") == ""


def test_a_receiver_stored_in_front_can_be_chosen_there(client: TestClient[Litestar], key: dict[str, str]) -> None:
    """Of those stored for the vehicle only the one in front is offered there, and its own figures are what counts."""
    client.post("/v1/vehicles", json={"id": "veh_1", "label": "A pickup"}, headers=key)
    for name, place, opening in (("rear", "frame", "2 in"), ("prow", "front", "1-1/4 in")):
        facts = {"place": place, "opening": opening}
        made = {"id": f"rcv_{name}", "label": f"The {name} one", "facts": facts}
        assert client.post("/v1/receivers", json=made, headers=key).status_code == 201
        sits = {"id": f"mnt_{name}", "vehicle": "veh_1", "receiver": f"rcv_{name}"}
        assert client.post("/v1/mountings", json=sits, headers=key).status_code == 201
    for sku in ("RACK-1", "BOX-1"):
        facts = {"kind": "cargo_carrier", "shank": "2 in"}
        made = {"sku": sku, "subject": "accessory", "label": sku, "facts": facts}
        assert client.post("/v1/accessories", json=made, headers=key).status_code == 201
    asked = "vehicle=veh_1&receiver=rcv_rear&accessory=RACK-1&also.1=BOX-1&also.1.hangs_on=front_receiver"
    shown = _page(client, f"/?{asked}")
    form = Form(shown)
    assert form.radios["also.1.receiver"] == ["rcv_prow", ""]
    assert form.radios["receiver"] == ["rcv_rear", "rcv_prow", ""], "the one at the rear first"
    assert "The prow one 1-1/4 in, at the front" in _words(shown)
    chosen = f"{asked}&also.1.receiver=rcv_prow"
    assert Form(_page(client, f"/?{chosen}")).fields["also.1.receiver"] == "rcv_prow"
    told = _page(client, f"/answer?{chosen}")
    assert 'class="outcome fails"' in told and 'class="outcome fails"' not in _page(client, f"/answer?{asked}")
    assert re.search(r"At the same time: the receiver at the front, [^.]*The prow one", _words(told))
    behind = Form(_page(client, f"/?{chosen.replace('hangs_on=front', 'hangs_on=rear')}")).fields
    assert "also.1.receiver" not in behind


def test_what_was_told_of_a_receiver_in_front_stays_with_it(client: TestClient[Litestar], key: dict[str, str]) -> None:
    """Another one chosen there, the figures of the first are let go of and said; the rear's and the load's stay."""
    client.post("/v1/vehicles", json={"id": "veh_1", "label": "A pickup"}, headers=key)
    for name, place in (("rear", "frame"), ("prow", "front"), ("winch", "front")):
        made = {"id": f"rcv_{name}", "label": f"The {name} one", "facts": {"place": place}}
        assert client.post("/v1/receivers", json=made, headers=key).status_code == 201
        sits = {"id": f"mnt_{name}", "vehicle": "veh_1", "receiver": f"rcv_{name}"}
        assert client.post("/v1/mountings", json=sits, headers=key).status_code == 201
    made = {"sku": "BOX-1", "subject": "accessory", "label": "A box", "facts": {"kind": "cargo_carrier"}}
    assert client.post("/v1/accessories", json=made, headers=key).status_code == 201
    rear = "vehicle=veh_1&receiver=rcv_rear&receiver.opening=2+in&accessory=BOX-1&load.cargo_weight=40+lb"
    front = "also.1.hangs_on=front_receiver&also.1.receiver=rcv_prow&also.1.receiver.opening=1-1%2F4+in"
    asked = f"{rear}&also.1=BOX-1&{front}&also.1.mounting.height=18+in&also.1.load.cargo_weight=60+lb"
    first = _page(client, f"/?{asked}")
    assert "You changed" not in first
    sent = Form(first).fields
    again = Form(_page(client, f"/?{urlencode(sent)}")).fields
    assert (again["also.1.receiver.opening"], again["also.1.mounting.height"]) == ("1-1/4 in", "18 in")
    other = _page(client, f"/?{urlencode({**sent, 'also.1.receiver': 'rcv_winch'})}")
    told = Form(other).fields
    assert told["also.1.receiver"] == "rcv_winch"
    assert not told.get("also.1.receiver.opening") and not told.get("also.1.mounting.height")
    assert (told["also.1.load.cargo_weight"], told["receiver.opening"]) == ("60 lb", "2 in")
    stays = r"You changed the receiver at the front\. What was told stays with The prow one: .*opening size 1-1/4 in"
    assert re.search(stays, _words(other))
    undo = unescape(re.search(r'href="([^"]+)">Undo', other)[1])  # type: ignore[index]  # as above
    back = Form(_page(client, undo)).fields
    assert (back["also.1.receiver"], back["also.1.receiver.opening"]) == ("rcv_prow", "1-1/4 in")
    assert back["also.1.mounting.height"] == "18 in"


@pytest.mark.parametrize("more", ["also.1.vehicle.gvwr=7000+lb", "also.1.adapter.1=BTX-TWIN-2", "also.1.hangs_on=roof"])
def test_what_a_thing_in_front_cannot_have_is_told(pages: TestClient[Litestar], more: str) -> None:
    """Only its receiver is its own, and there are two places; nothing is left out of the question without a word."""
    asked = pages.get(f"{FRONT_AND_REAR}&{more}", headers={"accept": "text/html"})
    assert asked.status_code in (400, 422) and "also-1" in asked.text


def test_of_a_saved_rig_the_front_has_the_same_vehicle(pages: TestClient[Litestar]) -> None:
    """And nothing of the rig's own receiver at the rear."""
    saved = f"/answer?rig=rig_farm_muckle&accessory=SPK-TRUG-2&load.bikes=2&load.bike_weight=38+lb&{IN_FRONT}"
    (one, other) = (
        _words(_page(pages, path)).split("Each of them")[1].split("Keep it")[0] for path in (saved, FRONT_AND_REAR)
    )
    assert one == other


def test_a_clerk_hangs_a_box_in_front(browser: Browser, counter: Counter) -> None:
    """On a telephone with scripts: chosen, hung in front, its label told; it is all there after a reload."""
    with context(browser, counter, PHONE, has_touch=True, is_mobile=True) as window:
        page = window.new_page()
        page.goto(f"/?{MUCKLE}&accessory=SPK-TRUG-2&load.bikes=2&load.bike_weight=38+lb")
        page.locator("summary", has_text="at the same time").tap()
        page.locator("#find-also-1").fill("LLH-TRAY-60")
        page.locator("label:has(input[name='also.1'])", has_text="LLH-TRAY-60").first.tap()
        page.get_by_text("In one at the front").tap()
        page.locator("#also-1-receiver-opening").select_option(label="2 in")
        expect(page).to_have_url(re.compile(r"also\.1\.receiver\.opening=2"))
        page.reload()
        expect(page.locator("#also-1-receiver-opening")).to_have_value("2 in")
        page.locator("#answer").click()
        expect(page.locator(".outcome h1")).not_to_be_empty()
        expect(page.locator(".picture")).to_have_count(2)
        assert "also.1.hangs_on=front_receiver" in page.url
