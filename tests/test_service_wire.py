"""Everything that goes over the wire as a struct comes back from its JSON as it was, whatever fields it has."""

import pkgutil
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from importlib import import_module
from operator import ne
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import FieldInfo, asdict, fields

import fitsvc
from fitsvc.answers import answer
from fitsvc.answers.answer import Answer
from fitsvc.language.typed import Typed
from fitsvc.planning import plan
from fitsvc.planning.plan import Plan
from fitsvc.store.statements import Said

Struct = type[msgspec.Struct]
ENCODERS: dict[Struct, Callable[[Any], bytes]] = {Answer: answer.encode, Plan: plan.encode}
"""What is encoded by a function of its own; every other struct goes as msgspec encodes it."""
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(-1e9, 1e9) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=4,
)


def _structs() -> list[Struct]:
    """Every struct that a module of fitsvc defines, but what stays inside: nodes of checked trees, and readings."""
    names = [one.name for one in pkgutil.walk_packages(fitsvc.__path__, "fitsvc.") if not one.name.endswith("__main__")]
    found = [thing for name in names for thing in vars(import_module(name)).values() if isinstance(thing, type)]
    mine = [one for one in found if issubclass(one, msgspec.Struct) and one.__module__.startswith("fitsvc.")]
    mine = [one for one in mine if not issubclass(one, Typed | Said)]
    return list(dict.fromkeys(mine))


STRUCTS = _structs()


def _values(kind: Any, within: frozenset[Struct] = frozenset()) -> st.SearchStrategy[Any]:
    """Values of an annotated type; one that is not known here is an error, so that no field goes untried.

    `within` are the structs that they are part of.
    """
    origin, inside = get_origin(kind), get_args(kind)
    if kind is Any:
        return JSON
    if origin is Literal:
        return st.sampled_from(inside)
    if origin in (Union, UnionType):
        return st.one_of([_values(one, within) for one in inside])
    if origin is list:
        return st.lists(_values(inside[0], within), min_size=1, max_size=2)
    if origin is dict:
        return st.dictionaries(_values(inside[0]), _values(inside[1], within), min_size=1, max_size=2)
    if issubclass(kind, msgspec.Struct):
        return _told(kind, within)
    plain: dict[type, st.SearchStrategy[Any]] = {
        str: st.text(max_size=5),
        int: st.integers(-(2**53), 2**53),
        float: st.floats(-1e9, 1e9),
        bool: st.booleans(),
        NoneType: st.none(),
        datetime: st.datetimes(timezones=st.just(UTC)),
        msgspec.Raw: JSON.map(msgspec.json.encode).map(msgspec.Raw),
    }
    return plain[kind]


def _default(field: FieldInfo) -> Any:
    made = field.default_factory
    return made() if callable(made) else field.default


def _told(kind: Struct, within: frozenset[Struct] = frozenset()) -> st.SearchStrategy[msgspec.Struct]:
    """Structs of a kind with no field left at its default, but one in which a struct stands within its like again."""
    hints, around = get_type_hints(kind), within | {kind}
    told = {
        one.name: _set(hints[one.name], _default(one), around).filter(partial(ne, _default(one)))
        for one in fields(kind)
        if one.required or not around.intersection(get_args(hints[one.name]))
    }
    return st.builds(kind, **told)


def _set(kind: Any, default: Any, within: frozenset[Struct]) -> st.SearchStrategy[Any]:
    """Values of an annotated type, without the None that an optional field has by default."""
    some = [one for one in get_args(kind) if one is not NoneType]
    if default is None and NoneType in get_args(kind):
        return st.one_of([_values(one, within) for one in some])
    return _values(kind, within)


def _encoded(one: msgspec.Struct) -> bytes:
    return ENCODERS.get(type(one), msgspec.json.encode)(one)


def test_the_wire_is_walked_whole() -> None:
    """Answers, plans and selections are among the structs, and each encoder of its own is the one of its module."""
    assert {"Answer", "Finding", "Remedy", "Plan", "PlanSet", "Selection", "Selected"} <= {x.__name__ for x in STRUCTS}
    own = {name for one in STRUCTS if hasattr(import_module(name := one.__module__), "encode")}
    assert own == {kind.__module__ for kind in ENCODERS}


@pytest.mark.parametrize("kind", STRUCTS, ids=lambda kind: kind.__name__)
def test_what_is_encoded_decodes_to_what_it_was(kind: Struct) -> None:
    """decode(encode(x)) == x with every field set, and each field stands in the JSON under its own name."""

    @settings(max_examples=10)
    @given(_told(kind))
    def law(one: msgspec.Struct) -> None:
        wire = _encoded(one)
        assert msgspec.json.decode(wire, type=kind) == one
        assert set(msgspec.json.decode(wire)) == {field.encode_name for field in fields(kind)}

    law()


@pytest.mark.parametrize("kind", STRUCTS, ids=lambda kind: kind.__name__)
def test_a_field_that_is_added_reaches_the_wire(kind: Struct) -> None:
    """A struct with one field more is encoded with it, and nothing of the code that encodes needs to know."""
    wider = msgspec.defstruct(
        f"{kind.__name__}Wider", [("confidence", str, "")], bases=(kind,), omit_defaults=True, kw_only=True
    )
    encode = ENCODERS.get(kind, msgspec.json.encode)

    @settings(max_examples=5)
    @given(_told(kind))
    def law(one: msgspec.Struct) -> None:
        said = wider(**asdict(one), confidence="high")
        assert msgspec.json.decode(encode(said))["confidence"] == "high"
        assert msgspec.json.decode(encode(said), type=wider) == said

    law()
