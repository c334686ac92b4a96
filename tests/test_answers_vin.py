"""A vehicle's number narrows to the vehicles it may be of, by check digit, year and the signs that are stored."""

import pytest
from demo_world import answerer

from fitsvc.answers.records import Stored
from fitsvc.answers.vehicles import Vehicles
from fitsvc.answers.vin import check_digit, read_vin

PUBLISHED = {
    "1G4AH59H45G118341": "49 CFR 565.15(c), the sample calculation: 411 leaves 4 by 11",
    "1J9RP1A36A1644345": "NHTSA, Outline for New Manufacturer Information: 314 leaves 6 by 11",
    "1M8GDM9AXKP042788": "a ten is written X; from memory, a number that many descriptions of the check digit work out",
    "11111111111111111": "all ones check: the weights come to 89, which leaves 1 by 11",
}


@pytest.mark.parametrize("number", PUBLISHED)
def test_published_numbers_are_sound_and_one_wrong_character_is_not(number: str) -> None:
    """The check digit is the published one; another digit in any place is noticed, no weight being a multiple of 11."""
    assert check_digit(number) == number[8]
    assert (vin := read_vin(f" {number.lower()} ")) and vin.sound
    for place in (place for place in range(17) if place != 8 and number[place].isdigit()):
        wrong = f"{number[:place]}{(int(number[place]) + 1) % 10}{number[place + 1 :]}"
        assert (found := read_vin(wrong)) is None or not found.sound, wrong


@pytest.mark.parametrize(
    ("seventh", "code", "years"),
    [("9", "B", (1981, 2011)), ("9", "9", (2009, 2039)), ("A", "A", (2010, 1980)), ("A", "P", (2023, 1993))],
)
def test_the_model_year_is_the_tables(seventh: str, code: str, years: tuple[int, int]) -> None:
    """49 CFR 565.15(d)(1): B is 1981, 9 is 2009, A is 2010; a letter in the seventh place is of 2010 and later."""
    vin = read_vin(f"9ZZC2M{seventh}4*{code}")
    assert vin and vin.years == years


def test_what_is_no_number_is_text() -> None:
    """Sixteen characters, an O, or a year code that there is none of are words as any others."""
    for text in (
        "1G4AH59H45G11834",
        "1G4AH59H45G1I8341",
        "1G4AH59H40G118341",
        "muckle 2023 crew cab",
        "MUCKLE2023CREWCAB",
    ):
        assert read_vin(text) is None


def test_a_maker_of_few_vehicles_has_a_letter_before_the_last_three_figures() -> None:
    """49 CFR 565.15(d)(3): with a 9 in the third place, the twelfth to fourteenth say who made it; of others not."""
    few = "9Z9ZC2MG?S1AKK125"
    sound = next(number for digit in "0123456789X" if (number := few.replace("?", digit))[8] == check_digit(number))
    assert (vin := read_vin(sound)) and vin.sound and 2025 in vin.years
    assert (vin := read_vin(few.replace("?", "0" if sound[8] != "0" else "1"))) and not vin.sound
    assert read_vin(f"9ZZ{sound[3:]}") is None
    assert read_vin(f"{sound[:-3]}A25") is None


def _stored(key: str, **facts: object) -> Stored:
    return Stored(subject="vehicle", key=key, label=key, facts={"make": "Velmora", **facts})


def test_what_is_not_known_keeps_a_vehicle_in() -> None:
    """Another year or other signs leave a vehicle out; no year and no signs do not, and no number means such a one."""
    records = [
        _stored("agrees", year=2022, vin_signs="???SM5A?, ???SM6A?"),
        _stored("differs", year=2022, vin_signs="???SM7A?"),
        _stored("older", year=2021, vin_signs="???SM5A?"),
        _stored("early", year=1992, vin_signs="???SM5A?"),
        _stored("silent"),
        _stored("unsigned", year=2022),
    ]
    vehicles = Vehicles(answerer().reader, records)
    found, how = vehicles.matching("9ZZSM5AX*N")
    assert [one.key for one in found] == ["agrees", "early", "silent", "unsigned"]
    assert not how.exact and "2022" in how.told
    for gone in ("silent", "unsigned", "early"):
        vehicles.drop(gone)
    found, how = vehicles.matching("9ZZSM5AX*N")
    assert [one.key for one in found] == ["agrees"] and how.exact
    found, how = vehicles.matching("9ZZSM5AX!N")
    assert found == [] and "misread" in how.told
