"""A bound is judged alike wherever it is told: in a question, a record, the catalogue of a store or a file of rows."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, Final

import pytest
from audit_world import audit, pairs, rigs, small_blocks, write_csv
from demo_world import World, answerer, world

from fitsvc.answers.answer import Answer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import Stored
from fitsvc.fact_values import as_written
from fitsvc.language.typed import TOLD
from fitsvc.language.types import NumberType
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.selector import Selector, read_rig
from fitsvc.store.creation import bulk_create
from fitsvc.store.database import Database
from fitsvc.store.records import Draft
from fitsvc.subjects import OF_RIG, SUBJECTS

RIG: Final = next(iter(world().rigs))
LOADED: Final = {"load": {"facts": {"bikes": 2, "bike_weight": "35 lb"}}}


def bound(one: Stored) -> Iterator[Stored]:
    """A record with each of its figures told at least and at most so much, under a key of its own."""
    facts = answerer().rulebook.vocabulary.of(one.subject)
    for name, wire in one.facts.items():
        if isinstance(facts[name].type, NumberType) and isinstance(wire, str | int):
            for end in ("at_least", "at_most"):
                yield replace(one, key=f"{one.key}.{name}.{end}", facts={**one.facts, name: {end: wire}})


@cache
def told() -> list[Stored]:
    """Every kind of accessory there is in the demo's shop, one of each, with each figure told by one end."""
    of_kind: dict[object, Stored] = {}
    for one in world().of("accessory"):
        of_kind.setdefault(one.facts["kind"], one)
    return [each for one in of_kind.values() for each in bound(one)]


@cache
def shop() -> World:
    """The demo world with all of these among its records."""
    return replace(world(), records=(*told(), *world().records))


def said(answer: Answer) -> tuple[Any, ...]:
    """What an answer comes to: its outcome, why, what else it needs, and what to learn next."""
    return answer.outcome, answer.findings, answer.needs, answer.next, answer.limits


@cache
def inline() -> dict[str, Answer]:
    """The answer about each, told in the question itself."""
    return {
        one.key: answerer().answer({"rig": {"id": RIG}, "accessory": {"facts": dict(one.facts)}}, shop())
        for one in told()
    }


def test_a_record_is_judged_as_the_question_that_tells_it() -> None:
    """Outcome, findings and what to learn next are the same under a SKU, though more than its figure may be so."""
    for one in told():
        found = answerer().answer({"rig": {"id": RIG}, "accessory": {"sku": one.key}}, shop())
        assert said(found) == said(inline()[one.key]), one.key
    assert len(told()) > 200 and len({one.outcome for one in inline().values()}) > 2


def asked(part: dict[str, Any], one: Stored) -> dict[str, Any]:
    """A question about two bikes, or a trailer, on the demo's rig, with one part named so."""
    rig, key = world().rigs[RIG]["rig"], SUBJECTS[one.subject].key
    parts = {name: {"id": each["id"]} for name, each in rig.items() if name in ("vehicle", "receiver", "mounting")}
    if one.subject in parts:
        return {"rig": {**parts, one.subject: {key: one.key} | part}, "accessory": {"sku": "SPK-TRUG-2"}, **LOADED}
    if one.subject == "adapter":
        return {"rig": {**parts, "adapters": [{key: one.key} | part]}, "accessory": {"sku": "SPK-TRUG-2"}, **LOADED}
    return {"rig": parts, "accessory": {"sku": "TUG-2-R4-10"}, one.subject: {key: one.key} | part}


@pytest.mark.parametrize("subject", ["vehicle", "receiver", "mounting", "adapter", "ball", "trailer"])
def test_a_part_on_record_is_judged_as_the_question_that_tells_it(subject: str) -> None:
    """So it is of parts of the rig, of what is in the opening, and of what is towed: told by record or beside it."""
    own = [part.get("id") for part in world().rigs[RIG]["rig"].values() if isinstance(part, dict)]
    parts = [one for one in world().of(subject) if subject not in OF_RIG or one.key in own][:4]
    seen = set[str]()
    for one in parts:
        for of in bound(one):
            short = of.key.split(".")[-2]
            bare = replace(one, facts={name: wire for name, wire in one.facts.items() if name != short})
            on_record, beside = (
                answerer().answer(asked(part, one), replace(world(), records=(record, *world().records)))
                for record, part in (
                    (replace(of, key=one.key), {}),
                    (bare, {"facts": {short: of.facts[short]}}),
                )
            )
            assert said(on_record) == said(beside), of.key
            seen.add(on_record.outcome)
    assert seen


def test_of_what_the_question_and_the_record_dispute_nobody_told_one_end() -> None:
    """Where both cannot hold something else was said: a doubt may rest on all that the figure may be."""
    sku, rating = "SPK-TRUG-2", "accessory.capacity"
    (one,) = [each for each in world().records if each.key == sku]
    of = replace(one, facts={**one.facts, "capacity": {"at_most": "100 lb"}})
    there = replace(world(), records=(of, *world().records))
    for told, disputed in (("90 lb", False), ({"at_most": "90 lb"}, False), ({"at_least": "110 lb"}, True)):
        document = {"rig": {"id": RIG}, "accessory": {"sku": sku, "facts": {"capacity": told}}}
        found = read_question(document, answerer().reader, there)
        assert (rating in found.doubts) is disputed
        assert (f"{rating}{TOLD}" in found.case.facts) is (isinstance(told, dict) and not disputed)


@pytest.mark.parametrize("loose", [1, 10_000])
def test_a_store_is_judged_as_the_questions_that_tell_its_goods(database: Database, loose: int) -> None:
    """Folded or held one by one."""
    with database.session() as session:
        bulk_create(session, "accessory", (Draft(key=one.key, label=one.label, facts=one.facts) for one in told()))
    held, rig = SelectionIndex(answerer(), database, loose).held(), read_rig({"rig": {"id": RIG}}, answerer(), shop())
    page = Selector(answerer()).select(held, rig, SelectionQuery(question={}, limit=1000))
    assert {one.sku: one.outcome for one in page.items} == {key: one.outcome for key, one in inline().items()}
    for one in page.items:
        fails = inline()[one.sku].findings[:1]
        assert one.codes[:1] == [each.rule for each in fails if each.result != "passes"][:1] or one.outcome != "fails"


def test_a_file_is_judged_as_the_questions_that_tell_its_rows(tmp_path: Path) -> None:
    """Row by row, with a cell that says `at least` or `at most`."""
    names = list(dict.fromkeys(name for one in told() for name in one.facts))
    rows = [
        {
            "sku": one.key,
            **{name: as_written(one.facts[name]) if name in one.facts else "" for name in names},
            "fits": RIG,
        }
        for one in told()
    ]
    (rig,) = [one for one in rigs() if one.key == RIG]
    with small_blocks():
        audit(write_csv(tmp_path / "rows.csv", rows), tmp_path / "out", [rig])
    found = {row["sku"]: row["outcome"] for row in pairs(tmp_path / "out")}
    assert found == {key: one.outcome for key, one in inline().items()}
