"""Observations over HTTP: told once, never changed, and decisive for what a record says."""

from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

Client = TestClient[Litestar]
Key = dict[str, str]
PATH = "/v1/observations"


@pytest.fixture
def vehicle(client: Client, key: Key) -> Any:
    """Store a vehicle with one published fact."""
    body = {"id": "veh_1", "facts": {"gvwr": "6100 lb"}}
    return client.post("/v1/vehicles", json=body, headers=key).json()


def tell(client: Client, key: Key, **members: object) -> Any:
    """Tell something of the vehicle."""
    return client.post(PATH, json={"subject": "vehicle", "record": "veh_1"} | members, headers=key)


def test_what_was_measured_becomes_what_holds(client: Client, key: Key, vehicle: Any) -> None:
    """A measurement takes the place of what was published, and the answer shows both."""
    told = tell(client, key, facts={"gvwr": "6050 lb"}, at="2026-03-02T09:30:00+01:00", note="placard")
    assert told.status_code == 201
    observation, record = told.json()["observation"], told.json()["record"]
    assert (observation["kind"], observation["by"], observation["note"]) == ("measured", "yard", "placard")
    assert observation["at"] == "2026-03-02T08:30:00Z"
    assert (record["facts"], record["version"]) == ({"gvwr": "6050 lb"}, 2)
    assert record["provenance"]["gvwr"] == {"kind": "measured", "observation": observation["id"]}
    assert client.get("/v1/vehicles/veh_1").json() == record
    assert client.get(told.headers["location"]).json() == observation


def test_a_guess_does_not_displace_a_measurement(client: Client, key: Key, vehicle: Any) -> None:
    """An assumed fact is recorded and changes nothing that is better known; null takes all back."""
    assert tell(client, key, facts={"gvwr": "5 t"}, kind="assumed").json()["record"]["facts"] == {"gvwr": "6100 lb"}
    assert tell(client, key, facts={"gvwr": None}).json()["record"]["facts"] == {}


def test_observations_are_listed_by_record_in_order(client: Client, key: Key, vehicle: Any) -> None:
    """Pages go from the oldest to the newest, of one record or of all."""
    made = [tell(client, key, facts={"year": 2000 + number}).json()["observation"]["id"] for number in range(3)]
    client.post("/v1/vehicles", json={"id": "veh_2"}, headers=key)
    of_one = client.get(f"{PATH}?subject=vehicle&record=veh_1").json()["items"]
    assert [one["id"] for one in of_one][1:] == made
    first = client.get(f"{PATH}?subject=vehicle&record=veh_1&limit=2").json()
    rest = client.get(f"{PATH}?subject=vehicle&record=veh_1&after={first['next']}").json()
    assert first["items"] + rest["items"] == of_one
    assert rest["next"] is None
    assert len(client.get(PATH).json()["items"]) == 5
    problem(client.get(f"{PATH}?after=obs_none"), 404)


def test_an_observation_is_never_changed(client: Client, key: Key, vehicle: Any) -> None:
    """There is no way to change or delete one."""
    place = f"{PATH}/{vehicle['provenance']['gvwr']['observation']}"
    for method in ("PUT", "DELETE", "PATCH"):
        response = client.request(method, place, headers=key | {"If-Match": "*"})
        problem(response, 405)
        assert response.headers["allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize(
    ("members", "status", "places"),
    [
        ({"facts": {}}, 422, ["/facts"]),
        ({"facts": []}, 400, ["/facts"]),
        ({"facts": {"gvwr": "heavy"}}, 400, ["/facts/gvwr"]),
        ({"facts": {"gvwr": "900 t"}}, 422, ["/facts/gvwr"]),
        ({"facts": {"year": 2020}, "kind": "guess", "at": 5}, 400, ["/at", "/kind"]),
        ({"facts": {"year": 2020}, "subject": "ball"}, 400, ["/subject"]),
        ({"facts": {"year": 2020}, "subject": ["vehicle"]}, 400, ["/subject"]),
        ({"facts": {"year": 2020}, "record": 5}, 400, ["/record"]),
        ({}, 400, ["/facts"]),
        ({"facts": {"year": 2020}, "fcats": {}}, 400, ["/fcats"]),
    ],
)
def test_what_is_wrong_is_told_by_its_place(
    client: Client, key: Key, vehicle: Any, members: dict[str, object], status: int, places: list[str]
) -> None:
    """A body that cannot be read changes nothing and is told why."""
    found = problem(tell(client, key, **members), status)
    assert sorted(pointers(found)) == sorted(places)
    assert client.get("/v1/vehicles/veh_1").json() == vehicle


def test_a_record_that_is_not_there_is_not_found(client: Client, key: Key) -> None:
    """Telling something of an unknown record is 404."""
    problem(tell(client, key, facts={"year": 2020}), 404)


def test_what_is_sold_as_a_ball_has_a_balls_facts(client: Client, key: Key) -> None:
    """The record's own subject decides which facts may be told."""
    client.post("/v1/accessories", json={"sku": "B", "subject": "ball"}, headers=key)
    about = {"subject": "accessory", "record": "B"}
    right = client.post(PATH, json=about | {"facts": {"rating": "3500 lb"}}, headers=key)
    assert right.json()["record"]["facts"] == {"rating": "3500 lb"}
    problem(client.post(PATH, json=about | {"facts": {"shank": "2 in"}}, headers=key), 409)
    problem(client.post(PATH, json=about | {"facts": {"colour": "red"}}, headers=key), 400)
