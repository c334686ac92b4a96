"""Versions of stored things as entity tags, and the preconditions that callers set with them (RFC 9110)."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Protocol

from fitsvc.service.context import AnyRequest
from fitsvc.service.problems import problem
from fitsvc.store.errors import AlreadyExists
from fitsvc.tongues import t

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
        raise problem(428, t("send `If-Match` with the `ETag` you read, so that nobody's change is lost"))
    tags = _TAG.findall(given)
    if given.strip() != "*" and not tags:
        raise problem(
            412,
            t("`{given}` is of no version: send the `ETag` as you read it, with its quotes, or `*`", given=given[:60]),
        )
    if given.strip() != "*" and etag(thing) not in tags:
        raise problem(412, t("it was changed since you read it: read it again and repeat the change"))
    return thing.version


def is_to_be_made(request: AnyRequest) -> bool:
    """Tell whether the caller says, with `If-None-Match: *`, that what is put is not there yet."""
    return request.headers.get("if-none-match") is not None


@contextmanager
def not_there_yet() -> Iterator[None]:
    """Raise a problem (412), in place of AlreadyExists, where a thing is there that should not be."""
    try:
        yield
    except AlreadyExists as error:
        raise problem(412, str(error), code="exists") from None


def unchanged(request: AnyRequest, tag: str) -> bool:
    """Tell whether the caller has what would be sent, by `If-None-Match`."""
    given = request.headers.get("if-none-match")
    if given is None:
        return False
    return given.strip() == "*" or tag.removeprefix("W/") in {one.removeprefix("W/") for one in _TAG.findall(given)}
