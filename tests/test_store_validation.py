"""What cannot be stored is refused with its field named, and nothing reaches a database error."""

from datetime import datetime
from typing import Any

import pytest
from effort import TIMED, tries
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import InvalidValue
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft, list_records
from fitsvc.store.validation import Checks
from fitsvc.subjects import Subject


def fields(draft: Draft, subject: Subject = "vehicle") -> list[str]:
    """Return the fields of a draft that are refused."""
    checks = Checks()
    draft.check(subject, checks)
    if draft.key is not None:
        checks.key(subject, draft.key)
    return [problem.field for problem in checks.problems]


def nested(depth: int) -> Any:
    """Return lists within lists."""
    value: Any = "2 in"
    for _ in range(depth):
        value = [value]
    return value


@pytest.mark.parametrize(
    "value",
    [
        "a\0b",
        "\ud800",
        float("nan"),
        float("inf"),
        float("-inf"),
        2**53,
        10**5000,
        {1: 2},
        {"": 1},
        {"a\0": 1},
        {1, 2},
        b"x",
        datetime(2024, 1, 1),
        nested(50),
        nested(5000),
        "x" * 6000,
    ],
    ids=lambda value: type(value).__name__,
)
def test_a_fact_that_is_no_json_is_refused(value: object) -> None:
    """Whatever one of the databases cannot keep is refused, wherever in a value it stands."""
    assert fields(Draft(facts={"height": value}))[0].startswith("/facts/height")
    assert fields(Draft(facts={"height": {"at_most": value}}))[0].startswith("/facts/height/at_most")


def test_problems_point_into_the_value() -> None:
    """The pointer leads to the value that is wrong, with its own escapes."""
    draft = Draft(facts={"a/b~c": {"value": [1, float("nan")]}})
    assert fields(draft) == ["/facts/a~1b~0c/value/1"]


def test_all_problems_are_told_at_once() -> None:
    """Neither the first fault nor the first field ends the check."""
    draft = Draft(key="rcv_1", label="x" * 201, facts={"a": float("nan"), "b": "\0"}, vehicle_id="veh_1")
    assert fields(draft) == ["/label", "/facts/a", "/facts/b", "/vehicle_id", "/id"]


def test_facts_are_bounded_as_a_whole() -> None:
    """Many facts that are each small enough can still be too much."""
    assert fields(Draft(facts={f"fact_{n}": "x" * 4000 for n in range(30)})) == ["/facts"]


@pytest.mark.parametrize("key", ["veh_1", "veh_A-b_9", "veh_" + "x" * 60])
def test_ids_of_the_right_shape_are_taken(key: str) -> None:
    """Prefix, then letters, digits, underscore and hyphen."""
    assert fields(Draft(key=key)) == []


@pytest.mark.parametrize("key", ["veh_", "veh_1\n", "veh_é", "rcv_1", "1", "veh_a b", "veh_" + "x" * 61, "VEH_1"])
def test_ids_of_another_shape_are_refused(key: str) -> None:
    """Another prefix, another letter or a line end is no id of a vehicle."""
    assert fields(Draft(key=key)) == ["/id"]


@pytest.mark.parametrize("key", ["A", "ball 2 in", "2-5/16", "a/../b", "Ærø#1%?", "漢" * 80])
def test_skus_are_any_printable_text(key: str) -> None:
    """Shops number their goods as they like."""
    assert fields(Draft(key=key), "accessory") == []


@pytest.mark.parametrize("key", ["", "a\nb", "a\0", " a", "a ", "\ud800", "x" * 81, "\u200b", ".", "..", "Cafe\u0301"])
def test_skus_that_do_not_print_or_break_a_path_are_refused(key: str) -> None:
    """Control and invisible characters, outer spaces, dots alone and letters in two pieces are no SKU."""
    assert fields(Draft(key=key), "accessory") == ["/sku"]


def test_an_accessory_needs_a_sku(database: Database) -> None:
    """No SKU is made up."""
    with database.session() as session, pytest.raises(InvalidValue, match="/sku: expected a SKU"):
        create_record(session, "accessory", Draft())


def test_unknown_subjects_and_kinds_are_refused(database: Database) -> None:
    """A word outside the list is refused with the list."""
    with database.session() as session:
        with pytest.raises(InvalidValue, match="vehicle, receiver, mounting, accessory"):
            list_records(session, "boat")  # type: ignore[arg-type]  # no such subject: that is what is tried
        with pytest.raises(InvalidValue, match="published, read, measured, tried, assumed"):
            create_record(session, "vehicle", Draft(), Provenance(kind="heard"))  # type: ignore[arg-type]  # no such kind of evidence: that is what is tried
        with pytest.raises(InvalidValue, match="accessory, adapter, ball, trailer"):
            create_record(session, "accessory", Draft(key="A", sold_as="rope"))  # type: ignore[arg-type]  # no such subject: that is what is tried


@pytest.mark.parametrize("at", [datetime(2024, 1, 1), datetime.fromisoformat("0001-01-01T00:00:00+14:00")])
def test_times_without_zone_or_out_of_range_are_refused(database: Database, at: datetime) -> None:
    """A naive time could mean any instant, and the first year cannot be turned to UTC."""
    with database.session() as session, pytest.raises(InvalidValue, match="/at"):
        create_record(session, "vehicle", Draft(), Provenance(at=at))


@pytest.mark.parametrize("limit", [0, -1, 10_001])
def test_a_page_has_a_size(database: Database, limit: int) -> None:
    """An endless page is refused, and an empty one."""
    with database.session() as session, pytest.raises(InvalidValue, match="/limit"):
        list_records(session, "vehicle", limit=limit)


TEXT = st.text(st.characters(codec=None, exclude_categories=()), max_size=90)
JSON = st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | TEXT, st.lists, max_leaves=4)


@tries(60, suppress_health_check=(*TIMED, HealthCheck.function_scoped_fixture))
@given(st.just("SKU-1") | TEXT, TEXT, st.dictionaries(TEXT, JSON, max_size=3))
def test_what_passes_the_checks_is_kept_as_it_is(
    database: Database, key: str, label: str, facts: dict[str, Any]
) -> None:
    """Any text and any JSON is either refused by name or comes back unchanged from both databases."""
    draft = Draft(key=key, label=label, facts=facts)
    with database.session() as session:
        try:
            create_record(session, "accessory", draft)
        except InvalidValue as error:
            assert fields(draft, "accessory") == [problem.field for problem in error.problems]
            return
    with database.session() as session:
        (record,) = list_records(session, "accessory")
        assert (record.key, record.label, record.facts) == (key, label, draft.known_facts())
        session.delete(record)
