"""Slips that an author makes and no example shows: what `rules check`, `show` and `show --coverage` say of each."""

import shutil
from pathlib import Path

import pytest

from fitsvc.cli import main
from fitsvc.engine.checking import faults_of
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook

RULE = """topic: shop
about: What the shop asks besides.
rules:
  - id: shop-step
    title: The step is one that the shop sells
    applies_when: WHEN
    requires: REQUIRES
    severity: blocking
    fails_because: "TEXT"
    source: {kind: common_practice}
    examples:
      - {accessory.kind: step, accessory.capacity: 20 lb, receiver.tongue_rating: 20 lb, gives: passes}
      - {accessory.kind: step, accessory.capacity: 21 lb, receiver.tongue_rating: 20 lb, gives: fails, so: blocks}
      - {accessory.kind: step, gives: undetermined, so: open}
"""
SOUND = {"WHEN": "accessory.kind == step", "REQUIRES": "accessory.capacity <= opening.tongue_rating", "TEXT": "No."}


def written(folder: Path, **slip: str) -> Path:
    """The shipped rules with one of the shop's own."""
    shutil.copytree(data_dir("rules"), folder)
    text = RULE
    for name, was in SOUND.items():
        text = text.replace(name, slip.get(name, was))
    (folder / "shop.yaml").write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize(
    ("slip", "told"),
    [
        ({}, ""),
        ({"WHEN": "accessory.kind in [step, step]"}, "`step` is among them already"),
        ({"TEXT": "It takes {accessory.capacity} lb."}, "is told with its unit, so that `lb` stands twice"),
        ({"TEXT": "It takes {margin} kg too much."}, "is told with its unit, so that `kg` stands twice"),
        ({"TEXT": ""}, "`fails_because` is empty"),
        (
            {"REQUIRES": "accessory.capacity <= receiver.tongue_rating"},
            "`shop-step` reads `receiver.tongue_rating`, which is not what an adapter leaves of it",
        ),
        ({"REQUIRES": "receiver.tongue_rating >= 1 lb and accessory.capacity <= opening.tongue_rating"}, ""),
    ],
    ids=[
        "none",
        "a member twice",
        "a unit twice",
        "a margin's unit",
        "an empty text",
        "past adapters",
        "a figure's own",
    ],
)
def test_a_slip_is_told(tmp_path: Path, slip: dict[str, str], told: str) -> None:
    """Each where it stands; a receiver's figure held to one written in the rule is the receiver's own affair."""
    try:
        problems = list(faults_of(load_rulebook(written(tmp_path / "rules", **slip))))
    except ProblemsFound as found:
        problems = list(found.problems)
    assert [told in str(one) for one in problems] == [True] * bool(told), [str(one) for one in problems]


def test_check_refuses_a_text_that_says_unknown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A text that tells a figure which its rule does not read."""
    folder = written(tmp_path / "rules", TEXT="It is {accessory.length} long.")
    assert main(["rules", "check", str(folder)]) == 1
    assert '`fails_because` of `shop-step` says "unknown" here' in capsys.readouterr().out


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("accessory.weight", "is a fact, in"),
        ("strongest_ball", "is a table, in"),
        ("accessory_kind", "is a list, in"),
        ("kind.carries", "is a role of kinds, in"),
        ("opening.trailer_rating", "is a figure of the working opening, in"),
        ("comar-classes", "is a source, in"),
    ],
)
def test_showing_what_is_no_rule_tells_what_it_is(capsys: pytest.CaptureFixture[str], name: str, told: str) -> None:
    """Not the nearest rule: what it is, where it stands, and which command tells of it."""
    assert main(["rules", "show", name]) == 2
    error = " ".join(capsys.readouterr().err.split())
    assert f"`{name}` {told}" in error and ".yaml:" in error and "`fitsvc rules " in error


def test_a_table_that_nothing_looks_up_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a fact that nothing reads: whoever wrote it meant a rule to rest on it."""
    folder = written(tmp_path / "rules")
    table = "{id: shop_most, title: t, key: mass, gives: mass, bands: [{is: 1 lb}], source: {kind: common_practice}}"
    (folder / "tables" / "shop.yaml").write_text(f"tables:\n  - {table}\n", "utf-8")
    assert main(["rules", "show", "--coverage", str(folder)]) == 1
    assert "Tables that nothing looks up\n  shop_most\n" in capsys.readouterr().out
