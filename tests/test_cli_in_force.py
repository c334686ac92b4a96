"""Commands that ask a database go by the rulebook in force there, as its servers do; `--rules` goes before."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer

from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import texts_of
from fitsvc.store.database import Database
from fitsvc.store.publications import activate, publish
from fitsvc.store.written import Write

SHELL = Write(by="a test")
RIG, SKU, RULE = "rig_farm_muckle", "SPK-TRUG-2", "plate-in-sight"
WISHES = {"rig": {"vehicle": {"id": "veh_muckle_2023_short"}}, "wishes": [{"name": "a step", "kind": "step"}]}
UNREADABLE = "sha256:" + "0b" * 32
OVERLAY = """name: Our shop's rules
changes:
  - of: plate-in-sight
    severity: blocking
    because: drivers here are fined
    examples:
      - {accessory.kind: bike_carrier, accessory.obscures_plate: no, gives: passes}
      - {accessory.kind: bike_carrier, accessory.obscures_plate: yes, load.jurisdiction: washington, gives: passes}
      - {accessory.kind: bike_carrier, accessory.obscures_plate: yes, gives: fails, so: blocks}
      - {accessory.kind: bike_carrier, gives: undetermined, so: open}
      - {accessory.kind: ball_mount, gives: not_applicable}
"""
FACT = """subject: accessory
facts:
  shelf_number:
    type: count
    range: [1, 999]
    label: number of the shelf
    meaning: In our yard.
    how_to_measure: Read it off the shelf.
    effort: label
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an overlay that lets the plate's rule block, and has a fact of its own."""
    folder = tmp_path_factory.mktemp("rules") / "shop"
    (folder / "vocabulary").mkdir(parents=True)
    (folder / "overlay.yaml").write_text(OVERLAY)
    (folder / "vocabulary" / "accessory.yaml").write_text(FACT)
    return folder


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a database with the demo's shop, to copy."""
    file = tmp_path_factory.mktemp("in_force") / "demo.db"
    assert main(["demo", "--into", str(file)]) == 0
    return file


@pytest.fixture
def database(filled: Path, tmp_path: Path) -> Iterator[Database]:
    """Give a database with the demo's shop, in which no rulebook was published."""
    shutil.copy(filled, tmp_path / "demo.db")
    opened = Database(f"sqlite:///{tmp_path / 'demo.db'}")
    yield opened
    opened.close()


def put(database: Database, folder: Path) -> str:
    """Publish a folder and bring it into force."""
    digest = cached_rulebook(folder).digest
    with database.session() as session:
        publish(session, digest, "ours", texts_of(folder), SHELL)
        activate(session, digest, SHELL, "a reason")
    return digest


def asked(database: Database, capfd: pytest.CaptureFixture[str], *more: str) -> tuple[str, str]:
    """The outcome of the carrier on the rig, and the digest of the rulebook that it was asked by."""
    options = ["--rig", RIG, "--accessory", SKU, "--json", "--database", database.url, *more]
    assert main(["answer", *options]) == 0
    found = json.loads(capfd.readouterr().out)
    return found["outcome"], found["rulebook"]["digest"]


def test_what_is_in_force_is_asked(
    database: Database, shop: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Before anything is in force fitsvc's own; then that, unless a folder is named. Its own facts can be told."""
    own = answerer().rulebook.digest
    assert asked(database, capfd) == ("conditional", own)
    digest = put(database, shop)
    assert digest != own
    assert asked(database, capfd) == ("fails", digest)
    assert asked(database, capfd, "--rules", str(data_dir("rules"))) == ("conditional", own)
    question = tmp_path / "question.json"
    question.write_text(json.dumps({"rig": {"id": RIG}, "accessory": {"sku": SKU}}))
    assert main(["answer", str(question), "--database", database.url]) == 0
    assert "FAILS" in capfd.readouterr().out
    assert main(["observe", SKU, "shelf_number=12", "--by", "Ann", "--database", database.url]) == 0
    assert main(["show", SKU, "--database", database.url]) == 0
    assert "number of the shelf" in capfd.readouterr().out


def test_every_command_that_asks_goes_by_it(
    database: Database, shop: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Selections, plans, work lists and audits of a database's rigs are by the digest that is in force there."""
    digest = put(database, shop)
    wishes, goods = tmp_path / "wishes.json", tmp_path / "goods.csv"
    wishes.write_text(json.dumps(WISHES))
    goods.write_text("sku,kind,shank,obscures_plate\nA-1,bike_carrier,2 in,yes\n")
    for command in (["select", "--rig", RIG], ["plan", str(wishes)]):
        assert main([*command, "--json", "--database", database.url]) == 0
        assert json.loads(capfd.readouterr().out)["rulebook"]["digest"] == digest, command
    assert main(["select", "--rig", RIG, "--outcome", "fails", "--text", SKU, "--database", database.url]) == 0
    assert SKU in capfd.readouterr().out
    assert main(["worklist", "--database", database.url]) == 0
    assert main(["audit", str(goods), "--database", database.url, "-o", str(tmp_path / "audit")]) == 0
    summary: dict[str, Any] = json.loads((tmp_path / "audit" / "summary.json").read_text("utf-8"))
    assert summary["rulebook"]["digest"] == digest


def test_what_cannot_be_read_is_passed_over_as_by_servers(
    database: Database, shop: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was in force before goes on, and it is said; where nothing is left, or signed, it is refused."""
    signed_by = "ed25519:" + "A" * 43 + "="
    with database.session() as session:
        publish(session, UNREADABLE, "later", {"rulebook.yaml": "name: later\n"}, SHELL)
        activate(session, UNREADABLE, SHELL, "a reason")
    command = ["answer", "--rig", RIG, "--accessory", SKU, "--database", database.url]
    assert main(command) == 2
    told = capfd.readouterr().err
    assert f"the published rulebook {UNREADABLE} cannot be served" in told
    assert "help: publish rules that this version of fitsvc reads" in told
    digest = put(database, shop)
    with database.session() as session:
        activate(session, UNREADABLE, SHELL, "a reason")
    assert main([*command, "--json"]) == 0
    found = capfd.readouterr()
    assert json.loads(found.out)["rulebook"]["digest"] == digest
    assert UNREADABLE in found.err and "what was in force before it is asked instead" in found.err
    monkeypatch.setenv("FITSVC_SIGNED_BY", signed_by)
    assert main(command) == 2
    assert "it is signed by nobody" in capfd.readouterr().err
