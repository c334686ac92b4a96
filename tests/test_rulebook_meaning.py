"""How two folders of rules differ: exactly where their digests do, and which examples tell."""

import re
import shutil
from pathlib import Path

import pytest

from fitsvc.cli import main
from fitsvc.engine.compared import compare_examples
from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import differences, digest_of

OWN = data_dir("rules")
KINDS = "  accessory_kind:\n"


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Give a copy of fitsvc's own rules to change."""
    folder = tmp_path / "changed"
    shutil.copytree(OWN, folder)
    return folder


def change(folder: Path, file: str, old: str, new: str) -> None:
    """Change one place of a file."""
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1))


CHANGES = [
    ("clearance.yaml", "clearance.ball_behind >= 3 in", "clearance.ball_behind >= 4 in", "ball-clears-bumper"),
    ("coupling.yaml", "severity: blocking", "severity: caution", "shank-fits-opening"),
    ("tables/classes.yaml", "up_to: 2000 lb", "up_to: 2100 lb", "trailer_class"),
    ("vocabulary/ball.yaml", "label: ball", "label: round ball", "ball.diameter"),
    ("vocabulary/lists.yaml", "pickup: pickup", "pickup: pick-up", "body"),
    ("capacity.yaml", "label: weight of carrier and load", "label: weight of both", "carried.weight"),
    ("rulebook.yaml", "The lowest rating governs", "The least rating governs", "lowest-rating-governs"),
    ("rulebook.yaml", "name: fitsvc core", "name: another", "rulebook.yaml"),
    ("adapters.yaml", "reach: 0 in", "reach: 1 in", "bare"),
]


@pytest.mark.parametrize(("file", "old", "new", "name"), CHANGES)
def test_a_change_is_told_at_its_entry(rules: Path, file: str, old: str, new: str, name: str) -> None:
    """Whatever changes the digest is told, at the one entry that changed."""
    change(rules, file, old, new)
    assert digest_of(rules) != digest_of(OWN)
    (found,) = differences(OWN, rules)
    assert (found.where, found.name) == (file, name)
    assert found.old and found.new and found.old != found.new


def test_what_means_nothing_is_not_told(rules: Path) -> None:
    """Comments, the order of keys, spacing and examples change neither digest nor differences."""
    for path in rules.rglob("*.yaml"):
        text = re.sub(r"^( +)- \{.*gives: not_applicable\}\n", r"\1# less\n", path.read_text(), flags=re.MULTILINE)
        text = re.sub(r"\{from: ([\w.]+), on:", r"{from: (\1), on:", text)
        path.write_text("# a comment\n" + text.replace(" == ", "  ==  "))
    assert "from: (hung.places)" in (rules / "rulebook.yaml").read_text()
    assert digest_of(rules) == digest_of(OWN)
    assert differences(OWN, rules) == []


def test_another_order_of_rules_is_told(rules: Path) -> None:
    """Findings are told in the order of the rules, so that order is meaning too."""
    text = (rules / "rulebook.yaml").read_text()
    entries = re.split(r"(?m)^(?=  - id: )", text)
    (rules / "rulebook.yaml").write_text(entries[0] + entries[2] + entries[1] + "".join(entries[3:]))
    assert digest_of(rules) != digest_of(OWN)
    (found,) = differences(OWN, rules)
    assert (found.section, found.name) == ("cautions", "order")


def test_examples_tell_what_a_threshold_moves(rules: Path) -> None:
    """The examples on which two rulebooks differ are those beside the rule that changed."""
    change(rules, "clearance.yaml", "clearance.ball_behind >= 3 in", "clearance.ball_behind >= 4 in")
    compared = compare_examples(load_rulebook(OWN), load_rulebook(rules))
    assert compared.changed and {one.owner for one in compared.changed} == {"ball-clears-bumper"}
    assert ("passes", "fails, so: caution") in {(one.old, one.new) for one in compared.changed}
    assert compare_examples(load_rulebook(OWN), load_rulebook(OWN)).changed == ()


def test_a_fact_that_one_rulebook_lacks_is_no_traceback(rules: Path) -> None:
    """An example that one of the rulebooks cannot be asked is told so."""
    change(rules, "vocabulary/receiver.yaml", "  opening:\n", "  mouth:\n")
    for path in rules.glob("*.yaml"):
        path.write_text(path.read_text().replace("receiver.opening", "receiver.mouth"))
    compared = compare_examples(load_rulebook(OWN), load_rulebook(rules))
    assert {one.old.split(":")[0].split(",")[0] for one in compared.changed} >= {"no answer", "passes", "fails"}


def renamed(rules: Path) -> None:
    """Give a fact another name, under which every file has it, and say so of it."""
    change(rules, "vocabulary/accessory.yaml", "  lowest_drop:\n", "  lowest_point:\n    formerly: [lowest_drop]\n")
    for path in (*rules.glob("*.yaml"), *rules.glob("words/*.yaml")):
        path.write_text(re.sub(r"\baccessory\.lowest_drop\b", "accessory.lowest_point", path.read_text()))


def test_another_name_alone_is_told_as_that_alone(rules: Path) -> None:
    """What reads the fact means the same, and its examples come out alike, asked by either name of both."""
    renamed(rules)
    for old, new, was in ((OWN, rules, None), (rules, OWN, ["lowest_drop"])):
        compared = compare_examples(load_rulebook(old), load_rulebook(new))
        assert compared.changed == () and compared.asked > 4_000
        if was is None:
            (found,) = differences(old, new)
            assert (found.name, found.old, found.new) == ("accessory.lowest_point", {}, {"formerly": ["lowest_drop"]})
    change(rules, "ground.yaml", "accessory.lowest_point", "accessory.lowest_point + 1 in")
    told = [one for one in differences(OWN, rules) if one.section != "facts"]
    assert len(told) == 1 and "lowest_point" in str(told[0].old) and "lowest_drop" not in str(told[0].old)


def test_another_id_and_another_kind_alone_are_told_as_that_alone(
    rules: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A rule and a kind that are called otherwise: their examples are the same ones, and each differs by its name."""
    change(
        rules,
        "coupling.yaml",
        "id: shank-fits-opening\n",
        "id: shank-is-its-size\n    formerly: [shank-fits-opening]\n",
    )
    change(rules, "vocabulary/lists.yaml", "      step: {word", "      hitch_step: {word")
    change(rules, "vocabulary/lists.yaml", KINDS, f"{KINDS}    formerly: {{step: hitch_step}}\n")
    # Examples may tell it under either name; the words for it lead to that of today.
    change(rules, "words.yaml", "kind: step}", "kind: hitch_step}")
    before, called, words = (rules / "words.yaml").read_text().partition("\ncalled:\n")
    assert ": [step]\n" in words
    (rules / "words.yaml").write_text(before + called + words.replace(": [step]\n", ": [hitch_step]\n"))
    old, new = load_rulebook(OWN), load_rulebook(rules)
    assert new.today("shank-fits-opening") == "shank-is-its-size"
    for one, other in ((old, new), (new, old)):
        compared = compare_examples(one, other)
        assert compared.changed == () and compared.gone == 0 and compared.asked > 4_000
    (told,) = [one for one in differences(OWN, rules) if one.section == "rules"]
    assert (told.name, told.old, told.new) == ("shank-is-its-size", {}, {"formerly": ["shank-fits-opening"]})
    assert main(["rules", "show", "shank-fits-opening", str(rules)]) == 0
    assert "shank-is-its-size, a rule in" in capsys.readouterr().out
    fact = new.vocabulary.facts["accessory.kind"]
    reader = FactReader(new)
    assert reader.value(fact, "step") == reader.value(fact, "hitch_step") == reader.value(fact, ["step"])


@pytest.mark.parametrize(
    ("file", "entry", "former", "message"),
    [
        ("coupling.yaml", "id: pin-fits-hole\n", "[shank-fits-opening]", "cannot stand for"),
        ("vocabulary/lists.yaml", KINDS, "{step: bike_carrier}", "is a member"),
        ("vocabulary/lists.yaml", KINDS, "{rack: bike_carier}", "no member"),
    ],
)
def test_a_former_name_that_is_another_s_is_refused(
    rules: Path, file: str, entry: str, former: str, message: str
) -> None:
    """What is told by it could be of either."""
    change(rules, file, entry, f"{entry}    formerly: {former}\n")
    with pytest.raises(ProblemsFound, match=message):
        load_rulebook(rules)


def test_the_command_compares_for_people(rules: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both digests, what an entry said and says, and the examples that tell; a broken folder is told as by `check`."""
    change(rules, "clearance.yaml", "clearance.ball_behind >= 3 in", "clearance.ball_behind >= 4 in")
    change(rules, "tables/coupling.yaml", "1 in: 1-1/8 in", "1 in: 1-1/4 in")
    assert main(["rules", "compare", str(OWN), str(rules)]) == 0
    told = capsys.readouterr().out
    for text in (
        "changed  rules: ball-clears-bumper (clearance.yaml)\n",
        "- requires: clearance.ball_behind >= 3 in\n",
        "+ requires: clearance.ball_behind >= 4 in\n",
        "- rows.1 in: 1-1/8 in\n",
        "ball-clears-bumper: passes, now fails, so: caution\n",
        "2 differences, ",
        f"old {digest_of(OWN)}\nnew {digest_of(rules)}\n",
    ):
        assert text in told
    change(rules, "clearance.yaml", "clearance.ball_behind >= 4 in", "clearance.ball_behind >= 4 lb")
    assert main(["rules", "compare", str(OWN), str(rules)]) == 1
    assert "clearance.yaml:" in capsys.readouterr().out
    assert main(["rules", "compare", str(OWN), str(rules / "nowhere")]) == 2
    assert "does not exist" in capsys.readouterr().err
