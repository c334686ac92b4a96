"""One rule, limit, need or caution, printed from its file for people to read; and what all of them read."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import help_for, paragraph, refuse
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.language.problems import ProblemsFound, nearest
from fitsvc.rulebook.folder import BELOW
from fitsvc.rulebook.kinds import applying_to, kinds_of
from fitsvc.rulebook.overlay import gather
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.vocabulary import FORMERLY
from fitsvc.rulebook.yaml_text import Mapping as Tree
from fitsvc.rulebook.yaml_text import Node, Scalar, Sequence, to_plain

if TYPE_CHECKING:
    from fitsvc.cli.console import Console
    from fitsvc.rulebook.coverage import Coverage
    from fitsvc.rulebook.rules import Rulebook

_KINDS: Final = {"rules": "rule", "limits": "limit", "needs": "need", "cautions": "caution"}
_LINES: Final = (
    ("applies_when", "applies when"),
    ("requires", "requires"),
    ("quantity", "limits"),
    ("lowest_of", "lowest of"),
    ("judged", "judged"),
    ("judged_when", "judged when"),
    ("met_when", "met when"),
    ("values", "must be"),
    ("severity", "severity"),
    ("if_unknown", "if unknown"),
    ("fails_because", "when it fails"),
    ("unknown_because", "when unknown"),
    ("because", "because"),
    ("text", "says"),
    ("remedy", "remedy"),
    ("draws", "marks"),
    ("source", "source"),
)
_BOOK: Final = "`fitsvc rules book` has it beside what reads it"
_ELSEWHERE: Final = {
    "fact": ("fact", "`fitsvc rules facts {id}` tells of it"),
    "table": ("table", _BOOK),
    "list": ("list", _BOOK),
    "derived": ("derived value", _BOOK),
    "role": ("role of kinds", _BOOK),
    "opening": ("figure of the working opening", _BOOK),
    "source": ("source", "`fitsvc rules sources {id}` tells what rests on it"),
}
_EXAMPLE: Final = len("undetermined, so: caution") + 1
_COLOURS: Final = {"passes": "green", "met": "green", "fails": "red", "undetermined": "magenta", "open": "yellow"}
_EFFECTS: Final = ("blocking", "caution", "need", "told")
_EFFECTS_TOLD: Final = (
    "Rules that can refuse it",
    "Rules that can ask for care",
    "What it can need",
    "What can be told",
)
_NAME: Final = re.compile(r"\b[a-z][a-z_]*\.[a-z][a-z0-9_]*\b")


@dataclass(frozen=True, slots=True)
class RuleEntry:
    """An entry of a rule file: what kind it is, the entry and the words for facts."""

    kind: str
    entry: Tree
    words: Mapping[str, str]


def find_rule(folder: Path, id: str) -> RuleEntry:
    """The entry with an id in a folder of rules; ProblemsFound when there is none."""
    wanted = id.partition("/")[0].replace("_", "-")
    known: dict[str, tuple[str, Tree]] = {}
    words: dict[str, str] = {}
    shape = Shape()
    read = gather(shape, folder, {}).trees
    if shape.problems:
        raise ProblemsFound(shape.problems)
    trees = [tree for path, tree in read.items() if path.parent == folder]
    for tree in trees:
        for section, name, entry in _entries(tree):
            known[name] = (_KINDS[section], entry)
    if not known:
        refuse(f"`{folder}` holds no rules", "name the folder that holds `rulebook.yaml`")
    wanted = next((name for name, (_, entry) in known.items() if wanted in _former(entry)), wanted)
    if wanted not in known:
        _refuse_other(id, read.values())
        refuse(f"there is no rule, limit, need or caution `{id}` in `{folder}`", help_for(wanted, known))
    vocabulary = [tree for path, tree in read.items() if path.parent == folder / BELOW[0]]
    roles = {name: one for tree in vocabulary for name, one in _roles(tree).items()}
    for tree in vocabulary:
        words |= _labels(tree, roles)
    for tree in trees:
        words |= _declared(tree)
    return RuleEntry(*known[wanted], words)


def _former(entry: Tree) -> list[str]:
    """What an entry was called before."""
    found = to_plain(entry.entries[FORMERLY]) if FORMERLY in entry.entries else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else []


def _refuse_other(id: str, trees: Iterable[Node]) -> None:
    """Of a name that is no rule's, limit's, need's or caution's: tell what it is, and where it stands."""
    from fitsvc.desk.naming import declared_in

    for one in (one for tree in trees for one in declared_in(tree)):
        is_it = one.name == (id.partition(".")[2] if one.sort == "role" else id)
        if is_it and one.sort in _ELSEWHERE:
            mark = one.node.mark
            where = f"{mark.file}:{mark.line}"
            refuse(f"`{id}` is a {_ELSEWHERE[one.sort][0]}, in {where}", _ELSEWHERE[one.sort][1].format(id=id))


def show_rule(console: "Console", found: RuleEntry) -> None:
    """Print an entry."""
    document: Json = to_plain(found.entry)
    paragraph(console, document.get("title") or document["id"], style="bold")
    mark = found.entry.mark
    paragraph(console, f"{document['id']}, a {found.kind} in {mark.file}:{mark.line}", style="dim")
    console.print()
    for key, label in _LINES:
        if text := _text(key, document.get(key)):
            paragraph(console, text, sign=label, colour="cyan", indent=2, hang=15)
    _facts(console, found, document)
    _examples(console, document.get("examples") or [])


def show_coverage(console: "Console", rulebook: "Rulebook", found: "Coverage") -> None:
    """Print each topic with its rules and what they read, the choices that decide by cases, and what nothing reads."""
    for topic, entries in found.topics.items():
        paragraph(console, f"{topic}: {rulebook.topics[topic]}", style="bold")
        for entry in entries:
            paragraph(console, f"{entry.id}: {entry.title}", sign=entry.kind, colour="cyan", indent=2, hang=9)
            paragraph(console, ", ".join(entry.facts) or "no facts", style="dim", indent=11)
            if entry.tables:
                paragraph(console, f"tables {', '.join(entry.tables)}", style="dim", indent=11)
        console.print()
    paragraph(console, "Facts that are told to people and read by no rule", style="bold")
    for name, why in found.told.items():
        paragraph(console, f"{name}: {why}", indent=2)
    console.print()
    paragraph(console, "Choices that an answer may be decided by, case by case", style="bold")
    for choice in Point(rulebook).choices(adapted=True).all:
        count = len({*choice.rules, *choice.lost}) + len(choice.lost_needs)
        rests = f"{count} rules or needs rest on it" if count > 1 else "a rule or need rests on it"
        paragraph(console, f"{choice.name}: {rests}", indent=2)
    console.print()
    if found.unread_tables:
        paragraph(console, "Tables that nothing looks up", style="bold")
        for name in found.unread_tables:
            paragraph(console, name, indent=2)
        console.print()
    paragraph(console, "Facts that nothing reads", style="bold")
    for name in found.unread or ("none",):
        paragraph(console, name, indent=2)


def show_kind(console: "Console", rulebook: "Rulebook", name: str) -> None:
    """Print what a kind is by its roles, and all that can apply to it, what blocks first."""
    kinds = kinds_of(rulebook.vocabulary)
    if name not in kinds:
        near = nearest(name, kinds)
        known = ", ".join(f"`{one}`" for one in kinds)
        refuse(f"`{name}` is not a kind with roles", f"did you mean `{near}`?" if near else f"it is one of {known}")
    kind = kinds[name]
    paragraph(console, f"{name}: {kind.word}", style="bold")
    for role in kind.roles:
        paragraph(console, rulebook.derived[role].label, sign=role, colour="cyan", indent=2, hang=22)
    found = sorted(applying_to(rulebook, kind), key=lambda one: _EFFECTS.index(one.effect))
    for effect, told in zip(_EFFECTS, _EFFECTS_TOLD, strict=True):
        console.print()
        paragraph(console, told, style="bold")
        for one in found:
            if one.effect == effect:
                paragraph(console, one.title, sign=one.id, colour="cyan", indent=2, hang=4)


def _facts(console: "Console", found: RuleEntry, document: Mapping[str, Json]) -> None:
    text = " ".join(str(document.get(key, "")) for key, _ in _LINES if key != "source")
    names = [name for name in dict.fromkeys(_NAME.findall(text)) if name in found.words]
    if names:
        console.print()
        paragraph(console, "What it reads", style="bold")
    for name in names:
        paragraph(console, name, style="cyan", indent=2)
        paragraph(console, found.words[name], indent=6)


def _examples(console: "Console", examples: list[Json]) -> None:
    if examples:
        console.print()
        paragraph(console, "Examples", style="bold")
    for example in examples:
        facts = {name: value for name, value in example.items() if name not in ("gives", "so", "at_most")}
        gives = example.get("gives") or (f"at most {example['at_most']}" if "at_most" in example else "")
        sign = f"{gives}, so: {example['so']}" if "so" in example else gives
        paragraph(console, inline(facts), sign=sign, colour=_COLOURS.get(gives, ""), indent=2, hang=_EXAMPLE)


def _text(key: str, value: Json) -> str:
    if value is None:
        return ""
    if key == "source" and isinstance(value, dict):
        detail = value.get("cite") or value.get("because") or ""
        return str(value.get("kind", "")).replace("_", " ") + (f": {detail}" if detail else "")
    if key == "lowest_of" and isinstance(value, list):
        return "\n".join(_rating(one) for one in value)
    if isinstance(value, dict):
        return ", ".join(f"{name}: {inner}" for name, inner in value.items())
    return " ".join(str(value).split())


def _rating(one: Json) -> str:
    if not isinstance(one, dict):
        return str(one)
    text = str(one.get("rating", ""))
    text += f", when {one['applies_when']}" if "applies_when" in one else ""
    return text + (f" (if unknown: {one['if_unknown']})" if "if_unknown" in one else "")


def inline(value: Json) -> str:
    """A YAML value in one line, for people."""
    if isinstance(value, dict):
        return ", ".join(f"{name} {_wrapped(inner)}" for name, inner in value.items())
    if isinstance(value, list):
        return ", ".join(map(_wrapped, value))
    return "unknown" if value is None else str(value)


def _wrapped(value: Json) -> str:
    text = inline(value)
    return f"[{text}]" if isinstance(value, list) else f"({text})" if isinstance(value, dict) else text


def _entries(tree: Node) -> Iterator[tuple[str, str, Tree]]:
    for section in _KINDS:
        for name, entry in _named(tree, section, "id"):
            yield section, name, entry


def _declared(tree: Node) -> dict[str, str]:
    """The labels of derived values and of the working opening's facts."""
    words = {name: _label(entry) for name, entry in _named(tree, "derived", "name")}
    adapters = tree.entries.get("adapters") if isinstance(tree, Tree) else None
    facts = adapters.entries.get("facts") if isinstance(adapters, Tree) else None
    if isinstance(facts, Tree):
        words |= {f"opening.{name}": _label(entry) for name, entry in facts.entries.items()}
    return words


def _roles(tree: Node) -> dict[str, dict[str, str]]:
    """The labels of each list's roles, by the list's name."""
    lists = tree.entries.get("lists") if isinstance(tree, Tree) else None
    found = {}
    for name, entry in lists.entries.items() if isinstance(lists, Tree) else ():
        roles = entry.entries.get("roles") if isinstance(entry, Tree) else None
        if isinstance(roles, Tree):
            found[name] = {role: _label(one) for role, one in roles.entries.items()}
    return found


def _labels(tree: Node, roles: Mapping[str, Mapping[str, str]]) -> dict[str, str]:
    """The labels of a vocabulary file's facts, and of the roles of those that are chosen from a list with roles."""
    document: Json = to_plain(tree)
    facts = tree.entries.get("facts") if isinstance(tree, Tree) and "subject" in tree.entries else None
    if not isinstance(facts, Tree):
        return {}
    labels = {f"{document['subject']}.{name}": _label(entry) for name, entry in facts.entries.items()}
    for name, fact in document["facts"].items():
        of = roles.get(fact.get("type", ""), {}) if isinstance(fact, dict) else {}
        labels |= {f"{name}.{role}": label for role, label in of.items()}
    return labels


def _label(entry: Node) -> str:
    document: Json = to_plain(entry)
    if not isinstance(document, dict):
        return ""
    label, meaning = document.get("label") or "", document.get("meaning") or document.get("is") or ""
    return f"{label}: {' '.join(str(meaning).split())}" if meaning else str(label)


def _named(tree: Node, section: str, key: str) -> Iterator[tuple[str, Tree]]:
    nodes = tree.entries.get(section) if isinstance(tree, Tree) else None
    for entry in nodes.items if isinstance(nodes, Sequence) else ():
        name = entry.entries.get(key) if isinstance(entry, Tree) else None
        if isinstance(entry, Tree) and isinstance(name, Scalar):
            yield name.value, entry
