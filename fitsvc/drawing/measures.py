"""What is known of the lengths, angles and choices that a drawing shows, by the drawing's own words.

Which fact or derived value a word is drawn by, the rulebook's `drawing.yaml` says.
"""

from math import inf, isfinite

from fitsvc.answers.phrases import UNKNOWN
from fitsvc.answers.wording import Wording
from fitsvc.facts import Case
from fitsvc.language.display import System, show
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import LENGTH
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped, Read
from fitsvc.language.types import ListType, Mask, NumberType, Value
from fitsvc.rulebook.rules import Taken
from fitsvc.rulebook.viewing import WANTED
from fitsvc.tongues import t


class Measures:
    """The values of the drawing's words in one case. Lengths are in mm, angles in degrees, each as bounds.

    A word that is none of the drawing's raises KeyError; one that the rulebook has nothing for is not known.
    """

    def __init__(self, wording: Wording, case: Case, system: System) -> None:
        self.wording, self.system = wording, system
        self.case = wording.engine.opened(case)
        self._taken = wording.rulebook.side_view
        nodes = {word: _computed(wording, taken) for word, taken in self._taken.items()}
        found = wording.engine.values(("drawing",), lambda: list(nodes.values())).of(self.case)
        self._nodes: dict[str, AnyTyped | None] = dict.fromkeys(WANTED) | nodes
        self._values: dict[str, Value | None] = dict.fromkeys(WANTED) | dict(zip(nodes, found, strict=True))

    def of(self, name: str) -> Bounds:
        """The bounds of a number; without end where nothing is known."""
        value = self._values[name]
        return value if isinstance(value, tuple) else (-inf, inf)

    def known(self, name: str) -> Bounds | None:
        """The bounds of a number that is known from both sides."""
        bounds = self.of(name)
        return bounds if isfinite(bounds[0]) and isfinite(bounds[1]) else None

    def choice(self, name: str) -> str:
        """The one member that a list value is known to be; empty where several are possible."""
        node, value = self._nodes[name], self._values[name]
        if node is None or not isinstance(node.type, ListType) or not isinstance(value, int):
            return ""
        names = node.type.names(Mask(value))
        return names[0] if len(names) == 1 else ""

    def size(self, name: str) -> float | None:
        """The length of the one member that a size is known to be."""
        node, member = self._nodes[name], self.choice(name)
        if node is None or not isinstance(node.type, ListType) or not member or not node.type.sizes:
            return None
        return node.type.sizes[node.type.members.index(member)]

    def sure(self, name: str) -> bool:
        """Whether a yes/no is surely yes."""
        return self._values[name] == YES

    def is_no(self, name: str) -> bool:
        """Whether a yes/no is surely no."""
        return self._values[name] == NO

    def present(self, subject: str) -> bool:
        """Whether the question is about a subject."""
        return subject in self.case.present

    def name(self, word: str) -> str:
        """The name of the fact or derived value that a word is drawn by."""
        return "" if self._nodes[word] is None else self._taken[word].name

    def label(self, word: str) -> str:
        """Its wording; of what the rulebook has nothing for, the drawing's own."""
        return t(word.replace("_", " ")) if self._nodes[word] is None else self.wording.label(self.name(word))

    def word(self, name: str) -> str:
        """The wording of the one member that a list value is known to be."""
        node, member = self._nodes[name], self.choice(name)
        assert node is not None and isinstance(node.type, ListType)
        return self.wording.rulebook.vocabulary.words.get(node.type.name, {}).get(member, member)

    def text(self, name: str) -> str:
        """What is known of a number, in the user's units."""
        node = self._nodes[name]
        if node is None or not isinstance(node.type, NumberType):
            return t(UNKNOWN)
        shown = self.wording.shown(Read(node.type, self.name(name)))
        low, high = self.of(name)
        return show(low, high, node.type.dimension, shown.unit, self.system)

    def length_text(self, bounds: Bounds) -> str:
        """A length in the user's units."""
        return show(*bounds, LENGTH, "in", self.system)


def middle(bounds: Bounds) -> float:
    """The middle of finite bounds."""
    return bounds[0] + (bounds[1] - bounds[0]) / 2


def plus(*each: Bounds | None) -> Bounds | None:
    """The sum of finite bounds; None where one is not known."""
    known = [one for one in each if one is not None]
    return (sum(low for low, _ in known), sum(high for _, high in known)) if len(known) == len(each) else None


def minus(bounds: Bounds | None) -> Bounds | None:
    """The same, counted the other way."""
    return (-bounds[1], -bounds[0]) if bounds else None


def _computed(wording: Wording, taken: Taken) -> AnyTyped:
    """What a word is computed from: of a derived value its expression, so that a case need not hold it."""
    derived = wording.rulebook.derived.get(taken.name)
    return derived.node if derived is not None else taken.node
