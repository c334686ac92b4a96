"""What spreadsheets make of figures: `5/8` turned into a date, `1.25` into `1.25E+00`, a formula into its error.

Nothing of it is read as the figure that it may have been: what was lost is told, with what it likely was.
"""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

Sort = Literal["date", "exponent", "error"]
_MONTHS: Final = (
    *("jan|ene", "feb", "mar|mär|mrz", "apr|abr", "may|mai", "jun", "jul", "aug|ago", "sep", "oct|okt", "nov"),
    "dec|dic|dez",
)
"""How sheets in English, Spanish and German begin the names of months."""
_MONTH: Final = "|".join(f"(?P<m{number}>{names})" for number, names in enumerate(_MONTHS, 1))
_BY_NAME: Final = re.compile(
    rf"(?:(?P<day>\d{{1,2}})[-/. ]+)?(?:{_MONTH})[a-z]*\.?(?:[-/. ]+(?P<behind>\d{{1,4}}))?\Z", re.IGNORECASE | re.ASCII
)
_ISO: Final = re.compile(r"(?:19|20)\d\d-(?P<a>\d\d)-(?P<b>\d\d)(?:[ T]00:00(?::00)?)?(?:\.0+)?\Z", re.ASCII)
_BY_NUMBERS: Final = re.compile(r"(?P<a>\d{1,2})[/.-](?P<b>\d{1,2})[/.-](?:(?:19|20)\d\d|\d\d)\Z", re.ASCII)
_EXPONENT: Final = re.compile(r"-?\d(?:[.,]\d+)?E[+-]?\d{1,3}\Z", re.IGNORECASE | re.ASCII)
_ERROR: Final = re.compile(r"#(?:REF|N/A|VALUE|DIV/0|NAME|NUM|NULL|WERT|VALOR|BEZUG|¡VALOR|¡REF)[!?]?\Z", re.IGNORECASE)
_UNIT: Final = re.compile(r"(?<=\d) (?:in|ft|mm|cm|m|lb|oz|kg|g)\Z")
_SERIALS: Final = range(36_526, 58_000)
"""Days since 1899-12-30, by which spreadsheets count: those of the years 2000 to 2058."""
_SERIAL: Final = re.compile(r"\d{5}(?:\.0+)?\Z", re.ASCII)


@dataclass(frozen=True, slots=True)
class Damage:
    """What a spreadsheet made of a figure, and what that may have been, the likeliest first."""

    sort: Sort
    meant: tuple[str, ...] = ()


def damage_of(text: str, *, serials: bool = False) -> Damage | None:
    """What a spreadsheet did to a text that is no figure; with `serials` a day's bare number is a date too."""
    told = _UNIT.sub("", text.strip())
    if _ERROR.match(told):
        return Damage("error")
    if _EXPONENT.match(told) and (figure := _plain(float(told.replace(",", ".")))):
        return Damage("exponent", (figure,))
    if found := _BY_NAME.match(told):
        month = next(number for number in range(1, 13) if found[f"m{number}"])
        other = found["day"] or found["behind"]
        return _date(month, int(other) % 100) if other else None
    if found := _ISO.match(told) or _BY_NUMBERS.match(told):
        return _date(int(found["a"]), int(found["b"]))
    if serials and _SERIAL.match(told) and (days := int(float(told))) in _SERIALS:
        day = date(1899, 12, 30) + timedelta(days=days)
        return _date(day.month, day.day)
    return None


def _plain(figure: float) -> str:
    """A figure as people write it; empty of one that nobody writes so, which no spreadsheet has made an exponent of."""
    told = f"{figure:.12g}"
    return told if told.lstrip("-").replace(".", "").isdigit() and figure else ""


def _date(one: int, other: int) -> Damage:
    """A date of a fraction, or of a figure from one to another; of a fraction below one first."""
    low, high = sorted((one, other))
    return Damage("date", tuple(dict.fromkeys((f"{low}/{high}", f"{high}/{low}", f"{low}-{high}"))))
