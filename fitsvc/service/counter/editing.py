"""Changing a record from its page: with a key, against what it was when the page was opened, and nothing else touched.

What is changed is told as a statement of its own; what is cleared takes back what is no better known. Where somebody
else has changed the record meanwhile, both are shown, and nothing is kept until it is sent again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, cast
from urllib.parse import quote

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath
from litestar.response import Redirect
from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.loading.cells import read_cell
from fitsvc.observing.law import laws_of
from fitsvc.observing.recording import observe
from fitsvc.observing.slips import slips
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.fields import FieldMaker, sentence
from fitsvc.service.counter.links import cell, unit_of
from fitsvc.service.counter.record_pages import record_href
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.service.counter.sheet_view import KINDS
from fitsvc.service.counter.writing import FormSent, sent
from fitsvc.service.etags import etag
from fitsvc.service.replies import told_of
from fitsvc.store.errors import Conflict, InvalidValue, NotFound, VersionConflict
from fitsvc.store.observations import Provenance, sold_as
from fitsvc.store.records import Draft, get_record, lock_record, replace_record
from fitsvc.store.tables import LABEL, TABLES, Mounting, Record
from fitsvc.store.taking_back import NO_REQUEST, Request
from fitsvc.store.written import Write, log_write
from fitsvc.subjects import Subject
from fitsvc.tongues import later, t

BODY_BYTES: Final = 64_000
_TOLD_AS: Final = ("published", "read", "measured", "assumed")
_RELABELLED: Final = "relabelled"
"""The source of a new label: it says no fact, so none of a source's is taken back."""
_NOT_STORED: Final = later("There is no such record. The page of records lists all.")
_WAS: Final = "was."


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """A field that somebody changed meanwhile: what it was, what it is now, and what was typed over it, if anything."""

    title: str
    was: str
    now: str
    typed: str


@get("/{kind:str}/{key:path}", sync_to_thread=True)
def edit(request: AnyRequest, kind: FromPath[str], key: FromPath[str]) -> Response[str]:
    """Give the form of a record as it is, or of taking one statement of it back."""
    service, name = service_of(request), str(key).removeprefix("/")
    retracts = request.query_params.get("retracts", "")
    with service.database.session() as session:
        record = _found(session, kind, name)
        if record is None:
            return not_there(request, t(_NOT_STORED))
        return _form(request, kind, record, {**_as_it_is(service, record), "retracts": retracts}, ())


@post("/{kind:str}/{key:path}", status_code=200, request_max_body_size=BODY_BYTES)
async def save(request: AnyRequest, kind: FromPath[str], key: FromPath[str]) -> Response[str] | Redirect:
    """Change a record, or show what stands against that."""
    form, service, name = await sent(request, "edit"), service_of(request), str(key).removeprefix("/")

    def work() -> Response[str] | Redirect:
        with service.database.session() as session:
            record = _found(session, kind, name)
            if record is None:
                return not_there(request, t(_NOT_STORED))
            problems = _problems(service.answerer.reader, record, form)
            clashes = [] if form.fields.get("tag") == etag(record) else _clashes(service, record, form.fields)
            if problems or clashes or form.fields.get("tag") != etag(record):
                status = form.status if form.refused else 412 if not problems else 422
                return _form(request, kind, record, form.fields, problems, clashes, status)
            version = record.version
        try:
            with service.database.session() as session:
                _change(session, service, cast(Subject, kind), name, version, form)
        except (Conflict, VersionConflict, InvalidValue) as refused:
            with service.database.session() as session:
                now = get_record(session, cast(Subject, kind), name)
                return _form(request, kind, now, form.fields, [Problem(str(refused))], (), 409)
        return Redirect(record_href(kind, name), status_code=303)

    return await to_thread.run_sync(work)


def _found(session: Session, kind: str, key: str) -> Record | None:
    try:
        return get_record(session, cast(Subject, kind), key) if kind in TABLES else None
    except NotFound:
        return None


def _facts(reader: FactReader, record: Record) -> Mapping[str, Fact]:
    return reader.subjects[sold_as(record)]


def _as_it_is(service: Service, record: Record) -> dict[str, str]:
    """The fields of a record's form as it stands."""
    told = {fact.name: cell(record.facts.get(short)) for short, fact in _facts(service.answerer.reader, record).items()}
    return {"label": record.label, **told}


def _problems(reader: FactReader, record: Record, form: FormSent) -> list[Problem]:
    """What is wrong with what was typed, each with its field's name for pointer."""
    problems = [Problem(form.refused, pointer="key")] if form.refused else []
    asks = form.fields.get("retracts") or form.fields.get("settles")
    if asks and not form.fields.get("note"):
        problems.append(Problem(t("say why, for whoever looks later"), pointer="note"))
    if form.fields.get("retracts"):
        return problems
    for short, value in _changed(reader, record, form.fields).items():
        fact = _facts(reader, record)[short]
        try:
            reader.value(fact, value)
            found = slips(reader, fact.subject, {short: value}, "") if value is not None else []
        except ProblemsFound as refused:
            found = list(refused.problems) if value is not None else []
        problems += [replace(one, pointer=fact.name) for one in found]
    return problems


def _changed(reader: FactReader, record: Record, fields: Mapping[str, str]) -> Document:
    """The facts that were typed anew, null where one was cleared."""
    changed: dict[str, Json] = {}
    for short, fact in _facts(reader, record).items():
        text, was = fields.get(fact.name, ""), fields.get(_WAS + fact.name, "")
        if text != was and text != cell(record.facts.get(short)):
            changed[short] = read_cell(text, fact, unit_of(fact, "us"))
    return changed


def _clashes(service: Service, record: Record, fields: Mapping[str, str]) -> list[Clash]:
    """What somebody else has changed since the page was opened."""
    facts = {"label": t("its name")} | {
        fact.name: fact.label for fact in _facts(service.answerer.reader, record).values()
    }
    found = []
    for name, now in _as_it_is(service, record).items():
        was, typed = fields.get(_WAS + name, ""), fields.get(name, "")
        if now != was:
            found.append(Clash(title=sentence(facts[name]), was=was, now=now, typed=typed if typed != was else ""))
    return found


def _change(session: Session, service: Service, subject: Subject, key: str, version: int, form: FormSent) -> None:
    """Change a record that has been checked, at the version that was looked at."""
    reader, fields = service.answerer.reader, form.fields
    record = lock_record(session, subject, key, version)
    before = told_of(record)
    told = Provenance(
        kind=cast(Any, fields.get("kind", "published")),
        by=fields.get("by") or form.by,
        note=fields.get("note", ""),
        written_by=form.by,
    )
    body: dict[str, Json] = {"subject": subject, "record": key}
    if target := fields.get("retracts"):
        asked = Request("retracts", target, fields["note"])
        observe(session, reader, body, replace(told, note=""), asked, rigs=False)
    elif changed := _changed(reader, record, fields):
        asked = Request("settles", "", fields["note"]) if fields.get("settles") else NO_REQUEST
        observe(session, reader, {**body, "facts": changed}, told, asked, rigs=False)
    if "retracts" not in fields and (label := fields.get("label", "")[:LABEL]) != record.label:
        links = {name: getattr(record, name) for name in ("vehicle_id", "receiver_id") if isinstance(record, Mounting)}
        draft = Draft(
            label=label, facts=record.facts, sold_as=cast(Any, getattr(record, "subject", "accessory")), **links
        )
        how = replace(told, source=_RELABELLED)
        replace_record(session, subject, key, draft, told=how, laws=laws_of(reader))
    log_write(session, Write(by=form.by), "replaces", subject, key, before, told_of(record))


def _form(
    request: AnyRequest,
    kind: str,
    record: Record,
    fields: Mapping[str, str],
    problems: Sequence[Problem],
    clashes: Sequence[Clash] = (),
    status: int = 200,
) -> Response[str]:
    """The form: what was typed where that is otherwise than it was, else what the record is now."""
    service = service_of(request)
    now, vocabulary = _as_it_is(service, record), service.answerer.rulebook.vocabulary
    opened = any(name.startswith(_WAS) for name in fields) or "tag" in fields
    typed = {
        name: fields.get(name, "") if not opened or fields.get(name, "") != fields.get(_WAS + name, "") else text
        for name, text in now.items()
    }
    maker = FieldMaker(vocabulary, typed, problems, "us")
    at = {name: maker.errors_at(name) for name in ("key", "note")}
    made = [maker.of(fact) for fact in _facts(service.answerer.reader, record).values()]
    return page(
        request,
        "record_edit.html",
        status=status,
        record=record,
        fields=made,
        label=typed["label"],
        was=now,
        tag=etag(record),
        typed=fields,
        clashes=clashes,
        problems=maker.left(),
        at=at,
        kinds=[(name, t(KINDS[name])) for name in _TOLD_AS],
        retracts=fields.get("retracts", ""),
        disputed=any(how.get("state") for how in record.provenance.values()),
        back=record_href(kind, record.key),
        here_post=f"/edit/{kind}/{quote(record.key, safe='')}",
    )


def router() -> Router:
    """Return the routes of editing."""
    return Router("/edit", route_handlers=[edit, save])
