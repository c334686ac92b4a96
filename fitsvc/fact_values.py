"""One fact as people write it → the values of its slots, or problems that say what is wrong and what is allowed."""

import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial, reduce
from math import isfinite, radians, tan
from operator import or_
from typing import Any, Final, TypeVar

from fitsvc.document import Json
from fitsvc.language.intervals import TOLERANCE, Bounds
from fitsvc.language.problems import Problem, ProblemKind, ProblemsFound, nearest
from fitsvc.language.quantities import ANGLE, LIKE, NUMBER, QuantityError, is_plainest, parse_any, parse_quantity
from fitsvc.language.spreadsheets import damage_of
from fitsvc.language.truth import NO, YES, Truth
from fitsvc.language.types import ListType, Mask, NumberType, TruthType, Value
from fitsvc.language.tyres import TyreError, load_of, parse_tyre
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import later, t
from fitsvc.written import as_exact, exact, parted

T = TypeVar("T")
LONGEST_TEXT: Final = 2_000
_FAR: Final = 10**15
_UPRIGHT: Final = 89.0
"""Degrees from which a slope is a wall."""
_SLIP: Final = 1.5
"""How many times a size another length is that is no slip of it."""
_INCH: Final = 25.4
_ROUND: Final = 1.0
"""Millimetres by which the round figure of a size may be off: 50 mm is 2 in."""
_TRUTHS: Final[Mapping[Any, Truth]] = {True: YES, False: NO, "yes": YES, "no": NO, "true": YES, "false": NO}


def values_of(fact: Fact, wire: Json) -> dict[str, Value]:
    """The values of a fact's slots, by their names; ProblemsFound with pointers below the fact."""
    return _READERS[_kind(fact)](fact, wire)


def damaged(fact: Fact, text: str) -> ProblemsFound | None:
    """What a spreadsheet made of a fact's figure, with what it likely was; nothing where it is none of that."""
    sizes = fact.type.members if isinstance(fact.type, ListType) and fact.type.sizes else ()
    if text.startswith("="):
        message = t("{text} is a formula without its result in place of {the}", text=shown(text), the=fact.the)
        return _refuse(message, t(_UNWORKED))
    damage = damage_of(text, serials=bool(sizes)) if isinstance(fact.type, NumberType) or sizes else None
    if damage is None:
        return None
    likely = [member for one in damage.meant for member in sizes if member.partition(" ")[0] == one]
    likely = likely or [one for one in damage.meant if fact.kind != "count" or "/" not in one]
    named = {"text": shown(text), "the": fact.the, "meant": t(" or ").join(f"`{one}`" for one in likely[:2])}
    message, help = {
        "date": (t("{text} is a date that a spreadsheet made of {the}", **named), t(_LIKELY, **named)),
        "exponent": (t("{text} is how a spreadsheet writes {the}", **named), t(_LIKELY, **named)),
        "error": (t("{text} is an error of a spreadsheet in place of {the}", **named), t(_FORMULA)),
    }[damage.sort]
    return _refuse(message, help)


def several(fact: Fact, text: str) -> ProblemsFound | None:
    """That a text tells more than one figure of a fact, with how the one comes about; nothing where it tells one."""
    parts = [_FIGURE_IN.fullmatch(part) for part in _BESIDE.split(text)] if isinstance(fact.type, NumberType) else []
    figures = sorted((part["figure"] for part in parts if part), key=float)
    units = {part["unit"] for part in parts if part and part["unit"]}
    if len(figures) < _TWO or len(figures) < len(parts) or len(units) > 1:
        return None
    low, high = (" ".join((figure, *units)) for figure in (figures[0], figures[-1]))
    message = t("{text} tells several figures, and {the} is one", text=shown(text), the=fact.the)
    help = t("write one, or `{low} to {high}` where it may be any from one to the other", low=low, high=high)
    return _refuse(message, f"{help}. {fact.how_to_measure}" if fact.how_to_measure else help)


_TWO: Final = 2
_BESIDE: Final = re.compile(r",\s|[;&+]|\band\b|\by\b")
_FIGURE_IN: Final = re.compile(r"[^\W\d_\s]*\s*(?P<figure>\d+(?:\.\d+)?)\s*(?P<unit>[^\W\d_]*)\.?\s*")
"""`38 and 75 lb`, `38, 52`, `one 38 lb, one 75 lb`: figures of one unit side by side, and none from what to what."""
_LIKELY: Final = later("it was likely {meant}: format the column as text, and write it again")
_UNWORKED: Final = later("open the file in a spreadsheet and save it there, or write what the formula comes to")
_FORMULA: Final = later("mend the formula there, or leave it empty")


def _kind(fact: Fact) -> str:
    if fact.tyre or fact.kind == "text":
        return fact.kind
    return {NumberType: "number", ListType: "list", TruthType: "yes_no"}[type(fact.type)]


def _refuse(
    message: str, help: str = "", pointer: str = "", meaning: bool = False, kind: ProblemKind = ""
) -> ProblemsFound:
    return ProblemsFound([Problem(message, help, pointer=pointer, meaning=meaning, kind=kind)])


def shown(wire: Json) -> str:
    """What was written, in backticks: on one line, and not longer than a line."""
    try:
        text = wire if isinstance(wire, str) else json.dumps(wire, ensure_ascii=False, default=str)
    except (ValueError, RecursionError):  # an endless number, lists without end
        text = "…"
    short = text if len(text) <= 60 else f"{text[:60]}…"
    return "`" + "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in short) + "`"


def _all(readings: Iterable[Callable[[], T]]) -> list[T]:
    """The results of several readings, or all their problems."""
    found: list[T] = []
    problems: list[Problem] = []
    for reading in readings:
        try:
            found.append(reading())
        except ProblemsFound as refused:
            problems += refused.problems
    if problems:
        raise ProblemsFound(problems)
    return found


def as_written(wire: Json) -> str:
    """A value as somebody wrote it, in one line."""
    if isinstance(wire, dict):
        if "tolerance" in wire:
            return f"{wire['value']} ± {wire['tolerance']}"
        ends = {"at_least": t("at least {figure}", figure=wire.get("at_least"))}
        ends["at_most"] = t("at most {figure}", figure=wire.get("at_most"))
        return ", ".join(ends.get(name) or f"{name.replace('_', ' ')} {value}" for name, value in wire.items())
    if isinstance(wire, bool):
        return t("yes") if wire else t("no")
    return t(" or ").join(map(str, wire)) if isinstance(wire, list) else str(wire)


def _number(fact: Fact, wire: Json) -> dict[str, Value]:
    told = wire
    if not (isinstance(wire, str) and is_plainest(wire)):
        wire = as_exact(wire) if exact(wire) else parted(wire)
    if isinstance(wire, Mapping):
        try:
            return {fact.name: _bounded(fact, wire)}
        except ProblemsFound as refused:
            if isinstance(told, Mapping):
                raise
            # The parts of a figure that is told in one text have no places of their own.
            raise ProblemsFound([replace(one, pointer="") for one in refused.problems]) from None
    amount = _held(fact, wire)
    return {fact.name: (amount, amount)}


def _amount(fact: Fact, wire: Json, pointer: str = "") -> float:
    """One figure in inside units, without the range check."""
    assert isinstance(fact.type, NumberType)
    if isinstance(wire, bool) or not isinstance(wire, str | int | float):
        raise _refuse(t("{wire} is not a figure for {the}", wire=shown(wire), the=fact.the), _figure(fact), pointer)
    if isinstance(wire, str):
        try:
            amount = parse_quantity(wire, fact.type.dimension)
        except QuantityError as error:
            help = _as_slope(wire) if fact.kind == "ratio" else _figure(fact) if fact.kind == "count" else ""
            meaning = error.kind == "implausible"
            help = help or (_with_unit(fact) if error.help == t(LIKE) else error.help)
            raise _refuse(error.message, help, pointer, meaning, error.kind) from None
        percent = "%" in wire or "percent" in wire.casefold()
        if fact.kind == "ratio" and not percent and "/" not in wire:
            raise _refuse(t("{wire} has no unit", wire=shown(wire)), _in_percent(fact, amount), pointer, kind="no unit")
        if fact.kind == "count" and percent:
            raise _refuse(t("{wire} is a share, not a count", wire=shown(wire)), _figure(fact), pointer)
    elif fact.kind == "count":
        amount = float(max(-_FAR, min(wire, _FAR)))  # a whole number may be too large for a float
    else:
        help = _in_percent(fact, wire) if fact.kind == "ratio" else _figure(fact)
        raise _refuse(t("{wire} has no unit", wire=shown(wire)), help, pointer, kind="no unit")
    if fact.kind == "count" and not amount.is_integer():
        raise _refuse(
            t("{wire} is not a whole number", wire=shown(wire)), _figure(fact), pointer, isinstance(wire, str)
        )
    return amount


def _in_percent(fact: Fact, bare: float) -> str:
    """What to write for a share without a unit: one of at most 1 may be a fraction as well as a percentage."""
    readings = (
        t("`{percent} %` or `{share} %`", percent=f"{bare * 100:.6g}", share=f"{bare:.6g}")
        if 0.0 < bare <= 1.0
        else f"`{bare:.6g} %`"
    )
    return f"{_figure(fact)}: {readings}" if isfinite(bare) else _figure(fact)


def _as_slope(text: str) -> str:
    """What an angle is as a rise over a run, where one is told for it."""
    try:
        angle, dimension = parse_any(text)
    except QuantityError:
        return ""
    if dimension != ANGLE or not 0.0 <= angle < _UPRIGHT:
        return ""
    return t(
        "a slope is told in percent: one of {angle} rises {percent} %",
        angle=text.strip(),
        percent=f"{100 * tan(radians(angle)):.1f}",
    )


def _figure(fact: Fact) -> str:
    assert fact.range_text
    low, high = fact.range_text
    if fact.kind == "count":
        return t("write {the} as a whole number between {low} and {high}", the=fact.the, low=low, high=high)
    return t("write {the} as a figure between {low} and {high}", the=fact.the, low=low, high=high)


def _with_unit(fact: Fact) -> str:
    """What to write where a text is no figure at all: one between what is plausible of the fact."""
    assert fact.range_text
    low, high = fact.range_text
    return t("write a number and its unit, between {low} and {high}", low=low, high=high)


def _held(fact: Fact, wire: Json, pointer: str = "") -> float:
    """One figure within the fact's plausible range; what is the same as an end of it is that end."""
    amount = _amount(fact, wire, pointer)
    assert fact.range and fact.range_text
    if not (isfinite(amount) and fact.range[0] - TOLERANCE <= amount <= fact.range[1] + TOLERANCE):
        low, high = fact.range_text
        message = t("{wire} is not plausible for {the}", wire=shown(wire), the=fact.the)
        raise _refuse(
            message,
            t("it is between {low} and {high}; check the figure and its unit", low=low, high=high),
            pointer,
            True,
            "implausible",
        )
    return min(max(amount, fact.range[0]), fact.range[1])


_SHARE: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*%\s*\Z", re.ASCII)
_DECIMAL: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(\w+)\s*\Z", re.ASCII)


def _share_refused(value: Json, share: str) -> ProblemsFound:
    """A tolerance as a share of its figure: of which one is read off, so it is told as from what to what it may be."""
    figure = _DECIMAL.match(value) if isinstance(value, str) else None
    off, amount, unit = (float(share) / 100, float(figure[1]), figure[2]) if figure else (0.1, 12.0, "lb")
    ends = f"{max(amount * (1 - off), 0.0):.10g}-{amount * (1 + off):.10g} {unit}"
    help = t("write from what to what it may be, such as `{ends}`, or `at_least` and `at_most`", ends=ends)
    return _refuse(t("{wire} is a share, and a tolerance has a unit", wire=f"`{share} %`"), help, "/tolerance")


def _tolerance(fact: Fact, wire: Json, value: Json) -> float:
    share = _SHARE.match(wire) if isinstance(wire, str) else None
    if share and isinstance(fact.type, NumberType) and fact.type.dimension != NUMBER:
        raise _share_refused(value, share[1])
    tolerance = _amount(fact, wire, "/tolerance")
    if tolerance < 0.0:
        help = t("a tolerance is how far off it may be either way")
        raise _refuse(t("{wire} is below nothing", wire=shown(wire)), help, "/tolerance", True)
    return tolerance


_BOUND_FORMS: Final = later("give `value` with `tolerance`, or `at_least` and/or `at_most`")


def _bounded(fact: Fact, wire: Mapping[str, Json]) -> Bounds:
    keys = set(wire)
    assert fact.range
    if keys == {"value", "tolerance"}:
        value = partial(_held, fact, wire["value"], "/value")
        amount, tolerance = _all([value, partial(_tolerance, fact, wire["tolerance"], wire["value"])])
        return (max(amount - tolerance, fact.range[0]), min(amount + tolerance, fact.range[1]))
    if not keys or not keys <= {"at_least", "at_most"}:
        listed = ", ".join(shown(key) for key in sorted(keys)) or "nothing"
        raise _refuse(t("{the} cannot be read from {listed}", the=fact.the, listed=listed), t(_BOUND_FORMS))
    written = sorted(keys)
    ends = dict(zip(written, _all(partial(_held, fact, wire[key], f"/{key}") for key in written), strict=True))
    assert isinstance(fact.type, NumberType)
    low, high = fact.type.unknown
    low, high = ends.get("at_least", low), ends.get("at_most", high)
    if low > high:
        raise _refuse(
            t(
                "at least {low} and at most {high} cannot both hold",
                low=shown(wire["at_least"]),
                high=shown(wire["at_most"]),
            ),
            t("`at_least` is the lower one"),
            meaning=True,
            kind="contradiction",
        )
    return (low, high)


_SEVERAL: Final = re.compile(r"\s*\d[^;&|]{0,40}?\s*(?:[;&|]|,\s|\b(?:and|or)\b|\s/\s)\s*\d[^;&|]{0,40}")
"""Sizes beside each other in one text, as of what comes with a sleeve: `2 in and 1-1/4 in`, `2 in; 2-1/2 in`."""


def _list(fact: Fact, wire: Json) -> dict[str, Value]:
    kind = fact.type
    assert isinstance(kind, ListType)
    if isinstance(wire, list):
        if not wire:
            raise _refuse(
                t("the list of candidates for {the} is empty", the=fact.the), t("leave the fact out if it is unknown")
            )
        masks = _all(partial(_member, fact, kind, one, f"/{i}") for i, one in enumerate(wire))
        return {fact.name: Mask(reduce(or_, masks))}
    return {fact.name: _member(fact, kind, wire, "")}


def _member(fact: Fact, kind: ListType, wire: Json, pointer: str) -> Mask:
    # `1-1/4 in and 2 in` arrives as bounds, as `5 to 6 in` does
    bounds = isinstance(wire, Mapping) and wire.keys() == {"at_least", "at_most"}
    if kind.sizes and (bounds or (isinstance(wire, str) and _SEVERAL.fullmatch(wire))):
        listed = ", ".join(f"`{member}`" for member in kind.members)
        help = t(
            "it is one of {listed}; of what comes with several, make each an item with a number of its own, and where "
            "it is one of several, write a list of these, in a cell such as `{cell}`",
            listed=listed,
            cell=" | ".join(kind.members[:2]),
        )
        raise _refuse(t("{the} is one size, and here are several", the=fact.the), help, pointer)
    if isinstance(wire, str):
        wire = dict(kind.former).get(wire, wire)
        if wire in kind.members:
            return kind.mask(wire)
        if kind.sizes and kind.dimension:
            return _size(fact, kind, wire, pointer)
    near = nearest(wire, kind.members) if isinstance(wire, str) else None
    listed = ", ".join(f"`{member}`" for member in kind.members)
    help = (
        t("did you mean `{near}`? It is one of {listed}", near=near, listed=listed)
        if near
        else t("it is one of {listed}", listed=listed)
    )
    raise _refuse(t("{wire} is not a choice for {the}", wire=shown(wire), the=fact.the), help, pointer)


def _size(fact: Fact, kind: ListType, wire: str, pointer: str) -> Mask:
    assert kind.dimension
    try:
        amount = parse_quantity(wire, kind.dimension)
    except QuantityError as error:
        listed = ", ".join(f"`{member}`" for member in kind.members)
        meant = next((one for one in kind.members if error.kind and one.partition(" ")[0] == wire.strip()), None)
        help = t("{the} is one of {listed}", the=fact.the, listed=listed) + (
            t("; did you mean `{meant}`?", meant=meant) if meant else ""
        )
        raise _refuse(error.message, help, pointer, kind=error.kind) from None
    for i, size in enumerate(kind.sizes):
        if abs(size - amount) <= TOLERANCE:
            return kind.member(i)
    raise _refuse(t("{wire} is not a size of {the}", wire=shown(wire), the=fact.the), _near_size(kind, amount), pointer)


def _near_size(kind: ListType, amount: float) -> str:
    """What a length that is no size was likely meant to be: one so far from all that a unit was taken for another is
    none of them, and in inches may be the round millimetres that a size goes by.
    """
    every = list(zip(kind.sizes, kind.members, strict=True))
    size, near = min(every, key=lambda pair: abs(pair[0] - amount))
    listed = ", ".join(f"`{member}`" for member in kind.members)
    if size / _SLIP < amount < size * _SLIP:
        return t("did you mean `{near}` ({size} mm)? It is one of {listed}", near=near, size=size, listed=listed)
    figure = amount / _INCH
    if by_mm := [member for size, member in every if abs(size - figure) < _ROUND]:
        told = {"figure": f"{figure:.6g}", "near": by_mm[0], "listed": listed}
        return t("did you mean {figure} mm, by which `{near}` goes? It is one of {listed}", **told)
    return t("it is one of {listed}", listed=listed)


def _yes_no(fact: Fact, wire: Json) -> dict[str, Value]:
    told = wire.strip().casefold() if isinstance(wire, str) else wire
    if isinstance(told, bool | str) and told in _TRUTHS:
        return {fact.name: _TRUTHS[told]}
    raise _refuse(t("{wire} is neither yes nor no for {the}", wire=shown(wire), the=fact.the), t("write yes or no"))


def _text(fact: Fact, wire: Json) -> dict[str, Value]:
    if not isinstance(wire, str) or len(wire) > LONGEST_TEXT or "\0" in wire:
        raise _refuse(
            t("{wire} is not a text for {the}", wire=shown(wire), the=fact.the),
            t("a text has at most {LONGEST_TEXT} characters", LONGEST_TEXT=LONGEST_TEXT),
        )
    return {}


def _tyre(fact: Fact, wire: Json) -> dict[str, Value]:
    if not isinstance(wire, str):
        raise _refuse(
            t("{wire} is not a tyre designation", wire=shown(wire)),
            t("write it as on the sidewall, such as `245/75R16`"),
        )
    try:
        tyre = parse_tyre(wire)
    except TyreError as error:
        raise _refuse(error.message, error.help) from None
    load = {} if tyre.load_index is None else {f"{fact.name}.load": (load_of(tyre.load_index),) * 2}
    return {
        **load,
        f"{fact.name}.diameter": tyre.diameter,
        f"{fact.name}.width": tyre.width,
        f"{fact.name}.rim": (tyre.rim, tyre.rim),
    }


_READERS: Final[Mapping[str, Callable[[Fact, Json], dict[str, Value]]]] = {
    "number": _number,
    "list": _list,
    "yes_no": _yes_no,
    "text": _text,
    "tyre": _tyre,
}
