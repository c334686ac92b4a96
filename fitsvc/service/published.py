"""Which rulebook a service answers by: a folder's, or the one that is in force among those published in its store.

One that cannot be read here, as by another version of fitsvc, is refused, and the one before it goes on.
"""

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Final, Protocol

from fitsvc.answers.answering import Answerer
from fitsvc.caching import LruCache
from fitsvc.inventory.published import HELP, Unserved, laid_out
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.planning.planner import Planner
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.service.signatures import Trusted
from fitsvc.service.speaking import spoken_tongues
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.store.publications import in_force, is_published, published
from fitsvc.store.pulls import last_pull
from fitsvc.store.tables import Pull, now
from fitsvc.tongues import speaking

_ANYBODY: Final = Trusted()
MOST_EARLIER: Final = 2
"""Rulebooks of earlier answers that are ready to be asked: each is as large as the one that answers."""
_OWN: Final = LruCache[str, "EarlierRulebook"](1)
_log = logging.getLogger("fitsvc.service")


@dataclass(frozen=True, slots=True)
class Served:
    """A rulebook that a service answers by: its answerer, and the folder that it was read from, if not fitsvc's own."""

    answerer: Answerer
    rules: Path | None

    @property
    def digest(self) -> str:
        """The rulebook's."""
        return self.answerer.rulebook.digest


def served_by(rules: Path | None) -> Served:
    """The rulebook in a folder, or fitsvc's own, ready to answer."""
    answerer = Answerer(cached_rulebook(rules or data_dir("rules")))
    answerer.prepare()
    Planner(answerer).prepare()
    for one in spoken_tongues(rules).values():
        with speaking(one):
            answerer.spoken.prepare()
    return Served(answerer, rules)


@dataclass(frozen=True, slots=True)
class EarlierRulebook:
    """A rulebook that was answered by, and when it was published, if it was."""

    answerer: Answerer
    published_at: datetime | None

    @property
    def digest(self) -> str:
        """The rulebook's."""
        return self.answerer.rulebook.digest


class Followed(Protocol):
    """What says which rulebook a service is to answer by, and has it ready."""

    @property
    def refused(self) -> Mapping[str, str]:
        """Why a digest cannot be served here."""

    def ask(self, *_: object) -> None:
        """Have what is served read anew when it is next looked what holds, where nobody looks at it all the time."""

    def in_force(self) -> str | None:
        """The digest that holds now; None where nothing says one."""

    def load(self, digest: str) -> Served | None:
        """The rulebook of a digest, ready to answer; None where it cannot be read here."""

    def keeps(self, digest: str) -> bool:
        """Whether the rulebook of a digest is kept here."""

    def earlier(self, digits: str) -> EarlierRulebook | None:
        """The rulebook of which a digest has these first digits, eight or more; None where it is not kept here."""

    def pulled(self) -> Pull | None:
        """How it stands with rules that are pulled; None where they are not."""


def own_earlier(digits: str) -> EarlierRulebook | None:
    """fitsvc's own rulebook, if its digest has these first digits."""
    own = cached_rulebook(data_dir("rules"))
    return (
        _OWN.get(own.digest, lambda: EarlierRulebook(Answerer(own), None))
        if digits_are_of(digits, own.digest)
        else None
    )


@cache
def own_digest() -> str:
    """The digest of fitsvc's own rulebook."""
    return cached_rulebook(data_dir("rules")).digest


def digits_are_of(digits: str, digest: str) -> bool:
    """Whether a digest has these first digits."""
    return digest.partition(":")[2].startswith(digits)


class Published:
    """The rulebooks published in a store, of which each that is served is laid out below a folder.

    One that none of the `trusted` keys has signed is refused, where there are such.
    """

    def __init__(self, database: Database, below: Path, trusted: Trusted = _ANYBODY) -> None:
        self._database, self._below, self._trusted = database, below, trusted
        self._refused: dict[str, str] = {}
        self._earlier = LruCache[str, EarlierRulebook](MOST_EARLIER)

    @property
    def refused(self) -> Mapping[str, str]:
        """Why a digest cannot be served here."""
        return self._refused

    def ask(self, *_: object) -> None:
        """Nothing: the store is read whenever it is looked what holds."""

    def in_force(self) -> str | None:
        """The digest that holds now; None where none was ever published."""
        held = self._held()
        return held[0] if held else None

    def pulled(self) -> Pull | None:
        """How it stands with rules that are pulled; None where they are not."""
        with self._database.session() as session:
            return last_pull(session)

    def first(self) -> Served:
        """What to begin with: the rulebook in force, or the last before it that can be read; else fitsvc's own.

        ProblemsFound where rulebooks were published, and none of them can be read.
        """
        held = self._held()
        for digest in held:
            if (found := self.load(digest)) is not None:
                return found
        if held:
            raise ProblemsFound([Problem(self.refused[held[0]], HELP)])
        return served_by(None)

    def load(self, digest: str) -> Served | None:
        """A published rulebook, ready to answer; None where it cannot be read here, which is told once."""
        if digest in self.refused:
            return None
        try:
            found = served_by(self._laid_out(digest))
        except (ProblemsFound, ValueError) as error:
            self._refuse(digest, str(error))
            return None
        if found.digest != digest:
            self._refuse(digest, f"it reads as {found.digest} here")
            return None
        return found

    def keeps(self, digest: str) -> bool:
        """Whether the rulebook of a digest was published."""
        with self._database.session() as session:
            return is_published(session, digest)

    def earlier(self, digits: str) -> EarlierRulebook | None:
        """The rulebook of which a digest has these first digits: a published one, or else fitsvc's own."""
        with self._database.session() as session:
            try:
                held = published(session, digits)
                digest, at = held.digest, held.at
            except StoreError:  # none, or more than one
                return own_earlier(digits)
        try:
            found = self._earlier.get(
                digest, lambda: EarlierRulebook(Answerer(cached_rulebook(self._laid_out(digest))), at)
            )
        except (ProblemsFound, ValueError, OSError):
            return None
        return found if found.digest == digest else None

    def _held(self) -> list[str]:
        with self._database.session() as session:
            return in_force(session, now())

    def _laid_out(self, digest: str) -> Path:
        return laid_out(self._database, digest, self._below, self._trusted.why_not)

    def _refuse(self, digest: str, why: str) -> None:
        self._refused[digest] = str(Unserved(digest, why))
        _log.error("%s", self._refused[digest])
