"""Two or three items side by side: each as its own answer has it, what parts them, which is better, how it hangs."""

import re
from typing import Final

from counter_browser import MUCKLE, PHONE, Counter, context
from litestar import Litestar
from litestar.testing import TestClient
from playwright.sync_api import Browser

Pages = TestClient[Litestar]
RIG: Final = f"{MUCKLE}&load.bikes=2&load.bike_weight=40+lb"
TWO: Final = f"/compare?{RIG}&pick.SPK-TRUG-2=yes&pick.SPK-HIGH-2=yes"
BETTER: Final = ' class="better"><span class="hidden">better: </span>'


def cells_of(html: str) -> dict[str, list[tuple[str, bool]]]:
    """What each rule says of each item, by its title, and whether that one is marked as the better."""
    rows = re.findall(r'<tr><th scope="row">([^<]+)</th>(.*?)</tr>', html)
    return {
        title: [(text, bool(mark)) for mark, text in re.findall(rf"<td({BETTER})?>?([^<]*)</td>", row)]
        for title, row in rows
    }


def test_two_items_stand_side_by_side(pages: Pages) -> None:
    """Each has its outcome as its own answer has it, and what parts the two is told with its margins."""
    told = pages.get(TWO).text.replace(BETTER, ">")
    for sku in ("SPK-TRUG-2", "SPK-HIGH-2"):
        outcome = re.search(r'class="outcome (\w+)"', pages.get(f"/answer?{RIG}&accessory={sku}").text)
        assert outcome and f'<td><span class="mark {outcome[1]}"' in told
    assert " to spare</td>" in told
    cell = r"<td>(holds|does not(?! matter)|not known)[^<]*</td>"
    apart = [first != other for first, other in re.findall(f"</th>{cell}{cell}</tr>", told)]
    assert any(apart) and apart == sorted(apart, reverse=True), "what parts them by its outcome comes first"
    assert "The folded carrier clears the bumper" in told
    assert "The accessory ends behind where it begins" not in told, "its own figures agree, whatever the rig"
    assert "pick two or 3" in pages.get(f"/compare?{RIG}&pick.SPK-TRUG-2=yes").text


def test_the_better_one_is_marked_by_what_it_comes_to_and_then_by_what_is_to_spare(pages: Pages) -> None:
    """One that holds before one that does not; of two that hold the one with more to spare; never both alike."""
    found = cells_of(pages.get(TWO).text)
    told = {title: cells for title, cells in found.items() if len(cells) == 2 and any(mark for _, mark in cells)}
    assert len(told) >= 3
    by_spare = 0
    for title, cells in told.items():
        (marked,) = [text for text, mark in cells if mark] or [""]
        (other,) = [text for text, mark in cells if not mark]
        assert marked.startswith("holds") or other.startswith("does not,"), title
        spare = [re.search(r"holds, ([\d.]+) lb to spare", text) for text in (marked, other)]
        if all(spare):
            more, less = (float(one[1]) for one in spare if one)
            assert more > less, title
            by_spare += 1
    assert by_spare


def test_in_metric_the_better_is_the_same_and_its_answer_stays_metric(pages: Pages) -> None:
    """What is marked does not hang on the units, and the link to an item's own answer keeps them."""
    plain, metric = (pages.get(f"{TWO}{more}").text for more in ("", "&units=metric"))
    marks = [[[mark for _, mark in cells] for cells in cells_of(html).values()] for html in (plain, metric)]
    assert marks[0] == marks[1]
    assert all("units=metric" in href for href in re.findall(r'href="(/answer[^"]+)"', metric))


def test_each_is_drawn_and_the_vehicle_is_to_one_scale(pages: Pages) -> None:
    """A long carrier and a short one: a picture each, named, to one scale; none where the vehicle is one of several."""
    html = pages.get(f"/compare?{RIG}&pick.SPK-TRUG-2=yes&pick.SPK-PEG-3=yes&pick.LLH-TRAY-60=yes").text
    figures = re.findall(r'<figure class="figure picture">.*?</figure>', html, re.DOTALL)
    assert [re.findall(r'class="sku">([^<]+)<', one) for one in figures] == [
        ["LLH-TRAY-60"],
        ["SPK-PEG-3"],
        ["SPK-TRUG-2"],
    ]
    scales = {re.findall(r'data-panel="far" data-units-per-mm="([^"]+)"', one)[0] for one in figures}
    assert len(scales) == 1
    assert len({re.findall(r'<svg[^>]* id="([^"]+)"', one)[0] for one in figures}) == 3
    several = "vehicle.make=Velmora&vehicle.model=Saltmarsh"
    unsure = pages.get(f"/compare?{several}&pick.SPK-TRUG-2=yes&pick.SPK-HIGH-2=yes").text
    assert 'class="versus' in unsure and "<figure" not in unsure


def test_on_a_telephone_the_pictures_stand_one_below_another(browser: Browser, counter: Counter) -> None:
    """Each as wide as the page, so that its words can be read; beside one another where there is room."""
    for size, rows in ((PHONE, 2), ({"width": 1280, "height": 900}, 1)):
        with context(browser, counter, size) as window:
            page = window.new_page()
            page.goto(TWO)
            boxes = [one.bounding_box() for one in page.locator(".beside .figure").all()]
            assert len(boxes) == 2 and len({round(box["y"]) for box in boxes if box}) == rows
            assert all(box and box["width"] > 300 for box in boxes)
