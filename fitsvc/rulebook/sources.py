"""The register of sources: what each says, how that was seen and when; and that whatever cites one cites it there."""

import re
from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from datetime import date
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.rulebook.forms import TEXT, Form, by_name, one_of
from fitsvc.rulebook.rules import SEEN, Caution, Cited, Limit, Need, Rule, Rulebook, TableEntry
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence

SOURCES: Final = "sources.yaml"
YEARS_UNTIL_STALE: Final = 3
"""Years after which a source is read again: most legislatures sit every year or two. Common practice, no source."""
_ENTRY: Final = Form(
    "a source", {"cite": TEXT, "seen": one_of(*SEEN), "as_of": TEXT}, {"read": TEXT, "words": TEXT, "says": TEXT}
)
SOURCES_FILE: Final = Form(SOURCES, {"sources": by_name(_ENTRY.kind)})
_ADD: Final = (
    f"add it to {SOURCES}, in an overlay to one of its own: `sources: {{NAME: {{cite: ..., seen: {' | '.join(SEEN)}, "
    "as_of: ..., read: DATE, says: ...}}`"
)
_DAY: Final = re.compile(r"\d{4}-\d{2}(-\d{2})?")


def read_sources(shape: Shape, tree: Node | None) -> dict[str, Cited]:
    """The sources of a folder's `sources.yaml` by their names; none without the file."""
    top = shape.form(tree, SOURCES_FILE) if tree is not None else None
    nodes = shape.open_mapping(top.entries["sources"] if top else None, "`sources`")
    return {name: one for name, node in nodes if (one := _source(shape, name, node)) is not None}


def _source(shape: Shape, name: str, node: Node) -> Cited | None:
    entry = shape.form(node, _ENTRY, f"source `{name}`")
    if entry is None:
        return None
    seen, read = shape.one_of(entry, "seen", SEEN, what="how a source is seen"), shape.text(entry, "read")
    if read and _day(read) is None:
        shape.complain(entry.entries["read"], f"`{read}` is not a date", "write `2026-11-28`, or `2026-11`")
    if seen == "memory" and ("words" in entry.entries or read):
        shape.complain(
            entry, f"source `{name}` is from memory, and has words or a date of reading", "say how it was seen"
        )
    if seen != "memory" and not read:
        shape.complain(entry, f"source `{name}` does not say when it was read", "add `read: 2026-11-28`")
    if ("words" in entry.entries) == ("says" in entry.entries):
        shape.complain(
            entry, f"source `{name}` has its own `words`, or says in ours what they come to", "add one of them"
        )
    cite, as_of, words, says = (shape.text(entry, key) for key in ("cite", "as_of", "words", "says"))
    return Cited(cite=cite, seen=seen, as_of=as_of, read=read, words=words, says=says)


def _day(text: str) -> date | None:
    """The day that a text names, the first of a month that it names alone; None where it is no date."""
    try:
        return date.fromisoformat(text if len(text) == 10 else f"{text}-01") if _DAY.fullmatch(text) else None
    except ValueError:
        return None


def is_stale(source: Cited, today: date) -> bool:
    """Whether a source was read so long ago that it should be read again, or at a date that is still to come."""
    read = _day(source.read)
    if read is None:
        return False
    return read > today or (today.year - read.year, today.month, today.day) >= (YEARS_UNTIL_STALE, read.month, read.day)


def hold_to_sources(
    shape: Shape, trees: Iterable[Node], tree: Node | None, known: Map[str, Cited], tables: Map[str, TableEntry]
) -> None:
    """Complain of what is published and cites no source of the register, and of a source that nothing cites.

    A table whose rows each cite their own stands for those.
    """
    with_rows = [name for name, table in tables.items() if table.rows]
    cited = set[str]()
    for node in trees:
        for one in _cited(shape, node):
            cited.add(one.value or "")
            if one.value not in known and one.value not in with_rows:
                near = nearest(one.value or "", [*known, *with_rows])
                help = f"did you mean `{near}`?" if near else _ADD
                shape.complain(one, f"there is no source `{one.value}` in {SOURCES}", help)
    top = tree.entries.get("sources") if isinstance(tree, Mapping) else None
    for name, node in shape.open_mapping(top, "`sources`"):
        if name not in cited:
            shape.complain(node, f"nothing cites source `{name}`", "name it where it is cited, or take it out")


def citing(rulebook: Rulebook, name: str) -> Iterator[str]:
    """The rules, needs, cautions, tables and rows that cite a source, or a table of which a row does."""
    source, tables = rulebook.sources[name], set[str]()
    for table in rulebook.tables.values():
        rows = [place for place, row in table.rows.items() if row.source == source]
        tables |= {table.id} if rows else set()
        yield from (f"{table.id}.{place}" for place in rows)
    owners: Iterable[Rule | Limit | Need | Caution | TableEntry] = (
        *rulebook.rules,
        *rulebook.limits,
        *rulebook.needs,
        *rulebook.cautions,
        *rulebook.tables.values(),
    )
    yield from (one.id for one in owners if name in one.source.named or tables.intersection(one.source.named))


def _cited(shape: Shape, node: Node) -> Iterator[Scalar]:
    """The names that stand in every published source and row below a node."""
    if isinstance(node, Sequence):
        for item in node.items:
            yield from _cited(shape, item)
    if not isinstance(node, Mapping):
        return
    for key, below in node.entries.items():
        if key == "source" and isinstance(below, Mapping):
            yield from _of_source(shape, node, below)
        elif key == "rows":
            rows = below.entries.values() if isinstance(below, Mapping) else ()
            yield from (one for row in rows if isinstance(row, Mapping) for one in _scalars(row.entries.get("source")))
        else:
            yield from _cited(shape, below)


def _of_source(shape: Shape, owner: Mapping, source: Mapping) -> Iterator[Scalar]:
    kind, found = source.entries.get("kind"), list(_scalars(source.entries.get("named")))
    by_rows = "columns" in owner.entries
    # Without a citation it is told of already.
    if (
        isinstance(kind, Scalar)
        and kind.value == "published"
        and "cite" in source.entries
        and not found
        and not by_rows
    ):
        help = f"add `named: [...]` with names from {SOURCES}, or do not call it published"
        shape.complain(source, "what is published has words that can be looked up, and this names none", help)
    yield from found


def _scalars(node: Node | None) -> Iterator[Scalar]:
    items = node.items if isinstance(node, Sequence) else [node]
    yield from (item for item in items if isinstance(item, Scalar))
