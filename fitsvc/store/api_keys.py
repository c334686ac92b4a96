"""Keys that may call the service; the secret is shown once and only its hash is kept."""

import hashlib
import hmac
import secrets
from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session, col, select

from fitsvc.store.errors import NotFound
from fitsvc.store.tables import NAME, ApiKey, now
from fitsvc.store.validation import Checks, new_id
from fitsvc.subjects import storable

SCOPES: Final = ("ask", "read", "record", "edit", "audit", "publish", "administer")
"""What a key may be made for: to ask; to read what is stored; to add observations and remarks; to make, change and
delete records and rigs; to send catalogues to be audited, and read one's own; to put a whole catalogue in place;
and to see everybody's audits and the log of writes. Who administers may do all of it."""
_NO_HASH = "0" * 64
_USED: Final = timedelta(hours=1)
"""How old the time of a key's last use may become: to note each use would be a write for every request."""


def create_key(
    session: Session, name: str, scopes: Collection[str] = SCOPES, expires_at: datetime | None = None
) -> tuple[str, ApiKey]:
    """Make a key, and return its text, which cannot be had again, and its record; InvalidValue says what is wrong."""
    checks = Checks()
    checks.text("/name", name, NAME, required=True)
    for scope in scopes:
        checks.one_of("/scopes", scope, SCOPES)
    if not scopes:
        checks.refuse("/scopes", f"name what it may do: {', '.join(SCOPES)}")
    checks.finish()
    key_id = new_id("key")
    plain = f"{key_id}.{secrets.token_urlsafe(32)}"
    told = ",".join(scope for scope in SCOPES if scope in scopes)
    record = ApiKey(id=key_id, name=name, sha256=_hash(plain), scopes=told, expires_at=expires_at)
    session.add(record)
    session.flush()
    return plain, record


def check_key(session: Session, plain: str) -> ApiKey | None:
    """Return the record of a key that may be used, or None."""
    key_id, _, _ = plain.partition(".")
    record = session.get(ApiKey, key_id) if storable(plain) else None
    # The hashes are compared even where there is no record, so that both take the same time.
    right = hmac.compare_digest(record.sha256 if record else _NO_HASH, _hash(plain))
    if record is None or not right or record.revoked_at is not None or _is_over(record):
        return None
    if record.last_used_at is None or now() - record.last_used_at > _USED:
        record.last_used_at = now()
        session.add(record)
    return record


def may(key: ApiKey, scope: str) -> bool:
    """Tell whether a key was made for something."""
    scopes = key.scopes.split(",")
    return scope in scopes or "administer" in scopes


def rotate_key(session: Session, key_id: str, overlap: timedelta) -> tuple[str, ApiKey]:
    """Make a key in place of another, which can be used for a while yet; or NotFound.

    Return its text, which cannot be had again, and its record.
    """
    old = _get(session, key_id)
    until = now() + overlap
    old.expires_at = until if old.expires_at is None else min(old.expires_at, until)
    session.add(old)
    return create_key(session, old.name, old.scopes.split(","))


def _is_over(key: ApiKey) -> bool:
    return key.expires_at is not None and key.expires_at <= now()


def _get(session: Session, key_id: str) -> ApiKey:
    record = session.get(ApiKey, key_id) if storable(key_id) else None
    if record is None:
        raise NotFound("key", key_id)
    return record


def list_keys(session: Session) -> Sequence[ApiKey]:
    """Return all keys, oldest first, the revoked ones too."""
    return session.exec(select(ApiKey).order_by(col(ApiKey.created_at), col(ApiKey.id))).all()


def revoke_key(session: Session, key_id: str) -> ApiKey:
    """End a key's use and return its record, or NotFound; one that was revoked before stays as it was."""
    record = _get(session, key_id)
    record.revoked_at = record.revoked_at or now()
    session.add(record)
    session.flush()
    return record


def any_key(session: Session) -> bool:
    """Tell whether a key was ever made: revoking the last one must not open a service."""
    return session.exec(select(ApiKey.id).limit(1)).first() is not None


def _hash(plain: str) -> str:
    return hashlib.sha256(plain.encode("utf-8", "surrogatepass")).hexdigest()
