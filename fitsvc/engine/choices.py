"""The choices that an answer may be decided by, case by case, found from the rules: no file declares them.

A choice is a fact that is a member of a list, or a yes or no. While it is open, a rule that fails with one value and
passes with another is open too. Where with each value that it may have *some* rule fails, the answer is no, whichever
it is. Only a choice on which two blocking rules rest can do that, or one that a rule reads so that it may stay open
though each value settles it alike: more than once, or by way of a figure.

What an open rule or need reads so, and passes with each value of, is no reason to leave the answer open: it is moot,
and the answer is what it would be without it.

Both are asked of every answer that leaves something open, whatever else it comes to, and with every such choice. So
more knowledge never takes a no or a yes back: the choice that decided is known, and then one of its cases holds, or
it is still open between fewer values, and with each of them some rule fails, or the rule passes. A search that gave up
early, or that was made for undetermined answers only, would break that.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Final

from fitsvc.engine.opening import WorkingOpening
from fitsvc.engine.verdict import EitherWay, Moot, Verdict
from fitsvc.facts import Case, at_place
from fitsvc.language import typed
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import ListType, TruthType, Value, is_exact

if TYPE_CHECKING:
    from fitsvc.engine.point import Point

_LOSSY: Final = 2
"""As good as read twice: a rule may be open though each value settles it alike."""
_NOT_IN_THE_WAY: Final = ("passes", "not_applicable")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A fact to decide by, with the numbers of the blocking rules that rest on it.

    `alone` are those of them, as bits, that may fail with each of its values and yet be open. `lost` are the rules,
    cautions too, and `lost_needs` the needs that may come to the same with each of its values and yet be open, both as
    bits too. `opens` tells that the working opening rests on it.
    """

    name: str
    type: ListType | TruthType
    rules: tuple[int, ...]
    bits: int
    alone: int
    lost: tuple[int, ...]
    lost_bits: int
    lost_needs: tuple[int, ...]
    lost_need_bits: int
    opens: bool

    @property
    def subject(self) -> str:
        """The subject that it is a fact of."""
        return self.name.split(".", 1)[0]

    @property
    def of_adapter(self) -> bool:
        """Whether it is a fact of adapters, each of which has its own."""
        return self.subject == "adapter"

    def lost_members(self, rules: int) -> tuple[int, ...]:
        """What may be lost with it, as numbers of rules and needs in one row; there are so many rules."""
        return (*self.lost, *(rules + number for number in self.lost_needs))

    def may_lose(self, number: int, rules: int) -> bool:
        """Whether a rule or need may be lost with it, by its number in that row."""
        return bool((self.lost_bits | self.lost_need_bits << rules) >> number & 1)

    def may_decide(self, open_: int) -> bool:
        """Whether it may decide while these blocking rules, as bits, are open."""
        resting = open_ & self.bits
        return bool(resting & (resting - 1) or resting & self.alone)

    @property
    def decides(self) -> bool:
        """Whether enough blocking rules rest on it for it ever to come to a no."""
        return len(self.rules) > 1 or bool(self.alone)

    def values(self, known: Value | None) -> list[Value]:
        """The values that it may have, in order."""
        if not isinstance(self.type, ListType):
            return [NO, YES] if known is None or known == UNKNOWN else [known]
        mask = self.type.unknown if known is None else known
        assert isinstance(mask, int)
        return [self.type.member(i) for i in range(len(self.type.members)) if mask >> i & 1]

    def is_open(self, known: Value | None) -> bool:
        """Whether it may have several values."""
        return known is None or not is_exact(self.type, known)

    def known(self, case: Case, adapter: int | None) -> Value | None:
        """What a case tells of it."""
        return (case.facts if adapter is None else case.adapters[adapter]).get(self.name)

    def places(self, case: Case) -> Iterable[int | None]:
        """Whose choice it is in a case: the rig's, or each adapter's in turn; nobody's of what is not in it."""
        return range(len(case.adapters)) if self.of_adapter else (None,) * (self.subject in case.present)

    def supposed(self, case: Case, adapter: int | None, value: Value) -> Case:
        """The case with this value; it is to be opened again where the opening rests on it."""
        if adapter is None:
            return replace(case, facts={**case.facts, self.name: value}, opened=case.opened and not self.opens)
        adapters = list(case.adapters)
        adapters[adapter] = {**adapters[adapter], self.name: value}
        return replace(case, adapters=tuple(adapters), opened=False)


def latest_first(values: Sequence[Value], last: Value | None) -> Iterable[Value]:
    """Values in the order to be tried: that with which the last such search came to its end, then from the end."""
    return dict.fromkeys((*(one for one in values if one == last), *values[::-1]))


class Choices:
    """The choices to decide by, in the vocabulary's order, with adapters in the opening or without."""

    def __init__(self, engine: "Point", adapted: bool) -> None:
        self._engine, self._adapted = engine, adapted
        self.all = list(_found(engine, adapted))
        self._by_name = {choice.name: choice for choice in self.all}
        # A function and an order a choice: the rulebook bounds them.
        self._judges: dict[str, Callable[..., Verdict]] = {}
        self._need_judges: dict[str, Callable[..., Verdict]] = {}
        self._against: dict[str, Value] = {}
        self._orders: dict[str, Mapping[Value, int]] = {}
        self._blocking = frozenset(n for n, rule in enumerate(engine.rulebook.rules) if rule.blocks)

    def prepare(self) -> None:
        """Compile what is compiled at its first use."""
        for choice in self.all:
            self.judge(choice)
            self._open_needs(choice)
            self.in_order(choice, ())

    def of(self, name: str) -> Choice:
        """The choice of a name."""
        return self._by_name[name]

    def passing(self, case: Case, verdict: Verdict) -> tuple[Moot, EitherWay] | None:
        """What of an opened case is moot, with the first choice by which some of it is; None where nothing is."""
        rules, needs = _bits((*verdict.unknown, *verdict.doubts)), _bits(verdict.open_needs)
        followed, by = _Followed(self._engine, case), list[EitherWay]()
        moot_rules, moot_needs = set[int](), set[int]()
        for choice in self.all:
            if not (rules & choice.lost_bits or needs & choice.lost_need_bits):
                continue
            for adapter in choice.places(case):
                values = choice.values(choice.known(case, adapter))
                if len(values) > 1 and (moot := self._moot(followed, choice, adapter, values, rules, needs)):
                    moot_rules |= moot.rules
                    moot_needs |= moot.needs
                    by.append(EitherWay(choice.name, adapter, tuple((value, None) for value in values)))
        return (Moot(frozenset(moot_rules), frozenset(moot_needs)), by[0]) if by else None

    def _moot(
        self,
        followed: "_Followed",
        choice: Choice,
        adapter: int | None,
        values: Sequence[Value],
        open_: int,
        open_needs: int,
    ) -> Moot | None:
        """What of the open rules and needs, as bits, is in the way with none of the values of a choice."""
        rules = [number for number in choice.lost if open_ >> number & 1]
        needs = {number for number in choice.lost_needs if open_needs >> number & 1}
        judge, present = partial(self._engine.judge_of, adapted=self._adapted), followed.case.present
        last = self._against.get(choice.name)
        for value in latest_first(values, last):
            get = followed.facts(choice, adapter, value).get
            # Of all that may be lost few rules are open, and each is judged sooner than all of them together.
            rules = [number for number in rules if judge(number)(get, present) in _NOT_IN_THE_WAY]
            needs = needs.difference(self._open_needs(choice)(get, present).open_needs) if needs else needs
            if not rules and not needs:
                self._against[choice.name] = value  # the next question is much like this one: it ends with it too
                return None
        return Moot(frozenset(rules), frozenset(needs))

    def _open_needs(self, choice: Choice) -> Callable[..., Verdict]:
        found = self._need_judges.get(choice.name)
        if found is None:
            self._need_judges[choice.name] = found = self._engine.compiled((), self._adapted, choice.lost_needs)
        return found

    def failing(self, case: Case, undetermined: Iterable[int]) -> EitherWay | None:
        """The first choice with each value of which some rule fails in an opened case; these rules are undetermined."""
        open_ = sum(1 << number for number in undetermined if number in self._blocking)
        followed = _Followed(self._engine, case)
        for choice in self.all:
            if choice.may_decide(open_):
                for adapter in choice.places(case):
                    cases = self._cases(followed, choice, adapter)
                    if cases:
                        return EitherWay(choice.name, adapter, tuple(sorted(cases, key=lambda one: one[0])))
        return None

    def _verdicts(
        self, followed: "_Followed", choice: Choice, adapter: int | None, values: Iterable[Value]
    ) -> Iterator[Verdict]:
        """What the rules that rest on a choice come to with each of some values."""
        judge = self.judge(choice)
        for value in values:
            yield judge(followed.facts(choice, adapter, value).get, followed.case.present)

    def _cases(self, followed: "_Followed", choice: Choice, adapter: int | None) -> list[tuple[Value, int | None]]:
        """Each value with the first rule that fails with it; nothing where with some value none does."""
        known = choice.values(choice.known(followed.case, adapter))
        values = self.in_order(choice, known) if len(known) > 1 else []
        found: list[tuple[Value, int | None]] = []
        for value, verdict in zip(values, self._verdicts(followed, choice, adapter, values), strict=True):
            if not verdict.fails:
                return []
            found.append((value, min(verdict.fails)))
        return found

    def judge(self, choice: Choice) -> Callable[..., Verdict]:
        """A function that judges the rules that rest on a choice, on an opened case's facts."""
        found = self._judges.get(choice.name)
        if found is None:
            self._judges[choice.name] = found = self._engine.compiled(choice.rules, self._adapted)
        return found

    def in_order(self, choice: Choice, values: Iterable[Value]) -> list[Value]:
        """Some values, those first with which the fewest rules are in the way: one that none fails ends the search."""
        order = self._orders.get(choice.name)
        if order is None:
            everything = choice.values(None)
            self._orders[choice.name] = order = {value: self._in_the_way(choice, value) for value in everything}
        return sorted(values, key=order.__getitem__)

    def _in_the_way(self, choice: Choice, value: Value) -> int:
        """How many rules do not pass where nothing is known but this value."""
        rulebook = self._engine.rulebook
        placed = (at_place(1, name) for name in rulebook.named if name.startswith("adapter."))
        present = rulebook.named.union(rulebook.vocabulary.subjects, placed)
        nothing = Case({}, present, ({},) if self._adapted else ())
        supposed = self._engine.opened(choice.supposed(nothing, 0 if choice.of_adapter else None, value))
        verdict = self.judge(choice)(supposed.facts.get, supposed.present)
        return len(verdict.fails) + len(verdict.unknown) + len(verdict.doubts)


class _Followed:
    """An opened case whose opening is followed as far as one choice moves it, from what it is without."""

    def __init__(self, engine: "Point", case: Case) -> None:
        self._engine, self.case = engine, case

    @cached_property
    def _opening(self) -> WorkingOpening:
        return WorkingOpening(self._engine, self.case)

    def facts(self, choice: Choice, adapter: int | None, value: Value) -> Mapping[str, Value]:
        """The facts with a choice supposed to have a value."""
        if adapter is None and not (choice.opens and self.case.adapters):
            return {**self.case.facts, choice.name: value}
        return {**self.case.facts, **self._opening.changes(choice.name, adapter, value)[-1]}


def _bits(numbers: Iterable[int]) -> int:
    return sum(1 << number for number in numbers)


def _found(engine: "Point", adapted: bool) -> Iterator[Choice]:
    behind = _behind_opening(engine) if adapted else {}
    opens = frozenset[str]().union(*behind.values())
    derived = engine.derived if adapted else engine.bare_derived
    rulebook = engine.rulebook
    readings = [_readings((rule.guard, rule.requires), derived, behind) for rule in rulebook.rules]
    needed = [_readings((need.guard, need.met), derived, behind) for need in rulebook.needs]
    for name, kind in rulebook.vocabulary.slots().items():
        if not isinstance(kind, ListType | TruthType):
            continue
        rules = [number for number, rule in enumerate(rulebook.rules) if rule.blocks and readings[number][name]]
        alone = [number for number in rules if readings[number][name] >= _LOSSY]
        lost, lost_needs = (
            tuple(number for number, times in enumerate(some) if times[name] >= _LOSSY) for some in (readings, needed)
        )
        if len(rules) > 1 or lost or lost_needs:
            yield Choice(
                name=name,
                type=kind,
                rules=tuple(rules),
                bits=_bits(rules),
                alone=_bits(alone),
                lost=lost,
                lost_bits=_bits(lost),
                lost_needs=lost_needs,
                lost_need_bits=_bits(lost_needs),
                opens=name in opens,
            )


def _behind_opening(engine: "Point") -> dict[str, frozenset[str]]:
    """The facts that each fact of the working opening rests on, by way of the others too."""
    direct = {
        name: {read.name for support in supports for read in support.leaves}
        for name, supports in engine.opening_supports.items()
    }
    for _ in direct:  # as long as the longest way through them can be
        for names in direct.values():
            names.update(*(direct[name] for name in names & direct.keys()))
    return {name: frozenset(names) for name, names in direct.items()}


def _readings(
    nodes: Iterable[AnyTyped | None], derived: Mapping[str, AnyTyped], behind: Mapping[str, frozenset[str]]
) -> Counter[str]:
    """How often a rule or need reads each fact, through derived values; what may be lost on the way counts twice."""
    found = Counter[str]()
    for node in nodes:
        if node is not None:
            _count(node, derived, behind, plain=True, found=found)
    return found


def _count(
    node: AnyTyped,
    derived: Mapping[str, AnyTyped],
    behind: Mapping[str, frozenset[str]],
    plain: bool,
    found: Counter[str],
) -> None:
    if isinstance(node, Read):
        below = derived.get(node.name)
        if below is not None:
            _count(below, derived, behind, plain, found)
            return
        found[node.name] += 1 if plain else _LOSSY
        for name in behind.get(node.name, ()):
            found[name] += _LOSSY
        return
    for part in typed.parts(node):
        _count(part, derived, behind, plain and typed.keeps_choices(node), found)
