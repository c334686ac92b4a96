"""What a record's observations add up to, in the store."""

from effort import TIMED, tries
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlmodel import Session

from fitsvc.document import Json
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, list_observations
from fitsvc.store.records import Draft, add_observation, get_record, replace_record
from fitsvc.store.tables import Kind

KINDS: tuple[Kind, ...] = ("assumed", "published", "measured")
VALUES = st.one_of(st.none(), st.integers(0, 3), st.sampled_from(["2 in", "50 mm"]), st.booleans())
BATCHES = st.dictionaries(st.sampled_from(["height", "opening", "pin_hole"]), VALUES, min_size=1)


STEPS = st.lists(st.tuples(st.sampled_from(KINDS), st.booleans(), BATCHES), max_size=8)


@tries(25, suppress_health_check=(*TIMED, HealthCheck.function_scoped_fixture))
@given(STEPS)
def test_the_cache_equals_a_fold_from_scratch(
    database: Database, steps: list[tuple[Kind, bool, dict[str, Json]]]
) -> None:
    """After any observations and replacements the record holds what its observations add up to.

    A replacement holds for every fact, but for what was measured.
    """
    with database.session() as session:
        key = create_record(session, "receiver", Draft(facts={"height": "1 in"})).key
    for kind, replaces, facts in steps:
        with database.session() as session:
            if replaces:
                replace_record(session, "receiver", key, Draft(facts=facts), told=Provenance(kind=kind))
                record = get_record(session, "receiver", key)
                measured = {name for name, how in record.provenance.items() if how["kind"] == "measured"}
                known = {name: value for name, value in facts.items() if value is not None}
                assert {n: v for n, v in record.facts.items() if n not in measured} == {
                    n: v for n, v in known.items() if n not in measured
                }
            else:
                add_observation(session, "receiver", key, facts, Provenance(kind=kind))
    with database.session() as session:
        record = get_record(session, "receiver", key)
        scratch = current_facts(list_observations(session, "receiver", key))
        assert (record.facts, record.provenance) == (scratch.facts, scratch.provenance)


def told_ids(session: Session, after: str | None = None) -> list[str]:
    """Return the ids of up to two observations."""
    return [one.id for one in list_observations(session, after=after, limit=2)]


def test_observations_are_paged_in_order(database: Database) -> None:
    """Pages follow each other without gap or repetition, over all records."""
    with database.session() as session:
        create_record(session, "vehicle", Draft(key="veh_1"))
        create_record(session, "receiver", Draft(key="rcv_1"))
        seen = [add_observation(session, "vehicle", "veh_1", {"year": n}, Provenance())[0].id for n in range(3)]
        first = told_ids(session)
        second = told_ids(session, first[-1])
        assert second + told_ids(session, second[-1]) == seen
        assert [one.id for one in list_observations(session, "vehicle", "veh_1")][1:] == seen
