"""A request's body to the disk, piece by piece, however long it is: whole under its name, or not there at all."""

import hashlib
import secrets
from pathlib import Path
from typing import Any, Final, NamedTuple

from anyio import to_thread

from fitsvc.files import PART, sync
from fitsvc.service.audits.folder import FILES, FORMATS
from fitsvc.service.context import AnyRequest
from fitsvc.service.problems import problem
from fitsvc.tongues import t

_PIECE: Final = 1 << 20


class Sent(NamedTuple):
    """A file as it was sent: where it stands, its format, bytes and digest."""

    part: Path
    format: str
    size: int
    sha256: str


def format_of(request: AnyRequest, name: str) -> str:
    """The format that a file is sent in, or a problem that says which it may have."""
    if request.headers.get("content-encoding", "identity").strip().lower() != "identity":
        raise problem(415, t("the file must not be compressed: send it without `Content-Encoding`"))
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if FORMATS.get(kind) not in FILES[name]:
        known = ", ".join(f"`{media}`" for media, format in FORMATS.items() if format in FILES[name])
        raise problem(415, t("say what the file is by the header `Content-Type`: {known}", known=known))
    return FORMATS[kind]


async def receive(request: AnyRequest, name: str, folder: Path, most: int) -> Sent:
    """Write a body of at most so many bytes to a file of its own in a folder; a problem when it is empty or larger."""
    format = format_of(request, name)
    _require_size(request.content_length or 0, most)
    part = folder / f"{name}.{secrets.token_hex(4)}{PART}"
    try:
        size, sha256 = await _write(request, part, most)
        if not size:
            raise problem(400, t("the file is empty: send it as the body of the request"))
    except BaseException:
        await to_thread.run_sync(lambda: part.unlink(missing_ok=True))
        raise
    return Sent(part, format, size, sha256)


async def _write(request: AnyRequest, part: Path, most: int) -> tuple[int, str]:
    digest, size, waiting = hashlib.sha256(), 0, bytearray()

    def keep(stream: Any, piece: bytes) -> None:
        stream.write(piece)
        digest.update(piece)

    with part.open("wb") as stream:
        async for piece in request.stream():
            size += len(piece)
            _require_size(size, most)
            waiting += piece
            if len(waiting) >= _PIECE:
                await to_thread.run_sync(keep, stream, bytes(waiting))
                waiting.clear()
        await to_thread.run_sync(keep, stream, bytes(waiting))
    await to_thread.run_sync(sync, part)
    return size, digest.hexdigest()


def _require_size(size: int, most: int) -> None:
    if size > most:
        help = t("send it as Parquet, which is smaller, or audit it by the command `fitsvc audit`")
        raise problem(
            413,
            t("the file is larger than the {most} MB taken here: {help}", most=format(most / 1e6, ",.6g"), help=help),
        )
