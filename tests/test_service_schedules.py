"""Audits every night: a file taken over, judged against the night before, and what came of it told, whatever it is."""

import errno
import json
import re
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from hook_world import SECRET, Receiver, is_signed
from litestar import Litestar
from litestar.testing import TestClient
from mail_world import MailServer
from service_checks import pointers, problem
from sqlmodel import update
from waiting import until

from fitsvc.cli.app import main
from fitsvc.files import locked
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.app import create_app
from fitsvc.service.audits import deliveries
from fitsvc.service.audits import nightly as nightly_module
from fitsvc.service.audits import worker as audits_worker
from fitsvc.service.audits.deliveries import PATTERN, path_fault
from fitsvc.service.audits.nightly import Schedules
from fitsvc.service.audits.notices import Notices
from fitsvc.service.context import service_in
from fitsvc.service.mailing import read_mail_server
from fitsvc.service.reporting import Nightly, read_nightly
from fitsvc.service.settings import Operator, Settings
from fitsvc.service.speaking import spoken_tongues
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database
from fitsvc.store.tables import Schedule, now

Client = TestClient[Litestar]
RIGS = {
    "id": "rig_plain",
    "name": "Plain",
    "rig": {"receiver": {"facts": {"opening": "2 in", "pin_hole": "5/8 in", "tongue_rating": "500 lb"}}},
}
LIST = "Item;Sort;Tube;Wt [lb];fits\nTH-1;BM;2 in;9.5;rig_plain\nTH-2;BM;2 in;14;rig_plain\nTH-3;BM;2 in;9;\n"
MAPPING = """
separator: semicolon
columns:
  Item: sku
  Sort: {fact: kind, values: {BM: ball_mount}}
  Tube: shank
  Wt [lb]: {fact: weight, unit: lb}
  fits: fits
"""
NIGHT = datetime.fromisoformat("2026-12-01T01:00:00+00:00")


class Night:
    """A service that is looked after here, step by step, with a folder of deliveries and those who are told."""

    def __init__(self, database: Database, folder: Path, nightly: Nightly, rulebook: Rulebook) -> None:
        settings = Settings(nightly=nightly, operator=Operator(address="https://counter.example"))
        app = create_app(database, answerer(), folder / "audits", 1_000_000, settings=settings)
        self.client = TestClient(app, raise_server_exceptions=False)
        self.deliveries, self.audits = folder / "deliveries", folder / "audits"
        self.service, self.rulebook, tongues = service_in(app), rulebook, spoken_tongues(None)
        self.schedules = Schedules(self.service, nightly, tongues)
        self.notices = Notices(self.service, nightly.reports, tongues)
        with database.session() as session:
            self.key = {"X-API-Key": create_key(session, "yard")[0]}
        assert self.client.post("/v1/rigs", json=RIGS, headers=self.key).status_code == 201

    def deliver(self, text: str = LIST, name: str = "thorn/list.csv") -> Path:
        """Put a supplier's file where it comes in."""
        path = self.deliveries / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def keep_mapping(self, text: str = MAPPING) -> Path:
        """Keep the supplier's mapping, as taking in does."""
        path = self.audits / "suppliers" / "thorn.yaml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def plan(self, **told: Any) -> str:
        """Plan an audit, and return its path."""
        body = {"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00", "zone": "Europe/Berlin"} | told
        made = self.client.post("/v1/schedules", json=body, headers=self.key)
        assert made.status_code == 201, made.text
        return str(made.headers["location"])

    def ask(self, path: str) -> int:
        """Have a schedule run now, and return the run's number."""
        asked = self.client.post(f"{path}/run", headers=self.key)
        assert asked.status_code == 202, asked.text
        return int(asked.json()["run"])

    def carry_out(self, instant: datetime | None = None) -> None:
        """Look, have the audit carried out that then waits, and look what came of it."""
        self.schedules.look(instant or now())
        for folder in self.service.audits.listed():
            if folder.is_wanted():
                audits_worker.main(folder, self.rulebook.digest)
        self.schedules.look(instant or now())

    def newest(self, path: str) -> Any:
        """The newest run of a schedule."""
        return self.client.get(path).json()["newest"]

    def told(self) -> int:
        """Tell everybody all that is to be told; how many messages that were."""
        count = 0
        for one in self.service.nightly.reports.addresses:
            while self.notices.tell(one):
                count += 1
        return count


@pytest.fixture
def mailed() -> Iterator[MailServer]:
    """Give a mail server that somebody is told by."""
    running = MailServer()
    yield running
    running.end()


@pytest.fixture
def night(
    sqlite: Database,
    tmp_path: Path,
    receiver: Receiver,
    mailed: MailServer,
    rulebook: Rulebook,
    monkeypatch: pytest.MonkeyPatch,
) -> Night:
    """Give a service with a rig, a mapping and a delivery, a program and a person that are told."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", sqlite.url)
    monkeypatch.setattr(audits_worker, "cached_rulebook", lambda _: rulebook)
    addresses = [receiver.url("/told?shop=1"), "mailto:buyers@shop.example"]
    nightly = read_nightly(str(tmp_path / "deliveries"), addresses, SECRET, mailed.url, "audits@shop.example")
    made = Night(sqlite, tmp_path, nightly, rulebook)
    made.keep_mapping()
    made.deliver()
    return made


def test_the_difference_is_told_to_programs_and_people(night: Night, receiver: Receiver, mailed: MailServer) -> None:
    """Of the second night what is new since the first: counts, the items newly contradicted, and where to read on."""
    path = night.plan()
    night.ask(path)
    night.carry_out()
    first = night.newest(path)
    assert first["state"] == "finished"
    assert first["told"]["figures"] | {"suspicious": 0} == {
        "rows": 3,
        "claims": 2,
        "bad_rows": 0,
        "bad_cells": 0,
        "contradicted": 0,
        "undecided": 0,
        "suspicious": 0,
        "fixes": 0,
    }
    assert (first["told"]["against"], first["told"]["changes"], first["told"]["contradicted"]) == (None, None, None)
    assert first["summary"] == "thorn: audited; claims contradicted: 0 of 2; nothing to compare with"
    night.deliver(LIST.replace("TH-2;BM;2 in", "TH-2;BM;2-1/2 in").replace("TH-3", "TH-4"))
    night.ask(path)
    night.carry_out()
    second = night.newest(path)
    told = second["told"]
    assert told["against"] == first["audit"] and told["unchanged_since"] is None
    assert sum(told["changes"]["lost"].values()) == 1 and told["changes"]["new"] == {}
    assert (told["changes"]["new_items"], told["changes"]["gone_items"]) == (1, 1)
    (one,) = told["contradicted"]["first"]
    assert (told["contradicted"]["new"], told["contradicted"]["gone"], told["contradicted"]["items"]) == (1, 0, 1)
    assert (one["sku"], one["rigs"], one["rig"], one["rule"]) == ("TH-2", 1, "rig_plain", "shank-fits-opening")
    summary = "thorn: claims newly contradicted: 1, no more: 0; fits gained: 0, lost: 1"
    assert second["summary"] == summary
    assert night.told() == 4
    assert night.told() == 0, "each is told once"
    at, headers, body = receiver.taken[-1]
    sent = json.loads(body)
    assert at == "/told?shop=1" and is_signed(headers, body, SECRET)
    assert [one["webhook-id"] for _, one, _ in receiver.taken] == [f"{path[14:]}-1", f"{path[14:]}-2"]
    page = f"https://counter.example/audits/{second['audit']}"
    assert (sent["page"], sent["summary"], sent["told"]) == (page, summary, told)
    assert (sent["supplier"], sent["path"], sent["run"]) == ("thorn", "thorn/list.csv", 2)
    (sender, to, mail) = mailed.taken[-1]
    assert (sender, to, mail["Subject"].strip()) == ("audits@shop.example", ["buyers@shop.example"], summary)
    assert mail["Message-ID"] == f"<{path[14:]}-2@shop.example>" and mail["Auto-Submitted"] == "auto-generated"
    text = mail.get_content()
    assert page in text.splitlines()
    assert "Newly contradicted: TH-2, rigs: 1, such as rig_plain: The accessory has a 2-1/2 in shank" in text
    assert [one["told_at"] is not None for one in night.newest(path)["notices"]] == [True, True]
    assert [one["to"] for one in night.newest(path)["notices"]] == [receiver.url()[7:-1], "mail to shop.example"]


def test_what_holds_again_is_told_too(night: Night) -> None:
    """A claim that is contradicted no more, and a fit gained."""
    night.deliver(LIST.replace("TH-2;BM;2 in", "TH-2;BM;2-1/2 in"))
    path = night.plan()
    night.ask(path)
    night.carry_out()
    night.deliver()
    night.ask(path)
    night.carry_out()
    summary = night.newest(path)["summary"]
    assert summary == "thorn: claims newly contradicted: 0, no more: 1; fits gained: 1, lost: 0"


def test_it_runs_at_its_time_once_for_all_servers(night: Night) -> None:
    """Due at two in Berlin; another server that looks at the same moment makes nothing, nor does this one again."""
    path = night.plan()
    due = datetime.fromisoformat(night.client.get(path).json()["due_at"])
    assert (due.hour, due.minute) in ((0, 0), (1, 0)), "two in Berlin, in summer or winter"
    night.schedules.look(due - timedelta(seconds=1))
    assert night.newest(path) is None
    other = Schedules(night.service, night.service.nightly, {})
    threads = [threading.Thread(target=one.look, args=(due,)) for one in (night.schedules, other)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    night.carry_out(due)
    (run,) = night.client.get(f"{path}/runs").json()["items"]
    assert (run["state"], run["missed"], run["asked_by"]) == ("finished", 0, "")
    assert "It was due at 20" in run["lines"][0] and "02:00 (Europe/Berlin)" in run["lines"][0]
    assert len(night.service.audits.listed()) == 1


def test_a_run_that_does_not_end_shows_where_servers_are_watched(night: Night) -> None:
    """Since it was due; nothing waits before it was, nor after it has ended."""
    night.deliver()
    path = night.plan()
    due = datetime.fromisoformat(night.client.get(path).json()["due_at"])

    def shown(instant: datetime) -> tuple[float, float]:
        night.schedules.look(instant)
        text = night.client.get("/metrics").text
        found = dict(re.findall(r"^fitsvc_schedules_(looked_timestamp|waiting)_seconds (\S+)$", text, re.MULTILINE))
        return float(found["looked_timestamp"]) - due.timestamp(), float(found["waiting"])

    assert shown(due - timedelta(hours=1)) == (-3600, 0)
    assert shown(due + timedelta(hours=2)) == (7200, 7200)
    night.carry_out(due + timedelta(hours=3))
    assert shown(due + timedelta(hours=4)) == (14400, 0)


def test_while_one_server_looks_no_other_does(night: Night) -> None:
    """The lock of whoever looks keeps others off, and they come when it is free."""
    path = night.plan()
    night.ask(path)
    with locked(night.audits / "schedules.lock") as held:
        assert held
        night.schedules.look(now())
        assert night.newest(path)["state"] == "waiting"
    night.schedules.look(now())
    assert night.newest(path)["state"] == "running"


def test_a_time_that_was_missed_is_told_and_run_once(night: Night) -> None:
    """After two nights without a server it runs once, says how often it was missed, and goes on the night after."""
    path = night.plan()
    due = datetime.fromisoformat(night.client.get(path).json()["due_at"])
    night.carry_out(due + timedelta(days=1, hours=7))
    (run,) = night.client.get(f"{path}/runs").json()["items"]
    assert (run["state"], run["missed"]) == ("finished", 2)
    assert "is LATE: no server was there. Times that were missed: 2; it was run once." in run["lines"][0]
    following = datetime.fromisoformat(night.client.get(path).json()["due_at"])
    assert timedelta(days=2, hours=-1) <= following - due <= timedelta(days=2, hours=1)


def test_a_file_that_is_the_same_is_told_as_such(night: Night) -> None:
    """It is judged all the same, since rules and rigs may be others; since when it is the same is told each time."""
    path = night.plan()
    for _ in range(3):
        night.ask(path)
        night.carry_out()
    runs = night.client.get(f"{path}/runs").json()["items"]
    assert [one["state"] for one in runs] == ["finished"] * 3
    assert [one["told"]["unchanged_since"] is None for one in runs] == [False, False, True]
    assert runs[0]["told"]["unchanged_since"] == runs[1]["told"]["unchanged_since"]
    assert any(line.startswith("The file is UNCHANGED") for line in runs[0]["lines"])
    assert runs[0]["summary"] == "thorn: audited, no fit and no contradicted claim is otherwise"
    night.deliver(LIST + "TH-9;BM;2 in;9;\n")
    night.ask(path)
    night.carry_out()
    assert night.newest(path)["told"]["unchanged_since"] is None


def _gone(night: Night) -> str:
    (night.deliveries / "thorn/list.csv").unlink()
    return "missing: `thorn/list.csv` is not there"


def _empty(night: Night) -> str:
    night.deliver("")
    return "refused: `thorn/list.csv` is empty"


def _too_large(night: Night) -> str:
    night.deliver("x" * 1_000_001)
    return "refused: `thorn/list.csv` is larger than the 1 MB that are taken"


def _a_folder(night: Night) -> str:
    (night.deliveries / "thorn/list.csv").unlink()
    (night.deliveries / "thorn/list.csv").mkdir()
    return "refused: `thorn/list.csv` is no file"


def _leads_out(night: Night) -> str:
    (night.deliveries / "thorn/list.csv").unlink()
    (night.deliveries.parent / "secret.csv").write_text(LIST)
    (night.deliveries / "thorn/list.csv").symlink_to(night.deliveries.parent / "secret.csv")
    return "refused: `thorn/list.csv` leads out of the deliveries"


def _no_mapping(night: Night) -> str:
    night.keep_mapping().unlink()
    return "refused: no mapping of `thorn` is kept any more: take its file in first"


def _unreadable(night: Night) -> str:
    night.deliver("\0\1\2 nothing")
    return "failed: "


def _other_columns(night: Night) -> str:
    night.deliver(LIST.replace("Item;", "Number;"))
    return "failed: "


def _bad_mapping(night: Night) -> str:
    night.keep_mapping("columns: {Item: sku, Tube: shnk}\n")
    return "failed: column `Tube` is mapped to `shnk`, which is no fact"


@pytest.mark.parametrize(
    "spoilt",
    [_gone, _empty, _too_large, _a_folder, _leads_out, _no_mapping, _unreadable, _other_columns, _bad_mapping],
)
def test_what_is_not_audited_is_told(
    night: Night, receiver: Receiver, mailed: MailServer, spoilt: Callable[[Night], str]
) -> None:
    """Whatever stands in the way is what a run came to, with why, on the page and to everybody who is told."""
    path = night.plan()
    state, _, why = spoilt(night).partition(": ")
    night.ask(path)
    night.carry_out()
    run = night.newest(path)
    assert run["state"] == state, run
    told = [run["told"]["why"]] if run["told"]["why"] else [one["detail"] for one in run["told"]["problems"]]
    assert told and told[0].startswith(why)
    assert run["told"]["figures"] is None
    assert night.told() == 2
    sent = json.loads(receiver.taken[-1][2])
    assert (sent["state"], sent["told"]) == (state, run["told"])
    _, _, mail = mailed.taken[-1]
    assert mail["Subject"].strip() == run["summary"] and "NOT audited" in run["summary"]
    assert all(f"Why: {one}" in mail.get_content() for one in told)


def test_a_night_that_failed_does_not_end_the_comparison(night: Night) -> None:
    """The night after a missing file is held against the last one that was finished."""
    path = night.plan()
    night.ask(path)
    night.carry_out()
    first = night.newest(path)["audit"]
    kept = night.deliver()
    kept.unlink()
    night.ask(path)
    night.carry_out()
    assert night.newest(path)["state"] == "missing"
    night.deliver(LIST.replace("TH-2;BM;2 in", "TH-2;BM;2-1/2 in"))
    night.ask(path)
    night.carry_out()
    assert night.newest(path)["told"]["against"] == first
    assert night.newest(path)["told"]["contradicted"]["new"] == 1


def test_drift_is_told(night: Night) -> None:
    """A column that is new since the mapping was made is named."""
    path = night.plan()
    cells = ("Colour", "red", "", "")
    night.deliver("".join(f"{line};{cell}\n" for line, cell in zip(LIST.splitlines(), cells, strict=True)))
    night.ask(path)
    night.carry_out()
    run = night.newest(path)
    assert run["state"] == "finished"
    assert any("`Colour`" in one for one in run["told"]["drifted"]), run["told"]["drifted"]
    assert any("Not as the mapping was made for" in line and "Colour" in line for line in run["lines"])


def test_a_run_that_overlaps_is_skipped_and_told(night: Night, receiver: Receiver) -> None:
    """While last night's is at work tonight's is not begun beside it, and everybody is told."""
    path = night.plan()
    night.ask(path)
    night.schedules.look(now())
    due = datetime.fromisoformat(night.client.get(path).json()["due_at"])
    night.schedules.look(due)
    runs = night.client.get(f"{path}/runs").json()["items"]
    assert [one["state"] for one in runs] == ["skipped", "running"]
    assert night.told() == 2
    assert json.loads(receiver.taken[0][2])["told"]["why"] == "the run before it is still under way"
    problem(night.client.post(f"{path}/run", headers=night.key), 409)


def test_one_is_at_work_at_a_time(night: Night) -> None:
    """A second schedule waits until the first has ended, and then has its turn."""
    one, other = night.plan(), night.plan()
    for path in (one, other):
        night.ask(path)
    night.schedules.look(now())
    night.schedules.look(now())
    assert [night.newest(path)["state"] for path in (one, other)] == ["running", "waiting"]
    night.carry_out()
    assert [night.newest(path)["state"] for path in (one, other)] == ["finished", "running"]


def test_a_server_that_ends_in_between_leaves_nothing_half(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ended while it takes a file over, or before it notes that the audit began: the next goes on with that audit."""
    path = night.plan()
    number = night.ask(path)
    ending = Schedules(night.service, night.service.nightly, {})
    ending._stopping.set()
    with monkeypatch.context() as patch:
        patch.setattr(ending, "_stopping", _EndsSoon())
        ending.look(now())
    assert night.newest(path)["state"] == "waiting"
    assert list(night.audits.rglob("*.part")) == []
    with monkeypatch.context() as patch:
        patch.setattr(nightly_module, "begin_run", _killed)
        with pytest.raises(SystemExit):
            night.schedules.look(now())
    assert night.newest(path)["state"] == "waiting"
    night.carry_out()
    run = night.newest(path)
    assert (run["run"], run["state"]) == (number, "finished")
    assert len(night.service.audits.listed()) == 1


class _EndsSoon:
    """Says that a server ends once it is asked a second time."""

    def __init__(self) -> None:
        self.asked = 0

    def is_set(self) -> bool:
        self.asked += 1
        return self.asked > 1


def _killed(*_: object) -> bool:
    raise SystemExit


def test_a_fault_of_ours_is_told(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw ends the run as failed, and the next schedule has its turn."""
    path = night.plan()
    night.ask(path)

    def fails(*_: object) -> None:
        raise RuntimeError("nobody foresaw it")

    with monkeypatch.context() as patch:
        patch.setattr(nightly_module, "take", fails)
        night.schedules.look(now())
    run = night.newest(path)
    assert (run["state"], run["told"]["why"]) == ("failed", "by a fault that is in the service's log")
    assert night.told() == 2


def test_a_file_that_is_written_to_meanwhile_is_not_taken(night: Night) -> None:
    """Of a file that grows while it is read nobody could say what was audited."""
    path = night.plan()
    file = night.deliver()
    night.ask(path)

    class Grows(_EndsSoon):
        def is_set(self) -> bool:
            self.asked += 1
            if self.asked == 2:
                with file.open("a") as stream:
                    stream.write("TH-7;BM;2 in;9;\n")
            return False

    night.schedules._stopping = Grows()  # type: ignore[assignment]  # what is asked while a file is taken
    night.schedules.look(now())
    run = night.newest(path)
    assert run["state"] == "failed" and "was written to while it was read" in run["told"]["why"]


def test_who_is_away_is_told_later(night: Night, receiver: Receiver, mailed: MailServer) -> None:
    """Refused for now, each is tried again after a pause, the other meanwhile told; failures are to be seen."""
    path = night.plan()
    night.deliver().unlink()
    night.ask(path)
    night.carry_out()
    receiver.statuses[:] = [503]
    mailed.replies[:] = ["451 come back later"]
    assert night.told() == 2
    program, person = night.newest(path)["notices"]
    assert (program["told_at"], program["attempts"], program["failure"]) == (None, 1, "it answered 503")
    assert "451 come back later" in person["failure"] and person["due_at"] is not None
    assert night.told() == 0, "there is a pause first"
    assert mailed.taken == []


def test_old_audits_go_and_what_they_came_to_stays(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a schedule's audits the newest are kept, so that no disk fills up; the runs tell of all."""
    monkeypatch.setattr(nightly_module, "KEPT_AUDITS", 2)
    path = night.plan()
    made = []
    for number in range(4):
        night.deliver(LIST.replace("9.5", f"{number + 1}"))
        night.ask(path)
        night.carry_out()
        made.append(night.newest(path)["audit"])
    assert {one.key for one in night.service.audits.listed()} == set(made[2:])
    runs = night.client.get(f"{path}/runs").json()["items"]
    assert [one["state"] for one in runs] == ["finished"] * 4
    assert [one["audit"] for one in runs] == made[::-1]


def test_claims_of_a_file_of_their_own_are_audited(night: Night) -> None:
    """Where the catalogue does not say what fits, the claims come in beside it."""
    night.deliver("sku,rig\nTH-3,rig_plain\n", "thorn/claims.csv")
    night.deliver(LIST.replace(";rig_plain", ";").replace("TH-3;BM;2 in", "TH-3;BM;3 in"))
    path = night.plan(claims="thorn/claims.csv")
    night.ask(path)
    night.carry_out()
    run = night.newest(path)
    assert (run["told"]["figures"]["claims"], run["told"]["figures"]["contradicted"]) == (1, 1)
    (night.deliveries / "thorn/claims.csv").unlink()
    night.ask(path)
    night.carry_out()
    assert night.newest(path)["told"]["why"] == "`thorn/claims.csv` is not there"


def test_it_speaks_the_language_of_who_planned_it(night: Night, mailed: MailServer) -> None:
    """The mail of a schedule that was made in Spanish is in Spanish."""
    night.key |= {"Accept-Language": "es"}
    path = night.plan()
    night.deliver().unlink()
    night.ask(path)
    night.carry_out()
    night.told()
    _, _, mail = mailed.taken[-1]
    assert mail["Subject"] == "thorn: NO auditado, sin archivo"
    assert "`thorn/list.csv` no está" in mail.get_content()


def test_a_storage_by_its_url_is_read_as_a_folder_is(
    sqlite: Database, tmp_path: Path, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Deliveries in a storage that fsspec knows, here its memory: taken, missing and told by the same words."""
    import fsspec

    monkeypatch.setenv("FITSVC_DATABASE_URL", sqlite.url)
    monkeypatch.setattr(audits_worker, "cached_rulebook", lambda _: rulebook)
    nightly = read_nightly("memory://in/here/", ["https://shop.example/"], SECRET, "", "")
    night = Night(sqlite, tmp_path, nightly, rulebook)
    night.keep_mapping()
    path = night.plan()
    night.ask(path)
    night.carry_out()
    assert night.newest(path)["told"]["why"] == "`thorn/list.csv` is not there"
    fsspec.filesystem("memory").pipe("/in/here/thorn/list.csv", LIST.encode())
    night.ask(path)
    night.carry_out()
    run = night.newest(path)
    assert (run["state"], run["told"]["figures"]["rows"]) == ("finished", 3)
    assert run["told"]["file"]["bytes"] == len(LIST)


@pytest.mark.parametrize(
    ("told", "status", "at"),
    [
        ({"file": "../list.csv"}, 422, "/file"),
        ({"file": "/etc/passwd.csv"}, 422, "/file"),
        ({"file": "thorn//list.csv"}, 422, "/file"),
        ({"file": "thorn\\list.csv"}, 422, "/file"),
        ({"file": "thorn/list.exe"}, 422, "/file"),
        ({"file": ""}, 422, "/file"),
        ({"claims": ".."}, 422, "/claims"),
        ({"claims": ""}, 422, "/claims"),
        ({"supplier": "nobody"}, 409, "/supplier"),
        ({"supplier": "../thorn"}, 422, "/supplier"),
        ({"at": "25:00"}, 422, "/at"),
        ({"zone": "Mars"}, 422, "/zone"),
        ({"zone": False}, 422, "/zone"),
        ({"address": "https://elsewhere.example"}, 400, "/address"),
    ],
)
def test_what_is_no_schedule_is_refused(night: Night, told: dict[str, Any], status: int, at: str) -> None:
    """By the field, before anything is kept."""
    body = {"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00"} | told
    refused = problem(night.client.post("/v1/schedules", json=body, headers=night.key), status)
    assert pointers(refused) == [at]
    assert night.client.get("/v1/schedules").json()["items"] == []


def test_who_may_plan_and_who_may_see(sqlite: Database, tmp_path: Path, rulebook: Rulebook) -> None:
    """A key that may audit plans, sees and ends its own; of another's it is told nothing. Who administers sees all."""
    nightly = read_nightly(str(tmp_path), ["https://shop.example/"], SECRET, "", "")
    settings = Settings(nightly=nightly, public=frozenset())
    client = TestClient(create_app(sqlite, answerer(), tmp_path / "audits", settings=settings))
    (tmp_path / "audits" / "suppliers").mkdir(parents=True)
    (tmp_path / "audits" / "suppliers" / "thorn.yaml").write_text(MAPPING)
    scopes = {"mine": ["audit"], "other": ["audit"], "asks": ["ask", "read"], "chief": ["administer"]}
    with sqlite.session() as session:
        keys = {name: {"X-API-Key": create_key(session, name, some)[0]} for name, some in scopes.items()}
    body = {"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00"}
    problem(client.post("/v1/schedules", json=body), 401)
    problem(client.post("/v1/schedules", json=body, headers=keys["asks"]), 403)
    path = client.post("/v1/schedules", json=body, headers=keys["mine"]).headers["location"]
    for name, seen in (("mine", 1), ("other", 0), ("chief", 1)):
        assert len(client.get("/v1/schedules", headers=keys[name]).json()["items"]) == seen
    for method, there in (("GET", path), ("GET", f"{path}/runs"), ("POST", f"{path}/run"), ("DELETE", path)):
        problem(client.request(method, there, headers=keys["other"]), 404)
        problem(client.request(method, there), 401)
    assert client.post(f"{path}/run", headers=keys["mine"]).status_code == 202
    assert client.delete(path, headers=keys["chief"]).status_code == 204
    log = client.get("/v1/log", headers=keys["chief"]).json()["items"]
    assert [(one["act"], one["kind"], one["by"]) for one in log] == [
        ("creates", "schedule", "mine"),
        ("deletes", "schedule", "chief"),
    ]


def test_without_deliveries_nothing_is_planned(client: Client, key: dict[str, str]) -> None:
    """A service that would never run it says so, instead of keeping it in silence."""
    body = {"supplier": "thorn", "file": "thorn/list.csv", "at": "02:00"}
    refused = problem(client.post("/v1/schedules", json=body, headers=key), 409)
    assert "--deliveries" in refused["detail"]


@pytest.mark.parametrize(
    ("deliveries", "addresses", "secrets", "server", "sender", "told"),
    [
        ("in", [], SECRET, "", "", "nobody would be told"),
        ("", ["https://shop.example/"], SECRET, "", "", "there are no nightly audits to report"),
        ("in", ["https://shop.example/"], "", "", "", "there is no secret"),
        ("in", ["ftp://shop.example/"], SECRET, "", "", "is not an address to tell"),
        ("in", ["mailto:buyers@shop.example"], "", "", "", "mail needs a server"),
        ("in", ["mailto:buyers@shop.example"], "", "smtp://127.0.0.1", "", "mail needs a server"),
        ("in", ["mailto:buyers@shop.example"], "", "http://127.0.0.1", "a@b.example", "names no server"),
        ("in", ["mailto:buyers@shop.example"], "", "smtp://h:99999", "a@b.example", "names no server"),
        ("in", ["mailto:buyers@shop.example"], "", "smtp://h", "a b", "FITSVC_MAIL_FROM is no address"),
        ("in", ["mailto:a@b.example,c@d.example"], "", "smtp://h", "a@b.example", "is no address for mail"),
        ("in", ["mailto:a@b.example\r\nBcc: x@y.example"], "", "smtp://h", "a@b.example", "is no address for mail"),
        ("in", [f"mailto:a{n}@b.example" for n in range(11)], "", "smtp://h", "a@b.example", "there are 11 addresses"),
    ],
)
def test_what_an_operator_leaves_out_is_told_before_anything_is_served(
    deliveries: str, addresses: list[str], secrets: str, server: str, sender: str, told: str
) -> None:
    """An audit that nobody would be told of is not begun, and nobody is told where nothing is audited."""
    with pytest.raises(ProblemsFound, match=told):
        read_nightly(deliveries, addresses, secrets, server, sender)


def test_a_password_is_told_to_no_server_without_tls(mailed: MailServer, night: Night) -> None:
    """The server on loopback offers none, so that nothing is sent, and the failure does not tell the password."""
    server = read_mail_server(mailed.url.replace("//", "//yard:s3cr%2Ft@"), "audits@shop.example")
    assert (server.user, server.password) == ("yard", "s3cr/t") and "s3cr" not in repr(server)
    nightly = read_nightly(
        "in", ["mailto:b@shop.example"], "", mailed.url.replace("//", "//yard:pw@"), "a@shop.example"
    )
    notices = Notices(night.service, nightly.reports, {})
    path = night.plan()
    night.deliver().unlink()
    night.schedules._nightly = Nightly(night.schedules._nightly.deliveries, nightly.reports)
    night.ask(path)
    night.carry_out()
    assert notices.tell("mailto:b@shop.example")
    (notice,) = night.newest(path)["notices"]
    assert "offers no TLS" in notice["failure"] and "pw" not in notice["failure"]
    assert mailed.taken == []


def test_a_mail_server_that_is_away_loses_nothing(night: Night, mailed: MailServer) -> None:
    """What could not be sent is told with why, and is still to be sent."""
    path = night.plan()
    night.deliver().unlink()
    night.ask(path)
    night.carry_out()
    mailed.end()
    night.told()
    person = night.newest(path)["notices"][1]
    assert person["failure"].startswith("the mail server cannot be used") and person["due_at"] is not None
    mailed.__init__()  # type: ignore[misc]  # for the fixture to end


def test_the_commands_plan_list_run_and_end(
    night: Night, sqlite: Database, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is planned in the shell the service carries out, and what came of it is told there."""
    monkeypatch.setenv("FITSVC_AUDITS", str(night.audits))
    assert main(["schedule", "create", "nobody", "thorn/list.csv", "--at", "02:00"]) == 2
    assert "no mapping of `nobody` is kept here" in capsys.readouterr().err
    assert main(["schedule", "create", "thorn", "thorn/list.csv", "--at", "02:00", "--zone", "Europe/Berlin"]) == 0
    made = capsys.readouterr()
    key = made.out.strip()
    assert "02:00 (Europe/Berlin)" in made.err
    assert main(["schedule", "runs", key]) == 0
    assert "it has not run yet" in capsys.readouterr().err
    assert main(["schedule", "run", key]) == 0
    assert main(["schedule", "run", key]) == 2
    night.carry_out()
    night.told()
    capsys.readouterr()
    assert main(["schedule", "list"]) == 0
    listed = capsys.readouterr().out
    assert key in listed and "thorn: audited; claims contradicted: 0 of 2" in listed
    assert main(["schedule", "runs", key]) == 0
    told = capsys.readouterr().out
    assert "Asked for by in the shell" in told and "mail to shop.example: told" in told
    assert main(["schedule", "delete", key]) == 0
    assert main(["schedule", "delete", key]) == 2


def test_schedules_that_nobody_carries_out_are_told_at_the_start(
    night: Night, sqlite: Database, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A server that was started without deliveries, where some are planned, says so in its log."""
    with TestClient(create_app(sqlite, answerer(), tmp_path / "audits")):
        pass
    assert "not carried out" not in caplog.text
    night.plan()
    with TestClient(create_app(sqlite, answerer(), tmp_path / "audits")):
        pass
    assert "schedules are kept, and not carried out: there is no `--deliveries`" in caplog.text


def test_a_server_does_all_of_it_by_itself(night: Night, receiver: Receiver, mailed: MailServer) -> None:
    """Its threads and the audit's own process, from a time that has come to what everybody is told."""
    path = night.plan()
    with night.service.database.session() as session:
        session.execute(update(Schedule).values(due_at=now() - timedelta(seconds=2)))
    with night.client:
        until(lambda: len(receiver.taken) == 1 and len(mailed.taken) == 1, "both to be told")
        assert night.client.get("/health/live").status_code == 200
    sent = json.loads(receiver.taken[0][2])
    assert (sent["state"], sent["missed"], sent["told"]["figures"]["claims"]) == ("finished", 0, 2)
    assert night.newest(path)["state"] == "finished"


def test_a_full_disk_is_told_as_such(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is wrong with the file then, and nothing of it stays."""
    path = night.plan()
    night.ask(path)

    def full(_: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(deliveries, "sync", full)
        night.carry_out()
    run = night.newest(path)
    assert (run["state"], run["told"]["why"]) == ("interrupted", "the disk of the service is full")
    assert list(night.audits.rglob("*.part")) == []
    assert night.told() == 2


@pytest.mark.parametrize(
    ("path", "is_one"),
    [
        ("list.csv", True),
        ("a/b c/Käse.XLSX", True),
        (".hidden/x.txt", True),
        ("..csv", True),
        ("x/.../y.csv", True),
        ("x/../y.csv", False),
        ("./y.csv", False),
        ("../y.csv", False),
        ("x/..", False),
        ("/y.csv", False),
        ("x//y.csv", False),
        ("x\\y.csv", False),
        ("y.csv\n", False),
        ("y\n.csv", False),
        ("y.csv/", False),
        ("y", False),
        ("y.csv.gz", False),
        (".csv", False),
        ("", False),
    ],
)
def test_what_a_path_may_be_is_what_the_schema_says(path: str, is_one: bool) -> None:
    """The description's pattern and the refusal agree, and nothing that they let through leads upwards."""
    assert (not path_fault(path)) == is_one
    assert (re.fullmatch(PATTERN, path) is not None) == is_one
    if is_one:
        assert Path("/in", path).resolve().is_relative_to("/in")
