"""The cautions an answer shows, with their figures."""

from typing import Final

from fitsvc.answers.phrases import filled, in_metric, texts
from fitsvc.caching import LruCache
from fitsvc.engine.point import Point, Values
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.truth import UNKNOWN, YES
from fitsvc.language.typed import ALWAYS, AnyTyped
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Rulebook, values_of

_MOST_APPLYING: Final = 10_000
"""Of the guards' values that occur together, more than come up in practice: they take three values each."""


class Cautions:
    """A rulebook's cautions, or those of them that tell what is `assumed`.

    Which of them apply is computed at once, and figures only of those that do.
    """

    def __init__(self, engine: Point, rulebook: Rulebook, *, assumed: bool = False) -> None:
        self._engine, self._key = engine, ("cautions", assumed)
        self._cautions = [one for one in rulebook.cautions if one.assumed == assumed]
        self._written = [one for one in engine.rulebook.cautions if one.assumed == assumed]
        self._guards: list[AnyTyped] = [one.guard or ALWAYS for one in self._cautions]
        self._shown = [values_of(one.text) for one in self._cautions]
        self._nodes = [values_of(one.text) for one in self._written]
        self._texts = [
            filled(one.text, ()) if not shown else "" for one, shown in zip(self._cautions, self._shown, strict=True)
        ]
        self._applying = LruCache[tuple[frozenset[str], tuple[Value, ...]], tuple[int, ...]](_MOST_APPLYING)

    def prepare(self) -> None:
        """Compile what is compiled when cautions are first told."""
        self._engine.values(self._key, lambda: self._guards).prepare()
        for number, shown in enumerate(self._shown):
            if shown:
                self._figures(number).prepare()

    def told(self, case: Case, system: System) -> list[str]:
        """The cautions of an opened case: those that may apply; one with figures only where it surely does."""
        guards = self._engine.values(self._key, lambda: self._guards).of(case)
        applying = self._applying.find((case.present, guards))
        if applying is None:
            applying = self._apply(case.present, guards)
            self._applying.keep((case.present, guards), applying)
        told = [self._texts[number] or self._with_figures(number, case, system) for number in applying]
        return [in_metric(text) for text in told] if system == "metric" else told

    def _apply(self, present: frozenset[str], guards: tuple[Value, ...]) -> tuple[int, ...]:
        return tuple(
            number
            for number, (one, guard, shown) in enumerate(zip(self._cautions, guards, self._shown, strict=True))
            if guard in ((YES,) if shown else (YES, UNKNOWN)) and all(subject in present for subject in one.subjects)
        )

    def _with_figures(self, number: int, case: Case, system: System) -> str:
        values = dict(zip((one.told for one in self._nodes[number]), self._figures(number).of(case), strict=True))
        shown = [(values[one.told], one) for one in self._shown[number]]
        return filled(self._cautions[number].text, texts(shown, system))

    def _figures(self, number: int) -> Values:
        return self._engine.values((*self._key, number), lambda: [one.node for one in self._nodes[number]])
