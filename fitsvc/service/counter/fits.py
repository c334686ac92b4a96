"""What fits a rig, the best first."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace as replace_part
from typing import Any, Final

from litestar import Response, get
from litestar.response import Redirect
from msgspec.structs import replace

from fitsvc.answers.shelf import read_items
from fitsvc.document import Json
from fitsvc.inventory.stored import stored
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import ListType, NumberType, Value
from fitsvc.loading.cells import read_cell
from fitsvc.planning.reading import kinds_serving
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.segments import BEST_FIRST
from fitsvc.selection.selector import Selection, read_rig_told
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asked import ask_page, asked_lines, asker_of, wrong_with
from fitsvc.service.counter.asking import Asker, told_apart
from fitsvc.service.counter.choosing import ON, PICKED, place_of
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import LEAST, Fields, also_places, link, unit_of, write_fields
from fitsvc.service.counter.rendering import fields_of, leave_number_out, page, shown_units
from fitsvc.store.records import get_records
from fitsvc.subjects import KIND
from fitsvc.tongues import later, t

_FILTERS: Final = (later("kind"), later("outcome"), later("size"), later("text"), "after")
_ALL: Final = "all"
_PAGE_ITEMS: Final = 50
_FEW: Final = 3
"""So many items of one reason, and it is told once above them."""
_COUNTED: Final[Mapping[str, str]] = {
    "works": later("work"),
    "conditional": later("work only if something is seen to"),
    "undetermined": later("need a measurement first"),
    "fails": later("do not work"),
}
_COUNTED_ONE: Final[Mapping[str, str]] = {
    "works": later("works"),
    "conditional": later("works only if something is seen to"),
    "undetermined": later("needs a measurement first"),
    "fails": later("does not work"),
}


@get("/fits", before_request=leave_number_out, sync_to_thread=True)
def fits(request: AnyRequest) -> Response[str] | Redirect:
    """Give a page of the catalogue as the rig of the address takes it, the best first."""
    fields, system = fields_of(request)
    service = service_of(request)
    named = [*_FILTERS, *(name for name in fields if name.startswith(LEAST))]
    filters = {name: fields.pop(name, "").strip() for name in named}
    with service.database.session() as session:
        asker = asker_of(request, session)
        settled = asker.chooser.settle(rig_alone(fields))
        asked = asker.rig(rig_alone(settled.fields), system)
        document, problems = asked.document, wrong_with(settled, asked.problems)
        if fields.get(ON) and problems:
            return ask_page(request, asker, settled, system, problems)
        told, left_out = write_fields(document), (*asked.left_out, *also_places(fields))
        kept = told | {name: text for name, text in filters.items() if text} | shown_units(system)
        if not problems and not left_out and kept != dict(request.query_params.multi_items()):
            return Redirect(link("/fits", kept), status_code=303)
        several = asker.chooser.several(settled.fields)
        several = several if len(several) > 1 else ()
        found, serving = None, list[str]()
        if several:
            named_so = t("{count} vehicles go by that name", count=len(several))
            problems = [Problem(named_so, t("choose which one it is"), meaning=True)]
        elif document and not problems:
            try:
                found, serving = _selected(service, asker, document, filters, system)
            except ProblemsFound as refused:
                problems = list(refused.problems)
        figures = _figures(asker, found, system) if found else {}
        lines = asked_lines(asker, told, None, system)
        loads = _loads(asker, told, problems, system)
    shown_loads = {field.name for field in loads}
    return page(
        request,
        "fits.html",
        status=422 if problems else 200,
        problems=problems,
        left_out=left_out,
        several=[(one.label or one.key, link("/fits", _of(kept, one.key))) for one in several],
        asked=lines,
        found=found,
        rungs=_rungs(found, told, figures, system) if found else [],
        counts=_counts(found, filters["kind"], serving) if found else [],
        counted=_COUNTED,
        counted_one=_COUNTED_ONE,
        fields={name: text for name, text in (told | shown_units(system)).items() if name not in shown_loads},
        loads=loads,
        filters=filters,
        least=_least(service, filters, system),
        serving=bool(serving),
        sizes=_sizes(service),
        kinds=_kinds(service),
        change=link("/", told | shown_units(system)),
        picked=PICKED,
        address=str(request.base_url).rstrip("/") + link("/fits", kept),
        following=link("/fits", {**kept, "after": found.next}) if found and found.next else "",
    )


def _selected(
    service: Service, asker: Asker, document: Mapping[str, Json], filters: Mapping[str, str], system: System
) -> tuple[Selection, list[str]]:
    """What is asked for of the shelf, and the kinds that serve what is to be carried or pulled."""
    rig, disputed = read_rig_told(document, service.answerer, asker.records)
    serving = kinds_serving(service.answerer.engine, service.answerer.reader, rig) or []
    wanted = _wanted(service, document, filters, serving, system)
    selections = service.selections
    found = selections.selector.select(selections.index.held(), rig, wanted)
    return replace(found, disputed=disputed), serving


def rig_alone(fields: Fields) -> dict[str, str]:
    """The fields that tell of the rig and what is beside it."""
    return {name: text for name, text in fields.items() if place_of(name) not in ("accessory", "also")}


def _of(fields: Fields, vehicle: str) -> dict[str, str]:
    """The fields with the vehicle named by its id."""
    return {"vehicle": vehicle, **{name: text for name, text in fields.items() if place_of(name) != "vehicle"}}


def _wanted(
    service: Service, document: Json, filters: Mapping[str, str], serving: Sequence[str], system: System
) -> SelectionQuery:
    """What is to be seen of the catalogue; without a kind, those kinds that serve what is asked about."""
    selector = service.selections.selector
    for name, known in (("kind", (*selector.kinds, _ALL)), ("outcome", BEST_FIRST)):
        if filters[name] and filters[name] not in known:
            message = t("“{text}” is no {name} here", text=filters[name][:60], name=t(name))
            raise ProblemsFound([Problem(message, t("choose one of the list"), meaning=True)])
    kinds = [filters["kind"]] if filters["kind"] else serving
    size = service.answerer.rulebook.words.told_apart[0].fact.partition(".")[2] if filters["size"] else ""
    sizes = selector.facts(f"{size}={filters['size']}") if size else ()
    return SelectionQuery(
        question=document,
        kinds=frozenset() if filters["kind"] == _ALL else frozenset(kinds),
        outcomes=frozenset(filter(None, (filters["outcome"],))),
        text=filters["text"],
        facts=tuple(sorted((*sizes, *_at_least(service, filters, system)))),
        sort="left",
        limit=_PAGE_ITEMS,
        after=filters["after"] or None,
        compact=False,
        system=system,
    )


def _rungs(
    found: Selection, told: Fields, figures: Mapping[str, str], system: System
) -> list[tuple[str, str, list[Any]]]:
    """The items of a page by outcome, with the reason that most of them share, which is told once above them.

    Each item is told with the page of its answer and its figures.
    """
    rungs: dict[str, list[Any]] = {}
    for one in found.items:
        href = link("/answer", {**told, "accessory": one.sku, **shown_units(system)})
        rungs.setdefault(one.outcome, []).append((one, href, figures.get(one.sku, "")))
    return [(outcome, _shared_by_most([one.reason for one, *_ in items]), items) for outcome, items in rungs.items()]


def _shared_by_most(reasons: Sequence[str]) -> str:
    """The reason that more than half of some have, and no fewer than three; empty where there is none."""
    [(reason, count)] = Counter(reasons).most_common(1)
    return reason if count >= _FEW and count > len(reasons) / 2 else ""


def _counts(found: Selection, kind: str, serving: Sequence[str]) -> list[tuple[str, int]]:
    """How many come to each outcome, of the kinds that are shown."""
    kinds = [kind] if kind not in ("", _ALL) else [] if kind else serving
    by_kind = [found.counts.kinds[one] for one in kinds if one in found.counts.kinds]
    told = by_kind if kinds else [found.counts.outcomes]
    return [(one, sum(getattr(counts, one) for counts in told)) for one in BEST_FIRST]


def _figures(asker: Asker, found: Selection, system: System) -> dict[str, str]:
    """By which figures the items of a page are told apart."""
    records = get_records(asker.session, "accessory", [one.sku for one in found.items]).values()
    items = read_items(asker.answerer.reader, [stored("accessory", one) for one in records])
    return {item.sku: " · ".join(told_apart(item, asker.answerer.wording, system)) for item in items}


def _loads(asker: Asker, told: Fields, problems: Sequence[Problem], system: System) -> list[Field]:
    """The fields by which it is said what is to be carried."""
    words, maker = asker.answerer.rulebook.words, FieldMaker(asker.vocabulary, told, problems, system)
    names = [*(name for wish in words.wishes for name in wish.facts), *words.for_all]
    return [maker.of(asker.vocabulary.facts[name]) for name in names if name.startswith("load.")]


def _sizes(service: Service) -> tuple[str, ...]:
    """The sizes to filter by: those of the fact that tells items apart first."""
    words, vocabulary = service.answerer.rulebook.words, service.answerer.rulebook.vocabulary
    kind = vocabulary.facts[words.told_apart[0].fact].type if words.told_apart else None
    return kind.members if isinstance(kind, ListType) else ()


def _figures_of(service: Service) -> list[Fact]:
    """The figures that items are told apart by and rules read, of which the least is asked."""
    words, facts = service.answerer.rulebook.words, service.answerer.rulebook.vocabulary.facts
    told = [facts[one.fact] for one in words.told_apart if one.fact in service.selections.selector.slots]
    return [fact for fact in told if fact.subject == "accessory" and isinstance(fact.type, NumberType)]


def _at_least(service: Service, filters: Mapping[str, str], system: System) -> Iterator[tuple[str, Value]]:
    """The bounds of the figures of which the least is said."""
    for fact in _figures_of(service):
        name = f"{LEAST}{fact.short}"
        try:
            if text := filters.get(name):
                told = read_cell(t("at least {figure}", figure=text), fact, unit_of(fact, system))
                yield from service.answerer.reader.value(fact, told).items()
        except ProblemsFound as found:
            raise ProblemsFound([replace_part(one, pointer=name) for one in found.problems]) from None


def _least(service: Service, filters: Mapping[str, str], system: System) -> list[Field]:
    """The fields by which the least of a figure is said."""
    maker = FieldMaker(service.answerer.rulebook.vocabulary, {}, (), system)
    found = [maker.of(fact) for fact in _figures_of(service)]
    names = [(one, f"{LEAST}{one.name.partition('.')[2]}") for one in found]
    return [
        replace_part(
            one, name=name, value=filters.get(name, ""), help=t("Surely so much: what is not known is left out.")
        )
        for one, name in names
    ]


def _kinds(service: Service) -> list[tuple[str, str]]:
    vocabulary = service.answerer.rulebook.vocabulary
    words = vocabulary.words.get(vocabulary.facts[KIND].kind, {}) if KIND in vocabulary.facts else {}
    return sorted(words.items(), key=lambda one: one[1])
