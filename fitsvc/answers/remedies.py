"""What would make it work, found by evaluating: every remedy is a changed question, and its own full answer.

Tried for an answer that fails, fewest changes first: what the customer may take up; a smaller load; an adapter taken
out of the opening; another item of the same kind, another receiver for the vehicle; an accessory with a ball, and what
is of another kind that does the same, by itself and with a ball; an adapter in the opening, or two. What is told has
been answered in full, as a client would by sending the remedy's question. Where no part on the shelf would do, it is
said what the part would have to be.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from math import prod
from typing import Final

from fitsvc.answers.answer import Answer, Next, Remedy, Sort
from fitsvc.answers.missing import Missing
from fitsvc.answers.next_steps import ANY, settling
from fitsvc.answers.phrases import capped, joined, uncapped
from fitsvc.answers.question import Question
from fitsvc.answers.readings import BAD, GOOD, together
from fitsvc.answers.shelf import Item, Shelf
from fitsvc.answers.summary import left_open, only_if
from fitsvc.answers.trying import UnknownFact, Work
from fitsvc.answers.wording import Wording
from fitsvc.document import Document
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.display import System
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem
from fitsvc.language.truth import YES
from fitsvc.language.typed import Read
from fitsvc.language.types import NumberType, Value
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.subjects import KIND
from fitsvc.tongues import as_said, is_clause, t

MOST_TOLD: Final = 3
"""How many remedies of one sort are told."""

MOST_CHANGES: Final = 500
"""Changes of one sort that are tried, each of as many as there are cases to work out: some 15 ms."""
_MOST_IN_ALL: Final = 900
"""Changes of all sorts; of what is left each may take two thirds, so that those after it are tried as well."""
_IN_FULL: Final = 10
"""Changes that take as long as one that no longer fails and is judged in full, by cases too."""

_MOST_FIRST: Final = 200
"""Parts that are tried as the first of two, or as one of two that are both others."""

_SWAPPED: Final = ("accessory", "ball", "wiring_adapter")
"""What another of the shelf may take the place of."""
_ON_IT: Final = ("accessory", "ball")
"""What is left out where something is taken up that the accessory is not made for: which part is, a plan finds."""
_MOST_WANTED: Final = 2_500
"""Judgements to find what a part would have to be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionChange:
    """A change of a question: what sort it is, the parts it takes, the question it comes to, in words."""

    sort: Sort
    parts: tuple[Item, ...] = ()
    words: str
    document: Document


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried(QuestionChange):
    """A change with the case it makes; `verdict` is that on the case, where it has been judged."""

    case: Case
    verdict: Verdict | None = None

    @property
    def past_counts(self) -> bool:
        """Whether it is told as well where it gets past what fails and something stays open.

        Of other accessories a shelf may give those alone that work, and so of none is it told.
        """
        swapped = self.sort == "swap" and self.parts[0].subject != "accessory"
        return swapped or self.sort in ("receiver", "add")


@dataclass(slots=True, kw_only=True)
class Remedies:
    """The search for remedies of one failing answer; `untried` counts the changes that it left, being too many."""

    missing: Missing
    reader: FactReader
    shelf: Shelf
    system: System
    untried: int = 0
    left: int = _MOST_IN_ALL
    getting_past: list[Tried] = field(default_factory=list)
    """Parts and receivers with which nothing fails any more and something stays open, the first few."""

    def find(self, document: Document, question: Question, failing: Sequence[int]) -> Iterator[Tried]:
        """The changes with which the question no longer fails, fewest changes first.

        A change is tried only where every failing rule rests on something that it changes.
        """
        case, about = question.case, [self.missing.about(number) for number in failing]

        def touches(*names: str) -> bool:
            return not any(subjects.isdisjoint(names) for subjects in about)

        for name in self.missing.taken_up:
            if any(name in one for one in about) and touches(name, *_ON_IT):
                yield from self._kept(self._taken_up(document, case, name, failing), failing)
        for name in filter(touches, self.missing.lessened):
            yield from self._less(document, case, name, self.missing.lessened[name], failing)
        if touches("opening"):
            yield from self._kept(self._taken_out(document, case), failing)
        swaps = [
            one
            for subject in _SWAPPED
            if touches(subject)
            for one in self._swapped(document, case, self._instead(case, subject), failing)
        ]
        yield from swaps
        others = self._receivers(document, case) if touches("receiver", "mounting") else iter(())
        receivers = list(self._kept(others, failing))
        yield from receivers
        if touches(*_ON_IT) and not swaps and not receivers:
            own = case.facts.get(KIND)
            if case.present.issuperset(_ON_IT):
                swaps = list(self._both_swapped(document, case, [own], failing))
            kinds = self.missing.wording.rulebook.vocabulary.kinds_instead(KIND, own)
            if touches("accessory") and not swaps:
                items = [item for kind in kinds for item in self.shelf.instead(case, "accessory", kind)]
                swaps = list(self._swapped(document, case, items, failing))
                if not swaps and case.present.issuperset(_ON_IT):
                    swaps = list(self._both_swapped(document, case, kinds, failing))
            yield from swaps
        if touches("opening") and not self._fills_a_need(case):
            # Of those that come out alike the one that adds least bends receiver and frame least.
            items = sorted(self.shelf.items("adapter"), key=self._added)
            single = list(self._kept(self._adapters(document, case, ((one,) for one in items)), failing, len(items)))
            yield from single
            if not single and not swaps:
                pairs = product(self._nearest(case, items), items)
                yield from self._kept(self._adapters(document, case, pairs), failing, len(items) ** 2)

    def _fills_a_need(self, case: Case) -> bool:
        """Whether the accessory is what another has need of, as a pin: it is bought for the opening that there is.

        An adapter with an opening that it does suit would leave that one without.
        """
        kind = case.facts.get(KIND)
        filling = [need.fills.kinds for need in self.missing.wording.rulebook.needs if need.fills is not None]
        return isinstance(kind, int) and any(kind & ~kinds == 0 for kinds in filling)

    def _kept(self, tried: Iterator[Tried], failing: Sequence[int], count: int = 0) -> Iterator[Tried]:
        """Of one sort of change, `count` in all, the first few that work, then those that are conditional."""
        engine, left = self.missing.engine, min(MOST_CHANGES, self.left * 2 // 3)
        self.left -= left
        found: dict[Outcome, list[Tried]] = {"works": [], "conditional": []}
        for number, one in enumerate(tried):
            if left <= 0:
                self.untried += max(count - number, 1)
                break
            case = engine.opened(one.case)
            left -= 1 + len(case.adapters)
            # What fails now mostly fails still, and a few rules are judged sooner than all.
            if not any(engine.judge(number, case) == "fails" for number in failing):
                left -= _IN_FULL
                verdict = engine.evaluate(case)
                if verdict.outcome == "undetermined" and one.past_counts:
                    self.getting_past.append(replace(one, verdict=verdict))
                if verdict.outcome in found:
                    found[verdict.outcome].append(replace(one, verdict=verdict))
            if len(found["works"]) >= MOST_TOLD:
                break
        self.left += max(left, 0)
        # Of those that come out alike the one stands first that leaves least to see to.
        yield from (found["works"] + sorted(found["conditional"], key=_left_to_do))[:MOST_TOLD]

    def _taken_up(self, document: Document, told: Case, name: str, failing: Sequence[int]) -> Iterator[Tried]:
        """What the customer does not do yet, taken up; with another part for it, where without it no part would do."""
        fact = self.missing.wording.rulebook.vocabulary.facts[name]
        if told.facts.get(name) == YES or fact.subject not in told.present:
            return
        part = document.get(fact.subject) or {}
        changed = {**document, fact.subject: {**part, "facts": {**(part.get("facts") or {}), fact.short: True}}}
        case, so = self._with(told, (), {name: YES}, {}), as_said(self.missing.wording.the(name))
        yield Tried(sort="take up", parts=(), words=so, document=changed, case=case)
        if "accessory" in told.present and self._still_fails(self._bare(told), failing):
            bare = {name: part for name, part in changed.items() if name not in _ON_IT}
            words = t("{so}, with a part made for it in place of this one", so=so)
            yield Tried(sort="take up", parts=(), words=words, document=bare, case=self._bare(case))

    def _still_fails(self, case: Case, failing: Sequence[int]) -> bool:
        """Whether a case fails; what fails now mostly fails still, and a few rules are judged sooner than all."""
        engine, case = self.missing.engine, self.missing.engine.opened(case)
        return any(engine.judge(one, case) == "fails" for one in failing) or engine.evaluate(case).outcome == "fails"

    def _bare(self, case: Case) -> Case:
        """The case without the accessory and what goes on it."""
        other = self._with(case, _ON_IT, {}, {})
        return replace(other, present=other.present - {*_ON_IT})

    def _taken_out(self, document: Document, case: Case) -> Iterator[Tried]:
        """An adapter taken out of the opening, or all of several."""
        rig = document.get("rig") or {}
        named, places = rig.get("adapters") or [], range(len(case.adapters))
        if len(named) != len(places):
            return
        for left in [
            *([place for place in places if place != out] for out in places),
            *([[]] if len(places) > 1 else []),
        ]:
            changed = {**document, "rig": {**rig, "adapters": [named[place] for place in left]}}
            adapters = tuple(case.adapters[place] for place in left)
            whole = frozenset(name for name in case.present if "." not in name)
            other = replace(case, adapters=adapters, present=whole | self.reader.named(case.facts, adapters))
            words = [t("adapter {number}", number=place + 1) for place in places if place not in left]
            one = t("the adapter taken out of the opening")
            several = t("{parts} taken out of the opening", parts=joined(words))
            said = one if len(places) == 1 else several
            yield Tried(sort="remove", parts=(), words=said, document=changed, case=other)

    def _swapped(
        self, document: Document, case: Case, items: Sequence[Item], failing: Sequence[int]
    ) -> Iterator[Tried]:
        """One of some items in place of the question's own: another ball or wiring adapter, or another accessory."""
        return self._kept(self._swaps(document, case, items), failing, len(items))

    def _swaps(self, document: Document, case: Case, items: Iterable[Item]) -> Iterator[Tried]:
        for item in items:
            changed = {**document, item.subject: {"sku": item.sku}}
            words = t("the {label} instead", label=item.label)
            swapped = self._with(case, (item.subject,), item.values, item.texts)
            yield Tried(sort="swap", parts=(item,), words=words, document=changed, case=swapped)

    def _both_swapped(
        self, document: Document, case: Case, kinds: Sequence[Value | None], failing: Sequence[int]
    ) -> Iterator[Tried]:
        """Another accessory, of one of some kinds, with another ball: of those that fail nothing by themselves."""
        mounts = [item for kind in kinds for item in self._fitting(case, "accessory", kind)]
        fitting = [mounts, self._fitting(case, "ball", None)]
        return self._kept(self._both_swaps(document, case, fitting), failing, prod(map(len, fitting)))

    def _both_swaps(self, document: Document, case: Case, fitting: Sequence[Sequence[Item]]) -> Iterator[Tried]:
        for parts in product(*fitting):
            swapped, changed = case, dict(document)
            for part in parts:
                swapped = self._with(swapped, (part.subject,), part.values, part.texts)
                changed[part.subject] = {"sku": part.sku}
            words = t("{parts} instead", parts=joined([t("the {label}", label=part.label) for part in parts]))
            yield Tried(sort="swap", parts=parts, words=words, document=changed, case=swapped)

    def _fitting(self, case: Case, subject: str, kind: Value | None) -> list[Item]:
        """What of the shelf could be in a part's place, and fails nothing while what goes with it is not there."""
        bare, engine = self._bare(case), self.missing.engine
        bare = replace(bare, present=bare.present | {subject})
        items = self.shelf.instead(bare, subject, kind)[:_MOST_FIRST]
        cases = ((item, self._with(bare, (subject,), item.values, item.texts)) for item in items)
        return [item for item, one in cases if not engine.rule_by_rule(one).fails]

    def _instead(self, case: Case, subject: str) -> Sequence[Item]:
        """What of the shelf could take the place of the question's own; nothing where its kind is not known."""
        kind = case.facts.get(f"{subject}.kind")
        if subject not in case.present or (kind is None and subject == "accessory"):
            return ()
        return self.shelf.instead(case, subject, kind)

    def _receivers(self, document: Document, case: Case) -> Iterator[Tried]:
        """Another receiver that fits this vehicle."""
        rig = document.get("rig") or {}
        vehicle = (rig.get("vehicle") or {}).get("id")
        if not isinstance(vehicle, str):
            return
        for mounting, receiver in self.shelf.receivers_for(vehicle):
            changed = {**document, "rig": {**rig, "receiver": {"id": receiver.key}, "mounting": {"id": mounting.key}}}
            problems: list[Problem] = []
            values: dict[str, Value] = {}
            texts: dict[str, str] = {}
            for one in (mounting, receiver):
                self.reader.read(one.subject, one.facts, "", problems, values, texts)
            if not problems:
                values |= self.reader.told_by_one_end(values)
                other = self._with(case, ("receiver", "mounting"), values, texts)
                words = t("the {label} on this vehicle instead", label=receiver.label)
                yield Tried(sort="receiver", parts=(), words=words, document=changed, case=other)

    def _adapters(self, document: Document, case: Case, added: Iterable[tuple[Item, ...]]) -> Iterator[Tried]:
        """One or two adapters added to the opening, as many as it takes."""
        rig = document.get("rig") or {}
        for parts in added:
            if len(case.adapters) + len(parts) > MOST_ADAPTERS:
                return
            named = [*(rig.get("adapters") or []), *({"sku": part.sku} for part in parts)]
            changed = {**document, "rig": {**rig, "adapters": named}}
            words = t("{parts} in the opening", parts=joined([t("the {label}", label=part.label) for part in parts]))
            stacked = self.reader.stacked(case, [part.values for part in parts])
            yield Tried(sort="add", parts=parts, words=words, document=changed, case=stacked)

    def _added(self, part: Item) -> float:
        """The length that an adapter adds to the opening, as far as it is known."""
        names = self.missing.engine.rulebook.vocabulary.serving("added_length")
        added = (part.values.get(name, (0.0, 0.0)) for name in names)
        return sum(bounds[0] for bounds in added if isinstance(bounds, tuple))

    def _nearest(self, case: Case, adapters: Sequence[Item]) -> list[Item]:
        """Adapters in the order in which to try a second one behind them: those first with which least fails."""
        if len(case.adapters) + 2 > MOST_ADAPTERS:
            return []

        def fails(part: Item) -> int:
            return len(self.missing.engine.rule_by_rule(self.reader.stacked(case, [part.values])).fails)

        return sorted(adapters[:_MOST_FIRST], key=fails)

    def _less(self, document: Document, told: Case, name: str, anew: str, failing: Sequence[int]) -> Iterator[Tried]:
        """A smaller load: the most that no longer fails."""
        facts = {one: value for one, value in told.facts.items() if one != anew}
        case = replace(told, facts=facts, present=told.present - {anew})
        fact, now = self.missing.wording.rulebook.vocabulary.facts[name], case.facts.get(name)
        if not isinstance(fact.type, NumberType) or not isinstance(now, tuple):
            return
        if not 0.0 < now[0] >= now[1] - TOLERANCE:
            return
        open_case = replace(case, facts={**case.facts, name: (0.0, now[0])})
        held = UnknownFact(name, read=Read(fact.type, name), fact=fact)
        trying = self.missing.trying(open_case, Work())
        several = list(self.missing.readings(held, failing, trying, self.system, alone=False).values())
        grid = several[0].grid
        for status, _, last in reversed(together(grid, several, lambda found: BAD if BAD in found else GOOD).runs):
            value = last * grid.step
            if status == GOOD and TOLERANCE < value < now[0] - TOLERANCE:
                text = grid.text(last)
                wire = int(value) if fact.kind == "count" else text
                less = replace(case, facts={**case.facts, **self.reader.value(fact, wire)})
                verdict = self.missing.engine.evaluate(less)
                if verdict.outcome in ("works", "conditional"):
                    part = document.get(fact.subject) or {}
                    unsaid = {anew.partition(".")[2]: None} if anew in told.facts else {}
                    said = {**(part.get("facts") or {}), **unsaid, fact.short: wire}
                    changed = {**document, fact.subject: {**part, "facts": said}}
                    the = self.missing.wording.the
                    again = t(" and {the} weighed anew", the=the(anew)) if unsaid else ""
                    words = t("{the} kept to {figure}{again}", the=the(name), figure=text, again=again)
                    yield Tried(sort="reduce", parts=(), words=words, document=changed, case=less, verdict=verdict)
                return

    def _with(
        self, case: Case, subjects: tuple[str, ...], values: Mapping[str, Value], texts: Mapping[str, str]
    ) -> Case:
        """The case with the facts of some subjects replaced."""
        facts = {name: value for name, value in case.facts.items() if name.split(".", 1)[0] not in subjects}
        told = {name: text for name, text in case.texts.items() if name.split(".", 1)[0] not in subjects}
        present = {name for name in case.present if "." not in name}
        facts |= values
        return replace(
            case, facts=facts, texts={**told, **texts}, present=self.reader.named(facts, case.adapters) | present
        )

    def would_have_to_be(self, question: Question, failing: Sequence[int]) -> str:
        """What accessory, ball or wiring adapter would have to be, found by taking what fails about it as not known.

        Of rules that fail whatever these are, it is said what would have to be so besides.
        """
        case = question.case
        rests = {
            name
            for number in failing
            for name in self.missing.about(number)
            if name.partition(".")[0] in _SWAPPED and name != KIND
        }
        if not rests:
            return ""
        rests = self._by_itself(case, failing, rests)
        open_case = replace(case, facts={name: value for name, value in case.facts.items() if name not in rests})
        judge, opened = self.missing.engine.judge, self.missing.engine.opened(open_case)
        rules = self.missing.wording.rulebook.rules
        still_open = [number for number in failing if judge(number, opened) == "undetermined"]
        first = {step.fact for step in self._wanted(open_case, still_open, rests)}
        # What passes now must go on passing: a ball for the trailer's class is no help in a coupler of another size.
        kept = [
            number
            for number in self.missing.engine.evaluate(case).passes
            if rules[number].blocks
            and not self.missing.about(number).isdisjoint(first)
            and judge(number, opened) == "undetermined"
        ]
        steps = self._wanted(open_case, [*still_open, *kept], rests)
        the = self.missing.wording.the
        wanted = {step.fact: step.works_if for step in steps if step.fact in first}
        if not wanted:
            return ""
        things = sorted(((the(name), text) for name, text in wanted.items()), key=lambda pair: is_clause(pair[0]))
        told = joined([_would_be(thing, text, not i) for i, (thing, text) in enumerate(things)])
        left = [
            t("that {title}", title=uncapped(rules[number].title))
            for number in failing
            if judge(number, opened) != "passes" and self.missing.about(number).isdisjoint(wanted)
        ]
        also = t(" Besides, it would have to be so {left}.", left=joined(left)) if left else ""
        tried = t("Of what was tried of the shelf no single part")
        nothing = tried if self.untried else t("No single part on the shelf")
        return t("{nothing} would do. {told}.{also}", nothing=nothing, told=capped(told), also=also)

    def _by_itself(self, case: Case, failing: Sequence[int], rests: set[str]) -> set[str]:
        """What to take as not known: without the facts that cannot be otherwise while all else stays as it is told.

        Of a mount whose settings end too low the highest may be higher, and the lowest may not be above it. Where no
        fact of a failing rule can be otherwise by itself, all of them are looked at together.
        """
        facts = sorted(name for name in rests if "." in name)
        if len(facts) < 2:
            return rests
        passing = self.missing.engine.evaluate(case).passes
        able = set()
        for name in facts:
            left = replace(case, facts={one: value for one, value in case.facts.items() if one != name})
            of_it = [number for number in failing if name in self.missing.about(number)]
            kept = [number for number in passing if name in self.missing.about(number)]
            able |= {step.fact for step in self._wanted(left, [*of_it, *kept], {name}, _MOST_WANTED // len(facts))}
        alone = [about for number in failing if able.isdisjoint(about := self.missing.about(number))]
        return {name for name in rests if name in able or any(name in about for about in alone)}

    def _wanted(self, open_case: Case, rules: Sequence[int], rests: set[str], most: int = _MOST_WANTED) -> list[Next]:
        """What would settle these rules of facts taken as not known, where some readings would and others not."""
        steps = settling(self.missing, open_case, rules, (), self.system, most)
        return [step for step in steps.told if step.fact in rests and step.works_if not in ("", t(ANY))]


def _left_to_do(tried: Tried) -> int:
    """How much a change that was judged leaves to do, as selections order by it, whose first are all that is tried."""
    return tried.verdict.left_to_do if tried.verdict else 0


def _would_be(thing: str, text: str, first: bool) -> str:
    """What a fact would have to be: `the pin would have to be 1/2 in`, or shorter behind another such."""
    if is_clause(thing):
        if text == t("yes"):
            return t("it would have to be so that {so}", so=as_said(thing))
        return t("it would not have to be so that {so}", so=as_said(thing))
    return t("{the} would have to be {value}", the=thing, value=text) if first else f"{thing} {text}"


def remedy_of(wording: Wording, tried: QuestionChange, answer: Answer) -> Remedy:
    """A change and what it comes to, as it is told: of several things to see to one, what is surely amiss first."""
    taken_up = tried.sort == "take up"
    because = t("If {so}, it works.", so=tried.words) if taken_up else t("With {words}, it works.", words=tried.words)
    if answer.outcome == "conditional":
        things = sorted(answer.to_see_to, key=lambda thing: thing.sort != "look at")
        told = only_if(wording, things, answer.next, answer.allowance, most=1)
        how = uncapped(answer.summary if answer.candidates else told)
        because = (
            t("If {so}, it works {how}", so=tried.words, how=how)
            if taken_up
            else t("With {words}, it works {how}", words=tried.words, how=how)
        )
    if answer.outcome == "undetermined":
        open_ = [one.reason for one in answer.findings if wording.effect(one) == "unknown"]
        because = t("With {words}, it no longer fails. {open}", words=tried.words, open=" ".join(open_[:1]))
        because += f" {left_open(len(open_) - 1)}." if len(open_) > 1 else ""
    skus = [part.sku for part in tried.parts]
    both = skus if len(skus) > 1 else []
    return Remedy(
        change=tried.sort,
        outcome=answer.outcome,
        because=because,
        sku="".join(skus[:1]),
        skus=both,
        question=tried.document,
    )
