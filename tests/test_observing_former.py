"""What is stored of a fact under a name that it had is known under the one that it has: before and after an upgrade."""

import shutil
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from demo_world import SEED

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import Answerer
from fitsvc.cli import main
from fitsvc.desk.folders import Desk
from fitsvc.desk.going import Mention, Stretch
from fitsvc.desk.renaming import edited, renamed
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import load_file
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import observe
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.counter.links import read_fields
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance, all_observations
from fitsvc.store.records import delete_record, get_record
from fitsvc.store.rigs import get_rig

NEW: Mapping[str, str] = {
    "mounting.pin_to_bumper": "mounting.pin_to_rear_end",
    "mounting.spare_fits_up_to": "mounting.spare_goes_up_to",
    "vehicle.tyre": "vehicle.rear_tyre",
    "vehicle.rear_overhang": "vehicle.overhang_behind",
    "vehicle.year": "vehicle.built_in",
    "accessory.capacity": "accessory.carries_up_to",
    "adapter.adds_length": "adapter.lengthens_by",
    "receiver.tongue_rating": "receiver.rated_tongue",
}
ASKED = ["SPK-TRUG-2", "TUG-2-D2-10", "BTX-REACH-2-8"]
RIGS = ["rig_farm_muckle", "rig_quarry_oxter", "rig_moss_trail", "rig_bothy_bikes"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped rules with some facts under other names, as an editor renames them."""
    made = tmp_path_factory.mktemp("former") / "rules"
    shutil.copytree(data_dir("rules"), made)
    for old, new in NEW.items():
        desk = Desk(made)
        named = Mention(old, Stretch(made, 0, 0), (desk.names().of("fact")[old],))
        for path, edits in renamed(desk, named, new).items():
            path.write_text(edited(desk.text(path), edits), "utf-8")
    return made


@pytest.fixture(scope="module")
def today(folder: Path) -> Answerer:
    """Who answers by the new names."""
    return Answerer(load_rulebook(folder))


@cache
def before() -> Answerer:
    """Who answers by the shipped rules."""
    return Answerer(load_rulebook(data_dir("rules")))


@pytest.fixture
def demo(database: Database) -> Database:
    """The demo's records, with more told of some than their files say."""
    reader = before().reader
    for name in ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "accessories.csv", "rigs.yaml"):
        load_file(database, reader, SEED / name)
    told = Provenance(kind="measured", by="the yard", at=datetime(2026, 3, 1, tzinfo=UTC))
    with database.session() as session:
        for subject, key, facts in (
            ("mounting", "mnt_muckle_short_own", {"pin_to_bumper": "2-1/2 in", "spare_fits_up_to": "33 in"}),
            ("mounting", "mnt_muckle_short_own", {"pin_to_bumper": "6 in"}),
            ("mounting", "mnt_bothy_long_yoke3", {"pin_to_bumper": None}),
            ("rig", "rig_farm_muckle", {"vehicle.tyre": "245/75R16"}),
        ):
            document = {"subject": subject, "record": key, "facts": facts}
            observe(session, reader, document, told, rigs=False)
    return database


def answers(answerer: Answerer, database: Database) -> list[Answer]:
    """Answers for saved rigs and wares of the store, one of them with a fact given beside the rig."""
    found = []
    with database.session() as session:
        records = StoreRecords(session)
        for rig in RIGS:
            for sku in ASKED:
                beside: dict[str, Any] = {"mounting": {"facts": {"pin_to_bumper": "3 in"}}} if sku == ASKED[0] else {}
                found.append(answerer.answer({"rig": {"id": rig, **beside}, "accessory": {"sku": sku}}, records))
    return found


def said(answer: Answer) -> tuple[Any, ...]:
    """What an answer comes to, in words."""
    found = [(one.rule.partition("/")[0], one.result, one.reason) for one in answer.findings]
    return answer.outcome, answer.summary, found


def test_answers_are_what_they_were(demo: Database, today: Answerer, folder: Path) -> None:
    """By the new names, of records told under the former ones: before the store is upgraded, and after."""
    was = [said(one) for one in answers(before(), demo)]
    assert len({one[0] for one in was}) > 1
    assert [said(one) for one in answers(today, demo)] == was
    assert main(["db", "upgrade", "--database", demo.url, "--rules", str(folder)]) == 0
    assert [said(one) for one in answers(today, demo)] == was


def test_an_upgrade_brings_the_store_under_todays_names(demo: Database, folder: Path) -> None:
    """In what is known, in every statement with what it takes back and leant on, and in saved rigs; once for all."""
    with demo.session() as session:
        was = get_record(session, "mounting", "mnt_muckle_short_own")
        known, how = dict(was.facts), dict(was.provenance)
    assert main(["db", "upgrade", "--database", demo.url, "--rules", str(folder)]) == 0
    with demo.session() as session:
        now = get_record(session, "mounting", "mnt_muckle_short_own")
        told = all_observations(session, "mounting", "mnt_muckle_short_own")
        short = {old.partition(".")[2]: new.partition(".")[2] for old, new in NEW.items()}
        assert now.facts == {short.get(name, name): value for name, value in known.items()}
        assert now.provenance.keys() == {short.get(name, name) for name in how}
        assert now.provenance["pin_to_rear_end"]["state"] == how["pin_to_bumper"]["state"] == "disputed"
        assert {name for one in told for name in one.facts} & short.keys() == set()
        assert [one.facts for one in told][1] == {"pin_to_rear_end": "2-1/2 in", "spare_goes_up_to": "33 in"}
        grounds = [name for one in told for name in one.ground or {}]
        assert "vehicle.overhang_behind" in grounds
        assert "vehicle.rear_overhang" not in grounds
        gone = all_observations(session, "mounting", "mnt_bothy_long_yoke3")[-1]
        assert [*(gone.takes_back or {})] in ([], ["pin_to_rear_end"])
        assert "rear_tyre" in str(get_rig(session, "rig_farm_muckle").facts)
        versions = {one: get_record(session, "mounting", one).version for one in ("mnt_muckle_short_own",)}
    assert main(["db", "upgrade", "--database", demo.url, "--rules", str(folder)]) == 0
    with demo.session() as session:
        assert {one: get_record(session, "mounting", one).version for one in versions} == versions


def test_what_was_said_of_a_deleted_record_is_renamed_too(demo: Database, folder: Path) -> None:
    """It is told of the past: under the names that facts have today."""
    laws = laws_of(before().reader)
    with demo.session() as session:
        delete_record(session, "accessory", "SPK-TRUG-2", laws=laws)
    assert main(["db", "upgrade", "--database", demo.url, "--rules", str(folder)]) == 0
    with demo.session() as session:
        told = all_observations(session, "accessory", "SPK-TRUG-2")
    assert "carries_up_to" in told[0].facts
    assert {name for one in told for name in (*one.facts, *(one.takes_back or {}))} & {"capacity"} == set()


def test_what_is_told_under_a_former_name_is_kept_under_todays(demo: Database, today: Answerer, tmp_path: Path) -> None:
    """By an observation, by files of records in both forms, and by a link; under both names it is refused."""
    reader = today.reader
    with demo.session() as session:
        document = {"subject": "mounting", "record": "mnt_muckle_long_own", "facts": {"pin_to_bumper": "3 in"}}
        observe(session, reader, document, Provenance(kind="measured", by="the yard"), rigs=False)
    (tmp_path / "more.csv").write_text("sku,subject,label,kind,capacity\nNEW-1,accessory,New,cargo_carrier,200 lb\n")
    (tmp_path / "more.yaml").write_text(
        "subject: accessory\nrecords:\n  - {sku: NEW-2, label: New, facts: {kind: cargo_carrier, capacity: 210 lb}}\n"
    )
    for name in ("more.csv", "more.yaml"):
        load_file(demo, reader, tmp_path / name)
    with demo.session() as session:
        told = all_observations(session, "mounting", "mnt_muckle_long_own")[-1]
        assert told.facts == {"pin_to_rear_end": "3 in"}
        assert get_record(session, "accessory", "NEW-1").facts["carries_up_to"] == "200 lb"
        assert get_record(session, "accessory", "NEW-2").facts["carries_up_to"] == "210 lb"
    link = read_fields({"mounting.pin_to_bumper": "3 in"}, reader, "us")
    assert link.document["rig"]["mounting"]["facts"] == {"pin_to_rear_end": "3 in"}
    both = read_fields({"mounting.pin_to_bumper": "3 in", "mounting.pin_to_rear_end": "4 in"}, reader, "us")
    assert [one.message for one in both.problems] == ["the distance from pin hole to bumper is told twice"]
    (tmp_path / "both.csv").write_text(
        "sku,subject,label,kind,capacity,carries_up_to\nNEW-3,accessory,New,cargo_carrier,200 lb,300 lb\n"
    )
    with pytest.raises(ProblemsFound, match="told twice"):
        load_file(demo, reader, tmp_path / "both.csv")


def test_a_store_without_former_names_is_left_as_it_is(demo: Database) -> None:
    """By rules in which no fact had another name nothing is looked for."""
    with demo.session() as session:
        version = get_record(session, "mounting", "mnt_muckle_short_own").version
    assert main(["db", "upgrade", "--database", demo.url]) == 0
    with demo.session() as session:
        assert get_record(session, "mounting", "mnt_muckle_short_own").version == version
    assert laws_of(before().reader)("mounting").whole("height") == "mounting.height"
