"""The plainest questions answered before the framework sees them; whatever is not plain goes the usual way.

Plain is a small body of JSON in one piece, with inline facts only, that reads without a problem, needs nothing of the
store, names one thing only and leaves nothing open: what to learn next, and what would work instead, are looked for
beside the event loop, which must not be held up by what one caller does not know. Nothing is decided here that
`asking.answer` would decide otherwise: what turns out not to be plain is handed on with its body, as if it had not
been looked at.
"""

import logging
from typing import Any, Final, cast

from litestar.types import ASGIApp, Receive, Scope, Send

from fitsvc.answers.answer import encode
from fitsvc.answers.question import NoRecords, Question, names_vehicle, read_question, refers_to_records
from fitsvc.answers.shelf import Stock
from fitsvc.answers.things import names_several
from fitsvc.document import Json
from fitsvc.engine.verdict import Verdict
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound
from fitsvc.service.asking import BRIEF, encode_brief
from fitsvc.service.bodies import decode
from fitsvc.service.brief import brief
from fitsvc.service.context import Service
from fitsvc.subjects import SOLD

PATH: Final = "/v1/answers"
SMALL: Final = 16_000
"""Bytes of a body that is answered on the event loop."""

_log = logging.getLogger("fitsvc.service")
_UNITS: Final[dict[bytes, System]] = {b"": "us", b"units=us": "us", b"units=metric": "metric"}

_BRIEF: Final = frozenset({b"include=outcome,codes", b"include=outcome%2Ccodes"})
"""What is told then has nothing to be looked for, so nothing of it takes long."""
_QUERIES: Final = _UNITS.keys() | _BRIEF
_TELLING: Final = frozenset({b"content-type", b"content-encoding"})
"""The headers that tell how to read a body."""


class Shortcut:
    """An application with a short way to plain answers."""

    def __init__(self, app: ASGIApp, service: Service) -> None:
        self._app, self._service = app, service
        self._open = "ask" in service.public

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a plain question here, or hand the request on."""
        if scope.get("path") != PATH or not self._open or not _plain(scope):
            await self._app(scope, receive, send)
            return
        first = cast(Any, await receive())
        body: bytes = first.get("body", b"")
        told = None
        if first["type"] == "http.request" and not first.get("more_body") and len(body) <= SMALL:
            told = self._answer(body, cast(Any, scope)["query_string"])
        if told is None:
            await self._app(scope, _again(first, receive), send)
            return
        scope["path_template"] = PATH
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(told)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": told, "more_body": False})

    def _answer(self, body: bytes, query: bytes) -> bytes | None:
        """A plain question's answer; None for one that is not plain after all."""
        service = self._service
        try:
            document = decode(body)
            if refers_to_records(document) or names_vehicle(document) or names_several(document):
                return None
            if query in _BRIEF:
                short = brief(service.answerer, document, NoRecords())
                service.metrics.answer(short.outcome)
                return encode_brief(short, BRIEF - {"rulebook"})
            stock = service.shop.lately()
            judged = self._settled(document, stock)
            if judged is None:
                return None
            found = service.answerer.answer(document, None, _UNITS[query], stock, judged=judged)
        except ProblemsFound:
            return None
        except Exception:  # the usual way may yet answer, or tells the caller; here nobody would see it
            _log.exception("unforeseen error on the short way to an answer")
            service.metrics.shortcut_fault()
            return None
        service.metrics.answer(found.outcome)
        return encode(found)

    def _settled(self, document: Json, stock: Stock | None) -> tuple[Question, Verdict] | None:
        """A question and its verdict, if nothing is left to be looked for beside: its price is what is open."""
        answerer = self._service.answerer
        question = read_question(document, answerer.reader, NoRecords())
        verdict = answerer.engine.evaluate(question.case)
        if verdict.outcome == "fails":
            settled = stock is not None and not any(map(stock.sells, SOLD))
        else:
            settled = not verdict.holding_up and not verdict.doubts
        return (question, verdict) if settled else None


def _plain(scope: Any) -> bool:
    if scope["method"] != "POST" or scope["query_string"] not in _QUERIES:
        return False
    told = [pair for pair in scope["headers"] if pair[0] in _TELLING]
    return told == [(b"content-type", b"application/json")]


def _again(first: Any, receive: Receive) -> Receive:
    """Receive what was received already, then what follows."""
    left = [first]

    async def again() -> Any:
        return left.pop() if left else await receive()

    return again
