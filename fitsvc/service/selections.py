"""/v1/rigs/{id}/accessories and /v1/selections: which accessories of the store work on one rig."""

from collections.abc import Mapping, Sequence
from hashlib import blake2b
from typing import Any, Final

import msgspec
from anyio import to_thread
from litestar import Response, get, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from msgspec.structs import replace

from fitsvc.answers.answer import Disputed
from fitsvc.answers.answering import Answerer
from fitsvc.answers.records import NoRecords, Stored
from fitsvc.answers.shelf import read_items
from fitsvc.document import Json
from fitsvc.facts import Case
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import ProblemsFound
from fitsvc.selection.query import LONGEST_CURSOR, SelectionQuery
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import BEST_FIRST, Snapshot
from fitsvc.selection.selector import Selection, Selector, fingerprint, read_rig, read_rig_told
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.documents import finish
from fitsvc.service.etags import unchanged
from fitsvc.service.examples import BODIES
from fitsvc.service.operations import IF_NONE_MATCH, Operation, query_of
from fitsvc.service.queries import PIN, SKUS, UNITS, FactsWanted, Parameter, words
from fitsvc.service.replies import cached, reply
from fitsvc.service.schema import facts_wanted_pattern
from fitsvc.store.rigs import get_rig
from fitsvc.tongues import tongue

BODY_BYTES: Final = 256_000
PARTS: Final = ("rig", "load", "ball", "trailer", "beside")
"""What the body of a selection may have: a question without its accessory."""
_LONGEST_TEXT: Final = 100
_LONGEST_LIST: Final = 1_000

_ABOUT: Final = (
    "A page of the store's accessories, best outcome first, each with the rules and needs behind its outcome and the "
    "first of them in words, and counts over the whole catalogue. What a page says of an item is what a question about "
    "the two says, at the `revision` of the catalogue that the page names; pages go on from the `next` of the one "
    "before while the catalogue changes, and no item that stays as it is comes twice or is left out."
)


def handlers(selector: Selector) -> list[HTTPRouteHandler]:
    """Return the routes, described by the rulebook's own kinds of accessories and facts of them."""
    known = facts_wanted_pattern(selector.answerer.rulebook.vocabulary, selector.slots)
    query = _parameters(selector, known)
    saved = Operation(
        id="select_rig",
        summary="Select accessories for a saved rig",
        about=_ABOUT,
        tag="Selections",
        gives="Selection",
        query=query,
        path={"key": "The rig's `id`."},
        headers=(IF_NONE_MATCH,),
        sends=("ETag",),
        errors=(304, 404),
    )
    inline = Operation(
        id="select",
        summary="Select accessories for a rig",
        about=f"{_ABOUT} Nothing is stored.",
        tag="Selections",
        gives="Selection",
        body="SelectionQuestion",
        query=query,
        sends=("ETag",),
        errors=(404,),
    )
    return [
        get("/v1/rigs/{key:str}/accessories", opt=saved.opt, sync_to_thread=True)(of_saved_rig),
        post("/v1/selections", opt=inline.opt, status_code=200, request_max_body_size=BODY_BYTES)(of_inline_rig),
    ]


def _parameters(selector: Selector, facts: str) -> tuple[Parameter, ...]:
    """Return what a selection's query may have."""
    kind = words("kind", "Only accessories that are surely of one of these kinds.", selector.kinds)
    return (
        *([kind] if selector.kinds else []),
        words("outcome", "Only accessories with one of these outcomes.", BEST_FIRST),
        SKUS,
        Parameter(
            "text",
            "Only accessories that go by these words in label, SKU or kind: by what a word stands for too, a "
            "size as a size, and by the nearest there is where nothing does; `understood` says so.",
            {"type": "string", "maxLength": _LONGEST_TEXT},
            example="rack",
        ),
        FactsWanted(
            "where",
            "Only accessories with these facts for sure: `shank=2 in,capacity=at least 200 lb`.",
            {"type": "string", "maxLength": _LONGEST_LIST, "pattern": facts},
            example="shank=2 in",
            reads=selector.facts,
        ),
        Parameter(
            "sort",
            "What accessories of the same outcome are ordered by; `left`: least left to do first.",
            {"type": "string", "enum": ["sku", "label", "left"], "default": "sku"},
        ),
        Parameter(
            "detail",
            "`compact` leaves out labels, kinds, reasons and allowances.",
            {"type": "string", "enum": ["full", "compact"], "default": "full"},
        ),
        Parameter(
            "limit",
            "How many to give at most.",
            {"type": "integer", "minimum": 1, "maximum": 1000, "default": 50},
            example=50,
        ),
        Parameter(
            "after",
            "Go on after a page: its `next`, with the same rig, filters and order.",
            {"type": "string", "maxLength": LONGEST_CURSOR},
        ),
        UNITS,
        PIN,
    )


def of_saved_rig(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Select for a saved rig."""
    query, service = query_of(request), service_of(request)
    with service.database.session() as session:
        get_rig(session, key)
        records = StoreRecords(session, service.shop.vehicles)
        question = {"rig": {"id": key}}
        rig, disputed = read_rig_told(question, service.answerer, records)
    held = service.selections.index.held()
    made = tongue().code + _made_from(service.answerer, held, rig, query, disputed)
    tag, about = service.selections.tags.find(made), (f"rig:{key}", "selections")
    if tag is not None and unchanged(request, tag):
        service.metrics.pages_known.inc()
        return cached(request, b"", tag, about)
    body, tag = _encoded(service, held, rig, query, question, disputed)
    service.metrics.pages_made.inc()
    service.selections.tags.keep(made, tag)
    return cached(request, body, tag, about)


async def of_inline_rig(request: AnyRequest) -> Response[bytes]:
    """Select for a rig that the body tells of."""
    query, service = query_of(request), service_of(request)
    document = await read_document(request)

    def work() -> Response[bytes]:
        with service.database.session() as session:
            records = StoreRecords(session, service.shop.vehicles)
            rig, disputed = _read(document, service.answerer, records)
        held = service.selections.index.held()
        body, tag = _encoded(service, held, rig, query, document, disputed)
        return reply(body, headers={"ETag": tag, "Cache-Control": "no-cache"})

    return await to_thread.run_sync(work, limiter=service.threads.searches)


def _read(document: Json, answerer: Answerer, records: StoreRecords) -> tuple[Case, list[Disputed]]:
    """Read the body of a selection, with everything that is wrong with it."""
    told = {SUBJECT: "all that are stored are looked at; ask about one at /v1/answers"}
    problems = read_object(document, PARTS, ("rig",), told)
    try:
        found = read_rig_told({name: document.get(name) for name in PARTS}, answerer, records)
    except ProblemsFound as wrong:
        raise ProblemsFound([*problems, *wrong.problems]) from None
    finish(problems)
    return found


def _encoded(
    service: Service,
    held: Snapshot,
    rig: Case,
    query: Mapping[str, Any],
    question: Json,
    disputed: list[Disputed],
) -> tuple[bytes, str]:
    """A page as JSON, and its entity tag.

    The tag is weak: two pages that differ by the revision of the catalogue alone say the same, and have the same.
    """
    selector = service.selections.selector
    wanted = SelectionQuery(
        question=question,
        kinds=query.get("kind") or frozenset(),
        outcomes=query["outcome"] or frozenset(),
        text=query["text"] or "",
        sort=query["sort"],
        limit=query["limit"],
        after=query["after"],
        compact=query["detail"] == "compact",
        system=query["units"],
        facts=selector.facts(query["where"] or ""),
        skus=query["sku"] or frozenset(),
    )
    found = replace(selector.select(held, rig, wanted), disputed=disputed)
    same = msgspec.json.encode(replace(found, revision="", moved=False, next=found.next and found.items[-1].sku))
    return msgspec.json.encode(found), f'W/"{blake2b(same, digest_size=16).hexdigest()}"'


def _made_from(
    answerer: Answerer, held: Snapshot, rig: Case, query: Mapping[str, Any], disputed: Sequence[Disputed]
) -> str:
    """Return what tells one page from another before it is made: all that it is made from."""
    shown = [(name, sorted(value) if isinstance(value, frozenset) else value) for name, value in query.items()]
    told = repr((answerer.rulebook.digest, held.revision, fingerprint(rig), shown, disputed))
    return blake2b(told.encode(), digest_size=16).hexdigest()


def example(answerer: Answerer) -> Selection:
    """Return a page for an example in the API's description."""
    sold = BODIES["NewAccessory"]
    items = read_items(
        answerer.reader,
        [
            Stored(
                subject=SUBJECT,
                key=sold["sku"],
                label=sold["label"],
                facts=sold["facts"],
            )
        ],
    )
    rig = read_rig(BODIES["SelectionQuestion"], answerer, NoRecords())
    return Selector(answerer).select(
        Snapshot(
            revision="1-0f3c5b7d9e2a4c68",
            parts=(),
            loose=tuple(items),
            unreadable=0,
        ),
        rig,
        SelectionQuery(question=BODIES["SelectionQuestion"]),
    )
