"""Ids that rules, limits and needs had: a link, a record or a release that names one means what it is called now."""

from collections.abc import Container, Iterable

from fitsvc.rulebook.folder import RULINGS
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import FORMERLY
from fitsvc.rulebook.yaml_text import Mapping, Scalar


def read_former_ids(shape: Shape, topics: Iterable[Mapping], taken: Container[str]) -> dict[str, str]:
    """Each former id with today's; a complaint of one that is taken, or that two had."""
    found: dict[str, str] = {}
    entries = (node for tree in topics for section in RULINGS for node in shape.items(tree.entries.get(section), ""))
    for node in entries:
        if not isinstance(node, Mapping) or "id" not in node.entries:
            continue
        id = shape.text(node, "id")
        for item in shape.items(node.entries.get(FORMERLY), f"`{FORMERLY}`"):
            was = item.value if isinstance(item, Scalar) else ""
            if was in taken or was in found or not was:
                help = "leave it out here, or call the other one by another id"
                shape.complain(item, f"`{was}` is `{found.get(was, was)}`, so it cannot stand for this one", help)
            found.setdefault(was, id)
    return found
