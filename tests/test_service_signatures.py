"""Published rulebooks are signed by a key of the shop's, and a server that asks for it answers by no others."""

import asyncio
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from demo_world import answerer
from test_rulebook_loader import write
from test_service_changeover import SHELL, ask, tiny

from fitsvc.cli import main
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import texts_of
from fitsvc.service.changeover import Changeover
from fitsvc.service.published import Published, Served
from fitsvc.service.serving import serve
from fitsvc.service.signatures import Signer, Trusted, make_key
from fitsvc.store.database import Database
from fitsvc.store.publications import activate, publish
from fitsvc.store.tables import Publication


@pytest.fixture
def keys(tmp_path: Path) -> list[Signer]:
    """Give the shop's key, and a stranger's."""
    return [Signer(tmp_path / name) for name in ("shop", "stranger") if make_key(tmp_path / name)]


FILES = {"rulebook.yaml": "name: ours\n", "a.yaml": "topic: a\n"}


def test_a_signature_is_of_every_file(keys: list[Signer]) -> None:
    """Of nothing else: not with one file other, more or fewer, nor of another digest, nor by another key."""
    shop, stranger = keys
    signed, trusted = {shop.name: shop.sign("sha256:1", FILES)}, Trusted([shop.name])
    assert trusted.why_not("sha256:1", FILES, signed) == Trusted().why_not("sha256:1", FILES, {}) == ""
    for digest, files in (
        ("sha256:2", FILES),
        ("sha256:1", FILES | {"a.yaml": "topic: b\n"}),
        ("sha256:1", FILES | {"b.yaml": ""}),
        ("sha256:1", {"rulebook.yaml": "name: ours\n"}),
    ):
        assert "is not of these files" in trusted.why_not(digest, files, signed)
    forged = {shop.name: stranger.sign("sha256:1", FILES)}
    assert "is not of these files" in trusted.why_not("sha256:1", FILES, forged)
    assert "is not of these files" in trusted.why_not("sha256:1", FILES, {shop.name: "no base64"})
    by_stranger = {stranger.name: stranger.sign("sha256:1", FILES)}
    assert f"signed only by {stranger.name}" in trusted.why_not("sha256:1", FILES, by_stranger)
    assert "signed by nobody" in trusted.why_not("sha256:1", FILES, {})
    assert Trusted([shop.name, stranger.name]).why_not("sha256:1", FILES, by_stranger) == ""


def test_what_is_no_key_is_refused(tmp_path: Path, keys: list[Signer]) -> None:
    """A key that others may read, none at all, a file that is there already, and what is no public half of one."""
    (tmp_path / "shop").chmod(0o640)
    (tmp_path / "noise").write_text("noise")
    (tmp_path / "noise").chmod(0o600)
    for path, message in (
        (tmp_path / "shop", "others may read the key"),
        (tmp_path / "nowhere", "cannot be read: no such file"),
        (tmp_path / "noise", "holds no key to sign with"),
    ):
        with pytest.raises(ProblemsFound, match=message):
            Signer(path)
    with pytest.raises(ProblemsFound, match="file exists"):
        make_key(tmp_path / "noise")
    for name in ("ed25519:", "ed25519:AAAA", keys[0].name.removeprefix("ed25519:"), "ed25519:é"):
        with pytest.raises(ProblemsFound, match="is no key that signs"):
            Trusted([name])
    with pytest.raises(ProblemsFound, match="a folder of rules is not signed"):
        serve(rules=tmp_path, signed_by=[keys[0].name])


def bare(rules: Path) -> Any:
    """What answers by a folder, as far as its digest."""
    return SimpleNamespace(rulebook=cached_rulebook(rules))


@pytest.mark.usefixtures("none_set_aside")
def test_a_server_answers_by_what_is_signed(
    sqlite: Database, tmp_path: Path, keys: list[Signer], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is unsigned, a stranger's or was changed after it was signed is refused, and the last good one goes on."""
    monkeypatch.setattr("fitsvc.service.published.served_by", lambda rules: Served(bare(rules), rules))
    shop, stranger = keys
    new = write(tmp_path, {})
    digest, texts = cached_rulebook(new).digest, texts_of(new)
    with sqlite.session() as session:
        publish(session, digest, "mine", texts, SHELL)
        activate(session, digest, SHELL, "a reason")
    for number, (signer, spoil, why) in enumerate(
        (
            (None, False, "signed by nobody"),
            (stranger, False, f"signed only by {stranger.name}"),
            (shop, True, "is not of these files"),
            (shop, False, ""),
        )
    ):
        with sqlite.session() as session:
            session.get_one(Publication, digest).files = texts
            signed = {signer.name: signer.sign(digest, texts)} if signer else {}
            publish(session, digest, "mine", texts, SHELL, signed)
            if spoil:
                spoilt = texts | {"coupling.yaml": texts["coupling.yaml"] + "# loosened\n"}
                session.get_one(Publication, digest).files = spoilt
        below = tmp_path / str(number)
        below.mkdir()
        published = Published(sqlite, below, Trusted([shop.name]))
        wanted = answerer().rulebook.digest if why else digest
        assert asyncio.run(_served(published)) == f"{wanted} {wanted}".encode()
        assert (why in published.refused.get(digest, "")) and bool(published.refused) == bool(why)
        if why:
            with pytest.raises(ProblemsFound, match="signed where it must be"):
                published.first()
    with sqlite.session() as session, pytest.raises(Exception, match="with other comments or examples"):
        publish(session, digest, "mine", texts | {"a.yaml": ""}, SHELL, {shop.name: "x"})


async def _served(published: Published) -> bytes:
    """By what a server answers that answered by fitsvc's own rules, when it has looked."""
    app = Changeover(published, Served(answerer(), None), tiny)
    await app.begin()
    await app.look()
    found = (await ask(app))[1]
    await app.end()
    return found


def test_commands_make_a_key_and_sign(
    url: str, tmp_path: Path, keys: list[Signer], capsys: pytest.CaptureFixture[str]
) -> None:
    """What is printed is what servers are told to trust, and the list tells who signed what."""
    assert main(["rules", "key", str(tmp_path / "new key")]) == 0
    told = capsys.readouterr().out.strip()
    assert told == Signer(tmp_path / "new key").name
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "rulebook.yaml").write_text("name: ours\n")
    signing = ["--database", url, "--sign", str(tmp_path / "new key")]
    assert main(["rules", "publish", str(tmp_path / "rules"), *signing]) == 0
    digest = capsys.readouterr().out.split()[-1]
    database = Database(url)
    with database.session() as session:
        held = session.get_one(Publication, digest)
        assert Trusted([told]).why_not(digest, held.files, held.signatures) == ""
    database.close()
    assert main(["rules", "published", "--database", url]) == 0
    assert f"signed by {told}" in capsys.readouterr().out
