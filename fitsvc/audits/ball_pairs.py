"""Balls of a catalogue with its mounts, by the same kernel and rules: what the two decide whatever the rig and trailer.

Taken are the rules and needs that read of a ball and of an accessory and of nothing else. A pair that comes to `works`
by them goes together; what rig and trailer ask of either is told with these, and by the answer to the whole question.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from fitsvc.answers.wording import Wording
from fitsvc.audits.items import Items
from fitsvc.audits.other_pairs import OtherCounts
from fitsvc.audits.others import BALL
from fitsvc.audits.state import AuditState
from fitsvc.caching import LruCache
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.point import Point
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import NEED_EFFECTS, OUTCOME_OF, OUTCOMES, Effect, Result

_MOUNT: Final = "accessory"
_PAIR: Final = frozenset({_MOUNT, BALL})
_UNDETERMINED: Final = OUTCOMES.index("undetermined")
_FAILS: Final = OUTCOMES.index("fails")
_MOST_KEPT: Final = 1_024
"""Mounts that are told apart by what these rules read, kept judged: holes, platforms and kinds come in some dozens."""
Facts = tuple[tuple[str, Value], ...]


class BallPair(NamedTuple):
    """A ball with a mount: what they come to, the rules that decide, and why where a claim does not hold."""

    row: int
    ball: str
    mount: str
    outcome: str
    rules: str
    claimed: int
    why: str


class _Member(NamedTuple):
    """A rule or need of the pair alone: its number among all, its name, whether it can refuse, and its `leaves`.

    `brings` are the outcomes, as places in OUTCOMES, by its result over columns; -1 where it does not apply.
    """

    number: int
    name: str
    refuses: bool
    brings: tuple[int, int, int, int]
    leaves: frozenset[str]


class _OnMount(NamedTuple):
    """What one signature of balls comes to on one mount: the outcome, by which members, and whether any can refuse."""

    outcome: int
    by: tuple[_Member, ...]
    takes: bool


class BallPairs:
    """The pairs of a catalogue's balls and mounts; counts them on the way."""

    def __init__(self, state: AuditState, blocks: int) -> None:
        self._state, self._blocks, self._kernel = state, blocks, state.kernel
        self._words = Wording(state.kernel.engine)
        self._members = _of_pairs_alone(state.kernel.engine)
        self._read = frozenset[str]().union(*(one.leaves for one in self._members))
        self._kept = LruCache[Facts, Sequence[_OnMount]](_MOST_KEPT)
        self.counts = OtherCounts()

    def rows(self) -> Iterator[BallPair]:
        """A row for each ball with each mount that takes one, or may, and for each pair that is claimed."""
        balls = self._state.spool.other(BALL)
        if balls is None:
            return
        claims = self._state.spool.ball_claims()
        claimed = [frozenset(claims.get(sku, ())) for sku in balls.skus]
        catalogue = self._kernel.catalogue(balls, BALL)
        signatures = list(enumerate(catalogue.signature_of.tolist()))
        for items in map(self._state.spool.block, range(self._blocks)):
            for item, sku in enumerate(items.skus):
                on_mount = self._on_mount(items, item, catalogue)
                for ball, signature in signatures:
                    if on_mount[signature].takes or sku in claimed[ball]:
                        yield self._row(balls, ball, items, item, on_mount[signature], sku in claimed[ball])
        self.counts.items = len(balls.skus) if self.counts.outcomes else 0

    def _on_mount(self, items: Items, item: int, catalogue: Catalogue) -> Sequence[_OnMount]:
        """What each signature of balls comes to on one accessory."""
        facts = {name: value for name, value in self._facts(items, item).items() if name in self._read}
        return self._kept.get(tuple(sorted(facts.items())), lambda: self._judged(facts, catalogue))

    def _judged(self, facts: Mapping[str, Value], catalogue: Catalogue) -> Sequence[_OnMount]:
        present = {_MOUNT} | (self._kernel.rulebook.named & facts.keys())
        judged = self._kernel.columns.judge(catalogue, Case(facts, frozenset(present)))
        found = [(one, judged.results(one.number).tolist()) for one in self._members]
        every = []
        for signature in range(catalogue.count):
            brought = [(one, one.brings[results[signature]]) for one, results in found]
            outcome = max(what for _, what in brought)
            by = tuple(one for one, what in brought if what == outcome)
            takes = any(one.refuses and what >= 0 for one, what in brought)
            every.append(_OnMount(max(outcome, 0), by if outcome > 0 else (), takes))
        return every

    def _row(self, balls: Items, ball: int, items: Items, item: int, of: _OnMount, claimed: bool) -> BallPair:
        outcome, by = of.outcome, of.by
        if not of.takes:
            outcome = _FAILS  # it is claimed to stand on what takes no ball
        elif outcome < _UNDETERMINED and self._read & (balls.unread_of(ball) | items.unread_of(item)):
            outcome, by = _UNDETERMINED, ()
        name = OUTCOMES[outcome]
        self.counts.outcomes[name] += 1
        self.counts.claimed[name] += claimed
        case = self._case(balls, ball, items, item) if claimed and outcome >= _UNDETERMINED else None
        return BallPair(
            row=int(balls.lines[ball]),
            ball=balls.skus[ball],
            mount=items.skus[item],
            outcome=name,
            rules=" ".join(one.name for one in by),
            claimed=int(claimed),
            why=self._why(case, by, "undetermined" if name == "undetermined" else "fails") if case else "",
        )

    def _why(self, case: Case, by: Sequence[_Member], result: Result) -> str:
        """Why a claim does not hold or cannot be decided, by the first of the rules that say so."""
        rule = next((one for one in by if one.number < len(self._kernel.rulebook.rules)), None)
        if rule is None:
            return "A cell of the ball or of the mount could not be read." if result == "undetermined" else ""
        return self._words.rules(False)[rule.number].finding(result, case, "us").reason

    def _case(self, balls: Items, ball: int, items: Items, item: int) -> Case:
        facts = {**self._facts(items, item), **self._facts(balls, ball)}
        unread = balls.unread_of(ball) | items.unread_of(item)
        named = self._kernel.rulebook.named & (facts.keys() | unread)
        return self._kernel.engine.opened(Case(facts, _PAIR | named))

    def _facts(self, items: Items, item: int) -> dict[str, Value]:
        return items.facts_of(item, self._kernel.slots)


def _of_pairs_alone(engine: Point) -> list[_Member]:
    """The rules and needs that read of a ball and of an accessory, and of nothing else."""
    rules, needs = engine.rulebook.rules, engine.rulebook.needs
    found = []
    for number, rule in enumerate(rules):
        if leaves := _leaves(engine, rule.guard, rule.requires):
            found.append(_Member(number, rule.id, *_brought(rule.effects), leaves))
    for number, need in enumerate(needs, start=len(rules)):
        if leaves := _leaves(engine, need.guard, need.met):
            found.append(_Member(number, need.name, *_brought({**NEED_EFFECTS, "passes": "passes"}), leaves))
    return found


def _leaves(engine: Point, *nodes: AnyTyped | None) -> frozenset[str]:
    """What a rule or need rests on, if that is of a ball and of an accessory and of nothing else; else nothing."""
    support = Support([node for node in nodes if node is not None], engine.bare_derived)
    leaves = frozenset([*(leaf.name for leaf in support.leaves), *support.presences, *support.told])
    return leaves if {leaf.partition(".")[0] for leaf in leaves} == _PAIR else frozenset()


def _brought(effects: Mapping[Result, Effect]) -> tuple[bool, tuple[int, int, int, int]]:
    """Whether a rule can refuse, and the outcome of each of its results over columns, the last where it is silent."""
    passes, fails, open_ = (OUTCOMES.index(OUTCOME_OF[effects[one]]) for one in ("passes", "fails", "undetermined"))
    return fails == _FAILS, (passes, fails, open_, -1)
