"""What the core has where an overlay changes it, told beside the change: so the two are read together."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitsvc.desk.folders import Desk
from fitsvc.desk.naming import RULINGS, Declared, Sort
from fitsvc.rulebook.folder import OVERLAY
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence

LONGEST: Final = 100
"""Characters of a hint: it stands behind what is written, on one line."""
_CHANGED: Final[tuple[Sort, ...]] = (*RULINGS, "caution", "derived", "table")
_OWN: Final = ("because", "loosens")
"""What a change says of itself."""


@dataclass(frozen=True, slots=True)
class Hint:
    """A text that is told behind an index of a file."""

    index: int
    text: str


def hints(desk: Desk, path: Path) -> list[Hint]:
    """What is told beside the changes of an overlay's file, as it is now; nothing while it cannot be read."""
    tree = desk.tree(path)
    if path.name != OVERLAY or not isinstance(tree, Mapping) or tree.source.text != desk.text(path):
        return []
    changes = tree.entries.get("changes")
    entries = changes.items if isinstance(changes, Sequence) else ()
    return [hint for entry in entries if isinstance(entry, Mapping) for hint in _of_change(desk, entry)]


def _of_change(desk: Desk, entry: Mapping) -> Iterator[Hint]:
    of = entry.entries.get("of")
    called = desk.names().called(of.value) if isinstance(of, Scalar) else []
    core = next((one for one in called if one.sort in _CHANGED), None)
    if core is None:
        return
    for key, node in entry.entries.items():
        if isinstance(node, Scalar) and key not in _OWN:
            yield Hint(_end(node), _shortened(_told(core, key)))


def _told(core: Declared, key: str) -> str:
    if key == "of":
        return core.says("title") or core.says("text") or core.says("label")
    return f"the core: {core.says(key)}" if core.says(key) else "the core has none"


def _end(node: Node) -> int:
    """The end of the last line that something is written on."""
    assert isinstance(node, Scalar)
    text = node.source.text
    return node.start + len(text[node.start : node.end].rstrip())


def _shortened(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
