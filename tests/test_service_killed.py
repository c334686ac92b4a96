"""A rulebook is changed over on two servers, processes of their own, and one is killed at a step of it, as by kill -9.

At night alone, `conftest.py` passes it over by day: a server takes seconds to begin for each step, and
`test_service_changeover.py` lets every step fail within one process. A step is whatever the interpreter tells an audit
hook of: a file that is opened, moved or listed, a module that is imported, code that is compiled.
"""

import json
import os
from functools import partial
from http.client import HTTPException
from pathlib import Path

import pytest
from changed_rules import changed
from served import Served, ask
from test_service_changeover import SHELL, put
from waiting import until

from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.service.published import Published
from fitsvc.store.database import Database
from fitsvc.store.publications import activate

STEPS = range(1, 2_400, 80)
HOOK = """
import os, signal, sys
armed, at, seen = os.environ["TEST_ARMED"], int(os.environ["TEST_STEP"]), [0]
def hook(event, arguments):
    if at and (event in ("open", "compile", "import") or event.startswith("os.")) and os.path.exists(armed):
        seen[0] += 1
        if seen[0] == at:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(hook)
"""
MARK = b"As changed, "


class Pair:
    """Two servers of one database, of which one is killed at a step once a file is there."""

    def __init__(self, url: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.url, self.folder, self.patch, self.armed = url, folder, monkeypatch, folder / "armed"
        (folder / "sitecustomize.py").write_text(HOOK)
        monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(folder), *filter(None, [os.environ.get("PYTHONPATH")])]))
        monkeypatch.setenv("TEST_ARMED", str(self.armed))
        self.begun: list[Served] = []

    def begin(self, step: int) -> int:
        """Start a server that dies at a step, or at none of them, and give its port."""
        self.patch.setenv("TEST_STEP", str(step))
        number = len(self.begun)
        self.begun.append(Served(self.url, self.folder / f"{number}.log", audits=self.folder / f"audits{number}"))
        return self.begun[-1].port()

    def end(self) -> None:
        """Leave nothing running."""
        for one in self.begun:
            one.end()


def answered_by(port: int, changed_one: str) -> str:
    """The digest that an answer names; all of it is by that rulebook, which the changed text tells."""
    status, body = ask(port)
    assert status == 200, body
    digest = str(json.loads(body)["rulebook"]["digest"])
    assert (MARK in body) == (digest == changed_one)
    return digest


def is_over(port: int, digests: list[str], wanted: str) -> bool:
    """Whether a server answers by the rulebook that is wanted, or no more; until then it answers by the one before."""
    try:
        found = answered_by(port, digests[0])
    except (OSError, HTTPException):
        return True
    assert found in digests
    return found == wanted


def test_one_of_two_servers_is_killed_at_a_step(
    url: str, sqlite: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until it dies it answers by old or new, the other gets there, and whoever begins anew answers by the new one."""
    new = changed(tmp_path / "new", "coupling.yaml", "title: ", f"title: {MARK.decode()}")
    digests = [put(sqlite, new), cached_rulebook(data_dir("rules")).digest]
    put(sqlite, data_dir("rules"))
    pair = Pair(url, tmp_path, monkeypatch)
    killed = 0
    try:
        other = pair.begin(0)
        for number, step in enumerate(STEPS):
            wanted, before = digests[number % 2], digests[1 - number % 2]
            victim = pair.begin(step)
            assert answered_by(victim, digests[0]) == answered_by(other, digests[0]) == before
            pair.armed.touch()
            with sqlite.session() as session:
                activate(session, wanted, SHELL, "a reason")

            until(partial(is_over, victim, digests, wanted), "the server to die, or to change over")
            until(partial(is_over, other, digests, wanted), "the other to change over")
            assert answered_by(other, digests[0]) == wanted
            pair.armed.unlink()
            killed += pair.begun[-1].process.poll() is not None
            pair.begun[-1].end()
            (tmp_path / "again").mkdir(exist_ok=True)
            assert Published(sqlite, tmp_path / "again").first().digest == wanted
        assert killed >= len(STEPS) / 2
    finally:
        pair.end()
