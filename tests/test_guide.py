"""What the README and the guide show is so: every command and request in them is run, every output compared."""

import os
import re
import shlex
import shutil
import socket
import sys
import sysconfig
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
import yaml
from markdown_it import MarkdownIt
from walkthrough import blocks_of, carry_out
from warm import shim

from fitsvc.answers.answering import Answerer
from fitsvc.cli.app import app
from fitsvc.engine.cautioning import cautions_of
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

ROOT = Path(__file__).parent.parent
GUIDE = [one for one in sorted((ROOT / "fitsvc" / "guide").glob("*.md")) if one.stem != "commands"]
"""The guide's pages but the one that is written from the commands, and held to them as a whole."""
SHIPPED = ("fitsvc", "rules", "migrations", "seed_demo", ".ci", "pyproject.toml", "README.md", "DEVELOPERS.md")
THE_TESTS = "sh .ci/test\n"
"""The one command that no test carries out: it is the one that runs them."""
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
      - {accessory.kind: step, accessory.tread_depth: 3-15/16 in, gives: fails, so: blocks}
      - {accessory.kind: step, gives: undetermined, so: open}
"""


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """A copy of the rulebook to add to."""
    return Path(shutil.copytree(data_dir("rules"), tmp_path / "rules"))


def append_rule(rules: Path, text: str) -> None:
    """Add a rule at the end of a topic's rules."""
    file = rules / "road.yaml"
    before, rest = file.read_text("utf-8").split("\nrules:\n", 1)
    file.write_text(f"{before}\nrules:\n{text.strip(chr(10))}\n{rest}", "utf-8")


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


@pytest.fixture
def port() -> Iterator[int]:
    """Give a port that is free."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        found = int(probe.getsockname()[1])
    yield found


def swaps(port: int) -> dict[str, str]:
    """What a page's commands say otherwise here, so that many may run beside each other: the port."""
    return {"127.0.0.1:8000": f"127.0.0.1:{port}", "fitsvc serve": f"fitsvc serve --port {port}"}


@pytest.mark.parametrize("page", GUIDE, ids=lambda one: one.stem)
def test_a_page_of_the_guide_can_be_carried_out(page: Path, tmp_path: Path, port: int) -> None:
    """Every command and request of a page is run in an empty folder, and prints what the page shows."""
    path = f"{shim(tmp_path / '.bin')}:{Path(sys.executable).parent}:{os.environ['PATH']}"
    carry_out(page, tmp_path, swaps(port), {"PYTHONPATH": str(ROOT), "PATH": path})


def test_rules_and_tables_that_pages_show_are_as_they_should_be(rules: Path) -> None:
    """What authors copy: a topic of the guide is checked without a caution, and the reference names columns there are.

    A rule that reads past an adapter, or a column that is gone, would else be what everybody begins with.
    """
    page = (ROOT / "fitsvc/guide/rules.md").read_text("utf-8")
    shown = [text for text in re.findall(r"```yaml\n(.*?)```", page, re.DOTALL) if text.startswith("topic: ")]
    sound = [text for text in shown if "topic: slip" not in text]
    assert len(sound) == len(shown) - 1 > 0  # one is refused, as the page says
    assert not cautions_of(load_rulebook(rules), rules)
    for text in sound:
        (rules / f"{yaml.safe_load(text)['topic']}.yaml").write_text(text, "utf-8")
    book = load_rulebook(rules)
    assert not cautions_of(book, rules)
    reference = (data_dir("rules") / "README.md").read_text("utf-8")
    named = {}
    for text in re.findall(r"```yaml\n(.*?)```", reference, re.DOTALL):
        read = yaml.safe_load(text)
        if isinstance(read, list) and "columns" in read[0] and read[0]["id"] in book.tables:
            named[read[0]["id"]] = {*read[0]["columns"], *(key for row in read[0]["rows"].values() for key in row)}
    assert named.keys() == {"brake_law"}
    for id, columns in named.items():
        assert columns - {"source"} <= book.tables[id].columns.keys()


def test_the_readme_can_be_carried_out(tmp_path: Path, port: int) -> None:
    """Every command of the README is run in a fresh copy: it installs fitsvc, and asks it what it shows.

    What fitsvc depends on is at hand from the tests' own environment, so that no other host is needed.
    """
    for name in SHIPPED:
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, tmp_path / name)
    packages = sysconfig.get_paths()["purelib"]
    offline = {"PIP_NO_INDEX": "1", "PIP_NO_DEPS": "1", "PIP_NO_BUILD_ISOLATION": "0"}
    env = {"PYTHONPATH": packages, "PIP_DISABLE_PIP_VERSION_CHECK": "1", **offline}
    carry_out(tmp_path / "README.md", tmp_path, {THE_TESTS: ":\n", **swaps(port)}, env)
    assert (tmp_path / ".venv/bin/fitsvc").exists()


def test_the_command_that_runs_the_tests_is_the_one_that_is_run() -> None:
    """The README's command for the tests is the first that all checks begin with."""
    assert THE_TESTS in [block.text for block in blocks_of(ROOT / "README.md")]
    assert f"\n{THE_TESTS}" in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("page", [ROOT / "README.md", *GUIDE], ids=lambda one: one.stem)
def test_every_file_that_a_page_shows_is_used(page: Path) -> None:
    """A block that is a file is named by a later command of its page; so no block stands there unheld."""
    blocks = blocks_of(page)
    for number, block in enumerate(blocks):
        later = "".join(one.text for one in blocks[number + 1 :] if one.is_run)
        assert not block.file or Path(block.file).parts[0] in later, f"{page.name}:{block.line}: {block.file}"


def commands_in(page: Path) -> list[list[str]]:
    """The commands within a page's sentences, as words."""
    tokens = MarkdownIt("commonmark").enable("table").parse(page.read_text("utf-8"))
    inline = [inner.content for one in tokens for inner in one.children or () if inner.type == "code_inline"]
    return [shlex.split(code) for code in inline if code.startswith("fitsvc ")]


@pytest.mark.parametrize("page", [ROOT / "README.md", ROOT / "rules" / "README.md", *GUIDE], ids=str)
def test_commands_and_options_within_sentences_exist(page: Path) -> None:
    """A command that is named in passing exists, and so do its options."""
    for words in commands_in(page):
        command: click.Command = app
        rest = words[1:]
        while rest and isinstance(command, click.Group) and not rest[0].startswith("-"):
            command = command.get_command(click.Context(command), rest.pop(0)) or pytest.fail(f"no `{words}`")
        known = {name for one in command.params for name in (*one.opts, *one.secondary_opts)} | {"--help", "-h"}
        assert {word for word in rest if word.startswith("-") and word != "-"} <= known, words


@pytest.mark.parametrize("page", [ROOT / "README.md", ROOT / "rules" / "README.md", *GUIDE], ids=str)
def test_links_lead_to_files(page: Path) -> None:
    """What a page links to, or shows, is in the tree."""
    for link in re.findall(r"\]\(([^)#]+)", page.read_text("utf-8")):
        assert "://" in link or (page.parent / link).exists(), link
