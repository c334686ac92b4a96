"""One folder of rules as it is written at: what editors hold of its files, the others from disk; checked as one."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from fitsvc.desk.naming import Declared, FolderNames, declared_in
from fitsvc.engine.broken import broken
from fitsvc.engine.checking import faults_of
from fitsvc.engine.examples import run_examples
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.folder import (
    BELOW,
    OVERLAY,
    TONGUES,
    TOP_FILE,
    all_files,
    core_of,
    kept_files,
    shown_as,
    yaml_files,
)
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.translated import words_at_fault
from fitsvc.rulebook.yaml_text import Node, read_yaml, read_yaml_file

Stamp = tuple[int, int]
"""When a file was last written, and how large it is: it is read again when either is another."""


def folder_of(path: Path) -> Path | None:
    """The folder of rules that a file is of: it, or the one above, has what makes a folder one."""
    above = [path.parent, *([path.parent.parent] if path.parent.name in (*BELOW, TONGUES) else [])]
    return next((one for one in above if (one / TOP_FILE).is_file() or (one / OVERLAY).is_file()), None)


@dataclass(slots=True)
class _Read:
    """A file as it was last read: from what, its faults, and its tree as of when it last had none."""

    of: str | Stamp
    problems: tuple[Problem, ...] = ()
    tree: Node | None = None
    names: list[Declared] = field(default_factory=list)


class Desk:
    """A folder of rules; `open` are the texts that editors hold, by path."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.open: dict[Path, str] = {}
        self._files: dict[Path, _Read] = {}
        self._names: FolderNames | None = None
        self._broken: set[Path] = set()

    def files(self) -> list[Path]:
        """Every file that the rulebook is made from, an overlay's core with it."""
        return list(all_files(self.folder).values())

    def own(self) -> list[Path]:
        """Every file below the folder, with those of words in other languages; what an overlay adds to is none."""
        core = core_of(self.folder)
        return [path for path in yaml_files(self.folder) if core is None or not path.is_relative_to(core)]

    def text(self, path: Path) -> str:
        """The text of a file, as it is held or else on disk, with plain ends of lines."""
        text = self.open.get(path)
        if text is None:
            with suppress(OSError):
                text = path.read_bytes().decode("utf-8", errors="replace")
        return plain_lines(text or "")

    def names(self, *, fresh: bool = True) -> FolderNames:
        """All names of the folder; as of when they were last looked at where they need not be fresh."""
        if fresh or self._names is None:
            self._names = FolderNames([one for path in self.files() for one in self._read(path).names])
        return self._names

    def declared(self, path: Path) -> list[Declared]:
        """What one file declares."""
        return self._read(path).names

    def tree(self, path: Path) -> Node | None:
        """The tree of a file, as of when it last could be read."""
        return self._read(path).tree

    def check(self, *, examples: bool = False) -> Mapping[Path, list[Problem]]:
        """Every problem by file, and an empty list for each file that was looked at and has none.

        Files that are no YAML are told of alone: of the others nothing new is known then.
        """
        self.names()
        files = list(kept_files(self.folder).values())
        read = {path: self._read(path) for path in files}
        beside = {path: list(self._read(path).problems) for path in self.open if path not in read}
        broken = {path: list(one.problems) for path, one in read.items() if one.problems}
        mended, self._broken = self._broken - broken.keys(), set(broken)
        if broken:
            return {path: [] for path in mended} | broken | beside
        found: dict[Path, list[Problem]] = {path: [] for path in files} | beside
        shown = {str(path.relative_to(one)): path for one in (self.folder, self.folder.parent) for path in self.own()}
        shown = {shown_as(path): path for path in files} | shown
        trees = {path: one.tree for path, one in read.items() if one.tree is not None}
        for problem in self._problems(trees, examples=examples):
            found.setdefault(shown.get(problem.file, self._top()), []).append(problem)
        return found

    def load(self, trees: Mapping[Path, Node]) -> Rulebook:
        """The rulebook that some trees make, in which nothing is wrong; ProblemsFound has what is."""
        rulebook = load_rulebook(self.folder, trees)
        problems = faults_of(rulebook)
        if problems:
            raise ProblemsFound(problems)
        return rulebook

    def trees(self, texts: Mapping[Path, str]) -> dict[Path, Node]:
        """The trees of the files, some of them with other texts; ProblemsFound where one is no YAML."""
        return {path: self._tree(path, texts.get(path)) for path in kept_files(self.folder).values()}

    def _tree(self, path: Path, text: str | None) -> Node:
        if text is not None:
            return read_yaml(text, shown_as(path))
        found = self._read(path)
        if found.tree is None or found.problems:
            raise ProblemsFound(found.problems)
        return found.tree

    def _problems(self, trees: Mapping[Path, Node], *, examples: bool) -> list[Problem]:
        try:
            rulebook = self.load(trees)
            ran = run_examples(Point(rulebook), FactReader(rulebook)) if examples else []
            wrong = words_at_fault(rulebook, self.folder, trees)
        except ProblemsFound as found:
            return list(found.problems)
        return broken(ran, self.folder, trees) + wrong

    def _top(self) -> Path:
        """Where is told what is of no file: at the file that makes the folder one."""
        overlay = self.folder / OVERLAY
        return overlay if overlay.is_file() else self.folder / TOP_FILE

    def _read(self, path: Path) -> _Read:
        """A file as it is now, read when it is another than the last time."""
        text, before = self.open.get(path), self._files.get(path)
        of = text if text is not None else _stamp(path)
        if before is not None and before.of == of:
            return before
        now = _Read(of, tree=before.tree if before else None, names=before.names if before else [])
        try:
            file = shown_as(path)
            now.tree = read_yaml_file(path, file) if text is None else read_yaml(text, file)
            now.names = list(declared_in(now.tree))
        except ProblemsFound as found:
            now.problems = found.problems
        self._files[path] = now
        return now


def plain_lines(text: str) -> str:
    """A text as the reader of YAML has it: no mark before it, and each line ended by one character."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _stamp(path: Path) -> Stamp:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return (found.st_mtime_ns, found.st_size)
