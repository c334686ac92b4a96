"""What a record's observations add up to."""

from dataclasses import dataclass, field

from effort import TIMED, tries
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlmodel import Session

from fitsvc.document import Json
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance, current_facts, list_observations
from fitsvc.store.records import Draft, add_observation, get_record, replace_record
from fitsvc.store.tables import Kind

KINDS: tuple[Kind, ...] = ("assumed", "published", "measured")
VALUES = st.one_of(st.none(), st.integers(0, 3), st.sampled_from(["2 in", "50 mm"]), st.booleans())
BATCHES = st.dictionaries(st.sampled_from(["height", "opening", "pin_hole"]), VALUES, min_size=1)


@dataclass
class Said:
    """One observation, as the fold sees it."""

    kind: str
    facts: dict[str, Json] = field(default_factory=dict)
    id: str = "obs_x"


def heights(*said: tuple[str, Json]) -> Json:
    """Return the height that follows from what was said of it in order, `none` where it is unknown."""
    return current_facts(Said(kind, {"height": value}) for kind, value in said).facts.get("height", "none")


def test_measured_beats_published_beats_assumed() -> None:
    """Whatever comes later, a better known value stays."""
    assert heights(("measured", 1), ("published", 2), ("assumed", 3)) == 1
    assert heights(("assumed", 3), ("published", 2), ("measured", 1)) == 1
    assert heights(("published", 2), ("assumed", 3)) == 2


def test_the_latest_wins_within_a_rank() -> None:
    """A second measurement replaces the first."""
    assert heights(("measured", 1), ("measured", 2)) == 2


def test_null_takes_back_everything_before_it() -> None:
    """After a retraction of any kind even a guess counts again."""
    assert heights(("measured", 1), ("assumed", None)) == "none"
    assert heights(("measured", 1), ("assumed", None), ("assumed", 3)) == 3
    assert heights(("assumed", 3), ("measured", 1), ("published", None)) == "none"


def test_false_and_zero_are_values() -> None:
    """Only null takes back."""
    assert heights(("measured", 1), ("measured", False)) is False
    assert heights(("measured", 1), ("measured", 0)) == 0


def test_provenance_names_the_observation_that_holds() -> None:
    """Each fact tells how it is known and from which observation."""
    first = Said("measured", {"height": 1, "opening": "2 in"}, "obs_1")
    second = Said("published", {"height": 2, "pin_hole": "5/8 in"}, "obs_2")
    assert current_facts([first, second]).provenance == {
        "height": {"kind": "measured", "observation": "obs_1"},
        "opening": {"kind": "measured", "observation": "obs_1"},
        "pin_hole": {"kind": "published", "observation": "obs_2"},
    }


def best(said: list[Said], fact: str) -> tuple[Json, str] | None:
    """Say by its definition, not by folding, which value of a fact holds and how it is known."""
    told = [(KINDS.index(one.kind), n, one) for n, one in enumerate(said) if fact in one.facts]
    taken_back = max((n for _, n, one in told if one.facts[fact] is None), default=-1)
    left = [(rank, n, one) for rank, n, one in told if n > taken_back]
    if not left:
        return None
    _, _, one = max(left, key=lambda item: item[:2])
    return one.facts[fact], one.kind


@given(st.lists(st.builds(Said, st.sampled_from(KINDS), BATCHES), max_size=12))
def test_the_fold_is_the_definition(said: list[Said]) -> None:
    """For every fact the fold gives the best ranked, latest value after the last retraction."""
    current = current_facts(said)
    for fact in ("height", "opening", "pin_hole"):
        found = current.facts.get(fact), current.provenance.get(fact, {}).get("kind")
        assert found == (best(said, fact) or (None, None))


STEPS = st.lists(st.tuples(st.sampled_from(KINDS), st.booleans(), BATCHES), max_size=8)


@tries(25, suppress_health_check=(*TIMED, HealthCheck.function_scoped_fixture))
@given(STEPS)
def test_the_cache_equals_a_fold_from_scratch(
    database: Database, steps: list[tuple[Kind, bool, dict[str, Json]]]
) -> None:
    """After any observations and replacements the record holds what its observations add up to."""
    with database.session() as session:
        key = create_record(session, "receiver", Draft(facts={"height": "1 in"})).key
    for kind, replaces, facts in steps:
        with database.session() as session:
            if replaces:
                replace_record(session, "receiver", key, Draft(facts=facts), told=Provenance(kind))
                known = {name: value for name, value in facts.items() if value is not None}
                assert get_record(session, "receiver", key).facts == known
            else:
                add_observation(session, "receiver", key, facts, Provenance(kind))
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
