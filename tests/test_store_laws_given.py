"""Nothing above the store adds a statement without the rulebook's law."""

import ast
from collections.abc import Iterator
from pathlib import Path

import fitsvc

CHANGES = {"create_record", "bulk_create", "replace_record", "delete_record", "add_observation", "append"}
"""What folds a record anew; without a law it would compare nothing."""


def calls(folder: Path) -> Iterator[tuple[str, ast.Call]]:
    """Each call of one of these by its bare name, outside the store."""
    for path in sorted(folder.rglob("*.py")):
        if path.parent.name != "store":
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CHANGES:
                    yield f"{path.relative_to(folder)}:{node.lineno}", node


def test_every_change_is_folded_by_the_rulebooks_law() -> None:
    """Each such call says `laws`, or hands on what says it."""
    found = list(calls(Path(fitsvc.__file__).parent))
    assert found
    assert [place for place, call in found if not {"laws", None} & {one.arg for one in call.keywords}] == []
