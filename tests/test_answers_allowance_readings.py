"""A reading that is told to work beside what may be carried works with all of that on."""

import json
from collections.abc import Iterator, Mapping
from functools import cache
from random import Random
from typing import Any, Final

import pytest
from demo_world import answerer, world
from effort import EFFORT
from test_answers_next import case_of, known_facts, told
from test_answers_promises import readings_of, undercut

from fitsvc.answers.allowances import Carried
from fitsvc.answers.answer import Answer
from fitsvc.answers.summary import told as readings_told

Document = dict[str, Any]
_BORNE: Final = ("vehicle.", "receiver.", "mounting.")


@cache
def carriers() -> Mapping[str, list[str]]:
    """The demo's items that are loaded, by their kind."""
    found: dict[str, list[str]] = {}
    for item in world().of("accessory"):
        if carried(on(item.key, world().of("mounting")[0].key)) is not None:
            found.setdefault(str(item.facts.get("kind")), []).append(item.key)
    return found


def on(sku: str, mounting: str) -> Document:
    """An item on a stored mounting, with no load named."""
    links = next(one for one in world().of("mounting") if one.key == mounting).links
    rig = {part: {"id": links[part]} for part in ("vehicle", "receiver")} | {"mounting": {"id": mounting}}
    return {"rig": rig, "accessory": {"sku": sku}}


def carried(document: Document) -> Carried | None:
    """What may be carried, with the load as facts."""
    return answerer().allowances.carried(answerer().engine.opened(case_of(document)), "us")


def loaded(document: Document, found: Answer) -> Document:
    """The question with all on it that the answer tells may be."""
    one = carried(document)
    assert one is not None and found.allowance is not None and one.shown == found.allowance
    wanted = [name for name in one.load if name.startswith("load.") and name != "load.occupants_weight"]
    for name in wanted:
        (low, _) = one.load[name]  # type: ignore[misc]  # a load is told as a pair
        document = told(document, name, low if name == "load.bikes" else f"{low} kg")
    return document


def questions(kind: str) -> Iterator[tuple[Document, Answer]]:
    """Items of a kind on rigs of which some figures are not known, with what may be carried."""
    random = Random(kind)
    for _ in range(40 * EFFORT):
        document = on(random.choice(carriers()[kind]), random.choice(world().of("mounting")).key)
        facts = [name for name in known_facts(document) if name.startswith(_BORNE) and not name.endswith(".place")]
        for name in random.sample(facts, min(len(facts), random.randrange(1, 6))):
            document = told(document, name, None)
        found = answerer().answer(document, world())
        if found.allowance is not None and found.allowance.at_most and found.outcome != "fails":
            yield document, found


@pytest.mark.parametrize("kind", sorted(carriers()))
def test_a_reading_that_works_does_so_with_all_that_may_be_carried(kind: str) -> None:
    """Whoever reads out the one and lets load the other has not been told two things that do not hold together."""
    tried, broken = 0, []
    for document, found in questions(kind):
        for step in found.next:
            if step.fact.startswith("load."):
                continue  # what is told of the load takes the place of what may be carried
            for reading in readings_of(step, step.works_if, document):
                if undercut(document, step.fact, reading):
                    continue
                tried += 1
                after = answerer().answer(told(loaded(document, found), step.fact, reading), world())
                if after.outcome == "fails":
                    broken.append((step.fact, step.works_if, reading, found.summary, after.summary, document))
    print(f"\n{tried} readings of {kind}")
    assert not broken, json.dumps(broken[:3])
    assert tried > 5


def test_a_reading_that_bears_only_less_is_told_as_such() -> None:
    """A carrier of 63 lb in a receiver that bears 500 lb may carry 437 lb, if the vehicle bears these 500 lb too."""
    found = answerer().answer(told(on("PKM-MOTO-2", "mnt_muckle_short_own"), "vehicle.tongue_rating", None), world())
    (step,) = [step for step in found.next if step.fact == "vehicle.tongue_rating"]
    assert found.allowance is not None and found.allowance.at_most == "437 lb"
    assert (step.works_if, step.less_if, step.fails_if) == ("at least 500 lb", "63 lb to 499 lb", "at most 62 lb")
    said = readings_told(step, found, answerer().rulebook.vocabulary.facts[step.fact])
    assert "less may be on it if that is 63 lb to 499 lb" in said and "between the two, read it nearer" not in said


def test_no_room_for_people_is_told_beside_a_load_that_may_not_be_on_it() -> None:
    """Of a placard of 400 lb a tray of 54 lb leaves 346 lb for people, luggage and what goes on it, told as one sum."""
    facts = {"curb_weight": None, "placard_capacity": "400 lb"}
    document = on("LLH-TRAY-60", "mnt_muckle_short_own")
    for name, value in facts.items():
        document = told(document, f"vehicle.{name}", value)
    found = answerer().answer(document, world())
    assert found.allowance is not None and found.allowance.at_most == "196 lb" and found.allowance.by_label == "500 lb"
    said = [text for one in found.to_see_to for text in (one.told, *one.also) if "left" in text]
    assert any("346 lb is left for people, luggage and what goes on the carrier" in text for text in said)
    assert not any("500 lb" in text for text in said)
