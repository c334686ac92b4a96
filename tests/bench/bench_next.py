"""What an answer costs that leaves nearly all open: `PYTHONPATH=tests python -m bench.bench_next [COUNT]`.

Without a count, the guide's table: ten thousand of them from JSON to JSON, the middle one and the slowest of each sort.

Questions are drawn at random, the same every time: none to four adapters, every part or some, of each fact nothing
known, bounds, or several candidates; several such things on one rig; and wares on rigs that they fail on. They are
whole answers with next steps and remedies, each asked once, of an answerer that has compiled all and then heard the
others, in processor time on one core, with the collector of garbage set as it is while serving. With a count, the
slowest of so many of each sort are printed with what they were, and the first ones of a fresh answerer.
"""

import sys
from collections.abc import Callable, Iterator, Mapping
from random import Random
from statistics import mean
from time import process_time
from typing import Any, Final

import msgspec
from demo_world import answerer, stock, world

from bench.measuring import SMALL, Group, Row, asked_for, show, taken
from fitsvc.answers.answer import Answer, encode
from fitsvc.answers.answering import Answerer
from fitsvc.answers.things import MOST_THINGS
from fitsvc.garbage import collected_seldom
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.bodies import decode
from fitsvc.service.serving import COLLECTED
from fitsvc.subjects import PLACE

COUNT, MANY, SLOWEST, FIRST = 300, 10_000, 8, 6
COMMAND = "bench.bench_next"
RIG = ("vehicle", "receiver", "mounting", "spare")
PARTS = ("accessory", "ball", "trailer", "load")
MAKES = sorted({str(one.facts["make"]) for one in world().of("vehicle")})


def worst(random: Random) -> dict[str, Any]:
    """A question in which nothing is known, or hardly anything, about many parts."""
    every, told = random.random() < 0.5, random.choice((0.0, 0.0, 0.15, 0.5))
    wanted = [part for part in (*RIG, *PARTS) if every or random.random() < 0.6]
    rig: dict[str, Any] = {part: {"facts": _facts(random, part, told)} for part in wanted if part in RIG}
    rig["adapters"] = [{"facts": _facts(random, "adapter", told)} for _ in range(random.randrange(5))]
    return {"rig": rig, **{part: {"facts": _facts(random, part, told)} for part in wanted if part in PARTS}}


def several(random: Random) -> dict[str, Any]:
    """Two to four things in one place on a rig, of all of which hardly anything is known."""
    told, place = random.choice((0.0, 0.0, 0.15, 0.5)), random.choice(list(_members(PLACE)))

    def thing() -> dict[str, Any]:
        parts = ["accessory", *(part for part in PARTS[1:] if random.random() < 0.6)]
        adapters = [{"facts": _facts(random, "adapter", told)} for _ in range(random.randrange(5))]
        facts = {part: {"facts": _facts(random, part, told)} for part in parts}
        return {"hangs_on": place, "rig": {"adapters": adapters}, **facts}

    rig = {part: {"facts": _facts(random, part, told)} for part in RIG[:3] if random.random() < 0.8}
    return {"rig": rig, "together": [thing() for _ in range(random.randint(2, MOST_THINGS))]}


def failing(random: Random) -> dict[str, Any]:
    """A ware on a rig that is too weak for it, or of another size, and hardly known besides."""
    document, of = worst(random), {subject: [one.key for one in world().of(subject)] for subject in ("vehicle", *PARTS)}
    rig, facts = (
        document["rig"],
        random.choice(({"tongue_rating": "10 lb"}, {"opening": "1-1/4 in"}, {"opening": "3 in"})),
    )
    if random.random() < 0.5:
        rig |= {"vehicle": {"id": random.choice(of["vehicle"])}, "adapters": []}
    rig["receiver"] = {"facts": facts}
    loads = ({"cargo_weight": "900 lb"}, {"bikes": 4, "bike_weight": "60 lb"})
    return {**document, "accessory": {"sku": random.choice(of["accessory"])}, "load": {"facts": random.choice(loads)}}


def named_in_part(random: Random) -> dict[str, Any]:
    """A vehicle by its make alone, and hardly anything known besides."""
    document = worst(random)
    document["rig"]["vehicle"] = {"facts": {"make": random.choice(MAKES)}}
    return document


DRAWN: Final[Mapping[str, Callable[[Random], dict[str, Any]]]] = {
    "one thing": worst,
    "several at once": several,
    "failing": failing,
    "a vehicle named in part": named_in_part,
}


def _facts(random: Random, subject: str, told: float) -> dict[str, Any]:
    vocabulary = answerer().rulebook.vocabulary
    facts = [fact for fact in vocabulary.of(subject).values() if random.random() < told]
    return {fact.short: wire for fact in facts if (wire := _wire(random, fact)) is not None}


def _wire(random: Random, fact: Fact) -> Any:
    """A fact told loosely: bounds of a number, two candidates of a list, or a yes or no; no texts and tyres."""
    members = list(_members(fact.name))
    if members:
        return random.sample(members, min(2, len(members)))
    if fact.kind == "yes_no":
        return random.random() < 0.5
    if fact.range is None or fact.range_text is None or fact.kind == "count":
        return None
    unit = {"length": "mm", "mass": "kg", "angle": "deg", "force": "kN"}.get(fact.kind)
    low, high = sorted(random.uniform(*fact.range) for _ in range(2))
    return {"at_least": f"{low:.1f} {unit}", "at_most": f"{high:.1f} {unit}"} if unit else None


def _members(name: str) -> Mapping[str, str]:
    """The words of the members of a fact's list; none of one that is no list."""
    vocabulary = answerer().rulebook.vocabulary
    return vocabulary.words.get(vocabulary.facts[name].kind, {})


def drawn(count: int, seed: int = 5, one: Callable[[Random], dict[str, Any]] = worst) -> Iterator[dict[str, Any]]:
    """As many such questions."""
    random = Random(seed)
    for _ in range(count):
        yield one(random)


def timed(of: Answerer, document: dict[str, Any]) -> tuple[float, Answer | None]:
    """Milliseconds of processor time that an answer takes; no answer where the question cannot be read."""
    start = process_time()
    try:
        answer = of.answer(document, world(), shelf=stock())
    except ProblemsFound:
        return 0.0, None
    return (process_time() - start) * 1e3, answer


def told(of: Answerer, document: dict[str, Any]) -> tuple[float, float] | None:
    """Seconds of the processor from a question's JSON to its answer's, and of these what reads the one and writes the
    other; None where the question cannot be read.
    """
    body = msgspec.json.encode(document)
    try:
        times = [process_time()]
        read = decode(body)
        times.append(process_time())
        answer = of.answer(read, world(), shelf=stock())
        times.append(process_time())
        encode(answer)
        times.append(process_time())
    except ProblemsFound:
        return None
    return times[3] - times[0], times[1] - times[0] + times[3] - times[2]


def slowest(of: Answerer, questions: Iterator[dict[str, Any]]) -> list[tuple[float, Answer, dict[str, Any]]]:
    """The questions that can be read, slowest first."""
    rows = []
    for document in questions:
        took, answer = timed(of, document)
        if answer is not None:
            rows.append((took, answer, document))
    return sorted(rows, key=lambda row: -row[0])


def groups() -> Iterator[Group]:
    """The middle of those drawn, and the slowest of them, of each sort."""
    world(), stock()
    of, count = Answerer(answerer().rulebook), 15 if SMALL else MANY // len(DRAWN)
    of.prepare()
    for name, one in DRAWN.items():
        with collected_seldom(*COLLECTED):
            # Of ten thousand answers none is kept.
            each = [took for document in drawn(count, one=one) if (took := told(of, document))]
        times, floors = (sorted(some, reverse=True) for some in zip(*each, strict=True))
        yield Group(
            f"A whole answer where hardly anything is known, {name}: {count:,} drawn at random, each asked once",
            COMMAND,
            [
                Row("ours", "the middle one", taken(times)),
                Row("ours", "the slowest", taken(times[:1])),
                Row("floor", "the JSON of the middle one read and its answer's written", taken(floors)),
            ],
            notes=[f"From JSON to JSON; {len(times):,} of them were answered, the others cannot be read."],
        )


def main() -> None:
    """Measure and print."""
    if not any(one.isdigit() for one in sys.argv[1:]):
        show(groups())
        return
    count = asked_for(COUNT)
    world(), stock()
    for prepared in (False, True):
        fresh = Answerer(answerer().rulebook)
        if prepared:
            fresh.prepare()
        first = ", ".join(f"{timed(fresh, one)[0]:.0f}" for one in drawn(FIRST))
        print(f"first questions of a {'prepared' if prepared else 'fresh'} answerer: {first} ms")
    for name, one in DRAWN.items():
        with collected_seldom(*COLLECTED):
            rows = slowest(fresh, drawn(count, one=one))
        times = [took for took, _, _ in rows]
        worst_of_all = f"99 in 100 {times[len(times) // 100]:.1f} ms, most {times[0]:.1f} ms"
        print(f"{len(rows)} questions, {name}: mean {mean(times):.1f} ms, {worst_of_all}; the slowest:")
        for took, answer, document in rows[:SLOWEST]:
            print(f"{took:8.1f} ms  {_about(answer, document)}")


def _about(answer: Answer, document: Mapping[str, Any]) -> str:
    """What a question was, and what it came to."""
    things = document.get("together", [document])
    adapters = " + ".join(str(len(thing["rig"].get("adapters", ()))) for thing in things)
    answers = [thing.answer for thing in answer.together] or [answer]
    counts = [(len(one.next), one.more_open, len(one.untried)) for one in answers]
    steps, more, untried = (sum(of) for of in zip(*counts, strict=True))
    told = f"{answer.outcome}, {steps} steps told and {more} more, {untried} not worked out"
    return f"{adapters} adapters: {told}, {answer.untried_changes} changes not tried"


if __name__ == "__main__":
    main()
