"""Who may do what: keys by scope and time, what is open without one, whose audit it is, shares, the log of writes."""

import json
import logging
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem
from sqlmodel import Session

from fitsvc.service.app import create_app
from fitsvc.service.examples import BODIES, QUESTION
from fitsvc.service.logs import REQUEST, JsonLines
from fitsvc.service.settings import Settings
from fitsvc.store.api_keys import create_key, rotate_key
from fitsvc.store.database import Database
from fitsvc.store.tables import KeptReply, now
from fitsvc.store.written import kept_reply

Client = TestClient[Litestar]
ACCESSORY = BODIES["NewAccessory"]


@contextmanager
def serving(database: Database, folder: Path, **settings: Any) -> Iterator[Client]:
    """Give a client of a service with some settings."""
    app = create_app(database, answerer(), folder / "audits", settings=Settings(**settings))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def key(database: Database, *scopes: str, name: str = "somebody") -> dict[str, str]:
    """Make a key that may do some things, and give the header with it."""
    with database.session() as session:
        return {"X-API-Key": create_key(session, name, scopes)[0]}


@pytest.fixture
def database(sqlite: Database) -> Database:
    """Give a database without rows; what a key opens is the same on each kind."""
    return sqlite


def test_a_key_may_do_what_it_was_made_for(database: Database, tmp_path: Path) -> None:
    """Off the loopback address nothing is open but health and the description, and each scope opens its own."""
    asks = {
        "ask": ("POST", "/v1/answers", QUESTION, 200),
        "read": ("GET", "/v1/vehicles", None, 200),
        "record": ("POST", "/v1/observations", {}, 400),
        "edit": ("POST", "/v1/accessories", {}, 400),
        "audit": ("GET", "/v1/audits", None, 200),
        "administer": ("GET", "/v1/log", None, 200),
    }
    with serving(database, tmp_path, public=frozenset()) as client:
        for path in ("/health/live", "/health/ready", "/openapi.json", "/docs", "/problems"):
            assert client.get(path).status_code == 200
        for path in ("/", "/fits", "/audits", "/audits/scorecard", "/v1/suppliers", "/metrics", "/v1/rules"):
            assert problem(client.get(path), 401)["type"].endswith("key-missing")
        for scope, (method, path, body, status) in asks.items():
            assert problem(client.request(method, path, json=body), 401)
            mine, others = key(database, scope), key(database, *(set(asks) - {scope, "administer"}))
            assert client.request(method, path, json=body, headers=mine).status_code == status, scope
            told = problem(client.request(method, path, json=body, headers=others), 403)
            assert f"may not `{scope}`" in told["detail"]
            everything = key(database, "administer")
            assert client.request(method, path, json=body, headers=everything).status_code == status, scope


def test_what_is_opened_needs_no_key(database: Database, tmp_path: Path) -> None:
    """With asking open a question is answered, nothing else is read, and nothing is ever changed without a key."""
    with serving(database, tmp_path, public=frozenset({"ask"})) as client:
        assert client.post("/v1/answers", json=QUESTION).status_code == 200
        problem(client.get("/v1/vehicles"), 401)
    with serving(database, tmp_path) as client:
        assert client.get("/v1/vehicles").status_code == 200
        problem(client.post("/v1/accessories", json=ACCESSORY), 401)
        problem(client.get("/v1/log"), 401)


def test_a_key_ends_and_is_rotated_with_an_overlap(database: Database, tmp_path: Path) -> None:
    """A key past its time is refused; one that is rotated works on beside the new one until the overlap is over."""
    with database.session() as session:
        over, _ = create_key(session, "a", ("ask",), now() - timedelta(seconds=1))
        old, record = create_key(session, "b", ("ask",))
        new, made = rotate_key(session, record.id, timedelta(days=1))
        gone, last = create_key(session, "c", ("ask",))
        rotate_key(session, last.id, timedelta(0))
        assert (made.name, made.scopes) == ("b", "ask")
    with serving(database, tmp_path, public=frozenset()) as client:
        for plain, status in ((over, 401), (old, 200), (new, 200), (gone, 401)):
            assert client.post("/v1/answers", json=QUESTION, headers={"X-API-Key": plain}).status_code == status
    with database.session() as session:
        assert session.get_one(type(record), record.id).last_used_at is not None


def _finish(audit: Path) -> None:
    """Have an audit be finished, with a summary of nothing."""
    none = {"items": 0, "rows": 0, "rows_of_bad_cells": 0, "other_subjects": {}}
    about = {"supplier": "unreleased", "file": "a.csv", "day": "2026-11-01"}
    (audit / "out").mkdir()
    told = {"about": about, "rows": none, "claims": None, "others": {}, "fixes": 0}
    (audit / "out" / "summary.json").write_text(json.dumps(told))
    (audit / "state.json").write_text('{"state": "finished"}')


def test_an_audit_is_its_makers(database: Database, tmp_path: Path) -> None:
    """Another key sees neither the audit nor that there is one; whoever administers sees all."""
    maker, other = key(database, "audit", name="maker"), key(database, "audit", name="other")
    with serving(database, tmp_path, public=frozenset()) as client:
        made = client.post("/v1/audits", json={"id": "aud_secret", "name": "unreleased"}, headers=maker)
        assert made.status_code == 201
        for path in ("/v1/audits/aud_secret", "/v1/audits/aud_secret/results/pairs", "/v1/audits/aud_secret/page"):
            assert problem(client.get(path, headers=other), 404)["detail"] == "there is no audit `aud_secret`"
        problem(client.delete("/v1/audits/aud_secret", headers=other), 404)
        problem(client.post("/v1/audits/aud_secret/start", headers=other), 404)
        assert client.get("/v1/audits", headers=other).json()["items"] == []
        assert "unreleased" not in client.get("/audits", headers=other).text
        _finish(tmp_path / "audits" / "aud_secret")
        card, told = ("/audits/scorecard", "/v1/suppliers")
        assert client.get(told, headers=other).json() == {"suppliers": []}
        assert "unreleased" not in client.get(card, headers=other).text
        assert client.get(told, headers=maker).json()["suppliers"][0]["supplier"] == "unreleased"
        assert "unreleased" in client.get(card, headers=maker).text
        for seen_by in (maker, key(database, "administer")):
            assert [one["id"] for one in client.get("/v1/audits", headers=seen_by).json()["items"]] == ["aud_secret"]


def test_each_caller_has_a_share(database: Database, tmp_path: Path) -> None:
    """More than a share is refused with when to come back; another key has its own, and the platform is not counted."""
    with serving(database, tmp_path, per_minute=3) as client:
        left = [client.get("/v1/vehicles").headers["ratelimit"] for _ in range(3)]
        assert [one.split(";")[1] for one in left] == ["r=2", "r=1", "r=0"]
        refused = client.get("/v1/vehicles")
        problem(refused, 429)
        assert 1 <= int(refused.headers["retry-after"]) <= 21
        assert refused.headers["ratelimit-policy"] == '"caller";q=3;w=60'
        assert client.get("/v1/vehicles", headers=key(database, "read")).status_code == 200
        assert client.get("/health/live").status_code == 200


def test_only_sites_that_are_listed_may_ask_from_a_browser(database: Database, tmp_path: Path) -> None:
    """A listed origin is let read, beforehand too; another is told nothing."""
    with serving(database, tmp_path, origins=("https://shop.example",)) as client:
        asked = {"Origin": "https://shop.example", "Access-Control-Request-Method": "POST"}
        assert client.options("/v1/answers", headers=asked).headers["access-control-allow-origin"] == asked["Origin"]
        for path in ("/v1/vehicles", "/v1/none"):
            told = client.get(path, headers={"Origin": "https://shop.example"}).headers
            assert told["access-control-allow-origin"] == "https://shop.example"
            other = client.get(path, headers={"Origin": "https://shop.example.evil.example"}).headers
            assert "access-control-allow-origin" not in other


def test_every_write_is_noted(database: Database, tmp_path: Path) -> None:
    """Who made, changed and deleted what, by which request, with what it was; what was refused is not there."""
    writer, reader = key(database, "edit", name="till"), key(database, "administer")
    with serving(database, tmp_path) as client:
        sent = {**writer, "X-Request-Id": "request-4711"}
        made = client.post("/v1/accessories", json=ACCESSORY, headers=sent)
        assert made.headers["x-request-id"] == "request-4711"
        problem(client.post("/v1/accessories", json=ACCESSORY, headers=sent), 409)
        state = {"subject": "accessory", "label": "Another", "facts": {}}
        path = f"/v1/accessories/{ACCESSORY['sku']}"
        changed = client.put(path, json=state, headers={**writer, "If-Match": made.headers["etag"]})
        assert client.delete(path, headers={**writer, "If-Match": changed.headers["etag"]}).status_code == 204
        first = client.get("/v1/log?limit=2", headers=reader).json()
        rest = client.get(f"/v1/log?after={first['next']}", headers=reader).json()
    lines = first["items"] + rest["items"]
    assert [(one["act"], one["by"], one["key"]) for one in lines] == [
        (act, "till", ACCESSORY["sku"]) for act in ("creates", "replaces", "deletes")
    ]
    assert lines[0]["request"] == "request-4711"
    assert lines[0]["before"] is None
    assert lines[1]["before"] == lines[0]["after"]
    assert (lines[1]["after"]["label"], lines[2]["after"]) == ("Another", None)
    assert "key_" not in json.dumps(lines)


def test_a_request_that_is_sent_again_is_done_once(database: Database, tmp_path: Path) -> None:
    """Under an idempotency key the reply is the first one's; with another body, or by another caller, it is not."""
    mine, other = key(database, "edit", name="a"), key(database, "edit", name="b")
    rig = {"name": "A rig", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}
    with serving(database, tmp_path) as client:
        sent = {**mine, "Idempotency-Key": "order-1"}
        first, again = (client.post("/v1/rigs", json=rig, headers=sent) for _ in range(2))
        assert (again.status_code, again.content) == (201, first.content)
        assert again.headers["location"] == first.headers["location"]
        assert again.headers["etag"] == first.headers["etag"]
        told = problem(client.post("/v1/rigs", json={**rig, "name": "B"}, headers=sent), 422)
        assert told["type"].endswith("repeated")
        theirs = client.post("/v1/rigs", json=rig, headers={**other, "Idempotency-Key": "order-1"})
        assert theirs.headers["location"] != first.headers["location"]
        problem(client.post("/v1/rigs", json=rig, headers={**mine, "Idempotency-Key": "a b"}), 400)
        assert len(client.get("/v1/rigs").json()["items"]) == 2


def test_of_the_same_request_twice_at_a_time_one_is_done(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another comes through between the look for a kept reply and what is made: both are answered as that one is."""
    database = Database(database_url)
    sent = {**key(database, "edit"), "Idempotency-Key": "order-1"}
    rig = {"name": "A rig", "rig": {"receiver": {"facts": {"opening": "2 in"}}}}
    with closing(database), serving(database, tmp_path) as client:
        quicker: list[Any] = []

        def looking(session: Session, by: str, token: str) -> KeptReply | None:
            found = kept_reply(session, by, token)
            if not quicker:
                quicker.append(None)
                quicker[0] = client.post("/v1/rigs", json=rig, headers=sent)
            return found

        monkeypatch.setattr("fitsvc.service.once.kept_reply", looking)
        made = client.post("/v1/rigs", json=rig, headers=sent)
        assert (made.status_code, made.content) == (201, quicker[0].content)
        assert made.headers["location"] == quicker[0].headers["location"]
        assert len(client.get("/v1/rigs").json()["items"]) == 1


def test_a_put_makes_what_is_not_there(database: Database, tmp_path: Path) -> None:
    """With `If-None-Match: *` a record or a rig is made under the address, once; the SKU may have a slash in it."""
    edits = key(database, "edit")
    state = {"subject": "accessory", "label": "Half inch", "facts": {"kind": "locking_pin"}}
    once = {**edits, "If-None-Match": "*"}
    with serving(database, tmp_path) as client:
        path = "/v1/accessories/PIN-1%2F2"
        made = client.put(path, json=state, headers=once)
        assert made.status_code == 201, made.text
        assert made.json()["sku"] == "PIN-1/2"
        assert made.headers["location"] == path
        assert problem(client.put(path, json=state, headers=once), 412)["type"].endswith("exists")
        assert client.get(path).json()["label"] == "Half inch"
        assert client.get(f"{path}/sheet").status_code == 200
        assert client.get(f"{path}/rigs").status_code == 200
        rig = {"name": "R", "rig": {}}
        assert client.put("/v1/rigs/rig_made", json=rig, headers=once).status_code == 201
        assert client.get("/v1/rigs/rig_made/accessories/PIN-1%2f2").json()["sku"] == "PIN-1/2"
        changed = client.put(path, json=state | {"label": "H"}, headers={**edits, "If-Match": made.headers["etag"]})
        assert changed.status_code == 200
        for named in (path, "/v1/rigs/rig_made"):
            passed_over = {**edits, "If-None-Match": '"1-0"', "If-Match": "*"}
            problem(client.put(named, json=state, headers=passed_over), 400)
        problem(client.put("/v1/accessories/NEW", json=state, headers=edits), 404)
        problem(client.get("/v1/accessories/PIN-1/2"), 404)


def test_lines_of_the_log_are_json_and_hold_no_secret(
    database: Database, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A line for each request by its route, with id, key's name, outcome and time; no key and no query is in it."""
    secret = key(database, "ask", name="till")
    with serving(database, tmp_path, public=frozenset()) as client, caplog.at_level(logging.INFO, "fitsvc.access"):
        client.post("/v1/answers?units=metric", json=QUESTION, headers={**secret, "X-Request-Id": "r-00000001"})
    (record,) = [one for one in caplog.records if one.name == "fitsvc.access"]
    told = json.loads(JsonLines().format(record))
    assert told | {"ms": 0, "at": ""} == {
        "at": "",
        "level": "info",
        "logger": "fitsvc.access",
        "message": "answered",
        "request": "r-00000001",
        "method": "POST",
        "route": "/v1/answers",
        "status": 200,
        "ms": 0,
        "key": "till",
        "outcome": told["outcome"],
    }
    assert told["ms"] > 0
    assert secret["X-API-Key"].partition(".")[2] not in str(record.__dict__)
    REQUEST.set("r-00000002")
    try:
        raise ValueError("broken")
    except ValueError:
        fault = logging.LogRecord("x", logging.ERROR, "", 1, "it %s", ("failed",), None)
        fault.exc_info = (ValueError, ValueError("broken"), None)
    assert json.loads(JsonLines().format(fault))["fault"] == "ValueError: broken"
