"""Files of pairs: one part a block of items with a group of rigs, as Parquet, CSV or JSON Lines."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import msgspec
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from fitsvc.audits.sheets import safe_table
from fitsvc.files import written

FORMATS: Final = ("parquet", "csv", "jsonl")
_SLICE: Final = 65_536


def pairs_folder(out: Path, format: str) -> Path:
    """The folder that holds the parts; Parquet readers take it for one table."""
    return out / f"pairs.{format}"


def part_of(out: Path, format: str, block: int, group: int) -> Path:
    """The file of one part."""
    return pairs_folder(out, format) / f"part-{block:05}-{group:05}.{format}"


def write_part(path: Path, table: pa.Table) -> None:
    """Write a part; the same pairs give the same bytes."""
    with written(path) as place:
        if path.suffix == ".parquet":
            write_pairs(table, place)
        elif path.suffix == ".csv":
            schema = plain(table.schema)
            with pc.CSVWriter(place, schema) as writer:
                for part in _slices(table, schema):
                    writer.write_table(safe_table(part))
        else:
            encoder = msgspec.json.Encoder()
            with place.open("wb") as stream:
                for part in _slices(table, plain(table.schema)):
                    stream.write(encoder.encode_lines(part.to_pylist()))


def write_pairs(table: pa.Table, sink: Any) -> None:
    """Write pairs as Parquet to a file or a stream."""
    pq.write_table(
        table,
        sink,
        compression="zstd",
        compression_level=1,
        write_statistics=["rig", "sku"],
        row_group_size=len(table) or 1,
        # The names of a block of items must all fit the dictionary, or each would be written out in full.
        dictionary_pagesize_limit=1 << 28,
    )


def plain(schema: pa.Schema) -> pa.Schema:
    """A schema with texts in place of numbers that stand for them."""
    return pa.schema(
        [(field.name, field.type.value_type if pa.types.is_dictionary(field.type) else field.type) for field in schema]
    )


def _slices(table: pa.Table, schema: pa.Schema) -> Iterator[pa.Table]:
    for start in range(0, len(table), _SLICE):
        yield table.slice(start, _SLICE).cast(schema)


def read_outcomes(path: Path, what: str = "outcome") -> pa.Table:
    """The rig, SKU and outcome (or what else) of every pair of a Parquet part, as codes with their names."""
    names = ["rig", "sku", what]
    return pq.read_table(path, columns=names, read_dictionary=names).combine_chunks()
