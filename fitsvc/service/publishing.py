"""What a folder of rules must be before it is published: checked, its examples kept, and signed for where it is looser.

The signature here is a person's name in `signed.yaml`, for what says yes to more; see `signatures` for that of a key.
"""

from collections.abc import Sequence
from pathlib import Path

from fitsvc.answers.saying import Teller
from fitsvc.audits.impact import impact_on_store, unsigned
from fitsvc.engine.broken import broken
from fitsvc.engine.compared import compare_examples
from fitsvc.engine.examples import run_examples
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.translated import words_at_fault
from fitsvc.service.published import Published
from fitsvc.service.signatures import Trusted
from fitsvc.store.database import Database
from fitsvc.store.records import list_records
from fitsvc.store.rigs import count_rigs

_ANYBODY = Trusted()


def tried(folder: Path) -> tuple[Rulebook, Sequence[Problem]]:
    """The rulebook in a folder, and what is wrong with its examples and texts; ProblemsFound where it is none."""
    rulebook = cached_rulebook(folder)
    ran = run_examples(Point(rulebook), FactReader(rulebook))
    return rulebook, [*broken(ran, folder), *Teller(rulebook).unknown_told(), *words_at_fault(rulebook, folder)]


def unsigned_here(
    database: Database, new: Rulebook, below: Path, trusted: Trusted = _ANYBODY, *, theirs: bool = False
) -> Sequence[Problem]:
    """What says yes to more than the rulebook that servers go by, on examples or the store, and nobody has signed for.

    The rulebook in force is laid out in a folder of its own `below`. `theirs` are rules that others release, who have
    looked at examples and put their key to it: those are held to this store alone.
    """
    (below / "held").mkdir()
    old = Published(database, below / "held", trusted).first().answerer.rulebook
    if old.digest == new.digest:
        return []
    looser = [] if theirs else compare_examples(old, new).looser()
    with database.session() as session:
        if count_rigs(session) or list_records(session, "mounting", limit=1):
            looser += impact_on_store(old, new, session).looser()
    return unsigned(looser, old, new, theirs=theirs)
