"""Rulebooks pulled from an address or a folder, for shops without hands: whole when they are sound, or not at all.

A server looks now and then, in a process of its own, so that no request waits for it and nothing that is wrong with a
release can end the server. Whatever fails, what was in force goes on.
"""

import logging
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from threading import Event, Thread
from time import monotonic
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import RULES_VARIABLE
from fitsvc.rulebook.folder import lay_out
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service import publishing
from fitsvc.service.fetching import Fetched, Validators, fetch, told_as
from fitsvc.service.metrics import Metrics
from fitsvc.service.releases import Release, read_release, refuse_untimely
from fitsvc.service.signatures import Trusted
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.store.publications import activate, in_force, publish
from fitsvc.store.pulls import (
    HELD_FOR,
    TakenRelease,
    begin_pull,
    hold_pull,
    newest_release,
    note_failed_pull,
    note_taken,
    note_unchanged,
    rest,
)
from fitsvc.store.tables import NAME, Publication, Pull, now
from fitsvc.store.written import Write

SOURCE_VARIABLE: Final = "FITSVC_PULL"
KEYS_VARIABLE: Final = "FITSVC_SIGNED_BY"
_EVERY: Final = 1.0
"""Seconds between two looks at whose turn it is, each of one row."""
_LONGEST: Final = HELD_FOR.total_seconds() - 60
_log = logging.getLogger("fitsvc.service")


@dataclass(frozen=True, slots=True)
class PullFrom:
    """Where a server pulls from, how often, and the keys of which one must have signed."""

    source: str
    every: timedelta
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pulled:
    """A release that was taken: its rulebook's name and digest, when it was made, and from when on it holds."""

    name: str
    digest: str
    made_at: datetime
    holds_from: datetime


def require_keys(keys: Sequence[str]) -> Trusted:
    """The keys that are trusted; ProblemsFound without one, since what is pulled is trusted for nothing else."""
    if not keys:
        help = "name the key that `fitsvc rules key` printed where they are made: `--signed-by ed25519:...`"
        raise ProblemsFound([Problem("rules that are pulled must be signed by a key that you trust", help)])
    return Trusted(keys)


def pull(database: Database, source: str, trusted: Trusted) -> Pulled | None:
    """Take what a source offers, and let it be in force; None where it offers nothing new.

    It is held to all that a publication is. ProblemsFound or StoreError where it cannot be taken, which is kept for
    whoever looks at the service's health; what was in force goes on.
    """
    require_keys(trusted.names)
    with database.session() as session:
        kept = begin_pull(session, source)
        held = session.get(Publication, kept.digest) if kept.digest else None
        # What another key has signed is read once more, and so refused in words, be it the same as it was.
        is_trusted = held is None or not trusted.why_not(held.digest, held.files, held.signatures)
        known = Validators(kept.tag, kept.modified) if is_trusted else Validators()
    try:
        return _pull(database, source, trusted, known)
    except (ProblemsFound, StoreError, ValueError) as error:
        found = error.problems if isinstance(error, ProblemsFound) else [Problem(str(error))]
        with database.session() as session:
            note_failed_pull(session, source, "; ".join(one.message for one in found))
        raise ProblemsFound(found) from None


def _pull(database: Database, source: str, trusted: Trusted, known: Validators) -> Pulled | None:
    fetched = fetch(source, known)
    if fetched is None:
        with database.session() as session:
            note_unchanged(session, source)
        return None
    release = read_release(fetched.body, trusted)
    with database.session() as session:
        newest, digest = newest_release(session)
    refuse_untimely(release, newest, digest)
    is_known = release.made_at == newest
    rulebook = None if is_known else _sound(database, release, trusted)
    return _taken(database, source, trusted, release, fetched, rulebook)


def _sound(database: Database, release: Release, trusted: Trusted) -> Rulebook:
    """The rulebook of a release, checked as one that is published here; ProblemsFound where it is not to be taken."""
    with tempfile.TemporaryDirectory() as below:
        folder = Path(below, "rules")
        lay_out(release.files, folder)
        rulebook, problems = publishing.tried(folder)
        if rulebook.digest != release.digest:
            help = "release it with this version of fitsvc, or bring this one up to date"
            raise ProblemsFound([Problem(f"it reads as {rulebook.digest} here, not as {release.digest}", help)])
        problems = problems or publishing.unsigned_here(database, rulebook, Path(below), trusted, theirs=True)
        if problems:
            raise ProblemsFound(problems)
    return rulebook


def _taken(
    database: Database, source: str, trusted: Trusted, release: Release, fetched: Fetched, rulebook: Rulebook | None
) -> Pulled | None:
    """Publish a release, let it be in force and keep that it was taken, all in one transaction."""
    write = Write(by=f"pulled from {told_as(source)}"[:NAME])
    marks = {"tag": fetched.validators.tag, "modified": fetched.validators.modified}
    with database.session() as session:
        note_taken(session, source, TakenRelease(digest=release.digest, made_at=release.made_at, **marks))
        if rulebook is None:
            return None
        held = session.get(Publication, release.digest)
        if held is None or trusted.why_not(held.digest, held.files, held.signatures):
            publish(session, release.digest, rulebook.name, release.files, write, release.of_files)
        begins = now()
        later = release.holds_from if release.holds_from and release.holds_from > begins else None
        if later is not None or in_force(session, begins)[:1] != [release.digest]:
            because = f"released at {release.made_at:%Y-%m-%d %H:%M:%S} UTC"
            begins = activate(session, release.digest, write, because, later).holds_from
    return Pulled(rulebook.name, release.digest, release.made_at, begins)


class Pulling:
    """The thread of a server that looks whose turn it is; servers of one store, and their processes, take turns."""

    def __init__(self, database: Database, from_: PullFrom, metrics: Metrics) -> None:
        self._database, self._from, self._metrics = database, from_, metrics
        told = {"FITSVC_DATABASE_URL": database.url, RULES_VARIABLE: "", SOURCE_VARIABLE: from_.source}
        self._environment = {**os.environ, **told, KEYS_VARIABLE: " ".join(from_.keys)}
        self._stopping = Event()
        self._thread = Thread(target=self._look, name="pulling", daemon=True)

    def __enter__(self) -> None:
        """Begin to look."""
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        """Look no more; a pull that is under way is ended, and leaves things as they were."""
        self._stopping.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._stopping.wait(_EVERY):
            try:
                self.turn()
            except Exception:  # a store that is away for a while; what answers goes on
                _log.exception("the rules could not be pulled")

    def turn(self) -> None:
        """Look at the source, if it is this server's turn, and count how things stand."""
        source = self._from.source
        with self._database.session() as session:
            stands = begin_pull(session, source)
            before, is_ours = stands.due_at, hold_pull(session, source)
        if is_ours:
            how = self._run()
            with self._database.session() as session:
                stands = begin_pull(session, source)
                if stands.due_at == before and not self._stopping.is_set():
                    note_failed_pull(session, source, how)
                stands = rest(session, source, self._from.every)
            self._say(stands)
        self._metrics.pulled(stands.attempts, stands.looked_at, stands.made_at)

    def _run(self) -> str:
        """Pull in a process of its own; returns how it ended, for where it could not say so itself."""
        command = [sys.executable, "-m", "fitsvc", "rules", "pull"]
        quiet = subprocess.DEVNULL
        process = subprocess.Popen(command, env=self._environment, stdin=quiet, stdout=quiet)
        end = monotonic() + _LONGEST
        while process.poll() is None and monotonic() < end and not self._stopping.wait(_EVERY / 10):
            pass
        if process.poll() is None:
            process.kill()
            process.wait()
            return f"it took longer than {_LONGEST / 60:g} min"
        return f"its process ended with {process.returncode}"

    def _say(self, stands: Pull) -> None:
        if stands.failure:
            said = "%s: no rules could be taken from there, attempt %d: %s"
            _log.warning(said, told_as(stands.source), stands.attempts, stands.failure)
