"""What goes wrong with files, names and merges where a shop keeps rules of its own: told once, at its cause."""

from pathlib import Path

import pytest
from test_rulebook_loader import FILES, write

from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import digest_of

SHOP = FILES["coupling.yaml"].replace("coupling", "shop").replace("carried.weight", "shop.weight")
SHOP = SHOP.replace("id: shank-fits", "id: shop-shank").replace("id: not-too-heavy", "id: shop-light")
TABLES, LISTS = FILES["tables/classes.yaml"], FILES["vocabulary/lists.yaml"]
ACCESSORY, RULES, TOP = FILES["vocabulary/accessory.yaml"], FILES["coupling.yaml"], FILES["rulebook.yaml"]
ANOTHER = "  - {id: ID, text: Mind that., source: {kind: common_practice}}\n"
SHANK = "requires: accessory.shank"
READS_IT = RULES.replace(SHANK, SHANK.replace("accessory", "lookup(heavy, accessory.kind) <= 9 lb and accessory"))

SLIPS = {
    "a folder below": ({"shop/shop.yaml": SHOP}, "shop/shop.yaml", "this file is not read", "into the folder itself"),
    "tables deeper": ({"tables/more/law.yaml": TABLES}, "tables/more/law.yaml", "this file is not read", "`tables/`"),
    "another ending": ({"shop.yml": SHOP}, "shop.yml", "this file is not read", "name it `shop.yaml`"),
    "a table twice": (
        {"tables/zz.yaml": TABLES}, "tables/zz.yaml",
        "there is a table `heavy` already, in rules/tables/classes.yaml, line 2", "another id",
    ),
    "a caution twice": (
        {"rulebook.yaml": TOP + ANOTHER.replace("ID", "c")}, "rulebook.yaml", "`c` is taken by an entry", "another id"
    ),
    "a caution named as a rule": (
        {"rulebook.yaml": TOP + ANOTHER.replace("ID", "shank-fits")}, "rulebook.yaml",
        "`shank-fits` is taken", "another id",
    ),
    "a key twice, as a merge leaves it": (
        {"vocabulary/lists.yaml": LISTS + LISTS}, "vocabulary/lists.yaml",
        "the key `lists` stands here", "",
    ),
    "marks of a merge": (
        {"coupling.yaml": f"<<<<<<< HEAD\n{RULES}=======\n>>>>>>> shop\n"}, "coupling.yaml",
        "a merge left a conflict", "keep one side",
    ),
    "a faulty fact that is read": (
        {"vocabulary/accessory.yaml": ACCESSORY.replace("[0 lb, 900 lb]", "[0 lb, many]")},
        "vocabulary/accessory.yaml", "`many` is not a quantity", "",
    ),
    "a faulty table that is read": (
        {"tables/classes.yaml": TABLES.replace("step: 10 lb, ", ""), "coupling.yaml": READS_IT},
        "tables/classes.yaml", "the table has no row for `step`", "",
    ),
    "a faulty derived value that is read": (
        {"coupling.yaml": RULES.replace("label: carried weight, ", "")}, "coupling.yaml",
        "a derived value lacks `label`", "",
    ),
    "a table that is not there": (
        {"coupling.yaml": READS_IT.replace("heavy", "heavier")}, "coupling.yaml",
        "there is no table `heavier`", "heavy",
    ),
    "an adapter in a rule": (
        {"coupling.yaml": RULES.replace("== opening.size", "== adapter.offers")}, "coupling.yaml",
        "there is no fact `adapter.offers` here", "rules read the `opening.`",
    ),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_one_slip_is_told_once(tmp_path: Path, slip: str) -> None:
    """Each slip is one problem, at the file that has it, with what to do: never silent, nor told with what follows."""
    changes, file, message, help = SLIPS[slip]
    folder = write(tmp_path, {})
    cached_rulebook(folder)
    write(tmp_path, changes)
    for load in (load_rulebook, cached_rulebook):
        with pytest.raises(ProblemsFound) as caught:
            load(folder)
        (problem,) = caught.value.problems
        assert (problem.file, problem.message.startswith(message)) == (f"rules/{file}", True), problem
        assert help in problem.help


@pytest.mark.parametrize("name", [".git/x/a.yaml", ".#coupling.yaml", "notes.txt", "shop/readme.md"])
def test_what_is_hidden_or_no_yaml_is_no_rule_file(tmp_path: Path, name: str) -> None:
    """Files of git, of an editor, and notes beside the rules are passed over, and change no digest."""
    folder = write(tmp_path, {})
    before = digest_of(folder)
    write(tmp_path, {name: "a: [b"})
    assert (load_rulebook(folder).digest, digest_of(folder)) == (before, before)
