"""One rule, limit or need of a folder as somebody changes it: read by itself, and as a file to take away.

Nothing is written and nothing served changes. What is typed is read with the names of the whole rulebook, which takes
milliseconds; what is taken away is read once more within its folder, as the loader will find it there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, Literal, TypeAlias

import yaml

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.attributing import SOURCE
from fitsvc.rulebook.entries import Slice, exchanged, shifted, slice_of
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.folder import OVERLAY, RULINGS
from fitsvc.rulebook.loader import Loader, load_rulebook
from fitsvc.rulebook.overlay import CoreChange
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.strictness import looser_by
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence, read_yaml, read_yaml_bytes, to_plain

LONGEST: Final = 60_000
"""Characters of one entry: the longest of fitsvc's own has a third of them."""
_TYPED: Final = "the rule"
"""What the text is called in problems: it stands in no file yet."""
_WIDE: Final = 1 << 30
_SILENT: Final = ("id", "same")
"""Keys that a change of an overlay does not say: what it is of, and what no answer rests on."""
DraftPlace: TypeAlias = Literal["file", "overlay", "new"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One rule, limit or need of a folder: the section and topic that it stands in, its node and its text.

    `slice` is where the text stands in its file; None where it is put together from several, or within a line.
    """

    id: str
    section: str
    path: Path
    node: Mapping
    text: str
    slice: Slice | None

    @property
    def topic(self) -> str:
        """The topic, after its file's name."""
        return self.path.stem


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryRead:
    """What is typed, read: its problems, or the whole rulebook with it.

    `looser` says what of it may let more pass than the rule does now, and is empty where nothing may. `same` tells
    that nothing is changed.
    """

    problems: tuple[Problem, ...] = ()
    book: Rulebook | None = None
    looser: str = ""
    same: bool = False


@dataclass(frozen=True, slots=True)
class DraftFile:
    """A change to take away: the file's name in a folder of rules, its text, and whether it is an overlay's."""

    name: str
    text: str
    overlay: bool


class Drafting:
    """A folder of rules of which one entry at a time is changed; safe to share between threads."""

    def __init__(self, folder: Path) -> None:
        """ProblemsFound where the folder has faults of its own."""
        self.folder = folder
        self._loader = Loader(folder, {})
        self.book = self._loader.load()
        self._changes = {change.of: change for change in self._loader.changes}
        self._nodes = {name: (section, path, node) for name, section, path, node in self._all()}

    def _all(self) -> Iterator[tuple[str, str, Path, Mapping]]:
        for path, tree in self._loader.trees.items():
            for section in RULINGS if isinstance(tree, Mapping) and path.parent == self.folder else ():
                found = tree.entries.get(section) if isinstance(tree, Mapping) else None
                for node in found.items if isinstance(found, Sequence) else ():
                    if isinstance(node, Mapping) and isinstance(name := node.entries.get("id"), Scalar):
                        yield name.value, section, path, node

    def entry(self, id: str) -> Entry | None:
        """An entry by its id; None where there is none."""
        if id not in self._nodes:
            return None
        section, path, node = self._nodes[id]
        where = None if id in self._changes else slice_of(node)
        text = where.text if where else _dumped(to_plain(node))
        return Entry(id=id, section=section, path=path, node=node, text=text, slice=where)

    def tried(self, entry: Entry, text: str) -> EntryRead:
        """What an entry would be with another text; all that is wrong with the text, by its own lines."""
        shape = Shape()
        node = _read(entry, text, shape)
        if node is None:
            return EntryRead(problems=_in_order(shape.problems))
        read = _anew(self._loader.read, shape)
        book = exchanged(self.book, read, entry.section, node, entry.topic)
        if book is None or shape.problems:
            return EntryRead(problems=_in_order(shape.problems))
        asked = frozenset(read.presences - read.vocabulary.subjects.keys())
        book = replace(book, examples={**book.examples, **read.examples}, named=book.named | asked)
        same = to_plain(node) == to_plain(entry.node)
        return EntryRead(book=book, looser="" if same else self._looser(entry, entry.node, node), same=same)

    def _looser(self, entry: Entry, old: Mapping, new: Mapping) -> str:
        change = CoreChange(
            of=entry.id,
            section=entry.section,
            topic=entry.topic,
            old=old,
            new=new,
            because="",
            loosens=False,
            place=new,
        )
        return looser_by(_anew(self._loader.read, Shape()), change)

    def draft(self, entry: Entry, text: str, name: str, because: str) -> DraftFile:
        """The change as a file that a folder takes, read there once more; ProblemsFound with what is wrong with it."""
        shape = Shape()
        node = _read(entry, text, shape)
        if node is None:
            raise ProblemsFound(_in_order(shape.problems))
        if self.goes_to(entry) == "file":
            found = DraftFile(entry.path.name, self._into_file(entry, text), False)
            load_rulebook(self.folder, {entry.path: found.text.encode()})
            return found
        return self._overlay(entry, node, name, because)

    def goes_to(self, entry: Entry) -> DraftPlace:
        """Where a draft goes: its own file's place, where the folder may change it, its overlay's, or a new folder."""
        if entry.path.is_file() and self.folder.resolve() != data_dir("rules").resolve():
            return "file"
        return "overlay" if (self.folder / OVERLAY).is_file() else "new"

    def _into_file(self, entry: Entry, text: str) -> str:
        """The entry's own file with the text in the place of what stands there."""
        where = entry.slice
        if where is None:
            help = "write it over some lines there, one for each key"
            raise ProblemsFound([entry.node.problem("this entry stands within a line", help)])
        whole = where.source.text
        return f"{whole[: where.start]}{shifted(text.strip(), where.indent)}{whole[where.end :]}"

    def _overlay(self, entry: Entry, node: Mapping, name: str, because: str) -> DraftFile:
        """An `overlay.yaml` with the change: a new one beside fitsvc's own rules, or the folder's own with it."""
        change = self._changes.get(entry.id)
        old = change.old if change else entry.node
        told = [f"of: {entry.id}"]
        told += _changed(_without_given(node, change) if change else node, old)
        told.append(_dumped({"because": because}).rstrip())
        if self._looser(entry, old, node):
            told.append("loosens: yes")
        item = shifted("\n".join(told), 4)
        if self.goes_to(entry) == "new":
            whole = f"{_dumped({'name': name})}changes:\n  - {item}\n"
            with TemporaryDirectory(prefix="fitsvc-draft-") as folder:
                (Path(folder) / OVERLAY).write_text(whole, "utf-8")
                load_rulebook(Path(folder))
            return DraftFile(OVERLAY, whole, True)
        whole = self._amended(entry.id, told)
        load_rulebook(self.folder, {self.folder / OVERLAY: whole.encode()})
        return DraftFile(OVERLAY, whole, True)

    def _amended(self, of: str, told: list[str]) -> str:
        """The folder's `overlay.yaml` with a change in the place of that of the same entry, or behind the others."""
        tree = read_yaml_bytes((self.folder / OVERLAY).read_bytes(), OVERLAY)
        assert isinstance(tree, Mapping), "the folder was read before"
        whole, changes = tree.source.text, tree.entries.get("changes")
        if not isinstance(changes, Sequence) or not changes.items:
            return f"{whole.rstrip()}\nchanges:\n  - {shifted(chr(10).join(told), 4)}\n"
        slices = [slice_of(one) if isinstance(one, Mapping) else None for one in changes.items]
        if None in slices:
            help = "write each change over some lines there, one for each key"
            raise ProblemsFound([changes.problem("the changes stand within a line", help)])
        known = [_of(one) == of for one in changes.items]
        where = slices[known.index(True) if True in known else -1]
        assert where is not None
        text = shifted("\n".join(told), where.indent)
        if True in known:
            return f"{whole[: where.start]}{text}{whole[where.end :]}"
        return f"{whole[: where.end]}\n{' ' * (where.indent - 2)}- {text}{whole[where.end :]}"


def _anew(read: Expressions, shape: Shape) -> Expressions:
    """A reader as the folder's that keeps what it finds to itself, and its problems in `shape`."""
    return replace(read, shape=shape, presences=set(), examples={})


def _read(entry: Entry, text: str, shape: Shape) -> Mapping | None:
    """The text as a node of the entry's; None where it cannot be one."""
    if len(text) > LONGEST:
        shape.problems.append(Problem(f"it has more than {LONGEST} characters", "write it shorter", file=_TYPED))
        return None
    node: Node | None = shape.attempt(lambda: read_yaml(text, _TYPED))
    if isinstance(node, Sequence) and len(node.items) == 1:
        node = node.items[0]  # with the hyphen that it has in its file
    if node is None:
        return None
    if not isinstance(node, Mapping):
        shape.complain(node, "a rule is written as `key: value` lines")
        return None
    name = node.entries.get("id")
    if isinstance(name, Scalar) and name.value != entry.id:
        shape.complain(name, f"this page changes `{entry.id}`", "leave its id; a rule of its own is written in a file")
        return None
    return node


def _in_order(problems: list[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda one: (one.line, one.column)))


def _of(node: Node) -> str:
    name = node.entries.get("of") if isinstance(node, Mapping) else None
    return name.value if isinstance(name, Scalar) else ""


def _without_given(node: Mapping, change: CoreChange) -> Mapping:
    """An entry without the source that its change did not write: a draft's own reason gives it another."""
    source, given = node.entries.get(SOURCE), change.new.entries.get(SOURCE)
    if SOURCE in change.place.entries or source is None or given is None or to_plain(source) != to_plain(given):
        return node
    return replace(node, entries={**node.entries, SOURCE: change.old.entries.get(SOURCE, source)})


def _changed(node: Mapping, old: Mapping) -> Iterator[str]:
    """The keys that say something else than before, as they are typed; one that is gone with nothing behind it."""
    whole = node.source.text
    ends = sorted([*node.starts.values(), len(whole)])
    for key, value in node.entries.items():
        before = old.entries.get(key)
        if key in _SILENT or (before is not None and to_plain(before) == to_plain(value)):
            continue
        if whole[node.start] == "{":
            yield _dumped({key: to_plain(value)}).rstrip()
        else:
            start, indent = node.starts[key], node.key_mark(key).column - 1
            first, *others = whole[start : ends[ends.index(start) + 1]].rstrip().split("\n")
            yield "\n".join([first, *(line[indent:] if not line[:indent].strip() else line for line in others)])
    yield from (f"{key}:" for key in old.entries if key not in node.entries and key not in _SILENT)


def _dumped(plain: object) -> str:
    return str(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=_WIDE))


def field_at(text: str, line: int) -> str:
    """The key of an entry that a line of its text belongs to; empty where that is not seen."""
    for one in reversed(text.splitlines()[:line]):
        key, colon, _ = one.partition(":")
        if colon and key and not key[0].isspace() and key[0] not in "#-":
            return key.strip()
    return ""
