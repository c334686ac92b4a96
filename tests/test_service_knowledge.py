"""Rules, rulebook and vocabulary over HTTP."""

from typing import Final

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem

from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.examples import QUESTION

Client = TestClient[Litestar]
KEPT: Final = ("Cache-Control", "Content-Location", "ETag", "Expires", "Vary")
"""What a 304 has to bring as its 200 would; `Date` is the server's beneath."""


def test_the_rulebook_is_the_one_that_answers(client: Client, rulebook: Rulebook) -> None:
    """Name and digest are those in an answer, and everything in it is counted."""
    (book,) = client.get("/v1/rulebooks").json()["items"]
    answered = client.post("/v1/answers", json=QUESTION).json()["rulebook"]
    assert {"name": book["name"], "digest": book["digest"]} == answered
    assert book["counts"]["rules"] == len(rulebook.rules)
    assert set(book["topics"]) == set(rulebook.topics)


def test_every_rule_of_a_finding_is_found(client: Client) -> None:
    """A finding's `rule` leads to the rule, those of limits, which hold a `/`, too."""
    findings = client.post("/v1/answers", json=QUESTION).json()["findings"]
    assert any("/" in one["rule"] for one in findings)
    for one in findings:
        rule = client.get(f"/v1/rules/{one['rule']}").json()
        assert (rule["id"], rule["title"], rule["severity"]) == (one["rule"], one["title"], one["severity"])
        assert rule["source"] == one["source"]


def test_every_code_is_listed(client: Client, rulebook: Rulebook) -> None:
    """Whatever may stand among `codes` is the id of a rule or the name of a need, and of one of them only."""
    rules = [one["id"] for one in client.get("/v1/rules").json()["items"]]
    needs = {one["name"]: one for one in client.get("/v1/needs").json()["items"]}
    assert list(needs) == [need.name for need in rulebook.needs]
    assert not needs.keys() & set(rules)
    assert all(one["title"] and one["topic"] in rulebook.topics and one["source"]["kind"] for one in needs.values())
    answered = client.post("/v1/answers?include=outcome,codes,needs", json=QUESTION).json()
    assert set(answered["codes"]) <= needs.keys() | set(rules)
    assert {one["need"] for one in answered["needs"]} <= needs.keys()


NAMED: Final = {
    "rule": {"Finding", "Spoiler", "WayTold", "Remark", "NewRemark"},
    "rules": {"ToSeeTo", "AuditSummary"},
    "code": {"Decided", "RigProblem"},
    "codes": {"Selected", "AnswerPart"},
}
"""Which schemas have a rule alone, several, what may be a rule or a need, and several of those.

An error's `code` is of `/problems`; a remark may be on a need too.
"""


def test_a_rule_goes_by_one_name_and_what_may_be_a_need_by_another(client: Client) -> None:
    """Where each name stands is told here, so that no reply brings another."""
    schemas = client.get("/openapi.json").json()["components"]["schemas"]
    found = {name: {schema for schema, one in schemas.items() if name in one.get("properties", {})} for name in NAMED}
    assert found == NAMED


def test_rules_are_listed_by_topic(client: Client, rulebook: Rulebook) -> None:
    """The topics' lists make up the whole; a topic that is none is told with those that are."""
    everything = client.get("/v1/rules").json()["items"]
    assert [one["id"] for one in everything] == [rule.id for rule in rulebook.rules]
    by_topic = [client.get(f"/v1/rules?topic={topic}").json()["items"] for topic in rulebook.topics]
    assert sum(map(len, by_topic)) == len(everything)
    (error,) = problem(client.get("/v1/rules?topic=colours"), 404)["errors"]
    assert error["parameter"] == "topic" and "coupling" in error["help"]


def test_every_fact_of_the_vocabulary_is_told(client: Client, rulebook: Rulebook) -> None:
    """Each fact comes with its type, its meaning and how it is measured; lists with words for people."""
    found = client.get("/v1/vocabulary").json()
    assert [one["name"] for one in found["facts"]] == list(rulebook.vocabulary.facts)
    assert all(one["meaning"] and one["how_to_measure"] and one["effort"] for one in found["facts"])
    lists = {one["name"] for one in found["lists"]}
    number_or_text = {"length", "mass", "angle", "force", "torque", "ratio", "count", "yes_no", "text", "tyre"}
    assert {one["type"] for one in found["facts"]} <= lists | number_or_text
    assert [one["name"] for one in found["subjects"]] == list(rulebook.vocabulary.subjects)


@pytest.mark.parametrize("path", ["/v1/rulebooks", "/v1/rules", "/openapi.json"])
@pytest.mark.parametrize("encoding", ["gzip", "identity"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_what_is_not_sent_again_is_kept_as_it_was(client: Client, path: str, encoding: str, language: str) -> None:
    """A cache keeps by a 304 what it would by the 200: the fields of RFC 9110, 15.4.5, are the same."""
    asked = {"Accept-Encoding": encoding, "Accept-Language": language}
    first = client.get(path, headers=asked)
    again = client.get(path, headers=asked | {"If-None-Match": f'"0-gz", {first.headers["etag"]}'})
    assert (first.status_code, again.status_code) == (200, 304)
    told = [[one.headers.get_list(name, split_commas=True) for name in KEPT] for one in (first, again)]
    assert told[0] == told[1]
    assert "Accept-Language" in told[0][KEPT.index("Vary")]


def test_what_rests_on_the_rulebook_is_sent_once(client: Client) -> None:
    """Each of them has a tag by which a caller who has it gets 304."""
    for path in ("/v1/rulebooks", "/v1/rules", "/v1/rules?topic=spare", "/v1/needs", "/v1/vocabulary", "/openapi.json"):
        tag = client.get(path).headers["etag"]
        again = client.get(path, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
