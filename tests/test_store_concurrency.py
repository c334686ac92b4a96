"""Several people changing the same records at once."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import AlreadyExists, InvalidValue, StillReferenced, StoreError, VersionConflict
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, list_observations
from fitsvc.store.records import (
    Draft,
    add_observation,
    delete_record,
    existing_keys,
    find_mountings,
    get_record,
    replace_record,
)
from fitsvc.store.rigs import create_rig, get_rig


def together(*actions: Callable[[], object]) -> list[type[StoreError] | None]:
    """Run actions at the same time, and return for each what it was refused with."""

    def run(action: Callable[[], object]) -> type[StoreError] | None:
        try:
            action()
        except StoreError as error:
            return type(error)
        return None

    with ThreadPoolExecutor(len(actions)) as pool:
        return list(pool.map(run, actions))


def test_no_observation_is_lost(database: Database) -> None:
    """Many measurements of one record at once all count, and the cache follows their order."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))

    def measure(number: int) -> None:
        for _ in range(5):
            with database.session() as session:
                facts = {"last": number, f"by_{number}": number}
                add_observation(session, "vehicle", "veh_1", facts, Provenance(kind="measured"))

    assert together(*(lambda n=n: measure(n) for n in range(8))) == [None] * 8
    with database.session() as session:
        record = get_record(session, "vehicle", "veh_1")
        told = list_observations(session, "vehicle", "veh_1")
        assert (len(told), record.version) == (41, 41)
        assert record.facts == current_facts(told).facts


def test_one_of_two_replacements_of_a_version_wins(database: Database) -> None:
    """Of several changes made from the same version exactly one is kept."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))

    def replace(label: str) -> None:
        with database.session() as session:
            replace_record(session, "vehicle", "veh_1", Draft(label=label), expected_version=1)

    outcomes = together(*(lambda n=n: replace(str(n)) for n in range(6)))
    assert sorted(outcomes, key=str) == sorted([None] + [VersionConflict] * 5, key=str)


def test_one_of_several_records_of_an_id_wins(database: Database) -> None:
    """The same SKU stored at once is stored once, and the others are told that it exists."""

    def create() -> None:
        with database.session() as session:
            create_record(session, "accessory", Draft(key="SKU-1"))

    outcomes = together(*[create] * 6)
    assert sorted(outcomes, key=str) == sorted([None] + [AlreadyExists] * 5, key=str)


def test_no_rig_is_left_without_its_parts(database: Database) -> None:
    """A rig saved and its vehicle deleted at once: one of the two is refused."""
    for number in range(8):
        key = f"veh_{number}"
        with database.session() as session:
            create_record(session, "vehicle", Draft(key=key))

        def save(key: str = key) -> None:
            with database.session() as session:
                create_rig(session, "mine", {"vehicle": {"id": key}}, f"rig_{key}")

        def delete(key: str = key) -> None:
            with database.session() as session:
                delete_record(session, "vehicle", key)

        assert together(save, delete) in ([None, StillReferenced], [InvalidValue, None])
        with database.session() as session:
            if key in existing_keys(session, "vehicle", [key]):
                get_rig(session, f"rig_{key}")


def test_no_mounting_is_left_without_its_vehicle(database: Database) -> None:
    """A mounting stored and its vehicle deleted at once: never are both done."""
    with database.session() as session:
        create_record(session, "receiver", Draft(key="rcv_1"))
    for number in range(8):
        key = f"veh_{number}"
        with database.session() as session:
            create_record(session, "vehicle", Draft(key=key))

        def mount(key: str = key) -> None:
            with database.session() as session:
                create_record(session, "mounting", Draft(vehicle_id=key, receiver_id="rcv_1"))

        def delete(key: str = key) -> None:
            with database.session() as session:
                delete_record(session, "vehicle", key)

        assert together(mount, delete).count(None) == 1
        with database.session() as session:
            mounted = bool(find_mountings(session, vehicle_id=key))
            assert mounted == bool(existing_keys(session, "vehicle", [key]))
