"""What a supplier calls vehicles by, read: `2015-2020 Brannoch Muckle long bed, all but four-wheel drive`.

A name is read to tests, each of which a vehicle passes, fails, or leaves open where nothing is stored that would tell.
What cannot be read is kept in words: nothing is left out of a name in silence.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple
from unicodedata import normalize

from fitsvc.answers.taken import folded
from fitsvc.language.truth import NO, UNKNOWN, YES, Truth, conjunction, disjunction, negation
from fitsvc.language.types import Value

EARLIEST, LATEST = 1900, 2100
"""What years that are open to one side end with."""
_YEARS: Final = re.compile(
    r"(?<![\w./-])(?:(?P<first>(?:19|20)\d\d)\s*(?:-|to|thru|through)\s*(?P<last>(?:19|20)\d\d)"
    r"|(?P<since>(?:19|20)\d\d)\s*(?:\+|and (?:newer|later|up)|onwards?\b|or newer|up\b|-\s*(?:present|today|on)\b)"
    r"|(?:up to|until|to|through|thru)\s+(?P<until>(?:19|20)\d\d)"
    r"|(?P<one>(?:19|20)\d\d))(?![\w/-])"
)
_FLOATED: Final = re.compile(r"(?<![\w./-])((?:19|20)\d\d)\.0(?![\w.])")
"""A year as a sheet hands a figure over."""
MONTH: Final = re.compile(r"(?<![\w./-])\d{1,2}[/.-]((?:19|20)\d\d)(?![\w/-])")
_SHORT: Final = re.compile(r"(?<!\w)'(\d\d)(?!\w)")
_BUT: Final = re.compile(
    r"[,;(]?\s*(?<!\w)(?:all but|but not|except(?:ing| for)?|excl(?:uding|\.)?|other than|apart from)(?!\w)"
)
_NOT: Final = re.compile(r"(?<!\w)(?:without|w/o|not|no)(?!\w)([^,;]*)")
_QUOTES: Final = str.maketrans({"’": "'", "‘": "'", "′": "'", "‐": "-", "–": "-", "—": "-", "&": "&"})
_WORD: Final = re.compile(r"[\w][\w./'-]*")
_FILLER: Final = frozenset(
    (
        "all",
        "any",
        "every",
        "only",
        "model",
        "models",
        "year",
        "years",
        "my",
        "vehicle",
        "vehicles",
    )
)
_GENERAL: Final = frozenset(
    (
        *("a", "an", "the", "in", "inch", "inches", "mm", "with", "for", "of", "to"),
        *("does", "do", "will", "would", "is", "are", "used", "be"),
        *("on", "has", "have", "having", "that", "which", "most", "many", "nearly", "almost", "virtually"),
        *(
            "standard",
            "universal",
            "fit",
            "fits",
            "fitting",
            "class",
            "tow",
            "towing",
            "trailer",
            "receiver",
            "receivers",
        ),
        *("hitch", "hitches", "tube", "size", "sizes", "opening", "square", "car", "cars", "truck", "trucks"),
        *("van", "vans", "pickup", "pickups", "suv", "suvs", "crossover", "crossovers", "rv", "rvs"),
    )
)
"""Words that say what a vehicle is or has, and of none which it is: `fits most trucks with a 2 in receiver`."""
_FIGURE: Final = re.compile(r"\d[\d./-]*(?:in|mm)?|[ivx]+")
_BETWEEN: Final = frozenset(("or", "and"))
_GONE: Final = " | "
"""Stands where something was read, so that what stood about it is not read as one."""

Years = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleTold:
    """A vehicle as its names tell it: texts and values by fact, and what its label and texts say of it and deny."""

    label: str
    texts: Mapping[str, str]
    values: Mapping[str, Value]
    says: str
    denies: str
    words: frozenset[str]
    words_denied: frozenset[str]


class Wanted(NamedTuple):
    """One thing that a name says of a vehicle, in its words, and whether a vehicle is so.

    `theirs` says that where it is open whoever wrote the name can say more; else what is stored of the vehicle can.
    """

    said: str
    holds: Callable[[VehicleTold], Truth]
    theirs: bool = False


@dataclass(slots=True)
class Phrase:
    """What was read of a phrase: years, tests by what they are about, and the words of which nothing is known.

    Tests about the same thing are each enough: `Muckle and Bothy` are either. `twofold` is a phrase that can be read
    in two ways.
    """

    years: list[Years] = field(default_factory=list)
    tests: dict[str, list[Wanted]] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)
    twofold: bool = False

    def wanted(self) -> list[Wanted]:
        """All of the tests, those about one thing as one; the years are not among them."""
        return [_any_of(tests) for tests in self.tests.values()]


def _any_of(tests: Sequence[Wanted]) -> Wanted:
    said = " or ".join(dict.fromkeys(test.said for test in tests))
    return Wanted(said, lambda one: disjunction(*(test.holds(one) for test in tests)), any(one.theirs for one in tests))


def plain(text: str) -> str:
    """A text of names as it is read: quotes and dashes of one form, whatever its letters' case and its blanks."""
    whole = folded(normalize("NFC", text).translate(_QUOTES))
    return _SHORT.sub(lambda year: f"{'20' if int(year[1]) < 60 else '19'}{year[1]}", whole)


def taken_years(text: str) -> tuple[list[Years], str]:
    """The years that a text names, and what is left of it."""
    years, text = [], _FLOATED.sub(r"\1", text)
    for found in _YEARS.finditer(text):
        first = found["first"] or found["since"] or found["one"] or str(EARLIEST)
        last = found["last"] or found["until"] or found["one"] or str(LATEST)
        years.append((int(first), int(last)))
    return years, _YEARS.sub(_GONE, text)


def before_exceptions(text: str) -> str | None:
    """What stands before the first word that excepts anything; None where none does."""
    found = [one for one in (_BUT.search(text), _NOT.search(text)) if one]
    return text[: min(one.start() for one in found)] if found else None


def without_exceptions(text: str) -> tuple[str, list[str]]:
    """A text without what it excepts, and that, phrase by phrase: an empty one where nothing is behind a `not`."""
    excepted: list[str] = []
    if found := _BUT.search(text):
        excepted += [part for part in re.split(r"[,;]", text[found.end() :].strip(" ():")) if part.strip()]
        text = text[: found.start()]
    excepted += _NOT.findall(text)
    return _NOT.sub(_GONE, text), [part.strip() for part in excepted]


def names_none(words: Iterable[str]) -> bool:
    """Whether some words of which no vehicle's label has any say nothing of which vehicle is meant either."""
    return all(word in _GENERAL or _FIGURE.fullmatch(word) for word in words)


class PhraseReader:
    """Reads phrases by the words that are known of some vehicles.

    `named` are spellings of what is called by a whole phrase (a make, a model, a bed), with what each is about and its
    test; `known` are the single words that any vehicle's label or texts have.
    """

    def __init__(
        self,
        named: Mapping[str, Mapping[str, Wanted]],
        known: Iterable[str],
        passed_over: Iterable[str],
        word: Callable[[str], Wanted],
    ) -> None:
        self._named, self._known, self._word = named, frozenset(known), word
        self.apart = {"".join(text.replace("-", " ").split()): text for text in sorted(named) if " " in text}
        """Phrases of several words by how they stand without what parts them."""
        self._filler = _FILLER | set(passed_over)
        longest = sorted(named, key=lambda one: (-len(one), one))
        self._pattern = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, longest)) or '(?!)'})(?![\w-])")

    def read(self, text: str) -> Phrase:
        """Read a phrase that excepts nothing."""
        found = Phrase()

        def take(match: "re.Match[str]") -> str:
            for about, test in self._named[match[0]].items():
                found.tests.setdefault(about, []).append(test)
            return _GONE

        found.years, left = taken_years(self._pattern.sub(take, text))
        words = [word.rstrip(".'-/") for word in _WORD.findall(left)]
        for word in dict.fromkeys(word for word in words if word not in self._filler | _BETWEEN):
            if word in self._known:
                found.tests[f"word {word}"] = [self._word(word)]
                found.twofold |= bool(_BETWEEN & set(words))
            else:
                found.unread.append(word)
        # `crew cab or 4x4` does not tell what the word parts, nor two models and two spans of years which go together.
        parted = "or" in words and len(found.tests) > 1
        found.twofold |= parted or (len(found.years) > 1 and any(len(tests) > 1 for tests in found.tests.values()))
        return found


def excepted(phrases: Sequence[Phrase], year_of: Callable[[Sequence[Years]], Wanted]) -> Wanted:
    """Whether a vehicle is excepted by a phrase that was parted at each `and`.

    `crew cab and 4x4` may except both or what is the two at once: where these differ it is open.
    """
    parts = [[*phrase.wanted(), *([year_of(phrase.years)] if phrase.years else ())] for phrase in phrases]
    said = " and ".join(test.said for part in parts for test in part)

    def holds(one: VehicleTold) -> Truth:
        each = [conjunction(*(test.holds(one) for test in part)) for part in parts if part]
        every, some = conjunction(*each), disjunction(*each)
        return negation(every if every == some else UNKNOWN)

    return Wanted(f"not {said}", holds, len(phrases) > 1 or any(test.theirs for part in parts for test in part))


def is_one_of(own: str | None, phrase: str) -> Truth:
    """Whether what a vehicle is called is what a phrase says; a longer name that begins so may be meant."""
    if own is None:
        return UNKNOWN
    if own == phrase:
        return YES
    return UNKNOWN if own.startswith(f"{phrase} ") else NO
