"""What an answer asks a person to see to: each thing once, and what may yet decide first.

A need is one thing with the rules and needs that it goes with, as a fascia to be trimmed is with the fitting of the
receiver; and doubts that wait for the same facts are one, as learning these settles all of them. First stands what is
left open for good, as what is not judged here, then doubts that may yet come to a no, then what is surely amiss, then
work to do, then parts to have, then what may be amiss, and with that what is only to be checked, as it is settled if
things are as they nearly always are.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import msgspec

from fitsvc.answers.answer import AllowanceShown, Finding, IfUsual, SeeTo, ToSeeTo
from fitsvc.answers.missing import Missing
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.rulebook.outcomes import Outcome

_FOR_GOOD, _MAY_BE_NO, _AMISS, _WORK, _PART, _MAY_BE_AMISS = range(6)
_SORTS: Final[Mapping[int, SeeTo]] = {
    _FOR_GOOD: "find out",
    _MAY_BE_NO: "find out",
    _AMISS: "look at",
    _WORK: "do",
    _PART: "have",
    _MAY_BE_AMISS: "find out",
}
_SORT_OF_SEVERAL: Final[Sequence[SeeTo]] = ("do", "have", "look at", "find out")
"""What several together are: what is to be done or had says how they are seen to."""

Waits = Mapping[str, frozenset[str]]
"""The facts that each doubt waits for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _One:
    """A finding or a need by itself; those that share a tie are one thing."""

    id: str
    rank: int
    told: str
    ties: frozenset[object]
    need: str = ""
    fails: bool = False


class SeeingTo:
    """What a rulebook's cautions, doubts and needs come to as things to see to."""

    def __init__(self, missing: Missing) -> None:
        self._missing, self._wording = missing, missing.wording
        rulebook = self._wording.rulebook
        self._needs = {need.name: need for need in rulebook.needs}
        self._blocking = frozenset(rule.id for rule in rulebook.rules if rule.blocks)

    def things(
        self,
        outcome: Outcome,
        findings: Iterable[Finding],
        needs: Iterable[Mapping[str, str]],
        waits: Mapping[int, frozenset[str]],
        allowance: AllowanceShown | None,
        if_usual: IfUsual | None = None,
        for_good: Iterable[int] = (),
    ) -> list[ToSeeTo]:
        """The things to see to where it may yet be used, in order; `waits` are the facts that open rules wait for.

        What an allowance says already is not told again; what `if_usual` settles is hardly ever a no. `for_good` are
        the rules that hold up the outcome and that nothing settles.
        """
        if outcome in ("works", "fails"):
            return []
        limited = allowance is not None and allowance.at_most and not allowance.whole
        said = self._wording.told_by(allowance.allowance) if allowance and limited else frozenset()
        left = [finding for finding in findings if finding.result != "fails" or finding.rule not in said]
        usual = frozenset(if_usual.settles if if_usual else ())
        rules = self._wording.rulebook.rules
        of_rule = {rules[number].id: facts for number, facts in waits.items()}
        stay = frozenset(rules[number].id for number in for_good)
        ones = [*self._of_findings(left, of_rule, usual, stay), *self._of_needs(needs)]
        return [_thing(several) for several in _together(sorted(ones, key=lambda one: one.rank))]

    def waits(self, judged: Iterable[tuple[Case, Verdict]]) -> dict[int, frozenset[str]]:
        """The facts that each doubt of several opened cases waits for, in the first of them that has it."""
        found = dict[int, frozenset[str]]()
        for case, verdict in judged:
            for number in verdict.left("doubts"):
                if number not in found:
                    found[number] = frozenset(held.name for held in self._missing.held(number, case))
        return found

    def _of_findings(
        self, findings: Iterable[Finding], waits: Waits, usual: frozenset[str], stay: frozenset[str]
    ) -> Iterator[_One]:
        for finding in findings:
            if finding.result == "passes":
                continue
            effect, rule = self._wording.effect(finding), finding.rule
            if rule in stay and effect == "unknown":
                yield _One(id=rule, rank=_FOR_GOOD, told=finding.reason, ties=frozenset((rule,)))
            elif effect == "cautions":
                yield _One(id=rule, rank=_AMISS, told=finding.reason, ties=frozenset((rule,)), fails=True)
            elif effect == "doubts":
                rank = _MAY_BE_NO if rule in self._blocking - usual else _MAY_BE_AMISS
                ties: set[object] = {rule, *filter(None, (waits.get(rule),))}
                yield _One(id=rule, rank=rank, told=finding.reason, ties=frozenset(ties))

    def _of_needs(self, needs: Iterable[Mapping[str, str]]) -> Iterator[_One]:
        for told in needs:
            need = self._needs[told["need"]]
            rank, ties = _WORK if need.work else _PART, frozenset((need.id, *need.goes_with))
            yield _One(id=need.id, rank=rank, told=told["because"], ties=ties, need=need.name)


def told_once(things: Iterable[ToSeeTo]) -> list[ToSeeTo]:
    """The things to see to of several answers, each sentence where it first stands."""
    said, found = set[str](), list[ToSeeTo]()
    for one in things:
        left = [text for text in (one.told, *one.also) if text not in said]
        said.update(left)
        if left:
            found.append(msgspec.structs.replace(one, told=left[0], also=left[1:]))
    return found


def _together(ones: Iterable[_One]) -> list[list[_One]]:
    """Those that share a tie, also by a third, put together where the first of them stands."""
    groups: list[tuple[frozenset[object], list[_One]]] = []
    for one in ones:
        same = [group for group in groups if not group[0].isdisjoint(one.ties)]
        ties = one.ties.union(*(ties for ties, _ in same))
        made = (ties, [*(other for _, several in same for other in several), one])
        if not same:
            groups.append(made)
        else:
            groups = [made if group is same[0] else group for group in groups if group not in same[1:]]
    return [several for _, several in groups]


def _thing(several: Sequence[_One]) -> ToSeeTo:
    """Several as one thing; a need is not told again beside a finding that says surely what it would mend."""
    said = {one.id for one in several if one.fails}
    told, *also = dict.fromkeys(one.told for one in several if not one.need or said.isdisjoint(one.ties))
    sorts = {_SORTS[one.rank] for one in several}
    return ToSeeTo(
        sort=next(sort for sort in _SORT_OF_SEVERAL if sort in sorts),
        told=told,
        also=also,
        rules=[one.id for one in several if not one.need],
        needs=[one.need for one in several if one.need],
    )
