"""What plans and pages take from a rulebook, beside its rules.

What of the shelf fills a need, which kinds of accessory serve a wish, what is asked for beside an accessory.
"""

from collections.abc import Iterable
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, ListType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, Form, Kind, either, named, one_of
from fitsvc.rulebook.rules import Fills, Need, WishKinds
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

ACCESSORY: Final = "accessory"
BESIDE: Final = ("ball",)
"""What is sold to be put beside an accessory in one question. A plan looks for nothing else."""
_OFFERED: Final = (*BESIDE, "wiring_adapter")
"""What is offered beside an answer that has need of it."""

_FILLED: Final = Form("`fills`", {ACCESSORY: named("role"), "gives": named("fact")})
FILLS: Final[Kind] = either(one_of(*_OFFERED), _FILLED.kind)
"""What fills a need, as a need says it."""
WISH: Final = Form("a wish", {"when": EXPRESSION, "served_by": EXPRESSION})


def read_fills(read: Expressions, entry: Mapping) -> Fills | None:
    """What fills a need: `ball`, `wiring_adapter`, or `{accessory: ROLE, gives: FACT}`."""
    node = entry.entries.get("fills")
    if isinstance(node, Scalar):
        return _beside(read.shape, node, read.vocabulary)
    told = read.shape.form(node, _FILLED) if node is not None else None
    if told is None:
        return None
    kinds, gives = _kinds(read, told), _given(read, told)
    return Fills(ACCESSORY, kinds, gives) if kinds and gives else None


def _beside(shape: Shape, node: Scalar, vocabulary: Vocabulary) -> Fills | None:
    subject = node.value or ""
    known = [name for name in _OFFERED if name in vocabulary.subjects]
    if subject in known:
        return Fills(subject)
    near = nearest(subject, known)
    ways = ", ".join([*(f"`{name}`" for name in known), f"`{{{ACCESSORY}: ROLE, gives: FACT}}`"])
    help = f"did you mean `{near}`?" if near else f"it is one of {ways}"
    shape.complain(node, f"`{subject}` is no subject that fills a need", help)
    return None


def _kinds(read: Expressions, told: Mapping) -> int:
    """The mask of the kinds that have the role."""
    role, node = read.shape.text(told, ACCESSORY), told.entries[ACCESSORY]
    roles = {one.name: (fact, one) for _, fact, one in read.vocabulary.role_facts() if fact.subject == ACCESSORY}
    if role not in roles:
        near = nearest(role, roles)
        known = ", ".join(f"`{name}`" for name in roles)
        help = f"did you mean `{near}`?" if near else f"it is one of {known}"
        read.shape.complain(node, f"`{role}` is not a role of an accessory", help)
        return 0
    fact, found = roles[role]
    assert isinstance(fact.type, ListType)
    return sum(fact.type.mask(member) for member in found.members)


def _given(read: Expressions, told: Mapping) -> str:
    """The yes or no of the rig that is yes with the part at hand."""
    name, facts, subjects = read.shape.text(told, "gives"), read.vocabulary.facts, read.vocabulary.subjects
    of_rig = {one.name for one in facts.values() if one.type == TRUTH and subjects[one.subject].presence == "always"}
    if name in of_rig:
        return name
    near = nearest(name, of_rig)
    help = f"did you mean `{near}`?" if near else "name a fact such as `receiver.pin_supplied`"
    read.shape.complain(told.entries["gives"], f"`{name}` is no yes or no of the rig", help)
    return ""


def hold_to_one(shape: Shape, needs: Iterable[tuple[Need, Node]]) -> None:
    """Complain of a second need that another accessory fills: a plan looks for one such part."""
    first = ""
    for need, node in needs:
        if need.fills is not None and need.fills.subject == ACCESSORY:
            if first:
                help = "leave `fills` out of one of them"
                shape.complain(node, f"another accessory fills `{first}` already, and a plan looks for one", help)
            first = first or need.id


def read_wishes(read: Expressions, top: Mapping | None) -> tuple[WishKinds, ...]:
    """Which kinds serve a wish, of `rulebook.yaml`."""
    found = []
    for node in read.shape.items(top.entries.get("wishes") if top else None, "`wishes`"):
        entry = read.shape.form(node, WISH)
        when, served_by = (read.read(entry, key) if entry else None for key in ("when", "served_by"))
        found += [WishKinds(when, served_by)] if when is not None and served_by is not None else []
    return tuple(found)


def read_asks_for(read: Expressions, top: Mapping | None) -> dict[str, AnyTyped]:
    """What the counter asks for beside an accessory, of `rulebook.yaml`: a subject, and when it does."""
    found = {}
    for subject, node in read.shape.open_mapping(top.entries.get("asks_for") if top else None, "`asks_for`"):
        when = read.read_node(node, subject, TRUTH)
        asked = read.vocabulary.asked()
        if subject not in asked:
            near = nearest(subject, asked)
            known = ", ".join(f"`{name}`" for name in sorted(asked))
            help = f"did you mean `{near}`?" if near else f"it is one of {known}"
            read.shape.complain(node, f"`{subject}` is no subject that a question may have or not", help)
        elif when is not None:
            found[subject] = when
    return found
