"""The limits an answer tells, in words: each kept for the next case with the same facts, as findings are."""

from collections.abc import Callable, Mapping
from typing import Final, get_args

from fitsvc.answers.answer import LimitShown
from fitsvc.answers.governing import governing_fact, unknown_facts
from fitsvc.caching import LruCache
from fitsvc.engine.limits import Lowest, limit_of, limits_of, nodes_of, values_of_limit, values_of_limits
from fitsvc.engine.point import Point
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.compiler import compile_reads
from fitsvc.language.display import System, show_down
from fitsvc.rulebook.rules import Limit, Rulebook

_MOST_TOLD: Final = 2_000
"""Of each limit so many are kept in words, of some two hundred bytes each: as many as the findings of a rule."""
_Told = tuple[LimitShown, ...]
"""A limit in words; none where it does not apply."""


class LimitWords:
    """A rulebook's limits in words."""

    def __init__(self, engine: Point, rulebook: Rulebook) -> None:
        self._engine = engine
        self._limits = {limit.id: limit for limit in rulebook.limits}
        self._reads = [(limit, _reads(engine, limit)) for limit in engine.rulebook.limits]
        self._kept = {
            system: {limit.id: LruCache[tuple[object, ...], _Told](_MOST_TOLD) for limit in engine.rulebook.limits}
            for system in get_args(System)
        }

    def prepare(self) -> None:
        """Compile what is compiled when limits are first told."""
        values_of_limits(self._engine).prepare()
        for limit, _ in self._reads:
            values_of_limit(self._engine, limit).prepare()

    def told(self, case: Case, system: System) -> list[LimitShown]:
        """The limits of an opened case."""
        if case.adapters:
            return self.shown(limits_of(self._engine, case), case, system)
        kept, get, present, told = self._kept[system], case.facts.get, case.present, list[LimitShown]()
        for limit, reads in self._reads:
            key = reads(get, present)
            found = kept[limit.id].find(key)
            if found is None:
                low = limit_of(self._engine, limit, case)
                found = () if low is None else (self._shown(limit.id, low, case, system),)
                kept[limit.id].keep(key, found)
            told += found
        return told

    def shown(self, limits: Mapping[str, Lowest], case: Case, system: System) -> list[LimitShown]:
        """Limits by their ids in words, with what governs them in an opened case."""
        return [self._shown(name, low, case, system) for name, low in limits.items()]

    def _shown(self, name: str, low: Lowest, case: Case, system: System) -> LimitShown:
        """A limit in words, with the facts that govern it and those that are not known by their own names."""
        limit = self._limits[name]
        ratings = {rating.name: rating for rating in limit.ratings}
        found = (fact for one in low.unknown for fact in unknown_facts(self._engine, ratings[one], case))
        unknown = list(dict.fromkeys(found))
        if low.at_most is None or low.governs is None:
            return LimitShown(limit.name, unknown)
        unit, by = low.governs.shown.unit, governing_fact(self._engine, low.governs, low.at_most, case)
        over = show_down(low.at_most, unit, system).removeprefix("-") if low.at_most < 0.0 else ""
        return LimitShown(limit.name, unknown, show_down(max(0.0, low.at_most), unit, system), by, over)


def _reads(engine: Point, limit: Limit) -> Callable[..., tuple[object, ...]]:
    """What gives all that a limit follows from in a bare receiver, of an opened case's facts and what it is about."""
    support = Support(nodes_of(limit), engine.bare_derived)
    subjects = dict.fromkeys(subject for rating in limit.ratings for subject in rating.subjects)
    names = [*(read.name for read in support.leaves), *support.told]
    return compile_reads((*names,), tuple(subjects | support.presences))
