"""Audits at the counter: a catalogue sent from a page in a real browser, followed to its end, and taken away."""

from pathlib import Path

from counter_browser import Counter
from playwright.sync_api import Page, expect

from fitsvc.paths import data_dir
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database


def new_key(counter: Counter) -> str:
    """Make a key for the running service."""
    database = Database(counter.database)
    try:
        with database.session() as session:
            return create_key(session, "the counter's tests")[0]
    finally:
        database.close()


def test_a_catalogue_is_sent_followed_and_taken_away(page: Page, counter: Counter, tmp_path: Path) -> None:
    """A wrong key loses nothing; then progress moves to the end, and the page has what the service found."""
    catalogue = tmp_path / "mine.csv"
    catalogue.write_text((data_dir("seed_demo") / "accessories.csv").read_text() + "BAD-1,accessory,Bad,no_kind\n")
    page.goto(f"{counter.url}/audits")
    page.fill("#audit-name", "Autumn list")
    page.set_input_files("#audit-catalogue", catalogue)
    page.fill("#audit-key", "wrong")
    page.click("text=Send and start")
    expect(page.locator("[data-status]")).to_have_text("the API key in `X-API-Key` is unknown, revoked or has expired")
    page.fill("#audit-key", new_key(counter))
    page.click("text=Send and start")
    page.wait_for_url("**/audits/aud_*")
    page.wait_for_selector("[data-state=finished]")
    found = page.request.get(f"{counter.url}/v1/audits/{page.url.rpartition('/')[2]}/summary").json()
    assert found["faults"]["bad_rows"] == 1
    expect(page.locator("dt:has-text('Rows that cannot be read') + dd")).to_have_text("1")
    expect(page.locator("h2").first).to_contain_text(f"{found['pairs']:,} pairs")
    with page.expect_download() as download:
        page.click("tr:has-text('Rows that could not be read') >> text=CSV")
    assert "the row has 4 cells" in Path(download.value.path()).read_text()
    page.goto(f"{counter.url}/audits")
    expect(page.locator("li:has-text('Autumn list') .tag").first).to_have_text("finished")


def test_an_audit_that_is_not_there_is_a_page(page: Page, counter: Counter) -> None:
    """A wrong address is told on a page, not by a problem document."""
    response = page.goto(f"{counter.url}/audits/aud_none")
    assert response is not None and response.status == 404
    expect(page.locator("h1")).to_have_text("There is no such page")
