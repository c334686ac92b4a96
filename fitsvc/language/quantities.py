"""Dimensions, and quantities as people write them: `5/8 in`, `1-1/4 in`, `6' 2"`, `3,500 lb`, `12 %`.

Inside, a quantity is a float in mm, kg, degrees, kN, N m (= kN mm) or a plain number. Arithmetic is exact
until the last step, so `2 in` and `50.8 mm` are the same float. The factors are exact, by definition: all
come from the inch, the pound and standard gravity. Tests hold every unit to Pint.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal

from fitsvc.language.problems import nearest
from fitsvc.tongues import later, t, tongue

LONGEST_TEXT = 192
"""Of a figure in one text, with its tolerance or bounds, and of each part of it: blanks and decimals may be many."""
_SHOWN = 64
LARGEST_VALUE = 10**12


@dataclass(frozen=True, slots=True)
class Dimension:
    """What kind of thing a number measures, as exponents of length, mass, angle and force."""

    length: int = 0
    mass: int = 0
    angle: int = 0
    force: int = 0

    def __mul__(self, other: "Dimension") -> "Dimension":
        return Dimension(
            self.length + other.length,
            self.mass + other.mass,
            self.angle + other.angle,
            self.force + other.force,
        )

    def __truediv__(self, other: "Dimension") -> "Dimension":
        return Dimension(
            self.length - other.length,
            self.mass - other.mass,
            self.angle - other.angle,
            self.force - other.force,
        )

    def __str__(self) -> str:
        return _NAMES.get(self) or _product(self)


NUMBER = Dimension()
LENGTH = Dimension(length=1)
MASS = Dimension(mass=1)
ANGLE = Dimension(angle=1)
FORCE = Dimension(force=1)
TORQUE = Dimension(length=1, force=1)

DIMENSIONS: dict[str, Dimension] = {
    "length": LENGTH,
    "mass": MASS,
    "angle": ANGLE,
    "force": FORCE,
    "torque": TORQUE,
    "ratio": NUMBER,
    "count": NUMBER,
}

INSIDE: dict[Dimension, str] = {NUMBER: "", LENGTH: "mm", MASS: "kg", ANGLE: "deg", FORCE: "kN", TORQUE: "N·m"}
"""The unit inside of each dimension: what figures are kept in."""

_NAMES = {
    NUMBER: "number",
    LENGTH: "length",
    MASS: "mass",
    ANGLE: "angle",
    FORCE: "force",
    TORQUE: "torque",
}

_EXAMPLES: dict[Dimension, tuple[str, str]] = {
    LENGTH: ("in", "mm"),
    MASS: ("lb", "kg"),
    ANGLE: ("deg", "°"),
    FORCE: ("kN", "lbf"),
    TORQUE: ("ft-lb", "N·m"),
}

_SAMPLES = {LENGTH: "2-1/2 in", MASS: "300 lb", ANGLE: "12 deg", FORCE: "14.3 kN", TORQUE: "80 ft-lb"}

_COMMA = re.compile(r"(?<=\d)[,](?=\d)")
_THREE = re.compile(r"(?<!\d)([1-9]\d{0,2})([.,])(\d{3})(?!\d)")
_GROUPED = re.compile(
    r"(?P<large>[-+]?[1-9]\d{0,2}(?:(?P<mark>[ .'’])\d{3})(?:(?P=mark)\d{3})*)(?:[.,](?P<small>\d+))?(?P<unit>\D*)"
)
"""A figure with its thousands parted as much of the world parts them: `1 500 kg`, `1.000,5 kg`, `1'500 kg`."""
_LISTED: tuple[str, ...] = ("in", "ft", "mm", "cm", "m", "lb", "oz", "kg", "g", "t", "kN", "N", "lbf", "deg", "%")
_LISTED += ("ft-lb", "in-lb", "N·m")
"""The units that are told where one is not known: of what is asked for, where that is."""
LIKE = later("write a number and its unit, such as `2-1/2 in` or `300 lb`")
"""What is told of a text that is no quantity, where it is not known of what it is to be one."""

_INCH = Fraction("25.4")
"""In mm, exactly: international yard and pound agreement of 1959 (NIST SP 811, B.8)."""
_POUND = Fraction("0.45359237")
"""In kg, exactly: the same agreement."""
_POUND_FORCE = _POUND * Fraction("9.80665") / 1000
"""In kN: a pound under standard gravity in m/s², exact by the 3rd General Conference on Weights and Measures, 1901."""

# One row a unit: dimension, factor to the unit inside, spellings, those in Spanish last. A `ton` may be several; a
# `tonne`, in Spanish `tonelada`, is 1000 kg (SI Brochure, 9th edition, table 8, and its translation; from memory).
_UNITS: tuple[tuple[Dimension, Fraction, tuple[str, ...]], ...] = (
    (LENGTH, _INCH, ("in", "inch", "inches", '"', "″", "”", "''", "pulg", "pulgada", "pulgadas")),
    (LENGTH, 12 * _INCH, ("ft", "foot", "feet", "'", "′", "’", "pie", "pies")),
    (LENGTH, Fraction(1), ("mm", "millimeter", "millimeters", "millimetre", "millimetres", "milimetros")),
    (LENGTH, Fraction(10), ("cm", "centimeter", "centimeters", "centimetre", "centimetres", "centimetros")),
    (LENGTH, Fraction(1000), ("m", "meter", "meters", "metre", "metres", "metro", "metros")),
    (MASS, _POUND, ("lb", "lbs", "pound", "pounds", "libra", "libras")),
    (
        MASS,
        Fraction(1),
        ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes", "kilogramos"),
    ),
    (MASS, Fraction(1000), ("t", "tonne", "tonnes", "tonelada", "toneladas")),
    (MASS, _POUND / 16, ("oz", "ounce", "ounces", "onza", "onzas")),
    (MASS, Fraction(1, 1000), ("g", "gram", "grams", "gramme", "grammes")),
    (FORCE, Fraction(1), ("kN",)),
    (FORCE, Fraction(1, 1000), ("N",)),
    (FORCE, _POUND_FORCE, ("lbf",)),
    (ANGLE, Fraction(1), ("deg", "degree", "degrees", "°", "grados")),
    (NUMBER, Fraction(1, 100), ("%", "percent")),
    (TORQUE, _INCH * _POUND_FORCE, ("in-lb", "in·lb", "in-lbf")),
    (TORQUE, 12 * _INCH * _POUND_FORCE, ("ft-lb", "ft·lb", "ft-lbf", "lb-ft")),
    (TORQUE, Fraction(1), ("N m", "N·m", "Nm")),
)

UNITS: dict[str, tuple[Dimension, Fraction]] = {
    spelling: (dimension, factor) for dimension, factor, spellings in _UNITS for spelling in spellings
}
"""Every unit spelling, with its dimension and its exact factor to the unit inside."""

_STONE, _HUNDREDWEIGHT = later("a stone is 14 lb: write lb or kg"), later("a hundredweight is 100 or 112 lb: write lb")
_QUINTAL = later("a quintal is 100 kg or some 46 kg: write kg or lb")
_PFUND = later("a Pfund is 500 g and no pound: write kg or g")
_YARD = later("a yard is 3 ft: write ft or m")
_OTHERS = {
    **dict.fromkeys(("st", "stone", "stones", "piedra", "piedras"), _STONE),
    **dict.fromkeys(("quintal", "quintals", "quintales"), _QUINTAL),
    **dict.fromkeys(("cwt", "hundredweight"), _HUNDREDWEIGHT),
    **dict.fromkeys(("yd", "yds", "yard", "yards"), _YARD),
    **dict.fromkeys(("pfund", "pfd"), _PFUND),
}
"""Units that people write and that are not read, each with what to write."""

WEIGHTS = tuple(UNITS[unit] for unit in ("lb", "kg", "g", "lbf", "N"))
"""Units of weights and forces that run into thousands; nobody writes `t` or `kN` so."""

_FEET = frozenset(unit for unit, row in UNITS.items() if row == UNITS["ft"])
_INCHES = frozenset(unit for unit, row in UNITS.items() if row == UNITS["in"])
_JOINED = {UNITS["ft"]: UNITS["in"], UNITS["lb"]: UNITS["oz"]}
"""What is written behind what as one quantity: `6 ft 2 in`, `12 lb 4 oz`."""

_NUMBER_PART = r"(?:\d+(?:-| +))?\d+\/\d+|\d+(?:\.\d+)?|\.\d+"
_AMOUNT = re.compile(
    r"(?:(?P<whole>\d+)(?:-| +))?(?P<top>\d+) */ *(?P<bottom>\d+)"
    r"|(?P<plain>[1-9]\d{0,2}(?:,\d{3})+(?!\d)(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+)",
    re.ASCII,
)
_PLAINEST = re.compile(r"(\d{1,9})(?:\.(\d{1,2}|\d{4,9}))? (in|lb|mm|kg)", re.ASCII)
"""A figure with its unit as most are written; three digits behind a point may be thousands, and are not read so."""
TAPE = frozenset({2, 4, 8, 16, 32, 64})
"""Into what inches, and pounds by the same habit, are parted; `450/480 lb` and `9/10 in` are two figures at once."""
_UNIT = re.compile(r"[^\d.]*", re.ASCII)
_VULGAR = {sign: f"{top}/{bottom}" for sign, top, bottom in ("¼14", "½12", "¾34", "⅛18", "⅜38", "⅝58", "⅞78")}
"""Fractions in one sign, as telephones write them."""
_AFTER_UNIT = re.compile(r"(?<=[^\W\d])\.(?!\w)")
_HYPHEN = re.compile(r"(?<=[\d/])-(?=[A-Za-z]{2})")
"""As in `2-inch`; no unit begins with one."""
_POUNDS = re.compile(r"(?<=\d) ?#$")
_POINT_OR_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2}\.\d{3}(?!\d)", re.ASCII)
"""A number whose point may part thousands, as much of the world writes them; a weight may well be either."""


def _unit_pattern() -> str:
    """Build the lexer's alternation: longest spelling first, words bounded, no quote marks."""
    words = [s for s in UNITS if not set(s) & set("\"'″”′’")]
    words.sort(key=len, reverse=True)
    bounded = {s: re.escape(s) + (r"(?!\w)" if s[-1].isalpha() else "") for s in words}
    bounded["in"] = r"in(?!\w)(?!\s*[\[(])"
    return "(?:" + "|".join(bounded[s] for s in words) + ")"


QUANTITY_UNIT_PATTERN = _unit_pattern()
"""Unit spellings for a lexer, after a number and blanks; the `in` of `2 in [...]` is not taken for inches."""

QUANTITY_NUMBER_PATTERN = "(?:" + _NUMBER_PART.replace(r"\d", "[0-9]") + ")"
"""The number of a quantity in a rule: `1-1/4`, `1 1/4`, `5/8`, `2.5`; no sign, no thousands comma, and
no blank about the `/`: with blanks it divides."""


class QuantityError(ValueError):
    """Raised for a text that is not the quantity asked for, with what to write instead."""

    def __init__(self, message: str, help: str = "", kind: Literal["", "no unit", "implausible"] = "") -> None:
        self.message, self.help, self.kind = message, help, kind
        super().__init__(f"{message}: {help}" if help else message)


def parse_quantity(text: str, dimension: Dimension) -> float:
    """Read a quantity that must have a dimension, in the unit used inside; QuantityError when it is none."""
    value, found = _read(_with_point(text), dimension)
    if found is dimension or found == dimension:
        return value
    raise _wrong_dimension(_quote(text), found, dimension)


def parse_any(text: str) -> tuple[float, Dimension]:
    """Read a quantity of any dimension; a number without a unit is a plain number."""
    return _read(_with_point(text))


def _with_point(text: str) -> str:
    """A figure with a decimal comma as it is read, where people write so; `1,700` may be either and is asked."""
    if tongue().decimal == "." or not _COMMA.search(text):
        return text
    if (figure := _ungrouped(text)) and "." in text:
        return figure.replace(",", ".")  # a point and a comma behind it: the point parts thousands
    if found := _THREE.search(text):
        large, small = found[1] + found[3], f"{found[1]},{found[3]}".rstrip("0").rstrip(",")
        raise QuantityError(
            t("{what} could be {small} or {large}", what=_quote(text), small=small, large=large),
            t("write `{small}` or `{large}`, with its unit", small=small, large=large),
        )
    return _COMMA.sub(".", text)


def _ungrouped(text: str) -> str:
    """A figure whose thousands are parted otherwise than by a comma as it is to be written; empty for any other."""
    found = _GROUPED.fullmatch(" ".join(text.split()))
    if found is None or (found["mark"] == "." and (found["small"] is None or "," not in text)):
        return ""
    small = f"{tongue().decimal}{found['small']}" if found["small"] else ""
    return re.sub(r"[ .'’]", "", found["large"]) + small + found["unit"]


@lru_cache(maxsize=4096)
def unit_of(text: str) -> tuple[str, float]:
    """The unit that a quantity is written in, feet and inches by the inch, and its size inside; empty for a number."""
    body = _plain(text).removeprefix("+").removeprefix("-").lstrip()
    unit = _parts(text, body)[0][1]
    if unit in _FEET or unit in _INCHES:
        unit = "in"
    return (unit, float(_unit(text, unit)[1])) if unit else ("", 1.0)


def is_plainest(text: str) -> bool:
    """Whether a text is a figure and its unit and nothing else, such as `12.5 in`, that has one reading only."""
    return _PLAINEST.fullmatch(text) is not None


def read_plainest(text: str) -> tuple[float, Dimension] | None:
    """Read a text that is a figure and its unit and nothing else; None for any other."""
    plainest = _PLAINEST.fullmatch(text)
    if plainest is None:
        return None
    whole, rest, unit = plainest.groups("")
    dimension, factor = UNITS[unit]
    # Of whole numbers, so that it is the float next to what is written, as of a fraction.
    return int(whole + rest) * factor.numerator / (10 ** len(rest) * factor.denominator), dimension


@lru_cache(maxsize=16384)
def _read(text: str, wanted: Dimension | None = None) -> tuple[float, Dimension]:
    """Read one text, and help by the units of what is wanted; only texts that are quantities are remembered."""
    if plainest := read_plainest(text):
        return plainest
    if len(text) > LONGEST_TEXT:
        raise QuantityError(t("{what} is too long for a quantity", what=_quote(text)), t(LIKE))
    body = _plain(text)
    sign = -1 if body.startswith("-") else 1
    parts = _parts(text, body.removeprefix("-").lstrip())
    total, dimension = _sum(text, parts, wanted)
    if total > LARGEST_VALUE:
        help = t("check the number and its unit")
        raise QuantityError(t("{what} is too large", what=_quote(text)), help, kind="implausible")
    return float(sign * total), dimension


def _plain(text: str) -> str:
    """A text with the signs that people and telephones write for others: `2½ in.`, `1⁄4`, `30#`, a minus."""
    body = " ".join(text.split()).replace("−", "-").replace("⁄", "/")
    for sign, fraction in _VULGAR.items():
        if sign in body:
            body = re.sub(rf"(?<=\d){sign}", f" {fraction}", body).replace(sign, fraction)
    body = _HYPHEN.sub(" ", body)
    return _POUNDS.sub(" lb", _AFTER_UNIT.sub("", body))


def _parts(text: str, body: str) -> list[tuple[Fraction, str]]:
    """Split into amounts with their units: one, or two for feet and inches."""
    parts: list[tuple[Fraction, str]] = []
    place = 0
    while place < len(body) or not parts:
        amount = _AMOUNT.match(body, place)
        if amount is None:
            raise QuantityError(t("{what} is not a quantity", what=_quote(text)), t(LIKE))
        unit = _UNIT.match(body, amount.end())
        assert unit is not None  # it can match nothing at all
        parts.append((_value(text, amount), unit[0].strip()))
        _refuse_two_figures(text, amount, unit[0].strip())
        place = unit.end()
    return parts


def _value(text: str, amount: re.Match[str]) -> Fraction:
    """Turn a matched number into an exact fraction."""
    if amount["plain"]:
        return Fraction(amount["plain"].replace(",", ""))
    whole, top, bottom = int(amount["whole"] or 0), int(amount["top"]), int(amount["bottom"])
    if bottom == 0:
        raise QuantityError(t("{what} divides by zero", what=_quote(text)), t("write a fraction such as `5/8 in`"))
    if amount["whole"] and top >= bottom:
        raise QuantityError(
            t("{what} has a fraction of one or more after its whole number", what=_quote(text)),
            t("write a mixed number such as `1-1/4 in`"),
        )
    return whole + Fraction(top, bottom)


def _refuse_two_figures(text: str, amount: re.Match[str], unit: str) -> None:
    """Refuse what looks like a fraction of a unit and is none that anybody measures by."""
    if unit and not amount["plain"] and int(amount["bottom"]) not in TAPE:
        raise QuantityError(
            t("{what} is no fraction that a tape or a scale shows", what=_quote(text)),
            t("write one figure with its unit, such as `5/8 in` or `450 lb`; of two figures, that of this part"),
        )


def _sum(text: str, parts: list[tuple[Fraction, str]], wanted: Dimension | None) -> tuple[Fraction, Dimension]:
    """Convert one amount, or feet and inches or pounds and ounces, to the unit inside."""
    if len(parts) == 1:
        amount, unit = parts[0]
        dimension, factor = _unit(text, unit, wanted) if unit else (NUMBER, Fraction(1))
        _hold_to_one_reading(text, unit, (dimension, factor))
        return amount * factor, dimension
    _refuse_other(text, parts[0][1])
    if any(unit.startswith(",") for _, unit in parts):
        pointed = _ungrouped(text) or (text.strip().replace(",", ".") if text.count(",") == 1 else "2.5 in")
        raise QuantityError(
            t("{what} has a comma that does not part thousands", what=_quote(text)),
            t("write `{pointed}` with a point, and thousands as `3,500 lb` or `3500 lb`", pointed=_printable(pointed)),
        )
    rows = [row for _, unit in parts if (row := _known(unit))]
    if not (len(parts) == len(rows) == 2 and _JOINED.get(rows[0]) == rows[1]):
        if figure := _ungrouped(text):
            raise QuantityError(
                t("{what} is not one quantity", what=_quote(text)),
                t(
                    "write `{figure}`, with nothing between its thousands, if it is one figure",
                    figure=_printable(figure),
                ),
            )
        raise QuantityError(
            t("{what} is not one quantity", what=_quote(text)),
            t("write one number and its unit; only feet and inches join, as in `6 ft 2 in`, and pounds and ounces"),
        )
    return sum((amount * row[1] for (amount, _), row in zip(parts, rows, strict=True)), Fraction()), rows[0][0]


def _hold_to_one_reading(text: str, unit: str, known: tuple[Dimension, Fraction]) -> None:
    """Refuse `1.700 lb`: it is one pound or seventeen hundred, and the one makes a yes of the other's no."""
    found = _POINT_OR_THOUSANDS.search(text) if known in WEIGHTS else None
    if found:
        figure = found[0].rstrip("0").removesuffix(".")
        # Where people write a comma before decimals, thousands are told apart by nothing.
        small = figure + "0" * (figure == found[0])
        large = found[0].replace(".", "," if tongue().decimal == "." else "")
        small = small.replace(".", tongue().decimal)
        raise QuantityError(
            t("{what} could be {small} or {large} {unit}", what=_quote(text), small=small, large=large, unit=unit),
            t("write `{small} {unit}` or `{large} {unit}`", small=small, unit=unit, large=large),
        )


def _unit(text: str, unit: str, wanted: Dimension | None = None) -> tuple[Dimension, Fraction]:
    """Look a spelling up; words may be in capitals, single letters may not (`T` and `M` mean other units)."""
    if known := _known(unit):
        return known
    if any(c.isnumeric() for c in unit):
        raise QuantityError(
            t("{what} has digits other than 0 to 9", what=_quote(text)), t("write `1/2 in` or `2.5 in`")
        )
    if unit.casefold() in ("ton", "tons"):
        raise QuantityError(t("{what} could be several tons", what=_quote(text)), t("write `t` for 1000 kg, or pounds"))
    _refuse_other(text, unit)
    near = nearest(unit, _of(wanted, UNITS))
    listed = ", ".join(_of(wanted, _LISTED))
    raise QuantityError(
        t("`{unit}` in {what} is not a known unit", unit=_printable(unit), what=_quote(text)),
        t("did you mean `{near}`?", near=near) if near else t("write one of {listed}", listed=listed),
    )


def _of(wanted: Dimension | None, units: Iterable[str]) -> list[str]:
    """Those of some units that measure what is wanted; all of them where it is not said, or a plain number."""
    return [unit for unit in units if wanted in (None, NUMBER, UNITS[unit][0])]


def _refuse_other(text: str, unit: str) -> None:
    """Refuse a unit of the trade's that is not read, with what it comes to in one that is."""
    if other := _OTHERS.get(unit.casefold()):
        message = t("`{unit}` in {what} is not a unit that is read", unit=_printable(unit), what=_quote(text))
        raise QuantityError(message, t(other))


def _known(unit: str) -> tuple[Dimension, Fraction] | None:
    return UNITS.get(unit) or (UNITS.get(_capitals().get(unit.casefold(), "")) if len(unit) > 1 else None)


@cache
def _capitals() -> dict[str, str]:
    return {spelling.casefold(): spelling for spelling in UNITS}


def _wrong_dimension(shown: str, found: Dimension, wanted: Dimension) -> QuantityError:
    """Say whether the unit is missing or of the wrong kind, and what would be right."""
    units = _EXAMPLES.get(wanted)
    if units and found == NUMBER and shown[-2].isdigit():
        number = shown[1:-1].strip()
        help = t("write `{number} {unit}` or `{number} {other}`", number=number, unit=units[0], other=units[1])
        return QuantityError(t("{shown} has no unit", shown=shown), help, "no unit")
    message = t("{shown} is {found}, expected {wanted}", shown=shown, found=_article(found), wanted=_article(wanted))
    if wanted == NUMBER:
        return QuantityError(message, t("write `3`, `0.5` or `12 %`"))
    return QuantityError(message, t("such as `{sample}`", sample=_SAMPLES[wanted]) if wanted in _SAMPLES else "")


def _article(dimension: Dimension) -> str:
    name = str(dimension)
    return t(f"an {name}" if name[0] in "aeiou" else f"a {name}")


def _product(dimension: Dimension) -> str:
    """Write a dimension without a name of its own, as `mass × length` or `mass / length`."""
    powers = [(name, getattr(dimension, name)) for name in ("mass", "force", "length", "angle")]
    over = " × ".join(name + _raised(power) for name, power in powers if power > 0)
    under = "".join(f" / {name}{_raised(-power)}" for name, power in powers if power < 0)
    return (over or "1") + under


def _raised(power: int) -> str:
    return "" if power == 1 else str(power).translate(str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹"))


def _quote(text: str) -> str:
    """Show the author's words in backticks: on one line, printable, and not longer than a line."""
    short = text if len(text) <= _SHOWN else text[:24] + "…"
    return f"`{_printable(' '.join(short.split()))}`"


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
