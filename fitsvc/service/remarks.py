"""/v1/remarks: what somebody holds against a rule in an answer, kept for whoever keeps the rules."""

from typing import Any, Final

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath

from fitsvc.document import Document, Json
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemKind, ProblemsFound
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.documents import finish, remark_document
from fitsvc.service.keys import key_name
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import AFTER, LIMIT, Parameter
from fitsvc.service.replies import page, reply
from fitsvc.store.remarks import Complaint, close_remark, create_remark, get_remark, list_remarks
from fitsvc.store.tables import Remark
from fitsvc.tongues import t

PATH: Final = "/v1/remarks"
BODY_BYTES: Final = 256_000


def router() -> Router:
    """Return the routes of remarks."""
    return Router(PATH, route_handlers=[list_page, read, create, close])


_LIST: Final = Operation(
    id="list_remarks",
    summary="List remarks on rules",
    about="A page of remarks, ordered by `id`.",
    tag="Remarks",
    gives="Remarks",
    query=(AFTER, LIMIT, Parameter("rule", "Only those on this rule.", {"type": "string", "maxLength": 80})),
)


@get("/", opt=_LIST.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of remarks."""
    query = query_of(request)
    with service_of(request).database.session() as session:
        found = list_remarks(session, query["rule"], after=query["after"], limit=query["limit"] + 1)
    return page([remark_document(one) for one in found], query["limit"], "id")


_READ: Final = Operation(
    id="get_remark",
    summary="Get one remark",
    about="A remark as it was made.",
    tag="Remarks",
    gives="Remark",
    path={"key": "The remark's `id`."},
    errors=(404,),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one remark."""
    query_of(request)
    with service_of(request).database.session() as session:
        return reply(remark_document(get_remark(session, key)))


_CREATE: Final = Operation(
    id="create_remark",
    summary="Say that a rule is wrong",
    about="Keeps what is wrong with a rule for whoever keeps the rules. With the question that it showed in, the "
    "question's outcome and what the rule came to are kept beside it.",
    tag="Remarks",
    gives="Remark",
    status=201,
    body="NewRemark",
    sends=("Location",),
    needs_key=True,
    links={"get_remark": "$response.body#/id"},
)


@post("/", opt=_CREATE.opt, request_max_body_size=BODY_BYTES)
async def create(request: AnyRequest) -> Response[bytes]:
    """Keep a remark."""
    query_of(request)
    service, document = service_of(request), await read_document(request)
    finish(read_object(document, ("rule", "text", "question", "by"), ("rule", "text")))
    made = await to_thread.run_sync(remarked, service, document, key_name(request))
    return reply(remark_document(made), 201, {"Location": f"{PATH}/{made.id}"})


_CLOSE: Final = Operation(
    id="close_remark",
    summary="Say what came of a remark",
    about="Closes a remark, once, with what whoever keeps the rules made of it.",
    tag="Remarks",
    gives="Remark",
    path={"key": "The remark's `id`."},
    body="RemarkState",
    needs_key=True,
    scope="edit",
    errors=(404, 409),
)


@post("/{key:str}/close", opt=_CLOSE.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def close(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Close a remark."""
    query_of(request)
    service, document = service_of(request), await read_document(request)
    finish(read_object(document, ("because", "by"), ("because",)))
    by = _by(document, key_name(request))

    def work() -> Document:
        with service.database.session() as session:
            return remark_document(close_remark(session, key, document["because"], by))

    return reply(await to_thread.run_sync(work))


def remarked(service: Service, document: Document, written_by: str) -> Remark:
    """Keep a remark, with what its question comes to; ProblemsFound says what is wrong with it."""
    rule, question = document["rule"], document.get("question")
    entry = service.library.entry(rule) if isinstance(rule, str) else None
    if entry is None:
        help = t("write a rule's, a limit's or a need's id, as in a finding's `rule`")
        is_text = isinstance(rule, str)
        kind: ProblemKind = "missing record" if is_text else ""
        raise ProblemsFound([Problem(t("there is no such rule"), help, pointer="/rule", meaning=is_text, kind=kind)])
    with service.database.session() as session:
        outcome, result, reason = _finding(service, entry.id, question, StoreRecords(session, service.shop.vehicles))
        complaint = Complaint(
            rule=entry.id,
            text=document["text"],
            question=question,
            outcome=outcome,
            result=result,
            reason=reason,
            by=_by(document, written_by),
            written_by=written_by,
            digest=service.answerer.rulebook.digest,
        )
        return create_remark(session, complaint)


def _by(document: Document, else_: str) -> Any:
    """Who says so: whoever a body names, whatever that is, which is checked with all else; the key's name without."""
    told = document.get("by")
    return else_ if told in (None, "") else told


def _finding(service: Service, rule: str, question: Json, records: StoreRecords) -> tuple[str, str, str]:
    """What a question comes to, and what the rule does in it."""
    if question is None:
        return "", "", ""
    try:
        answer = service.answerer.answer(question, records)
    except ProblemsFound as found:
        raise ProblemsFound([one.at("/question") for one in found.problems]) from None
    one = next((finding for finding in answer.findings if finding.rule == rule), None)
    return answer.outcome, one.result if one else "", one.reason if one else ""
