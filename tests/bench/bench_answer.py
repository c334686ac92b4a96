"""One question, bytes of JSON to bytes of an answer in words: `PYTHONPATH=tests python -m bench.bench_answer`.

A question that was not asked before is the usual one. It is measured in three ways: the first ones of a process, that
has compiled its rules and answered nothing; later ones, of which many a figure was heard in another question; and such
of which each weight and length was never told, but for sizes that goods come in. What an answer keeps are findings by
the facts they rest on, so that the second is quicker than the third. The later rounds follow on the earlier ones: how
many questions were heard before the first and before the last stands in the title. Asked again, most of an answer is
looked up: that is told in time alone.

The floor is reading the JSON of questions of the same kind and writing their answers', once made, and nothing between.
"""

import gc
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from multiprocessing import get_context
from time import process_time
from typing import Any, TypeVar

import msgspec

from bench.measuring import SMALL, Group, Row, Time, in_turn, once, show, taken
from bench.questions import questions, unheard
from fitsvc.answers.answer import encode
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.remedies import Remedies
from fitsvc.answers.shelf import EMPTY
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.bodies import decode

COUNT, BEFORE, FIRST = 40, 300, 60
ROUNDS = 5 if SMALL else 15
PROCESSES = 1 if SMALL else 3
COMMAND = "bench.bench_answer"
OPEN = "pin_to_bumper"
"""The measurement of the mounting that is left out of questions that stay open."""
T = TypeVar("T")
Asked = Callable[[int, int], list[dict[str, Any]]]


def bodies(of: Asked, seed: int, count: int = COUNT) -> list[bytes]:
    """Questions as they are sent."""
    return [msgspec.json.encode(one) for one in of(count, seed)]


def open_ones(count: int, seed: int) -> list[dict[str, Any]]:
    """Questions with one measurement left out, for which an answer says what to measure and which readings decide."""
    found = questions(count, seed)
    for one in found:
        del one["rig"]["mounting"]["facts"][OPEN]
    return found


def prepared() -> Answerer:
    """An answerer that has compiled all and answered nothing."""
    answerer = Answerer(load_rulebook(data_dir("rules")))
    answerer.prepare()
    return answerer


def told(answerer: Answerer, body: bytes) -> bytes:
    """The answer to a question, bytes to bytes."""
    return encode(answerer.answer(decode(body)))


def first(_: int) -> tuple[float, float]:
    """Seconds an answer of the first ones of a process, of the processor and of the clock."""
    answerer, sent = prepared(), bodies(questions, 1, FIRST)
    used, clock = once(lambda _: [told(answerer, body) for body in sent])
    return used / FIRST, clock / FIRST


def first_of_a_process() -> Time:
    """The same in so many processes, one after the other."""
    found = []
    for number in range(PROCESSES):
        with get_context("spawn").Pool(1) as pool:
            found.append(pool.apply(first, (number,)))
    return taken(*zip(*found, strict=True))


def steps(answerer: Answerer, fresh: Sequence[Sequence[bytes]]) -> Group:
    """Where the time of answers goes that are worked out for the first time, step after step."""
    spent: dict[str, list[float]] = {}

    def step(name: str, took: dict[str, float], work: Callable[[], T]) -> T:
        start = process_time()
        found = work()
        took[name] = took.get(name, 0.0) + process_time() - start
        return found

    for sent in fresh:
        took: dict[str, float] = {}
        gc.collect()
        gc.disable()
        for body in sent:
            document = step("the facts read", took, partial(decode, body))
            question = step("the facts read", took, partial(read_question, document, answerer.reader, NoRecords()))
            case = step("the rules judged", took, partial(answerer.engine.opened, question.case))
            verdict = step("the rules judged", took, partial(answerer.engine.evaluate, case))
            step("findings in words", took, partial(answerer._findings, question, verdict, case, "us"))
            step("limits and cautions in words", took, partial(answerer.limits.told, case, "us"))
            step("limits and cautions in words", took, partial(answerer.cautions.told, case, "us"))
            rest = partial(answerer.answer, document, judged=(question, verdict), remedies=False)
            answer = step("what next, the summary, and the above looked up", took, rest)
            if verdict.outcome == "fails":
                search = Remedies(missing=answerer.missing, reader=answerer.reader, shelf=EMPTY, system="us")
                failing = partial(answerer._remedies, search, document, question, verdict.failing, NoRecords())
                answer.remedies = step("of what fails, what would work instead", took, failing)
            step("the answer written", took, partial(encode, answer))
        gc.enable()
        for name, seconds in took.items():
            spent.setdefault(name, []).append(seconds / len(sent))
    rows = [Row("ours", name, taken(times)) for name, times in spent.items()]
    note = "Together more than an answer takes: what is put into words is looked up once more for the rest."
    return Group("Where the time of an answer goes that was never asked for", COMMAND, rows, notes=[note])


def groups() -> Iterator[Group]:
    """What was not asked before, and what was."""
    answerer, apart = prepared(), prepared()
    for body in bodies(questions, 1, BEFORE):
        told(answerer, body)

    def each(of: Sequence[bytes]) -> None:
        for body in of:
            told(answerer, body)

    def asking(of: Asked) -> tuple[Time, Time]:
        fresh = {number: bodies(of, 100 + number) for number in range(-1, ROUNDS)}
        made = [(body, apart.answer(decode(body))) for body in bodies(of, 2)]

        def floor(_: int) -> None:
            for body, answer in made:
                decode(body)
                encode(answer)

        ours, least = in_turn(ROUNDS, COUNT, lambda number: each(fresh[number]), floor)
        return ours, least

    later, least = asking(questions)
    strange, least_then = asking(unheard)
    unsure, least_open = asking(open_ones)
    sent = bodies(questions, 2)
    (again,) = in_turn(ROUNDS, COUNT, lambda _: each(sent))
    row, under = partial(Row, "ours", "fitsvc"), "its JSON read and the answer's written"
    title = "A whole answer in words, from JSON to JSON: "
    yield Group(
        f"{title}the first {FIRST} questions of a process",
        COMMAND,
        [row(first_of_a_process()), Row("floor", under, least)],
    )
    yield Group(
        f"{title}never asked, after {BEFORE + COUNT} to {BEFORE + ROUNDS * COUNT} others of the kind",
        COMMAND,
        [row(later), Row("floor", under, least)],
    )
    yield Group(
        f"{title}never asked, each weight and length a new one but for nominal sizes",
        COMMAND,
        [row(strange), Row("floor", under, least_then)],
    )
    yield Group(
        f"{title}never asked, one measurement not known and what to measure told",
        COMMAND,
        [row(unsure), Row("floor", under, least_open)],
    )
    yield steps(answerer, [bodies(questions, 500 + number) for number in range(ROUNDS)])
    yield Group(f"{title}asked again", COMMAND, [row(again)], again=True)


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
