"""What an audit keeps of its items and rigs, so that a later one can tell by which of them a fit is new or lost.

Facts are kept as the engine holds them. Where a later vocabulary would read them otherwise nothing is taken from them.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Final

import pyarrow.parquet as pq

from fitsvc.audits.item_files import digest_of_text, items_in, write_items
from fitsvc.audits.items import Items, joined
from fitsvc.audits.rigs import AuditRig, rigs_of_table, rigs_table
from fitsvc.audits.state import AuditState
from fitsvc.caching import LruCache
from fitsvc.files import write_text, written
from fitsvc.language.types import Type

FACTS: Final = "facts"
"""The folder of them; of use as long as the pairs are kept."""
_RIGS: Final = "rigs.parquet"
_SLOTS: Final = "slots.json"
_ROWS: Final = 4_096
_MOST_BLOCKS: Final = 8
"""Blocks of earlier items held at a time: a catalogue's rows mostly keep their order."""


def keep_facts(state: AuditState, blocks: int) -> None:
    """Keep the facts of all items and rigs beside the results."""
    folder = state.out / FACTS
    folder.mkdir(exist_ok=True)
    count = 0
    for items in _in_blocks(state.spool.block(block) for block in range(blocks)):
        write_items(folder, count, items, packed=True)
        count += 1
    with written(folder / _RIGS) as place:
        pq.write_table(rigs_table(state.rigs), place, compression="zstd")
    # The slots come last: a folder that has them is whole.
    told = {"slots": _slots(state.kernel.slots), "blocks": count}
    write_text(folder / _SLOTS, json.dumps(told) + "\n")


def _in_blocks(parts: Iterable[Items]) -> Iterator[Items]:
    """Items in blocks of one size, whatever the size of those in which they were judged."""
    waiting: list[Items] = []
    for part in parts:
        whole = joined([*waiting, part])
        while len(whole.skus) >= _ROWS:
            yield _plain(whole.part(slice(0, _ROWS)))
            whole = whole.part(slice(_ROWS, None))
        waiting = [whole]
    if waiting and waiting[0].skus:
        yield _plain(waiting[0])


def _plain(items: Items) -> Items:
    """Items without flags that none of them has."""
    some = ({name: one for name, one in sorted(flags.items()) if one.any()} for flags in (items.unread, items.named))
    return Items(items.skus, items.lines, items.columns, *some)


def _slots(slots: Mapping[str, Type]) -> str:
    return digest_of_text(repr(sorted(slots.items())))


class KeptFacts:
    """The facts of an earlier audit."""

    def __init__(self, out: Path, blocks: int) -> None:
        self._folder = out / FACTS
        self.rigs: dict[str, AuditRig] = {rig.key: rig for rig in rigs_of_table(pq.read_table(self._folder / _RIGS))}
        self._places: dict[str, tuple[int, int]] = {}
        self._blocks = LruCache[int, Items](_MOST_BLOCKS)
        for block in range(blocks):
            for place, sku in enumerate(items_in(self._folder, block, skus_alone=True).skus):
                self._places[sku] = (block, place)

    def item(self, sku: str) -> tuple[Items, int] | None:
        """The block that an item is in, and its place there; None of one that was not there."""
        found = self._places.get(sku)
        return None if found is None else (self.block(found[0]), found[1])

    def place(self, sku: str) -> tuple[int, int] | None:
        """The number of the block that an item is in, and its place there; None of one that was not there."""
        return self._places.get(sku)

    def block(self, number: int) -> Items:
        """The items of a block."""
        return self._blocks.get(number, lambda: items_in(self._folder, number))


def kept_facts(out: Path, slots: Mapping[str, Type]) -> KeptFacts | None:
    """What an earlier audit kept; None where it kept nothing, or by another vocabulary."""
    path = out / FACTS / _SLOTS
    if not path.is_file():
        return None
    told = json.loads(path.read_text("utf-8"))
    return KeptFacts(out, told["blocks"]) if told["slots"] == _slots(slots) else None
