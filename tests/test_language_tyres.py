"""Tyre sizes: what stands on the sidewall, the dimensions it names, and what is refused."""

import contextlib
import re
from ast import literal_eval
from importlib.metadata import distribution
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tire_codes import TireCodeParser, TireCodeParsingError, TireSpecValidationError

from fitsvc.language.tyres import LOAD_INDEX, TyreError, load_of, parse_tyre


@pytest.mark.parametrize(
    ("text", "diameter"),
    [
        # Design diameter = rim code x 25.4 + 2 x width x aspect / 100: the meaning of the aspect ratio in
        # ISO 4000-1 and TRA designations (from memory). The first two figures are as size guides print them:
        ("185/60R14", 577.6),  # 577.6 mm, worked example of an owners' forum
        ("225/60R16", 676.4),  # 676.4 mm and 26.6 in, a size calculator's printed result
        ("245/75R16", 773.9),  # by hand from the definition, as are those below
        ("P235/75R15", 733.5),
        ("LT285/70R17", 830.8),
        ("T145/80D18", 689.2),
        ("ST205/75R15", 688.5),
        ("225/70R19.5", 810.3),
    ],
)
def test_metric_diameter(text: str, diameter: float) -> None:
    """A metric size has one design diameter, the published one to its printed digits."""
    low, high = parse_tyre(text).diameter
    assert low == high == pytest.approx(diameter, abs=0.05)


def test_published_inches() -> None:
    """225/60R16 is published as 26.6 in across."""
    assert round(parse_tyre("225/60R16").diameter[0] / 25.4, 1) == 26.6


@pytest.mark.parametrize(
    "text",
    [
        "185/60R14",
        "185/60 R 14",
        "185 / 60 R14",
        " 185/60r14 ",
        "185/60ZR14",
        "185/60-14",
        "P185/60R14",
        "P 185/60R14",
        "185/60R14C",
        "185/60R14 82H",
        "185/60R14 82 H",
        "185/60R14 102/100T",
        "185/60R14 XL 86H",
        "185/60R14 86H XL",
        "185/60R14/E",
    ],
)
def test_spellings_of_one_size(text: str) -> None:
    """Prefix, spacing, construction, load range and service description leave the dimensions alone."""
    tyre = parse_tyre(text)
    assert (tyre.width, tyre.diameter, tyre.rim) == ((185, 185), parse_tyre("185/60R14").diameter, 14 * 25.4)


@pytest.mark.parametrize(
    ("text", "load_index"),
    [
        ("225/60R16 98H", 98),
        ("LT245/75R16 120/116S", 120),
        ("33X12.50R15LT 108Q", 108),
        ("225/60R16", None),
        ("LT285/70R17 E", None),
    ],
)
def test_load_index(text: str, load_index: int | None) -> None:
    """The load index is read where it stands, the first of two, and else not known."""
    assert parse_tyre(text).load_index == load_index


@pytest.mark.parametrize(
    ("text", "load_index"),
    [
        ("275/65R18 123/120", 123),  # two load indices and no speed letter
        ("235/80R17LT 120/117", 120),
        ("35X12.5R18 123", 123),
        ("35X12.5R20 121ZR", 121),
        ("35X12.5R18 123ZRW", 123),
        ("40X15.5R24 128Q/125Q", 128),  # a letter after each
        ("225/45ZRF18 95W", 95),  # run flat
        ("275/35ZR20 REINF", None),  # reinforced
        ("C165/45R16 74V", 74),
        ("185R14C 102/100Q", 102),  # no height
    ],
)
def test_codes_as_they_stand_on_sidewalls(text: str, load_index: int | None) -> None:
    """Kinds of code that stand on sidewalls today and were refused: each is read, with its load index."""
    assert parse_tyre(text).load_index == load_index


def test_a_size_without_a_height_is_a_band() -> None:
    """Full profile, from memory: 185R14 and 205R16 are listed at 650 mm and 734 mm across, within 79 to 82 %."""
    for text, listed in (("185R14C", 650), ("205R16", 734)):
        low, high = parse_tyre(text).diameter
        assert low <= listed <= high and high - low < 15


def test_load_index_as_charts_print_it() -> None:
    """Charts of load indices, quoted: 91 carries 615 kg, 100 carries 800, 110 carries 1,060, 121 carries 1,450."""
    assert [load_of(index) for index in (91, 100, 110, 121)] == [615, 800, 1060, 1450]


@pytest.mark.parametrize("text", ["33X12.50R15LT", "33x12.5R15", "33 x 12.50 R 15 LT", "33×12.5-15", "LT33X12.50R15"])
def test_flotation(text: str) -> None:
    """A flotation size names inches, and a diameter known only within a band below the nominal one."""
    tyre = parse_tyre(text)
    assert tyre.width == pytest.approx((317.5, 317.5))
    assert tyre.diameter == pytest.approx((838.2 - 12, 838.2))
    assert tyre.rim == pytest.approx(381)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("245/75R61", "`245/75R61` names a rim of 61 in (not 8 to 26)"),
        ("45/75R16", "`45/75R16` names a width of 45 mm (not 100 to 500)"),
        ("245/10R16", "`245/10R16` names a height of 10 % (not 20 to 100)"),
        (
            "999/10R99",
            "a width of 999 mm (not 100 to 500) and a height of 10 % (not 20 to 100) and a rim of 99 in",
        ),
        ("225/60R16 998H", "a load index of 998 (not 50 to 150)"),
        ("15X12.50R15", "a diameter that leaves no tyre around its rim"),
        ("33X2.50R15", "a width of 63.5 mm"),
        ("7.50R16", "`7.50R16` is not a tyre size"),
        ("245/75", "`245/75` is not a tyre size"),
        ("33 in", "`33 in` is not a tyre size"),
        ("", "`` is not a tyre size"),
        ("２４５/75R16", "is not a tyre size"),
        ("245/75R16\x00", "`245/75R16�` is not a tyre size"),
        ("245/75R16" * 9, "is too long for a tyre size"),
    ],
)
def test_errors_name_what_is_wrong(text: str, message: str) -> None:
    """A size that cannot be is refused with every number that is out of range."""
    with pytest.raises(TyreError) as caught:
        parse_tyre(text)
    assert message in caught.value.message and caught.value.help


@given(st.text(alphabet="0123456789/.XRDBPLTZ -C", max_size=60) | st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text at all hangs, or gives a tyre no bigger than its rim."""
    with contextlib.suppress(TyreError):
        tyre = parse_tyre(text)
        assert 0 < tyre.rim < tyre.diameter[0] <= tyre.diameter[1] < 2000


def test_load_index_table_rises_and_follows_its_rule() -> None:
    """Each index carries more than the one before, within 1.8 % of 45 x 10^(LI/80) kg (from memory)."""
    loads = [load_of(index) for index in range(LOAD_INDEX[0], LOAD_INDEX[1] + 1)]
    assert loads == sorted(set(loads))
    for index, load in enumerate(loads, start=LOAD_INDEX[0]):
        assert abs(load / (45 * 10 ** (index / 80)) - 1) <= 0.018, index


def test_load_index_reads_as_its_load() -> None:
    """98 stands for 750 kg and 121 for 1450 kg (ISO 4000-1, from memory)."""
    assert (load_of(98), load_of(121)) == (750.0, 1450.0)


def test_every_code_of_a_corpus_is_read_as_another_reader_does() -> None:
    """The 1,564 distinct codes that `tire-codes` (MIT) was collected from: width, diameter, rim and load index agree.

    Its diameter follows from its own reading by the meaning of the height, or stands on the sidewall.
    """
    path = Path(str(distribution("tire-codes").locate_file("tests/sample_codes.py")))
    codes = sorted(set(literal_eval(path.read_text("utf-8").partition("sample_codes = ")[2])))
    assert len(codes) == 1_564
    compared = 0
    for code in codes:
        ours = parse_tyre(code)
        try:
            theirs = TireCodeParser(code).parse()
        except (TireCodeParsingError, TireSpecValidationError):
            continue
        half = 0.5 if re.search(r"R\d\d\.5", code) else 0.0  # which it drops
        compared, rim = compared + 1, 25.4 * (float(theirs.WHEEL_DIAMETER) + half)
        assert ours.rim == pytest.approx(rim), code
        if theirs.OVERALL_DIAMETER is not None:
            assert ours.diameter[1] == pytest.approx(25.4 * float(theirs.OVERALL_DIAMETER)), code
            assert ours.width[1] == pytest.approx(25.4 * float(theirs.WIDTH)), code
        elif theirs.ASPECT_RATIO is not None:
            width = float(theirs.WIDTH)
            assert ours.width[0] == width, code
            assert ours.diameter[0] == pytest.approx(rim + 2 * width * float(theirs.ASPECT_RATIO) / 100), code
        if theirs.LOAD_INDEX is not None:
            assert ours.load_index == int(theirs.LOAD_INDEX), code
    assert compared >= len(codes) - 10  # it cannot read the two without a height, and few others
