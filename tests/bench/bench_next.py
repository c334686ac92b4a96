"""What an answer costs that leaves nearly all open: `PYTHONPATH=tests python -m bench.bench_next [COUNT]`.

Questions are drawn at random, the same every time: none to four adapters, every part or some, of each fact nothing
known, bounds, or several candidates. Printed are the slowest of them in processor time on one core, whole answers with
next steps and remedies, and the first ones of a fresh answerer. Nothing is asserted.
"""

import sys
from collections.abc import Iterator
from random import Random
from statistics import mean
from time import process_time
from typing import Any

from demo_world import answerer, stock, world

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import Answerer
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.vocabulary import Fact

COUNT, SLOWEST, FIRST = 300, 8, 6
RIG = ("vehicle", "receiver", "mounting", "spare")
PARTS = ("accessory", "ball", "trailer", "load")


def worst(random: Random) -> dict[str, Any]:
    """A question in which nothing is known, or hardly anything, about many parts."""
    every, told = random.random() < 0.5, random.choice((0.0, 0.0, 0.15, 0.5))
    wanted = [part for part in (*RIG, *PARTS) if every or random.random() < 0.6]
    rig: dict[str, Any] = {part: {"facts": _facts(random, part, told)} for part in wanted if part in RIG}
    rig["adapters"] = [{"facts": _facts(random, "adapter", told)} for _ in range(random.randrange(5))]
    return {"rig": rig, **{part: {"facts": _facts(random, part, told)} for part in wanted if part in PARTS}}


def _facts(random: Random, subject: str, told: float) -> dict[str, Any]:
    vocabulary = answerer().rulebook.vocabulary
    facts = [fact for fact in vocabulary.of(subject).values() if random.random() < told]
    return {fact.short: wire for fact in facts if (wire := _wire(random, fact)) is not None}


def _wire(random: Random, fact: Fact) -> Any:
    """A fact told loosely: bounds of a number, two candidates of a list, or a yes or no; no texts and tyres."""
    members = list(answerer().rulebook.vocabulary.words.get(fact.kind, {}))
    if members:
        return random.sample(members, min(2, len(members)))
    if fact.kind == "yes_no":
        return random.random() < 0.5
    if fact.range is None or fact.range_text is None or fact.kind == "count":
        return None
    unit = {"length": "mm", "mass": "kg", "angle": "deg", "force": "kN"}.get(fact.kind)
    low, high = sorted(random.uniform(*fact.range) for _ in range(2))
    return {"at_least": f"{low:.1f} {unit}", "at_most": f"{high:.1f} {unit}"} if unit else None


def drawn(count: int, seed: int = 5) -> Iterator[dict[str, Any]]:
    """As many such questions."""
    random = Random(seed)
    for _ in range(count):
        yield worst(random)


def timed(of: Answerer, document: dict[str, Any]) -> tuple[float, Answer | None]:
    """Milliseconds of processor time that an answer takes; no answer where the question cannot be read."""
    start = process_time()
    try:
        answer = of.answer(document, world(), shelf=stock())
    except ProblemsFound:
        return 0.0, None
    return (process_time() - start) * 1e3, answer


def main() -> None:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    questions = list(drawn(count))
    for prepared in (False, True):
        fresh = Answerer(answerer().rulebook)
        if prepared:
            fresh.prepare()
        first = ", ".join(f"{timed(fresh, one)[0]:.0f}" for one in questions[:FIRST])
        print(f"first questions of a {'prepared' if prepared else 'fresh'} answerer: {first} ms")
    rows = []
    for document in questions:
        took, answer = min((timed(answerer(), document) for _ in range(2)), key=lambda row: row[0])
        if answer is not None:
            rows.append((took, answer, document))
    rows.sort(key=lambda row: -row[0])
    times = [took for took, _, _ in rows]
    worst_of_all = f"99 in 100 {times[len(times) // 100]:.1f} ms, most {times[0]:.1f} ms"
    print(f"{len(rows)} questions, asked again: mean {mean(times):.1f} ms, {worst_of_all}; the slowest:")
    for took, answer, document in rows[:SLOWEST]:
        adapters, parts = len(document["rig"]["adapters"]), len(document) + len(document["rig"]) - 2
        told = f"{answer.outcome}, {len(answer.next)} steps told and {answer.more_open} more"
        print(f"{took:8.1f} ms  {adapters} adapters, {parts} parts: {told}, {len(answer.untried)} not worked out")


if __name__ == "__main__":
    main()
