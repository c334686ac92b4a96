"""What a place of a rule file names, where that is declared, and where else it is named."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitsvc.desk.folders import Desk
from fitsvc.desk.naming import FACT_PARTS, FUNCTION_NAMES, Declared, FolderNames
from fitsvc.desk.offering import compared, kinds_at
from fitsvc.language import functions
from fitsvc.rulebook.folder import shown_as
from fitsvc.rulebook.forms import TEXT
from fitsvc.rulebook.json_schema import FILES, kind_of
from fitsvc.rulebook.yaml_spot import Spot, spot_at

_TOKEN: Final = re.compile(r"[A-Za-z_]\w*(?:[.\-/]\w+)*")
_PARTS: Final = ("/", "-")
"""What stands between names: a limit and its rating, and figures of which one is taken off the other."""
_OF_A_FACT: Final = "|".join(FACT_PARTS)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a file's text, from an index to another."""

    path: Path
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Mention:
    """What a place names, and all that it stands for; a function is declared in no rule file."""

    name: str
    place: Stretch
    declared: tuple[Declared, ...]


def named_at(desk: Desk, path: Path, index: int) -> Mention | None:
    """What is named at an index of a file; None in prose, and where nothing is."""
    text, names = desk.text(path), desk.names()
    for one in desk.declared(path):
        end = one.start + len(one.written)
        if one.start <= index <= end and text[one.start : end] == one.written:
            name = next((name for name, role in names.of("role").items() if role is one), one.name)
            return Mention(name, Stretch(path, one.start, end), (one,))
    line, behind = text.rfind("\n", 0, index) + 1, text.find("\n", index)
    tokens = _TOKEN.finditer(text, line, behind if behind >= 0 else len(text))
    token = next((one for one in tokens if one.start() <= index <= one.end()), None)
    if token is None:
        return None
    spot = spot_at(text, token.end())
    plain = spot is not None and not _prose(desk, path, spot)
    for start, name in _candidates(token[0], token.start(), index):
        found = names.called(name)
        called = name in FUNCTION_NAMES and text.startswith("(", start + len(name))
        if (found or called) and (plain or re.search(r"[.\-]", name)):
            return Mention(name, Stretch(path, start, start + len(name)), tuple(_meant(found, spot, names)))
    return None


def _candidates(token: str, start: int, index: int) -> Iterator[tuple[int, str]]:
    """The names that a token may be at an index, longest first, each with its own index."""
    yield start, token
    for mark in _PARTS:
        at = start
        for part in token.split(mark):
            if at <= index <= at + len(part):
                token, start = part, at
            at += len(part) + 1
        yield start, token
    while "." in token:
        token = token.rpartition(".")[0]
        yield start, token


def _prose(desk: Desk, path: Path, spot: Spot) -> bool:
    """Whether a text that is for people is written at a place, and no value in it."""
    of = kind_of(path.relative_to(desk.folder).as_posix()) if path.is_relative_to(desk.folder) else ""
    if spot.in_key or not of or spot.written.rfind("{") > spot.written.rfind("}"):
        return False
    return TEXT in kinds_at(FILES[of][1], spot.path)


def _meant(found: list[Declared], spot: Spot | None, names: FolderNames) -> list[Declared]:
    """Of several that a word stands for the member that the fact before it may be, or what `present` asks for."""
    if spot is None:
        return found
    if re.search(r"\bpresent\(\s*\w+\Z", spot.written):
        return [one for one in found if one.sort == "subject"] or found
    fact = compared(re.sub(r"[\w.]+\Z", "", spot.written)) or (spot.path[-1] if spot.path else "")
    close = [one for one in found if one.sort == "member" and one.of == names.type_of(fact)]
    return close or found


def declarations(desk: Desk, named: Mention) -> list[Stretch]:
    """Where that stands which a place names; of a function its row in fitsvc's own table."""
    paths = {shown_as(path): path for path in desk.files()}
    found = [_now(desk, paths[one.source.file], one) for one in named.declared if one.source.file in paths]
    if found or named.name not in FUNCTION_NAMES:
        return found
    path = Path(functions.__file__)
    row = re.search(rf'"({re.escape(named.name)})"', path.read_text("utf-8"))
    return [Stretch(path, row.start(1), row.end(1))] if row else []


def _now(desk: Desk, path: Path, one: Declared) -> Stretch:
    """Where a declaration stands by now, in a file that may have been changed since it could be read."""
    text, was = desk.text(path), one.source
    if text == was.text:
        return Stretch(path, one.start, one.start + len(one.written))
    line, column = was.place(one.start)
    said = was.text.split("\n")[line - 1]
    lines = text.split("\n")
    same = [number for number, other in enumerate(lines) if other == said]
    if not same:
        return Stretch(path, 0, 0)
    nearest = min(same, key=lambda number: abs(number - (line - 1)))
    start = sum(len(other) + 1 for other in lines[:nearest]) + column - 1
    return Stretch(path, start, start + len(one.written))


def mentions(name: str, text: str) -> Iterator[tuple[int, int]]:
    """Where a text has a name, as a whole: of a fact what is read of it as well, behind a dot."""
    written = re.escape(name)
    if "." in name:
        pattern = rf"(?<![\w.]){written}(?!\w)(?!\.(?!(?:{_OF_A_FACT})\b)[A-Za-z_])"
    elif "-" in name:
        pattern = rf"(?<![\w.-]){written}(?![\w-])"
    else:
        pattern = rf"(?<=lookup\(){written}(?![\w-])"
    for found in re.finditer(pattern, text):
        yield found.span()


def references(desk: Desk, named: Mention) -> list[Stretch]:
    """Where all files of the folder name what a place names, its declarations among them."""
    found = {(one.path, one.start): one for one in declarations(desk, named)}
    for path in dict.fromkeys((*desk.files(), *desk.own())):
        for start, end in mentions(named.name, desk.text(path)):
            found.setdefault((path, start), Stretch(path, start, end))
    return list(found.values())
