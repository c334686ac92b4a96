"""`fitsvc answer`: for people, as JSON, from files, standard input and stored records."""

import io
import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from demo_world import answerer, world

from fitsvc.answers.answer import encode
from fitsvc.answers.question import read_question
from fitsvc.cli import main
from fitsvc.cli.answer_view import show_answer
from fitsvc.cli.console import out
from fitsvc.language.problems import ProblemsFound

QUESTION = {
    "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    "accessory": {"facts": {"kind": "ball_mount", "shank": "1-1/4 in"}},
}
OPEN = {
    "rig": {"mounting": {"facts": {"pin_to_bumper": {"value": "5 in", "tolerance": "1 in"}}}},
    "accessory": {"facts": {"kind": "bike_carrier", "shank": "2 in", "stow_setback": "5-1/2 in"}},
}
FITSVC = [sys.executable, "-m", "fitsvc"]


@pytest.fixture
def question(tmp_path: Path) -> Path:
    """Give a file with a question whose answer is no."""
    path = tmp_path / "question.json"
    path.write_text(json.dumps(QUESTION))
    return path


def test_json_is_what_the_service_sends(question: Path) -> None:
    """`--json` prints the answer's own bytes and a line end on standard output, nothing beside it."""
    done = subprocess.run([*FITSVC, "answer", str(question), "--json"], capture_output=True, check=False)
    expected = encode(answerer().answer(QUESTION))
    assert (done.returncode, done.stdout, done.stderr) == (0, expected + b"\n", b"")


def test_the_shelf_loads_no_columns() -> None:
    """A question about what is stored reads the database, and no columns."""
    code = "import sys, fitsvc.inventory.shelf; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_what_a_question_does_not_need_is_not_loaded(question: Path) -> None:
    """Answering one question by a kept rulebook loads nothing of databases, columns, pages or YAML."""
    heavy = ("numpy", "pyarrow", "sqlalchemy", "alembic", "pydantic", "litestar", "jinja2", "rich", "yaml")
    code = f"import sys; from fitsvc.cli import main; code = main(['answer', {str(question)!r}]);"
    code += f"sys.exit(code or ' '.join(name for name in {heavy!r} if name in sys.modules) or 0)"
    first, second = (subprocess.run([sys.executable, "-c", code], capture_output=True, check=False) for _ in range(2))
    assert (second.returncode, second.stderr) == (0, b"") and second.stdout == first.stdout


def test_standard_input_is_a_question() -> None:
    """`-` reads the question from standard input, and a byte order mark does no harm."""
    asked = b"\xef\xbb\xbf" + json.dumps(QUESTION).encode()
    command = [*FITSVC, "answer", "-", "--json", "--units", "metric"]
    done = subprocess.run(command, input=asked, capture_output=True, check=True)
    assert json.loads(done.stdout)["outcome"] == "fails"


def test_people_read_the_outcome_first(question: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The outcome and the summary come first, then why; rules that pass are only counted."""
    assert main(["answer", str(question)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "FAILS"
    assert lines[1] == "No. The accessory has a 1-1/4 in shank; the opening takes 2 in."
    assert lines[3:5] == ["Why", "  ✗ The accessory has a 1-1/4 in shank; the opening takes 2 in."]
    assert "common practice" not in "\n".join(lines)


def test_all_tells_rules_and_sources(question: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--all` names each finding's rule and source, and tells those that pass."""
    main(["answer", str(question), "--all"])
    told = capsys.readouterr().out
    assert "    shank-fits-opening: common practice" in told
    assert "--all" not in told


def test_what_to_measure_is_told_with_the_reading_that_decides(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An open answer says what to measure, how, and which readings decide."""
    path = tmp_path / "open.json"
    path.write_text(json.dumps(OPEN))
    main(["answer", str(path), "--all"])
    told = capsys.readouterr().out
    assert told.startswith("UNDETERMINED\n")
    assert "First read the receiver's opening size: it can work if that is 2 in." in " ".join(told.split())
    assert ". The distance from pin hole to bumper. Drop lines from" in told
    assert "It can work if that is at most" in told
    assert "it fails if that is at least" in told


@pytest.mark.parametrize("columns", ["40", "80", "120"])
def test_no_line_is_wider_than_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    """Lines keep within the width, and none ends in blanks."""
    monkeypatch.setenv("COLUMNS", columns)
    path = tmp_path / "open.json"
    path.write_text(json.dumps(OPEN))
    main(["answer", str(path), "--all"])
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= int(columns)
    assert all(line == line.rstrip() for line in lines)


@pytest.mark.parametrize(("no_color", "coloured"), [("", True), ("1", False)])
def test_colour_is_for_terminals(question: Path, no_color: str, coloured: bool) -> None:
    """A terminal gets colours unless NO_COLOR is set."""
    reading, terminal = pty.openpty()
    environment = {**os.environ, "NO_COLOR": no_color, "TERM": "xterm-256color", "COLORTERM": ""}
    subprocess.run([*FITSVC, "answer", str(question)], stdout=terminal, env=environment, check=True)
    os.close(terminal)
    written = os.read(reading, 100_000)
    os.close(reading)
    assert (b"\x1b[" in written) is coloured
    assert b"FAILS" in written


def test_a_terminal_without_the_characters_does_no_harm(question: Path) -> None:
    """Where the output cannot hold `±` or `✗`, the answer is printed all the same."""
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run([*FITSVC, "answer", str(question)], capture_output=True, env=environment, check=False)
    assert (done.returncode, done.stdout[:5], done.stderr) == (0, b"FAILS", b"")


def test_every_problem_of_a_question_is_told(tmp_path: Path) -> None:
    """A question that cannot be read ends with 2, all its problems on standard error, standard output empty."""
    path = tmp_path / "question.json"
    path.write_text('{"rig": {"receiver": {"facts": {"opening": "50 mm", "pin_hole": 5}}}, "acessory": {}}')
    done = subprocess.run([*FITSVC, "answer", str(path), "--json"], capture_output=True, check=False, text=True)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"{path}: error: /acessory: a question has no part `acessory`\n" in done.stderr
    assert "\n    help: did you mean `accessory`?\n" in done.stderr
    assert "error: /rig/receiver/facts/opening: `50 mm` is not a size" in done.stderr
    assert "error: /rig/receiver/facts/pin_hole: " in done.stderr


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{"rig":\n  x}', ":2:3: error: is not JSON"),
        (b'{"rig": {}, "rig": {}}', "a key stands twice in one object: `rig`"),
        (b"[" * 100_000, "nested more than 50 deep"),
        (b'{"load": {"facts": {"bikes": NaN}}}', "`NaN` is not a JSON number"),
        (b'{"load": "\xff"}', "line 1: byte 0xff is not UTF-8 text"),
        (b" " * 1_000_001, "is larger than 1,000,000 bytes"),
        (b"", "is not JSON"),
        (b"[]", "a question is an object"),
        (b'{"accessory": {"facts": {"kind": "\x1b[31m"}}}', "is not JSON"),
        (b'{"accessory": {"facts": {"kind": "\\u001b[31m"}}}', "`\N{REPLACEMENT CHARACTER}[31m` is not a choice"),
        (b'{"accessory": {"facts": {"kind": "\\ud800"}}}', "is not a choice"),
    ],
)
def test_a_hostile_question_costs_an_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, words: str
) -> None:
    """Whatever a question's file holds, the command ends with 2 and says what is wrong."""
    path = tmp_path / "question.json"
    path.write_bytes(content)
    assert main(["answer", str(path)]) == 2
    shown = capsys.readouterr()
    assert words in shown.err
    assert shown.out == ""
    assert "\x1b" not in shown.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "there is no question"),
        (["nothing.json"], "nothing.json cannot be read: no such file or directory"),
        (["--accessory", "A-1"], "`--rig` is missing"),
        (["q.json", "--rig", "rig_a"], "a question file and `--rig` are both given"),
        (["--rig", "rig_a", "--database", "sqlite:////nowhere/fitsvc.db"], "run `fitsvc db upgrade`"),
        (["--rig", "rig_a", "--database", "oracle://x"], "fitsvc keeps its records in SQLite or PostgreSQL"),
        (["q.json", "--rules", "/nowhere"], "`/nowhere` does not exist"),
        (["q.json", "--units", "imperial"], "imperial"),
        (["q.json", "--colour"], "--colour"),
    ],
)
def test_a_command_that_cannot_be_done_says_why(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    words: str,
) -> None:
    """Options that do not go together, and what they name that is not there, end with 2."""
    monkeypatch.chdir(tmp_path)
    Path("q.json").write_text(json.dumps(QUESTION))
    assert main(["answer", *arguments]) == 2
    assert words in capsys.readouterr().err


def test_stored_records_are_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--rig` and `--accessory` ask about records of the database; one that is not stored is told."""
    url = f"sqlite:///{tmp_path / 'a.db'}"
    records = tmp_path / "a.jsonl"
    records.write_text(
        '{"subject": "receiver", "id": "rcv_a", "facts": {"opening": "2 in"}}\n'
        '{"subject": "accessory", "sku": "A-1", "label": "Peg", "facts": {"kind": "ball_mount", "shank": "2-1/2 in"}}\n'
        '{"subject": "rig", "id": "rig_a", "name": "A", "rig": {"receiver": {"id": "rcv_a"}}}\n'
    )
    assert main(["db", "upgrade", "--database", url]) == 0
    assert main(["load", str(records), "--database", url]) == 0
    assert main(["answer", "--rig", "rig_a", "--accessory", "A-1", "--database", url]) == 0
    assert "No. The accessory has a 2-1/2 in shank; the opening takes 2 in." in capsys.readouterr().out
    assert main(["answer", "--rig", "rig_a", "--accessory", "A-2", "--ball", "B-9", "--database", url]) == 2
    told = capsys.readouterr().err
    assert "/accessory/sku: no accessory is stored under `A-2`" in told
    assert "/ball/sku: no ball is stored under `B-9`" in told
    assert "did you mean `A-1`?" in told


def test_facts_are_added_to_a_question(question: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--fact` adds facts as a record file's cell writes them; they win over those of the question."""
    facts = ["-f", "receiver.opening=1-1/4 in", "-f", "accessory.pin=1/2 in"]
    assert main(["answer", str(question), *facts, "--json"]) == 0
    found = {one["rule"]: one for one in json.loads(capsys.readouterr().out)["findings"]}
    assert found["shank-fits-opening"]["result"] == "passes"
    assert found["pin-fits-hole"]["facts"]["accessory.pin"] == "1/2 in"


def test_facts_are_added_to_a_saved_rig(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A fact given beside a saved rig joins the rig's own part: its record and its other facts stay."""
    url = f"sqlite:///{tmp_path / 'a.db'}"
    records = tmp_path / "a.jsonl"
    records.write_text(
        '{"subject": "receiver", "id": "rcv_a", "facts": {"opening": "2 in", "pin_hole": "5/8 in"}}\n'
        '{"subject": "accessory", "sku": "A-1", "facts": {"kind": "ball_mount", "shank": "2 in", "pin": "1/2 in"}}\n'
        '{"subject": "rig", "id": "rig_a", "name": "A", '
        '"rig": {"receiver": {"id": "rcv_a", "facts": {"opening": "3 in"}}}}\n'
    )
    main(["db", "upgrade", "--database", url])
    main(["load", str(records), "--database", url])
    capsys.readouterr()
    asked = ["answer", "--rig", "rig_a", "--accessory", "A-1", "--database", url, "--json"]
    assert main([*asked, "--fact", "receiver.pin_hole=1/2 in"]) == 0
    found = {one["rule"]: one["result"] for one in json.loads(capsys.readouterr().out)["findings"]}
    assert (found["shank-fits-opening"], found["pin-fits-unusual-hole"]) == ("fails", "passes")


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        ("bikes=3", "`bikes=3` is not a fact"),
        ("load.bikes", "`load.bikes` is not a fact"),
        ("laod.bikes=3", "did you mean `load`?"),
        ("load.bkes=3", "did you mean `bikes`?"),
        ("load.bikes=some", "/load/facts/bikes: "),
        ("adapter.kind=extension", "is not a subject of a question"),
    ],
)
def test_a_fact_that_is_none_is_refused(
    question: Path, capsys: pytest.CaptureFixture[str], fact: str, words: str
) -> None:
    """What `--fact` cannot mean ends the command with 2, and the nearest name."""
    assert main(["answer", str(question), "--fact", fact]) == 2
    assert words in capsys.readouterr().err


def test_a_rulebook_with_faults_answers_nothing(
    question: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rules that do not load end the command with 2 and their problems."""
    folder = tmp_path / "rules"
    folder.mkdir()
    (folder / "rulebook.yaml").write_text("nme: mine\n")
    assert main(["answer", str(question), "--rules", str(folder)]) == 2
    assert "rulebook.yaml:1:1: error: " in capsys.readouterr().err


def test_standard_input_that_is_a_terminal_is_not_needed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An empty standard input is an error about its JSON, not an answer about nothing."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"")))
    assert main(["answer", "-"]) == 2
    assert "standard input:1:1: error: is not JSON" in capsys.readouterr().err


def test_the_pair_that_spoils_it_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Of several things on one rig: between which it lies, and what each comes to by itself and with the other."""
    cart = {"accessory": {"sku": "TUG-2-D2-10"}, "ball": {"sku": "RBL-2-A"}, "trailer": {"sku": "DUN-CART-612"}}
    bikes = {"accessory": {"sku": "SPK-TRUG-2"}, "load": {"facts": {"bikes": 2, "bike_weight": "40 lb"}}}
    hung = {"hangs_on": "rear_receiver"}
    twin = {"sku": "BTX-TWIN-2", "facts": {"trailer_rating": "3500 lb"}}
    things = [{"name": "bikes", **hung, **bikes}, {"name": "cart", **hung, **cart}]
    document = {"rig": {"id": "rig_farm_muckle", "adapters": [twin]}, "together": things}
    show_answer(out(), answerer().answer(document, world()), answerer())
    told = " ".join(capsys.readouterr().out.split())
    assert "178 lb too much. It lies between the bikes and the cart." in told
    assert "The bikes, in the receiver at the rear By itself: conditional. With all else: fails." in told


def test_together_is_named_among_what_a_question_may_have() -> None:
    """Whoever misnames it is told of it; beside a part that several things have for themselves it stays refused."""
    with pytest.raises(ProblemsFound) as refused:
        read_question({"rig": {}, "nonsense": {}}, answerer().reader, world())
    assert "`together`" in refused.value.problems[0].help
    with pytest.raises(ProblemsFound) as refused:
        read_question({"rig": {}, "together": [], "accessory": {}}, answerer().reader, world())
    assert [one.pointer for one in refused.value.problems][:1] == ["/together"]


def test_changes_that_were_not_tried_stand_under_a_heading(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing that was tried helps, what was not tried does not hang below the rules that pass."""
    load = {"facts": {"bikes": 2, "bike_weight": "65 lb"}}
    found = answerer().answer(
        {"rig": {"receiver": {"facts": {"opening": "2 in"}}}, "accessory": {"sku": "SPK-TRUG-2"}, "load": load}, world()
    )
    assert not found.remedies
    found.untried_changes = 157
    show_answer(out(), found, answerer())
    lines = capsys.readouterr().out.splitlines()
    place = next(n for n, line in enumerate(lines) if "157 more changes were not tried" in line)
    assert lines[place - 1] == "What would make it work" and "Nothing that was tried." in lines[place]
