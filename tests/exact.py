"""The specification in exact fractions: what a question comes to when every fact of it is known, without rounding.

Figures are fractions from the text of the rule to the comparison, but where a formula is irrational: an angle or a
root is the nearest float, and exact from there on. So nothing the engine says can rest on how floats round.
"""

import re
from fractions import Fraction
from functools import cache
from typing import Final

from interpreter import Interpreter, in_float

from fitsvc.facts import Case
from fitsvc.language.quantities import UNITS
from fitsvc.language.types import Value
from fitsvc.paths import data_dir

_PART: Final = re.compile(r"(?:(\d+)-(?=\d+/))?(?:(\d+)/(\d+)|(\d[\d,.]*))\s*([^\d\s-]+)?")


def exactly(text: str) -> float:
    """A written figure as a fraction in the inside unit: `2-1/2 in` is 127/2 mm."""
    total = Fraction(0)
    for whole, top, bottom, plain, unit in _PART.findall(text):
        amount = Fraction(plain.replace(",", "")) if plain else Fraction(whole or 0) + Fraction(int(top), int(bottom))
        total += amount * (UNITS[unit][1] if unit else 1)
    found = -total if text.strip().startswith("-") else total
    assert float(found) == in_float(text), text
    return found  # type: ignore[return-value]  # a fraction stands for the float


@cache
def specification() -> Interpreter:
    """The shipped rulebook, its figures read exactly."""
    return Interpreter(data_dir("rules"), exactly)


def in_fractions(case: Case) -> Case:
    """The case with every known figure as the fraction that its float is."""

    def exact(value: Value) -> Value:
        if isinstance(value, tuple) and value[0] == value[1]:
            return (Fraction(value[0]), Fraction(value[1]))  # type: ignore[return-value]  # as above
        return value

    facts = {name: exact(value) for name, value in case.facts.items()}
    adapters = tuple({name: exact(value) for name, value in adapter.items()} for adapter in case.adapters)
    return Case(facts, case.present, adapters)
