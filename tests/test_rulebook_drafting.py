"""One rule changed by itself: read with the whole rulebook's names, and taken away as a file that its folder takes."""

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import LONGEST, Drafting, Entry
from fitsvc.rulebook.folder import OVERLAY
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Limit, Need, Rule

OWN = data_dir("rules")
SHANK = "shank-fits-opening"
SIZE = "requires: accessory.shank == opening.size"
SHIPPED = Drafting(OWN)


def entry(id: str, drafting: Drafting = SHIPPED) -> Entry:
    """An entry that is there."""
    found = drafting.entry(id)
    assert found is not None
    return found


def with_(old: str, new: str, id: str = SHANK, drafting: Drafting = SHIPPED) -> str:
    """The text of an entry with one place changed."""
    text = entry(id, drafting).text
    assert old in text
    return text.replace(old, new, 1)


def problems(text: str, id: str = SHANK) -> list[str]:
    """What is wrong with a text, each with its line and column."""
    return [f"{one.line}:{one.column} {one.message}" for one in SHIPPED.tried(entry(id), text).problems]


def test_each_rule_limit_and_need_reads_as_it_stands() -> None:
    """Its text, out of its file, is the entry that the loader has read there: nothing is wrong and nothing is other."""
    book = SHIPPED.book
    ids = [rule.id for rule in book.rules if not rule.limit]
    ids += [one.id for one in book.limits] + [one.id for one in book.needs]
    for id in ids:
        one = entry(id)
        found = SHIPPED.tried(one, one.text)
        assert (found.problems, found.looser, found.same) == ((), "", True), id
        assert found.book is not None and one.slice is not None
        assert (found.book.rules, found.book.limits, found.book.needs) == (book.rules, book.limits, book.needs)
        assert one.slice.source.text[one.slice.start : one.slice.end] in one.path.read_text("utf-8")
    assert SHIPPED.entry("no-such-rule") is None


def test_faults_are_told_by_the_lines_that_are_typed() -> None:
    """All of them, in the loader's own words; what is no entry of a rule is told as such."""
    text = with_(SIZE, "requires: accessory.weight == opening.size").replace("severity: blocking", "severity: bloking")
    assert problems(text) == [
        "4:28 a mass cannot be compared with a length: `accessory.weight` and `opening.size`",
        "5:11 `bloking` is not a severity",
    ]
    assert problems("x") == ["1:1 a rule is written as `key: value` lines"]
    assert problems("") and problems("- [") and problems("a: &b 1") and problems("a: 1\na: 2") and problems("\x00")
    assert problems(with_("id: shank", "id: other")) == ["1:5 this page changes `shank-fits-opening`"]
    assert problems("x" * (LONGEST + 1)) == [f"0:0 it has more than {LONGEST} characters"]
    assert problems("[" * 5_000) and problems("id: " + "(" * 5_000)
    assert problems(with_("title: ", "titel: "))[0] == "2:1 a rule has no key `titel`"


@given(st.text(max_size=300) | st.integers(0, 600).map(lambda end: entry(SHANK).text[:end]))
def test_whatever_is_typed_is_read_or_told(text: str) -> None:
    """Nothing that is typed ends in anything but a rulebook or problems."""
    found = SHIPPED.tried(entry(SHANK), text)
    assert (found.book is None) == bool(found.problems)


@pytest.mark.parametrize(
    ("id", "old", "new", "looser"),
    [
        (SHANK, SIZE, f"{SIZE} and accessory.shank == accessory.shank", ""),
        (SHANK, "==", "<=", "what it requires is not shown to be as strict as before"),
        (SHANK, "severity: blocking", "severity: caution", "where it fails the answer is milder"),
        (SHANK, "applies_when: not kind.only_pin\n", "", ""),
        (SHANK, "not kind.only_pin", "kind.only_pin", "where it applies is not shown to be as wide as before"),
        ("tongue-weight", "  - towing.opening_tongue_rating\n", "", "`tongue-weight/"),
    ],
)
def test_whether_more_may_pass_is_told(id: str, old: str, new: str, looser: str) -> None:
    """By the same look as an overlay's changes: at what shows by its form."""
    found = SHIPPED.tried(entry(id), with_(old, new, id))
    assert found.problems == () and not found.same
    assert found.looser.startswith(looser) and bool(found.looser) == bool(looser)


def test_a_limit_and_a_need_are_read_in_their_places() -> None:
    """The rulebook has as much as before, in the same order, and the changed one is other."""
    for id, old, new, kind in (
        ("tongue-weight", "title: Most tongue weight", "title: Most weight on the ball", Limit),
        (next(one.id for one in SHIPPED.book.needs), "title: ", "title: New, ", Need),
    ):
        book = SHIPPED.tried(entry(id), with_(old, new, id)).book
        assert book is not None
        assert [one.id for one in book.rules] == [one.id for one in SHIPPED.book.rules]
        lists: list[Rule | Limit | Need] = [*book.limits, *book.needs]
        changed = [one for one in lists if isinstance(one, kind) and one.id == id]
        assert changed and changed[0] not in (*SHIPPED.book.limits, *SHIPPED.book.needs)


def laid(folder: Path, text: str) -> Path:
    """A folder that is an overlay."""
    folder.mkdir()
    (folder / OVERLAY).write_text(text, "utf-8")
    return folder


def test_of_the_shipped_rules_a_draft_is_an_overlay(tmp_path: Path) -> None:
    """It loads as one folder with them, says only what is other, and that it is looser where it may be."""
    text = with_("==", "<=").replace("severity: blocking", "severity: caution  # for now")
    with pytest.raises(ProblemsFound, match="told where it passes by the core's `title`"):
        SHIPPED.draft(entry(SHANK), text, "shanks: a try", "we: tried #3")
    text = text.replace("The shank is the size of", "The shank goes into")
    draft = SHIPPED.draft(entry(SHANK), text, "shanks: a try", "we: tried #3")
    assert draft.overlay and draft.name == OVERLAY
    book = load_rulebook(laid(tmp_path / "yard", draft.text))
    assert book.name == "shanks: a try" and book.digest != SHIPPED.book.digest
    rule = next(one for one in book.rules if one.id == SHANK)
    assert (rule.severity, rule.requires_text) == ("caution", "accessory.shank <= opening.size")
    assert "loosens: yes" in draft.text and "examples" not in draft.text and "# for now" in draft.text
    told = [one for one in book.cautions if one.id == f"looser-{SHANK}"]
    assert len(told) == 1 and "we: tried #3" in str(told[0].text[0])
    stricter = SHIPPED.draft(entry(SHANK), with_(SIZE, f"{SIZE} and known(accessory.pin)"), "n", "b")
    assert "loosens" not in stricter.text


def test_a_key_that_is_taken_out_is_left_out_there(tmp_path: Path) -> None:
    """With nothing behind it, as an overlay says that; an entry in braces is taken as well."""
    draft = SHIPPED.draft(entry(SHANK), with_("applies_when: not kind.only_pin\n", ""), "n", "b")
    rule = next(one for one in load_rulebook(laid(tmp_path / "a", draft.text)).rules if one.id == SHANK)
    assert rule.guard is None
    one = entry("shank-fits-opening")
    flow = "{" + ", ".join(f'{key}: "{value}"' for key, value in {"id": SHANK, "title": "Another: it is"}.items()) + "}"
    assert "lacks" in problems(flow)[0]
    hyphen = "- " + one.text.replace("\n", "\n  ").rstrip() + "\n"
    assert SHIPPED.tried(one, hyphen).same


def test_of_a_folder_of_its_own_a_draft_is_the_whole_file(tmp_path: Path) -> None:
    """Every other byte of the file is as it was, its comments too."""
    rules = tmp_path / "rules"
    shutil.copytree(OWN, rules)
    drafting = Drafting(rules)
    draft = drafting.draft(entry(SHANK, drafting), with_("==", "<=", drafting=drafting), "n", "")
    before = (rules / "coupling.yaml").read_text("utf-8")
    assert not draft.overlay and draft.name == "coupling.yaml"
    assert draft.text == before.replace(SIZE, SIZE.replace("==", "<="), 1)
    assert (rules / "coupling.yaml").read_text("utf-8") == before
    again = drafting.draft(entry(SHANK, drafting), entry(SHANK, drafting).text, "n", "")
    assert again.text == before


def test_of_an_overlay_a_draft_is_its_own_file_or_its_changes(tmp_path: Path) -> None:
    """A change of the core's stands behind the others, or in the place of one of the same rule; a rule of its own."""
    yard = laid(tmp_path / "yard", "name: the yard\n# ours\n")
    drafting = Drafting(yard)
    untitled = with_("==", "<=", drafting=drafting)
    titled = untitled.replace("The shank is the size of", "The shank goes into")
    first = drafting.draft(entry(SHANK, drafting), titled, "n", "first")
    assert first.text.startswith("name: the yard\n# ours\nchanges:\n  - of: shank-fits-opening\n")
    (yard / OVERLAY).write_text(first.text + "# the end\n", "utf-8")
    drafting = Drafting(yard)
    assert "<=" in entry(SHANK, drafting).text
    flag = "reach-behind-without-flag"
    stricter = with_("48 in", "36 in", flag, drafting)
    with pytest.raises(ProblemsFound, match="`title` of `reach-behind-without-flag` is still the core's"):
        drafting.draft(entry(flag, drafting), stricter, "n", "second")
    stricter = stricter.replace("4 ft", "3 ft", 1).replace("From {48 in} on", "From {36 in} on")
    second = drafting.draft(entry(flag, drafting), stricter, "n", "second")
    assert second.text.index(SHANK) < second.text.index(f"of: {flag}") < second.text.index("# the end")
    (yard / OVERLAY).write_text(second.text, "utf-8")
    drafting = Drafting(yard)
    third = drafting.draft(entry(SHANK, drafting), with_("<=", ">=", drafting=drafting), "n", "third")
    assert third.text.count(f"of: {SHANK}") == 1 and "first" not in third.text and "second" in third.text
    (yard / OVERLAY).write_text(third.text, "utf-8")
    assert next(one for one in load_rulebook(yard).rules if one.id == SHANK).requires_text.endswith(">= opening.size")
    own = "topic: own\nabout: Ours.\nrules:\n  - " + entry(SHANK).text.replace(SHANK, "own-shank").replace(
        "\n", "\n    "
    )
    (yard / "own.yaml").write_text(own.rstrip() + "\n", "utf-8")
    drafting = Drafting(yard)
    draft = drafting.draft(entry("own-shank", drafting), with_("==", "<=", "own-shank", drafting), "n", "")
    assert draft.name == "own.yaml" and not draft.overlay and "topic: own" in draft.text


def test_a_draft_that_its_folder_would_not_take_is_refused() -> None:
    """What only the whole rulebook shows is told before anything is given."""
    with pytest.raises(ProblemsFound, match="no-such-source"):
        SHIPPED.draft(
            entry(SHANK),
            with_("{kind: common_practice}", "{kind: published, cite: x, named: [no-such-source]}"),
            "n",
            "b",
        )
    with pytest.raises(ProblemsFound, match="not a severity"):
        SHIPPED.draft(entry(SHANK), with_("blocking", "bloking"), "n", "b")
