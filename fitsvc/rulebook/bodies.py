"""How each body is sketched: outlines of `drawing.yaml`, as data, that hang on the few places which are facts.

A body goes by the member of the list of bodies, or by that and the member of its rear closure: `suv side_hinged`.
"""

from collections.abc import Iterable
from typing import Final

from fitsvc.rulebook.forms import TEXT, Form, many, one_of
from fitsvc.rulebook.rules import Body, BodyPoint
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

PLACES: Final = ("tail", "bumper", "front", "nose")
HEIGHTS: Final = ("ground", "sill", "foot", "head", "hinge", "gate", "roof")
USUAL: Final = ("wheelbase", "overhang", "tyre", "hinge", "length", "setback", "opening")
_POINTS: Final = many(many(TEXT, minItems=5, maxItems=6))
_USUAL: Final = Form("`usual`", dict.fromkeys(USUAL, TEXT))
BODY: Final[Form] = Form(
    "a body",
    {"nose": TEXT, "usual": _USUAL.kind, "roof": many(TEXT, minItems=3, maxItems=3), "outline": _POINTS},
    {"square": one_of("true", "false"), "glass": many(_POINTS), "seams": many(_POINTS)},
)
_GROUND: Final = BodyPoint(place="bumper", share=0.0, behind=0.0, height="ground", times=0.0, above=0.0, corner=0.0)


def read_bodies(shape: Shape, node: Node | None) -> dict[str, Body]:
    """The bodies by name."""
    return {name: body for name, one in shape.open_mapping(node, "`bodies`") if (body := _body(shape, one))}


def _body(shape: Shape, node: Node) -> Body | None:
    told = shape.form(node, BODY)
    if told is None:
        return None
    entries = told.entries
    usual = shape.form(entries["usual"], _USUAL)
    return Body(
        nose=_number(shape, entries["nose"]),
        square=_said(entries.get("square")) == "true",
        usual={name: _number(shape, one) for name, one in usual.entries.items()} if usual else {},
        roof=_height(shape, entries["roof"]),
        outline=_points(shape, entries["outline"]),
        glass=_lines(shape, told, "glass"),
        seams=_lines(shape, told, "seams"),
    )


def _lines(shape: Shape, told: Mapping, key: str) -> tuple[tuple[BodyPoint, ...], ...]:
    return tuple(_points(shape, line) for line in shape.items(told.entries.get(key), f"`{key}`"))


def _points(shape: Shape, node: Node) -> tuple[BodyPoint, ...]:
    return tuple(_point(shape, one) for one in shape.items(node, "a line of points"))


def _point(shape: Shape, node: Node) -> BodyPoint:
    """`[place or share, in, height, times, in, corner]`, the corner left out where there is none."""
    items = shape.items(node, "a point")
    if not 5 <= len(items) <= 6:
        shape.complain(node, f"a point has {len(items)} parts", "it is [place, in, height, times, in, corner]")
        return _GROUND
    place, behind, height, *rest = items
    named = _said(place) in PLACES
    times, above, corner = (*(_number(shape, one) for one in rest), 0.0)[:3]
    return BodyPoint(
        place=_said(place) if named else "",
        share=0.0 if named else _number(shape, place, PLACES),
        behind=_number(shape, behind),
        height=_named(shape, height),
        times=times,
        above=above,
        corner=corner,
    )


def _height(shape: Shape, node: Node) -> BodyPoint:
    """`[height, times, in]`."""
    items = shape.items(node, "a height")
    if len(items) != 3:
        shape.complain(node, f"a height has {len(items)} parts", "it is [height, times, in]")
        return _GROUND
    times, above = (_number(shape, one) for one in items[1:])
    return BodyPoint(
        place="bumper", share=0.0, behind=0.0, height=_named(shape, items[0]), times=times, above=above, corner=0.0
    )


def _named(shape: Shape, node: Node) -> str:
    if _said(node) not in HEIGHTS:
        shape.complain(node, f"`{_said(node)}` is no height of an outline", f"one of {', '.join(HEIGHTS)}")
        return "ground"
    return _said(node)


def _number(shape: Shape, node: Node, words: Iterable[str] = ()) -> float:
    try:
        return float(_said(node))
    except ValueError:
        help = ", ".join(["a number of inches", *words])
        shape.complain(node, f"`{_said(node)}` is no number", f"expected {help}")
        return 0.0


def _said(node: Node | None) -> str:
    return node.value if isinstance(node, Scalar) else ""
