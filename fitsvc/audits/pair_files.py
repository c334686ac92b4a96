"""The pairs alone of a catalogue that no machine should read whole: judged by row groups on a cluster, on any storage.

A place is a path, or the URL of what Arrow (`s3://`, `gs://`, `abfs://`, `hdfs://`) or fsspec knows. Each row group of
each file is a task; what it gives are files that are there whole or not at all, and last a note of what it was of. A
row group that has its note is not judged again, so that a job which is begun again goes on where it was.
"""

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any, Final

import pyarrow as pa
import pyarrow.fs as pf
import pyarrow.parquet as pq

from fitsvc import __version__
from fitsvc.audits.blocks import judge_in_parts, rulebook_of
from fitsvc.audits.pairs import write_pairs
from fitsvc.files import written
from fitsvc.language.problems import Problem, ProblemsFound

PAIRS_IN_PART: Final = 1_000_000
_RETRIES: Final = 5
_NAMED: Final = 16
"""Letters of a digest that tell files of one name apart."""
_SCHEME: Final = "://"
_PRIVATE: Final = re.compile(r"(?<=://)[^/@]*@|\?.*", re.DOTALL)
"""What of a URL may be a secret, or tells how it is reached: it is written and told nowhere."""
Place = str | Path


@dataclass(frozen=True, slots=True)
class RowGroup:
    """A part of a file of items: the file, the group's number, and how many rows stand before it."""

    items: str
    number: int
    before: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PairsOrder:
    """What row groups are judged with, and where their pairs go, in parts of so many; `rules` is a folder of rules."""

    rigs: str
    out: str
    rules: str | None = None
    pairs: int = PAIRS_IN_PART


def storage_of(place: Place) -> tuple[pf.FileSystem, str]:
    """The storage of a place, and the path there; ProblemsFound where nothing knows its scheme."""
    text = str(place)
    if _SCHEME not in text:
        return pf.LocalFileSystem(), str(Path(text).absolute())
    try:
        found: tuple[pf.FileSystem, str] = pf.FileSystem.from_uri(text)
    except pa.ArrowInvalid:
        return _by_fsspec(text)
    return found


def _by_fsspec(text: str) -> tuple[pf.FileSystem, str]:
    from fsspec.core import url_to_fs

    try:
        storage, path = url_to_fs(text)
    except (ValueError, ImportError) as error:
        help = "name a path, or a URL of a storage whose library is installed"
        raise ProblemsFound([Problem(told_of(str(error)), help, file=told_of(text))]) from None
    return pf.PyFileSystem(pf.FSSpecHandler(storage)), path


def judge_files(
    client: Any, items: Sequence[Place], rigs: Place, out: Place, rules: Path | None = None, pairs: int = PAIRS_IN_PART
) -> int:
    """Judge many Parquet files of items with the rigs of another on a Dask cluster; returns how many pairs there are.

    ProblemsFound where a file is named twice. What is wrong with some row groups is raised once the others are judged,
    each by its file; a task that found it is not done again, as it would find the same.
    """
    order = PairsOrder(rigs=str(rigs), out=str(out), rules=None if rules is None else str(rules), pairs=pairs)
    named = dict.fromkeys(map(str, items), 0)
    for path in map(str, items):
        named[path] += 1
    if twice := [path for path, count in named.items() if count > 1]:
        help = "name each file once: its pairs would be counted twice"
        raise ProblemsFound([Problem("is named more than once", help, file=told_of(path)) for path in twice])
    storage, folder = storage_of(out)
    storage.create_dir(folder, recursive=True)
    groups = _gathered(client, [client.submit(groups_of, path, retries=_RETRIES, pure=False) for path in named])
    every = [group for of_file in groups for group in of_file]
    return sum(
        _gathered(client, [client.submit(judged, group, order, retries=_RETRIES, pure=False) for group in every])
    )


def _gathered(client: Any, tasks: Sequence[Any]) -> list[Any]:
    """What came of tasks; ProblemsFound with all that is wrong with some."""
    done = client.gather(tasks)
    if problems := [problem for _, found in done for problem in found]:
        raise ProblemsFound(problems)
    return [found for found, _ in done]


def groups_of(items: str) -> tuple[list[RowGroup], list[Problem]]:
    """The row groups of a file, or what is wrong with it: raised, it would be taken for a worker's fault."""
    storage, path = storage_of(items)
    try:
        with storage.open_input_file(path) as stream:
            told = pq.ParquetFile(stream).metadata
    except (FileNotFoundError, pa.ArrowInvalid) as error:
        return [], [
            Problem(f"cannot be read as Parquet: {str(error)[:200]}", "name a file of items", file=told_of(items))
        ]
    found, before = list[RowGroup](), 0
    for number in range(told.num_row_groups):
        found.append(RowGroup(items, number, before))
        before += told.row_group(number).num_rows
    return found, []


def judged(group: RowGroup, order: PairsOrder) -> tuple[int, list[Problem]]:
    """How many pairs a row group has, or what is wrong with it."""
    try:
        return judge_group(group, order), []
    except ProblemsFound as found:
        return 0, [
            replace(one, file=told_of(group.items), line=one.line and one.line + group.before) for one in found.problems
        ]


def judge_group(group: RowGroup, order: PairsOrder) -> int:
    """Judge one row group, unless that is done; returns how many pairs it has."""
    storage, folder = storage_of(order.out)
    items, path = storage_of(group.items)
    shared, rigs = storage_of(order.rigs)
    name = f"{folder.rstrip('/')}/{name_of(group)}"
    with shared.open_input_file(rigs) as stream:
        content = stream.readall()
    told = items.get_file_info(path)
    of = {
        "items": [told_of(group.items), group.number, told.size, told.mtime_ns],
        "rigs": hashlib.sha256(content).hexdigest(),
        "rules": rulebook_of(order.rules).digest,
        "pairs": order.pairs,
        "program": __version__,
    }
    if (kept := _note(storage, f"{name}.json")) and kept.get("of") == of:
        return int(kept["count"])
    with items.open_input_file(path) as stream:
        table = pq.ParquetFile(stream).read_row_group(group.number)
    count = 0
    for part, pairs in enumerate(
        judge_in_parts(table, pq.read_table(pa.BufferReader(content)), order.rules, order.pairs)
    ):
        sink = pa.BufferOutputStream()
        write_pairs(pairs, sink)
        _put(storage, f"{name}-{part:05}.parquet", sink.getvalue())
        count += len(pairs)
    _put(storage, f"{name}.json", pa.py_buffer(json.dumps({"of": of, "count": count}).encode()))
    return count


def name_of(group: RowGroup) -> str:
    """What the files of a row group's pairs are called: files of one name in several folders are told apart."""
    place = told_of(group.items)
    return f"{PurePosixPath(place).stem}-{hashlib.sha256(place.encode()).hexdigest()[:_NAMED]}-{group.number:05}"


def told_of(place: str) -> str:
    """A place as it is told to people: without the secrets that its URL may have."""
    return _PRIVATE.sub("", place) if _SCHEME in place else place


def _note(storage: pf.FileSystem, path: str) -> Mapping[str, Any]:
    """What a row group's note says; nothing where there is none."""
    try:
        with storage.open_input_stream(path) as stream:
            found: Mapping[str, Any] = json.loads(stream.read())
    except (FileNotFoundError, ValueError):
        return {}
    return found


def _put(storage: pf.FileSystem, path: str, content: pa.Buffer) -> None:
    """Put a file there whole: a storage of objects shows one once it is, a disk once it has its name."""
    if isinstance(storage, pf.LocalFileSystem):
        with written(Path(path)) as place:
            place.write_bytes(content)
        return
    with storage.open_output_stream(path) as stream:
        stream.write(content)
