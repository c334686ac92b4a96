"""Strict JSON: no key twice, no NaN, bounded depth, and errors with their line and column."""

import json
from collections import Counter
from typing import Final, NoReturn

from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem, ProblemsFound

DEEPEST: Final = 50
_TOO_DEEP: Final = f"lists and objects are nested more than {DEEPEST} deep"


def read_json(text: str, file: str, first_line: int = 1) -> Json:
    """Read one JSON document, or raise ProblemsFound; `first_line` is where the text stands in the file."""
    repeated: list[str] = []

    def pairs(found: list[tuple[str, Json]]) -> Document:
        read = dict(found)
        if len(read) < len(found):
            repeated.extend(name for name, times in Counter(name for name, _ in found).items() if times > 1)
        return read

    try:
        read = json.loads(text, object_pairs_hook=pairs, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        help, line = "check the quotes, commas and brackets there", first_line + error.lineno - 1
        raise _problem(_reason(error), help, file, line, error.colno) from None
    except RecursionError:
        raise _problem(_TOO_DEEP, "flatten it", file, first_line) from None
    except ValueError as error:
        raise _problem(f"is not JSON: {str(error)[:100]}", "write ordinary numbers", file, first_line) from None
    if repeated:
        listed = ", ".join(f"`{name[:60]}`" for name in repeated[:5])
        raise _problem(f"a key stands twice in one object: {listed}", "keep one of each", file, first_line)
    if _depth(read) > DEEPEST:
        raise _problem(_TOO_DEEP, "flatten it", file, first_line)
    return read


def _reason(error: json.JSONDecodeError) -> str:
    reason = error.msg[0].lower() + error.msg[1:]
    return f"is not JSON: {reason}"


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"`{name}` is not a JSON number")


def _problem(message: str, help: str, file: str, line: int, column: int = 0) -> ProblemsFound:
    return ProblemsFound([Problem(message, help, file=file, line=line, column=column)])


def _depth(value: Json) -> int:
    """How deep lists and objects are nested, counted level by level."""
    depth, level = 0, [value]
    while level := [one for one in level if isinstance(one, dict | list)]:
        depth += 1
        level = [inner for one in level for inner in (one.values() if isinstance(one, dict) else one)]
    return depth
