"""What was asked and answered, kept in files where the operator asks for it: for `fitsvc replay`, and to look back.

Questions may tell of customers: nothing is kept unless a folder is named, facts may be masked, its files are their
owner's alone, and what is oldest goes first. What cannot be written is told in the log, and answered all the same.
"""

import logging
import os
import random
import threading
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Final, cast

import msgspec
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from fitsvc import __version__
from fitsvc.service.masking import Masks

PATH: Final = "/v1/answers"
LANGUAGE: Final = b"accept-language"
NAMED: Final = "answers-*.jsonl"
MOST_BYTES: Final = 50_000_000
"""Of a file: some ten thousand answers, read in a second."""
MOST_FILES: Final = 40
"""With the size of a file, two gigabytes at the most."""
_NAME: Final = "%Y%m%dT%H%M%S.%f"
_OK: Final = 200
_log = logging.getLogger("fitsvc.service")


drawn: Final = random.random
"""What is drawn for each answer: it is kept where that is below the share."""


class RecordedAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """A line: when what was asked, in which language, by which program and rulebook it was answered, and the bytes."""

    at: datetime
    program: str
    rulebook: str
    query: str
    question: str
    answer: msgspec.Raw
    language: str = ""
    """`Accept-Language` as it was sent."""
    masked: bool = False
    """Whether facts were taken out, so that it cannot be asked again."""


class Recorder:
    """Files in a folder, added to by one process: one a day, or more where they would be too large."""

    def __init__(self, folder: Path, days: int) -> None:
        self._folder, self._days, self._lock = folder, days, threading.Lock()
        self._file, self._size, self._day = -1, 0, date.min

    def keep(self, line: RecordedAnswer) -> None:
        """Add a line, whole, to the newest file."""
        data = msgspec.json.encode(line) + b"\n"
        try:
            with self._lock:
                if self._file < 0 or self._size + len(data) > MOST_BYTES or line.at.date() != self._day:
                    self._begin(line.at)
                self._size += os.write(self._file, data)
        except OSError:
            _log.exception("an answer could not be recorded")

    def _begin(self, at: datetime) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        name = f"answers-{at:{_NAME}}-{os.getpid()}.jsonl"
        self._file, self._size = os.open(self._folder / name, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600), 0
        self._day = at.date()
        files = sorted(self._folder.glob(NAMED))
        least = f"answers-{at.date() - timedelta(days=self._days):{_NAME}}"
        for old in {*files[:-MOST_FILES], *(one for one in files if one.name < least)}:
            old.unlink(missing_ok=True)


class Recording:
    """An application whose answers are recorded, as they are before they are compressed."""

    def __init__(self, app: ASGIApp, recorder: Recorder, digest: str, share: float, masks: Masks) -> None:
        self._app, self._recorder, self._digest, self._share, self._masks = app, recorder, digest, share, masks

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on, and keep what it asked and what came of it."""
        asks = scope.get("path") == PATH and cast(Any, scope).get("method") == "POST"
        if not asks or (self._share < 1.0 and drawn() >= self._share):
            await self._app(scope, receive, send)
            return
        asked, told, status = bytearray(), bytearray(), 0

        async def hear() -> Any:
            message = cast(Any, await receive())
            asked.extend(message.get("body", b""))
            return message

        async def tell(message: Message) -> None:
            nonlocal status
            found = cast(Any, message)
            status = found.get("status", status)
            told.extend(found.get("body", b""))
            await send(message)

        await self._app(scope, hear, tell)
        if status == _OK:
            self._recorder.keep(self._line(cast(Any, scope), bytes(asked), bytes(told)))

    def _line(self, scope: Any, asked: bytes, told: bytes) -> RecordedAnswer:
        question, answer, masked = self._masks.masked(asked.decode("utf-8"), told)
        return RecordedAnswer(
            at=datetime.now(UTC),
            program=__version__,
            rulebook=self._digest,
            query=scope["query_string"].decode("latin-1"),
            question=question,
            answer=msgspec.Raw(answer),
            language=", ".join(value.decode("latin-1") for name, value in scope["headers"] if name == LANGUAGE),
            masked=masked,
        )
