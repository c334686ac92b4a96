"""Kleene's three truth values, as ordered integers so that `and` is min and `or` is max."""

from typing import Final, NewType

Truth = NewType("Truth", int)
NO: Final = Truth(0)
UNKNOWN: Final = Truth(1)
YES: Final = Truth(2)

WORDS: Final = ("no", "unknown", "yes")


def negation(a: Truth) -> Truth:
    """Not."""
    return Truth(YES - a)


def conjunction(*values: Truth) -> Truth:
    """And: no where any is no, yes where all are yes."""
    return min(values, default=YES)


def disjunction(*values: Truth) -> Truth:
    """Or: yes where any is yes, no where all are no."""
    return max(values, default=NO)


def implication(guard: Truth, requirement: Truth) -> Truth:
    """Guard implies requirement, as a rule is read."""
    return disjunction(negation(guard), requirement)
