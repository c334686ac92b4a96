"""Strict YAML: texts as written, places that are right, and hostile files that cost only an error."""

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence, read_yaml, read_yaml_file, to_plain


def problems_of(text: str) -> tuple[Problem, ...]:
    """Return the problems of a text that must have some."""
    with pytest.raises(ProblemsFound) as caught:
        read_yaml(text, "rules/a.yaml")
    return caught.value.problems


def scalar_at(text: str, key: str) -> Scalar:
    """Return the scalar under a key of a mapping."""
    root = read_yaml(text, "a.yaml")
    assert isinstance(root, Mapping)
    value = root.entries[key]
    assert isinstance(value, Scalar)
    return value


@pytest.mark.parametrize("text", ["no", "on", "1:30", "012", "1e3", "2024-01-01", "true", "0x1F", ".inf", "1_000"])
def test_plain_scalars_keep_their_text(text: str) -> None:
    """No scalar turns into a number, a date or a truth value."""
    assert to_plain(read_yaml(f"a: {text}", "a.yaml")) == {"a": text}


@pytest.mark.parametrize("text", ["", "~", "null", "NULL"])
def test_null_is_none_only_when_plain(text: str) -> None:
    """Nothing, `~` and `null` mean no value, but a quoted `null` is a text."""
    assert to_plain(read_yaml(f"a: {text}\nb: '{text}'", "a.yaml")) == {"a": None, "b": text}


def test_tree() -> None:
    """Mappings keep their order, sequences their items, and every node its place."""
    root = read_yaml("- id: x\n  in: [1, {b: '2'}]\n", "a.yaml")
    assert to_plain(root) == [{"id": "x", "in": ["1", {"b": "2"}]}]
    assert isinstance(root, Sequence) and isinstance(root.items[0], Mapping)
    rule = root.items[0]
    assert [*rule.entries] == ["id", "in"]
    mark = rule.key_mark("in")
    assert (mark.file, mark.line, mark.column) == ("a.yaml", 2, 3)
    assert (rule.entries["in"].mark.line, rule.entries["in"].mark.column) == (2, 7)


def test_empty_file_is_null() -> None:
    """A file with nothing but comments holds no value."""
    assert to_plain(read_yaml("# later\n", "a.yaml")) is None


def test_problem_shows_place_and_line() -> None:
    """A node's problem carries file, line, column and the line's text."""
    problem = scalar_at("a: 1\nb:  two\n", "b").problem("`two` is not a number", "write `2`")
    assert str(problem) == "a.yaml:2:5: `two` is not a number\n    b:  two\n        ^\n    help: write `2`"


def test_problem_at_key() -> None:
    """A mapping can point at one of its keys."""
    root = read_yaml("a: 1\n  # c\nbee: 2\n", "a.yaml")
    assert isinstance(root, Mapping)
    assert (root.problem_at_key("bee", "x").line, root.problem_at_key("bee", "x").column) == (3, 1)


@pytest.mark.parametrize(
    ("text", "offset", "place"),
    [
        ("k: one + two", 6, (1, 10)),
        ("k: 'one + two'", 6, (1, 11)),
        ("k: 'it''s + two'", 7, (1, 13)),
        ('k: "a\\t\\u00e9 + two"', 5, (1, 16)),
        ("k: |\n  one\n   + two\n", 7, (3, 6)),
        ("k: |-\n\n  one\n\n  two\n", 6, (5, 3)),
        ("k: |2\n    one\n  two\n", 2, (2, 5)),
        ("k: |\n  one\n  one\n", 5, (3, 4)),
        ("k: >\n  one\n  + two\n", 6, (3, 5)),
        ("k: > # why\n  one\n\n  + two\n", 6, (4, 5)),
        ("k: one\n  + two", 6, (2, 5)),
        ("k: one\n\n  + two", 6, (3, 5)),
        ("k: 'one\n\n  + two'", 6, (3, 5)),
        ('k: "one \\\n  + two"', 6, (2, 5)),
        ("k: 🚲 + two", 4, (1, 8)),
        ("- x\n- k: one", 1, (2, 7)),
        ("k: one", 3, (1, 7)),
        ("k: one", 99, (1, 7)),
        ("k:", 0, (1, 3)),
    ],
)
def test_position_of_a_character(text: str, offset: int, place: tuple[int, int]) -> None:
    """A character of a value is found in the file, however the scalar is written."""
    root = read_yaml(text, "a.yaml")
    while not isinstance(root, Scalar):
        root = root.items[-1] if isinstance(root, Sequence) else root.entries["k"]
    assert root.position(offset) == place
    problem = root.problem_at(offset, "here")
    assert (problem.line, problem.column, problem.source) == (*place, text.split("\n")[place[0] - 1])


@given(
    st.text(alphabet="ab1 \n'\"\\#:-é🚲", max_size=60),
    st.sampled_from([None, "'", '"', "|", ">"]),
    st.booleans(),
    st.integers(20, 40),
)
def test_positions_agree_with_the_file(value: str, style: str | None, plain_letters: bool, width: int) -> None:
    """Whatever writes the scalar, each visible character is found where the file has it."""
    text = yaml.safe_dump({"k": value}, default_style=style, allow_unicode=plain_letters, width=width)
    scalar = scalar_at(text, "k")
    assert scalar.value == value
    lines = text.split("\n")
    for offset, character in enumerate(value):
        line, column = scalar.position(offset)
        found = lines[line - 1][column - 1 :][:1]
        assert character.isspace() or found == character or (found == "\\" and scalar.style == '"')


@pytest.mark.parametrize(
    ("text", "message", "line", "column"),
    [
        ("a: 1\na: 2", "the key `a` stands here a second time", 2, 1),
        ("{a: 1, 'a': 2}", "the key `a` stands here a second time", 1, 8),
        ("a: &x 1", "an anchor `&x` is not allowed", 1, 4),
        ("a: *x", "an alias `*x` is not allowed", 1, 4),
        ("a: !!int 1", "a tag `tag:yaml.org,2002:int` is not allowed", 1, 4),
        ("a: !x 1", "a tag `!x` is not allowed", 1, 4),
        ("<<: {a: 1}", "a merge key `<<` is not allowed", 1, 1),
        ("[a]: 1", "a list or mapping cannot be a key", 1, 1),
        ("~: 1", "a key is missing before `:`", 1, 1),
        ("a: 1\n---\nb: 1", "a second document begins here", 2, 1),
        ("a:\n\tb: 1", "a tab in the indentation", 2, 1),
        ("a: b\0", "the character U+0000 is not allowed", 1, 5),
        ("a: \x1b[1m", "the character U+001B is not allowed", 1, 4),
        ("a: \u202eb", "the character U+202E is not allowed", 1, 4),
        ("a: \ud800", "the character U+D800 is not allowed", 1, 4),
        ("a: b: c", "mapping values are not allowed in this context", 1, 5),
        ("a: [1\nb: 2", "did not find expected ',' or ']'", 2, 2),
        ("a: 'x", "found unexpected end of stream", 1, 4),
        ("a: @x", "found character that cannot start any token", 1, 4),
        ("a: *", "did not find expected alphabetic or numeric character", 1, 5),
    ],
)
def test_refused(text: str, message: str, line: int, column: int) -> None:
    """What could surprise a reader is refused, with its place and a way out."""
    (problem,) = problems_of(text)
    assert problem.message.startswith(message) and problem.help
    assert (problem.file, problem.line, problem.column) == ("rules/a.yaml", line, column)


def test_all_problems_are_collected() -> None:
    """One reading names every repeated key and refused construct, and the syntax error after them."""
    found = problems_of("a: 1\na: 2\nb: {c: &x 1, c: *x}\nd: [\n")
    assert [(p.line, p.column) for p in found] == [(2, 1), (3, 8), (3, 14), (3, 17), (5, 1)]


@pytest.mark.parametrize(
    "text",
    [
        "a: " + "[" * 10_000,
        "[" * 1_900_000,
        "{a: " * 10_000,
        "- " * 10_000,
        "".join(" " * i + "a:\n" for i in range(1000)),
        "a0: &a0 [x]\n" + "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 30)),
        "a: " + "x" * 1_000_000,
        "a" * 1_000_000 + ": x",
        "'" + "\n" * 1_000_000,
        "\0" * 1_000_000,
        "\t\n" * 900_000,
        "x" * 2_000_001,
        "a: 1\n" * 300_000,
    ],
)
def test_hostile_files_are_refused(text: str) -> None:
    """Depth, size, length and repetition end in a short list of problems, at once."""
    found = problems_of(text)
    assert 1 <= len(found) <= 50 and all(len(str(p)) < 700 and p.help for p in found)


@given(st.text(alphabet="ab:-[]{}&*!|>'\"%@`#?,~ \n\t\\<", max_size=60) | st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text at all raises anything but problems with a file and a message."""
    try:
        node: Node = read_yaml(text, "a.yaml")
    except ProblemsFound as error:
        assert all(p.file == "a.yaml" and p.message and "\n" not in p.message for p in error.problems)
    else:
        to_plain(node)


def test_line_ends_and_byte_order_mark(tmp_path: Path) -> None:
    """Files written on other systems read alike."""
    path = tmp_path / "a.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: |\r\n  x\r\n")
    assert to_plain(read_yaml_file(path)) == {"a": "1", "b": "x\n"}


def test_bytes_that_are_not_utf8(tmp_path: Path) -> None:
    """A wrong byte is named with its place, under the name people know the file by."""
    path = tmp_path / "a.yaml"
    path.write_bytes("a: 1\nb: é".encode() + b"\xff")
    with pytest.raises(ProblemsFound) as caught:
        read_yaml_file(path, "rules/a.yaml")
    assert str(caught.value).startswith("rules/a.yaml:2:5: byte 0xff is not UTF-8 text")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder and a file too large are problems of that file."""
    (tmp_path / "large.yaml").write_bytes(b"# " + b"x" * 2_000_000)
    for name, message in [
        ("none.yaml", "cannot be read"),
        ("", "is not a file"),
        ("large.yaml", "is larger than"),
    ]:
        with pytest.raises(ProblemsFound) as caught:
            read_yaml_file(tmp_path / name)
        (problem,) = caught.value.problems
        assert problem.message.startswith(message) and problem.file == str(tmp_path / name)
