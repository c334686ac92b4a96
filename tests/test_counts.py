"""Counts that are promises: of what they count there is none, or nothing is left out."""

from counts import MOST_POSITIONAL, class_names_twice, literals, positional_calls, public, unargued_ignores


def test_no_class_name_stands_twice() -> None:
    """A class name means one thing, but that a node as written and as checked have the same."""
    assert class_names_twice() == {}


def test_many_arguments_are_given_by_name() -> None:
    """No class of ours is made of more than five arguments by their places."""
    assert MOST_POSITIONAL == 5
    assert positional_calls() == []


def test_no_rule_kind_or_derived_value_of_the_shipped_rulebook_is_named() -> None:
    """A shop with rules of its own gets the same drawing, plan and page: Python knows no rule, role or kind by name."""
    for what in ("derived values", "kinds", "rules, limits and needs"):
        assert literals()[what] == {}, what


def test_each_silenced_checker_is_argued() -> None:
    """Where a line bids the type checker or the linter be silent, its reason stands beside it."""
    assert unargued_ignores() == []


def test_public_names_tell_what_they_have_to() -> None:
    """Each has a docstring, which tells the error that is raised and a unit or shape where figures are taken or given.

    Whether the words are true is for readers; that they are there can be held.
    """
    assert [f"{one.place}: {', '.join(one.lacks)}" for one in public() if one.lacks] == []
