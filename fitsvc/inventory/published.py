"""Rulebooks that are published in a store, read from what is kept of them."""

import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import lay_out
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.database import Database
from fitsvc.store.publications import in_force, published
from fitsvc.store.tables import now

WhyNot = Callable[[str, Mapping[str, str], Mapping[str, str]], str]
"""Why a publication is not to be answered by, from its digest, files and signatures; empty where it may be."""
HELP = "publish rules that this version of fitsvc reads, signed where it must be"
"""What to do where what is in force cannot be read."""


@dataclass(frozen=True, slots=True)
class Unserved:
    """A published rulebook that was in force and cannot be read here, and why."""

    digest: str
    why: str

    def __str__(self) -> str:
        return f"the published rulebook {self.digest} cannot be served: {self.why}"


def laid_out(database: Database, digest: str, below: Path, why_not: WhyNot) -> Path:
    """The folder below another with a publication's files, whole from the moment that it is there.

    ValueError where it is not to be answered by, or names a path that is no rule file's.
    """
    folder = below / digest.partition(":")[2]
    if not folder.is_dir():
        with database.session() as session:
            held = published(session, digest)
            files, signatures = held.files, held.signatures
        if why := why_not(digest, files, signatures):
            raise ValueError(why)
        beside = Path(tempfile.mkdtemp(dir=below))
        lay_out(files, beside)
        beside.rename(folder)
    return folder


def rulebook_in_force(database: Database, below: Path, why_not: WhyNot, told: list[Unserved]) -> Rulebook | None:
    """The rulebook that servers on a database begin with: the one in force, or the last before it that can be read.

    None where none was ever in force. What was passed over is `told`; ProblemsFound where that is all there were.
    """
    with database.session() as session:
        held = in_force(session, now())
    for digest, found in _read(database, held, below, why_not):
        if isinstance(found, Rulebook):
            return found
        told.append(Unserved(digest, found))
    if told:
        raise ProblemsFound([Problem(str(told[0]), HELP)])
    return None


def _read(database: Database, digests: list[str], below: Path, why_not: WhyNot) -> Iterator[tuple[str, Rulebook | str]]:
    """Each rulebook, or why it cannot be read here."""
    for digest in digests:
        try:
            found = cached_rulebook(laid_out(database, digest, below, why_not))
        except (ProblemsFound, ValueError) as error:
            yield digest, str(error)
            continue
        yield digest, found if found.digest == digest else f"it reads as {found.digest} here"
