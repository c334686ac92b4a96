"""Quantities: what people write, the exact value it has, and what they are told when it is not one."""

import contextlib
import re
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.language.quantities import (
    ANGLE,
    DIMENSIONS,
    FORCE,
    LENGTH,
    MASS,
    NUMBER,
    QUANTITY_NUMBER_PATTERN,
    QUANTITY_UNIT_PATTERN,
    TORQUE,
    UNITS,
    Dimension,
    QuantityError,
    is_plainest,
    parse_any,
    parse_quantity,
)
from fitsvc.tongues import Tongue, speaking

PLAINEST = st.from_regex(r"[0-9]{1,9}(\.[0-9]{1,9})? (in|lb|mm|kg)", fullmatch=True)
LITERAL = re.compile(rf"{QUANTITY_NUMBER_PATTERN}\s*{QUANTITY_UNIT_PATTERN}")


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("5/8 in", Fraction(5, 8)),
        ("5/8in", Fraction(5, 8)),
        ("1-1/4 in", Fraction(5, 4)),
        ("1 1/4 in", Fraction(5, 4)),
        ("2.5 inches", Fraction(5, 2)),
        ('2.5"', Fraction(5, 2)),
        ("2.5″", Fraction(5, 2)),
        (".5 inch", Fraction(1, 2)),
        ("6' 2\"", 74),
        ("6 ft 2 in", 74),
        ("6'2-1/2\"", Fraction(149, 2)),
        ("6 feet", 72),
        ("1 foot", 12),
        ("-2 in", -2),
        ("−2 in", -2),
        ("- 1-1/4 in", Fraction(-5, 4)),
        ("-6 ft 2 in", -74),
        ("  2   IN ", 2),
        ("1,200 in", 1200),
        ("50.8 mm", 2),
        ("5.08 cm", 2),
        ("0.0508 m", 2),
        ("2\u00a0in", 2),
        ("2½ in", Fraction(5, 2)),
        ("½ in", Fraction(1, 2)),
        ("4 1⁄4 in", Fraction(17, 4)),
        ("1¼ in", Fraction(5, 4)),
        ("5.08 centimetres", 2),
        ("5 in.", 5),
        ("2-inch", 2),
        ("2-1/2-in", Fraction(5, 2)),
        ("6 ft. 2 in.", 74),
    ],
)
def test_lengths_are_exact(text: str, inches: Fraction) -> None:
    """Every way of writing a length gives the float nearest to its exact value."""
    assert parse_quantity(text, LENGTH) == float(Fraction(inches) * Fraction("25.4"))


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("3,500 lb", MASS, 1587.573295),
        ("1,000,000.0 lbs", MASS, 453592.37),
        ("1 pound", MASS, 0.45359237),
        ("30#", MASS, 13.6077711),
        ("30 Lbs.", MASS, 13.6077711),
        ("2.5 t", MASS, 2500.0),
        ("40 kilos", MASS, 40.0),
        ("40 Kgs", MASS, 40.0),
        ("12 lb 4 oz", MASS, 12.25 * 0.45359237),
        ("12 lbs. 4 oz.", MASS, 12.25 * 0.45359237),
        ("192 oz", MASS, 5.44310844),
        ("5400 g", MASS, 5.4),
        ("12 deg", ANGLE, 12.0),
        ("12 degrees", ANGLE, 12.0),
        ("4.5°", ANGLE, 4.5),
        ("14.31 kN", FORCE, 14.31),
        ("500 N", FORCE, 0.5),
        ("12 %", NUMBER, 0.12),
        ("12 percent", NUMBER, 0.12),
        ("3", NUMBER, 3.0),
        ("0.5", NUMBER, 0.5),
        ("1/2", NUMBER, 0.5),
        ("5 N m", TORQUE, 5.0),
        ("5 N·m", TORQUE, 5.0),
        ("5 Nm", TORQUE, 5.0),
    ],
)
def test_other_dimensions(text: str, dimension: Dimension, value: float) -> None:
    """Masses, forces, angles, torques and plain numbers come out in the unit inside."""
    assert parse_any(text) == (value, dimension)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # NIST SP 811, Appendix B.8, digits as printed there, from memory.
        ("1 in", 25.4),
        ("1 ft", 304.8),
        ("1 lb", 0.45359237),
        ("1 lbf", 4.4482216152605e-3),
        ("1 ft-lb", 1.355818),
        ("1 in-lb", 0.1129848),
        ("1 t", 1000.0),
        ("0.15 tonnes", 150.0),
        ("1 tonelada", 1000.0),
    ],
)
def test_published_factors(text: str, value: float) -> None:
    """The factors agree with those NIST publishes, to the digits it prints."""
    assert parse_any(text)[0] == pytest.approx(value, rel=5e-7 if "-lb" in text else 1e-15)


PINT_NAMES = {
    **dict.fromkeys(("in", '"', "''", "″", "”", "pulg", "pulgada", "pulgadas"), "inch"),
    **dict.fromkeys(("'", "′", "’", "pie", "pies"), "foot"),
    **dict.fromkeys(("lb", "lbs", "pounds", "libra", "libras"), "pound"),
    "milimetros": "millimeter",
    "centimetros": "centimeter",
    **dict.fromkeys(("metro", "metros"), "meter"),
    **dict.fromkeys(("onza", "onzas"), "ounce"),
    "grados": "degree",
    **dict.fromkeys(("in-lb", "in·lb", "in-lbf"), "inch * pound_force"),
    **dict.fromkeys(("ft-lb", "ft·lb", "ft-lbf", "lb-ft"), "foot * pound_force"),
    **dict.fromkeys(("N m", "N·m", "Nm"), "newton * meter"),
    **dict.fromkeys(("kgs", "kilo", "kilos", "kilogramme", "kilogrammes", "kilogramos"), "kilogram"),
    **dict.fromkeys(("gramme", "grammes"), "gram"),
    **dict.fromkeys(("tonnes", "tonelada", "toneladas"), "tonne"),
    **dict(zip("%°t", ("percent", "degree", "tonne"), strict=True)),
}
INSIDE = {LENGTH: "mm", MASS: "kg", ANGLE: "deg", FORCE: "kN", TORQUE: "newton * meter", NUMBER: ""}


def test_every_unit_agrees_with_pint() -> None:
    """Each spelling has the very factor that Pint, reading its own definitions exactly, has for the unit it names."""
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    for spelling, (dimension, factor) in UNITS.items():
        expected = registry.Quantity(Fraction(1), PINT_NAMES.get(spelling, spelling)).to(INSIDE[dimension]).magnitude
        assert factor == Fraction(expected), spelling
        assert parse_any(f"7 {spelling}") == (float(7 * factor), dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "message", "help"),
    [
        ("3 in", MASS, "`3 in` is a length, expected a mass", "such as `300 lb`"),
        ("3 in", NUMBER, "`3 in` is a length, expected a number", "write `3`, `0.5` or `12 %`"),
        ("12 %", LENGTH, "`12 %` is a number, expected a length", "such as `2-1/2 in`"),
        ("300", MASS, "`300` has no unit", "write `300 lb` or `300 kg`"),
        ("-3/4", LENGTH, "`-3/4` has no unit", "write `-3/4 in` or `-3/4 mm`"),
        ("3 inchs", LENGTH, "`inchs` in `3 inchs` is not a known unit", "did you mean `inches`?"),
        ("3 ton", MASS, "`3 ton` could be several tons", "write `t` for 1000 kg, or pounds"),
        ("3 Pfund", MASS, "`Pfund` in `3 Pfund` is not a unit that is read", "a Pfund is 500 g and no pound"),
        ("25 piedras", MASS, "`piedras` in `25 piedras` is not a unit that is read", "a stone is 14 lb"),
        ("2 quintales", MASS, "`quintales` in `2 quintales` is not a unit that is read", "write kg or lb"),
        ("3 fps", MASS, "`fps` in `3 fps` is not a known unit", "write one of lb, oz, kg, g, t"),
        ("3 qqq", LENGTH, "`qqq` in `3 qqq` is not a known unit", "write one of in, ft, mm, cm, m"),
        ("3 qqq", NUMBER, "`qqq` in `3 qqq` is not a known unit", "lb, oz, kg"),
        ("2,5 in", LENGTH, "`2,5 in` has a comma that does not part thousands", "`2.5 in` with a point"),
        ("1,5 t", MASS, "`1,5 t` has a comma that does not part thousands", "write `1.5 t` with a point"),
        ("1.700 lb", MASS, "`1.700 lb` could be 1.7 or 1,700 lb", "write `1.7 lb` or `1,700 lb`"),
        ("1.000 kg", MASS, "`1.000 kg` could be 1 or 1,000 kg", "write `1 kg` or `1,000 kg`"),
        ("45.359 KG", MASS, "`45.359 KG` could be 45.3590 or 45,359 KG", "write `45.3590 KG`"),
        ("9.000 N", FORCE, "`9.000 N` could be 9 or 9,000 N", ""),
        ("0,432 m", LENGTH, "`0,432 m` has a comma that does not part thousands", "`0.432 m` with a point"),
        ("3,5000 lb", MASS, "`3,5000 lb` has a comma that does not part thousands", ""),
        ("1/0 in", LENGTH, "`1/0 in` divides by zero", ""),
        ("1-5/4 in", LENGTH, "`1-5/4 in` has a fraction of one or more", ""),
        ("450/480 lb", MASS, "`450/480 lb` is no fraction", "of two figures, that of this part"),
        ("205⁄215 kg", MASS, "`205⁄215 kg` is no fraction", ""),
        ("8/9 in", LENGTH, "`8/9 in` is no fraction", "such as `5/8 in`"),
        ("1² in", LENGTH, "`1² in` has digits other than 0 to 9", ""),
        ("٣ in", LENGTH, "`٣ in` is not a quantity", ""),
        ("６ in", LENGTH, "`６ in` is not a quantity", ""),
        ("5 kg 3 oz", MASS, "`5 kg 3 oz` is not one quantity", "only feet and inches join"),
        ("5 lb 3 in", MASS, "`5 lb 3 in` is not one quantity", "only feet and inches join"),
        ("1.250 g", MASS, "`1.250 g` could be 1.25 or 1,250 g", "write `1.25 g` or `1,250 g`"),
        ("2 in 3 ft", LENGTH, "`2 in 3 ft` is not one quantity", ""),
        ("6 ft 2", LENGTH, "`6 ft 2` is not one quantity", ""),
        ("1e3 kg", MASS, "`1e3 kg` is not one quantity", ""),
        ("1.2.3 in", LENGTH, "`1.2.3 in` is not one quantity", ""),
        ("two inches", LENGTH, "`two inches` is not a quantity", "write a number and its unit"),
        ("", LENGTH, "`` is not a quantity", ""),
        ("-", LENGTH, "`-` is not a quantity", ""),
        ("--2 in", LENGTH, "`--2 in` is not a quantity", ""),
        ("nan", NUMBER, "`nan` is not a quantity", ""),
        ("inf kg", MASS, "`inf kg` is not a quantity", ""),
        ("5 T", MASS, "`T` in `5 T` is not a known unit", ""),
        ("9" * 30 + " in", LENGTH, "`999999999999999999999999999999 in` is too large", "check the number"),
        ("9" * 193, NUMBER, "`999999999999999999999999…` is too long for a quantity", ""),
        ("2\x00 in", LENGTH, "`� in` in `2� in` is not a known unit", ""),
    ],
)
def test_errors_say_what_to_write(text: str, dimension: Dimension, message: str, help: str) -> None:
    """A text that is not the quantity asked for is answered with what is wrong and what to write."""
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)
    assert caught.value.message.startswith(message)
    assert caught.value.help.startswith(help) or help in caught.value.help


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text at all gives anything but a finite number or a one-line error."""
    try:
        value, _ = parse_any(text)
    except QuantityError as error:
        assert error.message.isprintable() and "\n" not in error.help
    else:
        assert abs(value) <= 1e15


@given(st.text(alphabet="0123456789 -/.,'\"inftlbkg%", max_size=64))
def test_quantity_like_text_ends(text: str) -> None:
    """A text made of the very characters of quantities neither hangs nor breaks."""
    with contextlib.suppress(QuantityError):
        parse_any(text)


@given(st.integers(0, 500), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_same_size_written_differently_is_same_value(whole: int, top: int, bottom: int) -> None:
    """A mixed number, its improper fraction and its decimal are one and the same float."""
    top %= bottom
    size = whole + Fraction(top, bottom)
    texts = [f"{whole}-{top}/{bottom} in", f"{size} in", f"{float(size)} in", f'{float(size)}"']
    assert {parse_quantity(t, LENGTH) for t in texts} == {float(size * Fraction("25.4"))}


def test_dimensions_multiply_and_divide() -> None:
    """Exponents add and subtract, and a torque is a force times a length."""
    assert FORCE * LENGTH == TORQUE and TORQUE / LENGTH == FORCE and LENGTH / LENGTH == NUMBER
    assert len({LENGTH * MASS, MASS * LENGTH, LENGTH}) == 2
    assert DIMENSIONS["ratio"] == DIMENSIONS["count"] == NUMBER


@pytest.mark.parametrize(
    ("dimension", "name"),
    [
        (NUMBER, "number"),
        (TORQUE, "torque"),
        (LENGTH * MASS, "mass × length"),
        (MASS / LENGTH, "mass / length"),
        (LENGTH * LENGTH, "length²"),
        (NUMBER / ANGLE, "1 / angle"),
    ],
)
def test_dimensions_have_readable_names(dimension: Dimension, name: str) -> None:
    """A dimension is told by its name, or by what it is a product of."""
    assert str(dimension) == name


@pytest.mark.parametrize(
    ("text", "literal"),
    [
        ("2 in", "2 in"),
        ("2 in, 3 in]", "2 in"),
        ("2 in in [2 in]", "2 in"),
        ("1-1/4 in) and", "1-1/4 in"),
        ("1 1/4 in", "1 1/4 in"),
        ("3 inches", "3 inches"),
        ("3 in-lb", "3 in-lb"),
        ("3 in-lbs_used", "3 in"),
        ("5 N m", "5 N m"),
        ("10 % ", "10 %"),
        ("10%", "10%"),
        ("2 in [", None),
        ("2 in(", None),
        ("2 inner", None),
        ("3 min(", None),
        ("3 tyre", None),
    ],
)
def test_lexer_pattern(text: str, literal: str | None) -> None:
    """The lexer's pattern takes whole units only, and never the operator `in`."""
    found = LITERAL.match(text)
    assert (found and found[0]) == literal


@pytest.mark.parametrize("spelling", [s for s in UNITS if not set(s) & set("\"'″′”’")])
def test_lexer_knows_every_word(spelling: str) -> None:
    """Each unit that is not a quote mark can be written in a rule."""
    found = LITERAL.fullmatch(f"2 {spelling}")
    assert found is not None


@given(PLAINEST)
def test_a_plain_figure_is_the_float_next_to_what_is_written(text: str) -> None:
    """What is read the short way is what exact fractions come to; thousands in doubt go the long way, and are asked."""
    figure, unit = text.split(" ")
    _, _, rest = figure.partition(".")
    if len(rest) == 3:
        assert not is_plainest(text)
        return
    assert is_plainest(text)
    dimension, factor = UNITS[unit]
    assert parse_any(text) == (float(Fraction(figure) * factor), dimension)
    assert parse_any(f"  {text} ") == parse_any(text)


@pytest.mark.parametrize(
    ("text", "offered", "kilograms"),
    [
        ("1.000,5 kg", "1000.5 kg", 1000.5),
        ("1.234.567,8 kg", "1234567.8 kg", 1234567.8),
        ("1 500 kg", "1500 kg", 1500.0),
        ("1 500,5 kg", "1500.5 kg", 1500.5),
        ("1\u202f500 kg", "1500 kg", 1500.0),
        ("1'500 kg", "1500 kg", 1500.0),
    ],
)
def test_what_is_offered_for_thousands_parted_otherwise_is_read(text: str, offered: str, kilograms: float) -> None:
    """Whoever writes what the refusal says is not refused again."""
    with pytest.raises(QuantityError) as refused:
        parse_any(text)
    assert f"`{offered}`" in refused.value.help
    assert parse_any(offered)[0] == pytest.approx(kilograms)


def test_a_point_before_a_decimal_comma_parts_thousands() -> None:
    """Where people write so it has one reading; a point alone may still be either."""
    with speaking(Tongue(code="es", decimal=",")):
        assert parse_any("1.000,5 kg")[0] == pytest.approx(1000.5)
        with pytest.raises(QuantityError):
            parse_any("1.000 kg")
