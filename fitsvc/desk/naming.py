"""The names that rule files declare, each with its place: what is offered, told, gone to and renamed.

They are taken from the trees of the files alone, so that a fault elsewhere in the folder is in nobody's way.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from fitsvc.language.functions import FUNCTIONS, SPECIAL_FORMS
from fitsvc.language.typed import TOLD
from fitsvc.rulebook.vocabulary import TYRE_PARTS
from fitsvc.rulebook.yaml_text import FileText, Mapping, Node, Scalar, Sequence

Sort = Literal[
    "fact",
    "derived",
    "opening",
    "role",
    "subject",
    "list",
    "member",
    "table",
    "rule",
    "limit",
    "need",
    "caution",
    "allowance",
    "trial",
    "source",
]
READABLE: Final[tuple[Sort, ...]] = ("fact", "derived", "opening", "role")
"""What an expression reads by its name."""
RULINGS: Final[tuple[Sort, ...]] = ("rule", "limit", "need")
_LISTED: Final[tuple[tuple[str, Sort, str], ...]] = (
    ("rules", "rule", "id"),
    ("limits", "limit", "id"),
    ("needs", "need", "id"),
    ("cautions", "caution", "id"),
    ("derived", "derived", "name"),
    ("allowances", "allowance", "name"),
    ("tables", "table", "id"),
)
"""The sections that are lists: what their entries are, and by which key they are named."""
FACT_PARTS: Final = (*TYRE_PARTS, TOLD[1:])
"""What is read of a fact behind its name: the parts of a tyre, and what was told of a figure."""
_KEYED: Final[tuple[tuple[str, Sort], ...]] = (("sources", "source"), ("trials", "trial"))
"""The sections whose entries stand under their names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """A name where it is declared: `start` is its index in the file, `written` what stands there, `node` what it says.

    Of a member `of` is its list, of a role the list that has it, of a column its table.
    """

    sort: Sort
    name: str
    source: FileText
    start: int
    written: str
    node: Node
    of: str = ""

    def says(self, key: str) -> str:
        """A text that its entry has under a key; empty where there is none."""
        found = self.node.entries.get(key) if isinstance(self.node, Mapping) else None
        return found.value.strip() if isinstance(found, Scalar) else ""

    def lists(self, key: str) -> list[str]:
        """The texts that its entry lists under a key, or the keys there."""
        found = self.node.entries.get(key) if isinstance(self.node, Mapping) else None
        if isinstance(found, Mapping):
            return list(found.entries)
        items = found.items if isinstance(found, Sequence) else ()
        return [item.value for item in items if isinstance(item, Scalar)]


def declared_in(tree: Node) -> Iterator[Declared]:
    """What a file declares."""
    if not isinstance(tree, Mapping):
        return
    for section, sort, key in _LISTED:
        for entry in _items(tree.entries.get(section)):
            name = entry.entries.get(key)
            if isinstance(name, Scalar):
                yield _at(sort, name.value, name, entry)
                yield from _columns(entry, name.value) if sort == "table" else ()
    for section, keyed in _KEYED:
        yield from _keys(tree.entries.get(section), keyed)
    subject, facts = tree.entries.get("subject"), tree.entries.get("facts")
    if isinstance(subject, Scalar):
        yield _at("subject", subject.value, subject, tree)
        yield from _keys(facts, "fact", f"{subject.value}.")
    yield from _lists(tree.entries.get("lists"))
    adapters = tree.entries.get("adapters")
    if isinstance(adapters, Mapping):
        yield from _keys(adapters.entries.get("facts"), "opening", "opening.")


def _lists(node: Node | None) -> Iterator[Declared]:
    for one in _keys(node, "list"):
        yield one
        entries = one.node.entries if isinstance(one.node, Mapping) else {}
        members = entries.get("members")
        yield from _keys(members, "member", of=one.name)
        for item in members.items if isinstance(members, Sequence) else ():
            if isinstance(item, Scalar):
                yield _at("member", item.value, item, item, one.name)
        yield from _keys(entries.get("roles"), "role", of=one.name)


def _columns(entry: Mapping, table: str) -> Iterator[Declared]:
    yield from _keys(entry.entries.get("columns"), "table", f"{table}.", of=table)


def _keys(node: Node | None, sort: Sort, before: str = "", of: str = "") -> Iterator[Declared]:
    if isinstance(node, Mapping):
        for name, below in node.entries.items():
            start = node.starts[name]
            start += node.source.text.startswith(("'", '"'), start)
            yield Declared(
                sort=sort, name=before + name, source=node.source, start=start, written=name, node=below, of=of
            )


def _items(node: Node | None) -> Iterator[Mapping]:
    yield from (item for item in node.items if isinstance(item, Mapping)) if isinstance(node, Sequence) else ()


def _at(sort: Sort, name: str, place: Scalar, node: Node, of: str = "") -> Declared:
    start = place.start + (place.style in ("'", '"'))
    return Declared(sort=sort, name=name, source=place.source, start=start, written=place.value, node=node, of=of)


class FolderNames:
    """All names of a folder, by what they are and are called."""

    def __init__(self, found: list[Declared]) -> None:
        self.by_sort: dict[Sort, dict[str, Declared]] = {}
        self.members: dict[str, dict[str, Declared]] = {}
        roles = [one for one in found if one.sort == "role"]
        for one in found:
            if one.sort == "member":
                self.members.setdefault(one.of, {}).setdefault(one.name, one)
            elif one.sort != "role":
                self.by_sort.setdefault(one.sort, {}).setdefault(one.name, one)
        self.by_sort["role"] = {
            f"{fact.partition('.')[2]}.{role.name}": role
            for fact, entry in self.of("fact").items()
            for role in roles
            if role.of == entry.says("type")
        }

    def of(self, *sorts: Sort) -> dict[str, Declared]:
        """What is of some sorts, by name."""
        return {name: one for sort in sorts for name, one in self.by_sort.get(sort, {}).items()}

    def called(self, name: str) -> list[Declared]:
        """All that a name stands for; a part of a tyre, or what was told, is its fact, a limit's rating both."""
        found = [known[name] for known in self.by_sort.values() if name in known]
        found += [known[name] for known in self.members.values() if name in known]
        whole, _, part = name.rpartition(".")
        fact = self.of("fact").get(whole) if not found and part in FACT_PARTS else None
        return [fact] if fact is not None else found

    def type_of(self, name: str) -> str:
        """The type of what an expression reads; empty where it is none."""
        found = self.of("fact", "derived", "opening").get(name)
        return found.says("type") if found is not None else "yes_no" if name in self.of("role") else ""

    def choices(self, name: str) -> list[str]:
        """What a fact or value may be, where it is chosen from a list or is a yes or no."""
        kind = self.type_of(name)
        return ["yes", "no"] if kind == "yes_no" else list(self.members.get(kind, ()))


FUNCTION_NAMES: Final = (*FUNCTIONS, *SPECIAL_FORMS)
"""What is written before brackets."""
