"""Which facts fitsvc itself makes use of beside the rules, by what they serve for: an entry says so under `serves`.

So no fact is known by its name: where none serves for something, that is not done.
"""

from collections.abc import Iterable
from collections.abc import Mapping as Map
from typing import Final, Literal, get_args

from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping

Service = Literal[
    "",
    "model_year",
    "number_signs",
    "identity",
    "equipment",
    "fitted",
    "fastened_to",
    "made_for",
    "added_length",
    "lessened",
    "weighed_anew",
    "taken_up",
    "shared",
    "makers_limit",
    "makers_demand",
]
"""What a fact serves for.

`model_year` tells apart vehicles of one name and goes by a vehicle's number, of which `number_signs` says how it
begins; `identity` says whether a vehicle told in part is the stored one whose facts are taken for it, its first choice
that it is, and without such a fact none are; `equipment` is fitted to a vehicle or taken off it after it was built, so
that it never tells which vehicle is meant; `fitted` says that a receiver is on its vehicle already, `fastened_to` what
it is fastened to, so that a mounting measured there is of none elsewhere, and `made_for` that its maker lists it for
the vehicle, which is asked where it is stored on others only; `added_length` is what an adapter adds to the opening, by
which plans are ordered. Of what is `lessened` a customer can take less, and its subject's fact that is `weighed_anew`
then no longer holds; what is `taken_up` a customer can do who does not do it yet. What is `shared` is of the whole rig
on its way and of no one thing on it: told of one of several it holds for all. What a maker allows is a `makers_limit`,
and what one asks for a `makers_demand`: as of a rating, what is told over a record never makes it less strict.
"""

SERVICES: Final[tuple[Service, ...]] = get_args(Service)[1:]
_OF: Final[Map[str, tuple[str, str]]] = {
    "model_year": ("vehicle", "count"),
    "number_signs": ("vehicle", "text"),
    "identity": ("vehicle", "identity"),
    "fitted": ("mounting", "yes_no"),
    "fastened_to": ("receiver", "hitch_place"),
    "made_for": ("receiver", "yes_no"),
    "added_length": ("adapter", "length"),
    "weighed_anew": ("", "mass"),
    "taken_up": ("", "yes_no"),
}
"""Of which subject, or "" for any, and type a fact is that serves for something, where only one such fact can."""
_ANY_OF: Final = {"equipment": "vehicle", "shared": "load"}
"""Of which subject a fact of any type is that serves for something."""
_LESSENED: Final = ("count", "mass")
_STRICT: Final = ("makers_limit", "makers_demand")
_SEVERAL: Final = ("", "lessened", "taken_up", "equipment", "shared", *_STRICT)
"""For what several facts of a subject may serve."""


def read_service(shape: Shape, entry: Mapping, name: str, kind: str) -> Service:
    """What a fact of a type serves for, checked."""
    if "serves" not in entry.entries:
        return ""
    service, node = shape.one_of(entry, "serves", SERVICES, what="what a fact may serve for"), entry.entries["serves"]
    if service != shape.text(entry, "serves"):
        return ""
    if service in _ANY_OF and name.partition(".")[0] != _ANY_OF[service]:
        shape.complain(node, f"`{name}` cannot serve as `{service}`", f"that is a {_ANY_OF[service]}'s")
    elif service == "lessened":
        if kind not in _LESSENED:
            shape.complain(node, f"`{name}` is a {kind}, of which nobody takes less", "it is of a count or a mass")
    elif service in _STRICT:
        if kind in ("text", "tyre"):
            shape.complain(node, f"`{name}` cannot serve as `{service}`", "of two texts none is the stricter")
    elif service in _OF:
        subject, wanted = _OF[service]
        if kind != wanted or subject not in ("", name.partition(".")[0]):
            of = f"a {subject}'s {wanted}" if subject else f"a {wanted}"
            shape.complain(node, f"`{name}` cannot serve as `{service}`", f"that is {of}")
    return service


def hold_to_one_each(shape: Shape, trees: Iterable[Mapping]) -> None:
    """Complain of a second fact of a subject that serves for the same, where only one can."""
    for tree in trees:
        first = dict[str, str]()
        for name, entry in shape.open_mapping(tree.entries.get("facts"), "`facts`"):
            service = shape.text(entry, "serves") if isinstance(entry, Mapping) and "serves" in entry.entries else ""
            if service in first and service not in _SEVERAL:
                help = "leave it out of one of them"
                shape.complain(entry, f"`{first[service]}` serves as `{service}` already", help)
            first.setdefault(service, name)
