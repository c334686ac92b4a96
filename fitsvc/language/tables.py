"""Lookup tables that expressions may read."""

from dataclasses import dataclass

from fitsvc.language.types import ListType, NumberType, Type, Value


@dataclass(frozen=True, slots=True)
class Table:
    """A lookup table: by member of a list, or by bands of a number whose tops are inside."""

    key: ListType | NumberType
    gives: Type
    values: tuple[Value, ...]
    tops: tuple[float, ...] = ()
