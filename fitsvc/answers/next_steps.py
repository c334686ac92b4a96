"""What to learn next: the smallest set of facts whose knowledge could decide, and the readings that do.

All of it is found by evaluating. For each open rule those facts are looked for with which it could pass:
one alone if there is one, else two or three together. Of these, the fewest and cheapest that open every
rule are chosen. A reading `works` when the rules that wait for this fact alone pass with it and nothing
else fails; with such readings of all the facts named, the answer works (or is conditional). A reading
`fails` when with it some blocking rule surely fails, whatever else is learnt.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import Final

from fitsvc.answers.answer import Next
from fitsvc.answers.missing import BAD, GOOD, OPEN, Missing, UnknownFact, supplied
from fitsvc.answers.readings import Runs, together
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.types import Value

ASK: Final = {"ask": "ask", "label": "read", "tape": "measure", "scales": "weigh", "dealer": "look up"}
_Chosen = dict[int, tuple[UnknownFact, ...]]
"""For each open rule, the facts chosen to settle it."""


def next_steps(missing: Missing, case: Case, verdict: Verdict, system: System) -> list[Next]:
    """What to learn next; nothing can help where a rule surely fails."""
    return settling(missing, case, verdict.unknown, verdict.doubts, system) if verdict.outcome != "fails" else []


def settling(missing: Missing, case: Case, unknown: Sequence[int], doubts: Sequence[int], system: System) -> list[Next]:
    """What would settle open rules: what holds up the outcome first, then what cautions wait for; cheapest first."""
    if not unknown and not doubts:
        return []
    chosen = _choose(missing, case, unknown, {})
    first = list(_facts_of(chosen))
    chosen = _choose(missing, case, doubts, chosen)
    later = [held for held in _facts_of(chosen) if held not in first]
    found = {held: _readings(missing, case, held, chosen, (unknown, doubts), system) for held in (*first, *later)}
    _keep_together(missing, case, first, found, doubts, system)
    steps: dict[str, Next] = {}
    for group in (first, later):
        told = [(held, *_in_words(held, found[held])) for held in group]
        for held, works_if, fails_if in sorted(told, key=lambda row: (not (row[1] or row[2]), row[0].effort)):
            fact = held.fact
            step = Next(fact.name, ASK[fact.effort], fact.how_to_measure, works_if, fails_if)  # type: ignore[arg-type]
            steps.setdefault(fact.name, step)
    return list(steps.values())


def _facts_of(chosen: _Chosen) -> Iterator[UnknownFact]:
    yield from dict.fromkeys(held for facts in chosen.values() for held in facts)


def _choose(missing: Missing, case: Case, rules: Sequence[int], chosen: _Chosen) -> _Chosen:
    """Choose facts for each open rule, the fewest and cheapest taken together; earlier choices count as known."""
    options = {number: missing.options(number, case) for number in rules}
    found = dict(chosen)
    taken = set(_facts_of(chosen))
    for number in sorted(rules, key=lambda number: len(options[number])):
        found[number] = min(options[number], key=lambda facts: _cost(facts, taken), default=())
        taken.update(found[number])
    return found


def _cost(facts: tuple[UnknownFact, ...], taken: set[UnknownFact]) -> tuple[int, int]:
    new = [one for one in facts if one not in taken]
    return (len(new), sum(one.effort for one in new))


def _readings(
    missing: Missing,
    case: Case,
    held: UnknownFact,
    chosen: _Chosen,
    rules: tuple[Sequence[int], Sequence[int]],
    system: System,
) -> Runs:
    """The readings of a chosen fact that work and that fail.

    What a blocking rule waits for decides, and cautions only where no blocking rule waits for the fact. Where a
    rule waits for this fact and another together, no reading of this one alone is said to work.
    """
    unknown, doubts = rules
    reads = [number for number in (*unknown, *doubts) if held in missing.held(number, case)]
    deciding = [number for number in reads if number in unknown] or reads
    alone = any(chosen.get(number) == (held,) for number in deciding)
    shared = any(held in chosen.get(number, ()) and chosen[number] != (held,) for number in deciding)
    waits = [number in deciding and chosen.get(number) == (held,) for number in reads]

    def status(results: list[str]) -> str:
        if BAD in results:
            return BAD
        settled = all(result == GOOD for result, wait in zip(results, waits, strict=True) if wait)
        return GOOD if settled and alone and not shared else OPEN

    several = [missing.readings(number, held, case, system) for number in reads]
    return together(several[0].grid, several, status)


def _keep_together(
    missing: Missing,
    case: Case,
    first: Sequence[UnknownFact],
    found: dict[UnknownFact, Runs],
    doubts: Sequence[int],
    system: System,
) -> None:
    """Take back readings of the `first` facts that work each by itself and fail beside one another.

    Only a rule that is a caution while open, and fails once it is sure, can do that: the others are passed by each
    reading that works, whatever the rest comes to. It is tried at the ends of the readings that work.
    """
    for number in doubts:
        if not missing.engine.rulebook.rules[number].blocks:
            continue
        read = [held for held in first if held in missing.held(number, case) and GOOD in found[held].statuses]
        corners = product(*(found[held].ends(GOOD) for held in read))
        if len(read) < 2 or not any(_fails(missing, number, case, read, corner) for corner in corners):
            continue
        for held in read:
            beside = [one for one in read if one != held]
            for values in product(*(found[one].ends(GOOD) for one in beside)):
                told = supplied(case, zip(beside, values, strict=True))
                both = (found[held], missing.readings(number, held, told, system))
                found[held] = together(both[0].grid, both, lambda pair: OPEN if pair == [GOOD, BAD] else pair[0])


def _fails(missing: Missing, number: int, case: Case, facts: Sequence[UnknownFact], values: Sequence[Value]) -> bool:
    return missing.judged(number, supplied(case, zip(facts, values, strict=True))) == BAD


def _in_words(held: UnknownFact, runs: Runs) -> tuple[str, str]:
    prefix = "a diameter of " if held.fact.tyre else ""
    texts = [runs.text(wanted) for wanted in (GOOD, BAD)]
    works_if, fails_if = (prefix + text if text else "" for text in texts)
    return works_if, fails_if
