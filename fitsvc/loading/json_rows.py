"""JSON Lines files: one object a line with its `subject`, a record or, where it names one, an observation of it."""

from collections.abc import Iterator
from pathlib import Path

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.json_text import read_json
from fitsvc.loading.lines import read_lines
from fitsvc.loading.rows import Place, Row, field_of


def json_rows(path: Path, file: str, problems: list[Problem]) -> Iterator[Row]:
    """Yield the records of a JSON Lines file; empty lines are passed over."""
    for number, text in read_lines(path, file, problems):
        text = text.rstrip()
        if not text:
            continue
        try:
            document = read_json(text, file, number)
        except ProblemsFound as found:
            problems += found.problems
            continue
        if isinstance(document, dict):
            observed = {"observed": True} if "record" in document else {}
            yield Row(document | observed, _place(file, number), number)
        else:
            help = 'write `{"subject": "accessory", "sku": ...}`'
            problems.append(Problem("a record is one object", help, file=file, line=number))


def _place(file: str, line: int) -> Place:
    def place(pointer: str, message: str, help: str) -> Problem:
        return Problem(message, help, pointer=field_of(pointer), file=file, line=line)

    return place
