"""Whom an operator wants told, and messages to them: signed, so that who receives one knows it is the service's."""

import base64
import binascii
import hashlib
import hmac
import http.client
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from urllib.parse import urlsplit

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.store.tables import ADDRESS

VARIABLE: Final = "FITSVC_WEBHOOK_SECRET"
MOST_ADDRESSES: Final = 10
"""Each has a thread that waits for it, so that one that is slow holds up no other."""
_SHORTEST_SECRET: Final = 24
"""Bytes, as the specification of the headers has it."""
_SECONDS: Final = 10.0
"""For the connection, and then for each piece of the reply, of which only the status is read."""


@dataclass(frozen=True, slots=True)
class Target:
    """An address to tell, in parts; only its host is ever logged, since the rest may have a secret in it."""

    address: str
    secure: bool
    host: str
    port: int | None
    path: str


@dataclass(frozen=True, slots=True)
class Hooks:
    """Whom an operator wants told, and the secrets that what is sent is signed with: the new one and the one before."""

    targets: tuple[Target, ...] = ()
    secrets: tuple[bytes, ...] = field(default=(), repr=False)


def read_hooks(addresses: Sequence[str], secrets: str) -> Hooks:
    """Return whom to tell; ProblemsFound for an address that is none, and where there is none of the secrets."""
    if len(addresses) > MOST_ADDRESSES:
        raise _wrong(f"there are {len(addresses)} addresses to tell", f"expected {MOST_ADDRESSES} at most")
    hooks = Hooks(tuple(map(_target, dict.fromkeys(addresses))), tuple(map(_secret, secrets.split())))
    if hooks.targets and not hooks.secrets:
        raise _wrong("what is sent to an address must be signed, and there is no secret", f"set {VARIABLE} to one")
    return hooks


def signed(secrets: Sequence[bytes], name: str, at: int, body: bytes) -> Mapping[str, str]:
    """Return the headers that a receiver knows a message by: its name, when it was sent, a signature by each secret.

    HMAC-SHA256 over the three of them, as the Standard Webhooks specification has it: who receives it compares one of
    the signatures, and refuses what was sent long ago.
    """
    text = f"{name}.{at}.".encode() + body
    signatures = [base64.b64encode(hmac.digest(one, text, hashlib.sha256)).decode() for one in secrets]
    told = " ".join(f"v1,{one}" for one in signatures)
    return {"webhook-id": name, "webhook-timestamp": str(at), "webhook-signature": told}


def post_to(target: Target, body: bytes, headers: Mapping[str, str]) -> str:
    """Send a body; returns what was wrong. Nobody is followed elsewhere: only the operator says where things go."""
    made = http.client.HTTPSConnection if target.secure else http.client.HTTPConnection
    connection = made(target.host, target.port, timeout=_SECONDS)
    try:
        connection.request("POST", target.path, body, {"Content-Type": "application/json", **headers})
        status = connection.getresponse().status
    except (OSError, http.client.HTTPException) as error:
        return f"it cannot be reached: {error}"
    finally:
        connection.close()
    return "" if 200 <= status < 300 else f"it answered {status}"


def _target(address: str) -> Target:
    try:
        found, port = urlsplit(address), urlsplit(address).port
    except ValueError:
        found, port = urlsplit(""), None
    host = found.hostname
    strange = found.username or found.fragment or not address.isascii() or not address.isprintable() or " " in address
    if found.scheme not in ("http", "https") or host is None or strange or len(address) > ADDRESS:
        help = f"write it as in `https://shop.example/changes`, in at most {ADDRESS} characters"
        raise _wrong(f"`{address[:60]}` is not an address to tell", help)
    path = (found.path or "/") + (f"?{found.query}" if found.query else "")
    return Target(address, found.scheme == "https", host, port, path)


def _secret(text: str) -> bytes:
    """Return the bytes of a secret, which is never told back."""
    try:
        found = base64.b64decode(text.removeprefix("whsec_"), validate=True)
    except binascii.Error:
        found = b""
    if not text.startswith("whsec_") or len(found) < _SHORTEST_SECRET:
        help = f"expected `whsec_` and {_SHORTEST_SECRET} random bytes or more in base64; a blank parts two of them"
        raise _wrong(f"{VARIABLE} has a secret that is none", help)
    return found


def _wrong(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])
