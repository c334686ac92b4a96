"""Two who publish, and bounds that are disputed: over HTTP, as a shop's backend tells them and asks."""

from datetime import UTC, datetime
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.document import Json
from fitsvc.observing.law import laws_of
from fitsvc.store.folding import fold_fact
from fitsvc.store.statements import Said

Client = TestClient[Litestar]
Key = dict[str, str]
STEP: dict[str, Any] = {
    "kind": "step", "shank": "2 in", "pin": "5/8 in", "pin_supplied": True, "pin_span": "3-1/4 in",
    "min_class": "none", "length": "8 in", "rear_extent": "11 in", "front_setback": "5 in", "stow_setback": "5 in",
    "stow_extent": "11 in", "lowest_drop": "3 in", "top_height": "1 in", "width": "14 in", "extension_allowed": False,
    "obscures_plate": False, "obscures_lamps": False, "plug": "none", "capacity": "350 lb",
}  # fmt: skip


def store(client: Client, key: Key, facts: dict[str, Any], **told: Any) -> Any:
    """Store a step of some facts, told so, and return its tag."""
    body = {"sku": "DSP-1", "subject": "accessory", "facts": {**STEP, **facts}, **({"told": told} if told else {})}
    response = client.post("/v1/accessories", json=body, headers=key)
    assert response.status_code == 201, response.text
    return response.headers["etag"]


def tell(client: Client, key: Key, facts: dict[str, Any], kind: str, by: str) -> None:
    """Tell something of the step."""
    body = {"subject": "accessory", "record": "DSP-1", "kind": kind, "facts": facts} | ({"by": by} if by else {})
    response = client.post("/v1/observations", json=body, headers=key)
    assert response.status_code == 201, response.text


def known(client: Client, fact: str) -> tuple[str, str]:
    """A fact on the step's sheet: its value, and its state."""
    facts = client.get("/v1/accessories/DSP-1/sheet").json()["facts"]
    return next((one["value"], one["state"]) for one in facts if one["fact"] == fact)


def answer(client: Client) -> Any:
    """The answer about the step in an opening of 2 in."""
    question = {"rig": {"receiver": {"facts": {"opening": "2 in"}}}, "accessory": {"sku": "DSP-1"}}
    response = client.post("/v1/answers", json=question)
    assert response.status_code == 200, response.text
    return response.json()


@pytest.mark.parametrize(
    ("fact", "was", "now", "then"), [("weight", "600 lb", "12 lb", "550 lb"), ("shank", "2-1/2 in", "2 in", "1-1/4 in")]
)
def test_a_second_list_takes_no_place_but_its_own(
    client: Client, key: Key, fact: str, was: str, now: str, then: str
) -> None:
    """What two lists say of one item is disputed, and what was a no is no yes; the key's own word changes as before."""
    store(client, key, {fact: was})
    before = answer(client)
    tell(client, key, {fact: now}, "published", "second list")
    assert known(client, fact)[1] == "disputed"
    after = answer(client)
    assert f"accessory.{fact}" in {one["fact"] for one in after["disputed"]}
    assert after["outcome"] != "works" and not (before["outcome"] == "fails" and after["outcome"] == "conditional")
    tell(client, key, {fact: was}, "published", "second list")
    assert known(client, fact) == (was, "")
    tell(client, key, {fact: then}, "published", "")
    assert known(client, fact)[1] == "disputed"
    tell(client, key, {fact: then}, "published", "second list")
    assert known(client, fact) == (then, "")


@pytest.mark.parametrize("kind", ["published", "measured"])
def test_who_goes_back_to_their_first_word_is_heard(client: Client, key: Key, kind: str) -> None:
    """Told again after another figure it is their last word, and no repetition; told twice in a row it is one."""
    store(client, key, {})
    told = ["600 lb", "12 lb", "600 lb", "600 lb"]
    for weight in told:
        tell(client, key, {"weight": f"exactly {weight}"}, kind, "second list")
    value, state = known(client, "weight")
    assert ("600 lb" in value, "12 lb" in value, state) == (True, False, "")
    facts = client.get("/v1/accessories/DSP-1/sheet").json()["facts"]
    (said,) = (one["statements"] for one in facts if one["fact"] == "weight")
    assert len(said) == 3


def test_a_record_that_is_written_back_as_it_was_read_settles_nothing(client: Client, key: Key) -> None:
    """Who reads a disputed record and puts it back takes back no word; who puts another figure, their own alone."""
    store(client, key, {"weight": "600 lb"})
    tell(client, key, {"weight": "12 lb"}, "published", "second list")
    for weight in (None, "500 lb"):
        got = client.get("/v1/accessories/DSP-1")
        facts = got.json()["facts"] | ({"weight": weight} if weight else {})
        body = {"subject": "accessory", "facts": facts}
        put = client.put("/v1/accessories/DSP-1", json=body, headers={**key, "If-Match": got.headers["etag"]})
        assert put.status_code == 200, put.text
        value, state = known(client, "weight")
        assert (weight or "600 lb") in value and "12 lb" in value and state == "disputed"


@pytest.mark.parametrize(("ann", "bob"), [("at most 12 lb", "20 lb"), ("at least 40 lb", "20 lb")])
def test_a_dispute_with_a_bound_can_be_read(client: Client, key: Key, ann: str, bob: str) -> None:
    """Two who measure, of whom one tells a bound alone: an answer is no yes, and lists and saved rigs know the item."""
    store(client, key, {"weight": "30 lb"})
    for by, weight in (("ann", ann), ("bob", bob)):
        tell(client, key, {"weight": weight}, "measured", by)
    assert known(client, "weight")[1] == "disputed"
    found = answer(client)
    assert "accessory.weight" in {one["fact"] for one in found["disputed"]}
    assert found["outcome"] in ("conditional", "undetermined")
    rig = {"receiver": {"facts": {"opening": "2 in"}}}
    pair = client.post("/v1/matches", json={"rigs": [rig], "skus": ["DSP-1"]})
    assert pair.status_code == 200 and "cannot be read" not in pair.text
    got = client.get("/v1/accessories/DSP-1").json()["facts"]["weight"]
    assert client.post("/v1/answers", json={"rig": rig, "accessory": {"facts": {**STEP, "weight": got}}}).is_success


def test_every_figure_that_is_disputed_with_a_bound_can_be_read() -> None:
    """For each fact with a figure: what is left of one end of the plausible and a bound at the other is a value."""
    reader, tried = answerer().reader, 0
    for fact in reader.vocabulary.facts.values():
        if fact.range is None or fact.range_text is None or fact.gathered:
            continue
        low, high = fact.range_text
        for told in ({"at_most": low}, {"at_least": high}):
            other = high if "at_most" in told else low
            law = laws_of(reader)(fact.subject).fact(fact.short)
            said = [_said(law, told, "Ann"), _said(law, other, "Bo")]
            found = fold_fact(said, law)
            if found.state == "disputed":
                tried += 1
                read = reader.value(fact, found.value)[fact.name]
                assert isinstance(read, tuple) and read[0] <= fact.range[0] + 1e-5 and read[1] >= fact.range[1] - 1e-5
    assert tried > 200


def _said(law: Any, value: Json, by: str) -> Said:
    at, span = datetime(2026, 11, 1, tzinfo=UTC), law.read(value, "read")[1]
    return Said(fact="x", value=value, kind="read", by=by, person=by, at=at, observation=by, span=span)
