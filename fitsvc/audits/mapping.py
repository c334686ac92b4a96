"""What each column of a catalogue is: a fact by its own name, or another people's column by a mapping file.

A mapping file is YAML:

    unknown: [N/A, TBD, "—"]
    columns:
      Item No: sku
      Wt: {fact: weight, unit: lb}
      Kind: {fact: kind, values: {BM: ball_mount, CC: cargo_carrier, none: ""}}
      Remarks: ignore

A word under `unknown` says in any column that the fact is not known, nor whether the item has it; a word that `values`
makes empty says that there is nothing. Both are found whatever their letters' case and their blanks.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import DIMENSIONS
from fitsvc.language.types import ListType
from fitsvc.loading.header import dimension_of, read_title, unit_problem
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.rulebook.yaml_text import Mapping as YamlMapping
from fitsvc.rulebook.yaml_text import Node, Scalar, read_yaml_file, to_plain

KEYS: Final = ("sku", "subject", "label", "fits")
"""What a column may be beside a fact; `fits` holds the rigs or vehicles that the item is claimed to fit."""
_ENTRY: Final = ("fact", "unit", "values")
_IGNORE: Final = "ignore"
_KEYS: Final = frozenset({"columns", "unknown"})


@dataclass(frozen=True, slots=True)
class Mapped:
    """One column: its title, the key or short fact name it stands for, its unit, and words for its values."""

    title: str
    name: str
    unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FileMapping:
    """What a mapping file says of a catalogue: its columns by title, and the words for what is not known, folded."""

    columns: Mapping[str, Mapped] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()


def folded(text: str) -> str:
    """A word as it is looked up: whatever its letters' case and its blanks."""
    return " ".join(text.split()).casefold()


def read_mapping(path: Path | None, vocabulary: Vocabulary) -> FileMapping:
    """What a mapping file says; ProblemsFound with everything wrong with it, at its place there."""
    if path is None:
        return FileMapping()
    tree = read_yaml_file(path)
    columns = tree.entries.get("columns") if isinstance(tree, YamlMapping) else None
    if not isinstance(tree, YamlMapping) or not isinstance(columns, YamlMapping) or tree.entries.keys() - _KEYS:
        help = "write `columns: {Title: fact}`"
        raise ProblemsFound([tree.problem("a mapping file has `columns`, and may have `unknown`", help)])
    problems: list[Problem] = []
    unknown = _words(tree, problems)
    found = {title: _entry(title, node, problems) for title, node in columns.entries.items()}
    facts = vocabulary.of("accessory")
    for title, column in found.items():
        if column:
            problems += _meaningless(column, columns.entries[title], facts)
    if problems:
        raise ProblemsFound(problems)
    return FileMapping({title: column for title, column in found.items() if column}, unknown)


def _words(tree: YamlMapping, problems: list[Problem]) -> frozenset[str]:
    """The words that say in any column that something is not known."""
    node = tree.entries.get("unknown")
    if node is None:
        return frozenset()
    words = to_plain(node)
    if not isinstance(words, list) or not all(isinstance(word, str) and word.strip() for word in words):
        problems.append(node.problem("`unknown` is a list of words", 'write `unknown: [N/A, TBD, "—"]`'))
        return frozenset()
    return frozenset(folded(str(word)) for word in words)


def _entry(title: str, node: Node, problems: list[Problem]) -> Mapped | None:
    if isinstance(node, Scalar) and node.value:
        return Mapped(title, node.value)
    plain = to_plain(node)
    if not isinstance(node, YamlMapping) or not isinstance(plain, dict) or not isinstance(plain.get("fact"), str):
        problems.append(node.problem(f"`{title}` says no fact", "write `fact`, or `{fact: weight, unit: lb}`"))
        return None
    problems += [
        node.problem_at_key(key, f"a column has no `{key}`", "it may have " + ", ".join(_ENTRY))
        for key in plain
        if key not in _ENTRY
    ]
    values = plain.get("values") or {}
    told = values.items() if isinstance(values, dict) else ()
    words = {folded(key): value for key, value in told if isinstance(value, str)}
    if len(words) != len(values):
        problems.append(
            node.problem_at_key("values", "`values` maps their words to ours", "write each once: `{THEIRS: OURS}`")
        )
    return Mapped(title, str(plain["fact"]), str(plain.get("unit") or ""), words)


def _meaningless(column: Mapped, node: Node, facts: Mapping[str, Fact]) -> Iterator[Problem]:
    """What a column is mapped to and cannot be."""
    known, fact = [*facts, *KEYS, _IGNORE], facts.get(column.name)
    if column.name not in known:
        near = nearest(column.name, known)
        help = f"did you mean `{near}`?" if near else f"it is a fact of an accessory, or one of {', '.join(KEYS)}"
        yield node.problem(f"column `{column.title}` is mapped to `{column.name}`, which is no fact", help)
        return
    for one in unit_problems(column, fact):
        yield node.problem(one.message, one.help)
    kind = fact.type if fact is not None else None
    members = kind.members if isinstance(kind, ListType) and kind.dimension is None else ()
    for theirs, ours in column.values.items():
        if members and not {part.strip() for part in ours.split("|")} <= {"", *members}:
            near = nearest(ours, members)
            help = f"did you mean `{near}`?" if near else f"it is one of {', '.join(f'`{name}`' for name in members)}"
            yield node.problem(f"`{theirs}` is mapped to `{ours}`, which is no choice for `{column.name}`", help)


@dataclass(frozen=True, slots=True)
class Header:
    """The columns that are read, by title, and the titles that are passed over."""

    columns: Mapping[str, Mapped]
    passed_over: tuple[str, ...]


def read_header(titles: Iterable[str], mapping: Mapping[str, Mapped], vocabulary: Vocabulary, file: str) -> Header:
    """What the columns of a catalogue of accessories are; ProblemsFound when it cannot be told."""
    facts = vocabulary.of("accessory")
    columns: dict[str, Mapped] = {}
    passed_over: list[str] = []
    problems: list[Problem] = []
    for title in titles:
        column = mapping.get(title) or _by_name(title)
        if column.name in facts or column.name in KEYS:
            columns[title] = column
            problems += [replace(one, file=file, line=1) for one in unit_problems(column, facts.get(column.name))]
        else:
            passed_over.append(title)
    names = [column.name for column in columns.values()]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        titled = ", ".join(f"`{column.title}`" for column in columns.values() if column.name == name)
        problems.append(Problem(f"the columns {titled} are all `{name}`", "keep one of them", file=file, line=1))
    if "sku" not in names:
        near = nearest("sku", passed_over)
        help = f"is it `{near}`? Map it" if near else "add the column, or map the one that names each item"
        problems.append(Problem("no column is `sku`", help, file=file, line=1))
    if problems:
        raise ProblemsFound(problems)
    return Header(columns, tuple(passed_over))


def _by_name(title: str) -> Mapped:
    name, unit = read_title(title)
    return Mapped(title, name, unit or "")


def needs_unit(fact: Fact) -> bool:
    """Whether a bare figure of a fact says nothing without its unit."""
    return fact.kind in DIMENSIONS and fact.kind != "count"


def unit_problems(column: Mapped, fact: Fact | None) -> list[Problem]:
    """What is wrong with the unit that a column is said to have."""
    if not column.unit:
        return []
    dimension = dimension_of(fact) if fact is not None else None
    wrong = unit_problem(column.title, column.name, column.unit, [dimension] if dimension is not None else [])
    return [wrong] if wrong else []
