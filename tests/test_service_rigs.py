"""Saved rigs over HTTP."""

from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

from fitsvc.service.examples import BODIES

Client = TestClient[Litestar]
Key = dict[str, str]


@pytest.fixture
def saved(client: Client, key: Key) -> Any:
    """Store a vehicle, a receiver and a rig of both, and give the response."""
    for name, path in (("NewVehicle", "vehicles"), ("NewReceiver", "receivers")):
        client.post(f"/v1/{path}", json=BODIES[name], headers=key)
    return client.post("/v1/rigs", json=BODIES["NewRig"], headers=key)


def test_a_rig_is_saved_read_and_listed(client: Client, saved: Any) -> None:
    """A rig comes back as it was sent, alone and in the list."""
    read = client.get(saved.headers["location"])
    assert read.json() == saved.json()
    assert read.json()["rig"] == BODIES["NewRig"]["rig"]
    assert client.get("/v1/rigs").json() == {"items": [read.json()], "next": None}


def test_what_is_null_of_a_rig_is_left_out_of_it(client: Client, key: Key, saved: Any) -> None:
    """A rig is given with no id that is null, which is nobody's; a fact told as not known stays told so."""
    facts = {"opening": "2 in", "pin_hole": None}
    rig = {
        "id": None,
        "spare": None,
        "vehicle": {"id": None, "facts": None},
        "receiver": {"id": None, "facts": facts},
        "adapters": [{"sku": None, "facts": {"kind": "extension"}}],
    }
    left = {"vehicle": {}, "receiver": {"facts": facts}, "adapters": [{"facts": {"kind": "extension"}}]}
    made = client.post("/v1/rigs", json={"name": "a", "rig": rig}, headers=key)
    assert (made.status_code, made.json()["rig"]) == (201, left)
    place, tag = saved.headers["location"], saved.headers["etag"]
    changed = client.put(place, json={"name": "a", "rig": rig}, headers=key | {"If-Match": tag})
    assert (changed.status_code, changed.json()["rig"]) == (200, left)


def test_a_rig_is_replaced_and_deleted_with_its_tag(client: Client, key: Key, saved: Any) -> None:
    """Both need the tag, and a replaced rig lets go of the records it no longer names."""
    place, tag = saved.headers["location"], saved.headers["etag"]
    problem(client.put(place, json=BODIES["RigState"], headers=key), 428)
    changed = client.put(place, json=BODIES["RigState"], headers=key | {"If-Match": tag})
    assert (changed.status_code, changed.json()["version"]) == (200, 2)
    assert client.delete("/v1/receivers/rcv_dray_2", headers=key | {"If-Match": "*"}).status_code == 204
    problem(client.delete(place, headers=key | {"If-Match": tag}), 412)
    assert client.delete(place, headers=key | {"If-Match": changed.headers["etag"]}).status_code == 204
    problem(client.get(place), 404)


@pytest.mark.parametrize(
    ("body", "places"),
    [
        ({}, ["/name", "/rig"]),
        ({"name": " ", "rig": {}}, ["/name"]),
        ({"name": 5, "rig": {}}, ["/name"]),
        ({"name": "a", "rig": []}, ["/rig"]),
        ({"name": "a", "rig": {"vehicle": {"id": "veh_none"}}}, ["/rig/vehicle/id"]),
        ({"name": "a", "rig": {"adapters": [{"facts": {"kind": "glue"}}]}}, ["/rig/adapters/0/facts/kind"]),
        ({"name": "a", "rig": {"trailer": {}}}, ["/rig/trailer"]),
        ({"name": "a", "rig": {"id": "rig_farm"}}, ["/rig/id"]),
        ({"name": "a", "rig": {"id": "rig_none"}}, ["/rig/id"]),
        ({"name": "a", "rig": {"id": 5}}, ["/rig/id"]),
        ({"name": "a", "rig": {}, "version": 2}, ["/version"]),
        ({"id": "farm", "name": "a", "rig": {}}, ["/id"]),
    ],
)
def test_a_rig_that_could_not_be_asked_about_is_not_saved(
    client: Client, key: Key, saved: Any, body: object, places: list[str]
) -> None:
    """A rig is read as a question's is, and told what is wrong."""
    response = client.post("/v1/rigs", json=body, headers=key)
    assert response.status_code in (400, 409, 422)
    assert pointers(problem(response, response.status_code)) == places
