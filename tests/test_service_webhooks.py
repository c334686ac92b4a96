"""Addresses are told what changed: signed, again and again until they take it, once each, and only where it is set."""

import json
import threading
from base64 import b64decode, b64encode
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from hook_world import OLDER, SECRET, Receiver, is_signed
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem
from sqlmodel import col, update
from waiting import until

from fitsvc.language.problems import ProblemsFound
from fitsvc.service import webhooks
from fitsvc.service.app import create_app
from fitsvc.service.context import service_in
from fitsvc.service.settings import Settings
from fitsvc.service.signing import read_hooks, signed
from fitsvc.service.webhooks import Webhooks
from fitsvc.store import webhooks as store
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.tables import Webhook, now
from fitsvc.store.webhooks import (
    LONGEST_PAUSE,
    MOST_ATTEMPTS,
    ToldUpTo,
    begin_webhook,
    hold_webhook,
    is_due,
    note_failure,
)

Client = TestClient[Litestar]


@pytest.fixture
def shop(
    database: Database, tmp_path: Path, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Client, dict[str, str]]]:
    """Give a service with a rig and an item, that tells the receiver what changes, and a key for it."""
    monkeypatch.setattr(webhooks, "_EVERY", 0.02)
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "feed")[0]}
    hooks = read_hooks([receiver.url("/changes?shop=1")], f"{SECRET} {OLDER}")
    app = create_app(database, answerer(), tmp_path / "audits", settings=Settings(hooks=hooks))
    with TestClient(app, raise_server_exceptions=False) as client:
        _opens(client, key)
        now_at = client.get("/v1/changes").json()["revision"]
        until(lambda: (one := _kept(client, key)) and one["revision"] == now_at, "the address to be told till now")
        receiver.taken.clear()
        yield client, key


def _kept(client: Client, key: dict[str, str]) -> Any:
    items = client.get("/v1/webhooks", headers=key).json()["items"]
    return items[0] if items else None


def _opens(client: Client, key: dict[str, str]) -> None:
    """Store a rig, and then a first item, from which on changes are told one by one."""
    rig = {"id": "rig_one", "name": "One", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}
    assert client.post("/v1/rigs", json=rig, headers=key).status_code == 201
    _sells(client, key, "FIRST")


def _sells(client: Client, key: dict[str, str], sku: str) -> None:
    body = {"sku": sku, "subject": "accessory", "facts": {"kind": "step", "shank": "2 in"}}
    assert client.post("/v1/accessories", json=body, headers=key).status_code == 201


def test_a_signature_is_the_specifications() -> None:
    """The example of the Standard Webhooks specification's own libraries (from memory)."""
    secret = b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    told = signed([secret], "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert told["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_changed_is_told_until_it_is_taken(
    shop: tuple[Client, dict[str, str]], receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused, sent elsewhere and refused again, it comes a fourth time; then nothing comes until more changes."""
    client, key = shop
    monkeypatch.setattr(store, "_FIRST_PAUSE", 0.01)
    receiver.statuses[:] = [503, 302, 500]
    _sells(client, key, "A")
    until(lambda: len(receiver.taken) == 4, "four attempts")
    assert {path for path, _, _ in receiver.taken} == {"/changes?shop=1"}
    _, headers, body = receiver.taken[-1]
    assert is_signed(headers, body, SECRET)
    assert is_signed(headers, body, OLDER)
    assert not is_signed(headers, body + b" ", SECRET)
    assert abs(int(headers["webhook-timestamp"]) - now().timestamp()) < 300
    assert {one["webhook-id"] for _, one, _ in receiver.taken} == {headers["webhook-id"]}
    told = json.loads(body)
    assert [(one["rig"], one["sku"], one["before"]) for one in told["changes"]] == [("rig_one", "A", None)]
    # The address has it a moment before that is noted.
    kept = until(lambda: (one := _kept(client, key))["told_at"] and not one["failure"] and one, "it to be noted")
    assert (kept["revision"], kept["attempts"], kept["failure"]) == (told["revision"], 0, None)
    _sells(client, key, "B")
    until(lambda: len(receiver.taken) == 5, "the next change")
    assert [one["sku"] for one in json.loads(receiver.taken[-1][2])["changes"]] == ["B"]
    problem(client.get("/v1/webhooks"), 401)


def test_an_address_that_is_away_loses_nothing(database: Database, tmp_path: Path) -> None:
    """What failed is noted with when it is tried again; of two servers one tells; what is left is told in one piece."""
    gone = Receiver()
    gone.end()
    hooks = read_hooks([gone.url()], SECRET)
    app = create_app(database, answerer(), tmp_path / "audits")
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "feed")[0]}
    (target,) = hooks.targets
    with TestClient(app) as client:
        one, other = (Webhooks(service_in(app), hooks) for _ in range(2))
        _opens(client, key)
        one.tell(target)
        for sku in ("A", "B"):
            _sells(client, key, sku)
            one.tell(target)
        kept = _kept(client, key)
        assert kept["attempts"] == 1, "the second waits until the pause is over"
        assert "cannot be reached" in kept["failure"]
        assert kept["due_at"]
        back = Receiver()
        with database.session() as session:
            # It is back, under the address it had; a system may give its port away, so the address moves instead.
            moved = {"address": back.url(), "due_at": now()}
            session.exec(update(Webhook).where(col(Webhook.address) == target.address).values(**moved))
        (target,) = (hooks := read_hooks([back.url()], SECRET)).targets
        one, other = (Webhooks(service_in(app), hooks) for _ in range(2))
        both = [threading.Thread(target=who.tell, args=(target,)) for who in (one, other)]
        for thread in both:
            thread.start()
        for thread in both:
            thread.join()
        back.end()
        assert [[each["sku"] for each in json.loads(body)["changes"]] for _, _, body in back.taken] == [["A", "B"]]


def test_attempts_are_bounded_and_a_clock_may_jump(database: Database) -> None:
    """After the last attempt only a new change is worth another; a clock set back by a day holds nothing up."""
    first, second = ToldUpTo(1, "sha256:a"), ToldUpTo(2, "sha256:a")
    with database.session() as session:
        hook = begin_webhook(session, "http://127.0.0.1/", first)
        for number in range(1, MOST_ATTEMPTS + 1):
            assert is_due(hook, 2, now() + LONGEST_PAUSE)
            assert not is_due(hook, 2, hook.due_at - timedelta(seconds=1)) or number == 1
            assert hold_webhook(session, hook)
            assert not hold_webhook(session, hook)
            assert note_failure(session, hook.address, second, "x" * 1000) == number
        later = now() + timedelta(days=1)
        assert not is_due(hook, 2, later)
        assert is_due(hook, 3, later)
        assert note_failure(session, hook.address, ToldUpTo(3, "sha256:a"), "no") == 1
        assert is_due(hook, 3, now() - timedelta(days=1))
        session.exec(update(Webhook).values(held_until=now() + timedelta(days=1)))
        assert hold_webhook(session, hook)


@pytest.mark.parametrize(
    ("addresses", "secrets", "told"),
    [
        (["ftp://shop.example/"], SECRET, "is not an address to tell"),
        (["https://u:p@shop.example/"], SECRET, "is not an address to tell"),
        (["https:///changes"], SECRET, "is not an address to tell"),
        (["https://shop.example:99999/"], SECRET, "is not an address to tell"),
        (["https://shop.example/\r\nX: y"], SECRET, "is not an address to tell"),
        ([f"https://shop.example/{number}" for number in range(11)], SECRET, "there are 11 addresses"),
        (["https://shop.example/"], "", "there is no secret"),
        (["https://shop.example/"], "whsec_c2hvcnQ=", "a secret that is none"),
        (["https://shop.example/"], b64encode(bytes(32)).decode(), "a secret that is none"),
    ],
)
def test_what_is_no_address_or_no_secret_is_refused(addresses: list[str], secrets: str, told: str) -> None:
    """Before anything is served, in words, and never with the secret in them."""
    with pytest.raises(ProblemsFound, match=told) as caught:
        read_hooks(addresses, secrets)
    assert not secrets or secrets not in str(caught.value)
    assert SECRET not in repr(read_hooks([], SECRET))
