"""What a catalogue of vehicle numbers says, against what answers make of it: `PYTHONPATH=tests python -m outside_vins`.

By itself: `ultravin` (`pip install --target DIR ultravin`, and DIR behind `tests` on PYTHONPATH; MIT, 100 MB) holds the
catalogue that the US agency publishes for decoding numbers. It draws numbers of it and says what each is of; nothing
of it is kept. Held to it: check digits and model years, the bands of the GVWR as they are written there, what a vehicle
of such a band and such a curb weight may still carry, what trailers are coupled by, and that no figure is refused.
"""

import re
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from random import Random
from typing import Any, Final

import ultravin
from judging import answerer, case, result

from fitsvc.answers.vin import read_vin
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.quantities import UNITS

COUNT: Final = 5_000
SORTS: Final = {"cars": 2, "trucks": 3, "multipurpose vehicles": 7, "trailers": 6}
"""By the catalogue's numbers for them."""
BANDS: Final = ("Gross Vehicle Weight Rating From", "Gross Vehicle Weight Rating To")
COUPLED: Final = {
    "Ball Type Pull": "ball_coupler",
    "Ball Hitch": "ball_coupler",
    "Pintle Hitch/Hook": "lunette_ring",
    "Gooseneck": "gooseneck_coupler",
    "Kingpin": "fifth_wheel_pin",
    "Fifth Wheel": "fifth_wheel_pin",
    "Straight Semi/Semi Trailer": "fifth_wheel_pin",
}
"""What its words for a trailer's connection come to; `Bumper Pull` is a place, and `Other` is nothing."""
MOUNT: Final = {"accessory.kind": "ball_mount"}
_BAND: Final = re.compile(r"(?:Class \w+: )(?P<lb>[^(]*lb[^(]*) \((?P<kg>[^)]*)\)")
_PEOPLE: Final = range(150, 12_000)
"""The pounds that are tried of people and luggage: no less than a driver, whom answers count in any case."""
_ROUNDED: Final = 3
"""Pounds that the kilograms of a band may be off: it has 1,360 kg for 3,000 lb and for 3,001 lb."""
_FIGURE: Final = re.compile(r"\d[\d,]*")


def main() -> None:
    """Look, and end with 1 where something is otherwise than it should be."""
    wrong = Counter[str]()
    for sort, number in SORTS.items():
        numbers = ultravin.generate(
            COUNT,
            seed=7,
            vehicle_type=number,
            min_year=2012,
            max_year=2026,
            invalid_rate=0.0,
            now=datetime(2026, 11, 1, tzinfo=UTC),
        )
        found = ultravin.decode_batch(numbers)
        for one in [*_numbers(numbers, found), *(_trailers(found) if sort == "trailers" else _vehicles(found))]:
            wrong[f"{sort}: {one[0]}"] += one[1]
    for told, count in wrong.items():
        print(f"{told}: {count} otherwise")
    if not wrong or any(wrong.values()):
        sys.exit(1)


def _numbers(numbers: list[str], found: list[dict[str, Any]]) -> Iterator[tuple[str, int]]:
    """Check digits of sound numbers and of such with one character changed, and model years."""
    random, years, digits, spoilt = Random(7), 0, 0, 0
    for number, one in zip(numbers, found, strict=True):
        vin, place = read_vin(number), random.choice([at for at in range(17) if at not in (2, 8, 9)])
        characters = "0123456789" if place > 11 else "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
        other = number[:place] + random.choice(characters) + number[place + 1 :]
        changed = read_vin(other)
        digits += vin is None or vin.sound is not True or not one["check_digit_valid"]
        years += vin is None or one["model_year"] not in vin.years
        sound = ultravin.decode(other)["check_digit_valid"]
        spoilt += changed is None or changed.sound is not bool(sound)
    yield f"check digits of {len(numbers):,} numbers", digits
    yield f"check digits of {len(numbers):,} with a character changed", spoilt
    yield f"model years of {len(numbers):,}", years


def _vehicles(found: list[dict[str, Any]]) -> Iterator[tuple[str, int]]:
    """The bands of the GVWR as they are read, both units alike; curb weights; and what may still be carried."""
    said = [[one["attributes"][name] for name in BANDS if one["attributes"].get(name)] for one in found]
    bands = sorted({band for some in said for band in some})
    yield f"{len(bands)} bands read", sum(_read(band) is None for band in bands)
    curb = [one["attributes"].get("Curb Weight (pounds)") for one in found]
    weights = [weight for weight in curb if weight]
    yield f"{len(weights):,} curb weights read", sum(not _reads("curb_weight", f"{weight} lb") for weight in weights)
    tried = otherwise = 0
    for some, weight in zip(said, curb, strict=True):
        ends = [end for band in some if (end := _read(band)) is not None]
        if weight and ends and all(ends):
            low, high = min(low for low, _ in ends), max(high for _, high in ends)
            for carried, expected in _asked(low, high, int(weight)):
                tried, otherwise = tried + 1, otherwise + (_judged(low, high, weight, carried) != expected)
    yield f"{tried:,} loads against what is left of the GVWR", otherwise


def _asked(low: int, high: float, weight: int) -> Iterator[tuple[int, str]]:
    """Loads about what is left at either end of a band, in pounds, and what is to come of each."""
    for most, at, beyond in ((low - weight, "passes", "undetermined"), (high - weight, "undetermined", "fails")):
        if most in _PEOPLE and high < float("inf"):
            yield int(most), at
            yield int(most) + 1, beyond


def _judged(low: int, high: float, weight: str, carried: int) -> str:
    """What so many pounds of people come to by the payload."""
    gvwr = {**({"at_least": f"{low} lb"} if low else {}), "at_most": f"{high:.0f} lb"}
    facts = {"vehicle.gvwr": gvwr, "vehicle.curb_weight": f"{weight} lb", "spare.tyre": "245/75R16"}
    return result("people-alone-within-payload", {**facts, "load.occupants_weight": f"{carried} lb"})


def _read(band: str) -> tuple[int, float] | None:
    """Both ends of a band in pounds; None where the pounds and the kilograms are not read as the same."""
    found = _BAND.fullmatch(band)
    assert found, band
    reader, read = answerer().reader, []
    for text in (found["lb"], found["kg"]):
        try:
            read.append(reader.value(answerer().rulebook.vocabulary.facts["vehicle.gvwr"], text)["vehicle.gvwr"])
        except ProblemsFound:
            return None
    pounds = [int(figure.replace(",", "")) for figure in _FIGURE.findall(found["lb"])]
    low, high = (0, pounds[0]) if "less" in band else (pounds[0], float("inf") if "above" in band else pounds[-1])
    ours = (low, high)
    for value in read:
        assert isinstance(value, tuple)
        for end, own in zip(value, ours, strict=True):
            if 0 < own < float("inf") and abs(end / float(UNITS["lb"][1]) - own) > _ROUNDED:
                return None
    return ours


def _reads(fact: str, text: str) -> bool:
    """Whether a figure is one that a vehicle may have."""
    try:
        answerer().reader.value(answerer().rulebook.vocabulary.facts[f"vehicle.{fact}"], text)
    except ProblemsFound:
        return False
    return True


def _trailers(found: list[dict[str, Any]]) -> Iterator[tuple[str, int]]:
    """What a trailer is coupled by decides alone whether a ball mount is for it, and never makes it a yes."""
    said = Counter(one["attributes"].get("Trailer Type Connection") for one in found)
    strange = set(said) - {*COUPLED, "Bumper Pull", "Other", "Not Applicable", None}
    yield f"{len(said) - 1} words for a connection", len(strange)
    counted = sum(said[word] for word in COUPLED)
    for kind in sorted(set(COUPLED.values())):
        verdict = answerer().engine.evaluate(case({**MOUNT, "trailer.coupler_kind": kind}))
        expected = "undetermined" if kind == "ball_coupler" else "fails"
        yield f"{kind} ({counted:,} trailers have one of these)", verdict.outcome != expected


if __name__ == "__main__":
    main()
