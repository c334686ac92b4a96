"""A page of goods as one question against the same singly: `PYTHONPATH=tests python -m bench.bench_matches`.

A thousand made-up items in a store on fifty rigs, with what the service does for each between the bytes of a question
and those of its reply, HTTP apart: the matrix of outcomes and codes; a share of its pairs one by one, by outcome and
codes and in all words. Each pair is asked about for the first time. In processor time, which other work on the machine
does not stretch.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path
from time import process_time
from typing import Any

import msgspec

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

ITEMS, RIGS, SINGLY = 1_000, 50, 500
LOAD = {"facts": {"bikes": 2, "bike_weight": "40 lb"}}


def per_second(count: int, work: Callable[[], object]) -> float:
    """Pairs a second of one run."""
    start = process_time()
    work()
    return count / (process_time() - start)


def main() -> None:
    """Measure and print."""
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
        pairs = [(rigs[i % RIGS], skus[i * 7 % ITEMS]) for i in range(SINGLY)]
        asked = [msgspec.json.encode({"rig": r, "accessory": {"sku": s}, "load": LOAD}) for r, s in pairs]

        def singly(include: frozenset[str] | None) -> int:
            return sum(len(told_of(service, msgspec.json.decode(one), "us", include)[0]) for one in asked)

        sizes: dict[str, Any] = {}
        query = {"detail": "compact", "units": "us"}
        matrix = per_second(
            ITEMS * RIGS, lambda: sizes.update(matrix=len(matched(service, msgspec.json.decode(body), query)))
        )
        brief = per_second(SINGLY, lambda: sizes.update(brief=singly(BRIEF - {"rulebook"})))
        words = per_second(SINGLY, lambda: sizes.update(words=singly(None)))
        database.close()
    print(f"{ITEMS} items on {RIGS} rigs, {SINGLY} of the pairs singly, each for the first time")
    print(f"answers in all words   {words:9.0f} pairs/s  {sizes['words'] / SINGLY:7.0f} bytes a pair")
    print(
        f"outcome and codes      {brief:9.0f} pairs/s  {sizes['brief'] / SINGLY:7.0f} bytes {brief / words:8.1f} x"
        "  (at least 1.5)"
    )
    print(
        f"matrix                 {matrix:9.0f} pairs/s  {sizes['matrix'] / ITEMS / RIGS:7.0f} bytes "
        f"{matrix / brief:8.1f} x the line above (at least 25)"
    )


if __name__ == "__main__":
    main()
