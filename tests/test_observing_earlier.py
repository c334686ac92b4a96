"""Answers as of an earlier time are the answers that were given then, whatever has been said, tried or undone since."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from demo_world import answerer
from effort import tries
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from litestar.testing import TestClient
from service_checks import problem
from sqlmodel import Session, col, delete

from fitsvc.answers.answer import encode
from fitsvc.cli.options import read_as_of, read_date
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.observing.earlier import EarlierRecords, known_then, told_by
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import observe
from fitsvc.service.app import create_app
from fitsvc.service.queries import AS_OF
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import Conflict, InvalidValue, NotFound
from fitsvc.store.observations import Provenance, all_observations
from fitsvc.store.records import Draft, delete_record, get_record, replace_record
from fitsvc.store.tables import Observation, now
from fitsvc.store.taking_back import Request

LAWS = laws_of(answerer().reader)
QUESTION = {"rig": {"mounting": {"id": "mnt_a"}}, "accessory": {"sku": "RACK"}}
CARRIER = {"kind": "bike_carrier", "shank": "2 in", "stow_setback": "4 in", "front_setback": "9 in"}
INCHES = st.sampled_from(["2 in", "4 in", "4-1/8 in", "exactly 4 in", "9 in ± 1/2 in"])
PEOPLE = st.sampled_from(["Ann", "Bo", "Cy"])
STEPS = st.one_of(
    st.tuples(st.just("measure"), PEOPLE, st.sampled_from(["pin_to_bumper", "height"]), INCHES),
    st.tuples(st.just("measure"), PEOPLE, st.just("stow_setback"), INCHES),
    st.tuples(st.just("try"), PEOPLE, st.sampled_from(["folded", "in_use"]), st.sampled_from(["clear", "touched"])),
    st.tuples(st.just("retract"), PEOPLE, st.integers(0, 5), st.just("")),
    st.tuples(st.just("bumper"), PEOPLE, st.just(""), st.sampled_from(["40 in", "44 in"])),
    st.tuples(st.just("publish"), PEOPLE, st.just(""), INCHES),
)


def take(session: Session, step: Any, told: list[tuple[str, str]]) -> None:
    """Carry one step of a history out, as far as it can be."""
    what, by, name, value = step
    how, reader = Provenance(kind="measured", by=by), answerer().reader
    if what == "bumper":
        facts = {"body": "suv", "spare_location": "underbody", "rear_overhang": value}
        replace_record(session, "vehicle", "veh_a", Draft(facts=facts), laws=LAWS)
        return
    if what == "publish":
        draft = Draft(facts={"pin_to_bumper": value}, vehicle_id="veh_a", receiver_id="rcv_a")
        replace_record(session, "mounting", "mnt_a", draft, told=Provenance(source="feed"), laws=LAWS)
        return
    about = ("accessory", "RACK") if name == "stow_setback" else ("mounting", "mnt_a")
    body: dict[str, Any] = {"subject": about[0], "record": about[1]}
    request = Request()
    if what == "retract":
        if name >= len(told):
            return
        body["record"], target = told[name]
        body["subject"] = "accessory" if body["record"] == "RACK" else "mounting"
        request = Request("retracts", target, "a slip")
    elif what == "try":
        body["evidence"] = {"sku": "RACK", "state": name, "result": value}
    else:
        body["facts"] = {name: value}
    seen = observe(session, reader, body, how, request, rigs=False)
    told.append((body["record"], seen.observation.id))


@pytest.fixture(scope="module")
def database(migrated: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """Give a store for many histories, one after the other."""
    file = tmp_path_factory.mktemp("earlier") / "fitsvc.db"
    file.write_bytes(migrated.read_bytes())
    opened = Database(f"sqlite:///{file}")
    yield opened
    opened.close()


def anew(session: Session) -> None:
    """Store a vehicle, its receiver and a carrier of which nobody has measured anything."""
    for subject, key in (("mounting", "mnt_a"), ("accessory", "RACK"), ("receiver", "rcv_a"), ("vehicle", "veh_a")):
        try:
            delete_record(session, subject, key, laws=LAWS)  # type: ignore[arg-type]  # a subject's name out of a list
        except NotFound:
            break
    session.exec(delete(Observation).where(col(Observation.id) != ""))
    facts = {"body": "suv", "spare_location": "underbody", "rear_overhang": "40 in"}
    create_record(session, "vehicle", Draft(key="veh_a", facts=facts), laws=LAWS)
    create_record(session, "receiver", Draft(key="rcv_a", facts={"opening": "2 in"}), laws=LAWS)
    create_record(session, "accessory", Draft(key="RACK", facts=CARRIER), laws=LAWS)
    create_record(session, "mounting", Draft(key="mnt_a", vehicle_id="veh_a", receiver_id="rcv_a"), laws=LAWS)


@tries(10, suppress_health_check=list(HealthCheck))
@given(st.lists(STEPS, min_size=3, max_size=8))
def test_answers_as_of_replay(database: Database, steps: list[Any]) -> None:
    """After each step the answer as of then is byte for byte the one that was given then."""
    given_then, told = list[tuple[datetime, bytes]](), list[tuple[str, str]]()
    with database.session() as session:
        anew(session)
    for step in [("start", "", "", ""), *steps]:
        if step[0] != "start":
            try:
                with database.session() as session:
                    take(session, step, told)
            except (InvalidValue, Conflict):
                pass  # what was taken back before cannot be again
        with database.session() as session:
            given_then.append((now(), encode(answerer().answer(QUESTION, StoreRecords(session)))))
    with database.session() as session:
        for at, answer in given_then:
            assert encode(answerer().answer(QUESTION, EarlierRecords(session, LAWS, at))) == answer


def test_an_answer_as_of_a_time_over_the_wire(database: Database, tmp_path: Any) -> None:
    """What was measured since is not in it; before the mounting was stored there is none to ask about."""
    before = now()
    with database.session() as session:
        anew(session)
        stored = now()
    with database.session() as session:
        take(session, ("measure", "Ann", "pin_to_bumper", "9 in"), [])
    client = TestClient(create_app(database, answerer(), tmp_path), raise_server_exceptions=False)
    answers = [
        client.post("/v1/answers", json=QUESTION, params={"as_of": at.isoformat()} if at else {}).json()["outcome"]
        for at in (stored, None)
    ]
    assert answers == ["undetermined", "fails"]
    response = client.post("/v1/answers", json=QUESTION, params={"as_of": before.isoformat()})
    error = problem(response, 409)["errors"][0]
    assert "no mounting is stored under `mnt_a`" in error["detail"] and "did you mean" not in error["help"]
    assert error["help"].startswith("it may not have been stored by then: ask as of a later time, or check the id")
    now_near = client.post("/v1/answers", json={**QUESTION, "rig": {"mounting": {"id": "mnt_aa"}}})
    assert "did you mean `mnt_a`" in problem(now_near, 409)["errors"][0]["help"]
    assert "by then" not in problem(now_near, 409)["errors"][0]["help"]
    for tongue, told in (
        ("en", "`29/11/2026` is not a value of `as_of`"),
        ("es", "`29/11/2026` no es valor de `as_of`"),
    ):
        wrong = client.post(
            "/v1/answers", json=QUESTION, params={"as_of": "29/11/2026"}, headers={"Accept-Language": tongue}
        )
        (error,) = problem(wrong, 400)["errors"]
        assert error["detail"] == told and error["help"].startswith(
            {"en": "expected a date", "es": "se espera"}[tongue]
        )


def test_a_date_over_the_wire_is_its_beginning_as_it_is_in_the_shell() -> None:
    """One word has one meaning in both: what was entered on that day is not known at its beginning."""
    start = AS_OF.read("2026-05-09")
    assert start == AS_OF.read("2026-05-09T00:00:00Z") == read_as_of("2026-05-09")
    assert AS_OF.read("2026-05-09T02:00:00 02:00") == start
    for wrong in ("2026-02-30", "20260509", "2026-W19-6", "2026-05-09T14:30:00"):
        with pytest.raises(ValueError, match="a date, or an instant with its zone"):
            AS_OF.read(wrong)


def test_a_clock_that_was_ahead_hides_nothing_that_was_entered_before(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A correction entered once the clock was right again is known with what it corrects, whatever time that bears."""
    start = now()
    with database.session() as session:
        anew(session)
        for minutes, value, request in ((60, "14 in", Request()), (5, "4 in", None), (6, "4-1/8 in", Request())):
            monkeypatch.setattr("fitsvc.store.observations.now", lambda m=minutes: start + timedelta(minutes=m))
            said = all_observations(session, "mounting", "mnt_a")
            how = request or Request("corrects", said[-1].id, "a slip")
            about = {"subject": "mounting", "record": "mnt_a", "facts": {"pin_to_bumper": value}}
            observe(session, answerer().reader, about, Provenance(kind="measured", by="Ann"), how, rigs=False)
    with database.session() as session:
        record = get_record(session, "mounting", "mnt_a")
        then = [known_then(session, LAWS, record, start + timedelta(minutes=m)) for m in (4, 5, 6)]
        whole = [len(told_by(session, record, start + timedelta(minutes=m))) for m in (4, 5, 6, 60)]
    assert whole[1:] == [whole[0] + 2, whole[0] + 3, whole[0] + 3]
    assert [one.facts.get("pin_to_bumper") for one in then[:2]] == [None, {"value": "4 in", "tolerance": "1/8 in"}]
    assert then[2].facts == record.facts


@pytest.mark.parametrize("read", [AS_OF.read, read_as_of])
def test_what_is_yet_to_come_is_refused_over_the_wire_and_in_the_shell(read: Callable[[str], datetime]) -> None:
    """What will be entered nobody can tell; where the day begins first it has begun."""
    with pytest.raises(ProblemsFound) as refused:
        read(f"{now() + timedelta(days=2):%Y-%m-%d}")
    (found,) = refused.value.problems
    assert "is yet to come" in found.message and found.help == "leave it out for what is known now"
    assert read((now() + timedelta(hours=13)).isoformat().replace("+00:00", "Z"))


def test_a_rulebook_may_be_in_force_from_a_day_to_come() -> None:
    """The same words of a day, where one to come means something."""
    assert read_date(f"{now() + timedelta(days=400):%Y-%m-%d}") is not None
