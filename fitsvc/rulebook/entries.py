"""One entry of a rule file: its text as it stands there, and the rulebook with the entry read anew."""

from dataclasses import dataclass, replace
from typing import Any

from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cautions import read_caution
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.topics import read_limit, read_need, read_rule
from fitsvc.rulebook.yaml_text import FileText, Mapping, read_yaml, to_plain


@dataclass(frozen=True, slots=True)
class Slice:
    """The text of an entry of a list: from where to where it stands, how far it is indented, and without that."""

    source: FileText
    start: int
    end: int
    indent: int
    text: str


def slice_of(node: Mapping) -> Slice | None:
    """The text of an entry that has its lines to itself; None of one that shares a line with another.

    It goes on to the last line that is indented like its first, comments between them included.
    """
    whole, indent = node.source.text, node.mark.column - 1
    lines = whole[node.start :].split("\n")
    count = 1
    for place, line in enumerate(lines[1:], 2):
        if line.strip() and len(line) - len(line.lstrip(" ")) < indent:
            break
        count = place if line.strip() else count
    kept = [lines[0], *(line[indent:] for line in lines[1:count])]
    text = "\n".join(kept) + "\n"
    end = node.start + sum(len(line) + 1 for line in lines[:count]) - 1
    try:
        same = to_plain(read_yaml(text, "")) == to_plain(node)
    except ProblemsFound:
        return None
    return Slice(node.source, node.start, end, indent, text) if same else None


def shifted(text: str, indent: int) -> str:
    """A text whose lines but the first are indented so far."""
    first, *others = text.split("\n")
    return "\n".join([first, *(" " * indent + line if line.strip() else line for line in others)])


def exchanged(book: Rulebook, read: Expressions, section: str, node: Mapping, topic: str) -> Rulebook | None:
    """A rulebook with a rule, limit, need or caution read anew, in its place; None where it cannot be read.

    What is wrong with it is in the shape of `read`.
    """
    found: Any
    match section:
        case "rules":
            found = read_rule(read, node, topic, {})
        case "needs":
            found = read_need(read, node, topic, {})
        case "cautions":
            found = read_caution(read, node, {})
        case _:
            found = read_limit(read, node, topic, {})
    if found is None or read.shape.problems:
        return None
    if section == "limits":
        limit, rules = found
        place = next((n for n, rule in enumerate(book.rules) if rule.limit == limit.id), len(book.rules))
        others = [rule for rule in book.rules if rule.limit != limit.id]
        return replace(book, limits=_put(book.limits, limit), rules=(*others[:place], *rules, *others[place:]))
    entries: dict[str, Any] = {section: _put(getattr(book, section), found)}
    return replace(book, **entries)


def _put(entries: tuple[Any, ...], one: Any) -> tuple[Any, ...]:
    return tuple(one if old.id == one.id else old for old in entries)
