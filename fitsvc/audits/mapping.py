"""What each column of a catalogue is: a fact by its own name, or another people's column by a mapping file.

A mapping file is YAML:

    unknown: [N/A, TBD, "—"]
    decimal: comma
    separator: semicolon
    encoding: cp1252
    header: 3
    columns:
      Item No: sku
      Tube: {fact: shank, nominal: mm}
      Wt: {fact: weight, unit: lb}
      Kind: {fact: kind, values: {BM: ball_mount, CC: cargo_carrier, none: ""}}
      Remarks: ignore

A word under `unknown` says in any column as little as an empty cell, unless it is a member of the column's own list or
among its `values`; a word that `values` makes empty does so in its column alone. They are found whatever their letters'
case and their blanks.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from fitsvc.audits.chunks import PLAIN, FileForm
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.language.quantities import DIMENSIONS
from fitsvc.language.types import ListType
from fitsvc.loading.header import dimension_of, read_title, unit_problem
from fitsvc.loading.lines import known_encoding
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.rulebook.yaml_text import Mapping as YamlMapping
from fitsvc.rulebook.yaml_text import Node, Scalar, read_yaml_file, to_plain

KEYS: Final = ("sku", "subject", "label", "fits")
"""What a column may be beside a fact; `fits` holds the rigs or vehicles that the item is claimed to fit."""
_SLIP: Final = 0.8
"""How close by a name is that a title is a slip of (difflib's ratio): a letter or two of it; an estimate."""
READ: Final = ("trailer", "adapter", "ball", "wiring_adapter")
"""The subjects whose rows are read beside accessories, each by its own facts."""
_ENTRY: Final = ("fact", "unit", "values", "decimal", "nominal")
_IGNORE: Final = "ignore"
_FORM: Final = ("separator", "encoding", "header", "sheet")
_KEYS: Final = frozenset({"columns", "unknown", "decimal", *_FORM})
SEPARATOR_WORDS: Final = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", ",": ",", ";": ";", "|": "|"}
"""What may be said to stand between cells."""
MARKS: Final = {"comma": ",", "point": "."}
"""What may be said to part decimals."""
_MORE: Final = ", ".join(f"`{name}`" for name in sorted(_KEYS - {"columns"}))
_ROUND: Final = ("mm", "cm", "in")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """One column: its title, the key or short fact name it stands for, its unit, and words for its values.

    `decimal` is the mark that parts decimals, where that is told; `nominal` the unit of sizes told by round figures.
    """

    title: str
    name: str
    unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    decimal: str = ""
    nominal: str = ""


@dataclass(frozen=True, slots=True)
class FileMapping:
    """What a mapping file says of a catalogue: its columns by title, and the words for what is not known, folded.

    `decimal` is the mark that parts decimals in columns that do not tell their own, `form` how the file is written.
    """

    columns: Mapping[str, Mapped] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()
    decimal: str = ""
    form: FileForm = PLAIN

    def told(self, column: Mapped) -> Mapped:
        """A column with the mark that parts its decimals, its own or the file's."""
        return column if column.decimal else replace(column, decimal=self.decimal)


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
        raise ProblemsFound([tree.problem(f"a mapping file has `columns`, and may have {_MORE}", help)])
    problems: list[Problem] = []
    unknown = _words(tree, problems)
    decimal = _mark(tree, problems)
    found = {title: _entry(title, node, problems) for title, node in columns.entries.items()}
    # What an accessory calls by the same name as another subject is taken as the accessory's.
    facts = {name: fact for subject in (*READ, "accessory") for name, fact in vocabulary.of(subject).items()}
    for title, column in found.items():
        if column:
            problems += _meaningless(column, columns.entries[title], facts)
    if problems:
        raise ProblemsFound(problems)
    form = _form(tree, problems)
    if problems:
        raise ProblemsFound(problems)
    return FileMapping({title: column for title, column in found.items() if column}, unknown, decimal, form)


def _form(tree: YamlMapping, problems: list[Problem]) -> FileForm:
    """How the file is written, where that is told."""
    told = {name: str(to_plain(tree.entries[name])) for name in _FORM if name in tree.entries}
    separator = SEPARATOR_WORDS.get(told.get("separator", ","), "")
    if not separator:
        problems.append(tree.entries["separator"].problem(_SEPARATED, f"write one of {', '.join(SEPARATOR_WORDS)}"))
    if not known_encoding(told.get("encoding", "utf-8")):
        help = "write `encoding: cp1252`, or leave it out for UTF-8 and UTF-16"
        problems.append(tree.entries["encoding"].problem("`encoding` is none that is known", help))
    header = told.get("header", "1")
    if not header.isdigit() or int(header) < 1:
        problems.append(tree.entries["header"].problem("`header` is the line of the titles", "write `header: 3`"))
        header = "1"
    return FileForm(
        separator if "separator" in told else "", told.get("encoding", ""), int(header), told.get("sheet", "")
    )


_SEPARATED: Final = "`separator` says what stands between cells"


def _mark(node: YamlMapping, problems: list[Problem]) -> str:
    """What a file or one of its columns says to part decimals."""
    told = node.entries.get("decimal")
    if told is None:
        return ""
    if not isinstance(told, Scalar) or told.value not in MARKS:
        problems.append(
            told.problem("`decimal` says what parts decimals", "write `decimal: comma` or `decimal: point`")
        )
        return ""
    return MARKS[told.value]


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
        return Mapped(title=title, name=node.value)
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
    unit, nominal = (str(plain.get(key) or "") for key in ("unit", "nominal"))
    decimal = _mark(node, problems)
    return Mapped(title=title, name=str(plain["fact"]), unit=unit, values=words, decimal=decimal, nominal=nominal)


def _meaningless(column: Mapped, node: Node, facts: Mapping[str, Fact]) -> Iterator[Problem]:
    """What a column is mapped to and cannot be."""
    known, fact = [*facts, *KEYS, _IGNORE], facts.get(column.name)
    if column.name not in known:
        near = nearest(column.name, known)
        help = (
            f"did you mean `{near}`?"
            if near
            else f"it is a fact of an accessory, trailer, adapter, ball or wiring adapter, or one of {', '.join(KEYS)}"
        )
        yield node.problem(f"column `{column.title}` is mapped to `{column.name}`, which is no fact", help)
        return
    for one in unit_problems(column, fact):
        yield node.problem(one.message, one.help)
    kind = fact.type if fact is not None else None
    if column.nominal and not (isinstance(kind, ListType) and kind.sizes and column.nominal in _ROUND):
        help = "write `nominal: mm` beside a `fact` that is one of some sizes"
        yield node.problem(f"`{column.title}` has no nominal sizes in `{column.nominal}`", help)
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
        column = mapping.get(title) or by_name(title)
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


def close_by(passed_over: Iterable[str], left: Iterable[str]) -> dict[str, str]:
    """What columns that are passed over were probably to be, by title: the name close by, of those `left`."""
    names = sorted(left)
    near = {title: nearest(_as_a_name(title), names, _SLIP) for title in passed_over}
    return {title: name for title, name in near.items() if name}


def _as_a_name(title: str) -> str:
    return "_".join(read_title(title)[0].lower().replace("-", " ").split())


def by_name(title: str) -> Mapped:
    """What a column is by its title alone."""
    name, unit = read_title(title)
    return Mapped(title=title, name=name, unit=unit or "")


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
