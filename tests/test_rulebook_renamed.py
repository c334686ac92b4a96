"""Nothing in fitsvc goes by a name of the shipped rulebook: with every name changed, its tests pass all the same."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from effort import NIGHTLY
from renaming import ROOT, Names, copy_renamed, renamed, shipped, spoken

from fitsvc.rulebook.loader import load_rulebook

PLANS = tuple(f"planning::test_no_set_is_smaller[{seed}]" for seed in range(12))
"""Enough of them for a name that is put back to be found out."""
BY_DAY = (
    "drawing_marks::test_what_is_open_is_marked_as_open",
    *PLANS,
    "rules_safety",
    "service_openapi::test_it_is_valid",
    "synthetic_planted::test_claims",
)
AT_NIGHT = (
    "answers_candidates", "answers_limits", "answers_next", "answers_promises", "answers_reading_aloud",
    "answers_remedies", "audits_pairs", "cli_answer", "counter_asking", "demo_world", "drawing", "drawing_bars",
    "drawing_marks", "drawing_sketches", "engine_allowances", "planning", "rules_clearance", "rules_ground",
    "rules_loads", "rules_published", "rules_road", "rules_safety", "rules_towing", "selection", "service_openapi",
    "service_plans", "service_remedies", "service_selections", "synthetic_planted",
)  # fmt: skip
"""What the rulebook does for people: answers, plans, drawings, pages, selections, audits. The rest is of the engine."""


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the project with every name changed."""
    return copy_renamed(tmp_path_factory.mktemp("renamed"))


def run(copy: Path, *arguments: str) -> "subprocess.CompletedProcess[str]":
    """Run Python in a copy, on the copy's own source."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    environment |= {"PYTHONPATH": str(copy), "FITSVC_CACHE": str(copy / "cache"), "FITSVC_PROFILE": "day"}
    # The tests need none of the plugins, which would take longer to load than most of them to run.
    environment |= {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    command = [sys.executable, "-m", *arguments]
    return subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)


def tried(copy: Path, *names: str) -> "subprocess.CompletedProcess[str]":
    """Run some of a copy's tests: a module's, or one of them."""
    chosen = (f"tests/test_{module}.py{sep}{test}" for module, sep, test in (name.partition("::") for name in names))
    return run(copy, "pytest", "-q", "-x", "-p", "no:cacheprovider", "-p", "pytest_timeout", *chosen)


def test_every_name_is_another(copy: Path) -> None:
    """The copy's rulebook has each rule, need, caution and kind of the shipped one under its other name alone."""
    rulebook, names = load_rulebook(copy / "rules"), shipped()
    ids = {one.id for group in (rulebook.rules, rulebook.limits, rulebook.needs, rulebook.cautions) for one in group}
    assert {id for id in ids if "/" not in id} == {renamed(name) for name in names.ids}
    assert set(rulebook.vocabulary.lists["accessory_kind"].members) == {renamed(kind) for kind in names.kinds}


def test_a_renamed_rulebook_is_checked_and_keeps_its_examples(copy: Path) -> None:
    """The command finds no fault, and every example gives what it says."""
    for command in ("check", "test"):
        done = run(copy, "fitsvc", "rules", command)
        assert done.returncode == 0, done.stdout


@pytest.mark.timeout(3_600)  # at night it is most of the suite in one process
def test_answers_plans_drawings_and_pages_go_by_no_name(copy: Path) -> None:
    """The tests of what the rulebook does for people pass on the renamed rulebook."""
    done = tried(copy, *(AT_NIGHT if NIGHTLY else BY_DAY))
    assert done.returncode == 0, done.stdout[-4_000:]


_BALL = 'if fills is not None and rulebook.needs[number - len(rulebook.rules)].id in ("ball", "hitch-pin") and'


@pytest.mark.parametrize(
    ("file", "old", "new", "tests"),
    [
        (
            "drawing/staging.py",
            "if rule.draws is None:",
            'if rule.id != "folded-clears-bumper":',
            ("drawing_marks::test_what_is_open_is_marked_as_open",),
        ),
        ("planning/wares.py", "if fills is not None and", _BALL, PLANS),
    ],
)
def test_a_name_in_the_source_is_found_out(copy: Path, file: str, old: str, new: str, tests: tuple[str, ...]) -> None:
    """A rule's or need's name put back into the source fails the renamed tests."""
    path = copy / "fitsvc" / file
    before = path.read_text("utf-8")
    assert old in before
    path.write_text(before.replace(old, new, 1), "utf-8")
    done = tried(copy, *tests)
    path.write_text(before, "utf-8")
    assert done.returncode == 1, done.stdout[-2_000:]


def test_no_text_in_the_source_is_a_name() -> None:
    """No module of fitsvc holds the name of a rule, limit, need, caution or kind."""
    found = {
        str(path.relative_to(ROOT)): hits
        for path in sorted((ROOT / "fitsvc").rglob("*.py"))
        if (hits := spoken(path.read_text("utf-8"), shipped()))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("source", "hits"),
    [
        ('MARKS = {"in-use-clears-bumper": 1}', [(1, "in-use-clears-bumper")]),
        ('x = 1\ny = kind == "bike_carrier"', [(2, "bike_carrier")]),
        ('x = f"{a} hitch_pin"', [(1, "hitch_pin")]),
        ('x = "step"', [(1, "step")]),
        ('x = "one step more"', []),
        ('"""As a bike_carrier."""', []),
        ('x = "ball"', []),
    ],
)
def test_a_name_is_seen_in_a_source(source: str, hits: list[tuple[int, str]]) -> None:
    """Names are seen as whole texts and within them, common words as whole texts only, docstrings not at all."""
    names = Names(
        frozenset(("in-use-clears-bumper", "hitch-pin", "ball")),
        frozenset(("bike_carrier", "step")),
        frozenset(("ball",)),
        frozenset(("ball",)),
    )
    assert spoken(source, names) == hits
