"""The lines of a text file, decoded strictly, one at a time."""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem

LONGEST_LINE: Final = 1_000_000
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")


def read_lines(path: Path, file: str, problems: list[Problem]) -> Iterator[tuple[int, str]]:
    """Yield the number and text of each line that can be read, its line end kept; the others are noted.

    A line longer than a million bytes ends the reading.
    """
    try:
        with path.open("rb") as stream:
            number = 0
            while raw := stream.readline(LONGEST_LINE + 1):
                number += 1
                if len(raw) > LONGEST_LINE:
                    message = f"the line is longer than {LONGEST_LINE:,} bytes"
                    problems.append(Problem(message, "write one record a line", file=file, line=number))
                    return
                if number == 1 and raw[:2] in _UTF16:
                    problems.append(Problem("the file is UTF-16", "save it as UTF-8", file=file, line=1))
                    return
                text = _decoded(raw, number, file, problems)
                if text is not None:
                    yield number, text
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        problems.append(Problem(f"cannot be read: {reason}", "check the path", file=file))


def _decoded(raw: bytes, number: int, file: str, problems: list[Problem]) -> str | None:
    try:
        text = raw.decode("utf-8-sig" if number == 1 else "utf-8")
    except UnicodeDecodeError as error:
        # The error's place is counted after a byte order mark, so it is looked for again without one.
        column = len(raw[: error.start].decode("utf-8", "replace")) + 1
        message = f"byte 0x{error.object[error.start]:02x} is not UTF-8 text"
        problems.append(Problem(message, "save the file as UTF-8", file=file, line=number, column=column))
        return None
    if "\0" in text:
        help, column = "save the file as UTF-8 text without it", text.index("\0") + 1
        problems.append(Problem("the line holds a NUL character", help, file=file, line=number, column=column))
        return None
    return text
