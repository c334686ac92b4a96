"""A rule file laid out in the one way: levels of two spaces, single spaces and blank lines, comments where they stood.

Lines stay lines: nothing is wrapped, joined, sorted or quoted otherwise. What is written back is read again first, and
says what it said before, with the same comments.
"""

from dataclasses import dataclass, field
from typing import Any, Final

import yaml
from yaml import tokens

from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.yaml_text import FileText, read_yaml, to_plain

_STEP: Final = 2
_OPENS: Final = (tokens.FlowMappingStartToken, tokens.FlowSequenceStartToken)
_CLOSES: Final = (tokens.FlowMappingEndToken, tokens.FlowSequenceEndToken)
_SHOWN: Final = (
    *_OPENS,
    *_CLOSES,
    tokens.FlowEntryToken,
    tokens.BlockEntryToken,
    tokens.ValueToken,
    tokens.ScalarToken,
)


def formatted(text: str, file: str) -> str:
    """The text of a rule file as it is laid out; ProblemsFound where it is none, or would say something else."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    said = to_plain(read_yaml(text, file))
    first = _Layout(text=text)
    laid = first.laid()
    if laid == text:
        return text
    second = _Layout(text=laid)
    if to_plain(read_yaml(laid, file)) != said or second.laid() != laid or first.comments != second.comments:
        help = "write it in the plain way of the other files"
        raise ProblemsFound([FileText.of(file, text).problem(0, "this file cannot be laid out as it is written", help)])
    return laid


def _column(text: str, index: int) -> int:
    """How far from the beginning of its line an index stands."""
    return index - text.rfind("\n", 0, index) - 1


@dataclass(slots=True, kw_only=True)
class _Layout:
    """Goes through a text token by token, and writes what stands between them anew.

    `levels` are the blocks that are open: a `map`, a `seq`, or a `list` that stands as far left as its key does. `was`
    and `now` say how far in the line that is written began, and begins; `flow` how many brackets are open.
    """

    text: str
    comments: list[str] = field(default_factory=list)
    levels: list[str] = field(default_factory=list)
    written: list[str] = field(default_factory=list)
    was: int = 0
    now: int = 0
    flow: int = 0
    end: int = 0
    key: bool = False
    before: Any = None

    def laid(self) -> str:
        """The whole text, laid out."""
        loader = yaml.CSafeLoader(self.text)
        while not isinstance(token := loader.get_token(), tokens.StreamEndToken):
            self._nest(token)
            if isinstance(token, _SHOWN) and token.end_mark.index > token.start_mark.index:
                self._put(token)
        self._between(len(self.text), 0, None)
        return "".join(self.written).strip("\n") + "\n"

    def _nest(self, token: Any) -> None:
        """Keep in step with which blocks are open."""
        top = self.levels[-1] if self.levels else ""
        if isinstance(token, tokens.BlockMappingStartToken):
            self.levels.append("map")
        elif isinstance(token, tokens.BlockSequenceStartToken):
            self.levels.append("seq")
        elif isinstance(token, tokens.BlockEndToken):
            del self.levels[-2 if top == "list" else -1 :]
        elif isinstance(token, tokens.BlockEntryToken) and top == "map":
            self.levels.append("list")
        elif isinstance(token, tokens.KeyToken):
            self.key = True
            if not self.flow and top == "list":
                self.levels.pop()

    def _put(self, token: Any) -> None:
        """Write a token, with what stands before it."""
        start, end = token.start_mark.index, token.end_mark.index
        first, *more = self.text[start:end].rstrip().split("\n")
        self._between(start, self._level(token, start), token)
        self.flow += isinstance(token, _OPENS) - isinstance(token, _CLOSES)
        shift = self.now - self.was
        self.written.append("\n".join([first, *(_shifted(one, shift) for one in more)]))
        self.end, self.before, self.key = start + len("\n".join([first, *more])), token, False

    def _level(self, token: Any, start: int) -> int:
        """How far in a line begins that this token is the first of."""
        if self.flow:
            return max(_column(self.text, start) + self.now - self.was, 0)
        deeper = not self.key and not isinstance(token, tokens.BlockEntryToken) and bool(self.levels)
        return _STEP * (max(len(self.levels) - 1, 0) + deeper)

    def _between(self, start: int, level: int, token: Any) -> None:
        """Write what stands between two tokens: a space, or the ends of lines, with comments and a blank line."""
        behind, *lines = self.text[self.end : start].split("\n")
        self._comment(behind.strip(), "  " if self.before is not None else "")
        if not lines:
            self.written.append(_space(self.before, token))
            return
        *lines, last = lines if token is not None else [*lines, ""]
        blank = False
        for line in lines:
            told = line.strip()
            if told or not blank:
                self.written.append("\n")
            blank = not told
            far = len(line) - len(line.lstrip())
            self._comment(told, " " * (self.now if far == self.was and far != len(last) else level))
        self.written.append("\n" + " " * level)
        self.was, self.now = len(last), level

    def _comment(self, told: str, before: str) -> None:
        if told:
            self.comments.append(told)
            self.written.append(before + told)


def _shifted(line: str, shift: int) -> str:
    """A further line of a text, moved as its first one is."""
    told = line.strip()
    return " " * max(len(line) - len(line.lstrip()) + shift, 1) + told if told else ""


def _space(before: Any, after: Any) -> str:
    """What stands between two tokens of a line."""
    if before is None or after is None or isinstance(before, _OPENS):
        return ""
    return "" if isinstance(after, (*_CLOSES, tokens.FlowEntryToken, tokens.ValueToken)) else " "
