"""What do I sell? A vehicle and wishes in plain fields; baskets from the shelf, each proven by its own answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from litestar import Response, get
from litestar.response import Redirect

from fitsvc.document import Document, Json
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.planning.plan import Plan, PlanMiss, PlanPart, PlanSet
from fitsvc.planning.planner import FITTED
from fitsvc.rulebook.words import WishAsked
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asking import Asker, Options
from fitsvc.service.counter.choosing import DRAFT, WANTED, Settled
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import Fields, link, read_fields, write_fields
from fitsvc.service.counter.record_pages import record_href
from fitsvc.service.counter.rendering import fields_of, page, shown_units
from fitsvc.subjects import KIND, OF_RIG

_MOST_BASKETS: Final = 3
_ROLES: Final[Mapping[str, str]] = {"receiver": "Receiver", "adapter": "In the opening", "ball": "Ball", "pin": "Pin"}
_SOLD_AS: Final[Mapping[str, str]] = {"receiver": "receiver", "adapter": "accessory", "ball": "accessory"}
_NO_WISH: Final = Problem("no wish is told yet", "say what it should do: one field is enough", meaning=True)
_NO_VEHICLE: Final = Problem(
    "no vehicle is chosen yet", "choose one, or say what the receiver's label tells", pointer="vehicle", meaning=True
)


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
    """One set of parts that serves every wish."""

    title: str
    outcome: str
    parts: Sequence[PartView]
    proofs: Sequence[ProofView]


@dataclass(frozen=True, slots=True)
class MissView:
    """What comes near and does not do, and why."""

    name: str
    outcome: str
    because: str
    parts: Sequence[tuple[str, str]]
    href: str


@get("/sell", sync_to_thread=True)
def sell(request: AnyRequest) -> Response[str] | Redirect:
    """Give the page that asks what is wished, and what of the shelf serves it."""
    fields, system = fields_of(request)
    service = service_of(request)
    with service.database.session() as session:
        asker = Asker(service.answerer, service.shop, session, service.selections)
        settled = asker.chooser.settle(fields)
        asked = read_fields(settled.question(), asker.vocabulary, system)
        wishes = _wishes(service, settled.fields, asked.document)
        problems, plan = [*settled.problems, *asked.problems], None
        if not problems and (wishes or asked.document) and not fields.get(DRAFT):
            problems, plan = _planned(service, asker, settled.fields, asked.document, wishes, system)
        kept = write_fields(asked.document) | _wanted(settled.fields) | shown_units(system)
        if plan is not None and not asked.left_out and kept != dict(request.query_params.multi_items()):
            return Redirect(link("/sell", kept), status_code=303)
        shown = _form(service, asker, settled, problems, system)
        baskets = _baskets(service, asker, plan, system) if plan else []
        misses = [_miss(asker, one, system) for one in plan.misses] if plan else []
    return page(
        request,
        "sell.html",
        status=422 if problems and (wishes or settled.problems) else 200,
        problems=problems if wishes or settled.problems else [],
        plan=plan,
        baskets=baskets,
        misses=misses,
        left_out=asked.left_out,
        address=str(request.base_url).rstrip("/") + link("/sell", kept),
        change=link("/", {name: text for name, text in kept.items() if not name.startswith(WANTED)}),
        system=system,
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


def _planned(
    service: Service,
    asker: Asker,
    fields: Fields,
    document: Mapping[str, Json],
    wishes: Sequence[Document],
    system: System,
) -> tuple[list[Problem], Plan | None]:
    """The plan of some wishes, or why there is none yet."""
    rig = document.get("rig") or {}
    if not rig:
        return [_NO_VEHICLE], None
    if len(several := asker.chooser.several(fields)) > 1 and not rig.get("receiver"):
        which = Problem(f"{len(several)} vehicles go by that name", "choose one", pointer="vehicle", meaning=True)
        return [which], None
    if not wishes:
        return [_NO_WISH], None
    try:
        shelf = service.shop.shelf(asker.session)
        return [], service.planner.plan({"rig": rig, "wishes": list(wishes)}, asker.records, shelf, system)
    except ProblemsFound as found:
        return list(found.problems), None


def _wanted(fields: Fields) -> dict[str, str]:
    return {name: text for name, text in fields.items() if name.startswith(WANTED) and text}


def _form(
    service: Service, asker: Asker, settled: Settled, problems: Sequence[Problem], system: System
) -> dict[str, Any]:
    """The form as it was filled."""
    words, facts = service.answerer.rulebook.words, asker.vocabulary.facts
    maker = FieldMaker(asker.vocabulary, settled.fields, problems, system)
    wishes = [_wish_field(asker, settled, maker, one, system) for one in words.wishes]
    there = [need.fills.gives for need in asker.answerer.rulebook.needs if need.fills and need.fills.gives]
    return {
        "vehicles": asker.vehicles(settled),
        "receivers": asker.receivers(settled.fields),
        "fields": settled.fields,
        "on": "|".join(asker.chooser.on(settled.fields)),
        "let_go": settled.let_go,
        "wishes": wishes,
        "for_all": [maker.of(facts[name]) for name in words.for_all],
        "fitted": maker.of(facts[FITTED]) if FITTED in facts else None,
        "there": [maker.of(facts[name]) for name in dict.fromkeys(there)],
        "at": maker.errors_at,
        "empty": asker.empty(),
        "told": _kept_beside(settled.fields, asker, wishes),
    }


def _wish_field(asker: Asker, settled: Settled, maker: FieldMaker, one: WishAsked, system: System) -> WishField:
    stored = next((name.partition(".")[0] for name in one.facts if not name.startswith("load.")), "")
    case = asker.case(settled.fields, system)
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
    shown = {field.name for wish in wishes for field in wish.fields} | set(words.for_all) | {FITTED}
    subjects = (*OF_RIG, "trailer", "load")
    facts = (name for name in asker.vocabulary.facts if name.partition(".")[0] in subjects)
    named = asker.chooser.named(fields)
    told = {name: fields[name] for name in facts if name in fields and name not in shown and name not in named}
    gives = {need.fills.gives for need in asker.answerer.rulebook.needs if need.fills}
    kept = {name: fields[name] for name in ("mounting", "rig") if fields.get(name)}
    return kept | {name: text for name, text in told.items() if name not in gives}


def _baskets(service: Service, asker: Asker, plan: Plan, system: System) -> list[BasketView]:
    sets = [*([plan.best] if plan.best else []), *plan.runners_up][:_MOST_BASKETS]
    return [_basket(asker, one, system) for one in sets]


def _basket(asker: Asker, one: PlanSet, system: System) -> BasketView:
    parts = "1 part" if one.count == 1 else f"{one.count} parts"
    left = "nothing left to see to" if not one.open else f"{one.open} to see to"
    proofs = [
        ProofView(
            wish.name,
            wish.outcome,
            wish.summary,
            _href(wish.question, system),
            [need["because"] for need in wish.needs if need["because"] not in wish.summary],
        )
        for wish in one.wishes
    ]
    return BasketView(
        title=f"{parts}, {left}", outcome=one.outcome, parts=[_part(asker, part) for part in one.parts], proofs=proofs
    )


def _part(asker: Asker, part: PlanPart) -> PartView:
    number, kind = part.sku or part.id, _SOLD_AS.get(part.role, "accessory")
    role = _ROLES.get(part.role) or _kind_of(asker, number) or "Item"
    href, others = record_href(kind, number), ", ".join(part.others)
    return PartView(role=role, label=part.label, href=href, number=number, there=part.there, others=others)


def _kind_of(asker: Asker, sku: str) -> str:
    """What kind an item is, in people's words."""
    record = asker.records.find("accessory", sku)
    kind = record.facts.get("kind") if record else None
    words = asker.vocabulary.words.get(asker.vocabulary.facts[KIND].kind, {})
    told = words.get(kind, "") if isinstance(kind, str) else ""
    return told[:1].upper() + told[1:]


def _miss(asker: Asker, one: PlanMiss, system: System) -> MissView:
    named = [(asker.records.find("receiver", key) or asker.records.find("accessory", key), key) for key in one.parts]
    parts = [(record.label if record and record.label else key, key) for record, key in named]
    return MissView(one.name, one.outcome, one.because, parts, _href(one.question, system) if one.question else "")


def _href(question: Mapping[str, Json], system: System) -> str:
    return link("/answer", write_fields(question) | shown_units(system))
