"""Expressions: what parses, what printing gives back, and hostile text that costs an error and nothing else."""

import pytest
from effort import tries
from grammar_table import made_by_lark
from hypothesis import given
from hypothesis import strategies as st
from lark import UnexpectedCharacters, UnexpectedToken

from fitsvc.language import lalr, syntax
from fitsvc.language.lalr import END, StrayError, UnexpectedError
from fitsvc.language.parser import DEEPEST, LONGEST, MAKERS, parse
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.source import Source
from fitsvc.language.syntax import (
    And,
    AnyNode,
    Arithmetic,
    Call,
    Comparison,
    If,
    In,
    Minus,
    Name,
    Node,
    Not,
    Number,
    Or,
    Quantity,
    YesNo,
)


def parsed(text: str) -> AnyNode:
    """The syntax tree of a text."""
    return parse(Source.plain(text))


def problem(text: str) -> Problem:
    """The one problem of a text that does not parse."""
    with pytest.raises(ProblemsFound) as caught:
        parsed(text)
    (found,) = caught.value.problems
    return found


LARK = made_by_lark()
A, B, C = Name(0, "a.x"), Name(0, "b.y"), Name(0, "c.z")


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("a.x + b.y * c.z", Arithmetic(0, "+", A, Arithmetic(0, "*", B, C))),
        ("a.x - b.y - c.z", Arithmetic(0, "-", Arithmetic(0, "-", A, B), C)),
        ("a.x / b.y * c.z", Arithmetic(0, "*", Arithmetic(0, "/", A, B), C)),
        ("-a.x * b.y", Arithmetic(0, "*", Minus(0, A), B)),
        ("a.x - -b.y", Arithmetic(0, "-", A, Minus(0, B))),
        ("+a.x", A),
        ("not a.x and b.y or c.z", Or(0, (And(0, (Not(0, A), B)), C))),
        ("a.x or b.y and c.z", Or(0, (A, And(0, (B, C))))),
        ("not a.x == b.y", Not(0, Comparison(0, "==", A, B))),
        ("a.x + b.y <= c.z", Comparison(0, "<=", Arithmetic(0, "+", A, B), C)),
        ("a.x not in [b, c,]", In(0, A, (Name(0, "b"), Name(0, "c")), True)),
        ("a.x if b.y else c.z if a.x else b.y", If(0, A, B, If(0, C, A, B))),
        ("a.x or b.y if yes else no", If(0, Or(0, (A, B)), YesNo(0, True), YesNo(0, False))),
        ("min(a.x, 2 in, b.y)", Call(0, "min", (A, Quantity(0, "2 in"), B))),
    ],
)
def test_precedence(text: str, tree: Node) -> None:
    """Operators bind as in arithmetic, then comparisons, not, and, or, if-else."""
    assert parsed(text) == tree


@pytest.mark.parametrize(
    "text", ["2 in", "3/4 in", "1-1/4 in", "1 1/4 in", "2.5 in", "10 %", "900 lb", "80 ft-lb", "14.3 kN", "0.5 N m"]
)
def test_quantities_are_one_token(text: str) -> None:
    """A number and its unit are one quantity, fractions and mixed numbers too."""
    assert parsed(text) == Quantity(0, text)


def test_a_blank_about_the_slash_divides() -> None:
    """`5/8 in` is a fraction of an inch, `5 / 8 in` a division."""
    assert parsed("5 / 8 in") == parsed("5/ 8 in") == Arithmetic(0, "/", Number(0, "5"), Quantity(0, "8 in"))


@pytest.mark.parametrize(
    ("text", "value"), [("2 in [a]", Number(0, "2")), ("2 in in [a]", Quantity(0, "2 in")), ("a.x in [a]", A)]
)
def test_in_of_membership_is_not_inches(text: str, value: AnyNode) -> None:
    """`in` before a list is the membership word, after a number otherwise the unit."""
    assert parsed(text) == In(0, value, (Name(0, "a"),), False)


def test_places_are_kept() -> None:
    """Every node knows its offset in the text, a comparison that of its operator."""
    tree = parsed("a.x   <= min(b.y, 2 in)")
    assert isinstance(tree, Comparison) and isinstance(tree.right, Call)
    assert (tree.at, tree.left.at, tree.right.at) == (6, 0, 9)
    assert [node.at for node in tree.right.arguments] == [13, 18]


words = st.sampled_from(["a", "kind", "receiver.opening", "x1.y_2.z", "inner", "order", "nothing"])
atoms = st.one_of(
    st.builds(Number, st.just(0), st.sampled_from(["0", "3", "0.5", "12"])),
    st.builds(Quantity, st.just(0), st.sampled_from(["2 in", "1-1/4 in", "5/8 in", "10 %", "900 lb", "3 m", "5 N"])),
    st.builds(YesNo, st.just(0), st.booleans()),
    st.builds(Name, st.just(0), words),
)


def larger(parts: st.SearchStrategy[Node]) -> st.SearchStrategy[Node]:
    """Every kind of node that has others below it."""
    two_or_three = st.lists(parts, min_size=2, max_size=3).map(tuple)
    none_to_two = st.lists(parts, max_size=2).map(tuple)
    return st.one_of(
        st.builds(Call, st.just(0), st.sampled_from(["min", "known", "anything"]), none_to_two),
        st.builds(Minus, st.just(0), parts),
        st.builds(Arithmetic, st.just(0), st.sampled_from("+-*/"), parts, parts),
        st.builds(Comparison, st.just(0), st.sampled_from(["==", "!=", "<", "<=", ">", ">="]), parts, parts),
        st.builds(In, st.just(0), parts, two_or_three, st.booleans()),
        st.builds(Not, st.just(0), parts),
        st.builds(And, st.just(0), two_or_three),
        st.builds(Or, st.just(0), two_or_three),
        st.builds(If, st.just(0), parts, parts, parts),
    )


@tries(150)
@given(st.recursive(atoms, larger, max_leaves=25))
def test_what_is_printed_parses_back(tree: Node) -> None:
    """Printing a tree and parsing the text gives an equal tree, and the same text again."""
    if len(str(tree)) <= LONGEST:
        assert parsed(str(tree)) == tree
        assert str(parsed(str(tree))) == str(tree)


@given(st.text(alphabet="ab.x12/-+*<>=!()[], \t\nifnotelsyrd%\0é", max_size=40))
@tries(500)
def test_any_text_parses_or_is_refused_in_place(text: str) -> None:
    """A text gives a tree or one problem within it, never another exception."""
    try:
        assert parsed(str(parsed(text))) == parsed(text)
    except ProblemsFound as found:
        (one,) = found.problems
        assert one.message and 1 <= one.line <= text.count("\n") + 1 and one.column >= 1


Stop = tuple[int | None, frozenset[str]] | None


def read_by_us(text: str) -> Stop:
    """Where our parser stops, and what it expects there; None when it takes the text."""
    try:
        lalr.parsed(text, {name: lambda *parts: parts for name in MAKERS})
    except StrayError as error:
        return error.at, frozenset()
    except UnexpectedError as error:
        return error.token.at, error.expected
    return None


def read_by_lark(text: str) -> Stop:
    """The same of lark's."""
    try:
        LARK.parse(text)
    except UnexpectedCharacters as error:
        return error.pos_in_stream, frozenset()
    except UnexpectedToken as error:
        at = len(text) if error.token.type == END else error.pos_in_stream
        return at, frozenset(error.interactive_parser.accepts())  # type: ignore[no-untyped-call]  # of a library without types
    return None


PIECES = ["a", "b.y", "kind", "3", "2.5", "5/8 in", "10 %", "yes", "no", "not", "f(", *"()[],+-*/!"]
PIECES += ["and", "or", "if", "else", "in", "==", "<="]


@given(st.lists(st.sampled_from(PIECES), max_size=12).map(" ".join))
@tries(500)
def test_a_text_is_read_as_lark_reads_it(text: str) -> None:
    """Lark, from the grammar itself, accepts the same texts, and stops at the same place expecting the same."""
    assert read_by_us(text) == read_by_lark(text)


DEEP = 10_000


@pytest.mark.timeout(60)  # against a hang
@pytest.mark.parametrize(
    "text",
    [
        "a" * 1_000_000,
        "1 + " * 250_000 + "1",
        "(" * DEEP + "1" + ")" * DEEP,
        "not " * DEEP + "yes",
        "-" * DEEP + "1",
        "f(" * DEEP + ")" * DEEP,
        "1 if yes else " * DEEP + "1",
        "a.x in [" * DEEP,
        " " * 1_000_000,
        "9" * 1_000_000,
    ],
    ids=["name", "sum", "brackets", "not", "minus", "calls", "if", "lists", "blanks", "digits"],
)
def test_long_text_is_refused(text: str) -> None:
    """However long and deep the text, the error names the length, and comes before a hang."""
    found = problem(text)
    assert found.message == f"the expression has {len(text)} characters; at most {LONGEST} are read"
    assert found.help


@pytest.mark.timeout(60)  # against a hang
@pytest.mark.parametrize(
    "text",
    ["not " * 490 + "yes", "-" * 1_900 + "1", "f(" * 600 + "1" + ")" * 600, "1 if yes else " * 140 + "1"],
    ids=["not", "minus", "calls", "if"],
)
def test_deep_text_is_refused(text: str) -> None:
    """Depth is bounded too, before any code that descends sees the tree."""
    found = problem(text)
    assert found.message == f"the expression is nested deeper than {DEEPEST} levels"
    assert found.help and found.column > 1


def test_depth_at_the_bound_is_read() -> None:
    """The deepest expression allowed is read; brackets alone add no depth."""
    assert parsed("-" * (DEEPEST - 1) + "1") and parsed("(" * 900 + "1" + ")" * 900) == Number(0, "1")
    assert problem("-" * DEEPEST + "1").message.startswith("the expression is nested deeper")


@pytest.mark.parametrize("character", ["\0", "\u00a0", "\u202e", "\x1b", "\r"])
def test_unseen_characters_are_named(character: str) -> None:
    """A character that cannot be seen is told by its number, at its place."""
    found = problem(f"a.x {character} b.y")
    assert found.message == f"the character U+{ord(character):04X} is not part of the rule language"
    assert (found.line, found.column) == (1, 5)


def test_tabs_and_line_ends_are_blanks() -> None:
    """An expression may be laid out over lines."""
    assert parsed("a.x\n\t+ b.y") == Arithmetic(0, "+", A, B)


def test_every_kind_of_node_is_printed_and_walked() -> None:
    """`below` knows every kind of node the parser makes."""
    kinds = {kind for kind in vars(syntax).values() if isinstance(kind, type) and issubclass(kind, Node)}
    tree = parsed("min(-a.x + 1, 2 in) <= 3 if not (b in [c] and yes) or no else d")
    seen, level = {type(tree)}, [tree]
    while level:
        level = [below for node in level for below in syntax.below(node)]
        seen |= {type(node) for node in level}
    assert seen == kinds - {Node}
