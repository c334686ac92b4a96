"""The language server, driven through its protocol by an editor that knows nothing else of it."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from random import Random
from shlex import quote
from typing import Any

import pytest
import waiting
from editors import COMMAND, Editor, Refused, editor, written

from fitsvc.cli import main
from fitsvc.desk.hinting import LONGEST
from fitsvc.language.functions import FUNCTIONS
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.formatting import formatted
from fitsvc.rulebook.yaml_spot import spot_at

STEPS = """\
topic: steps
about: Whether a step can be used as a step.
rules:
  - id: step-clears-ground
    title: The step hangs high enough above the ground
    applies_when: kind.stood_upon
    requires: mounting.height - accessory.lowest_drop >= 7 in
    severity: caution
    fails_because: "The step hangs {mounting.height - accessory.lowest_drop} above the ground."
    source: {kind: common_practice}
    examples:
      - {accessory.kind: step, accessory.lowest_drop: 5 in, mounting.height: 12 in, gives: passes}
      - {accessory.kind: step, accessory.lowest_drop: 5-1/16 in, mounting.height: 12 in, gives: fails, so: caution}
      - {accessory.kind: step, mounting.height: 12 in, gives: undetermined, so: caution}
"""
"""The rule of the guide, on top of the shipped ones."""


@pytest.fixture(scope="module")
def mine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped rules with one file more, which nothing here changes on disk."""
    folder = tmp_path_factory.mktemp("desk") / "mine"
    shutil.copytree(data_dir("rules"), folder)
    (folder / "steps.yaml").write_text(STEPS)
    return folder


@pytest.fixture(scope="module")
def session(mine: Path) -> Iterator[Editor]:
    """An editor that holds the file of steps."""
    with editor(mine) as one:
        one.open(mine / "steps.yaml")
        yield one


@pytest.fixture
def steps(session: Editor, mine: Path) -> Iterator[Path]:
    """The file of steps, as it is on disk before and after; whoever asks for its faults waits for their check."""
    yield mine / "steps.yaml"
    session.type(mine / "steps.yaml", STEPS, wait=False)


def offered(session: Editor, path: Path, text: str, mark: str) -> list[str]:
    """What is offered behind a piece of a text."""
    session.type(path, text, wait=False)
    return [item["label"] for item in session.at("completion", path, text, mark)]


def hovered(session: Editor, path: Path, text: str, mark: str) -> str:
    """What is told at the end of a piece of a text; nothing where nothing is."""
    session.type(path, text, wait=False)
    found = session.at("hover", path, text, mark)
    return found["contents"]["value"] if found else ""


def gone_to(session: Editor, path: Path, text: str, mark: str) -> list[tuple[str, str]]:
    """Where a name at the end of a piece of a text is declared: the file, and the line of it."""
    session.type(path, text, wait=False)
    found = []
    for one in session.at("definition", path, text, mark):
        file = Path(one["uri"].removeprefix("file://"))
        said = text if file == path else file.read_text("utf-8")
        found.append((file.name, said.split("\n")[one["range"]["start"]["line"]].strip()))
    return found


def checked(folder: Path) -> tuple[int, str]:
    """What `rules check` says of a folder."""
    said = StringIO()
    with redirect_stdout(said):
        code = main(["rules", "check", str(folder)])
    return code, said.getvalue()


# completion


@pytest.mark.parametrize(
    ("old", "new", "mark", "wanted", "unwanted"),
    [
        ("mounting.height -", "mounting.h -", "requires: mounting.h", ["mounting.height"], ["vehicle.payload"]),
        ("kind.stood_upon", "kind.st", "kind.st", ["kind.stood_upon"], ["accessory.kind"]),
        (
            "kind.stood_upon",
            "kind.stood_upon and rear",
            "and rear",
            ["rear_axle_share", "vehicle.gawr_rear"],
            [],
        ),
        ("kind.stood_upon", "accessory.kind == st", "== st", ["step"], ["kind.stood_upon"]),
        ("kind.stood_upon", "accessory.kind in [step, ", "[step, ", ["bike_carrier", "step"], ["mounting.height"]),
        ("kind.stood_upon", "accessory.sleeved ==", "sleeved ==", [], ["bike_carrier"]),
        ("kind.stood_upon", "lookup(chain", "lookup(chain", ["chain_law.strength", "chain_law"], ["trailer.chains"]),
        ("kind.stood_upon", "present(tr", "present(tr", ["trailer", "trailer.gross_weight"], ["kind.tows"]),
        (">= 7 in", ">= 7 ", ">= 7 ", ["in", "mm", "kg"], ["mounting.height"]),
        ("severity: caution", "severity: ", "severity: ", ["blocking", "caution"], ["mounting.height"]),
        ("{mounting.height -", "{mounting.he -", "hangs {mounting.he", ["mounting.height"], []),
        ("The step hangs {", "The step mounting.h {", '"The step mounting.h', [], ["mounting.height"]),
        ("kind: common", "named: [ca-26", "named: [ca-26", ["ca-26302"], ["mounting.height"]),
        ("kind: common_practice", "kind: ", "kind: ", ["published", "common_practice", "estimate"], ["step"]),
        ("    severity: caution\n", "    sev\n", "    sev", ["severity"], ["title"]),
        ("    severity: caution\n", "    \n", "7 in\n    ", ["severity", "if_unknown", "remedy"], ["title", "id"]),
        (
            "- {accessory.kind: step, m",
            "- {accessory.kind: st, m",
            "{accessory.kind: st",
            ["step"],
            ["mounting.height"],
        ),
        ("step, mounting.height: 12 in, gives: u", "step, mounting.h", "step, mounting.h", ["mounting.height"], []),
        ("step, mounting.height: 12", "step, present: [trai", "present: [trai", ["trailer"], ["step"]),
        ("step, mounting.height: 12", "step, adapters: [{ki", "adapters: [{ki", ["kind"], ["severity"]),
        ("step, mounting.height: 12", "step, adapters: [{kind: ext", "[{kind: ext", ["extension"], ["step"]),
        ("gives: undetermined", "gives: und", "gives: und", ["undetermined"], ["told"]),
        ("    severity: caution\n", "    # sev\n", "    # sev", [], ["severity"]),
        ("rules:\n", "rules:\n  - id: other\n    title: T\nlim\n", "\nlim", ["limits"], ["rules", "severity"]),
    ],
)
def test_what_may_be_written_is_offered(
    session: Editor, steps: Path, old: str, new: str, mark: str, wanted: list[str], unwanted: list[str]
) -> None:
    """Facts, members, functions, tables, units, words and keys, each where it may stand and nowhere else.

    The text is half typed and mostly no rule, nor YAML, at that moment.
    """
    assert old in STEPS
    found = offered(session, steps, STEPS.replace(old, new, 1), mark)
    assert [one for one in wanted if one not in found] == []
    assert [one for one in unwanted if one in found] == []
    assert wanted or not found or unwanted


def test_what_is_offered_takes_the_place_of_what_is_typed(session: Editor, steps: Path) -> None:
    """Also behind letters that an editor counts as two, and of names with a point within."""
    text = STEPS.replace('"The step hangs {', '"The step \U0001f6fb hangs {mounting.he} and {', 1)
    session.type(steps, text, wait=False)
    item = next(
        one for one in session.at("completion", steps, text, "{mounting.he") if one["label"] == "mounting.height"
    )
    assert written(text, [item["textEdit"]]) == text.replace("{mounting.he}", "{mounting.height}", 1)
    told = session.ask("completionItem/resolve", item)["documentation"]["value"]
    assert "from 0 in to 60 in" in told and "Ground to the top inside face of the opening" in told


def test_every_name_that_is_offered_is_one(session: Editor, steps: Path) -> None:
    """Each fact, value and role that an expression is offered can stand there: the check knows it."""
    text = STEPS.replace("kind.stood_upon", "a", 1)
    session.type(steps, text, wait=False)
    items = session.at("completion", steps, text, "applies_when: a")
    names = [one["label"] for one in items if one["kind"] in (5, 6, 10)]
    assert len(names) > 100
    asked = " and ".join(f"known({name})" for name in names[:60])
    session.type(steps, STEPS.replace("kind.stood_upon", asked, 1))
    assert session.faults_of(steps) == []


# what is told of a name


@pytest.mark.parametrize(
    ("mark", "wanted"),
    [
        (
            "requires: mounting.hei",
            ["height of the opening", "length, shown in in, from 0 in to 60 in", "How to measure"],
        ),
        ("applies_when: kind.st", ["role of `accessory_kind`", "stood upon"]),
        ("{accessory.kind: st", ["`step`: member of `accessory_kind`", "`stood_upon`"]),
        ("{accessory.ki", ["accessory_kind", "`bike_carrier`"]),
        ("id: step-cl", ["`step-clears-ground`: rule", "The step hangs high enough", "severity: `caution`"]),
        ("hangs {mounting.he", ["height of the opening"]),
    ],
)
def test_a_name_is_told_with_meaning_unit_and_range(session: Editor, steps: Path, mark: str, wanted: list[str]) -> None:
    """Of a fact what it means, how it is measured, its unit and plausible range; of others what they are."""
    found = hovered(session, steps, STEPS, mark)
    assert [one for one in wanted if one not in found] == []


def test_functions_tables_values_and_sources_are_told(session: Editor, steps: Path) -> None:
    """A function with its source, a table with its columns, a value with its expression, a source with its words."""
    text = STEPS.replace(
        "kind.stood_upon", "departure_angle(road.behind, 1 in, 1 in) < lookup(chain_law.strength, x)", 1
    ).replace("kind: common_practice", "named: [ca-26302]")
    assert FUNCTIONS["departure_angle"].doc in hovered(session, steps, text, "when: departure_a")
    assert "49 CFR 523.2" in hovered(session, steps, text, "when: departure_a")
    assert "chain" in hovered(session, steps, text, "lookup(chain_law.st")
    assert "gross weight of 3,000 pounds or more" in hovered(session, steps, text, "named: [ca-26")
    value = STEPS.replace("kind.stood_upon", "hung.on_receiver > 1 lb", 1)
    assert "derived value" in hovered(session, steps, value, "hung.on_rec")


def test_prose_and_what_is_no_name_are_told_nothing(session: Editor, steps: Path) -> None:
    """A word of a sentence may be called as a member is, and means the thing."""
    for mark in ("title: The st", "about: Whether a st", "severity: cau", 'fails_because: "The st'):
        assert hovered(session, steps, STEPS, mark) == ""


# faults


def test_faults_are_told_as_the_check_tells_them(session: Editor, mine: Path, tmp_path: Path) -> None:
    """Of what is typed and not saved: the same lines and words as `rules check` of the same text on disk."""
    path = mine / "steps.yaml"
    wrong = (
        STEPS.replace("accessory.lowest_drop >= 7 in", "accessory.lowst_drop >= 7 lb", 1)
        .replace("severity: caution", "severity: warning", 1)
        .replace("accessory.lowest_drop: 5 in", "accessory.lowest_drop: 5", 1)
    )
    session.type(path, wrong)
    found = session.faults_of(path)
    other = tmp_path / "mine"
    shutil.copytree(mine, other)
    (other / "steps.yaml").write_text(wrong)
    code, said = checked(other)
    assert code == 1
    assert found
    assert [f"mine/steps.yaml:{line}:" in said and message in said for line, message in found] == [True] * len(found)
    assert said.count(": error:") == len(found)
    assert path.read_text() == STEPS
    session.type(path, STEPS)
    assert session.faults_of(path) == []


def test_a_fault_stands_under_its_word(session: Editor, steps: Path) -> None:
    """From its first letter to its last, in the editor's own units."""
    text = STEPS.replace('"The step hangs {mounting.height', '"The step \U0001f6fb hangs {mounting.heigt', 1)
    session.type(steps, text)
    (fault,) = session.faults[steps.as_uri()]
    line = text.split("\n")[fault["range"]["start"]["line"]].encode("utf-16-le")
    start, end = (2 * fault["range"][one]["character"] for one in ("start", "end"))
    assert line[start:end].decode("utf-16-le") == "mounting.heigt"
    assert "did you mean `mounting.height`?" in fault["message"]


def test_a_fault_that_is_brought_about_elsewhere_is_told_there(session: Editor, mine: Path) -> None:
    """A fact renamed in the vocabulary alone leaves what reads it without it, in files that no editor holds."""
    path = mine / "vocabulary" / "mounting.yaml"
    session.open(path)
    text = path.read_text("utf-8")
    session.type(path, text.replace("  pin_to_bumper:", "  pin_to_bumber:", 1))
    session.until(lambda: bool(session.faults_of(mine / "road.yaml")))
    assert any("mounting.pin_to_bumper" in message for _, message in session.faults_of(mine / "road.yaml"))
    session.type(path, text)
    session.until(lambda: not session.faults_of(mine / "road.yaml"))
    session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})


def test_a_file_that_is_mended_is_so_while_another_is_broken(session: Editor, mine: Path) -> None:
    """What was told of a file that could not be read is taken back once it can, whatever stands elsewhere."""
    path, other = mine / "steps.yaml", mine / "road.yaml"
    session.open(other)
    session.type(path, STEPS + "- {")
    assert session.faults_of(path) != []
    session.type(other, "topic: {")
    assert session.faults_of(other) != []
    session.type(path, STEPS)
    assert session.faults_of(path) == []
    session.send("textDocument/didClose", {"textDocument": {"uri": other.as_uri()}})
    session.until(lambda: session.faults_of(other) == [])


def test_a_saved_file_has_its_examples_run(session: Editor, steps: Path) -> None:
    """What is right by itself and not as its examples say is told once it is saved."""
    text = STEPS.replace(">= 7 in", ">= 6 in", 1)
    session.type(steps, text)
    assert session.faults_of(steps) == []
    session.send("textDocument/didSave", {"textDocument": {"uri": steps.as_uri()}})
    session.checked(steps.as_uri())
    told = session.faults_of(steps)
    assert told == [(13, "`step-clears-ground` gives passes here, the example says fails, so: caution")]


# going to what is meant


@pytest.mark.parametrize(
    ("old", "new", "mark", "wanted"),
    [
        ("", "", "requires: mounting.hei", [("mounting.yaml", "height:")]),
        ("", "", "applies_when: kind.st", [("lists.yaml", "stood_upon:")]),
        ("", "", "{accessory.kind: st", [("lists.yaml", "step:")]),
        ("kind.stood_upon", "hung.on_receiver > 1 lb", "hung.on_r", [("together.yaml", "- name: hung.on_receiver")]),
        ("kind.stood_upon", "opening.reach > 1 in", "opening.re", [("adapters.yaml", "reach:")]),
        ("kind.stood_upon", "lookup(chain_law.strength, x)", "chain_law.st", [("law_chains.yaml", "strength:")]),
        ("kind.stood_upon", "lookup(chain_law, x)", "lookup(chain_l", [("law_chains.yaml", "- id: chain_law")]),
        ("kind.stood_upon", "present(trailer)", "present(trai", [("trailer.yaml", "subject: trailer")]),
        ("kind.stood_upon", "vehicle.tyre.diameter > 1 in", "vehicle.tyre.dia", [("vehicle.yaml", "tyre:")]),
        ("kind: common_practice", "named: [ca-26302]", "[ca-26", [("sources.yaml", "ca-26302:")]),
    ],
)
def test_a_name_leads_to_where_it_is_declared(
    session: Editor, steps: Path, old: str, new: str, mark: str, wanted: list[tuple[str, str]]
) -> None:
    """Facts, roles, kinds, derived values, facts of the opening, tables and columns, subjects, sources."""
    found = gone_to(session, steps, STEPS.replace(old, new, 1), mark)
    assert [(file, line.split(" {")[0]) for file, line in found] == wanted


def test_a_function_leads_to_its_row(session: Editor, steps: Path) -> None:
    """It is declared in no rule file, but in fitsvc's own table."""
    text = STEPS.replace("kind.stood_upon", "max(1 in, 2 in) > 1 in", 1)
    ((file, line),) = gone_to(session, steps, text, "when: ma")
    assert (file, line.split(",")[0]) == ("functions.py", 'Function("max"')


@pytest.mark.parametrize(
    ("name", "mark", "wanted"),
    [
        ("bikes.yaml", "goes_with: [bike-fr", "bikes.yaml - id: bike-frame-suits-carrier"),
        ("rulebook.yaml", "told_by: [label-load-b", "capacity.yaml - id: label-load-borne"),
        ("rulebook.yaml", "name: load_c", "rulebook.yaml - name: load_carried"),
        ("rulebook.yaml", "\n  fol", "rulebook.yaml folded:"),
        ("hazards.yaml", "\n  accessory.cap", "accessory.yaml capacity:"),
        ("vocabulary/accessory.yaml", "type: accessory_k", "lists.yaml accessory_kind:"),
        ("vocabulary/accessory.yaml", "type: len", ""),
    ],
)
def test_what_other_files_name_leads_there(session: Editor, mine: Path, name: str, mark: str, wanted: str) -> None:
    """Rules that others go with and that tell an allowance, allowances, trials, ratings, lists; a dimension is none."""
    path = mine / name
    session.open(path)
    found = gone_to(session, path, path.read_text("utf-8"), mark)
    session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})
    assert [" ".join(one) for one in found] == ([wanted] if wanted else [])


def test_a_name_is_found_wherever_it_stands(session: Editor, steps: Path, mine: Path) -> None:
    """As often as a search for the whole word finds it, in all files, in Spanish too."""
    found = session.at("references", steps, STEPS, "requires: mounting.hei", context={"includeDeclaration": True})
    pattern = re.compile(r"(?<![\w.])mounting\.height\b(?!\.\w)")
    texts = [path.read_text("utf-8") for path in sorted(mine.rglob("*.yaml"))]
    assert len(found) == sum(len(pattern.findall(text)) for text in texts) + 1
    assert (mine / "words" / "es.yaml").as_uri() in {one["uri"] for one in found}


# laying out


def test_a_file_is_laid_out_with_its_comments(session: Editor, steps: Path) -> None:
    """As `rules fmt` does it, on the text that is not saved."""
    text = STEPS.replace("    title: The", "    # as it is stood upon\n    title:   The", 1)
    session.type(steps, text, wait=False)
    params = {"textDocument": {"uri": steps.as_uri()}, "options": {"tabSize": 2, "insertSpaces": True}}
    laid = written(text, session.ask("textDocument/formatting", params))
    assert laid == formatted(text, "steps.yaml") != text
    assert "    # as it is stood upon\n    title: The step" in laid
    session.type(steps, laid, wait=False)
    assert session.ask("textDocument/formatting", params) == []
    session.type(steps, text + "- {", wait=False)
    with pytest.raises(Refused, match="check the indentation"):
        session.ask("textDocument/formatting", params)


# broken input


def test_a_rule_typed_letter_by_letter_breaks_nothing(session: Editor, steps: Path) -> None:
    """At each letter it is asked what may follow and what the word is, and it answers; at the end all is well."""
    for end in range(0, len(STEPS) + 1, 2):
        text = STEPS[:end]
        session.type(steps, text, wait=False)
        place = {"line": text.count("\n"), "character": len(text[text.rfind("\n") + 1 :])}
        params = {"textDocument": {"uri": steps.as_uri()}, "position": place}
        assert isinstance(session.ask("textDocument/completion", params), list)
        session.ask("textDocument/hover", params)
        session.ask("textDocument/definition", params)
    session.type(steps, STEPS)
    assert session.faults_of(steps) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\t",
        "\0\0",
        "- - - - {[",
        "a: &x *x",
        "<<<<<<< HEAD\n",
        "'" * 99,
        "[" * 2000,
        "topic: steps\nabout: x\nrules: {a: b}\n",
        "topic: steps\nabout: x\nrules:\n  - 7\n  - {id: [1]}\n",
        "topic: steps\nabout: x\nderived: [{name: [a], label: 1, type: q, is: {}}]\n",
        "rules:\r\n  - id: a\r  - id: b",
        "\ufeff" + STEPS,
        "x: " + "y" * 30_000,
        "\u2028 \U0001f6fb: {",
        "lists: [1, {members: 3}]\nfacts: 3\ntables: [{id: {}}]\n",
    ],
    ids=range(16),
)
def test_nothing_that_is_typed_ends_the_server(session: Editor, steps: Path, text: str) -> None:
    """Whatever stands there is told as faults, and is asked about at its end, in its midst and beyond."""
    session.type(steps, text)
    for line, character in ((0, 0), (0, 3), (text.count("\n"), 1), (900, 900)):
        params = {"textDocument": {"uri": steps.as_uri()}, "position": {"line": line, "character": character}}
        for what in ("completion", "hover", "definition"):
            session.ask(f"textDocument/{what}", params)
    session.type(steps, STEPS)
    assert session.faults_of(steps) == []


def test_any_file_cut_anywhere_has_a_place() -> None:
    """Where a text ends in, by the keys that lead there, is always known or a comment: never an error."""
    random = Random(14)
    for path in sorted(data_dir("rules").rglob("*.yaml")):
        text = path.read_text("utf-8")
        for _ in range(12):
            index = random.randrange(len(text) + 1)
            spot_at(text[:index], index)
            spot_at(text, index)


def test_the_place_is_as_the_whole_file_has_it() -> None:
    """Of each value in each rule file the keys that lead to it, by reading no further than it."""
    from fitsvc.rulebook.yaml_text import Mapping, Scalar, Sequence, read_yaml

    def values(node: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Scalar]]:
        if isinstance(node, Mapping):
            for key, below in node.entries.items():
                yield from values(below, (*path, key))
        elif isinstance(node, Sequence):
            for item in node.items:
                yield from values(item, (*path, ""))
        else:
            yield path, node

    random, wrong = Random(14), list[object]()
    for path in sorted(data_dir("rules").rglob("*.yaml")):
        text = path.read_text("utf-8")
        found = [one for one in values(read_yaml(text, path.name), ()) if one[1].value.strip()]
        for keys, scalar in random.sample(found, min(len(found), 40)):
            spot = spot_at(text, scalar.end - (scalar.style in ("'", '"')))
            wrong += [] if spot is not None and spot.path == keys else [(path.name, keys, scalar.value, spot)]
    assert wrong == []


# beside folders of rules


def test_a_file_of_no_folder_of_rules_is_read_as_yaml(session: Editor, tmp_path: Path) -> None:
    """Nothing is offered there, and that it cannot be read is told."""
    path = tmp_path / "notes.yaml"
    path.write_text("a: b\n")
    session.open(path)
    assert session.faults_of(path) == []
    session.type(path, "a: b: c\n")
    assert session.faults_of(path) == [(1, "mapping values are not allowed in this context")]
    assert session.at("completion", path, "a: b: c\n", "a: ") == []
    assert session.at("hover", path, "a: b: c\n", "a: ") is None
    session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})
    session.until(lambda: session.faults_of(path) == [])


def test_an_overlay_has_the_names_of_its_core(session: Editor, tmp_path: Path) -> None:
    """What the core declares is offered, told and gone to, and is not renamed from there."""
    folder = tmp_path / "the yard's ñ rules"
    folder.mkdir()
    (folder / "overlay.yaml").write_text("name: the yard's rules\n")
    path = folder / "steps.yaml"
    path.write_text(STEPS)
    session.open(path)
    assert session.faults_of(path) == []
    assert "mounting.height" in offered(session, path, STEPS, "requires: mounting.h")
    (one,) = gone_to(session, path, STEPS, "requires: mounting.hei")
    assert one == ("mounting.yaml", "height:")
    overlay, text = folder / "overlay.yaml", "name: the yard's rules\nchanges:\n  - of: reach\n    because: b\n"
    session.open(overlay, text)
    assert {"reach-behind-without-flag", "shank-reaches-pin-hole"} & set(offered(session, overlay, text, "of: reach"))
    with pytest.raises(Refused, match="of the rules that this folder adds to"):
        session.at("rename", path, STEPS, "requires: mounting.hei", newName="rise")
    session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})


CHANGES = """name: the yard's rules
changes:
  - of: reach-behind-without-flag
    requires: road.behind_bumper < 36 in
    remedy: 'a shorter carrier'
    because: our insurer's terms
  - {of: nothing-of-the-sort, because: b}
"""


def test_beside_a_change_stands_what_the_core_has(session: Editor, tmp_path: Path) -> None:
    """Behind the rule its title, behind each key what it is in the core; in no other file, nor in no YAML."""
    overlay = tmp_path / "yard" / "overlay.yaml"
    overlay.parent.mkdir()
    overlay.write_text(CHANGES)
    session.open(overlay)

    def told(text: str, path: Path = overlay) -> dict[int, str]:
        session.type(path, text, wait=False)
        whole = {"start": {"line": 0, "character": 0}, "end": {"line": 99, "character": 0}}
        found = session.ask("textDocument/inlayHint", {"textDocument": {"uri": path.as_uri()}, "range": whole})
        lines = text.split("\n")
        assert all(one["position"]["character"] == len(lines[one["position"]["line"]]) for one in found)
        return {one["position"]["line"]: one["label"] for one in found}

    own = {rule.id: rule for rule in cached_rulebook(data_dir("rules")).rules}["reach-behind-without-flag"]
    found = told(CHANGES)
    assert found[2] == own.title
    assert found[3] == f"the core: {own.requires_text}"
    assert found[4] == f"the core: {own.remedy}"[: LONGEST - 1] + "…"
    assert found.keys() == {2, 3, 4}
    assert told(CHANGES.replace("- of:", "- - of:", 1)) == {}
    session.type(overlay, CHANGES)
    steps = overlay.parent / "steps.yaml"
    steps.write_text(STEPS)
    session.open(steps)
    assert told(STEPS, steps) == {}
    for path in (overlay, steps):
        session.send("textDocument/didClose", {"textDocument": {"uri": path.as_uri()}})


def test_the_server_ends_when_its_editor_does(mine: Path) -> None:
    """Nobody has to look for servers whose editor was killed."""
    with subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        one = Editor(process)
        one.ask("initialize", {"processId": None, "rootUri": None, "capabilities": {}})
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(waiting.LONGEST) in (0, 1)


def test_what_is_missing_is_told() -> None:
    """Without the extra the command says what to install, and no traceback."""
    checkout = Path(__file__).parent.parent
    code = "import sys; sys.modules['pygls'] = None; from fitsvc.cli import main; sys.exit(main(['rules', 'lsp']))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert f"-m pip install {quote(f'{checkout}[desk]')}" in done.stderr and "Traceback" not in done.stderr
