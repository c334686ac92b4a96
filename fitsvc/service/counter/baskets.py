"""The baskets that a plan comes to, each proven part by part, and what serves a wish that is there already."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import msgspec

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import LITTLE_WORK
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.question import read_question
from fitsvc.answers.shelf import Item, read_items
from fitsvc.answers.things import read_things
from fitsvc.document import Document, Json
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.several_view import several_view
from fitsvc.language.display import System
from fitsvc.planning.plan import AtOnce, Plan, PlanMiss, PlanPart, PlanSet, WishServed
from fitsvc.planning.reading import Wish
from fitsvc.rulebook.filling import ACCESSORY
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.service.context import Service
from fitsvc.service.counter.asking import Asker
from fitsvc.service.counter.links import REAR, link, write_fields
from fitsvc.service.counter.offering import Offers
from fitsvc.service.counter.record_pages import record_href
from fitsvc.service.counter.rendering import shown_units
from fitsvc.service.counter.telling import Offered
from fitsvc.subjects import BESIDE_RIG, KIND
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


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofView:
    """One wish as a basket serves it: the answer that proves it, in a sentence, and what it rests on unmeasured."""

    name: str
    outcome: Outcome
    summary: str
    href: str
    needs: Sequence[str]
    disputed: Sequence[str] = ()
    assumed: Sequence[str] = ()


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
    """A wish that what is there already serves or might: the answer about it, and what of the shelf meets its needs.

    `question` is what proves it, with the wish it is about; `what` the item that is there, and `number` its own.
    """

    proof: ProofView
    offers: Sequence[Offered]
    what: str
    number: str
    question: Document

    @property
    def serves(self) -> bool:
        """Whether nothing else is to be sold for the wish, but for what it needs."""
        return self.proof.outcome in ("works", "conditional")


@dataclass(frozen=True, slots=True, kw_only=True)
class MissView:
    """What comes near and does not do, and why."""

    name: str
    outcome: str
    because: str
    parts: Sequence[tuple[str, str]]
    href: str
    disputed: Sequence[str]


def sets_of(plan: Plan) -> list[PlanSet]:
    """The best few sets of a plan."""
    return [*([plan.best] if plan.best else []), *plan.runners_up][:_MOST_BASKETS]


def baskets(asker: Asker, sets: Sequence[PlanSet], there: Collection[str], system: System) -> list[BasketView]:
    """Some sets as baskets; `there` are the numbers of what the customer has already."""
    return [_basket(asker, number, one, there, system) for number, one in enumerate(sets)]


def beside_own(asker: Asker, one: PlanSet, own: Sequence[OwnView], system: System) -> PlanSet:
    """A set with the proof of what it comes to at the same time as what is there already."""
    alone = one.wishes[0]
    things = one.together.question[TOGETHER] if one.together else [_thing(alone.name, alone.question)]
    question = (one.together or alone).question
    return msgspec.structs.replace(one, together=_at_once(asker, question, [*things, *_own_things(own)], system))


def own_at_once(asker: Asker, own: Sequence[OwnView], system: System) -> ProofView | None:
    """What serves several wishes and is there already comes to at the same time; None where it serves only one."""
    if len(own) < 2:
        return None
    found = _at_once(asker, own[0].question, _own_things(own), system)
    return _proof_at_once(found, system)


def not_beside_own(one: PlanSet) -> PlanMiss:
    """A set that does not hold at the same time as what is there already, and why."""
    assert one.together is not None
    parts = [part.sku or part.id for part in one.parts]
    told = one.together
    return PlanMiss(
        wish=0, name=t(_AT_ONCE), outcome=told.outcome, because=told.summary, parts=parts, question=told.question
    )


def _at_once(asker: Asker, question: Document, things: Sequence[Document], system: System) -> AtOnce:
    """What things come to at the same time on the rig of a question; one that serves several wishes, with all of it."""
    rig = question.get("rig") or {}
    one = {part: things[0][part] for part in BESIDE_RIG if part in things[0]}
    asked: Document = {"rig": rig, TOGETHER: [*things]} if len(things) > 1 else {"rig": rig, **one}
    answer = asker.answerer.answer(asked, asker.records, system, most=LITTLE_WORK)
    return AtOnce(answer.outcome, answer.summary, asked)


def _own_things(own: Sequence[OwnView]) -> list[Document]:
    """What is there already, each once: what serves two wishes at the same time has the load of both."""
    found: dict[str, Document] = {}
    for one in own:
        thing, before = _thing(one.proof.name, one.question), found.get(one.number, {})
        facts = {**((before.get("load") or {}).get("facts") or {}), **((thing.get("load") or {}).get("facts") or {})}
        found[one.number] = {**before, **thing, **({"load": {"facts": facts}} if facts else {})}
    return list(found.values())


def _thing(name: str, question: Mapping[str, Json]) -> Document:
    """What a question is about, as one of several things."""
    return {"name": name, "hangs_on": REAR, **{part: question[part] for part in BESIDE_RIG if part in question}}


def owned(
    service: Service,
    asker: Asker,
    document: Mapping[str, Json],
    skus: Sequence[str],
    wishes: Sequence[Wish],
    system: System,
) -> dict[int, list[OwnView]]:
    """What comes of the accessories that are there already, with the ball, for the wishes that they serve, by number.

    An item whose kind is not surely one of those that serve a wish serves it not. Of several for one wish the best is
    told, and all of them where none does.
    """
    ball = {"ball": document["ball"]} if document.get("ball") else {}
    records = [record for sku in dict.fromkeys(skus) if (record := asker.records.find(ACCESSORY, sku))]
    found: dict[int, list[OwnView]] = {}
    for item in read_items(service.answerer.reader, records):
        for number, wish in enumerate(wishes):
            if isinstance(item.kind, int) and not item.kind & ~wish.kinds:
                question = {"rig": document.get("rig") or {}, ACCESSORY: {"sku": item.sku}, **ball, **wish.parts}
                found.setdefault(number, []).append(_own(service, asker, question, wish.name, item, system))
    for views in found.values():
        views.sort(key=lambda one: OUTCOMES.index(one.proof.outcome))
        if views[0].serves:
            del views[1:]
    return found


def _own(service: Service, asker: Asker, question: Document, name: str, item: Item, system: System) -> OwnView:
    read = read_question(question, service.answerer.reader, asker.records)
    answer = service.answerer.answer_question(read, system, LITTLE_WORK)
    offers = Offers(service=service, asker=asker, document=question, system=system).of(read, answer)
    proof = _proof(name, answer, question, system)
    return OwnView(proof, list(offers.values()), item.label or item.sku, item.sku, question)


def _proof(name: str, one: Answer | WishServed, question: Mapping[str, Json], system: System) -> ProofView:
    return ProofView(
        name=name,
        outcome=one.outcome,
        summary=one.summary,
        href=_href(question, system),
        needs=_more_needs(one),
        disputed=[each.because for each in one.disputed],
        assumed=one.assumed,
    )


def _proof_at_once(one: AtOnce, system: System) -> ProofView:
    href = _href(one.question, system)
    return ProofView(name=t(_AT_ONCE), outcome=one.outcome, summary=one.summary, href=href, needs=[])


def _more_needs(one: Answer | WishServed) -> list[str]:
    return [need["because"] for need in one.needs if need["because"] not in one.summary]


def _basket(asker: Asker, number: int, one: PlanSet, there: Collection[str], system: System) -> BasketView:
    count = t("1 part") if one.count == 1 else t("{count} parts", count=one.count)
    left = t("nothing left to see to") if not one.open else t("{open} to see to", open=one.open)
    parts = [_part(asker, part, there) for part in one.parts]
    hung = [part.label for part in one.parts if part.role == ACCESSORY]
    proofs = [_proof(wish.name, wish, wish.question, system) for wish in one.wishes]
    if at_once := one.together:
        proofs.append(_proof_at_once(at_once, system))
    return BasketView(
        title=f"{count}, {left}",
        outcome=one.outcome,
        key=_BETWEEN.join(part.number for part in parts),
        parts=parts,
        proofs=proofs,
        in_turn=hung if len(hung) > 1 and one.together is None else [],
        picture=_picture(asker, one.together, system, f"basket-{number}-view") if one.together else None,
    )


def _picture(asker: Asker, one: AtOnce, system: System, prefix: str) -> Drawing | None:
    """The picture of what is on the vehicle at the same time."""
    things = read_things(one.question, asker.answerer.reader, asker.records)
    return several_view(asker.answerer, things, system, prefix)


def _part(asker: Asker, part: PlanPart, there: Collection[str]) -> PartView:
    number, kind = part.sku or part.id, _SOLD_AS.get(part.role, "accessory")
    role = t(_ROLES.get(part.role, "")) or _kind_of(asker, number) or t("Item")
    href, others = record_href(kind, number), ", ".join(part.others)
    had = part.there or number in there
    return PartView(role=role, label=part.label, href=href, number=number, there=had, others=others)


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
    return MissView(
        name=one.name,
        outcome=one.outcome,
        because=one.because,
        parts=parts,
        href=_href(one.question, system),
        disputed=[each.because for each in one.disputed],
    )


def _href(question: Mapping[str, Json], system: System) -> str:
    return link("/answer", write_fields(question) | shown_units(system))
