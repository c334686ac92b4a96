"""What would make several things work at once, found by answering: every remedy is a changed question.

Tried for an answer that fails: a part of the shelf in the opening that all of them share, as one with an opening for
each; then each of them left off. Where neither helps it is said what does by the rules that fail.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final

from fitsvc.answers.answer import Answer, Remedy
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.phrases import joined
from fitsvc.answers.records import Records
from fitsvc.answers.remedies import MOST_CHANGES, MOST_TOLD, QuestionChange, remedy_of
from fitsvc.answers.shelf import Item, Shelf
from fitsvc.answers.spelling import spelt_out
from fitsvc.answers.things import Thing, has_own_rig, left_off
from fitsvc.answers.together import Beside
from fitsvc.document import Document
from fitsvc.facts import MOST_ADAPTERS
from fitsvc.language.problems import ProblemsFound
from fitsvc.tongues import t

if TYPE_CHECKING:
    from fitsvc.answers.answering import Answerer

_MOST_ASKED: Final = 6
"""Parts with which no rule fails that fails now, and that are answered in full for all of the things: some 10 ms each.
"""


@dataclass(slots=True, kw_only=True)
class RemediesTogether:
    """The search for remedies of an answer about several things that is no; `ask` answers a changed question.

    `untried` counts the changes that it left, being too many.
    """

    answerer: "Answerer"
    records: Records
    shelf: Shelf
    ask: Callable[[Document], Answer]
    untried: int = 0

    def find(self, document: Document, things: Sequence[Thing], answer: Answer) -> list[Remedy]:
        """The changes with which they no longer fail, and what helps by the rules that fail where there is none."""
        effect = self.answerer.wording.effect
        each = [one for thing in answer.together for one in thing.answer.findings]
        failing = dict.fromkeys(one.rule for one in each if effect(one) == "fails")
        added = islice(self._added(document, things, [*failing]), MOST_TOLD)
        found = [*added, *self._left_off(document, answer)]
        helps = {one.helps: None for one in answer.spoils if one.helps and one.rule in failing}
        if not found and helps:
            told = t("What helps: {these}.", these=joined([*helps]))
            found = [Remedy(change="none", outcome="fails", because=told)]
        return found

    def _told(self, change: QuestionChange) -> Remedy | None:
        """A change as it is told; None of one that works no better, or that cannot be asked."""
        try:
            answer = self.ask(change.document)
        except ProblemsFound:  # as where nothing hangs on the receiver that is told for all
            return None
        helps = answer.outcome in ("works", "conditional")
        return remedy_of(self.answerer.wording, change, answer) if helps else None

    def _left_off(self, document: Document, answer: Answer) -> Iterator[Remedy]:
        """One of them left off, the rest as they are: what is named first, which is asked about, as the last."""
        for number, one in reversed([*enumerate(answer.together)]):
            rest = left_off(document, number, self.answerer.reader, self.records)
            if rest is not None:
                words = t("the {name} left off", name=one.name)
                told = self._told(QuestionChange(sort="leave off", words=words, document=rest))
                yield from filter(None, [told])

    def _added(self, document: Document, things: Sequence[Thing], failing: Sequence[str]) -> Iterator[Remedy]:
        """A part in the opening that all of them share; none where one of those there has adapters of its own."""
        document = spelt_out(document, self.records, self.answerer.reader)
        rig, each = document.get("rig") or {}, document[TOGETHER]
        shared = [i for i, one in enumerate(each) if not has_own_rig(one)]
        places = {things[i].place for i in shared}
        if len(shared) < 2 or any(things[i].place in places for i in range(len(each)) if i not in shared):
            return
        for part in islice(self._parts(things, shared, failing), _MOST_ASKED):
            changed = {**document, "rig": {**rig, "adapters": [*(rig.get("adapters") or []), {"sku": part.sku}]}}
            words = t("{parts} in the opening", parts=t("the {label}", label=part.label))
            told = self._told(QuestionChange(sort="add", parts=(part,), words=words, document=changed))
            yield from filter(None, [told])

    def _parts(self, things: Sequence[Thing], shared: Sequence[int], failing: Sequence[str]) -> Iterator[Item]:
        """Adapters of the shelf with which none of the rules fails that fail now, by what is beside each as it is."""
        engine, reader, about = self.answerer.engine, self.answerer.reader, self.answerer.missing.about
        numbers = [n for n, rule in enumerate(self.answerer.rulebook.rules) if rule.id in failing]
        if not numbers or not all("opening" in about(number) for number in numbers):
            return
        beside = Beside(self.answerer, [(thing.question.case, thing.place) for thing in things])
        rest = {i: [j for j in range(len(things)) if j != i] for i in shared}
        cases = [beside.case(i, rest[i], beside.near(i)[0]) for i in shared]
        if any(len(case.adapters) >= MOST_ADAPTERS for case in cases):
            return
        items, most = self.shelf.items("adapter"), MOST_CHANGES // len(cases)
        self.untried += max(0, len(items) - most)
        for item in items[:most]:
            opened = (engine.opened(reader.stacked(case, [item.values])) for case in cases)
            if not any(engine.judge(number, case) == "fails" for case in opened for number in numbers):
                yield item
