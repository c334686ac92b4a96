"""Observations tighten what is known, contradict what cannot hold beside them, and change saved rigs' answers."""

import json
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from demo_world import SEED, answerer, world
from effort import tries
from hypothesis import assume, given
from hypothesis import strategies as st
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

from fitsvc.audits.rigs import rigs_of_table, rigs_table, stored_rigs
from fitsvc.audits.run import Audit, AuditOrder
from fitsvc.audits.summary import run
from fitsvc.cli.app import main
from fitsvc.facts import FactReader
from fitsvc.loading.load import in_order, load_file
from fitsvc.observing.law import laws_of
from fitsvc.observing.refolding import refold
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.database import Database
from fitsvc.store.folding import KnownFact, fold
from fitsvc.store.records import get_record
from fitsvc.store.tables import Mounting, Observation

Client = TestClient[Litestar]
Key = dict[str, str]
MOUNTING = "mnt_bothy_long_yoke3"
"""The mounting of the saved rig with an extension."""


@pytest.fixture
def shop(client: Client, database: Database, rulebook: Rulebook) -> Client:
    """Give a client of a service over the demo world."""
    reader = FactReader(rulebook)
    files = [path for path in SEED.iterdir() if path.suffix in (".csv", ".yaml")]
    for path in in_order(files, rulebook.vocabulary):
        load_file(database, reader, Path(path))
    return client


@pytest.fixture
def mounting(client: Client, key: Key) -> str:
    """Store a mounting of which nothing is known."""
    for path, body in (("vehicles", {"id": "veh_1"}), ("receivers", {"id": "rcv_1"})):
        client.post(f"/v1/{path}", json=body, headers=key)
    known: dict[str, Any] = {"id": "mnt_1", "vehicle": "veh_1", "receiver": "rcv_1", "facts": {"pin_to_bumper": "4 in"}}
    assert client.post("/v1/mountings", json=known, headers=key).status_code == 201
    return "mnt_1"


def tell(client: Client, key: Key, record: str, **members: Any) -> dict[str, Any]:
    """Tell something of a mounting."""
    body = {"subject": "mounting", "record": record} | members
    response = client.post("/v1/observations", json=body, headers=key)
    assert response.status_code == 201, response.text
    told: dict[str, Any] = response.json()
    return told


def spare(client: Client, key: Key, record: str, tyre: str, stowed: bool) -> dict[str, Any]:
    """Tell whether a spare stowed."""
    return tell(client, key, record, evidence={"tyre": tyre, "stowed": stowed}, note="rubbing" if stowed else "")


def test_a_spare_that_stowed_raises_the_bound(client: Client, key: Key, mounting: str) -> None:
    """The design diameter is 16 in x 25.4 mm + 2 x 245 mm x 0.75; a smaller one teaches nothing, and is kept."""
    assert spare(client, key, mounting, "245/75R16", True)["record"]["facts"]["spare_fits_up_to"] == "773.9 mm"
    smaller = spare(client, key, mounting, "225/70R16", True)
    assert smaller["record"]["facts"]["spare_fits_up_to"] == "773.9 mm"
    assert smaller["observation"]["facts"] == {}
    assert smaller["observation"]["evidence"] == {"tyre": "225/70R16", "stowed": True}
    assert spare(client, key, mounting, "265/70R17", True)["record"]["facts"]["spare_fits_up_to"] == "802.8 mm"


def test_two_sizes_tried_by_one_person_are_two_cases(client: Client, key: Key, mounting: str) -> None:
    """A smaller spare that stowed later does not take the place of a larger one that did, whoever tried both."""
    for tyre in ("265/70R17", "245/65R17"):
        tried = tell(client, key, mounting, evidence={"tyre": tyre, "stowed": True}, by="Ann")
        assert tried["record"]["facts"]["spare_fits_up_to"] == "802.8 mm"


def test_a_spare_that_did_not_lowers_the_bound(client: Client, key: Key, mounting: str) -> None:
    """The smallest that did not go in is what counts."""
    assert spare(client, key, mounting, "265/70R17", False)["record"]["facts"]["spare_blocked_from"] == "802.8 mm"
    assert spare(client, key, mounting, "285/70R17", False)["record"]["facts"]["spare_blocked_from"] == "802.8 mm"
    assert spare(client, key, mounting, "255/70R17", False)["record"]["facts"]["spare_blocked_from"] == "788.8 mm"


def test_a_tyre_that_is_a_band_bounds_by_what_is_sure(client: Client, key: Key, mounting: str) -> None:
    """A 33 in flotation tyre is 826.2 to 838.2 mm across: one end is sure to stow, the other sure not to."""
    assert spare(client, key, mounting, "33X12.50R17LT", True)["record"]["facts"]["spare_fits_up_to"] == "826.2 mm"
    assert spare(client, key, mounting, "37X12.50R17LT", False)["record"]["facts"]["spare_blocked_from"] == "939.8 mm"


def test_what_stowed_answers_for_its_own_size(client: Client, key: Key, mounting: str) -> None:
    """Asked again about the very tyre, the answer works, and fails for one known not to go in."""
    spare(client, key, mounting, "245/75R16", True)
    spare(client, key, mounting, "265/70R17", False)
    for tyre, outcome in (("245/75R16", "passes"), ("265/70R17", "fails"), ("255/70R17", "undetermined")):
        rig = {"mounting": {"id": mounting}, "spare": {"facts": {"tyre": tyre, "stowed_where": "underbody"}}}
        findings = client.post("/v1/answers", json={"rig": rig}).json()["findings"]
        assert [one["result"] for one in findings if one["rule"] == "spare-stows-under-body"] == [outcome]


def test_a_larger_one_that_stowed_contradicts_a_smaller_that_did_not(client: Client, key: Key, mounting: str) -> None:
    """Both stay, and the response tells both, with who said them and when."""
    first = spare(client, key, mounting, "245/75R16", False)
    second = spare(client, key, mounting, "265/70R17", True)
    (found,) = second["contradictions"]
    assert found["because"] == "a spare of 802.8 mm is known to stow, and one of 773.9 mm not to"
    assert [one["observation"] for one in found["said"]] == [one["observation"]["id"] for one in (first, second)]
    assert {one["by"] for one in found["said"]} == {"yard"}
    assert second["record"]["facts"]["spare_blocked_from"] == "773.9 mm"


def test_f21_what_one_person_said_otherwise_since_is_named_no_more(client: Client, key: Key, mounting: str) -> None:
    """A slip is named once, when it is put right; what is entered late of an earlier day is no contradiction."""
    told = [
        tell(client, key, mounting, facts={"height": value}, by="Ann", at=f"2026-05-0{day}T09:00:00Z")
        for value, day in (("13 in", 3), ("17 in", 4), ("17-1/8 in", 5), ("12 in", 1))
    ]
    assert [len(one["contradictions"]) for one in told] == [0, 1, 0, 0]
    assert told[-1]["record"]["provenance"]["height"].get("state") is None


def test_a_spare_tried_again_settles_what_another_said_of_it(client: Client, key: Key, mounting: str) -> None:
    """Ann says that it did not stow, Bo tries the same size again and it does: with a reason, that holds."""
    tell(client, key, mounting, evidence={"tyre": "245/75R16", "stowed": False}, by="Ann")
    again = {"evidence": {"tyre": "245/75R16", "stowed": True}, "by": "Bo"}
    facts = tell(client, key, mounting, **again, settles=True, reason="the nut was in the way")["record"]["facts"]
    assert ("spare_blocked_from" in facts, facts["spare_fits_up_to"]) == (False, "773.9 mm")


def test_what_is_told_again_contradicts_again(client: Client, key: Key, mounting: str) -> None:
    """A spare that did not stow below a published fit contradicts it each time, though it teaches nothing new."""
    tell(client, key, mounting, facts={"spare_fits_up_to": "33 in"}, kind="published")
    for tyre, size in (("245/75R16", "773.9 mm"), ("245/75R16", "773.9 mm"), ("265/70R17", "802.8 mm")):
        (found,) = spare(client, key, mounting, tyre, False)["contradictions"]
        assert found["because"] == f"a spare of 33 in is known to stow, and one of {size} not to"
        assert [(one["fact"], one["value"]) for one in found["said"]] == [
            ("spare_fits_up_to", "33 in"),
            ("spare_blocked_from", size),
        ]
    assert spare(client, key, mounting, "285/75R17", False)["contradictions"] == []


def test_each_statement_against_a_spare_is_told(client: Client, key: Key, mounting: str) -> None:
    """Every spare that did not stow and is no larger than one that does is named, the oldest first."""
    tyres = ("245/75R16", "225/70R16", "255/70R17")
    first = [spare(client, key, mounting, tyre, False)["observation"]["id"] for tyre in tyres]
    told = spare(client, key, mounting, "245/75R16", True)
    (found,) = told["contradictions"]
    assert [one["observation"] for one in found["said"]] == [*first[:2], told["observation"]["id"]]


def test_measurements_that_agree_tighten(client: Client, key: Key, mounting: str) -> None:
    """What both allow holds, in the unit it was told in, whichever was closer; the log keeps what was said."""
    close = {"value": "4 in", "tolerance": "1/8 in"}
    assert tell(client, key, mounting, facts={"pin_to_bumper": close})["record"]["facts"]["pin_to_bumper"] == close
    rough = {"value": "4-1/4 in", "tolerance": "1/4 in"}
    told = tell(client, key, mounting, facts={"pin_to_bumper": rough})
    assert told["record"]["facts"]["pin_to_bumper"] == {"at_least": "4 in", "at_most": "4-1/8 in"}
    assert told["observation"]["facts"] == {"pin_to_bumper": rough}
    assert told["contradictions"] == []


def test_measurements_that_disagree_are_reported(client: Client, key: Key, mounting: str) -> None:
    """The published figure and two measurements apart: all three are told, and between the two all is left."""
    tell(client, key, mounting, facts={"pin_to_bumper": "5 in"}, by="Ann")
    told = tell(client, key, mounting, facts={"pin_to_bumper": {"value": "6 in", "tolerance": "1/2 in"}}, by="Bo")
    (found,) = told["contradictions"]
    assert [(one["kind"], one["by"], one["value"]) for one in found["said"]] == [
        ("published", "yard", "4 in"),
        ("measured", "Ann", "5 in"),
        ("measured", "Bo", {"value": "6 in", "tolerance": "1/2 in"}),
    ]
    assert told["record"]["facts"]["pin_to_bumper"] == {"at_least": "4-7/8 in", "at_most": "6-1/2 in"}
    known = told["record"]["provenance"]["pin_to_bumper"]
    assert (known["state"], [one["by"] for one in known["said"]]) == ("disputed", ["Ann", "Bo"])
    log = client.get(f"/v1/observations?subject=mounting&record={mounting}").json()["items"]
    assert [one["facts"]["pin_to_bumper"] for one in log][:2] == ["4 in", "5 in"]


def test_guesses_and_what_was_taken_back_contradict_nothing(client: Client, key: Key, mounting: str) -> None:
    """A guess is not held against a measurement, nor is anything that null has taken back."""
    assert tell(client, key, mounting, facts={"pin_to_bumper": "9 in"}, kind="assumed")["contradictions"] == []
    assert tell(client, key, mounting, facts={"pin_to_bumper": None})["contradictions"] == []
    assert tell(client, key, mounting, facts={"pin_to_bumper": "7 in"})["contradictions"] == []


def test_saved_rigs_that_answer_otherwise_are_told(shop: Client, key: Key) -> None:
    """A bumper that stands farther out leaves fewer carriers on the rig that names the mounting."""
    told = tell(shop, key, MOUNTING, facts={"pin_to_bumper": "22 in ± 1/8 in"}, settles=True, reason="a tank was added")
    (rig,) = told["rigs"]["changed"]
    assert rig["rig"] == "rig_bothy_bikes"
    assert rig["after"]["fails"] > rig["before"].get("fails", 0)
    assert sum(rig["before"].values()) == sum(rig["after"].values())
    one = rig["changed"][-1]
    answer = shop.post("/v1/answers", json={"rig": {"id": rig["rig"]}, "accessory": {"sku": one["sku"]}}).json()
    assert answer["outcome"] == one["after"] != one["before"]
    assert rig["count"] >= len(rig["changed"])
    assert (told["rigs"]["judged"], told["rigs"]["left_off"], told["rigs"]["accessories_left_off"]) == (1, 0, 0)


def test_a_rig_with_a_spare_is_asked_about_it(shop: Client, key: Key) -> None:
    """Where the door's spare stands out is what the trail rig's own question rests on."""
    told = shop.post(
        "/v1/observations",
        headers=key,
        json={
            "subject": "vehicle",
            "record": "veh_mossback_2021_four",
            "facts": {"spare_location": "inside"},
        },
    ).json()
    (rig,) = told["rigs"]["changed"]
    assert rig["rig"] == "rig_moss_trail"
    assert rig["changed"][0]["sku"] == ""


def test_a_vehicle_reaches_rigs_through_their_mounting(shop: Client, key: Key) -> None:
    """A rig that names only a mounting uses its vehicle and receiver too, and one that names both its mounting."""
    ids = {"mounting": "mnt_saltmarsh_own", "vehicle": "veh_saltmarsh_2022", "receiver": "rcv_velmora_saltmarsh"}
    shop.post("/v1/rigs", headers=key, json={"id": "rig_a", "name": "a", "rig": {"mounting": {"id": ids["mounting"]}}})
    both = {part: {"id": ids[part]} for part in ("vehicle", "receiver")}
    shop.post("/v1/rigs", headers=key, json={"id": "rig_b", "name": "b", "rig": both})
    for subject, facts in (
        ("vehicle", {"gvwr": "5800 lb"}),
        ("receiver", {"tongue_rating": "480 lb"}),
        ("mounting", {"height": "17 in"}),
    ):
        body = {"subject": subject, "record": ids[subject], "facts": facts}
        told = shop.post("/v1/observations", headers=key, json=body).json()
        assert told["rigs"]["judged"] == 3, subject


def test_an_observation_that_changes_nothing_changes_no_rig(shop: Client, key: Key) -> None:
    """Notes are told to people and read by no rule."""
    told = tell(shop, key, MOUNTING, facts={"notes": "looked at"})
    assert told["rigs"]["changed"] == []


@pytest.mark.parametrize(
    ("evidence", "status", "places"),
    [
        ({"tyre": "245/75R16"}, 400, ["/evidence/stowed"]),
        ({"tyre": "245", "stowed": True}, 400, ["/evidence/tyre"]),
        ({"tyre": 245, "stowed": "yes"}, 400, ["/evidence/stowed", "/evidence/tyre"]),
        ({"tyre": "245/75R16", "stowed": True, "rubs": True}, 400, ["/evidence/rubs"]),
        ({"tyre": "245/75R16", "stowed": True, "rubbed": "a bit"}, 400, ["/evidence/rubbed"]),
        ("it went in", 400, ["/evidence"]),
    ],
)
def test_evidence_that_cannot_be_read_is_told(
    client: Client, key: Key, mounting: str, evidence: Any, status: int, places: list[str]
) -> None:
    """Everything that is wrong with evidence is told by its place."""
    body = {"subject": "mounting", "record": mounting, "evidence": evidence}
    found = problem(client.post("/v1/observations", json=body, headers=key), status)
    assert sorted(pointers(found)) == places


def test_evidence_of_anything_but_a_mounting_cannot_be(client: Client, key: Key, mounting: str) -> None:
    """A spare stows on a vehicle with a receiver."""
    body = {"subject": "vehicle", "record": "veh_1", "evidence": {"tyre": "245/75R16", "stowed": True}}
    assert pointers(problem(client.post("/v1/observations", json=body, headers=key), 422)) == ["/evidence"]


def ask(client: Client, mounting: str, sku: str) -> dict[str, Any]:
    """Ask about something that is sold, on the rig of a mounting."""
    question = {"rig": {"mounting": {"id": mounting}}, "accessory": {"sku": sku}}
    answer: dict[str, Any] = client.post("/v1/answers", json=question).json()
    return answer


def test_f1_an_answer_tells_a_dispute_and_is_as_sure_as_it_leaves_it(shop: Client, key: Key) -> None:
    """14 in by one and 4 in by another: neither the yes of the one nor the no of the other, whoever typed last."""
    for first, second in (("14 in", "4 in"), ("4 in", "14 in")):
        mounting = f"mnt_{first[0]}"
        body = {"id": mounting, "vehicle": "veh_saltmarsh_2022", "receiver": "rcv_velmora_saltmarsh"}
        shop.post("/v1/mountings", json={**body, "facts": {"height": "16-1/2 in", "fitted": True}}, headers=key)
        sure = {}
        for value in ("14 in", "4 in"):
            inline = {"mounting": {"id": mounting, "facts": {"pin_to_bumper": value}}}
            question = {"rig": inline, "accessory": {"sku": "KND-2-D1-9"}}
            sure[value] = shop.post("/v1/answers", json=question).json()["outcome"]
        tell(shop, key, mounting, facts={"pin_to_bumper": first}, by="Ann", at="2026-11-01T09:00:00Z")
        tell(shop, key, mounting, facts={"pin_to_bumper": second}, by="Bo", at="2026-11-08T09:00:00Z")
        answer = ask(shop, mounting, "KND-2-D1-9")
        (disputed,) = answer["disputed"]
        assert (disputed["fact"], disputed["state"]) == ("mounting.pin_to_bumper", "disputed")
        assert disputed["because"] == (
            f"The distance from pin hole to bumper is disputed: {first} on 1 November 2026 by Ann, "
            f"{second} on 8 November 2026 by Bo; measure again."
        )
        assert sure["14 in"] == "fails" != sure["4 in"]
        assert answer["outcome"] in ("undetermined", "conditional")
        for page in ("fits?", "answer?accessory=KND-2-D1-9&"):
            assert unescape(shop.get(f"/{page}mounting={mounting}").text).count(disputed["because"]) == 1
        selected = shop.post("/v1/selections", json={"rig": {"mounting": {"id": mounting}}}).json()
        assert selected["disputed"] == [disputed]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f1_plans_and_matrices_tell_a_dispute(shop: Client, key: Key) -> None:
    """Each set and each miss of a plan as its own question's answer tells it, on the selling page too; each rig."""
    mounting = "mnt_saltmarsh_own"
    for value, by in (("14 in", "Ann"), ("4 in", "Bo")):
        tell(shop, key, mounting, facts={"pin_to_bumper": value}, by=by, at="2026-11-01T09:00:00Z")
    because = ask(shop, mounting, "KND-2-D1-9")["disputed"][0]["because"]
    assert "14 in on 1 November 2026 by Ann, 4 in on 1 November 2026 by Bo" in because
    rig = {"mounting": {"id": mounting}}
    plans = [
        shop.post("/v1/plans", json={"rig": rig, "wishes": [wish]}).json()
        for wish in ({"load": {"facts": {"bikes": 2, "bike_weight": "30 lb"}}}, {"load": {"facts": {"bikes": 9}}})
    ]
    sets = [served for plan in plans for one in (plan["best"], *plan["runners_up"]) if one for served in one["wishes"]]
    misses = [miss for plan in plans for miss in plan["misses"] if miss.get("question")]
    assert sets and misses
    for told in (*sets, *misses):
        answer = shop.post("/v1/answers", json=told["question"]).json()
        assert told.get("disputed", []) == answer.get("disputed", [])
        assert because in [one["because"] for one in answer["disputed"]]
    for bikes in (2, 9):
        page = unescape(shop.get(f"/sell?mounting={mounting}&load.bikes={bikes}&load.bike_weight=30+lb").text)
        assert because in page, bikes
    matched = shop.post("/v1/matches", json={"rigs": [rig], "skus": ["KND-2-D1-9"]}).json()
    assert because in json.dumps(matched, ensure_ascii=False)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f1_an_audit_tells_what_of_its_rigs_is_disputed(
    shop: Client, key: Key, database: Database, tmp_path: Path
) -> None:
    """By rig, in the answer's own words: in the summary, on its page and through the file that a service keeps."""
    for value, by in (("14 in", "Ann"), ("4 in", "Bo")):
        tell(shop, key, "mnt_muckle_short_own", facts={"pin_to_bumper": value}, by=by, at="2026-11-01T09:00:00Z")
    with database.session() as session:
        rigs = rigs_of_table(rigs_table(stored_rigs(session, answerer().reader)))
    order = AuditOrder(catalogue=SEED / "accessories.csv", out=tmp_path / "audit")
    summary = run(Audit(order, answerer().rulebook, rigs, lambda *_: None))
    told = [one for one in summary["disputed"] if one["state"] == "disputed"]
    assert {one["fact"] for one in told} == {"mounting.pin_to_bumper"}
    assert all("14 in on 1 November 2026 by Ann" in one["because"] for one in told)
    assert {one["rig"] for one in told} == {rig.key for rig in rigs if rig.doubts}
    assert "14 in on 1 November 2026 by Ann" in (tmp_path / "audit" / "summary.html").read_text()


def test_f6_one_slip_is_taken_back_and_the_rest_stands(client: Client, key: Key, mounting: str) -> None:
    """A spare told to stow that did not: its retraction, with a reason, leaves the earlier one that did."""
    right = spare(client, key, mounting, "265/70R17", True)
    slip = spare(client, key, mounting, "285/75R17", True)
    back = tell(client, key, mounting, retracts=slip["observation"]["id"], reason="typed the wrong row")
    assert back["record"]["facts"] == right["record"]["facts"]
    assert (back["observation"]["act"], back["observation"]["reason"]) == ("retracts", "typed the wrong row")
    again = tell(client, key, mounting, retracts=back["observation"]["id"], reason="it was the right row after all")
    assert again["record"]["facts"] == slip["record"]["facts"]


def test_f6_a_correction_takes_the_place_of_what_it_corrects(client: Client, key: Key, mounting: str) -> None:
    """The slip goes, and what was seen then is told as of then."""
    slip = tell(client, key, mounting, facts={"pin_to_bumper": "14 in", "height": "17 in"}, at="2026-05-01T00:00:00Z")
    told = tell(
        client, key, mounting, facts={"pin_to_bumper": "4 in"}, corrects=slip["observation"]["id"], reason="a slip"
    )
    assert told["contradictions"] == []
    assert told["record"]["provenance"]["pin_to_bumper"]["observation"] == told["observation"]["id"]
    assert told["record"]["provenance"]["height"]["observation"] == slip["observation"]["id"]
    assert told["observation"]["at"] == "2026-05-01T00:00:00Z"


@pytest.mark.parametrize(
    ("members", "status", "place"),
    [
        ({"retracts": "obs_none", "reason": "a slip"}, 409, "/retracts"),
        ({"retracts": "obs_none"}, 422, "/reason"),
        ({"retracts": 5, "reason": "a slip"}, 400, "/retracts"),
        ({"settles": "yes", "reason": "a slip", "facts": {"height": "17 in"}}, 400, "/settles"),
        ({"corrects": "obs_none", "reason": "a slip"}, 400, "/facts"),
        ({"facts": {"height": "17 in"}, "reason": "a slip"}, 422, "/reason"),
        ({"facts": {"height": "17 in"}, "at": "2199-01-01T00:00:00Z"}, 422, "/at"),
    ],
)
def test_f6_what_cannot_be_taken_back_is_told(
    client: Client, key: Key, mounting: str, members: dict[str, Any], status: int, place: str
) -> None:
    """An observation of another record, one without a reason, and what was not seen yet (F2)."""
    body = {"subject": "mounting", "record": mounting} | members
    assert pointers(problem(client.post("/v1/observations", json=body, headers=key), status)) == [place]


def test_f6_a_null_takes_back_what_is_no_better_known(client: Client, key: Key, mounting: str) -> None:
    """A guess taken back leaves the measurement."""
    tell(client, key, mounting, facts={"height": "17 in"})
    told = tell(client, key, mounting, facts={"height": None, "pin_to_bumper": None}, kind="assumed")
    assert set(told["record"]["facts"]) == {"height", "pin_to_bumper"}
    # It is not silent about what it left.
    assert [(one["fact"], one["said"][-1]["kind"]) for one in told["contradictions"]] == [
        ("height", "measured"),
        ("pin_to_bumper", "published"),
    ]
    assert "which a null told as `assumed` does not take back: retract" in told["contradictions"][0]["because"]
    assert set(tell(client, key, mounting, facts={"height": None})["record"]["facts"]) == {"pin_to_bumper"}


def test_f7_what_is_stored_is_what_was_said(client: Client, key: Key, mounting: str) -> None:
    """A tight slip taken back leaves no trace under the names of those who came after it."""
    rough, slip = {"value": "5 in", "tolerance": "1 in"}, {"value": "5-7/8 in", "tolerance": "1/16 in"}
    tell(client, key, mounting, facts={"pin_to_bumper": rough}, by="Ann")
    told = tell(client, key, mounting, facts={"pin_to_bumper": slip}, by="Bo")
    again = tell(client, key, mounting, facts={"pin_to_bumper": rough}, by="Ann")
    assert again["observation"]["facts"] == {"pin_to_bumper": rough}
    assert again["record"]["provenance"]["pin_to_bumper"]["observation"] == told["observation"]["id"]
    left = tell(client, key, mounting, retracts=told["observation"]["id"], reason="read the wrong mark")
    assert left["record"]["facts"]["pin_to_bumper"] == rough


def test_f21_what_was_settled_is_disputed_no_more(client: Client, key: Key, mounting: str) -> None:
    """One reading with a reason ends it: what stood against it is taken back, and contradicts nothing later."""
    tell(client, key, mounting, facts={"pin_to_bumper": "14 in"}, by="Ann")
    tell(client, key, mounting, facts={"pin_to_bumper": "5 in"}, by="Bo")
    body = {"facts": {"pin_to_bumper": "5 in"}, "by": "Cy", "settles": True, "reason": "all three together"}
    settled = tell(client, key, mounting, **body)
    known = settled["record"]["provenance"]["pin_to_bumper"]
    assert "state" not in known
    assert settled["observation"]["act"] == "settles"
    last = tell(client, key, mounting, facts={"pin_to_bumper": "5-1/16 in"}, by="Di")
    (found,) = last["contradictions"] or [{"said": []}]
    assert [one["by"] for one in found["said"] if one["kind"] == "measured"] in ([], ["Di"])


def test_f9_a_tape_has_a_tolerance_unless_it_is_said_to_be_exact(client: Client, key: Key, mounting: str) -> None:
    """4 in and 4-1/16 in are one honest distance; an eighth is the vocabulary's word for what is plumbed down."""
    first = tell(client, key, mounting, facts={"pin_to_bumper": "4 in"}, by="Ann")
    assert first["record"]["facts"]["pin_to_bumper"] == {"value": "4 in", "tolerance": "1/8 in"}
    second = tell(client, key, mounting, facts={"pin_to_bumper": "4-1/16 in"}, by="Bo")
    assert second["contradictions"] == []
    assert second["record"]["facts"]["pin_to_bumper"] == {"at_least": "3-15/16 in", "at_most": "4-1/8 in"}
    third = tell(client, key, mounting, facts={"height": "exactly 17 in"})
    assert third["record"]["facts"]["height"] == "exactly 17 in"


def test_f2_the_same_file_again_stores_nothing_new(client: Client, key: Key, mounting: str) -> None:
    """What was told word for word before is not told twice."""
    body = {"facts": {"height": "17 in"}, "by": "Ann", "at": "2026-05-01T00:00:00Z"}
    first, second = (tell(client, key, mounting, **body) for _ in range(2))
    assert (first["repeated"], second["repeated"]) == (False, True)
    assert first["observation"]["id"] == second["observation"]["id"]
    log = client.get(f"/v1/observations?subject=mounting&record={mounting}").json()["items"]
    assert len(log) == 2


def test_f18_a_tolerance_is_spelt_alike_everywhere(client: Client, key: Key, mounting: str) -> None:
    """The API takes in one text what a cell of a file takes."""
    told = tell(client, key, mounting, facts={"pin_to_bumper": "3-1/2 in ± 1/8 in", "height": "at least 16 in"})
    assert told["record"]["facts"]["pin_to_bumper"] == "3-1/2 in ± 1/8 in"


def test_a_store_from_before_is_folded_anew(
    client: Client, key: Key, mounting: str, database: Database, rulebook: Rulebook
) -> None:
    """What was kept by an older law is brought to what the statements say, once, and those who follow see it."""
    tell(client, key, mounting, facts={"pin_to_bumper": "14 in"}, by="Ann")
    told = tell(client, key, mounting, facts={"pin_to_bumper": "4 in"}, by="Bo")["record"]
    with database.session() as session:
        record = get_record(session, "mounting", mounting)
        record.facts, record.provenance = {"pin_to_bumper": "4 in"}, {"pin_to_bumper": {"kind": "measured"}}
    laws = laws_of(FactReader(rulebook))
    assert (refold(database, laws), refold(database, laws)) == (1, 0)
    now = client.get(f"/v1/mountings/{mounting}").json()
    assert (now["facts"], now["provenance"]) == (told["facts"], told["provenance"])
    assert client.get(f"/v1/observations?subject=mounting&record={mounting}").json()["items"][-1]["facts"] == {}


def test_f5_what_leans_on_the_tyres_is_stale_when_they_change(client: Client, key: Key, mounting: str) -> None:
    """Other tyres: the opening's height is not known, the answer says why, and what was measured since counts."""
    about = {"subject": "vehicle", "record": "veh_1", "by": "Ann"}
    client.post("/v1/observations", json={**about, "facts": {"tyre": "245/75R16"}}, headers=key)
    tell(client, key, mounting, facts={"height": "17 in"}, at="2026-05-01T00:00:00Z", by="Ann")
    other = {**about, "facts": {"tyre": "285/75R17"}, "settles": True, "reason": "new tyres"}
    client.post("/v1/observations", json=other, headers=key)
    now = client.get(f"/v1/mountings/{mounting}").json()
    assert "height" not in now["facts"]
    assert now["provenance"]["height"]["state"] == "stale"
    (told,) = ask_anything(client, mounting)["disputed"]
    assert told["because"] == (
        "The height of the opening was seen before the size of the vehicle's tyres changed, and is not known now: "
        "17 in on 1 May 2026 by Ann; measure again."
    )
    tell(client, key, mounting, facts={"height": "18 in"}, by="Ann")
    assert "state" not in client.get(f"/v1/mountings/{mounting}").json()["provenance"]["height"]


def test_f5_what_is_published_is_stale_when_other_tyres_were_seen(client: Client, key: Key) -> None:
    """A height and a door spare's reach are published with the stock tyres, and not known with others on."""
    facts = {"tyre": "225/65R17", "spare_protrusion": "6-1/2 in", "closure_length": "40 in"}
    receiver = {"id": "rcv_p", "facts": {"opening": "2 in"}}
    mounting = {"id": "mnt_p", "vehicle": "veh_p", "receiver": "rcv_p", "facts": {"height": "14 in"}}
    bodies: dict[str, Any] = {
        "vehicles": {"id": "veh_p", "facts": facts}, "receivers": receiver, "mountings": mounting
    }  # fmt: skip
    for path, body in bodies.items():
        assert client.post(f"/v1/{path}", json=body, headers=key).status_code == 201
    about = {"subject": "vehicle", "record": "veh_p", "by": "Ann"}

    def states() -> list[str | None]:
        of = [client.get(f"/v1/{one}").json()["provenance"] for one in ("mountings/mnt_p", "vehicles/veh_p")]
        return [
            of[0]["height"].get("state"),
            of[1]["spare_protrusion"].get("state"),
            of[1]["closure_length"].get("state"),
        ]

    def worn(tyre: str) -> None:
        told = {**about, "facts": {"tyre": tyre}, "settles": True, "reason": "looked again"}
        assert client.post("/v1/observations", json=told, headers=key).status_code == 201

    worn("225/65R17")
    assert states() == [None, None, None]
    worn("205/55R16")
    assert states() == ["stale", "stale", None]
    assert "height" not in client.get("/v1/mountings/mnt_p").json()["facts"]
    (told,) = [one for one in ask_anything(client, "mnt_p")["disputed"] if one["fact"] == "mounting.height"]
    assert "the size of the vehicle's tyres changed" in told["because"]
    # Measured as it stands it is known again, until other tyres are on again; the maker's word is of the stock ones.
    seen = {"subject": "mounting", "record": "mnt_p", "by": "Ann", "facts": {"height": "12-1/4 in"}}
    assert client.post("/v1/observations", json=seen, headers=key).status_code == 201
    assert states() == [None, "stale", None]
    worn("225/65R17")
    assert states() == ["stale", None, None]


def test_f5_what_is_measured_from_the_ground_is_stale_when_the_vehicle_is_lifted(
    client: Client, key: Key, mounting: str
) -> None:
    """A lift of 3 in; half an inch between two readings of one arch is none. What is level along stays known."""
    about = {"subject": "vehicle", "record": "veh_1", "by": "Ann"}

    def measured(**facts: str) -> None:
        client.post("/v1/observations", json={**about, "facts": facts}, headers=key)

    measured(ride_height="20 in", rear_overhang="40 in")
    tell(client, key, mounting, facts={"height": "17 in", "pin_to_bumper": "5 in"}, by="Ann")
    measured(ride_height="20-1/2 in")
    assert "height" in client.get(f"/v1/mountings/{mounting}").json()["facts"]
    measured(ride_height="23 in")
    now = client.get(f"/v1/mountings/{mounting}").json()
    assert now["provenance"]["height"]["state"] == "stale"
    assert "pin_to_bumper" in now["facts"]
    (told,) = ask_anything(client, mounting)["disputed"]
    assert "was seen before the rear ride height changed" in told["because"]


def test_a_mounting_is_folded_after_the_vehicle_that_it_leans_on(
    client: Client, key: Key, mounting: str, database: Database, rulebook: Rulebook
) -> None:
    """What a mounting's facts come to rests on its vehicle's: one folding is enough for both, in whatever order."""
    about = {"subject": "vehicle", "record": "veh_1", "by": "Ann"}
    client.post("/v1/observations", json={**about, "facts": {"tyre": "245/75R16"}}, headers=key)
    tell(client, key, mounting, facts={"height": "17 in"}, at="2026-05-01T00:00:00Z", by="Ann")
    other = {**about, "facts": {"tyre": "285/75R17"}, "settles": True, "reason": "new tyres"}
    client.post("/v1/observations", json=other, headers=key)
    with database.session() as session:
        vehicle = get_record(session, "vehicle", "veh_1")
        vehicle.facts = {"tyre": "245/75R16"}
        record = get_record(session, "mounting", mounting)
        record.facts, record.provenance = {"height": "17 in"}, {"height": {"kind": "measured"}}
    laws = laws_of(FactReader(rulebook))
    assert (refold(database, laws), refold(database, laws)) == (2, 0)
    assert "height" not in client.get(f"/v1/mountings/{mounting}").json()["facts"]


def ask_anything(client: Client, mounting: str) -> dict[str, Any]:
    """Ask about an accessory of which nothing is told."""
    question = {"rig": {"mounting": {"id": mounting}}, "accessory": {"facts": {"kind": "ball_mount"}}}
    answer: dict[str, Any] = client.post("/v1/answers", json=question).json()
    return answer


@pytest.mark.parametrize(
    ("fact", "value", "meant"),
    [
        ("height", "13 mm", "did you mean `13 in`?"),
        ("pin_to_bumper", "22 in", "did you mean `22 cm`?"),
        ("height", "430 in", "between"),
    ],
)
def test_f15_a_slip_of_the_unit_is_asked_about(
    client: Client, key: Key, mounting: str, fact: str, value: str, meant: str
) -> None:
    """A figure that would be usual with another unit is refused with it, unless it is out of the question anyway."""
    body = {"subject": "mounting", "record": mounting, "facts": {fact: value}}
    (error,) = problem(client.post("/v1/observations", json=body, headers=key), 422)["errors"]
    assert meant in error["help"]
    assert client.get(f"/v1/mountings/{mounting}").json()["facts"] == {"pin_to_bumper": "4 in"}


def test_f15_what_says_how_far_off_it_may_be_is_taken(client: Client, key: Key, mounting: str) -> None:
    """13 mm it is; and a bumper 31 in behind the pin is one of its kind."""
    assert tell(client, key, mounting, facts={"height": "exactly 13 mm"})["record"]["facts"]["height"]
    assert tell(client, key, mounting, facts={"pin_to_bumper": "31 in ± 1/4 in"})["record"]["facts"]["pin_to_bumper"]


def about_spare(client: Client, mounting: str, tyre: str) -> tuple[str, list[str]]:
    """What the stowing of a spare comes to, and the cautions that are told."""
    rig = {"mounting": {"id": mounting}, "spare": {"facts": {"tyre": tyre, "stowed_where": "underbody"}}}
    answer = client.post("/v1/answers", json={"rig": rig}).json()
    (result,) = [one["result"] for one in answer["findings"] if one["rule"] == "spare-stows-under-body"]
    return result, answer["cautions"]


def test_f10_the_very_tyre_that_was_tried_is_answered(client: Client, key: Key, mounting: str) -> None:
    """A designation that is a band answers for itself, however it is written; another one of its size does not."""
    spare(client, key, mounting, "33X12.50R15LT", True)
    spare(client, key, mounting, "35X12.50R17LT", False)
    assert about_spare(client, mounting, "33x12.50r15lt")[0] == "passes"
    assert about_spare(client, mounting, "35X12.50R17LT")[0] == "fails"
    assert about_spare(client, mounting, "33X12.50R17LT")[0] == "undetermined"


def test_f11_what_went_in_and_rubbed_is_a_caution(client: Client, key: Key, mounting: str) -> None:
    """It stows, and the answer says that it rubbed; taken back, it says so no more."""
    told = tell(client, key, mounting, evidence={"tyre": "265/70R17", "stowed": True, "rubbed": True})
    result, cautions = about_spare(client, mounting, "265/70R17")
    assert result == "passes"
    assert [text for text in cautions if "it rubbed" in text and "265/70R17" in text]
    assert not [text for text in about_spare(client, mounting, "245/75R16")[1] if "it rubbed" in text]
    tell(client, key, mounting, retracts=told["observation"]["id"], reason="it was another truck")
    assert not [text for text in about_spare(client, mounting, "265/70R17")[1] if "it rubbed" in text]


SKUS = sorted(one.key for one in world().of("accessory"))
READINGS = st.tuples(st.integers(0, 40), st.sampled_from(["0 in", "1/8 in", "1/2 in"])).map(
    lambda told: {"value": f"{told[0] / 4} in", "tolerance": told[1]}
)


@tries(60)
@given(st.sampled_from(SKUS), st.lists(READINGS, min_size=1, max_size=3), READINGS)
def test_f1_a_dispute_never_makes_an_answer_sure(
    sku: str, before: list[dict[str, str]], dispute: dict[str, str]
) -> None:
    """However the readings lie, one that disputes what is known leaves works and fails as they were, or open."""
    law = laws_of(answerer().reader)("mounting")
    seen = datetime(2026, 11, 1, tzinfo=UTC)

    def known(readings: list[dict[str, str]]) -> KnownFact:
        said = [
            Observation(
                id=f"obs_{n}",
                facts={"pin_to_bumper": one},
                kind="measured",
                by=f"p{n}",
                at=seen,
                subject="m",
                record_id="m",
            )
            for n, one in enumerate(readings)
        ]
        return fold(said, law)["pin_to_bumper"]

    def outcome(value: object) -> str:
        rig = {
            "vehicle": {"id": "veh_saltmarsh_2022"},
            "receiver": {"id": "rcv_velmora_saltmarsh"},
            "mounting": {"facts": {"height": "16-1/2 in", "pin_to_bumper": value}},
        }
        return answerer().answer({"rig": rig, "accessory": {"sku": sku}}, world()).outcome

    one, other = known(before), known([*before, dispute])
    assume(one.state == "" and other.state == "disputed")
    was, comes_to = outcome(one.value), outcome(other.value)
    assert comes_to == was or comes_to in ("undetermined", "conditional")


def test_f15b_a_measured_accessory_tells_its_effects_on_saved_rigs(shop: Client, key: Key) -> None:
    """A carrier that folds much nearer than its sheet says no longer clears on the rigs it was to go on."""
    for value in ("1/2 in", "20 in"):
        body: dict[str, Any] = {
            "subject": "accessory",
            "record": "SPK-TRUG-2",
            "facts": {"stow_setback": value},
            "by": value,
        }
        shop.post("/v1/observations", headers=key, json=body)
    body = {
        "subject": "accessory",
        "record": "SPK-TRUG-2",
        "by": "Di",
        "settles": True,
        "reason": "on the bench",
        "facts": {"stow_setback": "1/2 in"},
    }
    told = shop.post("/v1/observations", headers=key, json=body).json()["rigs"]
    assert told["judged"] > 1
    for rig in told["changed"]:
        (one,) = rig["changed"]
        answer = shop.post("/v1/answers", json={"rig": {"id": rig["rig"]}, "accessory": {"sku": one["sku"]}}).json()
        assert answer["outcome"] == one["after"] != one["before"]
    assert told["changed"]


def test_f20_what_a_change_of_a_record_would_do_is_told_before_it_is_made(shop: Client, key: Key) -> None:
    """The same rigs, counts and items that telling it as an observation names; and nothing is stored meanwhile."""
    vehicle = shop.get("/v1/vehicles/veh_saltmarsh_2022").json()
    for name, value in (("tongue_rating", "150 lb"), ("gvwr", "4500 lb")):
        state = {"label": vehicle["label"], "facts": vehicle["facts"] | {name: value}}
        would = shop.post("/v1/vehicles/veh_saltmarsh_2022/effects", json=state, headers=key).json()
        assert would["record"]["facts"][name] == value
        assert shop.get("/v1/vehicles/veh_saltmarsh_2022").json() == vehicle
        body = {"subject": "vehicle", "record": "veh_saltmarsh_2022", "facts": {name: value}}
        told = shop.post("/v1/observations", json=body | {"kind": "read"}, headers=key).json()
        assert would["rigs"] == told["rigs"]
        undone = {"subject": "vehicle", "record": "veh_saltmarsh_2022", "retracts": told["observation"]["id"]}
        shop.post("/v1/observations", json=undone | {"reason": "to try another"}, headers=key)
        vehicle = shop.get("/v1/vehicles/veh_saltmarsh_2022").json()
    assert would["rigs"]["judged"] == 1
    assert would["rigs"]["changed"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_effects_count_the_items_that_selections_count(shop: Client, key: Key) -> None:
    """Before and after a reading of each receiver, of every saved rig: an adapter or a spare of its own counts not."""
    changed, kinds = 0, set[str]()
    rigs = shop.get("/v1/rigs?limit=1000").json()["items"]

    def counted(rig: str) -> dict[str, int]:
        counts = shop.get(f"/v1/rigs/{rig}/accessories?limit=1").json()["counts"]["outcomes"]
        return {outcome: count for outcome, count in counts.items() if count}

    for receiver in shop.get("/v1/receivers?limit=1000").json()["items"]:
        before = {rig["id"]: counted(rig["id"]) for rig in rigs}
        body = {"subject": "receiver", "record": receiver["id"], "facts": {"tongue_rating": "10 lb"}, "kind": "read"}
        told = shop.post("/v1/observations", json=body, headers=key).json()["rigs"]
        after = {rig["id"]: counted(rig["id"]) for rig in rigs}
        for one in told["changed"]:
            assert (one["before"], one["after"]) == (before[one["rig"]], after[one["rig"]]), one["rig"]
            kinds |= {part for rig in rigs if rig["id"] == one["rig"] for part in rig["rig"]}
            changed += 1
        unlike = {rig for rig in before if before[rig] != after[rig]}
        assert unlike <= {one["rig"] for one in told["changed"]}
    assert changed > 5
    assert {"adapters", "spare"} <= kinds


def test_f20_a_file_tells_the_rigs_that_it_changes(
    shop: Client, key: Key, database: Database, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a dry run too, which leaves all as it was."""
    file = tmp_path / "read.csv"
    file.write_text("subject,record,kind,tongue_rating\nvehicle,veh_saltmarsh_2022,read,150 lb\n")
    before = shop.get("/v1/vehicles/veh_saltmarsh_2022").json()
    args = ["load", str(file), "--effects", "--database", database.url, "--index", str(tmp_path)]
    assert main([*args, "--dry-run"]) == 0
    dry = capsys.readouterr().out
    assert "1 of 6 saved rigs answer otherwise" in dry
    assert shop.get("/v1/vehicles/veh_saltmarsh_2022").json() == before
    assert main(args) == 0
    assert capsys.readouterr().out.splitlines()[1:] == dry.splitlines()[1:]
    assert shop.get("/v1/vehicles/veh_saltmarsh_2022").json() != before


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f20_a_file_tells_what_its_accessories_change(
    shop: Client, database: Database, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A feed's other figure and a reading on the bench alike, on the rigs that answer otherwise about the item."""
    sku, rig = "SPK-TRUG-2", "rig_school_run"
    question = {"rig": {"id": rig}, "accessory": {"sku": sku}}
    before = shop.post("/v1/answers", json=question).json()["outcome"]
    file = tmp_path / "bench.jsonl"
    told = {"subject": "accessory", "record": sku, "kind": "read", "by": "Ann", "facts": {"shank": "1-1/4 in"}}
    file.write_text(json.dumps(told))
    assert main(["load", str(file), "--effects", "--database", database.url, "--index", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    after = shop.post("/v1/answers", json=question).json()["outcome"]
    assert before != after == "fails"
    assert f"{sku} {before} → {after}" in out.replace("\n    ", " ")
    assert rig in out


def test_f2_a_request_that_is_sent_again_is_told_once(client: Client, key: Key, mounting: str) -> None:
    """The same key gives the same reply and stores nothing; with another body it is refused."""
    sent = key | {"Idempotency-Key": "visit-7-reading-3"}
    body = {"subject": "mounting", "record": mounting, "facts": {"height": "17 in"}, "by": "Ann"}
    first = client.post("/v1/observations", json=body, headers=sent)
    tell(client, key, mounting, facts={"height": "17-1/16 in"}, by="Bo")
    again = client.post("/v1/observations", json=body, headers=sent)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again.headers["location"] == first.headers["location"]
    other = client.post("/v1/observations", json=body | {"by": "Cy"}, headers=sent)
    assert "another request before" in problem(other, 422)["detail"]
    log = client.get(f"/v1/observations?subject=mounting&record={mounting}").json()["items"]
    assert [one["by"] for one in log[1:]] == ["Ann", "Bo"]


def test_f4_another_part_under_what_was_seen_is_refused(shop: Client, key: Key) -> None:
    """With what was measured or a saved rig on it a mounting keeps its vehicle and receiver; nothing is changed."""
    mounting = shop.get("/v1/mountings/mnt_saltmarsh_own").json()
    other = {"vehicle": "veh_saltmarsh_2022", "receiver": "rcv_brannoch_oxter", "facts": mounting["facts"]}
    change = key | {"If-Match": "*"}
    response = shop.put("/v1/mountings/mnt_saltmarsh_own", json=other, headers=change)
    assert "another part under it is another mounting" in problem(response, 409)["detail"]
    assert shop.get("/v1/mountings/mnt_saltmarsh_own").json() == mounting
    new = {"id": "mnt_new", "vehicle": "veh_saltmarsh_2022", "receiver": "rcv_velmora_saltmarsh"}
    shop.post("/v1/mountings", json=new, headers=key)
    assert shop.put("/v1/mountings/mnt_new", json=other | {"facts": {}}, headers=change).status_code == 200
    tell(shop, key, "mnt_new", facts={"pin_to_bumper": "4 in"})
    back = {"vehicle": "veh_saltmarsh_2022", "receiver": "rcv_velmora_saltmarsh"}
    assert "`pin_to_bumper`" in problem(shop.put("/v1/mountings/mnt_new", json=back, headers=change), 409)["detail"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f4_a_rig_that_an_edit_broke_is_set_aside_and_told(
    shop: Client, key: Key, database: Database, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a store from before may hold one: an audit goes on with the others, and no page stops at it."""
    with database.session() as session:
        mounting = session.get(Mounting, "mnt_saltmarsh_own")
        assert mounting is not None
        mounting.receiver_id = "rcv_brannoch_oxter"
    header, first, *_ = (SEED / "accessories.csv").read_text("utf-8").splitlines()
    (tmp_path / "items.csv").write_text(f"{header}\n{first}\n", "utf-8")
    args = ["audit", str(tmp_path / "items.csv"), "-o", str(tmp_path / "out"), "--database", database.url]
    assert main(args) == 0
    told = capsys.readouterr().err
    assert "set aside: rig `rig_school_run`: mounting `mnt_saltmarsh_own` belongs to receiver" in told.replace(
        "\n", " "
    )
    found = json.loads((tmp_path / "out" / "summary.json").read_text("utf-8"))
    assert found["rigs"] == 5
    (why,) = found["rigs_set_aside"]
    assert why.startswith("rig `rig_school_run`: mounting `mnt_saltmarsh_own` belongs to receiver")
    assert why in unescape((tmp_path / "out" / "summary.html").read_text("utf-8"))
    assert shop.get("/records/rig/rig_school_run").status_code == 200
    told_of = {"subject": "vehicle", "record": "veh_saltmarsh_2022", "facts": {"rear_overhang": "50 in"}}
    assert shop.post("/v1/observations", json=told_of, headers=key).json()["rigs"]["judged"] == 0


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f3_a_put_takes_only_what_its_source_published(client: Client, key: Key, mounting: str) -> None:
    """The reading stands against another published figure, and where none is given."""
    tell(client, key, mounting, facts={"pin_to_bumper": "4-1/8 in", "height": "17 in"}, by="Ann")
    for published in ({"pin_to_bumper": "3 in"}, {}):
        body = {"vehicle": "veh_1", "receiver": "rcv_1", "facts": published}
        response = client.put(f"/v1/mountings/{mounting}", json=body, headers=key | {"If-Match": "*"})
        assert response.status_code == 200
        facts = response.json()["facts"]
        assert (facts["pin_to_bumper"]["value"], facts["height"]["value"]) == ("4-1/8 in", "17 in")
        assert {how["kind"] for how in response.json()["provenance"].values()} == {"measured"}


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f19_inches_come_back_as_inches(client: Client, key: Key, mounting: str) -> None:
    """What several readings leave is told in the fractions of a tape: in the record, on the sheet and its page."""
    tell(client, key, mounting, facts={"pin_to_bumper": "4 in ± 1/4 in"}, by="Ann")
    tell(client, key, mounting, facts={"pin_to_bumper": "4-1/4 in ± 1/4 in"}, by="Bo")
    shown = client.get(f"/v1/mountings/{mounting}").json()["facts"]["pin_to_bumper"]
    assert shown == {"at_least": "4 in", "at_most": "4-1/4 in"}
    (fact,) = (one for one in client.get(f"/v1/mountings/{mounting}/sheet").json()["facts"] if one["state"] == "")
    assert fact["value"] == "at least 4 in, at most 4-1/4 in"
    assert "mm" not in [one["said"].split()[-1] for one in fact["statements"]]
    assert "at least 4 in, at most 4-1/4 in" in unescape(client.get(f"/records/mounting/{mounting}").text)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f23_a_label_that_was_read_says_so(client: Client, key: Key, mounting: str) -> None:
    """Neither measured nor published: read off the part, by whom; it is exact, and counts as what was seen."""
    body = {"subject": "receiver", "record": "rcv_1", "kind": "read", "by": "Bo", "facts": {"tongue_rating": "450 lb"}}
    record = client.post("/v1/observations", json=body, headers=key).json()["record"]
    assert (record["facts"]["tongue_rating"], record["provenance"]["tongue_rating"]["kind"]) == ("450 lb", "read")
    assert "Read off the part by Bo" in client.get("/records/receiver/rcv_1").text


def test_f25_a_record_made_again_has_none_of_the_old_ones_readings(client: Client, key: Key, mounting: str) -> None:
    """Its sheet and what it exports are of the new one alone; the log keeps both."""
    tell(client, key, mounting, facts={"height": "17 in"}, by="Ann")
    client.delete(f"/v1/mountings/{mounting}", headers=key | {"If-Match": "*"})
    again = {"id": mounting, "vehicle": "veh_1", "receiver": "rcv_1", "facts": {"pin_to_bumper": "5 in"}}
    assert client.post("/v1/mountings", json=again, headers=key).status_code == 201
    sheet = client.get(f"/v1/mountings/{mounting}/sheet").json()
    assert [(one["fact"], one["value"], len(one["statements"])) for one in sheet["facts"]] == [
        ("pin_to_bumper", "5 in", 1)
    ]
    log = client.get(f"/v1/observations?subject=mounting&record={mounting}").json()["items"]
    assert [one["act"] for one in log] == ["", "", "deletes", ""]


def test_f21_settled_statements_are_named_no_more(client: Client, key: Key, mounting: str) -> None:
    """After it was settled, a reading that disputes again is held against what stands, not against what was settled."""
    for value, by in (("10 in", "Ann"), ("14 in", "Bo")):
        tell(client, key, mounting, facts={"pin_to_bumper": value}, by=by)
    settled = tell(client, key, mounting, facts={"pin_to_bumper": "4 in"}, by="Cy", settles=True, reason="both looked")
    assert settled["observation"]["act"] == "settles"
    told = tell(client, key, mounting, facts={"pin_to_bumper": "7 in"}, by="Di")
    (found,) = told["contradictions"]
    assert sorted(one["by"] for one in found["said"] if one["kind"] == "measured") == ["Cy", "Di"]
    sheet = client.get(f"/v1/mountings/{mounting}/sheet").json()
    (pin,) = (one for one in sheet["facts"] if one["fact"] == "pin_to_bumper")
    assert [one["by"] for one in pin["statements"] if one.get("why") == "settles: both looked"] == ["Ann", "Bo"]
