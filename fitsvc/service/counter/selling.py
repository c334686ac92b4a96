"""What do I sell? A vehicle and wishes in plain fields; baskets from the shelf, each proven by its own answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from litestar import Response, get
from litestar.response import Redirect

from fitsvc.answers.parts import TOGETHER, called
from fitsvc.document import Document, Json
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.planning.plan import Plan
from fitsvc.planning.reading import read_wishes
from fitsvc.rulebook.words import WishAsked
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asked import asked_lines
from fitsvc.service.counter.asking import Asker, Options
from fitsvc.service.counter.baskets import (
    BasketView,
    MissView,
    OwnView,
    ProofView,
    baskets,
    beside_own,
    missed,
    not_beside_own,
    own_at_once,
    owned,
    sets_of,
)
from fitsvc.service.counter.choosing import BASKET, DRAFT, WANTED, Settled, place_of
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import (
    ALSO,
    REAR,
    Fields,
    also_places,
    field_of,
    link,
    read_fields,
    thing_field,
    without_also,
    write_fields,
)
from fitsvc.service.counter.rendering import fields_of, leave_number_out, page, shown_units
from fitsvc.service.counter.telling import qr_code
from fitsvc.subjects import BESIDE_RIG, OF_RIG
from fitsvc.tongues import later, t

_NO_WISH: Final = Problem(
    later("no wish is told yet"), later("say what it should do: one field is enough"), meaning=True
)
AT_ONCE: Final = f"{WANTED}at-once"
"""The box to tick where all that is wished is to be on the vehicle at the same time."""
_NOT_OF_RIG: Final = (*BESIDE_RIG, "also")
_HAD: Final = ("accessory", *ALSO)
"""The places of what the customer has already."""
_NO_VEHICLE: Final = Problem(
    later("no vehicle is chosen yet"),
    later("choose one, or say what the receiver's label tells"),
    pointer="vehicle",
    meaning=True,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sold:
    """What wishes come to: what is there already, and of the wishes that it does not serve the plan and its baskets.

    `at_once` is what all that is there comes to at the same time; `anew` says that the baskets are for every wish, as
    what is there does not hold beside anything.
    """

    own: Sequence[OwnView]
    plan: Plan | None
    baskets: Sequence[BasketView]
    misses: Sequence[MissView]
    at_once: ProofView | None = None
    anew: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WishField:
    """A wish as it is asked: its fields, a box to tick for one by kind alone, and what is stored for it."""

    words: str
    fields: Sequence[Field]
    box: str
    ticked: bool
    stored: str
    found: Options

    @property
    def told(self) -> bool:
        """Whether it is wished."""
        chosen = any(one.chosen for one in self.found.choices)
        return self.ticked or chosen or any(field.value for field in self.fields)


@get("/sell", before_request=leave_number_out, sync_to_thread=True)
def sell(request: AnyRequest) -> Response[str] | Redirect:
    """Give the page that asks what is wished, and what of the shelf serves it beside what is there already."""
    fields, system = fields_of(request)
    service = service_of(request)
    with service.database.session() as session:
        asker = Asker(service.answerer, service.shop, session, service.selections)
        settled = asker.chooser.settle(fields)
        asked = read_fields(without_also(settled.question()), asker.answerer.reader, system)
        wishes = _wishes(service, settled.fields, asked.document)
        problems, sold = [*settled.problems, *asked.problems], None
        if settled.problems and wishes:
            problems += _unreadable(service, asker, wishes)
        if not problems and (wishes or asked.document) and not fields.get(DRAFT):
            problems, sold = _sold(service, asker, settled.fields, asked.document, wishes, system)
        problems = list({(field_of(one), one.message): one for one in problems}.values())  # one may be of each wish
        own = {place: settled.fields[place] for place in ALSO if settled.fields.get(place)}
        kept = write_fields(asked.document) | own | _wanted(settled.fields) | shown_units(system)
        left_out = (*asked.left_out, *(name for name in settled.question() if all(thing_field(name))))
        one = {BASKET: fields[BASKET]} if fields.get(BASKET) else {}
        if sold is not None and not left_out and kept | one != dict(request.query_params.multi_items()):
            return Redirect(link("/sell", kept | one), status_code=303)
        shown = _form(service, asker, settled, problems, system)
        lines = asked_lines(asker, write_fields(asked.document), None, system) if sold else []
        chosen = [basket for basket in sold.baskets if basket.key == fields.get(BASKET)] if sold else []
    base = service.operator.address or str(request.base_url).rstrip("/")
    address = base + link("/sell", kept | (one if chosen else {}))
    return page(
        request,
        "sell.html",
        status=422 if problems and (wishes or settled.problems) else 200,
        problems=problems if wishes or settled.problems else [],
        sold=sold,
        baskets=chosen or (sold.baskets if sold else []),
        chosen=bool(chosen),
        gone=bool(one and sold and not chosen),
        own_address={basket.key: link("/sell", kept | {BASKET: basket.key}) for basket in sold.baskets} if sold else {},
        every=link("/sell", kept),
        left_out=left_out,
        address=address,
        qr=qr_code(address, t("The address of these baskets")) if sold else "",
        today=datetime.now(UTC).date().isoformat(),
        change=link("/", {name: text for name, text in kept.items() if not name.startswith(WANTED)}),
        system=system,
        asked=lines,
        **shown,
    )


def _wishes(service: Service, fields: Fields, document: Mapping[str, Json]) -> list[Document]:
    """The wishes that some fields tell, as a plan reads them: each with its own facts and those that go with all."""
    words = service.answerer.rulebook.words
    found: list[Document] = []
    for one in words.wishes:
        wish: Document = {"name": one.words}
        own = {name.partition(".")[0] for name in one.facts}
        for subject in own:
            facts = {name for name in one.facts if name.startswith(f"{subject}.")}
            told = _told(document, subject, facts if subject == "load" else None)
            if told:
                wish[subject] = told
        if one.kind and fields.get(f"{WANTED}{one.kind}"):
            wish["kind"] = one.kind
        if len(wish) > 1:
            found.append(_with_all(wish, document, words.for_all))
    return found


def _told(document: Mapping[str, Json], subject: str, names: set[str] | None) -> Document:
    """What a question tells of a subject, or of some of its facts."""
    part: Document = dict(document.get(subject) or {})
    if names is None or not part:
        return part
    facts = {short: value for short, value in (part.get("facts") or {}).items() if f"{subject}.{short}" in names}
    return {"facts": facts} if facts else {}


def _with_all(wish: Document, document: Mapping[str, Json], names: Sequence[str]) -> Document:
    more = _told(document, "load", set(names))
    if more:
        facts = (wish.get("load") or {}).get("facts") or {}
        wish["load"] = {"facts": {**facts, **more["facts"]}}
    return wish


def _sold(
    service: Service,
    asker: Asker,
    fields: Fields,
    document: Mapping[str, Json],
    wishes: Sequence[Document],
    system: System,
) -> tuple[list[Problem], Sold | None]:
    """What some wishes come to, or why nothing can be said of them yet."""
    rig = document.get("rig") or {}
    if not rig:
        return [_NO_VEHICLE], None
    if len(several := asker.chooser.several(fields)) > 1 and not rig.get("receiver"):
        which = Problem(
            t("{count} vehicles go by that name", count=len(several)), t("choose one"), pointer="vehicle", meaning=True
        )
        return [which], None
    if not wishes:
        return [_NO_WISH], None
    wrong = [
        _not_stored(place, fields[place])
        for place in _HAD
        if fields.get(place) and not asker.records.find("accessory", fields[place])
    ]
    if wrong:
        return wrong, None
    try:
        body: Document = {"rig": rig, "wishes": list(wishes)}
        read = read_wishes(body, service.answerer.engine, service.answerer.reader, asker.records)
        own = owned(service, asker, document, _on_hand(fields), read.wishes, system)
        return [], _served(service, asker, body, own, bool(fields.get(AT_ONCE)), system)
    except ProblemsFound as found:
        return list(found.problems), None


def _served(
    service: Service, asker: Asker, body: Document, own: Mapping[int, Sequence[OwnView]], at_once: bool, system: System
) -> Sold:
    """What serves the wishes of a plan's body: what is there already, and for the rest what is on the shelf.

    Where all is to be on the vehicle at the same time a basket is one only if it holds beside what is there.
    """
    serving = [views[0] for views in own.values() if views[0].serves]
    left = [wish for number, wish in enumerate(body["wishes"]) if number not in own or not own[number][0].serves]
    shown, there = [one for views in own.values() for one in views], {one.number for one in serving}

    def plan_for(wishes: Sequence[Document]) -> Plan:
        together = {TOGETHER: REAR} if at_once and len(wishes) > 1 else {}
        shelf = service.shop.shelf(asker.session)
        return service.planner.plan({**body, "wishes": wishes, **together}, asker.records, shelf, system)

    proof = own_at_once(asker, serving, system) if at_once and not left else None
    if not left and (proof is None or proof.outcome in ("works", "conditional")):
        return Sold(own=shown, plan=None, baskets=[], misses=[], at_once=proof)
    plan = plan_for(left) if left else None
    sets, misses = sets_of(plan) if plan else [], list(plan.misses) if plan else []
    if at_once and serving:
        beside = [beside_own(asker, one, serving, system) for one in sets]
        sets = [one for one in beside if one.together and one.together.outcome in ("works", "conditional")]
        misses[:0] = [not_beside_own(one) for one in beside if one not in sets]
    if anew := bool(at_once and serving and not sets):
        plan = plan_for(body["wishes"])
        sets, misses = sets_of(plan), [*misses, *plan.misses]
    told = [missed(asker, one, system) for one in misses]
    offered = baskets(asker, sets, there, system)
    return Sold(own=shown, plan=plan, baskets=offered, misses=told, at_once=proof, anew=anew)


def _unreadable(service: Service, asker: Asker, wishes: Sequence[Document]) -> list[Problem]:
    """What is wrong with the wishes themselves, told together with what else is wrong and not after it."""
    try:
        body: Document = {"rig": {}, "wishes": list(wishes)}
        read_wishes(body, service.answerer.engine, service.answerer.reader, asker.records)
    except ProblemsFound as found:
        return [one for one in found.problems if one.pointer.startswith("/wishes/")]
    return []


def _on_hand(fields: Fields) -> list[str]:
    """The numbers of what the customer has already."""
    return [sku for place in _HAD if (sku := fields.get(place))]


def _not_stored(place: str, sku: str) -> Problem:
    message = t("no {subject} is stored under `{name}`", subject=called("accessory"), name=sku)
    return Problem(message, pointer=place, meaning=True)


def _wanted(fields: Fields) -> dict[str, str]:
    return {name: text for name, text in fields.items() if name.startswith(WANTED) and text}


def _form(
    service: Service, asker: Asker, settled: Settled, problems: Sequence[Problem], system: System
) -> dict[str, Any]:
    """The form as it was filled."""
    words, facts = service.answerer.rulebook.words, asker.vocabulary.facts
    maker = FieldMaker(asker.vocabulary, settled.fields, problems, system)
    wishes = [_wish_field(asker, settled, maker, one, system) for one in words.wishes]
    has_one = bool(settled.fields.get("accessory"))
    there = [need.fills.gives for need in asker.answerer.rulebook.needs if need.fills and need.fills.gives]
    return {
        "vehicles": asker.vehicles(settled),
        "receivers": asker.receivers(settled.fields),
        "fields": settled.fields,
        "on": asker.chooser.on_field(settled.fields),
        "let_go": settled.let_go,
        "wishes": wishes,
        "for_all": [maker.of(facts[name]) for name in words.for_all],
        "fitted": next(map(maker.of, map(facts.__getitem__, asker.vocabulary.serving("fitted"))), None),
        "on_hand": asker.sold(settled, "accessory", asker.case(_alone(settled.fields, words.for_all), system), system),
        "on_hand_too": [
            (place, asker.sold(settled, place, Case({}, frozenset()), system))
            for place in ALSO[: len(also_places(settled.fields)) + 1 if has_one else 0]
        ],
        "balls": asker.sold(settled, "ball", Case({}, frozenset()), system) if has_one else Options(),
        "there": [maker.of(facts[name]) for name in dict.fromkeys(there)],
        "at": maker.errors_at,
        "empty": asker.empty(),
        "at_once": {"name": AT_ONCE, "ticked": bool(settled.fields.get(AT_ONCE))},
        "told": _kept_beside(settled.fields, asker, wishes),
    }


def _alone(fields: Fields, told: Sequence[str]) -> dict[str, str]:
    """The rig with some facts of what is wished, so that what is beside a choice says what it comes to by itself."""
    return {name: text for name, text in fields.items() if place_of(name) not in _NOT_OF_RIG or name in told}


def _wish_field(asker: Asker, settled: Settled, maker: FieldMaker, one: WishAsked, system: System) -> WishField:
    stored = next((name.partition(".")[0] for name in one.facts if not name.startswith("load.")), "")
    case = asker.case(_alone(settled.fields, (*one.facts, *asker.answerer.rulebook.words.for_all)), system)
    box = f"{WANTED}{one.kind}" if one.kind else ""
    return WishField(
        words=one.words,
        fields=[maker.of(asker.vocabulary.facts[name]) for name in one.facts],
        box=box,
        ticked=bool(box and settled.fields.get(box)),
        stored=stored,
        found=asker.sold(settled, stored, case, system) if stored else Options(),
    )


def _kept_beside(fields: Fields, asker: Asker, wishes: Sequence[WishField]) -> dict[str, str]:
    """What the address tells beside the fields that are shown: it stays with the question."""
    words = asker.answerer.rulebook.words
    shown = {field.name for wish in wishes for field in wish.fields} | {
        *words.for_all,
        *asker.vocabulary.serving("fitted"),
    }
    subjects = (*OF_RIG, "trailer", "load")
    facts = (name for name in asker.vocabulary.facts if name.partition(".")[0] in subjects)
    named = asker.chooser.named(fields)
    told = {name: fields[name] for name in facts if name in fields and name not in shown and name not in named}
    gives = {need.fills.gives for need in asker.answerer.rulebook.needs if need.fills}
    kept = {name: fields[name] for name in ("mounting", "rig") if fields.get(name)}
    return kept | {name: text for name, text in told.items() if name not in gives}
