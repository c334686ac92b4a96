"""Rules being tried at one service: the folder that it answers by, read once, and what a change brings on the store.

What it brings costs more than an answer and is told to one at a time; nobody waits for it: whoever comes meanwhile is
told to ask again, and no thread that answers is held up. To check what is typed takes milliseconds.
"""

from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Final

from fitsvc.audits.foreseen import Foreseen, foresee
from fitsvc.audits.rigs import rigs_and_mountings
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import Drafting
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.selecting import Selections
from fitsvc.store.database import Database
from fitsvc.store.rigs import count_rigs
from fitsvc.store.searching import count_records
from fitsvc.tongues import later, t

MOST_RIGS: Final = 500
"""Saved rigs, then mountings, that a change is held against, in the order of their ids: each takes a millisecond."""
_MOUNTING: Final = "mounting"
_CHANGED: Final = later("the rule files have changed since this service began to answer by them")
_START: Final = later("start the service anew, or publish them, and try the change then")


class TrialBusy(Exception):
    """What a change brings is told to somebody else at this moment."""


@dataclass(frozen=True, slots=True)
class StoreImpact:
    """What a change brings on the store, and how many rigs there are: those that are saved, and mountings.

    `aside` counts those that cannot be asked.
    """

    found: Foreseen
    of_rigs: int
    aside: int


@dataclass(slots=True)
class RuleTrials:
    """The rules that a service answers by, from the folder `rules` or fitsvc's own, where one is tried otherwise."""

    rules: Path | None
    digest: str
    database: Database
    selections: Selections
    _read: Drafting | None = field(default=None, init=False)
    _reading: Lock = field(default_factory=Lock, init=False)
    _foreseeing: Lock = field(default_factory=Lock, init=False)

    def drafting(self) -> Drafting:
        """The folder, read when it is first asked for; ProblemsFound where it is another than is answered by."""
        with self._reading:
            read = self._read = self._read or Drafting(self.rules or data_dir("rules"))
            if read.book.digest != self.digest:
                self._read = None
        if read.book.digest != self.digest:
            raise ProblemsFound([Problem(t(_CHANGED), t(_START))])
        return read

    def impact(self, changed: Rulebook, id: str) -> StoreImpact:
        """What a change of an entry brings on the store; TrialBusy while that is told to somebody else."""
        if not self._foreseeing.acquire(blocking=False):
            raise TrialBusy
        try:
            old, held = self.selections.selector.answerer, self.selections.index.held()
            reader = old.reader if changed.named == old.rulebook.named else FactReader(changed)
            aside: list[Problem] = []
            with self.database.session() as session:
                rigs = rigs_and_mountings(session, reader, aside, most=MOST_RIGS)
                count = count_rigs(session) + count_records(session, _MOUNTING)
            found = foresee(old.columns, changed, id, held, rigs)
            return StoreImpact(found, count, len(aside))
        finally:
            self._foreseeing.release()
