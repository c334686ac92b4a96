"""What could be taken from the shelf instead: items sold, and the receivers that mount on a vehicle."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from fitsvc.answers.records import Stored
from fitsvc.facts import Case, FactReader
from fitsvc.language.problems import Problem
from fitsvc.language.types import Value

if TYPE_CHECKING:  # columns, which no single answer needs
    import numpy as np
    from numpy.typing import NDArray

    from fitsvc.engine.columns.signatures import Catalogue


@dataclass(frozen=True, slots=True)
class Item:
    """One thing sold, its facts read; `kind` is the value of its kind fact where its subject has one."""

    subject: str
    sku: str
    label: str
    values: Mapping[str, Value]
    texts: Mapping[str, str] = field(default_factory=dict)

    @property
    def kind(self) -> Value | None:
        """What kind of its subject it is."""
        return self.values.get(f"{self.subject}.kind")


class Folded(Protocol):
    """Items held folded: of those that rules cannot tell apart the first, with the SKUs of the others, its `twins`.

    `places` are the items' signatures in the catalogue, `kinds` the kinds that each may be, as a mask.
    """

    @property
    def catalogue(self) -> "Catalogue":
        """The signatures, ready to be judged."""
        ...

    @property
    def places(self) -> "NDArray[np.intp]":
        """Each item's signature."""
        ...

    @property
    def kinds(self) -> "NDArray[np.uint64]":
        """Each item's kinds."""
        ...

    @property
    def items(self) -> Sequence["Item"]:
        """The items, in the order of their SKUs."""
        ...

    @property
    def twins(self) -> Sequence[Sequence[str]]:
        """The SKUs of the others, item by item."""
        ...

    def place_of(self, sku: str) -> int | None:
        """The place of the item under a SKU; none of one that is a twin."""
        ...


Folds = tuple[Sequence[Folded], Sequence["Item"]]
"""What is held folded, and items beside it that are not."""


class Shelf(Protocol):
    """Where remedies and plans take parts from."""

    def items(self, subject: str, kind: Value | None = None) -> Sequence[Item]:
        """The items of a subject, of one kind if a kind is given, in the order of their SKUs."""
        ...

    def instead(self, case: Case, subject: str, kind: Value | None) -> Sequence[Item]:
        """The items of a subject and kind that could take the place of a case's own.

        Those that would fail may be left out, and so may all but a few of the best, in the order of their SKUs.
        """
        ...

    def folded(self) -> Folds | None:
        """The accessories as they are held folded, the same object as long as they are the same; None where none is."""
        ...

    def sells(self, subject: str) -> bool:
        """Whether there is anything of a subject."""
        ...

    def receivers_for(self, vehicle: str) -> Sequence[tuple[Stored, Stored]]:
        """The mountings stored for a vehicle, each with its receiver."""
        ...


def read_items(reader: FactReader, records: Iterable[Stored]) -> list[Item]:
    """Read records as items; one whose facts cannot be read is left on the side, never half read."""
    items = []
    for record in records:
        problems: list[Problem] = []
        values: dict[str, Value] = {}
        texts: dict[str, str] = {}
        reader.read(record.subject, record.facts, "", problems, values, texts)
        if not problems:
            values |= reader.told_by_one_end(values)
            items.append(Item(record.subject, record.key, record.label, values, texts))
    return items


class Stock:
    """A shelf in memory."""

    def __init__(self, items: Iterable[Item], mountings: Mapping[str, Sequence[tuple[Stored, Stored]]]) -> None:
        self._mountings = mountings
        self._by_subject: dict[str, list[Item]] = {}
        self._by_kind: dict[tuple[str, Value | None], list[Item]] = {}
        for item in sorted(items, key=lambda item: item.sku):
            self._by_subject.setdefault(item.subject, []).append(item)
            self._by_kind.setdefault((item.subject, item.kind), []).append(item)

    def items(self, subject: str, kind: Value | None = None) -> Sequence[Item]:
        """The items of a subject, of one kind if a kind is given."""
        return self._by_kind.get((subject, kind), ()) if kind is not None else self._by_subject.get(subject, ())

    def instead(self, case: Case, subject: str, kind: Value | None) -> Sequence[Item]:
        """All of the kind: the search for remedies judges them."""
        return self.items(subject, kind)

    def folded(self) -> Folds | None:
        """Nothing: all is at hand."""
        return None

    def sells(self, subject: str) -> bool:
        """Whether there is anything of a subject."""
        return bool(self._by_subject.get(subject))

    def receivers_for(self, vehicle: str) -> Sequence[tuple[Stored, Stored]]:
        """The mountings stored for a vehicle, each with its receiver."""
        return self._mountings.get(vehicle, ())


EMPTY = Stock((), {})
"""The shelf with nothing on it."""
