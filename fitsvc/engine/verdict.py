"""What a case comes to: its outcome, and the rules behind it."""

from typing import Final, Literal, NamedTuple

from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOME_OF, OUTCOMES, RESULT_OF, Effect, Outcome, Result

Judged = Result | Literal["not_applicable"]
"""What one rule comes to on a case."""
RESULTS: Final[tuple[Judged, ...]] = ("passes", "fails", "undetermined", "not_applicable")
MOST_APART: Final = 15
"""Cautions, and other things to see to, that are told apart in what is left to do."""
MOST_LEFT: Final = 255
"""What is left to do fits in a byte."""
_CONDITIONAL: Final = [effect for effect, outcome in OUTCOME_OF.items() if outcome == "conditional"]


class Moot(NamedTuple):
    """The open rules that pass, and the open needs that are none, with each value of some one open choice."""

    rules: frozenset[int]
    needs: frozenset[int]


NOTHING_MOOT: Final = Moot(frozenset(), frozenset())


class EitherWay(NamedTuple):
    """An open choice with each value of which some rule fails, or one that is open passes: the outcome is the same.

    `adapter` is the place of the adapter whose choice it is. `cases` are the values that it may have, in order, each
    with the number of the first rule that fails with it; None where the rules that are open pass with each.
    """

    fact: str
    adapter: int | None
    cases: tuple[tuple[Value, int | None], ...]

    @property
    def rules(self) -> list[int]:
        """The rules that fail in any of the cases."""
        return sorted({number for _, number in self.cases if number is not None})


class Verdict(NamedTuple):
    """A case's outcome, and the numbers of the rules behind it.

    `unknown` are the rules that make the outcome undetermined, `doubts` those whose being undetermined is
    a caution only; `open_needs` are numbers of needs. A rule in none of the lists does not apply. Where it fails with
    `either_way` no rule fails by itself. What is `moot` stands in the lists of what is open, and brings nothing.
    """

    outcome: Outcome
    fails: list[int]
    unknown: list[int]
    cautions: list[int]
    doubts: list[int]
    passes: list[int]
    open_needs: list[int]
    either_way: EitherWay | None = None
    moot: Moot = NOTHING_MOOT

    def results(self, count: int) -> list[str]:
        """Every rule's result, in the rulebook's order."""
        results = ["not_applicable"] * count
        for effect, result in RESULT_OF.items():
            for number in getattr(self, effect):
                results[number] = result
        return results

    @property
    def failing(self) -> list[int]:
        """The rules that an answer of no rests on."""
        return self.either_way.rules if self.either_way else sorted(self.fails)

    @property
    def holding_up(self) -> list[int]:
        """The rules that leave the outcome open: what is unknown, unless it comes to the same either way."""
        return [] if self.outcome == "fails" else self.left("unknown")

    def left(self, effect: Effect) -> list[int]:
        """The rules or needs with an effect, but what is moot."""
        numbers: list[int] = getattr(self, effect)
        moot = self.moot.needs if effect == "open_needs" else self.moot.rules
        return [number for number in numbers if number not in moot] if moot else numbers

    @property
    def conditions(self) -> int:
        """How many things there are to see to: cautions, doubts and needs."""
        return sum(len(self.left(effect)) for effect in _CONDITIONAL)

    @property
    def left_to_do(self) -> int:
        """How much is left within an outcome: rules that fail, then points that are open, or what there is to see to.

        A figure out of its band counts for more than any number of parts to add or things to look at.
        """
        out, open_ = len(self.cautions), len(self.doubts) + len(self.open_needs)
        by_outcome = {
            "works": 0,
            "conditional": min(out, MOST_APART) * (MOST_APART + 1) + min(open_, MOST_APART),
            "undetermined": len(self.unknown),
            "fails": len(self.fails),
        }
        return min(by_outcome[self.outcome], MOST_LEFT)

    def with_moot(self, moot: Moot, either_way: EitherWay) -> "Verdict":
        """The verdict where some of what is open is moot, as one choice shows that makes no difference."""
        found = self._replace(moot=moot)
        brought = [OUTCOME_OF[effect] for effect in OUTCOME_OF if found.left(effect)]
        outcome = max(brought, key=OUTCOMES.index, default=OUTCOMES[0])
        return found._replace(outcome=outcome, either_way=either_way if outcome != self.outcome else None)
