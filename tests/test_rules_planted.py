"""Faults planted in the shipped rules: what refuses or breaks names every one of them.

Once one in each of some entries: `check` is asked of a folder with what it can see, the examples of one with what only
they can, `compare` of figures that are right nowhere but in their source. And each in a rulebook of its own, of which a
command is asked, as an author asks it: by day of some, at night of all. What only a proof about a whole rulebook can
see is planted in `test_proving_planted`, each in a rulebook of a few rules.
"""

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
from effort import NIGHTLY

from fitsvc.cli import main
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


@dataclass(frozen=True)
class Alone:
    """A fault that a rulebook of its own has, the command that names it there, how that ends, and what it says."""

    edits: tuple[Edit, ...]
    command: str
    code: int
    says: str


BORDER = "accessory.width: 102-1/16 in, gives: fails"
AGREED: tuple[Edit, ...] = (
    ("road.yaml", "width-on-the-road", "<= 102 in", "<= 103 in"),
    ("road.yaml", "width-on-the-road", BORDER, BORDER.replace("102-1/16", "103-1/16")),
    ("road.yaml", "width-on-the-road", "102-1/16 in, load.jurisdiction", "104 in, load.jurisdiction"),
    ("road.yaml", "width-on-the-road", "102-1/16 in, load.cargo", "104 in, load.cargo"),
)
"""A limit that was misread, and its examples with it: nothing in the folder itself contradicts it."""
AT_THE_BORDER = "{accessory.kind: ball_mount, accessory.length: 8 in, mounting.pin_to_bumper: 5-1/16 in,"
ONE_BY_ONE: dict[str, Alone] = {
    **{name: Alone((edit,), "check {new}", 1, word) for name, (edit, word) in TO_CHECK.items()},
    "words not read for years": Alone(
        (("sources.yaml", "az-28-952:", "read: 2026", "read: 2020"),), "check {new}", 0, "az-28-952 read in 2020"
    ),
    **{name: Alone((edit,), f"mutate {edit[1]} --rules {{new}}", 1, edit[1]) for name, edit in TO_EXAMPLES.items()},
    **{
        # What lets more pass wants somebody's name.
        name: Alone((edit,), "compare {old} {new}", int(name == "a law's figure"), edit[1].rstrip(":"))
        for name, edit in TO_COMPARE.items()
    },
    "a loosened limit, examples too": Alone(AGREED, "compare {old} {new}", 1, "width-on-the-road"),
    "a loosened limit, by proof": Alone(AGREED, "compare {old} {new} --prove", 1, "differs width-on-the-road: fails"),
    "a border that no example holds": Alone(
        (("clearance.yaml", "ball-clears-bumper", AT_THE_BORDER, AT_THE_BORDER.replace("5-1/16", "6")),),
        "mutate ball-clears-bumper --rules {new} --no-search",
        1,
        "ball-clears-bumper requires: 3 in -> 2.9375 in",
    ),
    "a dead rule, by proof": Alone(
        (TO_EXAMPLES["a dead rule"],), "prove load-clears-bumper --only dead --rules {new}", 1, "never surely applies"
    ),
    "a rule nothing passes": Alone(
        (("clearance.yaml", "ball-clears-bumper", "clearance.ball_behind >= 3 in", "clearance.ball_behind < -3 in"),),
        "prove ball-clears-bumper --only dead --rules {new}",
        1,
        "nothing that `ball-clears-bumper` applies to passes it",
    ),
    "a rule nothing fails, by proof": Alone(
        (TO_EXAMPLES["a rule nothing fails"],), "prove plate-in-sight --only idle --rules {new}", 1, "plate-in-sight"
    ),
    "a guard that contradicts itself": Alone(
        (("clearance.yaml", "ball-clears-bumper", "applies_when: ", "applies_when: kind.carries and "),),
        "prove ball-clears-bumper --only dead --rules {new}",
        1,
        "ball-clears-bumper",
    ),
}


@pytest.mark.parametrize("name", [*ONE_BY_ONE] if NIGHTLY else [*ONE_BY_ONE][::4])
def test_a_command_names_the_one_fault(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each in a rulebook that has no other: a gap, a contradiction, a dead rule, a limit, a unit, a date, and so on."""
    one = ONE_BY_ONE[name]
    new = planted(tmp_path / "rules", *one.edits)
    words = [word.format(old=data_dir("rules"), new=new) for word in one.command.split()]
    code = main(["rules", *words])
    told = capsys.readouterr()
    assert code == one.code, told
    assert one.says in " ".join((told.out + told.err).split())


def test_there_are_thirty() -> None:
    """Rulebooks with one fault each, beside those that only a whole proof can see."""
    assert len(ONE_BY_ONE) >= 30
