"""What a folder of rules means: its digest, and how two folders differ.

Comments, layout, examples, why a change would come to the same and why a rule is written as it is, hazards, words that
people use and hints for drawings mean nothing: no answer rests on them. What answers say does, in each language: who
keeps an answer's digest can have it told again in the words of then.
"""

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec

from fitsvc.document import Document, Json
from fitsvc.language.parser import parse
from fitsvc.language.problems import ProblemsFound
from fitsvc.language.source import Source
from fitsvc.rulebook.folder import HAZARDS, RULINGS, WORDS
from fitsvc.rulebook.measuring import KEYS as HINTS
from fitsvc.rulebook.overlay import gather
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.signing import SIGNED
from fitsvc.rulebook.tongue_files import read_words_files
from fitsvc.rulebook.vocabulary import FORMERLY
from fitsvc.rulebook.yaml_text import Node, to_plain

_EXPRESSIONS: Final = {
    "applies_when",
    "requires",
    "met_when",
    "is",
    "rating",
    "judged",
    "judged_when",
    "when",
    "served_by",
    "by_label",
    "room",
}
_EXPRESSION_MAPS: Final = {"bare", "each", "values", "side_view", "asks_for", "assuming"}
_OF_OTHERS: Final = ("beside", "from")
"""Under this key each entry has an expression under the other, which elsewhere is a name like any."""
_NAMES: Final = ("id", "name")
_FACTS: Final = "facts"
_MEAN_NOTHING: Final = (HAZARDS, WORDS, SIGNED)
_NONE: Final[Mapping[Path, Node]] = {}


@dataclass(frozen=True, slots=True)
class Difference:
    """One entry that two folders of rules do not share alike.

    `where` is its file (one of them, when it moved), `section` the list it stands in, `name` its own name. `old`
    and `new` hold what it says, field by field, where that differs; one of them is None when the other folder
    alone has the entry.
    """

    where: str
    section: str
    name: str
    old: Mapping[str, Json] | None
    new: Mapping[str, Json] | None


def meaning_of(folder: Path, read: Mapping[Path, Node] = _NONE, tongues: Mapping[str, Node] | None = None) -> Document:
    """Each file's plain data by its path, without examples and hints, with expressions printed canonically.

    Of an overlay they are the files that it makes with its core. `read` are the trees of a folder that has been read
    already, `tongues` those of its words in other languages. ProblemsFound where one cannot be read.
    """
    trees = read or _trees(folder)
    without = [folder / name for name in _MEAN_NOTHING]
    names = {path.relative_to(folder).as_posix(): tree for path, tree in sorted(trees.items()) if path not in without}
    said = read_words_files(folder) if tongues is None else tongues
    return {name: _meaning(to_plain(tree), "") for name, tree in names.items()} | {
        name: to_plain(tree) for name, tree in said.items()
    }


def _trees(folder: Path) -> Mapping[Path, Node]:
    shape = Shape()
    trees = gather(shape, folder, {}).trees
    if shape.problems:
        raise ProblemsFound(shape.problems)
    return trees


def digest_of(folder: Path, read: Mapping[Path, Node] = _NONE, tongues: Mapping[str, Node] | None = None) -> str:
    """The digest over meaning: comments, key order, spacing and examples do not change it."""
    meaning = meaning_of(folder, read, tongues)
    return "sha256:" + hashlib.sha256(msgspec.json.encode(meaning, order="sorted")).hexdigest()


def differences(old: Path, new: Path) -> list[Difference]:
    """How two checked folders of rules differ, by file and entry; empty exactly when their digests are the same.

    A fact that has another name in the new one differs by that alone: what reads it means the same.
    """
    one, other = meaning_of(old), meaning_of(new)
    one = _by_names(one, _renamed(one, other))
    before, after = _entries(one), _entries(other)
    found = list(_moved(one, other))
    for key in sorted(before.keys() | after.keys()):
        left, right = before.get(key), after.get(key)
        if left == right:
            continue
        where, section, name = (right or left or {}).get("file", ""), *key
        if left is None or right is None:
            found.append(Difference(where, section, name, left, right))
            continue
        fields = [field for field in {**left, **right} if left.get(field) != right.get(field)]
        found.append(Difference(where, section, name, _only(left, fields), _only(right, fields)))
    return sorted(found, key=lambda one: (one.where, one.section, one.name))


def _renamed(old: Document, new: Document) -> dict[str, str]:
    """The facts that have another name in the new folder, by their old one, each with its subject; and rules' ids."""
    found = dict[str, str]()
    ids = {one.get("id") for document in old.values() for one in _rulings(document)}
    for one in (one for document in new.values() for one in _rulings(document)):
        found |= {was: one["id"] for was in one.get(FORMERLY, ()) if was in ids and one["id"] not in ids}
    for file, document in new.items():
        before, after = (one.get(_FACTS) for one in (old.get(file, {}), document))
        if not isinstance(before, dict) or not isinstance(after, dict):
            continue
        for name, entry in after.items():
            for was in entry.get(FORMERLY, ()) if isinstance(entry, dict) else ():
                if was in before and was not in after and name not in before:
                    found[f"{document['subject']}.{was}"] = f"{document['subject']}.{name}"
    return found


def _rulings(document: Document) -> Iterator[Document]:
    """The rules, limits and needs of a file."""
    for section in RULINGS:
        found = document.get(section)
        yield from (one for one in found if isinstance(one, dict)) if isinstance(found, list) else ()


def _by_names(meaning: Document, names: Mapping[str, str]) -> Document:
    """What a folder means with other names for some facts, in expressions, texts and keys; their entries too."""
    if not names:
        return meaning
    pattern = re.compile(rf"(?<![\w.-])({'|'.join(map(re.escape, sorted(names, key=len, reverse=True)))})(?![\w-])")

    def again(value: Json) -> Json:
        if isinstance(value, dict):
            return {pattern.sub(lambda found: names[found.group()], key): again(one) for key, one in value.items()}
        if isinstance(value, list):
            return [again(one) for one in value]
        return pattern.sub(lambda found: names[found.group()], value) if isinstance(value, str) else value

    found: Document = again(meaning)
    for document in found.values():
        facts = document.get(_FACTS)
        if isinstance(facts, dict) and "subject" in document:
            short = {was.partition(".")[2]: name.partition(".")[2] for was, name in names.items()
                     if was.startswith(f"{document['subject']}.")}  # fmt: skip
            document[_FACTS] = {short.get(name, name): entry for name, entry in facts.items()}
    return found


def _moved(old: Mapping[str, Json], new: Mapping[str, Json]) -> Iterator[Difference]:
    """Lists whose entries stand in another order: answers tell findings in that order."""
    for file in sorted(old.keys() & new.keys()):
        for section in sorted(old[file].keys() & new[file].keys()):
            lists = [value for value in (old[file][section], new[file][section]) if isinstance(value, list)]
            left, right = ([name for name, _ in _named(value)] for value in lists) if len(lists) == 2 else ([], [])
            before, after = ([name for name in names if name in left and name in right] for names in (left, right))
            if before != after:
                yield Difference(file, section, "order", {"order": before}, {"order": after})


def _only(entry: Mapping[str, Json], fields: list[str]) -> Document:
    return {field: entry[field] for field in fields if field in entry}


def _entries(meaning: Mapping[str, Json]) -> dict[tuple[str, str], Document]:
    """Every entry by section and name, each with the file it stands in."""
    found: dict[tuple[str, str], Document] = {}
    for file, document in meaning.items():
        top = {}
        for section, value in document.items():
            named = dict(_named(value))
            for name, entry in named.items():
                full = f"{document['subject']}.{name}" if "subject" in document else name
                found[section, full] = {"file": file, **(entry if isinstance(entry, dict) else {"is": entry})}
            if not named:
                top[section] = value
        found["file", file] = {"file": file, **top}
    return found


def _named(value: Json) -> Iterator[tuple[str, Json]]:
    """The named entries of a section, if it holds such: a list of them, or a mapping of mappings."""
    if isinstance(value, list) and all(isinstance(one, dict) and any(name in one for name in _NAMES) for one in value):
        yield from ((one[next(name for name in _NAMES if name in one)], one) for one in value)
    elif isinstance(value, dict) and all(isinstance(one, dict) for one in value.values()):
        yield from value.items()


def _silent(key: str, value: Json) -> bool:
    """Whether an entry says nothing that an answer rests on; a fact may be named as such a key, and is told."""
    if key == "accepted":
        return isinstance(value, str)
    return key in ("examples", "same") or (key in HINTS and isinstance(value, list))


def _meaning(value: Json, key: str) -> Json:
    if isinstance(value, dict) and key == _OF_OTHERS[0]:
        return {fact: _of_others(entry) for fact, entry in value.items()}
    if isinstance(value, dict):
        inner = "is" if key in _EXPRESSION_MAPS else ""
        return {name: _meaning(part, inner or name) for name, part in value.items() if not _silent(name, part)}
    if isinstance(value, list):
        return [_meaning(part, "rating" if key == "lowest_of" else key) for part in value]
    if key in _EXPRESSIONS and isinstance(value, str):
        return str(parse(Source.plain(value)))
    return value


def _of_others(entry: Json) -> Json:
    """How a fact about the other things of a question is made."""
    if not isinstance(entry, dict):
        return entry
    return {name: _meaning(part, "is" if name == _OF_OTHERS[1] else name) for name, part in entry.items()}
