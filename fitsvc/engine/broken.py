"""Examples that are broken, told where they can be mended: of what an overlay changes, in the overlay."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from fitsvc.engine.examples import Ran
from fitsvc.language.problems import Problem
from fitsvc.rulebook.folder import OVERLAY, core_of, rule_files, shown_as
from fitsvc.rulebook.overlay import named_changes
from fitsvc.rulebook.yaml_text import Node

_NONE: Final[Mapping[Path, Node]] = {}


def broken(ran: Iterable[Ran], folder: Path, trees: Mapping[Path, Node] = _NONE) -> list[Problem]:
    """A problem for each example of a folder that is not kept; `trees` are files as they are typed."""
    lost = [one for one in ran if not one.kept]
    if not lost or core_of(folder) is None:
        return [one.problem() for one in lost]
    own, changes = {shown_as(path) for path in rule_files(folder)}, named_changes(folder, trees.get(folder / OVERLAY))
    found = []
    for one in lost:
        mark = one.example.node.mark
        if mark.file in own:
            found.append(one.problem())
            continue
        told = f"`{one.owner}` gives {one.found} where the core's example, {mark.file}, line {mark.line}, says"
        message, of = f"{told} {one.expected}", changes.get(one.owner)
        help = "mend the change, or write `examples:` in it, which take the place of the core's"
        if of is None:
            help = f"mend what is changed of what it rests on, or change `{one.owner}` too, with `examples:` of its own"
            found.append(Problem(message, help, file=shown_as(folder / OVERLAY)))
        else:
            found.append(of.problem(message, help))
    return found
