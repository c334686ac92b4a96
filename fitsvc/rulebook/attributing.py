"""Whose word a changed entry of the core is: no law or maker is named for what an overlay asks instead of them.

What decides is other by the overlay, so the source that is told is the overlay's reason, unless the change names one.
Texts of the core that tell a figure are told at the counter as true, so beside another requirement they are refused.
"""

import re
from collections.abc import Iterator
from collections.abc import Mapping as Map
from typing import Final

from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, to_plain

SOURCE: Final = "source"
REQUIREMENTS: Final[Map[str, tuple[str, ...]]] = {
    "rules": ("requires",),
    "limits": ("judged", "lowest_of"),
    "needs": ("met_when", "values"),
}
"""What an entry holds something to, by its section: what its texts tell of."""
_DECIDING: Final = ("applies_when", "judged_when", "rows", "bands", "points", "text")
"""What else makes an entry say something that its source did not."""
_TEXTS: Final = ("title", "fails_because", "unknown_because", "remedy")
_FIGURE: Final = re.compile(r"\d")


def attributed(shape: Shape, section: str, change: Mapping, old: Mapping, said: dict[str, Node]) -> dict[str, Node]:
    """What a change says, with whose word it is; a complaint of each text that tells the core's figure still."""
    held = [key for key in REQUIREMENTS.get(section, ()) if _is_other(old, said, key)]
    for key in _telling(old, said) if held else ():
        message = f"`{key}` of `{shape.text(change, 'of')}` is still the core's and tells its figure"
        shape.problems.append(change.problem_at_key(held[0], message, f"write beside it a `{key}` that is true then"))
    for row, node in _rows_as_before(old, said):
        message = f"row `{row}` is another, and names the core's source for it"
        shape.complain(node, message, "name one that says so, of your own `sources.yaml`")
    decides = held or any(_is_other(old, said, key) for key in _DECIDING)
    if not decides or SOURCE in said or SOURCE not in old.entries or "columns" in old.entries:
        return said
    at = change.starts["because"]
    own = {"kind": Scalar(change.source, at, "estimate"), "because": change.entries["because"]}
    return {**said, SOURCE: Mapping(change.source, at, own, dict.fromkeys(own, at))}


def _is_other(old: Mapping, said: Map[str, Node], key: str) -> bool:
    before = old.entries.get(key)
    return key in said and (before is None or to_plain(before) != to_plain(said[key]))


def _telling(old: Mapping, said: Map[str, Node]) -> Iterator[str]:
    """The texts with a figure that are told as the core wrote them."""
    for key in _TEXTS:
        text = old.entries.get(key)
        if isinstance(text, Scalar) and _FIGURE.search(text.value) and not _is_other(old, said, key):
            yield key


def _rows_as_before(old: Mapping, said: Map[str, Node]) -> Iterator[tuple[str, Node]]:
    """Rows that say something else by the source that they had."""
    rows, more = old.entries.get("rows"), said.get("rows")
    if not isinstance(more, Mapping) or not isinstance(rows, Mapping):
        return
    for name, row in more.entries.items():
        before = rows.entries.get(name)
        if not isinstance(row, Mapping) or not isinstance(before, Mapping) or to_plain(row) == to_plain(before):
            continue
        source, was = row.entries.get(SOURCE), before.entries.get(SOURCE)
        if source is not None and was is not None and to_plain(source) == to_plain(was):
            yield name, source
