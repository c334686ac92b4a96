"""Whole histories of a record, held to a plain specification after each step: the log, the facts, what is disputed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from effort import TIMED, tries
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from fitsvc.document import Json
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import InvalidValue
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, all_observations
from fitsvc.store.records import Draft, add_observation, get_record
from fitsvc.store.spans import Span
from fitsvc.store.statements import FactLaw
from fitsvc.store.taking_back import NO_REQUEST, Request

DAY = datetime(2026, 5, 1, tzinfo=UTC)
RANKS = {"assumed": 0, "published": 1, "measured": 2, "tried": 2}


def span_of(value: Json) -> Span:
    """A pair of numbers as a range, letters as members."""
    return frozenset(value) if isinstance(value, str) else (float(value[0]), float(value[1]))


def written(span: Span, like: Json) -> Json:
    """A span as a value."""
    return "".join(sorted(span)) if isinstance(span, frozenset) else list(span)


def law(**more: Any) -> FactLaw:
    """The law of a fact whose values are pairs or letters."""
    return FactLaw(read=lambda value, kind: (value, span_of(value)), write=written, **more)


class Made:
    """Facts of every sort: a figure and one that leans on it, members, a rating, and what was gathered by trials."""

    facts: Mapping[str, FactLaw] = {
        "figure": law(),
        "leaning": law(leans_on=("s.figure",)),
        "members": law(),
        "rating": law(rating=True),
        "largest": law(gathered="largest"),
    }

    def whole(self, name: str) -> str:
        """A fact's name as others lean on it."""
        return f"s.{name}"

    def fact(self, name: str) -> FactLaw:
        """The law of one fact."""
        return self.facts[name]

    def taught(self, evidence: Any) -> Any:
        """What went in is so large at the least."""
        return {"largest": [evidence["went"], evidence["went"]]}

    def bounded(self, evidence: Any, around: Any) -> Any:
        """Nothing follows from anything around it."""
        return {}

    def supposed(self, evidence: Any, around: Any) -> Any:
        """Nothing would follow from anything around it."""
        return {}

    def teaches(self, evidence: Any) -> Any:
        """A trial bears on one fact."""
        return ["largest"]

    def tried(self, evidence: Any) -> None:
        """Nothing answers for itself."""

    def changed(self, name: str, was: Json, now: Json) -> bool:
        """Whether two ranges have nothing in common."""
        return apart(was, now)


def apart(one: Json, other: Json) -> bool:
    """Whether two values share nothing."""
    if isinstance(one, str) or isinstance(other, str):
        return not set(one) & set(other)
    return bool(one[0] > other[1] or other[0] > one[1])


@dataclass
class Line:
    """A line of the log as the specification keeps it: who said what, and which earlier facts it takes back."""

    id: str
    facts: dict[str, Json]
    kind: str
    by: str
    at: datetime
    takes: set[tuple[str, str]] = field(default_factory=set)
    leant: Json = None
    source: str = ""

    @property
    def publisher(self) -> tuple[str, str]:
        """Whose word what is published or assumed is: a feed's, whoever sends it, or else a person's."""
        return self.source, "" if self.source else self.by


class Plain:
    """What is known by the words of the law, without its code: by asking of each line and each point."""

    def __init__(self) -> None:
        self.log: list[Line] = []

    def works(self, line: Line) -> bool:
        """Whether a line is not taken back as a whole by a later one that is not."""
        later = self.log[self.log.index(line) + 1 :]
        return not any((line.id, "*") in one.takes and self.works(one) for one in later)

    def stands(self, line: Line, fact: str) -> bool:
        """Whether what a line says of a fact was not taken back."""
        return self.works(line) and not any((line.id, fact) in one.takes and self.works(one) for one in self.log)

    def said(self, fact: str) -> list[Line]:
        """The lines that stand of a fact."""
        return [one for one in self.log if one.facts.get(fact) is not None and self.stands(one, fact)]

    def known(self) -> tuple[dict[str, Json], dict[str, str]]:
        """Every fact that is known, and the state of each that is disputed or stale."""
        facts, states = dict[str, Json](), dict[str, str]()
        for fact in Made.facts:
            value, state = self.of(fact, facts.get("figure"))
            facts |= {fact: value} if value is not None else {}
            states |= {fact: state} if state else {}
        return facts, states

    def of(self, fact: str, figure: Json) -> tuple[Json, str]:
        """What is known of one fact, with what is known of the figure that another leans on."""
        said = self.said(fact)
        if fact == "leaning":
            old = [one for one in said if self.is_old(one, figure)]
            said = [one for one in said if one not in old]
            # A maker's word is of the figure that is published, and no better ground than what was seen since.
            if old and max((RANKS[one.kind] for one in said), default=0) < max(RANKS[one.kind] for one in old):
                return None, "stale"
        if not said:
            return None, ""
        if fact == "largest":
            sure = [one for one in said if one.kind != "assumed"] or said
            cases = [one for one in sure if RANKS[one.kind] == 2]
            cases += self.present([one for one in sure if RANKS[one.kind] < 2], fact)
            return max((one.facts[fact] for one in cases), key=lambda value: value[0]), ""
        best = max(RANKS[one.kind] for one in said)
        ranked = [one for one in said if RANKS[one.kind] == best]
        if fact == "rating" and best == 2:
            floor = min(one.facts[fact][0] for one in ranked)
            ranked += [one for one in said if 0 < RANKS[one.kind] < 2 and one.facts[fact][1] < floor]
        value, state = possible([one.facts[fact] for one in self.present(ranked, fact)])
        if fact == "members" and not state and best == 2:
            for one in self.present([one for one in said if one.kind == "published"], fact):
                value = "".join(sorted(set(value) & set(one.facts[fact]))) or value
        return value, state

    def is_old(self, line: Line, figure: Json) -> bool:
        """Whether the figure that a reading was taken with, or that is published, is surely another now."""
        leant = line.leant
        if line.kind == "published":
            sold = [one for one in self.log if one.kind == "published" and one.facts.get("figure") is not None]
            leant = max(sold, key=lambda one: (one.at, self.log.index(one))).facts["figure"] if sold else None
        return RANKS[line.kind] > 0 and leant is not None and figure is not None and apart(leant, figure)

    def present(self, said: Sequence[Line], fact: str) -> list[Line]:
        """What each person holds to at present, and the latest of what a feed, else a person, publishes or assumes."""
        found: list[Line] = []
        for one in sorted(said, key=lambda each: -each.at.timestamp()):
            later = [other for other in found if other.by == one.by and other.at > one.at and other.kind == one.kind]
            if RANKS[one.kind] < 2:
                same = [other for other in said if other.kind == one.kind and other.publisher == one.publisher]
                last = max(same, key=lambda each: (each.at, self.log.index(each)))
                found += [one] if one is last else []
            elif not one.by or not any(apart(one.facts[fact], other.facts[fact]) for other in later):
                found.append(one)
        return found


def possible(values: Sequence[Json]) -> tuple[Json, str]:
    """What is possible: every point or member that no other beats, being allowed by all who allow it and by more."""
    letters = isinstance(values[0], str)
    points: Sequence[Any] = "abcd" if letters else [n / 2 for n in range(100)]
    allow = {p: {i for i, v in enumerate(values) if (p in v if letters else v[0] <= p <= v[1])} for p in points}
    best = [p for p, by in allow.items() if by and not any(by < other for other in allow.values())]
    state = "" if any(len(by) == len(values) for by in allow.values()) else "disputed"
    return ("".join(best) if letters else [min(best), max(best)]), state


LOW, HIGH = ([0, 6], [1, 7], [2, 8]), ([20, 26], [22, 28])
"""Ranges of which any two of one group agree, and any two of different ones cannot both hold."""
VALUES = {
    "figure": st.sampled_from([*LOW, *HIGH]),
    "leaning": st.sampled_from([*LOW, *HIGH]),
    "rating": st.sampled_from([*LOW, *HIGH]),
    "members": st.sampled_from(["a", "ab", "bc", "d"]),
    "largest": st.sampled_from([[3, 3], [9, 9]]),
}
TOLD = st.sampled_from(["figure", "leaning", "figure", "leaning", *sorted(VALUES)]).flatmap(
    lambda name: st.tuples(st.just(name), VALUES[name])
)
STEPS = st.tuples(
    st.sampled_from(["tell"] * 5 + ["try", "null", "retract", "retract", "correct", "settle"]),
    TOLD,
    st.sampled_from(["measured"] * 4 + ["published"] * 2 + ["assumed"]),
    st.sampled_from(["", "Ann", "Bo"]),
    st.sampled_from(["", "", "first list", "second list"]),
    st.integers(0, 9),
    st.integers(0, 9),
)


def step(session: Any, key: str, plain: Plain, step: Any) -> None:
    """Carry one step out in the store and in the specification; what is refused, nothing of it stands."""
    what, (name, value), kind, by, source, hour, number = step
    target = plain.log[number % len(plain.log)]
    at, taken, facts, evidence, request = DAY + timedelta(hours=hour), set[tuple[str, str]](), {name: value}, None, None
    if what == "try":
        kind, facts, evidence = "tried", {"largest": [hour, hour]}, {"went": hour}
    elif what == "null":
        facts = {name: None}
        own = [one for one in plain.said(name) if source in ("", one.source)]
        taken = {(one.id, name) for one in own if RANKS[one.kind] <= RANKS[kind]}
    elif what == "retract":
        facts, taken, request = {}, {(target.id, "*")}, Request("retracts", target.id, "a slip")
    elif what == "correct":
        taken, request = {(target.id, name)}, Request("corrects", target.id, "a slip")
    elif what == "settle":
        taken = {(one.id, name) for one in plain.said(name) if apart(one.facts[name], value)}
        request = Request("settles", "", "both looked")
    told = Provenance(kind=kind, by=by, at=at, source=source)
    more: Any = {"laws": lambda subject: Made(), "request": request or NO_REQUEST, "evidence": evidence}
    leant = plain.known()[0].get("figure")
    try:
        found, _ = add_observation(session, "receiver", key, {} if what == "try" else facts, told, **more)
    except InvalidValue:
        assert request is not None
        assert not any(plain.stands(target, fact) for fact, one in target.facts.items() if one is not None)
        return
    plain.log.append(Line(found.id, facts, kind, by, at, taken, leant, source))


@tries(40, suppress_health_check=(*TIMED, HealthCheck.function_scoped_fixture))
@given(st.lists(STEPS, min_size=4, max_size=12))
def test_a_record_is_what_its_history_says_by_the_words_of_the_law(database: Database, steps: list[Any]) -> None:
    """After each step, whatever was told, tried, nulled, retracted, corrected or settled; and again as of each."""
    plain, then = Plain(), []
    with database.session() as session:
        key = create_record(session, "receiver", Draft(facts={"figure": [0, 6]}), laws=lambda subject: Made()).key
        (first,) = all_observations(session, "receiver", key)
        plain.log.append(Line(first.id, {"figure": [0, 6]}, "published", "", first.at))
    for one in steps:
        with database.session() as session:
            step(session, key, plain, one)
            record = get_record(session, "receiver", key)
            states = {name: how["state"] for name, how in record.provenance.items() if "state" in how}
            assert (record.facts, states) == plain.known()
            then.append((len(plain.log), record.facts))
    with database.session() as session:
        log = all_observations(session, "receiver", key)
    assert [one.id for one in log] == [line.id for line in plain.log]
    for count, facts in then:
        assert current_facts(log[:count], Made()).facts == facts
