"""A page of goods as one question, and one item on one rig as an address: each says what an answer says."""

import gzip
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from demo_world import SEED, answerer
from litestar import Litestar
from litestar.testing import TestClient
from openapi_schema_validator import OAS31Validator
from service_checks import pointers, problem

from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.loading.load import in_order, load_file
from fitsvc.service.app import create_app
from fitsvc.service.hanging import MOST_TOGETHER
from fitsvc.service.matches import MOST_ITEMS, MOST_RIGS, MOST_TOLD
from fitsvc.service.settings import Settings
from fitsvc.store.api_keys import create_key
from fitsvc.store.database import Database

Client = TestClient[Litestar]
THING = {"hangs_on": "rear_receiver", "accessory": {}}
LOAD = {"facts": {"bikes": 2, "bike_weight": "40 lb"}}


@pytest.fixture(scope="module")
def shop(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """Give a client of the service over the demo's shop."""
    folder = tmp_path_factory.mktemp("matches")
    (folder / "demo.db").write_bytes(migrated.read_bytes())
    database = Database(f"sqlite:///{folder / 'demo.db'}")
    files = [path for path in SEED.iterdir() if path.suffix in (".yaml", ".csv", ".jsonl")]
    for path in in_order(sorted(files), answerer().reader.vocabulary):
        load_file(database, answerer().reader, path)
    with TestClient(create_app(database, answerer(), folder / "audits"), raise_server_exceptions=False) as client:
        yield client
    database.close()


@pytest.fixture(scope="module")
def skus(shop: Client) -> list[str]:
    """Give the accessories of the demo's shop."""
    page = shop.get("/v1/rigs/rig_farm_muckle/accessories?detail=compact&limit=1000").json()
    return sorted(item["sku"] for item in page["items"])


@pytest.fixture(scope="module")
def rigs(shop: Client) -> list[str]:
    """Give the demo's saved rigs."""
    return [rig["id"] for rig in shop.get("/v1/rigs").json()["items"]]


def match(shop: Client, query: str = "", **question: Any) -> Any:
    """Ask for a matrix."""
    response = shop.post(f"/v1/matches{query}", json=question)
    assert response.status_code == 200, response.text
    return response.json()


def test_a_matrix_says_what_pages_say(shop: Client, skus: list[str], rigs: list[str]) -> None:
    """By the column kernel or in words each pair has what the rig's page has of it, in the order asked."""
    for detail in ("compact", "full"):
        found = match(shop, f"?detail={detail}", rigs=[{"id": rig} for rig in rigs], skus=skus[::-1], load=LOAD)
        for rig, row in zip(rigs, found["rigs"], strict=True):
            page = shop.post(
                f"/v1/selections?detail={detail}&limit=1000", json={"rig": {"id": rig}, "load": LOAD}
            ).json()
            told = {item["sku"]: item for item in page["items"]}
            assert [told[item["sku"]] for item in row["items"]] == row["items"]
            assert [item["sku"] for item in row["items"]] == skus[::-1]
    assert {item["outcome"] for row in found["rigs"] for item in row["items"]} >= {
        "conditional",
        "undetermined",
        "fails",
    }


def test_what_hangs_there_already_is_judged_too(shop: Client, skus: list[str]) -> None:
    """With `together` a pair is what a question of all of them says; what hangs there is not better for the item."""
    cart = {
        "hangs_on": "rear_receiver",
        "accessory": {"sku": "TUG-2-D2-10"},
        "ball": {"sku": "RBL-2-A"},
        "trailer": {"sku": "DUN-CART-612"},
    }
    rig = {"id": "rig_farm_muckle", "adapters": [{"sku": "BTX-TWIN-2", "facts": {"trailer_rating": "3500 lb"}}]}
    some = skus[::12]
    found = match(shop, rigs=[rig], skus=some, load=LOAD, hangs_on="rear_receiver", together=[cart])
    for item in found["rigs"][0]["items"]:
        mine = {"hangs_on": "rear_receiver", "accessory": {"sku": item["sku"]}}
        asked = {"rig": rig, "load": LOAD, "together": [mine, cart]}
        assert shop.post("/v1/answers", json=asked).json()["outcome"] == item["outcome"], item


def test_what_cannot_be_matched_is_told(shop: Client) -> None:
    """A SKU that is no accessory is told by itself, why; a mistake in a rig stands at the rig."""
    found = match(shop, rigs=[{"id": "rig_farm_muckle"}], skus=["NONE", "RBL-2-A", "SPK-TRUG-2", "SPK-TRUG-2"])
    assert [item["sku"] for item in found["rigs"][0]["items"]] == ["SPK-TRUG-2"]
    assert [one["sku"] for one in found["not_matched"]] == ["NONE", "RBL-2-A"]
    assert "`ball`" in found["not_matched"][1]["because"]
    wrong = {"rigs": [{"id": "rig_farm_muckle"}, {"receiver": {"facts": {"opening": "2"}}}], "skus": ["SPK-TRUG-2"]}
    assert pointers(problem(shop.post("/v1/matches", json=wrong), 400)) == ["/rigs/1/receiver/facts/opening"]
    wrong = {"rigs": [{}], "skus": ["A"], "hangs_on": "rear_receiver", "together": [{"hangs_on": "there"}]}
    assert "/together/0/hangs_on" in pointers(problem(shop.post("/v1/matches", json=wrong), 400))


def test_a_rig_that_cannot_be_judged_keeps_nobody_from_an_answer(shop: Client) -> None:
    """Its row has errors of its own, as a problem document tells them; the other rows are as they are without it."""
    named = {"vehicle": {"facts": {"make": "Dovrik", "model": "Mossback"}}}
    unknown, far = {"id": "rig_none"}, {"vehicle": {"facts": {"rear_overhang": "900 ft"}}}
    good = {"id": "rig_farm_muckle"}
    ask: dict[str, Any] = {"skus": ["SPK-TRUG-2", "CRG-2"], "load": LOAD}
    (alone,) = match(shop, rigs=[good], **ask)["rigs"]
    assert "errors" not in alone
    for wrong, status in ((named, 409), (unknown, 409), (far, 422)):
        told = problem(shop.post("/v1/selections", json={"rig": wrong}), status)["errors"]
        rows = match(shop, rigs=[wrong, good, wrong], **ask)["rigs"]
        assert rows[1] == alone
        for number in (0, 2):
            assert rows[number]["items"] == []
            assert rows[number]["errors"] == [
                one | {"pointer": one["pointer"].replace("/rig", f"/rigs/{number}", 1)} for one in told
            ]
    shared = {"rigs": [good], "skus": ["CRG-2"], "load": {"facts": {"bike_weight": "90000 lb"}}}
    assert pointers(problem(shop.post("/v1/matches", json=shared), 422)) == ["/load/facts/bike_weight"]


@pytest.mark.parametrize(
    ("more", "taken"),
    [
        ({}, True),
        ({"hangs_on": "rear_receiver"}, True),
        ({"hangs_on": "rear_receiver", "together": None, "beside": {}}, True),
        ({"hangs_on": "rear_receiver", "together": [THING], "beside": None}, True),
        ({"together": [THING]}, False),
        ({"hangs_on": None, "together": [THING]}, False),
        ({"hangs_on": "rear_receiver", "together": [THING], "beside": {}}, False),
    ],
)
def test_the_schema_says_what_goes_with_what_hangs_there(shop: Client, more: dict[str, Any], taken: bool) -> None:
    """Where each item hangs has to be said with `together`, and `beside` not: of each body schema and service agree."""
    schemas = shop.get("/openapi.json").json()["components"]
    body = {"rigs": [{}], "skus": ["CRG-2"], **more}
    described = OAS31Validator({"$ref": "#/components/schemas/MatchQuestion", "components": schemas})
    assert described.is_valid(body) == taken
    assert (shop.post("/v1/matches", json=body).status_code == 200) == taken


@pytest.mark.parametrize(
    ("body", "place"),
    [
        ({"rigs": [{}] * (MOST_RIGS + 1), "skus": ["A"]}, "/rigs"),
        ({"rigs": [{}], "skus": ["A"] * (MOST_ITEMS + 1)}, "/skus"),
        ({"rigs": [{}], "skus": [1]}, "/skus/0"),
        ({"rigs": [{}] * 20, "skus": ["A"] * (MOST_TOLD // 20 + 1)}, ""),
        ({"rigs": [], "skus": ["A"]}, "/rigs"),
        ({"skus": ["A"]}, "/rigs"),
    ],
)
def test_a_matrix_is_bounded(shop: Client, body: object, place: str) -> None:
    """What is too many at once is refused with its place."""
    assert place in pointers(problem(shop.post("/v1/matches?detail=full", json=body), 400))


def test_what_hangs_there_is_judged_within_bounds(
    shop: Client, skus: list[str], rigs: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What takes more judgements than one question may is refused before any; items that are alike take one's."""
    judged = list[Case]()
    evaluate = Point.evaluate

    def counted(self: Point, case: Case) -> Any:
        judged.append(case)
        return evaluate(self, case)

    monkeypatch.setattr(Point, "evaluate", counted)
    some = {"hangs_on": "rear_receiver", "together": [THING] * 3}
    pairs = {"rigs": [{"id": rig} for rig in rigs], "skus": skus}
    told = problem(shop.post("/v1/matches", json=pairs | some), 400)["errors"][0]
    assert str(MOST_TOGETHER) in told["help"]
    assert judged == []
    asked = {"rigs": [{"id": rigs[0]}], "skus": skus[:20]} | some
    assert shop.post("/v1/matches", json=asked).status_code == 200
    assert 0 < len(judged) <= 13 * 20 + 3


def test_one_of_each_has_an_address(shop: Client, skus: list[str], rigs: list[str]) -> None:
    """One item on one rig, one on all rigs, and a list of numbers on one rig say the same, and are not sent twice."""
    sku, rig = "SPK-TRUG-2", "rig_farm_muckle"
    one = shop.get(f"/v1/rigs/{rig}/accessories/{sku}")
    page = shop.get(f"/v1/rigs/{rig}/accessories?sku={sku},{skus[0]},NONE").json()
    assert {item["sku"] for item in page["items"]} == {sku, skus[0]}
    assert page["matching"] == 2
    assert one.json() in page["items"]
    assert one.headers["cache-tag"] == f"rig:{rig},sku:{sku}"
    again = shop.get(f"/v1/rigs/{rig}/accessories/{sku}", headers={"If-None-Match": one.headers["etag"]})
    assert again.status_code == 304
    of_all = shop.get(f"/v1/accessories/{sku}/rigs?detail=full").json()["items"]
    assert [each["rig"] for each in of_all] == rigs
    assert next(each["match"] for each in of_all if each["rig"] == rig) == one.json()
    first = shop.get(f"/v1/accessories/{sku}/rigs?limit=1").json()
    assert first["next"] == rigs[0]
    problem(shop.get(f"/v1/rigs/{rig}/accessories/NONE"), 404)
    problem(shop.get(f"/v1/rigs/rig_none/accessories/{sku}"), 404)
    problem(shop.get("/v1/accessories/NONE/rigs"), 404)
    problem(shop.get(f"/v1/rigs/{rig}/accessories?sku=,"), 400)


QUESTIONS = [
    {"rig": {"id": rig}, "accessory": {"sku": sku}, "load": LOAD}
    for rig, sku in product(("rig_farm_muckle", "rig_school_run"), ("SPK-TRUG-2", "TUG-2-D2-10"))
] + [
    {
        "accessory": {"facts": {"kind": "cargo_carrier", "shank": "1-1/4 in"}},
        "rig": {"receiver": {"facts": {"opening": "2 in"}}},
    },
    {"rig": {"vehicle": {"facts": {"make": "Moorfell"}}}, "accessory": {"sku": "SPK-TRUG-2"}},
    {
        "rig": {"id": "rig_farm_muckle"},
        "together": [
            {"hangs_on": "rear_receiver", "accessory": {"sku": "SPK-TRUG-2"}},
            {"hangs_on": "rear_receiver", "accessory": {"sku": "TUG-2-D2-10"}},
        ],
    },
]


@pytest.mark.parametrize("question", QUESTIONS, ids=range(len(QUESTIONS)))
def test_a_part_of_an_answer_is_that_part(shop: Client, question: dict[str, Any]) -> None:
    """`include` tells members as the whole has them; outcome and codes alone are a tenth of its bytes or less."""
    whole = shop.post("/v1/answers", json=question)
    short = shop.post("/v1/answers?include=outcome,codes", json=question)
    assert set(short.json()) == {"outcome", "codes"}
    assert short.json()["outcome"] == whole.json()["outcome"]
    assert len(short.content) * 10 <= len(whole.content)
    for members in ("outcome,findings,limits", "summary,next", "remedies,outcome", "outcome,cautions,assumed"):
        part = shop.post(f"/v1/answers?include={members}", json=question).json()
        wanted = {name: value for name, value in whole.json().items() if name in members.split(",")}
        assert part == wanted, members
    decisive = {one["rule"] for one in whole.json()["findings"] if one["result"] in ("fails", "undetermined")}
    if whole.json()["outcome"] == "fails" and "together" not in question:
        assert set(short.json()["codes"]) <= decisive
        assert short.json()["codes"]


def test_figures_stand_beside_the_words(shop: Client) -> None:
    """Each figure has its unit: exact, between bounds, a limit, and by how much a rule passes or fails."""
    question = {
        "rig": {"receiver": {"facts": {"opening": "2 in", "tongue_rating": "350 lb"}}},
        "accessory": {
            "facts": {"kind": "cargo_carrier", "shank": "2 in", "weight": {"value": "50 lb", "tolerance": "1 lb"}}
        },
        "load": {"facts": {"cargo_weight": "400 lb"}},
    }
    found = shop.post("/v1/answers?include=outcome,figures,findings", json=question).json()
    figures = found["figures"]
    assert figures["facts"]["receiver.tongue_rating"] == {"unit": "kg", "value": pytest.approx(158.757, abs=1e-3)}
    weight = figures["facts"]["accessory.weight"]
    assert (weight["at_least"], weight["at_most"]) == pytest.approx((49 * 0.45359237, 51 * 0.45359237))
    ends, margins = {"passes": "at_least", "fails": "at_most"}, figures["margins"]
    told = [(one["result"], margins[one["rule"]]) for one in found["findings"] if one["rule"] in margins]
    found_ends = {
        result: [one.get(end, one.get("value")) for of, one in told if of == result] for result, end in ends.items()
    }
    assert found_ends["fails"]
    assert all(end < 0 for end in found_ends["fails"])
    assert all(end > -1e-6 for end in found_ends["passes"])
    assert figures["limits"]


def test_a_reply_is_compressed_for_who_takes_it_so(shop: Client) -> None:
    """A large one is a fifth as large, small ones stay as they are, and its tag is known again, also for a change."""
    path = "/v1/rigs/rig_farm_muckle/accessories?limit=200"
    plain = shop.get(path, headers={"Accept-Encoding": "identity"})
    with shop.stream("GET", path, headers={"Accept-Encoding": "br, gzip;q=0.8"}) as packed:
        raw = b"".join(packed.iter_raw())
    assert packed.headers["content-encoding"] == "gzip"
    assert set(packed.headers["vary"].split(", ")) == {"Accept-Encoding", "Accept-Language"}
    assert gzip.decompress(raw) == plain.content
    assert len(raw) * 5 < len(plain.content)
    assert packed.headers["etag"] != plain.headers["etag"]
    for tag in (packed.headers["etag"], plain.headers["etag"]):
        again = shop.get(path, headers={"If-None-Match": tag})
        assert (again.status_code, again.headers["etag"]) == (304, tag)
    assert "content-encoding" not in plain.headers
    assert "content-encoding" not in shop.get("/health/live", headers={"Accept-Encoding": "gzip"}).headers
    assert "content-encoding" not in shop.get(path, headers={"Accept-Encoding": "gzip;q=0"}).headers


def test_every_problem_has_a_code_with_a_page(shop: Client) -> None:
    """`type` is an address where it is told what the problem means; a fault of the query names its parameter."""
    found = problem(shop.get("/v1/vehicles?limit=0&after=a%00b"), 400)
    assert sorted(pointers(found)) == ["?after", "?limit"]
    assert pointers(problem(shop.get("/v1/vehicles?after=a%00b"), 400)) == ["?after"]
    page = shop.get(found["type"])
    assert page.headers["content-type"].startswith("text/html")
    assert "The request cannot be read." in page.text
    assert found["type"].removeprefix("/problems/") in shop.get("/problems").text
    wrong = problem(shop.post("/v1/answers", json={"accessory": {"facts": {"weight": "52", "wieght": "1 lb"}}}), 400)
    assert [entry["code"] for entry in wrong["errors"]] == ["no-unit", "unknown-fact"]


def test_every_path_has_an_example_that_is_there(shop: Client) -> None:
    """What the description shows of a path leads somewhere on the demo, but for audits, of which it has none."""
    tried = 0
    for path, item in shop.get("/openapi.json").json()["paths"].items():
        named = [one for one in item.get("get", {}).get("parameters", ()) if one["in"] == "path"]
        if named and item["get"]["tags"][0] not in ("Audits", "Observations", "Remarks"):
            for one in named:
                path = path.replace("{" + one["name"] + "}", one["example"])
            assert shop.get(path).status_code == 200, path
            tried += 1
    assert tried >= 10


def test_a_cache_may_keep_what_its_operator_lets_it(url: str, tmp_path: Path) -> None:
    """With a time to keep, an item on a rig may be kept by all; where asking is not open, by its caller alone."""
    database = Database(url)
    with database.session() as session:
        key = {"X-API-Key": create_key(session, "a")[0]}
    for public, whose in ((frozenset({"ask"}), "public"), (frozenset[str](), "private")):
        settings = Settings(max_age=60, public=public)
        with TestClient(create_app(database, answerer(), tmp_path / "audits", settings=settings)) as client:
            client.put("/v1/rigs/rig_one", json={"name": "One", "rig": {}}, headers=key | {"If-None-Match": "*"})
            kept = client.get("/v1/rigs/rig_one/accessories", headers=key).headers["cache-control"]
            assert kept == f"{whose}, max-age=60, stale-while-revalidate=60"
    database.close()
