"""A column of raw cells → typed columns: each distinct cell is read once, since the same stand there over and over."""

import json
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.chunks import WIRE, covered_problem, shown
from fitsvc.audits.decimals import EITHER, EITHER_COMMA, DecimalMarks, with_point
from fitsvc.audits.mapping import MARKS, Mapped, folded
from fitsvc.audits.plain_rows import CodedCells
from fitsvc.document import Json
from fitsvc.engine.columns.signatures import Column, column_of, taken
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import LENGTH, QuantityError, parse_quantity
from fitsvc.language.types import ListType, NumberType, Type, Value
from fitsvc.loading.cells import BETWEEN, read_cell, written_cell
from fitsvc.loading.entries import wire_fact
from fitsvc.loading.merged_cells import is_covered
from fitsvc.loading.rows import field_of, quoted
from fitsvc.rulebook.vocabulary import TYRE_PARTS, Fact
from fitsvc.tongues import counted, later, t

_MOST_KEPT: Final = 5_000
_LONGEST: Final = 2_000
NOTHING: Final = frozenset(("n/a", "na", "none", "null", "nil", "unknown", "tbd", "-", "--", "–", "—", "?"))
_EMPTY: Final = later("leave the cell empty where it is not known, or list the word in a mapping: `unknown: [{word}]`")
_NOMINAL: Final = 1.0
"""Millimetres by which the round figure of a size may be off: 50, 51, 63 and 64 mm are 2 and 2-1/2 in, 16 mm is 5/8."""
_EMPTY_CELL: Final = 0
"""The number of a cell that says nothing: an empty one, and a word for what is not known."""
_Codes = NDArray[np.int32]


class FactColumn:
    """One column of facts of one catalogue."""

    def __init__(
        self, reader: FactReader, fact: Fact, column: Mapped, unknown: frozenset[str], marks: DecimalMarks
    ) -> None:
        self.fact, self.column, self._reader, self._marks = fact, column, reader, marks
        # What the column says of a word, and the fact's own members, go before the words for what is not known.
        self._unknown = unknown - column.values.keys() - members_of(fact)
        self._figures = is_figure(fact)
        kinds = reader.vocabulary.slots()
        names = [f"{fact.name}.{part}" for part in TYRE_PARTS] if fact.tyre else [fact.name]
        self.slots: dict[str, Type] = {name: kinds[name] for name in names if name in kinds}
        self._forget()

    def _forget(self) -> None:
        self._seen: dict[str | None, int] = {None: _EMPTY_CELL, "": _EMPTY_CELL}
        self._values: list[dict[str, Value]] = [{}]
        self._wrong: dict[int, Problem] = {}
        self._too_long: int | None = None

    def codes(self, cells: Sequence[str | None]) -> _Codes:
        """The number of each cell among the distinct ones; numbers hold until the next call."""
        if len(self._values) > _MOST_KEPT:
            self._forget()
        seen, new = self._seen, self._new
        each = cells.texts if isinstance(cells, CodedCells) else cells
        codes = np.fromiter((seen[cell] if cell in seen else new(cell) for cell in each), np.int32, len(each))
        return codes[cells.places] if isinstance(cells, CodedCells) else codes

    def wrong(self, codes: _Codes) -> NDArray[np.bool_]:
        """Which cells could not be read."""
        flags = np.zeros(len(self._values), np.bool_)
        flags[list(self._wrong)] = True
        found: NDArray[np.bool_] = flags[codes]
        return found

    def unread(self, codes: _Codes) -> dict[str, NDArray[np.bool_]]:
        """By slot which cells say something of it that cannot be read; nothing where there is no such cell."""
        flags = self.wrong(codes)
        return dict.fromkeys(self.slots, flags) if flags.any() else {}

    def named(self, codes: _Codes) -> dict[str, NDArray[np.bool_]]:
        """By slot which cells tell of it what leaves all of it open; nothing where there is no such cell."""
        found = dict[str, NDArray[np.bool_]]()
        for name, kind in self.slots.items():
            flags = np.array([value.get(name) == kind.unknown for value in self._values], np.bool_)[codes]
            found |= {name: flags} if flags.any() else {}
        return found

    def problem(self, code: int) -> Problem:
        """What is wrong with a cell that could not be read."""
        return self._wrong[code]

    def columns(self, codes: _Codes) -> dict[str, Column]:
        """The typed columns of the cells."""
        rows = codes.astype(np.intp)
        return {
            name: taken(column_of(kind, [value.get(name) for value in self._values]), rows)
            for name, kind in self.slots.items()
        }

    def _new(self, cell: str | None) -> int:
        assert cell is not None
        if len(cell) > _LONGEST:
            return self._long()
        code = len(self._values)
        if folded(cell) in self._unknown:
            code = _EMPTY_CELL
        else:
            self._values.append(self._read(cell, code))
        self._seen[cell] = code
        return code

    def _read(self, cell: str, code: int) -> dict[str, Value]:
        """The values of a cell; none, and why, where it cannot be read."""
        try:
            wire = self._wire(cell)
            return self._reader.value(self.fact, wire) if wire is not None else {}
        except ProblemsFound as found:
            first = found.problems[0]
            message, help = self._as_written(cell, first)
            help = t(_EMPTY, word=cell.strip()) if folded(cell) in NOTHING else help
            self._wrong[code] = Problem(message, help, pointer=self.column.title + _within(first.pointer))
            return {}

    def _as_written(self, cell: str, problem: Problem) -> tuple[str, str]:
        """A problem's message and help with the cell as it stands: of a unit that no title names it is said that it
        is read so.
        """
        own, unit = shown(cell).strip(), self.column.unit
        told = f"`{own} {unit}`"
        if not unit or unit.casefold() in self.column.title.casefold() or told not in problem.message:
            return problem.message, problem.help
        taken = t("without a unit it is read as {told}", told=told)
        return problem.message.replace(told, f"`{own}`"), f"{problem.help}; {taken}" if problem.help else taken

    def plain(self, cell: str | None) -> str:
        """A cell in the form in which files are loaded, with its unit; empty where it says nothing that is known."""
        code = int(self.codes([cell])[0])
        wire = None if cell is None or code == _EMPTY_CELL or code in self._wrong else self._wire(cell)
        return "" if wire is None else written_cell(wire)

    def _long(self) -> int:
        """The one number of all cells that are too long to be a fact, which are not kept."""
        if self._too_long is None:
            self._too_long = len(self._values)
            message = t("the cell is longer than {count} characters", count=counted(_LONGEST))
            self._wrong[self._too_long] = Problem(message, t("write the fact alone"), pointer=self.column.title)
            self._values.append({})
        return self._too_long

    def _wire(self, cell: str) -> Json:
        if is_covered(cell):
            raise ProblemsFound([covered_problem(cell)])
        if cell.startswith(WIRE):
            value = json.loads(cell.removeprefix(WIRE))
            if isinstance(value, bool) or not isinstance(value, int | float):
                return wire_fact(self.fact, value)
            text = repr(value)
        else:
            text = self._marked(self.column.values.get(folded(cell), cell))
        if BETWEEN in text and isinstance(self.fact.type, NumberType):
            help = t("write one figure, or from the least to the most that it may be: `450-480 lb`")
            message = t("{what} is more than one figure for {fact}", what=quoted(text), fact=self.fact.the)
            raise ProblemsFound([Problem(message, help)])
        if self.column.nominal:
            text = nominal_size(text, self.column.nominal, self.fact)
        return wire_fact(self.fact, read_cell(text, self.fact, self.column.unit, self._reader.bounds))

    def _marked(self, text: str) -> str:
        """A text whose decimals are parted by a point, where they are by a comma."""
        if self._figures and self.column.decimal:
            return with_point(text, self.column.decimal)
        if self._figures and EITHER.search(text):
            title, is_comma = self.column.title, EITHER_COMMA.search(text)
            if is_comma or (self._marks.comma_beside(title) and self.is_twofold(text)):
                self._marks.hold(title, text)
        return text

    def is_twofold(self, text: str) -> bool:
        """Whether a text is a figure of the fact with a decimal comma, and another one with a decimal point."""
        return self._figures and all(self._reads(text, mark) for mark in MARKS.values())

    def _reads(self, text: str, mark: str) -> bool:
        try:
            wire = wire_fact(self.fact, read_cell(with_point(text, mark), self.fact, self.column.unit))
            return bool(self._reader.value(self.fact, wire))
        except ProblemsFound:
            return False


def is_figure(fact: Fact) -> bool:
    """Whether the cells of a fact are figures: a size is one too."""
    return isinstance(fact.type, NumberType) or (isinstance(fact.type, ListType) and bool(fact.type.sizes))


def members_of(fact: Fact) -> frozenset[str]:
    """The members of a fact that is one of a list, as words are looked up; none of any other fact."""
    return frozenset(map(folded, fact.type.members)) if isinstance(fact.type, ListType) else frozenset()


def nominal_size(text: str, unit: str, fact: Fact) -> str:
    """A size by the round figure that it goes by, such as `50 mm` for 2 in: the only one so near; else the text."""
    kind = fact.type
    assert isinstance(kind, ListType)
    try:
        amount = parse_quantity(text if text[-1:].isalpha() else f"{text} {unit}", LENGTH)
    except QuantityError:
        return text
    near = [one for one, size in zip(kind.members, kind.sizes, strict=True) if abs(size - amount) < _NOMINAL]
    return near[0] if len(near) == 1 else text


def _within(pointer: str) -> str:
    return f", {field_of(pointer)}" if field_of(pointer) else ""
