"""The accessories of the store in memory, ready to be judged, kept in step with it change by change.

Changed items are first held loose; many loose ones are folded to a segment, together with earlier segments that
are not much larger, so that an item is folded a few times only however large the catalogue grows.
"""

from collections.abc import Iterable, Sequence
from hashlib import blake2b
from threading import Lock
from typing import Final

import msgspec
import numpy as np
from sqlmodel import Session

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import Stored
from fitsvc.answers.shelf import Item, read_items
from fitsvc.catalogue.selection_changes import Seen, changed_since, seen_all, steady
from fitsvc.catalogue.selection_segments import SUBJECT, Held, Part, Segment
from fitsvc.engine.columns import Columns
from fitsvc.language.types import Value
from fitsvc.store.database import Database
from fitsvc.store.records import get_records, list_records
from fitsvc.store.tables import Accessory, Record

MOST_LOOSE: Final = 200
"""Items held loose before they are folded."""
_PAGE: Final = 5_000
_MOST_READ: Final = 100_000
_WIDE: Final = 1 << 64


class SelectionIndex:
    """The accessories of one store under one rulebook; safe to share between threads."""

    def __init__(self, answerer: Answerer, database: Database, most_loose: int = MOST_LOOSE) -> None:
        self._database, self._reader, self._most_loose = database, answerer.reader, most_loose
        self._columns = Columns(answerer.engine)
        self._lock = Lock()
        self._seen: Seen | None = None
        self._parts: tuple[Part, ...] = ()
        self._loose: dict[str, Item] = {}
        self._marks: dict[str, int] = {}
        self._unreadable: set[str] = set()
        self._mark = 0
        self._read: dict[bytes, Item] = {}
        self._held = Held("", (), (), 0)

    def held(self) -> Held:
        """The accessories as the store has them now."""
        # Sessions are begun one after the other, so that none sees an older store than the one before.
        with self._lock, steady(self._database) as session:
            if self._seen is None:
                seen = seen_all(session)
                self._load(session)
                self._hold(seen)
            else:
                seen, changed = changed_since(session, self._seen, SUBJECT)
                if changed:
                    self._change(changed, get_records(session, SUBJECT, changed))
                    self._hold(seen)
            self._seen = seen
            return self._held

    def _hold(self, seen: Seen) -> None:
        revision = f"{seen.newest}-{self._mark:016x}"
        self._held = Held(revision, self._parts, tuple(self._loose.values()), len(self._unreadable))

    def _load(self, session: Session) -> None:
        """Take in the whole store."""
        self._parts, self._loose, self._marks, self._unreadable, self._mark = (), {}, {}, set(), 0
        after: str | None = None
        while page := list_records(session, SUBJECT, after=after, limit=_PAGE, sold_as=SUBJECT):
            after = page[-1].key
            for record in page:
                self._put(record)
            session.expunge_all()
        self._fold()

    def _change(self, changed: Sequence[str], found: dict[str, Record]) -> None:
        """Take in what some records are now, or that they are gone."""
        self._drop(changed)
        for key in changed:
            record = found.get(key)
            if isinstance(record, Accessory) and record.subject == SUBJECT:
                self._put(record)
        if len(self._loose) > self._most_loose:
            self._fold()

    def _drop(self, keys: Iterable[str]) -> None:
        rows: list[list[int]] = [[] for _ in self._parts]
        for key in keys:
            self._mark = (self._mark - self._marks.pop(key, 0)) % _WIDE
            self._unreadable.discard(key)
            if self._loose.pop(key, None) is None:
                for part, gone in zip(self._parts, rows, strict=True):
                    if (row := part.segment.find(key)) is not None:
                        gone.append(row)
        self._parts = tuple(part.without(gone) if gone else part for part, gone in zip(self._parts, rows, strict=True))

    def _put(self, record: Record) -> None:
        mark = _mark(record)
        self._marks[record.key] = mark
        self._mark = (self._mark + mark) % _WIDE
        item = self._item(record)
        if item is None:
            self._unreadable.add(record.key)
        else:
            self._loose[record.key] = item

    def _item(self, record: Record) -> Item | None:
        """A record read; items with the same facts share what was read."""
        facts = msgspec.json.encode(record.facts)
        like = self._read.get(facts)
        if like is None:
            read = read_items(self._reader, [Stored(SUBJECT, record.key, record.label, record.facts)])
            if not read:
                return None
            if len(self._read) >= _MOST_READ:
                self._read.clear()
            self._read[facts] = like = read[0]
        return Item(SUBJECT, record.key, record.label, like.values, like.texts)

    def _fold(self) -> None:
        """Fold the loose items, with the segments that are not much larger or half of which has gone."""
        items, kept = list(self._loose.values()), list[Part]()
        for part in sorted(self._parts, key=lambda part: part.left):
            if part.left <= 2 * len(items) or 2 * part.left < len(part.alive):
                items += part.items()
            else:
                kept.append(part)
        if items:
            segment = Segment(self._columns, self._reader, items)
            kept.append(Part(segment, np.ones(len(items), np.bool_), len(items)))
        self._parts, self._loose = tuple(kept), {}


def _mark(record: Record) -> int:
    """A number for a record as it is; the sum over all records tells one catalogue from another on any machine."""
    text = f"{record.key}\0{record.version}\0{record.created_at.isoformat()}"
    return int.from_bytes(blake2b(text.encode(), digest_size=8).digest())


def kind_name(kind: Value | None, members: Sequence[str]) -> str:
    """The name of a kind that is surely one; empty where it is open."""
    if not isinstance(kind, int) or kind & (kind - 1) or not kind:
        return ""
    return members[kind.bit_length() - 1]
