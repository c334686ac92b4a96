"""Pictures at extreme values, set by a real browser: no two words meet, and none is under its least size.

`test_drawing_whole` reckons with the width of a letter; here it is what Chromium makes of the page's own styles, as
wide as a phone, a column and a sheet of paper are.
"""

from typing import Final

import pytest
from demo_world import answerer
from drawn_rigs import case_of, random_facts, things_of
from playwright.sync_api import Browser
from test_drawing_whole import BODIES, stretched

from fitsvc.drawing.several_view import several_view
from fitsvc.drawing.whole_view import whole_view
from fitsvc.language.display import System
from fitsvc.service.counter.rendering import assets

SCREEN: Final = {"phone": 304, "tablet": 440, "column": 430}
"""How wide a picture stands, in CSS pixels: on a phone of 320 px, and beside the words of a desktop's page."""
LEAST_ON_SCREEN: Final = 10.5
"""In CSS pixels, on the narrowest phone; everywhere else the words are as large as they are laid out, or larger."""
LEAST_ON_PAPER: Final = 8.0
"""In points: what is smaller is not read from a sheet of paper (common practice, no source)."""
PAPER_MM: Final = 81
"""What the picture of an answer has on paper."""
FOUND: Final = """(least) => [...document.querySelectorAll("svg.view")].flatMap((svg) => {
    const scale = svg.getScreenCTM().a, texts = [...svg.querySelectorAll("text")];
    const boxes = texts.map((one) => one.getBoundingClientRect()), edge = svg.getBoundingClientRect();
    const meet = (a, b) => a.left < b.right - 0.5 && b.left < a.right - 0.5 && a.top + 3 * scale < b.bottom - scale
        && b.top + 3 * scale < a.bottom - scale;
    const wrong = [];
    boxes.forEach((a, i) => {
        const size = parseFloat(getComputedStyle(texts[i]).fontSize) * scale;
        if (size < least - 0.01) wrong.push(["small", size, texts[i].textContent]);
        if (a.left < edge.left - 1 || a.right > edge.right + 1 || a.bottom > edge.bottom + 1)
            wrong.push(["outside", texts[i].textContent]);
        boxes.slice(0, i).forEach((b, j) => {
            if (meet(a, b)) wrong.push(["meet", texts[i].textContent, texts[j].textContent]);
        });
    });
    return wrong.map((one) => [svg.id || svg.parentElement.id, ...one]);
})"""


def _pictures() -> list[str]:
    """Pictures of extreme rigs: of every body, in both systems, of one thing and of two at once."""
    found = []
    for seed in range(0, 120, 2):
        facts, adapters = random_facts(seed)
        facts["vehicle"]["body"] = list(BODIES)[seed // 2 % len(BODIES)].partition(" ")[0]
        stretched(facts, seed // 2)
        system: System = "metric" if seed % 3 else "us"
        drawn = whole_view(answerer().wording, case_of(facts, adapters), system, f"p{seed}")
        found += [f'<figure id="of-{seed}">{drawn.svg}</figure>'] if drawn else []
        if seed % 5 == 0:
            other, more = random_facts(seed + 7)
            both = several_view(answerer(), things_of([(facts, adapters), (other, more)]), system, f"s{seed}")
            found += [f'<figure id="both-{seed}">{both.svg}</figure>'] if both else []
    return found


@pytest.fixture(scope="module")
def pictures() -> str:
    """Give a page of pictures with the styles of the counter."""
    styles = "".join(assets()[name].decode() for name in ("counter.css", "drawing.css"))
    head = f"<!doctype html><title>x</title><style>{styles} figure {{ margin: 0 }}</style>"
    return f"{head}<main>{''.join(_pictures())}</main>"


@pytest.mark.parametrize("name", SCREEN)
def test_on_a_screen_no_words_meet_and_none_is_small(browser: Browser, pictures: str, name: str) -> None:
    """Whatever the figures, at each width that a picture has on a page."""
    page = browser.new_page(viewport={"width": SCREEN[name], "height": 900})
    page.set_content(pictures)
    page.add_style_tag(content=f"main {{ width: {SCREEN[name]}px; padding: 0 !important }}")
    assert page.locator("svg.view").count() > 50
    assert page.evaluate(FOUND, LEAST_ON_SCREEN) == []
    page.close()


def test_on_paper_no_words_meet_and_none_is_small(browser: Browser, pictures: str) -> None:
    """As wide as the picture of a sheet."""
    page = browser.new_page(viewport={"width": 718, "height": 1047})
    page.set_content(pictures)
    page.add_style_tag(content=f"main {{ width: {PAPER_MM}mm; padding: 0 !important }}")
    page.emulate_media(media="print")
    assert page.evaluate(FOUND, LEAST_ON_PAPER * 4 / 3) == []
    page.close()
