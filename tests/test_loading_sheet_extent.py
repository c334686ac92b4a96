"""Workbooks that are damaged, or made to take more room than there is, are refused in words and never read wrongly."""

import struct
import zipfile
from collections.abc import Mapping
from pathlib import Path
from random import Random

import pytest
from workbooks import Error, Rows, write_ods, write_xlsx

from fitsvc.language.problems import ProblemsFound
from fitsvc.loading import sheet_extent
from fitsvc.loading.workbooks import sheet_rows

_SHEET = "xl/worksheets/sheet1.xml"
_ROWS: Rows = [["sku", "pin"], ["A-1", Error("#N/A")], ["A-2", "5/8 in"]]
_SEED = 5
_DAMAGES = 120


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The parts of a workbook that is whole."""
    return _parts(write_xlsx(tmp_path_factory.mktemp("whole") / "a.xlsx", {"Items": _ROWS}))


def _parts(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _write(path: Path, parts: Mapping[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return path


def _read(path: Path) -> list[tuple[int, list[object]]]:
    return [(number, list(cells)) for number, cells in sheet_rows(path)]


@pytest.mark.parametrize(
    ("was", "made", "message"),
    [
        (b'"A3"', b'"XFD1048576"', "1,048,576 rows and 16,384 columns"),
        (b'"A3"', b'"A1048577"', "beyond the last"),
        (b'"A3"', b'"A99999999999"', "beyond the last"),
        (b'"A3"', b'"XFE3"', "beyond the last"),
        (b'<c r="A3" ', b'<x:row r="900000"/><x:row>' + b"<x:c/>" * 9_000 + b"</x:row><c ", "900,001 rows"),
    ],
)
def test_a_sheet_that_reaches_too_far(
    tmp_path: Path, parts: dict[str, bytes], was: bytes, made: bytes, message: str
) -> None:
    """It is refused before a place is made for every cell: for these there is no memory, which ends the process."""
    assert was in parts[_SHEET]
    changed = parts | {_SHEET: parts[_SHEET].replace(was, made)}
    with pytest.raises(ProblemsFound, match=message):
        _read(_write(tmp_path / "a.xlsx", changed))


def test_a_sheet_to_the_last_row(tmp_path: Path, parts: dict[str, bytes]) -> None:
    """What reaches far in one direction alone is read."""
    far = parts | {_SHEET: parts[_SHEET].replace(b'r="3"', b'r="20000"').replace(b'3"', b'20000"')}
    assert _read(_write(tmp_path / "a.xlsx", far))[-1] == (20_000, ["A-2", "5/8 in"])


def test_what_a_workbook_says_of_its_own_size_is_not_believed(
    tmp_path: Path, parts: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A part that unpacks to more than its headers say is refused for what it is."""
    monkeypatch.setattr(sheet_extent, "LARGEST", 100_000)
    long = parts[_SHEET] + b" " * 1_000_000
    path = _write(tmp_path / "a.xlsx", parts | {_SHEET: long})
    with pytest.raises(ProblemsFound, match="more than 0 MB unpacked"):
        _read(path)
    said, small = struct.pack("<I", len(long)), struct.pack("<I", 1_000)
    assert path.read_bytes().count(said) == 2
    (tmp_path / "b.xlsx").write_bytes(path.read_bytes().replace(said, small))
    with pytest.raises(ProblemsFound, match=r"MB unpacked"):
        _read(tmp_path / "b.xlsx")


def test_an_error_stands_where_its_cell_does(tmp_path: Path, parts: dict[str, bytes]) -> None:
    """A place in small letters is one, and a cell without one follows the last."""
    small = parts | {_SHEET: parts[_SHEET].replace(b'"B2"', b'"c2"')}
    assert _read(_write(tmp_path / "a.xlsx", small))[1] == (2, ["A-1", None, "#N/A"])
    untold = parts | {_SHEET: parts[_SHEET].replace(b' r="A2"', b"").replace(b' r="B2"', b"")}
    assert _read(_write(tmp_path / "b.xlsx", untold))[1] == (2, ["A-1", "#N/A"])


def test_damage_of_any_sort_is_told(tmp_path: Path, parts: dict[str, bytes]) -> None:
    """Whatever is broken in the XML or the archive: it reads, or is refused in a line. No other error leaves it."""
    whole_ods = _parts(write_ods(tmp_path / "whole.ods", {"Items": [["sku"], ["A-1"]]}))
    random, refused = Random(_SEED), 0
    for number in range(_DAMAGES):
        ending, of = (".ods", whole_ods) if number % 4 == 3 else (".xlsx", parts)
        changed = _damaged(random, of)
        path = _write(tmp_path / f"{number}{ending}", changed)
        if number % 3 == 0:
            content = bytearray(path.read_bytes())
            content[random.randrange(len(content))] ^= 1 << random.randrange(8)
            path.write_bytes(content)
        try:
            _read(path)
        except ProblemsFound as told:
            refused += 1
            (problem,) = told.problems
            assert problem.message and problem.help and problem.file == str(path)
    assert refused > _DAMAGES // 4


def _damaged(random: Random, parts: Mapping[str, bytes]) -> dict[str, bytes]:
    """Parts of which one is gone, cut off, or has some bytes or a number changed."""
    found, name = dict(parts), random.choice(sorted(parts))
    part, place = found[name], random.randrange(len(found[name]))
    match random.randrange(4):
        case 0:
            del found[name]
        case 1:
            found[name] = part[:place]
        case 2:
            found[name] = part[:place] + bytes([random.randrange(256)]) * random.randrange(1, 4) + part[place + 1 :]
        case _:
            number = random.choice([b"-1", b"x", b"", b"99999999999999999999", "٣".encode()])
            found[name] = part.replace(b'"2"', b'"' + number + b'"')
    return found
