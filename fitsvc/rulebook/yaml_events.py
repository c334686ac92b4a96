"""YAML's events, from the library's parser in C → a tree of texts that know their place.

Apart from `yaml_text`, so that the YAML library loads when a file is read.
"""

import re
from collections.abc import Callable, Iterator
from typing import Any, NoReturn

import yaml
from yaml import AliasEvent, MappingEndEvent, MappingStartEvent, ScalarEvent, SequenceEndEvent, SequenceStartEvent

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.yaml_text import LONGEST_SHOWN_LINE, NULLS, FileText, Mapping, Node, Scalar, Sequence, printable

LONGEST_SCALAR = 20_000
DEEPEST = 50
MOST_NODES = 200_000
MOST_PROBLEMS = 50
_ODD_KEYS = NULLS | {"<<"}

# Control characters, the line ends only YAML knows, and marks that reverse or hide what an editor shows.
_FORBIDDEN = re.compile(
    "[^\t\n\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|[\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
)
_CONFLICT = re.compile(r"^<{7} ", re.MULTILINE)
_TAB_INDENT = re.compile(r"^ *\t", re.MULTILINE)


def read(source: FileText) -> Node:
    """Read one YAML document, or raise everything that is wrong with it."""
    if problems := _unfit_text(source):
        raise ProblemsFound(problems)
    return _TreeBuilder(source).read()


class _TreeBuilder:
    """Builds the tree from the events of one document, collecting problems on the way."""

    def __init__(self, source: FileText) -> None:
        self.source = source
        self.next: Callable[[], Any] = yaml.CSafeLoader(source.text).get_event
        self.problems: list[Problem] = []
        self.nodes = 0

    def read(self) -> Node:
        """Return the root node; a file without any is a null scalar."""
        root: Node = Scalar(self.source, 0, "")
        try:
            self._skip(yaml.StreamStartEvent)
            start = self.next()
            if isinstance(start, yaml.DocumentStartEvent):
                root = self._node(self.next(), 1)
                self._skip(yaml.DocumentEndEvent)
                self._only_document(self.next())
        except yaml.YAMLError as error:
            self.problems.append(_syntax_problem(self.source, error))
        if self.problems:
            raise ProblemsFound(sorted(self.problems, key=lambda p: (p.line, p.column)))
        return root

    def _skip(self, kind: type[yaml.Event]) -> None:
        event = self.next()
        assert isinstance(event, kind)

    def _only_document(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.DocumentStartEvent):
            self._note(event, "a second document begins here", "keep one document a file: remove this `---`")

    def _node(self, event: yaml.Event, depth: int) -> Node:
        start = self._entered(event, depth)
        if isinstance(event, ScalarEvent):
            return Scalar(self.source, start, self._value(event), event.style or "", _index(event.end_mark))
        if isinstance(event, MappingStartEvent):
            return self._mapping(start, depth)
        if isinstance(event, SequenceStartEvent):
            return Sequence(self.source, start, tuple(self._items(depth)))
        assert isinstance(event, AliasEvent)
        return Scalar(self.source, start, f"*{event.anchor}", "*")

    def _entered(self, event: Any, depth: int) -> int:
        """Count a node, note what it may not have, and return the index at which it begins."""
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self._stop(event, f"the file holds more than {MOST_NODES} values", "split the file")
        if depth > DEEPEST:
            self._stop(event, f"lists and mappings are nested more than {DEEPEST} deep", "flatten the file")
        if event.anchor is not None or event.tag is not None:  # an alias has no tag, and is an anchor's
            self._refuse_extras(event)
        return _index(event.start_mark)

    def _refuse_extras(self, event: yaml.NodeEvent) -> None:
        if isinstance(event, AliasEvent):
            self._note(event, f"an alias `*{event.anchor}` is not allowed", "write the value out")
            return
        if event.anchor is not None:
            self._note(event, f"an anchor `&{event.anchor}` is not allowed", "write the value out where it is used")
        if isinstance(event, ScalarEvent | yaml.CollectionStartEvent) and event.tag is not None:
            self._note(event, f"a tag `{_short(event.tag)}` is not allowed", "remove it: every value is read as text")

    def _value(self, event: ScalarEvent) -> str:
        if len(event.value) > LONGEST_SCALAR:
            self._note(event, f"a text is longer than {LONGEST_SCALAR} characters", "shorten it")
        return event.value

    def _items(self, depth: int) -> Iterator[Node]:
        while not isinstance(event := self.next(), SequenceEndEvent):
            yield self._node(event, depth + 1)

    def _mapping(self, start: int, depth: int) -> Mapping:
        entries: dict[str, Node] = {}
        starts: dict[str, int] = {}
        mapping = Mapping(self.source, start, entries, starts)
        while not isinstance(event := self.next(), MappingEndEvent):
            if isinstance(event, ScalarEvent):
                index, key = self._entered(event, depth + 1), self._value(event)
            else:  # passed over, and refused below
                index, key = self._node(event, depth + 1).start, ""
            value = self._node(self.next(), depth + 1)
            if (key in entries or key in _ODD_KEYS) and (fault := _key_fault(event, mapping)):
                self._note(event, *fault)
            else:
                entries[key], starts[key] = value, index
        return mapping

    def _note(self, event: yaml.Event, message: str, help: str) -> None:
        self.problems.append(self.source.problem(_index(event.start_mark), message, help))
        if len(self.problems) >= MOST_PROBLEMS:
            raise ProblemsFound(self.problems)

    def _stop(self, event: yaml.Event, message: str, help: str) -> NoReturn:
        raise ProblemsFound([*self.problems, self.source.problem(_index(event.start_mark), message, help)])


def _index(mark: Any) -> int:
    assert mark is not None  # the C parser marks every event
    index: int = mark.index
    return index


def _key_fault(key: yaml.Event, mapping: Mapping) -> tuple[str, str] | None:
    """Say what is wrong with a key, and what to do about it; of an alias that is said already."""
    if isinstance(key, AliasEvent):
        return None
    if not isinstance(key, ScalarEvent):
        return "a list or mapping cannot be a key", "write a key as one word: `name: value`"
    if not key.style and key.value in NULLS:
        return "a key is missing before `:`", "write a key as one word: `name: value`"
    if not key.style and key.value == "<<":
        return "a merge key `<<` is not allowed", "write the entries out"
    if key.value in mapping.entries:
        line = mapping.key_mark(key.value).line
        return (
            f"the key `{_short(key.value)}` stands here a second time",
            f"it is already in line {line}: keep one",
        )
    return None


def _unfit_text(source: FileText) -> list[Problem]:
    """Find characters that no file may hold, and tabs where YAML wants spaces."""
    problems: list[Problem] = []
    if marks := _conflicts(source):
        return marks
    if "\t" not in source.text and source.text.replace("\n", "").isprintable():
        return problems  # as nearly every file is; all that is looked for below is not printable
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


def _conflicts(source: FileText) -> list[Problem]:
    """Find what a merge has left for a person to decide."""
    message, help = (
        "a merge left a conflict here",
        "keep one side, and take the lines of `<<<<<<<`, `=======`, `>>>>>>>` out",
    )
    return [source.problem(found.start(), message, help) for found in _CONFLICT.finditer(source.text)]


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


def _syntax_problem(source: FileText, error: yaml.YAMLError) -> Problem:
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


def _short(text: str) -> str:
    return printable(text if len(text) <= LONGEST_SHOWN_LINE // 2 else text[: LONGEST_SHOWN_LINE // 2] + "…")
