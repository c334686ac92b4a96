"""/v1/matches: named items on named rigs, as one question; and one of each, to be kept by caches on the way."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, cast

import msgspec
from anyio import to_thread
from litestar import Response, get, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.answers.answer import Disputed, RulebookName
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.records import Records
from fitsvc.answers.shelf import Item
from fitsvc.answers.things import read_things
from fitsvc.document import Document, Json
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.selection.query import SelectionQuery
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import Snapshot
from fitsvc.selection.selector import Selected, read_rig_told
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.documents import finish
from fitsvc.service.hanging import MOST_BESIDE, MOST_TOGETHER, MatchedRig, beside, refuse_too_many
from fitsvc.service.operations import IF_NONE_MATCH, Operation, query_of
from fitsvc.service.problems import entry
from fitsvc.service.queries import AFTER, LIMIT, PIN, UNITS, Parameter
from fitsvc.service.replies import by_bytes, reply
from fitsvc.store.errors import NotFound
from fitsvc.store.records import get_record
from fitsvc.store.rigs import get_rig, list_rigs
from fitsvc.store.tables import Accessory
from fitsvc.tongues import later, t
from fitsvc.wanted import still_wanted

BODY_BYTES: Final = 256_000
MOST_RIGS: Final = 100
MOST_ITEMS: Final = 1_000
MOST_TOLD: Final = 10_000
"""Pairs that are told in words: of some 50 us each they take half a second."""
_PARTS: Final = ("load", "ball", "trailer", "beside")
_BODY: Final = ("rigs", "skus", *_PARTS, "hangs_on", TOGETHER)
_DETAIL: Final = Parameter(
    "detail",
    "`compact` leaves out labels, kinds, reasons and allowances.",
    {"type": "string", "enum": ["full", "compact"], "default": "compact"},
    example="compact",
)


class NotMatched(msgspec.Struct):
    """A SKU that is no accessory of the catalogue, and why."""

    sku: str
    because: str


class RigProblem(msgspec.Struct, omit_defaults=True):
    """One thing for which a rig cannot be judged, at a JSON pointer into the body, as in a problem document."""

    pointer: str
    detail: str
    code: str = ""
    help: str = ""


class RigMatches(msgspec.Struct, omit_defaults=True):
    """What one rig comes to with each item, in the order in which they were given; `disputed` is as in a selection.

    Without items and with `errors` where the rig cannot be judged, as when two stored vehicles go by its name.
    """

    items: list[Selected]
    disputed: list[Disputed] = []
    errors: list[RigProblem] = []


class Matches(msgspec.Struct):
    """What rigs come to with items, a row for each rig in the order in which they were given, at one revision."""

    rigs: list[RigMatches]
    not_matched: list[NotMatched]
    revision: str
    rulebook: RulebookName


class RigMatch(msgspec.Struct):
    """One item on one saved rig."""

    rig: str
    name: str
    match: Selected | None
    because: str = ""


class ItemRigs(msgspec.Struct):
    """A page of saved rigs with what each comes to with one item; nothing where a rig cannot be read, and why."""

    items: list[RigMatch]
    next: str | None


_Read = MatchedRig | list[RigProblem]
"""A rig of the question, or why it cannot be judged."""


def handlers() -> list[HTTPRouteHandler]:
    """Return the routes."""
    return [match, one_on_rig, rigs_of_one]


_MATCH: Final = Operation(
    id="match",
    summary="Which of these items work on which of these rigs?",
    about=(
        f"Judges up to {MOST_ITEMS} items of the catalogue on each of up to {MOST_RIGS} rigs, as a selection judges "
        f"them: by outcome and codes, or with `detail=full` in words, up to {MOST_TOLD} pairs. `load`, `ball`, "
        "`trailer` and `beside` hold for all. With `together` these things hang on each rig already, and each item is "
        f"judged beside them where it `hangs_on`: the outcome is the worst of all, of up to {MOST_BESIDE} pairs, "
        f"and of what takes up to {MOST_TOGETHER} judgements: a pair takes 3 beside one thing, 7 beside two, 13 beside "
        "three, and items that no rule can tell apart are judged once. "
        "A rig that cannot be judged, as one whose name two stored vehicles go by, has `errors` of its own in place of "
        "items, and the others are answered. Nothing is stored."
    ),
    tag="Selections",
    gives="Matches",
    body="MatchQuestion",
    query=(_DETAIL, UNITS, PIN),
    errors=(404,),
)


@post("/v1/matches", opt=_MATCH.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def match(request: AnyRequest) -> Response[bytes]:
    """Judge items on rigs."""
    query, service = query_of(request), service_of(request)
    document = await read_document(request)
    return reply(await to_thread.run_sync(matched, service, document, query, limiter=service.threads.searches))


def matched(service: Service, document: Json, query: Mapping[str, Any]) -> bytes:
    """Return the matrix that a body asks for; ProblemsFound when it cannot be read."""
    skus = _read(document, compact=query["detail"] == "compact")
    with service.database.session() as session:
        rigs = _read_rigs(service, document, StoreRecords(session, service.shop.vehicles))
        held = service.selections.index.held()
        items, strangers = _items(session, held, skus)
    refuse_too_many(service, [rig for rig in rigs if isinstance(rig, MatchedRig)], items)
    wanted = SelectionQuery(question={}, compact=query["detail"] == "compact", system=query["units"])
    book = service.answerer.rulebook
    # Row by row: nothing else runs while one is encoded, and all of them may be ten megabytes.
    rows = [msgspec.Raw(msgspec.json.encode(row)) for row in _rows(service, held, rigs, items, wanted)]
    told = Matches(
        rigs=cast(list[RigMatches], rows),
        not_matched=strangers,
        revision=held.revision,
        rulebook=RulebookName(book.digest, book.name),
    )
    return msgspec.json.encode(told)


def _rows(
    service: Service, held: Snapshot, rigs: Sequence[_Read], items: Sequence[Item], wanted: SelectionQuery
) -> Iterator[RigMatches]:
    cases = [rig.case for rig in rigs if isinstance(rig, MatchedRig)]
    rows = iter(service.selections.matrix.rows(held, cases, items, wanted))
    for rig in rigs:
        if not isinstance(rig, MatchedRig):
            yield RigMatches([], errors=rig)
            continue
        row = next(rows)
        yield RigMatches(row if rig.place is None else beside(service, rig, items, row), rig.disputed)


def _read(document: Json, *, compact: bool) -> list[str]:
    """Read a body's SKUs, with all that is wrong with its form."""
    problems = read_object(document, _BODY, ("rigs", "skus"))
    rigs, skus = document.get("rigs"), document.get("skus")
    problems += _list("rigs", rigs, MOST_RIGS, later("rigs")) + _list("skus", skus, MOST_ITEMS, later("SKUs"))
    if not problems:
        wrong = [f"/skus/{number}" for number, sku in enumerate(skus) if not isinstance(sku, str) or not sku]
        problems += [Problem(t("a SKU is a text"), t("write the item's `sku`"), pointer=pointer) for pointer in wrong]
        pairs = len(rigs) * len(skus)
        most = MOST_BESIDE if document.get(TOGETHER) is not None else pairs if compact else MOST_TOLD
        if pairs > most:
            help = t("ask for at most {most} at a time, or for `detail=compact`", most=most)
            problems.append(
                Problem(t("{pairs} pairs of a rig and an item are too many to be told so", pairs=pairs), help)
            )
    finish(problems)
    return list(dict.fromkeys(skus))


def _list(name: str, given: Json, most: int, what: str) -> list[Problem]:
    if given is None or (isinstance(given, list) and 1 <= len(given) <= most):
        return []
    return [
        Problem(
            t("`{name}` is not a list of 1 to {most} {what}", name=name, most=most, what=t(what)),
            t("write 1 to {most} of them", most=most),
            pointer=f"/{name}",
        )
    ]


def _read_rigs(service: Service, document: Document, records: Records) -> list[_Read]:
    """Read the rigs; one that is well formed and cannot be judged keeps nobody from an answer about the others."""
    found, problems = list[_Read](), dict[tuple[str, str], Problem]()
    for number, rig in enumerate(document["rigs"]):
        still_wanted()
        try:
            found.append(_read_rig(service, document, rig, records))
        except ProblemsFound as refused:
            mine = [one.pointer.startswith("/rig") for one in refused.problems]
            placed = [
                replace(one, pointer=f"/rigs/{number}{one.pointer.removeprefix('/rig')}") if own else one
                for one, own in zip(refused.problems, mine, strict=True)
            ]
            if all(mine) and all(one.meaning for one in placed):
                found.append([RigProblem(**entry(one)) for one in placed])
                continue
            for one in placed:
                problems.setdefault((one.pointer, one.message), one)
    finish(problems.values())
    return found


def _read_rig(service: Service, document: Document, rig: Json, records: Records) -> MatchedRig:
    shared = {name: document.get(name) for name in _PARTS}
    case, disputed = read_rig_told({"rig": rig, **shared}, service.answerer, records)
    if document.get(TOGETHER) is None:
        return MatchedRig(case, disputed)
    others = document[TOGETHER]
    if shared["beside"] is not None:
        help = t("name each thing in `{together}`, or tell all of them in `beside`", together=TOGETHER)
        said = t("`beside` and `{together}` both say what else is there", together=TOGETHER)
        raise ProblemsFound([Problem(said, help, pointer="/beside", meaning=True)])
    if not isinstance(others, list):
        raise ProblemsFound(
            [
                Problem(
                    t("`{together}` is a list of things", together=TOGETHER),
                    t("write `[{...}]`"),
                    pointer=f"/{TOGETHER}",
                )
            ]
        )
    if document.get("hangs_on") is None:
        said, help = (
            t("with `{together}` it has to be said where each item hangs", together=TOGETHER),
            t("name a receiver in `hangs_on`"),
        )
        raise ProblemsFound([Problem(said, help, pointer="/hangs_on", meaning=True)])
    own = {name: shared[name] for name in ("ball", "trailer") if shared[name] is not None}
    item: Document = {"hangs_on": document.get("hangs_on"), SUBJECT: {"facts": {}}, **own}
    asked = {"rig": rig, "load": shared["load"], TOGETHER: [item, *others]}
    try:
        things = read_things(asked, service.answerer.reader, records)
    except ProblemsFound as refused:
        raise ProblemsFound([replace(one, pointer=_shifted(one.pointer)) for one in refused.problems]) from None
    return MatchedRig(case, disputed, things[0].place, tuple((one.question.case, one.place) for one in things[1:]))


def _shifted(pointer: str) -> str:
    """The place of a problem among the things that were given, before which the item stood."""
    steps = pointer.split("/")
    if steps[1:2] == [TOGETHER] and len(steps) > 2:
        number = int(steps[2])
        return "/".join(["", *steps[3:]]) if number == 0 else "/".join(["", TOGETHER, str(number - 1), *steps[3:]])
    return pointer


def _items(session: Session, held: Snapshot, skus: Sequence[str]) -> tuple[list[Item], list[NotMatched]]:
    """The items under some SKUs, and those that are none."""
    found, strangers = list[Item](), list[NotMatched]()
    for sku in skus:
        item = held.item(sku)
        if item is not None:
            found.append(item)
        else:
            strangers.append(NotMatched(sku, _why_not(session, sku)))
    return found, strangers


def _why_not(session: Session, sku: str) -> str:
    try:
        record = get_record(session, "accessory", sku)
    except NotFound:
        return "nothing is stored under it"
    assert isinstance(record, Accessory)
    sold_as = record.subject
    if sold_as == SUBJECT:
        return "its facts cannot be read by this rulebook's vocabulary"
    return f"it is sold as a {sold_as}: ask about it with `{sold_as}` in a question"


_ONE: Final = Operation(
    id="match_on_rig",
    summary="Does this item work on this saved rig?",
    about="One accessory of the catalogue on one saved rig, as a selection tells it; its ETag changes with its bytes.",
    tag="Selections",
    gives="Selected",
    path={"key": "The rig's `id`.", "sku": "The accessory's `sku`; a `/` in it is sent as `%2F`."},
    query=(replace(_DETAIL, schema={**_DETAIL.schema, "default": "full"}), UNITS, PIN),
    headers=(IF_NONE_MATCH,),
    sends=("ETag",),
    errors=(304, 404),
)


@get("/v1/rigs/{key:str}/accessories/{sku:str}", opt=_ONE.opt, sync_to_thread=True)
def one_on_rig(request: AnyRequest, key: FromPath[str], sku: FromPath[str]) -> Response[bytes]:
    """Judge one item on one saved rig."""
    query, service = query_of(request), service_of(request)
    with service.database.session() as session:
        get_rig(session, key)
        records = StoreRecords(session, service.shop.vehicles)
        rig, _ = read_rig_told({"rig": {"id": key}}, service.answerer, records)
        item = _item(service, sku)
    wanted = SelectionQuery(question={}, compact=query["detail"] == "compact", system=query["units"])
    found = service.selections.selector.shown(rig, item, wanted)
    return by_bytes(request, msgspec.json.encode(found), (f"rig:{key}", f"sku:{sku}"))


def _item(service: Service, sku: str) -> Item:
    found = service.selections.index.held().item(sku)
    if found is None:
        raise NotFound(SUBJECT, sku)
    return found


_RIGS: Final = Operation(
    id="match_rigs",
    summary="On which saved rigs does this item work?",
    about="One accessory of the catalogue on each of a page of saved rigs, ordered by `id`: what it fits.",
    tag="Selections",
    gives="ItemRigs",
    path={"sku": "The accessory's `sku`; a `/` in it is sent as `%2F`."},
    query=(AFTER, LIMIT, _DETAIL, UNITS, PIN),
    headers=(IF_NONE_MATCH,),
    sends=("ETag",),
    errors=(304, 404),
)


@get("/v1/accessories/{sku:str}/rigs", opt=_RIGS.opt, sync_to_thread=True)
def rigs_of_one(request: AnyRequest, sku: FromPath[str]) -> Response[bytes]:
    """Judge one item on a page of saved rigs."""
    query, service = query_of(request), service_of(request)
    wanted = SelectionQuery(question={}, compact=query["detail"] == "compact", system=query["units"])
    found = list[RigMatch]()
    with service.database.session() as session:
        item = _item(service, sku)
        rigs = list_rigs(session, after=query["after"], limit=query["limit"] + 1)
        records = StoreRecords(session, service.shop.vehicles)
        for rig in rigs[: query["limit"]]:
            still_wanted()
            try:
                case, _ = read_rig_told({"rig": {"id": rig.id}}, service.answerer, records)
                found.append(RigMatch(rig.id, rig.name, service.selections.selector.shown(case, item, wanted)))
            except ProblemsFound as refused:
                found.append(RigMatch(rig.id, rig.name, None, refused.problems[0].message))
    following = found[-1].rig if len(rigs) > query["limit"] else None
    return by_bytes(request, msgspec.json.encode(ItemRigs(found, following)), (f"sku:{sku}", "rigs"))
