"""What of the shelf meets what an answer still wants: the ball, the pin, or the accessory itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.answers.answer import Answer
from fitsvc.answers.question import Question
from fitsvc.answers.shelf import Item, Shelf
from fitsvc.document import Document
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.types import ListType
from fitsvc.planning.reading import kinds_serving
from fitsvc.rulebook.filling import ACCESSORY
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.rulebook.rules import Fills
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.selector import read_rig
from fitsvc.service.context import Service
from fitsvc.service.counter.asking import Asker, told_apart
from fitsvc.service.counter.choosing import FIND
from fitsvc.service.counter.links import Fields, link, write_fields
from fitsvc.service.counter.rendering import shown_units
from fitsvc.service.counter.telling import Offer, Offered
from fitsvc.subjects import KIND

MOST: Final = 3
"""So many are offered for one need; a link leads to all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offers:
    """Makes what is offered beside one answer."""

    service: Service
    asker: Asker
    document: Document
    system: System

    def of(self, question: Question, answer: Answer) -> Mapping[str, Offered]:
        """What meets each need of an answer that something on the shelf meets, by the need's name.

        Of several vehicles, or of several things at once, there is no one opening that it would have to suit.
        """
        if len(question.candidates) > 1 or answer.together:
            return {}
        open_ = {need["need"] for need in answer.needs}
        needs = [need for need in self.service.answerer.rulebook.needs if need.fills is not None]
        return {need.name: self._fill(need.fills, question.case) for need in needs if need.fills and need.name in open_}

    def accessories(self, question: Question) -> Offered | None:
        """The accessories that serve a question which names none, the best first; None where that is not asked."""
        case = question.case
        if ACCESSORY in case.present or len(question.candidates) > 1 or not self.service.selections.ready:
            return None
        answerer = self.service.answerer
        kinds = kinds_serving(answerer.engine, answerer.reader, case)
        if not kinds:
            return None
        fields = write_fields(self.document) | shown_units(self.system)
        found = self._sold(case, kinds)
        return Offered([self._offer(one, fields, ACCESSORY) for one in found], link("/fits", fields))

    def _fill(self, fills: Fills, case: Case) -> Offered:
        shelf = self.service.shop.shelf(self.asker.session)
        return self._other(fills) if fills.subject == ACCESSORY else self._beside(fills.subject, case, shelf)

    def _beside(self, subject: str, case: Case, shelf: Shelf) -> Offered:
        """What is put beside the accessory in the same question."""
        fields = write_fields(self.document) | shown_units(self.system)
        found = self.service.planner.beside(case, subject, shelf, MOST)
        return Offered([self._offer(one, fields, subject) for one in found], f"{link('/', fields)}#{subject}-found")

    def _other(self, fills: Fills) -> Offered:
        """Another accessory, which is judged by itself in the same opening."""
        rig = {"rig": self.document.get("rig") or {}}
        fields = write_fields(rig) | shown_units(self.system)
        kind = self.asker.vocabulary.facts[KIND].type
        assert isinstance(kind, ListType)
        kinds = [member for member in kind.members if kind.mask(member) & fills.kinds]
        every = link("/fits", {**fields, "kind": kinds[0]})
        if not self.service.selections.ready:
            return Offered([], every)
        case = read_rig(rig, self.service.answerer, self.asker.records)
        return Offered([self._offer(one, fields, ACCESSORY) for one in self._sold(case, kinds)], every)

    def _sold(self, case: Case, kinds: Sequence[str]) -> list[tuple[Item, Outcome]]:
        selections = self.service.selections
        wanted = SelectionQuery(question={}, kinds=frozenset(kinds), sort="left", limit=MOST)
        found = selections.selector.first(selections.index.held(), case, wanted)
        return [one for one in found if one[1] in ("works", "conditional")]

    def _offer(self, one: tuple[Item, Outcome], fields: Fields, place: str) -> Offer:
        item, outcome = one
        rest = {name: text for name, text in fields.items() if name not in (place, f"{FIND}{place}")}
        return Offer(
            label=item.label or item.sku,
            sku=item.sku,
            outcome=outcome,
            figures=" · ".join(told_apart(item, self.service.answerer.wording, self.system)),
            href=link("/answer", {**rest, place: item.sku}),
        )
