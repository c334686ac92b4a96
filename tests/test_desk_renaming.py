"""A fact renamed by an editor, through all files of a folder: it means what it meant, and is still known as it was."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from editors import Editor, Refused, editor, written

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.engine.examples import run_examples
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Editor]:
    """An editor, whichever folder its files are of."""
    with editor(tmp_path_factory.mktemp("desk")) as one:
        yield one


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A copy of the shipped rules to write at."""
    return Path(shutil.copytree(data_dir("rules"), tmp_path / "mine"))


@contextmanager
def held(session: Editor, path: Path, text: str | None = None) -> Iterator[str]:
    """A file that the editor holds, as it is on disk or with another text."""
    session.open(path, text)
    yield path.read_text("utf-8") if text is None else text
    session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})


@pytest.fixture(scope="module")
def half_written(session: Editor, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str]]:
    """A file that the editor holds with half a rule in it: its path and the text, in a folder that nothing changes."""
    folder = Path(shutil.copytree(data_dir("rules"), tmp_path_factory.mktemp("half") / "mine"))
    path = folder / "steps.yaml"
    path.write_text("topic: steps\nabout: x\n")
    text = (
        "topic: steps\nabout: x\nrules:\n  - id: a-rule\n    applies_when: accessory.kind == step and kind.carries\n"
        "    requires: mounting.pin_to_bumper > 1 in\n"
    )
    with held(session, path, text):
        yield path, text


def rename(session: Editor, path: Path, mark: str, to: str) -> dict[Path, str]:
    """Rename what stands behind a piece of a file, on disk, and give what was changed."""
    with held(session, path) as text:
        edits = session.at("rename", path, text, mark, newName=to)["changes"]
    return written_to_disk(edits)


def written_to_disk(edits: dict[str, Any]) -> dict[Path, str]:
    """Write the edits of an answer to the files that they are of."""
    changed = {}
    for uri, found in edits.items():
        path = Path(uri.removeprefix("file://"))
        changed[path] = written(path.read_text("utf-8"), found)
        path.write_text(changed[path], "utf-8")
    return changed


@cache
def shipped() -> int:
    """How many examples the shipped rules have."""
    return sum(map(len, load_rulebook(data_dir("rules")).examples.values()))


def kept(rulebook: Rulebook) -> int:
    """How many examples of a rulebook come out as they say; all of them do."""
    ran = run_examples(Point(rulebook), FactReader(rulebook))
    assert [one.owner for one in ran if not one.kept] == []
    return sum(map(len, rulebook.examples.values()))


def facts_of(rulebook: Rulebook, document: dict[str, Any]) -> dict[str, Any]:
    """What a question tells, typed."""
    return dict(read_question(document, FactReader(rulebook), NoRecords()).case.facts)


def test_a_fact_goes_by_its_new_name_in_every_file(session: Editor, mine: Path) -> None:
    """In rules, examples, guards, tables, hazards, the drawing and in Spanish; every example comes out as before."""
    changed = rename(session, mine / "clearance.yaml", "mounting.pin_to", "pin_to_rear_end")
    assert {"clearance.yaml", "hazards.yaml", "drawing.yaml", "rulebook.yaml", "mounting.yaml", "es.yaml"} <= {
        path.name for path in changed
    }
    left = [path.name for path in sorted(mine.rglob("*.yaml")) if "mounting.pin_to_bumper" in path.read_text("utf-8")]
    assert left == []
    after = load_rulebook(mine)
    assert kept(after) == shipped()
    assert after.vocabulary.facts["mounting.pin_to_rear_end"].formerly == ("pin_to_bumper",)


def test_comments_and_layout_stay(session: Editor, mine: Path) -> None:
    """Nothing else of any line is another; the vocabulary has one line more."""
    was = {path: path.read_text("utf-8").split("\n") for path in mine.rglob("*.yaml")}
    for path, text in rename(session, mine / "clearance.yaml", "mounting.pin_to", "pin_to_rear_end").items():
        now = [line for line in text.split("\n") if "formerly: [pin_to_bumper]" not in line]
        back = [line.replace("pin_to_rear_end", "pin_to_bumper") for line in now]
        assert back == was[path]


def test_what_was_asked_under_the_former_name_is_read(session: Editor, mine: Path) -> None:
    """A question with the name that a fact had tells the fact; one with both names is refused, and so is any other."""
    rename(session, mine / "clearance.yaml", "mounting.pin_to", "pin_to_rear_end")
    rulebook = load_rulebook(mine)
    old, new, both, none = (
        {"rig": {"mounting": {"facts": dict.fromkeys(names, "4 in")}}, "accessory": {"facts": {"kind": "step"}}}
        for names in (["pin_to_bumper"], ["pin_to_rear_end"], ["pin_to_bumper", "pin_to_rear_end"], ["pin_to_rear"])
    )
    assert facts_of(rulebook, old) == facts_of(rulebook, new)
    assert facts_of(rulebook, new)["mounting.pin_to_rear_end"] == (101.6, 101.6)
    with pytest.raises(ProblemsFound) as twice:
        facts_of(rulebook, both)
    (problem,) = twice.value.problems
    assert (problem.pointer, problem.message) == (
        "/rig/mounting/facts/pin_to_bumper",
        "the distance from pin hole to bumper is told twice",
    )
    with pytest.raises(ProblemsFound, match="is not a fact of mounting"):
        facts_of(rulebook, none)


def test_a_second_new_name_keeps_both_former_ones(session: Editor, mine: Path) -> None:
    """What was stored two names ago is read as well."""
    rename(session, mine / "clearance.yaml", "mounting.pin_to", "pin_to_rear_end")
    rename(session, mine / "clearance.yaml", "mounting.pin_to", "mounting.pin_to_rear")
    assert load_rulebook(mine).vocabulary.facts["mounting.pin_to_rear"].formerly == ("pin_to_rear_end", "pin_to_bumper")


@pytest.mark.parametrize(
    ("file", "mark", "to"),
    [
        ("adapters.yaml", "adapter.adds_le", "lengthens_by"),
        ("together.yaml", "beside.wei", "weighs"),
        ("vocabulary/accessory.yaml", "\n  capa", "carries_up_to"),
        ("vocabulary/vehicle.yaml", "\n  tyr", "rear_tyre"),
        ("together.yaml", "name: hung.on_re", "on_the_receiver"),
    ],
)
def test_facts_that_stand_without_their_subject_follow(
    session: Editor, mine: Path, file: str, mark: str, to: str
) -> None:
    """Those of adapters in examples, what others add; from the declaration as well; a tyre's parts; a derived value."""
    rename(session, mine / file, mark, to)
    assert kept(load_rulebook(mine)) == shipped()


def test_what_is_not_saved_is_renamed_too(session: Editor, mine: Path) -> None:
    """The edits are of the text that the editor holds."""
    path = mine / "steps.yaml"
    text = (
        "topic: steps\nabout: x\n# of mounting.pin_to_bumper\nderived:\n"
        "  - {name: steps.back, label: reach, type: length, is: mounting.pin_to_bumper + 1 in}\n"
    )
    path.write_text("topic: steps\nabout: x\n")
    with held(session, path, text):
        edits = session.at("rename", path, text, "is: mounting.pin", newName="back")["changes"]
    assert written(text, edits[path.as_uri()]) == text.replace("mounting.pin_to_bumper", "mounting.back")
    assert path.read_text() == "topic: steps\nabout: x\n"


@pytest.mark.parametrize(
    ("mark", "to", "why"),
    [
        ("requires: mounting.pin", "height", "`mounting.height` is there already"),
        ("requires: mounting.pin", "pin_to_bumper", "`mounting.pin_to_bumper` is there already"),
        ("requires: mounting.pin", "vehicle.pin", "a fact of another subject (write `mounting.NAME`)"),
        ("requires: mounting.pin", "Pin to bumper", "cannot be a name (use small letters, digits and `_`)"),
        ("requires: mounting.pin", "", "cannot be a name"),
        ("when: accessory.ki", "sort", "`accessory.kind` is known to fitsvc by its name"),
        ("and kind.car", "borne", "is no fact and no derived value"),
        ("id: a-r", "b-rule", "is no fact and no derived value"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(
    session: Editor, half_written: tuple[Path, str], mark: str, to: str, why: str
) -> None:
    """Nothing is changed then, and the editor shows why."""
    path, text = half_written
    with pytest.raises(Refused) as refused:
        session.at("rename", path, text, mark, newName=to)
    assert why in str(refused.value)
    assert path.read_text("utf-8") == "topic: steps\nabout: x\n"


def test_rules_with_faults_are_mended_first(session: Editor, mine: Path) -> None:
    """Whether the rules mean the same cannot be said of rules that mean nothing yet."""
    (mine / "steps.yaml").write_text("topic: steps\nabout: x\nrules: [{id: a}]\n")
    path = mine / "clearance.yaml"
    with held(session, path) as text, pytest.raises(Refused, match="a rule lacks `title`"):
        session.at("rename", path, text, "mounting.pin_to", newName="back")


@pytest.mark.parametrize(
    ("new", "wrong"),
    [
        ("    formerly: [height]\n", "`height` is `mounting.height`, so it cannot stand for this one"),
        ("    formerly: [mounting.back]\n", "this was never a fact's name"),
        ("    formerly: back\n", "`formerly` is a list"),
    ],
)
def test_a_former_name_that_is_taken_is_refused(mine: Path, new: str, wrong: str) -> None:
    """What is told by it could be of either fact."""
    path = mine / "vocabulary" / "mounting.yaml"
    text = path.read_text("utf-8")
    path.write_text(text.replace("  pin_to_bumper:\n", f"  pin_to_bumper:\n{new}", 1))
    with pytest.raises(ProblemsFound, match=wrong.replace("(", r"\(")):
        load_rulebook(mine)
