"""Looks every few milliseconds of the processor's time at what is at work, which makes none of it dearer."""

import gc
import signal
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import CodeType, FrameType
from typing import Final

import fitsvc

FOLDER: Final = Path(fitsvc.__file__).parent
EVERY: Final = 0.002
"""Seconds of the processor's time between two looks; a kernel may look less often."""


class Looks:
    """What was at work whenever it was looked, outermost first, and how often."""

    def __init__(self) -> None:
        self._seen = Counter[tuple[CodeType, ...]]()

    def of(self, work: Callable[[], object]) -> Counter[tuple[str, ...]]:
        """Do the work, and tell the functions that were at work, by file and name, and how often they were."""
        gc.collect()
        gc.disable()
        signal.signal(signal.SIGPROF, self._look)
        signal.setitimer(signal.ITIMER_PROF, EVERY, EVERY)
        try:
            work()
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            gc.enable()
        found = Counter[tuple[str, ...]]()
        for codes, count in self._seen.items():
            found[tuple(map(name_of, codes))] += count
        return found

    def _look(self, _: int, frame: FrameType | None) -> None:
        self._seen[stack_of(frame)] += 1


def stack_of(frame: FrameType | None) -> tuple[CodeType, ...]:
    """What is at work in a frame, outermost first."""
    codes = []
    while frame is not None:
        codes.append(frame.f_code)
        frame = frame.f_back
    return tuple(reversed(codes))


def name_of(code: CodeType) -> str:
    """A function by its file within fitsvc and its name; what was generated, and what is beneath, by these words."""
    file = code.co_filename
    if file.startswith("<"):
        return "generated"
    return f"{Path(file).relative_to(FOLDER).as_posix()} {code.co_name}" if file.startswith(str(FOLDER)) else "beneath"
