"""The rules of a folder as they are served: a copy of it, and another one whenever a signal or a caller asks for it.

What is served is the copy, whoever writes in the folder meanwhile. All processes of a service change over to the same
one: a file beside the copies names it, written whole. One that cannot be read is refused, and the one before goes on.
"""

import logging
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Final

from fitsvc.answers.answering import Answerer
from fitsvc.caching import LruCache
from fitsvc.files import write_text
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.dating import frozen, today
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.service.published import MOST_EARLIER, EarlierRulebook, Served, own_earlier, served_by
from fitsvc.store.tables import Pull

MOST_KEPT: Final = 16
"""Copies; what an audit was begun by may be a few back, and each is some megabytes."""
_MOST_TOLD: Final = 3
_PREFIX: Final = "sha256:"
_NOW: Final = "now"
"""The file that names the copy that holds."""
_REFUSED: Final = "refused"
"""The file that says why the folder as it was last read is not served; empty where it is."""
_log = logging.getLogger("fitsvc.service")


class FolderRules:
    """The rulebook in a folder of rules, with its copies in a folder below which is the service's own."""

    def __init__(self, rules: Path, below: Path) -> None:
        self._rules, self._below = rules, below
        self._asked = self._reading = False
        self._one = Lock()
        self._earlier = LruCache[str, EarlierRulebook](MOST_EARLIER)

    def first(self) -> Served:
        """Take a copy to begin with; ProblemsFound where it cannot be read."""
        return served_by(self._take())

    def ask(self, *_: object) -> None:
        """Have the folder read anew when it is next looked what holds, since nothing may wait for a signal."""
        self._asked = True

    def reread(self, *_: object) -> None:
        """Take another copy, which then holds, if it can be read; else the one before goes on, and why is logged."""
        self._asked = True
        if self._reading:  # a signal that came while the one before it was seen to
            return
        while self._asked:  # once more where it came between the last look and the end
            self._reading = True
            try:
                while self._asked:
                    self._asked = False
                    self._reread()
            finally:
                self._reading = False

    def _reread(self) -> None:
        before = self._told(_NOW)
        try:
            name = self._take().name
            write_text(self._below / _REFUSED, "")
        except (ProblemsFound, OSError) as error:
            found = error.problems if isinstance(error, ProblemsFound) else (error,)
            told = [str(one).splitlines()[0] for one in found]
            more = f"; and {len(told) - _MOST_TOLD} more" if len(told) > _MOST_TOLD else ""
            why = f"the rules in {self._rules} cannot be served: {'; '.join(told[:_MOST_TOLD])}{more}"
            _log.error("%s", why)
            with suppress(OSError):
                write_text(self._below / _REFUSED, why)
            return
        same = ", which mean what they did" if name == before else ""
        _log.info("the rules in %s are read: %s%s%s", self._rules, _PREFIX, name, same)

    def in_force(self) -> str | None:
        """The digest that holds now."""
        with self._one:
            if self._asked:
                self.reread()
        return _PREFIX + self._told(_NOW)

    def load(self, digest: str) -> Served | None:
        """What answers by a copy; None where there is none of that digest."""
        folder = self._below / digest.removeprefix(_PREFIX)
        return served_by(folder) if folder.is_dir() else None

    def keeps(self, digest: str) -> bool:
        """Whether there is a copy of a digest."""
        return (self._below / digest.removeprefix(_PREFIX)).is_dir()

    @property
    def refused(self) -> dict[str, str]:
        """Why the folder as it was last read is not served, by the digest of what is served in its place."""
        why = self._told(_REFUSED)
        return {_PREFIX + self._told(_NOW): why} if why else {}

    def earlier(self, digits: str) -> EarlierRulebook | None:
        """The rulebook of a copy whose digest has these first digits; when it was made nobody says."""
        found = [path for path in self._below.iterdir() if path.is_dir() and path.name.startswith(digits)]
        if len(found) != 1:
            return own_earlier(digits)
        return self._earlier.get(found[0].name, lambda: EarlierRulebook(Answerer(cached_rulebook(found[0])), None))

    def pulled(self) -> Pull | None:
        """None: such rules are not pulled."""
        return None

    def _take(self) -> Path:
        """Copy the folder, and let the copy hold, which is named by its digest; ProblemsFound as above."""
        with tempfile.TemporaryDirectory(dir=self._below) as beside:
            copy = Path(beside, self._rules.resolve().name)  # problems tell the folder by its name
            lay_out(frozen(texts_of(self._rules), today()), copy)
            folder = self._below / cached_rulebook(copy).digest.removeprefix(_PREFIX)
            if folder.is_dir():
                os.utime(folder)
            else:
                _put(copy, folder)
        write_text(self._below / _NOW, folder.name)
        copies = sorted(
            (path for path in self._below.iterdir() if path.is_dir()), key=lambda path: path.stat().st_mtime
        )
        for old in copies[:-MOST_KEPT]:
            shutil.rmtree(old, ignore_errors=True)
        return folder

    def _told(self, name: str) -> str:
        path = self._below / name
        return path.read_text("utf-8") if path.is_file() else ""


def _put(copy: Path, folder: Path) -> None:
    """Let a copy stand in its place, which another process may have taken with the same one by now."""
    try:
        copy.rename(folder)
    except OSError:
        if not folder.is_dir():
            raise
