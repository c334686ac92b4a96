"""What was asked and answered, kept in files where the operator asks for it: for `fitsvc replay`, and to look back.

Questions may tell of customers: nothing is kept unless a folder is named, its files are their owner's alone, and the
oldest go first. What cannot be written is told in the log, and answered all the same.
"""

import logging
import os
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, cast

import msgspec
from litestar.types import ASGIApp, Message, Receive, Scope, Send

from fitsvc import __version__

PATH: Final = "/v1/answers"
LANGUAGE: Final = b"accept-language"
NAMED: Final = "answers-*.jsonl"
MOST_BYTES: Final = 50_000_000
"""Of a file: some ten thousand answers, read in a second."""
MOST_FILES: Final = 40
"""With the size of a file, two gigabytes at the most."""
_OK: Final = 200
_log = logging.getLogger("fitsvc.service")


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


class Recorder:
    """Files in a folder, added to by one process."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._lock = folder, threading.Lock()
        self._file, self._size = -1, 0

    def keep(self, line: RecordedAnswer) -> None:
        """Add a line, whole, to the newest file."""
        data = msgspec.json.encode(line) + b"\n"
        try:
            with self._lock:
                if self._file < 0 or self._size + len(data) > MOST_BYTES:
                    self._begin()
                self._size += os.write(self._file, data)
        except OSError:
            _log.exception("an answer could not be recorded")

    def _begin(self) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        name = f"answers-{datetime.now(UTC):%Y%m%dT%H%M%S.%f}-{os.getpid()}.jsonl"
        self._file, self._size = os.open(self._folder / name, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600), 0
        for old in sorted(self._folder.glob(NAMED))[:-MOST_FILES]:
            old.unlink(missing_ok=True)


class Recording:
    """An application whose answers are recorded, as they are before they are compressed."""

    def __init__(self, app: ASGIApp, recorder: Recorder, digest: str) -> None:
        self._app, self._recorder, self._digest = app, recorder, digest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on, and keep what it asked and what came of it."""
        if scope.get("path") != PATH or cast(Any, scope).get("method") != "POST":
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
        return RecordedAnswer(
            at=datetime.now(UTC),
            program=__version__,
            rulebook=self._digest,
            query=scope["query_string"].decode("latin-1"),
            question=asked.decode("utf-8"),
            answer=msgspec.Raw(told),
            language=", ".join(value.decode("latin-1") for name, value in scope["headers"] if name == LANGUAGE),
        )
