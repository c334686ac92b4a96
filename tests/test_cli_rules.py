"""`fitsvc rules`: check, test and show."""

import json
import re
import shutil
import subprocess
import sys
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from conformance.run import FOLDER

from fitsvc.cli import main
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Give a copy of fitsvc's own rules to spoil."""
    folder = tmp_path / "rules"
    shutil.copytree(data_dir("rules"), folder)
    return folder


def spoil(path: Path, old: str, new: str) -> int:
    """Change one place of a file, and return its line."""
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    return text[: text.index(old)].count("\n") + 1


def test_a_subject_that_no_question_can_name_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Rules about it would be green and never asked."""
    assert main(["rules", "check", str(FOLDER / "rules")]) == 1
    told = capsys.readouterr().out
    assert "vocabulary/cargo.yaml: error: no question has a part `cargo`" in told and "`accessory`" in told


def test_own_rules_are_without_problems(capsys: pytest.CaptureFixture[str]) -> None:
    """The rules that ship pass their check, and their counts and digest are told."""
    assert main(["rules", "check"]) == 0
    told = capsys.readouterr().out
    assert "no problems" in told
    assert "\nsha256:" in told


def test_all_problems_of_all_files_are_told(rules: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A check tells every problem of every file, each with file and line, and ends with 1."""
    first = spoil(rules / "coupling.yaml", "requires: accessory.shank ==", "requires: accessory.shnk ==")
    second = spoil(rules / "capacity.yaml", "severity: blocking", "severity: blockin")
    assert main(["rules", "check", str(rules)]) == 1
    told = capsys.readouterr()
    assert f"rules/coupling.yaml:{first}:" in told.out
    assert f"rules/capacity.yaml:{second}:" in told.out
    assert "help: did you mean `accessory.shank`?" in told.out
    assert told.err == ""


def test_facts_of_examples_are_checked(rules: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An example whose fact cannot be read is a fault of the check too."""
    line = spoil(rules / "coupling.yaml", "accessory.shank: 2 in", "accessory.shank: 2 mm")
    assert main(["rules", "check", str(rules)]) == 1
    told = capsys.readouterr().out
    assert f"rules/coupling.yaml:{line}:" in told
    assert told.endswith("1 problem\n")


def test_examples_are_kept(capsys: pytest.CaptureFixture[str]) -> None:
    """The examples beside the rules that ship are all kept."""
    assert main(["rules", "test"]) == 0
    assert ", 0 broken" in capsys.readouterr().out


def test_a_broken_example_is_told_with_its_place(rules: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An example that promises something else is told with file and line, and the command ends with 1."""
    line = spoil(rules / "coupling.yaml", "opening: 2 in, gives: passes", "opening: 2 in, gives: fails, so: blocks")
    assert main(["rules", "test", str(rules)]) == 1
    told = capsys.readouterr().out
    assert f"rules/coupling.yaml:{line}:" in told
    assert "gives passes here, the example says fails, so: blocks" in told
    assert told.endswith(" 1 broken\n")


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("has a {accessory.shank} shank", "weighs {accessory.weight}", 'says "unknown" here'),
        ("has a {accessory.shank} shank", "[{accessory.weight}|it is] {accessory.width}", 'says "unknown" here'),
        ("text: Loads shake. Tighten", "text: Tighten {load.cargo_weight} and", 'says "unknown"'),
    ],
    ids=["of another fact", "beside brackets", "a caution"],
)
def test_a_text_that_says_unknown_is_refused(
    rules: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, where: str
) -> None:
    """Where a figure should be no text says "unknown", in an example or with any one of its facts not known."""
    (file,) = (path for path in rules.glob("*.yaml") if old in path.read_text())
    file.write_text(file.read_text().replace(old, new, 1))
    assert main(["rules", "test", str(rules)]) == 1
    assert where in capsys.readouterr().out


def test_coverage_tells_what_examples_leave_out(capsys: pytest.CaptureFixture[str]) -> None:
    """Kinds it may apply to and no example is about, facts that none tells, and words of its texts that none has."""
    assert main(["rules", "coverage", "shank-fits-opening"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert told.startswith("shank-fits-opening gives passes ") and "fails, so: blocks " in told
    assert "shown for 2 of 13 kinds, not for adjustable_ball_mount" in told
    assert "1 with examples: 1 not shown for every kind" in told
    assert main(["rules", "coverage", "shank-fits"]) == 2


@pytest.mark.parametrize("command", ["check", "test"])
def test_a_folder_without_rules_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    """A folder that holds no rulebook fails the check; one that is not there is bad input."""
    assert main(["rules", command, str(tmp_path)]) == 1
    assert "the rulebook has no rulebook.yaml" in capsys.readouterr().out
    assert main(["rules", command, str(tmp_path / "nowhere")]) == 2
    assert "does not exist" in capsys.readouterr().err


def test_a_rule_is_shown_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    """A rule is shown with its title, its conditions, reasons, source, what it reads and its examples."""
    assert main(["rules", "show", "shank-fits-opening"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("The shank is the size of the opening\nshank-fits-opening, a rule in rules/coupling.yaml:")
    for words in (
        "applies when   ",
        "requires       accessory.shank == opening.size",
        "severity       blocking",
        "source         common practice",
        "remedy  ",
        "What it reads",
        "accessory's shank",
        "Examples",
        "fails, so: blocks         accessory.kind ball_mount",
    ):
        assert words in told


@pytest.mark.parametrize(
    ("id", "kind"),
    [
        ("trailer_weight", "a limit"),
        ("trailer-weight/ball.rating", "a limit"),
        ("hitch_pin", "a need"),
        ("lowest-rating-governs", "a caution"),
    ],
)
def test_whatever_an_answer_names_is_shown(capsys: pytest.CaptureFixture[str], id: str, kind: str) -> None:
    """Limits, needs and cautions are shown by the names that answers give them."""
    assert main(["rules", "show", id]) == 0
    assert f", {kind} in rules/" in capsys.readouterr().out


def test_an_unknown_rule_names_the_nearest(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A name that is not there gets the nearest one that is."""
    assert main(["rules", "show", "shank-fit-opening"]) == 2
    assert "help: did you mean `shank-fits-opening`?" in capsys.readouterr().err
    assert main(["rules", "show", "axle"]) == 2
    told = capsys.readouterr().err
    near = re.findall("`([^`]+)`", told.partition("the nearest are ")[2])
    assert len(near) == 5 and all("axle" in one for one in near)
    assert main(["rules", "show", near[-1]]) == 0
    capsys.readouterr()
    assert main(["rules", "show", "nope"]) == 2
    assert "`adapter-pin`" not in capsys.readouterr().err
    assert main(["rules", "show", "shank-fits-opening", str(tmp_path)]) == 2
    assert "holds no rules" in capsys.readouterr().err


def test_coverage_tells_topics_rules_tables_and_facts(capsys: pytest.CaptureFixture[str]) -> None:
    """Each topic stands with its rules and what they read, through derived values, tables and adapters."""
    assert main(["rules", "show", "--coverage"]) == 0
    told = capsys.readouterr().out
    plain = " ".join(told.split())
    assert "coupling: " in told
    assert (
        "shank-fits-opening: The shank is the size of the opening accessory.kind, accessory.shank, receiver.opening"
        in plain
    )
    assert "tables usual_pin" in plain
    assert "vehicle.make: a text, told as it is" in told
    assert "trailer.weight_distribution: " in told.partition("Choices that an answer may be decided by")[2]
    assert told.endswith("Facts that nothing reads\n  none\n")


def test_a_fact_that_nothing_reads_is_told(rules: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rulebook that asks for a fact without using it ends with 1."""
    spoil(
        rules / "vocabulary" / "ball.yaml",
        "facts:\n",
        (
            "facts:\n  shine:\n    type: ratio\n    range: [0 %, 100 %]\n"
            "    label: shine\n    meaning: How bright it is.\n"
            "    how_to_measure: Look at it.\n    effort: ask\n"
        ),
    )
    assert main(["rules", "show", "--coverage", str(rules)]) == 1
    assert capsys.readouterr().out.endswith("Facts that nothing reads\n  ball.shine\n")


def test_showing_nothing_is_refused(capsys: pytest.CaptureFixture[str], rules: Path) -> None:
    """Without an id or `--coverage` there is nothing to show, and both do not go together."""
    assert main(["rules", "show"]) == 2
    assert "no rule is named" in capsys.readouterr().err
    assert main(["rules", "show", "hitch-pin", str(rules), "--coverage"]) == 2
    assert "leave `hitch-pin` out" in capsys.readouterr().err


def test_showing_a_rule_starts_no_store_and_no_service() -> None:
    """Help and `rules show` stay light: neither the database's nor the service's libraries are imported."""
    code = (
        "import sys; from fitsvc.cli import main; main(['rules', 'show', 'hitch-pin']); main(['--help']);"
        "print(sorted({'litestar', 'sqlalchemy', 'sqlmodel', 'uvicorn', 'pint'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert done.stderr == "[]\n"


def facts(*words: str) -> str:
    """What the command tells of some words."""
    with redirect_stdout(StringIO()) as told:
        assert main(["rules", "facts", *words]) == 0
    return " ".join(told.getvalue().split())


def test_a_fact_is_found_by_a_word_of_it() -> None:
    """It tells what it means, how it is measured, how it is written, what is plausible, and examples of the rules."""
    told = facts("bumper", "pin", "foremost")
    assert told.startswith("accessory.front_setback: distance from pin hole to the accessory's front means Centre of")
    assert "found by Measure from the pin hole's centre" in told and "(measure it with a tape)" in told
    assert "a figure with a unit (in, ft, mm, cm, m)" in told and "plausible between -30 in and 90 in" in told
    assert "such as 10 in, 5 in" in told


def test_choices_and_what_is_usual_are_told() -> None:
    """Of a list its members with their words; of a pin hole what it nearly always is."""
    assert "bike_carrier (bike carrier), " in facts("accessory.kind")
    assert "usually lookup(usual_pin, receiver.opening), where receiver.opening in" in facts("receiver.pin_hole")
    assert "`yes` or `no`; `null` is not known" in facts("needs_closure_open")


def test_many_facts_are_a_line_each() -> None:
    """All of them without a word; with a kind those that its rules read, and no others."""
    book = cached_rulebook(data_dir("rules"))
    assert f" {len(book.vocabulary.facts)} facts." in facts()
    of_a_pin, of_a_rack = facts("--kind", "locking_pin"), facts("--kind", "bike_carrier")
    assert "accessory.pin_span" in of_a_pin and "accessory.bike_wheelbase_max" not in of_a_pin
    assert "accessory.bike_wheelbase_max" in of_a_rack


def test_facts_are_told_as_the_service_tells_them() -> None:
    """As `/v1/vocabulary` has them, those asked for."""
    (fact,) = json.loads(facts("--json", "accessory.shank"))["facts"]
    assert (fact["name"], fact["type"]) == ("accessory.shank", "opening_size")


@pytest.mark.parametrize(
    ("words", "message", "help"),
    [
        (["wieght"], "no fact has `wieght` in its name or meaning", "did you mean `weight`?"),
        (["--kind", "steb"], "`steb` is not a kind with roles", "did you mean `step`?"),
    ],
)
def test_a_word_of_no_fact_is_told_the_nearest(
    words: list[str], message: str, help: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A slip of the pen leads on."""
    assert main(["rules", "facts", *words]) == 2
    told = capsys.readouterr().err
    assert message in told and help in told
