"""The store's shelf and its vehicles' names, read once and kept in step with the store by its observations."""

from collections.abc import Callable, Mapping, Sequence
from math import inf
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING

from sqlmodel import Session

from fitsvc.answers.records import Named, Stored
from fitsvc.answers.shelf import Folds, Item, Stock, read_items
from fitsvc.answers.vehicles import Vehicles
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.changes import Watermark, changed_since, seen_all
from fitsvc.inventory.stored import stored
from fitsvc.language.types import ListType, Value
from fitsvc.store.records import find_mountings, get_record, get_records, list_records
from fitsvc.subjects import SOLD, SoldAs, Subject, sold_as

if TYPE_CHECKING:  # columns, which no single answer needs
    from fitsvc.answers.searching import Found

_PAGE = 5_000
_FRESH_SECONDS = 0.5
_SMALL = 100
Choose = Callable[[Case, Value], Sequence[Item]]


class Shop:
    """What the store sells and what its vehicles are called, kept in memory.

    Every change to a record's facts leaves an observation, which is how it is seen.
    """

    def __init__(
        self, reader: FactReader, choose: Choose | None = None, folded: Callable[[], Folds] | None = None
    ) -> None:
        """`choose` picks the accessories of a kind that do best in a case, where there is an index of them, and
        `folded` gives all of them as it holds them.
        """
        self._reader, self._choose, self._lock = reader, choose, Lock()
        self.folded = folded
        self._items: dict[str, dict[str, Item]] = {}
        self._stocks: dict[str, Stock] = {}
        self._whole: Stock | None = None
        self._seen: Watermark | None = None
        self._looked = -inf
        self._vehicles = Vehicles(reader)
        self._seen_vehicles: Watermark | None = None

    def vehicles(self, session: Session, values: Mapping[str, Value], texts: Mapping[str, str]) -> list[Named]:
        """The vehicles that agree with these naming facts, as the store has them now."""
        with self._lock:
            return self._vehicles_now(session).agreeing(values, texts)

    def matching_vehicles(self, session: Session, text: str) -> "tuple[list[Named], Found]":
        """The vehicles that go by a text, as the store has them now, and what was made of the text."""
        with self._lock:
            return self._vehicles_now(session).matching(text)

    def matching_items(self, session: Session, subject: str, text: str) -> "tuple[list[Item], Found]":
        """What is sold as a subject and goes by a text, by SKU, and what was made of the text."""
        from fitsvc.answers.searching import find, flags_of, terms_of

        items = self.stock(session, subject).items(subject)
        told = [(f"{item.label}\n{item.sku}\n{self._told_kind(item)}".casefold(), item.values) for item in items]
        found = find(terms_of(text, self._reader), [flags_of(told)], len(told))
        return [item for item, flag in zip(items, found.flags[0], strict=True) if flag], found

    def _told_kind(self, item: Item) -> str:
        """The kind of its subject that an item surely is, in words."""
        fact = self._reader.vocabulary.facts.get(f"{item.subject}.kind")
        if fact is None or not isinstance(item.kind, int) or item.kind.bit_count() != 1:
            return ""
        assert isinstance(fact.type, ListType)
        member = fact.type.members[item.kind.bit_length() - 1]
        return f"{member.replace('_', ' ')} {self._reader.vocabulary.words.get(fact.kind, {}).get(member, '')}"

    def said(self, values: Mapping[str, Value]) -> dict[str, str]:
        """Those counts and choices among naming facts that are settled, as people write them."""
        return self._vehicles.said(values)

    def _vehicles_now(self, session: Session) -> Vehicles:
        if self._seen_vehicles is None:
            self._seen_vehicles = seen_all(session)  # before the rest: what changes meanwhile is then read again
            self._vehicles = Vehicles(self._reader, _everything(session, "vehicle"))
        else:
            seen, changed = changed_since(session, self._seen_vehicles, "vehicle")
            found = get_records(session, "vehicle", changed)
            for key in changed:
                self._vehicles.drop(key)
                if key in found:
                    self._vehicles.put(stored("vehicle", found[key]))
            self._seen_vehicles = seen
        return self._vehicles

    def lately(self) -> Stock | None:
        """All that a small store sells as it had it less than half a second ago, or None."""
        fresh = monotonic() - self._looked < _FRESH_SECONDS and self._whole is not None
        return self._whole if fresh else None

    def shelf(self, session: Session) -> "StoreShelf":
        """The shelf as the store has it now; of a large store a subject's items are read once they are wanted."""
        with self._lock:
            looked = monotonic()
            if self._seen is None:
                self._seen = seen_all(session)
                if len(list_records(session, "accessory", limit=_SMALL + 1)) <= _SMALL:
                    for subject in sorted(SOLD):
                        self._read(session, subject)
            else:
                self._follow(session)
            sold = [item for subject in self._items.values() for item in subject.values()]
            small = self._items.keys() == set(SOLD) and len(sold) <= _SMALL
            if not small:
                self._whole = None
            elif self._whole is None:
                self._whole = Stock(sold, {})
            self._looked = looked
            return StoreShelf(self, session, self._whole)

    def stock(self, session: Session, subject: str) -> Stock:
        """What is sold as a subject, read from the store when it is first wanted."""
        with self._lock:
            if subject not in self._items:
                self._follow(session)
                self._read(session, subject)
            return self._stocks[subject]

    def chosen(self, case: Case, kind: Value) -> Sequence[Item] | None:
        """The accessories of a kind that do best in a case without its own, where an index of them can tell."""
        return self._choose(case, kind) if self._choose else None

    def _follow(self, session: Session) -> None:
        if self._seen is None:
            self._seen = seen_all(session)
            return
        seen, changed = changed_since(session, self._seen, "accessory")
        found = get_records(session, "accessory", changed)
        touched = set[str]()
        for key in changed:
            record = stored("accessory", found[key]) if key in found else None
            for subject, items in self._items.items():
                gone = items.pop(key, None)
                put = read_items(self._reader, [record]) if record is not None and record.subject == subject else []
                items |= {item.sku: item for item in put}
                touched |= {subject} if gone is not None or put else set()
        for subject in touched:
            self._stocks[subject] = Stock(self._items[subject].values(), {})
        self._whole = None if touched else self._whole
        self._seen = seen

    def _read(self, session: Session, subject: str) -> None:
        records = _everything(session, "accessory", sold_as(subject))
        self._items[subject] = {item.sku: item for item in read_items(self._reader, records)}
        self._stocks[subject] = Stock(self._items[subject].values(), {})


class StoreShelf:
    """What one request takes from the shelf: what it looks at once stays the same for it."""

    def __init__(self, shop: Shop, session: Session, whole: Stock | None) -> None:
        self._shop, self._session, self._whole = shop, session, whole
        self._stocks: dict[str, Stock] = {}

    def items(self, subject: str, kind: Value | None = None) -> Sequence[Item]:
        """The items of a subject, of one kind if a kind is given."""
        if subject not in self._stocks:
            self._stocks[subject] = self._shop.stock(self._session, subject)
        return self._stocks[subject].items(subject, kind)

    def instead(self, case: Case, subject: str, kind: Value | None) -> Sequence[Item]:
        """The items that could take the place of a subject's; of accessories, by the index, the best alone."""
        if subject == "accessory" and kind is not None:
            chosen = self._shop.chosen(case, kind)
            if chosen is not None:
                return chosen
        return self.items(subject, kind)

    def folded(self) -> Folds | None:
        """The accessories as an index holds them, where there is one."""
        return self._shop.folded() if self._shop.folded else None

    def sells(self, subject: str) -> bool:
        """Whether there is anything of a subject; of a small store it is at hand."""
        if self._whole is not None:
            return self._whole.sells(subject)
        return bool(list_records(self._session, "accessory", limit=1, sold_as=sold_as(subject)))

    def receivers_for(self, vehicle: str) -> Sequence[tuple[Stored, Stored]]:
        """The mountings stored for a vehicle, each with its receiver."""
        found = []
        for mounting in find_mountings(self._session, vehicle_id=vehicle):
            receiver = get_record(self._session, "receiver", mounting.receiver_id)
            found.append((stored("mounting", mounting), stored("receiver", receiver)))
        return found


def _everything(session: Session, subject: Subject, sold: SoldAs | None = None) -> list[Stored]:
    found: list[Stored] = []
    after: str | None = None
    while page := list_records(session, subject, after=after, limit=_PAGE, sold_as=sold):
        found += [stored(subject, record) for record in page]
        after = page[-1].key
    return found
