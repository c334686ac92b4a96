"""Recorded answers as tables (Parquet), a folder a day, for whoever looks at many: what was asked, what decided.

The service adds lines to a file, since a line is whole or seen to be cut off where it is killed, and a table's file is
neither before it is closed. So tables are made of files afterwards; made again they take the place of themselves.
"""

from collections.abc import Iterator
from itertools import groupby, islice
from pathlib import Path
from typing import Any, Final

import msgspec
import pyarrow as pa
import pyarrow.parquet as pq

from fitsvc.files import written
from fitsvc.service.recording import RecordedAnswer

_ROWS: Final = 10_000
"""Of one piece of a table: some 50 MB of answers are held at a time."""
SCHEMA: Final = pa.schema(
    [
        ("id", pa.string()),
        ("at", pa.timestamp("us", tz="UTC")),
        ("program", pa.string()),
        ("rulebook", pa.string()),
        ("query", pa.string()),
        ("language", pa.string()),
        ("outcome", pa.string()),
        ("failing", pa.list_(pa.string())),
        ("open", pa.list_(pa.string())),
        ("masked", pa.bool_()),
        ("question", pa.string()),
        ("answer", pa.string()),
    ]
)
"""The columns; `id` is the file and line of an answer, by which it is given again."""


def read_recorded(file: Path) -> Iterator[tuple[str, RecordedAnswer | None]]:
    """Each line with its place; None for one that is no record, as the last may be of a server that was killed."""
    with file.open("rb") as stream:
        for number, line in enumerate(stream, 1):
            try:
                yield f"{file.name}:{number}", msgspec.json.decode(line, type=RecordedAnswer)
            except msgspec.MsgspecError:
                yield f"{file.name}:{number}", None


def write_tables(file: Path, to: Path) -> tuple[int, int]:
    """Write the answers of a file below a folder, a folder for each day (UTC); how many were written, and cut off."""
    counts = [0, 0]
    for day, lines in groupby(_whole(file, counts), lambda one: one[1].at.date()):
        folder = to / f"day={day.isoformat()}"
        folder.mkdir(parents=True, exist_ok=True)
        with written(folder / f"{file.stem}.parquet") as path, pq.ParquetWriter(path, SCHEMA) as table:
            rows = (_row(place, line) for place, line in lines)
            while some := list(islice(rows, _ROWS)):
                table.write_table(pa.Table.from_pylist(some, SCHEMA))
    return counts[0], counts[1]


def _whole(file: Path, counts: list[int]) -> Iterator[tuple[str, RecordedAnswer]]:
    for place, line in read_recorded(file):
        counts[line is None] += 1
        if line is not None:
            yield place, line


def _row(place: str, line: RecordedAnswer) -> dict[str, Any]:
    told = msgspec.json.decode(line.answer)
    by_result = {result: [one["rule"] for one in told["findings"] if one["result"] == result] for result in _RESULTS}
    return {
        "id": place,
        "at": line.at,
        "program": line.program,
        "rulebook": line.rulebook,
        "query": line.query,
        "language": line.language,
        "outcome": told["outcome"],
        "failing": by_result["fails"],
        "open": by_result["undetermined"],
        "masked": line.masked,
        "question": line.question,
        "answer": bytes(line.answer).decode(),
    }


_RESULTS: Final = ("fails", "undetermined")
