"""Names that can be searched for: no class is called what another one is."""

import ast
from collections import defaultdict
from pathlib import Path

import fitsvc

HOUSE = Path(fitsvc.__file__).parent
TREES = {"language/syntax.py", "language/typed.py"}
"""The tree as written and the checked tree, whose nodes are the same things at two stages."""


def test_no_class_name_stands_twice() -> None:
    """A name leads to one class, but for the nodes that both trees of the language have."""
    found: dict[str, set[str]] = defaultdict(set)
    for file in HOUSE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef):
                found[node.name].add(file.relative_to(HOUSE).as_posix())
    assert {name: sorted(places) for name, places in found.items() if len(places) > 1 and places != TREES} == {}
