"""Loading record files into the store: a file goes in whole, or every problem with it is told."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from sqlmodel import Session

from fitsvc.document import Document
from fitsvc.facts import FactReader
from fitsvc.inventory.changes import newest
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.loading.csv_rows import csv_rows
from fitsvc.loading.entries import RecordEntry, RigEntry, read_entry
from fitsvc.loading.json_rows import json_rows
from fitsvc.loading.observed_rows import tell_all
from fitsvc.loading.rows import Row
from fitsvc.loading.storing import Loaded, Storing
from fitsvc.loading.yaml_rows import yaml_rows
from fitsvc.observing.effects import saved_rigs
from fitsvc.observing.recording import Touched, items_since
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.store.database import Database
from fitsvc.subjects import STORED, SUBJECTS, stored_as
from fitsvc.written import Bounding

_CHUNK: Final = 2000
_FORMATS: Final = {".csv": "CSV", ".jsonl": "JSON Lines", ".ndjson": "JSON Lines", ".yaml": "YAML", ".yml": "YAML"}
_LATER: Final = {"mounting": 1, "rig": 2, "observation": 3}
"""What names other records is stored after them."""


def load_file(
    database: Database,
    reader: FactReader,
    path: Path,
    *,
    replace: bool = False,
    source: str = "",
    also_seen: bool = False,
    dry: bool = False,
    watch: bool = False,
) -> Loaded:
    """Store all records of a file in one transaction, or raise ProblemsFound with all its problems.

    With `replace`, what the file's source says of a record that is stored already is made what the file says: facts
    that the source told before and the file does not name are taken back. What was seen on the part itself stays,
    unless `also_seen` gives it up too. A `dry` run tells what would become of the file, and stores nothing. With
    `watch` the saved rigs are kept as they were and as they came to be, for whoever tells which answer otherwise.
    """
    with database.session() as session:
        records = StoreRecords(session)
        before, left_off = saved_rigs(session, reader, records) if watch else ([], 0)
        since = newest(session) if watch else 0
        storing = store_file(session, reader, path, replace=replace, source=source, also_seen=also_seen)
        if watch:
            after, _ = saved_rigs(session, reader, records)
            items, more = items_since(session, reader, since)
            storing.loaded.touched = Touched(
                before=before, after=after, left_off=left_off, items=items, items_left_off=more
            )
        if dry:
            session.rollback()
    return storing.loaded


def store_file(
    session: Session,
    reader: FactReader,
    path: Path,
    *,
    replace: bool = False,
    source: str = "",
    also_seen: bool = False,
) -> Storing:
    """Store all records of a file in a session, as `load_file` does; after ProblemsFound the session must be left."""
    problems: list[Problem] = []
    loaded = Loaded(file=str(path))
    rows = read_rows(path, reader.vocabulary, problems, reader.bounds)
    storing = Storing(
        session=session,
        reader=reader,
        problems=problems,
        loaded=loaded,
        source=source,
        replaces=replace,
        also_seen=also_seen,
    )
    _store(rows, storing)
    if not problems and not (loaded.stored or loaded.replaced or loaded.unchanged or loaded.repeated):
        problems.append(Problem("the file has no records", "add some, or leave it out", file=str(path)))
    if problems:
        raise ProblemsFound(sorted(problems, key=lambda problem: (problem.line, problem.column)))
    return storing


def in_order(paths: Iterable[Path], vocabulary: Vocabulary) -> list[Path]:
    """Files in an order in which each finds the records it names: by what stands first in each."""
    return sorted(paths, key=lambda path: _LATER.get(_first_subject(path, vocabulary), 0))


def read_rows(path: Path, vocabulary: Vocabulary, problems: list[Problem], words: Bounding | None) -> Iterator[Row]:
    """The records of a file as they stand there, read by the format that the file's name tells.

    `words` are those by which people bound a figure; None where no figure of it is read.
    """
    file, format = str(path), _FORMATS.get(path.suffix.lower())
    if path.exists() and not path.is_file():
        problems.append(Problem("is not a file", "name the files in it", file=file))
    elif format == "CSV":
        yield from csv_rows(path, file, problems, vocabulary, words)
    elif format == "JSON Lines":
        yield from json_rows(path, file, problems)
    elif format == "YAML":
        yield from yaml_rows(path, file, problems)
    else:
        near = nearest(path.suffix.lower(), _FORMATS)
        help = f"did you mean `{path.stem}{near}`?" if near and near != path.suffix else _named()
        problems.append(Problem(f"the format of `{path.name}` is not known", help, file=file))


def _named() -> str:
    return "name it " + ", ".join(f"`{ending}` ({format})" for ending, format in _FORMATS.items())


def _first_subject(path: Path, vocabulary: Vocabulary) -> str:
    row = next(read_rows(path, vocabulary, [], None), None)
    subject = row.document.get("subject") if row else None
    if row and "observed" in row.document:
        return "observation"
    return subject if isinstance(subject, str) else ""


def _store(rows: Iterator[Row], storing: Storing) -> None:
    """Store a file's rows as they come, mountings after what they name, then rigs, and what was observed last."""
    waiting: dict[str, list[RecordEntry]] = {}
    mountings: list[RecordEntry] = []
    rigs: list[RigEntry] = []
    observed: list[Row] = []
    for row in rows:
        if "observed" in row.document:
            observed.append(row)
            continue
        entry = read_entry(row, storing.reader, storing.problems)
        if entry is None:
            storing.faulty |= _named_by(row.document)
        elif storing.repeats(entry):
            continue
        elif isinstance(entry, RigEntry):
            rigs.append(entry)
        elif entry.subject == "mounting":
            mountings.append(entry)
        else:
            chunk = waiting.setdefault(stored_as(entry.subject), [])
            chunk.append(entry)
            if len(chunk) >= _CHUNK:
                storing.records(waiting.pop(stored_as(entry.subject)))
    chunks = [*waiting.values(), *(mountings[at : at + _CHUNK] for at in range(0, len(mountings), _CHUNK))]
    for chunk in chunks:
        storing.records(chunk)
    for rig in rigs:
        storing.rig(rig)
    tell_all(observed, storing)


def _named_by(document: Document) -> set[tuple[str, str]]:
    """The name under which others may look for a record that could not be read."""
    subject = document.get("subject")
    if not isinstance(subject, str) or subject not in STORED:
        return set()
    key = document.get(SUBJECTS[subject].key)
    return {(stored_as(subject), key)} if isinstance(key, str) else set()
