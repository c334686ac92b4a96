"""What is asked of who knows a supplier's file, and its mapping with what they answer.

Asked is of each column that no fact is taken for what it is, and of each word that a list has not which member it
means. An answer goes into the line of its column in the mapping that is kept, and all else there stays as it was.
"""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from fitsvc.audits.chunks import shown
from fitsvc.audits.drafting import ENOUGH, DraftedColumn, facts_asked, name_known, said_of, sample_of, tried_as
from fitsvc.audits.intake import OPEN, UNTOLD, entry_text, in_quotes, keep_seen
from fitsvc.audits.mapping import KEYS, FileMapping, Mapped, folded, needs_unit, read_mapping, unit_problems
from fitsvc.facts import FactReader
from fitsvc.files import written
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import UNITS
from fitsvc.language.types import ListType
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import t

IGNORE: Final = "ignore"
_YES: Final = ("y", "yes")
_SAMPLES: Final = 5
_TOLD: Final = re.compile(r"\s*(?P<name>[^\[]*?)\s*(?:\[\s*(?P<unit>[^\]]*?)\s*\])?\s*")
_LINE: Final = re.compile(r"\s+(?P<title>\"(?:[^\"\\]|\\.)*\"|'(?:[^']|'')*'|[^\s\"'#{][^:#]*?)\s*:(?=\s)")


@dataclass(frozen=True, slots=True)
class OpenWord:
    """A word of a column that is no member of its list, and how many of the cells that were looked at say it."""

    title: str
    word: str
    cells: int
    members: Sequence[str]


class IntakeQuestions:
    """What is open of one supplier's file, and the answers, each kept when it is given; `mapping` has them."""

    def __init__(self, path: Path, reader: FactReader, kept: Path, columns: Sequence[DraftedColumn]) -> None:
        self._reader, self._kept = reader, kept
        self.mapping = read_mapping(kept, reader.vocabulary)
        self._chunk = sample_of(path, self.mapping.form)
        self.facts = facts_asked(reader, self._chunk, self.mapping)
        self._columns = {one.title: one for one in columns}

    def columns(self) -> list[DraftedColumn]:
        """The columns of which nobody said yet what they are: those asked about, and those that are nothing and new."""
        lines = _lines_of(self._kept.read_text("utf-8"))
        return [
            one
            for title, one in self._columns.items()
            if one.cells and (OPEN in lines[title] if title in lines else one.taken is None)
        ]

    def words(self) -> Iterator[OpenWord]:
        """The words of lists that are no members of them, column by column; where subjects have each a list of one name
        those of the list that is asked.
        """
        for title, one in list(self._columns.items()):
            fact = self.facts.get(one.taken.name) if one.taken else None
            if fact is not None and isinstance(fact.type, ListType) and not fact.type.sizes:
                said = said_of(self._reader, self._chunk, self.mapping, title, fact) if one.odd else ()
                for word, cells in one.odd:
                    if word in said:
                        yield OpenWord(title, word, cells, fact.type.members)

    def samples(self, title: str) -> list[str]:
        """Some cells of a column, as they stand there."""
        cells = dict.fromkeys(shown(cell).strip() for cell in self._chunk.cells[title] if cell)
        return [cell for cell in cells if cell][:_SAMPLES]

    def known(self, said: str) -> list[Fact]:
        """The facts in whose name or label some words stand: all, of none."""
        words = said.casefold().split()
        return [one for one in self.facts.values() if all(word in f"{one.short} {one.label}" for word in words)]

    def told(self, title: str, said: str) -> DraftedColumn:
        """A column as it reads when it is what somebody says, such as `weight [lb]`; a unit alone, or `yes`, goes
        with what its title calls it. Nothing is kept yet.

        ProblemsFound where that is no fact, or has no such unit.
        """
        found = _TOLD.fullmatch(said)
        called, unit = (found["name"], found["unit"] or "") if found else (said, "")
        name = name_known(called, self.facts)
        if not name and (called in UNITS or called.casefold() in _YES):  # what its title calls it was asked already
            name, unit = name_known(title, self.facts), called if called in UNITS else ""
        if not name:
            raise ProblemsFound([self._unknown(called)])
        others = (one for one in self._columns.values() if one.title != title and one.taken and one.taken.name == name)
        if other := next((one.title for one in others), ""):
            raise ProblemsFound(
                [Problem(t("`{title}` is `{name}` already", title=other, name=name), t("a fact stands in one column"))]
            )
        fact = self.facts.get(name)
        if problems := unit_problems(Mapped(title=title, name=name, unit=unit), fact):
            raise ProblemsFound(problems)
        return tried_as(self._reader, self._chunk, self.mapping, title, name, unit, {})

    def wants_unit(self, one: DraftedColumn) -> bool:
        """Whether few cells of a column read, and neither they nor its title tell a unit."""
        fact = self.facts.get(one.taken.name) if one.taken else None
        return fact is not None and needs_unit(fact) and not (one.taken and one.taken.unit) and one.share < ENOUGH

    def keep(self, one: DraftedColumn) -> None:
        """Keep what a column was told to be."""
        assert one.taken is not None
        keep_seen(self._kept, [one])  # first, so that no column that is kept is without what it is held to
        self._put(one.title, one.taken, f"as answered: {one.share:.0%} of {one.cells} cells")
        self._columns[one.title] = one

    def keep_ignored(self, title: str) -> None:
        """Keep that a column is not to be read, which is then asked no more."""
        self._put(title, Mapped(title=title, name=IGNORE), "as answered")
        self._columns[title] = replace(self._columns[title], taken=None)

    def keep_word(self, word: OpenWord, member: str) -> None:
        """Keep what a word means; ProblemsFound where that is no member. Empty means that there is no such thing."""
        if member and member not in word.members:
            near = nearest(member.casefold().replace(" ", "_"), word.members)
            one_of = t("it is one of {listed}", listed=", ".join(word.members))
            help = t("did you mean `{near}`?", near=near) if near else one_of
            raise ProblemsFound([Problem(t("`{word}` is none of its choices", word=member), help)])
        was = self._columns[word.title].taken
        assert was is not None
        values = {**was.values, folded(word.word): member}
        one = tried_as(self._reader, self._chunk, self.mapping, word.title, was.name, was.unit, values)
        self.keep(replace(one, taken=replace(was, values=values)))

    def _unknown(self, said: str) -> Problem:
        near = nearest(said.casefold().replace(" ", "_"), [*self.facts, *KEYS])
        find = t("`?` and a word tells the facts that have it, such as `? weight`")
        help = t("did you mean `{near}`?", near=near) if near else find
        message = t("`{said}` is no fact of an accessory, and none of {keys}", said=said, keys=", ".join(KEYS))
        return Problem(message, help)

    def _put(self, title: str, column: Mapped, comment: str) -> None:
        """Put a column into the mapping that is kept; ProblemsFound, and it stays as it was, where it has no line."""
        expected = replace(self.mapping, columns={**self.mapping.columns, title: column})
        with written(self._kept) as place:
            place.write_text(with_column(self._kept.read_text("utf-8"), title, entry_text(column), comment), "utf-8")
            if not self._is(place, expected):
                line = f"{in_quotes(title)}: {entry_text(column)}"
                help = t("write it there by hand, under `columns`: `{line}`", line=line)
                message = t("the mapping is not written line by line")
                raise ProblemsFound([Problem(message, help, file=str(self._kept))])
        self.mapping = expected

    def _is(self, place: Path, expected: FileMapping) -> bool:
        try:
            return read_mapping(place, self._reader.vocabulary) == expected
        except ProblemsFound:
            return False


def asked_of(kept: Path) -> dict[str, str]:
    """What a mapping that is kept asks of the columns that may be a fact, by their titles."""
    asked = {title: line.partition(OPEN)[2].strip() for title, line in _lines_of(kept.read_text("utf-8")).items()}
    return {title: question for title, question in asked.items() if question not in ("", UNTOLD)}


def with_column(text: str, title: str, entry: str, comment: str) -> str:
    """The text of a mapping with one column's line written anew, or added as the last, without what was asked of it."""
    lines, columns = text.splitlines(), _lines_of(text)
    place = lines.index(columns[title] if title in columns else next(reversed(columns.values()), lines[-1]))
    behind = place + 1
    while behind < len(lines) and lines[behind].lstrip().startswith(OPEN):
        behind += 1
    indent = lines[place][: len(lines[place]) - len(lines[place].lstrip())] or "  "
    start = place if title in columns else behind
    lines[start:behind] = [f"{indent}{in_quotes(title)}: {entry}  # {comment}"]
    return "\n".join(lines) + "\n"


def _lines_of(text: str) -> dict[str, str]:
    """The lines of a mapping that have a column each, by its title."""
    _, _, below = text.partition("columns:")
    found: dict[str, str] = {}
    for line in below.splitlines():
        if (told := _LINE.match(line)) is not None:
            title = told["title"]
            bare = json.loads(title) if title.startswith('"') else title.strip("'").replace("''", "'")
            found.setdefault(bare, line)
    return found
