"""Two or three items side by side on one rig: what parts them and by how much, and a picture of each to one scale."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from litestar import Response, get
from litestar.response import Redirect

from fitsvc.answers.answer import Answer, Finding
from fitsvc.answers.question import read_question
from fitsvc.answers.shelf import read_items
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.side_by_side import views_side_by_side
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.quantities import QuantityError, parse_any
from fitsvc.rulebook.coverage import facts_read
from fitsvc.rulebook.rules import Rule, Rulebook
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asked import asked_lines, asker_of, wrong_with
from fitsvc.service.counter.asking import Asker, told_apart
from fitsvc.service.counter.choosing import PICKED
from fitsvc.service.counter.fits import rig_alone
from fitsvc.service.counter.links import Fields, link, write_fields
from fitsvc.service.counter.rendering import fields_of, page, shown_units
from fitsvc.tongues import t

_MOST_COMPARED: Final = 3
_RESULTS: Final = ("passes", "undetermined", "fails")
"""What a rule can come to, the best first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitsColumn:
    """One item of a comparison: its answer, the page of it, the record's own page."""

    sku: str
    label: str
    answer: Answer
    href: str
    figures: str
    case: Case | None


@dataclass(frozen=True, slots=True)
class FitsCell:
    """What a rule says of one of the items: in words, and whether it is the better one by it."""

    told: str
    better: bool = False


@get("/compare", sync_to_thread=True)
def compare(request: AnyRequest) -> Response[str] | Redirect:
    """Give two or three items side by side on one rig, with what parts them and by how much."""
    fields, system = fields_of(request)
    picked = sorted(name.removeprefix(PICKED) for name in fields if name.startswith(PICKED) and fields[name])
    service = service_of(request)
    with service.database.session() as session:
        asker = asker_of(request, session)
        settled = asker.chooser.settle(rig_alone(fields))
        asked = asker.rig(rig_alone(settled.fields), system)
        told, problems = write_fields(asked.document), wrong_with(settled, asked.problems)
        if not 2 <= len(picked) <= _MOST_COMPARED and not problems:
            problems = [
                Problem(
                    t("{count} items are picked", count=len(picked)),
                    t("pick two or {MOST_COMPARED}", MOST_COMPARED=_MOST_COMPARED),
                    meaning=True,
                )
            ]
        columns: list[FitsColumn] = []
        if not problems:
            try:
                columns = [_column(service, asker, told, sku, system) for sku in picked]
            except ProblemsFound as refused:
                problems = list(refused.problems)
        lines = asked_lines(asker, told, None, system)
    return page(
        request,
        "compare.html",
        status=422 if problems else 200,
        problems=problems,
        asked=lines,
        columns=columns,
        rows=_rows(columns, service.answerer.rulebook),
        pictures=_pictures(service, columns, system),
        back=link("/fits", told | shown_units(system)),
        change=link("/", told | shown_units(system)),
    )


def _column(service: Service, asker: Asker, told: Fields, sku: str, system: System) -> FitsColumn:
    question = {**told, "accessory": sku}
    document = asker.rig(question, system).document
    read = read_question(document, service.answerer.reader, asker.records)
    answer = service.answerer.answer(document, asker.records, system, remedies=False)
    record = asker.records.find("accessory", sku)
    items = read_items(service.answerer.reader, [record]) if record else []
    figures = " · ".join(told_apart(items[0], service.answerer.wording, system)) if items else ""
    return FitsColumn(
        sku=sku,
        label=(record.label if record else "") or sku,
        answer=answer,
        href=link("/answer", question | shown_units(system)),
        figures=figures,
        case=read.case if len(read.candidates) < 2 else None,
    )


def _pictures(service: Service, columns: Sequence[FitsColumn], system: System) -> list[tuple[FitsColumn, Drawing]]:
    """The side view of each item that can be drawn, all to one scale; none of a rig that may be one of several."""
    cases = [(one.label, one.case) for one in columns if one.case is not None]
    if len(cases) < len(columns):
        return []
    drawn = views_side_by_side(service.answerer.wording, cases, system)
    return [(one, picture) for one, picture in zip(columns, drawn, strict=True) if picture]


def _rows(columns: Sequence[FitsColumn], rulebook: Rulebook) -> list[tuple[str, list[FitsCell]]]:
    """What parts the items, by the rule's title: first what comes to something else, then what leaves another margin.

    By how much an item's own figures agree with one another parts nothing on a rig.
    """
    if not columns:
        return []
    by_rule = [{one.rule: one for one in column.answer.findings} for column in columns]
    rules = {rule.id: rule for rule in rulebook.rules}
    turned: list[tuple[str, list[FitsCell]]] = []
    spared: list[tuple[str, list[FitsCell]]] = []
    for rule in dict.fromkeys(rule for found in by_rule for rule in found):
        found = [of.get(rule) for of in by_rule]
        cells = [FitsCell(_cell(one), better) for one, better in zip(found, _better(found), strict=True)]
        row = (next(one.title for one in found if one is not None), cells)
        if len({one.result for one in found if one is not None}) > 1:
            turned.append(row)
        elif len({one.told for one in cells}) > 1 and not (rule in rules and _is_of_item(rulebook, rules[rule])):
            spared.append(row)
    return turned + spared


def _is_of_item(rulebook: Rulebook, rule: Rule) -> bool:
    """Whether a rule reads what is told of the item alone, whatever rig it hangs on."""
    return {name.partition(".")[0] for name in facts_read(rulebook, rule)} == {"accessory"}


def _better(found: Sequence[Finding | None]) -> list[bool]:
    """Which of the items are the better ones by a rule: what it comes to counts, and then how much is to spare.

    By a rule that does not matter for one of them that one is neither better nor worse.
    """
    told = [one for one in found if one is not None]
    best = min((one.result for one in told), key=_RESULTS.index)
    if len({one.result for one in told}) > 1:
        return [one is not None and one.result == best for one in found]
    spare = [_spare(one) if one is not None else None for one in found]
    known = [one for one in spare if one is not None]
    if len(known) < len(told) or len({round(one, 6) for one in known}) < 2:
        return [False] * len(found)
    return [one is not None and abs(one - max(known)) < TOLERANCE for one in spare]


def _spare(one: Finding) -> float | None:
    """How much a rule has to spare, inside: less than nothing where it fails; None where that is no one figure."""
    with suppress(QuantityError):
        spare = parse_any(one.margin)[0]
        return {"passes": spare, "fails": -spare}.get(one.result)
    return None


def _cell(one: Finding | None) -> str:
    if one is None:
        return t("does not matter")
    words = {"passes": t("holds"), "fails": t("does not"), "undetermined": t("not known")}
    told = words[one.result]
    if one.margin and one.result == "passes":
        told += t(", {margin} to spare", margin=one.margin)
    return told + t(", by {margin}", margin=one.margin) if one.margin and one.result == "fails" else told
