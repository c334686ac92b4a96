"""Saved rigs and the records they name."""

import pytest
from sqlmodel import Session

from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import AlreadyExists, InvalidValue, NotFound, VersionConflict
from fitsvc.store.records import Draft, delete_record
from fitsvc.store.rigs import create_rig, delete_rig, get_rig, list_rigs, replace_rig

RIG = {
    "vehicle": {"id": "veh_1", "facts": {"year": 2020, "id": "no part"}},
    "receiver": {"facts": {"opening": "2 in"}},
    "adapters": [{"sku": "SLEEVE-1"}],
}


def store_parts(session: Session) -> None:
    """Store the records that RIG names."""
    create_record(session, "vehicle", Draft(key="veh_1"))
    create_record(session, "accessory", Draft(key="SLEEVE-1", sold_as="adapter"))


def test_a_rig_is_read_as_it_was_saved(database: Database) -> None:
    """The document comes back unchanged, inline facts included."""
    with database.session() as session:
        store_parts(session)
        key = create_rig(session, "Grey van", RIG).id
    with database.session() as session:
        rig = get_rig(session, key)
        assert (rig.name, rig.document, rig.version) == ("Grey van", RIG, 1)
        assert key.startswith("rig_")


def test_a_rig_names_records_that_are_stored(database: Database) -> None:
    """Every missing record is told at its place in the document."""
    with database.session() as session, pytest.raises(InvalidValue) as caught:
        create_rig(session, "Grey van", RIG | {"mounting": {"id": "elsewhere"}})
    assert sorted(problem.field for problem in caught.value.problems) == [
        "/document/adapters/0/sku",
        "/document/mounting/id",
        "/document/vehicle/id",
    ]


def test_a_replaced_rig_lets_go_of_its_old_parts(database: Database) -> None:
    """After the vehicle is taken out of the rig it can be deleted; the adapter is still held."""
    with database.session() as session:
        store_parts(session)
        create_rig(session, "Grey van", RIG, "rig_1")
        document = {"adapters": RIG["adapters"]}
        assert replace_rig(session, "rig_1", "Van", document, expected_version=1).version == 2
        delete_record(session, "vehicle", "veh_1")
        assert get_rig(session, "rig_1").document == document


def test_a_deleted_rig_lets_go_of_all(database: Database) -> None:
    """Deleting a rig frees the records it names."""
    with database.session() as session:
        store_parts(session)
        create_rig(session, "Grey van", RIG, "rig_1")
        delete_rig(session, "rig_1", expected_version=1)
        delete_record(session, "accessory", "SLEEVE-1")
        with pytest.raises(NotFound):
            get_rig(session, "rig_1")


def test_an_old_version_of_a_rig_is_refused(database: Database) -> None:
    """A rig changed meanwhile is neither replaced nor deleted."""
    with database.session() as session:
        create_rig(session, "a", {}, "rig_1")
        replace_rig(session, "rig_1", "b", {})
        with pytest.raises(VersionConflict):
            replace_rig(session, "rig_1", "c", {}, expected_version=1)
        with pytest.raises(VersionConflict):
            delete_rig(session, "rig_1", expected_version=1)


def test_rigs_are_listed_in_pages(database: Database) -> None:
    """Pages follow each other by id."""
    with database.session() as session:
        for key in ("rig_3", "rig_1", "rig_2"):
            create_rig(session, "a", {}, key)
        assert [rig.id for rig in list_rigs(session, limit=2)] == ["rig_1", "rig_2"]
        assert [rig.id for rig in list_rigs(session, after="rig_2")] == ["rig_3"]


def test_a_rig_needs_a_name_and_an_id_of_its_own(database: Database) -> None:
    """An empty name, a foreign id and an id that is taken are refused."""
    with database.session() as session:
        with pytest.raises(InvalidValue) as caught:
            create_rig(session, " ", {}, "veh_1")
        assert [problem.field for problem in caught.value.problems] == ["/name", "/id"]
        create_rig(session, "a", {}, "rig_1")
        with pytest.raises(AlreadyExists):
            create_rig(session, "b", {}, "rig_1")
