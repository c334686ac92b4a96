"""The rulebook as a book: all of it is in there, each link leads to a place in it, and a file needs nothing else."""

import re
from collections import Counter
from html import escape
from pathlib import Path

from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Page

from fitsvc.cli import main
from fitsvc.service.counter.book import book_of
from fitsvc.service.counter.lookup import Library

BOOK = book_of(Library(answerer().rulebook))


def test_the_whole_rulebook_is_in_it() -> None:
    """Each rule, limit and need stands in one chapter, each caution, table and source once; the indexes miss none."""
    book = answerer().rulebook
    entries = [entry.id for chapter in BOOK.chapters for entry in chapter.entries]
    wanted = {one.id for one in book.rules if not one.limit}
    wanted |= {one.id for one in book.limits} | {one.id for one in book.needs}
    assert Counter(entries) == Counter(wanted)
    assert len(BOOK.cautions) == len(book.cautions) and [one.name for one in BOOK.tables] == [*book.tables]
    assert [one.name for one, _, _ in BOOK.sources] == list(book.sources)
    assert all(tables or ids for one, tables, ids in BOOK.sources if not _of_cautions(one.name))
    assert {name for name, _, _ in BOOK.by_fact} <= book.vocabulary.facts.keys()
    assert all(ids for _, ids in BOOK.by_kind) and all(ids for _, _, ids in BOOK.by_fact)


def _of_cautions(name: str) -> bool:
    return any(name in one.source.named for one in answerer().rulebook.cautions)


def test_the_law_stands_by_place() -> None:
    """Each row of each table of law stands under its place, with the table's title, as it stands in the table."""
    rows = [(place, table, says) for place, several in BOOK.by_place for table, _, says in several]
    assert Counter(rows) == Counter((key, one.name, says) for one in BOOK.tables if one.key for key, says in one.rows)
    assert len(BOOK.by_place) > 40 and [place for place, _ in BOOK.by_place] == sorted(
        place for place, _ in BOOK.by_place
    )
    entries = [entry for chapter in BOOK.chapters for entry in chapter.entries]
    assert {table.name for entry in entries for table in entry.tables} == {one.name for one in BOOK.tables}


def test_a_rule_is_told_where_its_figures_decide(pages: TestClient[Litestar]) -> None:
    """What is over 102 in wide is too wide: both sides stand in the book, and a link of the rule's page asks each."""
    (told,) = BOOK.borders["width-on-the-road"]
    assert (told.below[0], told.above[0]) == ("102 in or less: passes", "102-1/16 in or more: fails")
    assert (told.name, told.told) == ("accessory.width", "")
    assert sum(map(len, BOOK.borders.values())) > 1_000
    book, page = pages.get("/rules/book").text, pages.get("/rules/width-on-the-road").text
    assert "102-1/16 in or more: fails" in book
    for (side, href), mark in ((told.below, False), (told.above, True)):
        assert f'<a href="{escape(href)}">{side}</a>' in page
        assert ("1/16 in more than 102 in" in pages.get(href).text) == mark


def test_a_need_is_told_where_it_begins() -> None:
    """In words that a reader knows, with the figure that an adapter has in its place among the adapter's facts."""
    sides = {side for one in BOOK.borders["tie-downs"] for side, _ in (one.below, one.above)}
    assert {side.rpartition(": ")[2] for side in sides} == {"needed", "not needed"}
    told = [one.told for one in BOOK.borders["load-clears-bumper"] if one.name == "adapter.adds_length"]
    facts = "accessory.kind bike_carrier, load.front_setback 3-15/16 in, mounting.pin_to_bumper 4 in"
    assert told == [f"{facts}, adapters (adds_length …)"]


def test_a_file_of_it_needs_nothing_else(tmp_path: Path) -> None:
    """Every link leads to a place in the file, no place is named twice, and nothing is loaded from elsewhere."""
    assert main(["rules", "book", "--to", str(tmp_path / "book.html")]) == 0
    text = (tmp_path / "book.html").read_text("utf-8")
    ids, hrefs = re.findall(r'\bid="([^"]+)"', text), set(re.findall(r'\bhref="([^"]+)"', text))
    assert max(Counter(ids).values()) == 1
    assert hrefs == {f"#{one}" for one in ids} & hrefs and len(hrefs) > 250
    assert not re.findall(r'\b(?:src|action)="|url\(|@import', text)
    assert "rated axle weights of the towing vehicle" in text


def test_on_paper_each_index_names_what_it_is_of(page: Page) -> None:
    """What is unfolded on a screen stands open on paper, with its place, kind or fact above it."""
    page.emulate_media(media="print")
    page.goto("/rules/book")
    for index, first in (("by-place", "Alabama"), ("by-kind", "Bike carrier"), ("by-fact", "Wheelbase")):
        one = page.locator(f"section[aria-labelledby={index}] details", has=page.get_by_text(first, exact=False)).first
        assert one.locator("summary").is_visible() and one.locator("a").first.is_visible(), index


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    """No file is left half written, and what to do is said."""
    assert main(["rules", "book", "--to", str(tmp_path / "no" / "book.html")]) != 0
    assert not (tmp_path / "no").exists()


def test_it_is_a_page(client: TestClient[Litestar]) -> None:
    """The page of rules leads to it, and it tells the rulebook that is served."""
    assert 'href="/rules/book"' in client.get("/rules").text
    page = client.get("/rules/book")
    assert page.status_code == 200 and answerer().rulebook.digest in page.text
