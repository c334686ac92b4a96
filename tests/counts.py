"""Counts of the house, as DEVELOPERS.md tells them: `PYTHONPATH=tests python -m counts`.

With `--list` what is counted stands below its count, so that each can be found.
"""

import ast
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from statistics import median, quantiles
from typing import Final, TypeAlias

from demo_world import answerer

from fitsvc.language import typed

ROOT: Final = Path(__file__).parent.parent
MOST_POSITIONAL: Final = 5
TWICE_BY_DESIGN: Final = ("fitsvc/language/syntax.py", "fitsvc/language/typed.py")
"""A node as written and the same node checked have one name, which the module tells apart."""
NUMERIC: Final = re.compile(r"\b(?:float|Bounds|Ends|ndarray|Column|Columns|NDArray|Masks|Truths)\b")
"""Annotations of what has a unit or a shape."""
UNITS: Final = re.compile(
    r"\b(?:mm|kg|kN|N m|degrees?|radians|units?|seconds?|ms|MB|bytes|plain numbers?|ratio|share|grade|lengths?|"
    r"weights?|angles?|rows?|items?|signatures?|columns?|arrays?|words?|bits?|ends?|bounds|pairs?|bitmaps?|masks?)\b"
)
"""Words by which a docstring tells a unit or a shape."""
RAISES: Final = re.compile(
    r"\b(?:[Rr]aise[sd]?|(?:[A-Z]\w*)?(?:Error|Found|Exists|Conflict|Busy|Referenced|InvalidValue)|[Rr]efuse[sd]?|[Pp]roblems?)\b"
)
"""Words by which a docstring tells of an error."""
IGNORE: Final = re.compile(r"# (?:type: ignore|noqa)\b")
ARGUED: Final = re.compile(r"# (?:type: ignore\[[\w, -]+\]|noqa: [A-Z]+\d+)\s+(?:# )?(?!noqa|type:)[(\w][^#]*$")
"""The last bidding of a line, by name, and words behind it."""
_Def: TypeAlias = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True, slots=True)
class Public:
    """A public name: where it is, its docstring with those around it, and what of it the docstring has to tell."""

    place: str
    doc: str
    around: str
    raises: bool
    numeric: bool

    @property
    def lacks(self) -> list[str]:
        """What its docstring leaves out."""
        told = {
            "a docstring": bool(self.doc),
            "the error that it raises": not self.raises or bool(RAISES.search(self.around)),
            "a unit or shape": not self.numeric or bool(UNITS.search(self.around)),
        }
        return [what for what, there in told.items() if not there]


@cache
def trees(folder: str = "fitsvc") -> dict[str, ast.Module]:
    """Each module's tree by its path."""
    paths = sorted((ROOT / folder).rglob("*.py"))
    return {str(path.relative_to(ROOT)): ast.parse(path.read_text("utf-8")) for path in paths}


def room_of(path: str) -> str:
    """The room that a module is in."""
    parts = Path(path).parts
    return parts[1] if len(parts) > 2 else "fitsvc"


def functions(tree: ast.Module) -> Iterator[_Def]:
    """Every function of a module, however deep."""
    return (node for node in ast.walk(tree) if isinstance(node, _Def))


def lines_of(function: _Def) -> int:
    """How many lines a function has, from its `def` to its end."""
    return (function.end_lineno or function.lineno) - function.lineno + 1


def class_names_twice() -> dict[str, list[str]]:
    """The names of classes that stand in more than one module, with the modules."""
    places: dict[str, list[str]] = defaultdict(list)
    for path, tree in trees().items():
        if path not in TWICE_BY_DESIGN:
            for node in ast.walk(tree):
                if isinstance(node, ast.ClassDef):
                    places[node.name].append(path)
    return {name: paths for name, paths in sorted(places.items()) if len(paths) > 1}


def positional_calls() -> list[str]:
    """Calls that make one of our classes of more than five arguments by their places."""
    classes = {node.name for tree in trees().values() for node in ast.walk(tree) if isinstance(node, ast.ClassDef)}
    return [
        f"{path}:{node.lineno} {name}"
        for path, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and len(node.args) > MOST_POSITIONAL and (name := called(node)) in classes
    ]


def called(call: ast.Call) -> str:
    """The last name of what is called."""
    return ast.unparse(call.func).rpartition(".")[2]


def literals() -> dict[str, Counter[str]]:
    """Texts in Python that are names of the shipped rulebook, by what they name and by module."""
    rulebook = answerer().rulebook
    names = dict.fromkeys(rulebook.vocabulary.facts, "facts")
    names |= dict.fromkeys(rulebook.derived, "derived values")
    entries = [rule.id for rule in rulebook.rules] + [need.id for need in rulebook.needs]
    entries += [limit.id for limit in rulebook.limits]
    names |= {one: "rules, limits and needs" for one in entries if "-" in one}
    kinds = (rulebook.vocabulary.lists[name].members for name in ("accessory_kind", "adapter_kind"))
    names |= {str(member): "kinds" for members in kinds for member in members if str(member) != "none"}
    found: dict[str, Counter[str]] = {what: Counter() for what in sorted(set(names.values()))}
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in names:
                found[names[node.value]][path] += 1
    return found


def node_files() -> dict[str, list[str]]:
    """The modules that name each kind of node of the checked tree, the tests' too."""
    kinds = [name for name, one in vars(typed).items() if isinstance(one, type) and one.__module__ == typed.__name__]
    found: dict[str, list[str]] = {kind: [] for kind in kinds}
    for path, tree in (trees() | trees("tests")).items():
        attributes = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        named = attributes | {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
        for kind in kinds:
            if kind in named and ("typed" in named or path.endswith("typed.py")):
                found[kind].append(path)
    return found


def unargued_ignores() -> list[str]:
    """Lines that bid a checker be silent (`type: ignore`, `noqa`) and do not say why beside it."""
    return [
        f"{path}:{number}"
        for path in (*trees(), *trees("tests"), *trees("migrations"))
        for number, line in enumerate((ROOT / path).read_text("utf-8").splitlines(), 1)
        if IGNORE.search(line) and not ARGUED.search(line)
    ]


def public() -> list[Public]:
    """Every public module, class and function."""
    found = []
    for path, tree in trees().items():
        doc = ast.get_docstring(tree) or ""
        found.append(Public(path, doc, doc, raises=False, numeric=False))
        found += [one for node in tree.body for one in _public(path, node, doc)]
    return found


def _public(path: str, node: ast.stmt, around: str) -> Iterator[Public]:
    if not isinstance(node, _Def | ast.ClassDef) or node.name.startswith("_"):
        return
    doc = ast.get_docstring(node) or ""
    place, told = f"{path}:{node.lineno} {node.name}", f"{around}\n{doc}"
    if isinstance(node, ast.ClassDef):
        yield Public(place, doc, told, raises=False, numeric=False)
        for inner in node.body:
            yield from _public(path, inner, told)
    elif not _told_elsewhere(node):
        yield Public(place, doc, told, _raises(node), bool(NUMERIC.search(_annotations(node))))


def _told_elsewhere(node: _Def) -> bool:
    """A route tells its failures in its operation, which a test holds; a command's docstring is its help."""
    decorators = {ast.unparse(one).partition("(")[0].rpartition(".")[2] for one in node.decorator_list}
    return bool(decorators & {"overload", "override", "get", "post", "put", "delete", "command"})


def _raises(node: _Def) -> bool:
    """Whether it raises an error itself; of a bug's own `AssertionError` nothing is said."""
    raised = [one for one in ast.walk(node) if isinstance(one, ast.Raise) and one.exc is not None]
    return any("AssertionError" not in ast.unparse(one) for one in raised)


def _annotations(node: _Def) -> str:
    arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    annotated = [one.annotation for one in arguments if one.annotation] + ([node.returns] if node.returns else [])
    return " ".join(ast.unparse(one) for one in annotated)


def report(listed: bool) -> Iterator[str]:
    """The counts, a line each; with what is counted below it where that is asked for."""
    yield from _rooms()
    texts = {path: (ROOT / path).read_text("utf-8") for path in (*trees(), *trees("tests"))}
    skipped = {path: text.count("# fmt: skip") for path, text in texts.items() if path != "tests/counts.py"}
    yield f"lines kept from the formatter (`# fmt: skip`): {sum(skipped.values())}"
    yield from _listed(f"{path} {count}" for path, count in skipped.items() if count and listed)
    bare = unargued_ignores()
    yield f"biddings to a checker to be silent without a reason beside them: {len(bare)}"
    yield from _listed(one for one in bare if listed)
    twice = class_names_twice()
    yield f"class names that stand twice: {len(twice)}"
    yield from _listed(f"{name}: {', '.join(paths)}" for name, paths in twice.items() if listed)
    calls = positional_calls()
    yield f"calls with more than {MOST_POSITIONAL} arguments by their places: {len(calls)}"
    yield from _listed(one for one in calls if listed)
    for what, where in literals().items():
        yield f"{what} of the shipped rulebook named in Python: {where.total()} in {len(where)} modules"
        yield from _listed(f"{path} {count}" for path, count in where.most_common() if listed)
    nodes = node_files()
    counted = sorted(map(len, nodes.values()))
    yield f"modules that name a kind of node: {median(counted):g} in the middle, {counted[-1]} at most, tests too"
    yield from _listed(f"{kind}: {', '.join(paths)}" for kind, paths in nodes.items() if listed)
    names = public()
    lacking = [one for one in names if one.lacks]
    yield f"public names whose docstring tells what it has to: {len(names) - len(lacking)} of {len(names)}"
    yield from _listed(f"{one.place}: {', '.join(one.lacks)}" for one in lacking if listed)


def _listed(lines: Iterator[str]) -> Iterator[str]:
    return (f"    {line}" for line in lines)


def _rooms() -> Iterator[str]:
    yield f"{'room':<12} {'files':>5} {'lines':>6} {'functions':>9} {'median':>6} {'9 in 10':>7} {'longest':>7}"
    rooms: dict[str, list[str]] = defaultdict(list)
    for path in trees():
        rooms[room_of(path)].append(path)
    for name, paths in [*sorted(rooms.items()), ("all", list(trees()))]:
        lines = sum(len((ROOT / path).read_text("utf-8").splitlines()) for path in paths)
        sizes = sorted(lines_of(one) for path in paths for one in functions(trees()[path])) or [0]
        most = quantiles(sizes, n=10)[-1] if len(sizes) > 1 else sizes[0]
        yield f"{name:<12} {len(paths):>5} {lines:>6} {len(sizes):>9} {median(sizes):>6g} {most:>7g} {sizes[-1]:>7}"


def main() -> None:
    """Print the counts."""
    print("\n".join(report("--list" in sys.argv[1:])))


if __name__ == "__main__":
    main()
