"""A shop's overlay: a folder that adds to the rules of another, its core, or changes some of them by name.

It becomes one folder before anything of it is read as a rule: files of the overlay's own stand beside the core's,
entries of the files that both have are added to the core's, and what `overlay.yaml` changes takes its place there.
Nothing of the core is ever replaced by what is merely written again: an entry that the core has already is an error,
with both places. Whether a change lets more pass is looked at once the rules are read.
"""

from collections.abc import Callable, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.rulebook.attributing import attributed
from fitsvc.rulebook.cautions import CAUTION
from fitsvc.rulebook.dating import AS_OF, DAY, PERIOD, Asleep, dated
from fitsvc.rulebook.folder import BELOW, CORE, HAZARDS, OVERLAY, TOP_FILE, WORDS, core_of, rule_files, shown_as
from fitsvc.rulebook.forms import TEXT, YES_NO, Form, Kind, either, keys_of, many, named
from fitsvc.rulebook.sections import DERIVED
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.signing import SIGNED
from fitsvc.rulebook.sources import SOURCES
from fitsvc.rulebook.tables import TABLE, WITH_COLUMNS
from fitsvc.rulebook.topics import LIMIT, NEED, RULE
from fitsvc.rulebook.yaml_text import Mapping, Node, Placed, Scalar, Sequence, read_yaml_bytes, read_yaml_file

_KEPT: Final = ("id", "name", "key", "gives", "columns", "type", "assumed", "same", "formerly", *PERIOD)
"""What an entry is, which no change can make another."""
_FORMS: Final[Map[str, tuple[Form, ...]]] = {
    "rules": (RULE,),
    "limits": (LIMIT,),
    "needs": (NEED,),
    "cautions": (CAUTION,),
    "derived": (DERIVED,),
    "tables": (TABLE, WITH_COLUMNS),
}
"""How the entries are written that may be changed, by the section that they stand in."""
_NAMED: Final = {"derived": "name"}
"""By which key an entry of a section is named, where that is not `id`."""


def _changed() -> dict[str, Kind]:
    """What may stand under each key that can be changed, of any entry; or nothing, which leaves the key out."""
    forms = [form for section in _FORMS.values() for form in section]
    found = {}
    for key in (key for key in keys_of(*forms) if key not in _KEPT):
        kinds = [one for form in forms for one in (form.required.get(key), form.optional.get(key)) if one is not None]
        found[key] = either({"type": "null"}, *(kind for n, kind in enumerate(kinds) if kind not in kinds[:n]))
    return found


_CHANGE: Final = Form("a change", {"of": either(named("rule"), TEXT), "because": TEXT}, {"loosens": YES_NO})
_CHANGE_KEYS: Final = (*_CHANGE.required, *_CHANGE.optional)
OVERLAY_FILE: Final = Form(
    OVERLAY,
    {"name": TEXT},
    {
        AS_OF: DAY,
        "cautions": many(CAUTION.kind),
        "changes": many(replace(_CHANGE, optional={**_CHANGE.optional, **_changed()}).kind),
    },
)
_MEMBERS: Final = "members"
_OF_LIST: Final = "{members: {NAME: {word: WORD, is: [ROLE, ...]}}}"
"""How members are added to a list; of one without roles it is `NAME: WORD`."""
_SUBJECT: Final = ("facts", "subject")
_ADDED_TO: Final[Map[str, tuple[str, ...]]] = {
    HAZARDS: ("weights", "hazards", "agree", "helps", "apart"),
    SOURCES: ("sources",),
    SIGNED: ("signed",),
    WORDS: (
        "stands_for",
        "passed_over",
        "numbers",
        "figures",
        "told_apart",
        "wishes",
        "for_all",
        "first",
        "variants",
        "called",
        "not_judged",
    ),
}
"""The files that an overlay adds to under the core's name, and the lists and mappings there to which it does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreChange:
    """What an overlay changes of an entry of the core: its section and file, and what it said and says.

    It `loosens` where it says by itself that it lets more pass. `place` is where that is said.
    """

    of: str
    section: str
    topic: str
    old: Mapping
    new: Mapping
    because: str
    loosens: bool
    place: Mapping


@dataclass(frozen=True, slots=True)
class Merged:
    """The trees of a folder by their paths in it, an overlay's with its core's, and what it changes of those.

    `asleep` is what does not hold on the day, and on `days` after it something begins or ends to.
    """

    trees: dict[Path, Node]
    changes: tuple[CoreChange, ...] = ()
    asleep: tuple[Asleep, ...] = ()
    days: tuple[date, ...] = ()


def _has(node: Node, key: str) -> bool:
    return isinstance(node, Mapping) and key in node.entries


def gather(shape: Shape, folder: Path, contents: Map[Path, bytes | Node], day: date | None = None) -> Merged:
    """Read every file of a folder, and of the core that it adds to; what cannot be read is complained of and left out.

    Entries that do not hold on the day, the folder's own if none is given, are left out. `contents` are the bytes of
    files that have been read already, or their trees.
    """
    found = _gathered(shape, folder, contents)
    if shape.problems:
        return found
    on_day = dated(shape, folder, found.trees, day)
    return replace(found, trees=on_day.trees, asleep=on_day.asleep, days=on_day.days)


def _gathered(shape: Shape, folder: Path, contents: Map[Path, bytes | Node]) -> Merged:
    own = _trees(shape, folder, contents)
    core = core_of(folder)
    if core is None or shape.problems:
        return Merged(own)
    given = {folder / path.relative_to(core): tree for path, tree in _trees(shape, core, contents).items()}
    if (core / OVERLAY).is_file():
        help = "let it add to a whole rulebook"
        shape.problems.append(Problem("an overlay adds to no other overlay", help, file=f"{CORE}/{OVERLAY}"))
    if shape.problems:
        return Merged(own)
    return _Merging(shape, folder, given, own).merged()


def days_of(folder: Path) -> tuple[date, ...]:
    """The days to come on which an entry of a folder begins or ends to hold; ProblemsFound where one cannot be read."""
    return _read(folder).days


def asleep_in(folder: Path) -> tuple[Asleep, ...]:
    """What of a folder does not hold on its day; ProblemsFound where it cannot be read."""
    return _read(folder).asleep


def _read(folder: Path) -> Merged:
    shape = Shape()
    found = gather(shape, folder, {})
    if shape.problems:
        raise ProblemsFound(shape.problems)
    return found


def named_changes(folder: Path, tree: Node | None = None) -> dict[str, Node]:
    """Where an overlay that can be read changes what, by its name; `tree` is its file as it is typed."""
    top = tree or read_yaml_file(folder / OVERLAY, shown_as(folder / OVERLAY))
    changes = top.entries.get("changes") if isinstance(top, Mapping) else None
    found = dict[str, Node]()
    for node in changes.items if isinstance(changes, Sequence) else ():
        of = node.entries.get("of") if isinstance(node, Mapping) else None
        if isinstance(of, Scalar):
            found[of.value] = of
    return found


def _trees(shape: Shape, folder: Path, contents: Map[Path, bytes | Node]) -> dict[Path, Node]:
    trees = {}
    for path in rule_files(folder):
        file, data = shown_as(path), contents.get(path)
        if isinstance(data, Placed):
            trees[path] = data
            continue
        read: Callable[[], Node]
        read = partial(read_yaml_file, path, file) if data is None else partial(read_yaml_bytes, data, file)
        tree = shape.attempt(read)
        if tree is not None:
            trees[path] = tree
    return trees


class _Merging:
    """One overlay and its core on their way to be one folder."""

    def __init__(self, shape: Shape, folder: Path, core: dict[Path, Node], own: dict[Path, Node]) -> None:
        self.shape, self.folder, self.trees, self.own = shape, folder, core, own

    def merged(self) -> Merged:
        """The two as one."""
        top = self.shape.form(self.own[self.folder / OVERLAY], OVERLAY_FILE)
        for path, tree in self.own.items():
            if path.name == OVERLAY:
                self.trees[path] = tree
            elif path not in self.trees:
                self._beside(path, tree)
            elif isinstance(tree, Mapping) and isinstance(core := self.trees[path], Mapping):
                self.trees[path] = self._into(path, core, tree)
            else:
                self.shape.complain(tree, "a rule file is written as `key: value` lines")
        changes = tuple(self._changes(top)) if top else ()
        if top is not None:
            self._name(top)
        return Merged(self.trees, changes)

    def _beside(self, path: Path, tree: Node) -> None:
        """A file of the overlay's own: a topic or tables; facts and lists go into the files that the core has."""
        below = path.parent.name if path.parent != self.folder else ""
        if below == BELOW[0]:
            known = sorted(one.name for one in self.trees if one.parent == path.parent)
            near = nearest(path.name, known)
            help = f"did you mean `{near}`?" if near else "name it as the core's of that subject"
            self.shape.complain(tree, f"the core has no file `{below}/{path.name}` for this to add to", help)
        self.trees[path] = tree

    def _into(self, path: Path, core: Mapping, own: Mapping) -> Mapping:
        """The core's file with what the overlay adds to it."""
        if path.parent.name == BELOW[0]:
            return self._lists(core, own) if "lists" in core.entries else self._facts(core, own)
        keys = _ADDED_TO.get(path.name)
        if keys is None:
            help = "give it another name; what is there is changed under `changes:` in overlay.yaml"
            self.shape.complain(own, f"the core has a file `{path.name}` already", help)
            return core
        for key in own.entries:
            if key not in keys:
                self._no_key(own, key, keys)
        return self._united(core, own, [key for key in own.entries if key in keys])

    def _facts(self, core: Mapping, own: Mapping) -> Mapping:
        for key in own.entries:
            if key not in _SUBJECT:
                self._no_key(own, key, _SUBJECT, "facts", "..." if _has(own.entries[key], "type") else "")
        subject, said = self.shape.text(core, "subject"), self.shape.text(own, "subject")
        if said != subject:
            self.shape.complain(own, f"the subject of this file is `{subject}`, as in the core's", "add `subject:`")
        return self._united(core, own, [key for key in ("facts",) if key in own.entries])

    def _lists(self, core: Mapping, own: Mapping) -> Mapping:
        """The core's lists with members added to them, and lists of the overlay's own."""
        known, lists = core.entries["lists"], dict(self.shape.open_mapping(own.entries.get("lists"), "`lists`"))
        for key in own.entries:
            if key != "lists":
                meant = _has(known, key) or _has(own.entries[key], _MEMBERS)
                self._no_key(own, key, ("lists",), "lists", _OF_LIST if meant else "")
        if not isinstance(known, Mapping):
            return core
        found = dict(known.entries)
        for name, entry in lists.items():
            old = found.get(name)
            if isinstance(old, Mapping) and isinstance(entry, Mapping):
                for key in entry.entries:
                    if key != _MEMBERS:
                        self._no_key(entry, key, (_MEMBERS,))
                found[name] = self._united(old, entry, [key for key in entry.entries if key == _MEMBERS])
            else:
                found[name] = entry
        return replace(core, entries={**core.entries, "lists": replace(known, entries=found)})

    def _united(self, core: Mapping, own: Mapping, keys: list[str]) -> Mapping:
        """A mapping whose lists and mappings under some keys are the core's with the overlay's behind them."""
        entries = dict(core.entries)
        for key in keys:
            old, new = entries.get(key), own.entries[key]
            if isinstance(old, Mapping) and isinstance(new, Mapping):
                for name in new.entries.keys() & old.entries.keys():
                    there = old.key_mark(name)
                    help = f"give it another name: the core's is in {there.file}, line {there.line}"
                    self.shape.problems.append(new.problem_at_key(name, f"the core has `{name}` already", help))
                entries[key] = replace(old, entries={**old.entries, **new.entries})
            elif isinstance(old, Sequence) and isinstance(new, Sequence):
                entries[key] = replace(old, items=old.items + new.items)
            elif old is None:
                entries[key] = new
            else:
                self.shape.complain(new, f"`{key}` is written here as in the core's file, line {old.mark.line}")
        return replace(core, entries=entries)

    def _no_key(self, own: Mapping, key: str, keys: tuple[str, ...], below: str = "", how: str = "") -> None:
        """Refuse what an overlay may not say here; `how` is how it is written where it stands a level too high."""
        if how:
            help = f"write it below: `{below}: {{{key}: {how}}}`"
            self.shape.problems.append(own.problem_at_key(key, f"`{key}` stands beside `{below}`", help))
            return
        help = "an overlay adds to " + ", ".join(f"`{one}`" for one in keys) + " here"
        self.shape.problems.append(own.problem_at_key(key, f"`{key}` is the core's to say", help))

    def _name(self, top: Mapping) -> None:
        """Let the whole go by the overlay's name, and tell its cautions behind the core's."""
        path = self.folder / TOP_FILE
        core = self.trees.get(path)
        if isinstance(core, Mapping):
            named = replace(core, entries={**core.entries, "name": top.entries["name"]})
            self.trees[path] = self._united(named, top, [key for key in ("cautions",) if key in top.entries])

    def _changes(self, top: Mapping) -> Iterator[CoreChange]:
        """Each change, carried out."""
        seen: dict[str, Node] = {}
        for node in self.shape.items(top.entries.get("changes"), "`changes`"):
            if not isinstance(node, Mapping) or "of" not in node.entries:
                self.shape.form(node, _CHANGE)
                continue
            of = self.shape.text(node, "of")
            found = self._entry(of)
            if found is None:
                near = nearest(of, [name for _, _, name, _ in self._entries()])
                help = f"did you mean `{near}`?" if near else "name a rule, limit, need, caution, value or table of it"
                table, _, row = of.partition(".")
                if row and (named := self._entry(table)) is not None and named[1] == "tables":
                    help = f"change it in its table: `of: {table}`, and under `rows` `{row}: ...`, the whole row"
                self.shape.complain(node.entries["of"], f"the core has nothing called `{of}`", help)
            elif of in seen:
                help = "write all that it changes in one entry"
                self.shape.complain(node, f"`{of}` is changed in line {seen[of].mark.line} already", help)
            else:
                seen[of] = node
                known = [key for key in keys_of(*_FORMS[found[1]]) if key not in _KEPT]
                what, may = f"a change of `{of}`", (*_CHANGE.optional, *known)
                entry = self.shape.mapping(node, what, _CHANGE.required, may)
                if entry is not None:
                    yield self._change(entry, of, *found)

    def _change(self, entry: Mapping, of: str, path: Path, section: str, old: Mapping) -> CoreChange:
        """Put what a change says into the core's entry; a key with nothing behind it is left out there."""
        said = {key: node for key, node in entry.entries.items() if key not in _CHANGE_KEYS}
        if not said:
            self.shape.complain(entry, f"nothing is changed of `{of}`", "say what, as in `severity: blocking`")
        said = attributed(self.shape, section, entry, old, said)
        rows, more = old.entries.get("rows"), said.get("rows")
        if isinstance(more, Mapping):
            self._refuse_days(more)
        if isinstance(rows, Mapping) and isinstance(more, Mapping):
            said["rows"] = replace(rows, entries={**rows.entries, **more.entries})
        left_out = [key for key, node in said.items() if isinstance(node, Scalar) and node.is_null]
        for key in [key for key in left_out if all(key in form.required for form in _FORMS[section])]:
            self.shape.complain(said[key], f"`{key}` of `{of}` cannot be left out", "write what it is, or no such line")
            left_out.remove(key)
            del said[key]
        entries = {key: node for key, node in {**old.entries, **said}.items() if key not in left_out}
        new = replace(old, entries=entries)
        self._put(path, section, old, new)
        loosens = self.shape.one_of(entry, "loosens", ("yes", "no"), "no", what="yes or no") == "yes"
        because = self.shape.text(entry, "because")
        return CoreChange(
            of=of, section=section, topic=path.stem, old=old, new=new, because=because, loosens=loosens, place=entry
        )

    def _refuse_days(self, rows: Mapping) -> None:
        """Complain of rows that hold for a while: what a change loosens could not be told for every day at once."""
        for row in rows.entries.values():
            if isinstance(row, Sequence) or (isinstance(row, Mapping) and not PERIOD.keys().isdisjoint(row.entries)):
                help = "write the row that holds, and change it again when another does"
                self.shape.complain(row, "a change of the core holds on every day", help)

    def _put(self, path: Path, section: str, old: Mapping, new: Mapping) -> None:
        tree = self.trees[path]
        assert isinstance(tree, Mapping)
        entries = tree.entries[section]
        assert isinstance(entries, Sequence)
        items = tuple(new if one is old else one for one in entries.items)
        self.trees[path] = replace(tree, entries={**tree.entries, section: replace(entries, items=items)})

    def _entry(self, name: str) -> tuple[Path, str, Mapping] | None:
        return next(((path, section, node) for path, section, of, node in self._entries() if of == name), None)

    def _entries(self) -> Iterator[tuple[Path, str, str, Mapping]]:
        """Every entry of the core that may be changed: its file, section and name."""
        for path, tree in self.trees.items():
            if path in self.own or not isinstance(tree, Mapping):
                continue
            for section in _FORMS:
                entries = tree.entries.get(section)
                for node in entries.items if isinstance(entries, Sequence) else ():
                    name = node.entries.get(_NAMED.get(section, "id")) if isinstance(node, Mapping) else None
                    if isinstance(node, Mapping) and isinstance(name, Scalar):
                        yield path, section, name.value, node
