"""Keys that may call the service."""

import pytest

from fitsvc.store.api_keys import any_key, check_key, create_key, list_keys, revoke_key
from fitsvc.store.database import Database
from fitsvc.store.errors import InvalidValue, NotFound


def test_a_key_opens_and_its_secret_is_not_stored(database: Database) -> None:
    """The text shown once is accepted, and no column holds it."""
    with database.session() as session:
        plain, made = create_key(session, "counter")
    with database.session() as session:
        found = check_key(session, plain)
        assert found is not None
        assert found.id == made.id
        assert plain.partition(".")[2] not in str(found.model_dump())


def test_another_secret_does_not_open(database: Database) -> None:
    """A key with one letter changed, left out or added is refused, and so is any other text."""
    with database.session() as session:
        plain, made = create_key(session, "counter")
        wrong = [plain[:-1], plain + "A", made.id, made.id + ".", made.sha256, "", "\0", "\ud800", "x" * 500]
        wrong += [plain[:-1] + ("A" if plain[-1] != "A" else "B")]
        assert [check_key(session, text) for text in wrong] == [None] * len(wrong)


def test_a_revoked_key_does_not_open(database: Database) -> None:
    """Revoking ends a key at once and for good, the other key still opens, and both are listed."""
    with database.session() as session:
        (gone, record), (kept, _) = create_key(session, "a"), create_key(session, "b")
        first = revoke_key(session, record.id).revoked_at
        assert revoke_key(session, record.id).revoked_at == first
        assert check_key(session, gone) is None
        assert check_key(session, kept) is not None
        assert [key.name for key in list_keys(session)] == ["a", "b"]


def test_revoking_the_last_key_leaves_the_service_closed(database: Database) -> None:
    """A store where a key was ever made does not look like one without keys."""
    with database.session() as session:
        assert not any_key(session)
        _, record = create_key(session, "a")
        revoke_key(session, record.id)
        assert any_key(session)


def test_only_a_key_that_exists_can_be_revoked(database: Database) -> None:
    """An unknown id is told as such."""
    with database.session() as session, pytest.raises(NotFound):
        revoke_key(session, "key_none")


def test_a_key_has_a_name(database: Database) -> None:
    """A key without name could not be told from others when it must be revoked."""
    with database.session() as session, pytest.raises(InvalidValue, match="/name"):
        create_key(session, "")
