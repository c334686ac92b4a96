"""What a change of one rule would bring, in columns: the same outcomes as every pair by itself under both rulebooks."""

import shutil
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.answers.answering import Answerer
from fitsvc.answers.shelf import Item
from fitsvc.audits.foreseen import Foreseen, foresee
from fitsvc.audits.impact import Side
from fitsvc.audits.rigs import AuditRig, stored_rigs
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import Drafting
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.segments import case_of
from fitsvc.selection.selector import kind_name
from fitsvc.service.context import service_in
from fitsvc.store.database import Database

Pages = TestClient[Litestar]
SHIPPED = Drafting(data_dir("rules"))


def tried(id: str, old: str, new: str, drafting: Drafting = SHIPPED) -> Rulebook:
    """The rulebook with one place of an entry changed."""
    entry = drafting.entry(id)
    assert entry is not None and old in entry.text
    found = drafting.tried(entry, entry.text.replace(old, new))
    assert found.book is not None, found.problems
    return found.book


def rigs_of(database: Database, reader: Answerer) -> list[AuditRig]:
    """The saved rigs."""
    with database.session() as session:
        return stored_rigs(session, reader.reader, aside=[])


def in_columns(id: str, book: Rulebook, database: Database, old: Answerer, most_loose: int = 200) -> Foreseen:
    """What is foreseen, with so many items at most held loose."""
    index = SelectionIndex(old, database, most_loose)
    index.held()
    return foresee(old.columns, book, id, index.held(), rigs_of(database, old), seconds=1e9)


def counted(found: Foreseen) -> Counter[tuple[str, str, str]]:
    """How many answers go from which outcome to which, by kind."""
    return Counter({(kind, old, new): one.count for (kind, old, new), one in found.shifts.items()})


Told = list[tuple[AuditRig, Item, str, Mapping[str, str]]]


def pair_by_pair(book: Rulebook, rigs: Sequence[AuditRig], items: Sequence[Item]) -> Told:
    """What every rig comes to with every item, by itself, and what stands in the way of a plain yes."""
    side = Side(book)
    pairs = [(rig, item, side.engine.evaluate(case_of(rig.case, item, side.reader))) for rig in rigs for item in items]
    return [(rig, item, verdict.outcome, side.why(verdict)) for rig, item, verdict in pairs]


@lru_cache(maxsize=1)
def as_it_is(database: Database) -> Told:
    """The same by the shipped rules."""
    return pair_by_pair(SHIPPED.book, rigs_of(database, answerer()), items_of(database, answerer()))


def items_of(database: Database, by: Answerer) -> list[Item]:
    """The accessories of the store."""
    held = SelectionIndex(by, database).held()
    return [part.segment.item(row) for part in held.parts for row in range(part.left)]


def held_to(found: Foreseen, old: Told, new: Told) -> None:
    """Hold what is foreseen to every pair by itself: outcomes by kind, reasons, and each case that is named."""
    pairs = {(one[0].key, one[1].sku): (one[2], other[2]) for one, other in zip(old, new, strict=True)}
    members = answerer().rulebook.vocabulary.lists["accessory_kind"].members
    shifts = [
        (kind_name(one[1].kind, members), one[2], other[2])
        for one, other in zip(old, new, strict=True)
        if one[2] != other[2]
    ]
    assert {key: shift.count for key, shift in found.shifts.items()} == Counter(shifts)
    same = [one[3] != other[3] for one, other in zip(old, new, strict=True) if one[2] == other[2]]
    assert (found.reasons, found.asked) == (sum(same), len(old))
    for (_, was, now), shift in found.shifts.items():
        assert shift.cases and {pairs[rig.key, sku] for rig, sku in shift.cases} == {(was, now)}


CHANGES = [
    ("shank-fits-opening", "== opening.size", "<= opening.size"),
    ("shank-fits-opening", "severity: blocking", "severity: caution"),
    ("shank-fits-opening", "applies_when: not kind.only_pin", "applies_when: kind.only_pin"),
    ("reach-behind-without-flag", "48 in", "36 in"),
    ("reach-behind-without-flag", "severity: caution", "severity: blocking"),
    ("hanging-weight", "severity: blocking", "severity: caution"),
    ("lamp-board", "applies_when: ", "applies_when: present(accessory) or "),
]


@pytest.mark.parametrize(("id", "old", "new"), CHANGES)
def test_it_is_what_every_pair_comes_to(id: str, old: str, new: str, pages: Pages) -> None:
    """By kind and by both outcomes, and as many that stay for another reason; a rule's, a limit's and a need's."""
    database, book = service_in(pages.app).database, tried(id, old, new)
    rigs, items = rigs_of(database, answerer()), items_of(database, answerer())
    held_to(in_columns(id, book, database, answerer()), as_it_is(database), pair_by_pair(book, rigs, items))


def test_nothing_is_foreseen_of_what_comes_to_the_same(pages: Pages) -> None:
    """Words, and a condition that holds wherever the one beside it does, change no outcome."""
    database = service_in(pages.app).database
    for old, new in (
        ("title: The shank", "title: A shank"),
        ("opening.size\n", "opening.size and accessory.shank >= opening.size\n"),
    ):
        found = in_columns("shank-fits-opening", tried("shank-fits-opening", old, new), database, answerer())
        assert not found.shifts and not found.reasons and found.rigs == 6


def test_items_that_changed_lately_count_as_the_others_do(pages: Pages) -> None:
    """Held loose, or known of one rig more closely than of all, they are judged as they are."""
    database, book = service_in(pages.app).database, tried(*CHANGES[0])
    usual = in_columns("shank-fits-opening", book, database, answerer())
    index = SelectionIndex(answerer(), database)
    held, rigs = index.held(), rigs_of(database, answerer())
    loose = replace(
        held, parts=(), loose=tuple(part.segment.item(row) for part in held.parts for row in range(part.left))
    )
    assert counted(foresee(answerer().columns, book, "shank-fits-opening", loose, rigs, seconds=1e9)) == counted(usual)
    sku = loose.loose[0].sku
    known = [replace(rig, case=replace(rig.case, of_items={sku: {}})) for rig in rigs]
    apart = foresee(answerer().columns, book, "shank-fits-opening", held, known, seconds=1e9)
    assert counted(apart) == counted(usual)


def test_a_fact_that_no_rule_read_before_is_read_of_the_items(tmp_path: Path, pages: Pages) -> None:
    """The index holds no column of it: it is read of each item's facts, and of those that lack it nothing is known."""
    rules = tmp_path / "rules"
    shutil.copytree(data_dir("rules"), rules)
    vocabulary = rules / "vocabulary" / "accessory.yaml"
    vocabulary.write_text(
        vocabulary.read_text()
        + "  tread_depth:\n    type: length\n    range: [0 in, 20 in]\n    label: depth of the tread\n"
        "    meaning: How deep it is.\n    how_to_measure: Measure it.\n    effort: tape\n"
    )
    drafting = Drafting(rules)
    old, database = Answerer(load_rulebook(rules)), service_in(pages.app).database
    assert "accessory.tread_depth" not in old.columns.slots({"accessory"})
    rigs, items = rigs_of(database, old), items_of(database, old)
    for condition in ("accessory.tread_depth >= 1 in", "not present(accessory.tread_depth)"):
        asked = f"requires: {condition} or accessory.shank == opening.size"
        book = tried("shank-fits-opening", "requires: accessory.shank == opening.size", asked, drafting)
        found = in_columns("shank-fits-opening", book, database, old)
        assert found.shifts or found.reasons
        held_to(found, pair_by_pair(drafting.book, rigs, items), pair_by_pair(book, rigs, items))


def test_it_ends_when_its_time_is_over(pages: Pages) -> None:
    """At least one rig is looked at, and how many were is told."""
    database, book = service_in(pages.app).database, tried(*CHANGES[0])
    index = SelectionIndex(answerer(), database)
    rigs = rigs_of(database, answerer())
    found = foresee(answerer().columns, book, "shank-fits-opening", index.held(), rigs, seconds=0.0)
    assert found.rigs == 1 < len(rigs) and found.asked == found.items
