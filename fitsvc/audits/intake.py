"""Taking in a supplier's file: a mapping drafted and kept by supplier, and, each time after, what drifted since."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fitsvc.audits.chunks import FileForm
from fitsvc.audits.drafting import DraftedColumn, DraftedMapping, draft, held, sample_of, titles_known
from fitsvc.audits.layout import told
from fitsvc.audits.looking import look
from fitsvc.audits.mapping import SEPARATOR_WORDS, FileMapping, Mapped, read_mapping
from fitsvc.audits.source import sheets_left
from fitsvc.document import Document
from fitsvc.facts import FactReader
from fitsvc.files import write_text
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.tongues import later, t

OPEN: Final = "#?"
"""Marks in a mapping what is asked and not answered."""
_ASKED: Final = re.compile(rf'\s+"(?P<title>(?:[^"\\]|\\.)*)": .*\s{re.escape(OPEN)} ')
"""A column with such a mark behind it."""
_FELL: Final = 0.05
"""A share of cells that reads no more: so much of a column is no slip of the pen."""
_FACTORS: Final = {
    2.20462: later("pounds for kilograms"),
    0.453592: later("kilograms for pounds"),
    25.4: later("millimetres for inches"),
    1 / 25.4: later("inches for millimetres"),
    2.54: later("centimetres for inches"),
    10.0: later("ten times as much"),
    0.1: later("a tenth of it"),
}
"""By how much the middle of a column moves when its unit changes: by definition of the inch and the pound."""
_NEAR: Final = 0.12
UNTOLD: Final = "what is it? It is not read"
"""What a mapping asks of a column that nothing tells what it is."""
_FOUR: Final = 0xFFFF
"""The last character that four digits name: what is beyond stands in no title."""
_NAME: Final = frozenset("abcdefghijklmnopqrstuvwxyz0123456789_-")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """A file that was looked at: its mapping, in words how it is written, its columns, and what drifted.

    `is_new` says that the mapping was drafted now, and is to be looked through. `left` are the sheets of a workbook
    that are not read, in words, and `asks_sheet` says that it is open which of them is. `doubted` are the columns that
    drifted as if their figures were in another unit now, by title, each in words.
    """

    mapping: FileMapping
    words: tuple[str, ...]
    columns: Sequence[DraftedColumn]
    drifted: Sequence[str]
    is_new: bool
    doubted: Mapping[str, str] = field(default_factory=dict)
    left: tuple[str, ...] = ()
    asks_sheet: bool = False


def mapping_of(folder: Path, supplier: str) -> Path:
    """Where the mapping of a supplier is kept; ProblemsFound where the name is none."""
    if not supplier or not set(supplier) <= _NAME:
        help = t("write small letters, digits, `-` and `_`")
        raise ProblemsFound([Problem(t("`{name}` is no name of a supplier", name=supplier), help)])
    return folder / f"{supplier}.yaml"


def take_in(path: Path, reader: FactReader, folder: Path, supplier: str) -> TakenIn:
    """Draft the mapping of a supplier's file and keep it, or hold the file to the one that is kept.

    ProblemsFound where the file or the mapping cannot be read.
    """
    kept = mapping_of(folder, supplier)
    if kept.is_file():
        mapping = read_mapping(kept, reader.vocabulary)
        columns = held(reader, sample_of(path, mapping.form), mapping)
        seen, asks = _seen(kept), _asks_sheet(kept.read_text("utf-8"))
        return TakenIn(
            mapping=mapping,
            words=(),
            columns=columns,
            drifted=list(_drift(columns, mapping, seen)),
            doubted={
                one.title: words
                for one in columns
                if one.title in seen
                for words in _of_other_unit(one, seen[one.title])
            },
            is_new=False,
            left=_left(path, mapping.form),
            asks_sheet=asks,
        )
    looked = look(path, titles_known().keys())
    made = draft(reader, sample_of(path, looked.form), looked.form)
    folder.mkdir(parents=True, exist_ok=True)
    keep_seen(kept, made.columns)
    # The mapping comes last: what is ended before it drafts anew.
    write_text(kept, mapping_text(made, path.name, looked.alike))
    mapping, left = read_mapping(kept, reader.vocabulary), _left(path, looked.form)
    return TakenIn(
        mapping=mapping,
        words=looked.words,
        columns=made.columns,
        drifted=(),
        is_new=True,
        left=left,
        asks_sheet=bool(looked.alike),
    )


def _left(path: Path, form: FileForm) -> tuple[str, ...]:
    """The sheets that are not read, in words."""
    return tuple(
        t("sheet `{name}` is not read: {rows}", name=name, rows=told(rows, "rows"))
        for name, rows in sheets_left(path, form).items()
    )


def _asks_sheet(text: str) -> bool:
    """Whether a mapping's text asks which sheet is to be read."""
    return any(line.startswith("sheet:") and OPEN in line for line in text.splitlines())


def left_open(text: str) -> list[str]:
    """The titles of the columns of which a mapping's text still asks what they are."""
    return [found["title"] for line in text.splitlines() if (found := _ASKED.match(line))]


def keep_seen(kept: Path, columns: Sequence[DraftedColumn]) -> None:
    """Keep of some columns what the next deliveries are held to, beside the mapping."""
    seen = _seen(kept) | {one.title: {"share": round(one.share, 4), "middle": one.middle} for one in columns}
    write_text(kept.with_suffix(".json"), json.dumps(seen, indent=1, ensure_ascii=False) + "\n")


def _seen(kept: Path) -> Document:
    seen = kept.with_suffix(".json")
    found: Document = json.loads(seen.read_text("utf-8")) if seen.is_file() else {}
    return found


def _drift(columns: Sequence[DraftedColumn], mapping: FileMapping, before: Document) -> Iterator[str]:
    """What is not as it was when the mapping was drafted."""
    there = {one.title for one in columns}
    yield from (t("`{title}` is gone", title=title) for title in mapping.columns if title not in there)
    for one in columns:
        was = before.get(one.title)
        if was is None and one.taken is None and one.title not in mapping.columns:
            yield t("`{title}` is new, and not read", title=one.title)
        if was is None or one.taken is None:
            continue
        if was["share"] - one.share > _FELL:
            odd = ", ".join(f"`{cell}`" for cell, _ in one.odd[:3])
            shares = {"now": f"{one.share:.0%}", "before": f"{was['share']:.0%}"}
            yield t(
                "`{title}`: {now} of its cells read, {before} did; now there are {odd}",
                title=one.title,
                odd=odd,
                **shares,
            )
        yield from _of_other_unit(one, was)


def _of_other_unit(one: DraftedColumn, was: Document) -> Iterator[str]:
    """That a column's figures are as many times what they were as one unit is of another."""
    if one.taken and one.middle and was["middle"] and (unit := _factor(one.middle / was["middle"])):
        times = f"{one.middle / was['middle']:.3g}"
        yield t(
            "`{title}`: its figures are {times} times what they were: {unit}?",
            title=one.title,
            times=times,
            unit=t(unit),
        )


def _factor(ratio: float) -> str:
    return next((words for factor, words in _FACTORS.items() if abs(ratio / factor - 1.0) < _NEAR), "")


def mapping_text(made: DraftedMapping, file: str, alike: Sequence[str] = ()) -> str:
    """A drafted mapping as the text of its file: what is taken, and as comments what is asked.

    `alike` are sheets that may be meant as well.
    """
    form, lines = made.form, [f"# Drafted from {in_quotes(file)}: look it through; what is asked has a `#?`."]
    words = {mark: word for word, mark in SEPARATOR_WORDS.items() if word.isalpha()}
    lines += [f"separator: {words[form.separator]}"] if form.separator else []
    lines += [f"encoding: {form.encoding}"] if form.encoding else []
    lines += [f"header: {form.header}"] if form.header > 1 else []
    or_ = f"  {OPEN} or {', '.join(map(in_quotes, alike))}: only one is read" if alike else ""
    lines += [f"sheet: {in_quotes(form.sheet)}{or_}"] if form.sheet else []
    lines += [f"unknown: [{', '.join(map(in_quotes, made.unknown))}]"] if made.unknown else []
    lines.append("columns:")
    for one in made.columns:
        if one.taken is not None:
            found_out = f"; bare figures are sizes in {one.taken.unit} alone" if one.found_out else ""
            says = f"{OPEN} {one.question}" if one.question else f"# {one.share:.0%} of {one.cells} cells{found_out}"
            lines += [f"  {in_quotes(one.title)}: {entry_text(one.taken)}  {says}"]
            lines += [f"    {OPEN} not read: {in_quotes(cell)}, {count} times" for cell, count in one.odd]
        else:
            lines += [f"  {in_quotes(one.title)}: ignore  {OPEN} {one.question or UNTOLD}"]
    return "\n".join(lines) + "\n"


def entry_text(column: Mapped) -> str:
    """What a mapping says of one column."""
    said = {"unit": column.unit, "decimal": "comma" if column.decimal == "," else "", "nominal": column.nominal}
    more = [f"{key}: {in_quotes(value)}" for key, value in said.items() if value]
    if column.values:
        more.append(f"values: {{{', '.join(f'{in_quotes(word)}: {ours}' for word, ours in column.values.items())}}}")
    return f"{{fact: {', '.join([column.name, *more])}}}" if more else column.name


def in_quotes(text: str) -> str:
    """A text in one line as YAML and JSON read it; what cannot be seen by its number, so that it is found again."""
    return "".join(
        c if c.isprintable() else f"\\u{ord(c):04x}" if ord(c) <= _FOUR else " "
        for c in json.dumps(text, ensure_ascii=False)
    )
