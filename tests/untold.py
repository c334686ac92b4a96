"""Texts of problems that never go through `t()` or `later()`: nobody is told them in a language of their own."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

TEXTS: Final = {
    "Problem": (0, 1),
    "problem": (1,),
    "_refuse": (0, 1),
    "_refused": (0, 1),
    "refuse": (1,),
    "FieldProblem": (1,),
}
"""By what is called, which of its arguments are for people; of an error of the store it is the first."""
ERRORS: Final = ("StoreError", "Conflict", "__init__")
_NAMED: Final = ("message", "help", "detail")
_WORDS: Final = re.compile(r"[A-Za-z]{2,}[^A-Za-z]* [^A-Za-z]*[A-Za-z]{2,}|[A-Za-z]{3,} | [A-Za-z]{3,}")
_CODE: Final = re.compile(r"`[^`]*`")
_Function = ast.FunctionDef | ast.AsyncFunctionDef


def untold(path: Path) -> Iterator[ast.expr]:
    """The texts of a file that are handed to a problem as they are: constants and f-strings with words in them."""
    tree = ast.parse(path.read_text("utf-8"))
    seen = set[int]()
    for scope in ast.walk(tree):
        for call in _own(scope) if isinstance(scope, _Function | ast.Module) else ():
            for told in _arguments(call) if isinstance(call, ast.Call) else ():
                for one in (*_texts(told), *_assigned(told, scope, tree)):
                    if id(one) not in seen:
                        seen.add(id(one))
                        yield one


def _own(scope: ast.AST) -> Iterator[ast.AST]:
    for node in ast.iter_child_nodes(scope):
        if not isinstance(node, _Function):
            yield node
            yield from _own(node)


def _arguments(call: ast.Call) -> Iterator[ast.expr]:
    called = call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")
    for place in (0,) if called in ERRORS else TEXTS.get(called, ()):
        yield from call.args[place : place + 1]
    yield from (one.value for one in call.keywords if called in TEXTS and one.arg in _NAMED)


def _texts(node: ast.AST) -> Iterator[ast.expr]:
    """What of an expression is a text with words of its own; what a call gives is looked at where it is made."""
    if isinstance(node, ast.Constant | ast.JoinedStr):
        parts = node.values if isinstance(node, ast.JoinedStr) else [node]
        told = "".join(
            one.value if isinstance(one, ast.Constant) and isinstance(one.value, str) else "x" for one in parts
        )
        if _WORDS.search(_CODE.sub("x", told)):
            yield node
    elif not isinstance(node, ast.Call):
        for part in ast.iter_child_nodes(node):
            yield from _texts(part)


def _assigned(told: ast.expr, scope: ast.AST, tree: ast.Module) -> Iterator[ast.expr]:
    """The texts that a name is given, within its function or the module."""
    names = {one.id for one in ast.walk(told) if isinstance(one, ast.Name)} if not isinstance(told, ast.Call) else set()
    for where in (*_own(scope), *tree.body) if names else ():
        if isinstance(where, ast.Assign) and len(where.targets) == 1:
            target, value = where.targets[0], where.value
        elif isinstance(where, ast.AnnAssign) and where.value is not None:
            target, value = where.target, where.value
        else:
            continue
        pairs = [(target, value)]
        if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
            pairs = list(zip(target.elts, value.elts, strict=True))
        for name, text in pairs:
            if isinstance(name, ast.Name) and name.id in names:
                yield from _texts(text)
