"""Recorded answers given again: the same bytes, or what differs, by which rule.

A question is asked of the whole service, in this process, as it came. What names stored records is answered by the
store as it is now; where that gives other bytes it is asked as of then, without what was on the shelf.
"""

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal
from urllib.parse import quote

import msgspec
from litestar import Litestar

from fitsvc.answers.answering import Answerer
from fitsvc.service.app import create_app
from fitsvc.service.recording import LANGUAGE, PATH, RecordedAnswer
from fitsvc.service.settings import OPEN, Settings
from fitsvc.store.database import Database

Same = Literal["same", "same but for the digest", "same but for the shelf", "differs"]
_NOT_TOLD: Final = {"result": "not told"}
_DIGEST: Final = "rulebook"
_SHELF: Final = ("remedies",)
"""What is told of an answer by what was on the shelf, which is not known of earlier."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """How a recorded answer compares with the one given now: what differs, a line each, where anything does."""

    same: Same
    differences: tuple[str, ...] = ()


class Replaying:
    """A service in this process, over a store that it only reads."""

    def __init__(self, database: Database, answerer: Answerer, below: Path) -> None:
        self.digest, self._today = answerer.rulebook.digest, answerer.rulebook.today
        self._app = create_app(database, answerer, below, settings=Settings(public=OPEN))

    def replay(self, line: RecordedAnswer) -> Replayed:
        """Ask a recorded question again."""
        now = self._ask(line, line.query)
        if now == bytes(line.answer):
            return Replayed("same")
        if self.digest != line.rulebook and _bare(now, _DIGEST) == _bare(bytes(line.answer), _DIGEST):
            return Replayed("same but for the digest")
        if "as_of=" not in line.query:
            query = "&".join(one for one in (line.query, f"as_of={quote(line.at.isoformat())}") if one)
            then = self._ask(line, query)
            if _bare(then, *_SHELF) == _bare(bytes(line.answer), *_SHELF):
                return Replayed("same but for the shelf")
        return Replayed("differs", tuple(self._differences(line, now)))

    def _differences(self, line: RecordedAnswer, now: bytes) -> Iterator[str]:
        return differences(msgspec.json.decode(line.answer), msgspec.json.decode(now), self._today)

    def _ask(self, line: RecordedAnswer, query: str) -> bytes:
        return asyncio.run(_asked(self._app, query, line))


def differences(old: Any, new: Any, today: Callable[[str], str]) -> Iterator[str]:
    """What differs between two answers: the outcome, then by rule what it came to or tells, else the other members.

    `today` gives the id that a rule of the old one has in the new one.
    """
    if old.get("outcome") != new.get("outcome"):
        yield f"outcome: {old.get('outcome')} -> {new.get('outcome')}"
    before, after = ({today(id): {**one, "rule": today(id)} for id, one in _by_rule(old).items()}, _by_rule(new))
    changed = [rule for rule in before | after if before.get(rule) != after.get(rule)]
    for rule in changed:
        results = [one.get(rule, _NOT_TOLD)["result"] for one in (before, after)]
        yield f"{rule}: {' -> '.join(results) if results[0] != results[1] else 'told otherwise'}"
    if not changed:
        members = [name for name in {**old, **new} if old.get(name) != new.get(name)]
        yield f"told otherwise: {', '.join(members) or 'in other bytes'}"


def _by_rule(answer: Any) -> dict[str, Any]:
    return {one["rule"]: one for one in answer.get("findings", ())}


def _bare(answer: bytes, *without: str) -> Any:
    return {name: value for name, value in msgspec.json.decode(answer).items() if name not in without}


async def _asked(app: Litestar, query: str, line: RecordedAnswer) -> bytes:
    """Ask an application what was recorded, in its language, and return the body."""
    body, sent = line.question.encode(), bytearray()
    left = [body]
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (LANGUAGE, line.language.encode("latin-1")),
    ]
    sent_with = query.encode("latin-1")
    scope: Any = {
        "type": "http",
        "method": "POST",
        "path": PATH,
        "raw_path": PATH.encode(),
        "query_string": sent_with,
        "headers": headers,
        "client": ("127.0.0.1", 1),
        "server": ("localhost", 80),
        "scheme": "http",
        "http_version": "1.1",
        "root_path": "",
    }

    async def receive() -> Any:
        if not left:
            await asyncio.Event().wait()  # whoever asks stays until the answer
        return {"type": "http.request", "body": left.pop(), "more_body": False}

    async def send(message: Any) -> None:
        sent.extend(message.get("body", b""))

    await app(scope, receive, send)
    return bytes(sent)
