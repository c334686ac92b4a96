"""The baskets that a plan comes to, each proven part by part, and what serves a wish that is there already."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import LITTLE_WORK
from fitsvc.answers.question import read_question
from fitsvc.answers.shelf import read_items
from fitsvc.answers.things import read_things
from fitsvc.document import Document, Json
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.several_view import several_view
from fitsvc.language.display import System
from fitsvc.planning.plan import AtOnce, Plan, PlanMiss, PlanPart, PlanSet, WishServed
from fitsvc.planning.reading import Wish
from fitsvc.rulebook.filling import ACCESSORY
from fitsvc.service.context import Service
from fitsvc.service.counter.asking import Asker
from fitsvc.service.counter.links import link, write_fields
from fitsvc.service.counter.offering import Offers
from fitsvc.service.counter.record_pages import record_href
from fitsvc.service.counter.rendering import shown_units
from fitsvc.service.counter.telling import Offered
from fitsvc.subjects import KIND
from fitsvc.tongues import later, t

_MOST_BASKETS: Final = 3
_BETWEEN: Final = "|"
_AT_ONCE: Final = later("All at the same time")
_ROLES: Final[Mapping[str, str]] = {
    "receiver": later("Receiver"),
    "adapter": later("In the opening"),
    "ball": later("Ball"),
    "pin": later("Pin"),
}
_SOLD_AS: Final[Mapping[str, str]] = {"receiver": "receiver", "adapter": "accessory", "ball": "accessory"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """One part of a basket: what it is for, its page, its number, those that do as well."""

    role: str
    label: str
    href: str
    number: str
    there: bool
    others: str


@dataclass(frozen=True, slots=True)
class ProofView:
    """One wish as a basket serves it: the answer that proves it, in a sentence."""

    name: str
    outcome: str
    summary: str
    href: str
    needs: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class BasketView:
    """One set of parts that serves every wish; `in_turn` is what goes into the one opening, one after another.

    `picture` shows what is on the vehicle at the same time, where that is wished.
    """

    title: str
    outcome: str
    key: str
    parts: Sequence[PartView]
    proofs: Sequence[ProofView]
    in_turn: Sequence[str]
    picture: Drawing | None


@dataclass(frozen=True, slots=True)
class OwnView:
    """A wish that what is there already serves or might: the answer about it, and what of the shelf meets its needs."""

    proof: ProofView
    offers: Sequence[Offered]

    @property
    def serves(self) -> bool:
        """Whether nothing else is to be sold for the wish, but for what it needs."""
        return self.proof.outcome in ("works", "conditional")


@dataclass(frozen=True, slots=True)
class MissView:
    """What comes near and does not do, and why."""

    name: str
    outcome: str
    because: str
    parts: Sequence[tuple[str, str]]
    href: str


def baskets(asker: Asker, plan: Plan, system: System) -> list[BasketView]:
    """The best few baskets of a plan."""
    sets = [*([plan.best] if plan.best else []), *plan.runners_up][:_MOST_BASKETS]
    return [_basket(asker, number, one, system) for number, one in enumerate(sets)]


def owned(
    service: Service, asker: Asker, document: Mapping[str, Json], wishes: Sequence[Wish], system: System
) -> dict[int, OwnView]:
    """What the accessory that is there already, with its ball, comes to for each wish that its kind serves, by number.

    An item whose kind is not surely one of those that serve a wish serves it not.
    """
    named = {place: document[place] for place in (ACCESSORY, "ball") if document.get(place)}
    key = (document.get(ACCESSORY) or {}).get("sku")
    record = asker.records.find(ACCESSORY, key) if key else None
    found: dict[int, OwnView] = {}
    for item in read_items(service.answerer.reader, [record]) if record else []:
        for number, wish in enumerate(wishes):
            if isinstance(item.kind, int) and not item.kind & ~wish.kinds:
                question = {"rig": document.get("rig") or {}, **named, **wish.parts}
                found[number] = _own(service, asker, question, wish.name, system)
    return found


def _own(service: Service, asker: Asker, question: Document, name: str, system: System) -> OwnView:
    read = read_question(question, service.answerer.reader, asker.records)
    answer = service.answerer.answer_question(read, system, LITTLE_WORK)
    offers = Offers(service=service, asker=asker, document=question, system=system).of(read, answer)
    proof = ProofView(name, answer.outcome, answer.summary, _href(question, system), _more_needs(answer))
    return OwnView(proof, list(offers.values()))


def _more_needs(one: Answer | WishServed) -> list[str]:
    return [need["because"] for need in one.needs if need["because"] not in one.summary]


def _basket(asker: Asker, number: int, one: PlanSet, system: System) -> BasketView:
    count = t("1 part") if one.count == 1 else t("{count} parts", count=one.count)
    left = t("nothing left to see to") if not one.open else t("{open} to see to", open=one.open)
    parts = [_part(asker, part) for part in one.parts]
    hung = [part.label for part in one.parts if part.role == ACCESSORY]
    proofs = [
        ProofView(wish.name, wish.outcome, wish.summary, _href(wish.question, system), _more_needs(wish))
        for wish in one.wishes
    ]
    if at_once := one.together:
        proofs.append(ProofView(_AT_ONCE, at_once.outcome, at_once.summary, _href(at_once.question, system), []))
    return BasketView(
        title=f"{count}, {left}",
        outcome=one.outcome,
        key=_BETWEEN.join(part.number for part in parts),
        parts=parts,
        proofs=proofs,
        in_turn=hung if len(hung) > 1 and one.together is None else [],
        picture=_at_once(asker, one.together, system, f"basket-{number}-view") if one.together else None,
    )


def _at_once(asker: Asker, one: AtOnce, system: System, prefix: str) -> Drawing | None:
    """The picture of what is on the vehicle at the same time."""
    things = read_things(one.question, asker.answerer.reader, asker.records)
    return several_view(asker.answerer, things, system, prefix)


def _part(asker: Asker, part: PlanPart) -> PartView:
    number, kind = part.sku or part.id, _SOLD_AS.get(part.role, "accessory")
    role = t(_ROLES.get(part.role, "")) or _kind_of(asker, number) or t("Item")
    href, others = record_href(kind, number), ", ".join(part.others)
    return PartView(role=role, label=part.label, href=href, number=number, there=part.there, others=others)


def _kind_of(asker: Asker, sku: str) -> str:
    """What kind an item is, in people's words."""
    record = asker.records.find("accessory", sku)
    kind = record.facts.get("kind") if record else None
    words = asker.vocabulary.words.get(asker.vocabulary.facts[KIND].kind, {})
    told = words.get(kind, "") if isinstance(kind, str) else ""
    return told[:1].upper() + told[1:]


def missed(asker: Asker, one: PlanMiss, system: System) -> MissView:
    """What comes near, with the names of its parts."""
    named = [(asker.records.find("receiver", key) or asker.records.find("accessory", key), key) for key in one.parts]
    parts = [(record.label if record and record.label else key, key) for record, key in named]
    return MissView(one.name, one.outcome, one.because, parts, _href(one.question, system))


def _href(question: Mapping[str, Json], system: System) -> str:
    return link("/answer", write_fields(question) | shown_units(system))
