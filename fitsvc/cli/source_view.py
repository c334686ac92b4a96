"""The sources of a rulebook, printed: what each says, how it was seen and when, and what rests on it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import paragraph, refuse
from fitsvc.language.problems import nearest
from fitsvc.rulebook.rules import SEEN, Cited, Rulebook
from fitsvc.rulebook.sources import YEARS_UNTIL_STALE, citing, is_stale

if TYPE_CHECKING:
    from fitsvc.cli.console import Console

_SEEN: Final[Mapping[str, str]] = {
    "text": "its text",
    "agency": "an agency's own page",
    "secondary": "quoted elsewhere",
    "memory": "from memory: looked up by nobody",
}
_MOST_WHOLE: Final = 6
"""So many sources are told whole; of more a line each."""


def show_sources(console: "Console", rulebook: Rulebook, words: Sequence[str]) -> None:
    """Print the sources that have all of these words: a few of them whole, of many a line each."""
    users = {name: list(dict.fromkeys(citing(rulebook, name))) for name in rulebook.sources}
    found = _found(rulebook, words, users)
    for name, source in found.items():
        if len(found) > _MOST_WHOLE:
            paragraph(console, f"{source.cite} ({source.seen})", sign=name, colour="cyan", hang=24)
        else:
            _show(console, name, source, users[name])
    counts = Counter(source.seen for source in found.values())
    told = f"{len(found)} source{'s' if len(found) != 1 else ''}"
    console.print(f"{told}: " + ", ".join(f"{counts[seen]} {seen}" for seen in SEEN if counts[seen]))
    show_stale(console, rulebook)


def show_stale(console: "Console", rulebook: Rulebook) -> None:
    """Print the sources that should be read again, of those that anybody read."""
    today = datetime.now(UTC).date()
    for name, source in rulebook.sources.items():
        if is_stale(source, today):
            told = f"read in {source.read}, and not in the last {YEARS_UNTIL_STALE} years: read `{source.cite}` again"
            paragraph(console, told, sign=name, colour="yellow")


def _found(rulebook: Rulebook, words: Sequence[str], users: Mapping[str, Sequence[str]]) -> dict[str, Cited]:
    """The sources that have all of these words, or the one of that name; refused where there is none."""
    sources, wanted = dict(rulebook.sources), [word.casefold() for word in words]
    if len(wanted) == 1 and wanted[0] in sources:
        return {wanted[0]: sources[wanted[0]]}
    texts = {
        name: f"{name} {source.cite} {source.words} {source.says} {' '.join(users[name])}".casefold().replace("_", " ")
        for name, source in sources.items()
    }
    found = {name: source for name, source in sources.items() if all(word in texts[name] for word in wanted)}
    if not found:
        near = nearest("-".join(wanted), sources)
        help = f"did you mean `{near}`?" if near else "leave a word out, or name none for all of them"
        refuse(f"no source has `{' '.join(words)}` in its name or words", help)
    return found


def _show(console: "Console", name: str, source: Cited, users: Sequence[str]) -> None:
    paragraph(console, source.cite, style="bold")
    paragraph(console, name, style="dim")
    words = f"\N{LEFT DOUBLE QUOTATION MARK}{source.words}\N{RIGHT DOUBLE QUOTATION MARK}" if source.words else ""
    lines = {
        "its words": words,
        "in our words": source.says,
        "seen": _SEEN[source.seen],
        "state of": source.as_of,
        "read": source.read,
        "rests on it": ", ".join(users),
    }
    for label, text in lines.items():
        if text:
            paragraph(console, text, sign=label, colour="cyan", indent=2, hang=15)
    console.print()
