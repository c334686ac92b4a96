"""Lookup tables that expressions may read."""

from collections.abc import Iterator
from dataclasses import dataclass

from fitsvc.language.intervals import Bounds
from fitsvc.language.types import ListType, NumberType, Type, Value


@dataclass(frozen=True, slots=True)
class Table:
    """A lookup table: by member of a list, by bands of a number whose tops are inside, or by points.

    Between two points its value is on the straight line from one to the other. One of several keys has in place of
    values a table by the others for each member, `within`.
    """

    key: ListType | NumberType
    gives: Type
    values: tuple[Value, ...]
    tops: tuple[float, ...] = ()
    within: "tuple[Table, ...]" = ()

    @property
    def keys(self) -> int:
        """How many keys it is looked up by."""
        return 1 + self.within[0].keys if self.within else 1

    @property
    def at(self) -> tuple[float, ...]:
        """Where its points are, in the inside unit of the key; none of one by bands, whose last has no top."""
        return self.tops if len(self.tops) == len(self.values) else ()

    @property
    def bounds(self) -> tuple[Bounds, ...]:
        """The values of one that gives numbers, in the inside unit."""
        return tuple(value for value in self.values if isinstance(value, tuple))

    @property
    def innermost(self) -> "Table":
        """A table by the last key alone."""
        return self.within[0].innermost if self.within else self

    def named(self, name: str) -> "Iterator[tuple[str, Table]]":
        """The table and those within it, by what lookups in them are called: the name with the members behind it."""
        yield name, self
        if self.within:
            assert isinstance(self.key, ListType)
            for member, below in zip(self.key.members, self.within, strict=True):
                yield from below.named(f"{name}.{member}")
