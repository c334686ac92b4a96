"""Rows of accessories → the tables of a segment, in which what repeats stands once.

Three Arrow tables, as they also stand in files: `items`, in the order of their SKUs, each with the number of its
facts and of its signature; `facts`, the different ones as JSON; `signatures`, what of the facts any rule reads, the
commonest first.
"""

from collections.abc import Iterable, Mapping, Sequence
from hashlib import blake2b
from typing import Any, Final, NamedTuple

import msgspec
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import Item, read_items
from fitsvc.document import Json
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.columns.signatures import Catalogue, Column, arrays_of, columns_of, taken
from fitsvc.facts import FactReader
from fitsvc.selection.rows import SUBJECT, StoredAccessory

_ENDS: Final = ("low", "high")
_PRESENT: Final = "present"


class Tables(NamedTuple):
    """A segment's tables."""

    items: pa.Table
    facts: pa.Table
    signatures: pa.Table


def present_of(item: Item, reader: FactReader) -> frozenset[str]:
    """What an item brings into a question."""
    return frozenset({SUBJECT, *reader.named(item.values)})


def read_facts(reader: FactReader, facts: str) -> Item | None:
    """Facts read, as an item without a name; None where they cannot be read by the vocabulary."""
    found = read_items(reader, [Stored(subject=SUBJECT, key="", label="", facts=msgspec.json.decode(facts))])
    return found[0] if found else None


def searched(label: str, sku: str) -> str:
    """An item's label and SKU, as they are searched."""
    return f"{label}\n{sku}".casefold()


def label_key(label: str) -> str:
    """What labels are ordered by: capitals and small letters alike."""
    return label.casefold()


class Folding:
    """Takes in rows, in the order of their SKUs, page by page; `unreadable` are those left out."""

    def __init__(self, columns: Columns, reader: FactReader) -> None:
        self._reader, self._slots = reader, columns.slots({SUBJECT})
        self._presences = columns.presences({SUBJECT})
        self._numbers: dict[bytes, int] = {}
        self._facts: list[Mapping[str, Json]] = []
        self._pages: list[pa.Table] = []
        self._distinct = 0
        self.unreadable: dict[str, int] = {}

    def add(self, rows: Iterable[StoredAccessory]) -> None:
        """Take in a page of rows."""
        new: list[tuple[str, Item]] = []
        kept, numbers = list[StoredAccessory](), list[int]()
        for row in rows:
            number = self._number(row.facts, new)
            if number < 0:
                self.unreadable[row.sku] = row.mark
            else:
                kept.append(row)
                numbers.append(number)
        self._facts.append(self._columns([facts for facts, _ in new], [item for _, item in new]))
        columns = {
            "sku": pa.array([row.sku for row in kept], pa.large_string()),
            "label": pa.array([row.label for row in kept], pa.large_string()),
            "searched": pa.array([searched(row.label, row.sku) for row in kept], pa.large_string()),
            "facts": pa.array(numbers, pa.uint32()),
            "mark": pa.array([row.mark for row in kept], pa.uint64()),
        }
        self._pages.append(pa.table(columns))

    def _number(self, facts: str, new: list[tuple[str, Item]]) -> int:
        """The number of some facts among the different ones; -1 where they cannot be read."""
        digest = blake2b(facts.encode(), digest_size=16).digest()
        number = self._numbers.get(digest)
        if number is None:
            item = read_facts(self._reader, facts)
            number = -1 if item is None else self._distinct
            if item is not None:
                new.append((facts, item))
                self._distinct += 1
            self._numbers[digest] = number
        return number

    def _columns(self, facts: Sequence[str], items: Sequence[Item]) -> dict[str, Any]:
        """What a page's new facts are, by name of a column in the tables."""
        present = [present_of(item, self._reader) for item in items]
        kinds = [item.kind if isinstance(item.kind, int) else 0 for item in items]
        return {
            "json": pa.array(facts, pa.large_string()),
            "kind": np.array(kinds, np.uint64),
            "columns": columns_of([item.values for item in items], self._slots),
            _PRESENT: {name: np.array([name in has for has in present], np.bool_) for name in self._presences},
        }

    def tables(self) -> Tables:
        """All that was taken in, folded."""
        items = pa.concat_tables(self._pages).combine_chunks()
        facts_of = items["facts"].to_numpy()
        columns = {name: _joined([page["columns"][name] for page in self._facts]) for name in self._slots}
        present = {name: np.concatenate([page[_PRESENT][name] for page in self._facts]) for name in self._presences}
        folded = Catalogue(frozenset({SUBJECT}), columns, present, self._distinct)
        signature_of = folded.signature_of[facts_of]
        weights = np.bincount(signature_of, minlength=folded.count)
        order = np.argsort(-weights, kind="stable")
        place = np.empty(len(order), np.uint32)
        place[order] = np.arange(len(order), dtype=np.uint32)
        signatures: dict[str, NDArray[Any]] = {"weight": weights[order].astype(np.int64)}
        for name, column in folded.columns.items():
            arrays = arrays_of(taken(column, order))
            signatures |= {_named(name, end): array for end, array in zip(_ENDS, arrays, strict=False)}
        signatures |= {f"{_PRESENT}:{name}": bits[order].view(np.uint8) for name, bits in folded.present.items()}
        items = items.append_column("signature", pa.array(place[signature_of]))
        items = items.append_column("by_label", pa.array(_by_label(items)))
        written = pa.chunked_array([page["json"] for page in self._facts])
        facts = pa.table({"json": written, "kind": np.concatenate([page["kind"] for page in self._facts])})
        return Tables(items, facts.combine_chunks(), pa.table(signatures))


def catalogue_of(columns: Columns, tables: Tables) -> Catalogue:
    """The signatures as what rules judge; the tables' own memory, wherever it is."""
    found, table = dict[str, Column](), tables.signatures
    for name in columns.slots({SUBJECT}):
        low = array_of(table, _named(name, _ENDS[0]))
        paired = _named(name, _ENDS[1]) in table.column_names
        found[name] = (low, array_of(table, _named(name, _ENDS[1]))) if paired else low
    present = {name: array_of(table, f"{_PRESENT}:{name}").view(np.bool_) for name in columns.presences({SUBJECT})}
    weights, signature_of = array_of(table, "weight"), array_of(tables.items, "signature")
    return Catalogue.folded(frozenset({SUBJECT}), found, present, weights, signature_of)


def array_of(table: pa.Table, name: str) -> NDArray[Any]:
    """A column of figures, without a copy where it is one piece."""
    chunks = table[name].chunks
    if len(chunks) == 1:
        return np.asarray(chunks[0].to_numpy(zero_copy_only=True))
    return np.asarray(table[name].to_numpy())


def _named(slot: str, end: str) -> str:
    return f"{slot}:{end}"


def _joined(pieces: Sequence[Column]) -> Column:
    joined = tuple(np.concatenate(arrays) for arrays in zip(*map(arrays_of, pieces), strict=True))
    return joined if len(joined) == 2 else joined[0]


def _by_label(items: pa.Table) -> NDArray[np.uint32]:
    """The items' places in the order of their labels, and of their SKUs where the labels are the same."""
    keys = [label_key(label) for label in items["label"].to_pylist()]
    return np.array(sorted(range(len(keys)), key=keys.__getitem__), np.uint32)  # stable, and in the order of SKUs
