"""What bears on each rating, kind by kind: data of a rulebook's own that no rule is made from.

`hazards.yaml` says of every rating when it is exceeded, beside the rules and apart from them; tests look for a case in
which one surely is and the answer is a plain yes. So a rating that the rules forget, for some kind, comes to light. A
line that is not held to, because it is no hazard to whoever drives away, says why it is accepted.
"""

from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass
from typing import Final

from fitsvc.language import typed
from fitsvc.language.problems import nearest
from fitsvc.language.quantities import FORCE, MASS
from fitsvc.language.types import NumberType
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.folder import HAZARDS
from fitsvc.rulebook.forms import EXPRESSION, TEXT, Form, by_name, many, named
from fitsvc.rulebook.kinds import KnownKind, kinds_of
from fitsvc.rulebook.rules import Exclusion, Hazard, Limit, Relief
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

_LINE: Final = Form(
    "a hazard", {}, {"when": EXPRESSION, "exceeded_when": EXPRESSION, "accepted": TEXT, "cautioned": TEXT}
)
_APART: Final = Form("a pair of rules", {"rules": many(named("rule"), minItems=2, maxItems=2), "because": TEXT})
_RELIEF: Final = Form(
    "a fact that helps", {"fact": named("fact"), "because": TEXT}, {"rules": many(named("rule")), "when": EXPRESSION}
)
HAZARDS_FILE: Final = Form(
    HAZARDS,
    {"weights": many(named("fact")), "hazards": by_name(many(_LINE.kind, minItems=1), named("fact"))},
    {"agree": many(named("rule")), "helps": many(_RELIEF.kind), "apart": many(_APART.kind)},
)


def read_hazards(read: Expressions, tree: Node | None, limits: Iterable[Limit]) -> tuple[Hazard, ...]:
    """The hazards of a folder's `hazards.yaml`, held to all that has to stand there; none without such a file."""
    top = read.shape.form(tree, HAZARDS_FILE) if tree is not None else None
    if top is None:
        return ()
    return _Reading(read, top).hazards(limits)


def read_agree(shape: Shape, tree: Node | None, rules: Iterable[str]) -> frozenset[str]:
    """The rules of `hazards.yaml` that ask two figures to agree, so that more of either may be better."""
    entries = tree.entries if isinstance(tree, Mapping) else {}
    known = frozenset(rules)
    return frozenset(_rule(shape, node, known) for node in shape.items(entries.get("agree"), "`agree`"))


def read_helps(read: Expressions, tree: Node | None, rules: Iterable[str]) -> tuple[Relief, ...]:
    """The facts of `hazards.yaml` of which more rightly makes an answer better, by some rules or under a condition."""
    entries = tree.entries if isinstance(tree, Mapping) else {}
    shape, known, found = read.shape, frozenset(rules), list[Relief]()
    for item in shape.items(entries.get("helps"), "`helps`"):
        entry = shape.form(item, _RELIEF)
        if entry is None:
            continue
        if ("rules" in entry.entries) == ("when" in entry.entries):
            shape.complain(entry, "a fact helps by some rules, or where something holds", "write `rules:` or `when:`")
            continue
        place = entry.entries["fact"]
        fact = place.value or "" if isinstance(place, Scalar) else ""
        if _is_number(read, place, fact):
            named = frozenset(_rule(shape, node, known) for node in shape.items(entry.entries.get("rules"), "`rules`"))
            when, because = _expression(read, entry, "when"), shape.text(entry, "because")
            found.append(Relief(fact=fact, because=because, rules=named, when=when))
    return tuple(found)


def read_apart(shape: Shape, tree: Node | None, rules: Iterable[str]) -> tuple[Exclusion, ...]:
    """The pairs of rules of `hazards.yaml` that no rig gets past both of, as is meant."""
    entries = tree.entries if isinstance(tree, Mapping) else {}
    known, found = frozenset(rules), list[Exclusion]()
    for item in shape.items(entries.get("apart"), "`apart`"):
        entry = shape.form(item, _APART)
        if entry is not None:
            named = [_rule(shape, node, known) for node in shape.items(entry.entries["rules"], "`rules`")]
            if len(set(named)) != 2:
                shape.complain(entry.entries["rules"], "a pair is of two rules", "write `rules: [ONE, OTHER]`")
            else:
                found.append(Exclusion(rule=named[0], other=named[1], because=shape.text(entry, "because")))
    return tuple(found)


def _rule(shape: Shape, node: Node, known: frozenset[str]) -> str:
    """The rule that is named, and a complaint where there is none of that name."""
    id = node.value or "" if isinstance(node, Scalar) else ""
    if id not in known:
        near = nearest(id, known)
        shape.complain(node, f"there is no rule `{id}`", f"did you mean `{near}`?" if near else "name a rule")
    return id


def _is_number(read: Expressions, node: Node, name: str) -> bool:
    """Whether a name is a fact with a figure, and a complaint where it is not."""
    slots = read.vocabulary.slots()
    numbers = [slot for slot, kind in slots.items() if isinstance(kind, NumberType)]
    if name not in numbers:
        near = nearest(name, numbers)
        help = f"did you mean `{near}`?" if near else "name a fact such as `receiver.tongue_rating`"
        read.shape.complain(node, f"`{name}` is no fact with a figure", help)
    return name in numbers


def _expression(read: Expressions, entry: Mapping, key: str) -> typed.AnyTyped | None:
    """An expression of an entry; it may ask of subjects only whether the question is about them."""
    found = read.read(entry, key)
    facts = typed.presences(found) - read.vocabulary.subjects.keys() if found is not None else set()
    for name in sorted(facts - read.vocabulary.asked_facts()):
        help = "ask for the subject, or for a derived value that says it: naming a fact here would open no topic"
        read.shape.complain(entry.entries[key], f"a hazard does not ask whether `{name}` is named", help)
    return found


@dataclass(frozen=True, slots=True)
class _Reading:
    """The file's top, and a reader of expressions that may speak of everything a rule may, and of each adapter."""

    read: Expressions
    top: Mapping

    def hazards(self, limits: Iterable[Limit]) -> tuple[Hazard, ...]:
        given = dict(self.read.shape.open_mapping(self.top.entries["hazards"], "`hazards`"))
        weights = dict(self._weights())
        found = [line for rating, node in given.items() for line in self._lines(rating, node)]
        self._hold_all_told(given, weights, limits)
        self._hold_weights_read(weights, found)
        all_kinds = kinds_of(self.read.vocabulary).values()
        kinds = {kind.member: KnownKind(self.read.derived, kind) for kind in all_kinds}
        for rating, node in given.items():
            self._hold_every_kind(node, rating, [line for line in found if line.rating == rating], kinds)
        return tuple(found)

    def _weights(self) -> Iterator[tuple[str, Node]]:
        """The facts that weigh on ratings, each with its place."""
        for node in self.read.shape.items(self.top.entries["weights"], "`weights`"):
            name = node.value or "" if isinstance(node, Scalar) else ""
            if _is_number(self.read, node, name):
                yield name, node

    def _lines(self, rating: str, node: Node) -> Iterator[Hazard]:
        """The lines of one rating."""
        if _is_number(self.read, node, rating):
            for item in self.read.shape.items(node, f"`{rating}`"):
                entry = self.read.shape.form(item, _LINE)
                line = self._line(rating, entry) if entry is not None else None
                if line is not None:
                    yield line

    def _line(self, rating: str, entry: Mapping) -> Hazard | None:
        shape = self.read.shape
        guard, exceeded = (_expression(self.read, entry, key) for key in ("when", "exceeded_when"))
        written = entry.entries.get("exceeded_when")
        accepted, cautioned = (shape.text(entry, key) for key in ("accepted", "cautioned"))
        if cautioned and (accepted or written is None):
            help = "leave `accepted` out, and write `exceeded_when`: what is cautioned is no plain yes"
            shape.complain(entry.entries["cautioned"], "what is cautioned is exceeded, and is not accepted", help)
        if written is None and not accepted:
            help = "write `exceeded_when: ...`, or `accepted: ...` with the reason why nothing bears on it"
            shape.complain(entry, f"this line does not say when `{rating}` is exceeded", help)
            return None
        if exceeded is not None and written is not None and rating not in typed.reads(exceeded):
            shape.complain(written, f"`exceeded_when` does not read `{rating}`, of which it is a line")
        text = " ".join((written.value or "").split()) if isinstance(written, Scalar) else ""
        return Hazard(rating=rating, guard=guard, exceeded=exceeded, accepted=accepted, cautioned=cautioned, text=text)

    def _hold_all_told(self, given: Map[str, Node], weights: Map[str, Node], limits: Iterable[Limit]) -> None:
        """Complain of a mass or force that is neither rating nor weight or is both, and of a limit's forgotten rating.

        By the type alone, so that no declaration can be forgotten that would have made a new fact a rating.
        """
        slots = self.read.vocabulary.slots()
        held = {
            name for name, kind in slots.items() if isinstance(kind, NumberType) and kind.dimension in (MASS, FORCE)
        }
        held |= {rating.name for limit in limits for rating in limit.ratings} & slots.keys()
        help = (
            "write under `hazards` what bears on it, kind by kind; or name it under `weights` if it is what weighs; an "
            "overlay says it in a `hazards.yaml` of its own"
        )
        for name in sorted(held - given.keys() - weights.keys()):
            self.read.shape.complain(self.top.entries["hazards"], f"nothing is said of what bears on `{name}`", help)
        for name in sorted(given.keys() & weights.keys()):
            self.read.shape.complain(weights[name], f"`{name}` has hazards, so it is a rating", "take it out here")

    def _hold_weights_read(self, weights: Map[str, Node], lines: Iterable[Hazard]) -> None:
        """Complain of a weight that no line reads: nothing would be held against it."""
        read = {name for line in lines if line.exceeded is not None for name in self.read.facts_in(line.exceeded)}
        for name in sorted(weights.keys() - read):
            self.read.shape.complain(weights[name], f"`{name}` bears on no rating", "let a line of a rating read it")

    def _hold_every_kind(self, node: Node, rating: str, lines: Iterable[Hazard], kinds: Map[str, KnownKind]) -> None:
        """Complain of the kinds that no line of a rating may hold for."""
        guards = [line.guard for line in lines]
        left = [member for member, known in kinds.items() if not any(map(known.may, guards))]
        if guards and left:
            help = "add a line for it; where nothing of it bears on the rating, one that says so in `accepted`"
            told = ", ".join(f"`{member}`" for member in left)
            self.read.shape.complain(node, f"no line says what bears on `{rating}` of {told}", help)
