"""What a change of rules changes: whole answers under two rulebooks, on a store's rigs and goods or on questions.

More that say yes stand apart from fewer, each by the rule that brings it about and the kind it is about, with a case
that can be asked.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.shelf import Item, read_items
from fitsvc.audits.rigs import AuditRig, rigs_and_mountings, told_aside
from fitsvc.document import Json
from fitsvc.engine.alike import rules_apart
from fitsvc.engine.point import Point
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case, FactReader
from fitsvc.inventory.shelf import Shop
from fitsvc.inventory.stored import StoreRecords, stored
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.renamed import by_both_names
from fitsvc.rulebook.rules import Rulebook
from fitsvc.selection.segments import case_of
from fitsvc.store.records import list_records
from fitsvc.store.rigs import count_rigs
from fitsvc.store.searching import count_records

_UNTOLD: Final[Mapping[str, float]] = {}
_AS_IS: Final[Mapping[str, str]] = {}
_PAGE: Final = 1_000
_MOST_PAIRS: Final = 200_000
"""Pairs of a mounting and an item asked beside those of saved rigs: half a millisecond each, so two minutes."""
_MOUNTING: Final = "mounting"
_MOST_CASES: Final = 3
"""How many cases are named for each rule and kind: enough to look one up, and few enough to read."""
_ACCESSORY: Final = "accessory"
"""Balls, adapters and the like are sold as well, and are no answer to what works in the opening by themselves."""


@dataclass(frozen=True, slots=True)
class ImpactCase:
    """One case by its name: as options of `fitsvc answer` for a saved rig, else where the question stands.

    `rig` is the id of a saved rig, or of a mounting where it is `mounted`.
    """

    name: str
    rig: str = ""
    sku: str = ""
    mounted: bool = False


@dataclass(slots=True, kw_only=True)
class Group:
    """Answers that one rule changes for one kind, from one outcome to another: how many, and some of them by name.

    `sold` is how much is sold of the items that they are about, where that is known; of cases those stand first that
    sell most.
    """

    rule: str
    kind: str
    old: str
    new: str
    count: int = 0
    sold: float = 0.0
    cases: list[ImpactCase] = field(default_factory=list)
    skus: set[str] = field(default_factory=set)

    def note(self, one: ImpactCase, sold: Mapping[str, float]) -> None:
        """Count one answer."""
        self.count += 1
        if one.sku not in self.skus:
            self.skus.add(one.sku)
            self.sold += sold.get(one.sku, 0.0)
        if len(self.cases) < _MOST_CASES or sold.get(one.sku, 0.0) > sold.get(self.cases[-1].sku, 0.0):
            self.cases = sorted([*self.cases, one], key=lambda case: -sold.get(case.sku, 0.0))[:_MOST_CASES]

    @property
    def is_looser(self) -> bool:
        """Whether the answers are better than they were."""
        return OUTCOMES.index(self.new) < OUTCOMES.index(self.old)


@dataclass(slots=True, kw_only=True)
class Impact:
    """What was asked of both rulebooks, what only one could be asked, and the groups of answers that differ.

    `reasons` counts answers of the same outcome for other reasons. `sold` is how much of each item is sold, where that
    was told.
    """

    asked: int = 0
    changed: int = 0
    reasons: int = 0
    aside: list[str] = field(default_factory=list)
    sold: Mapping[str, float] = field(default_factory=dict)
    groups: dict[tuple[str, str, str, str], Group] = field(default_factory=dict)

    def loosened(self) -> list[Group]:
        """Groups of answers that are better: what sells most first, else the most."""
        return self._in_order(is_looser=True)

    def looser(self) -> list[str]:
        """Rules and needs that say yes to more, those of most answers first."""
        return [*dict.fromkeys(group.rule for group in self.loosened())]

    def tightened(self) -> list[Group]:
        """Groups of answers that are worse, in the same order."""
        return self._in_order(is_looser=False)

    def _in_order(self, *, is_looser: bool) -> list[Group]:
        found = [one for one in self.groups.values() if one.is_looser == is_looser]
        return sorted(found, key=lambda one: (-one.sold, -one.count))


class Side:
    """One rulebook, ready to judge."""

    def __init__(self, rulebook: Rulebook, ids: Mapping[str, str] = _AS_IS) -> None:
        self.rulebook, self.engine, self.reader = rulebook, Point(rulebook), FactReader(rulebook)
        self._ids = [_today(rule.id, ids) for rule in rulebook.rules]
        self._needs = [_today(need.id, ids) for need in rulebook.needs]

    def brings(self, number: int | None, case: Case) -> str | None:
        """What a rule brings to the outcome of an opened case, by what it comes to; None of one that brings nothing."""
        result = "not_applicable" if number is None else self.engine.judge(number, case)
        return None if number is None or result == "not_applicable" else self.rulebook.rules[number].effects[result]

    def why(self, verdict: Verdict) -> dict[str, str]:
        """What stands in the way of a plain yes: rules and needs, each with what it brings to the outcome."""
        found = {self._ids[number]: effect for effect in _HINDERS for number in getattr(verdict, effect)}
        found |= {self._ids[number]: "fails" for number in verdict.failing}
        return found | {self._needs[number]: "open_needs" for number in verdict.open_needs}


class _Both:
    """Two rulebooks, each of which reads a fact by the names that it has in either."""

    def __init__(self, old: Rulebook, new: Rulebook) -> None:
        before, after = by_both_names(old, new)
        ids = {**old.renamed, **new.renamed}
        self.sides = Side(before, ids), Side(after, ids)
        self._apart = rules_apart(before, after)

    def come_to_the_same(self, cases: Sequence[Case]) -> bool:
        """Whether all that differs is rules which bring the same to this: settled, they decide nothing by cases either.

        False where that is not known so soon.
        """
        if self._apart is None:
            return False
        old, new = (side.engine.opened(case) for side, case in zip(self.sides, cases, strict=True))
        return all(
            (brought := self.sides[0].brings(before, old)) not in _OPEN and brought == self.sides[1].brings(after, new)
            for before, after in self._apart
        )


def _today(id: str, ids: Mapping[str, str]) -> str:
    """A rule's id as the other rulebook may have it; a rating of a limit keeps its own."""
    name, slash, rating = id.partition("/")
    return f"{ids.get(name, name)}{slash}{rating}"


_HINDERS: Final = ("doubts", "cautions", "unknown", "fails")
_OPEN: Final = ("doubts", "unknown")


def impact_on_store(old: Rulebook, new: Rulebook, session: Session, sold: Mapping[str, float] = _UNTOLD) -> Impact:
    """Every saved rig and every mounting with every accessory of a store, under both; `sold` are the items sold by SKU.

    Where rigs are saved, of mountings so many as there is work for; of how many nothing is asked is told aside.
    """
    both = _Both(old, new)
    sides = both.sides
    records = list(_accessories(session))
    goods = [{item.sku: item for item in read_items(side.reader, records)} for side in sides]
    wanted = max(1, _MOST_PAIRS // max(len(records), 1)) if count_rigs(session) else None
    aside = list[Problem]()
    rigs = [_asked(rigs_and_mountings(session, side.reader, aside, wanted)) for side in sides]
    impact = Impact(sold=sold, aside=list(dict.fromkeys(map(told_aside, aside))))
    impact.aside += [f"accessory {one.key}" for one in records if any(one.key not in side for side in goods)]
    impact.aside += sorted(rigs[0].keys() ^ rigs[1].keys())
    for name, rig in ((name, rig) for name, rig in rigs[0].items() if name in rigs[1]):
        for sku in (sku for sku in goods[0] if sku in goods[1]):
            cases = [case_of(rigs[i][name].case, goods[i][sku], sides[i].reader) for i in (0, 1)]
            _judge(impact, both, _case(rig, sku), _kind(old, goods[0][sku]), cases)
    if wanted is not None and (left := count_records(session, _MOUNTING) - wanted) > 0:
        impact.aside.append(f"{left} mountings, with which it would be more than {_MOST_PAIRS} pairs")
    return impact


def _asked(rigs: Iterable[AuditRig]) -> dict[str, AuditRig]:
    """Rigs by what each is asked by; an id may be that of a rig and of a mounting."""
    return {f"{_MOUNTING if rig.mounted else 'rig'} {rig.key}": rig for rig in rigs}


def _case(rig: AuditRig, sku: str) -> ImpactCase:
    """A stored pair: of a mounting, as the counter is asked about it."""
    if rig.mounted:
        return ImpactCase(f"mounting {rig.key}, accessory {sku}", rig.key, sku, mounted=True)
    return ImpactCase(f"--rig {rig.key} --accessory {sku}", rig.key, sku)


def impact_on_questions(
    old: Rulebook, new: Rulebook, questions: Iterable[tuple[str, Json]], session: Session | None = None
) -> Impact:
    """Recorded questions, each with its name, under both rulebooks; what one of them cannot be asked is aside.

    What they name of a store is looked up in it, where a session with one is given.
    """
    both, impact = _Both(old, new), Impact()
    held = [StoreRecords(session, Shop(side.reader).vehicles) if session else NoRecords() for side in both.sides]
    for name, document in questions:
        try:
            asked = zip(both.sides, held, strict=True)
            cases = [read_question(document, side.reader, records).case for side, records in asked]
        except ProblemsFound as found:
            impact.aside.append(f"{name}: {found.problems[0].message}")
            continue
        kind = f"{_ACCESSORY}.kind"
        _judge(impact, both, ImpactCase(name), _word(old.vocabulary.facts.get(kind), cases[0].facts.get(kind)), cases)
    return impact


def _judge(impact: Impact, both: _Both, asked: ImpactCase, kind: str, cases: list[Case]) -> None:
    impact.asked += 1
    if both.come_to_the_same(cases):
        return
    verdicts = [side.engine.evaluate(case) for side, case in zip(both.sides, cases, strict=True)]
    before, after = (side.why(verdict) for side, verdict in zip(both.sides, verdicts, strict=True))
    old, new = (verdict.outcome for verdict in verdicts)
    if old == new:
        impact.reasons += before != after
        return
    impact.changed += 1
    looser = OUTCOMES.index(new) < OUTCOMES.index(old)
    gone, left = (before, after) if looser else (after, before)
    for rule in [rule for rule, effect in gone.items() if left.get(rule) != effect]:
        group = impact.groups.setdefault((rule, kind, old, new), Group(rule=rule, kind=kind, old=old, new=new))
        group.note(asked, impact.sold)


def _accessories(session: Session) -> Iterator[Any]:
    after: str | None = None
    while page := list_records(session, _ACCESSORY, after=after, limit=_PAGE, sold_as=_ACCESSORY):
        yield from (stored(_ACCESSORY, record) for record in page)
        after = page[-1].key


def _kind(rulebook: Rulebook, item: Item) -> str:
    return _word(rulebook.vocabulary.facts.get(f"{_ACCESSORY}.kind"), item.kind)


def _word(fact: Any, value: Value | None) -> str:
    """What kind of accessory a value is, for people who keep rules: the member's name, or that it is open."""
    members: Mapping[int, str] = {1 << i: member for i, member in enumerate(fact.type.members)} if fact else {}
    return members.get(value, "any kind") if isinstance(value, int) else "no accessory"


def unsigned(looser: Iterable[str], old: Rulebook, new: Rulebook, *, theirs: bool = False) -> list[Problem]:
    """Looser rules for which nobody has signed in the new rulebook; of rules that are others' to sign, if they are."""
    rules = [rule for rule in dict.fromkeys(looser) if not any(one.covers(old.digest, rule) for one in new.signed)]
    short = old.digest.removeprefix("sha256:")[:12]
    line = f"- {{since: {short}, rules: [{', '.join(rules)}], by: NAME, because: REASON}}"
    if theirs:
        help = f"ask whoever releases these rules to sign for them since {short}, the rules that are in force here"
    elif new.signed:
        help = f"add under `signed:` in signed.yaml: `{line}`"
    else:
        help = f"write a file signed.yaml beside the rules: `signed:`, and in the next line `  {line}`"
    message = f"{len(rules)} rule{'s say' if len(rules) != 1 else ' says'} yes to more, and nobody has signed for that"
    return [Problem(f"{message}: {', '.join(rules)}" if theirs else message, help)] if rules else []
