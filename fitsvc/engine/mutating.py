"""Mutants of a rulebook, each judged by the examples of all that rests on it: one that none notices has survived."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from msgspec import structs

from fitsvc.engine.examples import Owner, asked, case_of, owners_of
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader
from fitsvc.language import typed
from fitsvc.language.checker import check
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.tables import Table
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH
from fitsvc.rulebook.entries import exchanged
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.loader import Loader
from fitsvc.rulebook.mutants import RuleChange, cells, changes, texts
from fitsvc.rulebook.rules import Caution, Derived, Example, Limit, Need, Opening, Rule, Rulebook
from fitsvc.rulebook.shape import Shape, source_of
from fitsvc.rulebook.tables import read_tables
from fitsvc.rulebook.yaml_text import Mapping as Entry
from fitsvc.rulebook.yaml_text import Position, Scalar, Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change: its place, the entry it is of and what changed, the rulebook with it, and who rests on it.

    `why_same` is the reason that its entry gives for its being no change at all. `nodes` are the derived values that
    are others: what rests on them may with that be about something else.
    """

    mark: Position
    name: str
    told: str
    book: Rulebook
    owners: tuple[str, ...]
    why_same: str = ""
    nodes: Mapping[str, AnyTyped] = field(default_factory=dict)


class Mutating:
    """A folder of rules, its mutants, and what examples make of them."""

    def __init__(self, folder: Path) -> None:
        self.loader = Loader(folder, {})
        self.book = self.loader.load()
        self.read = self.loader.read
        self.reader = FactReader(self.book)
        self.owners = owners_of(self.book)
        self._cases: dict[int, Case] = {}

    @property
    def files(self) -> list[str]:
        """The files of rules that are changed, by their paths within the folder."""
        return [path.relative_to(self.loader.folder).as_posix() for path in self.loader.trees]

    @property
    def entries(self) -> list[str]:
        """The names of all that is changed."""
        return [*self.owners, *self.book.tables]

    # who rests on what

    @cached_property
    def _rests_on(self) -> Mapping[str, frozenset[str]]:
        """The derived values and opening facts that each owner rests on, itself among them."""
        nodes = {name: [one.node] for name, one in self.book.derived.items()}
        nodes |= {name: [one.bare, one.each] for name, one in self.book.opening.items()}
        known: dict[str, frozenset[str]] = {}

        def reach(name: str) -> frozenset[str]:
            if name not in known:
                known[name] = frozenset({name})
                known[name] = frozenset({name}).union(*map(reach, _names(nodes[name], nodes)))
            return known[name]

        return {
            name: frozenset({name}).union(*map(reach, _names(expressions_of(self.book, one), nodes)))
            for name, one in self.owners.items()
        }

    def resting_on(self, names: Iterable[str]) -> tuple[str, ...]:
        """Who rests on any of some names and has examples, those that rest on the least first."""
        found = [
            name
            for name, below in self._rests_on.items()
            if not below.isdisjoint(names) and self.book.examples.get(name)
        ]
        return tuple(sorted(found, key=lambda name: len(self._rests_on[name])))

    # the mutants

    def mutants(self, files: Collection[str] = (), names: Collection[str] = ()) -> Iterator[Mutant]:
        """Every mutant, file by file; or those of some files, by their paths within the folder, and of some entries."""
        for path, tree in self.loader.trees.items():
            whole = (not files and not names) or path.relative_to(self.loader.folder).as_posix() in files
            for section, node in tree.entries.items() if isinstance(tree, Entry) else ():
                if section == "adapters" and isinstance(node, Entry):
                    yield from self._of_opening(node, self.book.opening if whole else names)
                elif isinstance(node, Sequence):
                    entries = [entry for entry in node.items if isinstance(entry, Entry)]
                    for entry in entries if whole else [entry for entry in entries if _name(entry) in names]:
                        yield from self._of_entry(section, entry, path.stem)

    def _of_entry(self, section: str, entry: Entry, topic: str) -> Iterator[Mutant]:
        if section == "tables":
            yield from self._of_table(entry)
        elif section in ("rules", "limits", "needs", "cautions", "derived"):
            name = _text(entry, "name" if section == "derived" else "id")
            for change in changes(entry, self.book.vocabulary):
                changed = self._changed(section, name, change.entry, topic)
                if changed is not None and not self._is_same(changed, name):
                    nodes = {name: changed.derived[name].node} if section == "derived" else {}
                    yield self._mutant(entry, change, changed, [name], nodes)

    def _mutant(
        self,
        entry: Entry,
        change: RuleChange,
        book: Rulebook,
        names: Collection[str],
        nodes: Mapping[str, AnyTyped] | None = None,
    ) -> Mutant:
        """A mutant, with the reason that its entry gives for its being the same."""
        same = entry.entries.get("same")
        why = _text(same, change.told) if isinstance(same, Entry) else ""
        name = _name(entry) or next(iter(names), "")
        return Mutant(
            mark=change.mark,
            name=name,
            told=change.told,
            book=book,
            owners=self.resting_on(names),
            why_same=why,
            nodes=nodes or {},
        )

    def _changed(self, section: str, name: str, entry: Entry, topic: str) -> Rulebook | None:
        """The rulebook with an entry read anew; None where it cannot be."""
        book, shape = self.book, Shape()
        read = replace(self.read, shape=shape, presences=set(), examples={})
        if section == "derived":
            found = self._node(read, entry.entries["is"], self.book.derived[name].type)
            if found is None:
                return None
            return replace(book, derived={**book.derived, name: replace(book.derived[name], node=found)})
        return exchanged(book, read, section, entry, topic)

    def _is_same(self, changed: Rulebook, name: str) -> bool:
        """Whether all that changed is that a subject is asked for by what is said of it, and no more by `present`."""
        old, new = self.owners[name], owners_of(changed)[name]
        if not isinstance(old, Rule | Need | Caution) or not isinstance(new, Rule | Need | Caution):
            return False
        asked = {typed.Present(TRUTH, subject) for subject in set(new.subjects) - set(old.subjects)}
        same = replace(new, guard=old.guard, subjects=old.subjects, **_WRITTEN[type(new)](old))
        return bool(asked) and _conjuncts(old.guard) == _conjuncts(new.guard) | asked and same == old

    def _node(self, read: Expressions, node: Any, kind: Any) -> AnyTyped | None:
        try:
            return check(source_of(node), read.names, kind)
        except ProblemsFound:
            return None

    def _of_opening(self, node: Any, names: Collection[str]) -> Iterator[Mutant]:
        for name, one in self.book.opening.items():
            if name not in names:
                continue
            for part, read in (("bare", self.loader.bare), ("each", self.loader.each)):
                scalar, told_of = (node.entries[key].entries[name.partition(".")[2]] for key in (part, "facts"))
                for told, text in texts(scalar.value, self.book.vocabulary):
                    found = self._node(read, replace(scalar, value=text), one.type)
                    if found is not None:
                        other = replace(one, bare=found) if part == "bare" else replace(one, each=found)
                        opening = {**self.book.opening, name: other}
                        book, nodes = replace(self.book, opening=opening), {name: found} if part == "bare" else {}
                        change = RuleChange(scalar.mark, f"{part}: {told}", told_of)
                        yield self._mutant(told_of, change, book, [name], nodes)

    # tables stand in the expressions that look them up

    def _of_table(self, entry: Entry) -> Iterator[Mutant]:
        name = _text(entry, "id")
        old = self.book.tables[name]
        kinds: dict[str, Any] = {column: table.gives for column, table in old.columns.items() if column not in _TOLD}
        plain = old.columns.get("")
        if plain is not None:
            kinds |= {"is": plain.gives, "up_to": plain.innermost.key, "at": plain.innermost.key}
        for change in cells(entry, kinds, self.book.vocabulary):
            found = self._table(change)
            if found is not None:
                book, users = self._with_tables(found)
                yield self._mutant(entry, change, book, users)

    def _table(self, change: RuleChange) -> Mapping[str, Table] | None:
        shape = Shape()
        entry = change.entry
        tree = replace(entry, entries={"tables": Sequence(entry.source, entry.start, (entry,))})
        found = read_tables(shape, [tree], self.book.vocabulary, self.book.sources, set())
        return None if shape.problems else next(iter(found.values())).lookups

    def _with_tables(self, tables: Mapping[str, Table]) -> tuple[Rulebook, Collection[str]]:
        """The rulebook with some tables exchanged wherever they are looked up, and by whom."""
        users = frozenset(name for table in tables for name in self._users.get(table, ()))

        def anew(one: Any, *parts: str) -> Any:
            if (one.id if hasattr(one, "id") else one.name) not in users:
                return one
            changed = {part: _exchanged(getattr(one, part), tables) for part in parts}
            if isinstance(one, Need):
                values = {
                    name: replace(shown, node=_exchanged(shown.node, tables)) for name, shown in one.values.items()
                }
                changed |= {"values": values}
            return replace(one, **changed)

        book = self.book
        changed = replace(
            book,
            derived={name: anew(one, "node") for name, one in book.derived.items()},
            opening={name: anew(one, "bare", "each") for name, one in book.opening.items()},
            rules=tuple(anew(one, "guard", "requires") for one in book.rules),
            needs=tuple(anew(one, "guard", "met") for one in book.needs),
            cautions=tuple(anew(one, "guard") for one in book.cautions),
        )
        return changed, {name.partition("/")[0] for name in users}

    @cached_property
    def _users(self) -> Mapping[str, frozenset[str]]:
        """By each table the names of all that look it up themselves."""
        nodes: dict[str, list[AnyTyped]] = {name: expressions_of(self.book, one) for name, one in self.owners.items()}
        nodes |= {name: [one.bare, one.each] for name, one in self.book.opening.items()}
        found: dict[str, set[str]] = {}
        for name, several in nodes.items():
            for table in {table for node in several for table in _tables(node)}:
                found.setdefault(table, set()).add(name)
        return {table: frozenset(names) for table, names in found.items()}

    # judging

    def case(self, example: Example) -> Case:
        """The case of an example, read once."""
        found = self._cases.get(id(example))
        if found is None:
            self._cases[id(example)] = found = case_of(example, self.reader)
        return found

    def broken(self, names: Collection[str] = ()) -> list[Problem]:
        """The examples that are broken as the rules stand, of some owners or of all: they would notice anything."""
        engine = Point(self.book)
        return [
            ran.problem()
            for name in names or self.owners
            for example in self.book.examples.get(name, ())
            for ran in asked(engine, self.owners[name], example, self.case(example))
            if not ran.kept
        ]

    def noticed(self, mutant: Mutant) -> bool:
        """Whether an example of anything that rests on what changed is broken."""
        return any(self._breaks(mutant, name) for name in mutant.owners)

    def engine_of(self, mutant: Mutant, name: str) -> Point:
        """An engine for one owner alone, in the mutant."""
        book = alone(mutant.book, name)
        return Point(self._about_anew(book, mutant.nodes) if mutant.nodes else book)

    def _about_anew(self, book: Rulebook, nodes: Mapping[str, AnyTyped]) -> Rulebook:
        """The rulebook where some derived values are others, and what rests on them is about what it then is."""
        read = replace(self.read, derived={**self.read.derived, **nodes})

        def anew(one: Any) -> Any:
            parts = (one.guard, one.requires) if isinstance(one, Rule) else (one.guard,)
            values = [shown.node for shown in one.values.values()] if isinstance(one, Need) else []
            return replace(one, subjects=read.subjects(*parts, *values))

        parts: dict[str, Any] = {name: tuple(map(anew, getattr(book, name))) for name in ("rules", "needs", "cautions")}
        return replace(book, **parts)

    def _breaks(self, mutant: Mutant, name: str) -> bool:
        engine = self.engine_of(mutant, name)
        owner = owners_of(engine.rulebook)[name]
        try:
            return any(
                not ran.kept
                for example in self.book.examples[name]
                for ran in asked(engine, owner, example, self.case(example))
            )
        except ProblemsFound:
            return True  # what the example promises is not even of the type that it then is


_TOLD = ("asks", "cite", "known")


def alone(book: Rulebook, name: str) -> Rulebook:
    """A rulebook with one rule, limit, need or caution by itself, or for a derived value none."""
    return replace(
        book,
        rules=tuple(rule for rule in book.rules if name in (rule.id, rule.limit)),
        limits=tuple(limit for limit in book.limits if limit.id == name),
        needs=tuple(need for need in book.needs if need.id == name),
        cautions=tuple(caution for caution in book.cautions if caution.id == name),
    )


def expressions_of(book: Rulebook, owner: Owner) -> list[AnyTyped]:
    """The expressions that an owner is made of."""
    found: list[AnyTyped | None]
    match owner:
        case Derived():
            found = [owner.node]
        case Opening():
            found = [owner.bare, owner.each]
        case Limit():
            found = [node for rule in book.rules if rule.limit == owner.id for node in (rule.guard, rule.requires)]
        case Rule():
            found = [owner.guard, owner.requires]
        case Need():
            found = [owner.guard, owner.met, *(shown.node for shown in owner.values.values())]
        case Caution():
            found = [owner.guard]
    return [node for node in found if node is not None]


def _names(nodes: Iterable[AnyTyped], known: Mapping[str, Any]) -> set[str]:
    return {name for node in nodes for name in typed.reads(node) if name in known}


_WRITTEN: Mapping[type, Callable[[Any], dict[str, Any]]] = {
    Rule: lambda old: {"applies_text": old.applies_text},
    Need: lambda old: {"applies_text": old.applies_text},
    Caution: lambda _: {},
}
"""What of an owner says its guard in words."""


def _conjuncts(guard: AnyTyped | None) -> set[AnyTyped]:
    return set(guard.operands) if isinstance(guard, typed.All) else {guard} if guard is not None else set()


def _text(entry: Entry, key: str) -> str:
    node = entry.entries.get(key)
    return node.value if isinstance(node, Scalar) else ""


def _name(entry: Entry) -> str:
    return _text(entry, "id") or _text(entry, "name")


def _tables(node: AnyTyped) -> Iterator[str]:
    """The tables that an expression looks up."""
    if isinstance(node, typed.Lookup):
        yield node.table
    for part in typed.parts(node):
        yield from _tables(part)


def _exchanged(node: Any, tables: Mapping[str, Table]) -> Any:
    """A node with lookups of some tables exchanged; the same one where there are none."""
    if isinstance(node, tuple):
        parts = tuple(_exchanged(part, tables) for part in node)
        return node if all(a is b for a, b in zip(parts, node, strict=True)) else parts
    if not isinstance(node, typed.Typed):
        return node
    changed = {}
    for name in node.__struct_fields__:
        old = getattr(node, name)
        if isinstance(old, typed.Typed | tuple) and name not in ("type", "tops", "at", "values", "value"):
            new = _exchanged(old, tables)
            if new is not old:
                changed[name] = new
    if isinstance(node, typed.Lookup) and node.table in tables:
        table = tables[node.table]
        changed["values"] = table.values
        if isinstance(node, typed.LookupBand):
            changed["tops"] = table.tops
        if isinstance(node, typed.LookupBetween):
            changed["at"] = table.at
    return structs.replace(node, **changed) if changed else node
