"""The types of values: numbers with a dimension, members of a list, yes/no, and text that no rule reads."""

from dataclasses import dataclass
from typing import NewType

from fitsvc.language.intervals import ANYTHING, NOT_NEGATIVE, TOLERANCE, Bounds
from fitsvc.language.quantities import Dimension
from fitsvc.language.truth import UNKNOWN, Truth

Mask = NewType("Mask", int)
"""The possible members of a list, a bit each, the first member's the lowest."""
Value = Bounds | Mask | Truth
"""What is known: a number's bounds, a list's possible members, or a truth. All but the first are plain integers."""


@dataclass(frozen=True, slots=True)
class NumberType:
    """A number of one dimension; `negative` says whether it can be below zero."""

    dimension: Dimension
    negative: bool = True

    @property
    def unknown(self) -> Bounds:
        """The bounds of a number of this type of which nothing is known."""
        return ANYTHING if self.negative else NOT_NEGATIVE

    def one_end(self, value: Bounds) -> Bounds | None:
        """Of bounds of which one end alone was told, that end, as bounds; None of any others."""
        (low, high), (least, most) = value, self.unknown
        if (low == least) == (high == most):
            return None
        return (high, high) if low == least else (low, low)

    def __str__(self) -> str:
        name = str(self.dimension)
        return "a plain number" if name == "number" else f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


@dataclass(frozen=True, slots=True)
class ListType:
    """One of a list of named members; a size list gives each member a length, in mm."""

    name: str
    members: tuple[str, ...]
    sizes: tuple[float, ...] = ()
    dimension: Dimension | None = None
    former: tuple[tuple[str, str], ...] = ()
    """Names that members had, each with today's: who tells one tells that member."""

    @property
    def unknown(self) -> Mask:
        """The mask in which every member is possible."""
        return Mask((1 << len(self.members)) - 1)

    def mask(self, member: str) -> Mask:
        """The mask of one member; ValueError for a stranger."""
        return self.member(self.members.index(member))

    def member(self, place: int) -> Mask:
        """The mask of the member at a place."""
        return Mask(1 << place)

    def names(self, mask: Mask) -> list[str]:
        """The members a mask leaves possible."""
        return [name for i, name in enumerate(self.members) if mask >> i & 1]

    def bounds(self, mask: Mask) -> Bounds:
        """The lengths a mask of a size list leaves possible."""
        sizes = [size for i, size in enumerate(self.sizes) if mask >> i & 1]
        return (min(sizes), max(sizes))

    @property
    def lengths(self) -> tuple[Bounds, ...]:
        """The length of each member of a size list."""
        return tuple((size, size) for size in self.sizes)

    def __str__(self) -> str:
        return f"one of {self.name}"


@dataclass(frozen=True, slots=True)
class TruthType:
    """Yes, no or unknown."""

    @property
    def unknown(self) -> Truth:
        """The truth value of what is not known."""
        return UNKNOWN

    def __str__(self) -> str:
        return "a yes/no"


@dataclass(frozen=True, slots=True)
class TextType:
    """Free text, told to people and read by no rule."""

    def __str__(self) -> str:
        return "a text"


Type = NumberType | ListType | TruthType
"""The types that rules compute with."""
FactType = Type | TextType
"""The types that facts are declared of."""


def is_exact(kind: FactType, value: Value) -> bool:
    """Whether a value of a type leaves nothing open."""
    if isinstance(value, tuple):
        return value[1] - value[0] <= TOLERANCE
    return value.bit_count() == 1 if isinstance(kind, ListType) else value != UNKNOWN


TRUTH = TruthType()
TEXT = TextType()
