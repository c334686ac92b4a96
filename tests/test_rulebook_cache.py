"""Rulebooks kept in the cache folder: the same as read afresh, and harmless whatever becomes of the files there."""

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import msgspec
import pytest
from demo_world import ASKED, question, stock, world
from test_rulebook_loader import changed, write

import fitsvc
from fitsvc.answers.answer import encode as wire
from fitsvc.answers.answering import Answerer
from fitsvc.engine.examples import run_examples
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook import cache, loader
from fitsvc.rulebook.cache import MOST_KEPT, cached_rulebook
from fitsvc.rulebook.encoding import decode, encode
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook

OWN = data_dir("rules")
SYSTEMS: tuple[System, ...] = ("us", "metric")


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the folder in which rulebooks are kept, with none in it."""
    monkeypatch.setenv("FITSVC_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache" / "rulebooks"


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Give the list of folders that have been read and checked afresh."""
    folders: list[Path] = []
    load = load_rulebook

    def counted(folder: Path, contents: dict[Path, bytes]) -> Rulebook:
        folders.append(folder)
        return load(folder, contents)

    monkeypatch.setattr(loader, "load_rulebook", counted)
    return folders


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder with a small rulebook."""
    return write(tmp_path_factory.mktemp("small"), {})


def only(kept: Path) -> Path:
    """The one file that is kept."""
    (file,) = files(kept)
    return file


def files(kept: Path) -> set[Path]:
    """The files that are kept."""
    return {path for path in kept.iterdir() if path.name != ".lock"}


def test_a_kept_rulebook_is_the_one_read(kept: Path, read: list[Path]) -> None:
    """The second asking reads no rule, and gives an equal rulebook, digest, parts, examples and all."""
    first, second = cached_rulebook(OWN), cached_rulebook(OWN)
    assert read == [OWN] and second is not first
    assert replace(second, examples={}) == replace(first, examples={})
    assert read == [OWN]
    assert second == first == load_rulebook(OWN)


def test_every_demo_answer_is_the_same(kept: Path) -> None:
    """By a kept rulebook each of the demo's questions gets the very bytes that it gets by one read afresh."""
    cached_rulebook(OWN)
    fresh, again = Answerer(load_rulebook(OWN)), Answerer(cached_rulebook(OWN))
    for name in ASKED:
        for system in SYSTEMS:
            answers = [wire(one.answer(question(name), world(), system, stock())) for one in (fresh, again)]
            assert answers[0] == answers[1]


def test_every_example_is_kept_in_the_same_words(kept: Path) -> None:
    """The examples of a kept rulebook run, and one that breaks is told at the same place in the same words."""
    cached_rulebook(OWN)
    told = [
        [(one.owner, one.expected, one.found, one.problem()) for one in run_examples(Point(book), FactReader(book))]
        for book in (load_rulebook(OWN), cached_rulebook(OWN))
    ]
    assert told[0] == told[1] and len(told[0]) > 900


def instead(make: Callable[[Path], object]) -> Callable[[Path], None]:
    """Something else made where the file was."""

    def harm(file: Path) -> None:
        file.unlink()
        make(file)

    return harm


def linked(file: Path) -> None:
    """The whole file, but elsewhere."""
    file.symlink_to(file.rename(file.parent.parent / "elsewhere"))


HARMS: dict[str, Callable[[Path], object]] = {
    "deleted": Path.unlink,
    "empty": lambda file: file.write_bytes(b""),
    "without its end": lambda file: file.write_bytes(file.read_bytes()[:-1]),
    "half": lambda file: file.write_bytes(file.read_bytes()[: file.stat().st_size // 2]),
    "only a checksum": lambda file: file.write_bytes(file.read_bytes()[:32]),
    "longer": lambda file: file.write_bytes(file.read_bytes() + b"\0"),
    "text": lambda file: file.write_text("import os"),
    "a folder": instead(Path.mkdir),
    "a pipe": instead(os.mkfifo),
    "a link": linked,
    "a link to nowhere": instead(lambda file: file.symlink_to("nowhere")),
    "open to others": lambda file: file.chmod(0o666),
}


@pytest.mark.parametrize("harm", HARMS.values(), ids=HARMS.keys())
def test_harm_to_the_file_does_none(harm: Callable[[Path], object], kept: Path, small: Path, read: list[Path]) -> None:
    """Whatever stands where a rulebook was kept, the rules are read afresh."""
    expected = cached_rulebook(small)
    harm(only(kept))
    assert cached_rulebook(small) == expected
    assert read == [small, small]


def test_no_changed_byte_passes(kept: Path, small: Path, read: list[Path]) -> None:
    """A file in which any byte is another is not used."""
    expected = cached_rulebook(small)
    file, rng = only(kept), random.Random(7)
    whole = file.read_bytes()
    places = [*range(40), *rng.sample(range(len(whole)), 60), len(whole) - 1]
    for place in places:
        file.write_bytes(whole[:place] + bytes([whole[place] ^ rng.randrange(1, 256)]) + whole[place + 1 :])
        assert cached_rulebook(small) == expected
    assert len(read) == 1 + len(places)


def test_no_changed_row_is_taken_for_another_kind_of_thing(small: Path) -> None:
    """Bytes that somebody made up become a rulebook of the declared types throughout, or none at all."""
    rows = msgspec.msgpack.decode(encode(load_rulebook(small)))
    rng, refused = random.Random(11), 0
    for _ in range(400):
        number = rng.randrange(len(rows))
        place = rng.randrange(len(rows[number]))
        other = rng.choice([None, "exec('')", -1, 10**6, rng.randrange(len(rows)), 0.5, [], [0], {"a": 1}, True])
        forged = [*rows[:number], [*rows[number][:place], other, *rows[number][place + 1 :]], *rows[number + 1 :]]
        try:
            found = decode(msgspec.msgpack.encode(forged), {})
        except ValueError:
            refused += 1
        else:
            assert decode(encode(found), {}) == found
    assert 200 < refused < 400


def test_text_where_a_number_belongs_is_refused() -> None:
    """A mask goes into the compiled source as it is: one that is a text never comes that far."""
    rows = msgspec.msgpack.decode(encode(load_rulebook(OWN)))
    memberships = [row for row in rows if len(row) == 5 and row[3] == 6 and isinstance(row[2], int)]
    assert memberships
    for row, place in product(memberships, (3, 4)):
        mask, row[place] = row[place], "6 or exec('')"
        with pytest.raises(ValueError, match="Expected"):
            decode(msgspec.msgpack.encode(rows), {})
        row[place] = mask


def test_a_file_under_another_name_is_not_used(kept: Path, tmp_path: Path, read: list[Path]) -> None:
    """One rulebook's file, renamed to another's, is not taken for it."""
    one, other = (
        write(tmp_path / "a", {}),
        write(tmp_path / "b", changed("name: small", "name: other", "rulebook.yaml")),
    )
    cached_rulebook(one)
    ones = only(kept)
    cached_rulebook(other)
    (others,) = files(kept) - {ones}
    shutil.copy(ones, others)
    assert cached_rulebook(other).name == "other"
    assert read == [one, other, other]


def test_an_edited_file_is_read(kept: Path, tmp_path: Path, read: list[Path]) -> None:
    """A change of any rule file, a comment too, is another rulebook; changed back, it is the first again."""
    folder = write(tmp_path, {})
    before = cached_rulebook(folder)
    write(tmp_path, changed("Not too heavy", "Light enough"))
    assert cached_rulebook(folder).rules[1].title == "Light enough"
    write(tmp_path, {"more.yaml": "topic: more\nabout: More.\n"})
    assert "more" in cached_rulebook(folder).topics
    write(tmp_path, {"more.yaml": ""})
    again = cached_rulebook(folder)
    assert len(read) == 3 and again == before


def test_another_version_reads_afresh(
    kept: Path, small: Path, read: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another version of fitsvc, its source changed, or another Python uses nothing that this one kept."""
    changes: list[Callable[[], None]] = [
        lambda: None,
        lambda: monkeypatch.setattr(fitsvc, "__version__", "0.0.0"),
        lambda: monkeypatch.setattr(cache, "_SOURCES", ("language",)),
        lambda: monkeypatch.setattr(sys, "version", "4.0"),
    ]
    for change in changes:
        change()
        cache._own_source.cache_clear()
        cached_rulebook(small)
        cached_rulebook(small)
    monkeypatch.undo()
    cache._own_source.cache_clear()
    assert read == [small] * len(changes)


def test_a_folder_that_cannot_be_used_is_done_without(
    tmp_path: Path, small: Path, read: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there is no folder, none can be made, or others may write to it, every asking reads the rules."""
    (tmp_path / "file").write_text("")
    open_to_all = tmp_path / "open" / "rulebooks"
    open_to_all.mkdir(parents=True)
    open_to_all.chmod(0o777)
    places = ["off", "/proc/none", str(tmp_path / "file"), str(open_to_all.parent)]
    for place in places:
        monkeypatch.setenv("FITSVC_CACHE", place)
        assert cached_rulebook(small) == cached_rulebook(small)
    assert len(read) == 2 * len(places) and not any(open_to_all.iterdir())


def test_a_full_disk_is_done_without(kept: Path, small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When a rulebook cannot be written, it is used all the same, and nothing of it is left."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    assert cached_rulebook(small).name == "small"
    assert not files(kept)


def test_the_users_own_cache_folder(tmp_path: Path, small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless named otherwise, rulebooks are kept in the user's cache folder, which is the user's alone."""
    monkeypatch.delenv("FITSVC_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    cached_rulebook(small)
    folder = tmp_path / "fitsvc" / "rulebooks"
    assert only(folder).stat().st_mode & 0o077 == folder.stat().st_mode & 0o077 == 0


def test_only_a_few_are_kept(kept: Path, tmp_path: Path) -> None:
    """The oldest go when there are more than a few, and so does what a killed process left."""
    kept.mkdir(parents=True, mode=0o700)
    (kept / "half.part").write_text("left behind")
    os.utime(kept / "half.part", (0, 0))
    for number in range(MOST_KEPT + 3):
        cached_rulebook(write(tmp_path / str(number), changed("name: small", f"name: n{number}", "rulebook.yaml")))
    assert len(files(kept)) == MOST_KEPT and not (kept / "half.part").exists()


def test_what_is_used_outstays_what_is_not(kept: Path, tmp_path: Path, read: list[Path]) -> None:
    """However many versions of a shop's rules are tried, what is used in between is not read anew."""
    tried = [write(tmp_path / str(n), changed("name: small", f"name: n{n}", "rulebook.yaml")) for n in range(MOST_KEPT)]
    more = write(tmp_path / "more", changed("name: small", "name: more", "rulebook.yaml"))
    kept.mkdir(parents=True, mode=0o700)
    places = list[Path]()
    for folder in tried:
        before = files(kept)
        cached_rulebook(folder)
        places += files(kept) - before
    for second, place in enumerate(places):
        os.utime(place, (second, second))
    cached_rulebook(tried[0])
    cached_rulebook(more)
    cached_rulebook(tried[0])
    assert set(places) - files(kept) == {places[1]}
    assert read == [*tried, more]


def test_faulty_rules_are_told_alike_and_not_kept(kept: Path, tmp_path: Path) -> None:
    """What is wrong with rules is told at the same places in the same words, however often, and none is kept."""
    for changes in (changed("opening.size", "opening.other"), {"coupling.yaml": "a: [1\n"}, {"rulebook.yaml": ""}):
        folder = write(tmp_path, changes)
        told = []
        for read in (load_rulebook, cached_rulebook, cached_rulebook):
            with pytest.raises(ProblemsFound) as caught:
                read(folder)
            told.append(caught.value.problems)
        assert told[0] == told[1] == told[2] and told[0]
        write(tmp_path, {})
    assert not files(kept)


def test_many_processes_at_once(kept: Path, small: Path) -> None:
    """Processes that find nothing kept and all keep the same come to the same, and leave one whole file."""
    code = "import sys, pathlib; from fitsvc.rulebook.cache import cached_rulebook as read;"
    code += f"print(read(pathlib.Path({str(small)!r})).digest)"
    running = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(4)]
    digests = {process.communicate()[0].strip() for process in running}
    assert digests == {load_rulebook(small).digest}
    expected = load_rulebook(small)
    assert decode(only(kept).read_bytes()[32:], expected.examples) == expected
