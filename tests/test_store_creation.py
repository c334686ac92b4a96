"""Storing a whole catalogue."""

from collections.abc import Iterator

import pytest

from fitsvc.store.creation import bulk_create
from fitsvc.store.database import Database
from fitsvc.store.errors import AlreadyExists, InvalidValue
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, list_observations
from fitsvc.store.records import Draft, get_record, list_records


def catalogue(size: int) -> Iterator[Draft]:
    """Yield accessories with a weight each."""
    return (
        Draft(key=f"SKU-{n:06}", label=f"Step {n}", facts={"weight": f"{n} lb", "width": None}) for n in range(size)
    )


def test_every_row_is_stored_with_one_observation(database: Database) -> None:
    """Across several chunks each record holds what its single observation says."""
    with database.session() as session:
        assert bulk_create(session, "accessory", catalogue(4500), Provenance(by="loader")) == 4500
    with database.session() as session:
        assert len(list_records(session, "accessory", limit=10_000)) == 4500
        record = get_record(session, "accessory", "SKU-004321")
        told = list_observations(session, "accessory", "SKU-004321")
        assert [(one.facts, one.kind, one.by) for one in told] == [({"weight": "4321 lb"}, "published", "loader")]
        assert record.facts == {"weight": "4321 lb"}
        assert record.provenance == current_facts(told).provenance


def test_nothing_is_stored_when_a_later_row_is_wrong(database: Database) -> None:
    """All faults are told by row number, and the chunks before them are rolled back."""
    drafts = [*catalogue(2500), Draft(key=" a"), Draft(key="OK"), Draft(key="X", facts={"weight": float("nan")})]
    with pytest.raises(InvalidValue) as caught, database.session() as session:
        bulk_create(session, "accessory", drafts)
    assert [problem.field for problem in caught.value.problems] == ["/2500/sku", "/2502/facts/weight"]
    with database.session() as session:
        assert list_records(session, "accessory") == []


@pytest.mark.parametrize("apart", [1, 2500])
def test_a_key_given_twice_is_refused(database: Database, apart: int) -> None:
    """A repeated SKU is named, in the same chunk or in a later one."""
    drafts = [*catalogue(apart), Draft(key="SKU-000000")]
    with pytest.raises(AlreadyExists) as caught, database.session() as session:
        bulk_create(session, "accessory", drafts)
    assert caught.value.keys == ("SKU-000000",)


def test_mountings_name_their_missing_parts_by_row(database: Database) -> None:
    """Each row that names a vehicle or receiver that is not stored is pointed at."""
    with database.session() as session:
        bulk_create(session, "vehicle", [Draft(key="veh_1")])
        bulk_create(session, "receiver", [Draft(key="rcv_1")])
    drafts = [Draft(vehicle_id="veh_1", receiver_id=key) for key in ("rcv_1", "rcv_2", None)]
    with pytest.raises(InvalidValue) as caught, database.session() as session:
        bulk_create(session, "mounting", drafts)
    assert {problem.field for problem in caught.value.problems} == {"/1/receiver_id", "/2/receiver_id"}
