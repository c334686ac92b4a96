"""Display: figures as the trade writes them, and the promise that different values look different."""

from math import inf, nextafter

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fitsvc.language.display import DISPLAY_UNITS, System, show, show_together
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.quantities import ANGLE, FORCE, LENGTH, MASS, NUMBER, TORQUE, Dimension, parse_quantity

IN = 25.4
LB = 0.45359237
STEPS = {
    "in": IN / 16,
    "ft": IN / 16,
    "mm": 1,
    "lb": LB,
    "kg": 1,
    "deg": 0.1,
    "kN": 0.01,
    "%": 0.001,
    "": 0.01,
}
UNITS = st.sampled_from(sorted(set(DISPLAY_UNITS) - {"ft-lb"}))
VALUES = st.one_of(st.floats(-1e9, 1e9), st.floats(-0.5, 0.5)).filter(lambda v: v == 0 or abs(v) > TOLERANCE)
ENDS = st.one_of(VALUES, st.sampled_from([0.0, 101.6, 101.6000011, 107.95]))


@pytest.mark.parametrize(
    ("value", "dimension", "unit", "us", "metric"),
    [
        (5 / 8 * IN, LENGTH, "in", "5/8 in", "16 mm"),
        (1.25 * IN, LENGTH, "in", "1-1/4 in", "32 mm"),
        (4 * IN, LENGTH, "in", "4 in", "102 mm"),
        (-1.25 * IN, LENGTH, "in", "-1-1/4 in", "-32 mm"),
        (0.0, LENGTH, "in", "0 in", "0 mm"),
        (-0.0, LENGTH, "in", "0 in", "0 mm"),
        (0.3, LENGTH, "in", "1/64 in", "0.3 mm"),
        (100.0, LENGTH, "in", "3-15/16 in", "100 mm"),
        (74 * IN, LENGTH, "ft", "6 ft 2 in", "1880 mm"),
        (72 * IN, LENGTH, "ft", "6 ft", "1829 mm"),
        (3500 * LB, MASS, "lb", "3500 lb", "1588 kg"),
        (17.68, ANGLE, "deg", "17.7 deg", "17.7 deg"),
        (17.02, ANGLE, "deg", "17 deg", "17 deg"),
        (0.12, NUMBER, "%", "12 %", "12 %"),
        (0.1251, NUMBER, "%", "12.5 %", "12.5 %"),
        (14.3055, FORCE, "kN", "14.31 kN", "14.31 kN"),
        (3.5, FORCE, "kN", "3.50 kN", "3.50 kN"),
        (108.4654, TORQUE, "ft-lb", "80 ft-lb", "108 N·m"),
        (3.0, NUMBER, "", "3", "3"),
        (2.5, NUMBER, "", "2.5", "2.5"),
        (2 * IN, LENGTH, "", "2 in", "51 mm"),
        (6.0, LENGTH * MASS, "", "6", "6"),
    ],
)
def test_one_value(value: float, dimension: Dimension, unit: str, us: str, metric: str) -> None:
    """One value is written in the trade's own units, or in whole metric ones."""
    assert show(value, value, dimension, unit, "us") == us
    assert show(value, value, dimension, unit, "metric") == metric


@pytest.mark.parametrize(
    ("lo", "hi", "text"),
    [
        (3.75 * IN, 4.25 * IN, "4 in ± 1/4 in"),
        (3.75 * IN, 4.3125 * IN, "3-3/4 in to 4-5/16 in"),
        (0.0, 4 * IN, "0 in to 4 in"),
        (-0.5 * IN, 0.5 * IN, "-1/2 in to 1/2 in"),
        (4 * IN, inf, "at least 4 in"),
        (-inf, 4 * IN, "at most 4 in"),
        (-2 * IN, inf, "at least -2 in"),
        (0.0, inf, "unknown"),
        (-inf, inf, "unknown"),
        (inf, inf, "unknown"),
        (4 * IN, 4 * IN + 1e-7, "4 in"),
        (4 * IN, 4 * IN + 0.1, "4 in to 4.004 in"),
    ],
)
def test_ranges(lo: float, hi: float, text: str) -> None:
    """A range is told by its middle, its ends, its one end, or as unknown."""
    assert show(lo, hi, LENGTH, "in", "us") == text


def test_what_is_counted_is_told_in_whole_numbers() -> None:
    """Two or three bikes are not two and a half, give or take a half; what is no whole number is told as it is."""
    told = {
        (2.0, 3.0): "2 or 3",
        (2.0, 4.0): "2 to 4",
        (0.0, 1.0): "0 or 1",
        (2.0, 2.0): "2",
        (2.25, 2.75): "2.5 ± 0.25",
    }
    for (low, high), text in told.items():
        assert show(low, high, NUMBER, "", "us") == show(low, high, NUMBER, "", "metric") == text
    assert show(2 - 9e-7, 2 + 9e-7, NUMBER, "", "us") != "2 or 2"


def test_a_weight_from_nothing_up_is_told_by_its_most() -> None:
    """From nothing up says nothing of a weight: `at most 100 lb`, and of a length both ends."""
    assert show(0.0, 100 * 0.45359237, MASS, "lb", "us") == "at most 100 lb"
    assert show(0.0, 0.0, MASS, "lb", "us") == "0 lb"


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        ([4 * IN, 4 * IN], ["4 in", "4 in"]),
        ([4 * IN, 4 * IN + 5e-7], ["4 in", "4 in"]),
        ([4 * IN, (4 + 1 / 32) * IN], ["4 in", "4-1/32 in"]),
        ([4 * IN, (4 + 1 / 64) * IN, 2 * IN], ["4 in", "4-1/64 in", "2 in"]),
        ([4 * IN, 4 * IN + 0.1], ["4 in", "4.004 in"]),
        ([0.1, 0.0], ["0.004 in", "0 in"]),
    ],
)
def test_close_values_are_told_apart(values: list[float], texts: list[str]) -> None:
    """Values shown together get as much precision as tells them apart, and no more."""
    assert show_together([(v, v, LENGTH, "in") for v in values], "us") == texts


def test_same_text_of_other_dimension_is_left_alone() -> None:
    """Only values that can be compared are told apart."""
    rows = [(2.0, 2.0, NUMBER, ""), (2.001, 2.001, LENGTH * MASS, "")]
    assert show_together(iter(rows), "us") == ["2", "2"]


@given(VALUES, UNITS, st.sampled_from(["us", "metric"]))
def test_round_trip(value: float, unit: str, system: System) -> None:
    """What is shown can be read back and lies within half a display step of the value."""
    dimension = DISPLAY_UNITS[unit]
    shown = parse_quantity(show(value, value, dimension, unit, system), dimension)
    metric = {"in": 1.0, "ft": 1.0, "lb": 1.0}
    step = metric.get(unit, STEPS[unit]) if system == "metric" else STEPS[unit]
    assert abs(shown - value) <= step / 2 + 1e-9 * abs(value)


@given(VALUES, UNITS, st.sampled_from(["us", "metric"]))
def test_nonzero_never_looks_like_zero(value: float, unit: str, system: System) -> None:
    """Only zero is shown as zero."""
    text = show(value, value, DISPLAY_UNITS[unit], unit, system)
    assert (parse_quantity(text, DISPLAY_UNITS[unit]) == 0) == (value == 0)


@given(VALUES, st.floats(1.01e-6, 3), UNITS, st.sampled_from(["us", "metric"]))
@example(101.6, 1.01e-6, "in", "us")
@example(1e9, 1.1e-6, "in", "us")
def test_different_values_never_alike(value: float, gap: float, unit: str, system: System) -> None:
    """Two values that differ by more than the tolerance never print alike."""
    rows = [(v, v, DISPLAY_UNITS[unit], unit) for v in (value, value + gap)]
    texts = show_together(rows, system)
    assert (texts[0] == texts[1]) == (rows[1][0] - value <= TOLERANCE)


def test_neighbouring_floats_are_told_apart() -> None:
    """Even two floats with none between them, whose quotients in inches are one float, do not print alike."""
    low = 14255159110.024595
    high = nextafter(low, inf)
    assert high - low > TOLERANCE and low / IN == high / IN
    assert len(set(show_together([(v, v, LENGTH, "in") for v in (low, high)], "us"))) == 2


@given(st.lists(st.tuples(ENDS, st.sampled_from([0.0, 1e-7, 2e-6, 0.3, 12.7])), max_size=6), UNITS)
def test_different_ranges_never_alike(ranges: list[tuple[float, float]], unit: str) -> None:
    """Among many ranges shown together, equal texts mean equal ends."""
    rows = [(lo, lo + width, DISPLAY_UNITS[unit], unit) for lo, width in ranges]
    texts = show_together(rows, "us")
    for (lo, hi, *_), text in zip(rows, texts, strict=True):
        for (lo2, hi2, *_), text2 in zip(rows, texts, strict=True):
            assert text != text2 or (abs(lo - lo2) <= TOLERANCE and abs(hi - hi2) <= TOLERANCE)


@given(ENDS, st.floats(2e-6, 1e6))
def test_ends_of_a_range_never_alike(lo: float, width: float) -> None:
    """A range that has an extent never reads `from X to X`."""
    low, found, high = show(lo, lo + width, LENGTH, "in", "us").partition(" to ")
    assert not found or low != high


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ((222.6, 220.2, 2.4), ["222.6 lb", "220.2 lb", "2.4 lb"]),
        ((223.0, 220.0, 3.0), ["223 lb", "220 lb", "3 lb"]),
        ((222.6, 220.2, 9.9), ["223 lb", "220 lb", "10 lb"]),
    ],
)
def test_a_difference_is_told_as_what_the_figures_beside_it_differ_by(
    figures: tuple[float, float, float], told: list[str]
) -> None:
    """`223 lb ... 220 lb: 2 lb too much` is read as a mistake; of figures that it is not of nothing is told finer."""
    rows = [(one * 0.45359237, one * 0.45359237, MASS, "lb") for one in figures]
    assert show_together(rows, "us", 2) == told
