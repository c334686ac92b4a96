"""An answer that is no by cases, in words: for the values of the open choice the rule that fails with them."""

from collections.abc import Iterator
from typing import Final

from fitsvc.answers.answer import EitherWayTold, WayTold
from fitsvc.answers.phrases import uncapped, words
from fitsvc.answers.wording import Wording
from fitsvc.engine.verdict import EitherWay
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import Read
from fitsvc.language.types import ListType, Mask, Value
from fitsvc.tongues import as_said, is_clause, t

_MOST_SAID: Final = 3
"""So many cases are said in a summary; of more, the two that fewest values share."""
_BOTH: Final = ["yes", "no"]
_MOST_NAMED: Final = 4
"""So many values of the last case are named; if it has more, they are `any other`."""


def tell_either_way(wording: Wording, case: Case, found: EitherWay, system: System) -> EitherWayTold:
    """The cases by which an opened case fails, each with its reason as a sentence."""
    kind = wording.engine.choices(bool(case.adapters)).of(found.fact).type
    if not found.rules:
        values = [value for value, _ in found.cases if isinstance(value, int)]
        members = (
            [name for value in values for name in kind.names(Mask(value))] if isinstance(kind, ListType) else _BOTH
        )
        cases = [WayTold(members)]
    else:
        told = _Told(wording, case, found, system)
        cases = list(told.by_member(kind) if isinstance(kind, ListType) else told.by_yes_and_no())
    return EitherWayTold(found.fact, cases, 0 if found.adapter is None else found.adapter + 1)


def say_either_way(wording: Wording, told: EitherWayTold) -> str:
    """The summary of an answer that is no by cases."""
    the = wording.the(told.fact)
    no = t("No, either way.") if is_clause(the) else t("No, whatever {the} is.", the=the)
    said = told.cases if len(told.cases) <= _MOST_SAID else told.cases[:2]
    more = t(" It fails with the others too.") if len(said) < len(told.cases) else ""
    return f"{no} {' '.join(one.reason for one in said)}{more}"


class _Told:
    """The cases of one answer on the way to words."""

    def __init__(self, wording: Wording, case: Case, found: EitherWay, system: System) -> None:
        self._wording, self._case, self._found, self._system = wording, case, found, system
        self._the = wording.the(found.fact)

    def by_yes_and_no(self) -> Iterator[WayTold]:
        """What fails if so, and what if not."""
        rules = {value: number for value, number in self._found.cases if number is not None}
        for value, word, if_ in ((YES, "yes", t("If {so}", so=as_said(self._the))), (NO, "no", t("If not"))):
            rule, reason = self._fails(rules[value], value)
            yield WayTold([word], rule, f"{if_}, {uncapped(reason)}")

    def by_member(self, kind: ListType) -> Iterator[WayTold]:
        """A case a rule, with the members with which it is the first to fail: the fewest members first."""
        masks: dict[int, Mask] = {}
        for value, number in self._found.cases:
            assert isinstance(value, int) and number is not None
            masks[number] = Mask(masks.get(number, 0) | value)
        rules = sorted(masks, key=lambda number: masks[number].bit_count())
        for number in rules:
            mask, names = masks[number], kind.names(masks[number])
            # Where nothing at all is known of the choice, the words are those of one of its members.
            rule, reason = self._fails(number, mask if mask != kind.unknown else kind.mask(names[0]))
            if len(rules) > 1:
                other = number == rules[-1] and len(names) > _MOST_NAMED
                is_ = t("any other") if other else words(mask, self._wording.shown(Read(kind, self._found.fact)).words)
                reason = t("If {the} is {value}, {reason}", the=self._the, value=is_, reason=uncapped(reason))
            yield WayTold(names, rule, reason)

    def _fails(self, number: int, value: Value) -> tuple[str, str]:
        """A rule's id, and why it fails with a value."""
        wording, case = self._wording, self._case
        supposed = wording.engine.supposed(case, self._found, value)
        finding = wording.rules(bool(case.adapters))[number].finding("fails", supposed, self._system)
        return finding.rule, finding.reason
