"""What selections of one service share: the index over its store, opened beside its start, and the selector."""

import logging
from pathlib import Path
from threading import Event, Thread
from typing import Final

from sqlmodel import Session

from fitsvc.answers.answering import Answerer
from fitsvc.answers.records import NoRecords
from fitsvc.answers.remedies import MOST_TOLD
from fitsvc.answers.shelf import Folds, Item
from fitsvc.caching import LruCache
from fitsvc.facts import Case
from fitsvc.inventory.changes import newest
from fitsvc.language.types import Value
from fitsvc.observing.worklist import Waited, learnable, waited
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.selection.files import IndexFolder
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.matrix import Matrix
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import Snapshot
from fitsvc.selection.selector import NamedItems, Selector, read_rig
from fitsvc.selection.shelved import shelved
from fitsvc.selection.waiting import Waiting, Waits
from fitsvc.service.problems import problem
from fitsvc.store.database import Database
from fitsvc.store.records import list_records
from fitsvc.tongues import t

_MOST_TAGS: Final = 10_000
"""Entity tags of pages that are kept, a hundred bytes each: who has a page is told so without its being made."""
_LARGE: Final = 50_000
"""Accessories from which on what a plan with adapters needs is made ready at the start."""
_PAUSE_SECONDS: Final = 5.0
_MOST_LISTS: Final = 2
"""Of so many states of the store it is kept what its yard waits for: of the last, while another is being made."""
_log = logging.getLogger("fitsvc.service")


class Selections:
    """What the handlers of one service share: the index over its store, the selector, and what rigs wait for.

    With a folder for the index it is opened when the service starts, beside whatever else is asked of it.
    """

    def __init__(self, answerer: Answerer, database: Database, index_in: Path | None = None) -> None:
        folder = IndexFolder(index_in, database, answerer.rulebook.digest) if index_in else None
        self.selector, self.waiting = Selector(answerer), Waiting(answerer)
        self.matrix = Matrix(self.selector)
        self.tags = LruCache[str, str](_MOST_TAGS)
        self._database = database
        self.index = SelectionIndex(answerer, database, folder=folder, waits=False)
        self._yards = LruCache[tuple[str, int], Waited](_MOST_LISTS)
        self._folded: tuple[Snapshot, Folds] | None = None
        self._opens, self._opened, self._ended = folder is not None, Event(), Event()

    def best(self, case: Case, kind: Value) -> list[Item]:
        """The accessories of a kind that do best in a case in place of its own: enough for its remedies."""
        return self.selector.best(self.index.held(), case, kind, MOST_TOLD)

    def named(self, text: str) -> NamedItems:
        """The accessories that go by what is typed."""
        return self.selector.named(self.index.held(), text)

    def goes_by(self, text: str, sku: str) -> bool:
        """Whether an accessory is among those that go by what is typed."""
        return self.selector.goes_by(self.index.held(), text, sku)

    def best_named(self, text: str, rig: Case, most: int) -> list[tuple[Item, Outcome]]:
        """The accessories that go by what is typed as a rig takes them, the best first."""
        return self.selector.first(
            self.index.held(), rig, SelectionQuery(question={}, text=text, sort="left", limit=most)
        )

    def waited(self, rig: Case) -> Waits:
        """What the accessories held wait for on a rig, of all its facts."""
        return self.waiting.of(self.index.held(), rig, learnable(self.selector.answerer.reader))

    def yard(self, session: Session) -> Waited:
        """What the answers of all mountings wait for, in whatever language and however much of it is told."""
        held, reader = self.index.held(), self.selector.answerer.reader
        key = (held.revision, newest(session))
        return self._yards.get(key, lambda: waited(session, reader, self.waiting, held))

    def folded(self) -> Folds:
        """All accessories as they are held, the same object until they change."""
        held, known = self.index.held(), self._folded
        if known is None or known[0] is not held:
            self._folded = known = (held, shelved(held))
        return known[1]

    def start(self) -> None:
        """Begin to open the index."""
        self._ended.clear()
        if self._opens:
            Thread(target=self._open, name="selections", daemon=True).start()

    def stop(self) -> None:
        """Try no more to open it, and leave the store alone."""
        self._ended.set()
        self.index.settle()

    def _sells_adapters(self) -> bool:
        with self._database.session() as session:
            return bool(list_records(session, "accessory", limit=1, sold_as="adapter"))

    def _open(self) -> None:
        """Open the index, and judge once, which makes ready all that the first caller would wait for."""
        while not self._ended.is_set():
            try:
                rig = read_rig({"rig": {}}, self.selector.answerer, NoRecords())
                self.selector.select(self.index.held(), rig, SelectionQuery(question={}))
                held = self.index.held()
                for part in held.parts if held.items >= _LARGE and self._sells_adapters() else ():
                    part.segment.lay_out(adapted=True)  # or the first plan would wait for it
                self.folded()
                self._opened.set()
                return
            except Exception:
                _log.exception("the index for selections cannot be opened yet")
                self._ended.wait(_PAUSE_SECONDS)

    @property
    def ready(self) -> bool:
        """Whether what asks for the accessories need not wait until the index is opened."""
        return not self._opens or self._opened.is_set()

    def check(self) -> None:
        """Raise a problem (503) while the index is being opened, or a StoreError when it cannot follow the store."""
        if not self.ready:
            raise problem(503, t("the index for selections is being opened; try again"), headers={"Retry-After": "1"})
        if self._opens:
            self.index.held()
