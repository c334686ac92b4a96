"""Keys that may call the service; the secret is shown once and only its hash is kept."""

import hashlib
import hmac
import secrets
from collections.abc import Sequence

from sqlmodel import Session, col, select

from fitsvc.store.errors import NotFound
from fitsvc.store.tables import NAME, ApiKey, now
from fitsvc.store.validation import Checks, new_id, storable

_NO_HASH = "0" * 64


def create_key(session: Session, name: str) -> tuple[str, ApiKey]:
    """Make a key, and return its text, which cannot be had again, and its record."""
    checks = Checks()
    checks.text("/name", name, NAME, required=True)
    checks.finish()
    key_id = new_id("key")
    plain = f"{key_id}.{secrets.token_urlsafe(32)}"
    record = ApiKey(id=key_id, name=name, sha256=_hash(plain))
    session.add(record)
    session.flush()
    return plain, record


def check_key(session: Session, plain: str) -> ApiKey | None:
    """Return the record of a key that may be used, or None."""
    key_id, _, _ = plain.partition(".")
    record = session.get(ApiKey, key_id) if storable(plain) else None
    # The hashes are compared even where there is no record, so that both take the same time.
    right = hmac.compare_digest(record.sha256 if record else _NO_HASH, _hash(plain))
    return record if record and right and record.revoked_at is None else None


def list_keys(session: Session) -> Sequence[ApiKey]:
    """Return all keys, oldest first, the revoked ones too."""
    return session.exec(select(ApiKey).order_by(col(ApiKey.created_at), col(ApiKey.id))).all()


def revoke_key(session: Session, key_id: str) -> ApiKey:
    """End a key's use and return its record, or NotFound; one that was revoked before stays as it was."""
    record = session.get(ApiKey, key_id) if storable(key_id) else None
    if record is None:
        raise NotFound("key", key_id)
    record.revoked_at = record.revoked_at or now()
    session.add(record)
    session.flush()
    return record


def any_key(session: Session) -> bool:
    """Tell whether a key was ever made: revoking the last one must not open a service."""
    return session.exec(select(ApiKey.id).limit(1)).first() is not None


def _hash(plain: str) -> str:
    return hashlib.sha256(plain.encode("utf-8", "surrogatepass")).hexdigest()
