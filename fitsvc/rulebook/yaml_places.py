"""Where in a YAML file a character of a scalar's value stands, however the scalar is written.

A plain or block scalar keeps its lines as they are, only with other white space between them, so its lines
are found again one after the other. A quoted scalar is walked character by character, through escapes and
folds.
"""

import re
from bisect import bisect_right

_FOLD = re.compile(r"[ \t]*\n[ \t\n]*")
_ESCAPES = {"x": 4, "u": 6, "U": 10}


def index_in_text(raw: str, style: str, value: str, offset: int) -> int:
    """Return the index within a scalar's raw text of the offset-th character of its value."""
    if style in ("'", '"'):
        return _in_quotes(raw, style, offset)
    starts, indexes = _pieces(raw, value, block=style in ("|", ">"))
    nth = bisect_right(starts, offset) - 1
    return indexes[nth] + offset - starts[nth] if nth >= 0 else 0


def _pieces(raw: str, value: str, *, block: bool) -> tuple[list[int], list[int]]:
    """Pair the start of each line's text in the value with its index in the raw text."""
    starts: list[int] = []
    indexes: list[int] = []
    lines = raw.split("\n")
    indent = min((_leading(line) for line in lines[1:] if line.strip(" ")), default=0)
    at, index = 0, 0
    for nth, line in enumerate(lines):
        skipped = indent if block else _leading(line)
        piece = line[skipped:] if block else line.strip(" \t")
        found = value.find(piece, at) if piece and not (block and nth == 0) else -1
        if found >= 0:
            starts.append(found)
            indexes.append(index + skipped)
            at = found + len(piece)
        index += len(line) + 1
    return starts, indexes


def _leading(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _in_quotes(raw: str, quote: str, offset: int) -> int:
    """Walk a quoted scalar, counting one for each character it stands for."""
    index, passed = 1, 0
    while index < len(raw):
        length, count = _step(raw, quote, index)
        if passed + count > offset:
            return index
        index, passed = index + length, passed + count
    return max(0, len(raw) - 1)


def _step(raw: str, quote: str, index: int) -> tuple[int, int]:
    """Return the length in the raw text, and in the value, of what stands at an index."""
    if fold := _FOLD.match(raw, index):
        return len(fold[0]), max(1, fold[0].count("\n") - 1)
    if quote == "'":
        return (2 if raw.startswith("''", index) else 1), 1
    if raw[index] != "\\":
        return 1, 1
    if escaped := _FOLD.match(raw, index + 1):
        return 1 + len(escaped[0]), escaped[0].count("\n") - 1
    return _ESCAPES.get(raw[index + 1 : index + 2], 2), 1
