"""Which rigs a supplier means that names vehicles: those surely meant, those that may be, and what nobody stores.

A claim about what is not told apart, or is written in words that nobody knows, is unclear. It is told so and is never
taken for one that holds.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from fitsvc.answers.phrases import joined
from fitsvc.answers.taken import folded
from fitsvc.audits.called_vehicles import ASKED, CalledVehicles, in_words
from fitsvc.audits.naming import (
    EARLIEST,
    LATEST,
    MONTH,
    VehicleTold,
    Wanted,
    Years,
    before_exceptions,
    excepted,
    names_none,
    plain,
    taken_years,
    without_exceptions,
)
from fitsvc.audits.rigs import AuditRig
from fitsvc.language.problems import nearest
from fitsvc.language.truth import NO, UNKNOWN, YES, Truth, conjunction
from fitsvc.language.types import ListType
from fitsvc.loading.rows import quoted
from fitsvc.rulebook.rules import Rulebook
from fitsvc.tongues import counted, later, t

VEHICLE, EXCEPT, FROM, TO = "vehicle", "except", "from", "to"
"""The columns of a name beside its facts and variants: in free words, what is excepted, the first and last year."""
OURS: Final = later("nothing is to be mended in the file: what is stored of our own vehicle has to say what it is")
"""What helps where no other name would."""
_SHOWN: Final = 3
_SLIP: Final = 0.8
"""How close a name is to another for a slip of the pen, as `mukle` to `muckle`; what is farther off nobody stores."""
_CUT_SHORT: Final = re.compile(r"(?P<of>19|20)(?P<first>\d\d)[-/](?P<last>\d\d)")
_TWO_DIGITS: Final = re.compile(r"\d\d")
"""Years as some write them, which are asked about and not taken: `2022-24` may be a month, `23` a length."""
_LONGEST: Final = 400
"""Characters of a name: whoever writes more names several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meant:
    """What a name comes to: the places of the rigs surely meant and of those that may be, and why it is unclear.

    `unstored` are the vehicles named of which there is no rig; `column` is where the problem stands. `untold` are the
    vehicles of ours of which too little is stored to tell, each with what that is: then no other name would help.
    """

    rigs: tuple[int, ...] = ()
    may: tuple[int, ...] = ()
    unstored: str = ""
    problem: str = ""
    help: str = ""
    column: str = ""
    untold: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True, kw_only=True)
class _Name:
    """A name while it is read; `fits` once it names anything that is not excepted."""

    wanted: list[Wanted]
    years: list[Years]
    left_out: list[Years] = field(default_factory=list)
    fits: bool = False
    called: bool = False
    made: bool = False
    models: tuple[str, ...] = ()


class _Unclear(Exception):
    """A name that cannot be read: where, what, and what to do; or one of which nothing is known at all."""

    def __init__(self, column: str, problem: str, help: str, unstored: str = "") -> None:
        super().__init__(problem)
        self.meant = Meant(problem=problem, help=help, column=column, unstored=unstored)


class NamedVehicles:
    """The vehicles of an audit's rigs, found by what people call them."""

    def __init__(self, rigs: Sequence[AuditRig], rulebook: Rulebook) -> None:
        self._of = CalledVehicles(rigs, rulebook)
        self._kept: dict[tuple[tuple[str, str], ...], Meant] = {}

    @property
    def columns(self) -> list[str]:
        """The columns that a file of claims may name vehicles by."""
        short = (name.partition(".")[2] for name, fact in self._of.facts.items() if fact.effort == ASKED)
        return [VEHICLE, EXCEPT, FROM, TO, *short, *self._of.words.variants]

    def meant(self, cells: Mapping[str, str]) -> Meant:
        """What the cells of a line name, by column; empty ones say nothing."""
        told = tuple((name, cell.strip()) for name, cell in cells.items() if cell.strip())
        if told not in self._kept:
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            try:
                self._kept[told] = self._meant(dict(told))
            except _Unclear as found:
                self._kept[told] = found.meant
        return self._kept[told]

    def _meant(self, cells: Mapping[str, str]) -> Meant:
        name = _Name(wanted=[], years=[])
        for column, cell in cells.items():
            if len(cell) > _LONGEST:
                told = t("a name of {count} characters", count=counted(len(cell)))
                raise _Unclear(column, told, t("name each vehicle in a line of its own"))
            self._read(name, column, plain(cell))
        if name.wanted and not name.fits:
            raise _excepts_alone(next(iter(cells)))
        if not name.wanted and not name.years:
            raise _Unclear(next(iter(cells), ""), t("no vehicle is named"), t("write its years, make and model"))
        if any(first > last for first, last in name.years):
            raise _Unclear(next(iter(cells)), t("the first year is after the last"), t("write `2015-2020`"))
        said = " ".join(f"except {cell}" if column == EXCEPT else cell for column, cell in cells.items())
        return self._resolved(name, said, next(iter(cells)))

    def _read(self, name: _Name, column: str, text: str) -> None:
        """Take one cell of a line."""
        whole = f"vehicle.{column}"
        name.fits |= column not in (VEHICLE, EXCEPT)
        if column in (FROM, TO) or whole == self._of.year:
            self._read_years(name, column, text)
        elif column == EXCEPT:
            self._read_exceptions(name, column, [text])
        elif whole in self._of.names:
            self._read_called(name, column, text)
        elif column in self._of.words.variants:
            self._read_member(name, column, text)
        elif whole in self._of.facts and isinstance(self._of.facts[whole].type, ListType):
            members = self._of.members(whole)
            if text not in members:
                raise _not_known(column, text, members)
            name.wanted.append(self._of.of_list(whole, members[text], text))
        else:
            self._read_phrase(name, column, text)

    def _read_years(self, name: _Name, column: str, text: str) -> None:
        years, left = taken_years(text)
        self._refuse_month(column, text)
        if not years or left.strip(" |,;/&-").replace("and", "").strip(" |,;/&"):
            told = t("`{text}` names no years", text=text)
            raise _Unclear(column, told, t("write `2015-2020`, or `2015, 2017`"))
        if column == FROM:
            years = [(years[0][0], LATEST)]
        elif column == TO:
            years = [(name.years.pop()[0] if name.years else EARLIEST, years[-1][1])]
        name.years += years

    def _read_called(self, name: _Name, column: str, text: str) -> None:
        """Take a make or model by its own column: it is this one, and none with a longer name."""
        whole = f"vehicle.{column}"
        name.called, name.made = True, name.made or whole == self._of.names[0]
        name.models += (text,) if whole == self._of.names[-1] else ()
        if text not in self._of.called[whole] and (near := nearest(text, self._of.called[whole], _SLIP)):
            told = t("no rig is of a {column} `{text}`", column=column, text=text)
            raise _Unclear(column, told, t("did you mean `{near}`?", near=near))

        def holds(one: VehicleTold) -> Truth:
            own = one.texts.get(whole)
            return UNKNOWN if own is None else YES if folded(own) == text else NO

        name.wanted.append(Wanted(text, holds))

    def _read_member(self, name: _Name, column: str, text: str) -> None:
        members = self._of.words.variants[column]
        member = next((one for one, written in members.items() if text == one or text in written), "")
        if not member:
            raise _not_known(column, text, members)
        name.wanted.append(self._of.of_variant(column, member, f"{column} {member}"))

    def _read_phrase(self, name: _Name, column: str, text: str) -> None:
        self._refuse_month(column, text)
        begins = before_exceptions(text)
        text, exceptions = without_exceptions(text)
        phrase = self._of.reader.read(text)
        excepts_first = begins is not None and self._names_none(begins)
        if phrase.unread and not phrase.tests:
            if exceptions and excepts_first and not phrase.years:
                raise _excepts_alone(column)
            if names_none(phrase.unread):
                raise _Unclear(column, t("no vehicle is named"), t("write its years, make and model"))
            if not any(nearest(one, self._of.vocabulary, _SLIP) for one in phrase.unread):
                raise _Unclear(column, "", "", text)
        self._refuse_unread(column, phrase.unread)
        # `not for Muckle, Bothy` may except the second too.
        if phrase.twofold or (excepts_first and any(one in phrase.tests for one in self._of.names)):
            told = t("`{text}` can be read in two ways", text=text.strip(" |,"))
            raise _Unclear(column, told, t("write a line for each"))
        name.fits |= not excepts_first and bool(phrase.tests or phrase.years)
        name.called |= any(one in phrase.tests for one in self._of.names)
        name.made |= bool(self._of.names) and self._of.names[0] in phrase.tests
        name.models += tuple(one.said for one in phrase.tests.get(self._of.names[-1], ())) if self._of.names else ()
        name.wanted += phrase.wanted()
        name.years += phrase.years
        self._read_exceptions(name, column, exceptions)

    def _names_none(self, text: str) -> bool:
        """Whether a text says nothing of which vehicle is meant."""
        phrase = self._of.reader.read(text)
        return not phrase.tests and not phrase.years and names_none(phrase.unread)

    def _read_exceptions(self, name: _Name, column: str, texts: Iterable[str]) -> None:
        for text in (part.strip() for one in texts for part in one.split(",")):
            phrases = [self._of.reader.read(part) for part in text.split(" and ")]
            self._refuse_unread(column, [word for one in phrases for word in one.unread])
            if any(phrase.twofold for phrase in phrases):
                told = t("`{text}` can be read in two ways", text=text)
                raise _Unclear(column, told, t("write each behind a comma"))
            if not any(phrase.tests or phrase.years for phrase in phrases):
                told = t("`{text}` excepts nothing that is known", text=text or "not")
                raise _Unclear(column, told, t("write what is excepted"))
            if not any(phrase.tests for phrase in phrases):
                name.left_out += [years for phrase in phrases for years in phrase.years]
            name.wanted.append(excepted(phrases, self._of.of_years))

    def _refuse_month(self, column: str, text: str) -> None:
        if month := MONTH.search(text):
            help = t("write the years alone, such as `{year}` or `{year} and later`", year=month[1])
            told = t("`{text}` is a month, and no vehicle is told by months", text=month[0])
            raise _Unclear(column, told, help)

    def _refuse_unread(self, column: str, words: Sequence[str]) -> None:
        if not words:
            return
        listed = ", ".join(f"`{word}`" for word in words)
        near = [found for word in words if (found := self._near(word))]
        otherwise = t("write it as a label of the vehicle says it, what is excepted behind `except`, or name the rig")
        help = t("did you mean `{near}`?", near=near[0]) if near else otherwise
        raise _Unclear(column, t("no label of a vehicle of these rigs has {listed}", listed=listed), help)

    def _near(self, word: str) -> str:
        """What a word that is not known was probably to be: years cut short, a phrase without its blanks, or a slip."""
        short = _CUT_SHORT.fullmatch(word)
        return (
            (f"{short['of']}{short['first']}-{short['of']}{short['last']}" if short else "")
            or (plain(f"'{word}") if _TWO_DIGITS.fullmatch(word) else "")
            or self._of.reader.apart.get(word, "")
            or nearest(word, self._of.vocabulary, _SLIP)
            or ""
        )

    def _resolved(self, name: _Name, text: str, column: str) -> Meant:
        tests = [*name.wanted, *([self._of.of_years(name.years)] if name.years else ())]
        sure, may = list[tuple[VehicleTold, list[int]]](), list[tuple[VehicleTold, list[int]]]()
        open_, untold = dict[str, None](), list[list[tuple[str, str]]]()
        for one, places in self._of.candidates(name.models):
            each = [test.holds(one) for test in tests]
            if (found := conjunction(*each)) == YES:
                sure.append((one, places))
            elif found == UNKNOWN:
                may.append((one, places))
                waits = [test for test, is_so in zip(tests, each, strict=True) if is_so == UNKNOWN]
                open_ |= {test.said: None for test in waits}
                untold.append([(one.label, test.said) for test in waits if not test.theirs])
        rigs, maybe = (tuple(sorted(p for _, places in some for p in places)) for some in (sure, may))
        unstored = self._unstored(name, [one for one, _ in (*sure, *may)], text)
        makes = self._makes([one for one, _ in sure]) if name.called and not name.made else ()
        if makes:
            told = t("{what} is made by {makes}", what=quoted(text), makes=joined(makes))
            return Meant(may=rigs + maybe, unstored=unstored, problem=told, help=t("write the make"), column=column)
        if not may:
            return Meant(rigs=rigs, unstored=unstored)
        labels = [one.label for one, _ in may]
        more = t(" and {count} more", count=len(labels) - _SHOWN) if len(labels) > _SHOWN else ""
        listed = ", ".join(f"`{said}`" for said in open_)
        told = t(
            "{what} may mean {labels}: whether it is {listed} is not told",
            what=quoted(text),
            labels="; ".join(labels[:_SHOWN]) + more,
            listed=listed,
        )
        found_ = Meant(rigs=rigs, may=maybe, unstored=unstored, problem=told, help=OURS, column=column)
        if all(untold):
            return replace(found_, untold=tuple(pair for pairs in untold for pair in pairs))
        whole = t("write the whole name, or name the rig")
        help = t("write its make and model in columns of their own, or name the rig") if column == VEHICLE else whole
        return replace(found_, help=help)

    def _makes(self, sure: Sequence[VehicleTold]) -> list[str]:
        """The makes of which several have a model of one name."""
        by_model: dict[str, set[str]] = {}
        for one in sure:
            make, model = (folded(one.texts.get(name, "")) for name in (self._of.names[0], self._of.names[-1]))
            by_model.setdefault(model, set()).add(make)
        return sorted({make for makes in by_model.values() if len(makes) > 1 for make in makes})

    def _unstored(self, name: _Name, found: Sequence[VehicleTold], text: str) -> str:
        """Of what is named, that of which there is no rig: all of it, or years; of an open range those past what is."""
        if not found:
            return text
        own = [one.values.get(self._of.year) for one in found]
        if not all(isinstance(one, tuple) for one in own):
            return ""
        stored = [one for one in own if isinstance(one, tuple)]
        earliest, latest = int(min(low for low, _ in stored)), int(max(high for _, high in stored))
        left = set[int]()
        for first, last in name.years:
            # A range that is open to one side has no end to look for: one year past all that is stored stands for them.
            low = min(last, earliest - 1) if first <= EARLIEST else first
            high = max(first, latest + 1) if last >= LATEST else last
            left |= set(range(low, high + 1))
        left = {year for year in left if not _is_in(year, name.left_out)}
        left -= {year for low, high in stored for year in range(int(low), int(high) + 1)}
        is_open = (
            any(first <= EARLIEST for first, _ in name.years) and not _is_in(EARLIEST, name.left_out),
            any(last >= LATEST for _, last in name.years) and not _is_in(LATEST, name.left_out),
        )
        return in_words(
            (
                EARLIEST if is_open[0] and first < earliest else first,
                LATEST if is_open[1] and last > latest else last,
            )
            for first, last in _runs(sorted(left))
        )


_MOST_KEPT: Final = 10_000
"""Names that are kept with what they come to: a file repeats them, line after line."""


def _is_in(year: int, ranges: Iterable[Years]) -> bool:
    return any(first <= year <= last for first, last in ranges)


def _runs(years: Sequence[int]) -> list[Years]:
    """Years that follow on each other as ranges."""
    found: list[Years] = []
    for year in years:
        if found and found[-1][1] == year - 1:
            found[-1] = (found[-1][0], year)
        else:
            found.append((year, year))
    return found


def _excepts_alone(column: str) -> _Unclear:
    """A name of which nothing is claimed: taken for all that it does not except it would be a claim of every other."""
    told = t("it names what it does not fit, and nothing that it fits")
    return _Unclear(column, told, t("write the vehicles that it fits, and what is excepted of them behind"))


def _not_known(column: str, text: str, members: Iterable[str]) -> _Unclear:
    """A word that a column does not take, with those that it does."""
    told = t("`{text}` is not known", text=text)
    return _Unclear(column, told, t("it is one of {listed}", listed=", ".join(members)))
