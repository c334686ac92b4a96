"""A fact or a derived value renamed through all files of a folder, comments and words in other languages too.

A fact keeps what it was called under `formerly`, so that what is stored and was asked under that name is read as it.
What comes of it is read before it is given out, and means what it meant, word for word, but for the name.
"""

import re
from collections.abc import Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitsvc.desk.folders import Desk
from fitsvc.desk.going import Mention, mentions
from fitsvc.desk.naming import Declared, Sort
from fitsvc.document import Document, Json
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.adding import SECTION as BESIDE
from fitsvc.rulebook.folder import TOP_FILE, shown_as, tongue_files
from fitsvc.rulebook.meaning import meaning_of
from fitsvc.rulebook.vocabulary import FORMERLY
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar, Sequence
from fitsvc.subjects import KIND, PLACE

_SORTS: Final[tuple[Sort, ...]] = ("fact", "derived")
_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")
_ADAPTERS: Final = "adapters"


@dataclass(frozen=True, slots=True, order=True)
class Edit:
    """What stands between two indexes of a file, and what takes its place."""

    start: int
    end: int
    text: str


def renamed(desk: Desk, named: Mention, to: str) -> dict[Path, list[Edit]]:
    """The edits by which what a place names gets another name; ProblemsFound says why it cannot.

    `to` is the whole name, or what stands behind the subject of it.
    """
    one = renamable(desk, named)
    subject = named.name.partition(".")[0]
    name = to if "." in to else f"{subject}.{to}"
    _hold(desk, one, named.name, name)
    before = desk.trees({})
    desk.load(before)
    edits = {path: found for path in desk.own() if (found := sorted(_edits(desk, path, one, name)))}
    after = desk.trees({path: edited(desk.text(path), found) for path, found in edits.items()})
    desk.load(after)
    was, now = (_own_meaning(desk, trees) for trees in (before, after))
    if _otherwise_called(was, one, name) != _without_former(now):
        help = f"rename it by hand, and keep `{FORMERLY}: [{named.name.partition('.')[2]}]` in its entry"
        raise ProblemsFound([Problem("the rules would not mean the same with that name", help)])
    return edits


def _own_meaning(desk: Desk, trees: Map[Path, Node]) -> Document:
    """What the files of a folder's own mean, and say in other languages."""
    own, said = set(desk.own()), tongue_files(desk.folder)
    rules = {path: tree for path, tree in trees.items() if path in own and path not in said.values()}
    return meaning_of(desk.folder, rules, {name: trees[path] for name, path in said.items() if path in own})


def renamable(desk: Desk, named: Mention) -> Declared:
    """What a place names, where it is one fact or derived value of the folder's own; ProblemsFound where it is none."""
    found = [one for one in named.declared if one.sort in _SORTS]
    if len(found) != 1 or "." not in found[0].name:
        raise ProblemsFound([Problem(f"`{named.name}` is no fact and no derived value", "only those are renamed here")])
    if found[0].name in (KIND, PLACE):
        help = "it is of the form of a question, which clients send"
        raise ProblemsFound([Problem(f"`{found[0].name}` is known to fitsvc by its name", help)])
    if found[0].source.file not in {shown_as(path) for path in desk.own()}:
        raise ProblemsFound([Problem(f"`{found[0].name}` is of the rules that this folder adds to", "rename it there")])
    return found[0]


def _hold(desk: Desk, one: Declared, old: str, name: str) -> None:
    """Hold a new name to be one, of the same subject, and nobody else's."""
    subject, _, short = name.partition(".")
    if subject != old.partition(".")[0] and one.sort == "fact":
        help = f"write `{old.partition('.')[0]}.NAME`"
        raise ProblemsFound([Problem(f"`{name}` would be a fact of another subject", help)])
    if not _NAME.fullmatch(subject) or not _NAME.fullmatch(short):
        raise ProblemsFound([Problem(f"`{name}` cannot be a name", "use small letters, digits and `_`")])
    taken = [known for known in desk.names().called(name) if known is not one]
    if taken or name == old:
        raise ProblemsFound([Problem(f"`{name}` is there already", "choose another name")])


def edited(text: str, edits: list[Edit]) -> str:
    """A text with its edits, which are in order and do not overlap."""
    parts, end = list[str](), 0
    for one in edits:
        parts += [text[end : one.start], one.text]
        end = one.end
    return "".join([*parts, text[end:]])


def _edits(desk: Desk, path: Path, one: Declared, name: str) -> Iterator[Edit]:
    """The edits of one file: wherever the name stands as a whole, and where it stands without its subject."""
    text, old = desk.text(path), one.name
    for start, end in mentions(old, text):
        yield Edit(start, end, name)
    if one.sort != "fact":
        return
    subject, _, short = name.partition(".")
    was = old.partition(".")[2]
    if one.source.file == shown_as(path):
        yield Edit(one.start, one.start + len(one.written), short)
        yield _former(text, one, was)
    tree = desk.tree(path)
    for place in _without_subject(tree, subject) if tree is not None else ():
        if was in place.entries:
            start = place.starts[was] + text.startswith(("'", '"'), place.starts[was])
            yield Edit(start, start + len(was), short)


def _without_subject(tree: Node, subject: str) -> Iterator[Mapping]:
    """Where the facts of a subject stand without it: in the adapters of examples, and in what others add."""
    if subject == "adapter":
        yield from _keys_of_adapters(tree)
    section = tree.entries.get(BESIDE) if subject == BESIDE and isinstance(tree, Mapping) else None
    if isinstance(section, Mapping):
        yield section


def _keys_of_adapters(node: Node) -> Iterator[Mapping]:
    """The adapters of examples, whose facts stand without their subject."""
    for key, below in node.entries.items() if isinstance(node, Mapping) else ():
        if key == _ADAPTERS and isinstance(below, Sequence):
            yield from (one for one in below.items if isinstance(one, Mapping))
        else:
            yield from _keys_of_adapters(below)
    for item in node.items if isinstance(node, Sequence) else ():
        yield from _keys_of_adapters(item)


def _former(text: str, one: Declared, was: str) -> Edit:
    """The edit that keeps what a fact was called: in front of what it was called before, or behind its first line."""
    assert isinstance(one.node, Mapping)
    before = one.node.entries.get(FORMERLY)
    if isinstance(before, Sequence) and before.items:
        start = before.items[0].start
        block = not text.startswith("[", before.start)
        indent = start - 2 - (text.rfind("\n", 0, start) + 1)
        return Edit(start, start, f"{was}\n{' ' * indent}- " if block else f"{was}, ")
    first = next(iter(one.node.starts.values()))
    if text.startswith("{", one.node.start):
        return Edit(first, first, f"{FORMERLY}: [{was}], ")
    indent = first - (text.rfind("\n", 0, first) + 1)
    value = next(iter(one.node.entries.values()))
    end = text.find("\n", value.end if isinstance(value, Scalar) else value.start)
    end = end if end >= 0 else len(text)
    return Edit(end, end, f"\n{' ' * indent}{FORMERLY}: [{was}]")


def _otherwise_called(meaning: Json, one: Declared, name: str) -> Json:
    """What a folder means, with another name in place of a fact's or value's."""
    old, (subject, _, short) = one.name, name.partition(".")
    was = old.partition(".")[2]
    found = _replaced(meaning, old, name)
    for file, document in found.items():
        for section in _short_in(document, subject, file) if one.sort == "fact" else ():
            if was in section:
                section[short] = section.pop(was)
    return _without_former(found)


def _short_in(document: Json, subject: str, file: str) -> Iterator[dict[str, Json]]:
    """The parts of a file in which facts of a subject stand without it."""
    if document.get("subject") == subject:
        yield document["facts"]
    if subject == BESIDE and file == TOP_FILE:
        yield document.get(BESIDE, {})


def _replaced(value: Json, old: str, name: str) -> Json:
    if isinstance(value, dict):
        return {_replaced(key, old, name): _replaced(part, old, name) for key, part in value.items()}
    if isinstance(value, list):
        return [_replaced(part, old, name) for part in value]
    if isinstance(value, str):
        return edited(value, [Edit(*span, name) for span in mentions(old, value)])
    return value


def _without_former(meaning: Json) -> Json:
    """What a folder means, but for what its facts were called before."""
    if isinstance(meaning, dict):
        kept = {key: part for key, part in meaning.items() if key != FORMERLY or not isinstance(part, list)}
        return {key: _without_former(part) for key, part in kept.items()}
    return [_without_former(part) for part in meaning] if isinstance(meaning, list) else meaning
