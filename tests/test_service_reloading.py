"""`serve --rules`: the folder is read anew at SIGHUP or for whoever administers; with faults nothing changes."""

import json
import logging
import signal
from contextlib import closing
from pathlib import Path
from shutil import rmtree
from typing import Any

import pytest
from changed_rules import changed
from served import Served, ask, reply
from waiting import LONGEST, until

from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import passed_over
from fitsvc.service.reloading import MOST_KEPT, FolderRules, _put
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

FILE = "coupling.yaml"


def edited(folder: Path, old: str, new: str) -> None:
    """Edit the file of coupling in a folder of rules."""
    path = folder / FILE
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Give a folder of rules that is a shop's own."""
    return changed(tmp_path, FILE, "title: ", "title: As in our shop, ")


def ready(port: int) -> dict[str, Any]:
    """What one process of a server says of itself, once the index of an application that has just begun is open."""

    def asked() -> dict[str, Any] | None:
        response, body = reply(port, "GET", "/health/ready")
        told: dict[str, Any] = json.loads(body)
        return told if response.status == 200 else None

    return until(asked, "the service to be ready")


@pytest.mark.parametrize("workers", [1, 2])
def test_a_signal_has_the_folder_read_anew(tmp_path: Path, url: str, rules: Path, workers: int) -> None:
    """What is edited is answered by once the signal comes, and not before; what has faults never."""
    options = ["--rules", str(rules), "--workers", str(workers), "--audits", str(tmp_path / "audits")]
    server = Served(url, tmp_path / "log", options=options)
    try:
        port = server.port()
        first = cached_rulebook(rules).digest
        assert ready(port) == {"status": "ready", "rulebook": first, "in_force": first}
        edited(rules, "title: As in our shop, ", "title: As edited, ")
        second = cached_rulebook(rules).digest
        assert first != second
        assert json.loads(ask(port)[1])["rulebook"]["digest"] == first

        server.process.send_signal(signal.SIGHUP)
        until(lambda: ready(port)["rulebook"] == second, "the service to change over")
        # Connections go to either worker: a second after the one, the other has looked too.
        until(lambda: {ready(port)["rulebook"] for _ in range(20)} == {second}, "all workers to change over")
        assert json.loads(ask(port)[1])["rulebook"]["digest"] == second

        edited(rules, "requires: ", "requires: nothing.of_the_sort and ")
        server.process.send_signal(signal.SIGHUP)
        until(lambda: "refused" in ready(port), "the fault to be told")
        told = ready(port)
        assert told["rulebook"] == told["in_force"] == second
        assert f"{rules.name}/{FILE}:" in told["refused"] and "nothing.of_the_sort" in told["refused"]
        assert server.process.poll() is None

        if workers == 1:
            edited(rules, "requires: nothing.of_the_sort and ", "requires: ")
            edited(rules, "title: As edited, ", "title: As mended, ")
            server.process.send_signal(signal.SIGHUP)
            third = cached_rulebook(rules).digest
            until(lambda: ready(port)["rulebook"] == third, "the mended rules to hold")
            assert "refused" not in ready(port)
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(LONGEST) == 0
    finally:
        server.end()
    assert "Traceback" not in server.log.read_text()


def test_a_caller_has_the_folder_read_anew(tmp_path: Path, url: str, rules: Path) -> None:
    """Whoever administers is told what holds from then on, for every worker; of faults why they change nothing."""
    with closing(Database(url)) as database, database.session() as session:
        keys = {scope: {"X-API-Key": create_key(session, scope, (scope,))[0]} for scope in ("administer", "edit")}

    def asked(scope: str) -> tuple[int, dict[str, Any]]:
        response, body = reply(port, "POST", "/v1/rulebooks/reload", headers=keys[scope])
        return response.status, json.loads(body)

    options = ["--rules", str(rules), "--workers", "2", "--audits", str(tmp_path / "audits")]
    server = Served(url, tmp_path / "log", options=options)
    try:
        port = server.port()
        first = ready(port)["rulebook"]
        assert asked("administer") == (200, {"rulebook": first, "in_force": first})
        edited(rules, "title: As in our shop, ", "title: As edited, ")
        second = cached_rulebook(rules).digest
        assert asked("edit")[0] == 403
        assert {ready(port)["in_force"] for _ in range(5)} == {first}
        status, told = asked("administer")
        assert (status, told["in_force"]) == (200, second)
        until(lambda: {ready(port)["rulebook"] for _ in range(20)} == {second}, "all workers to change over")

        edited(rules, "requires: ", "requires: nothing.of_the_sort and ")
        status, told = asked("administer")
        assert (status, told["type"]) == (409, "/problems/not-reloaded")
        assert f"{rules.name}/{FILE}:" in told["detail"] and "nothing.of_the_sort" in told["detail"]
        assert ready(port)["rulebook"] == second and "nothing.of_the_sort" in ready(port)["refused"]
    finally:
        server.end()
    assert "Traceback" not in server.log.read_text()


def test_a_copy_that_another_process_has_put_there_is_taken(tmp_path: Path) -> None:
    """Two processes that read the same folder at once come to one copy; what stands in the way otherwise is told."""
    one, other, place = (tmp_path / name for name in ("one", "other", "place"))
    for folder in (one, other):
        folder.mkdir()
        (folder / "rulebook.yaml").write_text("name: few\n")
    _put(one, place)
    _put(other, place)
    assert (place / "rulebook.yaml").is_file()
    (tmp_path / "file").write_text("")
    with pytest.raises(NotADirectoryError):
        _put(other, tmp_path / "file")


def test_what_is_served_is_a_copy(tmp_path: Path, rules: Path) -> None:
    """Whoever empties the folder meanwhile changes nothing, and is told once it is read."""
    below = tmp_path / "below"
    below.mkdir()
    folder = FolderRules(rules, below)
    first = folder.first()
    assert first.rules is not None and first.rules.parent == below
    rmtree(rules)
    assert folder.in_force() == first.digest and folder.refused == {}
    folder.ask()
    assert folder.in_force() == first.digest
    assert "cannot be served" in folder.refused[first.digest]
    assert folder.load(first.digest) is not None
    assert folder.load("sha256:0") is None


@pytest.mark.parametrize(
    "name", ["more.yml", "Steps.YAML", "steps.YML", "steps.yaml.txt", "steps.Yaml.bak", "words/es.yml"]
)
@pytest.mark.parametrize("overlay", [False, True])
def test_files_that_would_be_passed_over_are_refused(name: str, overlay: bool, tmp_path: Path, rules: Path) -> None:
    """As `rules check` refuses them, whatever their letters and endings: nothing in them would hold."""
    if overlay:
        rules = tmp_path / "yard"
        rules.mkdir()
        (rules / "overlay.yaml").write_text("name: the yard\n")
    assert not [*passed_over(rules)]
    (rules / name).parent.mkdir(exist_ok=True)
    (rules / name).write_text("topic: more\n")
    (found,) = passed_over(rules)
    stem = name.partition("/")[2] or name
    assert found.help.startswith(f"name it `{stem.partition('.')[0]}.yaml`") and found.file.endswith(name)
    assert ("take it out" in found.help) == (name.count(".") > 1)
    below = tmp_path / "below"
    below.mkdir()
    with pytest.raises(ProblemsFound, match="this file is not read"):
        FolderRules(rules, below).first()


def test_words_of_other_languages_come_along(tmp_path: Path, rules: Path) -> None:
    """A shop's own Spanish is served with its rules, and an edit that means nothing is told as one."""
    (rules / "words").mkdir(exist_ok=True)
    (rules / "words" / "fr.yaml").write_text("texts: {}\n")
    below = tmp_path / "below"
    below.mkdir()
    served = FolderRules(rules, below).first()
    assert served.rules is not None
    assert (served.rules / "words" / "fr.yaml").is_file()


def test_signals_in_a_row_are_seen_to_one_after_another(
    tmp_path: Path, rules: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that comes while the folder is read has it read once more; so many copies are kept, and no more."""
    below = tmp_path / "below"
    below.mkdir()
    folder = FolderRules(rules, below)
    folder.first()
    taken, take = list[int](), folder._take

    def taking() -> Path:
        taken.append(1)
        if len(taken) == 1:
            folder.reread()  # as a signal does at any step
        return take()

    monkeypatch.setattr(folder, "_take", taking)
    with caplog.at_level(logging.INFO, "fitsvc.service"):
        folder.reread()
    assert len(taken) == 2
    assert "which mean what they did" in caplog.text
    for number in range(MOST_KEPT + 3):
        (below / f"old{number}").mkdir()
    folder.reread()
    kept = [path for path in below.iterdir() if path.is_dir()]
    assert len(kept) == MOST_KEPT
    assert folder.load(str(folder.in_force())) is not None
