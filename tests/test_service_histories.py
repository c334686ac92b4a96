"""Servers are killed outright, again and again, while a shop writes and reads: what it saw makes one history.

Each confirmed write is read from then on, by whoever asks; a write that is sent again until it is confirmed is there
once; revisions only grow; and no page is of two catalogues at once. All that is chosen, who is killed and who writes
what, follows from a seed, `FITSVC_SEED`, which is told where a law is broken.
"""

import os
import random
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any, Final

import httpx
import pytest
from audit_world import audit, undated
from conftest import postgres_database
from demo_world import answerer
from effort import NIGHTLY
from served import NO_TLS, Served
from sqlalchemy import URL
from waiting import LONGEST, until

from fitsvc.audits.rigs import read_rigs
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.synthetic.planted import CATALOGUE, RIGS, write_planted

SEED: Final = int(os.environ.get("FITSVC_SEED") or (random.SystemRandom().randrange(10**6) if NIGHTLY else 1))
KILLS: Final = 60 if NIGHTLY else 2
SERVERS: Final = 2 if NIGHTLY else 1
SOAK_SECONDS: Final = float(os.environ.get("FITSVC_SOAK_SECONDS") or 3600)
RIG: Final = {"id": "rig_one", "name": "One", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}
SHANKS: Final = ("2 in", "1-1/4 in")


class House:
    """Some servers over one PostgreSQL, each of two workers; one that was killed as a whole is begun anew."""

    def __init__(self, url: str, folder: Path) -> None:
        self.url, self.folder = url, folder
        database = Database(url)
        with database.session() as session:
            self.key = {"X-API-Key": create_key(session, "shop")[0]}
        database.close()
        self.servers, self.ports = list[Served](), list[int]()

    def begin(self) -> None:
        """Begin all servers, and wait until they listen."""
        self.servers += [self._begin(number) for number in range(SERVERS)]
        self.ports += [server.port() for server in self.servers]

    def _begin(self, number: int) -> Served:
        log = self.folder / f"{number}-{time.monotonic_ns()}.log"
        return Served(self.url, log, audits=self.folder / "audits", workers=2)

    def kill(self, chance: random.Random) -> None:
        """Kill a worker, or by night a whole server, outright."""
        number = chance.randrange(SERVERS)
        server = self.servers[number]
        if NIGHTLY and chance.random() < 0.3:
            server.process.kill()
            server.end()
            self.servers[number] = server = self._begin(number)
            self.ports[number] = server.port()
        else:
            pid = server.process.pid
            workers = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
            if workers:
                os.kill(int(chance.choice(workers)), signal.SIGKILL)

    def memory(self) -> int:
        """What all workers hold, in kB, as the system counts it: what they share by halves."""
        found = 0
        for server in self.servers:
            pid = server.process.pid
            for worker in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
                told = Path(f"/proc/{worker}/smaps_rollup").read_text()
                found += int(re.findall(r"^Pss: +(\d+) kB", told, re.MULTILINE)[0])
        return found

    def ask(self, client: httpx.Client, number: int, method: str, path: str, **given: Any) -> Any:
        """Ask a server until it answers, another when it does not: what was sent is sent again as it was."""
        for turn in range(10_000):
            try:
                url = f"http://127.0.0.1:{self.ports[(number + turn) % SERVERS]}{path}"
                found = client.request(method, url, headers=self.key | given.get("headers", {}), **_body(given))
            except httpx.TransportError:
                time.sleep(0.02)
                continue
            if found.status_code < 500:
                return found
            time.sleep(0.02)
        raise AssertionError(f"nobody answers {path}; seed {SEED}")

    def end(self) -> None:
        """Leave nothing running."""
        for server in self.servers:
            server.end()


def _body(given: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in given.items() if name != "headers"}


class Shop:
    """Who writes and reads: each thread with chances of its own, and what all of them saw."""

    def __init__(self, house: House) -> None:
        self.house, self.over = house, threading.Event()
        self.confirmed, self.broken, self.done = list[str](), list[str](), 0

    def run(self, *works: Callable[[httpx.Client, random.Random], None]) -> None:
        """Do each work over and over, a thread for each, while servers are killed; raise what broke."""
        threads = [threading.Thread(target=self._over_and_over, args=one) for one in enumerate(works)]
        for thread in threads:
            thread.start()
        chance = random.Random(SEED)
        for _ in range(KILLS):
            due = self.done + 2 * len(works)
            until(partial(self._has_done, due), "the shop to go on")
            self.house.kill(chance)
        self.over.set()
        for thread in threads:
            thread.join()
        assert self.broken == [], f"seed {SEED}"

    def _has_done(self, due: int) -> bool:
        return self.done >= due or bool(self.broken)

    def soak(self, seconds: float, *works: Callable[[httpx.Client, random.Random], None]) -> list[int]:
        """Do each work over and over for some time; returns what memory the servers had, sixty times."""
        threads = [threading.Thread(target=self._over_and_over, args=one) for one in enumerate(works)]
        for thread in threads:
            thread.start()
        found = list[int]()
        while len(found) < 60 and not self.broken:
            time.sleep(seconds / 60)
            found.append(self.house.memory())
        self.over.set()
        for thread in threads:
            thread.join()
        assert self.broken == [], f"seed {SEED}"
        return found

    def _over_and_over(self, number: int, work: Callable[[httpx.Client, random.Random], None]) -> None:
        chance = random.Random(SEED * 1000 + number)
        try:
            with httpx.Client(verify=NO_TLS, timeout=LONGEST) as client:
                while not self.over.is_set():
                    work(client, chance)
                    self.done += 1
        except Exception as error:
            self.broken.append(f"{type(error).__name__}: {error}")

    def stores(self, client: httpx.Client, chance: random.Random) -> None:
        """Store an item, until it is confirmed, and find it, from whichever server, from then on."""
        sku, at = f"S-{chance.getrandbits(60)}", chance.randrange(SERVERS)
        body = {"sku": sku, "subject": "ball", "label": sku}
        made = self.house.ask(client, at, "POST", "/v1/accessories", json=body, headers={"Idempotency-Key": sku})
        assert made.status_code == 201, made.text
        self.confirmed.append(sku)
        for one in (sku, chance.choice(self.confirmed)):
            found = self.house.ask(client, chance.randrange(SERVERS), "GET", f"/v1/accessories/{one}")
            assert found.status_code == 200, f"{one} was confirmed and is not there"

    def passes_through(self, client: httpx.Client, chance: random.Random) -> None:
        """Sell an item for a moment, so that much is written and no more is held."""
        sku = f"S-{chance.getrandbits(60)}"
        body = {"sku": sku, "subject": "accessory", "facts": {"kind": "step", "shank": chance.choice(SHANKS)}}
        assert self.house.ask(client, 0, "POST", "/v1/accessories", json=body).status_code == 201
        gone = self.house.ask(client, 0, "DELETE", f"/v1/accessories/{sku}", headers={"If-Match": "*"})
        assert gone.status_code == 204

    def asks(self, client: httpx.Client, chance: random.Random) -> None:
        """Ask what was never asked before, one thing and a page of them."""
        rig = {"receiver": {"facts": {"opening": "2 in", "tongue_rating": f"{chance.uniform(200, 900):.4f} lb"}}}
        load = {"facts": {"bikes": 2, "bike_weight": f"{chance.uniform(15, 60):.4f} lb"}}
        body = {"rig": rig, "accessory": {"facts": {"kind": "bike_carrier", "shank": "2 in"}}, "load": load}
        assert self.house.ask(client, 0, "POST", "/v1/answers", json=body).status_code == 200
        assert self.house.ask(client, 0, "POST", "/v1/selections", json={"rig": rig, "load": load}).status_code == 200

    def publishes(self, client: httpx.Client, chance: random.Random) -> None:
        """Put two items of one shank in place of two of another, as one catalogue."""
        shank = chance.choice(SHANKS)
        rows = "".join(f"PAIR-{one},accessory,step,{shank}\n" for one in "AB")
        found = self.house.ask(
            client,
            chance.randrange(SERVERS),
            "POST",
            "/v1/catalogue?source=feed",
            content=f"sku,subject,kind,shank\n{rows}".encode(),
            headers={"Content-Type": "text/csv"},
        )
        assert found.status_code == 200, found.text

    def reads(self, client: httpx.Client, chance: random.Random) -> None:
        """See both of the two alike on every page, and revisions that only grow."""
        before = 0
        for _ in range(5):
            at = chance.randrange(SERVERS)
            page = self.house.ask(client, at, "GET", "/v1/rigs/rig_one/accessories?kind=step&detail=compact").json()
            seen = {one["sku"]: one["outcome"] for one in page["items"] if one["sku"].startswith("PAIR-")}
            assert len(set(seen.values())) <= 1, f"a page of two catalogues: {seen}"
            assert len(seen) in (0, 2), seen
            told = self.house.ask(client, at, "GET", "/v1/changes").json()["revision"]
            revision = int(told.partition(".")[0])
            assert revision >= before, f"revision {before} was followed by {revision}"
            before = revision

    def check(self) -> None:
        """Hold what there is at the end to what was confirmed: each of it, once."""
        assert len(self.confirmed) == len(set(self.confirmed))
        with httpx.Client(verify=NO_TLS, timeout=LONGEST) as client:
            found = [one["sku"] for one in self._every(client, "/v1/accessories?subject=ball")]
            told = [one["record"] for one in self._every(client, "/v1/observations?subject=accessory")]
        assert sorted(found) == sorted(self.confirmed), f"seed {SEED}"
        once = [record for record in told if record.startswith("S-")]
        assert len(once) == len(set(once)), "a request that was sent again was done twice"

    def _every(self, client: httpx.Client, path: str) -> Iterator[dict[str, Any]]:
        """All that a list has, page by page."""
        after = ""
        while after is not None:
            page = self.house.ask(client, 0, "GET", f"{path}&limit=1000{after and '&after=' + after}").json()
            yield from page["items"]
            after = page["next"]


@pytest.fixture
def house(postgres_server: URL, postgres_template: str, tmp_path: Path) -> Iterator[House]:
    """Give servers with a saved rig."""
    with postgres_database(postgres_server, postgres_template) as url:
        found = House(url.render_as_string(hide_password=False), tmp_path)
        try:
            found.begin()
            with httpx.Client(verify=NO_TLS, timeout=LONGEST) as client:
                assert found.ask(client, 0, "POST", "/v1/rigs", json=RIG).status_code == 201
            yield found
        finally:
            found.end()


@pytest.mark.timeout(4 * SOAK_SECONDS)
def test_what_a_shop_saw_makes_one_history(house: House) -> None:
    """By day one server of two workers, of which two are killed; by night two servers, workers and all, and an audit.

    The audit comes to what one comes to that nobody disturbs.
    """
    shop = Shop(house)
    if NIGHTLY:
        begin_audit(house)
    shop.run(shop.stores, shop.stores, shop.publishes, shop.reads)
    shop.check()
    assert len(shop.confirmed) > KILLS
    if NIGHTLY:
        end_audit(house)


class Pretended(House):
    """A house without servers, that keeps all in memory and has one fault, of which the shop's history must tell."""

    def __init__(self, fault: str) -> None:
        self.fault, self.stored, self.asked = fault, list[str](), 0
        self.shanks, self.revision = ["", ""], 0

    def kill(self, chance: random.Random) -> None:
        """Nobody dies here."""

    def ask(self, client: httpx.Client, number: int, method: str, path: str, **given: Any) -> Any:
        """Answer as the service does, but for the fault at each fifth request."""
        self.asked += 1
        strikes = self.asked % 5 == 0
        if method == "POST" and path == "/v1/accessories":
            if not (strikes and self.fault == "a confirmed write is lost"):
                self.stored.append(given["json"]["sku"])
            return httpx.Response(201, json={})
        if path.startswith("/v1/accessories/"):
            return httpx.Response(200 if path.rpartition("/")[2] in self.stored else 404)
        if path.startswith("/v1/catalogue"):
            shank = given["content"].decode().split()[1].rpartition(",")[2]
            self.shanks = [shank, self.shanks[1] if strikes and self.fault == "a page of two catalogues" else shank]
            return httpx.Response(200)
        if path == "/v1/changes":
            self.revision += -1 if strikes and self.fault == "a revision falls" else 1
            return httpx.Response(200, json={"revision": f"{self.revision}.0123456789abcdef"})
        if path.startswith("/v1/rigs/"):
            rows = [{"sku": f"PAIR-{one}", "outcome": shank} for one, shank in zip("AB", self.shanks, strict=True)]
            return httpx.Response(200, json={"items": rows[: 1 if strikes and self.fault == "half a catalogue" else 2]})
        return self._listed(path)

    def _listed(self, path: str) -> httpx.Response:
        if path.startswith("/v1/observations"):
            twice = self.stored[:1] if self.fault == "a request is done twice" else []
            return httpx.Response(200, json={"items": [{"record": one} for one in self.stored + twice], "next": None})
        more = ["S-0"] if self.fault == "what nobody confirmed is there" else []
        return httpx.Response(200, json={"items": [{"sku": one} for one in self.stored + more], "next": None})


FAULTS: Final = {
    "": "",
    "a confirmed write is lost": "was confirmed and is not there",
    "a page of two catalogues": "a page of two catalogues",
    "half a catalogue": "PAIR-A",
    "a revision falls": "was followed by",
    "a request is done twice": "was done twice",
    "what nobody confirmed is there": "S-0",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_history_with_a_fault_is_none(fault: str) -> None:
    """The laws that servers are held to above are broken by each fault, and by nothing else."""
    shop = Shop(Pretended(fault))
    found = ""
    try:
        with httpx.Client(verify=NO_TLS) as client:
            for seed in range(40):
                for work in (shop.stores, shop.publishes, shop.reads):
                    work(client, random.Random(seed))
        shop.check()
    except AssertionError as error:
        found = str(error)
    assert bool(found) == bool(fault) and FAULTS[fault] in found


def begin_audit(house: House) -> None:
    """Send a catalogue with planted faults and begin to audit it, and audit it here too."""
    made = house.folder / "made"
    made.mkdir()
    write_planted(made, answerer().rulebook, 1_500, lambda *_: None)
    audit(made / CATALOGUE, made / "audit", read_rigs([made / RIGS], answerer().reader))
    with httpx.Client(verify=NO_TLS, timeout=LONGEST) as client:
        assert house.ask(client, 0, "POST", "/v1/audits", json={"id": "aud_one"}).status_code == 201
        for file, kind, path in (("rigs", "application/x-ndjson", RIGS), ("catalogue", "text/csv", CATALOGUE)):
            given = {"content": (made / path).read_bytes(), "headers": {"Content-Type": kind}}
            assert house.ask(client, 0, "PUT", f"/v1/audits/aud_one/files/{file}", **given).status_code == 200
        assert house.ask(client, 0, "POST", "/v1/audits/aud_one/start").status_code == 202


def end_audit(house: House) -> None:
    """Let the audit go on whenever it was interrupted, to its end."""
    with httpx.Client(verify=NO_TLS, timeout=LONGEST) as client:
        while (state := house.ask(client, 0, "GET", "/v1/audits/aud_one").json()["state"]) != "finished":
            assert state in ("queued", "running", "interrupted"), state
            if state == "interrupted":
                house.ask(client, 0, "POST", "/v1/audits/aud_one/start")
            time.sleep(0.2)
    assert undated(house.folder / "audits" / "aud_one" / "out") == undated(house.folder / "made" / "audit")


if NIGHTLY:

    @pytest.mark.timeout(4 * SOAK_SECONDS)
    def test_memory_is_flat(house: House) -> None:
        """An hour of writing, asking and reading: servers hold in its last quarter what they held in its second.

        In the first, caches fill; each of them has a bound.
        """
        shop = Shop(house)
        held = shop.soak(SOAK_SECONDS, shop.passes_through, shop.publishes, shop.asks, shop.asks, shop.reads)
        assert median(held[45:]) < 1.05 * median(held[15:30]), held
        assert shop.done > 100
