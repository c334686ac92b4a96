"""Selections say of every accessory what an answer says, in order, whatever the page, filter or form of the index."""

from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from threading import Event
from typing import Any

import pytest
from demo_world import answerer, world
from numpy import flatnonzero
from waiting import LONGEST

from fitsvc.answers.answer import Answer
from fitsvc.answers.records import Stored
from fitsvc.answers.shelf import read_items
from fitsvc.engine.columns.kernel import Columns, Judged
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.facts import Case
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import case_of
from fitsvc.selection.selector import Selection, Selector, read_rig
from fitsvc.store.creation import bulk_create, create_record
from fitsvc.store.database import Database
from fitsvc.store.records import Draft, delete_record, replace_record
from fitsvc.subjects import SOLD

OUTCOMES = ("works", "conditional", "undetermined", "fails")
LOADED = {"facts": {"bikes": 2, "bike_weight": "40 lb", "cargo_weight": "150 lb"}}
BESIDE = {"facts": {"hangs_on": "rear_receiver", "things": 1, "weight": "120 lb", "tows": True, "rear_end": "30 in"}}
Stocked = Callable[[int], SelectionIndex]


def questions() -> Iterator[dict[str, Any]]:
    """Give rigs with and without loads and adapters, one beside a trailer, and one of which nothing is known."""
    for number, (key, rig) in enumerate(world().rigs.items()):
        yield {"rig": {"id": key}, **({"load": LOADED} if number % 2 else {})}
        yield {
            "rig": {
                **rig["rig"],
                "adapters": [{"facts": {"kind": "extension", "fits_opening": "2 in", "offers_opening": "2 in"}}],
            },
            "load": LOADED,
        }
    yield {"rig": {"id": next(iter(world().rigs))}, "load": LOADED, "beside": BESIDE}
    yield {"rig": {}}


@cache
def rigs() -> list[tuple[dict[str, Any], Case]]:
    """Return each question of a selection, with its rig read."""
    return [(document, read_rig(document, answerer(), world())) for document in questions()]


@pytest.fixture
def stocked(database: Database) -> Stocked:
    """Give a maker of indexes over the demo world's wares, folded when so many are loose."""
    sold = [one for one in world().records if one.subject in SOLD]
    with database.session() as session:
        drafts = (
            Draft(key=one.key, label=one.label, facts=one.facts, sold_as=one.subject)  # type: ignore[arg-type]  # a subject's name out of a list
            for one in sold
        )
        bulk_create(session, "accessory", drafts)
    return lambda most_loose: SelectionIndex(answerer(), database, most_loose)


def accessories() -> list[Stored]:
    """Return the demo world's accessories."""
    return world().of("accessory")


@cache
def answer_of(number: int, sku: str) -> Answer:
    """Return the answer on one of the rigs with an accessory."""
    return answerer().answer({**rigs()[number][0], "accessory": {"sku": sku}}, world())


def whole(index: SelectionIndex, rig: Case, wanted: SelectionQuery) -> list[Selection]:
    """Return every page of a selection."""
    selector, pages = Selector(answerer()), list[Selection]()
    while not pages or pages[-1].next:
        pages.append(selector.select(index.held(), rig, replace(wanted, after=pages[-1].next if pages else None)))
    return pages


def first_reason(answer: Answer) -> tuple[str, str]:
    """Return the code and the words of what decides an answer: of a carrier, first what it may carry."""
    carried = f"{answer.allowance.told[0].upper()}{answer.allowance.told[1:]}." if answer.allowance else ""
    if answer.outcome == "works":
        return "", carried
    deciding = answer.findings[0] if answer.findings and answer.findings[0].result != "passes" else None
    if deciding:
        names = {answer.allowance.allowance} if answer.allowance else set()
        told_by = [rule for one in answerer().rulebook.allowances if one.name in names for rule in one.told_by]
        return deciding.rule, carried if deciding.rule in told_by else deciding.reason
    return answer.needs[0]["need"], answer.needs[0]["because"]


@pytest.mark.parametrize("number", range(len(rigs())))
def test_every_accessory_is_told_as_an_answer_tells_it(stocked: Stocked, number: int) -> None:
    """Outcome, deciding code and reason are those of a question about the one accessory."""
    (page,) = whole(stocked(10), rigs()[number][1], SelectionQuery(question={}, limit=1000))
    assert [one.sku for one in page.items] == sorted(
        (one.key for one in accessories()),
        key=lambda sku: (OUTCOMES.index(answer_of(number, sku).outcome), sku),
    )
    for one in page.items:
        answer = answer_of(number, one.sku)
        assert (one.outcome, *(one.codes[:1] or [""]), one.reason) == (answer.outcome, *first_reason(answer)), one.sku
        assert one.allowance == answer.allowance


def test_a_rig_at_hand_does_not_wait_for_another(stocked: Stocked, monkeypatch: pytest.MonkeyPatch) -> None:
    """While one rig is judged with the whole catalogue, pages of another that has been are given."""
    held, selector, wanted = stocked(10).held(), Selector(answerer()), SelectionQuery(question={}, text="rack")
    judge, begun, go_on, (_, at_hand), (_, cold) = Columns.judge, Event(), Event(), *rigs()[1:3]
    page = selector.select(held, at_hand, wanted)

    def slow(columns: Columns, catalogue: Catalogue, rig: Case) -> Judged:
        begun.set()
        assert go_on.wait(LONGEST)
        return judge(columns, catalogue, rig)

    monkeypatch.setattr(Columns, "judge", slow)
    with ThreadPoolExecutor(2) as pool:
        waiting = pool.submit(selector.select, held, cold, wanted)
        try:
            assert begun.wait(LONGEST)
            assert pool.submit(selector.select, held, at_hand, wanted).result(LONGEST) == page
            assert not waiting.done()
        finally:
            go_on.set()
        assert waiting.result(LONGEST).counts.items == page.counts.items


@pytest.mark.parametrize("number", range(len(rigs())))
def test_counts_are_over_all_accessories(stocked: Stocked, number: int) -> None:
    """By outcome, by kind and by what decides, they are what counting the answers gives."""
    index = stocked(10)
    counts = whole(index, rigs()[number][1], SelectionQuery(question={}, outcomes=frozenset({"works"})))[0].counts
    answers = {one.key: answer_of(number, one.key) for one in accessories()}
    outcomes = Counter[str](answer.outcome for answer in answers.values())
    assert {name: getattr(counts.outcomes, name) for name in OUTCOMES} == {name: outcomes[name] for name in OUTCOMES}
    kinds = Counter((one.facts.get("kind", "unknown"), answers[one.key].outcome) for one in accessories())
    told = {(kind, name): getattr(row, name) for kind, row in counts.kinds.items() for name in OUTCOMES}
    assert {pair: count for pair, count in told.items() if count} == kinds
    deciding = Counter((first_reason(one)[0], one.outcome) for one in answers.values() if one.outcome != "works")
    assert {(one.code, one.outcome): one.items for one in counts.decided_by} == deciding
    assert (counts.items, counts.unreadable) == (len(answers), 0)


@pytest.mark.parametrize("sort", ["sku", "label"])
@pytest.mark.parametrize("limit", [1, 3, 7])
def test_pages_put_together_are_the_whole(stocked: Stocked, sort: Any, limit: int) -> None:
    """Whatever the size of pages, nothing is repeated or missing, and the order is kept."""
    index = stocked(10)
    for _, rig in rigs()[::4]:
        (all_,) = whole(index, rig, SelectionQuery(question={}, sort=sort, limit=1000))
        pages = whole(index, rig, SelectionQuery(question={}, sort=sort, limit=limit))
        assert [one for page in pages for one in page.items] == all_.items
        assert all(page.items for page in pages)  # the last one that is full has none after it
        assert {page.matching for page in pages} == {len(all_.items)} == {all_.counts.items}
        keys = [
            (OUTCOMES.index(one.outcome), one.label.casefold() if sort == "label" else "", one.sku)
            for one in all_.items
        ]
        assert keys == sorted(keys)


@pytest.mark.parametrize("limit", [7, 1000])
@pytest.mark.parametrize("most_loose", [0, 10, 1000])
def test_least_left_to_do_comes_first(stocked: Stocked, most_loose: int, limit: int) -> None:
    """By what is left to do the pages are in the order of every item judged by itself, folded and loose alike."""
    index, engine, reader = stocked(most_loose), answerer().engine, answerer().reader
    for _, rig in rigs()[::4]:
        pages = whole(index, rig, SelectionQuery(question={}, sort="left", limit=limit))
        found = [one.sku for page in pages for one in page.items]
        items = read_items(reader, accessories())
        verdicts = {item.sku: engine.evaluate(case_of(rig, item, reader)) for item in items}
        keys = {sku: (OUTCOMES.index(one.outcome), one.left_to_do, sku) for sku, one in verdicts.items()}
        assert found == sorted(keys, key=keys.__getitem__)


@pytest.mark.parametrize("most_loose", [0, 10, 1000])
def test_filters_leave_what_they_name(stocked: Stocked, most_loose: int, database: Database) -> None:
    """By kind, outcome and words of the label or SKU, of folded and of loose items alike."""
    index = stocked(most_loose)
    index.held()
    with database.session() as session:
        for one in accessories()[::3]:
            replace_record(session, "accessory", one.key, Draft(label=f"{one.label} Trug", facts=one.facts))
    rig = rigs()[1][1]
    (all_,) = whole(index, rig, SelectionQuery(question={}, limit=1000))
    for kinds, outcomes, text in (
        ({"bike_carrier", "step"}, {"fails", "works"}, ""),
        ({"ball_mount"}, (), ""),
        ((), {"fails"}, "tRUG"),
        ((), (), "spk-"),
    ):
        wanted = SelectionQuery(
            question={}, kinds=frozenset(kinds), outcomes=frozenset(outcomes), text=text, limit=1000
        )
        (page,) = whole(index, rig, wanted)
        assert page.items == [
            one
            for one in all_.items
            if (not kinds or one.kind in kinds)
            and (not outcomes or one.outcome in outcomes)
            and (text.lower() in one.label.lower() or text.lower() in one.sku.lower())
        ]
        assert page.matching == len(page.items) > 0
        assert page.counts == all_.counts


def test_a_compact_page_has_sku_outcome_and_codes_only(stocked: Stocked) -> None:
    """The rest of each item is left out."""
    index, rig = stocked(10), rigs()[1][1]
    (full,) = whole(index, rig, SelectionQuery(question={}, limit=1000))
    (compact,) = whole(index, rig, SelectionQuery(question={}, limit=1000, compact=True))
    assert {(one.label, one.kind, one.reason) for one in compact.items} == {("", "", "")}
    assert [(one.sku, one.outcome, one.codes) for one in compact.items] == [
        (one.sku, one.outcome, one.codes) for one in full.items
    ]


@pytest.mark.parametrize("after", ["", "AAAA", "!", "é", "W10"])
def test_a_cursor_that_is_none_is_refused(stocked: Stocked, after: str) -> None:
    """A text that no page ended with is told of, not guessed at."""
    with pytest.raises(ProblemsFound, match="where a page ended"):
        whole_of = Selector(answerer()).select(
            stocked(10).held(), rigs()[0][1], SelectionQuery(question={}, after=after)
        )
        assert whole_of.items == []


def test_a_cursor_of_another_selection_is_refused(stocked: Stocked) -> None:
    """A page's end says nothing about another order or filter."""
    index, rig, selector = stocked(10), rigs()[0][1], Selector(answerer())
    ended = selector.select(index.held(), rig, SelectionQuery(question={}, limit=2)).next
    with pytest.raises(ProblemsFound, match="another selection"):
        selector.select(index.held(), rig, SelectionQuery(question={}, limit=2, sort="label", after=ended))
    assert selector.select(index.held(), rig, SelectionQuery(question={}, limit=5, after=ended)).items


def test_a_vehicle_that_may_be_several_is_asked_for(database: Database) -> None:
    """Which of them is meant must be said: a list over all of them would be true of none."""
    make = next(one.facts["make"] for one in world().of("vehicle"))
    document = {"rig": {"vehicle": {"facts": {"make": make}}}}
    with pytest.raises(ProblemsFound, match="stored vehicles go by that name"):
        read_rig(document, answerer(), world())
    with database.session() as session:
        assert read_rig(document, answerer(), StoreRecords(session)).present


def kept(index: SelectionIndex) -> dict[str, str]:
    """Return label by SKU of what an index holds."""
    held = index.held()
    items = [part.segment.item(int(row)) for part in held.parts for row in flatnonzero(part.alive)] + list(held.loose)
    assert len(items) == held.items
    return {item.sku: item.label for item in items}


@pytest.mark.parametrize("most_loose", [0, 1, 3, 1000])
def test_an_index_follows_the_store(stocked: Stocked, database: Database, most_loose: int) -> None:
    """New, changed, renamed, unreadable and deleted accessories are seen, and nothing but accessories."""
    index = stocked(most_loose)
    before = kept(index)
    first, second = sorted(before)[:2]
    with database.session() as session:
        create_record(session, "accessory", Draft(key="AAA-NEW", label="New", facts={"kind": "step"}))
        create_record(session, "accessory", Draft(key="AAA-BALL", label="A ball", facts={}, sold_as="ball"))
        create_record(session, "accessory", Draft(key="AAA-ODD", label="Odd", facts={"kind": "no such kind"}))
        replace_record(session, "accessory", first, Draft(label="Renamed", facts=world().find("", first).facts))  # type: ignore[union-attr]  # the demo has it
        delete_record(session, "accessory", second)
    after = {**before, "AAA-NEW": "New", first: "Renamed"}
    del after[second]
    assert kept(index) == after
    assert index.held().unreadable == 1
    with database.session() as session:
        replace_record(session, "accessory", "AAA-ODD", Draft(label="Odd", facts={"kind": "step"}))
        replace_record(session, "accessory", "AAA-NEW", Draft(label="New", facts={"kind": "step"}, sold_as="ball"))
    assert kept(index) == {name: label for name, label in after.items() if name != "AAA-NEW"} | {"AAA-ODD": "Odd"}
    assert index.held().unreadable == 0
    assert index.held().revision == SelectionIndex(answerer(), database).held().revision


def test_a_revision_names_what_is_held(stocked: Stocked, database: Database) -> None:
    """It stays while nothing changes, and is another after any change."""
    index = stocked(5)
    seen = [index.held().revision, index.held().revision]
    for label in ("One", "Two", "One"):
        with database.session() as session:
            replace_record(session, "accessory", min(kept(index)), Draft(label=label))
        seen.append(index.held().revision)
    assert seen[0] == seen[1]
    assert len(set(seen)) == 4


@pytest.mark.parametrize("most_loose", [0, 1000])
def test_facts_are_filtered_by_what_they_surely_are(stocked: Stocked, most_loose: int) -> None:
    """By one fact or several, in any unit, of folded and of loose items alike; what is not known does not match."""
    index, rig, selector = stocked(most_loose), rigs()[1][1], Selector(answerer())
    (all_,) = whole(index, rig, SelectionQuery(question={}, limit=1000))
    facts = {one.key: one.facts for one in accessories()}
    asked: dict[str, dict[str, object]] = {
        "shank=2 in": {"shank": "2 in"},
        " kind = ball_mount , shank=2 in": {"shank": "2 in", "kind": "ball_mount"},
        "pin_supplied=yes": {"pin_supplied": True},
    }
    for text, wanted in asked.items():
        (page,) = whole(index, rig, SelectionQuery(question={}, facts=selector.facts(text), limit=1000))
        matching = [
            one
            for one in all_.items
            if all(
                facts[one.sku].get(name) in (value, "yes" if value is True else value) for name, value in wanted.items()
            )
        ]
        assert page.items == matching != []
        assert page.matching == len(matching)
    weighed = next(one for one in accessories() if "weight" in one.facts and isinstance(one.facts["weight"], str))
    exact = answerer().reader.value(answerer().reader.subjects["accessory"]["weight"], weighed.facts["weight"])
    low, high = exact["accessory.weight"]  # type: ignore[misc]  # a number is told as a pair
    assert low == high
    (page,) = whole(index, rig, SelectionQuery(question={}, facts=selector.facts(f"weight={low:.9f} kg"), limit=1000))
    assert weighed.key in {one.sku for one in page.items}


@pytest.mark.parametrize(
    "text",
    ["shank", "shnk=2 in", "shank=50 mm", "weight=3", "kind=sled", "=", ",", "shank=2 in,", "pin_supplied=maybe"],
)
def test_facts_that_cannot_be_filtered_by_are_told(text: str) -> None:
    """Each with what was expected in its place."""
    with pytest.raises(ProblemsFound) as found:
        Selector(answerer()).facts(text)
    assert all(one.message and one.help for one in found.value.problems)
