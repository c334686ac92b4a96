"""What a service logs: lines of text for a person, or of JSON for a program; never a key, a body or a query."""

import json
import logging
import re
import secrets
import sys
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Final, Literal

Format = Literal["text", "json"]
REQUEST: Final[ContextVar[str]] = ContextVar("request", default="")
"""The id of the request being handled: whatever is logged meanwhile is logged under it."""
_ACCESS: Final = logging.getLogger("fitsvc.access")
_TEXT: Final = "%(asctime)s %(levelname)s %(name)s: %(message)s"
_GIVEN: Final = re.compile(rb"[A-Za-z0-9._-]{8,64}")


class JsonLines(logging.Formatter):
    """Writes each record as one line of JSON, with what it was given under `fields`."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request := REQUEST.get():
            told["request"] = request
        told |= getattr(record, "fields", {})
        if record.exc_info:
            told["fault"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False, default=str)


def request_id(given: bytes) -> str:
    """Return the id of a request: its caller's own, where it is fit to be written, or a new one."""
    return given.decode() if _GIVEN.fullmatch(given) else secrets.token_hex(8)


def log_request(fields: dict[str, Any]) -> None:
    """Log a request that has been answered, where such lines are wanted."""
    if _ACCESS.isEnabledFor(logging.INFO):
        _ACCESS.info("answered", extra={"fields": fields})


def log_to_stderr(format: Format) -> None:
    """Log to stderr, unless whoever started this has set up logging already; each request only in JSON."""
    if logging.getLogger().handlers:
        return
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if format == "json" else logging.Formatter(_TEXT))
    logging.basicConfig(handlers=[handler], level=logging.INFO)
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    logging.getLogger("alembic").setLevel(logging.WARNING)
    _ACCESS.setLevel(logging.INFO if format == "json" else logging.WARNING)
