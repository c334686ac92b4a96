"""What to ask at a vehicle, in the order of what most decides over the whole catalogue, and how much is decided."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from sqlmodel import Session

from fitsvc.document import Json
from fitsvc.inventory.stored import StoreRecords
from fitsvc.observing.effects import rig_case
from fitsvc.observing.worklist import AT_THE_VEHICLE, Place, chosen, learnable
from fitsvc.rulebook.vocabulary import EFFORTS, Fact
from fitsvc.service.context import Service
from fitsvc.service.counter.visit import Visit
from fitsvc.store.records import get_records
from fitsvc.store.tables import Record
from fitsvc.subjects import OF_YARD, stored_as

MOST: Final = 12
"""So many questions are ready on the phone where there is no line: more than a visit asks."""
_EFFORTS: Final = ("ask", *AT_THE_VEHICLE)


@dataclass(frozen=True, slots=True)
class ToLearn:
    """A fact to learn: how many items it decides after those before it, and why again where something is known."""

    fact: Fact
    decides: int = 0
    state: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Questions:
    """What to ask next, and how many items are decided, wait for what is asked here, and wait for something else."""

    asked: tuple[ToLearn, ...]
    decided: int
    to_go: int
    elsewhere: int


def questions(session: Session, service: Service, visit: Visit, told: Mapping[str, Mapping[str, Json]]) -> Questions:
    """The questions of a visit after what has been read: those of most weight, what is doubted, and the rest."""
    reader, facts = service.answerer.reader, service.answerer.rulebook.vocabulary.facts
    done = {*visit.readings, *visit.cannot}
    case = rig_case(visit.rig(told), reader, StoreRecords(session))
    sets, outcomes = Counter[frozenset[str]](), Counter[str]()
    if case is not None:
        waits = service.selections.waiting.of(service.selections.index.held(), case, learnable(reader, _EFFORTS))
        outcomes = waits.outcomes
        sets = Counter({names: count for names, count in waits.sets.items() if not names & done})
    states, known = _known(session, visit)
    found = {name: ToLearn(facts[name], 0, state) for name, state in states.items() if name in facts}
    for place, count in chosen(Counter({_places(visit, names): n for names, n in sets.items()}), MOST):
        name = f"{place.subject}.{place.fact}"
        found[name] = ToLearn(facts[name], count, states.get(name, ""))
    weighed = sorted(found.values(), key=lambda one: (-one.decides, EFFORTS.index(one.fact.effort)))
    rest = [ToLearn(fact) for fact in _others(facts.values(), known) if fact.name not in found]
    left, total = outcomes["undetermined"], sum(outcomes.values())
    to_go = sum(sets.values())
    return Questions(
        asked=tuple(one for one in [*weighed, *rest] if one.fact.name not in done)[:MOST],
        decided=total - left,
        to_go=to_go,
        elsewhere=left - to_go,
    )


def _places(visit: Visit, names: frozenset[str]) -> frozenset[Place]:
    parts = (name.split(".", 1) for name in names)
    return frozenset(Place(stored_as(subject), visit.record(subject), short) for subject, short in parts)


def _known(session: Session, visit: Visit) -> tuple[dict[str, str], set[str]]:
    """What of the stored facts is disputed, doubtful or stale, and all of which something is known."""
    states, known = dict[str, str](), set[str]()
    for subject in OF_YARD:
        for record in get_records(session, subject, filter(None, (getattr(visit, subject),))).values():
            states |= {f"{subject}.{name}": how["state"] for name, how in _doubted(record)}
            known |= {f"{subject}.{name}" for name, value in record.facts.items() if value is not None}
    return states, known


def _doubted(record: Record) -> Iterator[tuple[str, Mapping[str, Json]]]:
    return ((name, how) for name, how in record.provenance.items() if how.get("state"))


def _others(facts: Collection[Fact], known: Collection[str]) -> list[Fact]:
    """What else can be learnt of the receiver and of how it sits, the easiest first."""
    open_ = [fact for fact in facts if fact.subject in OF_YARD[1:] and fact.name not in known]
    return sorted((one for one in open_ if one.effort in _EFFORTS), key=lambda fact: EFFORTS.index(fact.effort))
