"""What may be written at a place of a rule file: keys and words by the forms of the files, names and members by theirs.

Nothing here needs the file to be finished, nor the folder to be without faults.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final, Literal

from fitsvc.desk.naming import FUNCTION_NAMES, READABLE, RULINGS, Declared, FolderNames, Sort
from fitsvc.language.display import DISPLAY_UNITS
from fitsvc.language.quantities import UNITS
from fitsvc.rulebook.forms import EXPRESSION, Kind
from fitsvc.rulebook.json_schema import FILES, kind_of
from fitsvc.rulebook.vocabulary import FACT_TYPES, TYRE_PARTS, VALUE_TYPES
from fitsvc.rulebook.yaml_spot import Spot
from fitsvc.subjects import KIND

MOST_OFFERED: Final = 500
"""Twice the facts of the shipped rulebook: whoever has more types another letter."""
_TOKEN: Final = re.compile(r"[A-Za-z_][\w.]*\Z")
_WORD: Final = re.compile(r"[\w.%/-]*\Z")
_COMPARED: Final = re.compile(r"([A-Za-z_][\w.]*)\s*(?:[=!]=|(?:\s+not)?\s+in\s*\[[^\[\]]*)\s*\Z")
_CALLED: Final = re.compile(r"\b(lookup|present|known)\(\s*\Z")
_FIGURE: Final = re.compile(r"\d\s+\Z")
_WORDS: Final = ("and", "or", "not", "if", "else", "in", "yes", "no")
_OF_ADAPTERS: Final = ("adapters", "hazards")
"""The kinds of files whose expressions are about adapters one by one."""
_ADAPTER: Final = "adapter."


@dataclass(frozen=True, slots=True)
class Completion:
    """A word that may be written, from `behind` characters before the place on; `text` is what is put there."""

    label: str
    sort: Sort | Literal["function", "key", "word", "unit"]
    text: str
    behind: int
    detail: str = ""


def offers(file: str, spot: Spot, names: FolderNames) -> list[Completion]:
    """What may be written at a place of a file, by its path in the folder."""
    of = kind_of(file)
    if not of:
        return []
    offering = _Offering(of, spot, names)
    found = {one.label: one for one in offering.all()}
    typed = offering.typed.casefold()
    return [one for one in found.values() if typed in one.label.casefold()][:MOST_OFFERED]


def compared(before: str) -> str:
    """What is compared with a member that comes next in an expression; empty where none does."""
    found = _COMPARED.search(before)
    return found[1] if found else ""


def kinds_at(kind: Kind, path: Iterable[str]) -> list[Kind]:
    """What may stand at a path by the form of a file, "" for an item of a list."""
    kinds = [kind]
    for step in path:
        kinds = [below for one in kinds for below in _below(one, step)]
    return [flat for one in kinds for flat in _flat(one)]


def _below(kind: Kind, step: str) -> Iterator[Kind]:
    for one in _flat(kind):
        found = one.get("items") if not step else one.get("properties", {}).get(step, one.get("additionalProperties"))
        if isinstance(found, dict):
            yield found


def _flat(kind: Kind) -> Iterator[Kind]:
    ways: list[Any] = [*kind.get("anyOf", ()), *(kind[key] for key in ("then", "else") if key in kind)]
    if ways:
        for one in ways:
            yield from _flat(one)
    else:
        yield kind


class _Offering:
    """What is offered at one place; `typed` is what stands there of it already."""

    def __init__(self, of: str, spot: Spot, names: FolderNames) -> None:
        self.of, self.spot, self.names = of, spot, names
        self.typed = ""

    def all(self) -> Iterator[Completion]:
        """Everything that may be written."""
        kinds = kinds_at(FILES[self.of][1], self.spot.path)
        if self.spot.in_key:
            self.typed = _last(_WORD, self.spot.written)
            yield from self._keys(kinds)
            return
        brace = self.spot.written.rfind("{")
        if any(one.get("description") == EXPRESSION["description"] for one in kinds):
            yield from self._expression(self.spot.written)
        elif brace > self.spot.written.rfind("}"):
            yield from self._expression(self.spot.written[brace + 1 :])
        else:
            self.typed = _last(_WORD, self.spot.written)
            yield from self._words(kinds)
        if not self.spot.written or self.spot.written == self.typed:
            yield from self._keys(kinds)

    def _keys(self, kinds: Iterable[Kind]) -> Iterator[Completion]:
        """The keys of an entry that it has not yet."""
        for one in kinds:
            known = [*one.get("properties", ()), *self._said(kinds_at(one.get("propertyNames", {}), ()))]
            for key in dict.fromkeys(known):
                if key not in self.spot.beside:
                    yield Completion(
                        key, "key", f"{key}: ", len(self.typed), "required" if key in _required(one) else ""
                    )

    def _words(self, kinds: Iterable[Kind]) -> Iterator[Completion]:
        """The words that a value may be: by the form, or by the fact that it is of."""
        for word in self._said(kinds):
            declared = self.names.called(word)
            yield Completion(word, declared[0].sort if declared else "word", word, len(self.typed))
        key = self.spot.path[-1] if self.spot.path else ""
        yield from self._members(f"{_ADAPTER}{key}" if "adapters" in self.spot.path else key)

    def _members(self, name: str) -> Iterator[Completion]:
        for word in self.names.choices(name):
            yield Completion(word, "member", word, len(self.typed), self._member(name, word))

    def _member(self, name: str, word: str) -> str:
        found = self.names.members.get(self.names.type_of(name), {}).get(word)
        return (found.says("word") or getattr(found.node, "value", "")) if found is not None else ""

    def _said(self, kinds: Iterable[Kind]) -> Iterator[str]:
        """The words that forms say, and the names that they refer to."""
        for one in kinds:
            yield from (word for word in one.get("enum", ()) if isinstance(word, str))
            yield from self._named(one.get("$ref", "").rpartition("/")[2])

    def _named(self, what: str) -> Iterable[str]:
        """The names of what forms refer to."""
        names = self.names
        match what:
            case "fact":
                return names.of("fact")
            case "adapters_fact":
                return [name.removeprefix(_ADAPTER) for name in names.of("fact") if name.startswith(_ADAPTER)]
            case "subject":
                return names.of("subject")
            case "source":
                return names.of("source", "table")
            case "kind":
                return names.choices(KIND)
            case "role":
                return [name.partition(".")[2] for name in names.of("role")]
            case "rule":
                return names.of(*RULINGS)
            case "unit":
                return [unit for unit in DISPLAY_UNITS if unit]
            case "value_type":
                return [*names.of("list"), *VALUE_TYPES]
            case "fact_type":
                return [*names.of("list"), *FACT_TYPES]
        return ()

    def _expression(self, written: str) -> Iterator[Completion]:
        """What may come next in an expression."""
        self.typed = _last(_TOKEN, written)
        before = written[: len(written) - len(self.typed)]
        if _FIGURE.search(before):
            yield from (Completion(unit, "unit", unit, len(self.typed)) for unit in UNITS)
            return
        called = _CALLED.search(before)
        if called is not None and called[1] == "lookup":
            yield from self._declared(self.names.of("table"))
            return
        if called is not None and called[1] == "present":
            yield from self._declared(self.names.of("subject", "fact"))
            return
        fact = compared(before)
        if self.names.choices(fact):
            yield from self._members(fact)
            return
        yield from self._readable()
        for name in FUNCTION_NAMES:
            yield Completion(name, "function", f"{name}(", len(self.typed))
        yield from (Completion(word, "word", word, len(self.typed)) for word in _WORDS)

    def _readable(self) -> Iterator[Completion]:
        """What an expression may read; an adapter's facts only where adapters are gone through."""
        found = self.names.of(*READABLE)
        about = self.of in _OF_ADAPTERS
        yield from self._declared({name: one for name, one in found.items() if about or not name.startswith(_ADAPTER)})

    def _declared(self, found: dict[str, Declared]) -> Iterator[Completion]:
        for name, one in found.items():
            detail = one.says("label") or one.says("title")
            parts = [f"{name}.{part}" for part in TYRE_PARTS] if one.says("type") == "tyre" else [name]
            for part in parts:
                yield Completion(part, one.sort, part, len(self.typed), detail)


def _required(kind: Kind) -> Iterable[str]:
    found: Iterable[str] = kind.get("required", ())
    return found


def _last(pattern: "re.Pattern[str]", written: str) -> str:
    found = pattern.search(written)
    return found[0] if found else ""
