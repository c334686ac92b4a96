"""One truck over its configuration: a saved rig that things are told of, over what its records say."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.audits.rigs import stored_rigs
from fitsvc.cli.app import main
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import observe
from fitsvc.observing.refolding import refold
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance, all_observations

Client = TestClient[Litestar]
Key = dict[str, str]
DAY = "2026-11-0{}T09:00:00Z"


@pytest.fixture
def truck(client: Client, key: Key) -> Client:
    """Store a configuration of a truck with its receiver fitted, and two trucks of it as saved rigs."""
    vehicle: Any = {"id": "veh_1", "facts": {"tyre": "245/75R16", "rear_overhang": "49 in"}}
    receiver = {"id": "rcv_1", "facts": {"opening": "2 in", "tongue_rating": "450 lb"}}
    mounting = {"id": "mnt_1", "vehicle": "veh_1", "receiver": "rcv_1"}
    shaft = {"sku": "FOLD-1", "subject": "accessory", "facts": {"kind": "bike_carrier"}}
    bodies: dict[str, Any] = {"vehicles": vehicle, "receivers": receiver, "mountings": mounting, "accessories": shaft}
    for path, body in bodies.items():
        assert client.post(f"/v1/{path}", json=body, headers=key).status_code == 201
    for name in ("steel", "plain"):
        rig = {"id": f"rig_{name}", "name": name, "rig": {"mounting": {"id": "mnt_1"}}}
        assert client.post("/v1/rigs", json=rig, headers=key).status_code == 201
    seen = {"pin_to_bumper": "4 in", "height": "17 in"}
    tell(client, key, "mounting", "mnt_1", seen, by="Ann", at=DAY.format(1))
    return client


def tell(client: Client, key: Key, subject: str, record: str, facts: Any = None, **more: Any) -> dict[str, Any]:
    """Tell something, and return the reply."""
    body = {"subject": subject, "record": record, **more} | ({"facts": facts} if facts else {})
    response = client.post("/v1/observations", json=body, headers=key)
    assert response.status_code == 201, response.text
    told: dict[str, Any] = response.json()
    return told


def told_of(client: Client, rig: str) -> dict[str, tuple[str, str]]:
    """What an answer about a rig tells as disputed, doubtful or stale: by fact the state and the sentence."""
    answer = client.post("/v1/answers", json={"rig": {"id": rig}, "accessory": {"sku": "FOLD-1"}}).json()
    return {one["fact"]: (one["state"], one["because"]) for one in answer.get("disputed", ())}


def test_f24_a_steel_bumper_is_told_of_one_truck_alone(truck: Client, key: Key, database: Database) -> None:
    """What leans on the bumper is not known of this truck until it is measured on it; the other's stays."""
    reply = tell(truck, key, "rig", "rig_steel", {"vehicle.rear_overhang": "53 in"}, by="Bo", at=DAY.format(2))
    assert reply["rigs"]["judged"] == 1
    assert reply["record"]["facts"]["vehicle.rear_overhang"]["value"] == "53 in"
    stale = told_of(truck, "rig_steel")
    assert {name: state for name, (state, _) in stale.items()} == {"mounting.pin_to_bumper": "stale"}
    assert stale["mounting.pin_to_bumper"][1].startswith(
        "The distance from pin hole to bumper was seen before the rear overhang changed"
    )
    assert told_of(truck, "rig_plain") == {}
    with database.session() as session:
        known = {one.key: one.case.facts for one in stored_rigs(session, answerer().reader)}
    assert "mounting.pin_to_bumper" not in known["rig_steel"]
    assert "mounting.pin_to_bumper" in known["rig_plain"]
    tell(truck, key, "rig", "rig_steel", {"mounting.pin_to_bumper": "8 in"}, by="Bo", at=DAY.format(2))
    assert told_of(truck, "rig_steel") == {}
    # The log of the configuration has none of it.
    assert truck.get("/v1/mountings/mnt_1").json()["facts"]["pin_to_bumper"]["value"] == "4 in"
    early = truck.post(
        "/v1/answers?as_of=2026-01-01T00:00:00Z", json={"rig": {"id": "rig_steel"}, "accessory": {"facts": {}}}
    )
    assert early.status_code == 409


def test_f24_two_who_disagree_of_one_truck_are_disputed_and_settled(truck: Client, key: Key) -> None:
    """As of any record: a dispute is told by answers and sheet, one statement is taken back, and it is settled."""
    fact = "mounting.pin_to_bumper"
    tell(truck, key, "rig", "rig_steel", {fact: "8 in"}, by="Bo", at=DAY.format(2))
    other = tell(truck, key, "rig", "rig_steel", {fact: "5 in"}, by="Cy", at=DAY.format(3))
    assert [one["fact"] for one in other["contradictions"]] == [fact]
    assert told_of(truck, "rig_steel")[fact] == (
        "disputed",
        (
            "The distance from pin hole to bumper is disputed: 8 in on 2 November 2026 by Bo, "
            "5 in on 3 November 2026 by Cy; measure again."
        ),
    )
    sheet = truck.get("/v1/rigs/rig_steel/sheet").json()
    (row,) = sheet["facts"]
    assert (row["fact"], row["state"], len(row["statements"])) == (fact, "disputed", 2)
    page = truck.get("/records/rig/rig_steel").text
    assert "/measure" not in page.partition("<main")[2]
    assert "disputed: measure again, and settle it" in page
    assert "Cy" in page
    tell(truck, key, "rig", "rig_steel", retracts=other["observation"]["id"], reason="wrong truck", by="Cy")
    assert told_of(truck, "rig_steel") == {}
    tell(truck, key, "rig", "rig_steel", {fact: "5 in"}, by="Di", at=DAY.format(4), settles=True, reason="both looked")
    assert truck.get("/v1/rigs/rig_steel").json()["facts"][fact]["value"] == "5 in"


def test_an_answer_tells_what_it_rests_on(truck: Client, key: Key) -> None:
    """Each fact of its findings with how it is known, by whom and when: of the truck, its records, or the question."""
    for by, value in (("Bo", "8 in"), ("Cy", "5 in")):
        facts = {"mounting.pin_to_bumper": value}
        last = tell(truck, key, "rig", "rig_steel", facts, by=by, at=DAY.format(2), note=by)["observation"]["id"]
    question = {"rig": {"id": "rig_steel"}, "accessory": {"facts": {"kind": "bike_carrier", "stow_setback": "6 in"}}}
    reply = truck.post("/v1/answers?include=outcome,rests_on", json=question).json()
    assert set(reply) == {"outcome", "rests_on"}
    known = {one["fact"]: one for one in reply["rests_on"]}
    pin = known["mounting.pin_to_bumper"]
    assert (pin["record"], pin["kind"], pin["state"], pin["by"]) == ("rig_steel", "measured", "disputed", "Cy")
    assert (pin["observation"], pin["at"][:10]) == (last, "2026-11-02")
    assert (known["receiver.opening"]["record"], known["receiver.opening"]["kind"]) == ("rcv_1", "published")
    assert known["accessory.stow_setback"] == {"fact": "accessory.stow_setback", "told": "6 in"}
    early = truck.post("/v1/answers?include=rests_on&as_of=2026-01-01T00:00:00Z", json={**question, "rig": {}}).json()
    assert {one.get("record", "") for one in early["rests_on"]} == {""}


def test_f24_what_is_told_of_one_truck_lifts_no_rating(truck: Client, key: Key) -> None:
    """A label read as 600 lb on one truck, 450 lb by its record: nothing above 450 lb passes, and both are told."""
    rated = "receiver.tongue_rating"
    tell(truck, key, "rig", "rig_steel", {rated: "600 lb"}, kind="read", by="Bo", at=DAY.format(2))
    state, because = told_of(truck, "rig_steel")[rated]
    assert state == "disputed"
    assert "450 lb by its record" in because
    assert truck.get("/v1/rigs/rig_steel").json()["facts"][rated] == {"at_least": "450 lb", "at_most": "600 lb"}


def test_f24_a_trucks_own_reading_is_stale_when_its_record_changes(truck: Client, key: Key, database: Database) -> None:
    """Its height was measured on the tyres of its configuration; a fold of everything anew leaves it so."""
    tell(truck, key, "rig", "rig_steel", {"mounting.height": "21 in"}, by="Bo", at=DAY.format(2))
    other = {"settles": True, "reason": "it has others", "by": "Bo", "at": DAY.format(3)}
    tell(truck, key, "vehicle", "veh_1", {"tyre": "285/75R17"}, **other)
    assert told_of(truck, "rig_steel")["mounting.height"][0] == "stale"
    assert refold(database, laws_of(answerer().reader)) == 0


def test_f24_other_parts_are_another_truck_and_a_deleted_one_leaves_nothing(truck: Client, key: Key) -> None:
    """As with a mounting that was measured; a rig made again under its id starts with nothing."""
    tell(truck, key, "rig", "rig_steel", {"vehicle.rear_overhang": "53 in"}, by="Bo")
    tag = {"If-Match": truck.get("/v1/rigs/rig_steel").headers["ETag"]}
    body = {"name": "steel", "rig": {"vehicle": {"id": "veh_1"}}}
    refused = truck.put("/v1/rigs/rig_steel", json=body, headers=key | tag)
    assert refused.status_code == 409
    assert "with others it is another rig" in refused.json()["detail"]
    assert truck.delete("/v1/rigs/rig_steel", headers=key | tag).status_code == 204
    body = {"id": "rig_steel", "name": "again", "rig": {"mounting": {"id": "mnt_1"}}}
    assert truck.post("/v1/rigs", json=body, headers=key).json()["facts"] == {}
    assert told_of(truck, "rig_steel") == {}
    assert truck.get("/v1/rigs/rig_steel/sheet").json()["facts"] == []


def test_f24_what_is_told_of_a_truck_and_its_records_at_once_is_all_kept(
    truck: Client, key: Key, database: Database
) -> None:
    """Three tell at the same time of the truck, its vehicle and its mounting: nothing is lost, and all is folded."""
    reader = answerer().reader

    def told(subject: str, record: str, by: str, facts: list[dict[str, str]]) -> None:
        for number, one in enumerate(facts):
            with database.session() as session:
                body = {"subject": subject, "record": record, "facts": one}
                observe(session, reader, body, Provenance(kind="measured", by=by, note=str(number)), rigs=False)

    tyres = [{"tyre": ("285/75R17", "245/75R16")[n % 2]} for n in range(8)]
    heights = [{"mounting.height": f"{n + 15} in"} for n in range(8)]
    pins = [{"pin_to_bumper": f"{n + 3} in"} for n in range(8)]
    work = (("vehicle", "veh_1", "Ann", tyres), ("rig", "rig_steel", "Bo", heights), ("mounting", "mnt_1", "Cy", pins))
    with ThreadPoolExecutor(3) as pool:
        for one in [pool.submit(told, *each) for each in work]:
            one.result()
    with database.session() as session:
        for subject, record, told_before in (
            ("vehicle", "veh_1", 1),
            ("rig", "rig_steel", 0),
            ("mounting", "mnt_1", 1),
        ):
            said = [one for one in all_observations(session, subject, record) if one.facts]  # type: ignore[arg-type]  # a subject's name out of a list
            assert len(said) == told_before + 8
    assert refold(database, laws_of(reader)) == 0


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        ({"facts": {"rear_overhang": "53 in"}}, 400, "did you mean `vehicle.rear_overhang`"),
        ({"facts": {"vehicle.rear_overhang": "53 lb"}}, 400, "/facts/vehicle.rear_overhang"),
        ({"facts": {"vehicle.rear_overhang": "53 in"}, "kind": "assumed"}, 422, "a guess is typed into a question"),
        ({"evidence": {"tyre": "245/75R16", "stowed": True}}, 422, "a rig has no evidence of a spare"),
    ],
)
def test_f24_what_cannot_be_told_of_one_truck_says_why(
    truck: Client, key: Key, body: dict[str, Any], status: int, words: str
) -> None:
    """Whole names, as a fact may be of the vehicle, the receiver or the mounting."""
    response = truck.post("/v1/observations", json={"subject": "rig", "record": "rig_steel", **body}, headers=key)
    assert response.status_code == status, response.text
    assert words in response.text


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_f24_one_truck_from_the_shell(
    truck: Client, key: Key, database_url: str, capsys: pytest.CaptureFixture[str], tmp_path: Any
) -> None:
    """Told, shown, and written out so that it loads elsewhere to the same."""
    at = ("--database", database_url)
    assert main(["observe", "rig_steel", "mounting.pin_to_bumper=8 in", "--by", "Bo", *at]) == 0
    capsys.readouterr()
    assert main(["show", "rig_steel", *at]) == 0
    assert "distance from pin hole to bumper: 8 in ± 1/8 in" in capsys.readouterr().out
    assert main(["export", *at]) == 0
    (tmp_path / "all.jsonl").write_text(capsys.readouterr().out)
    other = f"sqlite:///{tmp_path}/other.db"
    assert main(["db", "upgrade", "--database", other]) == 0
    assert main(["load", str(tmp_path / "all.jsonl"), "--database", other]) == 0
    capsys.readouterr()
    assert main(["show", "rig_steel", "--database", other]) == 0
    assert "distance from pin hole to bumper: 8 in ± 1/8 in" in capsys.readouterr().out


def test_a_makers_no_is_not_lifted_by_what_is_told_of_one_truck(client: Client, key: Key) -> None:
    """Told as allowed of the one rig, over a record that says no, it is disputed there, and no yes."""
    facts = {"opening": "2 in", "weight_distribution_allowed": False}
    for path, body in (
        ("vehicles", {"id": "veh_1", "facts": {}}),
        ("receivers", {"id": "rcv_1", "facts": facts}),
        ("rigs", {"id": "rig_one", "name": "one", "rig": {"vehicle": {"id": "veh_1"}, "receiver": {"id": "rcv_1"}}}),
    ):
        assert client.post(f"/v1/{path}", json=body, headers=key).status_code == 201
    tell(client, key, "rig", "rig_one", {"receiver.weight_distribution_allowed": True}, by="Bo", at=DAY.format(2))
    head = {"facts": {"kind": "weight_distribution_head"}}
    trailer = {"facts": {"gross_weight": "4000 lb", "weight_distribution": True}}
    question = {"rig": {"id": "rig_one"}, "accessory": head, "trailer": trailer}
    answer = client.post("/v1/answers", json=question).json()
    results = {one["rule"]: one["result"] for one in answer["findings"]}
    assert results["weight-distribution-allowed"] in ("undetermined", "fails")
    told = {one["fact"]: one["state"] for one in answer["disputed"]}
    assert told["receiver.weight_distribution_allowed"] == "disputed"
