"""Roles of a list's members: what a kind is, so that rules ask for a role and never have to know every kind.

Each role of a list becomes a yes or no of every fact that is chosen from it, named by the fact's short name and the
role: `kind.carries` is `accessory.kind in [...]` with the members that have the role. So an unknown kind has a role
surely only where all kinds it may be agree. A member that says no role is an error: no rule would hold it.
"""

from collections.abc import Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.rulebook.forms import TEXT, YES_NO, Form, many, named
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

ROLE: Final = Form("a role", {"label": TEXT, "meaning": TEXT}, {"instead": YES_NO})
MEMBER: Final = Form("a member", {"word": TEXT, "is": many(named("role"), minItems=1)})


@dataclass(frozen=True, slots=True)
class Role:
    """One role of a list, and the members that have it, in the list's order.

    With `instead` what is of one of these kinds may do in place of what is of another, as mounts of any kind tow.
    """

    name: str
    label: str
    meaning: str
    members: tuple[str, ...]
    instead: bool = False


@dataclass(frozen=True, slots=True)
class Members:
    """The members of a plain list: their words for people, and its roles."""

    words: Map[str, str]
    roles: tuple[Role, ...]


def read_members(shape: Shape, name: str, entry: Mapping) -> Members:
    """The members of a plain list; of a list with roles each member says its word and what it `is`."""
    given = list(shape.open_mapping(entry.entries["members"], f"members of `{name}`"))
    declared = dict(shape.open_mapping(entry.entries.get("roles"), f"roles of `{name}`"))
    if "roles" not in entry.entries:
        return Members({member: _word(shape, member, node) for member, node in given}, ())
    words, having = {}, dict[str, list[str]]({role: [] for role in declared})
    for member, node in given:
        words[member] = member
        told = _told(shape, member, node, declared)
        if told is not None:
            words[member] = shape.text(told, "word") or member
            for role in _roles_of(shape, name, member, told, declared):
                having[role].append(member)
    return Members(words, tuple(_role(shape, name, role, node, having[role]) for role, node in declared.items()))


def _word(shape: Shape, member: str, node: Node) -> str:
    if isinstance(node, Scalar):
        return node.value or member
    shape.complain(
        node, f"`{member}` is told by a word", "write `NAME: word`; a list whose members say more has `roles`"
    )
    return member


def _told(shape: Shape, member: str, node: Node, declared: Map[str, Node]) -> Mapping | None:
    """What a member of a list with roles says of itself."""
    if isinstance(node, Scalar):
        known = ", ".join(f"`{role}`" for role in declared)
        word = node.value or member
        help = f"write `{member}: {{word: {word}, is: [ROLE, ...]}}`, of {known}"
        shape.complain(node, f"`{member}` says no role, so hardly a rule would hold it", help)
        return None
    return shape.form(node, MEMBER, f"member `{member}`")


def _roles_of(shape: Shape, name: str, member: str, told: Mapping, declared: Map[str, Node]) -> Iterator[str]:
    """The declared roles that a member names, each once."""
    items = shape.items(told.entries["is"], f"`is` of `{member}`")
    known = ", ".join(f"`{role}`" for role in declared)
    if not items:
        shape.complain(told.entries["is"], f"`{member}` says no role, so hardly a rule would hold it", f"of {known}")
    seen: set[str] = set()
    for item in items:
        role = item.value or "" if isinstance(item, Scalar) else ""
        if role in seen:
            shape.complain(item, f"`{member}` says `{role}` twice", "leave one out")
        elif role in declared:
            seen.add(role)
            yield role
        else:
            near = nearest(role, declared)
            help = f"did you mean `{near}`?" if near else f"it is one of {known}, or declare it under `roles`"
            shape.complain(item, f"`{role}` is not a role of `{name}`", help)


def _role(shape: Shape, name: str, role: str, node: Node, members: list[str]) -> Role:
    """A role as declared; one that is wrong is told of once, and its name still stands for rules to read."""
    entry = shape.form(node, ROLE, f"role `{role}`")
    if not members:
        help = "say it of a member, or take it out with the rules that ask for it"
        shape.complain(node, f"no member of `{name}` is `{role}`, so rules that ask for it never apply", help)
    label, meaning = (shape.text(entry, key) if entry else "" for key in ROLE.required)
    instead = entry is not None and shape.text(entry, "instead") == "yes"
    return Role(role, label, meaning, tuple(members), instead)
