"""A made-up catalogue and made-up rigs, the same for the same seed, for demonstrations and measurements.

Items are variants of models: colours, packs and sellers repeat a model's facts. A model has the facts of its
kind only; makers leave some out, give some within a tolerance, and now and then leave two sizes open. Figures are
drawn in the steps in which makers write them. A fact that the tables here do not name is drawn over its range.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from fitsvc.engine.columns.signatures import Column, known_rows, taken
from fitsvc.facts import Case
from fitsvc.language.types import ListType, NumberType, TextType, Type, Value
from fitsvc.rulebook.rules import Rulebook

_INCH, _POUND = 25.4, 0.45359237
_CARRIES: Final = ("bike_carrier", "cargo_carrier", "enclosed_carrier", "ski_carrier", "mobility_carrier")
_TOWS: Final = ("ball_mount", "adjustable_ball_mount", "weight_distribution_head", "pintle_mount")
_CARRIER_FACTS: Final = frozenset({
    "length", "rear_extent", "front_setback", "stow_setback", "stow_extent", "stow_height", "tilts_clear", "capacity",
    "width", "obscures_plate", "obscures_lamps", "plug", "approved_behind_motorhome", "extension_allowed",
    "top_height", "lowest_behind", "front_height",
})  # fmt: skip
_BIKE_FACTS: Final = frozenset({"bikes_max", "bike_weight_max"})
_TOW_FACTS: Final = frozenset({"trailer_rating", "tongue_rating", "ball_hole", "platform_thickness", "length"})
_FIGURES: Final[Mapping[str, tuple[float, float, float]]] = {
    # in inches or pounds: least, most, step
    "accessory.pin_span": (1.5, 4, 0.125), "accessory.weight": (8, 180, 1), "accessory.capacity": (100, 600, 10),
    "accessory.trailer_rating": (2000, 20000, 500), "accessory.tongue_rating": (200, 2000, 50),
    "accessory.length": (6, 48, 0.25), "accessory.rear_extent": (12, 60, 0.5),
    "accessory.front_setback": (2, 20, 0.25), "accessory.stow_setback": (-2, 14, 0.25),
    "accessory.width": (10, 80, 0.5), "accessory.rise": (-10, 8, 0.25), "accessory.rise_lowest": (-12, 0, 0.5),
    "accessory.rise_highest": (0, 10, 0.5), "accessory.ball_hole": (0.75, 1.375, 0.125),
    "accessory.platform_thickness": (0.5, 1.5, 0.125), "accessory.bike_weight_max": (30, 80, 5),
    "accessory.bikes_max": (1, 5, 1), "accessory.lowest_drop": (-4, 10, 0.25), "accessory.top_height": (2, 60, 0.5),
    "vehicle.wheelbase": (95, 165, 0.1), "vehicle.rear_overhang": (30, 60, 0.1), "vehicle.curb_weight": (2800, 7500, 1),
    "vehicle.curb_weight_front": (1600, 4000, 1), "vehicle.curb_weight_rear": (1200, 3500, 1),
    "vehicle.gvwr": (4500, 11000, 50), "vehicle.gawr_front": (2500, 5500, 10), "vehicle.gawr_rear": (2500, 7000, 10),
    "vehicle.gcwr": (8000, 25000, 100), "vehicle.tow_rating": (1500, 14000, 100),
    "vehicle.tow_rating_wd": (3000, 16000, 100), "vehicle.tongue_rating": (150, 1400, 10),
    "vehicle.tongue_rating_wd": (300, 1600, 10), "vehicle.spare_protrusion": (4, 14, 0.25),
    "vehicle.year": (1990, 2026, 1),
    "receiver.tube_outside": (2, 4, 0.125), "receiver.trailer_rating": (2000, 18000, 500),
    "receiver.tongue_rating": (200, 1800, 50), "receiver.trailer_rating_wd": (4000, 20000, 500),
    "receiver.tongue_rating_wd": (400, 2000, 50), "mounting.height": (10, 26, 0.125),
    "mounting.pin_to_bumper": (0, 12, 0.125), "mounting.spare_fits_up_to": (26, 33, 0.125),
    "mounting.spare_blocked_from": (30, 36, 0.125), "mounting.spare_room_taken": (0, 3, 0.125),
    "load.bikes": (1, 5, 1), "load.bike_weight": (20, 75, 1), "load.cargo_weight": (20, 500, 5),
    "load.occupants_weight": (150, 1200, 10),
}  # fmt: skip


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
    columns = _subject(rng, rulebook, "accessory", models, unknown)
    _blank(columns, rulebook)
    if models < count:
        # Few models sell most: ranks drawn so that a model's share falls with its number.
        model = np.concatenate([np.arange(models), (models * rng.random(count - models) ** 2).astype(np.intp)])
        rng.shuffle(model)
        columns = {name: taken(column, model) for name, column in columns.items()}
    return Made(columns, count)


def synthetic_rigs(rulebook: Rulebook, count: int, *, seed: int = 2, unknown: float = 0.15) -> list[Case]:
    """So many rigs: vehicle, receiver and mounting, most with a load to carry."""
    rng = np.random.Generator(np.random.PCG64(seed))
    always = [name for name, subject in rulebook.vocabulary.subjects.items() if subject.presence == "always"]
    columns: dict[str, Column] = {}
    for subject in (*always, "load"):
        columns |= _subject(rng, rulebook, subject, count, unknown)
    loaded = rng.random(count) < 0.8
    named = rulebook.named
    kinds = rulebook.vocabulary.slots()
    known = {name: known_rows(kinds[name], column) for name, column in columns.items()}
    rigs = []
    for row in range(count):
        facts = {
            name: _cell(column, row) for name, column in columns.items()
            if known[name][row] and (loaded[row] or not name.startswith("load."))
        }  # fmt: skip
        present = {*always, *(["load"] if loaded[row] else [])} | (named & facts.keys() if row % 2 else set())
        rigs.append(Case(facts, frozenset(present)))
    return rigs


def _cell(column: Column, row: int) -> Value:
    if isinstance(column, tuple):
        return (float(column[0][row]), float(column[1][row]))
    return int(column[row])


def _subject(rng: Generator, rulebook: Rulebook, subject: str, count: int, unknown: float) -> dict[str, Column]:
    found: dict[str, Column] = {}
    for name, kind in rulebook.vocabulary.slots().items():
        if name.split(".", 1)[0] == subject and not isinstance(kind, TextType):
            missing = rng.random(count) < unknown
            found[name] = _column(rng, rulebook, name, kind, count, missing)
    return found


def _column(
    rng: Generator, rulebook: Rulebook, name: str, kind: Type, count: int, missing: NDArray[np.bool_]
) -> Column:
    if isinstance(kind, NumberType):
        return _numbers(rng, rulebook, name, kind, count, missing)
    if isinstance(kind, ListType):
        # The middle of a list is the commonest, as it is of sizes.
        likely = np.bincount(np.minimum(rng.binomial(8, 0.4, 4096), len(kind.members) - 1), minlength=len(kind.members))
        member = rng.choice(len(kind.members), count, p=(likely + 64) / (likely + 64).sum())
        mask = np.uint64(1) << member.astype(np.uint64)
        open_ = rng.random(count) < 0.03
        mask[open_] |= np.uint64(1) << rng.integers(0, len(kind.members), int(open_.sum())).astype(np.uint64)
        mask[missing] = kind.unknown
        return mask
    flags = np.where(rng.random(count) < 0.6, 2, 0).astype(np.uint8)
    flags[missing] = 1
    return flags


def _numbers(
    rng: Generator, rulebook: Rulebook, name: str, kind: NumberType, count: int, missing: NDArray[np.bool_]
) -> Column:
    low, high, step = _figures(rulebook, name, kind)
    steps = max(1, round((high - low) / step))
    middle = rng.triangular(0.0, 0.4, 1.0, count)
    figure = low + step * np.floor(middle * (steps + 1)).clip(0, steps)
    rough = np.where(rng.random(count) < 0.1, step * rng.integers(1, 3, count), 0.0)
    least, most = figure - rough, figure + rough
    if not kind.negative:
        least = least.clip(0.0)
    least[missing], most[missing] = kind.unknown
    return least, most


def _figures(rulebook: Rulebook, name: str, kind: NumberType) -> tuple[float, float, float]:
    """Least, most and step of a fact, in inside units."""
    fact = rulebook.vocabulary.fact_of(name)
    if name in _FIGURES and fact:
        unit = {"length": _INCH, "mass": _POUND}.get(fact.kind, 1.0)
        low, high, step = _FIGURES[name]
        return low * unit, high * unit, step * unit
    low, high = fact.range if fact and fact.range else (500.0, 900.0)
    whole = fact is not None and fact.kind == "count"
    return low, high, 1.0 if whole else (high - low) / 64


def _blank(columns: dict[str, Column], rulebook: Rulebook) -> None:
    """Make unknown what an accessory's kind has no use for."""
    kinds = rulebook.vocabulary.slots()
    of_kind = columns.get("accessory.kind")
    kind = kinds.get("accessory.kind")
    if not isinstance(of_kind, np.ndarray) or not isinstance(kind, ListType):
        return
    for names, facts in (
        (_CARRIES, _CARRIER_FACTS), (("bike_carrier",), _BIKE_FACTS), (_TOWS, _TOW_FACTS),
        (("ball_mount", "pintle_mount"), frozenset({"rise"})),
        (("adjustable_ball_mount", "weight_distribution_head"), frozenset({"rise_lowest", "rise_highest"})),
    ):  # fmt: skip
        mask = np.uint64(sum(kind.mask(name) for name in names if name in kind.members))
        for fact in facts - (_CARRIER_FACTS if facts is _TOW_FACTS else frozenset()):
            _blank_one(columns, kinds, f"accessory.{fact}", of_kind & mask == 0)


def _blank_one(columns: dict[str, Column], kinds: Mapping[str, Type], name: str, where: NDArray[np.bool_]) -> None:
    column, kind = columns.get(name), kinds.get(name)
    if column is None or kind is None or isinstance(kind, TextType):
        return
    if isinstance(column, tuple) and isinstance(kind, NumberType):
        column[0][where], column[1][where] = kind.unknown
    elif isinstance(column, np.ndarray):
        column[where] = kind.unknown
