"""What a rulebook covers: each topic's rules with the facts they read, and the facts that nothing reads.

A fact is used when a rule, limit, need or caution reads it or tells it, straight or through derived values and the
adapters. Texts are told to people only, and so are the facts by which one configuration of a vehicle is told
from another, and those that readings hold with; of every other fact that nothing reads this says so.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from fitsvc.language import typed
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType
from fitsvc.rulebook.rules import Caution, Limit, Need, Rule, Rulebook, values_of
from fitsvc.rulebook.vocabulary import Fact

_PARTS: Final = ("guard", "requires", "met")


@dataclass(frozen=True, slots=True)
class RuleReads:
    """A rule, limit or need, with the facts and the tables it reads."""

    id: str
    kind: str
    title: str
    facts: tuple[str, ...]
    tables: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """The entries of each topic; facts told to people only, with why; and facts and tables that nothing reads."""

    topics: Mapping[str, tuple[RuleReads, ...]]
    told: Mapping[str, str]
    unread: tuple[str, ...]
    unread_tables: tuple[str, ...]


def coverage_of(rulebook: Rulebook) -> Coverage:
    """Tell what a rulebook covers."""
    topics: dict[str, list[RuleReads]] = {topic: [] for topic in rulebook.topics}
    used, tables = set[str](), set[str]()
    for topic, entry in _entries(rulebook):
        topics.setdefault(topic, []).append(entry)
        used |= set(entry.facts)
        tables |= set(entry.tables)
    told_of: list[list[AnyTyped | None]] = [
        [one.node for one in values_of((*rule.fails, *rule.unknown))] for rule in rulebook.rules
    ]
    told_of += [[one.guard, *(value.node for value in values_of(one.text))] for one in rulebook.cautions]
    for nodes in told_of:
        facts, looked_up = _read(rulebook, nodes)
        used |= set(facts)
        tables |= set(looked_up)
    for name in (*rulebook.derived, *rulebook.opening):
        tables |= set(_read(rulebook, _below(rulebook, name))[1])
    left = [fact for name, fact in rulebook.vocabulary.facts.items() if name not in used]
    grounds = {name for fact in rulebook.vocabulary.facts.values() for name in fact.leans_on}
    told = {fact.name: why for fact in left if (why := _told(fact, grounds))}
    unread = tuple(fact.name for fact in left if fact.name not in told)
    unread_tables = tuple(name for name in rulebook.tables if name not in tables)
    return Coverage({topic: tuple(entries) for topic, entries in topics.items()}, told, unread, unread_tables)


def facts_read(rulebook: Rulebook, rule: Rule) -> tuple[str, ...]:
    """The facts that a rule rests on, straight or through derived values and adapters."""
    return _read(rulebook, [rule.guard, rule.requires])[0]


def facts_behind(rulebook: Rulebook, one: Rule | Need | Caution) -> tuple[str, ...]:
    """The facts that one of them rests on to give what it gives."""
    return _read(rulebook, [getattr(one, name, None) for name in _PARTS])[0]


def _told(fact: Fact, grounds: Collection[str]) -> str:
    """Why a fact that no rule reads is there for people, if it is."""
    if fact.kind == "text":
        return "a text, told as it is"
    if fact.name in grounds:
        return "readings of other facts hold while it is what it was"
    naming = fact.kind == "count" or isinstance(fact.type, ListType)
    return "tells one configuration from another" if naming and fact.subject == "vehicle" else ""


def _entries(rulebook: Rulebook) -> Iterable[tuple[str, RuleReads]]:
    for rule in rulebook.rules:
        if not rule.limit:
            yield rule.topic, _entry(rulebook, rule, "rule", [rule.guard, rule.requires])
    for limit in rulebook.limits:
        members = [rule for rule in rulebook.rules if rule.limit == limit.id]
        nodes = [node for rule in members for node in (rule.guard, rule.requires)]
        yield limit.topic, _entry(rulebook, limit, "limit", nodes)
    for need in rulebook.needs:
        shown = [*need.values.values(), *values_of((*need.because, *need.unknown))]
        yield need.topic, _entry(rulebook, need, "need", [need.guard, need.met, *(one.node for one in shown)])


def _entry(rulebook: Rulebook, one: Rule | Limit | Need, kind: str, nodes: Iterable[AnyTyped | None]) -> RuleReads:
    facts, tables = _read(rulebook, nodes)
    return RuleReads(one.id, kind, one.title, facts, tables)


def _read(rulebook: Rulebook, nodes: Iterable[AnyTyped | None]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The facts and tables that values rest on, in the order in which they are met."""
    slots: dict[str, None] = {}
    tables: dict[str, None] = {}
    named = {lookup: name for name, entry in rulebook.tables.items() for lookup in entry.lookups}
    left = [node for node in nodes if node is not None][::-1]
    while left:
        node = left.pop()
        if isinstance(node, typed.Read) and node.name not in slots:
            slots[node.name] = None
            left += _below(rulebook, node.name)[::-1]
        elif isinstance(node, typed.Lookup) and node.table:
            tables[named[node.table]] = None
        left += typed.parts(node)[::-1]
    facts = (rulebook.vocabulary.fact_of(name) for name in slots)
    return tuple(dict.fromkeys(fact.name for fact in facts if fact is not None)), tuple(tables)


def _below(rulebook: Rulebook, name: str) -> list[AnyTyped]:
    """What a derived value or a fact of the working opening is computed from."""
    if name in rulebook.opening:
        opening = rulebook.opening[name]
        return [opening.bare, opening.each]
    return [rulebook.derived[name].node] if name in rulebook.derived else []
