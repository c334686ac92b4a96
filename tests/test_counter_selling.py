"""What do I sell: every basket on the page is proven by its own answers, and no wish is a dead end."""

import re
from html import escape, unescape
from typing import Any, Final

import msgspec
import pytest
from counter_browser import PHONE, Counter, context
from demo_world import answerer, stock, world
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser, expect

from fitsvc.planning.plan import encode
from fitsvc.planning.planner import Planner

Pages = TestClient[Litestar]
MUCKLE: Final = "vehicle=veh_muckle_2023_short&receiver=rcv_brannoch_muckle"
CART: Final = f"/sell?{MUCKLE}&trailer=DUN-CART-612E&load.occupants_weight=620+lb"
BIKES: Final = "/sell?vehicle=veh_bothy_2021&load.bikes=4&load.bike_weight=40+lb"


def baskets(html: str) -> list[str]:
    """The baskets of a page, each as its HTML."""
    return re.findall(r'<article class="basket".*?</article>', html, re.DOTALL)


@pytest.mark.parametrize("path", [CART, BIKES, f"{BIKES}&want.step=yes", f"/sell?{MUCKLE}&load.cargo_weight=200+lb"])
def test_every_basket_is_proven(pages: Pages, path: str) -> None:
    """Each wish of each basket links to an answer that comes to what the basket says, about its own numbers."""
    reply = pages.get(path)
    found = baskets(reply.text)
    assert 1 <= len(found) <= 3
    for basket in found:
        numbers = re.findall(r'class="sku">([^<]+)<', basket)
        links = re.findall(r'href="(/answer\?[^"]+)"', basket)
        outcomes = re.findall(r'<p><span class="mark (\w+)"', basket)
        assert len(links) == len(outcomes) > 0
        for href, outcome in zip(map(unescape, links), outcomes, strict=True):
            proof = pages.get(href)
            assert f'class="outcome {outcome}"' in proof.text, href
            assert outcome in ("works", "conditional")
            assert any(number in href for number in numbers)


def test_the_trailers_own_mount_comes_first(pages: Pages) -> None:
    """The farm's 6x12 asks for a 2-1/2 in drop: the mount with it and a 2 in ball are the first basket, and work."""
    first = baskets(pages.get(CART).text)[0]
    assert "2 parts, nothing left to see to" in first
    assert re.findall(r'class="sku">([^<]+)<', first) == ["KND-2-D212-9", "RBL-2-C"]
    assert "/records/accessory/KND-2-D212-9" in first


def test_what_nearly_would_do_says_why(pages: Pages) -> None:
    """Where nothing serves a wish the page says so, and links to the nearest with its reason."""
    reply = pages.get("/sell?vehicle=veh_peewit_2021&load.bikes=4&load.bike_weight=60+lb")
    assert not baskets(reply.text)
    assert "Nothing on the shelf serves every wish" in reply.text
    near = re.search(r'href="(/answer\?[^"]+)">Its answer', reply.text)
    assert near and 'class="outcome fails"' in pages.get(unescape(near[1])).text


def test_weight_distribution_that_would_do_it_leads_to_its_head(pages: Pages) -> None:
    """A trailer too heavy without it: the answer says so first, and what is sold for that answer goes on a head.

    The page of what to sell asks for it too.
    """
    trailer = "trailer.gross_weight=7000+lb&trailer.coupler=2-5/16+in&trailer.brakes=electric&trailer.plug=blade_7"
    rig = "vehicle=veh_muckle_2023_long&receiver=rcv_ironmoss_yoke_4"
    refused = pages.get(f"/answer?{rig}&{trailer}").text
    assert 'class="outcome fails"' in refused and "If weight distribution is used" in refused
    href = next(one for one in re.findall(r'href="(/answer\?[^"]+)"', refused) if "weight_distribution=yes" in one)
    taken_up = pages.get(unescape(href)).text
    assert 'class="outcome conditional"' in taken_up
    sold = next(map(unescape, re.findall(r'href="(/sell\?[^"]+)"', taken_up)))
    assert "trailer.weight_distribution=yes" in sold
    filled = baskets(pages.get(sold).text)
    assert filled and all("weight distribution head" in basket for basket in filled)
    assert 'name="trailer.weight_distribution"' in pages.get(f"/sell?{rig}&{trailer}").text


def test_a_basket_has_an_address_of_its_own(pages: Pages) -> None:
    """A basket by itself is one that was told, with a code to take home; one that is no more among the best is said."""
    page = pages.get(CART).text
    for href in map(unescape, re.findall(r'class="own" href="(/sell\?[^"]+)"', page)):
        alone = pages.get(href).text
        (basket,) = baskets(alone)
        numbers = re.findall(r'class="sku">([^<]+)<', basket)
        assert href.endswith(f"basket={'%7C'.join(numbers)}")
        assert any(numbers == re.findall(r'class="sku">([^<]+)<', one) for one in baskets(page))
        assert 'class="qr"' in alone and escape(href) in alone
    gone = pages.get(f"{CART}&basket=RBL-2-C").text
    assert "is no more among the best" in gone and len(baskets(gone)) == len(baskets(page)) > 1


def test_what_is_there_already_is_not_sold_again(pages: Pages) -> None:
    """A mount that the customer has serves the trailer but for its ball, which is offered; only the step is sold.

    What he has of another kind than a wish takes serves nothing, and neither does what fails.
    """
    page = pages.get(f"{CART}&accessory=KND-2-D212-9&want.step=yes").text
    own, sold = page.split('id="baskets"')
    assert "With what the customer has" in own and "RBL-2-C" in own.split('id="own"')[1]
    assert all("STT-" in one or "HKB-PEDAL" in one for one in baskets(sold))
    assert all("KND-2-D212-9" not in re.findall(r'class="sku">([^<]+)<', one) for one in baskets(sold))
    step = pages.get(f"{CART}&accessory=HKB-PEDAL-2").text
    assert "With what the customer has" not in step and "KND-2-D212-9" in baskets(step)[0]
    wrong = pages.get(f"{CART}&accessory=TUG-125-R2-8").text
    assert "No. " in wrong.split('id="own"')[1].split('id="baskets"')[0] and "KND-2-D212-9" in wrong
    whole = pages.get(f"{CART}&accessory=KND-2-D212-9&ball=RBL-2-C").text
    assert "Nothing else has to be sold." in whole and 'id="baskets"' not in whole


def test_several_that_are_there_each_serve_their_wish(pages: Pages) -> None:
    """A mount and a rack that he has: only the step is sold, the address keeps both, and one not stored is told."""
    two = f"{CART}&accessory=KND-2-D212-9&also.1=SPK-TRUG-2&load.bikes=2&load.bike_weight=38+lb&want.step=yes"
    reply = pages.get(two)
    own, sold = reply.text.split('id="own"')[1].split('id="baskets"')
    assert own.count('class="basket own"') == 2
    assert {"KND-2-D212-9", "SPK-TRUG-2"} <= set(re.findall(r'accessory=([^&"]+)', own))
    for basket in baskets(sold):
        assert not {"KND-2-D212-9", "SPK-TRUG-2"} & set(re.findall(r'class="sku">([^<]+)<', basket))
    assert "also.1=SPK-TRUG-2" in str(reply.url)
    every = pages.get(two.replace("&want.step=yes", "")).text
    assert "Nothing else has to be sold" in every and 'id="baskets"' not in every
    missing = pages.get(f"{two}&also.2=NOT-THERE")
    assert missing.status_code == 422 and "“NOT-THERE”" in missing.text and 'href="#find-also-2"' in missing.text


def test_of_several_racks_the_one_that_serves_is_told(pages: Pages) -> None:
    """One that does not serve is no reason against another; where none does, each says why."""
    wish = f"/sell?{MUCKLE}&load.bikes=2&load.bike_weight=38+lb"
    both = pages.get(f"{wish}&accessory=SPK-TRUG-2-125&also.1=SPK-TRUG-2").text
    own = both.split('id="own"')[1]
    assert own.count('class="basket own"') == 1 and "Nothing else has to be sold" in own
    neither = pages.get(f"{wish}&accessory=SPK-TRUG-2-125&also.1=SPK-TRUG-1-125").text
    assert neither.split('id="own"')[1].split('id="baskets"')[0].count('class="basket own"') == 2
    assert baskets(neither)


def test_what_is_there_holds_beside_what_is_sold_where_that_is_wished(pages: Pages) -> None:
    """With the box ticked no basket is told that does not hold with what is there already on the vehicle too."""
    both = f"{CART}&load.bikes=2&load.bike_weight=38+lb"
    for owned in ("accessory=KND-2-D212-9", "accessory=KND-2-D212-9&also.1=SPK-TRUG-2"):
        reply = pages.get(f"{both}&{owned}&want.at-once=yes").text
        own = reply.split('id="own"')[1]
        for basket in baskets(own):
            assert "All at the same time." in basket
            href = unescape(re.findall(r'href="(/answer?[^"]+)"', basket)[-1])
            proof = pages.get(href).text
            assert "also.1" in href and re.search(r'class="outcome (works|conditional)"', proof)
        if "Nothing else has to be sold" in own:
            assert "All at the same time" in own
        else:
            assert baskets(own) or "holds all of them at the same time" in own


@pytest.mark.parametrize(
    ("path", "subject", "wanted"),
    [
        (f"/answer?{MUCKLE}&accessory=TUG-2-D2-10&trailer=DUN-CART-612E", "ball", "RBL-2-C"),
        ("/answer?mounting=mnt_dunlin_wicket&accessory=TUG-2-D2-10", "pin", "LPN-58"),
        ("/answer?mounting=mnt_oxter_anvil&accessory=TUG-2-D2-10", "long pin", "LPN-58-L"),
        (f"/answer?{MUCKLE}&trailer=DUN-CART-612E", "mount", "KND-2-D212-9"),
        (f"/answer?{MUCKLE}&accessory=KND-2-D212-9&ball=RBL-2-C&trailer=DUN-CART-612", "wiring", "GLB-7-4"),
    ],
)
def test_a_need_leads_to_what_the_shelf_has_for_it(pages: Pages, path: str, subject: str, wanted: str) -> None:
    """What an answer still wants is offered by name and number, and the answer about each of those does not fail."""
    page = pages.get(path).text
    part = re.search(r'From the shelf:.*?</p>|id="instead".*?</section>', page, re.DOTALL)
    assert part and wanted in part[0], subject
    links = [unescape(one) for one in re.findall(r'href="(/answer\?[^"]+)"', part[0])]
    assert links
    for href in links:
        assert re.search(r'class="outcome (works|conditional)"', pages.get(href).text), href
    others = [unescape(one) for one in re.findall(r'href="((?!/answer)[^"]+)"', part[0])]
    assert others and all(pages.get(one.partition("#")[0]).status_code == 200 for one in others)


@pytest.mark.parametrize(
    ("path", "status", "told"),
    [
        ("/sell", 200, "Choose the vehicle and say one wish"),
        (f"/sell?{MUCKLE}", 200, "Choose the vehicle and say one wish"),
        ("/sell?load.bikes=2", 422, "No vehicle is chosen yet"),
        ("/sell?find.vehicle=muckle&load.bikes=2", 422, "You typed “muckle” and nothing is chosen"),
        ("/sell?vehicle.make=Velmora&vehicle.model=Saltmarsh&load.bikes=2", 422, "2 vehicles go by that name"),
        (f"/sell?{MUCKLE}&load.bikes=some", 422, "“some” is no figure"),
    ],
)
def test_what_is_missing_is_said(pages: Pages, path: str, status: int, told: str) -> None:
    """A page without enough to plan by says what is missing, in words of the counter."""
    reply = pages.get(path)
    assert told in reply.text
    assert reply.status_code == status
    assert "`id`" not in reply.text and "rig.receiver" not in reply.text


def test_the_right_drop_stands_above_the_wrong_one(pages: Pages) -> None:
    """Asked about a trailer, what fits begins with the mounts that set it level, and with no pin."""
    told = pages.get(f"/fits?{MUCKLE}&trailer=DUN-CART-612E&load.occupants_weight=620+lb").text
    found = re.findall(r'class="sku">([^<]+)<', told)
    assert found[0] == "KND-2-D212-9"
    assert "KND-2-R3-9" not in found or found.index("TUG-2-D2-10") < found.index("KND-2-R3-9")
    assert "ocking pin" not in told.split("best first")[1]


def test_what_fits_is_narrowed_by_the_least_that_it_must_carry(pages: Pages) -> None:
    """Only what surely carries so much is told; a figure that is none is told at its field."""
    path = f"/fits?{MUCKLE}&kind=cargo_carrier"
    every, some = (pages.get(f"{path}{more}").text for more in ("", "&least.capacity=400+lb"))
    carries = [int(one) for one in re.findall(r"carries (\d+) lb", some)]
    assert 0 < len(carries) < len(re.findall(r"carries (\d+) lb", every))
    assert min(carries) >= 400 and 'value="400 lb"' in some
    assert sorted(carries) == sorted(int(one) for one in re.findall(r"carries (\d+) lb", every) if int(one) >= 400)
    metric = pages.get(f"{path}&least.capacity=181&units=metric").text
    assert len(re.findall(r'name="pick\.', metric)) == len(carries)
    wrong = pages.get(f"{path}&least.capacity=much")
    assert wrong.status_code == 422 and 'href="#least-capacity"' in wrong.text
    assert 'id="least-capacity"' in wrong.text and 'value="much"' in wrong.text


@pytest.mark.parametrize(
    ("path", "told", "at"),
    [
        ("/answer?vehicle=x&accessory=SPK-TRUG-1", "There is no vehicle “x” in the store", "find-vehicle"),
        (f"/answer?{MUCKLE}&accessory=SPK-TRUG-2&load.bikes=some", "“some” is no figure", "load-bikes"),
        (f"/answer?{MUCKLE}&accessory=SPK-TRUG-2&load.bike_weight=1.700", "1.7 or 1,700 lb", "load-bike-weight"),
        (f"/answer?{MUCKLE}", "Nothing is asked about yet", ""),
        (f"/answer?{MUCKLE}&find.accessory=peg&accessory=", "“peg” and nothing is chosen", "find-accessory"),
    ],
)
def test_mistakes_are_told_in_words_and_lead_to_their_field(pages: Pages, path: str, told: str, at: str) -> None:
    """The list of what is wrong has the focus, speaks of no interface, and links to each field, which is there."""
    reply = pages.get(path)
    assert reply.status_code in (400, 422)
    box = re.search(r'id="problems"[^>]*autofocus>.*?</div>', reply.text, re.DOTALL)
    assert box and told in box[0] and "`" not in box[0]
    assert not at or (f'href="#{at}"' in box[0] and f'id="{at}"' in reply.text)


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("/answer?vehicle=x&accessory=SPK-TRUG-1", "No hay vehículo “x” en lo guardado; búsquelo"),
        (f"/answer?{MUCKLE}&accessory=SPK-TRUG-2&load.bikes=muchas", "“muchas” no es una cifra"),
        (f"/answer?{MUCKLE}", "Aún no se pregunta por nada; elija"),
    ],
)
def test_in_spanish_mistakes_are_told_in_words_too(pages: Pages, path: str, told: str) -> None:
    """No name of the interface and no backquote stands in the list of what is wrong, in whatever language."""
    reply = pages.get(path, headers={"Accept-Language": "es"})
    box = re.search(r'id="problems"[^>]*autofocus>.*?</div>', reply.text, re.DOTALL)
    assert box and told in box[0] and "`" not in box[0] and "accessory" not in re.sub(r"<[^>]+>", "", box[0])


def test_all_that_is_wrong_with_wishes_is_told_at_once_each_at_its_field(pages: Pages) -> None:
    """A vehicle that is not chosen hides no figure that is none; what goes with every wish is told once."""
    path = "/sell?find.vehicle=muckel&load.bikes=some&load.occupants_weight=heavy&want.step=yes"
    html = pages.get(path).text
    box = re.search(r'id="problems".*?</div>', html, re.DOTALL)
    assert box and re.findall(r'<a href="#([^"]+)"', box[0]) == ["find-vehicle", "load-bikes", "load-occupants-weight"]
    assert html.count("“heavy” is no figure") == 2, "in the list, and at its field"
    chosen = pages.get(path.replace("find.vehicle=muckel", MUCKLE)).text
    assert 'href="#load-bikes"' in chosen and 'id="load-bikes-error"' in chosen


def test_an_unknown_address_has_a_page(pages: Pages) -> None:
    """People get a page, programs the problem."""
    page = pages.get("/nope", headers={"Accept": "text/html"})
    assert page.status_code == 404 and page.headers["content-type"].startswith("text/html")
    assert "There is no such page" in page.text and 'href="/"' in page.text
    assert pages.get("/nope").headers["content-type"] == "application/problem+json"
    assert pages.get("/v1/nope", headers={"Accept": "text/html"}).status_code == 404


def test_an_empty_store_says_so(client: Pages) -> None:
    """Where nothing is stored the pages say how to fill the store."""
    for path in ("/", "/sell"):
        assert "Nothing is stored here yet" in client.get(path).text


def test_several_vehicles_of_a_name_are_links(pages: Pages) -> None:
    """What fits a vehicle that may be several is asked of each by a link."""
    reply = pages.get("/fits?vehicle.make=Velmora&vehicle.model=Saltmarsh")
    links = re.findall(r'<li><a href="(/fits\?vehicle=veh_saltmarsh[^"]+)"', reply.text)
    assert len(links) == 2
    assert all("in the catalogue" in pages.get(unescape(one)).text for one in links)


@pytest.mark.parametrize(
    ("vehicle", "wishes"),
    [
        ("veh_bothy_2021", [{"load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}}, {"kind": "step"}]),
        (
            "veh_muckle_2023_short",
            [{"trailer": {"sku": "DUN-CART-612"}}, {"load": {"facts": {"cargo_weight": "90 lb"}}}],
        ),
        ("veh_oxter_2024", [{"load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}}]),
    ],
)
def test_a_plan_from_the_index_is_one_from_the_whole_shelf(pages: Pages, vehicle: str, wishes: list[Any]) -> None:
    """What the index holds folded gives the very plan that reading every item gives."""
    document = {"rig": {"vehicle": {"id": vehicle}}, "wishes": wishes}
    wanted = encode(Planner(answerer()).plan(document, world(), stock()))
    assert pages.post("/v1/plans", json=document).json() == msgspec.json.decode(wanted)


def test_what_goes_into_one_opening_in_turn_is_told_so(pages: Pages) -> None:
    """A rack and a mount share the opening: a basket says so, and with the box ticked what holds both is looked for."""
    both = "/sell?vehicle=veh_bothy_2021&load.bikes=2&load.bike_weight=35+lb&trailer=DUN-CART-612"
    for basket in (in_turn := baskets(pages.get(both).text)):
        assert "One at a time:" in basket and "#at-once" in basket
    ticked = pages.get(f"{both}&want.at-once=yes").text
    for basket in baskets(ticked):
        assert "One at a time:" not in basket and "All at the same time." in basket
    assert in_turn and (baskets(ticked) or "holds all of them at the same time" in ticked)
    assert "One at a time:" not in pages.get(CART).text


def test_where_it_is_driven_and_what_the_receiver_is_on_can_be_said(pages: Pages) -> None:
    """Answers ask for the place that it is driven in, and assume a frame: both can be told on every page."""
    for path in (f"/?{MUCKLE}", f"/?{MUCKLE}&accessory=SPK-TRUG-2", f"/?{MUCKLE}&about=trailer", f"/sell?{MUCKLE}"):
        assert 'name="load.jurisdiction"' in pages.get(path).text, path
    for path in (f"/?{MUCKLE}", f"/?{MUCKLE}&accessory=SPK-TRUG-2"):
        assert 'name="receiver.place"' in pages.get(path).text, path
    texas = pages.get(f"/answer?{MUCKLE}&trailer=DUN-CART-612E&accessory=KND-2-D212-9&load.jurisdiction=texas").text
    assert "place it is driven in texas" in texas.casefold()


def test_without_scripts_baskets_are_filled_by_buttons(browser: Browser, counter: Counter) -> None:
    """On a phone: what the customer has, another thing beside it, and only the rest is sold."""
    with context(browser, counter, PHONE, has_touch=True, is_mobile=True, java_script_enabled=False) as window:
        page = window.new_page()
        page.goto(CART + "&load.bikes=2&load.bike_weight=38+lb&want.step=yes")
        for number, (place, sku) in enumerate((("accessory", "KND-2-D212-9"), ("also-1", "SPK-TRUG-2"))):
            if not number:
                page.locator("summary", has_text="has already").tap()
            page.locator(f"#find-{place}").fill(sku)
            page.locator(f".field:has(#find-{place}) button").tap()
        page.locator("#answer").tap()
        expect(page.locator(".basket.own")).to_have_count(2)
        assert "also.1=SPK-TRUG-2" in page.url
        assert page.locator(".basket:not(.own) .sku", has_text="SPK-TRUG-2").count() == 0


def test_in_spanish_what_is_there_is_told_in_spanish(browser: Browser, counter: Counter) -> None:
    """With scripts, on a desktop: the second thing is found as it is typed, and the page says what it does."""
    spanish = {"locale": "es-MX", "extra_http_headers": {"Accept-Language": "es-MX"}}
    with context(browser, counter, **spanish) as window:
        page = window.new_page()
        page.goto(f"{CART}&load.bikes=2&load.bike_weight=38+lb&accessory=KND-2-D212-9")
        page.locator("#find-also-1").fill("SPK-TRUG-2")
        page.locator("label:has(input[name='also.1'])", has_text="SPK-TRUG-2").first.click()
        expect(page.locator("input[name='also.1']:checked")).to_have_attribute("value", "SPK-TRUG-2")
        page.locator("#answer").click()
        expect(page.locator("#own")).to_have_text("Con lo que tiene el cliente")
        expect(page.locator(".basket.own")).to_have_count(2)
        expect(page.locator("main")).to_contain_text("No hay que vender nada más")
