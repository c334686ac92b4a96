"""Entries that hold from a day on, or until one, and the day that a rulebook is read for.

A law that changes is written before it does, the entry of then beside that of now. A rulebook is of one day: that of
`as_of` in `rulebook.yaml`, or in an overlay's `overlay.yaml`, or else today's (UTC). What does not hold on it is taken
out before anything else is read, so that answers, digests and proofs know no days.
"""

from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

from fitsvc.rulebook.folder import OVERLAY, TOP_FILE
from fitsvc.rulebook.forms import Kind
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence

AS_OF: Final = "as_of"
HOLDS_FROM: Final = "holds_from"
HOLDS_UNTIL: Final = "holds_until"
"""The last day on which an entry holds."""
DAY: Final[Kind] = {"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$", "description": "a day"}
PERIOD: Final[Map[str, Kind]] = {HOLDS_FROM: DAY, HOLDS_UNTIL: DAY}
_SECTIONS: Final = ("rules", "limits", "needs", "cautions")
_TABLES: Final = "tables"
_ROWS: Final = "rows"
_COLUMNS: Final = "columns"
_LENGTH: Final = len("2027-01-01")


@dataclass(frozen=True, slots=True)
class Asleep:
    """An entry that does not hold on the day, or a row (`law.texas`): where that stands, and when it ended or begins.

    `replaced` is whether another begins on the day after it ended.
    """

    name: str
    node: Node
    ended: date | None = None
    begins: date | None = None
    replaced: bool = False

    @property
    def message(self) -> str:
        """What is so of it."""
        return f"`{self.name}` " + (
            f"ended on {self.ended.isoformat()}: it holds no more"
            if self.ended
            else f"holds from {self.begins.isoformat() if self.begins else 'another day'} on, and not before"
        )


@dataclass(frozen=True, slots=True)
class Dated:
    """The trees of a folder as they are on its day; `days` are those after it on which another entry begins or ends.

    `asleep` are the entries that do not hold on the day, which others may name all the same.
    """

    trees: dict[Path, Node]
    day: date
    days: tuple[date, ...] = ()
    asleep: tuple[Asleep, ...] = ()


def today() -> date:
    """The day that it is (UTC)."""
    return datetime.now(UTC).date()


def dated(shape: Shape, folder: Path, trees: Map[Path, Node], day: date | None = None) -> Dated:
    """The entries that hold on a day: the one given, or else the folder's."""
    tops = [tree for name in (OVERLAY, TOP_FILE) if isinstance(tree := trees.get(folder / name), Mapping)]
    told = next((tree for tree in tops if AS_OF in tree.entries), None)
    fixed = _day(shape, told, AS_OF) if told is not None else None
    reading = _DatedReading(shape=shape, day=day or fixed or today())
    found = {path: reading.file(tree, is_top=path.name in (OVERLAY, TOP_FILE)) for path, tree in trees.items()}
    reading.hold_to_one_each()
    days = () if told is not None and day is None else tuple(sorted(reading.days))
    return Dated(found, reading.day, days, reading.sleeping())


def frozen(texts: Map[str, str], day: date) -> dict[str, str]:
    """Rule files fixed to a day, so that they mean tomorrow what they mean on it; as they are where none holds by day.

    `texts` are by their names in the folder.
    """
    top = OVERLAY if OVERLAY in texts else TOP_FILE
    if not any(f"{key}:" in text for text in texts.values() for key in PERIOD) or top not in texts:
        return dict(texts)
    if any(line.startswith(f"{AS_OF}:") for line in texts[top].splitlines()):
        return dict(texts)
    return {**texts, top: f"{AS_OF}: {day.isoformat()}\n{texts[top]}"}


@dataclass(slots=True, kw_only=True)
class _DatedReading:
    """One folder read for a day."""

    shape: Shape
    day: date
    days: set[date] = field(default_factory=set)
    asleep: dict[str, Node] = field(default_factory=dict)
    awake: set[str] = field(default_factory=set)
    rows: list[Asleep] = field(default_factory=list)
    begun: set[date] = field(default_factory=set)

    def file(self, tree: Node, *, is_top: bool) -> Node:
        """A file without what does not hold, and without a word of days; the same object where it has none."""
        if not isinstance(tree, Mapping):
            return tree
        entries = {key: self._section(key, node) for key, node in tree.entries.items() if key != AS_OF or not is_top}
        same = entries.keys() == tree.entries.keys() and all(entries[key] is tree.entries[key] for key in entries)
        return tree if same else replace(tree, entries=entries)

    def hold_to_one_each(self) -> None:
        """Complain of an id that has two entries, since what names it could mean either."""
        for id, node in self.asleep.items():
            if id in self.awake:
                self.shape.complain(
                    node, f"there are two entries `{id}`", "give each an id of its own, as in `{id}-2027`"
                )

    def sleeping(self) -> tuple[Asleep, ...]:
        """What does not hold on the day, of tables the members of which no row does."""
        entries = [self._asleep(id, node) for id, node in self.asleep.items()]
        day = timedelta(days=1)
        told = (replace(one, replaced=bool(one.ended and one.ended + day in self.begun)) for one in entries)
        return (*told, *self.rows)

    def _asleep(self, name: str, node: Node) -> Asleep:
        assert isinstance(node, Mapping)  # what says nothing of days holds
        start, end = (_day(Shape(), node, key) for key in (HOLDS_FROM, HOLDS_UNTIL))
        ended = end if end and end < self.day else None
        return Asleep(name, node.entries.get(HOLDS_UNTIL if ended else HOLDS_FROM, node), ended, start)

    def _section(self, key: str, node: Node) -> Node:
        if not isinstance(node, Sequence):
            return node
        if key in _SECTIONS:
            return _with(node, [one for item in node.items for one in self._entry(item)])
        return _with(node, [self._table(item) for item in node.items]) if key == _TABLES else node

    def _entry(self, node: Node) -> Iterator[Node]:
        id = node.entries.get("id") if isinstance(node, Mapping) else None
        holds, rest = self._holds(node)
        if isinstance(id, Scalar):
            if holds:
                self.awake.add(id.value)
            else:
                self.asleep[id.value] = node
        if holds:
            start = _day(Shape(), node, HOLDS_FROM) if isinstance(node, Mapping) else None
            self.begun.update([start] if start else ())
            yield rest

    def _table(self, node: Node) -> Node:
        """A table on the day; several items in a row of one without columns are bands or points, and have no days."""
        rows = node.entries.get(_ROWS) if isinstance(node, Mapping) else None
        if not isinstance(node, Mapping) or _COLUMNS not in node.entries or not isinstance(rows, Mapping):
            return node
        entries = {key: row for key, told in rows.entries.items() for row in self._row(f"{_id(node)}.{key}", told)}
        same = entries.keys() == rows.entries.keys() and all(entries[key] is rows.entries[key] for key in entries)
        return node if same else replace(node, entries={**node.entries, _ROWS: replace(rows, entries=entries)})

    def _row(self, name: str, told: Node) -> Iterator[Node]:
        """The row of a member on the day; of several with days of their own the one that holds."""
        items = told.items if isinstance(told, Sequence) else (told,)
        found = [rest for holds, rest in map(self._holds, items) if holds]
        if items and not found:
            self.rows.append(self._asleep(name, items[-1]))
        if len(found) > 1:
            help = f"let one end with `{HOLDS_UNTIL}` before the other begins"
            self.shape.complain(told, f"two rows of `{name}` hold on {self.day.isoformat()}", help)
        yield from found[:1]

    def _holds(self, node: Node) -> tuple[bool, Node]:
        """Whether an entry holds on the day, and what it says beside its days."""
        if not isinstance(node, Mapping) or PERIOD.keys().isdisjoint(node.entries):
            return True, node
        start, end = (_day(self.shape, node, key) for key in (HOLDS_FROM, HOLDS_UNTIL))
        if start and end and end < start:
            help = f"let `{HOLDS_UNTIL}` be the last day on which it holds"
            self.shape.complain(node.entries[HOLDS_UNTIL], "it would end before it begins", help)
        turns = (start, end + timedelta(days=1) if end and end < date.max else None)
        self.days.update(day for day in turns if day and day > self.day)
        rest = replace(node, entries={key: one for key, one in node.entries.items() if key not in PERIOD})
        return (not start or start <= self.day) and (not end or self.day <= end), rest


def _id(entry: Mapping) -> str:
    node = entry.entries.get("id")
    return node.value if isinstance(node, Scalar) else ""


def _with(node: Sequence, items: Iterable[Node]) -> Sequence:
    found = tuple(items)
    same = len(found) == len(node.items) and all(a is b for a, b in zip(found, node.items, strict=True))
    return node if same else replace(node, items=found)


def _day(shape: Shape, entry: Mapping, key: str) -> date | None:
    """The day under a key, if there is one; a complaint where it is none."""
    node = entry.entries.get(key)
    if node is None:
        return None
    try:
        if isinstance(node, Scalar) and len(node.value) == _LENGTH:
            return date.fromisoformat(node.value)
    except ValueError:
        pass
    shape.complain(node, f"`{key}` is a day", "write it as in `2027-01-01`")
    return None
