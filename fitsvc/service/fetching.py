"""Bytes that an address or a folder offers, asked for only where they changed, and bounded in size and in time.

Nothing that comes is trusted for where it comes from, nor for who certifies that: whoever reads it looks at its
signature. No proxy, password or cookie of the system is used, and nobody is followed elsewhere.
"""

import os
import ssl
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException, HTTPMessage, HTTPResponse
from pathlib import Path
from socket import SHUT_RDWR, create_connection
from threading import Event, Timer
from typing import Final
from urllib.parse import urlsplit

from fitsvc import __version__
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.store.tables import ADDRESS, KEY, LABEL

FILE: Final = "rules.release"
"""What is looked for in a folder that is named."""
MOST_BYTES: Final = 20_000_000
"""Some ten times what fitsvc's own rules come to."""
_SECONDS: Final = 10.0
"""To connect, and then for each piece."""
_LONGEST: Final = 120.0
"""Seconds for all of it, however small the pieces: `MOST_BYTES` at a slow line's 2 Mbit/s take 80 of them."""
_PIECE: Final = 65_536
_OK: Final = 200
_UNCHANGED: Final = 304
_ELSEWHERE: Final = frozenset({301, 302, 303, 307, 308})


@dataclass(frozen=True, slots=True)
class Validators:
    """By what an offer is known to be the one that was read: its entity tag and when it was changed, as told there."""

    tag: str = ""
    modified: str = ""


@dataclass(frozen=True, slots=True)
class Fetched:
    """What was offered, whole, and by what it is known again."""

    body: bytes
    validators: Validators


def is_address(source: str) -> bool:
    """Whether a source is an address and no folder or file."""
    return "://" in source


def told_as(source: str) -> str:
    """What people are told of a source: an address's host alone, since the rest may have a secret in it."""
    return (urlsplit(source).hostname or "an address") if is_address(source) else "a folder"


def refuse_half_sources(source: str) -> None:
    """ProblemsFound for what names neither an address nor a path."""
    if not source or len(source) > ADDRESS or not source.isprintable():
        raise _wrong("that is no place to pull from", f"name a folder, a file or an address of {ADDRESS} characters")
    if is_address(source):
        try:
            found, _ = urlsplit(source), urlsplit(source).port
        except ValueError:
            found = urlsplit("")
        strange = found.username or found.fragment or not source.isascii() or " " in source
        if found.scheme not in ("http", "https") or not found.hostname or strange:
            raise _wrong(f"`{source[:60]}` is no address", "write it as in `https://rules.example/rules.release`")


def fetch(source: str, known: Validators) -> Fetched | None:
    """What a folder, a file or an address offers; None where it is what it was when it had the validators.

    ProblemsFound where it cannot be had whole, within the bounds.
    """
    refuse_half_sources(source)
    return _from_address(source, known) if is_address(source) else _from_path(Path(source), known)


def _from_path(path: Path, known: Validators) -> Fetched | None:
    try:
        file = path / FILE if path.is_dir() else path
        with os.fdopen(os.open(file, os.O_RDONLY | os.O_NONBLOCK), "rb") as stream:  # not to wait for a pipe's writer
            is_ = os.fstat(stream.fileno())
            if not stat.S_ISREG(is_.st_mode):
                raise _wrong("what is there is no file", f"name a file, or a folder with `{FILE}` in it")
            tag = f"{is_.st_ino}-{is_.st_mtime_ns}-{is_.st_size}"
            if tag == known.tag:
                return None
            body = stream.read(MOST_BYTES + 1)
    except OSError as error:
        help = f"name a file, or a folder with `{FILE}` in it"
        raise _wrong(f"it cannot be read: {(error.strerror or '').lower()}", help) from None
    return Fetched(_bounded(body), Validators(tag))


def _from_address(source: str, known: Validators) -> Fetched | None:
    found = urlsplit(source)
    headers = {"User-Agent": f"fitsvc/{__version__}", "Accept-Encoding": "identity"}
    headers |= {"If-None-Match": known.tag} if known.tag else {}
    headers |= {"If-Modified-Since": known.modified} if known.modified else {}
    late = Event()
    try:
        with _connected(found.hostname or "", found.port, found.scheme == "https", late) as connection:
            connection.request("GET", (found.path or "/") + (f"?{found.query}" if found.query else ""), headers=headers)
            response = connection.getresponse()
            if response.status == _UNCHANGED and headers.keys() & {"If-None-Match", "If-Modified-Since"}:
                return None
            return Fetched(_body(response, late), _validators(response.headers))
    except (OSError, HTTPException) as error:
        if late.is_set():
            raise _late() from None
        raise _wrong(f"it cannot be reached: {error or type(error).__name__}", "see that it is up") from None


@contextmanager
def _connected(host: str, port: int | None, secure: bool, late: Event) -> Iterator[HTTPConnection]:
    """A connection that is cut when all of the time is over, which is then `late`; pieces may come as they like."""
    with closing(create_connection((host, port or (443 if secure else 80)), _SECONDS)) as raw:
        held = raw
        if secure:
            context = ssl.create_default_context()
            held = context.wrap_socket(raw, server_hostname=host, do_handshake_on_connect=False)

        def cut() -> None:
            late.set()
            held.shutdown(SHUT_RDWR)

        timer = Timer(_LONGEST, cut)
        timer.daemon = True
        timer.start()
        try:
            if isinstance(held, ssl.SSLSocket):
                held.do_handshake()
            connection = HTTPConnection(host, port)
            connection.sock = held
            with closing(connection):
                yield connection
        finally:
            timer.cancel()


def _body(response: HTTPResponse, late: Event) -> bytes:
    """The whole body; ProblemsFound for another status, one that is cut off, and one that is too large."""
    if response.status in _ELSEWHERE:
        raise _wrong(f"it sends elsewhere ({response.status}), and nobody is followed", "name the address it sends to")
    if response.status != _OK:
        raise _wrong(f"it answered {response.status}", "see what it says in a browser")
    if response.headers.get("Content-Encoding", "identity") != "identity":
        raise _wrong("it is sent compressed, which was not asked for", "have it sent as it is")
    declared = response.length
    if declared is not None and declared > MOST_BYTES:
        raise _large()
    body = bytearray()
    while len(body) <= MOST_BYTES and (piece := response.read1(_PIECE)):
        body += piece
    if late.is_set():
        raise _late()
    if declared is not None and len(body) < declared:
        raise _wrong(f"it was cut off after {len(body):,} of {declared:,} bytes", "see that it is there whole")
    return _bounded(bytes(body))


def _validators(headers: HTTPMessage) -> Validators:
    tag, modified = headers.get("ETag", ""), headers.get("Last-Modified", "")
    sane = [one if len(one) <= most and one.isprintable() else "" for one, most in ((tag, LABEL), (modified, KEY))]
    return Validators(*sane)


def _bounded(body: bytes) -> bytes:
    if len(body) > MOST_BYTES:
        raise _large()
    return body


def _large() -> ProblemsFound:
    return _wrong(f"it is larger than {MOST_BYTES // 1_000_000} MB", "offer what `fitsvc rules release` writes")


def _late() -> ProblemsFound:
    return _wrong(f"it did not come within {_LONGEST:g} s", "see that the line is fast enough")


def _wrong(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])
