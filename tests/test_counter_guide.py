"""The guide's pages as the service shows them."""

import re
from collections.abc import Iterator
from pathlib import Path
from zipfile import ZipFile

import pytest
from demo_world import answerer
from hatchling.builders.wheel import WheelBuilder
from litestar import Litestar
from litestar.testing import TestClient
from markupsafe import escape

from fitsvc.paths import data_dir
from fitsvc.service.app import create_app
from fitsvc.service.counter.guide import address, pages, show
from fitsvc.store.database import Database

ROOT = Path(__file__).parent.parent
FILES = {one.stem: one.read_text("utf-8") for one in (ROOT / "fitsvc" / "guide").glob("*.md")}


@pytest.fixture
def guided(url: str) -> Iterator[TestClient[Litestar]]:
    """Give a client of the service; what it stores is of no matter here."""
    database = Database(url)
    with TestClient(create_app(database, answerer())) as client:
        yield client
    database.close()


def test_every_page_is_served_and_linked(guided: TestClient[Litestar]) -> None:
    """The first page links to every other; each says what its file says."""
    first = guided.get("/guide")
    assert first.status_code == 200
    linked = set(re.findall(r'href="/guide/(\w+)"', first.text))
    assert linked == pages().keys() - {"index"} == (FILES.keys() - {"index"}) | {"reference"}
    for name in linked:
        shown = guided.get(f"/guide/{name}")
        assert (shown.status_code, shown.headers["content-type"]) == (200, "text/html; charset=utf-8")
        assert f"<title>{escape(pages()[name].title)} - fitsvc</title>" in shown.text


@pytest.mark.parametrize("name", ["index", "nothing", "README.md", "%3Cscript%3E"])
def test_other_names_lead_nowhere(guided: TestClient[Litestar], name: str) -> None:
    """A name that is none of a page's is answered with a page that says so."""
    shown = guided.get(f"/guide/{name}")
    assert shown.status_code == 404
    assert "There is no such page" in shown.text


def test_the_guide_is_linked_from_every_page_and_from_the_api(guided: TestClient[Litestar]) -> None:
    """The counter's first page and the API's reference lead to the guide."""
    for path in ("/", "/docs"):
        assert 'href="/guide"' in guided.get(path).text


def test_markup_in_a_page_is_shown_and_not_obeyed() -> None:
    """HTML within Markdown is text; a link that would run something is none."""
    shown = show("# One <b>\n\n<script>alert(1)</script>\n\nA [trap](javascript:alert(1)) and `<i>`.\n").body
    assert "<script" not in shown
    assert "<b>" not in shown
    assert "&lt;script&gt;" in shown
    assert "href" not in shown
    assert "&lt;i&gt;" in shown


def test_columns_of_figures_are_told_by_a_class() -> None:
    """A column to the right is one by its class, since the pages' policy forbids styles within them."""
    shown = show("# One\n\n| a | b |\n| --- | ---: |\n| 1 | 2 |\n").body
    assert 'class="number"' in shown
    assert "style" not in shown


@pytest.mark.parametrize(
    ("link", "leads"),
    [
        ("audits.md", "/guide/audits"),
        ("rules.md#a-fact", "/guide/rules#a-fact"),
        ("index.md", "/guide"),
        ("../../rules/README.md", "/guide/reference"),
        ("../fitsvc/guide/rules.md", "/guide/rules"),
        ("https://example.org/one.md", "https://example.org/one.md"),
    ],
)
def test_links_between_files_become_links_between_pages(link: str, leads: str) -> None:
    """What leads to a file in a checkout leads to a page here."""
    assert address(link) == leads


def test_the_wheel_has_the_guide(tmp_path: Path) -> None:
    """The guide, and the reference beside the rules, ship in the wheel."""
    wheel = next(WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"]))
    names = set(ZipFile(wheel).namelist())
    assert {f"fitsvc/guide/{name}.md" for name in FILES} <= names
    assert "fitsvc/_data/rules/README.md" in names
    assert data_dir("rules").joinpath("README.md").is_file()
