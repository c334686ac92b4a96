"""`rules fmt`: one way to lay out rule files; comments and meaning stay, and a second time changes nothing."""

import re
import shutil
from pathlib import Path
from random import Random

import pytest
from conformance.run import FOLDER
from effort import NIGHTLY

from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.folder import rule_files, yaml_files
from fitsvc.rulebook.formatting import formatted
from fitsvc.rulebook.meaning import digest_of
from fitsvc.rulebook.yaml_text import read_yaml, to_plain

MESSY = """\

# What the file is about.
topic:   steps   # behind a value


about: "A text
     on two lines: {braces} and # no comment."
rules:
# Of the first rule.
-   id:  a
    examples:
      - {  accessory.kind : step,gives: passes  }   # behind an example
      -   { accessory.kind: step,
            accessory.weight: 2 lb }

    # Behind the examples.
    source:
       kind:   common_practice
-   - nested
    -   deeper:
            - x
  # The last word.
"""
LAID = """\
# What the file is about.
topic: steps  # behind a value

about: "A text
     on two lines: {braces} and # no comment."
rules:
  # Of the first rule.
  - id: a
    examples:
      - {accessory.kind: step, gives: passes}  # behind an example
      - {accessory.kind: step,
            accessory.weight: 2 lb}

    # Behind the examples.
    source:
      kind: common_practice
  - - nested
    - deeper:
        - x
# The last word.
"""


def test_a_messy_file_is_laid_out() -> None:
    """Levels, spaces and blank lines are set right; comments stay, and texts with what looks like any of these."""
    assert formatted(MESSY, "steps.yaml") == LAID
    assert to_plain(read_yaml(LAID, "steps.yaml")) == to_plain(read_yaml(MESSY, "steps.yaml"))


@pytest.mark.parametrize("folder", [data_dir("rules"), FOLDER / "rules"], ids=["shipped", "own"])
def test_the_files_are_laid_out(folder: Path) -> None:
    """Every file that ships stands as `rules fmt` would write it."""
    assert [str(path) for path in yaml_files(folder) if _laid(path) != path.read_text("utf-8")] == []


def _laid(path: Path) -> str:
    return formatted(path.read_text("utf-8"), path.name)


def disordered(rng: Random, text: str) -> str:
    """A file with spaces and blank lines put where they mean nothing."""
    lines = []
    for line in text.splitlines():
        if rng.random() < 0.1:
            lines += [" " * rng.randrange(5)] * rng.randint(1, 3)
        line += " " * rng.choice((0, 0, 1, 3))
        if rng.random() < 0.3:
            line = re.sub(r"^( *- )(?=\S)", r"\1", line)
            line = re.sub(r"^( *[a-z_.]+):(?= [^|>])", r"\1:  ", line, count=1)
        lines.append(line)
    wider = rng.random() < 0.5
    return ("\r\n" if rng.random() < 0.3 else "\n").join(_wider(line) if wider else line for line in lines)


def _wider(line: str) -> str:
    """Twice as far in, with what stands behind a dash as far in as the lines below it."""
    far = re.match(r" *(?:- )*", line)
    assert far
    return re.sub(r"-?  ?", lambda one: "-   " if "-" in one[0] else one[0] * 2, far[0]) + line[far.end() :]


@pytest.mark.parametrize("seed", range(300 if NIGHTLY else 3))
def test_a_disordered_file_comes_to_what_it_was(seed: int) -> None:
    """But for where blank lines stand, and lines that go on: those are the writer's."""
    rng = Random(seed)
    for path in rng.sample(rule_files(data_dir("rules")), 4):
        text = path.read_text("utf-8")
        if not re.search(r"(?m)^ *[^ #-][^:#]*$", text):
            laid = formatted(disordered(rng, text), path.name)
            assert [line for line in laid.splitlines() if line] == [line for line in text.splitlines() if line], path


def test_the_command_lays_out_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--check` names what is not laid out and changes nothing; without it the file is written, and means the same."""
    rules = tmp_path / "rules"
    shutil.copytree(FOLDER / "rules", rules)
    digest, kept = digest_of(rules), (rules / "every.yaml").read_text("utf-8")
    (rules / "every.yaml").write_text(kept.replace("topic: every", "topic:    every"), "utf-8")
    assert main(["rules", "fmt", "--check", str(rules)]) == 1
    assert "every.yaml" in capsys.readouterr().out
    assert main(["rules", "fmt", str(rules)]) == 0
    assert main(["rules", "fmt", "--check", str(rules)]) == 0
    assert ((rules / "every.yaml").read_text("utf-8"), digest_of(rules)) == (kept, digest)
    (rules / "every.yaml").write_text("topic: [", "utf-8")
    assert main(["rules", "fmt", str(rules / "every.yaml")]) == 1
    assert "every.yaml:2" in capsys.readouterr().out


def test_what_is_no_rule_file_is_told() -> None:
    """A fault of YAML is told as `rules check` tells it."""
    with pytest.raises(ProblemsFound):
        formatted("a: b: c\n", "steps.yaml")
