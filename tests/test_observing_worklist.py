"""The work list names the readings that decide most, as counting every answer by itself does."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from demo_world import SEED, answerer, world
from effort import tries
from hypothesis import given
from hypothesis import strategies as st
from litestar.testing import TestClient
from test_selection import accessories

from fitsvc.answers.shelf import Item, read_items
from fitsvc.engine.columns.open_facts import read_by
from fitsvc.facts import Case
from fitsvc.language.types import is_exact
from fitsvc.loading.load import load_file
from fitsvc.observing import worklist
from fitsvc.observing.effects import rig_case
from fitsvc.observing.worklist import Place, Places, Waited, best_readings, learnable, waited
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.segments import case_of
from fitsvc.selection.waiting import MOST_FACTS, Waiting
from fitsvc.service import selecting
from fitsvc.service.app import create_app
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.wanted import NotWanted, wanted_until

SLOTS = answerer().rulebook.vocabulary.slots()
SUBJECTS = answerer().rulebook.vocabulary.subjects
HIDDEN = ("pin_to_bumper", "height")


@pytest.fixture
def yard(url: str) -> Iterator[Database]:
    """Give a store with the demo's vehicles, receivers, mountings and accessories."""
    opened = Database(url)
    for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "accessories.csv"):
        load_file(opened, answerer().reader, SEED / name)
    yield opened
    opened.close()


def rig(mounting: str, hidden: Sequence[str] = ()) -> Case:
    """A mounting of the demo as a rig, of which some facts are not known."""
    document: dict[str, Any] = {"mounting": {"id": mounting, "facts": dict.fromkeys(hidden)}}
    case = rig_case(document, answerer().reader, world())
    assert case is not None
    return case


def open_facts(case: Case) -> set[str]:
    """What is not exactly known of all that the open blocking rules of a case read."""
    engine, verdict = answerer().engine, answerer().engine.evaluate(case)
    assert verdict.outcome == "undetermined"
    names = {name for number in verdict.unknown for name in read_by(engine, number, False)}
    there = case.present | {name for name, of in SUBJECTS.items() if of.presence == "always"}
    # Of what is not there nobody is asked, nor for what a customer would bring up.
    facts = engine.rulebook.vocabulary.facts.items()
    brought_up = {name for name, fact in facts if fact.brought_up} - case.present
    names = {name for name in names - brought_up if name.partition(".")[0] in there}
    return {name for name in names if not is_exact(SLOTS[name], case.facts.get(name, SLOTS[name].unknown))}


def items() -> list[Item]:
    """The demo's accessories."""
    return read_items(answerer().reader, accessories())


@pytest.mark.parametrize("loose", [0, 1_000])
def test_what_is_waited_for_is_what_each_answer_waits_for(yard: Database, loose: int) -> None:
    """Item by item, whether folded or held loose; an item that waits for a fact of its own is in no set."""
    engine, reader, seen = answerer().engine, answerer().reader, 0
    held = SelectionIndex(answerer(), yard, loose).held()
    waiting, facts = Waiting(answerer()), learnable(answerer().reader)
    for mounting in [one.key for one in world().of("mounting")][::7]:
        for hidden in ((), HIDDEN):
            case, wanted, outcomes = rig(mounting, hidden), Counter[frozenset[str]](), Counter[str]()
            for item in items():
                one = case_of(case, item, reader)
                outcomes[engine.evaluate(one).outcome] += 1
                if engine.evaluate(one).outcome == "undetermined":
                    wanted[frozenset(open_facts(one))] += 1
            wanted = Counter({names: n for names, n in wanted.items() if names <= facts and len(names) <= MOST_FACTS})
            found = waiting.of(held, case, facts)
            assert (found.outcomes, found.sets) == (outcomes, wanted)
            seen += len(wanted)
    assert seen > 3


def test_what_is_waited_for_decides() -> None:
    """With exact readings of the facts that an answer waits for, whichever they are, it is undetermined no more."""
    engine, reader, tried = answerer().engine, answerer().reader, 0
    facts, case = answerer().rulebook.vocabulary.facts, rig("mnt_dunlin_wicket", HIDDEN)
    for item in items()[::4]:
        one = case_of(case, item, reader)
        if engine.evaluate(one).outcome != "undetermined" or not open_facts(one) <= learnable(reader):
            continue
        names = sorted(open_facts(one))
        assert set(names) <= {f"mounting.{name}" for name in HIDDEN}
        for shares in product((0.0, 0.3, 1.0), repeat=len(names)):
            ends = [facts[name].range or (0.0, 0.0) for name in names]
            told = [low + share * (high - low) for share, (low, high) in zip(shares, ends, strict=True)]
            known = replace(one, facts={**one.facts, **{n: (x, x) for n, x in zip(names, told, strict=True)}})
            assert engine.evaluate(known).outcome != "undetermined"
            tried += 1
    assert tried > 30


PLACES = st.sets(st.sampled_from("abcdef"), min_size=1, max_size=3).map(
    lambda found: frozenset(Place("mounting", name, "x") for name in found)
)


@tries(100)
@given(st.dictionaries(PLACES, st.integers(1, 30), max_size=8), st.integers(1, MOST_FACTS))
def test_no_other_readings_decide_more(counts: dict[Places, int], room: int) -> None:
    """Of all ways to take so many readings none decides more answers than the one that is told."""

    def decided(some: Places) -> int:
        return sum(count for places, count in counts.items() if places <= some)

    every = [Place("mounting", name, "x") for name in "abcdef"]
    found = best_readings(Counter(counts), room)
    assert len(found) <= room
    assert decided(found) == max(decided(frozenset(some)) for some in combinations(every, room))


def test_the_list_over_the_wire(yard: Database, tmp_path: Path) -> None:
    """Each reading with its record; once it is told it is asked for no more, and so much at least is decided."""
    with yard.session() as session:
        key = {"X-API-Key": create_key(session, "yard")[0]}
    shop = TestClient(create_app(yard, answerer(), tmp_path / "audits"))
    before = shop.get("/v1/worklist?limit=2").json()
    first, second = before["readings"]
    assert first["decides"] >= second["decides"] > 0
    sheet = shop.get(f"/v1/mountings/{first['record']}/sheet").json()
    assert next(iter(sheet["waiting"])) == first["fact"]
    assert sheet["waiting"][first["fact"]] >= first["decides"]
    assert sum(sheet["outcomes"].values()) == len(accessories())
    told = {"subject": first["subject"], "record": first["record"], "facts": {first["fact"]: "exactly 4 in"}}
    assert shop.post("/v1/observations", json=told, headers=key).status_code == 201
    after = shop.get("/v1/worklist").json()
    assert after["undetermined"] <= before["undetermined"] - first["decides"]
    assert len(after["readings"]) == 3
    assert (first["record"], first["fact"]) not in {(one["record"], one["fact"]) for one in after["readings"]}


def test_a_yard_is_judged_once_for_all_lists(yard: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Longer lists, the page and another language take what was found; what is told since is found anew."""
    made = list[Waited]()

    def counted(*given: Any) -> Waited:
        made.append(waited(*given))
        return made[-1]

    monkeypatch.setattr(selecting, "waited", counted)
    with yard.session() as session:
        key = {"X-API-Key": create_key(session, "yard")[0]}
    shop = TestClient(create_app(yard, answerer(), tmp_path / "audits"))
    few, many = (shop.get(f"/v1/worklist?limit={most}").json() for most in (3, 6))
    assert few["readings"] == many["readings"][:3]
    spanish = shop.get("/v1/worklist?limit=3", headers={"Accept-Language": "es"}).json()
    assert [one["decides"] for one in spanish["readings"]] == [one["decides"] for one in few["readings"]]
    assert spanish["readings"][0]["label"] != few["readings"][0]["label"]
    assert few["readings"][0]["record"] in shop.get("/worklist").text
    assert len(made) == 1
    first = few["readings"][0]
    told = {"subject": first["subject"], "record": first["record"], "facts": {first["fact"]: "exactly 4 in"}}
    assert shop.post("/v1/observations", json=told, headers=key).status_code == 201
    assert shop.get("/v1/worklist").json()["undetermined"] < few["undetermined"]
    assert len(made) == 2


def test_the_work_of_a_list_is_bounded(yard: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """By mountings times sorts of accessories: it says that there are more; and it ends when its caller has left."""
    held, reader, waiting = SelectionIndex(answerer(), yard).held(), answerer().reader, Waiting(answerer())
    sorts = sum(part.segment.catalogue.count for part in held.parts) + len(held.loose)
    with yard.session() as session:
        whole = waited(session, reader, waiting, held)
        monkeypatch.setattr(worklist, "MOST_JUDGED", 3 * sorts + 1)
        some = waited(session, reader, waiting, held)
        monkeypatch.setattr(worklist, "MOST_JUDGED", 1)
        one = waited(session, reader, waiting, held)
        left = Event()
        left.set()
        with wanted_until(left), pytest.raises(NotWanted):
            waited(session, reader, waiting, held)
    assert (whole.mountings, whole.more) == (len(world().of("mounting")), False)
    assert [(found.mountings, found.more) for found in (some, one)] == [(3, True), (1, True)]
    assert 0 < one.undetermined < some.undetermined < whole.undetermined
