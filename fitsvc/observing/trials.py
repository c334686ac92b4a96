"""What follows from an accessory that was tried on a rig, by the rulebook's own geometry.

A trial says in what state it was tried and what came of it: nothing touched, it rubbed, or it touched and did not go;
the gap that was left, if somebody measured it, and the adapters that it hung on, if it did. The rulebook says what room
is left in that state. What cannot be is then ruled out of the mounting's facts, one fact at a time, with whatever else
is known only within bounds taken as favourably as it may be. It may be other parts that touched than those whose room
that is, so what touched rules out nothing, and what would follow if they did is only supposed.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property, partial
from math import inf
from typing import Final

from fitsvc.document import Document, Json
from fitsvc.engine.point import Point
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.intervals import Bounds
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.truth import YES
from fitsvc.language.typed import ALWAYS
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import TrialState
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.observations import adapters_of, things_of
from fitsvc.store.statements import THING
from fitsvc.tongues import t
from fitsvc.tried import CLEAR, RESULTS, RUBBED, TOUCHED
from fitsvc.written import as_exact, exact, parted

MEMBERS: Final = ("sku", "state", "result", "gap", "through")
STRIKES: Final = 0.0254
"""By how much that touches strikes at the least: a thousandth of an inch, as a spare that did not stow is larger."""
_MOST_GAP: Final = 1524.0
GAP: Final = ("0 in", "60 in")
"""What a gap can be, in words."""
_HALVINGS: Final = 40
"""Halvings of a fact's whole range: the end is then found to less than a nanometre."""
_PARTS: Final = ("vehicle", "receiver", "mounting")


class Trials:
    """What trials of accessories teach, by one rulebook."""

    def __init__(self, reader: FactReader) -> None:
        self.reader, self.states = reader, reader.rulebook.trials
        self._engine = Point(reader.rulebook)

    def problems(self, evidence: Mapping[str, Json], pointer: str) -> Iterator[Problem]:
        """What is wrong with the evidence of an accessory that was tried."""
        for name in evidence:
            if name not in MEMBERS:
                listed = [f"`{one}`" for one in MEMBERS]
                help = t(
                    "it has {listed}, and may have {one} and {other}",
                    listed=", ".join(listed[:-2]),
                    one=listed[-2],
                    other=listed[-1],
                )
                yield Problem(t("`{name}` has no place in evidence", name=name), help, pointer=f"{pointer}/{name}")
        if not isinstance(evidence.get("sku"), str) or not evidence["sku"]:
            yield Problem(t("`sku` is not a text"), t("write the SKU of what was tried"), pointer=f"{pointer}/sku")
        through = adapters_of(evidence)
        if len(through) > MOST_ADAPTERS or not all(isinstance(one, str) and one for one in through):
            help = t("write the SKU of the adapter that it hung on, or a list of at most {most}", most=MOST_ADAPTERS)
            yield Problem(t("`through` names no adapter"), help, pointer=f"{pointer}/through")
        for name, known in (("state", tuple(self.states)), ("result", RESULTS)):
            if evidence.get(name) not in known:
                near = nearest(str(evidence.get(name)), known)
                help = (
                    t("did you mean `{near}`?", near=near)
                    if near
                    else t("it is one of {listed}", listed=", ".join(f"`{one}`" for one in known))
                )
                told = evidence.get(name)
                missing = t("`{name}` is missing", name=name) if told is None else ""
                message = missing or t("`{name}` is not known", name=str(told)[:60])
                yield Problem(message, help, pointer=f"{pointer}/{name}")
        if evidence.get("gap") is not None and evidence.get("state") in self.states:
            yield from self._gap_problems(evidence, pointer)

    def _gap_problems(self, evidence: Mapping[str, Json], pointer: str) -> Iterator[Problem]:
        if evidence.get("result") == TOUCHED:
            help = t("leave it out, or say `clear`")
            yield Problem(t("what touched left no gap"), help, pointer=f"{pointer}/gap", meaning=True)
        try:
            self._gap(self.states[evidence["state"]], evidence["gap"])
        except ProblemsFound as found:
            yield from (one.at(f"{pointer}/gap") for one in found.problems)

    def known(self, evidence: Mapping[str, Json]) -> bool:
        """Whether a trial is told as it could be here: of one that a newer version took, something may be left out."""
        return next(self.problems(evidence, ""), None) is None

    def bounds(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> dict[str, Bounds]:
        """What a trial leaves possible of each figure that it bears on, in the inside unit; only what it rules out.

        `around` are the facts of the rig by their whole names, and what is known of the thing under its SKU. Nobody
        says which parts touched, or were nearest: what went left so much room for sure, what did not rules out nothing.
        """
        return self._left_by(evidence, around, self._room_sure)

    def supposed(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> dict[str, Bounds]:
        """What it would leave possible, were the parts that touched those whose room the rulebook tells.

        Nothing of what cleared by no gap that was measured, as nothing touched.
        """
        if evidence.get("result") == CLEAR and evidence.get("gap") is None:
            return {}
        return self._left_by(evidence, around, self._room_supposed)

    def _left_by(
        self,
        evidence: Mapping[str, Json],
        around: Mapping[str, Json],
        left: Callable[[TrialState, Mapping[str, Json]], Bounds],
    ) -> dict[str, Bounds]:
        state, names = self.states.get(evidence.get("state", "")), things_of(evidence)
        things = [around[name] for name in (f"{THING}{sku}" for sku in names) if name in around]
        if state is None or state.room is None or len(things) < len(names) or not self.known(evidence):
            return {}
        facts, adapters = self._values(around, things[0]), [self._adapter(one) for one in things[1:]]
        low, high = left(state, evidence)
        found = dict[str, Bounds]()
        for name in state.bears_on:
            moves = self._engine.moves(state.room, adapted=bool(adapters)).get(name)
            if moves in (1, -1) and not (adapters and name in self._of_opening):
                # The figure itself is what is looked for, so nothing that is said of it is taken for known.
                room = self._room(state, {**facts, name: (-inf, inf)}, adapters, name)
                span = _possible(self.reader.vocabulary.facts[name], room, (low, high), moves) if room else None
                found |= {name.partition(".")[2]: span} if span is not None else {}
        return found

    @cached_property
    def _of_opening(self) -> frozenset[str]:
        """The facts of a rig that the working opening rests on: behind an adapter they are not followed."""
        return frozenset(read.name for read in self._engine.opening_leaves[0])

    def _room(
        self, state: TrialState, facts: Mapping[str, Value], adapters: Sequence[Mapping[str, Value]], name: str
    ) -> Callable[[float], Bounds] | None:
        """The room that is left as one fact changes; None where the trial may tell nothing of it."""
        assert state.room is not None
        present = frozenset({*_PARTS, "accessory"}) | self.reader.named(facts, adapters)
        case = self._engine.opened(Case(facts, present, tuple(adapters), {}))
        guards, rooms = (
            self._engine.values(("trial", state.name, what), partial(list, [node]))
            for what, node in (("guard", state.guard if state.guard is not None else ALWAYS), ("room", state.room))
        )
        room = rooms.adapted() if adapters else rooms.bare()

        def at(figure: float) -> Bounds:
            (found,) = room({**case.facts, name: (figure, figure)}.get, present)
            assert isinstance(found, tuple)
            return found

        return at if guards.of(case) == (YES,) else None

    def _adapter(self, thing: Mapping[str, Json]) -> Mapping[str, Value]:
        """The facts of an adapter as typed values."""
        values: dict[str, Value] = {}
        self.reader.read("adapter", dict(thing), "", [], values, {})
        return values

    def _values(self, around: Mapping[str, Json], thing: Mapping[str, Json]) -> dict[str, Value]:
        """The facts of the rig and the thing as typed values; what cannot be read is not known."""
        parts: dict[str, Document] = {"accessory": dict(thing), **{part: {} for part in _PARTS}}
        for name, value in around.items():
            subject, _, short = name.partition(".")
            if subject in _PARTS and value is not None:
                parts[subject][short] = value
        values: dict[str, Value] = {}
        for subject, facts in parts.items():
            self.reader.read(subject, facts, "", [], values, {})
        return values

    def _room_sure(self, state: TrialState, evidence: Mapping[str, Json]) -> Bounds:
        """The room that was surely left between the parts whose room the rulebook tells."""
        return max(self._room_supposed(state, evidence)[0], 0.0) if evidence.get("result") != TOUCHED else -inf, inf

    def _room_supposed(self, state: TrialState, evidence: Mapping[str, Json]) -> Bounds:
        """The room that may have been left, by what came of a trial: what rubs is as near as a tape tells."""
        if evidence.get("result") == TOUCHED:
            return (-inf, -STRIKES)
        if evidence.get("gap") is not None:
            return self._gap(state, evidence["gap"])
        return (0.0, self._tolerance(state).tolerance if evidence.get("result") == RUBBED else inf)

    def _tolerance(self, state: TrialState) -> Fact:
        """The fact by whose tolerance what is left is measured."""
        return self.reader.vocabulary.facts[state.bears_on[0]]

    def _gap(self, state: TrialState, told: Json) -> Bounds:
        """A gap that was measured; ProblemsFound when it is none."""
        of = self._tolerance(state)
        gap = replace(of, label="gap", range=(0.0, _MOST_GAP), range_text=GAP)
        wire = parted(told)
        if not isinstance(wire, Mapping):
            self.reader.value(gap, {"value": (value := as_exact(told)), "tolerance": "0 in"})
            wire = {"value": value, "tolerance": "0 in" if exact(told) else of.tolerance_text or "0 in"}
        (found,) = self.reader.value(gap, wire).values()
        assert isinstance(found, tuple)
        return found


def _possible(fact: Fact, room: Callable[[float], Bounds], left: Bounds, moves: int) -> Bounds | None:
    """The range of a figure with which the room that was left may have been; None where it rules nothing out."""
    assert fact.range is not None
    enough = _end(fact.range, lambda x: room(x)[1] >= left[0], -moves)
    little = _end(fact.range, lambda x: room(x)[0] <= left[1], moves)
    ends = [end for end in (enough, little) if end is not None]
    low = max((end[0] for end in ends), default=-inf)
    high = min((end[1] for end in ends), default=inf)
    return (low, high) if (low > -inf or high < inf) and low <= high else None


def _end(whole: Bounds, may_be: Callable[[float], bool], side: int) -> Bounds | None:
    """What is possible of a figure where that ends once within its range: above the end, or below for a side of 1.

    None where all of the range is possible, or nothing is: then something else is wrong.
    """
    good, bad = (whole[0], whole[1]) if side == 1 else (whole[1], whole[0])
    if may_be(bad) or not may_be(good):
        return None
    for _ in range(_HALVINGS):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if may_be(middle) else (good, middle)
    return (-inf, bad) if side == 1 else (bad, inf)
