"""Who publishes is killed at a step of it, as by kill -9: two servers of one database answer by old or new, whole.

The commands run in a process of their own, forked from this one, so that a step costs a fraction of a second. It dies
after each statement and commit, and at what the interpreter tells an audit hook of, by day at some of that.
"""

import os
import signal
import sys
from collections import Counter
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from effort import NIGHTLY
from sqlalchemy import event
from sqlalchemy.engine import Engine
from test_rulebook_loader import FILES, write

from fitsvc.cli import main
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import texts_of
from fitsvc.service.published import Published, Served
from fitsvc.store.database import Database
from fitsvc.store.publications import activate, list_publications, publish
from fitsvc.store.written import Write, list_written

STRIDES = {"database": 1 if NIGHTLY else 2, "told": 1 if NIGHTLY else 60}
"""Each which step of a kind is tried."""


class Steps:
    """Counts the steps of this process of each kind, and ends it, as from outside, at one of them."""

    def __init__(self, kind: str, at: int) -> None:
        self.kind, self.at, self.seen = kind, at, Counter[str]()

    def step(self, kind: str) -> None:
        """One step."""
        self.seen[kind] += 1
        if kind == self.kind and self.seen[kind] == self.at:
            os.kill(os.getpid(), signal.SIGKILL)

    def watch(self, dialect: Any) -> None:
        """Watch this process from now on, and what it says to databases of a dialect."""
        event.listen(Engine, "after_cursor_execute", self._at_database)
        commit = dialect.do_commit

        def committed(*given: Any) -> None:
            commit(*given)
            self.step("database")

        dialect.do_commit = committed
        sys.addaudithook(self._told)

    def _at_database(self, *_: object) -> None:
        self.step("database")

    def _told(self, name: str, _: Any) -> None:
        if name in ("open", "compile", "import") or name.startswith(("os.", "sqlite3.", "socket.", "shutil.")):
            self.step("told")


def publisher(database: Database, url: str, folder: Path, digest: str, kind: str, at: int) -> bool:
    """Publish a folder and bring it into force in a process of its own; give whether it came to its end."""
    pid = os.fork()
    if not pid:
        done = 1
        try:
            with Path(os.devnull).open("w") as nobody:
                sys.stdout = sys.stderr = nobody
                Steps(kind, at).watch(type(database._engine.dialect))
                done = main(["rules", "publish", str(folder), "--database", url])
                done |= main(["rules", "activate", digest, "--because", "better", "--database", url])
        finally:
            os._exit(done)
    _, status = os.waitpid(pid, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
    return not os.WIFSIGNALED(status)


def titled(folder: Path, title: str) -> Path:
    """A small rulebook of its own digest."""
    text = FILES["coupling.yaml"].replace("title: The shank fits", f"title: {title}")
    return write(folder, {"coupling.yaml": text})


def test_who_publishes_is_killed_at_a_step(
    database: Database, database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both servers read the same rulebook, old or new, and whoever publishes it again comes to the end.

    A publication that nobody finished is there whole or not at all, and each write is in the log once it is done.
    """

    def bare(rules: Path | None) -> Served:
        return Served(SimpleNamespace(rulebook=cached_rulebook(rules or Path())), rules)  # type: ignore[arg-type]  # what is read of settings here is the rulebook alone

    monkeypatch.setattr("fitsvc.service.published.served_by", bare)
    monkeypatch.setattr("fitsvc.cli.rules_published._tried", cached_rulebook)
    old, numbers = titled(tmp_path / "old", "old"), count()
    held, write_ = cached_rulebook(old).digest, Write(by="a test")
    with database.session() as session:
        publish(session, held, "small", texts_of(old), write_)
        activate(session, held, write_, "first")
    below = [tmp_path / "one", tmp_path / "two"]
    for one in below:
        one.mkdir()
    servers = [Published(database, one) for one in below]

    def new() -> tuple[Path, str]:
        folder = titled(tmp_path / f"new{next(numbers)}", f"new {next(numbers)}")
        return folder, cached_rulebook(folder).digest

    folder, before = new()
    warm = ["rules", "publish", str(folder), "--database", database_url]
    assert main(warm) == 0  # or each process would import anew what is needed for it
    assert publisher(database, database_url, folder, before, "", 0)
    outcomes = Counter[bool]()

    def tried(kind: str, at: int) -> bool:
        nonlocal before
        folder, digest = new()
        ended = publisher(database, database_url, folder, digest, kind, at)
        found = {server.first().digest for server in servers}
        assert len(found) == 1 and found <= {before, digest}, (kind, at)
        with database.session() as session:
            kept = [one.files for one in list_publications(session) if one.digest == digest]
            acts = [line.act for line in list_written(session, limit=1000) if line.key == digest]
        assert kept in ([], [texts_of(folder)]), (kind, at)
        assert acts == ["publishes", "activates"][: len(kept) + (found == {digest})], (kind, at)
        outcomes[found == {digest}] += not ended
        assert ended or publisher(database, database_url, folder, digest, "", 0)
        assert {server.first().digest for server in servers} == {digest}
        before = digest
        return ended

    for kind, stride in STRIDES.items():
        at = stride
        while not tried(kind, at):
            at += stride
        if kind == "database":  # the last step too, whichever it is: by then it is in force
            tried(kind, at - 1)
    assert outcomes[False] > 3 and outcomes[True] > 0, outcomes
