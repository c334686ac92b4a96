"""Rules judged by compiled code: `PYTHONPATH=tests python -m bench.bench_native`, by itself, with a compiler for C and
Cython (`pip install cython setuptools` first).

The function that judges all rules on one case, as it is generated, with each end of a figure as a double of C and each
truth and choice as an integer of C, made to machine code by Cython and the compiler; beside the same function as it is
run, on the same questions and held to the same verdicts. Formulas that rules call stay in Python on both sides.
"""

import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any, Final

from bench.bench_answer import bodies, prepared
from bench.measuring import SMALL, Group, Row, in_turn, show
from bench.questions import questions
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.engine.point import Point
from fitsvc.language.compiler import Emitter
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.bodies import decode

COUNT, ROUNDS = 60, 5 if SMALL else 31
COMMAND = "bench.bench_native"
_HEAD: Final = """# cython: language_level=3, boundscheck=False, cdivision=True
from libc.math cimport INFINITY
cdef double inf = INFINITY
"""
_SETUP: Final = """from setuptools import Extension, setup
from Cython.Build import cythonize
setup(script_args=["-q", "build_ext", "--inplace"],
      ext_modules=cythonize([Extension("judged", ["judged.pyx"], extra_compile_args=["-O2"])], quiet=True))
"""


def generated() -> tuple[str, Mapping[str, Any]]:
    """The function that judges all rules in a bare receiver as it is written, and what it calls by name."""
    found: list[tuple[str, Mapping[str, Any]]] = []
    written = Emitter.function

    def function(self: Emitter, name: str, parameters: str = "get, present") -> Callable[..., Any]:
        found.append(("\n".join(self.lines), self.globals))
        return written(self, name, parameters)

    Emitter.function = function  # type: ignore[method-assign]  # to see what is written
    try:
        Point(load_rulebook(data_dir("rules")))._bare.prepare()
    finally:
        Emitter.function = written  # type: ignore[method-assign]  # as it was
    return max(found, key=lambda one: len(one[0]))


def compiled(folder: Path) -> Callable[..., Any]:
    """The same as machine code."""
    body, named = generated()
    figures, others = (sorted({*re.findall(rf"\b({of}\d+)\b", body)}) for of in ("[lh]", "t"))
    known = "\n".join(f"{name} = None" for name in named if name.isidentifier() and name != "inf" and name[0] != "_")
    head = "def judge(get, present, anything=(-INFINITY, INFINITY), upward=(0.0, INFINITY)):"
    typed = f"    cdef double {', '.join(figures)}\n    cdef long long {', '.join(others)}"
    (folder / "judged.pyx").write_text(f"{_HEAD}{known}\n{head}\n{typed}\n{body}\n")
    (folder / "setup.py").write_text(_SETUP)
    subprocess.run([sys.executable, "setup.py"], cwd=folder, check=True)
    (path,) = folder.glob("judged*.so")
    spec = spec_from_file_location("judged", path)
    assert spec is not None and spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    vars(module).update({name: value for name, value in named.items() if name != "judge" and name[0] != "_"})
    judge: Callable[..., Any] = module.judge
    return judge


def main() -> None:
    """Measure and print."""
    answerer = prepared()
    cases = [read_question(decode(body), answerer.reader, NoRecords()).case for body in bodies(questions, 1, COUNT)]
    with tempfile.TemporaryDirectory() as folder:
        judge = compiled(Path(folder))
    run = answerer.engine._bare.prepare()
    for case in cases:
        assert judge(case.facts.get, case.present) == run(case.facts.get, case.present)
    ours, native = in_turn(
        ROUNDS,
        COUNT,
        lambda _: [run(case.facts.get, case.present) for case in cases],
        lambda _: [judge(case.facts.get, case.present) for case in cases],
    )
    rows = [Row("ours", "fitsvc, as it is run", ours), Row("beside", "as machine code", native)]
    show([Group("All rules and needs on one case, rule by rule", COMMAND, rows)])


if __name__ == "__main__":
    main()
