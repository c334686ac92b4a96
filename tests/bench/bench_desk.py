"""The language server on the shipped rules: processor time of its process, as an editor drives it.

`PYTHONPATH=tests python -m bench.bench_desk` (on Linux: the time of another process is read from `/proc`). The file is
the longest one of rules, and the letters are typed in the midst of it.
"""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from time import perf_counter, process_time
from typing import Final

from editors import Editor, editor

from bench.measuring import SMALL, Group, Row, Time, show, taken
from fitsvc.engine.checking import faults_of
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

ROUNDS: Final = 3 if SMALL else 7
LETTERS: Final = 40
CHECKS: Final = 5
COMMAND: Final = "bench.bench_desk"
TICK: Final = os.sysconf("SC_CLK_TCK")
MARK: Final = "\n    requires: "
TYPED: Final = "accessory.weight <= mounting.height and "


def used(one: Editor) -> float:
    """Seconds of the processor that the server has used."""
    fields = Path(f"/proc/{one.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def measured(one: Editor, units: int, work: Callable[[], object]) -> Time:
    """What the server uses for a unit of some work, round by round."""
    work()
    processor, wall = list[float](), list[float]()
    for _ in range(ROUNDS):
        before, start = used(one), perf_counter()
        work()
        processor.append((used(one) - before) / units)
        wall.append((perf_counter() - start) / units)
    return taken(processor, wall)


class Writing:
    """Somebody who writes in the midst of a file."""

    def __init__(self, one: Editor, path: Path) -> None:
        self.one, self.path, self.text = one, path, path.read_text("utf-8")
        self.at = self.text.index(MARK, len(self.text) // 2) + len(MARK)

    def letters(self, ask: str) -> None:
        """Type letters without a pause, and ask something after each."""
        for number in range(1, LETTERS + 1):
            typed = TYPED[:number]
            text = self.text[: self.at] + typed + self.text[self.at :]
            self.one.type(self.path, text, wait=False)
            if ask:
                self.one.at(ask, self.path, text, self.text[self.at - 200 : self.at] + typed)
        self.one.ask("textDocument/hover", NO_FILE)  # so that all of it has been taken

    def pauses(self) -> None:
        """Type a letter, and wait until the folder has been checked."""
        for number in range(CHECKS):
            self.one.type(self.path, self.text + "\n" * (number + 1))

    def saves(self) -> None:
        """Save, and wait until the examples have been run."""
        for _ in range(CHECKS):
            self.one.send("textDocument/didSave", {"textDocument": {"uri": self.path.as_uri()}})
            self.one.checked(self.path.as_uri())


NO_FILE: Final = {
    "textDocument": {"uri": "file:///none.yaml"},
    "position": {"line": 0, "character": 0},
}


def anew(folder: Path) -> Time:
    """The same check by a process that reads every file."""
    times = list[float]()
    for _ in range(ROUNDS + 1):
        start = process_time()
        faults_of(load_rulebook(folder))
        times.append(process_time() - start)
    return taken(times[1:])


def groups() -> Iterator[Group]:
    """A letter, a pause, a file saved."""
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(shutil.copytree(data_dir("rules"), Path(kept) / "mine"))
        path = max(folder.glob("*.yaml"), key=lambda one: one.stat().st_size)
        with editor(folder) as one:
            one.open(path)
            writing = Writing(one, path)
            asked = [partial(writing.letters, what) for what in ("", "completion", "hover")]
            letter, offered, hovered = (measured(one, LETTERS, work) for work in asked)
            pause = measured(one, CHECKS, writing.pauses)
            saved = measured(one, CHECKS, writing.saves)
        size = path.stat().st_size // 1000
        alone = Row("floor", "the letter alone: the file's text is taken", letter)
        yield Group(
            f"A letter typed in {path.name} ({size} kB), and what may follow it",
            COMMAND,
            [Row("ours", "the letter, and what may follow it", offered), alone],
        )
        yield Group(
            f"A letter typed in {path.name}, and what the name before it means",
            COMMAND,
            [Row("ours", "the letter, and what is told of the name", hovered), alone],
        )
        yield Group(
            "A pause: every fault of the folder, of what is not saved",
            COMMAND,
            [Row("ours", "the check", pause), Row("beside", "reading and checking every file anew", anew(folder))],
        )
        yield Group(
            "A file saved: the examples run as well", COMMAND, [Row("ours", "the check and the examples", saved)]
        )


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
