"""The pages of nightly audits: planned by a form, seen what came of it, run and ended, without scripts."""

from html import unescape

import httpx
import pytest
from pseudo import left_in_english, pseudo_tongue, told_on
from test_service_schedules import LIST, Client, Night, mailed, night
from told_texts import told_texts

from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import labels_of, texts_of
from fitsvc.service.speaking import spoken_tongues

__all__ = ["mailed", "night"]
PATH = "/audits/schedules"


def send(client: Client, path: str, night: Night, **fields: str) -> httpx.Response:
    """Send a form as a browser does, with a key that may audit unless another is given."""
    given = {"key": night.key["X-API-Key"]} | fields
    return client.post(path, data=given, follow_redirects=False)


def planned(night: Night, **fields: str) -> httpx.Response:
    """Plan an audit by the form."""
    told = {"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00", "zone": "Europe/Berlin"} | fields
    return send(night.client, PATH, night, **told)


def test_an_audit_is_planned_run_and_ended(night: Night) -> None:
    """What is typed is what the API then has; the page tells the same as the mail, and leads to the audit."""
    assert "Nothing yet." in night.client.get(PATH).text
    assert planned(night).headers["location"] == PATH
    (one,) = night.client.get("/v1/schedules").json()["items"]
    assert (one["supplier"], one["file"], one["claims"]) == ("thorn", "thorn/list.csv", None)
    assert (one["at"], one["zone"], one["created_by"]) == ("02:00", "Europe/Berlin", "yard")
    there = f"{PATH}/{one['id']}"
    listed = night.client.get(PATH).text
    assert there in listed and "It has not run yet" in listed
    assert send(night.client, f"{there}/run", night).headers["location"] == there
    night.carry_out()
    night.deliver(LIST.replace("TH-2;BM;2 in", "TH-2;BM;2-1/2 in"))
    send(night.client, f"{there}/run", night)
    refused = send(night.client, f"{there}/run", night)
    assert refused.status_code == 409 and "under way" in refused.text
    night.carry_out()
    night.told()
    shown = unescape(night.client.get(there).text)
    run = night.newest(f"/v1/schedules/{one['id']}")
    assert run["summary"] in shown and f"/audits/{run['audit']}" in shown
    assert all(line.replace("`", "") in shown.replace("<code>", "").replace("</code>", "") for line in run["lines"])
    assert "mail to shop.example: told at 20" in shown
    assert "claims newly contradicted: 1" in night.client.get(PATH).text
    assert night.client.get(f"/audits/{run['audit']}").status_code == 200
    assert send(night.client, f"{there}/delete", night).headers["location"] == PATH
    assert night.client.get("/v1/schedules").json()["items"] == []
    assert night.client.get(there).status_code == 404
    assert send(night.client, f"{there}/delete", night).status_code == 404


@pytest.mark.parametrize(
    ("fields", "status", "told"),
    [
        ({"file": "../list.csv"}, 422, "is no path below the deliveries"),
        ({"file": ""}, 422, 'id="file-error"'),
        ({"at": "2 o'clock"}, 422, "is no time of day"),
        ({"zone": "Mars"}, 422, "is no time zone"),
        ({"supplier": "nobody"}, 422, "no mapping of"),
        ({"supplier": ""}, 422, 'id="supplier-error"'),
        ({"key": "wrong"}, 401, "that key is unknown"),
        ({"key": ""}, 401, "type a key that may do this"),
    ],
)
def test_what_is_not_kept_is_told_at_its_field(night: Night, fields: dict[str, str], status: int, told: str) -> None:
    """What was typed stands there still, but for the key, and nothing is kept."""
    page = planned(night, **fields)
    assert page.status_code == status
    assert told in unescape(page.text).lower()
    assert night.key["X-API-Key"] not in page.text
    for name, typed in {"file": "thorn/list.csv", "at": "02:00"}.items():
        assert f'name="{name}" value="{fields.get(name, typed)}"' in unescape(page.text)
    assert night.client.get("/v1/schedules").json()["items"] == []


def test_without_a_key_nothing_is_run_or_ended(night: Night) -> None:
    """A form without a key that may audit does nothing, and says so."""
    planned(night)
    (one,) = night.client.get("/v1/schedules").json()["items"]
    for act in ("run", "delete"):
        assert send(night.client, f"{PATH}/{one['id']}/{act}", night, key="wrong").status_code == 401
    assert night.newest(f"/v1/schedules/{one['id']}") is None


def test_a_service_that_carries_nothing_out_says_so(pages: Client) -> None:
    """Started without deliveries it shows what is planned, and that it is not done."""
    shown = pages.get(PATH).text
    assert "was started without --deliveries" in shown
    assert "Take a supplier's file in" in unescape(shown), "no mapping is kept: that comes first"


def test_nothing_is_left_in_english(night: Night, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a language with other letters: both pages with every sort of run, what is wrong with a form, and the mail."""
    labels = labels_of(rulebook)
    other = pseudo_tongue({*told_texts(), *texts_of(rulebook)} - labels, labels)
    monkeypatch.setitem(spoken_tongues(None), "qps", other)
    monkeypatch.setattr(night.schedules, "_tongues", {"es": other})
    night.client.headers["Accept-Language"] = "qps"
    planned(night, claims="thorn/claims.csv")
    (one,) = night.client.get("/v1/schedules").json()["items"]
    there = f"{PATH}/{one['id']}"
    claims = "sku,rig\nTH-1,rig_plain\nTH-2,rig_plain\n"
    false = LIST.replace("TH-2;BM;2 in", "TH-2;BM;3 in")
    for claimed, items in (("", LIST), (claims, LIST), (claims, LIST), (claims, false)):
        night.deliver(items)
        if claimed:
            night.deliver(claimed, "thorn/claims.csv")
        send(night.client, f"{there}/run", night)
        night.carry_out()
    night.told()
    (first,) = night.newest(f"/v1/schedules/{one['id']}")["told"]["contradicted"]["first"]
    reason = first["reason"]  # of the audit's own process, which speaks Spanish here
    send(night.client, f"{there}/run", night)
    pages = [night.client.get(PATH), night.client.get(there), send(night.client, f"{there}/run", night)]
    pages.append(planned(night, file="../list.exe", at="2", zone=""))
    own = ["thorn/catalogue.csv", "thorn/list.csv", "thorn/claims.csv", "list.exe", "thorn", "fitsvc", "TH-2", "yard"]
    own += ["rig_plain", "Europe/Berlin", "shop.example", "UTC", reason]
    for page in pages:
        assert not list(left_in_english(told_on(page.text), own))
