"""What every reply has, whatever it is of: one name for one thing, and what is given up says until when it is there."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.service.app import create_app
from fitsvc.service.openapi import describe, documented
from fitsvc.service.operations import Deprecation
from fitsvc.store.database import Database

Client = TestClient[Litestar]


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """Give a client of a service whose database nothing here asks."""
    folder = tmp_path_factory.mktemp("edge")
    app = create_app(Database("sqlite:///unused.db"), answerer(), Path(folder))
    with TestClient(app, raise_server_exceptions=False) as made:
        yield made


@pytest.mark.parametrize(
    ("asked", "sent"),
    [
        ("/v1/vocabulary/", "/v1/vocabulary"),
        ("/v1/rules/?after=x%2Fy", "/v1/rules?after=x%2Fy"),
        ("/guide//", "/guide"),
        ("//elsewhere.example/", "/elsewhere.example"),
        ("/v1/accessories/PIN-1%2F2/", "/v1/accessories/PIN-1%2F2"),
    ],
)
def test_a_slash_at_the_end_is_no_second_name(client: Client, asked: str, sent: str) -> None:
    """Whoever asks so is sent to the one name, on this service and by the same method (RFC 9110, 15.4.9)."""
    for method in ("GET", "POST", "HEAD"):
        found = client.request(method, f"http://testserver.local{asked}", follow_redirects=False)
        assert (found.status_code, found.headers["location"]) == (308, sent)
        assert found.headers["x-request-id"]
    assert client.get("/v1/vocabulary", follow_redirects=False).status_code == 200
    assert client.get("/", follow_redirects=False).status_code != 308


def test_what_is_given_up_says_so(client: Client) -> None:
    """`Deprecation` is an instant after an `@` (RFC 9745, 2.1), `Sunset` a date as HTTP has it (RFC 8594, 3)."""
    app, since = client.app, datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC)
    sunset = datetime(2024, 6, 30, 23, 59, 59, tzinfo=UTC)
    handler = next(one for path, one, _ in documented(app) if path == "/v1/vocabulary")
    before = handler.opt["operation"]
    assert "deprecation" not in client.get("/v1/vocabulary").headers
    handler.opt["operation"] = replace(before, deprecated=Deprecation(since, sunset))
    try:
        headers = client.get("/v1/vocabulary").headers
        # the example of RFC 9745, 2.1.1
        assert headers["deprecation"] == "@1688169599"
        assert headers["sunset"] == "Sun, 30 Jun 2024 23:59:59 GMT"
        assert parsedate_to_datetime(headers["sunset"]) == sunset
        assert 'rel="deprecation"' in headers["link"]
        paths = describe(app, answerer())["paths"]
        assert paths["/v1/vocabulary"]["get"]["deprecated"] is True
        assert "deprecated" not in paths["/v1/rules"]["get"]
    finally:
        handler.opt["operation"] = before
