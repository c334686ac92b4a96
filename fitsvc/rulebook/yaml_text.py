"""Strict YAML as a tree of texts that know their place; the only reader of YAML in fitsvc.

Scalars keep the text that was written, so YAML's guesses (`no`, `1:30`, `012`, dates) never happen. Anchors,
aliases, tags, merge keys and repeated keys are refused, and size, depth and length are bounded: a hostile
file costs an error and nothing else. All problems that can be told apart are collected before any is raised.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn, TypeAlias

import yaml

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.yaml_places import index_in_text

LARGEST_FILE = 2_000_000
LONGEST_SCALAR = 20_000
DEEPEST = 50
MOST_NODES = 200_000
MOST_PROBLEMS = 50
LONGEST_SHOWN_LINE = 160

# Control characters, the line ends only YAML knows, and marks that reverse or hide what an editor shows.
_FORBIDDEN = re.compile(
    "[^\t\n\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|[\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
)
_TAB_INDENT = re.compile(r"^ *\t", re.MULTILINE)
_NULLS = frozenset(("", "~", "null", "Null", "NULL"))

Plain: TypeAlias = "str | list[Plain] | dict[str, Plain] | None"


@dataclass(frozen=True, slots=True)
class Source:
    """The text of one file, under the name people know it by."""

    file: str
    text: str = field(repr=False)

    def problem(self, index: int, message: str, help: str = "") -> Problem:
        """Place a problem at an index of the text."""
        return self.problem_at(*self.place(index), message, help)

    def problem_at(self, line: int, column: int, message: str, help: str = "") -> Problem:
        """Place a problem at a line and column, with that line's text as far as it can be shown."""
        shown = self._line(line) if column <= LONGEST_SHOWN_LINE else ""
        return Problem(message, help, file=self.file, line=line, column=column, source=shown)

    def place(self, index: int) -> tuple[int, int]:
        """Return the line and column, counted from 1, of an index of the text."""
        return self.text.count("\n", 0, index) + 1, index - self.text.rfind("\n", 0, index)

    def _line(self, number: int) -> str:
        lines = self.text.split("\n", number)
        line = lines[number - 1] if number <= len(lines) else ""
        return _printable(line.expandtabs(1)[:LONGEST_SHOWN_LINE])


@dataclass(frozen=True, slots=True)
class Mark:
    """The place where a node begins: file, line and column, counted from 1."""

    source: Source = field(repr=False)
    line: int
    column: int
    index: int

    @property
    def file(self) -> str:
        """The name of the file."""
        return self.source.file

    def problem(self, message: str, help: str = "") -> Problem:
        """Return a problem at this place."""
        return self.source.problem_at(self.line, self.column, message, help)


@dataclass(frozen=True, slots=True)
class Scalar:
    """One text; `plain` when it stands without quotes and not in a block."""

    value: str
    plain: bool
    mark: Mark
    style: str = field(default="", repr=False)
    end: int = field(default=0, repr=False)

    @property
    def is_null(self) -> bool:
        """Whether nothing, `~` or `null` stands here."""
        return self.plain and self.value in _NULLS

    def position(self, offset: int) -> tuple[int, int]:
        """Return the file's line and column of a character of the value."""
        return self.mark.source.place(self._index(offset))

    def problem(self, message: str, help: str = "") -> Problem:
        """Return a problem at the start of this text."""
        return self.mark.problem(message, help)

    def problem_at(self, offset: int, message: str, help: str = "") -> Problem:
        """Return a problem at a character of the value."""
        return self.mark.source.problem(self._index(offset), message, help)

    def _index(self, offset: int) -> int:
        raw = self.mark.source.text[self.mark.index : self.end]
        offset = min(max(offset, 0), len(self.value))
        return self.mark.index + index_in_text(raw, self.style, self.value, offset)


@dataclass(frozen=True, slots=True)
class Sequence:
    """A list of nodes."""

    items: tuple["Node", ...]
    mark: Mark

    def problem(self, message: str, help: str = "") -> Problem:
        """Return a problem at the start of this list."""
        return self.mark.problem(message, help)


@dataclass(frozen=True, slots=True)
class Mapping:
    """Nodes by their keys, in the order written, with the place of each key."""

    entries: dict[str, "Node"]
    key_marks: dict[str, Mark]
    mark: Mark

    def problem(self, message: str, help: str = "") -> Problem:
        """Return a problem at the start of this mapping."""
        return self.mark.problem(message, help)

    def problem_at_key(self, key: str, message: str, help: str = "") -> Problem:
        """Return a problem at one of the keys."""
        return self.key_marks.get(key, self.mark).problem(message, help)


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
    source = Source(file, text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"))
    if problems := _unfit_text(source):
        raise ProblemsFound(problems)
    return _Reader(source).read()


def to_plain(node: Node) -> Plain:
    """Return a tree as dictionaries, lists, texts and None, without its places."""
    if isinstance(node, Mapping):
        return {key: to_plain(entry) for key, entry in node.entries.items()}
    if isinstance(node, Sequence):
        return [to_plain(item) for item in node.items]
    return None if node.is_null else node.value


class _Reader:
    """Builds the tree from the events of one document, collecting problems on the way."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.events: Iterator[yaml.Event] = yaml.parse(source.text, Loader=yaml.CSafeLoader)
        self.problems: list[Problem] = []
        self.nodes = 0

    def read(self) -> Node:
        """Return the root node; a file without any is a null scalar."""
        root: Node = Scalar("", True, Mark(self.source, 1, 1, 0))
        try:
            self._skip(yaml.StreamStartEvent)
            start = next(self.events)
            if isinstance(start, yaml.DocumentStartEvent):
                root = self._node(next(self.events), 1)
                self._skip(yaml.DocumentEndEvent)
                self._only_document(next(self.events))
        except yaml.YAMLError as error:
            self.problems.append(_syntax_problem(self.source, error))
        if self.problems:
            raise ProblemsFound(sorted(self.problems, key=lambda p: (p.line, p.column)))
        return root

    def _skip(self, kind: type[yaml.Event]) -> None:
        event = next(self.events)
        assert isinstance(event, kind)

    def _only_document(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.DocumentStartEvent):
            self._note(event, "a second document begins here", "keep one document a file: remove this `---`")

    def _node(self, event: yaml.Event, depth: int) -> Node:
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self._stop(event, f"the file holds more than {MOST_NODES} values", "split the file")
        if depth > DEEPEST:
            self._stop(event, f"lists and mappings are nested more than {DEEPEST} deep", "flatten the file")
        if isinstance(event, yaml.AliasEvent):
            self._note(event, f"an alias `*{event.anchor}` is not allowed", "write the value out")
            return Scalar(f"*{event.anchor}", False, self._mark(event))
        assert isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent)
        self._refuse_extras(event)
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event)
        if isinstance(event, yaml.SequenceStartEvent):
            return Sequence(tuple(self._items(depth)), self._mark(event))
        return self._mapping(event, depth)

    def _refuse_extras(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        if event.anchor is not None:
            self._note(event, f"an anchor `&{event.anchor}` is not allowed", "write the value out where it is used")
        if event.tag is not None:
            self._note(event, f"a tag `{_short(event.tag)}` is not allowed", "remove it: every value is read as text")

    def _scalar(self, event: yaml.ScalarEvent) -> Scalar:
        if len(event.value) > LONGEST_SCALAR:
            self._note(event, f"a text is longer than {LONGEST_SCALAR} characters", "shorten it")
        style, end = event.style or "", event.end_mark
        return Scalar(event.value, not style, self._mark(event), style, end.index if end else 0)

    def _items(self, depth: int) -> Iterator[Node]:
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            yield self._node(event, depth + 1)

    def _mapping(self, start: yaml.Event, depth: int) -> Mapping:
        mapping = Mapping({}, {}, self._mark(start))
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            key = self._node(event, depth + 1)
            value = self._node(next(self.events), depth + 1)
            if fault := _key_fault(key, mapping):
                self._note(event, *fault)
            elif isinstance(key, Scalar):
                mapping.entries[key.value], mapping.key_marks[key.value] = value, key.mark
        return mapping

    def _mark(self, event: yaml.Event) -> Mark:
        mark = event.start_mark
        assert mark is not None  # the C loader marks every event
        return Mark(self.source, mark.line + 1, mark.column + 1, mark.index)

    def _note(self, event: yaml.Event, message: str, help: str) -> None:
        self.problems.append(self._mark(event).problem(message, help))
        if len(self.problems) >= MOST_PROBLEMS:
            raise ProblemsFound(self.problems)

    def _stop(self, event: yaml.Event, message: str, help: str) -> NoReturn:
        raise ProblemsFound([*self.problems, self._mark(event).problem(message, help)])


def _key_fault(key: Node, mapping: Mapping) -> tuple[str, str] | None:
    """Say what is wrong with a key, and what to do about it."""
    if not isinstance(key, Scalar):
        return "a list or mapping cannot be a key", "write a key as one word: `name: value`"
    if key.is_null:
        return "a key is missing before `:`", "write a key as one word: `name: value`"
    if key.plain and key.value == "<<":
        return "a merge key `<<` is not allowed", "write the entries out"
    if key.value in mapping.entries:
        line = mapping.key_marks[key.value].line
        return (
            f"the key `{_short(key.value)}` stands here a second time",
            f"it is already in line {line}: keep one",
        )
    return None


def _unfit_text(source: Source) -> list[Problem]:
    """Find characters that no file may hold, and tabs where YAML wants spaces."""
    problems = []
    for found in _FORBIDDEN.finditer(source.text):
        message = f"the character U+{ord(found[0]):04X} is not allowed"
        problems.append(source.problem(found.start(), message, "remove it: it cannot be seen in an editor"))
        if len(problems) >= MOST_PROBLEMS:
            return problems
    for found in _TAB_INDENT.finditer(source.text):
        problems.append(source.problem(found.end() - 1, "a tab in the indentation", "indent with spaces"))
        if len(problems) >= MOST_PROBLEMS:
            return problems
    return problems


_ADVICE = (
    ("mapping values", "put a text that contains `: ` in quotes, and check the indentation"),
    ("cannot start any token", "put a text that starts with `@`, `%` or a backtick in quotes"),
    ("could not find expected ':'", "write each entry as `key: value`"),
    ("unexpected end of stream", "close the quotes"),
    ("alphabetic or numeric", "put a text that starts with `*` or `&` in quotes"),
    ("node content", "put a text that starts with a bracket or comma in quotes"),
    ("did not find expected", "check the indentation, and that quotes and brackets are closed"),
    ("escape character", "in double quotes write a backslash as `\\\\`, or use single quotes"),
    ("nesting depth", "flatten the file"),
    ("tag handle", "put a text that starts with `!` in quotes"),
)


def _syntax_problem(source: Source, error: yaml.YAMLError) -> Problem:
    """Turn the YAML library's error into a problem at the place it names."""
    if not isinstance(error, yaml.MarkedYAMLError):
        return Problem("is not YAML", "check the file's first lines", file=source.file)
    wrong = error.problem or error.context or "is not YAML"
    context = f" {error.context}" if error.problem and error.context else ""
    opened = error.context_mark
    help = next((advice for words, advice in _ADVICE if words in wrong), "check the line above too")
    mark = opened if "end of stream" in wrong and opened else error.problem_mark or opened
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    since = f" (from line {opened.line + 1})" if opened and opened.line + 1 != line else ""
    return source.problem_at(line, column, f"{wrong}{context}{since}", help)


def _too_large(file: str) -> Problem:
    return Problem(f"is larger than {LARGEST_FILE} bytes", "split the file", file=file)


def _short(text: str) -> str:
    return _printable(text if len(text) <= LONGEST_SHOWN_LINE // 2 else text[: LONGEST_SHOWN_LINE // 2] + "…")


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
