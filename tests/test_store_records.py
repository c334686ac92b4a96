"""Creating, reading, changing and deleting records."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlmodel import Session

from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import AlreadyExists, Conflict, InvalidValue, NotFound, StillReferenced, VersionConflict
from fitsvc.store.observations import Provenance, get_observation, list_observations
from fitsvc.store.records import (
    Draft,
    add_observation,
    delete_record,
    existing_keys,
    find_mountings,
    get_record,
    get_records,
    keys_near,
    list_records,
    replace_record,
)
from fitsvc.store.rigs import create_rig
from fitsvc.store.tables import Accessory, Mounting
from fitsvc.subjects import Subject


def mount(session: Session, key: str = "mnt_1", vehicle: str = "veh_1", receiver: str = "rcv_1") -> None:
    """Store a mounting, and its vehicle and receiver where they are not stored yet."""
    if vehicle not in existing_keys(session, "vehicle", [vehicle]):
        create_record(session, "vehicle", Draft(key=vehicle))
    if receiver not in existing_keys(session, "receiver", [receiver]):
        create_record(session, "receiver", Draft(key=receiver))
    create_record(session, "mounting", Draft(key=key, vehicle_id=vehicle, receiver_id=receiver))


def test_keys_near_one_that_is_not_stored_are_those_on_both_sides(database: Database) -> None:
    """Those before it, nearest first, then those behind it; a text that can be no key is near none."""
    with database.session() as session:
        for key in ("veh_b", "veh_d", "veh_a", "veh_e"):
            create_record(session, "vehicle", Draft(key=key))
        assert keys_near(session, "vehicle", "veh_c") == ["veh_b", "veh_a", "veh_d", "veh_e"]
        assert keys_near(session, "rig", "veh_c") == keys_near(session, "vehicle", "\0") == []


def test_a_record_is_read_as_it_was_stored(database: Database) -> None:
    """Label and facts of every shape come back, null facts are left out, provenance names an observation."""
    facts = {"height": {"value": "15 in", "tolerance": "1/4 in"}, "drilling": False, "body": ["suv", "van"]}
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", label="Ærø ± 漢字 🚙", facts=facts | {"trim": None}))
    with database.session() as session:
        record = get_record(session, "vehicle", "veh_1")
        assert (record.label, record.facts, record.version) == ("Ærø ± 漢字 🚙", facts, 1)
        known = record.provenance["height"]
        assert known["kind"] == "published"
        assert get_observation(session, known["observation"]).facts == facts


@pytest.mark.parametrize(("subject", "prefix"), [("vehicle", "veh_"), ("receiver", "rcv_")])
def test_ids_are_made_where_none_is_given(database: Database, subject: Subject, prefix: str) -> None:
    """Two records without id get different ids with the subject's prefix."""
    with database.session() as session:
        keys = {create_record(session, subject, Draft()).key for _ in range(2)}
    assert len(keys) == 2
    assert all(key.startswith(prefix) for key in keys)


def test_times_come_back_aware_and_in_utc(database: Database) -> None:
    """An observation made in another zone is the same instant, told in UTC, on both databases."""
    at = datetime(2024, 5, 1, 23, 30, tzinfo=timezone(timedelta(hours=-5)))
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"), Provenance(kind="measured", by="Ada", at=at))
    with database.session() as session:
        (told,) = list_observations(session, "vehicle", "veh_1")
        record = get_record(session, "vehicle", "veh_1")
        assert told.at == at
        assert {told.at.tzinfo, told.recorded_at.tzinfo, record.updated_at.tzinfo} == {UTC}


def test_an_id_is_taken_once(database: Database) -> None:
    """A second record under the same id is refused."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        with pytest.raises(AlreadyExists, match="`veh_1`"):
            create_record(session, "vehicle", Draft(key="veh_1"))


@pytest.mark.parametrize("key", ["veh_none", "", "x\0", "\ud800", "x" * 300])
def test_what_is_not_stored_is_not_found(database: Database, key: str) -> None:
    """Any text at all can be asked for, also one that no database takes."""
    with database.session() as session, pytest.raises(NotFound):
        get_record(session, "vehicle", key)
    with database.session() as session, pytest.raises(NotFound):
        delete_record(session, "vehicle", key)


def test_many_records_are_read_at_once(database: Database) -> None:
    """Those that exist are returned by key, the others are left out."""
    with database.session() as session:
        for key in ("A-1", "B 2"):
            create_record(session, "accessory", Draft(key=key))
        assert set(get_records(session, "accessory", ["A-1", "B 2", "C", "\0"])) == {"A-1", "B 2"}


def test_pages_follow_the_code_points_on_both_databases(database: Database) -> None:
    """Upper case comes before lower, and letters outside ASCII last, whatever the database's language."""
    with database.session() as session:
        for key in ("b", "é", "A", "a", "B", "_", "Z"):
            create_record(session, "accessory", Draft(key=key))
        first = [record.key for record in list_records(session, "accessory", limit=4)]
        rest = [record.key for record in list_records(session, "accessory", after=first[-1])]
        assert first + rest == ["A", "B", "Z", "_", "a", "b", "é"]


def test_accessories_are_listed_by_what_they_are_sold_as(database: Database) -> None:
    """A ball and an adapter are told apart from other accessories."""
    with database.session() as session:
        create_record(session, "accessory", Draft(key="BALL-1", sold_as="ball"))
        create_record(session, "accessory", Draft(key="SLEEVE-1", sold_as="adapter"))
        (ball,) = list_records(session, "accessory", sold_as="ball")
        assert isinstance(ball, Accessory)
        assert (ball.sku, ball.subject) == ("BALL-1", "ball")


def test_mountings_are_found_by_vehicle_and_receiver(database: Database) -> None:
    """Either part narrows the mountings down, and both do together."""
    with database.session() as session:
        mount(session, "mnt_1", "veh_1", "rcv_1")
        mount(session, "mnt_2", "veh_1", "rcv_2")
        mount(session, "mnt_3", "veh_2", "rcv_2")
        assert [m.id for m in find_mountings(session, vehicle_id="veh_1")] == ["mnt_1", "mnt_2"]
        assert [m.id for m in find_mountings(session, receiver_id="rcv_2")] == ["mnt_2", "mnt_3"]
        assert [m.id for m in find_mountings(session, "veh_1", "rcv_2")] == ["mnt_2"]


def test_a_mounting_needs_parts_that_are_stored(database: Database) -> None:
    """Both missing parts are named at their fields."""
    draft = Draft(vehicle_id="veh_no", receiver_id="rcv_no")
    with database.session() as session, pytest.raises(InvalidValue) as caught:
        create_record(session, "mounting", draft)
    assert [problem.field for problem in caught.value.problems] == ["/vehicle_id", "/receiver_id"]


@pytest.mark.parametrize("key", [None, "", 7, ["veh_1"]])
def test_a_mounting_needs_names_of_its_parts(database: Database, key: object) -> None:
    """A missing, empty or shapeless name is refused at its field."""
    draft = Draft(vehicle_id=key, receiver_id=key)  # type: ignore[arg-type]  # fields of several kinds of record
    with database.session() as session, pytest.raises(InvalidValue) as caught:
        create_record(session, "mounting", draft)
    assert [problem.field for problem in caught.value.problems] == ["/vehicle_id", "/receiver_id"]


def test_a_replacement_keeps_the_provenance_of_what_it_does_not_change(database: Database) -> None:
    """Sending back the facts that were read tells nothing of them; a new label leaves an observation of no fact."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", facts={"year": 2020}), Provenance(kind="assumed"))
        _, before = add_observation(session, "vehicle", "veh_1", {"wheelbase": "145 in"}, Provenance(kind="measured"))
        facts, provenance = before.facts, before.provenance
        after = replace_record(session, "vehicle", "veh_1", Draft(label="new", facts=facts))
        assert (after.facts, after.provenance, after.label, after.version) == (facts, provenance, "new", 3)
        assert [one.facts for one in list_observations(session, "vehicle", "veh_1")[2:]] == [{}]
        replace_record(session, "vehicle", "veh_1", Draft(label="new", facts=facts))
        assert len(list_observations(session, "vehicle", "veh_1")) == 3


def test_f3_a_replacement_takes_back_what_its_source_told_and_nothing_that_was_measured(database: Database) -> None:
    """A changed fact gets the new value and a missing one goes, where nobody saw either; what was seen stays."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", facts={"year": 1, "trim": "a"}))
        add_observation(session, "vehicle", "veh_1", {"wheelbase": "145 in"}, Provenance(kind="measured"))
        record = replace_record(session, "vehicle", "veh_1", Draft(facts={"year": 2, "wheelbase": "140 in"}))
        (_, _, told) = list_observations(session, "vehicle", "veh_1")
        assert (told.facts, told.kind) == ({"trim": None, "year": 2, "wheelbase": "140 in"}, "published")
        assert (told.act, set(told.takes_back or {})) == ("replaces", {"trim", "year"})
        assert record.facts == {"year": 2, "wheelbase": "145 in"}
        assert {name: how["kind"] for name, how in record.provenance.items()} == {
            "year": "published",
            "wheelbase": "measured",
        }


def test_f3_what_was_measured_goes_only_where_it_is_named(database: Database) -> None:
    """With `also_seen` the replacement is all that is left."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", facts={"year": 1}))
        add_observation(session, "vehicle", "veh_1", {"wheelbase": "145 in"}, Provenance(kind="measured"))
        record = replace_record(session, "vehicle", "veh_1", Draft(facts={"year": 1}), also_seen=True)
        assert record.facts == {"year": 1}


def test_f3_a_source_takes_back_nothing_of_another(database: Database) -> None:
    """Two feeds tell of one vehicle; the first one's next issue leaves the other's word alone."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", facts={"year": 1}), Provenance(source="one"))
        add_observation(session, "vehicle", "veh_1", {"trim": "a"}, Provenance(kind="published", source="two"))
        record = replace_record(session, "vehicle", "veh_1", Draft(facts={}), told=Provenance(source="one"))
        assert record.facts == {"trim": "a"}


def test_true_is_not_one(database: Database) -> None:
    """A replacement of yes by the number one is a change."""
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_1", facts={"chain_count": True}))
        record = replace_record(session, "receiver", "rcv_1", Draft(facts={"chain_count": 1}))
        assert record.facts["chain_count"] is not True


def test_a_mounting_can_move_to_another_receiver(database: Database) -> None:
    """A replacement sets the parts that a mounting names."""
    with database.session() as session:
        mount(session)
        create_record(session, "receiver", Draft(key="rcv_2"))
        draft = Draft(vehicle_id="veh_1", receiver_id="rcv_2")
        record = replace_record(session, "mounting", "mnt_1", draft)
        assert isinstance(record, Mounting)
        assert record.receiver_id == "rcv_2"


@pytest.mark.parametrize("seen", [True, False])
def test_f4_another_part_under_what_was_seen_or_used_is_refused(database: Database, seen: bool) -> None:
    """A mounting that was measured, or that a rig names, keeps its vehicle and receiver; nothing of it changes."""
    with database.session() as session:
        mount(session)
        create_record(session, "receiver", Draft(key="rcv_2"))
        if seen:
            add_observation(session, "mounting", "mnt_1", {"pin_to_bumper": "4 in"}, Provenance(kind="measured"))
        else:
            create_rig(session, "mine", {"mounting": {"id": "mnt_1"}}, "rig_1")
    draft = Draft(vehicle_id="veh_1", receiver_id="rcv_2")
    with database.session() as session, pytest.raises(Conflict, match="another part under it is another mounting"):
        replace_record(session, "mounting", "mnt_1", draft)
    with database.session() as session:
        assert get_record(session, "mounting", "mnt_1").receiver_id == "rcv_1"  # type: ignore[attr-defined]  # a mounting has one


def test_an_old_version_is_refused(database: Database) -> None:
    """Every change names the version it was made from, and is refused when another came between."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        add_observation(session, "vehicle", "veh_1", {"year": 1}, Provenance(), expected_version=1)
        with pytest.raises(VersionConflict) as caught:
            replace_record(session, "vehicle", "veh_1", Draft(), expected_version=1)
        assert (caught.value.expected, caught.value.found) == (1, 2)
        with pytest.raises(VersionConflict):
            delete_record(session, "vehicle", "veh_1", expected_version=1)
        with pytest.raises(VersionConflict):
            add_observation(session, "vehicle", "veh_1", {"year": 1}, Provenance(), expected_version=0)


def test_a_deleted_record_leaves_its_observations(database: Database) -> None:
    """The history stays and ends with everything taken back, so a new record of that id starts afresh."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1", facts={"year": 1}), Provenance(kind="measured"))
        delete_record(session, "vehicle", "veh_1", by="Ada")
        with pytest.raises(NotFound):
            get_record(session, "vehicle", "veh_1")
        last = list_observations(session, "vehicle", "veh_1")[-1]
        assert (last.facts, last.by) == ({"year": None}, "Ada")
        create_record(session, "vehicle", Draft(key="veh_1", facts={"trim": "b"}))
        assert get_record(session, "vehicle", "veh_1").facts == {"trim": "b"}


@pytest.mark.parametrize(("subject", "key"), [("vehicle", "veh_1"), ("receiver", "rcv_1")])
def test_a_mounted_part_is_not_deleted(database: Database, subject: Subject, key: str) -> None:
    """A vehicle or receiver stays while a mounting names it, and goes once that is gone."""
    with database.session() as session:
        mount(session)
        with pytest.raises(StillReferenced, match="`mnt_1`"):
            delete_record(session, subject, key)
        delete_record(session, "mounting", "mnt_1")
        delete_record(session, subject, key)


def test_a_part_of_a_saved_rig_is_not_deleted(database: Database) -> None:
    """An adapter stays while a saved rig names it."""
    with database.session() as session:
        create_record(session, "accessory", Draft(key="SLEEVE-1", sold_as="adapter"))
        create_rig(session, "mine", {"adapters": [{"sku": "SLEEVE-1"}]}, "rig_1")
        with pytest.raises(StillReferenced, match="`rig_1`"):
            delete_record(session, "accessory", "SLEEVE-1")


def test_an_observation_says_something(database: Database) -> None:
    """A batch without facts is refused."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        with pytest.raises(InvalidValue, match="at least one fact"):
            add_observation(session, "vehicle", "veh_1", {}, Provenance())


def test_a_change_starts_from_what_is_stored_now(database: Database) -> None:
    """A session that read a record before another changed it does not undo that change."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
    with database.session() as slow:
        held = get_record(slow, "vehicle", "veh_1")
        slow.commit()
        with database.session() as quick:
            add_observation(quick, "vehicle", "veh_1", {"year": 1}, Provenance())
        _, record = add_observation(slow, "vehicle", "veh_1", {"trim": "b"}, Provenance())
        assert record is held
        assert (record.facts, record.version) == ({"year": 1, "trim": "b"}, 3)
