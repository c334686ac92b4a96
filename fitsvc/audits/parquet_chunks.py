"""A catalogue in Parquet as chunks of raw cells, whose columns have types."""

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from fitsvc.audits.chunks import CHUNK, Chunk, as_cell, bad_titles
from fitsvc.files import of_the_machine
from fitsvc.language.problems import Problem, ProblemsFound

LARGEST_CHUNK: Final = 256_000_000


def opened_parquet(path: Path) -> Any:
    """A file of Parquet; ProblemsFound where it is none, OSError where the disk fails."""
    try:
        return pq.ParquetFile(path, memory_map=False)
    except (pa.ArrowException, OSError) as error:
        if of_the_machine(error):
            raise
        reason = str(error).splitlines()[0] if str(error) else "unknown reason"
        problem = Problem(f"is not Parquet that can be read: {reason}", "write the file again", file=str(path))
        raise ProblemsFound([problem]) from None


def parquet_chunks(path: Path, units: Mapping[str, str], wanted: Collection[str] | None) -> Iterator[Chunk]:
    """Yield the rows of a file, as `read_chunks` does; ProblemsFound when it cannot be read to its end."""
    file = opened_parquet(path)
    read = [field for field in file.schema_arrow if wanted is None or field.name in wanted]
    places = [(place, name) for place, name in enumerate(file.schema_arrow.names) if name in {one.name for one in read}]
    problems = bad_titles([name.strip() for name in file.schema_arrow.names], str(path))
    problems += [_wrong_type(path, field) for field in read if _kind(field.type) is None]
    problems += [
        Problem(
            f"column `{field.name}` holds figures without a unit",
            f"name it `{field.name} [lb]`, or map it",
            file=str(path),
        )
        for field in read
        if _kind(field.type) == "figure" and units.get(field.name) == ""
    ]
    problems += columns_too_large(path, file.metadata)
    if problems:
        raise ProblemsFound(problems)
    row = 1
    try:
        for batch in file.iter_batches(batch_size=CHUNK):
            cells = {name: [as_cell(value) for value in batch.column(place).to_pylist()] for place, name in places}
            yield Chunk(list(range(row, row + batch.num_rows)), cells)
            row += batch.num_rows
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        if of_the_machine(error):
            raise
        reason = str(error).splitlines()[0]
        problem = Problem(f"cannot be read past row {row - 1}: {reason}", "write the file again", file=str(path))
        raise ProblemsFound([problem]) from None


def columns_too_large(path: Path, metadata: Any) -> Iterator[Problem]:
    """Refuse what would have to be held at once however small the file is: a column's share of a group of rows."""
    first = 1
    for group in (metadata.row_group(number) for number in range(metadata.num_row_groups)):
        last = first + group.num_rows - 1
        for column in (group.column(number) for number in range(group.num_columns)):
            if column.total_uncompressed_size > LARGEST_CHUNK:
                size = f"{column.total_uncompressed_size / 1e6:,.0f} MB"
                yield Problem(
                    f"column `{column.path_in_schema}` has {size} in the rows {first} to {last}",
                    f"write groups of fewer rows, with at most {LARGEST_CHUNK / 1e6:,.0f} MB in a column",
                    file=str(path),
                    line=first,
                )
        first = last + 1


def _kind(kind: Any) -> str | None:
    if pa.types.is_dictionary(kind) or pa.types.is_list(kind) or pa.types.is_large_list(kind):
        kind = kind.value_type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_null(kind):
        return "text"
    if pa.types.is_date(kind) or pa.types.is_timestamp(kind):
        return "text"
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return "figure"
    return "yes_no" if pa.types.is_boolean(kind) else None


def _wrong_type(path: Path, field: Any) -> Problem:
    help = "write it as text, figures, yes/no, or lists of these"
    return Problem(f"column `{field.name}` is of type {field.type}", help, file=str(path))
