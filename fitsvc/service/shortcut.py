"""The plainest questions answered before the framework sees them; whatever is not plain goes the usual way.

Plain is a small body of JSON in one piece, with inline facts only, that reads without a problem, needs nothing of the
store, names one thing only and leaves nothing open: what to learn next, and what would work instead, are looked for
beside the event loop, which must not be held up by what one caller does not know. Nothing is decided here that
`asking.answer` would decide otherwise: what turns out not to be plain is handed on with its body, as if it had not
been looked at. How it was read and judged is handed on beside it, so that it is not done twice.

An answer for which nothing of the store was looked at is kept by the very bytes of its question, on whichever way it
was found: a shop's page asks the same again for each customer who looks at it.
"""

import logging
from functools import partial
from typing import Any, Final, NamedTuple, cast

from litestar.types import ASGIApp, Receive, Scope, Send

from fitsvc.answers.answer import encode
from fitsvc.answers.parts import names_vehicle, refers_to_records
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NoRecords
from fitsvc.answers.shelf import Stock
from fitsvc.answers.things import names_several
from fitsvc.caching import LruCache
from fitsvc.engine.verdict import Verdict
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.service.asking import BRIEF, HANDED, Handed, encode_brief
from fitsvc.service.bodies import decode
from fitsvc.service.brief import brief
from fitsvc.service.context import Service
from fitsvc.subjects import SOLD
from fitsvc.tongues import Tongue, tongue

PATH: Final = "/v1/answers"
SMALL: Final = 16_000
"""Bytes of a body that is answered on the event loop."""
_MOST_KEPT: Final = 500
"""Answers of some twenty kilobytes with questions of some two: 12 MB."""

_log = logging.getLogger("fitsvc.service")
_UNITS: Final[dict[bytes, System]] = {b"": "us", b"units=us": "us", b"units=metric": "metric"}

_BRIEF: Final = frozenset({b"include=outcome,codes", b"include=outcome%2Ccodes"})
"""What is told then has nothing to be looked for, so nothing of it takes long."""
_QUERIES: Final = _UNITS.keys() | _BRIEF
_TELLING: Final = frozenset({b"content-type", b"content-encoding"})
"""The headers that tell how to read a body."""


class _Asked(NamedTuple):
    """What an answer follows from: the question, its query, and the language it is told in."""

    body: bytes
    query: bytes
    tongue: Tongue


class _KeptAnswer(NamedTuple):
    """An answer as it was told, what it came to, and the stock that was looked through for what to offer instead."""

    body: bytes
    outcome: Outcome
    stock: Stock | None


class Shortcut:
    """An application with a short way to plain answers."""

    def __init__(self, app: ASGIApp, service: Service) -> None:
        self._app, self._service = app, service
        self._kept = LruCache[_Asked, _KeptAnswer](_MOST_KEPT)
        self._open = "ask" in service.public

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a plain question here, or hand the request on."""
        if scope.get("path") != PATH or not self._open or not _plain(scope):
            await self._app(scope, receive, send)
            return
        first = cast(Any, await receive())
        body: bytes = first.get("body", b"")
        told: bytes | Handed | None = None
        if first["type"] == "http.request" and not first.get("more_body") and len(body) <= SMALL:
            told = self._answer(_Asked(body, cast(Any, scope)["query_string"], tongue()))
        if told is None or isinstance(told, Handed):
            cast(Any, scope)[HANDED] = told
            await self._app(scope, _again(first, receive), send)
            return
        scope["path_template"] = PATH
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(told)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": told, "more_body": False})

    def _answer(self, asked: _Asked) -> bytes | Handed | None:
        """A plain question's answer; of one that is not plain after all, how it was read and judged, if it was."""
        service, query = self._service, asked.query
        try:
            if (kept := self._kept_still(asked)) is not None:
                service.metrics.answer(kept.outcome)
                return kept.body
            document = decode(asked.body)
            if refers_to_records(document) or names_vehicle(document) or names_several(document):
                return None
            if query in _BRIEF:
                short = brief(service.answerer, document, NoRecords())
                service.metrics.answer(short.outcome)
                return encode_brief(short, BRIEF - {"rulebook"})
            stock = service.shop.lately()
            question = read_question(document, service.answerer.reader, NoRecords())
            judged = question, service.answerer.engine.evaluate(question.case)
            if not _settled(judged[1], stock):
                return Handed(document, judged, partial(self._keep, asked))
            found = service.answerer.answer(document, None, _UNITS[query], stock, judged=judged)
            told = encode(found)
        except ProblemsFound:
            return None
        except Exception:  # the usual way may yet answer, or tells the caller; here nobody would see it
            _log.exception("unforeseen error on the short way to an answer")
            service.metrics.shortcut_fault()
            return None
        service.metrics.answer(found.outcome)
        self._keep(asked, told, found.outcome, stock if found.outcome == "fails" else None)
        return told

    def _keep(self, asked: _Asked, told: bytes, outcome: Outcome, stock: Stock | None = None) -> None:
        """Keep an answer for who asks the same again."""
        self._kept.keep(asked, _KeptAnswer(told, outcome, stock))

    def _kept_still(self, asked: _Asked) -> _KeptAnswer | None:
        """An answer that is kept, if what it was told by is so still."""
        kept = self._kept.find(asked)
        if kept is None or (kept.stock is not None and kept.stock is not self._service.shop.lately()):
            return None
        self._kept.keep(asked, kept)  # as used last
        return kept


def _settled(verdict: Verdict, stock: Stock | None) -> bool:
    """Whether nothing is left to be looked for beside: an answer's price is what is open."""
    if verdict.outcome == "fails":
        return stock is not None and not any(map(stock.sells, SOLD))
    return not verdict.holding_up and not verdict.left("doubts")


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
