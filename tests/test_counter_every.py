"""Every page there is, those too that only a form leads to: axe in both themes, valid HTML, a phone's width."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest
from counter_browser import (
    FAILS,
    MEASURED,
    PAGES,
    PEEWIT,
    PHONE,
    Counter,
    context,
    serving,
    sideways,
    small_targets,
    validate,
    violations_in_both_themes,
)
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser, FilePayload, Page, expect
from test_counter_audits import new_key
from test_counter_extremes import LEAST_ON_SCREEN
from waiting import until

import fitsvc
from fitsvc.paths import data_dir
from fitsvc.service.counter.rendering import templates

RULE: Final = "shank-fits-opening"
DRAWN_SMALL: Final = """(least) => [...document.querySelectorAll("main svg:not(.mark svg, .qr) text")]
    .filter((one) => one.checkVisibility() && one.getBoundingClientRect().width)
    .map((one) => [parseFloat(getComputedStyle(one).fontSize) * Math.abs(one.getScreenCTM().a), one.textContent])
    .filter(([size]) => size < least - 0.01)"""
"""The words of drawings that are smaller than so many CSS pixels as they stand on the page."""


def sent(page: Page, key: str, told: str, shown: str) -> None:
    """What was measured, sent with a key that may record: what the page then shows."""
    page.goto(f"/measure?mounting={MEASURED}&send=yes&{told}")
    page.get_by_label("Key that may record").fill(key)
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.locator(shown)).to_be_visible()


def recorded(page: Page, key: str) -> None:
    """What was measured, sent: the page that says what is now known."""
    sent(page, key, "mounting.height=15+in", "[data-sent]")


def contradicted(page: Page, key: str) -> None:
    """A second one measures otherwise: both stand on the page, and on the fitment sheet."""
    recorded(page, key)
    sent(page, key, "mounting.height=21+in&by=Bo", "#against")


def sheet_of_a_dispute(page: Page, key: str) -> None:
    """The fitment sheet of what is disputed."""
    contradicted(page, key)
    page.goto(f"/records/mounting/{MEASURED}")


def remark_refused(page: Page, key: str) -> None:
    """A remark without a key: what was typed is there still."""
    page.goto(f"/remarks/new?rule={RULE}&{PEEWIT}&accessory=SPK-PEG-3")
    page.locator("textarea").first.fill("It went in.")
    page.locator("input[name=key]").fill("wrong")
    page.locator("main form button").last.click()
    expect(page.locator("#problems")).to_be_visible()


def remark_kept(page: Page, key: str) -> None:
    """A remark that is kept."""
    page.goto(f"/remarks/new?rule={RULE}&{PEEWIT}&accessory=SPK-PEG-3")
    page.locator("textarea").first.fill("It went in.")
    page.locator("input[name=key]").fill(key)
    page.locator("main form button").last.click()
    expect(page.locator("h1")).to_have_text("Kept")


def remarks_open(page: Page, key: str) -> None:
    """What is open, with the form that closes it."""
    remark_kept(page, key)
    page.goto("/remarks")


def remarks_closed(page: Page, key: str) -> None:
    """One that is closed, with what came of it."""
    remark_kept(page, key)
    page.goto("/remarks")
    page.locator("summary", has_text="Close it").first.click()
    page.locator("details[open] textarea").fill("The label was read wrong.")
    page.locator("details[open] input[name=key]").fill(key)
    page.locator("details[open] button").click()
    page.goto("/remarks?closed=yes")
    expect(page.locator(".remarked li").first).to_contain_text("The label was read wrong.")


def edit_refused(page: Page, key: str) -> None:
    """A figure that is none, told at its field."""
    page.goto(f"/edit/mounting/{MEASURED}")
    page.locator("input[name='mounting.height']").fill("lots")
    page.locator("input[name=key]").first.fill(key)
    page.locator("main form button").last.click()
    expect(page.locator("#mounting-height-error")).to_be_visible()


def what_if_tried(page: Page, key: str) -> None:
    """A rule tried otherwise, with what that brings."""
    page.goto(f"/whatif/{RULE}")
    field = page.locator("textarea").first
    field.fill(field.input_value().replace("severity: blocking", "severity: caution"))
    page.get_by_role("button", name="See what it brings").click()
    expect(page.locator("#impact")).to_be_visible()


def audit_finished(page: Page, key: str) -> None:
    """An audit that has ended, with what it found and where to take it."""
    page.goto("/audits")
    page.fill("#audit-name", "Autumn list")
    page.set_input_files("#audit-catalogue", data_dir("seed_demo") / "accessories.csv")
    page.fill("#audit-key", key)
    page.click("text=Send and start")
    page.wait_for_url("**/audits/aud_*")
    page.wait_for_selector("[data-state=finished]")


def taken_in(page: Page, key: str) -> None:
    """A supplier's file, of which some columns are drafted and some asked, with a word of a list."""
    _take_in(page, key)
    expect(page.get_by_role("heading", name="To be answered")).to_be_visible()


def taken_in_refused(page: Page, key: str) -> None:
    """The same with a key that nobody has: told at its field."""
    _take_in(page, "wrong")
    expect(page.locator("#problems")).to_be_visible()


def _take_in(page: Page, key: str) -> None:
    rows = "Artikelnr.;Produktart;Gewicht;Lager\nTH-1;Kugelträger;4,3;12\nTH-2;Trittklotz;5,1;9\n"
    page.goto("/intake")
    sent_file: FilePayload = {"name": "list.csv", "mimeType": "text/csv", "buffer": rows.encode()}
    page.set_input_files("#file", sent_file)
    page.fill("#supplier", "thorn")
    page.fill("#key", key)
    page.click("text=Look at it")


def audits_listed(page: Page, key: str) -> None:
    """The list of audits, with one in it."""
    audit_finished(page, key)
    page.goto("/audits")


def suppliers(page: Page, key: str) -> None:
    """The suppliers' scorecard."""
    page.goto("/audits/scorecard")


def nightly_refused(page: Page, key: str) -> None:
    """A plan without a file of its own kind: told at its field, with what was typed."""
    _plan(page, key, "thorn/list.exe")
    expect(page.locator("#file-error")).to_be_visible()


def nightly(page: Page, key: str) -> None:
    """What is planned, and what came of a night on which no file was there."""
    _plan(page, key, "thorn/list.csv")
    page.locator("main h3 a").first.click()
    page.get_by_label("Key that may audit: Run it now").fill(key)
    page.get_by_role("button", name="Run it now").click()
    expect(page.locator("#runs")).to_be_visible()

    def has_ended() -> bool:
        page.reload()
        return page.get_by_text("Why: thorn/list.csv is not there.").count() > 0

    until(has_ended, "the run to end")


def nightly_listed(page: Page, key: str) -> None:
    """The list of what is planned, with that in it."""
    nightly(page, key)
    page.goto("/audits/schedules")


def _plan(page: Page, key: str, file: str) -> None:
    _take_in(page, key)
    page.goto("/audits/schedules")
    page.fill("#file", file)
    page.fill("#at", "02:00")
    page.fill("#zone", "Europe/Berlin")
    page.fill("#key", key)
    page.click("text=Plan it")


ONE_OF_EACH: Final = """() => {
    const told = "section.chapter:has(article)";
    for (const one of document.querySelectorAll(`${told} ~ ${told}`)) one.remove();
    for (const one of document.querySelectorAll("section.chapter :is(details, ul, dl, tbody, article)"))
        [...one.children].slice(12).forEach((more) => more.remove());
    for (const one of document.querySelectorAll("section.chapter"))
        [...one.children].slice(24).forEach((more) => more.remove());
    return document.querySelectorAll("section.chapter").length;
}"""
"""Leave one chapter of rules in the book, the other parts, and of what each of them lists what comes first."""


def rulebook(page: Page, key: str) -> None:
    """The whole rulebook as one book, of whose chapters one is looked at closely: all are made alike, and axe takes
    minutes for tens of thousands of rows. In width, and to a thumb, all of it is held first.
    """
    page.goto("/rules/book")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]  # a width and a height
    assert (sideways(page), small_targets(page)) == ([], [])
    kept = page.evaluate(ONE_OF_EACH)
    assert kept > 6


def device(page: Page, key: str) -> None:
    """The page that asks, with rigs and questions kept on the device."""
    page.goto(FAILS)
    page.goto("/")
    expect(page.locator("[data-device]")).to_be_visible()


def no_such_address(page: Page, key: str) -> None:
    """An address that leads nowhere."""
    page.goto("/nope")
    expect(page.locator("h1")).to_have_text("There is no such page")


LED_TO: Final[dict[Callable[[Page, str], None], str]] = {
    recorded: "measure_sent.html",
    contradicted: "measure_sent.html",
    sheet_of_a_dispute: "record.html",
    remark_refused: "remark_new.html",
    remark_kept: "remark_kept.html",
    remarks_open: "remarks.html",
    remarks_closed: "remarks.html",
    edit_refused: "record_edit.html",
    what_if_tried: "whatif.html",
    audit_finished: "audit.html",
    audits_listed: "audits.html",
    taken_in: "intake_columns.html",
    taken_in_refused: "intake.html",
    nightly_refused: "schedules.html",
    nightly: "schedule.html",
    nightly_listed: "schedules.html",
    suppliers: "",
    rulebook: "book.html",
    device: "ask.html",
    no_such_address: "problem.html",
}
"""Pages that an address alone does not give, or that weigh more than others may, with their templates."""


@pytest.fixture(scope="module")
def counter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Counter]:
    """Give a service of this module's own: what is recorded, remarked and audited here is in no other's way."""
    with serving(tmp_path_factory.mktemp("every")) as running:
        yield running


@pytest.fixture(scope="module")
def to_check(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Keep pages for the HTML checker, which takes longer to begin than to check all of them."""
    kept: dict[str, str] = {}
    yield kept
    assert not kept or validate(kept, tmp_path_factory.mktemp("checked")) == []


@pytest.mark.parametrize("lead", LED_TO, ids=lambda lead: lead.__name__)
def test_a_page_that_a_form_leads_to_is_held_to_the_same(
    browser: Browser, counter: Counter, to_check: dict[str, str], lead: Callable[[Page, str], None]
) -> None:
    """No violation by axe in light and dark with all folds open, valid HTML, nothing over the side of a phone."""
    key = new_key(counter)
    with context(browser, counter, has_touch=True, is_mobile=True) as window:
        page = window.new_page()
        lead(page, key)
        to_check[lead.__name__] = page.content()
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        assert violations_in_both_themes(page) == []
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]  # a width and a height
        assert sideways(page) == []
        if lead is not suppliers:
            assert small_targets(page) == []


def test_every_template_is_of_a_page_that_is_looked_at(pages: TestClient[Litestar]) -> None:
    """What no address of the list and no form here leads to would be looked at by nobody."""
    environment, seen = templates(), set(LED_TO.values())
    assert environment.loader is not None
    wanted = {name for name in environment.list_templates() if '{% extends "base.html" %}' in _source(name)}
    rendered = environment.get_template

    def noted(name: str) -> object:
        seen.add(name)
        return rendered(name)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(environment, "get_template", noted)
        for path in PAGES.values():
            pages.get(path, headers={"accept": "text/html"})
    assert wanted <= seen


def _source(name: str) -> str:
    environment = templates()
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0]


def test_the_dark_has_other_colours_and_nothing_else() -> None:
    """A page in the dark is the same page, so that what is no matter of colour is looked at once."""
    counter = Path(fitsvc.__file__).parent / "service" / "counter"
    asking = (*counter.rglob("*.css"), *counter.rglob("*.js"), *counter.rglob("*.html"))
    texts = [text for path in asking if "prefers-color-scheme" in (text := path.read_text("utf-8"))]
    blocks = [
        one
        for text in texts
        for one in re.findall(r"@media \(prefers-color-scheme: dark\) \{(.*?\})\s*\}", text, re.DOTALL)
    ]
    assert len(blocks) == sum(text.count("prefers-color-scheme") for text in texts) > 0
    for block in blocks:
        assert re.fullmatch(r"\s*:root \{(\s*--[a-z-]+: #[0-9a-f]{3,8};)+\s*\}", block), block


def test_in_spanish_every_page_fits_a_phone(browser: Browser, counter: Counter) -> None:
    """At 360 px nothing reaches over the side with all folds open, and no drawing has words too small to read."""
    spanish = {"locale": "es-MX", "extra_http_headers": {"Accept-Language": "es-MX"}}
    with context(browser, counter, PHONE, has_touch=True, is_mobile=True, **spanish) as window:
        page = window.new_page()
        for name, path in PAGES.items():
            page.goto(path)
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            assert sideways(page) == [], name
            assert small_targets(page) == [], name
            assert page.evaluate(DRAWN_SMALL, LEAST_ON_SCREEN) == [], name
