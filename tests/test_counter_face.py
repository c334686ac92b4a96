"""The face of the pages, in a real browser: what makes a page this house's and an outcome plain without its colour."""

from itertools import combinations, product

import pytest
from counter_browser import CARRIES, FAILS, MEASURED, OPEN, PAGES, PART, WORKS, Counter, context
from playwright.sync_api import Browser, Page

PICTURED = {
    name: PAGES[name]
    for name in ("ask", "fits", "audits", "rules", "rule", "fact", "guide", "not there", "the API", "problems", "sell")
}
"""A page of each template but the answer's, whose looks are held elsewhere."""
TELEPHONE = {"width": 390, "height": 844}
FACE = """() => {
    const look = (one) => getComputedStyle(document.querySelector(one));
    const block = [...document.querySelectorAll("main section > h2, main section > .head, main fieldset:not(.inner)")];
    return {
        text: look("html").fontSize, h1: look("h1").fontSize, paper: look("html").backgroundColor,
        rule: look(".top").borderBottomWidth, current: document.querySelectorAll("[aria-current=page]").length,
        blocks: block.filter((one) => one.checkVisibility()).map((one) => getComputedStyle(one).borderTopWidth),
        brand: document.querySelector(".brand").innerText, marks: document.querySelectorAll(".brand svg").length,
    };
}"""


def test_every_page_has_the_house_face(page: Page) -> None:
    """Type scale, paper, title-block rules, mark and name are the same on every page."""
    for name, path in PICTURED.items():
        page.goto(path)
        face = page.evaluate(FACE)
        assert (face["text"], face["h1"], face["rule"]) == ("16px", "31px", "2px"), name
        assert face["paper"] == "rgb(250, 246, 238)" and face["marks"] == 1 and face["brand"] == "fitsvc", name
        assert set(face["blocks"]) <= {"2px"}, name
        assert face["current"] <= 1, name


def _luminance(colour: str) -> float:
    parts = [int(one) / 255 for one in colour.removeprefix("rgb(").removesuffix(")").split(",")]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    """By WCAG 2.2, "contrast ratio"."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_ink_reads_on_every_ground(page: Page, scheme: str) -> None:
    """Each colour of text has 4.5:1 to each ground, and the edge of a field 3:1 (WCAG 2.2, 1.4.3 and 1.4.11)."""
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]  # a scheme out of a list
    page.goto("/fits")
    names = ["paper", "surface", "sunk", "ink", "soft", "link", "works", "conditional", "undetermined", "fails", "edge"]
    found = page.evaluate(
        """(names) => names.map((name) => {
        const one = document.body.appendChild(document.createElement("i"));
        one.style.color = `var(--${name})`;
        return getComputedStyle(one).color;
    })""",
        names,
    )
    grounds, inks, edge = found[:3], found[3:-1], found[-1]
    assert [pair for pair in product(inks, grounds) if _contrast(*pair) < 4.5] == []
    assert [ground for ground in grounds if _contrast(edge, ground) < 3.0] == []


def test_marks_differ_in_outline(page: Page) -> None:
    """In one colour alone each outcome's mark covers other points of its square than any other's."""
    page.goto("/fits?vehicle=veh_muckle_2023_short&receiver=rcv_brannoch_muckle")
    covered = page.evaluate("""() => [...document.querySelectorAll(".counts .mark svg")].map((one) => {
        const full = [...one.querySelectorAll(".full")], rings = [...one.querySelectorAll(".ring")], points = [];
        for (let x = 0.5; x < 24; x++) for (let y = 0.5; y < 24; y++) {
            const at = new DOMPoint(x, y);
            const inside = full.some((f) => f.isPointInFill(at)) || rings.some((r) => r.isPointInStroke(at));
            if (inside) points.push(24 * x + y);
        }
        return points;
    })""")
    assert len(covered) == 4
    for one, other in combinations(map(set, covered), 2):
        assert len(one ^ other) > 0.1 * 24 * 24


@pytest.mark.parametrize("path", [WORKS, OPEN, FAILS])
def test_the_rail_tells_the_outcome_by_its_pattern(page: Page, path: str) -> None:
    """A plain band, dashes or hatching: no two outcomes have the same, and forced colours keep it."""
    page.goto(path)
    rail = "getComputedStyle(document.querySelector('.outcome'), '::before').backgroundImage"
    kinds = {WORKS: "none", OPEN: "repeating-linear-gradient(90deg", FAILS: "repeating-linear-gradient(135deg"}
    assert page.evaluate(rail).startswith(kinds[path])
    page.emulate_media(forced_colors="active")
    assert page.evaluate(rail).startswith(kinds[path])


def test_the_shop_is_named_beside_the_mark(browser: Browser, counter: Counter) -> None:
    """On a phone the mark stands alone, and whoever does not see it is told the name."""
    with context(browser, counter, {"width": 390, "height": 844}) as window:
        page = window.new_page()
        page.goto("/")
        box = page.locator(".brand").bounding_box()
        assert box and box["width"] < 60 and box["height"] >= 44
        assert page.get_by_role("link", name="fitsvc").count() == 1


@pytest.mark.parametrize("path", [WORKS, OPEN, FAILS, CARRIES, PART])
def test_an_answer_is_read_on_two_and_a_half_phone_screens(browser: Browser, counter: Counter, path: str) -> None:
    """What stands open of an answer is no longer than that, and the field of its one next step is on the first."""
    with context(browser, counter, TELEPHONE, has_touch=True, is_mobile=True) as window:
        page = window.new_page()
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollHeight") <= 2.5 * TELEPHONE["height"]
        fields = page.locator(".step .reading-form")
        for box in [fields.bounding_box()] if fields.count() else []:
            assert box and box["y"] + box["height"] <= TELEPHONE["height"]


def test_nothing_of_an_answer_is_said_twice(page: Page) -> None:
    """No sentence of what stands open is there a second time."""
    for path in (WORKS, OPEN, FAILS, CARRIES):
        page.goto(path)
        texts = page.locator("h1, .then, .just, .words p, .step p").all_inner_texts()
        told = [one.strip().removesuffix(" Its rule") for one in dict.fromkeys(texts) if len(one) > 40]
        assert [one for one in told if sum(one in other for other in told) > 1] == [], path


SMALLEST = """() => [...document.querySelectorAll("main *, footer *")].filter((one) => {
    if (one.closest(".mark")) return false;
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    return own && one.checkVisibility({ visibilityProperty: true }) && one.getBoundingClientRect().width > 1;
}).map((one) => {
    const scale = one.ownerSVGElement ? one.ownerSVGElement.getScreenCTM().a : 1;
    return [parseFloat(getComputedStyle(one).fontSize) * scale * 0.75, one.textContent.trim().slice(0, 40)];
}).filter(([points]) => points < 7.95)"""
WORDS_MEET = """() => {
    const boxes = [...document.querySelectorAll(".picture svg text")].map((one) => one.getBBox());
    const meet = (a, b) => a.x < b.x + b.width && a.y + 3 < b.y + b.height - 1;
    return boxes.flatMap((a, i) => boxes.slice(0, i).filter((b) => meet(a, b) && meet(b, a))).length;
}"""


@pytest.mark.parametrize("path", [WORKS, OPEN, FAILS, f"/records/mounting/{MEASURED}"])
def test_paper_has_no_small_print(browser: Browser, counter: Counter, path: str) -> None:
    """On A4 no words, those of the picture included, are smaller than 8 pt, and none covers another."""
    with context(browser, counter, {"width": 718, "height": 1047}) as window:
        page = window.new_page()
        page.goto(path)
        page.emulate_media(media="print")
        assert page.evaluate(SMALLEST) == []
        assert page.evaluate(WORDS_MEET) == 0
        assert page.locator(".sheet-head .qr").bounding_box()["width"] > 70  # type: ignore[index]  # a mark that is not drawn is to fail here
