"""Ten more of a clerk's jobs, beside the ten questions of `test_counter_asking`: found, sold, compared, put right."""

import re
from collections.abc import Callable
from typing import Final

import pytest
from playwright.sync_api import Page, expect
from test_counter_asking import MOST, Clerk

FEWER: Final = 10
"""Interactions from a blank page to what to sell for a trailer: fewer than these."""


def press(clerk: Clerk, name: str) -> None:
    """Press a button or follow a link, which is one interaction."""
    clerk.count += 1
    clerk.page.get_by_role("button", name=name).or_(clerk.page.get_by_role("link", name=name)).first.click()


def at_sell(clerk: Clerk) -> None:
    """Go to the page of what to sell, by the header."""
    press(clerk, "Sell")


def sell_for_the_trailer(clerk: Clerk) -> None:
    """He bought the 6x12 with electric brakes for his short Muckle. What do I sell him?"""
    at_sell(clerk)
    clerk.find("vehicle", "muckle crew tow", "4x4, tow package")
    clerk.choose("receiver", "receiver of the Muckle")
    clerk.unfold("Pull a trailer")
    clerk.choose("trailer", "DUN-CART-612E")
    press(clerk, "Fill baskets")
    expect(clerk.page.locator(".basket").first).to_contain_text("KND-2-D212-9")
    expect(clerk.page.locator(".basket").first).to_contain_text("RBL-2-C")
    assert clerk.count < FEWER


def sell_four_bikes_and_a_step(clerk: Clerk) -> None:
    """She wants four bikes and a step on her Bothy, one at a time."""
    at_sell(clerk)
    clerk.type("find-vehicle", "bothy four doors")
    clerk.type("load-bikes", "4")
    clerk.type("load-bike-weight", "40")
    clerk.count += 1
    clerk.page.locator("label", has_text="A step to climb on").click()
    press(clerk, "Fill baskets")
    expect(clerk.page.locator(".basket").first).to_contain_text("Carry bikes")


def what_fits_with_two_bikes(clerk: Clerk) -> None:
    """Which carriers take her two bikes of 45 lb on the short Muckle? The two best, side by side."""
    clerk.find("vehicle", "muckle crew tow", "4x4, tow package")
    clerk.choose("receiver", "receiver of the Muckle")
    clerk.type("load-bikes", "2")
    clerk.type("load-bike-weight", "45 lb")
    press(clerk, "What fits this rig?")
    expect(clerk.page.locator("#items")).to_contain_text("best first")
    clerk.count += 2
    for number in (0, 1):
        clerk.page.locator(".pick input").nth(number).check()
    press(clerk, "side by side")
    expect(clerk.page.locator(".versus td", has_text="holds").first).to_be_visible()


def scanned(clerk: Clerk) -> None:
    """The scanner types numbers and Enter: of a vehicle, of which only what many share stays; of the one-tray Trug."""
    clerk.type("find-vehicle", "9ZZC2MT40PA123456")
    expect(clerk.page.locator("input[name=vehicle]:checked")).to_have_attribute("value", "veh_muckle_2023_short")
    expect(clerk.page.locator("#find-vehicle")).to_have_value("9ZZC2MT4*P")
    assert "123456" not in clerk.page.url
    clerk.type("find-vehicle", "dunlin")
    clerk.type("find-accessory", "SPK-TRUG-1")
    clerk.count += 1
    clerk.page.locator("#find-accessory").press("Enter")
    expect(clerk.page.locator("input[name=accessory]:checked")).to_have_attribute("value", "SPK-TRUG-1")
    assert clerk.answer() == "undetermined"
    assert "accessory=SPK-TRUG-1" in clerk.page.url and "vehicle=veh_dunlin_2022" in clerk.page.url


def misspelt(clerk: Clerk) -> None:
    """A muckel with a longbed: what was typed is said to be no name, and the nearest is there to choose."""
    clerk.type("find-vehicle", "muckel longbed")
    expect(clerk.page.locator("#vehicle-found .status")).to_contain_text("“muckel”; the nearest is shown")
    clerk.choose("vehicle", "long bed")
    clerk.find("accessory", "trug rack", "SPK-TRUG-2")
    clerk.type("load-bikes", "2")
    assert clerk.answer() in ("conditional", "undetermined")


def the_next_customer(clerk: Clerk) -> None:
    """The form of the Dunlin is still open when the next customer comes: what was measured on it stays with it."""
    clerk.page.goto("/?vehicle=veh_dunlin_2022&receiver=rcv_pell_wicket_3&mounting.pin_to_bumper=4+in")
    clerk.type("find-vehicle", "saltmarsh five")
    expect(clerk.page.locator(".notice")).to_contain_text("stays with 2022 Hestrel Dunlin")
    assert clerk.page.locator("#mounting-pin-to-bumper").input_value() == ""
    clerk.type("find-accessory", "SPK-TRUG-2")
    clerk.type("load-bikes", "2")
    clerk.answer()
    assert "veh_saltmarsh_2022" in clerk.page.url and "pin_to_bumper" not in clerk.page.url


def half_a_question(clerk: Clerk) -> None:
    """Half a question has an address: it is there after reloading, and after going away and back."""
    clerk.find("vehicle", "peewit", "Peewit")
    clerk.type("find-accessory", "SPK-PEG-3-125")
    clerk.type("load-bikes", "2")
    clerk.page.locator("#load-bikes").blur()
    expect(clerk.page).to_have_url(re.compile("load.bikes=2"))
    clerk.page.reload()
    assert clerk.page.locator("#load-bikes").input_value() == "2"
    clerk.page.goto("/rules")
    clerk.page.go_back()
    expect(clerk.page.locator("input[name=accessory]:checked")).to_have_attribute("value", "SPK-PEG-3-125")
    assert clerk.answer() in ("undetermined", "fails", "conditional")


def the_answer_so_far(clerk: Clerk) -> None:
    """What it comes to is told while the question grows."""
    clerk.find("vehicle", "peewit", "2021 Brannoch Peewit")
    clerk.choose("receiver", "Ledge 1")
    clerk.type("find-accessory", "SPK-PEG-3")
    clerk.choose("accessory", "2 in shank")
    expect(clerk.page.locator("#so-far .outcome.fails")).to_be_visible()


def fits_the_one_that_is_meant(clerk: Clerk) -> None:
    """Of a Saltmarsh that may be either, what fits is asked of one by a link."""
    clerk.find("vehicle", "saltmarsh", "Saltmarsh: any")
    press(clerk, "What fits this rig?")
    press(clerk, "seven seats")
    expect(clerk.page.locator("#counts")).to_contain_text("in the catalogue")


def a_weight_with_a_point(clerk: Clerk) -> None:
    """1.700 lb is asked about, at its field, and is right once it is written so that it can be one thing only."""
    clerk.find("vehicle", "muckle crew tow", "4x4, tow package")
    clerk.type("find-accessory", "LLH-TRAY-60")
    clerk.type("load-cargo-weight", "1.700 lb")
    clerk.page.locator("#answer").click()
    expect(clerk.page.locator("#problems")).to_contain_text("1.7 or 1,700 lb")
    expect(clerk.page.locator("#problems")).to_be_focused()
    clerk.type("load-cargo-weight", "1,700 lb")
    assert clerk.answer() == "fails"


JOBS: Final[tuple[Callable[[Clerk], None], ...]] = (
    sell_for_the_trailer,
    sell_four_bikes_and_a_step,
    what_fits_with_two_bikes,
    scanned,
    misspelt,
    the_next_customer,
    half_a_question,
    the_answer_so_far,
    fits_the_one_that_is_meant,
    a_weight_with_a_point,
)


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job.__name__)
def test_a_clerks_job_takes_few_steps(page: Page, job: Callable[[Clerk], None]) -> None:
    """Each of ten jobs is done in at most twelve interactions."""
    clerk = Clerk(page)
    job(clerk)
    assert 0 < clerk.count <= MOST
