"""What can be read and is not written as rules are: no error, and hardly ever meant.

Each way here has let something pass that should not have: a rule that lists kinds forgets the next one, one that reads
the bare receiver forgets the adapter in it, and one that passes, or is silent, where nobody looked is a yes by
ignorance. Where it is meant, the rule says why under `accepted`.
"""

from collections.abc import Container, Iterator
from dataclasses import dataclass, replace
from typing import Final

from fitsvc.language import typed
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType, TruthType
from fitsvc.rulebook.rules import Rule, Rulebook

_OR: Final = "; or, if it is meant, say why in the rule: `accepted: REASON`"


_NEEDLESS: Final = "leave `accepted` out"


@dataclass(frozen=True, slots=True)
class Departure:
    """What of a rule, need, caution or derived value is not written as rules are, and what to write instead."""

    owner: str
    message: str
    help: str


def departures(rulebook: Rulebook, accepting: Container[str] = ()) -> list[Departure]:
    """Every departure that is not accepted, and each acceptance of what is none.

    What stands under `accepted` of some rules is `accepting` what is looked for elsewhere.
    """
    ways = _Ways(rulebook)
    found: list[Departure] = []
    for rule in rulebook.rules:
        of_told = rule.severity == "caution"
        own = list(ways.of_rule(rule.id, rule.guard, rule.requires, rule.subjects, of_told=of_told))
        own += ways.silent(rule) if rule.blocks and rule.asks else ()
        if rule.accepted and not own and rule.accepted not in accepting:
            found.append(Departure(rule.id, "says why it is written so, and it is written as rules are", _NEEDLESS))
        elif not rule.accepted:
            found += [one if rule.limit else replace(one, help=one.help + _OR) for one in own]
    for need in rulebook.needs:
        found += ways.of_rule(need.id, need.guard, need.met, need.subjects)
    for caution in rulebook.cautions:
        found += ways.of_rule(caution.id, caution.guard, None, caution.subjects)
    for name, derived in rulebook.derived.items():
        if name not in ways.made:
            found += [*ways.kinds(name, derived.node), *ways.bare(name, derived.node)]
    return list(dict.fromkeys(found))


class _Ways:
    """The ways to look for, of one rulebook. `made` are the derived values that are written by fitsvc itself."""

    def __init__(self, rulebook: Rulebook) -> None:
        vocabulary = rulebook.vocabulary
        self._derived = {name: one.node for name, one in rulebook.derived.items()}
        self._asked, self._subjects = vocabulary.asked_facts(), vocabulary.asked()
        self._roles = dict[str, dict[str, frozenset[str]]]()
        for name, fact, role in vocabulary.role_facts():
            self._roles.setdefault(fact.name, {})[name] = frozenset(role.members)
        self._bare = {
            one.bare.name: one.name
            for one in rulebook.opening.values()
            if isinstance(one.bare, typed.Read) and one.each != one.bare
        }
        self.made = {*rulebook.opening, *(name for of in self._roles.values() for name in of)}

    def of_rule(
        self,
        owner: str,
        guard: AnyTyped | None,
        requires: AnyTyped | None,
        subjects: tuple[str, ...],
        *,
        of_told: bool = False,
    ) -> Iterator[Departure]:
        """Those of what has a guard and a requirement.

        What is about the rig alone reads the receiver as it is, and so does a caution `of_told` figures: whether what
        was told of it can be.
        """
        present = _present(guard, requires)
        for node in (guard, requires):
            if node is not None:
                yield from self.kinds(owner, node)
                if subjects or present & self._subjects:
                    yield from self.bare(owner, node, told=present if of_told else frozenset())
        if requires is not None:
            yield from self._passing(owner, requires, sure=True)

    def kinds(self, owner: str, node: AnyTyped) -> Iterator[Departure]:
        """Kinds that are named where a role could be asked for."""
        for one in _all(node):
            if not isinstance(one, typed.Membership | typed.SameMember):
                continue
            for fact in typed.reads(one).keys() & self._roles.keys():
                told = f"asks `{fact}` for kinds by their names, so that a kind which is added later is forgotten"
                yield Departure(owner, told, f"ask for a role: {self._role(fact, one)}")

    def _role(self, fact: str, node: AnyTyped) -> str:
        """The roles that are had by all kinds that are named, and by the fewest beside them."""
        named = _members(node)
        having = {name: of for name, of in self._roles[fact].items() if named <= of}
        least = min((len(of) for of in having.values()), default=0)
        roles = [f"`{name}`" for name, of in having.items() if len(of) == least]
        return " or ".join(roles[:3]) or "give these kinds one of their own in `lists.yaml`"

    def bare(self, owner: str, node: AnyTyped, told: frozenset[str] = frozenset()) -> Iterator[Departure]:
        """Facts of the bare receiver that an adapter in it changes, but of those of which it is `told` if they are."""
        for one in _all(node):
            if isinstance(one, typed.Read) and not one.told and one.name in self._bare.keys() - told:
                message = f"reads `{one.name}` directly, and an adapter may be in the receiver"
                yield Departure(owner, message, f"write `{self._bare[one.name]}`, in which adapters count")

    def silent(self, rule: Rule) -> Iterator[Departure]:
        """Facts that the guard wants told and the requirement holds to what is laid down: a rule that asks for none."""
        for name in self._wanted(rule.guard) if rule.guard is not None else ():
            if self._holds(rule.requires, name):
                yield _silent(rule.id, name)

    def _wanted(self, node: AnyTyped) -> Iterator[str]:
        """The facts that must be told for a condition to be: not those that a customer brings up."""
        for one in _joined(node):
            if isinstance(one, typed.Present) and "." in one.name and one.name not in self._asked:
                yield one.name

    def _holds(self, node: AnyTyped, name: str) -> bool:
        """Whether a test that nothing else is read for is of one fact; of what was told of it it is not."""
        of_it = isinstance(node.type, TruthType) and not isinstance(node, typed.Present)
        if of_it and self._leaves(node) == {name}:
            return True
        derived = self._derived.get(node.name) if isinstance(node, typed.Read) else None
        return any(self._holds(part, name) for part in (*typed.parts(node), *([derived] if derived else ())))

    def _leaves(self, node: AnyTyped) -> set[str]:
        """The facts that a node reads, itself or by derived values, and apart what was told of them."""
        found = set[str]()
        for one in _all(node):
            if isinstance(one, typed.Read):
                derived = self._derived.get(one.name)
                found |= self._leaves(derived) if derived is not None else {one.name + (".told" if one.told else "")}
        return found

    def _passing(self, owner: str, node: AnyTyped, *, sure: bool) -> Iterator[Departure]:
        """Alternatives of which one is that a fact is not told, and another reads it: so it passes unlooked at."""
        match node:
            case typed.Not():
                yield from self._passing(owner, node.operand, sure=not sure)
            case typed.Conditional():
                for name in self._wanted(node.condition) if _is(node.otherwise, sure) else ():
                    if self._reads(node.then, name):
                        yield _unlooked(owner, name, f"... if present({name}) else {'yes' if sure else 'no'}")
                for branch in (node.then, node.otherwise):
                    yield from self._passing(owner, branch, sure=sure)
            case typed.All() | typed.Some() if isinstance(node, typed.Some) == sure:
                ways = list(_alternatives(node, sure=sure))
                for name in (_absent(way, sure=sure) for way, sure in ways):
                    if "." in name and name not in self._asked and any(self._reads(way, name) for way, _ in ways):
                        yield _unlooked(owner, name, f"not present({name}) or ...")
                for way, of in ways:
                    yield from self._passing(owner, way, sure=of)
            case typed.All() | typed.Some():
                for part in node.operands:
                    yield from self._passing(owner, part, sure=sure)

    def _reads(self, node: AnyTyped, name: str) -> bool:
        """Whether a node reads a fact, itself or by a derived value; what was told of it is no reading of it."""
        return any(
            isinstance(one, typed.Read) and ((one.name == name and not one.told) or self._reads_derived(one.name, name))
            for one in _all(node)
        )

    def _reads_derived(self, derived: str, name: str) -> bool:
        return derived in self._derived and self._reads(self._derived[derived], name)


def _unlooked(owner: str, name: str, way: str) -> Departure:
    what = way.replace("... ", "").replace(" ...", "")
    help = f"leave `{what}` out: it is then asked for; where it may stay open, add `if_unknown: caution`"
    return Departure(owner, f"passes where nobody has looked up `{name}`: `{way}`", help)


def _silent(owner: str, name: str) -> Departure:
    message = f"is silent where nobody has looked up `{name}`: its guard asks `present({name})`"
    help = (
        f"leave `present({name})` out of `applies_when`: it is then asked for; where it may stay open, add "
        "`if_unknown: caution`"
    )
    return Departure(owner, message, help)


def _joined(node: AnyTyped) -> Iterator[AnyTyped]:
    """What must all be, of a condition."""
    if isinstance(node, typed.All):
        for part in node.operands:
            yield from _joined(part)
    else:
        yield node


def _is(node: AnyTyped, sure: bool) -> bool:
    """Whether a branch is yes, or no, whatever is told."""
    return isinstance(node, typed.Constant) and node.value == (YES if sure else NO)


def _present(*nodes: AnyTyped | None) -> frozenset[str]:
    """The subjects and facts of which these ask whether they are there."""
    return frozenset().union(*(typed.presences(node) for node in nodes if node is not None))


def _all(node: AnyTyped) -> Iterator[AnyTyped]:
    yield node
    for part in typed.parts(node):
        yield from _all(part)


def _alternatives(node: AnyTyped, *, sure: bool) -> Iterator[tuple[AnyTyped, bool]]:
    """What of several is enough, each with whether it has to be yes or no; through `not` and `and` as through `or`."""
    if isinstance(node, typed.Not):
        yield from _alternatives(node.operand, sure=not sure)
    elif isinstance(node, typed.Some if sure else typed.All):
        for part in node.operands:
            yield from _alternatives(part, sure=sure)
    else:
        yield node, sure


def _absent(node: AnyTyped, *, sure: bool) -> str:
    """The fact that is to be absent; empty of anything else."""
    return node.name if isinstance(node, typed.Present) and not sure else ""


def _members(node: AnyTyped) -> frozenset[str]:
    """The members of a list that a test names, the fewer of those it is held to and the others."""
    match node:
        case typed.Membership(operand=operand) if isinstance(operand.type, ListType):
            masks = sorted((node.mask, node.others), key=int.bit_count)
            return _named(operand.type, masks[0])
        case typed.SameMember(left=left, right=right):
            sides = [one for one in (left, right) if isinstance(one, typed.Constant)]
            return frozenset().union(*(_named(one.type, one.value) for one in sides))
        case _:
            return frozenset()


def _named(kind: object, mask: object) -> frozenset[str]:
    assert isinstance(kind, ListType) and isinstance(mask, int)
    return frozenset(member for place, member in enumerate(kind.members) if mask >> place & 1)
