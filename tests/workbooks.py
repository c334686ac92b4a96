"""The smallest workbooks that hold some rows: .xlsx (ECMA-376) and .ods (ISO 26300), written from memory."""

import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

Rows = Sequence[Sequence[str | float | None]]
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OASIS = "urn:oasis:names:tc:opendocument:xmlns"


class Error(str):
    """A cell that holds an error, such as `#N/A` (ECMA-376 Part 1, 18.18.11; of OpenDocument from memory)."""

    __slots__ = ()


def write_xlsx(path: Path, sheets: Mapping[str, Rows]) -> Path:
    """Write a workbook of sheets by their names."""
    places = range(1, len(sheets) + 1)
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
        f"{types}</Types>",
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">{related}</Relationships>',
    }
    for place, rows in zip(places, sheets.values(), strict=True):
        told = "".join(f'<row r="{n}">{_cells(row, n)}</row>' for n, row in enumerate(rows, 1))
        parts[f"xl/worksheets/sheet{place}.xml"] = (
            f'<worksheet xmlns="{_MAIN}"><sheetData>{told}</sheetData></worksheet>'
        )
    return _archive(path, parts)


def _cells(row: Sequence[str | float | None], number: int) -> str:
    found = []
    for place, cell in enumerate(row):
        first = chr(ord("A") + place // 26 - 1) if place >= 26 else ""
        at = f"{first}{chr(ord('A') + place % 26)}{number}"
        if isinstance(cell, Error):
            found.append(f'<c r="{at}" t="e"><f>1/0</f><v>{escape(cell)}</v></c>')
        elif isinstance(cell, str):
            found.append(f'<c r="{at}" t="inlineStr"><is><t>{escape(cell)}</t></is></c>')
        elif cell is not None:
            found.append(f'<c r="{at}"><v>{cell}</v></c>')
    return "".join(found)


def write_ods(path: Path, sheets: Mapping[str, Rows]) -> Path:
    """Write a workbook of sheets by their names, as OpenDocument."""
    tables = "".join(
        f'<table:table table:name="{escape(name)}">'
        + "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows)
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


def _ods_cell(cell: str | float | None) -> str:
    if cell is None:
        return "<table:table-cell/>"
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
