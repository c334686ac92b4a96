"""/v1/observations: facts as they were told or measured, one after the other, never changed."""

from dataclasses import replace
from typing import Final, get_args

from anyio import to_thread
from litestar import Response, Router, get, post
from litestar.params import FromPath
from sqlmodel import Session

from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem
from fitsvc.observing.evidence import read_evidence
from fitsvc.observing.recording import Recorded, effects_of, observe
from fitsvc.observing.requests import ACTS, read_request, unfit_for_rig
from fitsvc.observing.slips import slips
from fitsvc.service.bodies import read_document, read_object
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.documents import TOLD, finish, observation_document, read_facts, read_told, told_document
from fitsvc.service.keys import key_name
from fitsvc.service.observed import contradiction_document, effects_document
from fitsvc.service.once import once, sent_once
from fitsvc.service.operations import IDEMPOTENCY, IF_NONE_MATCH, Operation, query_of
from fitsvc.service.queries import AFTER, LIMIT, Parameter
from fitsvc.service.replies import page, reply, tagged
from fitsvc.store.observations import Provenance, get_observation, list_observations, sold_as
from fitsvc.store.rigs import get_known
from fitsvc.store.taking_back import Request
from fitsvc.subjects import SOLD, Told
from fitsvc.tongues import t

PATH: Final = "/v1/observations"
BODY_BYTES: Final = 128_000
SUBJECTS: Final[tuple[str, ...]] = get_args(Told)


def router() -> Router:
    """Return the routes of observations."""
    return Router(PATH, route_handlers=[list_page, read, create])


_LIST: Final = Operation(
    id="list_observations",
    summary="List observations",
    about="A page of observations in the order they were recorded, oldest first.",
    tag="Observations",
    gives="Observations",
    errors=(404,),
    query=(
        replace(
            AFTER, about="Give what was recorded after this observation: the `next` of the page before; 404 of none."
        ),
        LIMIT,
        Parameter("subject", "Only those of this kind of record.", {"type": "string", "enum": list(SUBJECTS)}),
        Parameter("record", "Only those of this record, by its id or SKU.", {"type": "string", "maxLength": 80}),
    ),
)


@get("/", opt=_LIST.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give a page of observations."""
    query = query_of(request)
    limit = query["limit"]
    with service_of(request).database.session() as session:
        found = list_observations(session, query["subject"], query["record"], after=query["after"], limit=limit + 1)
    return page([observation_document(one) for one in found], limit, "id")


_READ: Final = Operation(
    id="get_observation",
    summary="Get one observation",
    about="An observation as it was recorded; it never changes.",
    tag="Observations",
    gives="Observation",
    path={"key": "The observation's `id`."},
    headers=(IF_NONE_MATCH,),
    sends=("ETag",),
    errors=(304, 404),
)


@get("/{key:str}", opt=_READ.opt, sync_to_thread=True)
def read(request: AnyRequest, key: FromPath[str]) -> Response[bytes]:
    """Give one observation."""
    query_of(request)
    with service_of(request).database.session() as session:
        found = get_observation(session, key)
    return tagged(request, observation_document(found), f'"{found.id}"')


_CREATE: Final = Operation(
    id="add_observation",
    summary="Tell what was measured",
    about="What was seen on the part (measured, read, tried) beats published beats assumed. Statements that agree "
    "leave what all of them allow; one person's later one takes the place of their earlier; two that cannot "
    "both hold are disputed, and leave everything that was said until one is retracted or corrected, or "
    "somebody settles it by measuring again, each with a `reason`. Null takes back what is no better known "
    "than it. Of a mounting, `evidence` says whether a spare stowed with the receiver fitted, rubbing or not, or "
    "that an accessory was tried: in what state, and whether it cleared, rubbed or touched; what cannot be is then "
    "ruled out by the rules' own geometry. Of a saved `rig` is told what holds of that very one, a lift or a steel "
    "bumper, over what its records say: facts of its vehicle, receiver and mounting by their whole names, such as "
    "`vehicle.rear_overhang`; what was seen of another that leans on it is not known of this one. "
    "Answers with the observation (the earlier one, where the very same was told before), the record as it "
    "now stands, what cannot hold beside what was told, and the saved rigs that answer otherwise now about "
    "the accessories stored, without load or trailer, or about the spare and adapters they have.",
    tag="Observations",
    gives="Observed",
    status=201,
    body="NewObservation",
    sends=("Location",),
    headers=(IDEMPOTENCY,),
    errors=(404,),
    needs_key=True,
    links={"get_observation": "$response.body#/observation/id"},
)


@post("/", opt=_CREATE.opt, request_max_body_size=BODY_BYTES)
async def create(request: AnyRequest) -> Response[bytes]:
    """Record an observation."""
    query_of(request)
    service, document, by = service_of(request), await read_document(request), key_name(request)

    def make(session: Session) -> Response[bytes]:
        return _told(_shown(service, _observed(session, service, document, by)))

    if sent_once(request):
        # The reply is kept with what it tells of, so that the rigs are judged within the transaction.
        return await to_thread.run_sync(once, request, document, make)
    return _told(await to_thread.run_sync(observed_by, service, document, by))


def _told(observed: Document) -> Response[bytes]:
    return reply(observed, 201, {"Location": f"{PATH}/{observed['observation']['id']}"})


def observed_by(service: Service, document: Json, by: str) -> Document:
    """Record what somebody observed who came with the key of this name, and tell what it does as the API shows it."""
    with service.database.session() as session:
        seen = _observed(session, service, document, by)
    # The record is no longer locked when the rigs are judged.
    return _shown(service, seen)


def _observed(session: Session, service: Service, document: Json, by: str) -> Recorded:
    told, asked = _read(document, session, service.answerer.reader, by)
    return observe(session, service.answerer.reader, document, told, asked)


def _shown(service: Service, seen: Recorded) -> Document:
    held = service.selections.index.held
    found = effects_of(service.answerer.columns, service.answerer.reader, seen.touched, held)
    return {
        "observation": observation_document(seen.observation),
        "record": told_document(seen.record),
        "repeated": seen.repeated,
        "contradictions": [contradiction_document(one) for one in seen.contradictions],
        "rigs": effects_document(found, seen.touched.left_off),
    }


def _read(document: Json, session: Session, reader: FactReader, by: str) -> tuple[Provenance, Request]:
    """Check a body by the vocabulary and return how its facts are known, and what it does to earlier ones."""
    evident = isinstance(document, dict) and document.get("evidence") is not None
    bare = evident or (isinstance(document, dict) and document.get("retracts") is not None)
    required = ("subject", "record") if bare else ("subject", "record", "facts")
    problems = read_object(document, ("subject", "record", "facts", "evidence", *ACTS, "reason", *TOLD), required)
    told, more = read_told({name: document[name] for name in TOLD if name in document}, "measured", by, "")
    problems += more
    subject, record, facts = (document.get(name) for name in ("subject", "record", "facts"))
    if subject is not None and subject not in SUBJECTS:
        problems.append(
            Problem(
                t("is not a kind of record"), t("it is one of {listed}", listed=", ".join(SUBJECTS)), pointer="/subject"
            )
        )
    if facts is not None and not isinstance(facts, dict):
        problems.append(Problem(t("`facts` is not an object"), t('write `{"fact": value}`'), pointer="/facts"))
    if record is not None and not isinstance(record, str):
        problems.append(Problem(t("`record` is not a text"), t("write the record's id or SKU"), pointer="/record"))
    elif record is not None and subject in SUBJECTS:
        problems += _facts(reader, sold_as(get_known(session, subject, record)), facts)
        problems += unfit_for_rig(subject, told, "/kind")
    if evident:
        problems += read_evidence(reader, document["evidence"], subject, "/evidence")
    asked, more = read_request(document)
    finish(problems + more)
    return told, asked


def _facts(reader: FactReader, subject: str, facts: Json) -> list[Problem]:
    """Return what is wrong with facts; a trailer's fact told of a ball is well formed, and cannot be."""
    problems = read_facts(reader, subject, facts, "/facts")
    if not problems and isinstance(facts, dict):
        problems = slips(reader, subject, reader.today(subject, facts), "/facts")
    if subject not in SOLD or not isinstance(facts, dict):
        return problems
    known = {name for one in SOLD for name in reader.subjects[one]} - set(reader.subjects[subject])
    astray = {f"/facts/{name}" for name in facts if name in known}
    return [replace(one, meaning=True, kind="other record") if one.pointer in astray else one for one in problems]
