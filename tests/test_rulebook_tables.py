"""Tables by several keys: what is looked up in them, by every way of judging, and what is wrong with one."""

from collections.abc import Mapping, Sequence
from itertools import combinations, product
from pathlib import Path
from typing import Any

import pytest
from interpreter import Interpreter
from jsonschema_rs import Draft7Validator

from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.mutating import Mutating
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.types import Value
from fitsvc.rulebook.json_schema import schemas
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain
from fitsvc.service.counter.lookup import Library

_TEXTS = "label: l, meaning: m, how_to_measure: h, effort: tape"
TABLE = """
tables:
  - id: most
    title: What a step may weigh
    key: [kinds, bore, length]
    gives: mass
    rows:
      rack:
        2 in: [{up_to: 20 in, is: 100 lb}, {is: 50 lb}]
        3 in: [{up_to: 20 in, is: 200 lb}, {is: 150 lb}]
      step:
        2 in: [{up_to: 10 in, is: 80 lb}, {is: 40 lb}]
        3 in: [{is: 300 lb}]
      box: {2 in: [{is: 90 lb}], 3 in: [{is: 95 lb}]}
    source: {kind: common_practice}
"""
RULES = """
topic: few
about: a
rules:
  - id: light-enough
    title: The thing is light enough
    requires: accessory.weight <= lookup(most, accessory.kind, accessory.shank, accessory.length)
    severity: blocking
    fails_because: It weighs {accessory.weight}.
    source: {kind: common_practice}
    examples:
      - {accessory.kind: rack, accessory.shank: 2 in, accessory.length: 20 in, accessory.weight: 100 lb, gives: passes}
      - {accessory.kind: rack, accessory.shank: 2 in, accessory.length: 20 in, accessory.weight: 101 lb,
         gives: fails, so: blocks}
      - {accessory.kind: rack, accessory.weight: 100 lb, gives: undetermined, so: open}
"""
FILES = {
    "rulebook.yaml": "name: few\n",
    "vocabulary/lists.yaml": """
lists:
  kinds:
    roles: {holds: {label: whether it holds a load, meaning: m}}
    members: {rack: {word: bike rack, is: [holds]}, step: {word: hitch step, is: [holds]}, box: {word: b, is: [holds]}}
  bore: {dimension: length, members: [2 in, 3 in]}
""",
    "vocabulary/accessory.yaml": f"""
subject: accessory
title: t
presence: asked
facts:
  kind: {{type: kinds, {_TEXTS}}}
  shank: {{type: bore, {_TEXTS}}}
  weight: {{type: mass, range: [0 lb, 500 lb], {_TEXTS}}}
  length: {{type: length, range: [0 in, 90 in], {_TEXTS}}}
""",
    "tables/most.yaml": TABLE,
    "few.yaml": RULES,
}


def written(folder: Path, old: str = "", new: str = "", files: Mapping[str, str] = FILES) -> Path:
    """The few rules, with a text of theirs changed."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.replace(old, new) if old else text, "utf-8")
    return folder


def asked(book: Rulebook, **told: str | list[str] | None) -> Case:
    """The question that tells these facts of an accessory; several members are one that is open among them."""
    reader, facts = FactReader(book), dict[str, Value]()
    for name, wire in told.items():
        facts |= reader.value(book.vocabulary.facts[f"accessory.{name}"], wire) if wire is not None else {}
    return Case(facts, frozenset(("accessory",)))


def judged_every_way(folder: Path, engine: Point, cases: Sequence[Case]) -> list[Outcome]:
    """What cases of accessories come to by the engine, and by the specification and the columns too."""
    outcomes = [engine.evaluate(case).outcome for case in cases]
    walker, columns = Interpreter(folder), Columns(engine)
    assert [walker.judge(case).outcome for case in cases] == outcomes
    items = columns.catalogue([case.facts for case in cases], ("accessory",))
    assert [OUTCOMES[number] for number in columns.judge(items, Case({}, frozenset())).outcome()] == outcomes
    return outcomes


def assert_told(folder: Path, told: str) -> None:
    """Hold that a rulebook is refused, and that one of its problems tells this."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(folder)
    problems = [str(one) for one in found.value.problems]
    assert any(told in one for one in problems), (told, problems)


def test_every_way_of_judging_looks_it_up(tmp_path: Path) -> None:
    """On both sides of each band, with each key told or not: engine, columns and the tree walker come to the same."""
    book = load_rulebook(written(tmp_path))
    engine = Point(book)
    weights = ("40 lb", "41 lb", "50 lb", "80 lb", "100 lb", "101 lb", "150 lb", "200 lb", "300 lb", "301 lb", None)
    lengths = ("10 in", "10.1 in", "20 in", "21 in", None)
    told = product(("rack", "step", "box", None), ("2 in", "3 in", None), lengths, weights)
    cases = [asked(book, kind=k, shank=s, length=length, weight=weight) for k, s, length, weight in told]
    assert set(judged_every_way(tmp_path, engine, cases)) == {"works", "fails", "undetermined"}
    assert engine.evaluate(asked(book, kind="rack", shank="2 in", length="20 in", weight="100 lb")).outcome == "works"
    assert engine.evaluate(asked(book, kind="rack", shank="3 in", length="21 in", weight="151 lb")).outcome == "fails"


def test_an_open_key_is_no_guess(tmp_path: Path) -> None:
    """While a key may be either of two of three, nothing is settled that either of them settles otherwise."""
    book = load_rulebook(written(tmp_path))
    engine, walker = Point(book), Interpreter(tmp_path)
    least = {"rack": 100, "step": 40, "box": 90}
    for kinds, weight in product(combinations(least, 2), range(30, 320, 10)):
        case = asked(book, kind=[*kinds], shank="2 in", length="20 in", weight=f"{weight} lb")
        outcome = engine.evaluate(case).outcome
        assert outcome in (walker.judge(case).outcome, "undetermined")
        assert outcome != "works" or weight <= min(least[kind] for kind in kinds)
        assert outcome != "fails" or weight > max(least[kind] for kind in kinds)


def test_what_is_wrong_with_one_is_told_at_its_place(tmp_path: Path) -> None:
    """Too few keys, a row that is not there within another, a number that is not the last key, a list that is none."""
    for number, (old, new, told) in enumerate(
        (
            (", accessory.length)", ")", "`most` is looked up by 3 keys, not 2"),
            ("        3 in: [{is: 300 lb}]\n", "", "the table has no row for `3 in`"),
            ("key: [kinds, bore, length]", "key: [length, kinds, bore]", "only the last is a number"),
            ("key: [kinds, bore, length]", "key: [kinds, bores, length]", "`bores` is not a key"),
            ("up_to: 10 in, is: 80 lb", "up_to: 10 lb, is: 80 lb", "length"),
            ("rack:\n        2 in", "rak:\n        2 in", "`rak` is not in kinds"),
        )
    ):
        assert_told(written(tmp_path / str(number), old, new), told)


def test_editors_and_the_book_know_it(tmp_path: Path) -> None:
    """The schema takes it and refuses rows of nothing; the page of tables has a line for each cell."""
    book = load_rulebook(written(tmp_path))
    schema = Draft7Validator(schemas(book)["tables"])
    tree: Any = to_plain(read_yaml_file(tmp_path / "tables" / "most.yaml"))
    assert schema.is_valid(tree)
    assert not schema.is_valid({"tables": [{**tree["tables"][0], "key": ["kinds"]}]})
    rows = dict(Library(book).table("most").rows)
    assert rows["bike rack, 2 in, up to 20 in"] == "100 lb"
    assert rows["hitch step, 3 in, above that"] == "300 lb"
    assert len(rows) == 9


def test_each_cell_is_changed_once_and_an_example_notices(tmp_path: Path) -> None:
    """`rules mutate` reaches every cell within the rows: the one that the examples are about is noticed."""
    mutating = Mutating(written(tmp_path))
    noticed = {one.told: mutating.noticed(one) for one in mutating.mutants({"tables/most.yaml"})}
    assert len(noticed) > 30
    assert noticed["rack, 2 in, band 1, is: 100 lb -> 99 lb"]
    assert not noticed["step, 3 in, band 1, is: 300 lb -> 299 lb"]
