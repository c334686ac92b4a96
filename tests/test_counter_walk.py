"""Never the wrong car, in a real browser: its own Back, reload and form memory, in two tabs, with scripts."""

import random
import re
from collections.abc import Callable
from urllib.parse import parse_qs, urlsplit

from counter_browser import Counter, context
from demo_world import world
from effort import tries
from playwright.sync_api import Browser, Locator, Page, expect
from test_counter_choosing import STARTS, VEHICLES

WALKS, STEPS = 1, 14
SHOWN = "input[name=vehicle]:checked"


def test_what_a_browser_shows_is_what_it_asks(browser: Browser, counter: Counter) -> None:
    """Whatever was typed, chosen, reloaded or gone back to, an answer is of the vehicle that was marked, or of none."""
    answered = 0
    for seed in range(tries(WALKS).max_examples):
        chance = random.Random(seed)
        with context(browser, counter) as window:
            tabs = [window.new_page() for _ in range(2)]
            for tab in tabs:
                tab.goto(chance.choice(STARTS))
            for _ in range(STEPS):
                chance.choice(DOES)(tab := chance.choice(tabs), chance)
                _settled(tab)
                answered += _answered(tab)
    assert answered


def _settled(tab: Page) -> None:
    """Wait until the page has heard what its form was told last."""
    tab.wait_for_load_state("load")
    expect(tab.locator("form[data-live][aria-busy=true]")).to_have_count(0)


def _type(tab: Page, chance: random.Random) -> None:
    if (field := tab.locator("#find-vehicle")).count():
        field.fill(chance.choice(list(VEHICLES)))


def _choose(tab: Page, chance: random.Random) -> None:
    _tick(tab.locator("#vehicle-found input[name=vehicle]"), chance)


def _load(tab: Page, chance: random.Random) -> None:
    if (field := tab.locator("#load-bikes")).count() and field.is_visible():
        field.fill(chance.choice(["1", "2"]))
        field.blur()


def _tick(found: Locator, chance: random.Random) -> None:
    if count := found.count():
        found.nth(chance.randrange(count)).check()


def _ask(tab: Page, chance: random.Random) -> None:
    """Answer, and hold what is asked to what was marked."""
    if not (button := tab.locator("#answer")).count():
        tab.get_by_role("link", name=re.compile("^Change")).first.click()
        return
    marked = tab.locator(SHOWN).get_attribute("value") if tab.locator(SHOWN).count() else ""
    text = tab.locator("#find-vehicle").input_value()
    button.click()
    _settled(tab)
    if _answered(tab):
        asked = {name: told[0] for name, told in parse_qs(urlsplit(tab.url).query).items()}
        own = "&".join(f"{name}={told}" for name, told in asked.items() if name.startswith("vehicle."))
        saved = ((world().rig(asked.get("rig", "")) or {}).get("vehicle") or {}).get("id", "")
        now = asked.get("vehicle") or own or saved
        assert now == marked, (tab.url, marked)
        assert not text or not now or now in VEHICLES[text], (tab.url, text)


def _reload(tab: Page, chance: random.Random) -> None:
    tab.reload()


def _back(tab: Page, chance: random.Random) -> None:
    tab.go_back()
    if tab.url == "about:blank":
        tab.go_forward()


def _answered(tab: Page) -> bool:
    return urlsplit(tab.url).path == "/answer" and bool(tab.locator(".outcome h1").count())


DOES: tuple[Callable[[Page, random.Random], None], ...] = (_type, _type, _choose, _load, _ask, _ask, _reload, _back)
