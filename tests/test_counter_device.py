"""What a device keeps of its own: rigs under a name and the last questions, of which the server learns nothing."""

import json
import re

from counter_browser import FAILS, WORKS
from playwright.sync_api import Page, expect

FULL = """() => {
    const [first] = JSON.parse(localStorage["fitsvc.lately"]);
    const more = [...Array(9).keys()].map((n) => ({ query: `accessory=A-${n}`, told: `${n}` }));
    localStorage["fitsvc.lately"] = JSON.stringify([...more, first]);
}"""
KEPT = "JSON.parse(localStorage['fitsvc.lately'] ?? '[]')"


def test_rigs_and_the_last_questions_stay_on_the_device(page: Page) -> None:
    """The last ten, the newest first; a rig has what is told of it; each can be renamed and forgotten."""
    changing: list[str] = []
    page.on("request", lambda one: changing.append(one.url) if one.method != "GET" else None)
    page.goto(FAILS)
    page.evaluate(FULL)
    page.goto(WORKS)
    kept = page.evaluate(KEPT)
    assert len(kept) == 10
    assert "CART-612E" in kept[0]["query"]
    assert kept[-1]["query"] == "accessory=A-8"
    page.locator("summary", has_text="Keep it").click()
    page.get_by_label("Keep this rig on this device").fill("<b>Farm</b>")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.goto("/")
    device = page.locator("[data-device]")
    asked = device.locator("[data-lately] a").first
    expect(asked).to_contain_text("Yes, ")
    said = re.compile("^2023 Brannoch Muckle.* · Tugwright Plainsong .*TUG-2-D2-10")
    expect(asked.locator("small")).to_have_text(said)
    expect(device.get_by_role("link", name="<b>Farm</b>")).to_have_attribute(
        "href", "/?vehicle=veh_muckle_2023_short&receiver=rcv_brannoch_muckle"
    )
    device.get_by_role("button", name="rename <b>Farm</b>").click()
    device.get_by_label("new name for <b>Farm</b>").fill("Quarry")
    device.get_by_label("new name for <b>Farm</b>").press("Enter")
    expect(device.get_by_role("link", name="Quarry")).to_be_visible()
    device.get_by_role("button", name="rename 8").click()
    device.get_by_label("new name for 8").press("Escape")
    device.get_by_role("button", name="forget 8").click()
    assert [one["told"] for one in page.evaluate(KEPT)[1:]] == ["0", "1", "2", "3", "4", "5", "6", "7"]
    device.get_by_role("button", name="Forget all of it").click()
    expect(device).to_be_hidden()
    assert json.loads(page.evaluate("localStorage['fitsvc.rigs']")) == page.evaluate(KEPT) == []
    assert changing == []
