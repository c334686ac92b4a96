"""Kleene's three truth values, as ordered integers so that `and` is min and `or` is max."""

from typing import Final

NO: Final = 0
UNKNOWN: Final = 1
YES: Final = 2

WORDS: Final = ("no", "unknown", "yes")


def negation(a: int) -> int:
    """Not."""
    return YES - a


def conjunction(*values: int) -> int:
    """And: no where any is no, yes where all are yes."""
    return min(values, default=YES)


def disjunction(*values: int) -> int:
    """Or: yes where any is yes, no where all are no."""
    return max(values, default=NO)


def implication(guard: int, requirement: int) -> int:
    """Guard implies requirement, as a rule is read."""
    return max(YES - guard, requirement)
