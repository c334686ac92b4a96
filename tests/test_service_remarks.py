"""Remarks on rules: kept with the question and what the rule came to in it, told by API and page."""

from html import unescape
from typing import Any

from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem

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
    problem(client.post(PATH, json=body | {"rule": "no-such"}, headers=key), 422)
    problem(client.post(PATH, json=body | {"text": " "}, headers=key), 422)
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
