"""What a change of rules does to whole answers: more yes apart from fewer, by rule and kind, and who signs for more."""

import html
import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from changed_rules import changed
from golden import of_examples
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.audits import impact
from fitsvc.audits.impact import impact_on_questions, impact_on_store, unsigned
from fitsvc.cli import main
from fitsvc.engine import compared
from fitsvc.engine.compared import compare_examples
from fitsvc.engine.examples import brings_about
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.context import service_in
from fitsvc.store.database import upgrade
from fitsvc.store.rigs import count_rigs, list_rigs
from fitsvc.store.searching import count_records

OWN = data_dir("rules")
SHANK = "    requires: accessory.shank == opening.size\n    severity: blocking\n"
LOOSER = SHANK.replace("==", "<=")


def _question(kind: str, shank: str) -> str:
    facts = {"kind": kind, "shank": shank}
    return json.dumps({"rig": {"receiver": {"facts": {"opening": "2 in"}}}, "accessory": {"facts": facts}})


@pytest.fixture
def questions(tmp_path: Path) -> Path:
    """Give a log of three questions: one of a shank that is too small, one that fits, one that cannot be read."""
    log = tmp_path / "asked.jsonl"
    log.write_text(
        "\n".join([_question("step", "1-1/4 in"), "", _question("step", "2 in"), _question("stepp", "2 in")])
    )
    return log


def test_a_looser_rule_says_yes_to_more_and_wants_a_name(
    tmp_path: Path, questions: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Answers that are better are told by rule and kind, with the question; without a signature that is a fault."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    compare = ["rules", "compare", str(OWN), str(rules), "--on", str(questions)]
    assert main(compare) == 1
    told = capsys.readouterr().out
    assert "More say yes\n  + shank-fits-opening, step: 1 from fails to " in told
    assert f"{questions}:1\n" in told and "Fewer say yes" not in told
    assert "2 asked: 1 have another outcome" in told and "; of 1 left aside nothing is known\n" in told
    assert f"  {questions}:4: `stepp` is not a choice" in told
    assert "1 rule says yes to more, and nobody has signed for that" in told
    said = " ".join(told.split())
    assert "write a file signed.yaml beside the rules: `signed:`, and in the next line ` - {since: " in said
    since = cached_rulebook(OWN).digest.removeprefix("sha256:")[:12]
    entry = f"{{since: {since}, rules: [shank-fits-opening], by: M. Keeper, because: tried on the bench}}"
    (rules / "signed.yaml").write_text(f"signed:\n  - {entry}\n")
    digest = load_rulebook(rules).digest
    assert main(compare) == 0
    assert load_rulebook(rules).signed[0].by == "M. Keeper"
    (rules / "signed.yaml").write_text(f"signed:\n  - {entry.replace(since, '0' * 12)}\n")
    capsys.readouterr()
    assert main(compare) == 1  # signed for a change of another rulebook
    assert "add under `signed:` in signed.yaml: `- {since: " in capsys.readouterr().out
    old, new = cached_rulebook(OWN), load_rulebook(rules)
    found = impact_on_questions(old, new, [("asked", json.loads(_question("step", "1-1/4 in")))])
    (theirs,) = unsigned(found.looser(), old, new, theirs=True)
    assert theirs.message.endswith("nobody has signed for that: shank-fits-opening")
    assert theirs.help.startswith(f"ask whoever releases these rules to sign for them since {since}, ")
    assert load_rulebook(rules).digest == digest


def test_a_question_is_asked_of_both_by_either_name_of_a_fact(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One rulebook knows the fact by its former name alone, the other by both: nothing is left aside."""
    rules = changed(
        tmp_path,
        "vocabulary/accessory.yaml",
        "  lowest_drop:\n",
        "  lowest_point:\n    formerly: [lowest_drop]\n",
    )
    for path in rules.glob("*.yaml"):
        path.write_text(re.sub(r"\baccessory\.lowest_drop\b", "accessory.lowest_point", path.read_text()))
    log = tmp_path / "asked.jsonl"
    facts = [{"kind": "step", name: "5 in"} for name in ("lowest_drop", "lowest_point")]
    rig = {"mounting": {"facts": {"height": "12 in"}}}
    log.write_text("\n".join(json.dumps({"rig": rig, "accessory": {"facts": one}}) for one in facts))
    for old, new in ((OWN, rules), (rules, OWN)):
        assert main(["rules", "compare", str(old), str(new), "--on", str(log)]) == 0
        told = capsys.readouterr().out
        assert told.endswith("2 asked: 0 have another outcome, 0 the same for other reasons, 2 are as they were\n")


def test_a_tighter_rule_wants_none(tmp_path: Path, questions: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The other way round the same answers are worse, and nobody has to sign."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    assert main(["rules", "compare", str(rules), str(OWN), "--on", str(questions)]) == 0
    told = capsys.readouterr().out
    assert "Fewer say yes\n  - shank-fits-opening, step: 1 from " in told and "More say yes" not in told


def test_a_rule_that_is_gone_is_told_on_the_shop_s_own_store(
    tmp_path: Path, pages: TestClient[Litestar], capsys: pytest.CaptureFixture[str]
) -> None:
    """Every saved rig with every accessory: what the rule refused is told, and the examples that went with it."""
    text = (OWN / "coupling.yaml").read_text()
    gone = text[text.index("  - id: shank-fits-opening") : text.index("  - id: pin-fits-hole")]
    rules = changed(tmp_path, "coupling.yaml", gone, "")
    assert main(["rules", "compare", str(OWN), str(rules), "--on", service_in(pages.app).database.url]) == 1
    told = capsys.readouterr().out
    assert "; 9 examples are gone with what they stood beside" in told
    assert "+ shank-fits-opening, ball_mount: " in told and " --accessory " in told and "Fewer say yes" not in told
    assert "any kind" not in told
    service = service_in(pages.app)
    with service.database.session() as session:
        asked = (count_rigs(session) + count_records(session, "mounting")) * service.selections.index.held().items
    assert f"\n{asked} asked: " in told


def test_a_page_and_a_comment_tell_the_same_and_what_sells_first(
    tmp_path: Path, pages: TestClient[Litestar], capsys: pytest.CaptureFixture[str]
) -> None:
    """The page loads and runs nothing; a case is linked to the counter; what sells most leads both, with its figure."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, "    requires: not present(accessory)\n    severity: blocking\n")
    (tmp_path / "sold.csv").write_text("sku,sold\nSPK-TRUG-2,7\nSPK-TRUG-2,5\n")
    url = service_in(pages.app).database.url
    asked = ["rules", "compare", str(OWN), str(rules), "--on", url, "--sold", str(tmp_path / "sold.csv")]
    told = {}
    for name in ("change.html", "change.md"):
        assert main([*asked, "--to", str(tmp_path / name), "--counter", "https://shop.example/"]) == 0
        told[name] = (tmp_path / name).read_text("utf-8")
        shown = capsys.readouterr().out
    first = " ".join(shown[shown.index("Fewer say yes") :].split())
    assert re.match(
        r"Fewer say yes - shank-fits-opening, [^-]*, of which 12 are sold --rig \S+ --acc\S+ SPK-TRUG-2 ", first
    )
    page, comment = told["change.html"], told["change.md"]
    assert "<dt>Asked</dt>" in page
    ElementTree.fromstring(page[page.index("<svg class") : page.index("</svg>", page.index("<svg class")) + 6])
    assert "<script" not in page and not re.search(r"(src|href)=.?(?!https://shop.example/answer)https?:", page)
    assert '<svg class="bars" role="img"' in page and "What sells most stands first." in page
    link = re.search(r'href="(https://shop.example/answer[?][^"]+)"', page)
    assert link and html.unescape(link[1]).endswith("&accessory=SPK-TRUG-2")
    opened = pages.get(html.unescape(link[1]).removeprefix("https://shop.example"))
    assert opened.status_code == 200 and "SPK-TRUG-2" in opened.text
    rows = [line for line in comment.splitlines() if line.startswith("| ")]
    assert rows[0] == "| rule | kind | from | to | answers | sold | such as |"
    assert "shank-fits-opening" in rows[2] and "| 12 |" in rows[2] and html.unescape(link[1]) in rows[2]
    summary = re.search(r"[0-9,]+ asked of both: .* are as they were", page)
    assert summary and summary[0] in comment


def test_a_comment_says_what_nobody_has_signed(
    tmp_path: Path, questions: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In bold before all else, as the command's end does; a text of the rules is no markup there."""
    rules = changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    text = (rules / "coupling.yaml").read_text("utf-8")
    (rules / "coupling.yaml").write_text(
        text.replace("The shank is the size of", "The <b>shank</b> | *is* in"), "utf-8"
    )
    to, asked = tmp_path / "comment.md", ["rules", "compare", str(OWN), str(rules), "--on", str(questions)]
    assert main([*asked, "--to", str(to)]) == 1
    comment = to.read_text("utf-8")
    assert "**1 rule says yes to more, and nobody has signed for that: write a file signed.yaml beside" in comment
    assert r"The \<b\>shank\</b\> \| \*is\* in the opening (`shank-fits-opening`)" in comment
    assert "Left aside, such as: " in comment and f"asked on {questions}".replace("_", "\\_") in comment
    assert (
        main(["rules", "compare", str(OWN), str(rules), "--on", str(questions), "--to", str(tmp_path / "a.txt")]) == 2
    )
    assert main(["rules", "compare", str(OWN), str(rules), "--to", str(to)]) == 2
    (tmp_path / "sold.csv").write_text("sku,sold\nA,-1\n")
    assert main([*asked, "--sold", str(tmp_path / "sold.csv")]) == 2
    assert "line 2: `-1` is not how much of `A` is sold" in capsys.readouterr().err


@pytest.mark.parametrize("how", ["requires less", "lower severity", "gone"])
def test_what_no_saved_rig_shows_wants_a_name_all_the_same(
    how: str, tmp_path: Path, pages: TestClient[Litestar], capsys: pytest.CaptureFixture[str]
) -> None:
    """A rule that lets more pass is found by mountings and by examples; without a name it is neither clean nor kept."""
    rule, rules = "shank-fits-opening", changed(tmp_path, "coupling.yaml", SHANK, LOOSER)
    file = rules / "coupling.yaml"
    if how == "requires less":
        broken = "{accessory.kind: ball_mount, accessory.shank: 2 in, receiver.opening: 2-1/2 in, gives: "
        file.write_text(file.read_text("utf-8").replace(f"{broken}fails, so: blocks}}", f"{broken}passes}}"), "utf-8")
    elif how == "gone":
        text = (OWN / "coupling.yaml").read_text("utf-8")
        gone = text[text.index("  - id: shank-fits-opening") : text.index("  - id: pin-fits-hole")]
        file.write_text(text.replace(gone, ""), "utf-8")
    else:
        file.write_text((OWN / "coupling.yaml").read_text("utf-8"), "utf-8")
        rule, file = "folded-clears-bumper", rules / "clearance.yaml"
        before, at, after = file.read_text("utf-8").partition(f"  - id: {rule}\n")
        own, next_, rest = after.partition("  - id: ")
        for was, now in (
            ("severity: blocking", "severity: caution"),
            ("so: blocks", "so: caution"),
            ("open}", "caution}"),
        ):
            own = own.replace(was, now)
        file.write_text(f"{before}{at}{own}{next_}{rest}", "utf-8")
    new = load_rulebook(rules)
    assert compare_examples(cached_rulebook(OWN), new).looser() == [rule]
    assert compare_examples(new, cached_rulebook(OWN)).looser() == []
    service, mute = service_in(pages.app), capsys.readouterr
    with service.database.session() as session:
        found = impact_on_store(cached_rulebook(OWN), new, session)
    assert found.looser() == [rule]
    assert how == "gone" or all(one.mounted for group in found.loosened() for one in group.cases)
    if how != "lower severity":
        return
    assert main(["rules", "compare", str(OWN), str(rules)]) == 1
    assert f"rules: [{rule}], by: NAME" in " ".join(mute().out.split())
    url = f"sqlite:///{tmp_path}/empty.db"
    upgrade(url)
    assert main(["rules", "publish", str(rules), "--database", url]) == 1
    assert "1 rule says yes to more, and nobody has signed for that" in mute().out
    since = cached_rulebook(OWN).digest.removeprefix("sha256:")[:12]
    entry = f"{{since: {since}, rules: [{rule}], by: M. Keeper, because: tried on the bench}}"
    (rules / "signed.yaml").write_text(f"signed:\n  - {entry}\n")
    assert main(["rules", "publish", str(rules), "--database", url]) == 0


def test_an_example_is_looser_by_what_it_brings_about() -> None:
    """Whatever it gives: what counts is the outcome, and neither what is said nor a figure that is another."""
    words = [
        ("fails, so: blocks", "fails"),
        ("undetermined, so: open", "undetermined"),
        ("fails, so: caution", "conditional"),
        ("undetermined, so: caution", "conditional"),
        ("open", "conditional"),
    ]
    assert [brings_about(given) for given, _ in words] == [outcome for _, outcome in words]
    for given in ("passes", "not_applicable", "met", "told", "not_told", "at_most 350 lb", "is [open]"):
        assert brings_about(given) == "works"


def test_what_could_not_be_asked_is_no_clean_end(
    tmp_path: Path, pages: TestClient[Litestar], capsys: pytest.CaptureFixture[str]
) -> None:
    """Questions that name what is stored want the store; without it nothing is asked, which is told and no success."""
    rules = changed(tmp_path, "road.yaml", "about: ", "about:  ")
    log, url = tmp_path / "asked.jsonl", service_in(pages.app).database.url
    with service_in(pages.app).database.session() as session:
        rig = list_rigs(session, limit=1)[0].id
    log.write_text(json.dumps({"rig": {"id": rig}, "accessory": {"sku": "SPK-TRUG-2"}}) + "\n")
    compare = ["rules", "compare", str(OWN), str(rules), "--on", str(log)]
    assert main(compare) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "0 asked: " in told and "nothing could be asked of both" in told and "`--database URL`" in told
    assert main([*compare, "--database", url]) == 0
    assert "\n1 asked: 0 have another outcome" in capsys.readouterr().out
    log.write_text(json.dumps({"rig": {"id": "nobody-s"}, "accessory": {"sku": "SPK-TRUG-2"}}) + "\n")
    assert main([*compare, "--database", url]) == 1
    assert "help: mend what is told above" in capsys.readouterr().out
    upgrade(f"sqlite:///{tmp_path}/empty.db")
    assert main(["rules", "compare", str(OWN), str(rules), "--on", f"sqlite:///{tmp_path}/empty.db"]) == 1
    assert "load rigs, or mountings" in " ".join(capsys.readouterr().out.split())
    assert main(["rules", "compare", str(OWN), str(rules), "--on", url, "--database", url]) == 2


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("coupling.yaml", SHANK, LOOSER),
        ("coupling.yaml", SHANK, SHANK.replace("blocking", "caution")),
        ("clearance.yaml", "severity: caution\n", "severity: blocking\n"),
    ],
    ids=["requires less", "lower severity", "higher severity"],
)
def test_what_is_settled_by_the_rules_that_differ_is_what_whole_answers_tell(
    file: str, old: str, new: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pairs, and examples, to which what differs brings the same are not judged whole: nothing comes out otherwise."""
    before, after = (_of_two_files(one) for one in (cached_rulebook(OWN), _loaded(tmp_path, file, old, new)))

    def told() -> list[object]:
        found = impact_on_questions(before, after, _some_questions())
        return [found.asked, found.changed, found.reasons, found.groups, compare_examples(before, after)]

    quick = told()
    assert quick[1] or quick[2]
    monkeypatch.setattr(impact, "rules_apart", lambda *_: None)
    monkeypatch.setattr(compared, "on_one_ground", lambda *_: False)
    assert told() == quick


@cache
def _some_questions() -> list[tuple[str, Any]]:
    return [(str(number), one) for number, one in enumerate(of_examples()[::9])]


def _loaded(tmp_path: Path, file: str, old: str, new: str) -> Rulebook:
    return load_rulebook(changed(tmp_path, file, old, new))


def _of_two_files(book: Rulebook) -> Rulebook:
    """A rulebook with the rules of two files alone: it takes seconds to compile all of them for both."""
    rules = tuple(one for one in book.rules if one.topic in ("coupling", "clearance"))
    owners = [name for one in rules for name in (one.id, one.limit) if name]
    few = {name: book.examples.get(name, ())[:6] for name in owners}
    return replace(book, rules=rules, needs=(), limits=(), cautions=(), examples=few)
