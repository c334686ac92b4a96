"""The words that people use for what is stored: data of a rulebook's own that nothing is judged by.

`words.yaml` says what a word may stand for, which facts the figure before a word is one of, and by which figures
those of the same name are told apart. A shop adds its own words there.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.rulebook.meaning import WORDS
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import Mapping as Node
from fitsvc.rulebook.yaml_text import Node as AnyNode
from fitsvc.rulebook.yaml_text import Scalar

_KEYS: Final = ("stands_for", "passed_over", "numbers", "figures", "told_apart")
_MOST_MEANT: Final = 8
"""What one word may stand for at most: each is looked for in every label."""


@dataclass(frozen=True, slots=True)
class Figure:
    """The facts that a figure is one of where one of these words stands behind it; without words any figure.

    `below_zero` is of a figure told without its sign, as a drop is; its word says no more than the figure then.
    """

    said: tuple[str, ...]
    facts: tuple[str, ...]
    below_zero: bool


@dataclass(frozen=True, slots=True)
class Apart:
    """A fact by which those of the same name are told apart, and its words, with `{}` for the figure."""

    fact: str
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """All that `words.yaml` says; without one a word stands for itself alone."""

    stands_for: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    passed_over: tuple[str, ...] = ()
    numbers: Mapping[str, str] = field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    told_apart: tuple[Apart, ...] = ()


def read_words(shape: Shape, tree: AnyNode | None, facts: Mapping[str, Fact]) -> Words:
    """The words of a folder's `words.yaml`; none without such a file."""
    top = shape.mapping(tree, WORDS, [], _KEYS) if tree is not None else None
    if top is None:
        return Words()
    return Words(
        stands_for=dict(_meant(shape, top)),
        passed_over=_texts(shape, top.entries.get("passed_over"), "`passed_over`"),
        numbers={word: _scalar(node) for word, node in shape.open_mapping(top.entries.get("numbers"), "`numbers`")},
        figures=tuple(_figures(shape, top, facts)),
        told_apart=tuple(_apart(shape, top, facts)),
    )


def _meant(shape: Shape, top: Node) -> Iterator[tuple[str, tuple[str, ...]]]:
    for word, node in shape.open_mapping(top.entries.get("stands_for"), "`stands_for`"):
        meant = _texts(shape, node, f"what `{word}` stands for")
        if len(meant) > _MOST_MEANT:
            shape.complain(node, f"`{word}` stands for {len(meant)} words", f"{_MOST_MEANT} at most")
        yield word.casefold(), meant


def _figures(shape: Shape, top: Node, facts: Mapping[str, Fact]) -> Iterator[Figure]:
    for node in shape.items(top.entries.get("figures"), "`figures`"):
        entry = shape.mapping(node, "a figure's words", ["is"], ["said", "below_zero"])
        if entry is not None:
            names = _texts(shape, entry.entries["is"], "`is`")
            said = _texts(shape, entry.entries.get("said"), "`said`")
            for name in names:
                _hold_to_fact(shape, entry.entries["is"], name, facts)
            yield Figure(said, names, shape.one_of(entry, "below_zero", ("yes", "no"), "no") == "yes")


def _apart(shape: Shape, top: Node, facts: Mapping[str, Fact]) -> Iterator[Apart]:
    for node in shape.items(top.entries.get("told_apart"), "`told_apart`"):
        entry = shape.mapping(node, "what tells apart", ["fact", "as"])
        if entry is None:
            continue
        name, told = shape.text(entry, "fact"), shape.text(entry, "as")
        _hold_to_fact(shape, entry.entries["fact"], name, facts)
        if told.count("{}") != 1:
            shape.complain(entry.entries["as"], f"`{told}` does not say where the figure stands", "write `{}` there")
        yield Apart(name, told)


def _hold_to_fact(shape: Shape, node: AnyNode, name: str, facts: Mapping[str, Fact]) -> None:
    if name not in facts:
        near = nearest(name, facts)
        help = f"did you mean `{near}`?" if near else "name a fact such as `accessory.shank`"
        shape.complain(node, f"there is no fact `{name}`", help)


def _texts(shape: Shape, node: AnyNode | None, what: str) -> tuple[str, ...]:
    return tuple(_scalar(one).casefold() for one in shape.items(node, what))


def _scalar(node: AnyNode) -> str:
    return (node.value or "") if isinstance(node, Scalar) else ""
