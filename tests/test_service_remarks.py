"""Remarks on rules: kept with the question and what the rule came to in it, told by API and page."""

from html import unescape
from typing import Any

from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
Key = dict[str, str]
PATH = "/v1/remarks"
RULE = "shank-fits-opening"
TOO_LARGE: dict[str, Any] = {
    "rig": {"receiver": {"facts": {"opening": "1-1/4 in"}}},
    "accessory": {"facts": {"kind": "step", "shank": "2 in"}},
}


def test_a_remark_is_kept_with_what_the_rule_came_to(client: Client, key: Key) -> None:
    """Whoever keeps the rules finds the question, the finding and the rulebook that said it."""
    body = {"rule": RULE, "text": "It went in.", "question": TOO_LARGE, "by": "Marnie"}
    made = client.post(PATH, json=body, headers=key)
    assert made.status_code == 201, made.text
    kept = made.json()
    assert (kept["outcome"], kept["result"], kept["by"], kept["written_by"]) == ("fails", "fails", "Marnie", "yard")
    assert "2 in shank" in kept["reason"]
    assert kept["question"] == TOO_LARGE
    assert kept["rulebook"] == client.get("/v1/rulebooks").json()["items"][0]["digest"]
    assert client.get(made.headers["location"]).json() == kept
    assert client.get(f"{PATH}?rule={RULE}").json()["items"] == [kept]
    assert client.get(f"{PATH}?rule=pin-fits-hole").json()["items"] == []
    page = unescape(client.get("/remarks").text)
    assert "It went in." in page
    assert "/answer?receiver.opening=1-1%2F4+in" in page


def test_what_no_remark_can_be_is_refused(client: Client, key: Key) -> None:
    """Nobody writes without a key; a rule must be one, a text must say something, a question must be readable."""
    body = {"rule": RULE, "text": "wrong"}
    problem(client.post(PATH, json=body), 401)
    problem(client.post(PATH, json=body | {"rule": "no-such"}, headers=key), 409)
    problem(client.post(PATH, json=body | {"text": " "}, headers=key), 422)
    nobody: tuple[Any, ...] = ({}, [], 0, False)
    for by in nobody:
        assert pointers(problem(client.post(PATH, json=body | {"by": by}, headers=key), 422)) == ["/by"]
    assert client.post(PATH, json=body | {"by": ""}, headers=key).json()["by"] == "yard"
    unread = client.post(PATH, json=body | {"question": {"accessory": {"facts": {"shank": 3}}}}, headers=key)
    assert problem(unread, 400)["errors"][0]["pointer"].startswith("/question/accessory")
    problem(client.get(f"{PATH}/rem_none"), 404)


def test_a_page_keeps_a_remark_and_what_was_typed_without_a_key(client: Client, key: Key) -> None:
    """The form below an answer's findings leads to a page that keeps it; without a key nothing is lost."""
    form = {"rule": RULE, "text": "It went in.", "receiver.opening": "1-1/4 in"}
    form |= {"accessory.kind": "step", "accessory.shank": "2 in"}
    asked = client.get("/remarks/new", params=form)
    assert "The shank is the size of the opening" in asked.text
    refused = client.post("/remarks", data=form)
    assert refused.status_code == 401
    assert "It went in." in refused.text
    assert client.post("/remarks", data=form | {"key": key["X-API-Key"]}).status_code == 200
    (kept,) = client.get(PATH).json()["items"]
    assert (kept["result"], kept["by"]) == ("fails", "yard")
    assert client.get("/remarks/new?rule=none").status_code == 404


def test_a_remark_is_closed_once_with_what_came_of_it(client: Client, key: Key, database: Database) -> None:
    """Whoever keeps the rules says what came of it, by the API or the page; a key that may only record may not."""
    made = [client.post(PATH, json={"rule": RULE, "text": f"wrong {n}"}, headers=key).json()["id"] for n in range(2)]
    with database.session() as session:
        records = create_key(session, "clerk", ["record"])[0]
    told = {"because": "The edge is bevelled now.", "by": "Ottoline"}
    problem(client.post(f"{PATH}/{made[0]}/close", json=told, headers={"X-API-Key": records}), 403)
    problem(client.post(f"{PATH}/{made[0]}/close", json={"because": " "}, headers=key), 422)
    closed = client.post(f"{PATH}/{made[0]}/close", json=told, headers=key).json()
    assert (closed["closed_because"], closed["closed_by"]) == (told["because"], "Ottoline") and closed["closed_at"]
    assert client.get(f"{PATH}/{made[0]}").json() == closed
    problem(client.post(f"{PATH}/{made[0]}/close", json=told, headers=key), 409)
    refused = client.post(f"/remarks/{made[1]}/close", data=told | {"key": records})
    assert refused.status_code == 401 and "wrong 1" in refused.text
    page = client.post(f"/remarks/{made[1]}/close", data=told | {"key": key["X-API-Key"]}).text
    assert "wrong 0" in page and "wrong 1" in page and "The edge is bevelled now." in page
    assert "None is open" in client.get("/remarks").text
