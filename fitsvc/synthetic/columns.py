"""A made-up catalogue and made-up rigs, the same for the same seed, for demonstrations and measurements.

Items are variants of models: colours, packs and sellers repeat a model's facts. A model has the facts of its
kind only; makers leave some out, give some within a tolerance, and now and then leave two sizes open. Figures are
drawn in the steps in which makers write them (`usual`). A fact of which nothing usual is said is drawn over its range.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from fitsvc.engine.columns.signatures import Column, known_rows, taken, value_at
from fitsvc.facts import Case
from fitsvc.language.types import ListType, NumberType, Type
from fitsvc.rulebook.rules import Rulebook
from fitsvc.subjects import KIND
from fitsvc.synthetic.usual import Usual, usual_of

_INCH, _POUND = 25.4, 0.45359237


class Made(NamedTuple):
    """Columns by slot, and how many items they are of."""

    columns: dict[str, Column]
    items: int


def synthetic_accessories(
    rulebook: Rulebook, count: int, *, models: int | None = None, seed: int = 1, unknown: float = 0.12
) -> Made:
    """So many accessories, variants of so many models (a sixteenth if not said; as many as items: all differ)."""
    rng = np.random.Generator(np.random.PCG64(seed))
    models = min(count, models or max(1, count // 16))
    usual = usual_of(rulebook)
    columns = _Drawing(rng, rulebook, usual).subject("accessory", models, unknown)
    _blank(columns, rulebook, usual)
    if models < count:
        # Few models sell most: ranks drawn so that a model's share falls with its number.
        model = np.concatenate([np.arange(models), (models * rng.random(count - models) ** 2).astype(np.intp)])
        rng.shuffle(model)
        columns = {name: taken(column, model) for name, column in columns.items()}
    return Made(columns, count)


def synthetic_rigs(rulebook: Rulebook, count: int, *, seed: int = 2, unknown: float = 0.15) -> list[Case]:
    """So many rigs: vehicle, receiver and mounting, most with a load; a share `unknown` of facts is left out."""
    rng = np.random.Generator(np.random.PCG64(seed))
    always = [name for name, subject in rulebook.vocabulary.subjects.items() if subject.presence == "always"]
    columns: dict[str, Column] = {}
    drawing = _Drawing(rng, rulebook, usual_of(rulebook))
    for subject in (*always, "load"):
        columns |= drawing.subject(subject, count, unknown)
    loaded = rng.random(count) < 0.8
    named = rulebook.named
    kinds = rulebook.vocabulary.slots()
    known = {name: known_rows(kinds[name], column) for name, column in columns.items()}
    rigs = []
    for row in range(count):
        facts = {
            name: value_at(kinds[name], column, row)
            for name, column in columns.items()
            if known[name][row] and (loaded[row] or not name.startswith("load."))
        }
        present = {*always, *(["load"] if loaded[row] else [])} | (named & facts.keys() if row % 2 else set())
        rigs.append(Case(facts, frozenset(present)))
    return rigs


@dataclass(slots=True)
class _Drawing:
    """One drawing of columns: what is random, and what is usual of a rulebook's facts."""

    rng: Generator
    rulebook: Rulebook
    usual: Usual

    def subject(self, subject: str, count: int, unknown: float) -> dict[str, Column]:
        """A column for every fact of a subject."""
        found: dict[str, Column] = {}
        for name, kind in self.rulebook.vocabulary.slots().items():
            if name.split(".", 1)[0] == subject:
                missing = self.rng.random(count) < unknown
                found[name] = self._column(name, kind, count, missing)
        return found

    def _column(self, name: str, kind: Type, count: int, missing: NDArray[np.bool_]) -> Column:
        if isinstance(kind, NumberType):
            return self._numbers(name, kind, count, missing)
        if isinstance(kind, ListType):
            return self._members(kind, count, missing)
        flags = np.where(self.rng.random(count) < 0.6, 2, 0).astype(np.uint8)
        flags[missing] = 1
        return flags

    def _members(self, kind: ListType, count: int, missing: NDArray[np.bool_]) -> NDArray[np.uint64]:
        rng, size = self.rng, len(kind.members)
        # The middle of a list is the commonest, as it is of sizes.
        likely = np.bincount(np.minimum(rng.binomial(8, 0.4, 4096), size - 1), minlength=size)
        member = rng.choice(size, count, p=(likely + 64) / (likely + 64).sum())
        mask = np.uint64(1) << member.astype(np.uint64)
        open_ = rng.random(count) < 0.03
        mask[open_] |= np.uint64(1) << rng.integers(0, size, int(open_.sum())).astype(np.uint64)
        mask[missing] = kind.unknown
        return mask

    def _numbers(self, name: str, kind: NumberType, count: int, missing: NDArray[np.bool_]) -> Column:
        low, high, step = self._figures(name)
        rng, steps = self.rng, max(1, round((high - low) / step))
        middle = rng.triangular(0.0, 0.4, 1.0, count)
        figure = low + step * np.floor(middle * (steps + 1)).clip(0, steps)
        rough = np.where(rng.random(count) < 0.1, step * rng.integers(1, 3, count), 0.0)
        least, most = figure - rough, figure + rough
        if not kind.negative:
            least = least.clip(0.0)
        least[missing], most[missing] = kind.unknown
        return least, most

    def _figures(self, name: str) -> tuple[float, float, float]:
        """Least, most and step of a fact, in inside units."""
        fact = self.rulebook.vocabulary.fact_of(name)
        if name in self.usual.figures and fact:
            unit = {"length": _INCH, "mass": _POUND}.get(fact.kind, 1.0)
            low, high, step = self.usual.figures[name]
            return low * unit, high * unit, step * unit
        low, high = fact.range if fact and fact.range else (500.0, 900.0)
        whole = fact is not None and fact.kind == "count"
        return low, high, 1.0 if whole else (high - low) / 64


def _blank(columns: dict[str, Column], rulebook: Rulebook, usual: Usual) -> None:
    """Make unknown what an accessory's kind has no use for."""
    kinds, of_kind = rulebook.vocabulary.slots(), columns[KIND]
    assert isinstance(of_kind, np.ndarray)
    for mask, facts in usual.only:
        for fact in facts:
            _blank_one(columns, kinds, fact, of_kind & np.uint64(mask) == 0)


def _blank_one(columns: dict[str, Column], kinds: Mapping[str, Type], name: str, where: NDArray[np.bool_]) -> None:
    column, kind = columns.get(name), kinds.get(name)
    if column is None or kind is None:
        return
    if isinstance(column, tuple) and isinstance(kind, NumberType):
        column[0][where], column[1][where] = kind.unknown
    elif isinstance(column, np.ndarray):
        column[where] = kind.unknown
