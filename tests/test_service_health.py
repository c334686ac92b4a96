"""Health, counters, the API's page, and what every response carries."""

import re
from math import inf

from litestar import Litestar
from litestar.testing import TestClient
from prometheus_client.parser import text_string_to_metric_families
from waiting import LONGEST

from fitsvc.service.examples import BODIES, QUESTION

Client = TestClient[Litestar]


def test_a_service_with_its_database_is_ready(client: Client) -> None:
    """Both checks answer, with the rulebook's digest and without being kept by caches."""
    for path, status in (("/health/live", "live"), ("/health/ready", "ready")):
        response = client.get(path)
        assert response.json()["status"] == status
        assert response.json()["rulebook"].startswith("sha256:")
        assert response.headers["cache-control"] == "no-store"


def test_requests_are_counted_by_route_and_status(client: Client) -> None:
    """A route is counted under its template, an unrouted path under `none`, and outcomes by name."""
    for path in ("/v1/vehicles/veh_1", "/v1/vehicles/veh_2", "/some/where"):
        client.get(path)
    outcome = client.post("/v1/answers", json=QUESTION).json()["outcome"]
    text = client.get("/metrics").text
    assert 'fitsvc_requests_total{method="GET",route="/v1/vehicles/{key}",status="404"} 2.0' in text
    assert 'fitsvc_requests_total{method="GET",route="none",status="404"} 1.0' in text
    assert f'fitsvc_answers_total{{outcome="{outcome}"}} 1.0' in text
    assert 'fitsvc_request_seconds_count{route="/v1/answers"} 1.0' in text


def test_queue_index_and_pages_are_gauged(client: Client, key: dict[str, str]) -> None:
    """What is inside is told, here the asking itself; the index has an age once it is held, and pages are told apart.

    Every line is one that another program's reader of the format takes.
    """

    def told(name: str) -> float:
        families = text_string_to_metric_families(client.get("/metrics").text)
        (found,) = (one.value for family in families for one in family.samples if one.name == name)
        return float(found)

    assert told("fitsvc_requests_inside") == 1
    assert told("fitsvc_index_age_seconds") == inf
    client.post("/v1/rigs", json=BODIES["NewRig"] | {"rig": {}}, headers=key)
    page = f"/v1/rigs/{BODIES['NewRig']['id']}/accessories"
    tag = client.get(page, headers={"Accept-Encoding": "identity"}).headers["etag"]
    assert client.get(page, headers={"If-None-Match": tag}).status_code == 304
    assert (told("fitsvc_pages_made_total"), told("fitsvc_pages_known_total")) == (1, 1)
    assert 0 <= told("fitsvc_index_age_seconds") < LONGEST


def test_the_page_asks_no_other_host(client: Client) -> None:
    """Everything the page loads is served here, and its policy forbids anything else."""
    page = client.get("/docs")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in page.headers["content-security-policy"]
    loaded = re.findall(r'(?:src|href)="([^"#]+)', page.text)
    operations = {
        one["operationId"] for item in client.get("/openapi.json").json()["paths"].values() for one in item.values()
    }
    assert {f"/docs/{name}" for name in operations} | {"/openapi.json"} <= set(loaded)
    for place in loaded:
        assert place.startswith("/") and not place.startswith("//")
        assert client.get(place).status_code == 200


def test_every_response_forbids_guessing_its_type(client: Client) -> None:
    """`nosniff` is on everything, and nothing invites other origins."""
    for path in ("/", "/docs", "/openapi.json", "/health/live", "/none", "/v1/vehicles"):
        headers = client.get(path, headers={"Origin": "http://elsewhere.example"}).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["content-type"].count("charset") <= 1
        assert not any(name.startswith("access-control") for name in headers)
