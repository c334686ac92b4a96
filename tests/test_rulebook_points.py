"""Tables by points: a value on the straight line between two of them, by every way of judging, and faults of one."""

from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from jsonschema_rs import Draft7Validator
from test_rulebook_tables import FILES as BY_BANDS
from test_rulebook_tables import asked, assert_told, judged_every_way
from test_rulebook_tables import written as written_out

from fitsvc.engine.mutating import Mutating
from fitsvc.engine.point import Point
from fitsvc.language.between import between
from fitsvc.language.quantities import MASS
from fitsvc.language.types import NumberType
from fitsvc.proving.claims import Prover
from fitsvc.rulebook.json_schema import schemas
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.yaml_text import read_yaml_file, to_plain
from fitsvc.service.counter.lookup import Library

TABLE = """
tables:
  - id: most
    title: What a thing may weigh by its length
    key: [kinds, length]
    gives: mass
    rows:
      rack: [{at: 10 in, is: 300 lb}, {at: 20 in, is: 200 lb}, {at: 60 in, is: 100 lb}]
      step: [{at: 0 in, is: 50 lb}, {at: 30 in, is: 50 lb}, {at: 40 in, is: 150 lb}, {at: 90 in, is: 20 lb}]
      box: [{up_to: 10 in, is: 80 lb}, {is: 40 lb}]
    source: {kind: common_practice}
  - id: alone
    title: What anything may weigh by its length
    key: length
    gives: mass
    points: [{at: 10 in, is: 400 lb}, {at: 70 in, is: 100 lb}]
    source: {kind: common_practice}
"""
RULES = """
topic: few
about: a
rules:
  - id: light-enough
    title: The thing is light enough
    requires: accessory.weight <= lookup(most, accessory.kind, accessory.length)
    severity: blocking
    fails_because: It weighs {accessory.weight}.
    source: {kind: common_practice}
    examples:
      - {accessory.kind: rack, accessory.length: 15 in, accessory.weight: 250 lb, gives: passes}
      - {accessory.kind: rack, accessory.length: 15 in, accessory.weight: 251 lb, gives: fails, so: blocks}
      - {accessory.kind: rack, accessory.length: 61 in, accessory.weight: 1 lb, gives: undetermined, so: open}
  - id: light-enough-anyhow
    title: The thing is light
    requires: accessory.weight <= lookup(alone, accessory.length)
    severity: caution
    fails_because: It weighs {accessory.weight}.
    source: {kind: common_practice}
    examples:
      - {accessory.length: 40 in, accessory.weight: 250 lb, gives: passes}
      - {accessory.length: 40 in, accessory.weight: 251 lb, gives: fails, so: caution}
      - {accessory.length: 9 in, accessory.weight: 1 lb, gives: undetermined, so: caution}
"""


def written(folder: Path, old: str = "", new: str = "") -> Path:
    """The few rules, with a text of theirs changed."""
    assert not old or old in TABLE + RULES
    return written_out(folder, old, new, {**BY_BANDS, "tables/most.yaml": TABLE, "few.yaml": RULES})


def test_it_is_numpys_own_line() -> None:
    """Of an exact number what `numpy.interp` gives; of bounds the least and most that it gives of any number between.

    Where a number may be beyond the points, where `numpy.interp` would go on with the last of them, nothing is known.
    """
    rng, kind = Random(3), NumberType(MASS)
    for _ in range(300):
        at = sorted(rng.sample(range(100), rng.randint(2, 6)))
        heights = [rng.uniform(-50.0, 50.0) for _ in at]
        value = between(kind, at, [(y, y) for y in heights])
        low, high = sorted((rng.uniform(at[0], at[-1]), rng.uniform(at[0], at[-1])))
        assert value(low, low) == pytest.approx((np.interp(low, at, heights),) * 2)
        on_it = np.interp([*np.linspace(low, high, 400), *(x for x in at if low <= x <= high)], at, heights)
        assert value(low, high) == pytest.approx((on_it.min(), on_it.max()))
        assert value(at[0] - 1.0, high) == value(low, at[-1] + 1.0) == kind.unknown


def test_every_way_of_judging_looks_it_up(tmp_path: Path) -> None:
    """At the points, beside them and within bounds: engine, columns and the specification come to the same."""
    book = load_rulebook(written(tmp_path))
    engine, rng = Point(book), Random(5)

    def told(unit: str, most: int) -> Any:
        ends = sorted(rng.choice((rng.randrange(most), rng.randrange(0, most, 10))) for _ in range(2))
        exactly = f"{ends[0]} {unit}"
        return rng.choice((exactly, exactly, {"at_least": exactly, "at_most": f"{ends[1]} {unit}"}, None))

    kinds = [rng.choice(("rack", "step", "box", None)) for _ in range(2_000)]
    drawn = [asked(book, kind=kind, length=told("in", 91), weight=told("lb", 420)) for kind in kinds]
    cases = [*{tuple(sorted(case.facts.items())): case for case in drawn}.values()]
    assert {*judged_every_way(tmp_path, engine, cases)} == {*OUTCOMES}


def test_beyond_its_points_nothing_passes(tmp_path: Path) -> None:
    """A thing longer than the last point, or of a length that may be, is no yes, however light; nor is it a no."""
    engine = Point(load_rulebook(written(tmp_path)))
    lengths: tuple[Any, ...] = ("9.9 in", "61 in", {"at_least": "50 in", "at_most": "61 in"}, None)
    for length in lengths:
        for weight in ("0 lb", "1 lb", "420 lb"):
            found = engine.evaluate(asked(engine.rulebook, kind="rack", length=length, weight=weight))
            assert found.results(2)[0] == "undetermined", (length, weight)


def test_the_solver_reads_it_as_the_engine_does(tmp_path: Path) -> None:
    """What it finds passes, fails and fails alone by the engine, and with a line that is never reached it is proven."""
    from fitsvc.proving.book import claims_of

    def states(folder: Path) -> dict[str, str]:
        prover = Prover(load_rulebook(folder))
        claims = [claim for claim in claims_of(prover, None, ["dead", "idle"]) if claim.about == "light-enough-anyhow"]
        return {claim.says: prover.decide(claim).state for claim in claims}

    assert set(states(written(tmp_path / "sound")).values()) == {"refuted"}
    low = written(tmp_path / "low", "at: 70 in, is: 100 lb", "at: 70 in, is: 600 lb")
    assert [state for says, state in states(low).items() if "fails" in says] == ["refuted"]
    for one in ("at: 10 in, is: 400 lb", "at: 70 in, is: 600 lb"):
        path = low / "tables" / "most.yaml"
        path.write_text(path.read_text("utf-8").replace(one, one[:14] + " 500 lb"), "utf-8")
    assert "proven" in states(low).values(), "nothing weighs more than the 500 lb that a fact may be"


def test_what_is_wrong_with_one_is_told_at_its_place(tmp_path: Path) -> None:
    """Points in no order or of one alone, of another dimension, of what no line goes through, or mixed with bands."""
    for number, (old, new, told) in enumerate(
        (
            ("at: 70 in, is", "at: 5 in, is", "higher `at` than the one before"),
            (", {at: 70 in, is: 100 lb}", "", "two of them or more"),
            ("at: 70 in, is", "at: 70 lb, is", "length"),
            ("at: 70 in, is: 100 lb", "at: 70 in, is: 100 in", "mass"),
            ("at: 70 in, is", "up_to: 70 in, is", "`at`"),
            ("key: length\n    gives: mass", "key: length\n    gives: yes_no", "numbers only"),
        )
    ):
        assert_told(written(tmp_path / str(number), old, new), told)


def test_editors_and_the_book_know_it(tmp_path: Path) -> None:
    """The schema takes it and refuses a single point; the page of tables says what is between and beyond."""
    book = load_rulebook(written(tmp_path))
    schema = Draft7Validator(schemas(book)["tables"])
    tree: Any = to_plain(read_yaml_file(tmp_path / "tables" / "most.yaml"))
    assert schema.is_valid(tree)
    alone = tree["tables"][1]
    assert not schema.is_valid({"tables": [{**alone, "points": alone["points"][:1]}]})
    assert dict(Library(book).table("alone").rows) == {
        "at 10 in": "400 lb",
        "at 70 in": "100 lb",
        "between two of these": "on the straight line from one to the other",
        "beyond the first and the last": "not known",
    }
    assert dict(Library(book).table("most").rows)["bike rack, at 20 in"] == "200 lb"


def test_each_point_is_changed_once_and_an_example_notices(tmp_path: Path) -> None:
    """`rules mutate` reaches both figures of every point; those of the line that the examples are about are noticed."""
    mutating = Mutating(written(tmp_path))
    noticed = {one.told: mutating.noticed(one) for one in mutating.mutants({"tables/most.yaml"})}
    assert noticed["rack, point 1, is: 300 lb -> 299 lb"] and noticed["point 2, is: 100 lb -> 99 lb"]
    assert noticed["point 2, at: 70 in -> 69.9375 in"], [told for told in noticed if "70 in" in told]
    assert not noticed["step, point 4, is: 20 lb -> 19 lb"]
