"""Bodies: what is JSON and to be relied on is decoded, and everything else is told with its place."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.language.problems import ProblemsFound
from fitsvc.service.bodies import MOST_MEMBERS, decode, read_object

values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.text() | st.floats(-1e300, 1e300),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(values)
def test_json_of_any_shape_comes_back(value: object) -> None:
    """What the standard library writes is read alike, colons and quotes within texts too."""
    assert decode(json.dumps(value).encode()) == value
    assert decode(json.dumps(value, ensure_ascii=False, indent=2).encode("utf-8")) == value


@given(st.dictionaries(st.text(), st.integers(), min_size=1, max_size=4), st.data())
def test_a_name_that_stands_twice_is_refused(members: dict[str, int], data: st.DataObject) -> None:
    """Whichever member is written twice, at whatever depth, the body is not taken."""
    twice = data.draw(st.sampled_from(sorted(members)))
    inner = json.dumps(members)[:-1] + f", {json.dumps(twice)}: 1}}"
    for text in (inner, f"[{inner}]", f'{{"a": {{"b": [{inner}]}}}}'):
        with pytest.raises(ProblemsFound, match="stands twice"):
            decode(text.encode())


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"", "the body is empty"),
        (b" \n", "the body is empty"),
        (b'{"a":\n  tru}', "line 2, column"),
        (b'{"a": 1', "it ends too early"),
        (b"{'a': 1}", "line 1, column 2"),
        (b'{"a": 1e999}', "out of range"),
        (b'{"a": -Infinity}', "the body is not JSON"),
        (b'\xef\xbb\xbf\xef\xbb\xbf{"a": 1}', "the body is not JSON"),
        (b'{"a":\xef\xbb\xbf 1}', "the body is not JSON"),
        (b"\xef\xbb\xbf", "the body is empty"),
        (b'{"a":\n"\xe4"}', "not UTF-8 at line 2, column 2"),
        (b'{"a": "\\ud800"}', "half of a surrogate pair"),
        (b'{"\\udc00": 1e999}', "half of a surrogate pair"),
        (b"[" * 21 + b"]" * 21, "nested too deep"),
        (b"[" * 100_000, "nested too deep"),
    ],
)
def test_what_is_not_json_is_told_with_its_place(body: bytes, told: str) -> None:
    """Line and column lead to what is wrong."""
    with pytest.raises(ProblemsFound) as found:
        decode(body)
    assert told in found.value.problems[0].message


def test_a_byte_order_mark_before_a_body_is_passed_over() -> None:
    """RFC 8259, 8.1: a parser may ignore one rather than treating it as an error; files and the shell do too."""
    assert decode(b'\xef\xbb\xbf{"a": "\xef\xbb\xbf"}') == {"a": "\ufeff"}


@pytest.mark.parametrize("number", ["1e999", "-1e999", "9" * 5000])
def test_a_number_out_of_range_is_told_with_its_pointer(number: str) -> None:
    """A figure no computer holds is a figure of one field, and the others are not to blame."""
    with pytest.raises(ProblemsFound) as found:
        decode(f'{{"load": {{"facts": {{"bikes": {number}, "a/b": [1, {number}]}}}}, "x": 2}}'.encode())
    assert [one.pointer for one in found.value.problems] == ["/load/facts/bikes", "/load/facts/a~1b/1"]
    assert all("out of range" in one.message for one in found.value.problems)


def test_a_body_of_too_many_members_is_refused() -> None:
    """Members are counted through all levels."""
    inner = b"{" + b",".join(b'"%d":1' % number for number in range(MOST_MEMBERS)) + b"}"
    assert len(decode(inner)) == MOST_MEMBERS
    with pytest.raises(ProblemsFound, match="in all"):
        decode(b'{"a":' + inner + b"}")


def test_an_objects_members_are_held_to_those_known() -> None:
    """Unknown ones are told with the nearest known, missing ones with their name."""
    found = read_object({"lable": 1, "a/b~c": 2}, ("label", "id"), ("id",))
    assert [(one.pointer, one.help) for one in found] == [
        ("/lable", "did you mean `label`?"),
        ("/a~1b~0c", "it may have `label`, `id`"),
        ("/id", "write it"),
    ]
