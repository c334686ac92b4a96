"""Readers page through a selection while writers change the catalogue: nothing repeated, skipped or wrong."""

import gc
import json
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from itertools import count
from random import Random
from threading import Barrier, Event
from time import monotonic, sleep
from typing import Any
from weakref import ref

import pytest
from demo_world import answerer, world
from effort import NIGHTLY
from numpy import flatnonzero
from sqlmodel import col, select
from waiting import LONGEST, until

from fitsvc.answers.answer import Answer
from fitsvc.inventory.changes import Gap, Watermark, changed_since, seen_all
from fitsvc.selection import index as selection_index
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import Sort
from fitsvc.selection.selector import Selection, Selector, read_rig
from fitsvc.selection.shelved import shelved
from fitsvc.store.creation import bulk_create, create_record
from fitsvc.store.database import Database
from fitsvc.store.errors import Busy
from fitsvc.store.folding import current_facts
from fitsvc.store.observations import Provenance, observation_row
from fitsvc.store.records import Draft, add_observation, delete_record, replace_record
from fitsvc.store.tables import Observation, now

QUESTION: dict[str, Any] = {
    "rig": {"id": sorted(world().rigs)[1]},
    "load": {"facts": {"bikes": 2, "bike_weight": "40 lb", "cargo_weight": "150 lb"}},
}
OUTCOMES = ("works", "conditional", "undetermined", "fails")
SIZES = ("1-1/4 in", "2 in", "2-1/2 in", None)
SKUS = sorted(one.key for one in world().of("accessory"))[:90]
CHANGING, STEADY = SKUS[::3], sorted({*SKUS} - {*SKUS[::3]})
READINGS = 4
A_SECOND, BATCH, WEIGHTS = 1_000, 20, ("30 lb", "60 lb", "90 lb")
LASTING = 60.0 if NIGHTLY else 0.5
MEASURED = Provenance(kind="measured")


@pytest.fixture
def stocked(database: Database) -> Database:
    """Give a database with some of the demo world's accessories."""
    with database.session() as session:
        wares = [one for one in world().of("accessory") if one.key in SKUS]
        bulk_create(session, "accessory", (Draft(key=one.key, label=one.label, facts=one.facts) for one in wares))
    return database


@contextmanager
def writing(database: Database) -> Iterator[None]:
    """Let one writer change accessories, one a transaction, for as long as the block takes."""
    stop = Event()

    def write() -> None:
        rng = Random(1)
        for number in count():
            if stop.is_set():
                return
            with database.session() as session:
                facts = {"shank": rng.choice(SIZES), "weight": f"{rng.randint(20, 90)} lb"}
                add_observation(session, "accessory", rng.choice(CHANGING), facts, MEASURED)
                if number % 5 == 0 and number < 250:  # or a slow reader would never come to an end
                    create_record(
                        session, "accessory", Draft(key=f"{rng.choice('AMZ')}-NEW-{number}", label="New", facts=facts)
                    )
                if number % 7 == 6:
                    label = rng.choice(("Aa", "Mm", "Zz"))
                    replace_record(session, "accessory", rng.choice(CHANGING), Draft(label=label, facts=facts))
            if number % 10 == 9:
                gone = f"GONE-{number}"
                with database.session() as session:
                    create_record(session, "accessory", Draft(key=gone, label="Gone soon", facts=facts))
                with database.session() as session:
                    delete_record(session, "accessory", gone)
            sleep(0.02)  # a few between two pages; a thousand a second are changed below

    with ThreadPoolExecutor(1) as pool:
        writer = pool.submit(write)
        try:
            yield
        finally:
            stop.set()
        writer.result()


def read_through(
    index: SelectionIndex, sort: Sort, limit: int, once_begun: Callable[[], object] = bool
) -> list[Selection]:
    """Return the pages of one reader, each asked for when the one before was there; it may wait after the first."""
    selector, rig = Selector(answerer()), read_rig(QUESTION, answerer(), world())
    pages, wanted = list[Selection](), SelectionQuery(question={}, sort=sort, limit=limit)
    while not pages or pages[-1].next:
        pages.append(selector.select(index.held(), rig, replace(wanted, after=pages[-1].next if pages else None)))
        if len(pages) == 1:
            once_begun()
        sleep(0.005)
    return pages


class History:
    """All that was told of each accessory, in order, and what followed from it at any time."""

    def __init__(self, database: Database) -> None:
        self._told: dict[str, list[Observation]] = {}
        with database.session() as session:
            for one in session.exec(select(Observation).order_by(col(Observation.sequence))):
                self._told.setdefault(one.record_id, []).append(one)
        self._facts: dict[tuple[str, int], dict[str, Any]] = {}

    def _until(self, sku: str, sequence: int) -> int:
        """How many of the things told of an accessory count: none of one that was deleted last."""
        told = self._told.get(sku, [])
        until = bisect_right(told, sequence, key=lambda one: one.sequence or 0)
        return 0 if until and told[until - 1].note == "record deleted" else until

    def items(self, sequence: int) -> int:
        """How many accessories there were when an observation was the newest."""
        return sum(self._until(sku, sequence) > 0 for sku in self._told)

    def facts(self, sku: str, sequence: int) -> dict[str, Any] | None:
        """Return an accessory's facts as they were then; None if there was none."""
        until = self._until(sku, sequence)
        if until and (sku, until) not in self._facts:
            self._facts[sku, until] = current_facts(self._told[sku][:until]).facts
        return self._facts[sku, until] if until else None


@cache
def answer_to(facts: str) -> Answer:
    """Return the answer on the rig with an accessory of some facts."""
    return answerer().answer({**QUESTION, "accessory": {"facts": json.loads(facts)}}, world())


def assert_as_answered(page: Selection, told: History) -> None:
    """Hold a page to the answers at the revision it names, and its number of items to those there were."""
    sequence = int(page.revision.partition("-")[0])
    for one in page.items:
        facts = told.facts(one.sku, sequence)
        assert facts is not None, (one.sku, page.revision)
        answer = answer_to(json.dumps(facts, sort_keys=True))
        assert one.outcome == answer.outcome, (one.sku, page.revision)
        if one.codes and answer.findings[0].result != "passes":
            reason = answer.summary if answer.either_way else answer.findings[0].reason
            assert (one.codes[0], one.reason) == (answer.findings[0].rule, reason)
    assert page.counts.items == page.matching == told.items(sequence)


@pytest.mark.parametrize("sort", ["sku", "label"])
def test_pages_are_right_while_a_writer_changes_items(stocked: Database, sort: Sort) -> None:
    """What stays as it is comes once, in order, and every page is true at the revision that it names."""
    index = SelectionIndex(answerer(), stocked, most_loose=12)

    def wait_for_a_change() -> None:
        revision = index.held().revision
        until(lambda: index.held().revision != revision, "the writer")

    with writing(stocked), ThreadPoolExecutor(2) as pool:
        readers = [pool.submit(read_through, index, sort, 5 + number, wait_for_a_change) for number in range(READINGS)]
        readings = [reader.result() for reader in readers]
    told = History(stocked)
    for pages in readings:
        assert len({page.revision for page in pages}) > 1  # the writer was at work
        seen = Counter(one.sku for page in pages for one in page.items)
        assert [seen[sku] for sku in STEADY] == [1] * len(STEADY)
        keys = [
            (OUTCOMES.index(one.outcome), one.label.casefold() if sort == "label" else "", one.sku)
            for page in pages
            for one in page.items
        ]
        assert keys == sorted(set(keys))
        for page in pages:
            assert_as_answered(page, told)


def test_changes_that_end_in_another_order_are_all_seen(stocked: Database) -> None:
    """Of writers at the same time, one whose change is recorded first may end last."""
    index = SelectionIndex(answerer(), stocked, most_loose=12)
    index.held()
    done = Event()

    def write(number: int) -> None:
        rng = Random(number)
        for sku in SKUS[number::3]:
            with stocked.session() as session:
                facts = {"weight": f"{rng.randint(20, 90)} lb"}
                add_observation(session, "accessory", sku, facts, MEASURED)
                sleep(rng.choice((0.0, 0.01)))

    def read() -> None:
        while not done.is_set():
            index.held()
            sleep(0.001)

    with ThreadPoolExecutor(4) as pool:
        reader = pool.submit(read)
        try:
            for writer in [pool.submit(write, number) for number in range(3)]:
                writer.result()
        finally:
            done.set()
        reader.result()
    followed, fresh = index.held(), SelectionIndex(answerer(), stocked).held()
    assert followed.revision == fresh.revision
    assert weights(followed) == weights(fresh)


def weights(held: Any) -> dict[str, Any]:
    """Return the weights of what an index holds."""
    items = [part.segment.item(int(row)) for part in held.parts for row in flatnonzero(part.alive)] + list(held.loose)
    return {item.sku: item.values.get("accessory.weight") for item in items}


def observe(database: Database, *sequences: int) -> None:
    """Store observations under given numbers, as if they ended in this order."""
    for sequence in sequences:
        with database.session() as session:
            row = observation_row("accessory", f"SKU-{sequence}", {}, MEASURED, now())
            session.add(Observation(**row, sequence=sequence))


def test_a_number_passed_over_is_looked_for_again(database: Database) -> None:
    """Observations that appear below the newest one are found, each once, wherever they lie."""
    observe(database, 10, 13)
    with database.session() as session:
        seen = seen_all(session)
    assert [gap[:2] for gap in seen.gaps] == [(1, 9), (11, 12)]
    for appearing, found, gaps in (
        ((20,), ["SKU-20"], [(1, 9), (11, 12), (14, 19)]),
        ((16, 5, 12), ["SKU-5", "SKU-12", "SKU-16"], [(1, 4), (6, 9), (11, 11), (14, 15), (17, 19)]),
        ((11, 21), ["SKU-11", "SKU-21"], [(1, 4), (6, 9), (14, 15), (17, 19)]),
    ):
        observe(database, *appearing)
        with database.session() as session:
            seen, changed = changed_since(session, seen, "accessory")
            assert changed_since(session, seen, "accessory")[1] == []
        assert changed == found
        assert [gap[:2] for gap in seen.gaps] == gaps


def test_many_gaps_are_joined_and_old_ones_let_go(database: Database) -> None:
    """However many numbers were never stored, few spans are looked for, and none for ever."""
    observe(database, *range(2, 400, 2))
    with database.session() as session:
        seen = seen_all(session)
        assert len(seen.gaps) == 50
        assert (seen.gaps[0].low, seen.gaps[-1].high) == (1, 397)
        long_ago = Watermark(seen.newest, tuple(Gap(gap.low, gap.high, 0.0) for gap in seen.gaps))
        assert changed_since(session, long_ago, "accessory")[0] == Watermark(seen.newest)


@contextmanager
def hurrying(database: Database, seconds: float, changed: list[int], begin: Barrier) -> Iterator[Event]:
    """Let one writer change 1,000 accessories a second, twenty a transaction, and tell when it is done.

    It begins when the readers have. It changes a batch when it is due, and as many as a slow machine has fallen behind,
    but none twice at once.
    """
    ended = Event()

    def write() -> None:
        begin.wait(LONGEST)
        rng, start = Random(2), monotonic()
        for number in range(int(seconds * A_SECOND / BATCH)):
            sleep(max(0.0, start + number * BATCH / A_SECOND - monotonic()))
            with database.session() as session:
                for sku in rng.sample(CHANGING, BATCH):
                    facts = {"shank": rng.choice(SIZES), "weight": rng.choice(WEIGHTS)}
                    add_observation(session, "accessory", sku, facts, MEASURED)
            changed.append(BATCH)
        changed.append(int(monotonic() - start))

    def run() -> None:
        try:
            write()
        finally:
            ended.set()

    with ThreadPoolExecutor(1) as pool:
        writer = pool.submit(run)
        yield ended
    writer.result()


@pytest.mark.parametrize("waits", [True, False])
def test_pages_are_right_while_a_thousand_items_a_second_change(
    stocked: Database, waits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readers of one service page through over and over: what stays comes once, each page is true at its revision.

    That is so whether each waits for what has changed or a thread takes it in. `FITSVC_PROFILE=nightly` goes on for
    a minute.
    """
    monkeypatch.setattr(selection_index, "_LONG", 1e-9)
    index = SelectionIndex(answerer(), stocked, most_loose=12, waits=waits)
    readings, changed, begin = list[list[Selection]](), list[int](), Barrier(3)

    def read(number: int, ended: Event) -> list[list[Selection]]:
        sort: Sort = "label" if number % 2 else "sku"
        found = [read_through(index, sort, 7 + number, lambda: begin.wait(LONGEST))]
        while not ended.is_set():
            found.append(read_through(index, sort, 7 + number))
        return found

    with hurrying(stocked, LASTING, changed, begin) as ended, ThreadPoolExecutor(2) as pool:
        for reader in [pool.submit(read, number, ended) for number in range(2)]:
            readings += reader.result()
    index.settle()
    assert sum(changed[:-1]) == int(LASTING * A_SECOND)
    told = History(stocked)
    assert len({page.revision for pages in readings for page in pages}) > 1
    for pages in readings:
        seen = Counter(one.sku for page in pages for one in page.items)
        assert [seen[sku] for sku in STEADY] == [1] * len(STEADY)
        for page in pages:
            assert_as_answered(page, told)


def test_what_a_thread_takes_in_is_told_soon_and_never_goes_back(
    stocked: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After many changes the next are told a moment later, to whoever asks on; what is too old is told to none."""
    monkeypatch.setattr(selection_index, "_LONG", 1e-9)
    index = SelectionIndex(answerer(), stocked, most_loose=0, waits=False)

    def newest() -> int:
        return int(index.held().revision.partition("-")[0])

    seen = [newest()]
    for _ in range(5):
        with stocked.session() as session:
            told = add_observation(session, "accessory", CHANGING[0], {"weight": "30 lb"}, MEASURED)[0].sequence

        def caught_up(told: int | None = told) -> bool:
            seen.append(newest())
            return seen[-1] == told

        until(caught_up, "what has changed to be told")
    index.settle()
    assert seen == sorted(seen)


def test_nobody_waits_for_the_thread_that_takes_in_what_has_changed(
    stocked: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it is at work the store is told as it was, at the revision of then."""
    for name, seconds in (("_LONG", 1e-9), ("_PAUSE", 0.0), ("_LATE", LONGEST), ("_OLDEST", 10 * LONGEST)):
        monkeypatch.setattr(selection_index, name, seconds)
    index = SelectionIndex(answerer(), stocked, most_loose=0, waits=False)
    index.held()
    with stocked.session() as session:
        add_observation(session, "accessory", CHANGING[0], {"weight": "30 lb"}, MEASURED)
    before, begun, go_on, follow = index.held().revision, Event(), Event(), index._follow

    def held_up(session: Any) -> tuple[int, bool]:
        begun.set()
        assert go_on.wait(LONGEST)
        return follow(session)

    monkeypatch.setattr(index, "_follow", held_up)
    with stocked.session() as session:
        add_observation(session, "accessory", CHANGING[0], {"weight": "60 lb"}, MEASURED)
    with ThreadPoolExecutor(1) as pool:
        try:
            until(lambda: [pool.submit(index.held).result(LONGEST), begun.is_set()][1], "the thread")
            assert {pool.submit(index.held).result(LONGEST).revision for _ in range(3)} == {before}
        finally:
            go_on.set()
    index.settle()
    assert until(lambda: index.held().revision != before, "what has changed")


def test_what_is_held_no_longer_goes_at_once(stocked: Database) -> None:
    """Nothing of a segment waits for the collector of garbage: so much of it is made while a catalogue changes."""
    index, rig = SelectionIndex(answerer(), stocked, most_loose=0), read_rig(QUESTION, answerer(), world())
    Selector(answerer()).select(index.held(), rig, SelectionQuery(question={}))
    shelved(index.held())
    (part,) = index.held().parts
    segment = part.segment
    gone: list[ref[Any]] = [ref(segment), ref(segment.catalogue)]
    gone.append(ref(answerer().columns.index(segment.catalogue, 0)))
    del part, segment
    enabled = gc.isenabled()
    gc.disable()
    try:
        with stocked.session() as session:
            for sku in SKUS:
                add_observation(session, "accessory", sku, {"weight": "30 lb"}, MEASURED)
        index.held()
        assert [one() for one in gone] == [None, None, None]
    finally:
        if enabled:
            gc.enable()


def test_a_store_that_is_gone_is_told_once_what_is_held_is_old(
    stocked: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thread that cannot follow says so in the log; those who ask are told of it when what is held is too old."""
    monkeypatch.setattr(selection_index, "_LONG", 1e-9)
    monkeypatch.setattr(selection_index, "_OLDEST", 0.2)
    index = SelectionIndex(answerer(), stocked, most_loose=0, waits=False)
    index.held()
    with stocked.session() as session:
        add_observation(session, "accessory", CHANGING[0], {"weight": "30 lb"}, MEASURED)
    index.held()

    def fail(*_: Any) -> Any:
        raise Busy("the database is busy; try again")

    monkeypatch.setattr(selection_index, "steady", fail)
    with pytest.raises(Busy):
        until(lambda: not index.held(), "the error")
    index.settle()
