"""Several places told of one drive: what works in each of them works, and what does not in one is no plain yes."""

import re
import shutil
from pathlib import Path
from random import Random
from typing import Any, Final

from demo_world import answerer
from effort import EFFORT
from judging import Facts, answer, case
from random_rulebooks import random_case, shipped_rulebook
from test_answers_fitted import without
from test_rules_told_ends import BIKES
from test_rules_trade import TOWED

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.types import ListType
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

PLACE: Final = "load.jurisdiction"
_BOTH_TOLD: Final[Facts] = {**BIKES, "vehicle.overall_width": "79 in", "accessory.tilts_clear": True}


def members() -> tuple[str, ...]:
    """Every place that the rules name."""
    kind = answerer().rulebook.vocabulary.facts[PLACE].type
    assert isinstance(kind, ListType)
    return kind.members


def outcome(places: Any) -> str:
    """What bikes behind a pickup come to, driven in these places."""
    return answer({**_BOTH_TOLD, PLACE: places}).outcome


def test_where_each_place_alone_works_all_of_them_do() -> None:
    """Nobody is asked which of two states it is where neither law is in the way."""
    working = [place for place in members() if outcome(place) == "works"]
    assert len(working) > 20
    assert outcome(working) == "works"
    rng = Random(3)
    for _ in range(20 * EFFORT):
        assert outcome(rng.sample(working, rng.randint(2, 4))) == "works"


def test_where_one_place_alone_does_not_work_no_list_with_it_does() -> None:
    """A law that refuses or doubts is never passed by naming a second place."""
    every = {place: outcome(place) for place in members()}
    rng, others = Random(4), [place for place, found in every.items() if found != "works"]
    for place in others:
        assert outcome([place, *rng.sample([one for one in every if one != place], 2)]) != "works", place


def without_them(folder: Path) -> Point:
    """The shipped rules but for what their tables say of places without a row."""
    shutil.copytree(data_dir("rules"), folder / "rules")
    for path in (folder / "rules" / "tables").glob("*.yaml"):
        path.write_text(re.sub(r"\n    without_row: .*", "", path.read_text("utf-8")), "utf-8")
    return Point(load_rulebook(folder / "rules"))


def test_what_stands_without_a_row_decides_nothing_for_one_place(tmp_path: Path) -> None:
    """A place that has no row is judged alike whatever its cells are: rules ask first whether there is one."""
    made, rng = shipped_rulebook(), Random(5)
    kind, blind = made.rulebook.vocabulary.facts[PLACE].type, without_them(tmp_path)
    assert isinstance(kind, ListType)
    others = blind.rulebook.tables
    assert sum(table.columns != others[name].columns for name, table in made.rulebook.tables.items()) > 5

    def in_place(one: Case, place: str) -> Case:
        present = one.present | {"load", PLACE}
        return Case({**one.facts, PLACE: kind.mask(place)}, present, one.adapters, one.texts)

    for _ in range(300 * EFFORT):
        one = in_place(random_case(rng, made), rng.choice(kind.members))
        assert made.engine.evaluate(one) == blind.evaluate(one)


def test_a_place_without_a_row_is_passed_beside_one_that_has() -> None:
    """A drawbar of 15 ft is what Virginia allows at most; Texas says nothing of it."""
    drawbar = next(n for n, rule in enumerate(answerer().rulebook.rules) if rule.id == "drawbar-where-driven")

    def result(places: list[str], length: str) -> str:
        one = case({PLACE: places, "trailer.gross_weight": "3000 lb", "trailer.drawbar_length": length})
        return answerer().engine.judge(drawbar, one)

    assert result(["virginia", "texas"], "180 in") == "passes"
    assert result(["virginia", "texas"], "181 in") == "undetermined"
    assert result(["texas"], "181 in") == "not_applicable"


UNBRAKED: Final[Facts] = {
    **without(TOWED, "trailer.breakaway"),
    "trailer.gross_weight": "2000 lb",
    "trailer.tongue_weight": "250 lb",
    "trailer.brakes": "none",
}


def test_where_an_unbraked_trailer_works_in_each_place_it_does_in_all_of_them() -> None:
    """A law that a rule asks for and holds to is no reason to ask which of two states it is where both let it pass."""
    alone = {place: answer({**UNBRAKED, PLACE: place}).outcome for place in members()}
    working = [place for place, found in alone.items() if found == "works"]
    assert len(working) > 15
    rng = Random(5)
    for _ in range(40 * EFFORT):
        places = rng.sample(working, rng.randint(2, 4))
        told = answer({**UNBRAKED, PLACE: places})
        assert told.outcome == "works" and told.next == [], places
    for place in (place for place, found in alone.items() if found != "works"):
        assert answer({**UNBRAKED, PLACE: [place, *rng.sample(working, 2)]}).outcome != "works", place
