"""Stored records over HTTP: made, read, listed, changed and deleted, with their versions kept."""

from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from service_checks import pointers, problem

from fitsvc.service.context import service_in
from fitsvc.service.documents import KINDS, RecordKind
from fitsvc.service.examples import BODIES

Client = TestClient[Litestar]
Key = dict[str, str]
kinds = pytest.mark.parametrize("kind", KINDS, ids=[kind.subject for kind in KINDS])


def body_of(kind: RecordKind, form: str = "New{}") -> dict[str, Any]:
    """Return the description's example for a kind of record."""
    return BODIES[form.format(kind.subject.title())]


def make(client: Client, key: Key, kind: RecordKind) -> Any:
    """Store an example, and what a mounting names."""
    for linked in KINDS[:2] if kind.links else ():
        client.post(linked.path(), json=body_of(linked), headers=key)
    response = client.post(kind.path(), json=body_of(kind), headers=key)
    assert response.status_code == 201, response.text
    return response


@kinds
def test_what_was_stored_is_read(client: Client, key: Key, kind: RecordKind) -> None:
    """A new record is found at its `Location`, the same as it was answered, with the tag it had."""
    made = make(client, key, kind)
    read = client.get(made.headers["location"])
    assert (read.status_code, read.json()) == (200, made.json())
    assert read.headers["etag"] == made.headers["etag"]
    given = {name: value for name, value in body_of(kind).items() if name != "told"}
    assert {name: read.json()[name] for name in given} == given
    assert read.json()["version"] == 1


@kinds
def test_a_record_stored_twice_is_a_conflict(client: Client, key: Key, kind: RecordKind) -> None:
    """The second is refused, and the first stays."""
    made = make(client, key, kind)
    found = problem(client.post(kind.path(), json=body_of(kind), headers=key), 409)
    assert made.json()[kind.key] in found["detail"]


@kinds
def test_a_change_needs_the_tag_that_was_read(client: Client, key: Key, kind: RecordKind) -> None:
    """Without `If-Match` it is asked for; with an old tag nothing is changed; with the right one all is."""
    made = make(client, key, kind)
    place, tag, body = made.headers["location"], made.headers["etag"], body_of(kind, "{}State")
    problem(client.put(place, json=body, headers=key), 428)
    changed = client.put(place, json=body, headers=key | {"If-Match": f'"other", {tag}'})
    assert (changed.status_code, changed.json()["version"]) == (200, 2)
    assert changed.json()["facts"] == body["facts"]
    assert changed.headers["etag"] != tag
    problem(client.put(place, json=body, headers=key | {"If-Match": tag}), 412)
    problem(client.put(place, json=body, headers=key | {"If-Match": f"W/{changed.headers['etag']}"}), 412)
    assert client.put(place, json=body, headers=key | {"If-Match": "*"}).json()["version"] == 3


@kinds
def test_a_deleted_record_is_gone(client: Client, key: Key, kind: RecordKind) -> None:
    """Deleting needs the tag too, and what is gone is not found."""
    made = make(client, key, kind)
    place = made.headers["location"]
    problem(client.delete(place, headers=key), 428)
    problem(client.delete(place, headers=key | {"If-Match": '"1"'}), 412)
    gone = client.delete(place, headers=key | {"If-Match": made.headers["etag"]})
    assert (gone.status_code, gone.content) == (204, b"")
    problem(client.get(place), 404)
    problem(client.delete(place, headers=key | {"If-Match": "*"}), 404)


def test_a_record_made_anew_has_another_tag(client: Client, key: Key) -> None:
    """The tag of a deleted record does not open the one that took its key."""
    old = make(client, key, KINDS[0])
    client.delete(old.headers["location"], headers=key | {"If-Match": "*"})
    new = make(client, key, KINDS[0])
    assert new.json()["version"] == old.json()["version"]
    problem(client.put(new.headers["location"], json={}, headers=key | {"If-Match": old.headers["etag"]}), 412)


@kinds
def test_what_the_caller_has_is_not_sent_again(client: Client, key: Key, kind: RecordKind) -> None:
    """`If-None-Match` with the current tag, or any, is answered with 304 and no body."""
    made = make(client, key, kind)
    for held, status in ((made.headers["etag"], 304), (f"W/{made.headers['etag']}", 304), ("*", 304), ('"1"', 200)):
        read = client.get(made.headers["location"], headers={"If-None-Match": held})
        assert read.status_code == status
        assert bool(read.content) == (status == 200)
        assert read.headers["etag"] == made.headers["etag"]


def test_head_is_get_without_the_body(client: Client, key: Key) -> None:
    """HEAD sends the headers of GET."""
    place = make(client, key, KINDS[0]).headers["location"]
    same = {"X-Request-Id": "request-1"}
    got, head = client.get(place, headers=same), client.head(place, headers=same)
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers == got.headers


def test_pages_follow_each_other_without_gaps(client: Client, key: Key) -> None:
    """Every record comes once, in order, whatever the size of the pages."""
    names = [f"veh_{number:02}" for number in range(7)]
    for name in reversed(names):
        client.post("/v1/vehicles", json={"id": name}, headers=key)
    for limit in (1, 3, 7, 100):
        seen, after = [], ""
        while after is not None:
            page = client.get("/v1/vehicles", params={"limit": limit} | ({"after": after} if after else {})).json()
            seen += [one["id"] for one in page["items"]]
            assert len(page["items"]) <= limit
            after = page["next"]
        assert seen == names


@pytest.mark.parametrize(
    ("path", "word", "before", "whole"),
    [
        ("accessories", "sku", "SKU_", {"subject": "accessory", "label": "A step"}),
        ("vehicles", "id", "veh_", {}),
        ("rigs", "id", "rig_", {"name": "A rig", "rig": {}}),
    ],
)
def test_a_page_goes_on_at_any_place_in_the_order(
    client: Client, key: Key, path: str, word: str, before: str, whole: dict[str, Any]
) -> None:
    """`after` is a place in the order of ids: one that nothing goes by, or nothing does any more, skips nothing."""
    made = {
        name: client.post(f"/v1/{path}", json={word: f"{before}{name}", **whole}, headers=key)
        for name in ("bb", "dd", "ff")
    }
    assert [one.status_code for one in made.values()] == [201] * 3
    gone = client.delete(made["dd"].headers["location"], headers=key | {"If-Match": made["dd"].headers["etag"]})
    assert gone.status_code == 204
    for after, left in (("", "bb ff"), ("a", "bb ff"), ("bb", "ff"), ("cc?", "ff"), ("dd", "ff"), ("z", "")):
        page = client.get(f"/v1/{path}", params={"after": f"{before}{after}"}).json()
        assert [one[word] for one in page["items"]] == [f"{before}{name}" for name in left.split()]
        assert page["next"] is None
    about = client.get("/openapi.json").json()["paths"][f"/v1/{path}"]["get"]["parameters"]
    assert any("goes on where it would stand" in one["description"] for one in about if one["name"] == "after")


def test_lists_are_filtered(client: Client, key: Key) -> None:
    """Mountings by their vehicle and receiver, and what is sold by what it is sold as."""
    make(client, key, KINDS[2])
    for query, count in (("vehicle=veh_moorfell_2019", 1), ("receiver=rcv_none", 0), ("vehicle=%00", 0)):
        assert len(client.get(f"/v1/mountings?{query}").json()["items"]) == count
    for sku, subject in (("A", "accessory"), ("B", "ball"), ("C", "trailer"), ("D", "adapter")):
        assert client.post("/v1/accessories", json={"sku": sku, "subject": subject}, headers=key).status_code == 201
    assert [one["sku"] for one in client.get("/v1/accessories?subject=ball").json()["items"]] == ["B"]
    problem(client.get("/v1/accessories?subject=bike"), 400)


@pytest.mark.parametrize("sku", ["A B", "Ære-±½", "50%", "a?b#c", "a&b=c", "漢字", "a.b", "...", '"q"'])
def test_a_sku_is_found_at_its_location(client: Client, key: Key, sku: str) -> None:
    """A SKU of any printable characters makes a path that leads back to it."""
    made = client.post("/v1/accessories", json={"sku": sku, "subject": "ball"}, headers=key)
    assert made.headers["location"].isascii()
    assert client.get(made.headers["location"]).json()["sku"] == sku


def test_capitals_count_in_a_sku(client: Client, key: Key) -> None:
    """Two that differ in them alone are two records; who names neither is told which is near."""
    for sku, label in (("CUP-1", "Large"), ("cup-1", "Small")):
        body = {"sku": sku, "subject": "accessory", "label": label}
        assert client.post("/v1/accessories", json=body, headers=key).status_code == 201
    assert [client.get(f"/v1/accessories/{sku}").json()["label"] for sku in ("CUP-1", "cup-1")] == ["Large", "Small"]
    told = problem(client.post("/v1/answers", json={"rig": {}, "accessory": {"sku": "Cup-1"}}), 409)
    assert "`cup-1`" in told["errors"][0]["help"].lower()


@pytest.mark.parametrize(
    ("path", "body", "places"),
    [
        ("vehicles", {"id": "x"}, ["/id"]),
        ("vehicles", {"id": 5, "label": []}, ["/label", "/id"]),
        ("vehicles", {"label": "a\0b"}, ["/label"]),
        ("vehicles", {"facts": []}, ["/facts"]),
        ("vehicles", {"facts": 0}, ["/facts"]),
        ("vehicles", {"facts": {"make": "a\0"}}, ["/facts/make"]),
        ("vehicles", {"told": 1}, ["/told"]),
        ("vehicles", {"told": {"kind": "guessed", "by": 1}}, ["/told/kind", "/told/by"]),
        ("vehicles", {"told": {"at": "2024-05-01T12:00:00"}}, ["/told/at"]),
        ("vehicles", {"told": {"when": "now"}}, ["/told/when"]),
        ("vehicles", {"vehicle": "veh_1"}, ["/vehicle"]),
        ("mountings", {}, ["/vehicle", "/receiver"]),
        ("mountings", {"vehicle": "veh_none", "receiver": "rcv_none"}, ["/vehicle", "/receiver"]),
        ("mountings", {"vehicle": 1, "receiver": ""}, ["/vehicle", "/receiver"]),
        ("accessories", {}, ["/sku", "/subject"]),
        ("accessories", {"sku": " a", "subject": "ball"}, ["/sku"]),
        ("accessories", {"sku": "A", "subject": "wheel"}, ["/subject"]),
        ("accessories", {"sku": "A", "subject": ["ball"]}, ["/subject"]),
        ("accessories", {"sku": "A", "subject": "ball", "facts": {"shank": "2 in"}}, ["/facts/shank"]),
    ],
)
def test_what_is_wrong_with_a_body_is_told_by_its_place(
    client: Client, key: Key, path: str, body: object, places: list[str]
) -> None:
    """Each thing that is wrong has its pointer, and nothing is stored."""
    response = client.post(f"/v1/{path}", json=body, headers=key)
    assert response.status_code in (400, 409, 422)
    assert pointers(problem(response, response.status_code)) == places
    assert client.get(f"/v1/{path}").json()["items"] == []


def test_a_change_is_checked_as_a_new_record_is(client: Client, key: Key) -> None:
    """A body for what is there may leave its key out, and may not name another."""
    place = make(client, key, KINDS[0]).headers["location"]
    every = key | {"If-Match": "*"}
    assert pointers(problem(client.put(place, json={"id": "veh_other"}, headers=every), 422)) == ["/id"]
    assert pointers(problem(client.put(place, json={"facts": {"year": "then"}}, headers=every), 400)) == ["/facts/year"]
    assert client.put(place, json={"id": "veh_moorfell_2019"}, headers=every).json()["facts"] == {}


def test_who_tells_is_the_key_unless_said(client: Client, key: Key) -> None:
    """Provenance leads to an observation by the key's name, or by the name in the body."""
    for told, by in (({}, "yard"), ({"by": "Ketil"}, "Ketil")):
        made = client.post("/v1/vehicles", json={"facts": {"year": 2020}, "told": told}, headers=key).json()
        observation = client.get(f"/v1/observations/{made['provenance']['year']['observation']}").json()
        assert (observation["by"], observation["kind"]) == (by, "published")


def test_a_record_that_others_name_stays(client: Client, key: Key) -> None:
    """A vehicle under a mounting is not deleted, and the mounting is named."""
    make(client, key, KINDS[2])
    response = client.delete("/v1/vehicles/veh_moorfell_2019", headers=key | {"If-Match": "*"})
    assert "mnt_moorfell_dray_2" in problem(response, 409)["detail"]


def test_a_revoked_key_changes_nothing(client: Client, key: Key) -> None:
    """A key that was revoked is refused from then on."""
    from fitsvc.store.api_keys import revoke_key

    with service_in(client.app).database.session() as session:
        revoke_key(session, key["X-API-Key"].partition(".")[0])
    problem(client.post("/v1/vehicles", json={}, headers=key), 401)
