"""Three-valued logic, held to NULL in two databases.

SQL took Kleene's tables: ISO/IEC 9075-2, <boolean value expression>, truth tables of AND, OR and NOT.
"""

import sqlite3
from collections.abc import Callable
from itertools import permutations, product
from typing import Any

import pytest
from sqlalchemy import URL, create_engine, text

from fitsvc.language.truth import NO, UNKNOWN, WORDS, YES, conjunction, disjunction, implication, negation

VALUES = (NO, UNKNOWN, YES)
IN_SQL = {NO: "FALSE", UNKNOWN: "NULL", YES: "TRUE"}
OURS = {None: UNKNOWN, False: NO, True: YES}  # SQLite's 0 and 1 are the same keys
Ask = Callable[[str], Any]


def ask_sqlite(expression: str) -> Any:
    """The value of a boolean expression in SQLite."""
    with sqlite3.connect(":memory:") as connection:
        return connection.execute(f"SELECT {expression}").fetchone()[0]


def hold_to(ask: Ask) -> None:
    """Compare every operator on every pair of truths with a database's answer."""
    for a, b in product(VALUES, VALUES):
        left, right = f"CAST({IN_SQL[a]} AS BOOLEAN)", f"CAST({IN_SQL[b]} AS BOOLEAN)"
        assert OURS[ask(f"{left} AND {right}")] == conjunction(a, b), (a, b)
        assert OURS[ask(f"{left} OR {right}")] == disjunction(a, b), (a, b)
        assert OURS[ask(f"NOT {left} OR {right}")] == implication(a, b), (a, b)
        assert OURS[ask(f"NOT {left}")] == negation(a), a


def test_tables_are_those_of_sqlite() -> None:
    """And, or, not and implication answer as SQLite does, NULL being unknown."""
    hold_to(ask_sqlite)


def test_tables_are_those_of_postgresql(postgres_server: URL) -> None:
    """And as PostgreSQL does."""
    engine = create_engine(postgres_server)
    with engine.connect() as connection:
        hold_to(lambda expression: connection.execute(text(f"SELECT {expression}")).scalar())
    engine.dispose()


def test_order_and_grouping_do_not_matter() -> None:
    """And and or are the same in any order, and the usual values of nothing at all."""
    for three in product(VALUES, repeat=3):
        assert len({conjunction(*order) for order in permutations(three)}) == 1
        assert len({disjunction(*order) for order in permutations(three)}) == 1
        a, b, c = three
        assert conjunction(conjunction(a, b), c) == conjunction(*three)
        assert negation(conjunction(*three)) == disjunction(*map(negation, three))
    assert (conjunction(), disjunction()) == (YES, NO)


@pytest.mark.parametrize(("value", "word"), [(NO, "no"), (UNKNOWN, "unknown"), (YES, "yes")])
def test_words(value: int, word: str) -> None:
    """Each truth has its word."""
    assert WORDS[value] == word
