"""What is usual of made-up accessories, as `seed_demo/made_up/accessories.yaml` says it of the rulebook's facts."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.types import ListType
from fitsvc.paths import data_dir
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import Vocabulary
from fitsvc.rulebook.yaml_text import Mapping as Tree
from fitsvc.rulebook.yaml_text import Node, Scalar, read_yaml_file
from fitsvc.subjects import KIND

FILE: Final = "made_up/accessories.yaml"


@dataclass(frozen=True, slots=True)
class UsualKind:
    """How common a kind is, and what is usual of it: pounds and inches, with the step in which they are written.

    `words` are what its other facts are drawn from, each as likely as it is written often.
    """

    share: int
    usual: Mapping[str, tuple[float, ...]]
    words: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Usual:
    """Kinds by name; the facts that only some kinds (a mask) have; the least, most and step of a fact's figures."""

    kinds: Mapping[str, UsualKind]
    only: tuple[tuple[int, tuple[str, ...]], ...]
    figures: Mapping[str, tuple[float, ...]]


def usual_of(rulebook: Rulebook, path: Path | None = None) -> Usual:
    """What is usual, held to a rulebook's vocabulary; ProblemsFound has every kind and fact that it lacks."""
    path = path or data_dir("seed_demo") / FILE
    reading = _UsualReading(rulebook.vocabulary, path)
    usual = reading.usual()
    if usual is None or reading.shape.problems:
        raise ProblemsFound(reading.shape.problems)
    return usual


class _UsualReading:
    """One reading of the file."""

    def __init__(self, vocabulary: Vocabulary, path: Path) -> None:
        self.shape, self.path, self.facts = Shape(), path, vocabulary.facts
        kind = vocabulary.facts.get(KIND)
        if kind is None or not isinstance(kind.type, ListType):
            help = "made-up accessories are told apart by it"
            raise ProblemsFound([Problem(f"the rulebook has no list of kinds `{KIND}`", help, file=str(path))])
        self.kind = kind.type

    def usual(self) -> Usual | None:
        """All of it."""
        tree = read_yaml_file(self.path, f"{self.path.parent.name}/{self.path.name}")
        top = self.shape.mapping(tree, "what is usual", ["kinds", "only", "figures"])
        if top is None:
            return None
        kinds = {}
        for name, node in self.shape.open_mapping(top.entries["kinds"], "`kinds`"):
            self._mask(name, node)
            entry = self.shape.mapping(node, f"kind `{name}`", ["share", "usual"], ["words"])
            if entry is not None:
                kinds[name] = UsualKind(
                    int(self._number(entry.entries["share"])), self._usual(entry), self._words(entry)
                )
        return Usual(kinds, tuple(self._only(top)), self._figures(top.entries["figures"], ""))

    def _usual(self, entry: Tree) -> dict[str, tuple[float, ...]]:
        return self._figures(entry.entries["usual"], "accessory.", short=True)

    def _words(self, entry: Tree) -> dict[str, tuple[str, ...]]:
        words = {}
        for name, node in self.shape.open_mapping(entry.entries.get("words"), "`words`"):
            self._fact(f"accessory.{name}", node)
            words[name] = tuple(self._texts(node, name))
        return words

    def _only(self, top: Tree) -> Iterator[tuple[int, tuple[str, ...]]]:
        for node in self.shape.items(top.entries["only"], "`only`"):
            entry = self.shape.mapping(node, "what only some kinds have", ["kinds", "facts"])
            if entry is not None:
                kinds = self._texts(entry.entries["kinds"], "kinds")
                mask = sum(self._mask(name, entry.entries["kinds"]) for name in kinds)
                facts = tuple(f"accessory.{name}" for name in self._texts(entry.entries["facts"], "facts"))
                for name in facts:
                    self._fact(name, entry.entries["facts"])
                yield mask, facts

    def _figures(self, node: Node, before: str, short: bool = False) -> dict[str, tuple[float, ...]]:
        """Figures by fact: as many as are written, in the order in which they are."""
        figures = {}
        for name, inner in self.shape.open_mapping(node, "figures"):
            self._fact(before + name, inner)
            items = self.shape.items(inner, f"the figures of `{name}`")
            figures[name] = tuple(self._number(item) for item in items)
            if len(items) != (2 if short else 3):
                known = "what is usual and its step" if short else "the least, the most and the step"
                self.shape.complain(inner, f"`{name}` has {len(items)} figures", f"write {known}")
        return figures

    def _texts(self, node: Node, what: str) -> list[str]:
        items = self.shape.items(node, f"`{what}`")
        return [item.value or "" for item in items if isinstance(item, Scalar)]

    def _number(self, node: Node) -> float:
        text = (node.value or "") if isinstance(node, Scalar) else ""
        try:
            return float(text)
        except ValueError:
            self.shape.complain(node, f"`{text}` is no number", "write a plain number, in inches or pounds")
            return 1.0

    def _mask(self, name: str, node: Node) -> int:
        if name in self.kind.members:
            return self.kind.mask(name)
        near = nearest(name, self.kind.members)
        help = f"did you mean `{near}`?" if near else f"{self.kind.name} has " + ", ".join(self.kind.members)
        self.shape.complain(node, f"`{name}` is not a kind of the rulebook", help)
        return 0

    def _fact(self, name: str, node: Node) -> None:
        if name not in self.facts:
            near = nearest(name, self.facts)
            help = f"did you mean `{near}`?" if near else "a made-up item has facts of the vocabulary only"
            self.shape.complain(node, f"the rulebook has no fact `{name}`", help)
