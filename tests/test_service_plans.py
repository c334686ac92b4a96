"""/v1/plans: the same bytes as the command's, problems that point, and a description that holds."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from demo_world import answerer
from litestar import Litestar
from litestar.testing import TestClient

from fitsvc.cli import main
from fitsvc.service.app import create_app
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

WISHES: dict[str, Any] = {
    "rig": {"vehicle": {"id": "veh_oxter_2024"}},
    "wishes": [
        {"name": "four bikes", "load": {"facts": {"bikes": 4, "bike_weight": "40 lb"}}},
        {"trailer": {"sku": "DUN-CART-612"}},
    ],
}


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give a database with the demo's shop in it."""
    file = tmp_path_factory.mktemp("plans") / "demo.db"
    assert main(["demo", "--into", str(file)]) == 0
    return f"sqlite:///{file}"


@pytest.fixture(scope="module")
def shop(url: str) -> Iterator[TestClient[Litestar]]:
    """Give a client of the service over the demo's shop."""
    database = Database(url)
    with TestClient(create_app(database, answerer()), raise_server_exceptions=False) as opened:
        yield opened
    database.close()


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_command_prints_what_the_service_sends(
    shop: TestClient[Litestar], url: str, tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes], units: str
) -> None:
    """`fitsvc plan --json` and the service give the same bytes, in either units."""
    file = tmp_path / "wishes.json"
    file.write_text(json.dumps(WISHES))
    assert main(["plan", str(file), "--json", "--units", units, "--database", url]) == 0
    sent = shop.post("/v1/plans", json=WISHES, params={"units": units})
    assert sent.status_code == 200
    assert capfdbinary.readouterr().out == sent.content + b"\n"


def test_a_plan_tells_what_each_wish_rests_on(shop: TestClient[Litestar]) -> None:
    """As the answer does that proves it, of every set; and a plan that is not asked for it is as it was without."""
    plain = shop.post("/v1/plans", json=WISHES).json()
    plan = shop.post("/v1/plans?include=rests_on", json=WISHES).json()
    served = [one for each in (plan["best"], *plan["runners_up"]) for one in each["wishes"]]
    assert len(served) >= 2
    for one in served:
        told = one.pop("rests_on")
        assert told == shop.post("/v1/answers?include=rests_on", json=one["question"]).json()["rests_on"]
        assert {"vehicle.gvwr", "receiver.trailer_rating"} & {each["fact"] for each in told}
        assert all(each["kind"] for each in told if "record" in each)
    assert plan == plain


def test_every_question_asked_over_the_service_comes_out_as_told(shop: TestClient[Litestar]) -> None:
    """Each set's questions, sent as they are, get the outcome and summary of the plan; so do the misses."""
    plan = shop.post("/v1/plans", json=WISHES).json()
    told = [served for one in (plan["best"], *plan["runners_up"]) for served in (*one["wishes"], *one["pins"])]
    assert len(told) >= 4
    for served in told:
        answer = shop.post("/v1/answers", json=served["question"]).json()
        assert answer["outcome"] in ("works", "conditional")
        assert (answer["outcome"], answer["summary"]) == (served["outcome"], served["summary"])
    for miss in plan["misses"]:
        answer = shop.post("/v1/answers", json=miss["question"]).json()
        assert (answer["outcome"], answer["summary"]) == (miss["outcome"], miss["because"])


def test_a_part_put_on_the_shelf_is_planned_with(shop: TestClient[Litestar], url: str) -> None:
    """The shelf is kept in step: a new carrier for the receiver's own size makes the sleeve needless."""
    wishes = {**WISHES, "wishes": WISHES["wishes"][:1]}
    assert shop.post("/v1/plans", json=wishes).json()["fewest"] == 2
    facts: dict[str, Any] = {
        "kind": "bike_carrier",
        "shank": "2-1/2 in",
        "pin": "5/8 in",
        "pin_supplied": True,
        "pin_span": "4 in",
        "weight": "60 lb",
        "capacity": "200 lb",
        "bikes_max": 4,
        "bike_weight_max": "60 lb",
        "min_class": "none",
        "stow_setback": "12 in",
        "front_setback": "12 in",
        "length": "30 in",
        "rear_extent": "40 in",
    }
    database = Database(url)
    with database.session() as session:
        key = create_key(session, "plans")[0]
    database.close()
    body = {"sku": "WIDE-RACK-4", "subject": "accessory", "label": "Wide rack", "facts": facts}
    assert shop.post("/v1/accessories", json=body, headers={"X-API-Key": key}).status_code == 201
    plan = shop.post("/v1/plans", json=wishes).json()
    assert (plan["fewest"], plan["best"]["parts"][1]["sku"]) == (1, "WIDE-RACK-4")


@pytest.mark.parametrize(
    ("body", "status", "pointers"),
    [
        ({"wishes": [{"kind": "bike_rack"}], "rig": {"receiver": {}}}, 400, ["/wishes/0/kind"]),
        ({"wishes": [{}], "rig": {"receiver": {}}}, 422, ["/wishes/0"]),
        ({"wishes": [{"kind": "step"}], "rig": {"vehicle": {"id": "veh_none"}}}, 409, ["/rig/vehicle/id"]),
        ({"wishes": [{"kind": "step"}, 1], "parts_at_most": 0}, 400, ["/rig", "/wishes/1", "/parts_at_most"]),
    ],
)
def test_bad_wishes_are_problem_documents(
    shop: TestClient[Litestar], body: Any, status: int, pointers: list[str]
) -> None:
    """What cannot be read is 400, what cannot be is 422, what is not stored 409, each fault with its pointer."""
    sent = shop.post("/v1/plans", json=body)
    assert (sent.status_code, sent.headers["content-type"]) == (status, "application/problem+json")
    assert [one["pointer"] for one in sent.json()["errors"]] == pointers


def test_bad_wishes_end_the_command_with_places(url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command names file and field, and its exit code is 2."""
    file = tmp_path / "wishes.json"
    file.write_text('{"rig": {"receiver": {}}, "wishes": [{"kind": "bike_rack"}]}')
    assert main(["plan", str(file), "--database", url]) == 2
    assert "error: /wishes/0/kind: `bike_rack` is not a choice" in capsys.readouterr().err


def test_people_read_the_parts_first(url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command tells the parts, how each wish comes out, the next best and what nearly would do."""
    file = tmp_path / "wishes.json"
    file.write_text(json.dumps({**WISHES, "rig": {"vehicle": {"id": "veh_bothy_2021"}}}))
    assert main(["plan", str(file), "--database", url]) == 0
    out = capsys.readouterr().out
    places = [
        out.index(f"\n{title}\n") for title in ("The parts", "The wishes", "The next best", "What nearly would do")
    ]
    assert out.startswith("3 parts for every wish: ")
    assert places == sorted(places)


def test_the_route_is_described_with_an_example_that_is_taken(shop: TestClient[Litestar]) -> None:
    """The description has the body's schema, the plan's schema and an example, which the service takes."""
    described = shop.get("/openapi.json").json()
    one = described["paths"]["/v1/plans"]["post"]
    content = one["requestBody"]["content"]["application/json"]
    assert content["schema"] == {"$ref": "#/components/schemas/Wishes"}
    plan = one["responses"]["200"]["content"]["application/json"]["schema"]
    assert plan == {"$ref": "#/components/schemas/Plan"}
    sent = shop.post("/v1/plans", json=content["examples"]["example"]["value"])
    assert sent.status_code == 200
    assert set(sent.json()) == set(described["components"]["schemas"]["Plan"]["properties"])
