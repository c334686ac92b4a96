"""What the answer would be if the facts that are asked for are as usual, and which of them are to be checked.

Nothing usual is ever taken for known: it is told beside what to find out next, and the outcome is that of ignorance.
"""

from collections.abc import Sequence
from math import isfinite

from msgspec.structs import replace

from fitsvc.answers.answer import IfUsual, Next
from fitsvc.answers.missing import Missing
from fitsvc.answers.phrases import texts
from fitsvc.answers.taken import agree
from fitsvc.answers.trying import UnknownFact, told
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.truth import YES
from fitsvc.language.typed import Read
from fitsvc.language.types import TruthType, Value, is_exact
from fitsvc.rulebook.outcomes import OUTCOMES


def with_usual(
    missing: Missing, case: Case, verdict: Verdict, steps: Sequence[Next], system: System
) -> tuple[list[Next], IfUsual | None]:
    """The steps with what is usual of each fact, and what the answer comes to if all of that is so.

    The second is None where nothing is usual of any of them, or it would settle nothing.
    """
    usual = {step.fact: found for step in steps if (found := _usual(missing, case, step)) is not None}
    if not usual:
        return list(steps), None
    words = {held.name: texts([(value, missing.wording.shown(held.read))], system)[0] for held, value in usual.values()}
    asked = [replace(step, usual=words.get(step.fact, "")) for step in steps]
    so = missing.engine.evaluate(told(missing.engine, case, dict(usual.values())))
    left = {*so.left("unknown"), *so.left("doubts")}
    rules = missing.engine.rulebook.rules
    settles = [rules[number].id for number in (*verdict.left("unknown"), *verdict.left("doubts")) if number not in left]
    better = OUTCOMES.index(so.outcome) <= OUTCOMES.index(verdict.outcome)
    return asked, IfUsual(so.outcome, words, settles) if settles and better else None


def _usual(missing: Missing, case: Case, step: Next) -> tuple[UnknownFact, Value] | None:
    """What is usual of a step's fact, if it is known and may be so."""
    one = missing.engine.rulebook.usual.get(step.fact)
    if one is None:
        return None
    nodes = [one.guard, one.node]
    applies, value = missing.engine.values(("usual", step.fact), lambda: nodes).of(case)
    fact = missing.wording.rulebook.vocabulary.facts[step.fact]
    held = UnknownFact(step.fact, read=Read(one.node.type, step.fact), fact=fact)
    current = held.current(case)
    if applies != YES or not (isinstance(one.node.type, TruthType) or agree(current, value)):
        return None
    if isinstance(value, tuple) and isinstance(current, tuple):
        value = (max(value[0], current[0]), min(value[1], current[1]))
        return (held, value) if isfinite(value[1] - value[0]) else None
    return (held, value) if is_exact(one.node.type, value) else None
