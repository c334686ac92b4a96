"""The sheet of a record, and what stands of it as rows that load elsewhere to the same facts."""

import json
from collections.abc import Iterator
from contextlib import redirect_stdout, suppress
from datetime import UTC, datetime, timedelta
from io import StringIO
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from effort import TIMED, tries
from hypothesis import HealthCheck, example, given
from hypothesis import strategies as st
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem
from sqlmodel import Session

from fitsvc.cli.app import main
from fitsvc.cli.show import _print_csv
from fitsvc.facts import FactReader
from fitsvc.loading.load import load_file
from fitsvc.observing.recording import observe
from fitsvc.observing.sheet import standing_rows
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import InvalidValue
from fitsvc.store.observations import Provenance, all_observations
from fitsvc.store.records import Draft, get_record
from fitsvc.store.taking_back import NO_REQUEST, Request

Client = TestClient[Litestar]
Key = dict[str, str]


@pytest.fixture
def mounting(client: Client, key: Key) -> str:
    """Store a mounting with two published facts."""
    for path, body in (("vehicles", {"id": "veh_1"}), ("receivers", {"id": "rcv_1"})):
        client.post(f"/v1/{path}", json=body, headers=key)
    known = {"height": "17 in", "pin_to_bumper": "4 in"}
    ours: dict[str, Any] = {"id": "mnt_1", "label": "ours", "vehicle": "veh_1", "receiver": "rcv_1", "facts": known}
    client.post("/v1/mountings", json=ours, headers=key)
    return "mnt_1"


def tell(client: Client, key: Key, **members: Any) -> Any:
    """Tell something of the mounting."""
    body = {"subject": "mounting", "record": "mnt_1"} | members
    response = client.post("/v1/observations", json=body, headers=key)
    assert response.status_code == 201, response.text
    return response.json()


def test_f13_the_sheet_tells_every_word_and_what_counts(client: Client, key: Key, mounting: str) -> None:
    """By whom, with what, in what condition; what is outranked and what was taken back, and why."""
    ours = tell(client, key, facts={"pin_to_bumper": "4-1/8 in"}, by="Ann", tool="tape", condition="empty, level")
    slip = tell(client, key, facts={"pin_to_bumper": "14 in"}, by="Bo")
    tell(client, key, retracts=slip["observation"]["id"], reason="the wrong truck")
    tell(client, key, evidence={"tyre": "245/75R16", "stowed": True}, by="Ann")
    sheet = client.get("/v1/mountings/mnt_1/sheet").json()
    facts = {one["fact"]: one for one in sheet["facts"]}
    pin = facts["pin_to_bumper"]
    assert (pin["value"], pin["state"], pin["kind"]) == ("4-1/8 in ± 1/8 in", "", "measured")
    assert [(one["said"], one.get("counts", False), one.get("why", "")) for one in pin["statements"]] == [
        ("4 in", False, ""),
        ("4-1/8 in", True, ""),
        ("14 in", False, "retracts: the wrong truck"),
    ]
    assert (pin["statements"][1]["tool"], pin["statements"][1]["condition"]) == ("tape", "empty, level")
    assert facts["spare_fits_up_to"]["value"] == "773.9 mm"
    (tried,) = sheet["tries"]
    assert (tried["evidence"]["tyre"], tried["taken_back"]) == ("245/75R16", False)
    assert "spare_room_taken" in sheet["unknown"]
    assert ours["observation"]["tool"] == "tape"


def test_what_was_known_at_an_earlier_time_can_be_asked_for(client: Client, key: Key, mounting: str) -> None:
    """After each statement the sheet as of then is the sheet that was given then."""
    given = []
    for facts in ({"height": "18 in"}, {"height": "19 in"}, {"height": None}, {"pin_to_bumper": "5 in"}):
        told = tell(client, key, facts=facts, by="Ann")["observation"]["recorded_at"]
        given.append((told, client.get("/v1/mountings/mnt_1/sheet").json()))
    for at, sheet in given:
        assert client.get("/v1/mountings/mnt_1/sheet", params={"as_of": at}).json() == sheet
    assert client.get("/v1/mountings/mnt_1/sheet?as_of=2000-01-01T00:00:00Z").json()["facts"] == []


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_still_holds_is_taken_over_to_another_mounting(
    client: Client, key: Key, mounting: str, database_url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who saw it, when and how goes along; nothing that is not named does, and nothing that nobody saw."""
    tell(client, key, facts={"height": "18 in", "pin_to_bumper": "5 in"}, by="Ann", at="2026-05-01T00:00:00Z")
    client.post("/v1/mountings", json={"id": "mnt_2", "vehicle": "veh_1", "receiver": "rcv_1"}, headers=key)
    at = ("--database", database_url)
    assert main(["observe", "mnt_2", "height", "--from", "mnt_1", *at]) == 0
    (fact,) = client.get("/v1/mountings/mnt_2/sheet").json()["facts"]
    (said,) = fact["statements"]
    assert (fact["fact"], fact["value"], said["by"], said["at"][:10], said["note"]) == (
        "height",
        "18 in ± 1/8 in",
        "Ann",
        "2026-05-01",
        "taken over from mnt_1",
    )
    assert main(["observe", "mnt_2", "fascia_trim", "--from", "mnt_1", *at]) == 2
    assert "nobody saw fascia_trim of mnt_1" in capsys.readouterr().err


def test_a_sheet_that_cannot_be_given_says_why(client: Client, key: Key, mounting: str) -> None:
    """An unknown record, and a time that is none."""
    problem(client.get("/v1/mountings/mnt_none/sheet"), 404)
    problem(client.get("/v1/mountings/mnt_1/sheet?as_of=yesterday"), 400)


def test_what_is_yet_to_come_is_known_of_nothing(client: Client, mounting: str) -> None:
    """By a sheet and by an answer; a day that has begun somewhere has."""
    question = {"rig": {}, "accessory": {"facts": {"shank": "2 in"}}}
    assert client.post("/v1/answers", json=question).status_code == 200
    for reply in (
        client.post("/v1/answers?as_of=2099-01-01", json=question),
        client.get("/v1/mountings/mnt_1/sheet?as_of=2099-01-01T00:00:00Z"),
    ):
        (told,) = problem(reply, 422)["errors"]
        assert (told["parameter"], told["code"]) == ("as_of", "implausible") and "yet to come" in told["detail"]
    soon = (datetime.now(UTC) + timedelta(hours=13)).isoformat().replace("+", "%2B")
    assert client.post(f"/v1/answers?as_of={soon}", json=question).status_code == 200


def test_what_stands_loads_elsewhere_to_the_same_facts(
    client: Client, key: Key, mounting: str, database: Database, rulebook: Rulebook, tmp_path: Path
) -> None:
    """Disputes, tolerances, kinds and what was tried go along; what was taken back does not."""
    tell(client, key, facts={"pin_to_bumper": "14 in"}, by="Ann")
    tell(client, key, facts={"pin_to_bumper": "5 in"}, by="Bo")
    tell(client, key, facts={"height": "17-1/8 in", "drilling": True})
    slip = tell(client, key, evidence={"tyre": "285/75R17", "stowed": True})
    tell(client, key, retracts=slip["observation"]["id"], reason="a slip")
    tell(client, key, evidence={"tyre": "245/75R16", "stowed": True})
    reader = FactReader(rulebook)
    with database.session() as session:
        rows = standing_rows(session, reader, "mounting", "mnt_1")
    rows = [{**row, "record": "mnt_2"} for row in rows]
    other = {"subject": "mounting", "id": "mnt_2", "vehicle": "veh_1", "receiver": "rcv_1"}
    path = tmp_path / "out.jsonl"
    path.write_text("".join(json.dumps(row) + "\n" for row in [*rows, other]), encoding="utf-8")
    load_file(database, reader, path)
    with database.session() as session:
        one, two = (get_record(session, "mounting", name) for name in ("mnt_1", "mnt_2"))
        assert one.facts == two.facts
        states = [{name: how.get("state") for name, how in each.provenance.items()} for each in (one, two)]
        assert states[0] == states[1]
        assert states[0]["pin_to_bumper"] == "disputed"
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    assert load_file(database, reader, path).repeated == len(rows)


FACTS = {
    "pin_to_bumper": ("4 in", "4-1/8 in ± 1/8 in", "exactly 14 in", "at least 5 in"),
    "height": ("17 in", "17-1/4 in ± 1/4 in", "20 in"),
    "fascia_trim": ("none", ["none", "hidden"], "visible"),
    "drilling": (True, False),
}
TRIES = (
    {"tyre": "245/75R16", "stowed": True},
    {"tyre": "265/70R17", "stowed": False, "rubbed": False},
    {"sku": "RACK", "state": "folded", "result": "clear"},
    {"sku": "RACK", "state": "folded", "result": "touched"},
)
OVERHANGS = ({"rear_overhang": "44 in"}, {"rear_overhang": "40 in"})
_NUMBERS = count()
"""Of mountings: each history has one of its own."""
Step = tuple[str, Any]
WHO = st.tuples(st.sampled_from(["Ann", "Bo", ""]), st.integers(1, 5))
TOLD = st.sampled_from([(name, value) for name, values in FACTS.items() for value in (*values, None)])
KINDS = st.sampled_from(["measured", "read", "published", "assumed"])
STEPS = st.one_of(
    st.tuples(st.just("tells"), st.tuples(TOLD, TOLD, KINDS, WHO)),
    st.tuples(st.just("tries"), st.tuples(st.sampled_from(TRIES), TOLD, WHO)),
    st.tuples(st.sampled_from(["retracts", "corrects"]), st.tuples(st.integers(0, 9), TOLD)),
    st.tuples(st.just("changes"), st.sampled_from([{"tyre": "285/75R17"}, {"tyre": "245/75R16"}, *OVERHANGS])),
)
TAKING_BACK: Step = ("tries", (TRIES[2], ("fascia_trim", None), ("Ann", 1)))
"""A null is always told anew, so that the very same trial may be told twice: before the bumper changed, and since."""


@tries(15, suppress_health_check=[*TIMED, HealthCheck.function_scoped_fixture])
@given(st.lists(STEPS, min_size=2, max_size=9), st.booleans())
@example([("tries", (TRIES[3], ("drilling", True), ("Ann", 1))), ("changes", OVERHANGS[0])], False)
@example([TAKING_BACK, ("changes", OVERHANGS[0]), TAKING_BACK], False)
@example([TAKING_BACK, TAKING_BACK], True)
def test_whatever_was_said_is_exported_and_loads_elsewhere_to_the_same(
    yard: Database, tmp_path: Path, steps: list[Step], as_csv: bool
) -> None:
    """Of any history: the same facts, known so and from such kinds, disputed and stale alike, the same things tried.

    What is stale has what it leant on beside it, so that it is no ground for anybody elsewhere either.
    """
    reader = answerer().reader
    with yard.session() as session:
        number = next(_NUMBERS)
        vehicle = create_record(
            session, "vehicle", Draft(key=f"veh_{number}", facts={"tyre": "245/75R16", **OVERHANGS[1]})
        ).key
        here, there = (f"mnt_{number}_{place}" for place in ("here", "there"))
        for key in (here, there):
            create_record(session, "mounting", Draft(key=key, vehicle_id=vehicle, receiver_id="rcv_1"))
        for step in steps:
            happens(session, here, vehicle, step)
        rows = [row | {"record": there} for row in standing_rows(session, reader, "mounting", here)]
    if rows:
        file = tmp_path / ("out.csv" if as_csv else "out.jsonl")
        file.write_text(csv_of(rows) if as_csv else "".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
        load_file(yard, reader, file)
    with yard.session() as session:
        one, two = (get_record(session, "mounting", key) for key in (here, there))
        assert spans(two.facts) == spans(one.facts)
        assert known_so(two.provenance) == known_so(one.provenance)


def happens(session: Session, key: str, vehicle: str, step: Step) -> None:
    """What a step of a history tells of a mounting, or of the vehicle that it is on; what cannot be is left out."""
    reader, (what, how) = answerer().reader, step
    about: dict[str, Any] = {"subject": "mounting", "record": key}
    if what == "changes":
        about = {"subject": "vehicle", "record": vehicle, "facts": how}
        observe(session, reader, about, Provenance(kind="read", by="Ann"), rigs=False)
        return
    request, told = NO_REQUEST, Provenance(kind="measured", by="Cy")
    if what in ("retracts", "corrects"):
        said = all_observations(session, "mounting", key)
        target = said[how[0] % len(said)].id
        request = Request(what, target, "a slip")  # type: ignore[arg-type]  # the type allows none; a slip of whoever writes code
        about["facts"] = {how[1][0]: how[1][1]} if what == "corrects" else {}
    else:
        by, day = how[-1]
        told = Provenance(kind=how[2] if what == "tells" else "measured", by=by, at=datetime(2026, 5, day, tzinfo=UTC))
        about["facts"] = dict(how[:2] if what == "tells" else [how[1]])
        about |= {"evidence": how[0]} if what == "tries" else {}
    with suppress(InvalidValue):
        observe(session, reader, about, told, request, rigs=False)


def csv_of(rows: list[dict[str, Any]]) -> str:
    """Rows as the shell writes them."""
    text = StringIO()
    with redirect_stdout(text):
        _print_csv(iter(dict(row) for row in rows))
    return text.getvalue()


def spans(facts: dict[str, Any]) -> dict[str, Any]:
    """Facts as they are read: a spelling may differ, what it says may not."""
    values: dict[str, Any] = {}
    answerer().reader.read("mounting", facts, "", [], values, {})
    return values


def known_so(provenance: dict[str, Any]) -> dict[str, Any]:
    """How each fact is known that is known: the kind, whether that is in doubt, and what was tried.

    What was told twice word for word is told once elsewhere, and known no less.
    """
    found = {}
    for name, how in provenance.items():
        things = [*dict.fromkeys((one["sku"], one["result"], one["by"], one["at"]) for one in how.get("things", ()))]
        found[name] = [*(how.get(part) for part in ("kind", "state", "changed", "tried", "rubbed")), things]
    return found


@pytest.fixture
def yard(url: str) -> Iterator[Database]:
    """Give a store with a receiver and a carrier that folds."""
    database = Database(url)
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_1", facts={"opening": "2 in"}))
        create_record(
            session,
            "accessory",
            Draft(key="RACK", facts={"kind": "bike_carrier", "shank": "2 in", "stow_setback": "4 in"}),
        )
    yield database
    database.close()
