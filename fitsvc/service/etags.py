"""Versions of stored things as entity tags, and the preconditions that callers set with them (RFC 9110)."""

import re
from datetime import datetime
from typing import Protocol

from fitsvc.service.context import AnyRequest
from fitsvc.service.problems import problem

_TAG = re.compile(r'(?:W/)?"[^"]*"')


class Versioned(Protocol):
    """What has a version; when it was made tells it from an earlier thing under the same key."""

    version: int
    created_at: datetime


def etag(thing: Versioned) -> str:
    """Return the strong tag of a thing as it is."""
    made = f"{thing.created_at:%y%m%d%H%M%S%f}"
    return f'"{thing.version}-{int(made):x}"'


def require_match(request: AnyRequest, thing: Versioned) -> int:
    """Return the version to change, when the caller has named it in `If-Match`; a problem (428, 412) otherwise."""
    given = request.headers.get("if-match")
    if given is None:
        raise problem(428, "send `If-Match` with the `ETag` you read, so that nobody's change is lost")
    if given.strip() != "*" and etag(thing) not in _TAG.findall(given):
        raise problem(412, "it was changed since you read it: read it again and repeat the change")
    return thing.version


def unchanged(request: AnyRequest, tag: str) -> bool:
    """Tell whether the caller has what would be sent, by `If-None-Match`."""
    given = request.headers.get("if-none-match")
    if given is None:
        return False
    return given.strip() == "*" or tag in {one.removeprefix("W/") for one in _TAG.findall(given)}
