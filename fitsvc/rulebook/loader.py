"""A folder of YAML files → one checked `Rulebook`, or every problem of every file at once."""

from collections.abc import Container, Iterable
from collections.abc import Mapping as Map
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Final

from fitsvc.language import typed
from fitsvc.language.checker import Names, check
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.source import Source
from fitsvc.language.truth import NO
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import TRUTH, Type
from fitsvc.rulebook.adding import read_beside
from fitsvc.rulebook.allowing import read_allowances
from fitsvc.rulebook.cautions import read_caution
from fitsvc.rulebook.expressions import Expressions
from fitsvc.rulebook.extent import circles, extents, reads_of
from fitsvc.rulebook.filling import hold_to_one, read_asks_for, read_wishes
from fitsvc.rulebook.folder import HAZARDS, OVERLAY, TOP_FILE, WORDS, passed_over
from fitsvc.rulebook.former_ids import read_former_ids
from fitsvc.rulebook.hazards import read_agree, read_apart, read_hazards, read_helps
from fitsvc.rulebook.meaning import digest_of
from fitsvc.rulebook.overlay import CoreChange, gather
from fitsvc.rulebook.rules import (
    Body,
    Caution,
    Derived,
    Hazard,
    Limit,
    Need,
    Opening,
    Rule,
    Rulebook,
    TableEntry,
    Taken,
)
from fitsvc.rulebook.sections import ADAPTERS, ADAPTERS_FILE, DERIVED, OPENING_FACT, TOP, TOPIC
from fitsvc.rulebook.serving import hold_to_one_each
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.signing import SIGNED, read_signed
from fitsvc.rulebook.sources import SOURCES, hold_to_sources, read_sources
from fitsvc.rulebook.strictness import loosened
from fitsvc.rulebook.tables import read_tables
from fitsvc.rulebook.tongue_files import read_words_files
from fitsvc.rulebook.topics import (
    hold_to_what_is_there,
    read_examples,
    read_limit,
    read_need,
    read_rule,
)
from fitsvc.rulebook.trials import read_trials
from fitsvc.rulebook.usual import read_usual
from fitsvc.rulebook.viewing import FILE, read_drawing
from fitsvc.rulebook.vocabulary import (
    DEFAULT_UNITS,
    VALUE_TYPES,
    Fact,
    Lists,
    Subject,
    Vocabulary,
    check_former,
    check_leaning,
    check_sums,
    read_lists,
    read_subject,
    value_type,
)
from fitsvc.rulebook.words import Words, read_words
from fitsvc.rulebook.yaml_text import Mapping, Node, Scalar

_NONE: Final[Map[Path, bytes | Node]] = {}


def load_rulebook(folder: Path, contents: Map[Path, bytes | Node] = _NONE, day: date | None = None) -> Rulebook:
    """Load and check a folder of rule files; ProblemsFound has every problem of every file.

    `contents` are the bytes of files that have been read already, or their trees. The rules are those that hold on a
    day, the folder's own if none is given.
    """
    return Loader(folder, contents, day).load()


class Loader:
    """One loading: the trees by kind of file, and what has been read of them so far.

    `declared` are the entries of derived values and of the opening's facts, by name. `lost` are the facts, derived
    values and tables whose own entries are faulty: no more is said of what reads them. `read` reads expressions of
    the rulebook once it is loaded, `bare` and `each` those of the working opening.
    """

    read: Expressions
    bare: Expressions
    each: Expressions

    def __init__(self, folder: Path, contents: Map[Path, bytes | Node], day: date | None = None) -> None:
        self.folder, self.contents, self.shape, self.day = folder, contents, Shape(), day
        self.asleep: frozenset[str] = frozenset()
        self.taken: dict[str, str] = {}
        self.trees: dict[Path, Node] = {}
        self.tongues: dict[str, Mapping] = {}
        self.changes: tuple[CoreChange, ...] = ()
        self.lost = set[str]()
        self.declared: list[tuple[str, Mapping]] = []

    def load(self) -> Rulebook:
        """Read and check all of it."""
        self._read_all()
        vocabulary = self._vocabulary()
        top = self._top()
        topics = self._trees("", without=(TOP_FILE, OVERLAY, FILE, HAZARDS, WORDS, SIGNED, SOURCES))
        register = self.trees.get(self.folder / SOURCES)
        sources = read_sources(self.shape, register)
        tables = read_tables(self.shape, self._trees("tables").values(), vocabulary, sources, self.lost)
        citing = [*self.trees.values(), *(change.old for change in self.changes)]
        hold_to_sources(self.shape, citing, register, sources, tables)
        self.read = read = self._names(vocabulary, tables, topics)
        opening = self._opening(read, topics)
        derived = self._derived(read)
        rules, limits, needs = self._of_topics(read, topics)
        cautions = self._cautions(read, top)
        side_view, bodies = self._drawing(read, rules)
        hold_to_one(self.shape, needs)
        hold_to_what_is_there(self.shape, needs, rules, self.asleep)
        hazards = self._hazards(read, limits)
        told, ids = self.trees.get(self.folder / HAZARDS), [*(rule.id for rule in rules), *self.asleep]
        agree, apart = read_agree(self.shape, told, ids), read_apart(self.shape, told, ids)
        helps = read_helps(read, told, ids)
        wishes, asks_for = read_wishes(read, top), read_asks_for(read, top)
        beside, allowances = read_beside(read, top), read_allowances(read, top, rules)
        usual, trials = read_usual(read, top), read_trials(read, top)
        words, signed = self._words(vocabulary), read_signed(self.shape, self.trees.get(self.folder / SIGNED))
        cautions += tuple(loosened(read, self.changes, self.shape.text(top, "name") if top else ""))
        renamed = read_former_ids(self.shape, topics.values(), self.taken)
        self._stop_at_problems()
        name = self.shape.text(top, "name") if top else ""
        about = {topic: self.shape.text(tree, "about") for topic, tree in topics.items()}
        named = vocabulary.asked_facts() | (read.presences - vocabulary.subjects.keys())
        return Rulebook(
            name=name,
            digest=digest_of(self.folder, self.trees, self.tongues),
            vocabulary=vocabulary,
            tables=tables,
            derived=derived,
            opening=opening,
            rules=tuple(rules),
            limits=tuple(limits),
            needs=tuple(need for need, _ in needs),
            cautions=cautions,
            topics=about,
            named=named,
            examples=read.examples,
            side_view=side_view,
            bodies=bodies,
            wishes=wishes,
            asks_for=asks_for,
            allowances=allowances,
            beside=beside,
            usual=usual,
            trials=trials,
            hazards=hazards,
            agree=agree,
            helps=helps,
            apart=apart,
            words=words,
            signed=signed,
            sources=sources,
            renamed=renamed,
        )

    def _of_topics(
        self, read: Expressions, topics: Map[str, Mapping]
    ) -> tuple[list[Rule], list[Limit], list[tuple[Need, Node]]]:
        """The rules, limits and needs of every topic, those that limits come to among the rules."""
        rules: list[Rule] = []
        limits: list[Limit] = []
        needs: list[tuple[Need, Node]] = []
        for topic, tree in topics.items():
            for node in self.shape.items(tree.entries.get("rules"), "`rules`"):
                rule = read_rule(read, node, topic, self.taken)
                rules += [rule] if rule else []
            for node in self.shape.items(tree.entries.get("limits"), "`limits`"):
                limit = read_limit(read, node, topic, self.taken)
                if limit:
                    limits.append(limit[0])
                    rules += limit[1]
            for node in self.shape.items(tree.entries.get("needs"), "`needs`"):
                need = read_need(read, node, topic, self.taken)
                needs += [(need, node)] if need else []
        return rules, limits, needs

    # files

    def _read_all(self) -> None:
        """Read every file; of one that is no YAML nothing is known, so that what others say of it is not looked at."""
        found = gather(self.shape, self.folder, self.contents, self.day)
        self.trees, self.changes = found.trees, found.changes
        self.asleep = frozenset(one.name for one in found.asleep)
        self.tongues = self.shape.attempt(lambda: read_words_files(self.folder, self.contents)) or {}
        self._stop_at_problems()
        self.shape.problems += passed_over(self.folder)

    def _stop_at_problems(self) -> None:
        if self.shape.problems:
            raise ProblemsFound(sorted(self.shape.problems, key=lambda p: (p.file, p.line, p.column)))

    def _trees(self, below: str, without: Container[str] = ()) -> dict[str, Mapping]:
        """The mapping in each file of a folder, by the file's name."""
        trees = {}
        for path, tree in self.trees.items():
            if path.parent != self.folder / below or path.name in without:
                continue
            if isinstance(tree, Mapping):
                trees[path.stem] = tree
            else:
                self.shape.complain(tree, "a rule file is written as `key: value` lines")
        return trees

    def _top(self) -> Mapping | None:
        path = self.folder / TOP_FILE
        tree = self.trees.get(path)
        if tree is None:
            self.shape.problems.append(
                Problem("the rulebook has no rulebook.yaml", "add one with `name: ...`", file=str(path))
            )
            return None
        return self.shape.form(tree, TOP)

    def _drawing(self, read: Expressions, rules: list[Rule]) -> tuple[Map[str, Taken], Map[str, Body]]:
        """What the side view is drawn by, and the outlines of bodies; a folder whose rules draw has to say it."""
        path = self.folder / FILE
        if path in self.trees:
            return read_drawing(read, self.trees[path])
        drawing = next((rule.id for rule in rules if rule.draws is not None), None)
        if drawing is not None:
            help = "add one with `side_view:`, or take `draws` out of the rules"
            message = f"rule `{drawing}` draws, and nothing says what a side view is drawn by"
            self.shape.problems.append(Problem(message, help, file=str(path)))
        return {}, {}

    def _hazards(self, read: Expressions, limits: list[Limit]) -> tuple[Hazard, ...]:
        """What bears on each rating; a folder that judges by limits has to say it."""
        path = self.folder / HAZARDS
        if path not in self.trees:
            if limits:
                help = "add one that says for every rating what bears on it, kind by kind"
                message = f"limit `{limits[0].id}` holds to ratings, and no {HAZARDS} says what bears on them"
                self.shape.problems.append(Problem(message, help, file=str(path)))
            return ()
        everything = self._reading(read, {**read.names.facts, **read.vocabulary.slots()})
        return read_hazards(replace(everything, derived=read.derived, presences=set()), self.trees[path], limits)

    def _words(self, vocabulary: Vocabulary) -> Words:
        """What people call what is stored, where the folder says it."""
        return read_words(self.shape, self.trees.get(self.folder / WORDS), vocabulary)

    # the parts, in the order in which they lean on each other

    def _vocabulary(self) -> Vocabulary:
        lists = Lists()
        subjects: dict[str, Subject] = {}
        facts: dict[str, Fact] = {}
        trees = self._trees("vocabulary")
        for tree in trees.values():
            if "lists" in tree.entries:
                read_lists(self.shape, tree, lists)
        for tree in trees.values():
            if "lists" not in tree.entries:
                read_subject(self.shape, tree, lists, subjects, facts)
        self.lost |= _declared_facts(trees.values()) - facts.keys()
        of_facts = [tree for tree in trees.values() if "lists" not in tree.entries]
        check_leaning(self.shape, of_facts, facts)
        check_sums(self.shape, of_facts, facts)
        check_former(self.shape, of_facts, facts)
        hold_to_one_each(self.shape, of_facts)
        return Vocabulary(subjects, lists.types, lists.words, facts, lists.roles)

    def _names(self, vocabulary: Vocabulary, tables: Map[str, TableEntry], topics: Map[str, Mapping]) -> Expressions:
        """Declare what rules may read: facts, the working opening and derived values."""
        facts = {name: kind for name, kind in vocabulary.slots().items() if not name.startswith("adapter.")}
        given = frozenset(facts)
        units = {fact.name: fact.shown_in for fact in vocabulary.facts.values()}
        below = {fact.name: (fact.below_zero, fact.above_zero) for fact in vocabulary.facts.values()}
        labels = {fact.name: fact.label for fact in vocabulary.facts.values()}
        for name, _, role in vocabulary.role_facts():
            facts[name], units[name], labels[name] = TRUTH, "", role.label
        for topic, tree in topics.items():
            form = ADAPTERS_FILE if topic == "adapters" else TOPIC
            self.shape.form(tree, form, f"topic file `{topic}`")
            if self.shape.text(tree, "topic") != topic:
                self.shape.complain(tree, f"the topic of this file is `{topic}`, after the file's name")
            self.declared += self._declared(tree)
        for name, entry in self.declared:
            kind = self.shape.one_of(entry, "type", [*vocabulary.lists, *VALUE_TYPES])
            if name in facts:
                self.shape.complain(entry, f"`{name}` is declared already", "choose another name")
            facts[name] = value_type(kind, vocabulary.lists)
            units[name] = self.shape.text(entry, "shown_in") or DEFAULT_UNITS.get(kind, "")
            labels[name] = self.shape.text(entry, "label")
            below[name] = self.shape.text(entry, "below_zero"), self.shape.text(entry, "above_zero")
        known = {name: table for entry in tables.values() for name, table in entry.lookups.items()}
        self.lost -= facts.keys()
        lost, subjects = frozenset(self.lost), frozenset(vocabulary.subjects)
        texts, ranges = vocabulary.texts(), vocabulary.ranges()
        found = Names(facts, subjects, known, given=given, texts=texts, lost=lost, ranges=ranges, strict=True)
        return Expressions(
            shape=self.shape, vocabulary=vocabulary, names=found, derived={}, units=units, labels=labels, below=below
        )

    def _declared(self, tree: Mapping) -> list[tuple[str, Mapping]]:
        declared = []
        for node in self.shape.items(tree.entries.get("derived"), "`derived`"):
            entry = self.shape.form(node, DERIVED)
            if entry:
                declared.append((self.shape.text(entry, "name"), entry))
            elif isinstance(node, Mapping) and isinstance(told := node.entries.get("name"), Scalar):
                self.lost.add(told.value)
        adapters = tree.entries.get("adapters")
        facts = adapters.entries.get("facts") if isinstance(adapters, Mapping) else None
        for name, node in self.shape.open_mapping(facts, "`facts`"):
            entry = self.shape.form(node, OPENING_FACT, f"opening fact `{name}`")
            if entry:
                declared.append((f"opening.{name}", entry))
            else:
                self.lost.add(f"opening.{name}")
        return declared

    def _opening(self, read: Expressions, topics: Map[str, Mapping]) -> dict[str, Opening]:
        tree = topics.get("adapters")
        adapters = tree.entries.get("adapters") if tree else None
        if adapters is None:
            return {}
        entry = self.shape.form(adapters, ADAPTERS)
        if entry is None:
            return {}
        # Derived values may read the opening, so the opening reads none of them: facts, and in turn itself.
        slots = read.vocabulary.slots()
        before = {name: kind for name, kind in read.names.facts.items() if name.startswith("opening.")}
        self.bare = start = self._reading(
            read, {name: kind for name, kind in slots.items() if not name.startswith("adapter.")}
        )
        self.each = fold = self._reading(read, slots | before)
        opening = {}
        bare, each = (dict(self.shape.open_mapping(entry.entries[key], f"`{key}`")) for key in ("bare", "each"))
        for short, _ in self.shape.open_mapping(entry.entries["facts"], "`facts`"):
            name = f"opening.{short}"
            kind = read.names.facts.get(name)
            if kind is None:
                continue
            if short not in bare or short not in each:
                self.shape.complain(entry, f"`{short}` needs an expression under both `bare` and `each`")
                continue
            first = start.read_node(bare[short], short, kind)
            after = fold.read_node(each[short], short, kind)
            if first is not None and after is not None:
                opening[name] = Opening(
                    name=name,
                    label=read.labels[name],
                    type=kind,
                    unit=read.units[name],
                    bare=first,
                    each=after,
                )
                read.derived[name] = first
        for short in (*bare, *each):
            if f"opening.{short}" not in read.names.facts:
                self.shape.complain(entry, f"`{short}` is not declared under `facts`")
        return opening

    def _reading(self, read: Expressions, facts: Map[str, Type]) -> Expressions:
        """A reader of expressions that may speak of other facts."""
        names = replace(read.names, facts=facts, given=frozenset(facts) & read.vocabulary.slots().keys())
        return Expressions(
            shape=self.shape,
            vocabulary=read.vocabulary,
            names=names,
            derived={},
            units=read.units,
            labels=read.labels,
            below=read.below,
            presences=read.presences,
        )

    def _derived(self, read: Expressions) -> dict[str, Derived]:
        derived = self._roles(read)
        places: dict[str, Node] = {}
        for name, entry in self.declared:
            read.examples[name] = read_examples(self.shape, entry, (), ())
            if name.startswith("opening."):
                continue
            kind = read.names.facts[name]
            node = read.read(entry, "is", kind)
            text = entry.entries["is"]
            if node is not None and isinstance(text, Scalar):
                written = " ".join((text.value or "").split())
                derived[name] = Derived(
                    name=name,
                    label=read.labels[name],
                    type=kind,
                    node=node,
                    unit=read.units[name],
                    text=written,
                )
                places[name] = text
        nodes = {name: one.node for name, one in derived.items()}
        found = circles(reads_of(nodes))
        for circle in found:
            way = circle if len(circle) <= 8 else [*circle[:6], "...", circle[-1]]
            message = f"`{circle[0]}` depends on itself: {' -> '.join(way)}"
            self.shape.complain(places[circle[0]], message, "break the circle")
        if not found and not self._too_much(read.derived | nodes, places):
            read.derived |= nodes
        return derived

    def _roles(self, read: Expressions) -> dict[str, Derived]:
        """The roles of kinds as derived values."""
        derived = {}
        for name, fact, role in read.vocabulary.role_facts():
            text = f"{fact.name} in [{', '.join(role.members)}]"
            node = check(Source.plain(text), read.names, TRUTH) if role.members else typed.Constant(TRUTH, NO)
            derived[name] = Derived(name=name, label=role.label, type=TRUTH, node=node, unit="", text=text)
        return derived

    def _too_much(self, nodes: Map[str, AnyTyped], places: Map[str, Node]) -> bool:
        """Complain of the derived values that come to too much, where it begins."""
        excess = {name: extent.excess for name, extent in extents(nodes).items() if extent.excess}
        reads = reads_of(nodes)
        for name in excess:
            if name in places and not any(read in excess for read in reads[name]):
                self.shape.complain(places[name], f"`{name}` {excess[name]}", "let it read fewer derived values")
        return bool(excess)

    def _cautions(self, read: Expressions, top: Mapping | None) -> tuple[Caution, ...]:
        nodes = self.shape.items(top.entries.get("cautions") if top else None, "`cautions`")
        return tuple(caution for node in nodes if (caution := read_caution(read, node, self.taken)))


def _declared_facts(trees: Iterable[Mapping]) -> set[str]:
    """The names of all facts that vocabulary files declare, faulty or not."""
    found = set()
    for tree in trees:
        subject, facts = tree.entries.get("subject"), tree.entries.get("facts")
        if isinstance(subject, Scalar) and isinstance(facts, Mapping):
            found |= {f"{subject.value}.{name}" for name in facts.entries}
    return found
