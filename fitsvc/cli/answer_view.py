"""An answer as a clerk reads it: the outcome, why, what to see to, what to measure."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from fitsvc.answers.phrases import capped, joined, not_known, uncapped
from fitsvc.answers.summary import as_usual, changes_untried, more_open, told
from fitsvc.cli.console import paragraph
from fitsvc.rulebook.outcomes import OUTCOME_OF, Outcome
from fitsvc.subjects import PLACE

if TYPE_CHECKING:
    from fitsvc.answers.answer import AllowanceShown, Answer, Finding, LimitShown, Remedy, SeeTo
    from fitsvc.answers.answering import Answerer
    from fitsvc.cli.console import Console

_OUTCOMES: Final = {
    "works": ("WORKS", "bold green"),
    "conditional": ("CONDITIONAL", "bold yellow"),
    "undetermined": ("UNDETERMINED", "bold magenta"),
    "fails": ("FAILS", "bold red"),
}
_MARKS: Final[Mapping[Outcome, tuple[str, str]]] = {
    "fails": ("✗", "red"),
    "undetermined": ("?", "magenta"),
    "conditional": ("!", "yellow"),
    "works": ("✓", "green"),
}
_SEEN_TO: Final[Mapping["SeeTo", tuple[str, str]]] = {
    "find out": ("?", "yellow"),
    "look at": ("!", "yellow"),
    "do": ("+", "cyan"),
    "have": ("+", "cyan"),
}
_STEPS: Final = 4


def show_outcome(console: "Console", answer: "Answer", indent: int = 0) -> None:
    """Print the outcome, and the summary below it."""
    word, colour = _OUTCOMES[answer.outcome]
    console.print(" " * indent + word, colour)
    paragraph(console, answer.summary, indent=indent)


def show_answer(console: "Console", answer: "Answer", answerer: "Answerer", *, everything: bool = False) -> None:
    """Print an answer."""
    _View(console, answerer, everything).show(answer)


class _View:
    """One answer being printed, with the words of its rulebook at hand."""

    def __init__(self, console: "Console", answerer: "Answerer", everything: bool) -> None:
        self.console, self.everything = console, everything
        self.wording, self.the = answerer.wording, answerer.wording.the
        self.rulebook = answerer.rulebook
        self.places = answerer.rulebook.vocabulary.words[answerer.rulebook.vocabulary.facts[PLACE].kind]
        self.helps = {rule.id: rule.remedy for rule in answerer.rulebook.rules if rule.remedy}

    def show(self, answer: "Answer") -> None:
        """Print the whole answer."""
        show_outcome(self.console, answer)
        if answer.candidates:
            self._heading("Which it may be")
            self._list(f"{one.label or one.id}: {one.outcome}." for one in answer.candidates)
        self._findings(answer)
        self._together(answer)
        if answer.remedies:
            ways = [one.outcome for one in answer.remedies if one.question]
            works = "What gets past that" if {*ways} == {"undetermined"} else "What would make it work"
            self._heading(works if ways else "What it would have to be")
            self._list(_remedy(remedy) for remedy in answer.remedies)
        if text := changes_untried(answer):
            if not answer.remedies:
                self._heading("What would make it work")
                text = f"Nothing that was tried. {text}"
            self._line(text, "  ")
        self._to_see_to(answer)
        self._needs(answer)
        self._next(answer)
        self._allowance(answer.allowance)
        self._limits(answer.limits)
        if answer.cautions:
            self._heading("Keep in mind")
            self._list(answer.cautions)
        stale = [one.because for one in answer.disputed if one.state == "stale"]
        disputed = [one.because for one in answer.disputed if one.state != "stale"]
        for heading, told_of in (("What is disputed", disputed), ("What was seen before something changed", stale)):
            if told_of:
                self._heading(heading)
                self._list(told_of)
        if answer.assumed:
            self._heading("Rests on what was assumed")
            self._list(answer.assumed)
        digest = answer.rulebook.digest.removeprefix("sha256:")[:12]
        self.console.print()
        self._line(f"by the rulebook {answer.rulebook.name}, {digest}", style="dim")

    def _findings(self, answer: "Answer") -> None:
        """Why; where the answer is no, what is wrong, and of the rest only how much there is."""
        findings, no = answer.findings, answer.outcome == "fails"
        pairs = {spoiler.rule: spoiler.between for spoiler in answer.spoils}
        seen_to = {rule for thing in answer.to_see_to for rule in thing.rules}
        shown = [
            one
            for one in findings
            if self.everything
            or (self._brought(one) == "fails" if no else one.result != "passes" and one.rule not in seen_to)
        ]
        if findings:
            self._heading("Why")
        for case in answer.either_way.cases if answer.either_way and no else ():
            self._line(case.reason, *_MARKS["fails"])
        for finding in shown:
            sign, colour = _MARKS[self._brought(finding)]
            self._line(finding.reason, sign, colour)
            if between := pairs.get(finding.rule):
                self._line(f"It lies between {joined([f'the {one}' for one in between])}.", style="dim", indent=4)
            if finding.result == "fails" and (helps := self.helps.get(finding.rule)):
                self._line(f"What helps: {helps}.", style="cyan", indent=4)
            if self.everything:
                self._line(f"{finding.rule}: {_source(finding.source)}", style="dim", indent=4)
        if self.everything:
            return
        passed = sum(finding.result == "passes" for finding in findings)
        if more := len(findings) - len(shown) - passed - sum(one.rule in seen_to for one in findings):
            self._line(f"{more} more to look at after that (`--all` tells).", *_MARKS["conditional"])
        if passed:
            rules = "1 rule passes" if passed == 1 else f"{passed} rules pass"
            self._line(f"{rules} (`--all` tells).", *_MARKS["works"])

    def _together(self, answer: "Answer") -> None:
        """What each of several things comes to."""
        for thing in answer.together:
            self._heading(f"{capped(f'the {thing.name}')}, in {self.places.get(thing.hangs_on, thing.hangs_on)}")
            self._line(f"By itself: {thing.alone}. With all else: {thing.answer.outcome}.")
            self._line(thing.answer.summary)
            self._next(thing.answer)

    def _brought(self, finding: "Finding") -> Outcome:
        return OUTCOME_OF[self.wording.effect(finding)]

    def _allowance(self, allowance: "AllowanceShown | None") -> None:
        """What it may carry here, which rules allow no more, and what may make it less."""
        if allowance is None:
            return
        title = next(one.title for one in self.rulebook.allowances if one.name == allowance.allowance)
        self._heading(title)
        self._line(f"{capped(allowance.told)}.", "·")
        rules = {rule.id: rule.title for rule in self.rulebook.rules}
        for name in allowance.against:
            self._line(f"No more, so that: {uncapped(rules[name])}.", style="dim", indent=4)
        if allowance.at_most and allowance.unknown:
            open_ = not_known([self.the(name) for name in allowance.unknown])
            self._line(f"It may be less, as {open_}.", *_MARKS["undetermined"])

    def _limits(self, limits: Sequence["LimitShown"]) -> None:
        if not limits:
            return
        titles = {limit.name: limit.title for limit in self.rulebook.limits}
        self._heading("Limits")
        for limit in limits:
            title = titles.get(limit.limit, limit.limit)
            open_ = not_known([self.the(name) for name in limit.unknown]) if limit.unknown else ""
            if limit.at_most:
                left = f"nothing, {limit.over} over already" if limit.over else limit.at_most
                text = f"{title}: {left}, by {self.the(limit.governed_by)}."
                text += f" It may be less, as {open_}." if open_ else ""
            else:
                text = f"{title}: not known, as {open_}."
            self._line(text, "·")

    def _to_see_to(self, answer: "Answer") -> None:
        """What to see to, each thing once, with what is told of it besides and what helps."""
        failing = {one.rule for one in answer.findings if one.result == "fails"}
        if answer.to_see_to:
            self._heading("What to see to")
        for thing in answer.to_see_to:
            self._line(" ".join([thing.told, *thing.also]), *_SEEN_TO[thing.sort])
            for helps in filter(None, map(self.helps.get, failing.intersection(thing.rules))):
                self._line(f"What helps: {helps}.", style="cyan", indent=4)

    def _needs(self, answer: "Answer") -> None:
        """What it also needs of an answer that is no, each with its figures in words: told only with everything."""
        if not answer.needs or answer.to_see_to or not self.everything:
            return
        self._heading("It also needs")
        for need in answer.needs:
            self._line(need["because"], "+", "cyan")

    def _next(self, answer: "Answer") -> None:
        steps = answer.next
        if not steps:
            return
        self._heading("What to find out next")
        shown = steps if self.everything else steps[:_STEPS]
        for number, step in enumerate(shown, start=1):
            self._line(f"{capped(self.the(step.fact))}. {step.how}", f"{number}.", "bold")
            if parts := told(step, answer, self.wording.engine.rulebook.vocabulary.facts.get(step.fact)):
                self._line(f"{capped('; '.join(parts))}.", style="cyan", indent=5)
        if more := len(steps) - len(shown):
            self._line(f"{more} more (`--all` tells).", "  ")
        for text in filter(None, (more_open(answer), as_usual(answer, self.wording))):
            self._line(text, "  ")

    def _heading(self, text: str) -> None:
        self.console.print()
        self.console.print(text, "bold")

    def _list(self, lines: Iterable[str]) -> None:
        for line in lines:
            self._line(line, "·")

    def _line(self, text: str, sign: str = "", colour: str = "", *, style: str = "", indent: int = 0) -> None:
        """A paragraph, behind its sign if it has one."""
        paragraph(self.console, text, sign=sign, colour=colour, style=style, indent=indent or (2 if sign else 0))


def _remedy(remedy: "Remedy") -> str:
    skus = remedy.skus or [*filter(None, (remedy.sku,))]
    return remedy.because + (f" Part{'s' if len(skus) > 1 else ''} {joined(skus)}." if skus else "")


def _source(source: dict[str, str]) -> str:
    words = {"common_practice": "common practice", "published": "published", "estimate": "an estimate"}
    detail = source.get("cite") or source.get("because") or ""
    return words.get(source["kind"], source["kind"]) + (f", {detail}" if detail else "")
