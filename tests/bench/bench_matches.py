"""A page of goods as one question against the same singly: `PYTHONPATH=tests python -m bench.bench_matches`.

A thousand made-up items in a store on fifty rigs, with what the service does for each between the bytes of a question
and those of its reply, HTTP apart: the matrix of outcomes and codes; a share of its pairs one by one, by outcome and
codes and in all words. Each pair is asked about singly for the first time. What the three tell is not the same, so they
stand beside each other without a ratio.
"""

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec

from bench.measuring import SMALL, Group, Row, Time, once, show, taken
from bench.questions import questions
from bench.stored_catalogue import store
from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.app import create_app
from fitsvc.service.asking import BRIEF, told_of
from fitsvc.service.context import service_in
from fitsvc.service.matches import matched
from fitsvc.store.database import Database

ITEMS, RIGS, SINGLY = (200, 20, 100) if SMALL else (1_000, 50, 500)
COMMAND = "bench.bench_matches"
LOAD = {"facts": {"bikes": 2, "bike_weight": "40 lb"}}


def a_pair(count: int, work: Callable[[], object]) -> Time:
    """What a pair takes, of one run."""
    used, clock = once(lambda _: work())
    return taken([used / count], [clock / count])


def groups() -> Iterator[Group]:
    """A page of goods as one question, and its pairs singly."""
    rulebook = load_rulebook(data_dir("rules"))
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        store(url, rulebook, ITEMS)
        database = Database(url)
        service = service_in(create_app(database, Answerer(rulebook), Path(folder) / "audits"))
        service.answerer.prepare()
        service.selections.index.held()
        rigs = [one["rig"] for one in questions(RIGS)]
        skus = [f"SYN-{row:07}" for row in range(ITEMS)]
        body = msgspec.json.encode({"rigs": rigs, "skus": skus, "load": LOAD})
        pairs = [(rigs[i % RIGS], skus[i * 7 % ITEMS]) for i in range(2 * SINGLY)]
        asked = [msgspec.json.encode({"rig": r, "accessory": {"sku": s}, "load": LOAD}) for r, s in pairs]

        def singly(some: list[bytes], include: frozenset[str] | None) -> int:
            return sum(len(told_of(service, msgspec.json.decode(one), "us", include)[0]) for one in some)

        sizes: dict[str, int] = {}
        query = {"detail": "compact", "units": "us"}
        matrix = a_pair(
            ITEMS * RIGS, lambda: sizes.update(matrix=len(matched(service, msgspec.json.decode(body), query)))
        )
        brief = a_pair(SINGLY, lambda: sizes.update(brief=singly(asked[:SINGLY], BRIEF - {"rulebook"})))
        words = a_pair(SINGLY, lambda: sizes.update(words=singly(asked[SINGLY:], None)))
        database.close()
    told = {"matrix": ITEMS * RIGS, "brief": SINGLY, "words": SINGLY}
    bytes_ = ", ".join(f"{name} {sizes[name] / count:,.0f}" for name, count in told.items())
    yield Group(
        f"A pair of a rig and an item of a store, {RIGS} rigs and {ITEMS:,} items, never asked",
        COMMAND,
        [
            Row("ours", "singly, in all words", words),
            Row("ours", "singly, outcome and codes", brief),
            Row("ours", "one question for all pairs, outcome and codes", matrix),
        ],
        notes=[f"Bytes a pair: {bytes_}."],
    )


def main() -> None:
    """Measure and print."""
    show(groups())


if __name__ == "__main__":
    main()
