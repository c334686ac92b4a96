"""The words that people use for what is stored: data of a rulebook's own that nothing is judged by.

`words.yaml` says what a word may stand for, which facts the figure before a word is one of, by which figures those of
the same name are told apart, how a customer's wishes are asked for, and of what no fact tells (a bed, what is driven) a
vehicle is one. A shop adds its own words there.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from fitsvc.language.problems import nearest
from fitsvc.rulebook.folder import WORDS
from fitsvc.rulebook.forms import TEXT, YES_NO, Form, by_name, many, named
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.rulebook.yaml_text import Mapping as Node
from fitsvc.rulebook.yaml_text import Node as AnyNode
from fitsvc.rulebook.yaml_text import Scalar
from fitsvc.subjects import KIND

_MOST_MEANT: Final = 8
"""What one word may stand for at most: each is looked for in every label."""
_FACTS: Final = many(named("fact"))
_FIGURE: Final = Form("a figure's words", {"is": _FACTS}, {"said": many(TEXT), "below_zero": YES_NO})
_APART: Final = Form("what tells apart", {"fact": named("fact"), "as": TEXT}, {"as_one": TEXT})
_WISH: Final = Form("a wish", {"wish": TEXT}, {"by": _FACTS, "kind": named("kind")})
_NOT_JUDGED: Final = Form("what is not judged", {"of": TEXT, "said": many(TEXT), "instead": TEXT})
_PLAINLY: Final = ("at least ...", "at most ...", "up to ...", "max ...", "about ...", "between ... and ...")
"""The words for a bound that `fitsvc.written` reads itself, with a figure in each gap."""
WORDS_FILE: Final = Form(
    WORDS,
    {},
    {
        "stands_for": by_name(many(TEXT, maxItems=_MOST_MEANT)),
        "passed_over": many(TEXT),
        "numbers": by_name(TEXT),
        "bounds": by_name(TEXT),
        "not_known": many(TEXT),
        "figures": many(_FIGURE.kind),
        "told_apart": many(_APART.kind),
        "wishes": many(_WISH.kind),
        "for_all": _FACTS,
        "first": _FACTS,
        "variants": by_name(by_name(many(TEXT))),
        "called": by_name(by_name(many(TEXT))),
        "not_judged": many(_NOT_JUDGED.kind),
    },
)


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
    """A fact by which those of the same name are told apart, and its words, with `{}` for the figure.

    `told_of_one` are its words where the figure is one, as of one bike.
    """

    fact: str
    told: str
    told_of_one: str


@dataclass(frozen=True, slots=True)
class WishAsked:
    """A wish as it is asked for: in words, by which facts, or by a kind of accessory alone."""

    words: str
    facts: tuple[str, ...]
    kind: str


@dataclass(frozen=True, slots=True)
class NotJudged:
    """What people ask for that is none of a list's choices: the list, the words for it, and what to do about it."""

    of: str
    said: tuple[str, ...]
    instead: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """All that `words.yaml` says; without one a word stands for itself alone.

    `bounds` are words for what a figure is at least or at most, each with that in plain words; `not_known` those of
    whoever knows none. `for_all` are facts that go with every wish, `first` those that are asked first of a receiver.
    `variants` are, by what they are of (a bed), those of which a vehicle is one, each with how labels and claims
    write it. `called` are other words for a list's choices, with those that may be meant, `not_judged` what is none of
    them, with what to do about it.
    """

    stands_for: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    passed_over: tuple[str, ...] = ()
    numbers: Mapping[str, str] = field(default_factory=dict)
    bounds: Mapping[str, str] = field(default_factory=dict)
    not_known: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    told_apart: tuple[Apart, ...] = ()
    wishes: tuple[WishAsked, ...] = ()
    for_all: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    variants: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    called: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    not_judged: tuple[NotJudged, ...] = ()


def read_words(shape: Shape, tree: AnyNode | None, vocabulary: Vocabulary) -> Words:
    """The words of a folder's `words.yaml`; none without such a file."""
    facts = vocabulary.facts
    top = shape.form(tree, WORDS_FILE) if tree is not None else None
    if top is None:
        return Words()
    return Words(
        stands_for=dict(_meant(shape, top)),
        passed_over=_texts(shape, top.entries.get("passed_over"), "`passed_over`"),
        numbers={word: _scalar(node) for word, node in shape.open_mapping(top.entries.get("numbers"), "`numbers`")},
        bounds=dict(_bounds(shape, top)),
        not_known=_texts(shape, top.entries.get("not_known"), "`not_known`"),
        figures=tuple(_figures(shape, top, facts)),
        told_apart=tuple(_apart(shape, top, facts)),
        wishes=tuple(_wishes(shape, top, vocabulary)),
        for_all=_facts(shape, top, "for_all", facts),
        first=_facts(shape, top, "first", facts),
        variants=dict(_variants(shape, top)),
        called=dict(_called(shape, top, vocabulary)),
        not_judged=tuple(_not_judged(shape, top, vocabulary)),
    )


def _meant(shape: Shape, top: Node) -> Iterator[tuple[str, tuple[str, ...]]]:
    for word, node in shape.open_mapping(top.entries.get("stands_for"), "`stands_for`"):
        meant = _texts(shape, node, f"what `{word}` stands for")
        if len(meant) > _MOST_MEANT:
            shape.complain(node, f"`{word}` stands for {len(meant)} words", f"{_MOST_MEANT} at most")
        yield word.casefold(), meant


def _bounds(shape: Shape, top: Node) -> Iterator[tuple[str, str]]:
    for said, node in shape.open_mapping(top.entries.get("bounds"), "`bounds`"):
        plain = _scalar(node)
        if plain not in _PLAINLY or not 0 < said.count("...") == plain.count("..."):
            help = f"write one of {', '.join(_PLAINLY)}, with `...` as often as there are figures"
            shape.complain(node, f"`{plain}` does not say what `{said}` means", help)
        yield said.casefold(), plain


def _variants(shape: Shape, top: Node) -> Iterator[tuple[str, dict[str, tuple[str, ...]]]]:
    """What a vehicle is one of; how one is written tells it from the others."""
    for group, node in shape.open_mapping(top.entries.get("variants"), "`variants`"):
        written: dict[str, str] = {}
        members = {}
        for member, inner in shape.open_mapping(node, f"the variants of `{group}`"):
            members[member.casefold()] = _texts(shape, inner, f"how `{member}` is written")
            for text in members[member.casefold()]:
                if written.setdefault(text, member) != member:
                    help = "each stands for one of them alone"
                    shape.complain(inner, f"`{text}` is written for `{written[text]}` and for `{member}`", help)
        yield group.casefold(), members


def _is_list(shape: Shape, node: AnyNode, name: str, vocabulary: Vocabulary) -> bool:
    """Whether a name is that of a list; what is none is complained of."""
    if name not in vocabulary.lists:
        near = nearest(name, vocabulary.lists)
        help = f"did you mean `{near}`?" if near else "name a list such as `accessory_kind`"
        shape.complain(node, f"there is no list `{name}`", help)
    return name in vocabulary.lists


def _not_judged(shape: Shape, top: Node, vocabulary: Vocabulary) -> Iterator[NotJudged]:
    for node in shape.items(top.entries.get("not_judged"), "`not_judged`"):
        entry = shape.form(node, _NOT_JUDGED)
        if entry is not None and _is_list(shape, entry.entries["of"], shape.text(entry, "of"), vocabulary):
            said = _texts(shape, entry.entries["said"], "`said`")
            yield NotJudged(shape.text(entry, "of"), said, shape.text(entry, "instead"))


def _called(shape: Shape, top: Node, vocabulary: Vocabulary) -> Iterator[tuple[str, dict[str, tuple[str, ...]]]]:
    for name, node in shape.open_mapping(top.entries.get("called"), "`called`"):
        if not _is_list(shape, node, name, vocabulary):
            continue
        words, members = {}, vocabulary.lists[name].members
        for word, inner in shape.open_mapping(node, f"words for `{name}`"):
            words[word.casefold()] = meant = _texts(shape, inner, f"what `{word}` means")
            for member in sorted({*meant} - {*members}):
                near = nearest(member, members)
                help = f"did you mean `{near}`?" if near else f"it is one of {', '.join(members)}"
                shape.complain(inner, f"`{member}` is not a choice of `{name}`", help)
        yield name, words


def _figures(shape: Shape, top: Node, facts: Mapping[str, Fact]) -> Iterator[Figure]:
    for node in shape.items(top.entries.get("figures"), "`figures`"):
        entry = shape.form(node, _FIGURE)
        if entry is not None:
            said, names = _texts(shape, entry.entries.get("said"), "`said`"), _facts(shape, entry, "is", facts)
            yield Figure(said, names, shape.one_of(entry, "below_zero", ("yes", "no"), "no") == "yes")


def _apart(shape: Shape, top: Node, facts: Mapping[str, Fact]) -> Iterator[Apart]:
    for node in shape.items(top.entries.get("told_apart"), "`told_apart`"):
        entry = shape.form(node, _APART)
        if entry is None:
            continue
        name, told = shape.text(entry, "fact"), shape.text(entry, "as")
        _hold_to_fact(shape, entry.entries["fact"], name, facts)
        if told.count("{}") != 1:
            shape.complain(entry.entries["as"], f"`{told}` does not say where the figure stands", "write `{}` there")
        yield Apart(name, told, _of_one(shape, entry) or told)


def _of_one(shape: Shape, entry: Node) -> str:
    """What is said where the figure is one; empty where that is said as of more."""
    told = shape.text(entry, "as_one") if "as_one" in entry.entries else ""
    if told and told.count("{}") != 1:
        shape.complain(entry.entries["as_one"], f"`{told}` does not say where the figure stands", "write `{}` there")
    return told


def _wishes(shape: Shape, top: Node, vocabulary: Vocabulary) -> Iterator[WishAsked]:
    kinds = vocabulary.lists[vocabulary.facts[KIND].kind].members if KIND in vocabulary.facts else ()
    for node in shape.items(top.entries.get("wishes"), "`wishes`"):
        entry = shape.form(node, _WISH)
        if entry is not None:
            kind = shape.one_of(entry, "kind", kinds) if "kind" in entry.entries else ""
            yield WishAsked(shape.text(entry, "wish"), _facts(shape, entry, "by", vocabulary.facts), kind)


def _facts(shape: Shape, entry: Node, key: str, facts: Mapping[str, Fact]) -> tuple[str, ...]:
    """The names of facts under a key."""
    names = _texts(shape, entry.entries.get(key), f"`{key}`")
    for name in names:
        _hold_to_fact(shape, entry.entries[key], name, facts)
    return names


def _hold_to_fact(shape: Shape, node: AnyNode, name: str, facts: Mapping[str, Fact]) -> None:
    if name not in facts:
        near = nearest(name, facts)
        help = f"did you mean `{near}`?" if near else "name a fact such as `accessory.shank`"
        shape.complain(node, f"there is no fact `{name}`", help)


def _texts(shape: Shape, node: AnyNode | None, what: str) -> tuple[str, ...]:
    return tuple(_scalar(one).casefold() for one in shape.items(node, what))


def _scalar(node: AnyNode) -> str:
    return (node.value or "") if isinstance(node, Scalar) else ""
