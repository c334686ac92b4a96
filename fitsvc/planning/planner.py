"""Planning a rig: a vehicle and wishes → the smallest sets of parts from the shelf that make all of them work.

The sets are found by `search`; what `telling` tells has been answered in full, as a client would by sending each
question. No constraint solver is used: plain search over folded columns answers well within a second on ten
thousand parts (`tests/bench/bench_plans.py`), and what a solver would need, every pair of parts judged, is the
work itself.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from threading import Lock

import numpy as np

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords, Records, Stored
from fitsvc.answers.shelf import EMPTY, Item, Shelf
from fitsvc.document import Json
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.truth import YES
from fitsvc.planning.parts import Site
from fitsvc.planning.plan import Plan
from fitsvc.planning.reading import Wishes, read_wishes
from fitsvc.planning.search import MOST_WORK, Search
from fitsvc.planning.telling import PlanTelling
from fitsvc.planning.wares import SOLD, Fold, Kept, Wares
from fitsvc.rulebook.outcomes import Outcome


class Planner:
    """Plans rigs by an answerer's rulebook, each with `most` work; safe to share between threads, which take turns."""

    def __init__(self, answerer: Answerer, most: int = MOST_WORK) -> None:
        self.answerer, self._most = answerer, most
        self._kept = Kept(answerer.columns)
        self._wares: Wares | None = None
        self._lock = Lock()

    def prepare(self) -> None:
        """Lay the rules out over all that is sold, which the first plan would wait for."""
        for subject in SOLD:
            for adapters in (0, 1):
                self.answerer.columns.program(frozenset((subject,)), adapters)

    def plan(
        self, document: Json, records: Records | None = None, shelf: Shelf | None = None, system: System = "us"
    ) -> Plan:
        """Plan for a document of wishes; ProblemsFound when it cannot be read."""
        records, shelf = records or NoRecords(), shelf or EMPTY
        wanted = read_wishes(document, self.answerer.engine, self.answerer.reader, records)
        sites = list(self._sites(wanted, records, shelf))
        with self._lock:
            if self._wares is None or not self._wares.are_of(shelf):
                self._wares = Wares(self._kept, shelf)
            search = Search(
                engine=self.answerer.engine,
                reader=self.answerer.reader,
                wares=self._wares,
                wanted=wanted,
                sites=sites,
                together=self.answerer.together,
                left=self._most,
            )
            search.run()
        return PlanTelling(self.answerer.spoken, search, records, system).plan()

    def beside(self, case: Case, subject: str, shelf: Shelf, most: int) -> list[tuple[Item, Outcome]]:
        """What is sold as a subject and does best beside what a case has already; none that leaves more open."""
        fold = Fold(self._kept.columns, [self._kept.of(shelf, subject)])
        rows = fold.rows(fold.judged(case))
        least = min(rows.opens[rows.works], default=0)
        best = np.flatnonzero(rows.works & (rows.opens == least))[:most].tolist()
        return [(fold.items[place], "conditional" if least else "works") for place in best]

    def _sites(self, wanted: Wishes, records: Records, shelf: Shelf) -> Iterator[Site]:
        """The receivers to choose from: the rig's own, or those that mount on the vehicle and can be read."""
        rigs: list[tuple[Mapping[str, Json], Stored | None]] = [(wanted.rig, None)]
        if wanted.vehicle is not None:
            with_vehicle = {**wanted.rig, "vehicle": {**wanted.rig["vehicle"], "id": wanted.vehicle}}
            pairs = sorted(shelf.receivers_for(wanted.vehicle), key=lambda pair: (pair[1].key, pair[0].key))
            rigs = [
                ({**with_vehicle, "receiver": {"id": receiver.key}, "mounting": {"id": mounting.key}}, receiver)
                for mounting, receiver in pairs
            ]
        number, fitted = 0, self.answerer.rulebook.vocabulary.serving("fitted")
        for rig, receiver in rigs:
            try:
                plain, *cases = (self._case(rig, parts, records) for parts in ({}, *(w.parts for w in wanted.wishes)))
            except ProblemsFound:
                if receiver is None:
                    raise
                continue
            there = receiver is None or any(plain.facts.get(name) == YES for name in fitted)
            yield Site(number=number, rig=rig, receiver=receiver, there=there, plain=plain, cases=tuple(cases))
            number += 1

    def _case(self, rig: Mapping[str, Json], parts: Mapping[str, Json], records: Records) -> Case:
        """The rig with a wish's parts, the accessory left open."""
        case = read_question({"rig": rig, **parts, "accessory": {}}, self.answerer.reader, records).case
        return replace(case, present=case.present - {"accessory"})
