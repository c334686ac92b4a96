"""Several processes that answer on one address: begun, watched, replaced when one dies, and ended together."""

import logging
import os
import signal
import sys
from collections.abc import Callable
from threading import Thread
from time import monotonic, sleep
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound

_SOON: Final = 5.0
"""Seconds: a worker that dies sooner did not get as far as to answer, and neither will one in its place."""
_MOST_SOON: Final = 3
_PAUSE: Final = 0.5
"""Seconds before another is begun in the place of one that died at once."""
HANGUP: Final = getattr(signal, "SIGHUP", None)
"""The signal by which services are told to read what they go by anew; there is none on Windows."""
_log = logging.getLogger("fitsvc.service")


def together(
    count: int,
    work: Callable[[], None],
    ended: Callable[[int], object],
    reread: Callable[..., None] | None = None,
) -> None:
    """Do some work in so many processes, until SIGTERM or SIGINT ends them all; whatever `work` raises ends its own.

    Nothing may run beside the thread that calls this, since each process begins as a copy of it. A process that has
    `ended` is told by its id. With something that SIGHUP has `reread` it does that here, once
    for all. ProblemsFound when workers die as soon as they are begun.
    """
    workers = _Workers(work)
    before = {number: signal.signal(number, workers.stop) for number in (signal.SIGTERM, signal.SIGINT)}
    if reread and HANGUP:
        before[HANGUP] = signal.signal(HANGUP, reread)
    try:
        for _ in range(count):
            workers.begin()
        workers.watch(ended)
    finally:
        workers.stop()
        for number, handler in before.items():
            signal.signal(number, handler)


class _Workers:
    """The processes, each with when it was begun."""

    def __init__(self, work: Callable[[], None]) -> None:
        self._work, self._begun = work, dict[int, float]()
        self._stopping = False
        self._held, self._holds = os.pipe()

    def begin(self) -> None:
        """Begin one."""
        sys.stdout.flush()
        sys.stderr.flush()
        pid = os.fork()
        if pid:
            self._begun[pid] = monotonic()
        else:
            self._be_one()

    def _be_one(self) -> None:
        """Be a worker, to its end; it ends too when the process that watches is gone, however that came to be."""
        code = 1
        try:
            os.close(self._holds)
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, signal.SIG_DFL)
            if HANGUP and callable(signal.getsignal(HANGUP)):
                signal.signal(HANGUP, signal.SIG_IGN)  # who watches rereads for all
            Thread(target=_end_with, args=(self._held,), daemon=True).start()
            self._work()
            code = 0
        except BaseException:
            _log.exception("a worker cannot go on")
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)

    def stop(self, *_: object) -> None:
        """End all of them; they finish what has begun."""
        self._stopping = True
        for pid in self._begun:
            os.kill(pid, signal.SIGTERM)

    def watch(self, ended: Callable[[int], object]) -> None:
        """Wait until all have ended, and begin another in the place of one that was not told to."""
        soon = 0
        while self._begun:
            pid, status = os.wait()
            begun = self._begun.pop(pid, None)
            if begun is None:
                continue
            ended(pid)
            if self._stopping:
                continue
            soon = soon + 1 if monotonic() - begun < _SOON else 0
            told = os.waitstatus_to_exitcode(status)
            if soon > _MOST_SOON:
                said = f"a worker ended with {told} as soon as it was begun, {soon} times in a row"
                raise ProblemsFound([Problem(said, "its log says why")])
            _log.error("a worker ended with %s; another is begun in its place", told)
            sleep(_PAUSE if soon else 0)
            if not self._stopping:
                self.begin()


def _end_with(held: int) -> None:
    """Wait until the other end of a pipe is closed, as it is when its process is gone, and end this one."""
    os.read(held, 1)
    os.kill(os.getpid(), signal.SIGTERM)
