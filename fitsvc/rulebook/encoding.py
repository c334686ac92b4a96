"""A checked rulebook as bytes, and back: data only, of the classes a rulebook is made of and no others.

The classes are those that `Rulebook`'s own fields lead to, and each field is written by its declared type. An object is
a row: the number of its class, then its fields, in which other objects are named by the numbers of their rows,
which stand before it. Equal objects share a row. Reading builds nothing but these classes, and each field is held
to its type; bytes that are anything else raise ValueError. Examples are left out: most of what rule files say are
examples, and no answer rests on them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache, reduce
from operator import or_
from types import GenericAlias, NoneType, UnionType
from typing import Annotated, Any, Final, Literal, NewType, Union, get_args, get_origin, get_type_hints

import msgspec

from fitsvc.language.functions import FUNCTIONS, Function
from fitsvc.rulebook.rules import Example, Rulebook

_PLAIN: Final = (str, int, float, bool, NoneType)
_LEFT_OUT: Final = (Rulebook, "examples")
_Number = Annotated[int, msgspec.Meta(ge=0)]
_Pack = Callable[["_Writer", Any], Any]
_Unpack = Callable[[list[Any], Any], Any]


@dataclass(frozen=True, slots=True)
class _Form:
    """How values of one declared type are written; without `pack` they are written as they are."""

    wire: Any
    pack: _Pack | None = None
    unpack: _Unpack | None = None


@dataclass(frozen=True, slots=True)
class _Kind:
    """One class of a rulebook: the row it is written as, and its fields."""

    cls: type
    row: type[msgspec.Struct]
    forms: tuple[tuple[str, _Form], ...]


def encode(rulebook: Rulebook) -> bytes:
    """The rulebook's bytes."""
    writer = _Writer()
    writer.number(rulebook)
    return msgspec.msgpack.encode([msgspec.Raw(row) for row in writer.rows])


def decode(data: bytes, examples: Mapping[str, tuple[Example, ...]]) -> Rulebook:
    """The rulebook of these bytes, with these examples; ValueError when they are not one's."""
    kinds, decoder = _reading()
    built: list[Any] = []
    try:
        for row in decoder.decode(data):
            kind = kinds[type(row)]
            values = {
                name: getattr(row, name) if form.unpack is None else form.unpack(built, getattr(row, name))
                for name, form in kind.forms
            }
            built.append(kind.cls(**values) if kind.cls is not Rulebook else Rulebook(**values, examples=examples))
    except (msgspec.DecodeError, LookupError) as error:
        raise ValueError(f"these bytes are no rulebook's: {error}") from error
    if not built or not isinstance(built[-1], Rulebook):
        raise ValueError("these bytes hold no rulebook")
    return built[-1]


class _Writer:
    """The rows written so far, and where each object and each row stands."""

    def __init__(self) -> None:
        self.rows: dict[bytes, int] = {}
        self._numbers: dict[int, int] = {}

    def number(self, one: Any) -> int:
        """The number of an object's row, written unless it is."""
        found = self._numbers.get(id(one))
        if found is None:
            kind = _kinds()[type(one)]
            values = (
                getattr(one, name) if form.pack is None else form.pack(self, getattr(one, name))
                for name, form in kind.forms
            )
            row = msgspec.msgpack.encode(kind.row(*values))
            self._numbers[id(one)] = found = self.rows.setdefault(row, len(self.rows))
        return found


@cache
def _kinds() -> dict[type, _Kind]:
    """Every class that a rulebook's fields lead to."""
    kinds: dict[type, _Kind] = {}
    left: list[type] = [Rulebook]
    while left:
        cls = left.pop()
        if cls in kinds:
            continue
        hints = get_type_hints(cls)
        names = [name for name in _fields(cls) if (cls, name) != _LEFT_OUT]
        forms = tuple((name, _form(hints[name], left)) for name in names)
        row = msgspec.defstruct(
            cls.__name__,
            [(name, form.wire) for name, form in forms],
            array_like=True,
            tag=len(kinds),
            tag_field="class_",
        )
        kinds[cls] = _Kind(cls, row, forms)
    return kinds


@cache
def _reading() -> tuple[dict[type, _Kind], msgspec.msgpack.Decoder[list[Any]]]:
    kinds = {kind.row: kind for kind in _kinds().values()}
    row: Any = reduce(or_, kinds)
    return kinds, msgspec.msgpack.Decoder(list[row])


def _has_fields(hint: Any) -> bool:
    """Whether a declared type is a class of named fields."""
    return isinstance(hint, type) and (is_dataclass(hint) or issubclass(hint, msgspec.Struct))


def _fields(cls: type[Any]) -> tuple[str, ...]:
    """The names of a class's fields; the checked nodes are structs, since those keep their hash."""
    return cls.__struct_fields__ if issubclass(cls, msgspec.Struct) else tuple(one.name for one in fields(cls))


def _form(hint: Any, left: list[type]) -> _Form:
    """The form of a declared type; the classes it names are added to those left to look at."""
    if isinstance(hint, NewType):
        return _form(hint.__supertype__, left)
    origin, arguments = get_origin(hint), get_args(hint)
    if hint in _PLAIN or origin is Literal:
        return _Form(hint)
    if hint is Function:
        return _Form(str, lambda writer, one: one.name, lambda built, name: FUNCTIONS[name])
    if _has_fields(hint) or origin in (Union, UnionType):
        return _one_of(hint, arguments or (hint,), left)
    if origin is tuple and arguments[1:] == (...,):
        return _several(_form(arguments[0], left), hint)
    if origin is frozenset:
        return _several(_form(arguments[0], left), hint)
    if origin is not None and issubclass(origin, Mapping):
        return _by_name(_form(arguments[1], left))
    if origin is tuple and all(_form(one, left).pack is None for one in arguments):
        return _Form(hint)
    raise TypeError(f"a rulebook cannot hold a {hint}")


def _one_of(hint: Any, members: tuple[Any, ...], left: list[type]) -> _Form:
    """Objects of some classes, or what else a union may hold; numbers stand for objects alone."""
    classes: tuple[type[Any], ...] = tuple(one for one in members if _has_fields(one))
    others = [_form(one, left) for one in members if not _has_fields(one)]
    if not classes and all(one.pack is None for one in others):
        return _Form(hint)
    if any(one.pack or one.wire in (int, float) for one in others):
        raise TypeError(f"a rulebook cannot hold a {hint}")
    left += classes
    wire: Any = reduce(or_, (one.wire for one in others), _Number)

    def pack(writer: _Writer, one: Any) -> Any:
        return writer.number(one) if isinstance(one, classes) else one

    def unpack(built: list[Any], one: Any) -> Any:
        if one.__class__ is not int:
            return one
        found = built[one]
        if not isinstance(found, classes):
            raise ValueError(f"a {type(found).__name__} stands where another kind of thing belongs")
        return found

    return _Form(wire, pack, unpack)


def _several(item: _Form, hint: Any) -> _Form:
    if item.pack is None or item.unpack is None:
        return _Form(hint)
    pack, unpack = item.pack, item.unpack
    return _Form(
        GenericAlias(list, (item.wire,)),
        lambda writer, values: [pack(writer, value) for value in values],
        lambda built, values: tuple([unpack(built, value) for value in values]),
    )


def _by_name(item: _Form) -> _Form:
    if item.pack is None or item.unpack is None:
        return _Form(GenericAlias(dict, (str, item.wire)))
    pack, unpack = item.pack, item.unpack
    return _Form(
        GenericAlias(dict, (str, item.wire)),
        lambda writer, values: {name: pack(writer, value) for name, value in values.items()},
        lambda built, values: {name: unpack(built, value) for name, value in values.items()},
    )
