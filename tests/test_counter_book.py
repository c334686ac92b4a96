"""The rulebook as a book: all of it is in there, each link leads to a place in it, and a file needs nothing else."""

import re
from collections import Counter
from pathlib import Path

from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

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
    assert len(BOOK.cautions) == len(book.cautions) and len(BOOK.tables) == len(book.tables)
    assert [one.name for one, _, _ in BOOK.sources] == list(book.sources)
    assert all(tables or ids for one, tables, ids in BOOK.sources if not _of_cautions(one.name))
    assert {name for name, _, _ in BOOK.by_fact} <= book.vocabulary.facts.keys()
    assert all(ids for _, ids in BOOK.by_kind) and all(ids for _, _, ids in BOOK.by_fact)


def _of_cautions(name: str) -> bool:
    return any(name in one.source.named for one in answerer().rulebook.cautions)


def test_a_file_of_it_needs_nothing_else(tmp_path: Path) -> None:
    """Every link leads to a place in the file, no place is named twice, and nothing is loaded from elsewhere."""
    assert main(["rules", "book", "--to", str(tmp_path / "book.html")]) == 0
    text = (tmp_path / "book.html").read_text("utf-8")
    ids, hrefs = re.findall(r'\bid="([^"]+)"', text), set(re.findall(r'\bhref="([^"]+)"', text))
    assert max(Counter(ids).values()) == 1
    assert hrefs == {f"#{one}" for one in ids} & hrefs and len(hrefs) > 250
    assert not re.findall(r'\b(?:src|action)="|url\(|@import', text)
    assert "rated axle weights of the towing vehicle" in text


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    """No file is left half written, and what to do is said."""
    assert main(["rules", "book", "--to", str(tmp_path / "no" / "book.html")]) != 0
    assert not (tmp_path / "no").exists()


def test_it_is_a_page(client: TestClient[Litestar]) -> None:
    """The page of rules leads to it, and it tells the rulebook that is served."""
    assert 'href="/rules/book"' in client.get("/rules").text
    page = client.get("/rules/book")
    assert page.status_code == 200 and answerer().rulebook.digest in page.text
