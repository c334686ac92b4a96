"""Reading the lookup tables: a value by one key or several, or several columns with a source of its own in each row."""

from collections.abc import Iterable
from collections.abc import Mapping as Map
from dataclasses import replace
from itertools import pairwise
from typing import Final

from fitsvc.language import typed
from fitsvc.language.checker import Names
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import nearest
from fitsvc.language.tables import Table
from fitsvc.language.truth import NO, YES
from fitsvc.language.types import TRUTH, ListType, NumberType, Type, Value
from fitsvc.rulebook.dating import PERIOD
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import ANY, EXPRESSION, QUANTITY, TEXT, Form, Kind, by_name, either, if_has, many, named
from fitsvc.rulebook.rules import Cited, RowTold, TableEntry
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.topics import SAME, SOURCE, reference
from fitsvc.rulebook.vocabulary import DEFAULT_UNITS, Vocabulary, value_type
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence

_TOLD: Final = ("asks", "source")
_TEXTS: Final = ("asks", "cite")
_KNOWN: Final = "known"
_NUMBERS: Final = (*DEFAULT_UNITS, "count")
_HEAD: Final[Map[str, Kind]] = {"id": TEXT, "title": TEXT, "key": named("value_type"), "source": SOURCE.kind}
_MORE: Final[Map[str, Kind]] = {"meaning": TEXT, "same": SAME}
LAST_BAND: Final = Form("a band", {"is": EXPRESSION})
BAND: Final = Form("a band", {"up_to": QUANTITY, **LAST_BAND.required})
COLUMN: Final = Form("a column", {"gives": named("value_type"), "meaning": TEXT}, {"otherwise": TEXT})
_ROW: Final = Form("a row", {"asks": TEXT, "source": named("source")}, PERIOD, free=TEXT)
_ROWS: Final = by_name(either(_ROW.kind, many(_ROW.kind, minItems=1)))
_BANDS: Final = many(either(BAND.kind, LAST_BAND.kind), minItems=1)
POINT: Final = Form("a point", {"at": QUANTITY, **LAST_BAND.required})
_POINTS: Final = many(POINT.kind, minItems=2)
_KEYS: Final = either(named("value_type"), many(named("value_type"), minItems=2))
TABLE: Final = Form(
    "a table",
    {**_HEAD, "key": _KEYS, "gives": named("value_type")},
    {"rows": by_name(either(TEXT, by_name(ANY), _BANDS, _POINTS)), "bands": _BANDS, "points": _POINTS, **_MORE},
)
WITH_COLUMNS: Final = Form(
    TABLE.what,
    {**_HEAD, "columns": by_name(COLUMN.kind), "rows": by_name(_ROW.kind)},
    {"without_row": by_name(TEXT), **_MORE},
)
TABLES_FILE: Final = Form("a file of tables", {"tables": many(if_has("columns", WITH_COLUMNS.kind, TABLE.kind))})


def read_tables(
    shape: Shape, trees: Iterable[Mapping], vocabulary: Vocabulary, sources: Map[str, Cited], lost: set[str]
) -> dict[str, TableEntry]:
    """Read the tables of some files; the names of those that are faulty are `lost`."""
    reader = _TableReader(shape, vocabulary, sources)
    tables: dict[str, TableEntry] = {}
    places: dict[str, Node] = {}
    for tree in trees:
        top = shape.form(tree, TABLES_FILE)
        for node in shape.items(top.entries["tables"] if top else None, "`tables`"):
            table = reader.entry(node)
            if table and table.id in tables:
                mark = places[table.id].mark
                told = f"there is a table `{table.id}` already, in {mark.file}, line {mark.line}"
                shape.complain(node, told, "give one of them another id")
            elif table:
                tables[table.id], places[table.id] = table, node
            elif isinstance(node, Mapping):
                lost.add(shape.text(node, "id"))
    return tables


class _TableReader:
    """Reads tables of one vocabulary; their cells are constants."""

    def __init__(self, shape: Shape, vocabulary: Vocabulary, sources: Map[str, Cited]) -> None:
        self.shape, self.lists, self.sources = shape, vocabulary.lists, sources
        self.read = Expressions(
            shape=shape, vocabulary=vocabulary, names=Names({}, frozenset(), strict=True), derived={}, units={}
        )

    def entry(self, node: Node) -> TableEntry | None:
        """One table."""
        shape = self.shape
        several = isinstance(node, Mapping) and "columns" in node.entries
        entry = shape.form(node, WITH_COLUMNS if several else TABLE)
        if entry is None:
            return None
        name, title, source = shape.text(entry, "id"), shape.text(entry, "title"), reference(shape, entry)
        if several:
            return self._with_columns(entry, TableEntry(id=name, title=title, columns={}, source=source))
        table = self._table(entry)
        return TableEntry(id=name, title=title, columns={"": table}, source=source) if table else None

    # one value a row

    def _table(self, entry: Mapping) -> Table | None:
        word = self.shape.one_of(entry, "gives", [*self.lists, *_NUMBERS, "yes_no"])
        keys = self._keys(entry)
        of_number = "points" if "points" in entry.entries else "bands"
        cells = entry.entries.get(of_number if keys and isinstance(keys[0], NumberType) else "rows")
        return self._by(keys, cells, entry, value_type(word, self.lists)) if keys else None

    def _keys(self, entry: Mapping) -> list[Type]:
        """The types of the keys; none where one is faulty. Bands are of the last alone."""
        node, shape = entry.entries["key"], self.shape
        known = [*self.lists, *_NUMBERS]
        if not isinstance(node, Sequence):
            return [value_type(shape.one_of(entry, "key", known), self.lists)]
        alone = [replace(entry, entries={"key": item}) for item in node.items]
        found = [value_type(shape.one_of(one, "key", known), self.lists) for one in alone]
        if any(isinstance(key, NumberType) for key in found[:-1]):
            shape.complain(node, "of several keys only the last is a number", "name the lists before it")
            return []
        return found

    def _by(self, keys: list[Type], cells: Node | None, at: Node, gives: Type) -> Table | None:
        """The values by some keys: those of a list under its members, those of a number by bands."""
        key, *others = keys
        if isinstance(key, NumberType):
            return self._points(cells, at, key, gives) if _is_points(cells) else self._bands(cells, at, key, gives)
        assert isinstance(key, ListType)
        rows = self._rows(cells, key)
        missing = [f"`{member}`" for member in key.members if member not in rows]
        if missing:
            self.shape.complain(at, f"the table has no row for {', '.join(missing)}", "every member needs a row")
            return None
        if others:
            below = [self._by(others, rows[member], rows[member], gives) for member in key.members]
            within = tuple(table for table in below if table is not None)
            return Table(key, gives, (), within=within) if None not in below else None
        values = [self._cell(rows[member], gives) for member in key.members]
        return Table(key, gives, tuple(v for v in values if v is not None)) if None not in values else None

    def _bands(self, node: Node | None, at: Node, key: NumberType, gives: Type) -> Table | None:
        tops: list[float] = []
        values: list[Value] = []
        bands = self.shape.items(node, "`bands`")
        for i, item in enumerate(bands):
            last = i == len(bands) - 1
            row = self.shape.form(item, LAST_BAND if last else BAND)
            value = self._cell(row.entries["is"], gives) if row else None
            top = self._cell(row.entries["up_to"], key) if row and not last else None
            values += [value] if value is not None else []
            tops += [top[0]] if isinstance(top, tuple) else []
        if not bands or tops != sorted(set(tops)):
            self.shape.complain(at, "a table by bands has rising `up_to`, and none in the last band")
        if len(tops) != len(bands) - 1 or len(values) != len(bands):
            return None
        return Table(key, gives, tuple(values), tuple(tops))

    def _points(self, node: Node | None, at: Node, key: NumberType, gives: Type) -> Table | None:
        if not isinstance(gives, NumberType):
            self.shape.complain(
                at, "between two points there are numbers only", "write `bands`, or let it give a number"
            )
            return None
        places: list[float] = []
        values: list[Value] = []
        points = self.shape.items(node, "`points`")
        for item in points:
            row = self.shape.form(item, POINT)
            place = self._cell(row.entries["at"], key) if row else None
            value = self._cell(row.entries["is"], gives) if row else None
            places += [place[0]] if isinstance(place, tuple) else []
            values += [value] if value is not None else []
        if len(places) != len(points) or len(values) != len(points):
            return None
        if len(points) < 2 or any(b - a <= TOLERANCE for a, b in pairwise(places)):
            self.shape.complain(
                at, "a table by points has two of them or more, each with a higher `at` than the one before"
            )
            return None
        return Table(key, gives, tuple(values), tuple(places))

    def _rows(self, node: Node | None, key: ListType) -> dict[str, Node]:
        rows = dict(self.shape.open_mapping(node, "`rows`"))
        for name in rows:
            if name not in key.members:
                near = nearest(name, key.members)
                self.shape.complain(
                    rows[name], f"`{name}` is not in {key.name}", f"did you mean `{near}`?" if near else ""
                )
        return rows

    def _cell(self, node: Node, kind: Type) -> Value | None:
        found = self.read.read_node(node, "value", kind)
        return found.value if isinstance(found, typed.Constant) else None

    # several columns, and for each row where it comes from

    def _with_columns(self, entry: Mapping, table: TableEntry) -> TableEntry | None:
        shape = self.shape
        key = self.lists[shape.one_of(entry, "key", self.lists)]
        kinds, defaults = self._columns(entry)
        cells: dict[str, dict[str, Value]] = {name: {} for name in kinds}
        told: dict[str, RowTold] = {}
        for member, node in self._rows(entry.entries["rows"], key).items():
            needed = [name for name in kinds if name not in defaults]
            row = shape.mapping(node, f"row `{member}`", [*needed, *_TOLD], list(defaults))
            if row is None:
                continue
            asks, source = shape.text(row, "asks"), self.sources.get(shape.text(row, "source"))
            # A source that is not in the register is told of with all others.
            told |= {member: RowTold(asks, source)} if source else {}
            for name, kind in kinds.items():
                value = self._cell(row.entries[name], kind) if name in row.entries else defaults.get(name)
                cells[name] |= {member: value} if value is not None else {}
        no_row = self._without_row(entry, kinds, defaults)
        columns = {name: _column(key, kinds[name], cells[name], no_row.get(name)) for name in kinds}
        columns[_KNOWN] = Table(key, TRUTH, tuple(YES if member in told else NO for member in key.members))
        texts = (
            {member: row.asks for member, row in told.items()},
            {member: row.source.cite for member, row in told.items()},
        )
        columns |= {name: _texts(f"{table.id}.{name}", key, found) for name, found in zip(_TEXTS, texts, strict=True)}
        return TableEntry(
            id=table.id,
            title=table.title,
            columns=columns,
            source=table.source,
            rows=told,
            otherwise={**no_row, **defaults},
        )

    def _without_row(self, entry: Mapping, kinds: Map[str, Type], defaults: Map[str, Value]) -> dict[str, Value]:
        """What stands in each column for a member without a row; nothing where the table does not say."""
        node = entry.entries.get("without_row")
        needed = [name for name in kinds if name not in defaults]
        row = self.shape.mapping(node, "`without_row`", needed, list(defaults)) if node is not None else None
        if row is None:
            return {}
        found = {name: self._otherwise(row.entries.get(name), kind) for name, kind in kinds.items()}
        return {**defaults, **{name: value for name, value in found.items() if value is not None}}

    def _columns(self, entry: Mapping) -> tuple[dict[str, Type], dict[str, Value]]:
        """The type of each column, and what stands where a row leaves one out."""
        shape, kinds, defaults = self.shape, dict[str, Type](), dict[str, Value]()
        for name, node in shape.open_mapping(entry.entries["columns"], "`columns`"):
            column = shape.form(node, COLUMN, f"column `{name}`")
            if name in (*_TOLD, *_TEXTS, _KNOWN):
                shape.complain(node, f"`{name}` is in every table with columns", "choose another name")
            elif column:
                word = shape.one_of(column, "gives", [*self.lists, *_NUMBERS, "yes_no"])
                kinds[name] = value_type(word, self.lists)
                value = self._otherwise(column.entries.get("otherwise"), kinds[name])
                defaults |= {name: value} if value is not None else {}
        return kinds, defaults

    def _otherwise(self, node: Node | None, kind: Type) -> Value | None:
        if node is None:
            return None
        if isinstance(node, Scalar) and node.value == "unknown":
            return kind.unknown
        return self._cell(node, kind)


def _is_points(node: Node | None) -> bool:
    """Whether the cells of a number are points of a line, and not bands."""
    first = node.items[0] if isinstance(node, Sequence) and node.items else None
    return isinstance(first, Mapping) and "at" in first.entries


def _column(key: ListType, kind: Type, cells: dict[str, Value], no_row: Value | None = None) -> Table:
    """A column: anything is possible of a member without a row, unless the table says what stands there."""
    left = kind.unknown if no_row is None else no_row
    return Table(key, kind, tuple(cells.get(member, left) for member in key.members))


def _texts(name: str, key: ListType, texts: dict[str, str]) -> Table:
    """A column of texts, as a list whose members are the texts."""
    kind = ListType(name, tuple(dict.fromkeys(texts.values())))
    return _column(key, kind, {member: kind.mask(text) for member, text in texts.items()})
