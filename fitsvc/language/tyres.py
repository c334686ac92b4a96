"""Tyre sizes as they stand on the sidewall, and the design dimensions they name.

Metric, `LT285/70R17 121S`: width in mm, height as a percentage of it, rim code in inches, so that the design
diameter is rim x 25.4 + 2 x width x height/100. Flotation, `33X12.50R15LT`: nominal diameter and width in
inches; new tyres are designed up to about 12 mm smaller than that diameter, which is therefore a band. Full
profile, `185R14C 102/100Q`: width in mm and no height, which is then 79 to 82 % of it: a band as well.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

LONGEST_TEXT = 40
FLOTATION_SHORTFALL = 12.0  # mm; from memory, no published source at hand
FULL_PROFILE = (79.0, 82.0)  # %; what size tables give for tyres without a height, from memory
MM_PER_INCH = 25.4

RIM_INCHES = (8.0, 26.0)
WIDTH_MM = (100.0, 500.0)
ASPECT_PERCENT = (20.0, 100.0)
LOAD_INDEX = (50, 150)
_LOADS = (
    190, 195, 200, 206, 212, 218, 224, 230, 236, 243, 250, 257, 265, 272, 280, 290, 300, 307, 315, 325, 335, 345, 355,
    365, 375, 387, 400, 412, 425, 437, 450, 462, 475, 487, 500, 515, 530, 545, 560, 580, 600, 615, 630, 650, 670, 690,
    710, 730, 750, 775, 800, 825, 850, 875, 900, 925, 950, 975, 1000, 1030, 1060, 1090, 1120, 1150, 1180, 1215, 1250,
    1285, 1320, 1360, 1400, 1450, 1500, 1550, 1600, 1650, 1700, 1750, 1800, 1850, 1900, 1950, 2000, 2060, 2120, 2180,
    2240, 2300, 2360, 2430, 2500, 2575, 2650, 2725, 2800, 2900, 3000, 3075, 3150, 3250, 3350,
)  # fmt: skip
"""What a tyre carries in kg, by load index from 50 on: the load index table of ISO 4000-1, from memory.

Held against two published charts it agrees at all of 50 to 61 and 63 to 150 but two: one has 205 at 53, the other
2,190 at 135. The standard's are 206 and 2,180 by memory, and are kept.
"""

_REINFORCED = r"(?: (?:XL|REINF))?"
_SPEED = r"(?: ?[A-Z]\d?|ZR[A-Z]?)?"
_END = (
    r"(?P<rim>\d{1,2}(?:\.5)?) ?(?:LT|C)?(?: ?/?[A-H])?"
    + _REINFORCED
    + rf"(?: (?P<load>\d{{2,3}}){_SPEED}(?:/\d{{2,3}}{_SPEED})?)?"
    + _REINFORCED
)
_METRIC = re.compile(
    r"(?:P|LT|ST|T|C)? ?(?P<width>\d{2,4}) ?/ ?(?P<aspect>\d{2,3}) ?(?:Z?RF?|[DB-]) ?" + _END, re.ASCII
)
_FULL = re.compile(r"(?:P|LT|ST|T)? ?(?P<width>\d{3}) ?R ?" + _END, re.ASCII)
_FLOTATION = re.compile(
    r"(?:LT)? ?(?P<diameter>\d{2}(?:\.\d{1,2})?) ?[X×] ?(?P<width>\d{1,2}(?:\.\d{1,2})?) ?(?:R|[DB-]) ?" + _END,
    re.ASCII,
)
_EXAMPLES = "write it as on the sidewall, such as `245/75R16`, `LT285/70R17` or `33X12.50R15LT`"


@dataclass(frozen=True, slots=True)
class Tyre:
    """Design dimensions of a new tyre in mm, each as lowest and highest, with its load index if given."""

    width: tuple[float, float]
    diameter: tuple[float, float]
    rim: float
    load_index: int | None


class TyreError(ValueError):
    """Raised for a text that is not a tyre size, with what to write instead."""

    def __init__(self, message: str, help: str = "") -> None:
        self.message = message
        self.help = help
        super().__init__(f"{message}: {help}" if help else message)


def load_of(index: int) -> float:
    """What a tyre of a load index carries, in kg."""
    return float(_LOADS[index - LOAD_INDEX[0]])


def designation(text: str) -> str:
    """A designation as it is compared: capitals, one blank where there are any."""
    return " ".join(text.upper().split())


@lru_cache(maxsize=4096)
def parse_tyre(text: str) -> Tyre:
    """Read a metric or flotation tyre size, with or without its load index and speed symbol, or raise TyreError."""
    if len(text) > LONGEST_TEXT:
        raise TyreError(f"{_quote(text[:24] + '…')} is too long for a tyre size", _EXAMPLES)
    body = " ".join(text.upper().split())
    if found := _METRIC.fullmatch(body):
        return _metric(text, found, (float(found["aspect"]),) * 2)
    if found := _FULL.fullmatch(body):
        return _metric(text, found, FULL_PROFILE)
    if found := _FLOTATION.fullmatch(body):
        return _flotation(text, found)
    raise TyreError(f"{_quote(text)} is not a tyre size", _EXAMPLES)


def _metric(text: str, found: re.Match[str], aspect: tuple[float, float]) -> Tyre:
    width, rim = float(found["width"]), float(found["rim"])
    _refuse(
        text,
        _outside("a width", width, WIDTH_MM, "mm"),
        _outside("a height", aspect[0], ASPECT_PERCENT, "%"),
        *_tail_faults(found),
    )
    low, high = (rim * MM_PER_INCH + 2 * width * height / 100 for height in aspect)
    return Tyre((width, width), (low, high), rim * MM_PER_INCH, _load_index(found))


def _flotation(text: str, found: re.Match[str]) -> Tyre:
    rim = float(found["rim"]) * MM_PER_INCH
    width, nominal = float(found["width"]) * MM_PER_INCH, float(found["diameter"]) * MM_PER_INCH
    low = nominal - FLOTATION_SHORTFALL
    _refuse(
        text,
        _outside("a width", width, WIDTH_MM, "mm"),
        "a diameter that leaves no tyre around its rim" if low <= rim else "",
        *_tail_faults(found),
    )
    return Tyre((width, width), (low, nominal), rim, _load_index(found))


def _tail_faults(found: re.Match[str]) -> tuple[str, str]:
    """Check what metric and flotation sizes end in alike."""
    load = _load_index(found)
    return (
        _outside("a rim", float(found["rim"]), RIM_INCHES, "in"),
        "" if load is None else _outside("a load index", load, LOAD_INDEX, ""),
    )


def _load_index(found: re.Match[str]) -> int | None:
    """Return the load index; of two (`120/116S`) the first, for a single tyre."""
    return int(found["load"]) if found["load"] else None


def _outside(what: str, value: float, bounds: tuple[float, float], unit: str) -> str:
    low, high = bounds
    return "" if low <= value <= high else f"{what} of {value:g} {unit}".rstrip() + f" (not {low:g} to {high:g})"


def _refuse(text: str, *faults: str) -> None:
    """Raise one error that names every number out of its range."""
    named = [fault for fault in faults if fault]
    if named:
        raise TyreError(f"{_quote(text)} names " + " and ".join(named), "check it against the sidewall")


def _quote(text: str) -> str:
    shown = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(text.split()))
    return f"`{shown}`"
