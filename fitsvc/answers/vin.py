"""Vehicle identification numbers by 49 CFR 565: the check digit, the model year, and the maker's own signs.

Of a number only what many vehicles share is taken: the first eight characters and the tenth. The rest, by which it is
one person's car, is left out of what goes on, and kept nowhere.
"""

import re
from dataclasses import dataclass
from typing import Final

_WHOLE: Final = re.compile(r"[A-HJ-NPR-Z0-9]{13}[0-9]{4}|[A-HJ-NPR-Z0-9]{2}9[A-HJ-NPR-Z0-9]{11}[0-9]{3}")
"""Neither I nor O nor Q is in one (565.13), and its last four are figures (565.15(d)(3)).

Of a maker of few vehicles, whose third character is a 9, the fourth last is one of those that say who that is, and may
be a letter.
"""
_SHORT: Final = re.compile(r"([A-HJ-NPR-Z0-9]{8})([*!])([A-HJ-NPR-TV-Y1-9])")
_VALUES: Final = dict(zip("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", "012345678912345678123457923456789", strict=True))
"""What each character counts (565.15, table III)."""
_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""What each place weighs (565.15, table IV); the ninth is the check digit itself."""
_YEARS: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"
"""The model years from 1980 on, which begin anew every thirty (565.15(d)(1))."""
_FIRST_YEAR: Final = 1980
_ANY: Final = "?"


@dataclass(frozen=True, slots=True)
class Vin:
    """What of a number is used: its first eight characters, the tenth, and whether its check digit is right."""

    signs: str
    year: str
    sound: bool

    @property
    def short(self) -> str:
        """The number without what tells one vehicle from all others of its sort; it can be read again."""
        return f"{self.signs}{'*' if self.sound else '!'}{self.year}"

    @property
    def years(self) -> tuple[int, int]:
        """The model years it may be of, the likelier first: a letter in the seventh place says from 2010 on.

        That holds of cars and of trucks up to 10,000 lb GVWR (565.15(b), and 565.25(b) for those before); of heavier
        ones it may be either.
        """
        early = _FIRST_YEAR + _YEARS.index(self.year)
        both = (early, early + len(_YEARS))
        return both if self.signs[6].isdigit() else (both[1], both[0])

    def agrees(self, pattern: str) -> bool:
        """Whether a sort of vehicle whose numbers begin so, `?` for any character, may have this one."""
        return len(pattern) == len(self.signs) and all(
            one in (_ANY, other) for one, other in zip(pattern, self.signs, strict=True)
        )


def read_vin(text: str) -> Vin | None:
    """The number that a text is, whole or shortened; None where it is none, as any text of several words."""
    told = text.strip().upper()
    if short := _SHORT.fullmatch(told):
        return Vin(short[1], short[3], short[2] == "*")
    if not _WHOLE.fullmatch(told) or told[9] not in _YEARS:
        return None
    return Vin(told[:8], told[9], told[8] == check_digit(told))


def read_signs(text: str) -> tuple[str, ...]:
    """The beginnings that a stored vehicle's numbers have, by commas; what is no eight characters is left out."""
    return tuple(one for one in (part.strip().upper() for part in text.split(",")) if len(one) == len(_WEIGHTS) // 2)


def signs_apart(told: str, stored: str) -> bool:
    """Whether signs or a number that are told cannot be of vehicles whose numbers begin as is stored.

    Told signs that cannot be read are no vehicle's; stored ones that cannot say nothing.
    """
    own = read_signs(stored)
    vin = read_vin(told)
    said = (vin.signs,) if vin else read_signs(",".join(part.strip()[:8] for part in told.split(",")))
    return bool(own) and not any(_alike(one, other) for one in said for other in own)


def _alike(one: str, other: str) -> bool:
    """Whether one number may begin both ways."""
    return all(_ANY in (a, b) or a == b for a, b in zip(one, other, strict=True))


def check_digit(number: str) -> str:
    """What stands in the ninth place of a sound number (565.15(c)): the weighed sum's rest by 11, ten being X."""
    rest = sum(int(_VALUES[one]) * weight for one, weight in zip(number, _WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)
