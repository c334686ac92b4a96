"""The API's description: valid, complete, and true of the service."""

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient
from openapi_spec_validator import OpenAPIV31SpecValidator
from service_checks import problem

from fitsvc.answers.answering import Answerer
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.service.app import create_app
from fitsvc.service.audits.folder import SUPPLIERS
from fitsvc.service.examples import BODIES, MISTAKEN, fit
from fitsvc.service.reporting import Nightly
from fitsvc.service.settings import Settings
from fitsvc.store.database import Database

Client = TestClient[Litestar]
PAGES = {
    "/",
    "/answer",
    "/fits",
    "/rules",
    "/rules/book",
    "/speak/{code}",
    "/rules/{rule}",
    "/whatif/{rule}",
    "/facts",
    "/facts/{fact}",
    "/audits",
    "/audits/scorecard",
    "/audits/schedules",
    "/audits/schedules/{key}",
    "/audits/schedules/{key}/delete",
    "/audits/schedules/{key}/run",
    "/audits/{key}",
    "/intake",
    "/intake/{supplier}",
    "/guide",
    "/guide/{name}",
    "/counter/{name}",
    "/measure",
    "/sell",
    "/compare",
    "/worklist",
    "/records",
    "/records/{kind}",
    "/records/{kind}/{key}",
    "/edit/{kind}/{key}",
    "/remarks",
    "/remarks/new",
    "/remarks/{key}/close",
}
UNDESCRIBED = {"/docs", "/docs/{name}", "/docs/schemas/{name}", "/problems", "/problems/{code}", *PAGES}


@pytest.fixture(scope="module")
def described() -> Any:
    """Give the description."""
    with TestClient(create_app(Database("sqlite:///unused.db"), answerer())) as client:
        return client.get("/openapi.json").json()


def operations(described: Any) -> list[tuple[str, str, Any]]:
    """Return path, method and description of every operation."""
    return [(path, method, one) for path, item in described["paths"].items() for method, one in item.items()]


def test_it_is_valid(described: Any) -> None:
    """The document is an OpenAPI 3.1 document, by its published schema."""
    assert described["openapi"].startswith("3.1")
    assert [str(error) for error in OpenAPIV31SpecValidator(described).iter_errors()] == []


def test_every_route_is_described(client: Client, described: Any) -> None:
    """Every path and method of the application is in it, but for the pages that people read."""
    shown = {(re.sub(r"{\w+}", "{}", path), method.upper()) for path, method, _ in operations(described)}
    for route in client.app.routes:
        if route.path_format not in UNDESCRIBED:
            for method in route.methods - {"OPTIONS"}:
                assert (re.sub(r"{\w+}", "{}", route.path_format), method) in shown


BINARY = {
    "application/vnd.apache.parquet",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/vnd.oasis.opendocument.spreadsheet",
}
"""Files that are no text, of which an example could not be read."""


def test_every_operation_is_told(described: Any) -> None:
    """Each has an id of its own, a summary, a description, a known tag, and an example where it takes a body."""
    ids = [one["operationId"] for _, _, one in operations(described)]
    assert len(set(ids)) == len(ids)
    tags = {tag["name"] for tag in described["tags"]}
    for path, method, one in operations(described):
        assert one["summary"], (path, method)
        assert one["description"].endswith("."), (path, method)
        assert set(one["tags"]) <= tags
        assert "{" not in one["operationId"] + one["summary"] + one["description"]
        assert all(parameter["description"] for parameter in one["parameters"])
        if "requestBody" in one:
            for media, content in one["requestBody"]["content"].items():
                assert content.get("examples") or media in BINARY


def test_every_failure_is_a_problem_document(described: Any) -> None:
    """Each operation tells of failures, and each but 304 has the one shape."""
    for path, method, one in operations(described):
        statuses = {int(status) for status in one["responses"]}
        assert statuses >= {400, 500, 503}, (path, method)
        for status, response in one["responses"].items():
            if int(status) >= 400:
                schema = response["content"]["application/problem+json"]["schema"]
                assert schema == {"$ref": "#/components/schemas/Problem"}


def test_writing_needs_a_key_and_reading_may_not(described: Any) -> None:
    """Every PUT and DELETE, and every POST that stores, needs a key; health and the description never do."""
    for path, method, one in operations(described):
        asks = ("/v1/answers", "/v1/plans", "/v1/selections", "/v1/matches")
        secured = (
            method in ("put", "delete")
            or (method == "post" and path not in asks)
            or path in ("/v1/log", "/v1/webhooks")
        )
        assert (one["security"] == [{"ApiKey": []}]) == secured, (path, method)
        never = path in ("/health/live", "/health/ready", "/openapi.json")
        assert (one["security"] == []) == never, (path, method)
        assert ("401" in one["responses"]) != never


def test_every_reference_leads_somewhere_and_every_schema_is_used(described: Any) -> None:
    """No component is missing, and none is left over."""
    used = set(re.findall(r"#/components/schemas/(\w+)", str(described)))
    assert used == set(described["components"]["schemas"])


def test_links_name_operations_and_parameters_that_exist(described: Any) -> None:
    """What a response links to is an operation with a parameter of that name."""
    by_id = {one["operationId"]: one for _, _, one in operations(described)}
    links = [
        link
        for _, _, one in operations(described)
        for response in one["responses"].values()
        for link in response.get("links", {}).values()
    ]
    assert links
    for link in links:
        assert set(link["parameters"]) <= {one["name"] for one in by_id[link["operationId"]]["parameters"]}


def test_the_examples_are_taken_in_order(
    database: Database, tmp_path: Path, key: dict[str, str], described: Any
) -> None:
    """Sent one after the other, each example is accepted, and each state replaces what its new one made."""
    suppliers = tmp_path / "audits" / SUPPLIERS
    suppliers.mkdir(parents=True)
    (suppliers / f"{BODIES['NewSchedule']['supplier']}.yaml").write_text("columns: {}\n")
    settings = Settings(nightly=Nightly(str(tmp_path)))
    client = TestClient(create_app(database, answerer(), tmp_path / "audits", settings=settings))
    places: dict[str, str] = {}
    taken = set()
    for name, body in BODIES.items():
        for path, method, one in operations(described):
            content = one.get("requestBody", {}).get("content", {}).get("application/json", {})
            if content.get("schema") == {"$ref": f"#/components/schemas/{name}"}:
                _, brace, rest = path.rpartition("}")
                place = places[name.removesuffix("State")] + rest if brace else path
                headers = key | ({"If-Match": "*"} if method == "put" else {})
                response = client.request(method, place, json=body, headers=headers)
                assert response.is_success, (name, response.text)
                places[name.removeprefix("New")] = response.headers.get("location", place)
                taken.add(name)
    assert taken == set(BODIES)


def test_the_problem_in_the_description_is_the_service_s_own(client: Client, described: Any) -> None:
    """The example of a problem is what its request is answered with."""
    shown = described["paths"]["/v1/answers"]["post"]["responses"]["400"]["content"]["application/problem+json"]
    assert problem(client.post("/v1/answers", json=MISTAKEN), 400) == shown["examples"]["example"]["value"]


def test_a_rulebook_with_other_kinds_is_described_without_the_demos_examples(tmp_path: Path) -> None:
    """Examples that a shop's own rulebook could not read are left out, and the service starts all the same."""
    shutil.copytree(data_dir("rules"), tmp_path / "rules")
    for path in (tmp_path / "rules").rglob("*.yaml"):
        text = path.read_text().replace("bike_carrier", "cycle_rack")
        path.write_text(text.replace(": bike carrier", ": cycle rack"))
    other = Answerer(load_rulebook(tmp_path / "rules"))
    assert (fit(answerer()), fit(other)) == (True, False)
    with TestClient(create_app(Database("sqlite:///unused.db"), other)) as client:
        described = client.get("/openapi.json").json()
    bodies = [one["requestBody"]["content"] for *_, one in operations(described) if "requestBody" in one]
    assert [media for body in bodies for name, media in body.items() if "json" in name and "examples" in media] == []
    answers = described["paths"]["/v1/answers"]["post"]["responses"]["200"]["content"]
    assert all("examples" not in media for media in answers.values())
