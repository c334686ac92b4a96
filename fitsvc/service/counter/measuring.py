"""The measuring page: one question at a time at the vehicle, kept in the address, sent once with a key that may record.

Without scripts each step is a link or a form; with them the same is kept on the phone where there is no line.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.response import Redirect
from sqlmodel import Session

from fitsvc.answers.vin import read_vin
from fitsvc.document import Document
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.sketches import points_of, sketch
from fitsvc.language.display import System
from fitsvc.language.problems import Problem
from fitsvc.observing.evidence import read_evidence
from fitsvc.observing.law import laws_of
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.fields import Field, FieldMaker, sentence
from fitsvc.service.counter.links import link
from fitsvc.service.counter.questions import ToLearn, questions
from fitsvc.service.counter.record_pages import RecordLine, record_href
from fitsvc.service.counter.rendering import fields_of, leave_number_out, page
from fitsvc.service.counter.sheet_view import RESULTS, day, told_try
from fitsvc.service.counter.visit import (
    SPARES,
    TOOLS,
    TRIED,
    Visit,
    evidence_of,
    needs_mounting,
    read_readings,
    read_visit,
    shown,
    statements,
    with_off,
)
from fitsvc.service.counter.writing import FormSent, sent
from fitsvc.service.observations import observed_by
from fitsvc.service.replies import told_of
from fitsvc.store.creation import create_record
from fitsvc.store.errors import NotFound
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft, find_mountings, get_record, get_records
from fitsvc.store.rigs import get_rig
from fitsvc.store.searching import search_records, search_rigs
from fitsvc.store.tables import Mounting, Record
from fitsvc.store.written import Write, log_write
from fitsvc.tongues import later, t

PATH: Final = "/measure"
_MOST: Final = 12
_AGAIN: Final[Mapping[str, str]] = {
    "disputed": later("Two readings of it cannot both hold: measure again."),
    "doubtful": later("Readings of it barely agree: measure again."),
    "stale": later("It was measured before what it leans on changed: measure again."),
}
_NOTHING: Final = later("nothing has been read yet; keep a reading first")
_MAKES: Final = later("how this receiver sits on this vehicle is not stored yet; a key that may edit has to send it")
_UNKNOWN: Final = later("it is not stored any more; choose again")


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionView:
    """One question as the page asks it."""

    question: ToLearn
    title: str
    field: Field
    sketch: Drawing | None
    points: Sequence[str]
    again: str
    length: bool
    subject: str


@get("/", before_request=leave_number_out, sync_to_thread=True)
def measure(request: AnyRequest) -> Response[str] | Redirect:
    """Ask the next thing of a visit, or which vehicle it is."""
    fields, system = fields_of(request)
    service = service_of(request)
    with service.database.session() as session:
        visit, problem = _completed(session, read_visit(_of_rig(session, fields), service.answerer.reader, system))
        if not visit.vehicle or not (visit.receiver or visit.called):
            return _start(request, session, visit, fields, problem)
        after, problems = _after(service, visit, fields)
        if after != visit and not problems:
            return Redirect(link(PATH, after.fields()), status_code=303)
        return _question_page(request, session, visit, problems, fields)


@post("/", status_code=200)
async def send(request: AnyRequest) -> Response[str]:
    """Record what a visit has read and tried, and tell what it does."""
    form, service = await sent(request), service_of(request)

    def work() -> Response[str]:
        system: System = "metric" if form.fields.get("units") == "metric" else "us"
        with service.database.session() as session:
            visit, _ = _completed(session, read_visit(form.fields, service.answerer.reader, system))
            told, wrong = read_readings(visit, service.answerer.reader)
            makes = needs_mounting(visit, told)
            refused = form.refused or ("" if told or visit.tried else t(_NOTHING))
            refused = refused or (t(_MAKES) if makes and not form.edits else "")
            status = form.status if form.refused else 403 if refused == t(_MAKES) else 422
            if wrong or refused:
                problems = [Problem(refused, meaning=True)] if refused else []
                return _question_page(request, session, visit, problems, form.fields, status)
            if makes:
                _store(session, service, visit, form)
        beside = {
            name: form.fields[name] for name in ("by", "at", "condition", "note", "photo") if form.fields.get(name)
        }
        bodies = statements(visit, told, service.answerer.reader, beside)
        return _sent_page(request, visit, [observed_by(service, body, form.by) for body in bodies])

    return await to_thread.run_sync(work)


def _of_rig(session: Session, fields: Mapping[str, str]) -> Mapping[str, str]:
    """The fields with a saved rig's parts in its place."""
    if not fields.get("rig"):
        return fields
    with suppress(NotFound):
        saved = get_rig(session, fields["rig"])
        if saved.provenance:
            return fields  # it is not as its records say, of which readings of it must not be told
        rig = saved.document
        parts = {name: str((rig.get(name) or {}).get("id") or "") for name in ("vehicle", "receiver", "mounting")}
        return {**fields, **parts}
    return fields


def _completed(session: Session, visit: Visit) -> tuple[Visit, str]:
    """The visit with the parts that follow from those named, or what is not stored of it."""
    mounting = get_records(session, "mounting", filter(None, [visit.mounting])).get(visit.mounting)
    if isinstance(mounting, Mounting):
        return replace(visit, vehicle=mounting.vehicle_id, receiver=mounting.receiver_id), ""
    for subject in ("vehicle", "receiver"):
        key = getattr(visit, subject)
        if key and key not in get_records(session, subject, [key]):
            return Visit(system=visit.system), f"“{key}”: {t(_UNKNOWN)}"
    if visit.mounting:
        return Visit(system=visit.system), f"“{visit.mounting}”: {t(_UNKNOWN)}"
    found = find_mountings(session, visit.vehicle, visit.receiver, limit=1) if visit.vehicle and visit.receiver else []
    return replace(visit, mounting=found[0].id if found else ""), ""


def _after(service: Service, visit: Visit, fields: Mapping[str, str]) -> tuple[Visit, list[Problem]]:
    """The visit after what a step's form says, and what is wrong with that."""
    asked, reader = fields.get("ask", ""), service.answerer.reader
    if asked in reader.vocabulary.facts:
        if fields.get("cannot.now"):
            return replace(visit, cannot=(*dict.fromkeys((*visit.cannot, asked)),)), []
        if text := fields.get("value", "").strip():
            tool = fields.get("tool", "")
            kept = with_off(text, reader.vocabulary.facts[asked], tool, visit.system, reader)
            tools = {**visit.tools, asked: tool} if tool else visit.tools
            later = replace(visit, readings={**visit.readings, asked: kept}, tools=tools)
            return later, read_readings(later, reader)[1].get(asked, [])
    tried = {name: fields.get(name, "").strip() for name in ("tyre", "came", *TRIED) if fields.get(name, "").strip()}
    if evidence := evidence_of(tried):
        if problems := read_evidence(reader, evidence, "mounting", ""):
            return visit, problems
        told = {name: text for name, text in tried.items() if name in evidence or name == "came"}
        return replace(visit, tried=(*visit.tried, *([told] if told not in visit.tried else []))), []
    return visit, []


def _question_page(
    request: AnyRequest,
    session: Session,
    visit: Visit,
    problems: Sequence[Problem],
    fields: Mapping[str, str],
    status: int = 200,
) -> Response[str]:
    """The page of a visit: the next question, what is kept, and how to send it."""
    service, reader = service_of(request), service_of(request).answerer.reader
    told, wrong = read_readings(visit, reader)
    kept = replace(visit, readings={name: text for name, text in visit.readings.items() if name not in wrong})
    found = questions(session, service, kept, told)
    asked = fields.get("ask", "")
    again = [asked] if problems and asked in reader.vocabulary.facts else list(wrong)
    listed = {one.fact.name: one for one in found.asked}
    first = [listed.pop(name, ToLearn(reader.vocabulary.facts[name])) for name in again]
    order = [*first, *listed.values()]
    typed = {**{name: visit.readings[name] for name in wrong}, **({asked: fields.get("value", "")} if again else {})}
    amiss = wrong | ({asked: list(problems)} if again and problems else {})
    labels = _labels(session, visit)
    return page(
        request,
        "measure.html",
        status=status if not amiss or status != 200 else 422,
        visit=visit,
        label=f"{labels[0]}, {labels[1]}",
        told=_kept(service, kept),
        asked=[_asked(service, visit, one, typed, amiss) for one in order],
        found=found,
        done=len(kept.readings) + len(visit.cannot),
        fields=kept.fields(),
        problems=[] if again else problems,
        tools=[(tool.name, tool.off(visit.system)) for tool in TOOLS],
        spares=[(name, t(words)) for name, (words, _) in SPARES.items()],
        states=[(one.name, one.title) for one in service.answerer.rulebook.trials.values()],
        results=[(name, t(words)) for name, words in RESULTS.items()],
        sheet=record_href("mounting", visit.mounting) if visit.mounting else "",
        other=link(PATH, kept.fields() | {"units": "us" if visit.system == "metric" else "metric"}),
        typed=fields,
        now=datetime.now(UTC).isoformat(timespec="seconds"),
    )


def _asked(
    service: Service, visit: Visit, one: ToLearn, typed: Mapping[str, str], wrong: Mapping[str, Sequence[Problem]]
) -> QuestionView:
    name = one.fact.name
    problems = [replace(problem, pointer=name) for problem in wrong.get(name, ())]
    maker = FieldMaker(service.answerer.rulebook.vocabulary, typed, problems, visit.system)
    made = maker.of(one.fact)
    return QuestionView(
        question=one,
        title=sentence(one.fact.label),
        field=made,
        sketch=sketch(one.fact, f"tape-{made.id}", close=True),
        points=points_of(one.fact),
        again=_AGAIN.get(one.state, ""),
        length=one.fact.kind == "length",
        subject=one.fact.subject,
    )


def _kept(service: Service, visit: Visit) -> list[tuple[str, str, str]]:
    """What is kept and not sent yet: what it is, the reading, and the address without it."""
    facts, found = service.answerer.rulebook.vocabulary.facts, list[tuple[str, str, str]]()
    for name, text in visit.readings.items():
        without = replace(visit, readings={one: said for one, said in visit.readings.items() if one != name})
        tool = visit.tools.get(name, "")
        found.append((sentence(facts[name].label), f"{text}, {tool}" if tool else text, link(PATH, without.fields())))
    for name in visit.cannot:
        without = replace(visit, cannot=tuple(one for one in visit.cannot if one != name))
        found.append((sentence(facts[name].label), t("cannot be measured"), link(PATH, without.fields())))
    for one in visit.tried:
        without = replace(visit, tried=tuple(other for other in visit.tried if other != one))
        found.append(
            ("Tried", told_try(evidence_of(one), service.answerer.rulebook.trials), link(PATH, without.fields()))
        )
    return found


def _labels(session: Session, visit: Visit) -> tuple[str, str]:
    vehicle = get_record(session, "vehicle", visit.vehicle)
    receiver = get_record(session, "receiver", visit.receiver).label if visit.receiver else visit.called
    return vehicle.label or vehicle.key, receiver or visit.receiver


def _vehicles(session: Session, service: Service, text: str) -> Sequence[Record]:
    """The vehicles that go by a part of a name, or that a number may be of."""
    if read_vin(text) is None:
        return search_records(session, "vehicle", text, limit=_MOST + 1)
    named, _ = service.shop.matching_vehicles(session, text)
    found = get_records(session, "vehicle", [one.key for one in named[: _MOST + 1]])
    return [found[one.key] for one in named if one.key in found]


def _start(
    request: AnyRequest, session: Session, visit: Visit, fields: Mapping[str, str], problem: str
) -> Response[str]:
    """The page that asks which vehicle it is, and which receiver."""
    text, part = fields.get("find", "").strip(), fields.get("find.receiver", "").strip()
    vehicles = _vehicles(session, service_of(request), text) if text and not visit.vehicle else []
    rigs = search_rigs(session, text, limit=_MOST) if text and not visit.vehicle else []
    mountings = find_mountings(session, visit.vehicle, limit=_MOST) if visit.vehicle else []
    receivers = search_records(session, "receiver", part, limit=_MOST) if part and visit.vehicle else []
    units = shown(visit.system)
    return page(
        request,
        "measure_start.html",
        status=422 if problem else 200,
        problem=problem,
        text=text,
        part=part,
        visit=visit,
        vehicle=get_record(session, "vehicle", visit.vehicle).label if visit.vehicle else "",
        vehicles=[_to(one.key, one.label, {"vehicle": one.key} | units) for one in vehicles[:_MOST]],
        more=len(vehicles) > _MOST,
        rigs=[_to(one.id, one.name, {"rig": one.id} | units) for one in rigs],
        mountings=[_to(one.id, one.label, {"mounting": one.id} | units) for one in mountings],
        receivers=[
            _to(one.key, one.label, {"vehicle": visit.vehicle, "receiver": one.key} | units) for one in receivers
        ],
    )


def _to(key: str, label: str, fields: Mapping[str, str]) -> RecordLine:
    return RecordLine(link(PATH, fields), label or key, key)


def _store(session: Session, service: Service, visit: Visit, form: FormSent) -> None:
    """Store what of a visit is not stored yet: a receiver by what its label says, and how it sits on the vehicle."""
    how: Any = {"told": Provenance(by=form.fields.get("by", form.by), written_by=form.by)}
    how |= {"laws": laws_of(service.answerer.reader)}
    receiver, mounting = visit.record("receiver"), visit.record("mounting")
    if receiver not in get_records(session, "receiver", [receiver]):
        made = create_record(session, "receiver", Draft(key=receiver, label=visit.called), **how)
        log_write(session, Write(by=form.by), "creates", "receiver", receiver, after=told_of(made))
    if mounting not in get_records(session, "mounting", [mounting]):
        labels = _labels(session, replace(visit, receiver=receiver))
        draft = Draft(key=mounting, label=", ".join(labels)[:200], vehicle_id=visit.vehicle, receiver_id=receiver)
        made = create_record(session, "mounting", draft, **how)
        log_write(session, Write(by=form.by), "creates", "mounting", mounting, after=told_of(made))


def _sent_page(request: AnyRequest, visit: Visit, observed: Sequence[Document]) -> Response[str]:
    """What was recorded, what cannot hold beside it, and the saved rigs that answer otherwise now."""
    service = service_of(request)
    vocabulary = service.answerer.rulebook.vocabulary
    told, against = [], []
    for one in observed:
        seen, subject = one["observation"], one["observation"]["subject"]
        facts = vocabulary.of(subject)
        values = [(sentence(facts[name].label), one["record"]["facts"].get(name)) for name in seen["facts"]]
        told.append(
            (one["record"], values, told_try(seen["evidence"] or {}, service.answerer.rulebook.trials), one["repeated"])
        )
        against += [(sentence(facts[each["fact"]].label), each["said"]) for each in one["contradictions"]]
    rigs = {rig["rig"]: rig for one in observed for rig in one["rigs"]["changed"]}
    mounting = visit.record("mounting") if visit.mounting or needs_mounting(visit, {}) else ""
    again = replace(Visit(system=visit.system), vehicle=visit.vehicle, receiver=visit.record("receiver"))
    return page(
        request,
        "measure_sent.html",
        visit=visit,
        told=told,
        against=against,
        rigs=[(record_href("rig", key), rig["name"], rig["count"]) for key, rig in rigs.items()],
        day=day,
        sheet=record_href("mounting", mounting) if mounting else record_href("receiver", visit.record("receiver")),
        again=link(PATH, again.fields()),
    )


def router() -> Router:
    """Return the routes of measuring."""
    return Router(PATH, route_handlers=[measure, send])
