"""What a store's vehicles are called is kept in step with the store."""

from litestar import Litestar
from litestar.testing import TestClient
from sqlmodel import Session

from fitsvc.catalogue.shelf import Shop
from fitsvc.facts import FactReader
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import Told
from fitsvc.store.records import Draft, add_observation, delete_record


def named(shop: Shop, session: Session, model: str) -> list[str]:
    """The ids of the vehicles that go by a model's name."""
    return [one.key for one in shop.vehicles(session, {}, {"vehicle.model": model})]


def test_vehicles_are_found_as_the_store_has_them_now(database: Database, rulebook: Rulebook) -> None:
    """One that is added is found, one renamed goes by its new name, one deleted is gone."""
    shop = Shop(FactReader(rulebook))
    with database.session() as session:
        assert named(shop, session, "Lark") == []
        for key in ("veh_b", "veh_a"):
            create_record(session, "vehicle", Draft(key, facts={"model": "Lark"}))
        assert named(shop, session, " lark ") == ["veh_a", "veh_b"]
        add_observation(session, "vehicle", "veh_a", {"model": "Wren"}, Told("measured"))
        assert named(shop, session, "Lark") == ["veh_b"]
        assert named(shop, session, "WREN") == ["veh_a"]
        delete_record(session, "vehicle", "veh_b")
        assert named(shop, session, "Lark") == []


def test_the_service_answers_over_all_vehicles_of_a_name(client: TestClient[Litestar], key: dict[str, str]) -> None:
    """A question that names its vehicle by model alone is answered for each stored one."""
    for id, rating in (("veh_a", "5000 lb"), ("veh_b", "1500 lb")):
        facts = {"model": "Lark", "trim": id[-1], "tow_rating": rating}
        client.post("/v1/vehicles", json={"id": id, "facts": facts}, headers=key)
    trailer = {"gross_weight": "3000 lb", "weight_distribution": False}
    question = {"rig": {"vehicle": {"facts": {"model": "lark"}}}, "trailer": {"facts": trailer}}
    answer = client.post("/v1/answers", json=question).json()
    assert [one["id"] for one in answer["candidates"]] == ["veh_a", "veh_b"]
    assert answer["candidates"][1]["outcome"] == "fails"
    assert (answer["outcome"], answer["next"][0]["fact"]) == ("undetermined", "vehicle.trim")
    assert answer["next"][0]["fails_if"] == "b"
