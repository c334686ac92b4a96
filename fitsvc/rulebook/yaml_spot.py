"""What is being written at a place of a rule file that is not finished: under which keys, and what stands before it.

Only the entry that the place is in is looked at, from its first line on and with the key of the file that it stands
under, so that nothing that is wrong elsewhere is in the way.
"""

import re
from dataclasses import dataclass, field, replace
from typing import Any, Final

import yaml
from yaml import CollectionEndEvent, CollectionStartEvent, MappingStartEvent, ScalarEvent

_OPENED: Final = re.compile(r"(?:\s*(?:[:,?]|-(?=\s)|[{\[]))*\s*[\"']?")
"""What may stand between what was read and what is being written."""
_COMMENT: Final = re.compile(r"(?:^|[ \t])#[^\n]*\Z", re.MULTILINE)
_TOP_KEY: Final = re.compile(r"^([A-Za-z_]\w*):", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place in a text: `path` are the keys that lead there, with "" for an item of a list.

    `written` is what stands of the text there before the place. Of a key that is being written (`in_key`) the path
    leads to the entry, and `beside` are its other keys.
    """

    path: tuple[str, ...]
    written: str
    in_key: bool = False
    beside: tuple[str, ...] = ()


def spot_at(text: str, index: int) -> Spot | None:
    """The place at an index of a text; None within a comment."""
    before = _entry(text[:index])
    line = before[before.rfind("\n") + 1 :]
    if not line.strip() and not line.startswith(" "):
        return Spot(path=(), written="", in_key=True, beside=tuple(_TOP_KEY.findall(text)))
    reading = _Unfinished(text=before)
    reading.read()
    found = reading.spot(len(line) if not line.strip() else None)
    return replace(found, beside=tuple(_TOP_KEY.findall(text))) if found is not None and not found.path else found


def _entry(before: str) -> str:
    """The lines of the entry that a text ends in, behind the line of the key that it stands under."""
    lines = before.split("\n")
    told = [number for number, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#")]
    last = len(lines) - 1
    tops = [number for number in told if not lines[number].startswith((" ", "-"))]
    top = tops[-1] if tops else 0
    below = [number for number in told if number > top]
    if not below:
        return "\n".join(lines[top:])
    level = _far(lines[below[0]])
    first = max((number for number in {*below, last} if number > top and _far(lines[number]) <= level), default=top + 1)
    return "\n".join([lines[top], *lines[first:]])


def _far(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _index(mark: Any) -> int:
    found: int = mark.index
    return found


@dataclass(slots=True, kw_only=True)
class _Level:
    """A list or mapping that is open: how far in it begins, its keys, and the one whose value is awaited."""

    column: int
    mapping: bool
    block: bool
    keys: list[str] = field(default_factory=list)
    awaited: bool = False

    @property
    def step(self) -> str:
        return self.keys[-1] if self.mapping and self.keys else ""

    def read(self, value: str) -> None:
        """A key, or a value that is passed over."""
        if self.mapping and not self.awaited:
            self.keys.append(value)
        self.awaited = self.mapping and not self.awaited


@dataclass(slots=True, kw_only=True)
class _Unfinished:
    """Goes through the events of a text that stops anywhere.

    `last` is what it stops in where that is a text, and `quoted` says that it stops within quotes.
    """

    text: str
    levels: list[_Level] = field(default_factory=list)
    last: Any = None
    end: int = 0
    quoted: bool = False

    def read(self) -> None:
        """Read as far as it goes; quotes that are open at the end are taken for closed there."""
        quote = self._read(self.text)
        if quote:
            self.levels, self.last, self.end = [], None, 0
            self._read(self.text + quote)
            self.quoted = self.last is not None and _index(self.last.end_mark) > len(self.text)

    def _read(self, text: str) -> str:
        """Read as far as it goes, and give the quote that stands open where it ends."""
        loader = yaml.CSafeLoader(text)
        filled = len(text.rstrip())
        try:
            while (event := loader.get_event()) is not None:
                begins, ends = _index(event.start_mark), _index(event.end_mark)
                if begins >= filled and begins == ends:
                    return ""  # the end of the text closes it, or an empty value stands there
                self._take(event)
        except yaml.MarkedYAMLError as error:
            mark = error.context_mark
            return text[mark.index] if mark is not None and "quoted scalar" in (error.context or "") else ""
        except yaml.YAMLError:
            return ""
        return ""

    def _take(self, event: Any) -> None:
        begins, ends = event.start_mark, event.end_mark
        if isinstance(event, ScalarEvent):
            self.last, self.end = event, ends.index
            if self.levels:
                self.levels[-1].read(event.value)
        elif isinstance(event, CollectionStartEvent):
            mapping, block = isinstance(event, MappingStartEvent), not event.flow_style
            self.levels.append(_Level(column=begins.column, mapping=mapping, block=block))
            self.last, self.end = None, begins.index + (not block)
        elif isinstance(event, CollectionEndEvent):
            self.levels.pop()
            self.last, self.end = None, ends.index if ends.index > begins.index else self.end
            if self.levels:
                self.levels[-1].read("")

    def spot(self, column: int | None) -> Spot | None:
        """The place that the text ends in; of a line that is empty so far, at a column."""
        rest = self.text[self.end :]
        pending = self._pending(rest, column)
        if not pending and _COMMENT.search(rest):
            return None
        if column is not None and not pending:
            while len(self.levels) > 1 and self.levels[-1].block and self.levels[-1].column > column:
                self.levels.pop()
                self.levels[-1].awaited = False
        if not self.levels:
            return Spot(path=(), written=rest.strip(), in_key=True)
        top = self.levels[-1]
        path = tuple(level.step for level in self.levels[:-1])
        if pending:
            told = self.text[self.last.start_mark.index :].lstrip("\"'|>").lstrip()
            if top.mapping and top.awaited:  # the text was taken for a key
                return Spot(path=path, written=told, in_key=True, beside=tuple(top.keys[:-1]))
            return Spot(path=(*path, top.step), written=told)
        opened = _OPENED.match(rest)
        written = rest[opened.end() if opened else 0 :]
        deeper = column is not None and top.block and column > top.column and bool(top.keys)
        if top.mapping and not top.awaited and not deeper:
            return Spot(path=path, written=written, in_key=True, beside=tuple(top.keys))
        return Spot(path=(*path, top.step), written=written)

    def _pending(self, rest: str, column: int | None) -> bool:
        """Whether the last text that was read is the one that is being written."""
        if self.quoted:
            return True
        if self.last is None or rest.strip() or (self.last.style and self.last.style in "\"'"):
            return False
        return "\n" not in rest or (column is not None and bool(self.levels) and column > self.levels[-1].column)
