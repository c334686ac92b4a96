"""The pages of what is stored: look through it, and the sheet of each record, on the screen and on paper."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, cast
from urllib.parse import quote

from litestar import Response, get
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.answers.question import read_question
from fitsvc.document import Document
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.side_view import side_view
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.observing.sheet import sheet
from fitsvc.rulebook.vocabulary import EFFORTS, Vocabulary
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.selector import ByOutcome, read_rig
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.counter.asked import PARTS
from fitsvc.service.counter.fields import sentence
from fitsvc.service.counter.links import link, write_fields
from fitsvc.service.counter.rendering import not_there, page
from fitsvc.service.counter.sheet_view import SheetView, day, see_sheet
from fitsvc.service.counter.telling import qr_code
from fitsvc.service.etags import etag
from fitsvc.store.errors import NotFound
from fitsvc.store.observations import sold_as
from fitsvc.store.records import find_mountings, get_record, get_records
from fitsvc.store.rigs import count_rigs, get_rig, rigs_using, told_rig
from fitsvc.store.searching import count_records, search_records, search_rigs
from fitsvc.store.tables import TABLES, Mounting, Record, SavedRig
from fitsvc.subjects import KIND, SOLD, Subject
from fitsvc.tongues import as_said, later, t

RECORDS: Final = "/records"
RIG: Final = "rig"
_PAGE: Final = 50
_FIRST: Final = 8
_MOST_USING: Final = 20
_TITLES: Final[Mapping[str, str]] = {
    "vehicle": later("Vehicles"),
    "receiver": later("Receivers"),
    "mounting": later("Receivers on vehicles"),
    "accessory": later("Items"),
    RIG: later("Saved rigs"),
}
_NOT_STORED: Final = later("There is no such record. The page of records lists all.")


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One record in a list: its page, what it is called, how many of its facts are known, the first of the rest."""

    href: str
    label: str
    key: str
    told: str = ""
    missing: str = ""


def record_href(subject: str, key: str) -> str:
    """The page of a record; a SKU may hold what a URL cannot."""
    return f"{RECORDS}/{subject}/{quote(key, safe='')}"


@get(RECORDS, sync_to_thread=True)
def records(request: AnyRequest) -> Response[str]:
    """Tell what is stored, and find some of it of whatever kind."""
    text = request.query_params.get("text", "").strip()
    service = service_of(request)
    with service.database.session() as session:
        counts = {subject: count_records(session, subject) for subject in TABLES} | {RIG: count_rigs(session)}
        found = [(kind, _lines(session, service, kind, text, "", "", _FIRST)[0]) for kind in counts] if text else []
    kinds = [(kind, t(_TITLES[kind]), count) for kind, count in counts.items()]
    hits = [(t(_TITLES[kind]), kind, lines) for kind, lines in found if lines]
    return page(request, "records.html", kinds=kinds, text=text, hits=hits, empty=not any(counts.values()))


@get(RECORDS + "/{kind:str}", sync_to_thread=True)
def listed(request: AnyRequest, kind: FromPath[str]) -> Response[str]:
    """List the records of a kind, those with a word in their names or without some fact where that is asked."""
    if kind not in _TITLES:
        return not_there(request, t("There is no such kind of record. The page of records lists them."))
    asked = {name: request.query_params.get(name, "").strip() for name in ("text", "lacking", "after")}
    service = service_of(request)
    facts = [] if kind == RIG else list(service.answerer.rulebook.vocabulary.of(kind).values())
    lacking = asked["lacking"] if asked["lacking"] in {fact.short for fact in facts} else ""
    with service.database.session() as session:
        lines, following = _lines(session, service, kind, asked["text"], lacking, asked["after"], _PAGE)
    kept = {name: text for name, text in (("text", asked["text"]), ("lacking", lacking)) if text}
    return page(
        request,
        "records_of.html",
        kind=kind,
        title=t(_TITLES[kind]),
        lines=lines,
        text=asked["text"],
        lacking=lacking,
        facts=[(fact.short, sentence(fact.label)) for fact in facts],
        following=link(f"{RECORDS}/{kind}", {**kept, "after": following}) if following else "",
    )


@get(RECORDS + "/{kind:str}/{key:path}", sync_to_thread=True)
def record(request: AnyRequest, kind: FromPath[str], key: FromPath[str]) -> Response[str]:
    """Give the sheet of a record, or a saved rig."""
    return record_page(request, kind, str(key).removeprefix("/"))


def record_page(request: AnyRequest, kind: str, key: str, status: int = 200, refused: str = "") -> Response[str]:
    """The page of a record, with what of a change to it was refused."""
    as_of, service = request.query_params.get("as_of", ""), service_of(request)
    try:
        with service.database.session() as session:
            if kind == RIG:
                return _rig_page(request, session, get_rig(session, key))
            if kind not in TABLES:
                raise NotFound(cast(Subject, kind), key)
            found = get_record(session, cast(Subject, kind), key)
            sheets = _sheets(session, service, found, _end_of(as_of))
            rig = _rig_of(found)
            seen = _seen(session, service, rig) if rig else _Seen()
            beside = _beside(session, found)
    except NotFound:
        return not_there(request, t(_NOT_STORED))
    measure = link("/measure", {"mounting": key}) if kind == "mounting" else ""
    base = service.operator.address or str(request.base_url).rstrip("/")
    return page(
        request,
        "record.html",
        status=status,
        refused=refused,
        kind=kind,
        titles={name: t(title) for name, title in _TITLES.items()},
        sheets=sheets,
        main=sheets[0],
        tag=etag(found),
        seen=seen,
        beside=beside,
        rig=rig,
        as_of=as_of,
        today=day(datetime.now(UTC)),
        ask=link("/", write_fields({"rig": rig})) if rig else "",
        measure=measure,
        address=base + measure,
        qr=qr_code(base + measure, t("The address to measure on at")) if measure else "",
        edit=f"/edit/{kind}/{quote(key, safe='')}",
    )


@dataclass(frozen=True, slots=True)
class _Seen:
    """What is seen of a rig as a whole: its side, and what of each kind fits it, with the link that lists it."""

    side: Drawing | None = None
    kinds: Sequence[tuple[str, str, ByOutcome, int]] = ()


def _lines(
    session: Session, service: Service, kind: str, text: str, lacking: str, after: str, limit: int
) -> tuple[list[RecordLine], str]:
    """A page of records of a kind, and the key that the next one comes after."""
    if kind == RIG:
        rigs = search_rigs(session, text, after=after or None, limit=limit + 1)
        lines = [RecordLine(record_href(RIG, one.id), one.name, one.id) for one in rigs]
    else:
        subject, vocabulary = cast(Subject, kind), service.answerer.rulebook.vocabulary
        if kind == "accessory" and text and not lacking and not after:
            found = _sold(session, service, text, limit + 1)
        else:
            found = search_records(session, subject, text, lacking=lacking, after=after or None, limit=limit + 1)
        lines = [_line(kind, one, vocabulary) for one in found]
    return lines[:limit], lines[limit - 1].key if len(lines) > limit else ""


def _sold(session: Session, service: Service, text: str, most: int) -> Sequence[Record]:
    """The first items that go by a text: accessories by the index of them, which are many, others by the store."""
    skus = [item.sku for item in service.selections.named(text).items]
    others = search_records(session, "accessory", text, sold_as=SOLD[1:], limit=most)
    found = {one.key: one for one in (*get_records(session, "accessory", skus[:most]).values(), *others)}
    return [found[key] for key in sorted(found)[:most]]


def _line(kind: str, one: Record, vocabulary: Vocabulary) -> RecordLine:
    facts = vocabulary.of(sold_as(one))
    known = [name for name in facts if one.facts.get(name) is not None]
    missing = sorted((facts[name] for name in facts if name not in known), key=lambda fact: EFFORTS.index(fact.effort))
    named = ", ".join(as_said(fact.label) for fact in missing[:3])
    more = t(" and {count} more", count=len(missing) - 3) if len(missing) > 3 else ""
    return RecordLine(
        record_href(kind, one.key),
        one.label or one.key,
        one.key,
        t("{count} of {of} facts", count=len(known), of=len(facts)),
        named + more,
    )


def _sheets(session: Session, service: Service, found: Record, as_of: datetime | None) -> list[SheetView]:
    """The record's own sheet, and of a mounting those of its receiver and vehicle behind it."""
    reader, named = service.answerer.reader, [(_kind_of(found), found.key)]
    if isinstance(found, Mounting):
        named += [("receiver", found.receiver_id), ("vehicle", found.vehicle_id)]
    waited = service.selections.waited
    told = [(subject, sheet(session, reader, subject, key, as_of, waited)) for subject, key in named]
    return [see_sheet(one, reader.rulebook, subject) for subject, one in told]


def _kind_of(found: Record) -> Subject:
    return next(subject for subject, table in TABLES.items() if isinstance(found, table))


def _rig_of(found: Record) -> Document:
    """The rig that a record is, as a question has it; nothing where it is only a part."""
    if isinstance(found, Mounting):
        named = {"vehicle": found.vehicle_id, "receiver": found.receiver_id, "mounting": found.id}
        return {subject: {"id": key} for subject, key in named.items()}
    return {"vehicle": {"id": found.key}} if _kind_of(found) == "vehicle" else {}


def _seen(session: Session, service: Service, rig: Document) -> _Seen:
    """The side of a rig, and what fits it; nothing of one that cannot be read by the rulebook any more."""
    document, kept = {"rig": rig}, StoreRecords(session)
    try:
        asked = read_question({**document, "accessory": {}}, service.answerer.reader, kept)
        case = read_rig(document, service.answerer, kept)
    except ProblemsFound:
        return _Seen()
    drawn = side_view(service.answerer.wording, asked.case, "us", labels=asked.labels)
    if "receiver" not in rig:
        return _Seen(drawn)
    selections = service.selections
    counts = selections.selector.select(
        selections.index.held(), case, SelectionQuery(question=document, limit=1)
    ).counts
    fields, words = write_fields(document), _kind_words(service.answerer.rulebook.vocabulary)
    kinds = [
        (sentence(words.get(kind, kind)), link("/fits", {**fields, "kind": kind}), of, sum(_counts(of)))
        for kind, of in counts.kinds.items()
    ]
    return _Seen(drawn, sorted(kinds))


def _kind_words(vocabulary: Vocabulary) -> Mapping[str, str]:
    kind = vocabulary.facts.get(KIND)
    return vocabulary.words.get(kind.kind, {}) if kind else {}


def _counts(of: ByOutcome) -> tuple[int, int, int, int]:
    return of.works, of.conditional, of.undetermined, of.fails


def _beside(session: Session, found: Record) -> list[tuple[str, list[RecordLine]]]:
    """The records that name this one, by what they are."""
    kind, mountings = _kind_of(found), []
    if kind in ("vehicle", "receiver"):
        mountings = list(find_mountings(session, **{f"{kind}_id": found.key}, limit=_MOST_USING))
    rigs = rigs_using(session, kind, found.key, limit=_MOST_USING)
    told = [
        ("mounting", [RecordLine(record_href("mounting", one.id), one.label or one.id, one.id) for one in mountings]),
        (RIG, [RecordLine(record_href(RIG, one.id), one.name, one.id) for one in rigs]),
    ]
    return [(t(_TITLES[name]), lines) for name, lines in told if lines]


def _rig_page(request: AnyRequest, session: Session, rig: SavedRig) -> Response[str]:
    service, fields = service_of(request), write_fields({"rig": rig.document})
    told = sheet(session, service.answerer.reader, RIG, rig.id)
    kept, vocabulary = StoreRecords(session), service.answerer.rulebook.vocabulary
    parts = [
        (t(PARTS[name]), record_href(name, part["id"]), _label_of(kept, name, part["id"]))
        for name, part in rig.document.items()
        if name in TABLES and isinstance(part, dict) and part.get("id")
    ]
    mounting = {name: text for name, text in fields.items() if name in ("vehicle", "receiver", "mounting")}
    return page(
        request,
        "record_rig.html",
        rig=rig,
        parts=parts,
        sheet=see_sheet(told, service.answerer.rulebook, RIG),
        seen=_seen(session, service, told_rig(rig.document, rig.facts, rig.provenance)),
        facts=[_in_words(vocabulary, name, text) for name, text in fields.items() if "." in name],
        tag=etag(rig),
        ask=link("/", {"rig": rig.id}),
        fits=link("/fits", {"rig": rig.id}),
        # What is measured by that page is told of the mounting, and so of every other truck that has it.
        measure=link("/measure", mounting) if len(mounting) > 1 and not rig.provenance else "",
    )


def _label_of(records: StoreRecords, subject: str, key: str) -> str:
    found = records.find(subject, key)
    return (found.label if found else "") or key


def _in_words(vocabulary: Vocabulary, name: str, text: str) -> tuple[str, str]:
    """A fact that is kept with a rig, and its value, in people's words."""
    fact = vocabulary.facts.get(name)
    return (sentence(fact.label), vocabulary.words.get(fact.kind, {}).get(text, text)) if fact else (name, text)


def _end_of(text: str) -> datetime | None:
    """The end of a day that a field of a form has; None where it has none."""
    try:
        return datetime.fromisoformat(text).replace(tzinfo=UTC) + timedelta(days=1) if text else None
    except ValueError:
        return None


def handlers() -> list[HTTPRouteHandler]:
    """Return the routes of these pages."""
    return [records, listed, record]
