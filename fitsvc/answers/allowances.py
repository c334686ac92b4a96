"""What an accessory may carry on a rig, in words: `with up to 2 bikes of 60 lb`."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fitsvc.answers.answer import AllowanceShown
from fitsvc.answers.governing import open_facts
from fitsvc.answers.phrases import joined
from fitsvc.answers.wording import Wording
from fitsvc.caching import LruCache
from fitsvc.engine.allowances import Allowances, Allowed, Neighbour
from fitsvc.facts import Case
from fitsvc.language.display import System, show_down
from fitsvc.language.types import Value
from fitsvc.tongues import t

_MOST_KEPT: Final = 10_000
"""Of half a kilobyte each: what the carriers of a shop come to on the rigs of a day."""
_MOST_NAMED: Final = 3
"""So many figures that are not known are named in a sentence; of more, only the first and how many there are."""


@dataclass(frozen=True, slots=True)
class Shared:
    """An opened case beside other things, and those as they find it beside them."""

    case: Case
    near: Sequence[Neighbour]


@dataclass(frozen=True, slots=True)
class Carried:
    """What may be carried in words, as facts with what they add to what is asked about, and the rules open with it."""

    shown: AllowanceShown
    load: Mapping[str, Value]
    named: frozenset[str]
    open: tuple[int, ...]

    def on(self, case: Case) -> Case:
        """The case with all of it on."""
        return replace(case, facts={**case.facts, **self.load}, present=case.present | self.named)


class AllowanceWords:
    """The allowances of a rulebook, told of one case at a time."""

    def __init__(self, wording: Wording) -> None:
        self._wording, self._engine = wording, wording.engine
        self.allowances = Allowances(wording.engine)
        allowances = wording.rulebook.allowances
        self._called = {(one.name, loading.fact): loading.called for one in allowances for loading in one.loadings}
        self._assumed_as = {one.name: one.assumed_as for one in allowances}
        self._kept = LruCache[Hashable, Carried](_MOST_KEPT)

    def told(self, case: Case, system: System) -> AllowanceShown | None:
        """What may be loaded in an opened case; None where none is to be told."""
        found = self.carried(case, system)
        return None if found is None else found.shown

    def carried(self, case: Case, system: System) -> Carried | None:
        """What may be loaded in an opened case, with the load itself; None where none is to be told."""
        if case.adapters or not self.allowances.may_apply(case):
            return self._carried(case, system)
        key = (system, case.present, *map(case.facts.get, self.allowances.rests_on))
        found = self._kept.find(key)
        if found is None:
            found = self._carried(case, system)
            if found is not None:
                self._kept.keep(key, found)
        return found

    def _carried(self, case: Case, system: System) -> Carried | None:
        found = self.allowances.of(case, system)
        return None if found is None else self._loaded(case, found, self._shown(found, system))

    def _loaded(self, case: Case, found: Allowed, shown: AllowanceShown) -> Carried:
        """What was found of a case; beside other things with what all those come to as they are taken to be loaded."""
        facts = found.loaded.facts
        load = {name: facts[name] for name in (*found.load, *self._engine.rulebook.beside) if name in facts}
        return Carried(shown, load, found.loaded.present - case.present, found.own_open)

    def beside(self, near: Shared, alone: Shared | None, system: System) -> Carried | None:
        """What may be loaded beside other things, each with what its label allows where no load is named for it.

        Where more may be with nothing on those, as in `alone`, that is told with it.
        """
        found = self.allowances.of(near.case, system, near.near)
        if found is None:
            return None
        shown = self._shown(found, system)
        more = None if alone is None or found.whole else self.allowances.of(alone.case, system, alone.near)
        if more is not None and found.at_most == 0.0 and not more.by_load.issuperset(found.against):
            # What the others' loads break alone, however much is on this one, holds down what may be on them.
            found = self.allowances.of(near.case, system, near.near, more.by_load) or found
            shown = self._shown(found, system)
        if more is not None and found.at_most is not None and (more.at_most or 0.0) > found.at_most:
            most = show_down(more.at_most or 0.0, self._unit(more), system)
            shown.told += t(", or at most {most} with nothing on the rest", most=most)
        return self._loaded(near.case, found, shown)

    def least(self, cases: Iterable[Case], system: System) -> Carried | None:
        """The least that is surely allowed in each of several cases, and the rules open with it in any of them."""
        found = [(one, case) for case in cases if (one := self.allowances.of(case, system)) is not None]
        if not found:
            return None
        unsure = [one.at_most is None or self._is_unsure(one) for one, _ in found]
        place = min(range(len(found)), key=lambda n: -1.0 if unsure[n] else found[n][0].at_most or 0.0)
        least, case = found[place]
        open_ = dict.fromkeys(number for one, _ in found for number in one.own_open)
        return replace(self._loaded(case, least, self._shown(least, system)), open=tuple(open_))

    def _is_unsure(self, found: Allowed) -> bool:
        """Whether a rule that a load can break is open however little is loaded, and waits for nothing to be told."""
        return any(number in found.by_load and not self._waits(number, case) for number, case in found.open)

    def _shown(self, found: Allowed, system: System) -> AllowanceShown:
        unknown, unit = self._unknown(found), self._unit(found)
        shown = AllowanceShown(allowance=found.allowance.name, told="", unknown=unknown)
        if 0.0 < found.by_label[0]:
            shown.by_label = show_down(found.by_label[0], unit, system)
        if found.at_most is None:
            shown.told = self._open(unknown)
            return shown
        if self._is_unsure(found):
            shown.told = t("how much it may carry is not sure until it is weighed as it is loaded")
            return shown
        rules = self._engine.rulebook.rules
        shown.at_most, shown.whole = show_down(found.at_most, unit, system), found.whole
        shown.against = [rules[number].id for number in found.against]
        if found.times is not None:
            shown.count, shown.each = found.times, show_down(found.each, unit, system)
        shown.told = _told(found, shown, self._called[found.allowance.name, found.loading.fact]) + (
            t(" by what is known") if found.open else ""
        )
        if found.assumes:
            shown.told += f", {self._assumed_as[found.allowance.name]}"
        return shown

    def _unit(self, found: Allowed) -> str:
        return self._engine.rulebook.vocabulary.facts[found.loading.fact].shown_in

    def _unknown(self, found: Allowed) -> list[str]:
        """The facts that open rules wait for; where nothing is surely allowed, those that have to be known."""
        rules = self._engine.rulebook.rules
        waiting = [one for one in found.open if found.at_most is not None or rules[one[0]].leaves_open]
        return list(dict.fromkeys(name for number, case in waiting for name in self._waits(number, case)))

    def _waits(self, number: int, case: Case) -> list[str]:
        """The facts that an open rule waits for."""
        return open_facts(self._engine, self._wording.rules(bool(case.adapters))[number].rests(case), case)

    def _open(self, names: Sequence[str]) -> str:
        """Until what is known: `the wheelbase and the axle rating are`, or `the wheelbase and 4 more figures are`."""
        the = [self._wording.the(name) for name in names]
        few = the if len(the) <= _MOST_NAMED else [the[0], t("{count} more figures", count=len(the) - 1)]
        if len(the) == 1:
            return t("what it may carry is not known until {the} is known", the=the[0])
        return t("what it may carry is not known until {several} are known", several=joined(few))


def _told(found: Allowed, shown: AllowanceShown, called: tuple[str, ...]) -> str:
    """What may be carried in words, with what the own label allows where that is more."""
    label = t(" (its own label allows {by_label})", by_label=shown.by_label) if shown.by_label else ""
    if not found.at_most:
        return t("with nothing on it{label}", label=label)
    if not found.whole:
        return t("with at most {at_most} on it{label}", at_most=shown.at_most, label=label)
    if found.times is None:
        return t("with up to {at_most} on it", at_most=shown.at_most)
    one = called[found.times > 1]
    in_all = (
        t(", {at_most} in all", at_most=shown.at_most) if found.times * found.each > found.at_most * (1 + 1e-9) else ""
    )
    return t("with up to {times} {one} of {each}{in_all}", times=found.times, one=one, each=shown.each, in_all=in_all)
