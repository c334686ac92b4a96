"""The saved index: shared through files, and never served when it is torn, of another store, or out of step."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from demo_world import answerer, world
from numpy import flatnonzero
from sqlmodel import Session, col, select

from fitsvc.selection import index as selection_index
from fitsvc.selection.files import IndexFolder, index_root
from fitsvc.selection.index import SelectionIndex
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.rows import StoredAccessory, all_rows
from fitsvc.selection.segments import Snapshot
from fitsvc.selection.selector import Selection, Selector, read_rig
from fitsvc.store.creation import bulk_create
from fitsvc.store.database import Database
from fitsvc.store.records import Draft, replace_record
from fitsvc.store.tables import Accessory, Observation

SKUS = sorted(one.key for one in world().of("accessory"))[:60]
DIGEST = answerer().rulebook.digest
PROGRAM = """
import sys
from pathlib import Path
from demo_world import answerer
from fitsvc.selection.files import IndexFolder
from fitsvc.selection.index import SelectionIndex
from fitsvc.store.database import Database
database = Database(sys.argv[1])
folder = IndexFolder(Path(sys.argv[2]), database, answerer().rulebook.digest)
print("ready", flush=True)
sys.stdin.readline()
held = SelectionIndex(answerer(), database, folder=folder).held()
print(held.revision, held.items, flush=True)
"""


@pytest.fixture
def stocked(database: Database) -> Database:
    """Give a database with some of the demo world's accessories, and one whose facts cannot be read."""
    with database.session() as session:
        wares = [one for one in world().of("accessory") if one.key in SKUS]
        bulk_create(session, "accessory", (Draft(key=one.key, label=one.label, facts=one.facts) for one in wares))
        bulk_create(session, "accessory", [Draft(key="ODD", label="Odd", facts={"kind": "no such kind"})])
    return database


@pytest.fixture
def folder(stocked: Database, tmp_path: Path) -> IndexFolder:
    """Give the store's folder for its index."""
    return IndexFolder(tmp_path / "index", stocked, DIGEST)


@pytest.fixture
def builds(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Give a list that grows each time that the whole store is read."""
    found = list[object]()

    def read(session: Session) -> Iterator[list[StoredAccessory]]:
        found.append(session)
        return all_rows(session)

    monkeypatch.setattr(selection_index, "all_rows", read)
    return found


def opened(database: Database, folder: IndexFolder | None) -> SelectionIndex:
    """Return an index over a store."""
    return SelectionIndex(answerer(), database, most_loose=5, folder=folder)


def labels(held: Snapshot) -> dict[str, str]:
    """Return label by SKU."""
    items = [part.segment.item(int(row)) for part in held.parts for row in flatnonzero(part.alive)] + list(held.loose)
    return {item.sku: item.label for item in items}


def page(held: Snapshot) -> Selection:
    """Return a page of what a rig comes to, with the counts."""
    rig = read_rig({"rig": {"id": sorted(world().rigs)[1]}}, answerer(), world())
    return Selector(answerer()).select(held, rig, SelectionQuery(question={}, limit=1000, sort="label"))


def rename(database: Database, sku: str, label: str) -> None:
    """Change an accessory's label."""
    with database.session() as session:
        replace_record(session, "accessory", sku, Draft(label=label))


def assert_right(database: Database, held: Snapshot) -> None:
    """Hold what an index holds to a fresh reading of the store."""
    fresh = opened(database, None).held()
    assert (held.revision, held.items, held.unreadable) == (fresh.revision, fresh.items, fresh.unreadable)
    assert labels(held) == labels(fresh)
    assert page(held) == page(fresh)


def test_a_second_service_opens_what_the_first_has_built(
    stocked: Database, folder: IndexFolder, builds: list[object]
) -> None:
    """It reads only what has changed since, and comes to the same."""
    first = opened(stocked, folder).held()
    assert len(builds) == 1
    rename(stocked, SKUS[3], "Another label")
    second = opened(stocked, folder).held()
    assert len(builds) == 1
    assert first.revision != second.revision
    assert_right(stocked, second)


def cut(file: Path) -> None:
    """Leave a file without its end."""
    file.write_bytes(file.read_bytes()[:-7])


def flip(file: Path) -> None:
    """Change one bit in the middle of a file."""
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 4
    file.write_bytes(data)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)  # files are the same whatever is read
@pytest.mark.parametrize("name", ["items.arrow", "facts.arrow", "signatures.arrow", "index.json"])
@pytest.mark.parametrize("harm", [cut, flip, Path.unlink, lambda file: file.write_bytes(b"")])
def test_a_torn_file_is_made_anew(
    stocked: Database, folder: IndexFolder, builds: list[object], name: str, harm: Callable[[Path], None]
) -> None:
    """Whatever is missing or changed in whichever file."""
    opened(stocked, folder).held()
    (saved,) = folder.path.glob("0*")
    harm(saved / name)
    assert_right(stocked, opened(stocked, folder).held())
    assert len(builds) == 3  # the first, the one in place of the torn one, and the one to compare with
    opened(stocked, folder).held()
    assert len(builds) == 3


def test_a_file_of_another_past_is_made_anew(stocked: Database, folder: IndexFolder, builds: list[object]) -> None:
    """A store put back to an earlier state and changed since has other observations under the same numbers."""
    opened(stocked, folder).held()
    with stocked.session() as session:
        newest = session.exec(select(Observation).order_by(col(Observation.sequence).desc())).first()
        assert newest is not None
        newest.id = "obs_of_another_past"
        session.add(newest)
        record = session.get(Accessory, SKUS[0])
        assert record is not None
        record.label, record.version = "Of another past", 7
        session.add(record)
    builds.clear()
    held = opened(stocked, folder).held()
    assert (len(builds), labels(held)[SKUS[0]]) == (1, "Of another past")
    assert_right(stocked, held)


def test_a_file_left_far_behind_is_made_anew(
    stocked: Database, folder: IndexFolder, builds: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading the whole store is then quicker than following it."""
    monkeypatch.setattr(selection_index, "_FEW", 3)
    opened(stocked, folder).held()
    for number in range(8):
        rename(stocked, SKUS[number], f"Label {number}")
    assert_right(stocked, opened(stocked, folder).held())
    assert len(builds) == 3
    opened(stocked, folder).held()
    assert len(builds) == 3


def test_an_index_is_of_one_store_and_one_rulebook(stocked: Database, folder: IndexFolder, tmp_path: Path) -> None:
    """Another digest has another folder, and a folder put in the place of another is not taken for it."""
    opened(stocked, folder).held()
    other = IndexFolder(tmp_path / "index", stocked, "sha256:other")
    assert other.path != folder.path
    assert other.newest() is None
    shutil.copytree(folder.path, other.path)
    assert other.newest() is None
    elsewhere = IndexFolder(tmp_path / "index", Database(f"sqlite:///{tmp_path / 'other.db'}"), DIGEST)
    assert elsewhere.path != folder.path


def test_two_processes_build_one_index(stocked: Database, folder: IndexFolder) -> None:
    """Of two that begin at once, one builds and the other opens what it has built."""
    command = [sys.executable, "-c", PROGRAM, stocked.url, str(folder.path.parent)]
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent)}
    processes = [
        subprocess.Popen(command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    told = {process.communicate()[0] for process in processes}
    assert [process.returncode for process in processes] == [0, 0]
    assert told == {f"{opened(stocked, None).held().revision} {len(SKUS)}\n"}
    assert [one.name for one in folder.path.iterdir() if one.name != "lock"] == ["0000000001"]


def test_those_who_wait_for_a_builder_take_what_it_made(
    stocked: Database, folder: IndexFolder, builds: list[object]
) -> None:
    """Many at once read the store once."""
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda _: opened(stocked, folder).held().revision, range(4)))
    assert (len(builds), len(set(found))) == (1, 1)


def test_an_index_replaced_while_mapped_stays_right(
    stocked: Database, folder: IndexFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who has the old files mapped keeps them and follows the store from there."""
    monkeypatch.setattr(selection_index, "_FEW", 0)
    old = opened(stocked, folder)
    old.held()
    (before,) = folder.path.glob("0*")
    for number in range(10):
        rename(stocked, SKUS[number * 3], f"Label {number}")
    new = opened(stocked, folder)
    new.held()
    (after,) = folder.path.glob("0*")
    assert (before.exists(), after.name) == (False, "0000000002")
    rename(stocked, SKUS[1], "The last")
    assert_right(stocked, old.held())
    assert_right(stocked, new.held())


def test_what_a_dead_builder_left_is_cleared_away(stocked: Database, folder: IndexFolder) -> None:
    """A folder that was not finished is not looked at."""
    left = folder.path / "new-999999"
    left.mkdir(parents=True)
    (left / "items.arrow").write_bytes(b"half")
    assert_right(stocked, opened(stocked, folder).held())
    assert not left.exists()


def test_without_a_place_for_files_the_index_is_in_memory(
    stocked: Database, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A folder that cannot be written is told of, and nothing else is the matter."""
    (tmp_path / "taken").write_text("a file")
    assert_right(stocked, opened(stocked, IndexFolder(tmp_path / "taken", stocked, DIGEST)).held())
    assert "kept in memory only" in caplog.text


def test_where_indexes_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it is said; else beside a SQLite file, or in the user's cache folder."""
    monkeypatch.delenv("FITSVC_INDEX", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    file, server = Database(f"sqlite:///{tmp_path / 'shop.db'}"), Database("postgresql://me@127.0.0.1/shop")
    assert index_root(None, file) == tmp_path / "shop.db.index"
    assert index_root(None, server) == tmp_path / "cache" / "fitsvc" / "index"
    monkeypatch.setenv("FITSVC_INDEX", str(tmp_path / "said"))
    assert index_root(None, file) == index_root(None, server) == tmp_path / "said"
    assert index_root(tmp_path / "given", file) == tmp_path / "given"
