"""The project copied with every rule, limit, need, caution and kind of the rulebook under another name.

The rules, the demo's data and the tests are renamed alike; fitsvc's own source is copied as it is. So a test that
passes in the copy shows that nothing in the source goes by a shipped name.
"""

import ast
import re
import shutil
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook

ROOT: Final = Path(__file__).resolve().parent.parent
COPIED: Final = ("fitsvc", "rules", "seed_demo", "tests", "migrations", "pyproject.toml", "README.md", "DEVELOPERS.md")
RENAMED: Final = ("rules", "seed_demo", "tests")
_TEXT: Final = (".yaml", ".json", ".csv", ".py", ".txt")
KINDS: Final = "accessory_kind"


@dataclass(frozen=True, slots=True)
class Names:
    """The names that are changed: ids of rules, limits, needs and cautions, and kinds."""

    ids: frozenset[str]
    kinds: frozenset[str]
    subjects: frozenset[str]
    also: frozenset[str]
    """Names of facts, subjects, tables and topics, which stay; an id that is one too is renamed where it is the id."""


@cache
def shipped() -> Names:
    """The names of the rulebook that ships."""
    return names_of(load_rulebook(data_dir("rules")))


def names_of(rulebook: Rulebook) -> Names:
    """The names of a rulebook."""
    rules = (rule.id for rule in rulebook.rules if not rule.limit)
    others = (one.id for group in (rulebook.limits, rulebook.needs, rulebook.cautions) for one in group)
    facts = {fact.short for fact in rulebook.vocabulary.facts.values()}
    subjects = rulebook.vocabulary.subjects.keys()
    also = facts | subjects | rulebook.tables.keys() | rulebook.topics.keys()
    kinds = rulebook.vocabulary.lists[KINDS].members
    return Names(frozenset((*rules, *others)), frozenset(kinds), frozenset(subjects), frozenset(also))


def renamed(name: str) -> str:
    """Another name in place of one; an id and its name in answers stay as near to each other as they were."""
    return f"our-{name}" if "-" in name else f"our_{name}" if "_" in name else f"our{name}"


def _whole(names: Iterable[str]) -> re.Pattern[str]:
    """Any of some names standing by itself; what stands behind a dot is a fact's."""
    longest = sorted(map(re.escape, names), key=len, reverse=True)
    return re.compile(rf"(?<![\w.-])(?:{'|'.join(longest)})(?![\w-])")


class _Renaming:
    """How the texts of one kind of file are renamed."""

    def __init__(self, names: Names) -> None:
        worded = {name for name in names.ids if "-" in name}
        told = {name.replace("-", "_") for name in worded} - names.also
        self._worded = _whole(worded | told | {kind for kind in names.kinds if "_" in kind})
        plain = "|".join(sorted(kind for kind in names.kinds if "_" not in kind))
        ids = "|".join(sorted(name for name in names.ids if "-" not in name))
        # A name that is a common word is renamed only where it surely is a name.
        places = (r"(?<=kind: )", r"(?<=\"kind\": \")", r"(?<=kind=)", r"(?<=,)(?=\w+[,&])", r"^ +(?=\w+:(?: {word|$))")
        self._kind = re.compile(rf"(?:{'|'.join(places)})(?:{plain})\b", re.MULTILINE)
        self._id = re.compile(rf"(?<=- id: )(?:{ids})$", re.MULTILINE)
        self._listed = re.compile(r"(?<=goes_with: )\[[^\]]*\]")
        self._short = _whole(name for name in names.ids if "-" not in name)
        # Kinds that a list is of: those that one of an example may be, and those that another word for one may mean.
        self._kinds = re.compile(rf"(?<=kind: )\[[^\]]*\]|(?<=^called:\n  {KINDS}:\n)(?:    .*\n)+", re.MULTILINE)
        self._member = re.compile(rf"(?<=[\[ ])(?:{plain})(?=[\],])")
        words = {name.replace("-", "_") for name in names.ids} & names.also | {
            name for name in names.ids if "-" not in name
        }
        alone = "|".join(sorted({kind for kind in names.kinds if "_" not in kind} | words - names.subjects))
        self._quoted = re.compile(rf"(?<=[\"'])(?:{alone})(?=[\"'](?!:))")

    def text(self, text: str, suffix: str) -> str:
        """A file's text with its names changed."""
        text = self._worded.sub(_other, text)
        text = self._id.sub(_other, text)
        text = self._listed.sub(lambda found: self._short.sub(_other, found.group()), text)
        text = self._kinds.sub(lambda found: self._member.sub(_other, found.group()), text)
        text = self._kind.sub(_other, text)
        return self._quoted.sub(_other, text) if suffix == ".py" else text


def _other(found: re.Match[str]) -> str:
    name = found.group().lstrip()
    return found.group().replace(name, renamed(name))


def spoken(source: str, names: Names) -> list[tuple[int, str]]:
    """Where the texts in a Python source hold one of the names, by line; what a docstring says is no matter.

    A name that is a common word counts where it is the whole text, and one that a fact or a subject has too does not.
    """
    tree = ast.parse(source)
    documented = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    told = {name.replace("-", "_") for name in names.ids}
    known = {name for name in names.ids | told | names.kinds if name not in names.also}
    within = _whole(name for name in known if "-" in name or "_" in name)
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documented:
            hits = within.findall(node.value) or [node.value] * (node.value in known)
            found += [(node.lineno, hit) for hit in hits]
    return found


def copy_renamed(into: Path) -> Path:
    """Copy the project into a folder with its names changed."""
    for name in COPIED:
        place = ROOT / name
        if place.is_dir():
            shutil.copytree(place, into / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(place, into / name)
    renaming = _Renaming(shipped())
    for path in (path for folder in RENAMED for path in (into / folder).rglob("*")):
        if path.suffix in _TEXT and path.is_file():
            path.write_text(renaming.text(path.read_text("utf-8"), path.suffix), "utf-8")
    return into


if __name__ == "__main__":
    print(copy_renamed(Path(sys.argv[1])))
