"""An answer that was given by another rulebook: what that says, and what today's says, by the API and on a link."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from changed_rules import changed
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from test_service_changeover import put

from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import texts_of
from fitsvc.service.app import create_app
from fitsvc.service.published import MOST_EARLIER, Published
from fitsvc.store.database import Database
from fitsvc.store.publications import publish
from fitsvc.store.tables import now
from fitsvc.store.written import Write

BOTH = {"receiver.opening": "2 in", "accessory.shank": "1-1/4 in", "accessory.kind": "step"}
QUESTION = {
    "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    "accessory": {"facts": {"shank": "1-1/4 in", "kind": "step"}},
}
SPANISH = {"Accept-Language": "es"}
LINK = re.compile(r'data-copy="([^"]*)"')


@pytest.fixture
def looser(tmp_path: Path) -> Path:
    """Give the rules as they were before a shank had to fit its opening."""
    return changed(tmp_path, "coupling.yaml", "requires: accessory.shank == opening.size", "requires: yes")


@pytest.fixture
def client(sqlite: Database, looser: Path, tmp_path: Path) -> Iterator[TestClient[Litestar]]:
    """Give a service that answers by fitsvc's own rules, where looser ones were in force before."""
    put(sqlite, looser)
    put(sqlite, data_dir("rules"))
    below = tmp_path / "below"
    below.mkdir()
    published = Published(sqlite, below)
    app = create_app(sqlite, answerer(), tmp_path / "audits", published=published)
    with TestClient(app, raise_server_exceptions=False) as opened:
        yield opened


def test_the_api_tells_what_the_rulebook_of_then_says(client: TestClient[Litestar], looser: Path) -> None:
    """Beside today's answer, which is the same with or without it; by the rulebook of today it is null."""
    digest, today = cached_rulebook(looser).digest, answerer().rulebook.digest
    plain = client.post("/v1/answers", json=QUESTION).json()
    assert plain["outcome"] == "fails"
    for named in (digest, digest.removeprefix("sha256:"), digest.removeprefix("sha256:")[:8]):
        told = client.post("/v1/answers", json=QUESTION, params={"rulebook": named}).json()
        then = told.pop("then")
        assert told == plain
        assert then["rulebook"] == digest
        by_old = Answerer(cached_rulebook(looser)).answer(QUESTION)
        assert (then["outcome"], then["summary"]) == (by_old.outcome, by_old.summary)
        assert by_old.outcome != "fails"
        assert then["published_at"].startswith(now().date().isoformat()[:4])
    assert client.post("/v1/answers", json=QUESTION, params={"rulebook": today}).json()["then"] is None
    part = client.post("/v1/answers", json=QUESTION, params={"rulebook": digest, "include": "outcome"}).json()
    assert [*part] == ["outcome", "then"]


def test_a_rulebook_that_is_not_kept_is_told_as_that(client: TestClient[Litestar]) -> None:
    """It is no fault of the question; what is no digest is one."""
    told = client.post("/v1/answers", json=QUESTION, params={"rulebook": "0" * 16}).json()["then"]
    assert told["outcome"] is None and told["summary"] == "That rulebook is not kept here."
    spoken = client.post("/v1/answers", json=QUESTION, params={"rulebook": "0" * 16}, headers=SPANISH).json()["then"]
    assert spoken["summary"] == "Ese libro de reglas no se guarda aquí."
    for wrong in ("sha256:", "0" * 7, "0" * 65, "xyz12345"):
        assert client.post("/v1/answers", json=QUESTION, params={"rulebook": wrong}).status_code == 400


def test_a_link_says_by_which_rules_it_was_made(client: TestClient[Litestar], looser: Path) -> None:
    """The page's own link does; an older one tells what its rules say, in either language, and today's stands."""
    page = client.get("/answer", params=BOTH)
    assert page.status_code == 200 and "This link was made" not in page.text
    link = unescape(LINK.findall(page.text)[0])
    by = parse_qs(urlsplit(link).query)["by"][0]
    assert answerer().rulebook.digest.startswith(f"sha256:{by}")
    again = client.get(f"{urlsplit(link).path}?{urlsplit(link).query}", follow_redirects=False)
    assert again.status_code == 200 and "This link was made" not in again.text

    old = {**parse_qs(urlsplit(link).query), "by": cached_rulebook(looser).digest.removeprefix("sha256:")[:16]}
    told = client.get("/answer", params=old, follow_redirects=False)
    assert told.status_code == 200
    was = Answerer(cached_rulebook(looser)).answer(QUESTION).summary
    day = now().date().isoformat()
    shown = unescape(told.text)
    assert f"This link was made by the rules of {day}, which say: {was} Go by today's answer." in shown
    assert unescape(LINK.findall(told.text)[0]) == link
    spoken = client.get("/answer", params=old, headers=SPANISH).text
    assert f"Este enlace se hizo con las reglas de {day}, que dicen: " in spoken

    gone = client.get("/answer", params={**old, "by": "0" * 16}).text
    assert "This link was made by other rules (00000000). That rulebook is not kept here." in gone
    nothing = client.get("/answer", params={**old, "by": "a mailer's"}, follow_redirects=False)
    assert nothing.status_code == 303 and "by=" not in nothing.headers["location"]


def test_rules_that_say_the_same_are_told_in_few_words(
    client: TestClient[Litestar], sqlite: Database, tmp_path: Path
) -> None:
    """Most rulebooks differ elsewhere."""
    (tmp_path / "other").mkdir()
    other = changed(tmp_path / "other", "coupling.yaml", "title: ", "title: As changed, ")
    digest = put(sqlite, other)
    told = client.get("/answer", params={**BOTH, "with": "accessory", "by": digest[7:23]}).text
    assert f"This link was made by the rules of {now().date().isoformat()}, which say the same." in told


def test_a_rulebook_without_the_facts_of_now_cannot_read_the_question(
    client: TestClient[Litestar], sqlite: Database, tmp_path: Path
) -> None:
    """Its answer is not guessed from what it can read."""
    (tmp_path / "few").mkdir()
    few = changed(tmp_path / "few", "rulebook.yaml", "name: ", "name: without a step, ")
    digest = cached_rulebook(few).digest
    with sqlite.session() as session:
        texts = {name: text.replace("  closure:", "  closures:") for name, text in texts_of(few).items()}
        publish(session, digest, "few", texts, Write(by="a test"))
    told = client.post("/v1/answers", json=QUESTION, params={"rulebook": digest}).json()["then"]
    assert told["outcome"] is None, "what is kept under its digest reads as another, and is not asked"


def test_few_rulebooks_of_then_are_kept_ready(sqlite: Database, tmp_path: Path) -> None:
    """Each is as large as the one that answers."""
    below = tmp_path / "below"
    below.mkdir()
    published = Published(sqlite, below)
    assert published.earlier("0" * 16) is None
    own = answerer().rulebook.digest.removeprefix("sha256:")
    found = published.earlier(own[:16])
    assert found is not None and found.digest == f"sha256:{own}" and found.published_at is None
    assert len(published._earlier) <= MOST_EARLIER
