"""What the stages of an audit share: the task, and what a process makes of it to work on it."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from fitsvc.audits.blocks import Kernel
from fitsvc.audits.missing import OpenFacts
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.spool import Spool
from fitsvc.document import Json
from fitsvc.rulebook.rules import Rulebook
from fitsvc.tongues import ENGLISH, Tongue, speaking

Progress = Callable[[str, int, int], None]
"""Told of a stage's name, how much of it is done, and how much there is (0 where that is not known)."""


@dataclass(frozen=True, slots=True)
class Shares:
    """How the memory of one process is shared out: items in a block, pairs in a part, bytes of results kept; and how
    many processes there may be.
    """

    rows: int
    pairs: int
    kept: int
    processes: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """All that a process needs to judge blocks of an audit.

    `rulebook` has its texts in the language of the audit; by `reading`, whose words for kinds are those of files in any
    language, cells are read.
    """

    out: Path
    run: Mapping[str, Json]
    format: str
    rulebook: Rulebook
    reading: Rulebook
    rigs: Sequence[AuditRig]
    shares: Shares
    tongue: Tongue | None = None

    def spoken(self) -> AbstractContextManager[None]:
        """Speak the language in which the audit is told, whichever process is at work on it."""
        return speaking(self.tongue or ENGLISH)


class AuditState:
    """A task in the hands of one process: its folder, and the rulebook ready to judge."""

    def __init__(self, task: Task) -> None:
        self.task, self.rigs, self.out = task, task.rigs, task.out
        self.spool = Spool(task.out, task.run)
        # What is kept is kept twice, for bare receivers and for those with adapters in them.
        self.kernel = Kernel(task.rulebook, task.shares.kept // 2)
        self.facts = OpenFacts(self.kernel)

    def groups(self, rows: int) -> list[range]:
        """The rigs in groups of which each makes one part with a block of so many items."""
        size = max(1, self.task.shares.pairs // rows)
        return [range(start, min(start + size, len(self.rigs))) for start in range(0, len(self.rigs), size)]
