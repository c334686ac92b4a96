"""The results of a finished audit as streams of bytes: each table as CSV, JSON Lines or Parquet."""

import csv
from collections.abc import Callable, Iterator, Mapping
from io import BytesIO
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import msgspec
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from fitsvc.audits.blocks import PAIRS
from fitsvc.audits.fits import fits_of
from fitsvc.audits.fix_rows import FIX_LIST
from fitsvc.audits.pairs import pairs_folder, plain
from fitsvc.audits.sheets import plain_cell, safe_table

PAIRS_NAME: Final = "pairs"
FITS_NAME: Final = "fits"
_OF_PAIRS: Final = (PAIRS_NAME, FITS_NAME)
TABLES: Final = (
    *_OF_PAIRS,
    "claims",
    "claims_checked",
    "others",
    "balls",
    "rescued",
    "hitched",
    "carried",
    "unclaimed",
    "unclaimed_of_rigs",
    "bad_rows",
    "bad_cells",
    "bad_claims",
    "suspicious",
    "fits_nothing",
    "missing_of_items",
    "missing_of_rigs",
    "rigs_without",
    "vehicles_to_tell",
    "items",
    "rigs",
    "changes",
    "items_changed",
    FIX_LIST,
)
"""The tables that an audit may have; `changes` and `items_changed` only where it was compared with an earlier one."""
_WHOLE: Final = frozenset(
    {"row", "works", "conditional", "undetermined", "fails", "claimed", "claims_failing", "pairs", "claims"}
)
"""The columns of findings that hold whole numbers; all others hold texts."""
_THEIRS: Final = "claims_checked"
"""The table that has columns of who sent it, whatever these are called and hold."""
WORKBOOK: Final = "xlsx"
"""A format that the list of what is to be mended has, and no other table."""
_ROWS: Final = 16_384


def tables_of(out: Path) -> list[str]:
    """The tables that a finished audit has; its pairs, and what is made of them, until they are let go of."""
    has_pairs = pairs_folder(out, "parquet").is_dir()
    return [name for name in TABLES if (has_pairs if name in _OF_PAIRS else (out / f"{name}.csv").is_file())]


def stream(out: Path, name: str, format: str, titles: Mapping[str, str] = MappingProxyType({})) -> Iterator[bytes]:
    """One table of an audit whose pairs are Parquet, in pieces; little of it is held at a time.

    `titles` are those of the rules, by which `fits` says why.
    """
    if name not in _OF_PAIRS and format in ("csv", WORKBOOK):
        return _bytes_of(out / f"{name}.{format}")
    tables = fits_of(out, titles) if name == FITS_NAME else _pairs(out) if name == PAIRS_NAME else None
    tables = tables or _findings(out / f"{name}.csv")
    return {"csv": _as_csv, "jsonl": _as_json_lines, "parquet": _as_parquet}[format](tables)


def _bytes_of(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while piece := stream.read(1 << 18):
            yield piece


def _pairs(out: Path) -> Iterator[pa.Table]:
    schema = plain(PAIRS)
    for part in sorted(pairs_folder(out, "parquet").glob("part-*.parquet")):
        for batch in pq.ParquetFile(part).iter_batches(batch_size=_ROWS):
            yield pa.Table.from_batches([batch]).cast(schema)


def _findings(path: Path) -> Iterator[pa.Table]:
    with path.open(encoding="utf-8", newline="") as stream:
        rows = csv.reader(stream, strict=True)
        titles = list(map(plain_cell, next(rows)))
        whole = {"row"} if path.stem == _THEIRS else _WHOLE
        schema = pa.schema([(title, pa.int64() if title in whole else pa.string()) for title in titles])
        while some := list(islice(rows, _ROWS)):
            columns = [_column(field, cells) for field, cells in zip(schema, zip(*some, strict=True), strict=True)]
            yield pa.table(columns, schema=schema)
        yield schema.empty_table()


def _column(field: Any, cells: tuple[str, ...]) -> pa.Array:
    values = [int(cell) if cell else None for cell in cells] if field.type == pa.int64() else map(plain_cell, cells)
    return pa.array(list(values), field.type)


def _as_csv(tables: Iterator[pa.Table]) -> Iterator[bytes]:
    return _written(map(safe_table, tables), pc.CSVWriter)


def _as_parquet(tables: Iterator[pa.Table]) -> Iterator[bytes]:
    return _written(tables, lambda sink, schema: pq.ParquetWriter(sink, schema, compression="zstd"))


def _written(tables: Iterator[pa.Table], open_: Callable[[Any, pa.Schema], Any]) -> Iterator[bytes]:
    """The bytes that a writer of Arrow's makes of some tables, taken from it table by table."""
    sink = _Sink()
    first = next(tables)
    writer = open_(sink, first.schema)
    writer.write_table(first)
    for table in tables:
        if len(table):
            writer.write_table(table)
        yield sink.taken()
    writer.close()
    yield sink.taken()


class _Sink(BytesIO):
    """A file that is written to at its end and emptied at its beginning; it tells where it would be were it whole."""

    def __init__(self) -> None:
        super().__init__()
        self._gone = 0

    def tell(self) -> int:
        return self._gone + super().tell()

    def seekable(self) -> bool:
        return False

    def taken(self) -> bytes:
        """What was written since the last time."""
        piece = self.getvalue()
        self._gone += len(piece)
        super().seek(0)
        self.truncate(0)
        return piece


def _as_json_lines(tables: Iterator[pa.Table]) -> Iterator[bytes]:
    encoder = msgspec.json.Encoder()
    for table in tables:
        for start in range(0, len(table), 2_048):
            yield encoder.encode_lines(table.slice(start, 2_048).to_pylist())
