"""The smallest workbooks that hold some rows: .xlsx (ECMA-376) and .ods (ISO 26300), written from memory."""

import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr


class Formatted(NamedTuple):
    """A number with the format of its cell (ECMA-376 Part 1, 18.8.31), and what that shows."""

    value: float
    format: str
    shown: str


Cell = str | float | Formatted | None
Rows = Sequence[Sequence[Cell]]
Merged = Sequence[tuple[int, int, int, int]]
"""The first row and column and the last row and column of merged cells, from 1."""
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OASIS = "urn:oasis:names:tc:opendocument:xmlns"


class Error(str):
    """A cell that holds an error, such as `#N/A` (ECMA-376 Part 1, 18.18.11; of OpenDocument from memory)."""

    __slots__ = ()


class Formula(str):
    """A cell with a formula that whoever wrote it left to be worked out by a spreadsheet."""

    __slots__ = ()


def write_xlsx(path: Path, sheets: Mapping[str, Rows], merged: Merged = ()) -> Path:
    """Write a workbook of sheets by their names, all of them with the same cells merged."""
    places = range(1, len(sheets) + 1)
    every = (cell for rows in sheets.values() for row in rows for cell in row)
    formats = list(dict.fromkeys(["General", *(cell.format for cell in every if isinstance(cell, Formatted))]))
    ranges = "".join(f'<mergeCell ref="{_at(top, left)}:{_at(*end)}"/>' for top, left, *end in merged)
    listed = "".join(
        f'<sheet name="{escape(name)}" sheetId="{n}" r:id="rId{n}"/>' for n, name in zip(places, sheets, strict=True)
    )
    related = "".join(
        f'<Relationship Id="rId{n}" Type="{_OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in places
    )
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>'
        for n in places
    )
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Override PartName="/xl/workbook.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
        f'{types}<Override PartName="/xl/styles.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">{related}'
        f'<Relationship Id="rId0" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": _styles(formats),
    }
    for place, rows in zip(places, sheets.values(), strict=True):
        told = "".join(f'<row r="{n}">{_cells(row, n, formats)}</row>' for n, row in enumerate(rows, 1))
        parts[f"xl/worksheets/sheet{place}.xml"] = (
            f'<worksheet xmlns="{_MAIN}"><sheetData>{told}</sheetData>'
            f"{f'<mergeCells>{ranges}</mergeCells>' if ranges else ''}</worksheet>"
        )
    return _archive(path, parts)


def _styles(formats: Sequence[str]) -> str:
    """The styles of a workbook: the first is that of cells that name none (ECMA-376 Part 1, 18.8.10)."""
    told = "".join(f'<numFmt numFmtId="{164 + n}" formatCode={quoteattr(one)}/>' for n, one in enumerate(formats))
    each = "".join(f'<xf numFmtId="{164 + n}" applyNumberFormat="1"/>' for n, _ in enumerate(formats))
    return f'<styleSheet xmlns="{_MAIN}"><numFmts>{told}</numFmts><cellXfs>{each}</cellXfs></styleSheet>'


def _at(row: int, column: int) -> str:
    letters = ""
    while column:
        column, letter = divmod(column - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{letters}{row}"


def _cells(row: Sequence[Cell], number: int, formats: Sequence[str]) -> str:
    found = []
    for place, cell in enumerate(row, start=1):
        at = _at(number, place)
        if isinstance(cell, Formula):
            found.append(f'<c r="{at}"><f>{escape(cell)}</f><v></v></c>')
        elif isinstance(cell, Error):
            found.append(f'<c r="{at}" t="e"><f>1/0</f><v>{escape(cell)}</v></c>')
        elif isinstance(cell, Formatted):
            found.append(f'<c r="{at}" s="{formats.index(cell.format)}"><v>{cell.value}</v></c>')
        elif isinstance(cell, str):
            found.append(f'<c r="{at}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>')
        elif cell is not None:
            found.append(f'<c r="{at}"><v>{cell}</v></c>')
    return "".join(found)


def write_ods(path: Path, sheets: Mapping[str, Rows], merged: Merged = ()) -> Path:
    """Write a workbook of sheets by their names, as OpenDocument, all of them with the same cells merged."""
    tables = "".join(
        f'<table:table table:name="{escape(name)}">'
        + "".join(f"<table:table-row>{_ods_cells(row, n, merged)}</table:table-row>" for n, row in enumerate(rows, 1))
        + "</table:table>"
        for name, rows in sheets.items()
    )
    content = (
        f'<office:document-content xmlns:office="{_OASIS}:office:1.0" xmlns:table="{_OASIS}:table:1.0" '
        f'xmlns:text="{_OASIS}:text:1.0" office:version="1.3"><office:body><office:spreadsheet>{tables}'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        f'<manifest:manifest xmlns:manifest="{_OASIS}:manifest:1.0" manifest:version="1.3">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/></manifest:manifest>'
    )
    return _archive(path, {"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content})


def _ods_cells(row: Sequence[Cell], number: int, merged: Merged) -> str:
    """The cells of a row, those that are merged with others by how far they span (OpenDocument 1.3 Part 3, 19.677)."""
    found = []
    for place, cell in enumerate(row, start=1):
        told = _ods_cell(cell)
        for top, left, bottom, right in merged:
            if (number, place) == (top, left):
                spans = (
                    f'table:number-rows-spanned="{bottom - top + 1}" table:number-columns-spanned="{right - left + 1}"'
                )
                told = told.replace("<table:table-cell", f"<table:table-cell {spans}", 1)
            elif top <= number <= bottom and left <= place <= right:
                told = told.replace("table:table-cell", "table:covered-table-cell")
        found.append(told)
    return "".join(found)


def _ods_cell(cell: Cell) -> str:
    if cell is None:
        return "<table:table-cell/>"
    if isinstance(cell, Formatted):
        return (
            f'<table:table-cell office:value-type="float" office:value="{cell.value}"><text:p>{escape(cell.shown)}'
            "</text:p></table:table-cell>"
        )
    if isinstance(cell, Formula):
        return f"<table:table-cell table:formula={quoteattr(f'of:={cell}')}/>"
    if isinstance(cell, Error):
        attributes = 'table:formula="of:=NA()" office:value-type="string" office:string-value=""'
        return f"<table:table-cell {attributes}><text:p>{escape(cell)}</text:p></table:table-cell>"
    if isinstance(cell, str):
        return f'<table:table-cell office:value-type="string"><text:p>{escape(cell)}</text:p></table:table-cell>'
    return (
        f'<table:table-cell office:value-type="float" office:value="{cell}"><text:p>{cell}</text:p></table:table-cell>'
    )


def _archive(path: Path, parts: Mapping[str, str]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text if name == "mimetype" else f'<?xml version="1.0" encoding="UTF-8"?>{text}')
    return path
