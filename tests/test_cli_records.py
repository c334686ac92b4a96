"""`fitsvc load`, `db`, `key`, `demo` and the command itself."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from fitsvc import __version__
from fitsvc.cli import demo, main
from fitsvc.paths import data_dir
from fitsvc.store.api_keys import check_key
from fitsvc.store.database import Database

GOOD = "sku,subject,label\nA-1,ball,Ball\nA-2,accessory,Peg\n"


@pytest.fixture
def url(tmp_path: Path) -> str:
    """Give the URL of an embedded database that `fitsvc db upgrade` has made."""
    url = f"sqlite:///{tmp_path / 'fitsvc.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    return url


def test_upgrade_may_be_repeated(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`db upgrade` makes the tables, and says so; again, it says that nothing was to be done."""
    url = f"sqlite:///{tmp_path / 'fitsvc.db'}"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert capsys.readouterr().out == f"the database {url} is now up to date\n"
    assert main(["db", "upgrade", "--database", url]) == 0
    assert capsys.readouterr().out == f"the database {url} is up to date\n"


def test_files_are_loaded_in_the_order_they_need(tmp_path: Path, url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Files given in any order go in, and what became of each is told in a line."""
    capsys.readouterr()
    mountings, parts = tmp_path / "a.jsonl", tmp_path / "b.jsonl"
    mountings.write_text('{"subject": "mounting", "id": "mnt_a", "vehicle": "veh_a", "receiver": "rcv_a"}\n')
    parts.write_text('{"subject": "vehicle", "id": "veh_a"}\n{"subject": "receiver", "id": "rcv_a"}\n')
    assert main(["load", str(mountings), str(parts), "--database", url]) == 0
    assert capsys.readouterr().out == f"{parts}: stored 1 vehicle, 1 receiver\n{mountings}: stored 1 mounting\n"


def test_bad_rows_end_with_2(tmp_path: Path, url: str) -> None:
    """A file with bad rows is told row by row on standard error; the other files go in."""
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_text(GOOD)
    bad.write_text("sku,subject,shank\nB-1,accessory,50 mm\nB-2,bal,\n")
    command = [sys.executable, "-m", "fitsvc", "load", str(bad), str(good), "--database", url]
    done = subprocess.run(command, capture_output=True, check=False, text=True)
    assert (done.returncode, done.stdout) == (2, f"{good}: stored 1 ball, 1 accessory\n")
    assert f"{bad}:2: error: shank: `50 mm` is not a size" in done.stderr
    assert f"{bad}:3: error: subject: `bal` is not a subject\n    help: did you mean `ball`?" in done.stderr
    assert done.stderr.endswith(f"{bad}: nothing stored, 2 problems\n")


def test_a_file_that_is_loaded_twice_is_told_shortly(
    tmp_path: Path, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of what is stored already the first are named and the rest counted; what else is wrong is told all the same."""
    path, rows = tmp_path / "a.csv", "".join(f"B-{number},ball,\n" for number in range(300))
    path.write_text(f"sku,subject,diameter\n{rows}")
    assert main(["load", str(path), "--database", url]) == 0
    path.write_text(f"sku,subject,diameter\n{rows}B-300,ball,wide\n")
    assert main(["load", str(path), "--database", url]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") < 40
    more = re.findall(r"(\d+) more records are stored already", told)
    assert int(more[0]) + told.count("is stored already") == 300
    assert f"{path}:302: error: diameter" in told and "nothing stored, 301 problems" in told


def test_replace_is_told(tmp_path: Path, url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Records that are there are refused, and with `--replace` told as replaced or as they were."""
    path = tmp_path / "a.csv"
    path.write_text(GOOD)
    assert main(["load", str(path), "--database", url]) == 0
    path.write_text(GOOD.replace("Peg", "Other peg"))
    assert main(["load", str(path), "--database", url]) == 2
    capsys.readouterr()
    assert main(["load", str(path), "--database", url, "--replace"]) == 0
    assert capsys.readouterr().out == f"{path}: replaced 1; 1 as they were\n"


def test_a_key_is_printed_alone(url: str) -> None:
    """`key create` prints the key and nothing else on standard output, so that it can be piped."""
    command = [sys.executable, "-m", "fitsvc", "key", "create", "The bench", "--database", url]
    done = subprocess.run(command, capture_output=True, check=True, text=True)
    plain = done.stdout.removesuffix("\n")
    assert "\n" not in plain
    assert plain not in done.stderr
    database = Database(url)
    with database.session() as session:
        record = check_key(session, plain)
        assert record is not None
        assert record.name == "The bench"
    database.close()


def test_keys_are_listed_and_revoked(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A key is listed with its state, without its secret; a revoked one stays in the list."""
    main(["key", "create", "The bench", "--database", url])
    plain = capsys.readouterr().out.splitlines()[-1]
    key_id, _, secret = plain.partition(".")
    assert main(["key", "list", "--database", url]) == 0
    listed = capsys.readouterr().out
    assert listed.startswith(f"{key_id}  made ")
    assert "in use" in listed
    assert secret not in listed
    assert main(["key", "revoke", key_id, "--database", url]) == 0
    main(["key", "list", "--database", url])
    assert "revoked" in capsys.readouterr().out
    assert main(["key", "revoke", "key_no", "--database", url]) == 2
    assert "there is no key `key_no`" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["", "a\0b", "\ud800", "x" * 500])
def test_a_key_has_a_name(url: str, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """A key's name that cannot be kept is refused."""
    capsys.readouterr()
    assert main(["key", "create", name, "--database", url]) == 2
    assert capsys.readouterr().out == ""


def test_the_demo_shows_what_its_questions_are_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The demo loads its shop into a new file, answers all its questions as they expect, and says how to go on."""
    file = tmp_path / "demo.db"
    assert main(["demo", "--into", str(file)]) == 0
    told = capsys.readouterr().out
    asked = demo.questions(data_dir("seed_demo"))
    assert len(asked) == 17
    words = [line.strip() for line in told.splitlines()]
    outcomes = [word.lower() for word in words if word in ("WORKS", "CONDITIONAL", "UNDETERMINED", "FAILS")]
    assert outcomes == [one.expect for one in asked]
    assert f"fitsvc serve --database sqlite:///{file}" in told
    assert main(["demo", "--into", str(file)]) == 2
    assert "exists already" in capsys.readouterr().err


def test_the_demo_leaves_nothing_behind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without options, the demo's database is gone afterwards."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert main(["demo"]) == 0
    assert "fitsvc demo --into demo.db" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []
    assert main(["demo", "--keep"]) == 0
    (kept,) = tmp_path.glob("*/demo.db")
    assert f"sqlite:///{kept}" in capsys.readouterr().out


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    """The version is one line; without a command the help is shown."""
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"fitsvc {__version__}\n"
    assert main(["--help"]) == 0
    assert "answer" in capsys.readouterr().out
    assert main(["nonsense"]) == 2


LAST, OF_RULES = "serve replay recorded rules db key", "release pull schema fmt lsp prove"


@pytest.mark.parametrize(
    ("group", "commands"),
    [
        (
            [],
            "answer audit fits scorecard schedule intake demo load plan select show observe export worklist " + LAST,
        ),
        (
            ["rules"],
            "check test show sources book facts compare mutate coverage key publish activate rollback published "
            + OF_RULES,
        ),
        (["db"], "upgrade backup restore"),
        (["key"], "create rotate list revoke"),
    ],
)
def test_help_tells_each_command_in_full(group: list[str], commands: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The help names each command with a whole sentence, cut nowhere."""
    assert main([*group, "--help"]) == 0
    lines = capsys.readouterr().out.partition("Commands:\n")[2].splitlines()
    assert [line.split()[0] for line in lines] == commands.split()
    assert all(line.endswith((".", "?")) and not line.endswith("...") for line in lines)


def test_a_reader_that_leaves_early_does_no_harm() -> None:
    """A pipe that is closed before the end brings no traceback."""
    done = subprocess.run(
        f"{sys.executable} -m fitsvc rules show trailer-weight | true", shell=True, capture_output=True, check=False
    )
    assert b"Traceback" not in done.stderr
