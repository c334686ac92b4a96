"""Published rulebooks in the store: what is in force when, and that a writer who dies leaves old or new."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from faults import of_connections, of_database, of_replies

from fitsvc.cli import main
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.store.publications import activate, in_force, list_activations, publish, published, roll_back
from fitsvc.store.tables import now
from fitsvc.store.written import Write, list_written

SHELL = Write(by="a test")
OLD, NEW = "sha256:" + "0a" * 32, "sha256:" + "0b" * 32
FILES = {"rulebook.yaml": "name: mine\n", "tables/law.yaml": "tables: []\n"}


def put(database: Database, digest: str, holds_from: datetime | None = None) -> None:
    """Publish a rulebook and bring it into force, each as a command does."""
    with database.session() as session:
        publish(session, digest, "mine", FILES, SHELL)
    with database.session() as session:
        activate(session, digest, SHELL, "a reason", holds_from)


def held(database: Database, at: datetime | None = None) -> list[str]:
    """What is in force at an instant, and what was before it."""
    with database.session() as session:
        return in_force(session, at or now())


def test_the_last_word_holds_from_its_time_on(database: Database) -> None:
    """What holds from a later time is not in force before it, and is behind it whatever was said meanwhile."""
    assert held(database) == []
    put(database, OLD)
    tomorrow = now() + timedelta(days=1)
    put(database, NEW, tomorrow)
    assert (held(database), held(database, tomorrow)) == ([OLD], [NEW, OLD])
    with database.session() as session:
        assert not publish(session, NEW, "other", {}, SHELL)
        assert published(session, NEW[7:15]).files == FILES
        activate(session, NEW, SHELL, "sooner")
    assert held(database) == [NEW, OLD]
    with database.session() as session:
        assert roll_back(session, SHELL, "wrong").digest == OLD
    assert held(database) == [OLD, NEW]
    with database.session() as session:
        assert [line.digest for line in list_activations(session)] == [OLD, NEW, NEW, OLD]
        acts = [line.act for line in list_written(session)]
    assert acts == ["publishes", "activates", "publishes", "activates", "activates", "activates"]


def test_a_clock_that_is_behind_has_the_last_word_too(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is to hold at once does, though another machine, whose clock is ahead, said something before."""
    put(database, OLD)
    put(database, NEW)
    monkeypatch.setattr("fitsvc.store.publications.now", lambda: now() - timedelta(minutes=5))
    with database.session() as session:
        activate(session, OLD, SHELL, "back")
    assert held(database) == [OLD, NEW]


def test_what_would_never_be_in_force_is_refused(database: Database) -> None:
    """From a time before another came into force, which would stay in force: nobody is told that it is not."""
    past = now() - timedelta(days=9)
    put(database, OLD, past)
    put(database, NEW)
    for begins in (past, past + timedelta(days=1)):
        with database.session() as session, pytest.raises(StoreError, match=f"never be in force: {NEW} is, from"):
            activate(session, OLD, SHELL, "back", begins)
    with database.session() as session:
        assert len(list_activations(session)) == 2
    with database.session() as session, pytest.raises(StoreError, match="in force already, from"):
        activate(session, NEW, SHELL, "as it is", past)
    assert held(database) == [NEW, OLD]
    with database.session() as session:
        activate(session, OLD, SHELL, "back", now())
    assert held(database) == [OLD, NEW]


def test_what_cannot_be_brought_into_force_is_told(database: Database) -> None:
    """A digest that nobody published, one too short or of several, no reason, and nothing to go back to."""
    ambiguous = "sha256:" + "0a" * 31 + "00"
    with database.session() as session:
        for digest in (OLD, ambiguous):
            publish(session, digest, "mine", FILES, SHELL)
    none, short, more = "there is no rulebook", "give 8 digits of the digest, or more", "give more digits"
    for digits, told in (
        (NEW, none),
        ("0a0a", short),
        ("sha256:0a0a0a0", short),
        ("%a0a0a0a", none),
        ("0a0a0a0a", more),
    ):
        with database.session() as session, pytest.raises(StoreError, match=told):
            activate(session, digits, SHELL, "a reason")
    with database.session() as session, pytest.raises(StoreError, match="/because"):
        activate(session, OLD, SHELL, "")
    put(database, OLD)
    with database.session() as session, pytest.raises(StoreError, match="none was in force before"):
        roll_back(session, SHELL, "a reason")


def test_what_was_to_come_is_to_come_after_a_rollback(
    url: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both commands tell it with another that lets what is in force now stay so, and the list marks what is to come."""
    monkeypatch.setenv("FITSVC_DATABASE_URL", url)
    database, day = Database(url), datetime(2099, 1, 1, tzinfo=UTC)
    put(database, OLD)
    put(database, NEW, day)

    def told(*command: str) -> str:
        assert main(["rules", *command]) == 0
        return " ".join(capsys.readouterr().out.split())

    keep = f"fitsvc rules activate {OLD} --from 2099-01-01 --because REASON"
    assert told("activate", NEW, "--because", "now").count("2099") == 0
    assert f"{NEW} takes its place on 2099-01-01, as was said before; to keep it then, `{keep}`" in told(
        "rollback", "--because", "worse"
    )
    assert told("published").count("to come") == 1
    assert "takes its place" not in told(*keep.split()[2:])
    assert (held(database), held(database, day)) == ([OLD, NEW], [OLD, NEW])
    database.close()


@pytest.mark.parametrize("faulty", [of_database, of_replies, of_connections])
def test_a_writer_that_dies_leaves_old_or_new(
    database: Database, monkeypatch: pytest.MonkeyPatch, faulty: type[object]
) -> None:
    """At each statement and each commit: what is in force is the old one or the new one, and each is whole."""
    put(database, OLD)
    faults = faulty(database, monkeypatch)  # type: ignore[call-arg]  # a function that makes one
    seen = set()
    for at in range(1, 100):
        digest = f"sha256:{at:064x}"
        before = held(database)[0]
        faults.fail(at)  # type: ignore[attr-defined]  # as above
        with suppress(StoreError):
            put(database, digest)
        fired = faults.fired()  # type: ignore[attr-defined]  # as above
        found = held(database)[0]
        assert found in (before, digest)
        seen.add(found == digest)
        with database.session() as session:
            assert published(session, found).files == FILES
        put(database, digest)
        assert held(database)[0] == digest
        if not fired:
            break
    assert seen == {True, False}
