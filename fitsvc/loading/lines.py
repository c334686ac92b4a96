"""The lines of a text file, unpacked and decoded strictly, one at a time."""

import codecs
import gzip
import io
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final, Self

from fitsvc.files import of_the_machine
from fitsvc.language.problems import Problem

LONGEST_LINE: Final = 1_000_000
_AHEAD: Final = 1 << 18
"""Bytes that are read at a time."""
_WIDE: Final = ("utf-16", "utf-16-le", "utf-16-be")
_BOMS: Final = {codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
_GZIP: Final = b"\x1f\x8b"
_ZSTD: Final = b"\x28\xb5\x2f\xfd"
DAMAGE: Final = (OSError, EOFError, zlib.error)
"""What is raised by a file that cannot be read: of one that is packed and cut off or damaged, too."""
_NO_TEXT: Final = {
    b"PK\x03\x04": "a workbook or an archive",
    b"\xd0\xcf\x11\xe0": "an old workbook",
    b"PAR1": "Parquet",
}


def known_encoding(name: str) -> bool:
    """Whether a text can be told to be in an encoding."""
    try:
        return b"a".decode(name) == "a" or name.lower() in _WIDE
    except LookupError:
        return False
    except UnicodeError:
        return name.lower() in _WIDE


class NumberedLines:
    """The bytes of a file by lines, unpacked; `line` counts those that were taken.

    Whole lines ahead may be looked at (`ahead`) and taken together, by whoever can read many at once.
    """

    def __init__(self, path: Path) -> None:
        self.stream = opened(path)
        self.line = 0
        self._held, self._at = b"", 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stream.close()

    def _more(self, size: int) -> bool:
        """Hold more of the file; whether there is any."""
        read = self.stream.read(size)
        self._held, self._at = self._held[self._at :] + read, 0
        return bool(read)

    def readline(self, limit: int) -> bytes:
        """The next line with its end, at most so many bytes of it; empty at the end of the file."""
        end = self._held.find(b"\n", self._at)
        while end < 0 and len(self._held) - self._at < limit and self._more(_AHEAD):
            end = self._held.find(b"\n", self._at)
        stop = min(end + 1 if end >= 0 else len(self._held), self._at + limit)
        line, self._at = self._held[self._at : stop], stop
        self.line += bool(line)
        return line

    def ahead(self, size: int) -> bytes:
        """The whole lines within the next bytes, not taken; empty where not even one is within them."""
        while len(self._held) - self._at < size and self._more(size):
            pass
        if len(self._held) - self._at < size:
            return self._held[self._at :]
        return self._held[self._at : self._held.rfind(b"\n", self._at, self._at + size) + 1]

    def take(self, size: int, lines: int) -> None:
        """Take what was looked at: so many bytes, which are so many lines."""
        self._at += size
        self.line += lines


def read_lines(
    path: Path | NumberedLines, file: str, problems: list[Problem], encoding: str = ""
) -> Iterator[tuple[int, str]]:
    """Yield the number and text of each line that can be read, its line end kept; the others are noted.

    What is packed (gzip, Zstandard) is unpacked. The text is UTF-8, or UTF-16 with its mark, unless an encoding is
    told. A line longer than a million bytes ends the reading. OSError where the disk fails, or the machine has no more
    to give: no fault of the file, which can be read as it is when that is over.
    """
    try:
        with path if isinstance(path, NumberedLines) else NumberedLines(path) as lines:
            begins = lines.stream.peek(4)[:4]
            if what := _NO_TEXT.get(begins):
                help = "name it by its format, `.xlsx` or `.parquet`, once it is saved so, or export it as CSV"
                problems.append(Problem(f"the file is {what} and no text", help, file=file, line=1))
                return
            encoding = _BOMS.get(begins[:2], encoding)
            if encoding.lower() in _WIDE:
                yield from _wide_lines(lines.stream, encoding, file, problems)
            else:
                yield from _lines(lines, encoding, file, problems)
    except DAMAGE as error:
        if of_the_machine(error):
            raise
        problems.append(unreadable(error, file))


def unreadable(error: Exception, file: str) -> Problem:
    """Why a file cannot be read to its end."""
    reason = (getattr(error, "strerror", "") or str(error) or "unknown reason").lower()
    # What the system refuses has a number of its own; what has none is wrong with what is in the file.
    help = "check the path" if getattr(error, "errno", None) else "it is damaged or not whole: have it sent anew"
    return Problem(f"cannot be read: {reason}", help, file=file)


def opened(path: Path) -> io.BufferedReader:
    """A file's bytes, unpacked where they are packed."""
    with path.open("rb") as stream:
        begins = stream.read(4)
    if begins[:2] == _GZIP:
        return io.BufferedReader(gzip.open(path, "rb"))
    if begins == _ZSTD:
        import pyarrow as pa

        return io.BufferedReader(pa.input_stream(str(path), compression="zstd"))
    return path.open("rb")


def _lines(lines: NumberedLines, encoding: str, file: str, problems: list[Problem]) -> Iterator[tuple[int, str]]:
    while raw := lines.readline(LONGEST_LINE + 1):
        number = lines.line
        if len(raw) > LONGEST_LINE:
            problems.append(_too_long(file, number))
            return
        text = _decoded(raw, number, file, problems, encoding)
        if text is not None:
            yield number, text


def _wide_lines(stream: IO[bytes], encoding: str, file: str, problems: list[Problem]) -> Iterator[tuple[int, str]]:
    """The lines of a text whose characters have two bytes; one that cannot be read ends the reading."""
    number = 0
    texts = io.TextIOWrapper(stream, encoding, newline="\n")
    try:
        while text := texts.readline(LONGEST_LINE + 1):
            number += 1
            if len(text) > LONGEST_LINE:
                problems.append(_too_long(file, number))
                return
            yield number, text
    except UnicodeError:
        problems.append(Problem("is not UTF-16 text to its end", "save it as UTF-8", file=file, line=number + 1))
    finally:
        texts.detach()


def _too_long(file: str, line: int) -> Problem:
    return Problem(f"the line is longer than {LONGEST_LINE:,} bytes", "write one record a line", file=file, line=line)


def _decoded(raw: bytes, number: int, file: str, problems: list[Problem], encoding: str) -> str | None:
    utf8 = "utf-8-sig" if number == 1 else "utf-8"
    try:
        text = raw.decode(encoding or utf8)
    except UnicodeDecodeError as error:
        # The error's place is counted after a byte order mark, so it is looked for again without one.
        column = len(raw[: error.start].decode(encoding or "utf-8", "replace")) + 1
        message = f"byte 0x{error.object[error.start]:02x} is not {encoding or 'UTF-8'} text"
        help = _SAVE if encoding else _SAVE_OR_SAY
        problems.append(Problem(message, help, file=file, line=number, column=column))
        return None
    if "\0" in text:
        help, column = "save the file as UTF-8 text, in which there is none", text.index("\0") + 1
        problems.append(Problem("the line holds a NUL character", help, file=file, line=number, column=column))
        return None
    return text


_SAVE: Final = "save the file as UTF-8"
_SAVE_OR_SAY: Final = f"{_SAVE}, or say in a mapping how it is written, such as `encoding: cp1252`"
