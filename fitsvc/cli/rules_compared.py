"""Two folders of rules, compared for the person who changes them."""

from collections.abc import Mapping
from difflib import ndiff
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import one_line, paragraph
from fitsvc.cli.rule_view import inline
from fitsvc.document import Json
from fitsvc.rulebook.yaml_text import to_plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitsvc.audits.impact import Impact
    from fitsvc.cli.console import Console
    from fitsvc.engine.compared import Compared
    from fitsvc.rulebook.meaning import Difference

_COLOURS: Final = {"added": "green", "removed": "red", "changed": "yellow"}
_PROMISES: Final = ("gives", "so", "at_most")
_HANG: Final = 9
_MOST_ASIDE: Final = 10


def show_differences(console: "Console", found: "Sequence[Difference]") -> None:
    """Print what each entry said and says, entry by entry; of one that is gone, its name."""
    for one in found:
        kind = "added" if one.old is None else "removed" if one.new is None else "changed"
        name = f"{one.section}: {one.name}" if one.section != "file" else one.name
        paragraph(console, f"{name} ({one.where})", sign=kind, colour=_COLOURS[kind], hang=_HANG)
        for sign, text in _lines(one.old or {}, one.new or {}) if one.new is not None else ():
            paragraph(console, text, sign=sign, colour="red" if sign == "-" else "green", indent=_HANG, hang=2)


def show_examples(console: "Console", compared: "Compared") -> None:
    """Print the examples on which the two differ, each with its facts and its place."""
    for one in compared.changed:
        facts: Json = to_plain(one.example.node)
        paragraph(console, f"{one.owner}: {one.old}, now {one.new}", style="bold")
        told = inline({name: value for name, value in facts.items() if name not in _PROMISES})
        mark = one.example.node.mark
        paragraph(console, told, indent=2)
        paragraph(console, f"{mark.file}:{mark.line}", style="dim", indent=2)


def _lines(old: Mapping[str, Json], new: Mapping[str, Json]) -> "Iterator[tuple[str, str]]":
    for field in {**old, **new}:
        before, after = old.get(field), new.get(field)
        if isinstance(before, dict) and isinstance(after, dict):
            yield from ((sign, f"{field}.{text}") for sign, text in _lines(before, after))
        elif isinstance(before, list) and isinstance(after, list):
            lines = ndiff([inline(value) for value in before], [inline(value) for value in after])
            yield from ((line[0], f"{field}: {line[2:]}") for line in lines if line[0] in "+-")
        elif before != after:
            yield from ((sign, f"{field}: {inline(v)}") for sign, v in (("-", before), ("+", after)) if v is not None)


def show_impact(console: "Console", impact: "Impact") -> None:
    """Print what says yes to more, apart from what says yes to less: by rule and kind, each with cases to ask."""
    for title, groups in (("More say yes", impact.loosened()), ("Fewer say yes", impact.tightened())):
        if groups:
            console.print()
            paragraph(console, title, style="bold")
        for group in groups:
            told = f"{group.rule}, {group.kind}: {group.count} from {group.old} to {group.new}"
            paragraph(console, told, colour="yellow", sign="+" if group.is_looser else "-", indent=2, hang=2)
            for name in group.names:
                console.print(f"      {name}")
    if impact.aside:
        console.print()
        console.print(f"{len(impact.aside)} left aside, since one of the two cannot be asked:")
        for one in impact.aside[:_MOST_ASIDE]:
            console.print(f"  {one_line(one)}")
    same = impact.asked - impact.changed - impact.reasons
    console.print()
    told = f"{impact.asked} asked: {impact.changed} have another outcome, {impact.reasons} the same for other reasons"
    console.print(f"{told}, {same} are as they were")
