"""The question a command is asked: a file, standard input, or stored records named by options."""

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from fitsvc.cli.console import refuse
from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.loading.cells import read_cell
from fitsvc.loading.json_text import read_json
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.subjects import OF_RIG

LARGEST: Final = 1_000_000


def read_question_file(path: Path) -> Json:
    """The document in a file of JSON, `-` for standard input."""
    name = "standard input" if str(path) == "-" else str(path)
    try:
        if str(path) == "-":
            data = sys.stdin.buffer.read(LARGEST + 1)
        else:
            with path.open("rb") as stream:
                data = stream.read(LARGEST + 1)
    except OSError as error:
        refuse(f"{name} cannot be read: {(error.strerror or 'unknown reason').lower()}", "check the path")
    if len(data) > LARGEST:
        refuse(f"{name} is larger than {LARGEST:,} bytes", "ask one question a file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        refuse(f"{name} line {line}: byte 0x{data[error.start]:02x} is not UTF-8 text", "save the file as UTF-8")
    return read_json(text, name)


def with_facts(document: Json, given: Sequence[str], vocabulary: Vocabulary) -> Json:
    """A question with further facts, each written `subject.fact=value` as in a cell of a record file.

    ProblemsFound has all that cannot be read.
    """
    from fitsvc.loading.entries import wire_fact

    problems: list[Problem] = []
    asked = [name for name in vocabulary.subjects if name != "adapter"]
    for text in given:
        name, equals, value = text.partition("=")
        subject, _, short = name.strip().partition(".")
        if not equals or not short:
            problems.append(Problem(f"`{text}` is not a fact", "write `--fact mounting.pin_to_bumper='4 in ± 1/4 in'`"))
        elif subject not in asked:
            near = nearest(subject, asked)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{one}`" for one in asked)
            problems.append(Problem(f"`{subject}` in `{text}` is not a subject of a question", help))
        elif isinstance(document, dict):
            fact = vocabulary.facts.get(f"{subject}.{short}")
            _put(document, subject, short, wire_fact(fact, read_cell(value, fact)))
    if problems:
        raise ProblemsFound(problems)
    return document


def _put(document: Document, subject: str, fact: str, value: Json) -> None:
    """Add a fact at its subject's place; a place that holds something else is left for the reader to refuse."""
    path = ("rig", subject, "facts") if subject in OF_RIG else (subject, "facts")
    place: Json = document
    for step in path:
        place = place.setdefault(step, {}) if isinstance(place, dict) else None
    if isinstance(place, dict):
        place[fact] = value


def question_about(rig: str, sold: Mapping[str, str | None]) -> Document:
    """A question about a saved rig and things that are sold, by their SKUs."""
    return {"rig": {"id": rig}, **{subject: {"sku": sku} for subject, sku in sold.items() if sku is not None}}
