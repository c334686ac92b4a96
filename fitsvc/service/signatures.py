"""Signatures of published rulebooks, by a key that is kept apart from the database.

So who can write to the database alone cannot have servers answer by rules of their own. Ed25519 (RFC 8032) over the
digest and the text of every file; of a release, over the digest and its times. A key's public half is told as
`ed25519:` and its 32 bytes in base64; the key itself stands in a file that its owner alone may read, as PEM (PKCS #8).
"""

import base64
import binascii
import os
import stat
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import msgspec

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import how_to_install

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

_ALGORITHM: Final = "ed25519:"
_BEFORE: Final = b"fitsvc publication 1\n"
"""What no other signature by the same key begins with."""
_BEFORE_RELEASE: Final = b"fitsvc release 1\n"
_LARGEST_KEY: Final = 10_000


class Signer:
    """A key in a file; ProblemsFound where there is none that is its owner's alone."""

    def __init__(self, path: Path) -> None:
        self._key = _read(path)
        self.name = _name(self._key)

    def sign(self, digest: str, files: Mapping[str, str]) -> str:
        """The signature of a publication."""
        return self._sign(_signed(digest, files))

    def sign_release(self, digest: str, made_at: datetime, holds_from: datetime | None) -> str:
        """The signature of a publication's release: when it was made, and from when on it holds."""
        return self._sign(_released(digest, made_at, holds_from))

    def _sign(self, message: bytes) -> str:
        return base64.b64encode(self._key.sign(message)).decode()


class Trusted:
    """The keys of which one must have signed; none asks for no signature. ProblemsFound for what is no key."""

    def __init__(self, names: Sequence[str] = ()) -> None:
        self.names = tuple(dict.fromkeys(names))
        self._keys = {name: _public(name) for name in self.names}

    def why_not(self, digest: str, files: Mapping[str, str], signatures: Mapping[str, str]) -> str:
        """Why a publication is not to be answered by; empty where a trusted key has signed it, or none must."""
        return self._why_not(_signed(digest, files), signatures, "of these files: publish it again with that key")

    def why_not_release(
        self, digest: str, made_at: datetime, holds_from: datetime | None, signatures: Mapping[str, str]
    ) -> str:
        """Why a release is not to be taken for what its times say; empty as above."""
        message = _released(digest, made_at, holds_from)
        return self._why_not(message, signatures, "of these times: release it again with that key")

    def _why_not(self, message: bytes, signatures: Mapping[str, str], of: str) -> str:
        if not self._keys:
            return ""
        from cryptography.exceptions import InvalidSignature

        signed = [name for name in self._keys if name in signatures]
        for name in signed:
            try:
                self._keys[name].verify(_bytes(signatures[name]), message)
            except InvalidSignature:
                continue
            return ""
        if signed:
            return f"its signature by {signed[0]} is not {of}"
        by = f"only by {', '.join(sorted(signatures))}" if signatures else "by nobody"
        return f"it is signed {by}, and this server asks for {' or '.join(self.names)}"


def make_key(path: Path) -> str:
    """Make a key in a new file, which its owner alone may read, and give its public half.

    ProblemsFound where the file cannot be made, or is there already.
    """
    key = _ed25519().Ed25519PrivateKey.generate()
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    except OSError as error:
        help = "name a file that is not there yet, in a folder that can be written to"
        raise _wrong(f"a key cannot be written to `{path}`: {(error.strerror or '').lower()}", help) from None
    return _name(key)


def _read(path: Path) -> "Ed25519PrivateKey":
    ed25519 = _ed25519()
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        with path.open("rb") as stream:
            mode, data = os.fstat(stream.fileno()).st_mode, stream.read(_LARGEST_KEY)
    except OSError as error:
        help = "make one with `fitsvc rules key FILE`"
        raise _wrong(f"the key `{path}` cannot be read: {(error.strerror or '').lower()}", help) from None
    if stat.S_IMODE(mode) & 0o077:
        raise _wrong(f"others may read the key `{path}`", f"take that from them: `chmod 600 {path}`")
    try:
        key = load_pem_private_key(data, None)
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, ed25519.Ed25519PrivateKey):
        raise _wrong(f"`{path}` holds no key to sign with", "make one with `fitsvc rules key FILE`")
    return cast("Ed25519PrivateKey", key)


def _public(name: str) -> "Ed25519PublicKey":
    data = _bytes(name.removeprefix(_ALGORITHM)) if name.startswith(_ALGORITHM) else b""
    try:
        return cast("Ed25519PublicKey", _ed25519().Ed25519PublicKey.from_public_bytes(data))
    except ValueError:
        help = "write it as `fitsvc rules key` printed it, `ed25519:...`"
        raise _wrong(f"`{name[:80]}` is no key that signs", help) from None


def _name(key: "Ed25519PrivateKey") -> str:
    return _ALGORITHM + base64.b64encode(key.public_key().public_bytes_raw()).decode()


def _ed25519() -> Any:
    """The library's module, which loads where something is signed or has to be."""
    try:
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ModuleNotFoundError:
        raise _wrong("there is nothing here to sign with", how_to_install("sign")) from None
    return ed25519


def _signed(digest: str, files: Mapping[str, str]) -> bytes:
    """What is signed: the digest and the text of each file by its name, in one order."""
    return _BEFORE + msgspec.json.encode([digest, sorted(files.items())])


def _released(digest: str, made_at: datetime, holds_from: datetime | None) -> bytes:
    """What is signed of a release, its instants in UTC."""
    times = [one and one.astimezone(UTC).isoformat(timespec="microseconds") for one in (made_at, holds_from)]
    return _BEFORE_RELEASE + msgspec.json.encode([digest, *times])


def _bytes(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return b""


def _wrong(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])
