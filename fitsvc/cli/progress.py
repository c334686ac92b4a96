"""How far a long command is: a bar on a terminal, plain lines elsewhere."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from fitsvc.cli.console import err

_TOLD_EVERY: Final = 5.0
Tell = Callable[[str, int, int], None]
"""Told of a stage's name, how much of it is done, and how much there is (0 where that is not known)."""


@contextmanager
def progress() -> Iterator[Tell]:
    """A bar on a terminal; elsewhere a line when a stage begins, and every few seconds."""
    console = err()
    if not console.is_terminal:
        yield _Lines().tell
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task("")
        yield lambda stage, done, total: bar.update(task, description=stage, completed=done, total=total or None)


class _Lines:
    """Progress as plain lines."""

    def __init__(self) -> None:
        self._told, self._at = ("", -1), 0.0

    def tell(self, stage: str, done: int, total: int) -> None:
        """Say how far a stage is, unless it was said a moment ago."""
        now, ended = time.monotonic(), bool(total) and done >= total
        recent = now - self._at < _TOLD_EVERY and not ended
        if (stage, done) == self._told or (stage == self._told[0] and recent):
            return
        self._told, self._at = (stage, done), now
        share = f": {done:,} of {total:,}" if total else f": {done:,}" if done else ""
        err().print(f"{stage}{share}")
