"""Whoever makes a thing of more than five fields names each of them, so that none is taken for its neighbour."""

import inspect
import pkgutil
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any

import msgspec

import fitsvc

MOST_BY_POSITION = 5
EXCEPTIONS = {
    "fitsvc.audits.ball_pairs.BallPair": "a tuple: a row of a table, which is written as a row",
    "fitsvc.audits.fix_rows.Fix": "a tuple: a row of a table, which is written as a row",
    "fitsvc.audits.hitched.Hitched": "a tuple: a row of a table, which is written as a row",
    "fitsvc.audits.parts.ClaimCarried": "a tuple: a row of a table, which is written, kept and read again as a row",
    "fitsvc.audits.parts.ClaimFate": "a tuple: a row of a table, which is written, kept and read again as a row",
    "fitsvc.audits.parts.PartCounts": "a tuple: it goes to a file and comes back by the names of its fields alone",
    "fitsvc.audits.rigs.AuditRig": "its ids, what is known and its label, always in this order; what few give is named",
    "fitsvc.engine.verdict.Verdict": "a tuple: one is made for each case that is judged, by the innermost loop",
    "fitsvc.facts.Case": "what is known and what it is about, always in this order; what few give is named",
    "fitsvc.language.functions.Function": "a line of the table of functions, read across; what follows `doc` is named",
    "fitsvc.language.problems.Problem": "what is wrong and what to do, always in this order; its place is named",
    "fitsvc.store.fits.FitRow": "a tuple: a row of a table, which is written as a row",
    "fitsvc.language.checker.Names": "facts and subjects, always in this order, and often no more; the rest is named",
    "fitsvc.service.queries.FactsWanted": "as every parameter",
    "fitsvc.service.queries.Instant": "as every parameter",
    "fitsvc.service.queries.Keys": "as every parameter",
    "fitsvc.service.queries.Parameter": "name, what it is and its schema, always in this order; what few give is named",
    "fitsvc.service.queries.WordList": "as every parameter",
}
"""The classes of more than five fields whose first ones may go by position, and why."""


def _classes() -> dict[str, type]:
    """Every class that a module of fitsvc defines, by its full name."""
    names = [one.name for one in pkgutil.walk_packages(fitsvc.__path__, "fitsvc.") if not one.name.endswith("__main__")]
    found = [thing for name in names for thing in vars(import_module(name)).values() if inspect.isclass(thing)]
    return {f"{one.__module__}.{one.__qualname__}": one for one in found if one.__module__.startswith("fitsvc.")}


def _count(kind: Any) -> int:
    """How many fields a record is made with; 0 for a class that is no record."""
    if is_dataclass(kind):
        return sum(one.init for one in fields(kind))
    if issubclass(kind, msgspec.Struct):
        return len(kind.__struct_fields__)
    return len(getattr(kind, "_fields", ()))


def _by_position(make: Callable[..., Any]) -> list[str]:
    """The arguments that may go by position."""
    return [one.name for one in inspect.signature(make).parameters.values() if one.kind is not one.KEYWORD_ONLY]


def test_records_of_more_than_five_fields_are_made_by_name() -> None:
    """A dataclass, a struct or a named tuple of so many takes none by position, but for those argued above."""
    many = {name: kind for name, kind in _classes().items() if _count(kind) > MOST_BY_POSITION}
    assert len(many) > 50
    by_position = {name for name, kind in many.items() if _by_position(kind)}
    assert by_position == set(EXCEPTIONS)


def test_the_exceptions_take_no_more_than_five_by_position() -> None:
    """Of a dataclass that is an exception, all beyond the first few are named as well."""
    classes = _classes()
    mixed = [kind for name in EXCEPTIONS if is_dataclass(kind := classes[name])]
    assert mixed
    assert all(len(_by_position(kind)) <= MOST_BY_POSITION < _count(kind) for kind in mixed)


def test_other_constructors_take_no_more_than_five_by_position() -> None:
    """Nor does a class that is no record ask for more by position."""
    written = {name: kind for name, kind in _classes().items() if not _count(kind) and "__init__" in vars(kind)}
    assert len(written) > 20
    long = {name: _by_position(vars(kind)["__init__"])[1:] for name, kind in written.items()}
    assert {name: given for name, given in long.items() if len(given) > MOST_BY_POSITION} == {}
