"""What an accessory may carry on a rig, in words: `with up to 2 bikes of 60 lb`."""

from collections.abc import Hashable, Iterable, Sequence
from typing import Final

from fitsvc.answers.answer import AllowanceShown
from fitsvc.answers.governing import open_facts
from fitsvc.answers.phrases import joined
from fitsvc.answers.wording import Wording
from fitsvc.caching import LruCache
from fitsvc.engine.allowances import Allowances, Allowed
from fitsvc.facts import Case
from fitsvc.language.display import System, show_down

_MOST_KEPT: Final = 10_000
"""Of half a kilobyte each: what the carriers of a shop come to on the rigs of a day."""
_MOST_NAMED: Final = 3
"""So many figures that are not known are named in a sentence; of more, only the first and how many there are."""


class AllowanceWords:
    """The allowances of a rulebook, told of one case at a time."""

    def __init__(self, wording: Wording) -> None:
        self._wording, self._engine = wording, wording.engine
        self.allowances = Allowances(wording.engine)
        self._kept = LruCache[Hashable, AllowanceShown](_MOST_KEPT)

    def told(self, case: Case, system: System) -> AllowanceShown | None:
        """What may be loaded in an opened case; None where none is to be told."""
        if case.adapters or not self.allowances.may_apply(case):
            return self._told(case, system)
        key = (system, case.present, *map(case.facts.get, self.allowances.rests_on))
        found = self._kept.find(key)
        if found is None:
            found = self._told(case, system)
            if found is not None:
                self._kept.keep(key, found)
        return found

    def _told(self, case: Case, system: System) -> AllowanceShown | None:
        found = self.allowances.of(case, system)
        return None if found is None else self._shown(found, system)

    def least(self, cases: Iterable[Case], system: System) -> AllowanceShown | None:
        """The least that is surely allowed in each of several cases."""
        found = [one for case in cases if (one := self.allowances.of(case, system)) is not None]
        if not found:
            return None
        least = min(found, key=lambda one: -1.0 if one.at_most is None else one.at_most)
        return self._shown(least, system)

    def _shown(self, found: Allowed, system: System) -> AllowanceShown:
        unknown, unit = self._unknown(found), self._unit(found)
        shown = AllowanceShown(allowance=found.allowance.name, told="", unknown=unknown)
        if 0.0 < found.by_label[0]:
            shown.by_label = show_down(found.by_label[0], unit, system)
        if found.at_most is None:
            shown.told = f"what it may carry is not known until {self._named(unknown)} known"
            return shown
        rules = self._engine.rulebook.rules
        shown.at_most, shown.whole = show_down(found.at_most, unit, system), found.whole
        shown.against = [rules[number].id for number in found.against]
        if found.times is not None:
            shown.count, shown.each = found.times, show_down(found.each, unit, system)
        shown.told = _told(found, shown) + (" by what is known" if found.open else "")
        return shown

    def _unit(self, found: Allowed) -> str:
        return self._engine.rulebook.vocabulary.facts[found.loading.fact].shown_in

    def _unknown(self, found: Allowed) -> list[str]:
        """The facts that open rules wait for; where nothing is surely allowed, those that have to be known."""
        rules, case = self._engine.rulebook.rules, found.loaded
        waiting = [one for one in found.open if found.at_most is not None or rules[one].leaves_open]
        words = self._wording.rules(bool(case.adapters))
        names = (name for number in waiting for name in open_facts(self._engine, words[number].rests(case), case))
        return list(dict.fromkeys(names))

    def _named(self, names: Sequence[str]) -> str:
        """`the wheelbase and the axle rating are`, or `the wheelbase and 4 more figures are`."""
        the = [self._wording.the(name) for name in names]
        few = the if len(the) <= _MOST_NAMED else [the[0], f"{len(the) - 1} more figures"]
        return f"{joined(few)} {'is' if len(the) == 1 else 'are'}"


def _told(found: Allowed, shown: AllowanceShown) -> str:
    """What may be carried in words, with what the own label allows where that is more."""
    label = f" (its own label allows {shown.by_label})" if shown.by_label else ""
    if not found.at_most:
        return f"with nothing on it{label}"
    if not found.whole:
        return f"with at most {shown.at_most} on it{label}"
    if found.times is None:
        return f"with up to {shown.at_most} on it"
    one = found.loading.called[found.times > 1]
    in_all = f", {shown.at_most} in all" if found.times * found.each > found.at_most * (1 + 1e-9) else ""
    return f"with up to {found.times} {one} of {shown.each}{in_all}"
