"""Why a fit is new or lost: the pair judged again with one ingredient at a time as it was.

The rules alone are the cause where item and rig as they were now come to what the pair comes to; of a fit that is lost
the item or the rig is one too where rules refuse the pair for what it alone changed. Otherwise it is the item or the
rig, each where it alone, beside the other as it was, brings the change about by the rules of now, or both where it
takes the two. What may be loaded is worked out again in the same way.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from fitsvc.answers.allowances import AllowanceWords
from fitsvc.answers.wording import Wording
from fitsvc.audits.blocks import Kernel, pair_case
from fitsvc.audits.items import Items
from fitsvc.audits.kept import KeptFacts
from fitsvc.audits.loads import LoadTold, load_told
from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.results import codes_of

FITS: Final = OUTCOMES.index("conditional")
"""The worst outcome with which an item fits a rig."""
RULEBOOK: Final = "rulebook"
MOST: Final = 50_000
"""Changed pairs that are judged again, a millisecond each: of more the rest are told with all that differs."""


_Item = tuple[Items, int]
"""An item, by the block that it is in and its place there."""


class Cause(NamedTuple):
    """What brought a change about, and the rules that decide the worse of the two."""

    by: str
    rules: Sequence[str]


class Causes:
    """Judges changed pairs again, with what an earlier audit kept."""

    def __init__(self, kernel: Kernel, kept: KeptFacts) -> None:
        self._kernel, self._kept = kernel, kept
        self._words = AllowanceWords(Wording(kernel.engine))
        self.left = MOST

    def of(self, now: _Item, rig: AuditRig, *, fits: bool) -> Cause | None:
        """The cause of one change, of a pair that fits now or no more; None where it cannot be told."""
        items, place = now
        was, rig_was = self._kept.item(items.skus[place]), self._kept.rigs.get(rig.key)
        if was is None or rig_was is None or self.left <= 0:
            return None
        self.left -= 1
        after = self._judged(now, rig)
        if _fits(after) != fits:
            return None  # what could not be read of it decided, and that is told by all that differs
        before = self._judged(was, rig_was)
        if _fits(before) == fits:
            if fits:
                return Cause(RULEBOOK, ())
            also = [name for name, pair in self._alone(now, rig, was, rig_was) if self._refused_besides(pair, before)]
            return Cause(" or ".join([*also, RULEBOOK]), self._names(after))
        alone = [name for name, pair in self._alone(now, rig, was, rig_was) if _fits(self._judged(*pair)) == fits]
        by = " or ".join(alone) or "item and rig"
        worse, better = (before, after) if fits else (after, before)
        held = set(self._names(better))
        return Cause(by, [name for name in self._names(worse) if name not in held])

    def of_load(self, now: _Item, rig: AuditRig, told: LoadTold, told_before: LoadTold) -> str | None:
        """The cause of another load on one pair that fits as it did; None where it cannot be told."""
        items, place = now
        was, rig_was = self._kept.item(items.skus[place]), self._kept.rigs.get(rig.key)
        if was is None or rig_was is None or self.left <= 0:
            return None
        self.left -= 1
        if self._loaded(now, rig) != told:
            return None
        before, less = self._loaded(was, rig_was), is_less(told, told_before)
        alone = {name: self._loaded(*pair) for name, pair in self._alone(now, rig, was, rig_was)}
        is_by_rules = before != told_before and is_less(before, told_before) == less
        if is_by_rules:
            by = [name for name, one in alone.items() if one != before] if before != told else []
            return " and ".join([*by, RULEBOOK])
        by = [name for name, one in alone.items() if one != before and is_less(one, before) == less]
        return " or ".join(by) or "item and rig"

    def _alone(
        self, now: _Item, rig: AuditRig, was: _Item, rig_was: AuditRig
    ) -> list[tuple[str, tuple[_Item, AuditRig]]]:
        """The pair with what changed of one ingredient alone."""
        return [("item", (now, rig_was)), ("rig", (was, rig))]

    def _refused_besides(self, pair: tuple[_Item, AuditRig], before: Verdict) -> bool:
        """Whether a pair fits not, by rules that say nothing against what it was before."""
        verdict = self._judged(*pair)
        return not _fits(verdict) and not set(self._names(verdict)) <= set(self._names(before))

    def _case(self, item: _Item, rig: AuditRig) -> Case:
        return self._kernel.engine.opened(pair_case(self._kernel, *item, rig))

    def _loaded(self, item: _Item, rig: AuditRig) -> LoadTold:
        return load_told(self._words, self._case(item, rig))

    def _judged(self, item: _Item, rig: AuditRig) -> Verdict:
        return self._kernel.engine.evaluate(self._case(item, rig))

    def _names(self, verdict: Verdict) -> list[str]:
        """The rules and needs that decide a verdict."""
        numbers = codes_of(verdict, len(self._kernel.rulebook.rules))
        return [self._kernel.names[number] for number in sorted(set(numbers))]


def is_less(now: LoadTold, was: LoadTold) -> bool:
    """Whether less is allowed than was: in all, of how many, or of each; where nothing is told nothing surely is."""
    figures = (tuple(float(one.split()[0]) if one else -1.0 for one in some) for some in (now, was))
    return any(one < other for one, other in zip(*figures, strict=True))


def _fits(verdict: Verdict) -> bool:
    return OUTCOMES.index(verdict.outcome) <= FITS
