"""Every text that fitsvc itself has for people: what the code hands to `t()` and `later()`, and what templates say."""

import ast
from collections.abc import Iterator
from pathlib import Path

import fitsvc
from fitsvc.language.quantities import DIMENSIONS
from fitsvc.service.counter.rendering import templates
from fitsvc.service.counter.texts import texts_in

_CALLS = ("t", "later", "dated")
_SOURCE = Path(fitsvc.__file__).parent


def told_texts() -> list[str]:
    """Each text once, as it is looked up, in the order of the files it stands in."""
    found = [text for path in sorted(_SOURCE.rglob("*.py")) for text in _in_code(path.read_text("utf-8"))]
    environment = templates()
    for path in sorted((_SOURCE / "service" / "counter" / "templates").glob("*.html")):
        source = path.read_text("utf-8")
        found += texts_in(environment, source)
        found += _in_calls(list(environment.lex(source)))
    found += ["the ", "whether "]
    found += [f"{'an' if name[0] in 'aeiou' else 'a'} {name}" for name in map(str, DIMENSIONS.values())]
    return [text for text in dict.fromkeys(found) if text.strip()]


def _in_code(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        name = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
        if isinstance(node, ast.Call) and name in _CALLS:
            given = node.args[1] if name == "dated" else node.args[0]
            for one in (given.body, given.orelse) if isinstance(given, ast.IfExp) else (given,):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    yield one.value


def _in_calls(tokens: list[tuple[int, str, str]]) -> Iterator[str]:
    """The texts that a template hands to `t` itself."""
    told = [(kind, value) for _, kind, value in tokens if kind != "whitespace"]
    for place, (kind, value) in enumerate(told):
        if (kind, value) == ("name", "t") and told[place + 1 : place + 2] == [("operator", "(")]:
            kind, text = told[place + 2]
            if kind == "string":
                yield text[1:-1]
