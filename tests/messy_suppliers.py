"""Thirty files of made-up suppliers, damaged as spreadsheets and people damage them, with what is planted in each.

Ten manners of writing in three languages. What every item is stands beside the file, so that whoever reads it can be
held to having read it right, to having told what is planted, and to having told nothing else.
"""

import gzip
import io
import json
from collections.abc import Callable, Mapping, Sequence
from csv import writer
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from workbooks import write_ods, write_xlsx

FACTS = ("kind", "shank", "pin", "weight", "trailer_rating")
Cells = list[Any]
TITLES: Mapping[str, Sequence[str]] = {
    "en": ("Item No.", "Product Type", "Shank Size", "Pin Dia.", "Wt. (lbs)", "Max GTW", "Colour"),
    "de": ("Artikelnr.", "Produktart", "Vierkant", "Bolzen", "Gewicht [kg]", "Anhängelast [kg]", "Farbe"),
    "es": ("Referencia", "Tipo", "Espiga", "Pasador", "Peso (kg)", "Capacidad de arrastre [kg]", "Color"),
}
KINDS: Mapping[str, Mapping[str, str]] = {
    "en": {
        "ball_mount": "Ball Mount",
        "bike_carrier": "Bike Rack",
        "cargo_carrier": "Cargo Carrier",
        "step": "Hitch Step",
    },
    "de": {
        "ball_mount": "Kugelträger",
        "bike_carrier": "Fahrradträger",
        "cargo_carrier": "Lastenträger",
        "step": "Trittstufe",
    },
    "es": {
        "ball_mount": "Portabola",
        "bike_carrier": "Portabicicletas",
        "cargo_carrier": "Portaequipaje",
        "step": "Estribo",
    },
}
SHANKS = {
    "en": {"1-1/4 in": '1¼"', "2 in": "2 in.", "2-1/2 in": '2-1/2"'},
    "de": {"1-1/4 in": "32 mm", "2 in": "50 mm", "2-1/2 in": "63 mm"},
    "es": {"1-1/4 in": '1-1/4"', "2 in": '2"', "2-1/2 in": '2½"'},
}
PINS = {
    "en": {"1/2 in": "½ in", "5/8 in": "5/8 in. dia"},
    "de": {"1/2 in": "13 mm", "5/8 in": "16 mm"},
    "es": {"1/2 in": '1/2"', "5/8 in": '5/8"'},
}
DAMAGE = {"shank": "1.25E+00", "pin": "8-May", "weight": "#REF!", "kind": "Gizmo", "trailer_rating": "heavy"}
"""What is planted in a cell of each fact, which reads as nothing."""


@dataclass
class Messy:
    """One file: what its items are by number and fact, as texts that read; and what is planted, by row and fact."""

    path: Path
    items: dict[str, dict[str, str]] = field(default_factory=dict)
    odd: set[tuple[str, str]] = field(default_factory=set)
    lost: int = 0


def write_all(folder: Path, items: int = 12) -> list[Messy]:
    """Write the thirty files; the same each time."""
    made = []
    for language in TITLES:
        for number, write in enumerate(MANNERS):
            random = Random(f"{language}-{number}")
            messy = Messy(folder / f"{language}-{number}")
            rows = [_row(messy, language, place, random) for place in range(items)]
            _plant(messy, rows, random, lines=number in LINES)
            messy.path = write(messy.path, [list(TITLES[language]), *rows])
            made.append(messy)
    return made


def _row(messy: Messy, language: str, place: int, random: Random) -> Cells:
    """One item, as people of a language write it."""
    sku = f"{language.upper()}-{place:03}"
    kind, shank, pin = (random.choice(list(of[language])) for of in (KINDS, SHANKS, PINS))
    weight, rating = Decimal(random.randint(31, 299)) / 10, random.choice((907, 1588, 2268))
    unit = "lb" if language == "en" else "kg"
    messy.items[sku] = dict(zip(FACTS, (kind, shank, pin, f"{weight} {unit}", f"{rating} {unit}"), strict=True))
    shown = str(weight) if language == "en" else str(weight).replace(".", ",")
    told = f"{rating:,} lbs." if language == "en" else str(rating)
    words = (KINDS[language][kind], SHANKS[language][shank], PINS[language][pin])
    return [sku, *words, shown, told, random.choice(("red", "=blue()", "n/a"))]


def _plant(messy: Messy, rows: list[Cells], random: Random, *, lines: bool) -> None:
    """Damage a cell of three items, say nothing in one, and, where `lines` are, add some that are no items."""
    for place, fact in zip(random.sample(range(1, len(rows)), 3), random.sample(FACTS, 3), strict=True):
        rows[place][1 + FACTS.index(fact)] = DAMAGE[fact]
        messy.odd.add((rows[place][0], fact))
        del messy.items[rows[place][0]][fact]
    quiet = rows[0]
    quiet[4] = "n/a"
    del messy.items[quiet[0]]["weight"]
    if lines:
        rows += [["", *rows[1][1:]], [rows[2][0], *rows[3][1:]], ["TOTAL", "", "", "", "327", "", ""]]
        messy.lost = 2
        messy.odd.add(("TOTAL", "sku"))


def _text(rows: Sequence[Cells], separator: str = ",", above: Sequence[str] = ()) -> str:
    stream = io.StringIO()
    stream.writelines(f"{line}\n" for line in above)
    writer(stream, delimiter=separator, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def _as(ending: str, encoding: str, separator: str, above: Sequence[str] = ()) -> Callable[[Path, list[Cells]], Path]:
    def write(path: Path, rows: list[Cells]) -> Path:
        path = path.with_name(path.name + ending)
        text = _text(rows, separator, above).encode(encoding, "replace")
        path.write_bytes(gzip.compress(text) if ending.endswith(".gz") else text)
        return path

    return write


def _xlsx(path: Path, rows: list[Cells]) -> Path:
    return write_xlsx(path.with_name(path.name + ".xlsx"), {"Items": [["Our price list"], [], *_typed(rows)]})


def _ods(path: Path, rows: list[Cells]) -> Path:
    sheets = {"Terms": [["Terms of sale"], ["Net 30"]], "Articles": _typed(rows)}
    return write_ods(path.with_name(path.name + ".ods"), sheets)


def _typed(rows: list[Cells]) -> list[Cells]:
    """Rows with figures as figures, as sheets hold them."""
    return [rows[0], *([_figure(cell) for cell in row] for row in rows[1:])]


def _figure(cell: str) -> str | float | None:
    plain = cell.replace(",", ".") if cell.count(",") == 1 and cell.replace(",", "").isdigit() else cell
    return float(plain) if plain.replace(".", "").isdigit() else cell or None


def _jsonl(path: Path, rows: list[Cells]) -> Path:
    path = path.with_name(path.name + ".jsonl")
    titles, *items = rows
    path.write_text("".join(json.dumps(dict(zip(titles, row, strict=True))) + "\n" for row in items), "utf-8")
    return path


def _parquet(path: Path, rows: list[Cells]) -> Path:
    path = path.with_name(path.name + ".parquet")
    titles, *items = rows
    columns = [pa.array(list(column), pa.string()) for column in zip(*items, strict=True)]
    columns[1] = columns[1].dictionary_encode()
    pq.write_table(pa.table(columns, names=titles), path)
    return path


MANNERS = (
    _as(".csv", "utf-8", ","),
    _as(".csv", "cp1252", ";"),
    _as(".txt", "utf-16", "\t"),
    _as(".csv", "utf-8-sig", "|", ("Price list, spring", "all figures, without warranty, as of May")),
    _xlsx,
    _ods,
    _as(".csv.gz", "utf-8", ";"),
    _jsonl,
    _parquet,
    _as(".tsv", "cp1252", "\t", ("Our list",)),
)
LINES = (0, 1, 3, 4, 9)
"""The manners whose files have lines that are no items."""
