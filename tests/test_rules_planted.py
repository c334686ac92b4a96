"""Faults planted in the shipped rules, one in each of some entries: what refuses or breaks names every one of them.

`check` is asked of a folder with what it can see, the examples of one with what only they can, `compare` of figures
that are right nowhere but in their source. What only a proof can see is planted in `test_proving_planted`.
"""

import shutil
from pathlib import Path

import pytest

from fitsvc.engine.mutating import Mutating
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import differences

Edit = tuple[str, str, str, str]
"""A file, the entry in it, and what is written there in place of what."""

TO_CHECK: dict[str, tuple[Edit, str]] = {
    "a wrong unit": (("road.yaml", "width-on-the-road", "<= 102 in", "<= 102 lb"), "length"),
    "a fact that is not there": (
        ("clearance.yaml", "folded-clears-bumper", "accessory.stow_setback +", "accessory.stow_setbak +"),
        "stow_setbak",
    ),
    "a member that is not there": (("road.yaml", "overhang-in-australia", "== australia", "== austria"), "austria"),
    "a rule twice": (
        ("clearance.yaml", "ball-clears-bumper", "ball-clears-bumper", "ball-behind-bumper"),
        "ball-behind",
    ),
    "a severity that is none": (("clearance.yaml", "load-clears-bumper", "blocking", "bloking"), "bloking"),
    "a unit that makes it too large to matter": (
        ("bikes.yaml", "carrier-takes-usual-wheelbase", ">= 48 in", ">= 48 ft"),
        "is never 48 ft",
    ),
    "no source": (("clearance.yaml", "tailgate-clears-jack", "source:", "sauce:"), "source"),
}
TO_EXAMPLES: dict[str, Edit] = {
    "a loosened limit": ("road.yaml", "width-on-the-road", "<= 102 in", "<= 103 in"),
    "a tightened limit": ("clearance.yaml", "ball-clears-bumper", ">= 3 in", ">= 4 in"),
    "a wrong unit of the kind": ("clearance.yaml", "load-clear-of-exhaust", "distance >= 18 in", "distance >= 18 mm"),
    "the very figure": ("road.yaml", "reach-behind-without-flag", "< 48 in", "<= 48 in"),
    "a comparison turned round": ("clearance.yaml", "in-use-clears-bumper", ">= mounting", "<= mounting"),
    "a sign turned round": ("clearance.yaml", "folded-clears-bumper", "+ opening.reach", "- opening.reach"),
    "a gap": ("clearance.yaml", "folded-not-close-to-bumper", "clearance.folded >= 0 in", "clearance.folded > 0 in"),
    "a contradiction": ("clearance.yaml", "ball-behind-bumper", ">= 0 in", "< 0 in"),
    "a dead rule": ("clearance.yaml", "load-clears-bumper", "kind.carries and", "kind.carries and kind.tows and"),
    "a rule nothing fails": ("road.yaml", "plate-in-sight", "requires: ", "requires: yes or "),
    "a guard that is gone": ("clearance.yaml", "enclosed-clears-bumper", "kind.encloses", "yes"),
    "a kind that is forgotten": ("clearance.yaml", "door-clears-jack", "[side_hinged, twin_doors]", "[side_hinged]"),
    "a no made a caution": ("coupling.yaml", "shank-fits-opening", "blocking", "caution"),
    "a caution made a no": ("clearance.yaml", "turns-clear-of-jack", "caution", "blocking"),
    "a factor": ("road.yaml", "reach-behind-in-california", "2 * vehicle", "3 * vehicle"),
    "the other fact": ("clearance.yaml", "load-clears-door-spare", "clearance.loaded >=", "clearance.folded >="),
}
TO_COMPARE: dict[str, Edit] = {
    "a law's figure": ("tables/law_brakes.yaml", "alabama:", "line: 3000 lb", "line: 3500 lb"),
    "a stale date": ("sources.yaml", "az-28-952:", "as_of: undated", "as_of: read 1996"),
    "a source seen otherwise": ("sources.yaml", "nc-20-124:", "seen: secondary", "seen: text"),
}


def planted(folder: Path, *edits: Edit) -> Path:
    """The shipped rules, with each edit made where its entry stands."""
    shutil.copytree(data_dir("rules"), folder)
    for name, entry, old, new in edits:
        text = (folder / name).read_text("utf-8")
        at = text.index(old, text.index(entry))
        (folder / name).write_text(text[:at] + new + text[at + len(old) :], "utf-8")
    return folder


def test_check_names_each(tmp_path: Path) -> None:
    """All are told at once, each at its line with what is wrong there."""
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(planted(tmp_path / "rules", *(edit for edit, _ in TO_CHECK.values())))
    told = [f"{problem.file}: {problem}" for problem in found.value.problems]
    for name, ((file, _, _, _), word) in TO_CHECK.items():
        assert any(file in line and word in line for line in told), (name, told)


def test_examples_name_each(tmp_path: Path) -> None:
    """An entry's own examples break, and those of what was left as it was do not."""
    mutating = Mutating(planted(tmp_path / "rules", *TO_EXAMPLES.values()))
    names = [entry for _, entry, _, _ in TO_EXAMPLES.values()]
    silent = [what for what, (_, entry, _, _) in TO_EXAMPLES.items() if not mutating.broken([entry])]
    assert (silent, len(set(names))) == ([], len(names))
    assert not mutating.broken(["close-to-door-spare"])


def test_comparison_names_each(tmp_path: Path) -> None:
    """What no example can know to be wrong is told as a difference, by its table, before anybody answers by it."""
    new = planted(tmp_path / "rules", *TO_COMPARE.values())
    found = {(one.where, one.name): one for one in differences(data_dir("rules"), new)}
    table, dated, seen = (
        ("tables/law_brakes.yaml", "brake_law"),
        ("sources.yaml", "az-28-952"),
        ("sources.yaml", "nc-20-124"),
    )
    assert found.keys() == {table, dated, seen}
    assert "3500 lb" in str(found[table].new) and "3500 lb" not in str(found[table].old)
    assert (found[dated].old, found[dated].new) == ({"as_of": "undated"}, {"as_of": "read 1996"})
    assert (found[seen].old, found[seen].new) == ({"seen": "secondary"}, {"seen": "text"})
