"""What each of several things on one rig adds to what the others find beside them.

`rulebook.yaml` says it under `beside`: for each fact of that subject the value of another thing that makes it, whose
things count (those in the same receiver, or all on the rig), and how several come together.
"""

from collections.abc import Mapping as Map
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, NumberType, Type
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.forms import EXPRESSION, Form, one_of
from fitsvc.rulebook.rules import Adds, From, Joined
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import Mapping, Node
from fitsvc.subjects import PLACE

SECTION: Final = PLACE.partition(".")[0]
_WHOSE: Final[tuple[From, ...]] = ("receiver", "rig")
_WAYS: Final[tuple[Joined, ...]] = ("sum", "any", "each")
ADDS: Final = Form("what others add", {"from": EXPRESSION, "on": one_of(*_WHOSE), "by": one_of(*_WAYS)})


def read_beside(read: Expressions, top: Mapping | None) -> dict[str, Adds]:
    """What makes each fact of `beside`, of `rulebook.yaml`; every fact but the place itself has an entry."""
    facts = {fact.short: fact for fact in read.vocabulary.of(SECTION).values() if fact.name != PLACE}
    node = top.entries.get(SECTION) if top else None
    given = dict(read.shape.open_mapping(node, f"`{SECTION}`"))
    found: dict[str, Adds] = {}
    meant = set[str | None]()
    for name, entry in given.items():
        if name in facts:
            one = _adds(read, facts[name], entry)
            found |= {facts[name].name: one} if one is not None else {}
        else:
            near = nearest(name, facts)
            meant.add(near)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{one}`" for one in facts)
            read.shape.complain(entry, f"`{name}` is not a fact of `{SECTION}` that others add to", help)
    missing = [f"`{name}`" for name in facts if name not in given and name not in meant]
    if missing and top is not None:
        help = f"say under `{SECTION}` what each thing adds to it; else it is open in every question of several things"
        read.shape.complain(node or top, f"nothing makes {', '.join(missing)} of `{SECTION}`", help)
    return found


def _adds(read: Expressions, fact: Fact, node: Node) -> Adds | None:
    entry = read.shape.form(node, ADDS, f"`{fact.short}`")
    if entry is None:
        return None
    value = read.read(entry, "from", None)
    whose = read.shape.one_of(entry, "on", _WHOSE, what="a place where things count")
    way = read.shape.one_of(entry, "by", _WAYS, what="a way in which several come together")
    if value is None:
        return None
    if not _alike(fact, value.type) or not _joins(way, value):
        help = "numbers are summed, a yes or no holds for any, and whatever is told of each is of the fact's own type"
        read.shape.complain(entry, f"`{fact.short}` is not made so: this is {value.type}", help)
        return None
    others = sorted(name for name in read.facts_in(value) if name.startswith(f"{SECTION}.") and name != PLACE)
    if others:
        help = f"it is told of a thing by itself: of `{SECTION}` it may read `{PLACE}` alone"
        read.shape.complain(entry.entries["from"], f"`{fact.short}` is made of `{others[0]}`, which others make", help)
        return None
    return Adds(value, whose, way)


def _alike(fact: Fact, kind: Type) -> bool:
    if isinstance(fact.type, NumberType) and isinstance(kind, NumberType):
        return fact.type.dimension == kind.dimension
    return fact.type == kind


def _joins(way: Joined, value: AnyTyped) -> bool:
    wanted: Map[Joined, bool] = {"sum": isinstance(value.type, NumberType), "any": value.type == TRUTH, "each": True}
    return wanted[way]
