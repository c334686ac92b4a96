"""Strict YAML as a tree of texts that know their place; the only reader of YAML in fitsvc.

Scalars keep the text that was written, so YAML's guesses (`no`, `1:30`, `012`, dates) never happen. Anchors,
aliases, tags, merge keys and repeated keys are refused, and size, depth and length are bounded: a hostile
file costs an error and nothing else. All problems that can be told apart are collected before any is raised.
"""

from bisect import bisect_right
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.yaml_places import index_in_text

LARGEST_FILE = 2_000_000
LONGEST_SHOWN_LINE = 160

NULLS = frozenset(("", "~", "null", "Null", "NULL"))

Plain: TypeAlias = "str | list[Plain] | dict[str, Plain] | None"


@dataclass(frozen=True, slots=True)
class FileText:
    """The text of one file, under the name people know it by, with the index at which each of its lines begins."""

    file: str
    text: str = field(repr=False)
    lines: tuple[int, ...] = field(repr=False, compare=False)

    @classmethod
    def of(cls, file: str, text: str) -> "FileText":
        """A text and its lines."""
        lines, index = [0], text.find("\n")
        while index >= 0:
            lines.append(index + 1)
            index = text.find("\n", index + 1)
        return cls(file, text, tuple(lines))

    def problem(self, index: int, message: str, help: str = "") -> Problem:
        """Place a problem at an index of the text."""
        return self.problem_at(*self.place(index), message, help)

    def problem_at(self, line: int, column: int, message: str, help: str = "") -> Problem:
        """Place a problem at a line and column, with that line's text as far as it can be shown."""
        shown = self._line(line) if column <= LONGEST_SHOWN_LINE else ""
        return Problem(message, help, file=self.file, line=line, column=column, source=shown)

    def place(self, index: int) -> tuple[int, int]:
        """Return the line and column, counted from 1, of an index of the text."""
        line = bisect_right(self.lines, index)
        return line, index - self.lines[line - 1] + 1

    def _line(self, number: int) -> str:
        start = self.lines[number - 1] if number <= len(self.lines) else len(self.text)
        return printable(self.text[start:].split("\n", 1)[0].expandtabs(1)[:LONGEST_SHOWN_LINE])


@dataclass(frozen=True, slots=True)
class Position:
    """The place where a node begins: file, line and column, counted from 1."""

    source: FileText = field(repr=False)
    index: int

    @property
    def file(self) -> str:
        """The name of the file."""
        return self.source.file

    @property
    def line(self) -> int:
        """The line."""
        return self.source.place(self.index)[0]

    @property
    def column(self) -> int:
        """The column."""
        return self.source.place(self.index)[1]


@dataclass(frozen=True, slots=True)
class Placed:
    """What stands in a file, from an index of its text on."""

    source: FileText = field(repr=False)
    start: int = field(repr=False)

    @property
    def mark(self) -> Position:
        """The place where it begins."""
        return Position(self.source, self.start)

    def problem(self, message: str, help: str = "") -> Problem:
        """Return a problem at its start."""
        return self.source.problem(self.start, message, help)


@dataclass(frozen=True, slots=True)
class Scalar(Placed):
    """One text; its style is the sign it stands in or behind, a quote, `|` or `>`, empty when it is plain."""

    value: str
    style: str = field(default="", repr=False)
    end: int = field(default=0, repr=False)

    @property
    def is_null(self) -> bool:
        """Whether nothing, `~` or `null` stands here."""
        return not self.style and self.value in NULLS

    def position(self, offset: int) -> tuple[int, int]:
        """Return the file's line and column of a character of the value."""
        return self.source.place(self._index(offset))

    def problem_at(self, offset: int, message: str, help: str = "") -> Problem:
        """Return a problem at a character of the value."""
        return self.source.problem(self._index(offset), message, help)

    def _index(self, offset: int) -> int:
        raw = self.source.text[self.start : self.end]
        offset = min(max(offset, 0), len(self.value))
        return self.start + index_in_text(raw, self.style, self.value, offset)


@dataclass(frozen=True, slots=True)
class Sequence(Placed):
    """A list of nodes."""

    items: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Mapping(Placed):
    """Nodes by their keys, in the order written, with the index at which each key begins."""

    entries: dict[str, "Node"]
    starts: dict[str, int]

    def key_mark(self, key: str) -> Position:
        """The place of one of the keys."""
        return Position(self.source, self.starts[key])

    def problem_at_key(self, key: str, message: str, help: str = "") -> Problem:
        """Return a problem at one of the keys."""
        return self.source.problem(self.starts.get(key, self.start), message, help)


Node: TypeAlias = Scalar | Sequence | Mapping


def read_yaml_file(path: Path, shown_as: str | None = None) -> Node:
    """Read a YAML file, named in problems by its path or as given."""
    file = shown_as or str(path)
    try:
        if path.exists() and not path.is_file():
            raise ProblemsFound([Problem("is not a file", "name a YAML file", file=file)])
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise ProblemsFound([Problem(f"cannot be read: {reason}", "check the path", file=file)]) from error
    return read_yaml_bytes(data, file)


def read_yaml_bytes(data: bytes, file: str) -> Node:
    """Read the bytes of a YAML file."""
    if len(data) > LARGEST_FILE:
        raise ProblemsFound([_too_large(file)])
    try:
        return read_yaml(data.decode("utf-8-sig"), file)
    except UnicodeDecodeError as error:
        start = data.rfind(b"\n", 0, error.start) + 1
        line, column = data.count(b"\n", 0, error.start) + 1, len(data[start : error.start].decode()) + 1
        message = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        problem = Problem(message, "save the file as UTF-8", file=file, line=line, column=column)
        raise ProblemsFound([problem]) from error


def read_yaml(text: str, file: str) -> Node:
    """Read one YAML document, or raise everything that is wrong with it."""
    if len(text) > LARGEST_FILE:
        raise ProblemsFound([_too_large(file)])
    from fitsvc.rulebook.yaml_events import read  # the YAML library loads when a file is read

    return read(FileText.of(file, text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")))


def to_plain(node: Node) -> Plain:
    """Return a tree as dictionaries, lists, texts and None, without its places."""
    if isinstance(node, Mapping):
        return {key: to_plain(entry) for key, entry in node.entries.items()}
    if isinstance(node, Sequence):
        return [to_plain(item) for item in node.items]
    return None if node.is_null else node.value


def _too_large(file: str) -> Problem:
    return Problem(f"is larger than {LARGEST_FILE} bytes", "split the file", file=file)


def printable(text: str) -> str:
    """A text with what cannot be shown replaced."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
