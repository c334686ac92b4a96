"""A published rulebook in a file, for shops that have no hands: signed for what it says, and for when that was said.

The signature of the files tells who made the rules, as that of any publication does. The one of the release tells when
they were let out, and from when on they hold: so whoever hands on an older release cannot pass it off as the newest.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Final, Literal

import msgspec

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.service.signatures import Signer, Trusted
from fitsvc.store.tables import now

_AHEAD: Final = timedelta(minutes=10)
"""How far two clocks may lie apart: a release from the future would bar all that are made until then."""


class ReleaseSignature(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one key has signed: the files, and the release of them."""

    files: str
    release: str


class Release(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rulebook as it is let out: when, from when on it holds (at once, if not said), its files, and who signed."""

    format: Literal["fitsvc release 1"]
    digest: str
    made_at: datetime
    holds_from: datetime | None = None
    files: dict[str, str]
    signatures: dict[str, ReleaseSignature]

    @property
    def of_files(self) -> dict[str, str]:
        """The signatures of the files, as a publication has them."""
        return {name: one.files for name, one in self.signatures.items()}


def make_release(
    digest: str, files: Mapping[str, str], signer: Signer, made_at: datetime, holds_from: datetime | None
) -> bytes:
    """What a file with a release holds."""
    release = signer.sign_release(digest, made_at, holds_from)
    signature = ReleaseSignature(files=signer.sign(digest, files), release=release)
    return msgspec.json.encode(
        Release(
            format="fitsvc release 1",
            digest=digest,
            made_at=made_at.astimezone(UTC),
            holds_from=holds_from and holds_from.astimezone(UTC),
            files=dict(files),
            signatures={signer.name: signature},
        )
    )


def read_release(data: bytes, trusted: Trusted) -> Release:
    """A release that one of the trusted keys has signed; ProblemsFound for what is none, or not by them."""
    try:
        release = msgspec.json.decode(data, type=Release)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        help = "offer what `fitsvc rules release` writes, whole"
        raise ProblemsFound([Problem(f"that is no release: {error}", help)]) from None
    if any(one is not None and one.tzinfo is None for one in (release.made_at, release.holds_from)):
        raise ProblemsFound([Problem("that is no release: its times have no zone")])
    of_release = {name: one.release for name, one in release.signatures.items()}
    why = trusted.why_not(release.digest, release.files, release.of_files) or trusted.why_not_release(
        release.digest, release.made_at, release.holds_from, of_release
    )
    if why:
        raise ProblemsFound([Problem(why, "have it released by a key that you trust")])
    return release


def refuse_untimely(release: Release, newest: datetime | None, digest: str) -> None:
    """ProblemsFound for a release older than the newest that was taken, of the digest, or made in times to come."""
    made = _told(release.made_at)
    if release.made_at > now() + _AHEAD:
        help = "set the clock of whoever made it, or this machine's"
        raise ProblemsFound([Problem(f"the release was made at {made}, which is still to come", help)])
    if newest is not None and (release.made_at < newest or (release.made_at == newest and release.digest != digest)):
        help = "who wants older rules back lets them out anew: `fitsvc rules release`"
        message = f"the release was made at {made}, and one of {_told(newest)} was taken before"
        raise ProblemsFound([Problem(message, help)])


def _told(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
