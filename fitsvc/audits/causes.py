"""Why a fit is new or lost: the pair judged again with one ingredient at a time as it was.

The rules alone are the cause where item and rig as they were now come to what the pair comes to. Otherwise it is the
item or the rig, each where it alone, beside the other as it was, brings the change about by the rules of now, or both
where it takes the two.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from fitsvc.audits.blocks import Kernel, pair_case
from fitsvc.audits.items import Items
from fitsvc.audits.kept import KeptFacts
from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.verdict import Verdict
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.results import codes_of

FITS: Final = OUTCOMES.index("conditional")
"""The worst outcome with which an item fits a rig."""
RULEBOOK: Final = "rulebook"
MOST: Final = 50_000
"""Changed pairs that are judged again, a millisecond each: of more the rest are told with all that differs."""


class Cause(NamedTuple):
    """What brought a change about, and the rules that decide the worse of the two."""

    by: str
    rules: Sequence[str]


class Causes:
    """Judges changed pairs again, with what an earlier audit kept."""

    def __init__(self, kernel: Kernel, kept: KeptFacts) -> None:
        self._kernel, self._kept = kernel, kept
        self.left = MOST

    def of(self, now: tuple[Items, int], rig: AuditRig, *, fits: bool) -> Cause | None:
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
            return Cause(RULEBOOK, self._names(after) if not fits else ())
        alone = {"item": _fits(self._judged(now, rig_was)), "rig": _fits(self._judged(was, rig))}
        by = " or ".join(name for name, one in alone.items() if one == fits) or "item and rig"
        worse, better = (before, after) if fits else (after, before)
        held = set(self._names(better))
        return Cause(by, [name for name in self._names(worse) if name not in held])

    def _judged(self, item: tuple[Items, int], rig: AuditRig) -> Verdict:
        items, place = item
        case = pair_case(self._kernel, items, place, rig)
        return self._kernel.engine.evaluate(self._kernel.engine.opened(case))

    def _names(self, verdict: Verdict) -> list[str]:
        """The rules and needs that decide a verdict."""
        numbers = codes_of(verdict, len(self._kernel.rulebook.rules))
        return [self._kernel.names[number] for number in sorted(set(numbers))]


def _fits(verdict: Verdict) -> bool:
    return OUTCOMES.index(verdict.outcome) <= FITS
