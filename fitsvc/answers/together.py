"""Several things on one rig at once: each judged by itself and with all else beside it; the worst of it is the answer.

What the others come to is put into each thing's own case as facts of `beside`, made as the rulebook says: weights add
up, by their bounds, so that what is not known of one thing is not known in the sum either and nothing works by an
omission. What stands in whose way is looked at one by one, so a thing is judged once beside each other one in its
receiver, always with the sums over all. The rules are the rulebook's own; there is no other way to judge.

What each may carry where no load is named is found by what all of them are held to, with the others laden as their
labels allow.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from functools import cached_property, partial
from itertools import permutations
from typing import TYPE_CHECKING, Final

from fitsvc.answers.allowances import Carried, Shared
from fitsvc.answers.answer import AllowanceShown, Answer, Finding, Next, RulebookName, Spoiler, ThingAnswer, ToSeeTo
from fitsvc.answers.candidates import union
from fitsvc.answers.next_steps import ASK
from fitsvc.answers.parts import called
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.question import Question
from fitsvc.answers.seeing_to import told_once
from fitsvc.answers.summary import only_if
from fitsvc.answers.things import Thing
from fitsvc.answers.trying import MOST_WORK, UnknownFact, Work, told
from fitsvc.engine.allowances import Laden, Neighbour
from fitsvc.engine.support import Support
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.intervals import plus
from fitsvc.language.truth import NO
from fitsvc.language.types import Value, is_exact
from fitsvc.rulebook.outcomes import OUTCOMES, RESULT_OF, Outcome
from fitsvc.rulebook.rules import Adds
from fitsvc.subjects import KIND, PLACE, SUBJECTS
from fitsvc.tongues import t

if TYPE_CHECKING:
    from fitsvc.answers.answering import Answerer

MOST_TOGETHER: Final = 4_000
"""Judgements on what to learn next for all of several things, which are judged beside one another before: somewhat over
half of what one thing may have. Each has its share, and what the ones before it left."""
_WHERE_ONE_FAILS: Final = 200
"""Of them where one thing fails: what is to be learnt of the others helps only once that is mended."""
_Judged = dict[int | None, tuple[Case, Verdict]]
"""A thing's opened case beside each other one, judged; none stands for itself alone."""
SUBJECT: Final = PLACE.partition(".")[0]


class Together:
    """Judges several things by an answerer's rulebook; safe to share between threads."""

    def __init__(self, answerer: "Answerer") -> None:
        self.answerer, self.engine, self.wording = answerer, answerer.engine, answerer.wording
        self.adds: Mapping[str, Adds] = answerer.rulebook.beside
        self.not_asked = frozenset((PLACE, *self.adds))
        derived = self.engine.bare_derived
        supports = {name: Support([one.value], derived) for name, one in self.adds.items()}
        self.rests = {name: frozenset(leaf.name for leaf in one.leaves) for name, one in supports.items()}

    @cached_property
    def rules(self) -> frozenset[str]:
        """The rules that look at all else on the rig, beyond where a thing itself hangs."""
        rules = self.engine.rulebook.rules
        reads = ({leaf.name for leaf in self.engine.support(number, False).leaves} for number in range(len(rules)))
        return frozenset(rule.id for rule, names in zip(rules, reads, strict=True) if names & self.adds.keys())

    def answer(self, things: Sequence[Thing], system: System = "us", most: int = MOST_WORK) -> Answer:
        """The answer for all of them at once, with each one's own; they share the work on what to learn next."""
        return _Judging(self, things, system, Work(min(most, MOST_TOGETHER))).answer()

    def verdicts(self, things: Sequence[tuple[Case, Value]]) -> list[Verdict]:
        """What each of several things comes to beside the others at its worst: its case alone, and where it hangs."""
        beside = Beside(self.answerer, things)
        return [
            max(
                (beside.judged(i, near) for near in beside.near(i)), key=lambda verdict: OUTCOMES.index(verdict.outcome)
            )
            for i in range(len(things))
        ]

    def alone(self, things: Sequence[tuple[Case, Value]]) -> list[Verdict]:
        """What each of several things comes to by itself, where it hangs."""
        beside = Beside(self.answerer, things)
        return [beside.judged(i, None, []) for i in range(len(things))]

    def kind(self, thing: Thing, system: System = "us") -> str:
        """What a thing is called that nobody has named: by its kind, where that is known; a trailer by what it is."""
        fact, case = self.answerer.rulebook.vocabulary.facts[KIND], thing.question.case
        if fact.subject not in case.present:
            return called("trailer")
        known = case.facts.get(KIND)
        if known is None or not is_exact(fact.type, known):
            return t("thing")
        return self.wording.fact_text(KIND, case, system)


class Beside:
    """Several cases on one rig, each with where it hangs, and what each finds beside it; by itself it finds nothing."""

    def __init__(self, answerer: "Answerer", things: Sequence[tuple[Case, Value]]) -> None:
        self.engine, self.reader, self.adds = answerer.engine, answerer.reader, answerer.rulebook.beside
        self.things = things
        self.values = [self._values(case, place) for case, place in things]

    def _values(self, case: Case, place: Value) -> Mapping[str, Value]:
        """What a thing adds to each fact of all else, as far as it is known."""
        return self._added(self.engine.opened(self._with(case, {PLACE: place})))

    def _added(self, opened: Case) -> Mapping[str, Value]:
        """What a thing adds to each fact of all else, by its opened case where it hangs."""
        found = self.engine.values((SUBJECT,), lambda: [one.value for one in self.adds.values()]).of(opened)
        return dict(zip(self.adds, found, strict=True))

    def _with(self, case: Case, beside: Mapping[str, Value]) -> Case:
        """A case with facts of all else in it."""
        present = case.present | {SUBJECT} | self.reader.named(beside)
        return replace(case, facts={**case.facts, **beside}, present=present)

    def hung(self, i: int) -> Case:
        """A thing's case with where it hangs, and nothing beside it."""
        case, place = self.things[i]
        return self._with(case, {PLACE: place})

    def near(self, i: int) -> Sequence[int | None]:
        """The things in the same receiver, each to be looked at; none alone stands for itself."""
        place = self.things[i][1]
        return [j for j, (_, other) in enumerate(self.things) if j != i and other == place] or [None]

    def case(self, i: int, others: Sequence[int], near: int | None) -> Case:
        """A thing's case with all else beside it: the sums over the others, and one of them near."""
        case, place = self.things[i]
        beside = {PLACE: place}
        here = [j for j in others if self.things[j][1] == place]
        for name, adds in self.adds.items():
            whose = here if adds.on == "receiver" else others
            if adds.by == "each":
                beside |= {name: self.values[near][name]} if near is not None else {}
            else:
                beside[name] = _together(adds, [self.values[j][name] for j in whose])
        return self._with(case, beside)

    def neighbour(self, i: int, j: int) -> Neighbour:
        """The jth thing as it finds the ith beside it, whatever that is loaded with."""
        rest, place = [k for k in range(len(self.things)) if k != j], self.things[j][1]
        here = {k for k in rest if self.things[k][1] == place}
        whose = {name: here if one.on == "receiver" else rest for name, one in self.adds.items() if one.by == "sum"}
        others = {name: [self.values[k][name] for k in found if k != i] for name, found in whose.items() if i in found}

        def finds(loaded: Case) -> Mapping[str, Value]:
            added = self._added(loaded)
            return {name: _together(self.adds[name], [*values, added[name]]) for name, values in others.items()}

        return Neighbour(self.engine.opened(self.case(j, rest, self.near(j)[0])), finds)

    def judged(self, i: int, near: int | None, others: Sequence[int] | None = None) -> Verdict:
        """What a thing comes to beside the others: all of them, or these."""
        rest = [j for j in range(len(self.things)) if j != i] if others is None else others
        return self.engine.evaluate(self.case(i, rest, near))


class _Carrying:
    """What each of several things may carry beside the others, where no load is named for it.

    Nobody has said what the others carry either: each is taken with all that its own label allows, so that what is told
    of each holds for all at once.
    """

    def __init__(self, answerer: "Answerer", beside: Beside) -> None:
        self.answerer, self.beside = answerer, beside

    @cached_property
    def laden(self) -> Sequence[Laden | None]:
        """Each with nothing on it and with all its label allows; None where a load is named or none is carried."""
        return [self.answerer.allowances.allowances.laden(self.beside.hung(i)) for i in range(len(self.beside.things))]

    def told(self, i: int, near: int | None, system: System) -> Carried | None:
        """What the ith may carry, beside the one that is near."""
        if self.laden[i] is None:
            return None
        others = any(one is not None for k, one in enumerate(self.laden) if k != i)
        alone = self._shared(i, near, full=False) if others else None
        return self.answerer.allowances.beside(self._shared(i, near, full=True), alone, system)

    def steps(self, i: int) -> list[Next]:
        """What is to be asked of the load of the ith, where none is named for it."""
        laden, vocabulary = self.laden[i], self.answerer.rulebook.vocabulary
        facts = [vocabulary.facts[name] for name in laden.asks] if laden is not None else []
        return [Next(fact=fact.name, ask=ASK[fact.effort], how=fact.how_to_measure) for fact in facts]

    def holds_up(self, i: int) -> bool:
        """Whether what is open of the ith is what the others carry: with nothing on them it would be settled."""
        if all(laden is None or k == i for k, laden in enumerate(self.laden)):
            return False
        beside = self._beside(False, i)
        return all(beside.judged(i, near).outcome in ("works", "conditional") for near in beside.near(i))

    def _shared(self, i: int, near: int | None, *, full: bool) -> Shared:
        """The ith beside the others, with all on them that their labels allow or nothing, and those beside it."""
        rest = [k for k in range(len(self.beside.things)) if k != i]
        case = self.beside.engine.opened(self._beside(full, i).case(i, rest, near))
        # Of another it counts what the load brings on it as it is, which no load of its own hides.
        return Shared(case, [self._beside(full, i, j).neighbour(i, j) for j in rest])

    def _beside(self, full: bool, *but: int) -> Beside:
        """The things with all that their labels allow, or nothing; the first of some as told, the rest with nothing."""
        things = list(self.beside.things)
        for k, (laden, (_, place)) in enumerate(zip(self.laden, things, strict=True)):
            if laden is not None and k not in but[:1]:
                things[k] = (laden.full if full and k not in but else laden.empty, place)
        return Beside(self.answerer, things)


class _Judging:
    """One question's things being judged."""

    def __init__(self, together: Together, things: Sequence[Thing], system: System, work: Work) -> None:
        self.together, self.answerer, self.engine = together, together.answerer, together.engine
        self.things, self.system, self.work = things, system, work
        self.names = told_apart([thing.name or together.kind(thing, system) for thing in things])
        self.beside = Beside(together.answerer, [(thing.question.case, thing.place) for thing in things])
        self.carrying = _Carrying(together.answerer, self.beside)
        self.judged: Sequence[tuple[Verdict, _Judged]] = ()

    def question(self, i: int, near: int | None) -> Question:
        """A thing's question with all else beside it."""
        rest = [j for j in range(len(self.things)) if j != i]
        case = self.beside.case(i, rest, near)
        return replace(self.things[i].question, case=case, not_asked=self.together.not_asked)

    def answer(self) -> Answer:
        """The answer for all at once."""
        self.judged = judged = [self._judged(i) for i in range(len(self.things))]
        outcome = _worst(
            one for alone, beside in judged for one in (held_by_itself(alone), *(v.outcome for _, v in beside.values()))
        )
        if outcome == "fails":
            self.work.left = min(self.work.left, _WHERE_ONE_FAILS)
        each = [self._thing(i, alone.outcome, beside) for i, (alone, beside) in enumerate(judged)]
        said = self._ask_for_loads(each) if outcome == "undetermined" else []
        found = [one.answer for one in each]
        rulebook = self.answerer.rulebook
        limits = {rule.limit.replace("-", "_") for rule in rulebook.rules if rule.id in self.together.rules}
        findings = self._findings(found)
        see_to = told_once(one for a in found if outcome != "fails" for one in a.to_see_to)
        spoils = [self._spoiler(one) for one in findings if one.result != "passes"]
        return Answer(
            outcome=outcome,
            summary=" ".join([self._summary(outcome, each, spoils, see_to), *said]),
            findings=findings,
            limits=union(
                ([one for one in answer.limits if one.limit in limits] for answer in found), lambda one: one.limit
            ),
            needs=union((answer.needs for answer in found), lambda need: tuple(need.items())),
            next=[],
            remedies=[],
            cautions=union(answer.cautions for answer in found),
            assumed=union(answer.assumed for answer in found),
            disputed=union((answer.disputed for answer in found), lambda one: one.fact),
            to_see_to=see_to,
            rulebook=RulebookName(rulebook.digest, rulebook.name),
            together=each,
            spoils=spoils,
        )

    def _judged(self, i: int) -> tuple[Verdict, _Judged]:
        """What a thing comes to by itself, and beside each other one."""
        return self.beside.judged(i, None, []), self._beside_each(i)

    def _thing(self, i: int, alone: Outcome, judged: _Judged) -> ThingAnswer:
        """A thing by itself, and in full where it comes to the worst, with what is found beside the others.

        It has its share of the work, so that its readings are told whatever is open of those before it.
        """
        thing = self.things[i]
        worst = max(judged, key=lambda near: OUTCOMES.index(judged[near][1].outcome))
        share = Work(self.work.left // (len(self.things) - i))
        self.work.left -= share.left
        question, verdict = self.question(i, worst), judged[worst][1]
        allowed = partial(self.carrying.told, i, worst, self.system)
        answer = self.answerer.answer_question(question, self.system, share, verdict, allowed, partial(self._spoils, i))
        self.work.left += max(0, share.left)
        for near, (case, verdict) in judged.items():
            if near != worst:
                more = self.answerer.findings(verdict, case, self.system, passing=False)
                answer.findings = union([answer.findings, more], lambda one: (one.rule, one.reason))
        return ThingAnswer(self.names[i], thing.hangs_on, alone, answer)

    def _spoils(self, i: int, held: UnknownFact) -> Callable[[Value], bool] | None:
        """What tells of readings of a fact of the ith whether a rule of another thing fails that waits for it, too."""
        both = [j for j in range(len(self.things)) if j != i and self._is_of_both(i, j, held)]
        added = {name for name, leaves in self.together.rests.items() if held.name in leaves}
        waiting = [
            (j, near, numbers)
            for j, (_, judged) in enumerate(self.judged)
            if j != i
            for near, (case, verdict) in judged.items()
            if (numbers := self._waiting(case, verdict, added | ({held.name} if j in both else set())))
        ]
        if not waiting:
            return None

        def spoils(value: Value) -> bool:
            things = list(self.beside.things)
            for k in (i, *both):
                things[k] = (told(self.engine, things[k][0], {held: value}), things[k][1])
            beside = Beside(self.answerer, things)
            for j, near, numbers in waiting:
                rest = [k for k in range(len(things)) if k != j]
                case = self.engine.opened(beside.case(j, rest, near))
                if any(self.engine.judge(number, case) == "fails" for number in numbers):
                    return True
            return False

        return spoils

    def _waiting(self, case: Case, verdict: Verdict, names: AbstractSet[str]) -> list[int]:
        """The blocking rules open in a case that rest on one of some facts."""
        rules, adapted = self.engine.rulebook.rules, bool(case.adapters)
        return [
            number
            for number in (*verdict.unknown, *verdict.doubts)
            if rules[number].blocks
            and not names.isdisjoint(leaf.name for leaf in self.engine.support(number, adapted).leaves)
        ]

    def _is_of_both(self, i: int, j: int, held: UnknownFact) -> bool:
        """Whether a fact of the ith is one of the jth too: of what both hang on, or of what all are asked with."""
        subject, vocabulary = held.fact.subject, self.answerer.rulebook.vocabulary
        if not SUBJECTS[subject].in_rig and held.name not in vocabulary.serving("shared"):
            return False
        one, other = (self.beside.things[k][0] for k in (i, j))
        names = vocabulary.of(subject).values() if SUBJECTS[subject].in_rig else [held.fact]
        return held.adapter is None and all(one.facts.get(of.name) == other.facts.get(of.name) for of in names)

    def _beside_each(self, i: int) -> _Judged:
        """A thing's opened case beside each other one, judged; by cases only where no rule fails beside any of them."""
        cases = {near: self.engine.opened(self.question(i, near).case) for near in self.beside.near(i)}
        judged = {near: (case, self.engine.rule_by_rule(case)) for near, case in cases.items()}
        if any(verdict.fails for _, verdict in judged.values()):
            return judged
        return {near: (case, self.engine.by_cases(case, verdict)) for near, (case, verdict) in judged.items()}

    def _ask_for_loads(self, each: Sequence[ThingAnswer]) -> list[str]:
        """Ask what is to be carried where one is open by that alone, as a step of those that carry it, and in words."""
        open_ = [i for i, one in enumerate(each) if one.answer.outcome == "undetermined" and self.carrying.holds_up(i)]
        carried = []
        for k, one in enumerate(each):
            steps = self.carrying.steps(k) if any(i != k for i in open_) else []
            asked = {step.fact for step in steps}
            one.answer.next = [*steps, *(step for step in one.answer.next if step.fact not in asked)]
            if steps and one.answer.allowance:
                carried.append(_carried(one, one.answer.allowance))
        return [t("Say what is to be carried: {told}.", told=", ".join(carried))] if carried else []

    def _findings(self, found: Sequence[Answer]) -> list[Finding]:
        """The findings that all else has a part in, of each rule the worst, what decides the outcome first."""
        ours = [one for answer in found for one in answer.findings if one.rule in self.together.rules]
        order = {effect: place for place, effect in enumerate(RESULT_OF)}
        ours.sort(key=lambda one: order[self.together.wording.effect(one)])
        return union([ours], lambda one: one.rule)

    def _spoiler(self, finding: Finding) -> Spoiler:
        """Which of them it is between: the first two that come to it without the others, else all."""
        between = self.names
        rules = self.answerer.rulebook.rules
        number = next(n for n, rule in enumerate(rules) if rule.id == finding.rule)
        for (i, j), case in self._pairs.items():
            if self.engine.judge(number, case) == finding.result:
                between = [self.names[k] for k in sorted((i, j))]
                break
        helps = rules[number].remedy if finding.result == "fails" else ""
        return Spoiler(finding.rule, finding.result, finding.reason, list(between), helps)

    def _can_be_settled(self, one: ThingAnswer) -> bool:
        """Whether a step of a thing's own settles something that holds up its outcome."""
        open_ = {found.rule for found in one.answer.findings if self.together.wording.effect(found) == "unknown"}
        return any(not open_.isdisjoint(step.settles) for step in one.answer.next)

    @cached_property
    def _pairs(self) -> Mapping[tuple[int, int], Case]:
        """Each thing's opened case with one other beside it, of more than two."""
        pairs = permutations(range(len(self.things)), 2) if len(self.things) > 2 else ()
        near = {(i, j): j if j in self.beside.near(i) else None for i, j in pairs}
        return {(i, j): self.engine.opened(self.beside.case(i, [j], one)) for (i, j), one in near.items()}

    def _summary(
        self, outcome: Outcome, each: Sequence[ThingAnswer], spoils: Sequence[Spoiler], see_to: Sequence[ToSeeTo]
    ) -> str:
        """Yes, no, only if, or not sure, and by which of them; of several that are to be seen to, of all at once."""
        all_of_them = joined([t("the {name}", name=one.name) for one in each])
        carried = [_carried(one, one.answer.allowance) for one in each if one.answer.allowance]
        if outcome == "works":
            return (
                ", ".join([t("Yes, {all_of_them} work on this rig together", all_of_them=all_of_them), *carried]) + "."
            )
        alone = next((one for one in each if one.alone == outcome), None)
        failing = next((one for one in spoils if one.result == "fails"), None)
        if outcome == "fails" and alone is None and failing is not None:
            return t("No, not together. {reason}", reason=failing.reason)
        # What is open for one may be a figure of another, which alone can be asked for it.
        first = alone or max((one for one in each if one.answer.outcome == outcome), key=self._can_be_settled)
        if outcome == "conditional" and len(see_to) > len(first.answer.to_see_to):
            steps = next((one.answer.next for one in each if one.answer.next), [])
            held = [_carried(one, found) for one in each if (found := one.answer.allowance) and found.at_most]
            unsure = [_carried(one, found) for one in each if (found := one.answer.allowance) and not found.at_most]
            how = [t("This holds for {held}.", held="; ".join(held))] if held else []
            how += [f"{capped(one)}." for one in unsure]
            return " ".join([only_if(self.together.wording, see_to, steps, None), *how])
        return f"{capped(t('the {name}', name=first.name))}: {first.answer.summary}"


def _carried(one: ThingAnswer, allowance: AllowanceShown) -> str:
    """What one of several may carry, or why that is not sure, beside its name."""
    if allowance.at_most:
        return t("the {name} {told}", name=one.name, told=allowance.told)
    return t("the {name}: {told}", name=one.name, told=allowance.told)


def _together(adds: Adds, values: Sequence[Value]) -> Value:
    """What several things come to: a sum by its bounds, or a yes where any is."""
    if adds.by == "any":
        return max([NO, *(value for value in values if not isinstance(value, tuple))])
    total = (0.0, 0.0)
    for value in values:
        assert isinstance(value, tuple)
        total = plus(total, value)
    return total


def held_by_itself(alone: Verdict) -> Outcome:
    """What a thing by itself holds all of them to: a part that it lacks may be another of them, else is told there."""
    return "works" if alone.outcome == "conditional" and not (alone.cautions or alone.left("doubts")) else alone.outcome


def _worst(outcomes: Iterable[Outcome]) -> Outcome:
    return max(outcomes, key=OUTCOMES.index)


def told_apart(names: Sequence[str]) -> list[str]:
    """The names, each once: of several alike each with its number."""
    return [f"{name} ({names[: i + 1].count(name)})" if names.count(name) > 1 else name for i, name in enumerate(names)]
