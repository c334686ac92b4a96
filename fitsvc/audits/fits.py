"""What an audit comes to for a shop: what fits by number and vehicle, what changed since the last night, and holes.

All of it is taken from the folder of a finished audit whose pairs are Parquet. Pairs that do not fit are left out:
what is in none of the rows is no fit. What an item may be loaded with is told of each that fits, and that it may be
less or more than it might is a change, too: whoever sold it for so much has to know.
"""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from fitsvc.audits.blocks import Kernel
from fitsvc.audits.causes import FITS
from fitsvc.audits.changes import ABSENT, Earlier, places_of, read_earlier, read_outcomes_into
from fitsvc.audits.loads import NOTHING, FitLoads, LoadTold
from fitsvc.audits.pairs import pairs_folder
from fitsvc.audits.sheets import read_safe, safe_row, safe_table
from fitsvc.files import written
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.rules import Rulebook
from fitsvc.subjects import KIND

HOLES: Final = "holes.csv"
_STATUS: Final = {"works": "fits", "conditional": "fits if", "undetermined": "not known: measure", "fails": "no fit"}
"""What an outcome is to a shop."""
_NO_FIT: Final = OUTCOMES.index("fails")
_OPEN: Final = OUTCOMES.index("undetermined")
_LOOKED_AT: Final = 5
"""Open pairs of a hole of which it is looked what they wait for, a millisecond each: one of each part of the pairs."""
_ROWS: Final = 65_536
_FITS: Final = pa.schema([(name, pa.string()) for name in ("sku", "vehicle", "name", "rig", "status", "because")])
_LOADED: Final = pa.schema([*_FITS, *((name, pa.string()) for name in LoadTold._fields)])
_FITTING: Final = ("fits", "fits if")
_CHANGES: Final = pa.schema(
    [
        (name, pa.string())
        for name in ("sku", "vehicle", "name", "rig", "before", "after", "cause", "carried_before", "carried_after")
    ]
)
_HOLE: Final = ("vehicle", "name", "rig", "kind", "called", "items", "to_measure", "measure_first")
Write = Callable[[Sequence[pa.Array]], None]


class RigTold(NamedTuple):
    """What an audit tells of a rig: its vehicle's id and what people call it."""

    vehicle: str
    name: str


@dataclass(slots=True, kw_only=True)
class FitsTold:
    """How many rows were written of each sort; `changes` where there was an earlier audit."""

    rows: dict[str, int]
    holes: int = 0
    changes: int | None = None


def write_fits(out: Path, rulebook: Rulebook, into: Path, format: str, against: Path | None = None) -> FitsTold:
    """Write what an audit in the folder `out` comes to into another; ProblemsFound where it holds no such audit.

    `rulebook` is the one that the audit was by. What an item might be loaded with earlier is told only of an earlier
    audit by the same one.
    """
    audit = read_earlier(out)
    earlier = read_earlier(against) if against else None
    loads, before = loads_of(out, rulebook), None
    if earlier is not None and earlier.rulebook == audit.rulebook:
        before = FitLoads(earlier.out, loads.kernel)
    rigs, titles = _rigs_of(out), titles_of(rulebook)
    into.mkdir(parents=True, exist_ok=True)
    told = FitsTold(rows={name: 0 for name in _STATUS.values() if name != _STATUS["fails"]})
    kinds = _Kinds(out, rulebook, list(rigs), loads)
    with _table(into / f"fits.{format}", _LOADED) as write:
        for batch in _batches(out):
            kinds.count(batch)
            columns = _with_loads(_fits_of(batch, rigs, titles), loads)
            for value in columns[4].value_counts().to_pylist():
                told.rows[value["values"]] += value["counts"]
            write(columns)
    told.holes = kinds.write(into / HOLES, rigs)
    if earlier is not None:
        with _table(into / f"changes.{format}", _CHANGES) as write:
            told.changes = sum(_changes(audit, earlier, rigs, write, into, (before, loads)))
    return told


def fits_of(out: Path, titles: Mapping[str, str], loads: FitLoads | None = None) -> Iterator[pa.Table]:
    """The rows of what fits, or may, table by table; `titles` are those of the rules.

    With `loads` each row tells what the item may be loaded with, too.
    """
    rigs, schema = _rigs_of(out), _LOADED if loads else _FITS
    for batch in _batches(out):
        columns = _fits_of(batch, rigs, titles)
        yield pa.table(_with_loads(columns, loads) if loads else columns, schema=schema)
    yield schema.empty_table()


def loads_of(out: Path, rulebook: Rulebook) -> FitLoads:
    """What the items of a finished audit may be loaded with; ProblemsFound where it was by another rulebook."""
    if read_earlier(out).rulebook != rulebook.digest:
        help = "name the folder of those rules with `--rules`, or audit the catalogue anew by these"
        raise ProblemsFound([Problem("the audit was by other rules than these", help, file=str(out))])
    return FitLoads(out, Kernel(rulebook))


def _with_loads(columns: list[pa.Array], loads: FitLoads) -> list[pa.Array]:
    """The rows of pairs that fit, or may, with what each that fits may be loaded with."""
    sku, rig, status = (columns[_LOADED.names.index(name)].to_pylist() for name in ("sku", "rig", "status"))
    told = [loads.of(*pair) if fits in _FITTING else NOTHING for *pair, fits in zip(rig, sku, status, strict=True)]
    return [*columns, *(pa.array([one[place] for one in told], pa.string()) for place in range(len(LoadTold._fields)))]


def titles_of(rulebook: Rulebook) -> dict[str, str]:
    """The titles of rules and needs by their ids."""
    return {rule.id: rule.title for rule in rulebook.rules} | {need.name: need.title for need in rulebook.needs}


def _rigs_of(out: Path) -> dict[str, RigTold]:
    return {row["rig"]: RigTold(row["vehicle"], row["name"]) for row in read_safe(out / "rigs.csv")}


def _batches(out: Path) -> Iterator[pa.RecordBatch]:
    """The pairs, some at a time, as codes with their names."""
    names = ["rig", "sku", "outcome", "rules"]
    for part in sorted(pairs_folder(out, "parquet").glob("part-*.parquet")):
        yield from pq.ParquetFile(part, read_dictionary=names).iter_batches(batch_size=_ROWS, columns=names)


def _fits_of(batch: pa.RecordBatch, rigs: Mapping[str, RigTold], titles: Mapping[str, str]) -> list[pa.Array]:
    """The rows of some pairs that fit, or may."""
    fails = batch.column("outcome").dictionary.to_pylist().index("fails")
    kept = batch.filter(pa.array(batch.column("outcome").indices.to_numpy() != fails))
    rig, sku, outcome, rules = (kept.column(name) for name in ("rig", "sku", "outcome", "rules"))
    return [
        sku.cast(pa.string()),
        _as(rig, lambda key: rigs[key].vehicle),
        _as(rig, lambda key: rigs[key].name),
        rig.cast(pa.string()),
        _as(outcome, lambda name: _STATUS[name]),
        _as(rules, lambda text: "; ".join(titles.get(name, name) for name in text.split())),
    ]


def _as(column: Any, word: Callable[[str], str]) -> pa.Array:
    """A column of codes with other words for its names."""
    names = pa.array([word(name) for name in column.dictionary.to_pylist()], pa.string())
    return names.take(column.indices)


class _Kinds:
    """Pairs counted by rig, kind of item and outcome, for what nothing fits; the first open ones tell what to learn."""

    def __init__(self, out: Path, rulebook: Rulebook, rigs: Sequence[str], loads: FitLoads) -> None:
        fact = rulebook.vocabulary.facts.get(KIND)
        self._words = rulebook.vocabulary.words.get(fact.kind, {}) if fact else {}
        self._facts = {name: one.label for name, one in rulebook.vocabulary.facts.items()}
        self._rigs, self._loads = {key: place for place, key in enumerate(rigs)}, loads
        self._open = dict[tuple[int, int], list[str]]()
        self._names, self._of = dict[str, int](), dict[str, int]()
        for row in read_safe(out / "items.csv"):
            self._of[row["sku"]] = self._names.setdefault(row["kind"], len(self._names))
        self._counts = np.zeros((len(rigs), max(len(self._names), 1), len(OUTCOMES)), np.int64)

    def count(self, batch: pa.RecordBatch) -> None:
        """Count some pairs."""
        rig, kind = places_of(batch.column("rig"), self._rigs), places_of(batch.column("sku"), self._of)
        outcome = places_of(batch.column("outcome"), {name: place for place, name in enumerate(OUTCOMES)})
        np.add.at(self._counts, (rig, kind, outcome), 1)
        rows = np.flatnonzero(outcome == _OPEN)
        _, first = np.unique(rig[rows] * len(self._names) + kind[rows], return_index=True)
        skus = batch.column("sku")
        for row in rows[first].tolist():
            self._open.setdefault((int(rig[row]), int(kind[row])), []).append(skus[row].as_py())

    def write(self, path: Path, rigs: Mapping[str, RigTold]) -> int:
        """Write the kinds of which no item is known to fit a rig, those first that a measurement may win most of."""
        rows = []
        for key, place in self._rigs.items():
            for kind, number in self._names.items():
                counts = self._counts[place, number].tolist()
                if kind and sum(counts) and not counts[0] + counts[1]:
                    called = self._words.get(kind, kind)
                    asked = self._measure_first(key, self._open[place, number]) if counts[_OPEN] else ""
                    row = [rigs[key].vehicle, rigs[key].name, key, kind, called, sum(counts), counts[_OPEN], asked]
                    rows.append(row)
        rows.sort(key=lambda row: (-row[6], -row[5]))
        with written(path) as beside, beside.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(_HOLE)
            writer.writerows(map(safe_row, rows))
        return len(rows)

    def _measure_first(self, rig: str, skus: Sequence[str]) -> str:
        """The label of the fact that most of a hole's open pairs wait for, be it the rig's or the item's own."""
        waits = Counter(name for sku in skus[:_LOOKED_AT] for name in self._loads.waits_for(rig, sku))
        return self._facts[waits.most_common(1)[0][0]] if waits else ""


def _changes(
    audit: Earlier,
    earlier: Earlier,
    rigs: Mapping[str, RigTold],
    write: Write,
    near: Path,
    loads: tuple[FitLoads | None, FitLoads],
) -> Iterator[int]:
    """Write what fits otherwise than it did, rig by rig, gone and new items and rigs too; yields how many rows.

    Otherwise is also with less or more on it, by what was allowed `before` and is now. Outcomes are kept for the while
    in a folder `near` the results, where there must be room for these too.
    """
    told = {row["rig"]: RigTold(row["vehicle"], row.get("name", "")) for row in read_safe(earlier.out / "rigs.csv")}
    told |= rigs
    places = {key: place for place, key in enumerate(told)}
    items = {key: place for place, key in enumerate(dict.fromkeys([*audit.items, *earlier.items]))}
    with TemporaryDirectory(dir=near) as folder:
        before, after = (
            _outcomes(one, places, items, Path(folder) / name) for one, name in ((earlier, "before"), (audit, "after"))
        )
        names = np.array(list(items), object)
        others = np.array([audit.items.get(sku) != earlier.items.get(sku) for sku in items], np.bool_)
        for key, place in places.items():
            old, new = (_shown(one[place]) for one in (before, after))
            maybe = (old <= FITS) & (new <= FITS) & (others | (audit.rigs.get(key) != earlier.rigs.get(key)))
            for some in np.array_split(np.flatnonzero((old != new) | maybe), max(1, len(items) // _ROWS)):
                carried = [_carried(loads, key, names[item], maybe[item]) for item in some.tolist()]
                kept = (old != new)[some] | np.array([was != now for was, now in carried], np.bool_)
                those, carried = some[kept], [pair for pair, one in zip(carried, kept, strict=True) if one]
                causes = (_cause(key, names[item], audit, earlier) for item in those)
                yield _write_changes(write, key, told[key], names[those], (old[those], new[those]), causes, carried)


def _carried(
    loads: tuple[FitLoads | None, FitLoads], rig: str, sku: str, may_differ: bool
) -> tuple[LoadTold, LoadTold]:
    """What an item might be loaded with, and may be now, of one that fitted and fits, and where it may differ."""
    before, now = loads
    if before is None or not may_differ:
        return NOTHING, NOTHING
    return before.of(rig, sku), now.of(rig, sku)


def _outcomes(audit: Earlier, rigs: Mapping[str, int], items: Mapping[str, int], path: Path) -> NDArray[np.uint8]:
    """Every outcome by the places of rigs and items, on the disk and not in memory."""
    into: NDArray[np.uint8] = np.memmap(path, np.uint8, "w+", shape=(len(rigs), len(items)))
    read_outcomes_into(into, audit.out, rigs, items)
    return into


def _shown(outcomes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Outcomes as a shop sees them: what is in no audit fits no more than what fails."""
    return np.where(outcomes == ABSENT, np.uint8(_NO_FIT), outcomes)


def _cause(rig: str, sku: str, audit: Earlier, earlier: Earlier) -> str:
    """Whether the item or the rig is new or gone, or has other facts; else the rules are others."""
    for what, one, now, was in (("item", sku, audit.items, earlier.items), ("rig", rig, audit.rigs, earlier.rigs)):
        if one not in was:
            return f"new {what}"
        if one not in now:
            return f"{what} gone"
    changed = [
        what
        for what, differs in (
            ("item", audit.items[sku] != earlier.items[sku]),
            ("rig", audit.rigs[rig] != earlier.rigs[rig]),
            ("rulebook", audit.rulebook != earlier.rulebook),
        )
        if differs
    ]
    return " ".join(changed) or "program"


def _write_changes(
    write: Write,
    rig: str,
    told: RigTold,
    skus: NDArray[Any],
    outcomes: tuple[NDArray[np.uint8], NDArray[np.uint8]],
    causes: Iterable[str],
    carried: Sequence[tuple[LoadTold, LoadTold]],
) -> int:
    status = pa.array([_STATUS[name] for name in OUTCOMES])
    same = (pa.array([text] * len(skus), pa.string()) for text in (told.vehicle, told.name, rig))
    if len(skus):
        columns = [pa.array(skus, pa.string()), *same, *(status.take(pa.array(one)) for one in outcomes)]
        loads = (pa.array([pair[place].told() for pair in carried], pa.string()) for place in (0, 1))
        write([*columns, pa.array(list(causes), pa.string()), *loads])
    return len(skus)


@contextmanager
def _table(path: Path, schema: pa.Schema) -> Iterator[Write]:
    """A writer of rows to a table, by the ending of its name; Parquet tells the least and greatest of each group."""
    with ExitStack() as opened:
        beside = opened.enter_context(written(path))
        parquet = path.suffix == ".parquet"
        made: AbstractContextManager[Any] = (
            pq.ParquetWriter(beside, schema, compression="zstd", write_statistics=True)
            if parquet
            else pc.CSVWriter(beside, schema)
        )
        writer = opened.enter_context(made)

        def write(columns: Sequence[pa.Array]) -> None:
            told = pa.table(list(columns), schema=schema)
            writer.write_table(told if parquet else safe_table(told))

        yield write
