"""What changed since an earlier audit: fits lost and new, and claimed ones with less or more on them, by their causes.

A fit is a pair that works, maybe on a condition. Its cause is what brought the change about (`causes`). Where the
earlier audit kept no facts, or more pairs changed than are looked at, it is all that differs between the audits: the
item's facts, the rig's, the rulebook, or the version of fitsvc where nothing else does.
"""

import json
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.causes import FITS, RULEBOOK, Cause, Causes, is_less
from fitsvc.audits.items import Items
from fitsvc.audits.loads import LoadTold
from fitsvc.audits.pairs import pairs_folder, part_of, read_outcomes
from fitsvc.audits.parts import ClaimCarried
from fitsvc.audits.sheets import read_safe
from fitsvc.audits.spool import SUMMARY
from fitsvc.audits.state import AuditState
from fitsvc.caching import LruCache
from fitsvc.document import Document
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.outcomes import OUTCOMES

ABSENT: Final = 255
"""Stands for the outcome of a pair that an audit has not."""
_CARRIED: Final = "carried.csv"
_WORDS: Final = "told"
"""All of what may be carried in words, beside the figures by which it is compared."""


_Block = tuple[Items, Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier audit: the digest of each item's and each rig's facts, and the rulebook's."""

    out: Path
    items: Mapping[str, str]
    rigs: Mapping[str, str]
    rulebook: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One pair that fits no more, or fits now; or a claimed one that fits, with less or more on it than before.

    `before` and `after` are outcomes, and of less or more what may be carried, in words.
    """

    rig: str
    sku: str
    change: str
    before: str
    after: str
    cause: str
    rules: str


def read_earlier(out: Path) -> Earlier:
    """An earlier audit's folder; ProblemsFound when it is none, or not one with Parquet."""
    try:
        summary = json.loads((out / SUMMARY).read_text("utf-8"))
        rulebook, format = summary["run"]["rulebook"], summary["run"]["format"]
        items, rigs = _digests(out / "items.csv", "sku"), _digests(out / "rigs.csv", "rig")
    except (OSError, ValueError, KeyError, TypeError):
        help = "name the folder that an earlier `fitsvc audit` wrote, and finished"
        raise ProblemsFound([Problem("holds no audit", help, file=str(out))]) from None
    if format != "parquet":
        raise ProblemsFound(
            [Problem(f"holds an audit as {format}", "audits with Parquet can be compared", file=str(out))]
        )
    if not pairs_folder(out, format).is_dir():
        help = "take one that still has them; those of old audits are let go of by `fitsvc scorecard --keep`"
        raise ProblemsFound([Problem("holds an audit without its pairs", help, file=str(out))])
    return Earlier(out, items, rigs, rulebook)


def _digests(path: Path, key: str) -> dict[str, str]:
    return {row[key]: row["facts"] for row in read_safe(path)}


class Changes:
    """The comparison of an audit with an earlier one."""

    def __init__(
        self,
        state: AuditState,
        earlier: Earlier,
        rigs: Mapping[str, str],
        items: Mapping[str, str],
    ) -> None:
        self._spool, self._earlier, self._all = state.spool, earlier, state.rigs
        self.rulebook = state.kernel.rulebook.digest != earlier.rulebook
        self._rigs, self._skus = list(rigs), list(items)
        self._rig_changed = np.array([earlier.rigs.get(rig) != digest for rig, digest in rigs.items()], np.bool_)
        self._item_changed = np.array([earlier.items.get(sku) != digest for sku, digest in items.items()], np.bool_)
        self.told: Document = {
            "new_rigs": len(rigs.keys() - earlier.rigs.keys()),
            "gone_rigs": len(earlier.rigs.keys() - rigs.keys()),
            "new_items": len(items.keys() - earlier.items.keys()),
            "gone_items": len(earlier.items.keys() - items.keys()),
            "rulebook_changed": self.rulebook,
        }
        self._before = self._read()
        self._texts: dict[str, int] = {}
        self._rules_before = self._read_rules() if self.rulebook else None

    def _read(self) -> NDArray[np.uint8]:
        """The earlier outcomes by this audit's places of rigs and items; kept on the disk, not in memory."""
        rigs = {key: place for place, key in enumerate(self._rigs)}
        items = {key: place for place, key in enumerate(self._skus)}
        before = self._spool.outcomes_before(len(rigs), len(items))
        read_outcomes_into(before, self._earlier.out, rigs, items)
        return before

    def _read_rules(self) -> NDArray[np.int32]:
        """What decided each pair earlier, as numbers of texts; of the rulebook of then nothing else is kept."""
        rigs, items = ({key: place for place, key in enumerate(some)} for some in (self._rigs, self._skus))
        found = self._spool.rules_before(len(rigs), len(items))
        for path in sorted(pairs_folder(self._earlier.out, "parquet").glob("part-*.parquet")):
            table = read_outcomes(path, "rules")
            rig, sku = (places_of(table.column(name), places) for name, places in (("rig", rigs), ("sku", items)))
            known = (rig >= 0) & (sku >= 0)
            for text in names_of(table.column("rules")):
                self._texts.setdefault(text, len(self._texts))
            found[rig[known], sku[known]] = places_of(table.column("rules"), self._texts)[known]
        return found

    def _turned(self, cause: Cause | None, rig: int, item: int, *, fits: bool) -> str:
        """The rules that turned a pair: of one that a change of the rules lets fit those that stood in the way."""
        if cause is None:
            return ""
        if cause.by == RULEBOOK and fits and self._rules_before is not None:
            return list(self._texts)[int(self._rules_before[rig, item])]
        return " ".join(cause.rules)

    def of(self, block: int, group: int, rigs: range, items: range, causes: Causes | None) -> Iterator[Change]:
        """The changes among some rigs and items, whose part is written."""
        facts = self._spool.block(block) if causes else None
        table = read_outcomes(part_of(self._spool.out, "parquet", block, group))
        outcome = places_of(table.column("outcome"), {name: place for place, name in enumerate(OUTCOMES)})
        after = outcome.reshape(len(rigs), len(items))
        before = self._before[rigs.start : rigs.stop, items.start : items.stop]
        differ = (before != ABSENT) & ((before <= FITS) != (after <= FITS))
        for rig, item in np.argwhere(differ).tolist():
            fits = bool(after[rig, item] <= FITS)
            cause = causes.of((facts, item), self._all[rigs.start + rig], fits=fits) if causes and facts else None
            yield Change(
                rig=self._rigs[rigs.start + rig],
                sku=self._skus[items.start + item],
                change="new" if fits else "lost",
                before=OUTCOMES[int(before[rig, item])],
                after=OUTCOMES[int(after[rig, item])],
                cause=cause.by if cause else self._cause(rigs.start + rig, items.start + item),
                rules=self._turned(cause, rigs.start + rig, items.start + item, fits=fits),
            )

    def carried(self, after: Iterable[tuple[int, Iterable[ClaimCarried]]], causes: Causes | None) -> Iterator[Change]:
        """The claimed pairs that fit, as they did, with less or more on them than before; `after` tells block by block.

        Their blocks are those of the items as they are now.
        """
        path = self._earlier.out / _CARRIED
        rigs, items = ({key: place for place, key in enumerate(some)} for some in (self._rigs, self._skus))
        texts, keys, told = dict[tuple[LoadTold, str], int](), array("q"), array("i")
        for row in read_safe(path) if path.is_file() else ():
            if row["rig"] in rigs and row["sku"] in items:
                keys.append(rigs[row["rig"]] * len(items) + items[row["sku"]])
                figures = LoadTold(*(row[name] for name in LoadTold._fields))
                told.append(texts.setdefault((figures, row[_WORDS]), len(texts)))
        order = np.argsort(np.frombuffer(keys, np.int64)) if keys else np.zeros(0, np.intp)
        places, of = np.array(keys, np.int64)[order], np.array(told, np.int32)[order]
        known, held = list(texts), LruCache[int, _Block](1)
        for block, one in ((block, one) for block, rows in after for one in rows):
            rig, item = rigs[one.rig], items[one.sku]
            place = int(np.searchsorted(places, key := rig * len(items) + item))
            if place == len(places) or places[place] != key:
                continue
            (was, words), now = known[int(of[place])], LoadTold(one.at_most, one.times, one.each)
            if was == now:
                continue
            cause = None
            if causes:
                facts, at = held.get(block, partial(self._block, block))
                cause = causes.of_load((facts, at[one.sku]), self._all[rig], now, was)
            yield Change(
                rig=one.rig,
                sku=one.sku,
                change="less" if is_less(now, was) else "more",
                before=words,
                after=one.told,
                cause=cause or self._cause(rig, item),
                rules="",
            )

    def _block(self, block: int) -> _Block:
        """The items of a block, and where each of them is in it."""
        items = self._spool.block(block)
        return items, {sku: place for place, sku in enumerate(items.skus)}

    def _cause(self, rig: int, item: int) -> str:
        changed = {"item": self._item_changed[item], "rig": self._rig_changed[rig], "rulebook": self.rulebook}
        causes = [name for name, differs in changed.items() if differs]
        return " ".join(causes) or "program"


def read_outcomes_into(into: NDArray[np.uint8], out: Path, rigs: Mapping[str, int], items: Mapping[str, int]) -> None:
    """Write the outcome of every pair of an audit to its place by rig and item, and ABSENT where there is none."""
    into[:] = ABSENT
    for path in sorted(pairs_folder(out, "parquet").glob("part-*.parquet")):
        table = read_outcomes(path)
        rig, sku = (places_of(table.column(name), places) for name, places in (("rig", rigs), ("sku", items)))
        outcome = places_of(table.column("outcome"), {name: place for place, name in enumerate(OUTCOMES)})
        known = (rig >= 0) & (sku >= 0)
        into[rig[known], sku[known]] = outcome[known]


def names_of(column: Any) -> Iterator[str]:
    """The names that a column of codes has."""
    for chunk in column.chunks if hasattr(column, "chunks") else [column]:
        yield from chunk.dictionary.to_pylist()


def places_of(column: Any, places: Mapping[str, int]) -> NDArray[np.int64]:
    """Each row's place by its name; -1 where the name has none."""
    chunks: Sequence[Any] = column.chunks if hasattr(column, "chunks") else [column]
    found = [
        np.array([places.get(name, -1) for name in chunk.dictionary.to_pylist()], np.int64)[chunk.indices.to_numpy()]
        for chunk in chunks
    ]
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def gone_and_new(earlier: Earlier, out: Path, skus: Mapping[str, str]) -> Iterator[list[Any]]:
    """The items that are there no more and those that were not, each with how many rigs it fits or fitted."""
    for folder, others, change in ((earlier.out, skus, "gone"), (out, earlier.items, "new")):
        for row in read_safe(folder / "items.csv"):
            if row["sku"] not in others:
                yield [row["sku"], change, row["works"], row["conditional"]]
