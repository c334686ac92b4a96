"""The core of coupling once more, as an answer-set program written from the printed book, and held to the engine.

The program knows nothing of fitsvc: it is told what each fact may be, has one answer set for each way that things may
be, and a rule passes, fails or does not apply where it does so in all of them. Lengths are in eighths of an inch, and
50 mm, which is none, lies between 1-7/8 in and 2 in; masses are in hundreds of pounds.
"""

import random
from collections.abc import Iterator, Mapping
from typing import Final

import clingo
import pytest
from effort import EFFORT
from judging import Facts, result

Case = dict[str, tuple[object, ...]]
"""What each fact may be, as people write it; a fact that is left out is not told."""

# The book's words stand beside. Where a question leaves a subject out, what is said of it does not apply.
BOOK: Final = """
{ is(F, V) : may(F, V) } = 1 :- may(F, _).

% "Which kinds are what": a ball mount tows and takes a ball, a pintle mount tows and takes a ring.
tows :- is(kind, ball_mount).   takes_ball :- is(kind, ball_mount).
tows :- is(kind, pintle_mount). takes_ring :- is(kind, pintle_mount).
only_pin :- is(kind, locking_pin).

% Usual pin by opening. Smallest ball by trailer class. Trailer class by loaded weight.
usual(10, 4). usual(16, 5). usual(20, 5). usual(24, 5).
has_usual(10). has_usual(16). has_usual(20).
smallest(W, 15) :- is(gross, W), W <= 20.
smallest(W, 16) :- is(gross, W), W > 20.
% What stands there of a ball's size; 50 mm, here 155 tenths of an eighth, is told by its own number.
large(B, 10 * B) :- may(ball, B), B < 100.
large(155, 157) :- may(ball, 155).

% The shank is the size of the opening: not of what is only a pin.
applies(shank_fits_opening) :- present(accessory), not only_pin.
holds(shank_fits_opening) :- is(shank, S), is(opening, S).

% The pin is the size of the pin hole: of openings of 1-1/4, 2 and 2-1/2 in; and so of others.
applies(pin_fits_hole) :- present(accessory), is(opening, O), has_usual(O).
applies(pin_fits_unusual_hole) :- present(accessory), is(opening, O), not has_usual(O).
holds(pin_fits_hole) :- is(pin, P), is(hole, P).
holds(pin_fits_unusual_hole) :- is(pin, P), is(hole, P).

% The pin hole is the usual one for the opening.
applies(pin_hole_is_usual) :- present(accessory), is(opening, O), has_usual(O).
holds(pin_hole_is_usual) :- is(opening, O), is(hole, P), usual(O, P).

% The ball's shank goes through the hole in the platform, of what takes a ball.
applies(ball_shank_enters_hole) :- present(accessory), present(ball), takes_ball.
holds(ball_shank_enters_hole) :- is(platform, H), is(ball_shank, S), H >= S.

% The ball is the coupler's size, but where a ring lies in what takes one; here no trailer has a ring.
applies(ball_fits_coupler) :- present(ball), present(trailer).
holds(ball_fits_coupler) :- is(ball, B), is(coupler, B).

% The ball is as large as the trailer's class asks for; a ball of 50 mm is not held to it.
applies(ball_large_enough_for_class) :- present(ball), present(trailer), is(ball, B), B != 155.
holds(ball_large_enough_for_class) :- is(ball, B), large(B, L), is(gross, W), smallest(W, S), L >= 10 * S.

% The accessory is one that a trailer is coupled to, where there is a trailer.
applies(accessory_tows) :- present(accessory), present(trailer).
holds(accessory_tows) :- tows.
"""
SIZES: Final[Mapping[str, int]] = {
    "1/2 in": 4, "5/8 in": 5, "3/4 in": 6, "7/8 in": 7, "1 in": 8, "1-1/4 in": 10, "1-3/8 in": 11,
    "1-7/8 in": 15, "50 mm": 155, "2 in": 16, "2-1/2 in": 20, "3 in": 24, "4 in": 32,
}  # fmt: skip
FACTS: Final[Mapping[str, tuple[str, tuple[str, ...]]]] = {
    "receiver.opening": ("opening", ("1-1/4 in", "2 in", "2-1/2 in", "3 in")),
    "receiver.pin_hole": ("hole", ("1/2 in", "5/8 in", "3/4 in", "7/8 in", "1 in")),
    "accessory.kind": ("kind", ("ball_mount", "pintle_mount", "step", "cargo_carrier", "locking_pin")),
    "accessory.shank": ("shank", ("1-1/4 in", "2 in", "2-1/2 in", "3 in")),
    "accessory.pin": ("pin", ("1/2 in", "5/8 in", "3/4 in", "7/8 in", "1 in")),
    "accessory.ball_hole": ("platform", ("3/4 in", "1 in", "1-1/4 in", "1-3/8 in")),
    "ball.diameter": ("ball", ("1-7/8 in", "50 mm", "2 in", "3 in")),
    "ball.shank_diameter": ("ball_shank", ("3/4 in", "1 in", "1-1/4 in", "1-3/8 in")),
    "trailer.coupler": ("coupler", ("1-7/8 in", "50 mm", "2 in", "3 in")),
    "trailer.gross_weight": ("gross", ("2000 lb", "2100 lb", "9000 lb")),
}
FIGURES: Final = ("accessory.ball_hole", "trailer.gross_weight")
"""Facts that are measured: they are told exactly or not at all, and then may be less or more than any here."""
BEYOND: Final = {"accessory.ball_hole": (2, 24), "trailer.gross_weight": (5, 500)}


def drawn(chance: random.Random) -> Facts:
    """Facts told exactly, as one of several, or not; of a subject some are told or none."""
    subjects = [subject for subject in ("accessory", "ball", "trailer") if chance.random() < 0.8]
    told: dict[str, object] = {}
    for name, (_, members) in FACTS.items():
        if name.partition(".")[0] in ("receiver", *subjects) and chance.random() < 0.8:
            some = chance.sample(members, chance.choice((1, 1, 1, 2)))
            told[name] = some if len(some) > 1 and name not in FIGURES else some[0]
    return told


def told_to_the_program(facts: Facts) -> str:
    """What each fact may be, and which subjects the question names."""
    lines = [f"present({subject})." for subject in {name.partition(".")[0] for name in facts}]
    for name, (short, members) in FACTS.items():
        told = facts.get(name, members)
        values = [_value(one) for one in (told if isinstance(told, list | tuple) else [told])]
        values += BEYOND.get(name, ()) if name not in facts else ()
        lines += [f"may({short}, {value})." for value in values]
    return " ".join(lines)


def _value(text: object) -> int | str:
    written = str(text)
    return int(written[:-5]) if written.endswith("00 lb") else SIZES.get(written, written)


def results(facts: Facts) -> Mapping[str, str]:
    """What the program says of each rule."""
    control = clingo.Control(["0", "--project=show"])
    control.add("base", [], BOOK + told_to_the_program(facts) + "#show applies/1. #show holds/1.")
    control.ground([("base", [])])
    ways = list[set[str]]()
    control.solve(on_model=lambda model: ways.append({str(one) for one in model.symbols(shown=True)}))
    return {rule: _of_all(rule, ways) for rule in RULES}


RULES: Final = sorted({line.partition("(")[2].partition(")")[0] for line in BOOK.splitlines() if "applies(" in line})


def _of_all(rule: str, ways: list[set[str]]) -> str:
    applies, holds = ([f"{word}({rule})" in way for way in ways] for word in ("applies", "holds"))
    if not any(applies):
        return "not_applicable"
    if all(holds):
        return "passes"
    return "fails" if all(applies) and not any(holds) else "undetermined"


def cases() -> Iterator[Facts]:
    """Drawn cases, the same by day."""
    chance = random.Random(0)
    yield from (drawn(chance) for _ in range(70 * EFFORT))


def test_the_engine_and_the_answer_sets_agree() -> None:
    """On each rule of each case; and every result of every rule comes up."""
    seen = set[tuple[str, str]]()
    for facts in cases():
        for rule, found in results(facts).items():
            assert result(rule.replace("_", "-"), facts) == found, (rule, facts)
            seen.add((rule, found))
    assert len(RULES) == 8 and len(seen) >= 4 * len(RULES) - 1, sorted(seen)


@pytest.mark.parametrize("change", [("H >= S", "H > S"), ("W <= 20.", "W < 20."), ("B != 155", "B != 16")])
def test_another_program_does_not_agree(change: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """One comparison turned in the program, and some drawn case tells it from the engine."""
    assert change[0] in BOOK
    monkeypatch.setitem(globals(), "BOOK", BOOK.replace(*change))
    agree = (
        result(one.replace("_", "-"), facts) == found for facts in cases() for one, found in results(facts).items()
    )
    assert not all(agree)
