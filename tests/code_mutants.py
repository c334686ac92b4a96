"""One thing changed in the code, and whether a test notices: `PYTHONPATH=tests python -m code_mutants [COUNT] [SEED]`.

What is changed stands in a function of the language, the engine, the answers or the store: a comparison, an `and`, a
`not`, a sign, a number, a call whose result nobody takes. Asked are the tests that are named for
the module first, and where none of them notices, those that import it or are named for its room; so what is told to be
left may still be noticed by others, and the share is the least that it can be. Each change is made in a process of its
own, forked from one that has imported everything.
"""

import ast
import contextlib
import importlib
import os
import random
import resource
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, Final

ROOT: Final = Path(__file__).parent.parent
ROOMS: Final = ("language", "engine", "answers", "store")
COUNT: Final = 160
EACH: Final = 4
"""Changes of one module: its tests are run once without any, to know what fails anyhow and how long they take."""
LEAST: Final = 0.9
_FIRST, _MOST = 3, 10
"""Files of tests that are asked of a module, at first and in all, at most."""
_SWAPS: Final[dict[type, type]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}  # fmt: skip
_NAMES: Final = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Change:
    """One change of a function's code: where it stands, and what becomes of what."""

    module: str
    function: str
    line: int
    number: int
    says: str

    def __str__(self) -> str:
        return f"{self.module.replace('.', '/')}.py:{self.line} {self.function}: {self.says}"


def changes(module: str) -> list[Change]:
    """Every single change of a module's functions."""
    found = []
    for function, node in _functions(ast.parse(_source(module))):
        for number, (line, says, _) in enumerate(_sites(node)):
            found.append(Change(module, function, line, number, says))
    return found


def _source(module: str) -> str:
    return (ROOT / f"{module.replace('.', '/')}.py").read_text("utf-8")


def _functions(tree: ast.AST, within: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef):
            yield from _functions(node, f"{within}{node.name}.")
        elif isinstance(node, ast.FunctionDef):
            yield within + node.name, node


def _sites(function: ast.FunctionDef) -> Iterator[tuple[int, str, Any]]:
    """Where a function can be changed: the line, what is told of it, and what makes the change in the tree."""
    passed: set[int] = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Assert):
            passed |= {id(one) for one in ast.walk(node)}  # no input can break it, so no test can notice
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation:
            passed |= {id(one) for one in ast.walk(node.annotation)}
        if isinstance(node, ast.FunctionDef) and node.returns:
            passed |= {id(one) for one in ast.walk(node.returns)}
        if id(node) not in passed:
            yield from _sites_of(node)


def _sites_of(node: ast.AST) -> Iterator[tuple[int, str, Any]]:
    line, was = getattr(node, "lineno", 0), ast.unparse(node)[:70] if isinstance(node, ast.expr | ast.stmt) else ""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and (other := _SWAPS.get(type(node.ops[0]))):
        yield line, f"`{was}` with {other.__name__}", lambda: node.ops.__setitem__(0, other())
    elif isinstance(node, ast.BoolOp | ast.BinOp) and (other := _SWAPS.get(type(node.op))):
        yield line, f"`{was}` with {other.__name__}", lambda: setattr(node, "op", other())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield line, f"`{was}` without not", lambda: setattr(node, "operand", _turned(node.operand))
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        new = (not node.value) if isinstance(node.value, bool) else node.value + 1
        yield line, f"{node.value} becomes {new}", lambda: setattr(node, "value", new)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _NAMES:
        name, func = _NAMES[node.func.id], node.func
        yield line, f"`{was}` with {name}", lambda: setattr(func, "id", name)
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield line, f"without `{was}`", lambda: setattr(node, "value", ast.copy_location(ast.Constant(None), node))


def _turned(operand: ast.expr) -> ast.expr:
    return ast.copy_location(ast.UnaryOp(ast.Not(), operand), operand)


def carry_out(change: Change) -> bool:
    """Make a change in this process, where the function that it is of is used; whether that could be done."""
    tree = ast.parse(_source(change.module))
    node = dict(_functions(tree))[change.function]
    next(make for number, (_, _, make) in enumerate(_sites(node)) if number == change.number)()
    whole = compile(ast.fix_missing_locations(tree), f"{change.module.replace('.', '/')}.py", "exec")
    code = next((one for one in _codes(whole) if one.co_qualname == change.function), None)
    function = _function(importlib.import_module(change.module), change.function)
    if code is None or function is None or len(code.co_freevars) != len(function.__code__.co_freevars):
        return False
    function.__code__ = code
    return True


def _codes(code: CodeType) -> Iterator[CodeType]:
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield one
            yield from _codes(one)


def _function(holder: Any, name: str) -> FunctionType | None:
    """The function of a qualified name, out of what may be wrapped about it."""
    for part in name.split("."):
        holder = vars(holder).get(part)
    for inner in ("__func__", "fget", "func", "__wrapped__", "__wrapped__"):
        holder = getattr(holder, inner, holder)
    return holder if isinstance(holder, FunctionType) else None


def asked_of(module: str) -> list[list[str]]:
    """The files of tests that are asked of a module, one round of them after another, each once."""
    _, room, *rest = module.split(".")
    files = [path for path in sorted((ROOT / "tests").glob("test_*.py")) if path.stem != "test_service_killed"]
    named = [path for path in files if path.stem.startswith("_".join(("test", room, *rest)))]
    texts = {path: path.read_text("utf-8") for path in files}
    importing = [path for path in files if f"from {module} import" in texts[path]]
    of_room = [path for path in files if path.stem.startswith(f"test_{room}")]
    found = [str(path) for path in dict.fromkeys((*named, *importing, *of_room))][:_MOST]
    first = min(max(len(named), 1), _FIRST)
    return [one for one in (found[:first], found[first:]) if one]


@dataclass
class Round:
    """Some files of tests of a module, and what they come to without any change."""

    tests: list[str]

    @cached_property
    def unchanged(self) -> tuple[float, list[str]]:
        """How many seconds of processor time they take, and which tests fail anyhow."""
        with tempfile.TemporaryDirectory() as folder:
            failing = Path(folder, "failing")
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            code = _in_a_fork(lambda: _run([*self.tests, "-p", "code_mutants"], failing), 3600)
            assert code in (0, 1), f"{self.tests} cannot be run: {code}"
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            return spent, failing.read_text("utf-8").split("\n") if failing.exists() else []

    def notices(self, change: Change) -> str:
        """How a change is noticed; empty where it is not, `?` where it cannot be made."""
        spent, failing = self.unchanged
        aside = [f"--deselect={name}" for name in failing if name]

        def changed() -> int:
            return _run([*self.tests, "-x", *aside]) if carry_out(change) else 77

        code = _in_a_fork(changed, int(20 + 5 * spent))
        assert code in (0, 1, 2, 5, 77) or code < 0, f"{change}: pytest ended with {code}"
        return {0: "", 5: "", 77: "?"}.get(code, "by a test" if code > 0 else "by its time")


@dataclass
class Module:
    """A module, and what is asked of it."""

    name: str

    @cached_property
    def rounds(self) -> list[Round]:
        """Those that are asked first are run for every change, those after them where the first notice nothing."""
        return [Round(tests) for tests in asked_of(self.name)]

    def notices(self, change: Change) -> str:
        """How a change is noticed; empty where it is not, `?` where it cannot be made."""
        return next((how for one in self.rounds if (how := one.notices(change))), "")


def _in_a_fork(work: Any, seconds: int) -> int:
    """Do some work in a process of its own, with so much processor time, and give its exit code."""
    pid = os.fork()
    if not pid:
        code = 1
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
            os.setpgid(0, 0)
            code = work()
        finally:
            os._exit(code)
    _, status = os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status)


def _run(arguments: list[str], failing: Path | None = None) -> int:
    import pytest

    folder = tempfile.mkdtemp(prefix="fitsvc-mutant-")
    os.environ |= {"FITSVC_CACHE": folder, "FITSVC_AUDITS": folder, "FAILING": str(failing or "")}
    try:
        with Path(os.devnull).open("w") as nobody, contextlib.redirect_stdout(nobody):
            quiet = ["-q", "--assert=plain", "-p", "no:randomly", "-p", "no:cacheprovider", "-p", "no:xdist"]
            return int(pytest.main([*quiet, f"--basetemp={folder}/t", "--rootdir", str(ROOT), *arguments]))
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def pytest_runtest_logreport(report: Any) -> None:
    """As a plugin: keep what fails."""
    if report.failed and os.environ.get("FAILING"):
        with Path(os.environ["FAILING"]).open("a") as stream:
            stream.write(f"{report.nodeid}\n")


def drawn(count: int, seed: int) -> dict[str, list[Change]]:
    """Some changes of some modules, drawn by a seed: of each as many as it weighs, a few at the most."""
    rng = random.Random(seed)
    paths = [path for room in ROOMS for path in (ROOT / "fitsvc" / room).rglob("*.py")]
    known = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in sorted(paths)}
    every = {name: found for name in known if not name.endswith("__init__") and (found := changes(name))}
    picked: dict[str, list[Change]] = {}
    names = list(every)
    while sum(map(len, picked.values())) < count and names:
        name = rng.choices(names, [len(every[one]) for one in names])[0]
        names.remove(name)
        picked[name] = rng.sample(every[name], min(EACH, len(every[name])))
    return picked


def main(count: int, seed: int) -> int:
    """Draw changes, ask tests of each, and tell what none of them notices; 1 where too many are left."""
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    importlib.import_module("conftest")  # all of fitsvc, and what tests stand on
    made, left = 0, []
    for name, found in drawn(count, seed).items():
        module = Module(name)
        for change in found:
            how = module.notices(change)
            made += how != "?"
            if not how:
                left.append(change)
                print(change, flush=True)
        print(f"{name}: {made - len(left)} of {made} noticed so far", file=sys.stderr, flush=True)
    share = 1 - len(left) / max(made, 1)
    print(f"{made} changes by seed {seed}, {made - len(left)} noticed, {len(left)} left: {share:.1%}")
    return int(share < LEAST)


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    sys.exit(main(given[0] if given else COUNT, given[1] if given[1:] else random.SystemRandom().randrange(10**6)))
