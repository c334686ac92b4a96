"""What spreadsheets make of figures is told as that, with what it likely was, and never read as the figure."""

import pytest
from demo_world import answerer

from fitsvc.language.problems import ProblemsFound
from fitsvc.language.spreadsheets import damage_of
from fitsvc.loading.cells import read_cell
from fitsvc.loading.entries import wire_fact


@pytest.mark.parametrize(
    ("text", "sort", "meant"),
    [
        ("5-Aug", "date", "5/8"),
        ("8-May", "date", "5/8"),
        ("May-08", "date", "5/8"),
        ("5. Aug", "date", "5/8"),
        ("05-ago", "date", "5/8"),
        ("8-Mai", "date", "5/8"),
        ("2025-08-05", "date", "5/8"),
        ("2025-08-05 00:00:00", "date", "5/8"),
        ("08/05/2025", "date", "5/8"),
        ("05.08.2025", "date", "5/8"),
        ("1.25E+00", "exponent", "1.25"),
        ("1,25E+00", "exponent", "1.25"),
        ("2E+03", "exponent", "2000"),
        ("#REF!", "error", ""),
        ("#N/A", "error", ""),
    ],
)
def test_what_a_spreadsheet_did_is_known(text: str, sort: str, meant: str) -> None:
    """Days of a month by name in three languages, dates by numbers, exponents and errors, with or without a unit."""
    for said in (text, f" {text} ", *([f"{text} in"] if sort != "error" and text[-1].isdigit() else [])):
        found = damage_of(said)
        assert found is not None
        assert (found.sort, found.meant[0] if found.meant else "") == (sort, meant)


@pytest.mark.parametrize(
    "text",
    [
        "5/8",
        "1-1/4",
        "2-1/2 in",
        "2.5",
        "10-12",
        "45874",
        "augment",
        "2 in",
        "",
        "8",
        "1,250",
        "1e400 lb",
        "1e-400 lb",
        "-1E+400",
        "1e99",
        "1E-99",
    ],
)
def test_what_is_a_figure_or_nothing_at_all_is_no_damage(text: str) -> None:
    """Figures as people write them are none; a bare number of a day is one only where it is asked for."""
    assert damage_of(text) is None
    assert (damage_of(text, serials=True) is not None) == (text == "45874")


@pytest.mark.parametrize(
    ("fact", "cell", "unit", "told", "likely"),
    [
        ("pin", "8-May", "in", "is a date", "it was likely `5/8 in`:"),
        ("pin", "45874", "in", "is a date", "it was likely `5/8 in`:"),
        ("bikes_max", "4-Feb", "", "is a date", "it was likely `2-4`:"),
        ("shank", "1.25E+00", "in", "how a spreadsheet writes", "it was likely `1.25`:"),
        ("weight", "#VALUE!", "lb", "is an error of a spreadsheet", "mend the formula there"),
    ],
)
def test_a_fact_is_refused_with_what_it_likely_was(fact: str, cell: str, unit: str, told: str, likely: str) -> None:
    """By the one reader of files, pages and questions: of a date the fraction that is one of the sizes."""
    reader = answerer().reader
    known = reader.vocabulary.of("accessory")[fact]
    with pytest.raises(ProblemsFound) as found:
        reader.value(known, wire_fact(known, read_cell(cell, known, unit)))
    assert told in found.value.problems[0].message
    assert found.value.problems[0].help.startswith(likely)
