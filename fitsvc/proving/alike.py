"""What kinds are alike for rules: those of which each condition that the rules have on the kind holds, or of none."""

from collections.abc import Hashable, Iterable, Mapping

from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped
from fitsvc.rulebook.kinds import Kind
from fitsvc.rulebook.rules import Rule, Rulebook

Masks = frozenset[int] | None
"""The members that conditions on a fact ask for, each as a mask; None where the fact is read in another way."""


class KindsAlike:
    """The rules of a rulebook in a bare receiver, by what each asks of the kind."""

    def __init__(self, rulebook: Rulebook) -> None:
        opening = {name: one.bare for name, one in rulebook.opening.items()}
        self._derived: Mapping[str, AnyTyped] = {
            **{name: one.node for name, one in rulebook.derived.items()},
            **opening,
        }
        self._known: dict[tuple[str, str], Masks] = {}
        self._rules: dict[tuple[str, str], Masks] = {}

    def sign(self, kind: Kind, rules: Iterable[Rule]) -> Hashable:
        """What some rules can tell of a kind: what one of alike kinds comes to by them, each of them does."""
        masks = _joined(self._of(rule, kind.fact.name) for rule in rules)
        if masks is None:
            return kind.fact.name, kind.member
        return kind.fact.name, tuple(mask for mask in sorted(masks) if mask & kind.mask)

    def _of(self, rule: Rule, fact: str) -> Masks:
        key = rule.id, fact
        if key not in self._rules:
            nodes = [rule.requires, *([] if rule.guard is None else [rule.guard])]
            self._rules[key] = _joined(self._asked(node, fact) for node in nodes)
        return self._rules[key]

    def _asked(self, node: AnyTyped, fact: str) -> Masks:
        match node:
            case typed.Membership(operand=typed.Read(name=name), mask=mask) if name == fact:
                return frozenset((mask,))
            case typed.Read(name=name) if name == fact:
                return None
            case typed.Read(name=name) if name in self._derived:
                key = name, fact
                if key not in self._known:
                    self._known[key] = self._asked(self._derived[name], fact)
                return self._known[key]
        return _joined(self._asked(part, fact) for part in typed.parts(node))


def _joined(several: Iterable[Masks]) -> Masks:
    found = frozenset[int]()
    for one in several:
        if one is None:
            return None
        found |= one
    return found
