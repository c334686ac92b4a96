"""What the README shows is so: its rule loads and changes answers, its Python runs, its commands exist."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fitsvc.answers.answering import Answerer
from fitsvc.engine.examples import run_examples
from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.loading.load import load_file
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.store.database import Database

README = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
STEP = {"kind": "step", "shank": "2 in", "pin": "5/8 in", "lowest_drop": "6 in"}
QUESTION = {
    "rig": {
        "receiver": {"facts": {"opening": "2 in", "pin_hole": "5/8 in"}},
        "mounting": {"facts": {"height": "12 in"}},
    },
    "accessory": {"facts": STEP},
}
NEW_FACT = """
  tread_depth:
    type: length
    range: [0 in, 20 in]
    label: depth of the tread
    meaning: How deep the step's tread is, front to rear.
    how_to_measure: Measure the tread from front to rear.
    effort: tape
"""
NEW_RULE = """
  - id: tread-deep-enough
    title: The tread takes a foot
    applies_when: accessory.kind in [step]
    requires: accessory.tread_depth >= 4 in
    severity: blocking
    fails_because: "The tread is {accessory.tread_depth} deep."
    source: {kind: common_practice}
    examples:
      - {accessory.kind: step, accessory.tread_depth: 4 in, gives: passes}
      - {accessory.kind: step, accessory.tread_depth: 3-15/16 in, gives: fails}
      - {accessory.kind: step, gives: undetermined}
"""


def block(language: str, begins: str = "") -> str:
    """The README's first block in a language that begins so."""
    found = re.search(rf"```{language}\n({re.escape(begins)}.*?)```", README, re.DOTALL)
    assert found, f"the README has no block in {language}"
    return found.group(1)


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """A copy of the rulebook to add to."""
    return Path(shutil.copytree(data_dir("rules"), tmp_path / "rules"))


def append_rule(rules: Path, text: str) -> None:
    """Add a rule at the end of a topic's rules."""
    file = rules / "road.yaml"
    before, rest = file.read_text("utf-8").split("\nrules:\n", 1)
    file.write_text(f"{before}\nrules:\n{text.strip(chr(10))}\n{rest}", "utf-8")


def test_the_rule_in_ten_lines_holds(rules: Path) -> None:
    """The README's rule loads, and gives what its examples promise."""
    append_rule(rules, "\n".join("  " + line for line in block("yaml", "- id:").splitlines()))
    answerer = Answerer(load_rulebook(rules))
    ran = [one for one in run_examples(answerer.engine, answerer.reader) if one.owner == "step-clears-ground"]
    assert len(ran) == 3
    assert all(one.kept for one in ran)


def test_a_new_fact_and_rule_change_answers_without_python(rules: Path) -> None:
    """A fact and a rule in YAML alone turn an answer, and the digest with it."""
    before = Answerer(load_rulebook(rules))
    vocabulary = rules / "vocabulary" / "accessory.yaml"
    vocabulary.write_text(vocabulary.read_text("utf-8").rstrip("\n") + NEW_FACT, "utf-8")
    append_rule(rules, NEW_RULE)
    after = Answerer(load_rulebook(rules))
    found = after.answer(QUESTION)
    assert "tread-deep-enough" not in {finding.rule for finding in before.answer(QUESTION).findings}
    assert found.outcome == "undetermined"
    assert next(step.works_if for step in found.next if step.fact == "accessory.tread_depth") == "at least 4 in"
    shallow = {**QUESTION, "accessory": {"facts": {**STEP, "tread_depth": "3 in"}}}
    assert after.answer(shallow).outcome == "fails"
    assert before.rulebook.digest != after.rulebook.digest


def test_a_length_compared_with_a_mass_is_refused_at_its_place(rules: Path) -> None:
    """The problem names the file, the line and the column of the comparison, and shows the line."""
    append_rule(rules, NEW_RULE.replace("accessory.tread_depth >= 4 in", "accessory.weight >= 4 in"))
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(rules)
    place = next(problem for problem in found.value.problems if "cannot be compared" in problem.message)
    line = (rules / "road.yaml").read_text("utf-8").splitlines()[place.line - 1]
    assert place.file.endswith("road.yaml")
    assert line[place.column - 1 :].startswith(">= 4 in")


def test_the_records_load(database: Database, tmp_path: Path) -> None:
    """The README's CSV and JSON Lines go into the store."""
    line = re.search(r'`(\{"subject": "receiver".*?\}\})`', README)
    assert line
    files = [tmp_path / "mine.csv", tmp_path / "mine.jsonl"]
    for file, text in zip(files, (block("csv"), line.group(1)), strict=True):
        file.write_text(text, "utf-8")
    reader = FactReader(load_rulebook(data_dir("rules")))
    stored = [load_file(database, reader, file).stored for file in files]
    assert stored == [{"accessory": 1, "ball": 1}, {"receiver": 1}]


def test_the_python_runs() -> None:
    """The README's Python prints an outcome and a sentence."""
    ran = subprocess.run([sys.executable, "-c", block("python")], capture_output=True, text=True, check=True)
    assert ran.stdout.startswith("fails No.")


@pytest.mark.parametrize("command", sorted(set(re.findall(r"fitsvc ((?:rules |db |key )?[a-z]+)", README))))
def test_commands_named_exist(command: str) -> None:
    """Every command that the README names has a help text."""
    words = [word for word in command.split() if word not in ("answers", "works")]
    if words and words[0] in ("answer", "serve", "demo", "load", "rules", "db", "key", "audit", "plan", "select"):
        ran = subprocess.run([sys.executable, "-m", "fitsvc", *words, "--help"], capture_output=True, text=True)
        assert ran.returncode == 0, ran.stderr
