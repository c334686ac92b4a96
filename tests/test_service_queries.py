"""Whatever a request says beside its body is held to what the description declares of it."""

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import problem

from fitsvc.service.examples import BODIES

Client = TestClient[Litestar]
TRIED = ("", " ", "\u0000", "a,,b", ",", "12x", "yes,no", "W/x", '"a', "é")
"""Texts of which each pattern refuses some."""


def outside(schema: dict[str, Any]) -> list[str]:
    """Return texts that a schema of a parameter does not take, each for another reason; none of one that takes all."""
    found = []
    if schema["type"] == "integer":
        found = [str(schema["minimum"] - 1), str(schema["maximum"] + 1), "", "1.5", "+1", "\u0663", "1e1"]
    elif "enum" in schema:
        found = ["", "colour", schema["enum"][0].upper() + "!", f"{schema['enum'][0]},"]
    elif "anyOf" in schema:
        assert [one["format"] for one in schema["anyOf"]] == ["date-time", "date"]
        found = ["", "yesterday", "2026-5-9", "2026-W19-6", "2026-13-09", "2026-05-09T14:30:00", "2026-13-09T14:30:00Z"]
    else:
        found = [one for one in TRIED if not re.search(schema.get("pattern", ""), one)]
        found += [""] if schema.get("minLength") else []
    return [*found, "a" * (schema["maxLength"] + 1)] if "maxLength" in schema else found


def asked(client: Client) -> Iterator[tuple[str, str, str, dict[str, Any]]]:
    """Yield each declared parameter that is not of the path: method, a path that is there, operation, parameter."""
    paths = client.get("/openapi.json").json()["paths"]
    for path, item in paths.items():
        for method, operation in item.items():
            filled = path
            for one in operation["parameters"]:
                if one["in"] == "path":
                    filled = filled.replace(f"{{{one['name']}}}", quote(str(one.get("example", "none")), safe="/"))
            for one in operation["parameters"]:
                if one["in"] != "path":
                    yield method, filled, operation["operationId"], one


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_is_outside_its_schema_is_refused(client: Client, key: dict[str, str]) -> None:
    """Every value of every declared query parameter and header that its schema does not take is a bad request.

    The reply names the parameter, whatever else is wrong with the request. A value that is passed over would be a
    filter that does not filter, or a condition that holds nobody up.
    """
    tried = set[str]()
    for method, path, operation, one in asked(client):
        name, place = one["name"], one["in"]
        for value in outside(one["schema"]):
            if place == "header" and not value.isascii() | (value.strip() != value):
                continue
            given: dict[str, Any] = {"params": {name: value}} if place == "query" else {}
            headers = key | ({name: value} if place == "header" else {})
            found = problem(client.request(method, path, headers=headers, **given), 400)
            assert {entry["parameter"] for entry in found["errors"]} == {name}, (operation, name, value)
            tried.add(f"{operation} {name}")
    free = {f"{operation} {one['name']}" for _, _, operation, one in asked(client)} - tried
    assert {told.split()[1] for told in free} <= {"If-None-Match"}


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_condition_that_cannot_be_read_changes_nothing(client: Client, key: dict[str, str]) -> None:
    """A tag without its quotes stops a change of what is there, and what is there stays as it was."""
    client.post("/v1/vehicles", json=BODIES["NewVehicle"], headers=key)
    place = f"/v1/vehicles/{BODIES['NewVehicle']['id']}"
    told = (("If-Match", "1", 412), ("If-Match", '"1', 412), ("If-Match", "0", 412), ("If-None-Match", '"1"', 400))
    for name, value, status in told:
        refused = problem(client.put(place, json=BODIES["VehicleState"], headers=key | {name: value}), status)
        assert status == 400 or "with its quotes" in refused["detail"]
    assert client.get(place).json()["version"] == 1
