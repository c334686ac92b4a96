"""What is told of a name, as Markdown: what it means, its unit and range, how it is learnt, by what it is made."""

from collections.abc import Iterable, Iterator
from typing import Final

from fitsvc.desk.naming import RULINGS, Declared, FolderNames
from fitsvc.language.functions import FUNCTIONS, SAME_AS_FIRST, SPECIAL_FORMS
from fitsvc.language.quantities import DIMENSIONS, Dimension
from fitsvc.rulebook.vocabulary import DEFAULT_UNITS

_MOST_CHOICES: Final = 40
_WORDS: Final = {"opening": "fact of the working opening", "derived": "derived value"}


def told_of(name: str, names: FolderNames, meant: Iterable[Declared] = ()) -> str:
    """Everything that is told of a name, or of what is meant by it; empty where it is none."""
    found = list(meant) or names.called(name)
    parts = [function(name)] if name in FUNCTIONS or name in SPECIAL_FORMS else []
    return "\n\n---\n\n".join([*parts, *("\n\n".join(_lines(name, one, names)) for one in found)])


def function(name: str) -> str:
    """How a function is written, and what it gives."""
    if name in SPECIAL_FORMS:
        written, gives = SPECIAL_FORMS[name]
        return f"{written}\n\n{gives}"
    row = FUNCTIONS[name]
    takes = ", ".join(_dimension(one) for one in row.arguments) + (", ..." if row.variadic else "")
    return f"`{name}({takes})` gives {_dimension(row.result)}\n\n{row.doc}\n\nSource: {row.source}"


def _dimension(one: Dimension | None) -> str:
    if one is SAME_AS_FIRST:
        return "the same"
    return next((name for name, known in DIMENSIONS.items() if known == one), str(one))


def _lines(name: str, one: Declared, names: FolderNames) -> Iterator[str]:
    """What is told of one thing that a name stands for, a paragraph each."""
    yield f"`{name}`: {_WORDS.get(one.sort, one.sort)}{f' of `{one.of}`' if one.of else ''}"
    label = one.says("label") or one.says("title") or one.says("word")
    if label:
        yield label
    if one.sort in ("fact", "derived", "opening"):
        yield _figure(one, names)
    if one.sort in RULINGS:
        yield from (f"{key}: `{one.says(key)}`" for key in ("severity", "applies_when", "requires") if one.says(key))
    if one.sort == "list":
        yield _choices(list(names.members.get(one.name, ())))
    if one.sort == "member":
        yield ", ".join(f"`{role}`" for role in one.lists("is")) or getattr(one.node, "value", "")
    if one.sort == "table":
        gives = one.says("gives") or ", ".join(f"`{column}`" for column in one.lists("columns"))
        keys = ", ".join(f"`{key}`" for key in (one.says("key"), *one.lists("key")) if key)
        yield f"by {keys}, gives {gives}" if keys else f"gives {gives}"
    for key in ("meaning", "text", "cite", "words", "says"):
        if one.says(key):
            yield one.says(key)
    if one.says("how_to_measure"):
        yield f"How to measure: {one.says('how_to_measure')}"
    if one.sort == "derived":
        yield f"```\n{one.says('is')}\n```"


def _figure(one: Declared, names: FolderNames) -> str:
    """The type of a fact or value, in which unit it is shown, and between what it lies."""
    kind = one.says("type")
    unit = one.says("shown_in") or DEFAULT_UNITS.get(kind, "")
    low, *high = one.lists("range") or [""]
    parts = [kind, f"shown in {unit}" if unit else "", f"from {low} to {high[0]}" if high else "", one.says("effort")]
    choices = list(names.members.get(kind, ()))
    return ", ".join(part for part in parts if part) + (f": {_choices(choices)}" if choices else "")


def _choices(members: list[str]) -> str:
    more = f" and {len(members) - _MOST_CHOICES} more" if len(members) > _MOST_CHOICES else ""
    return ", ".join(f"`{member}`" for member in members[:_MOST_CHOICES]) + more
