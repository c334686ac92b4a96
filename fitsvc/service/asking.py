"""/v1/answers: a question in, its answer out."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, Final, NamedTuple, cast

import msgspec
from anyio import to_thread
from litestar import Response, post
from litestar.enums import MediaType
from sqlmodel import Session

from fitsvc.answers.answer import Answer, encode, encode_some
from fitsvc.answers.answering import Answerer
from fitsvc.answers.figures import figures_of
from fitsvc.answers.parts import names_vehicle, refers_to_records
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import NoRecords, Records
from fitsvc.answers.shelf import Shelf
from fitsvc.answers.things import names_several
from fitsvc.answers.trying import MOST_WORK
from fitsvc.document import Json
from fitsvc.engine.verdict import Verdict
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.display import System
from fitsvc.observing.earlier import EarlierRecords
from fitsvc.observing.law import laws_of
from fitsvc.observing.resting import rests_on
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.service.bodies import read_document
from fitsvc.service.brief import Brief, brief
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.earlier import RULEBOOK, AnsweredThen, answered_then
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.queries import AS_OF, PIN, UNITS, words

BODY_BYTES: Final = 256_000

BRIEF: Final = frozenset({"outcome", "codes", "rulebook"})
"""What is told without a word of why."""
HANDED: Final = "handed"
"""By what name a request carries a `Handed`."""
_FINDING_OUT: Final = frozenset({"summary", "next", "more_open", "untried", "if_usual", "together", "to_see_to"})
"""What rests on what to learn next, and is not looked for where none of it is told."""
_MEMBERS: Final = tuple(field.name for field in msgspec.structs.fields(Answer))
INCLUDE: Final = words(
    "include",
    "Tell these members only, with commas between; `codes` are the rules and needs behind the outcome, `figures` the "
    "figures behind the words, each with its unit, `rests_on` the facts of the findings with how each is known, by "
    "whom and since when. Left out, all but these three.",
    (*_MEMBERS, "codes", "figures", "rests_on"),
    example="outcome,codes",
)

_ANSWER: Final = Operation(
    id="answer",
    summary="Ask whether it works",
    about=(
        "Answers a question about stored records, inline facts, or both. The same rulebook digest and the same "
        "question give the same bytes. Nothing is stored. With `together`, several things on one rig are judged at "
        "once: the outcome is the worst of all, each thing's own answer stands under `together`, and `spoils` says "
        "what stands against all of them at once, and between which. With `as_of` stored records are taken as they "
        "were known then, and no remedies are told: what was on the shelf is not looked for. With `include` only what "
        "it names is told and worked out: `outcome,codes` for a list, `figures` for the figures behind the words. "
        "Whoever holds an earlier answer names its `rulebook`, and is told under `then` what that says to the question."
    ),
    tag="Answers",
    gives="Answered",
    body="Question",
    query=(UNITS, AS_OF, INCLUDE, RULEBOOK, PIN),
    errors=(404,),
)


class Handed(NamedTuple):
    """A question read and judged before it came here; `keep` an answer that takes nothing from the store, and its
    outcome.
    """

    document: Json
    judged: tuple[Question, Verdict]
    keep: Callable[[bytes, Outcome], None]


@post("/v1/answers", opt=_ANSWER.opt, status_code=200, request_max_body_size=BODY_BYTES)
async def answer(request: AnyRequest) -> Response[bytes]:
    """Answer a question by the store; the plainest ones are answered by `shortcut` and do not come here."""
    query, service = query_of(request), service_of(request)
    handed = cast(Handed | None, cast(Any, request.scope).get(HANDED))
    if handed:
        await request.body()  # once it is taken, it is looked whether the caller stays
    document = handed.document if handed else await read_document(request)
    judged = handed.judged if handed else None
    threads, is_stored = service.threads, judged is None or judged[1].outcome == "fails"
    told, outcome = await to_thread.run_sync(
        told_of,
        service,
        document,
        query["units"],
        query["include"],
        query["as_of"],
        judged,
        limiter=threads.answers if is_stored else threads.inline,
    )
    if handed and outcome != "fails":
        handed.keep(told, outcome)
    if query["rulebook"] is not None:
        earlier = query["units"], query["as_of"], query["rulebook"]
        then = await to_thread.run_sync(_then, service, document, *earlier, limiter=service.threads.answers)
        told = msgspec.json.encode({**msgspec.json.decode(told, type=dict[str, msgspec.Raw]), "then": then})
    service.metrics.answer(outcome)
    cast(Any, request.scope)["outcome"] = outcome
    return Response(told, media_type=MediaType.JSON)


def _then(service: Service, document: Json, system: System, as_of: datetime | None, digest: str) -> AnsweredThen | None:
    """What the rulebook of an earlier answer says to the question."""
    with service.database.session() as session:
        return answered_then(service, digest, document, _records(service, session, as_of), system)


def _records(service: Service, session: Session, as_of: datetime | None) -> Records:
    """What is stored, as it is now or as it was known earlier."""
    if as_of is None:
        return StoreRecords(session, service.shop.vehicles)
    return EarlierRecords(session, laws_of(service.answerer.reader), as_of, service.shop.vehicles)


def told_of(
    service: Service,
    document: Json,
    system: System,
    include: frozenset[str] | None,
    as_of: datetime | None = None,
    judged: tuple[Question, Verdict] | None = None,
) -> tuple[bytes, Outcome]:
    """The answer, or what is to be told of it, and what it comes to; ProblemsFound when the question cannot be read.

    A whole question that takes nothing from the store may have been read and `judged` before.
    """
    if include is None and as_of is None:
        answer, judged = _without_store(service, document, system, judged)
        if answer is not None:
            return encode(answer), answer.outcome
    with service.database.session() as session:
        records = _records(service, session, as_of)
        sells = as_of is None and (include is None or "remedies" in include)
        shelf = service.shop.shelf(session) if sells else None
        if include is None:
            answer = service.answerer.answer(document, records, system, shelf, judged=judged)
            return encode(answer), answer.outcome
        if include <= BRIEF:
            found = brief(service.answerer, document, records)
            return encode_brief(found, include), found.outcome
        return _some(service.answerer, document, records, shelf, system, include, session)


def _without_store(
    service: Service, document: Json, system: System, judged: tuple[Question, Verdict] | None
) -> tuple[Answer | None, tuple[Question, Verdict] | None]:
    """The answer to a question that needs nothing of the store, which may be away or slow; None for any other.

    Of one that fails, and so is told with what else the store sells, beside it how it was read and judged.
    """
    answerer = service.answerer
    if judged is None and (refers_to_records(document) or names_vehicle(document)):
        return None, None
    if judged is None and names_several(document):
        answer = answerer.answer(document, None, system, remedies=False)
        return None if answer.outcome == "fails" else answer, None
    if judged is None:
        question = read_question(document, answerer.reader, NoRecords())
        judged = question, answerer.engine.evaluate(question.case)
    if judged[1].outcome == "fails":
        return None, judged
    return answerer.answer(document, None, system, judged=judged), judged


def _some(
    answerer: Answerer,
    document: Json,
    records: Records,
    shelf: Shelf | None,
    system: System,
    include: frozenset[str],
    session: Session,
) -> tuple[bytes, Outcome]:
    """Some members of the answer, without working out what others alone need."""
    most = MOST_WORK if include & _FINDING_OUT else 0
    answer = answerer.answer(document, records, system, shelf, most, remedies="remedies" in include)
    more: dict[str, Any] = {"codes": brief(answerer, document, records).codes} if "codes" in include else {}
    if "figures" in include and not names_several(document):
        more["figures"] = figures_of(answerer, read_question(document, answerer.reader, records))
    if "rests_on" in include and not names_several(document):
        asked = read_question(document, answerer.reader, records)
        more["rests_on"] = rests_on(session, asked, answer.findings)
    return encode_some(answer, include, more), answer.outcome


def encode_brief(found: Brief, include: frozenset[str]) -> bytes:
    """Encode what is told of an answer in brief."""
    return msgspec.json.encode({name: getattr(found, name) for name in found.__struct_fields__ if name in include})
