"""What every page at the counter is held to, in a real browser and by a real HTML checker."""

from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from typing import Final
from unicodedata import normalize
from urllib.parse import urldefrag, urljoin, urlsplit

import httpx
import pytest
from counter_browser import (
    CARRIES,
    DESKTOP,
    FAILS,
    FRONT_AND_REAR,
    HOSTILE,
    OPEN,
    PAGES,
    PART,
    PHONE,
    STRANGE,
    TOGETHER,
    WORKS,
    Counter,
    Seen,
    overlapping,
    reused,
    sideways,
    small_targets,
    validate,
    violations_in_both_themes,
    weight,
)
from playwright.sync_api import Browser, Page, Response
from pypdf import PdfReader
from served import NO_TLS
from waiting import LONGEST

MOST_BYTES: Final = 150_000
"""What a page may weigh with all that it needs."""
MOST_SHIFT: Final = 0.1
"""A layout shift that people do not mind (web.dev/articles/cls, "good")."""
SHEETS: Final = {
    "works": WORKS,
    "fails": FAILS,
    "undetermined": OPEN,
    "partial vehicle": PART,
    "strange": STRANGE,
    "carrier without a load": CARRIES,
    "together": TOGETHER,
    "front and rear": FRONT_AND_REAR,
}
SHIFT: Final = """() => new Promise((tell) => {
    let sum = 0;
    new PerformanceObserver((list) => list.getEntries().forEach((one) => { sum += one.value; }))
        .observe({ type: "layout-shift", buffered: true });
    setTimeout(() => tell(sum), 50);
})"""
POLICY: Final = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self'",
    "form-action 'self'",
    "frame-ancestors 'none'",
    "base-uri 'none'",
}
named = pytest.mark.parametrize("name", PAGES)


class Links(HTMLParser):
    """The addresses that a page links to."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a link's address."""
        self.found += [value for name, value in attrs if tag == "a" and name == "href" and value]


def get(counter: Counter, path: str) -> httpx.Response:
    """Ask for a page without a browser."""
    return httpx.get(counter.url + path, follow_redirects=True, timeout=LONGEST, verify=NO_TLS)


@pytest.fixture(scope="module")
def everything(counter: Counter) -> dict[str, str]:
    """Give every page of the list, and every page that can be reached from them, by its address; none is missing.

    The links of an answer or of a record that a link led to are left alone: remedies of remedies have no end. So are
    those that choose another language, and of the thousands of answers at the borders of rules all but some.
    """
    found: dict[str, str] = {}
    borders = 0
    with httpx.Client(base_url=counter.url, follow_redirects=True, timeout=LONGEST) as client:
        left = [(path, True) for path in PAGES.values()]
        while left:
            path, first = left.pop()
            if path in found:
                continue
            reply = client.get(path)
            if not reply.headers["content-type"].startswith("text/html"):
                continue
            assert first or reply.status_code == 200, (path, reply.text)
            found[path] = reply.text
            if first or not _endless(urlsplit(path).path):
                told = (one for one in Links(reply.text).found if not one.startswith("/speak/"))
                links = {urldefrag(urljoin(str(reply.url), one)).url for one in told}
                if path.startswith("/rules/"):
                    asking = sorted(one for one in links if "/answer?" in one)
                    links -= {*asking[max(0, _BORDERS - borders) :]}
                    borders += len(asking)
                left += [(one.removeprefix(counter.url), False) for one in links if one.startswith(counter.url)]
    return found


_BORDERS: Final = 40
"""So many answers are looked at that pages of rules ask for at their borders, which are all of one shape."""


def _endless(path: str) -> bool:
    """Whether what a page links to has no end, or is every record of the store."""
    return path in ("/", "/answer", "/fits", "/measure") or path.startswith(("/records", "/edit", "/docs"))


def test_every_page_is_valid_html(everything: dict[str, str], tmp_path: Path) -> None:
    """The Nu HTML checker has nothing against any page that can be reached."""
    assert len(everything) > len(PAGES)
    assert validate(everything, tmp_path) == []


@pytest.fixture(scope="module")
def desk(browser: Browser, counter: Counter) -> Iterator[Callable[[], Page]]:
    """Give the page of a desktop's size that tests have after each other."""
    with reused(browser, counter, DESKTOP) as emptied:
        yield emptied


@pytest.fixture
def page(desk: Callable[[], Page], counter: Counter) -> Iterator[Page]:
    """Give that page, empty, which may ask no other host and has nothing to complain of at the end."""
    opened, seen = desk(), Seen(counter.url)
    with seen.watching(opened):
        yield opened
    assert (seen.elsewhere, seen.told) == ([], [])


@pytest.fixture(scope="module")
def phone(browser: Browser, counter: Counter) -> Iterator[Callable[[], Page]]:
    """Give the page of a phone that tests have after each other."""
    with reused(browser, counter, PHONE, has_touch=True, is_mobile=True) as emptied:
        yield emptied


@named
def test_a_page_is_light_and_stands_in_nobodys_way(page: Page, name: str) -> None:
    """A page weighs little with all that it needs, nothing moves once it is shown, and axe finds no violation.

    Nothing lies over what stands beside it, on the screen or on paper.
    """
    taken: list[Response] = []

    def take(one: Response) -> None:
        taken.append(one)

    page.on("response", take)
    page.goto(PAGES[name])
    page.remove_listener("response", take)
    assert 0 < weight(taken) < MOST_BYTES
    assert page.evaluate(SHIFT) < MOST_SHIFT
    assert violations_in_both_themes(page) == []
    assert overlapping(page) == []
    page.emulate_media(media="print")
    assert overlapping(page) == []


@named
def test_a_page_fits_a_phone_and_a_thumb(phone: Callable[[], Page], name: str) -> None:
    """At 360 px nothing reaches over the side, and what is pressed is 44 px in height and width (WCAG 2.2, 2.5.5)."""
    page = phone()
    page.goto(PAGES[name])
    assert sideways(page) == []
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert sideways(page) == []
    assert small_targets(page) == []
    assert overlapping(page) == []


@named
def test_a_page_is_guarded(counter: Counter, name: str) -> None:
    """Every page says to the browser that it loads, sends and is framed from here only, and is what it says it is."""
    reply = get(counter, PAGES[name])
    policy = {one.strip() for one in reply.headers["content-security-policy"].split(";")}
    assert policy >= POLICY
    assert policy - POLICY <= {"connect-src 'self'"}
    assert reply.headers["x-content-type-options"] == "nosniff"
    assert reply.headers["referrer-policy"] in ("same-origin", "no-referrer")
    assert "set-cookie" not in reply.headers
    for inline in ("<style", " style=", " onload", " onclick", "javascript:"):
        assert inline not in reply.text


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_sheet_to_take_home_is_one_page(page: Page, name: str, paper: str) -> None:
    """On either paper an answer is one sheet with what was asked, the outcome, the digest and the address."""
    page.goto(SHEETS[name])
    sheet = PdfReader(BytesIO(page.pdf(format=paper)))
    text = _closed_up(sheet.pages[0].extract_text())
    assert len(sheet.pages) == 1
    for selector in ("h1", ".digest", ".sheet .link"):
        assert _closed_up(page.locator(selector).inner_text()) in text


def _closed_up(text: str) -> str:
    """A text without its spaces and joined letters, which a PDF keeps in its own way."""
    return "".join(normalize("NFKC", text).split())


def test_the_same_question_gives_the_same_page(counter: Counter) -> None:
    """A link reproduces the answer: the same bytes, the date apart, from whatever words led to the link."""
    first, again = (get(counter, FAILS) for _ in range(2))
    assert first.text == again.text
    wordy = get(counter, f"{FAILS}&find.accessory=peg&about=accessory&ball=")
    assert wordy.url == first.url
    assert wordy.text == first.text


def test_strange_names_are_shown_as_they_are(page: Page) -> None:
    """A label with markup, quotes, templates and marks of direction is text wherever it stands, and runs nothing."""
    for path in (STRANGE, "/?find.accessory=%3Cscript%3E", "/?find.vehicle=%27%3B+drop", "/?vehicle=veh_hostile"):
        page.goto(path)
        assert page.title().endswith("fitsvc")
        assert page.locator("main script, main img[src=x]").count() == 0
        assert HOSTILE.split("\u202e")[0].strip() in page.locator("main").inner_text()


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
@pytest.mark.parametrize("path", ["/", FAILS, "/fits"])
def test_nothing_is_changed_from_a_page(counter: Counter, method: str, path: str) -> None:
    """The pages take GET only, so that no other site's form can change anything."""
    origin = {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "cross-site"}
    reply = httpx.request(
        method, counter.url + path, headers=origin, data={"vehicle": "x"}, timeout=LONGEST, verify=NO_TLS
    )
    assert reply.status_code == 405
