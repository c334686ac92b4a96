"""A vehicle named only in part: what holds over all the stored configurations it may be, and what tells them apart.

Each candidate is judged as if it had been named, with its own mounting of the receiver. Where all come to the
same, that is the answer, told with the lowest limits and the worst findings among them; works on some and
conditional on others is conditional. Where they differ the answer is undetermined, and the first thing to
learn is the fact whose answer leaves the fewest candidates undecided.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from typing import Any, Final

from fitsvc.answers.allowances import Carried
from fitsvc.answers.answer import Candidate, Finding, Next
from fitsvc.answers.missing import Missing
from fitsvc.answers.next_steps import ASK, Steps, next_steps
from fitsvc.answers.phrases import joined
from fitsvc.answers.question import Question
from fitsvc.answers.records import Named
from fitsvc.answers.taken import agree, folded
from fitsvc.answers.trying import MOST_WORK
from fitsvc.answers.wording import Wording
from fitsvc.engine.limits import Lowest
from fitsvc.engine.verdict import Verdict
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.typed import TOLD, Read, join
from fitsvc.language.types import ListType, TextType, Value, is_exact
from fitsvc.rulebook.outcomes import RESULT_OF, Outcome
from fitsvc.rulebook.vocabulary import EFFORTS, Fact, Vocabulary
from fitsvc.tongues import later, t

MOST: Final = 24
"""How many candidates are judged on a bare receiver, 40 ms of them at worst; of more, it is only asked which it is."""
_MOST_OVER: Final = 5_000
"""Judgements on what to learn next over all candidates, less what it takes to judge each of them before."""
_EACH: Final = 150
"""Judgements that one candidate takes as long as, as many more with each adapter: judged in full, and in words."""

CONFIGURATION: Final = "vehicle.id"
"""What is asked for where no fact tells the candidates apart."""

_CLASS: Final[Mapping[Outcome, str]] = {
    "works": "works",
    "conditional": "works",
    "fails": "fails",
    "undetermined": "",
}
_COUNTED: Final[Mapping[Outcome, tuple[str, str]]] = {
    "works": (later("{count} would do"), later("{count} would do")),
    "conditional": (later("{count} would do on conditions"), later("{count} would do on conditions")),
    "fails": (later("{count} would not"), later("{count} would not")),
    "undetermined": (later("{count} is open"), later("{count} are open")),
}
"""What one and what several of them come to."""
_RANKS: Final = tuple(RESULT_OF)


@dataclass(frozen=True, slots=True)
class CandidateAnswer:
    """One candidate: its name, the question about it, its opened case, what it came to and the findings."""

    vehicle: Named
    question: Question
    case: Case
    verdict: Verdict
    findings: tuple[Finding, ...]


def most_of(case: Case) -> int:
    """How many candidates are judged of a question: each adapter in the opening makes one dearer by what it costs."""
    return MOST // (1 + len(case.adapters))


def outcome_of(judged: Sequence[CandidateAnswer]) -> Outcome:
    """What holds over all candidates."""
    return over_all({one.verdict.outcome for one in judged})


def over_all(outcomes: AbstractSet[Outcome]) -> Outcome:
    """What holds over all of some outcomes."""
    if len(outcomes) == 1:
        return next(iter(outcomes))
    return "conditional" if outcomes == {"works", "conditional"} else "undetermined"


def worst(judged: Sequence[CandidateAnswer]) -> CandidateAnswer:
    """The candidate with the most against it, the first of several."""
    return max(judged, key=lambda one: (len(one.verdict.failing), *map(len, one.verdict[2:5])))


def shown(judged: Sequence[CandidateAnswer]) -> list[Candidate]:
    """The candidates as the answer lists them."""
    return [Candidate(one.vehicle.key, one.vehicle.label, one.verdict.outcome) for one in judged]


def over(judged: Sequence[CandidateAnswer]) -> str:
    """A sentence on what the answer holds over."""
    counts = [(sum(one.verdict.outcome == kind for one in judged), texts) for kind, texts in _COUNTED.items()]
    told = [t(one if count == 1 else several, count=count) for count, (one, several) in counts if count]
    if len(told) == 1:
        if len(judged) == 2:
            return t("That is so for both configurations that are stored.")
        return t("That is so for all {count} configurations that are stored.", count=len(judged))
    return t("Of the {count} configurations that are stored, {told}.", count=len(judged), told=joined(told))


def merged_findings(judged: Sequence[CandidateAnswer], outcome: Outcome, wording: Wording) -> list[Finding]:
    """Each rule's worst finding; what is not so for all says for which, and is open where the answer is open."""

    def rank(finding: Finding) -> int:
        return _RANKS.index(wording.effect(finding))

    rows: dict[str, list[tuple[CandidateAnswer, Finding]]] = {}
    for one in judged:
        for finding in one.findings:
            rows.setdefault(finding.rule, []).append((one, finding))
    worst_of_each = (min((finding for _, finding in row), key=rank) for row in rows.values())
    return [_over_all(worst, rows[worst.rule], judged, outcome) for worst in sorted(worst_of_each, key=rank)]


def _over_all(
    finding: Finding,
    row: Sequence[tuple[CandidateAnswer, Finding]],
    judged: Sequence[CandidateAnswer],
    outcome: Outcome,
) -> Finding:
    """A rule's finding over all candidates, from the worst of them."""
    if finding.result == "passes":
        return finding
    same = [one for one, other in row if (other.result, other.reason) == (finding.result, finding.reason)]
    if len(same) == len(judged):
        return finding
    labels = [t("the {label}", label=one.vehicle.label) for one in same]
    where = (
        joined(labels)
        if len(labels) <= 2
        else t("{count} of the {of} configurations", count=len(labels), of=len(judged))
    )
    failing = sum(other.result == finding.result for _, other in row)
    result = "undetermined" if outcome == "undetermined" and failing < len(judged) else finding.result
    return Finding(
        rule=finding.rule,
        title=finding.title,
        result=result,
        severity=finding.severity,
        reason=t("{reason} That is so on {where}.", reason=finding.reason, where=where),
        facts=finding.facts,
        source=finding.source,
        margin=finding.margin,
    )


def lowest_limits(each: Iterable[Mapping[str, Lowest]]) -> dict[str, Lowest]:
    """Every limit at its lowest over the candidates; what is unknown for any is unknown."""
    found: dict[str, Lowest] = {}
    for limits in each:
        for name, low in limits.items():
            least = found.get(name)
            if least is None:
                found[name] = Lowest(low.at_most, low.governs, list(low.unknown))
                continue
            least.unknown = list(dict.fromkeys([*least.unknown, *low.unknown]))
            if low.at_most is not None and (least.at_most is None or low.at_most < least.at_most):
                least.at_most, least.governs = low.at_most, low.governs
    return found


def union(lists: Iterable[Iterable[Any]], key: Callable[[Any], Hashable] = lambda one: one) -> list[Any]:
    """What any of several lists holds, in the order in which it first comes."""
    found: dict[Hashable, Any] = {}
    for one in (one for each in lists for one in each):
        found.setdefault(key(one), one)
    return list(found.values())


def steps_over(
    missing: Missing,
    judged: Sequence[CandidateAnswer],
    system: System,
    most: int = MOST_WORK,
    carried: Carried | None = None,
) -> Steps:
    """What to learn next: what tells the candidates apart where they differ, then what is open on those left open.

    `carried` is what each of them may carry.
    """
    wording = missing.wording
    most = min(most, _MOST_OVER - _EACH * sum(1 + len(one.case.adapters) for one in judged))
    first = split(wording, judged) if outcome_of(judged) == "undetermined" and _differ(judged) else []
    left = [one for one in judged if not _CLASS[one.verdict.outcome]] or ([] if first else list(judged))
    if not left:
        return Steps(told=first)
    vocabulary = wording.rulebook.vocabulary
    case = _joined_case([one.question.case for one in left], vocabulary)
    steps = next_steps(missing, case, missing.engine.evaluate(case), system, most, carried)
    told = [step for step in steps.told if not _known_in_each(step.fact, left, vocabulary)]
    if told:
        return replace(steps, told=first + told)
    one = worst(left)
    steps = next_steps(missing, one.question.case, one.verdict, system, most, carried)
    return replace(steps, told=first + steps.told)


def _differ(judged: Sequence[CandidateAnswer]) -> bool:
    return len({_CLASS[one.verdict.outcome] for one in judged}) > 1


def _known_in_each(name: str, judged: Sequence[CandidateAnswer], vocabulary: Vocabulary) -> bool:
    """Whether a fact is exactly known of every candidate, so that telling them apart tells it too."""
    fact = vocabulary.facts[name]
    if isinstance(fact.type, TextType):
        return all(name in one.question.case.texts for one in judged)
    values = [one.question.case.facts.get(name) for one in judged]
    return all(value is not None and is_exact(fact.type, value) for value in values)


def _joined_case(cases: Sequence[Case], vocabulary: Vocabulary) -> Case:
    """One case that leaves open what differs between several: what surely holds of it holds of each."""
    slots, first = vocabulary.slots(), cases[0]
    facts: dict[str, Value] = {}
    for name in first.facts:
        values = [case.facts[name] for case in cases if name in case.facts]
        if len(values) == len(cases):
            facts[name] = join(slots[name.removesuffix(TOLD)], values)
    texts = {name: text for name, text in first.texts.items() if all(case.texts.get(name) == text for case in cases)}
    present = frozenset().union(*(case.present for case in cases))
    return replace(first, facts=facts, texts=texts, present=present)


def split(wording: Wording, judged: Sequence[CandidateAnswer]) -> list[Next]:
    """The fact that leaves the fewest candidates undecided at worst, then on the whole; of such the cheapest."""
    vocabulary = wording.rulebook.vocabulary
    best: tuple[tuple[int, ...], Fact, dict[str, list[CandidateAnswer]]] | None = None
    for order, fact in enumerate(vocabulary.naming().values()):
        by_value = _by_value(wording, fact, [one.vehicle for one in judged])
        groups = {text: [judged[i] for i in numbers] for text, numbers in by_value.items()}
        if len(groups) < 2:
            continue
        left = [0 if _decided(group) else len(group) for group in groups.values()]
        cost = (max(left), sum(left), EFFORTS.index(fact.effort), order)
        if best is None or cost < best[0]:
            best = (cost, fact, groups)
    if best is None or best[0][0] == len(judged):
        return [_which(judged)]
    _, fact, groups = best
    works, fails = ([text for text, group in groups.items() if _decided(group) == one] for one in ("works", "fails"))
    return [_step(fact, t(" or ").join(works), t(" or ").join(fails))]


def narrow(wording: Wording, candidates: Sequence[Named]) -> list[Next]:
    """Of too many candidates to judge, the fact that leaves the fewest at worst; of such the cheapest."""
    best: tuple[tuple[int, ...], Fact] | None = None
    for order, fact in enumerate(wording.rulebook.vocabulary.naming().values()):
        counts = [len(numbers) for numbers in _by_value(wording, fact, candidates).values()]
        if counts and max(counts) < len(candidates):
            cost = (max(counts), EFFORTS.index(fact.effort), order)
            best = min((cost, fact), best or (cost, fact), key=lambda one: one[0])
    if best is None:
        return [
            Next(
                fact=CONFIGURATION,
                ask="ask",
                how=t("Ask which of the {count} configurations it is.", count=len(candidates)),
            )
        ]
    return [_step(best[1], "", "")]


def _step(fact: Fact, works: str, fails: str) -> Next:
    return Next(fact=fact.name, ask=ASK[fact.effort], how=fact.how_to_measure, works_if=works, fails_if=fails)


def _which(judged: Sequence[CandidateAnswer]) -> Next:
    """The question that is left where no fact tells the candidates apart."""
    works, fails = (
        t(" or ").join(
            t("the {label}", label=one.vehicle.label) for one in judged if _CLASS[one.verdict.outcome] == outcome
        )
        for outcome in ("works", "fails")
    )
    labels = "; ".join(t("the {label}", label=one.vehicle.label) for one in judged[:6])
    how = t("Ask which it is, and name it by its id: {labels}.", labels=labels)
    return Next(fact=CONFIGURATION, ask="ask", how=how, works_if=works, fails_if=fails)


def _decided(group: Sequence[CandidateAnswer]) -> str:
    """What all candidates of a group come to, if they come to the same."""
    found = {_CLASS[one.verdict.outcome] for one in group}
    return found.pop() if len(found) == 1 else ""


def _by_value(wording: Wording, fact: Fact, vehicles: Sequence[Named]) -> dict[str, list[int]]:
    """The numbers of the vehicles by what a fact may be, in words; one of which it is not known belongs to all."""
    if fact.kind == "text":
        own = [one.texts.get(fact.name) for one in vehicles]
        spelled = {folded(text): text for text in reversed(own) if text is not None}
        return {
            spelled[key]: [i for i, text in enumerate(own) if text is None or folded(text) == key]
            for key in dict.fromkeys(folded(text) for text in own if text is not None)
        }
    values = [one.values.get(fact.name) for one in vehicles]
    return {
        text: [i for i, value in enumerate(values) if value is None or agree(value, reading)]
        for text, reading in _readings(wording, fact, [value for value in values if value is not None]).items()
    }


def _readings(wording: Wording, fact: Fact, values: Sequence[Value]) -> dict[str, Value]:
    """The exact readings of a choice or count that any of these values allows."""
    if isinstance(fact.type, ListType):
        members = wording.shown(Read(fact.type, fact.name)).words
        masks = [value for value in values if isinstance(value, int)]
        return {word: fact.type.member(i) for i, word in enumerate(members) if any(mask >> i & 1 for mask in masks)}
    counts = {value for value in values if isinstance(value, tuple) and value[0] == value[1]}
    return {f"{value[0]:g}": value for value in sorted(counts)}
