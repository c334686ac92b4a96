"""The accessories of the store in memory, ready to be judged, kept in step with it change by change.

Changed items are first held loose; many loose ones are folded to a segment, together with earlier segments that
are not much larger, so that an item is folded a few times only however large the catalogue grows. The first segment
is mapped from a file where there is a folder for it, and is then shared by all services of a machine.

Whoever asks sees the store as it is then. In a service, while so much changes that it is folded over and over, it is
told as it was when it was last looked at, and a thread takes in what has changed since: a second or so ago, and never
more than some seconds. Nobody waits for the thread.
"""

import logging
from collections.abc import Iterable, Sequence
from math import inf
from threading import Lock, Thread
from time import monotonic
from typing import Final, NamedTuple

from sqlmodel import Session

from fitsvc.answers.answering import Answerer
from fitsvc.answers.shelf import Item
from fitsvc.heap import give_back
from fitsvc.inventory.changes import Watermark, changed_since, resumed, seen_all, steady
from fitsvc.selection.files import IndexFolder, Saved
from fitsvc.selection.folding import Folding, Tables, read_facts
from fitsvc.selection.rows import SUBJECT, StoredAccessory, all_rows, observation_id, rows_of
from fitsvc.selection.segments import LiveSegment, Segment, Snapshot, whole
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError

MOST_LOOSE: Final = 200
"""Items held loose before they are folded."""
_CHANGED_SHARE: Final = 8
"""When one in so many items has changed since a file was written, a new one is."""
_FEW: Final = 1_000
_LONG: Final = 0.03
"""Seconds of a look that folded after which the next one is left to a thread."""
_MANY: Final = 50
"""Changes found by a thread for which the next look is left to one again."""
_PAUSE: Final = 0.5
"""Seconds from one look of the thread to the next, or twice what the first took if that is more."""
_LATE: Final = 0.5
"""Whoever comes so many seconds after a look of the thread was due, as no one asked before, looks for it."""
_OLDEST: Final = 5.0
"""Whoever finds what is held to be so many seconds old waits, as long as it takes, for what it is now."""
_WIDE: Final = 1 << 64
_log = logging.getLogger("fitsvc.selection")


class _Loose(NamedTuple):
    row: StoredAccessory
    item: Item


class _Look(NamedTuple):
    """When the store was last looked at, for how long, and whether the next look is left to a thread."""

    started: float
    took: float
    aside: bool

    @property
    def next(self) -> float:
        """When a thread looks again."""
        return self.started + max(_PAUSE, 2.0 * self.took)


class SelectionIndex:
    """The accessories of one store under one rulebook; safe to share between threads."""

    def __init__(
        self,
        answerer: Answerer,
        database: Database,
        most_loose: int = MOST_LOOSE,
        folder: IndexFolder | None = None,
        *,
        waits: bool = True,
    ) -> None:
        """Unless whoever asks `waits` for it, many changes are taken in by a thread."""
        self._database, self._reader, self._most_loose = database, answerer.reader, most_loose
        self._folder, self._columns = folder, answerer.columns
        self._lock = Lock()
        self._seen: Watermark | None = None
        self._parts: tuple[LiveSegment, ...] = ()
        self._loose: dict[str, _Loose] = {}
        self._unreadable: dict[str, int] = {}
        self._mark = 0
        self._held = Snapshot(revision="", parts=(), loose=(), unreadable=0)
        self._waits, self._look = waits, _Look(0.0, 0.0, False)
        self._looking = Lock()

    def held(self) -> Snapshot:
        """The accessories as the store has them now, or while much changes as it had them a moment ago."""
        look, now = self._look, monotonic()
        late = now > look.next + _LATE and not self._looking.locked()
        if self._waits or not look.aside or late or now > look.started + _OLDEST:
            with self._lock:
                self._see()
        elif now >= look.next and self._looking.acquire(blocking=False):
            Thread(target=self._see_aside, name="selection-index", daemon=True).start()
        return self._held

    @property
    def sure(self) -> int:
        """The number of the last observation before which none can appear any more: what came earlier has been seen."""
        seen = self._seen
        if seen is None:
            return 0
        open_ = [gap.low for gap in seen.gaps if gap.until > monotonic()]
        return min([seen.newest, *(low - 1 for low in open_)])

    @property
    def age(self) -> float:
        """Seconds since what is held was last held to the store; endless before it first was."""
        return inf if self._seen is None else monotonic() - self._look.started

    def settle(self) -> None:
        """Wait until no thread is at the store for what has changed, so that it may be closed."""
        with self._looking:
            pass

    def _see_aside(self) -> None:
        try:
            with self._lock:
                self._see()
        except StoreError as error:  # whoever asks when what is held is too old is told
            _log.warning("the selection index cannot follow the store: %s", error)
        finally:
            self._looking.release()

    def _see(self) -> None:
        """Take in what has changed. Sessions are begun one after the other, so that none sees an older store."""
        if self._seen is None:
            self._begin()
        started = monotonic()
        with steady(self._database) as session:
            changed, folded = self._follow(session)
        took = monotonic() - started
        aside = (folded and took >= _LONG) or (self._look.aside and changed > _MANY)
        self._look = _Look(started, took, aside)

    def _begin(self) -> None:
        """Take in the whole store, from a file if there is one of it."""
        if self._folder is None:
            return self._build(None)
        if self._open(self._folder):
            return None
        try:
            with self._folder.lock():
                if not self._open(self._folder):  # another process may have made it meanwhile
                    self._build(self._folder)
        except OSError as error:
            _log.warning("the selection index is kept in memory only: %s", error)
            self._build(None)
        return None

    def _open(self, folder: IndexFolder) -> bool:
        """Take in what is saved, if it is of this store's past, and of a past that is not too long ago."""
        saved = folder.newest()
        if saved is None:
            return False
        seen = resumed(saved.told["newest"], saved.told["gaps"])
        with steady(self._database) as session:
            if observation_id(session, seen.newest) != saved.told["newest_id"]:
                _log.warning("the selection index in %s is of another past of the store and is made anew", folder.path)
                return False
            changed = len(changed_since(session, seen, SUBJECT)[1])
        if changed > max(_FEW, saved.tables.items.num_rows // _CHANGED_SHARE):
            return False
        self._take(saved, seen)
        return True

    def _build(self, folder: IndexFolder | None) -> None:
        """Read the whole store, and save what comes of it if there is a folder for it."""
        with steady(self._database) as session:
            seen, folding = seen_all(session), Folding(self._columns, self._reader)
            mark = 0
            for rows in all_rows(session):
                mark = (mark + sum(row.mark for row in rows)) % _WIDE
                folding.add(rows)
            folding.add(())
            told = {
                "newest": seen.newest,
                "newest_id": observation_id(session, seen.newest),
                "mark": mark,
                "gaps": [(gap.low, gap.high) for gap in seen.gaps],
                "unreadable": folding.unreadable,
            }
        saved = Saved(folding.tables(), told)
        if folder is not None and seen.newest:
            saved = folder.save(*saved)
        self._take(saved, seen)

    def _take(self, saved: Saved, seen: Watermark) -> None:
        self._parts, self._loose = (), {}
        self._add(saved.tables, whole_store=True)
        self._unreadable, self._mark = dict(saved.told["unreadable"]), saved.told["mark"]
        self._hold(seen)
        self._seen = seen

    def _follow(self, session: Session) -> tuple[int, bool]:
        """Take in what has changed since; how much has, and whether it was folded."""
        assert self._seen is not None
        seen, changed = changed_since(session, self._seen, SUBJECT)
        folds = False
        if changed:
            rows = rows_of(session, changed)
            self._drop(changed)
            folds = len(self._loose) + len(rows) > self._most_loose
            if folds:
                self._fold(rows)
            else:
                for row in rows:
                    self._put(row)
            self._hold(seen)
        self._seen = seen
        return len(changed), folds

    def _hold(self, seen: Watermark) -> None:
        revision = f"{seen.newest}-{self._mark:016x}"
        loose = tuple(one.item for one in self._loose.values())
        self._held = Snapshot(revision=revision, parts=self._parts, loose=loose, unreadable=len(self._unreadable))

    def _drop(self, keys: Iterable[str]) -> None:
        rows: list[list[int]] = [[] for _ in self._parts]
        for key in keys:
            mark = self._unreadable.pop(key, 0)
            if (loose := self._loose.pop(key, None)) is not None:
                mark = loose.row.mark
            for part, gone in zip(self._parts, rows, strict=True):
                if (row := part.segment.find(key)) is not None and part.alive[row]:
                    gone.append(row)
                    mark = int(part.segment.marks[row])
            self._mark = (self._mark - mark) % _WIDE
        self._parts = tuple(part.without(gone) if gone else part for part, gone in zip(self._parts, rows, strict=True))

    def _put(self, row: StoredAccessory) -> None:
        self._mark = (self._mark + row.mark) % _WIDE
        read = read_facts(self._reader, row.facts)
        if read is None:
            self._unreadable[row.sku] = row.mark
        else:
            self._loose[row.sku] = _Loose(row, Item(SUBJECT, row.sku, row.label, read.values, read.texts))

    def _fold(self, changed: Sequence[StoredAccessory]) -> None:
        """Fold what has changed and the loose items, with segments not much larger or half of which has gone."""
        self._mark = (self._mark + sum(row.mark for row in changed)) % _WIDE
        rows, kept = [*(one.row for one in self._loose.values()), *changed], list[LiveSegment]()
        for part in sorted(self._parts, key=lambda part: part.left):
            if part.left <= 2 * len(rows) or 2 * part.left < len(part.alive):
                rows += part.rows()
            else:
                kept.append(part)
        self._parts, self._loose = tuple(kept), {}
        folding = Folding(self._columns, self._reader)
        folding.add(sorted(rows))
        self._unreadable |= folding.unreadable
        self._add(folding.tables())

    def _add(self, tables: Tables, *, whole_store: bool = False) -> None:
        if tables.items.num_rows:
            segment = Segment(self._columns, self._reader, tables)
            segment.prepare()  # here, and not by the first who asks
            segment.let_go()
            if whole_store and not self._waits:  # nor by the first reading that tells its effects
                segment.lay_out()
            give_back()
            self._parts = (*self._parts, whole(segment))
