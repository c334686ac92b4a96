"""How much one caller may ask: so many requests a minute for each key, or for each address without one."""

from collections import OrderedDict
from hashlib import blake2b
from time import monotonic
from typing import Any, Final, cast

from litestar.types import Scope

from fitsvc.service.refusals import Headers

_MINUTE: Final = 60.0
_MOST: Final = 10_000
"""Callers that are kept in mind; of one who is forgotten the count begins anew."""


class Limits:
    """The requests of each caller: as many at once as a minute allows, and then as they come back."""

    def __init__(self, per_minute: int) -> None:
        self._most = per_minute
        self._left: OrderedDict[bytes, tuple[float, float]] = OrderedDict()

    def taken(self, scope: Scope, headers: dict[bytes, bytes]) -> tuple[bool, Headers]:
        """Count a request: whether it may come in, and the headers by which its caller is told what is left."""
        if not self._most:
            return True, ()
        caller, now = _caller(scope, headers), monotonic()
        left, at = self._left.pop(caller, (float(self._most), now))
        left = min(self._most, left + (now - at) * self._most / _MINUTE)
        allowed = left >= 1.0
        self._left[caller] = (left - allowed, now)
        if len(self._left) > _MOST:
            self._left.popitem(last=False)
        wait = 0 if left - allowed >= 1.0 else int((1.0 - (left - allowed)) * _MINUTE / self._most) + 1
        return allowed, self._told(int(left - allowed), wait)

    def _told(self, left: int, wait: int) -> Headers:
        """What is allowed and left, as the HTTP working group's draft of RateLimit fields has it."""
        policy = f'"caller";q={self._most};w={int(_MINUTE)}'.encode()
        return ((b"ratelimit-policy", policy), (b"ratelimit", f'"caller";r={left};t={wait}'.encode()))


def _caller(scope: Scope, headers: dict[bytes, bytes]) -> bytes:
    """What a caller is told apart by: the digest of its key, never the key, or its address."""
    key = headers.get(b"x-api-key")
    address = cast(Any, scope).get("client") or ("", 0)
    return blake2b(key, digest_size=16).digest() if key else str(address[0]).encode()
