"""What a store's vehicles are called is kept in step with the store."""

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from sqlmodel import Session

from fitsvc.facts import FactReader
from fitsvc.inventory.shelf import Shop
from fitsvc.language.types import Value
from fitsvc.rulebook.rules import Rulebook
from fitsvc.store.creation import create_record
from fitsvc.store.database import Database
from fitsvc.store.observations import Provenance
from fitsvc.store.records import Draft, add_observation, delete_record, get_record


def named(shop: Shop, session: Session, model: str) -> list[str]:
    """The ids of the vehicles that go by a model's name."""
    return [one.key for one in shop.vehicles(session, {}, {"vehicle.model": model})]


def test_vehicles_are_found_as_the_store_has_them_now(database: Database, rulebook: Rulebook) -> None:
    """One that is added is found, one renamed goes by its new name, one deleted is gone."""
    shop = Shop(FactReader(rulebook))
    with database.session() as session:
        assert named(shop, session, "Lark") == []
        for key in ("veh_b", "veh_a"):
            create_record(session, "vehicle", Draft(key=key, facts={"model": "Lark"}))
        assert named(shop, session, " lark ") == ["veh_a", "veh_b"]
        add_observation(session, "vehicle", "veh_a", {"model": "Wren"}, Provenance(kind="measured"))
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


def weights(shop: Shop, session: Session) -> dict[str, Value | None]:
    """The weights of what is on the shelf, by SKU."""
    return {item.sku: item.values.get("accessory.weight") for item in shop.shelf(session).items("accessory")}


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_change_that_ends_after_a_later_one_is_seen(database: Database, rulebook: Rulebook) -> None:
    """On PostgreSQL a number is given when a change is written, and seen when its transaction ends."""
    shop = Shop(FactReader(rulebook))
    with database.session() as session:
        for key in ("A", "B"):
            create_record(session, "accessory", Draft(key=key, facts={"weight": "20 kg"}))
            create_record(session, "vehicle", Draft(key=f"veh_{key}", facts={"model": "Lark"}))
        weights(shop, session)
        named(shop, session, "Lark")
    with database.session() as early:
        add_observation(early, "accessory", "A", {"weight": "30 kg"}, Provenance(kind="measured"))
        add_observation(early, "vehicle", "veh_A", {"model": "Wren"}, Provenance(kind="measured"))
        with database.session() as late:
            add_observation(late, "accessory", "B", {"weight": "40 kg"}, Provenance(kind="measured"))
            add_observation(late, "vehicle", "veh_B", {"model": "Wren"}, Provenance(kind="measured"))
        with database.session() as reader:
            assert weights(shop, reader) == {"A": (20.0, 20.0), "B": (40.0, 40.0)}
            assert named(shop, reader, "Wren") == ["veh_B"]
    with database.session() as reader:
        assert weights(shop, reader) == {"A": (30.0, 30.0), "B": (40.0, 40.0)}
        assert named(shop, reader, "Wren") == ["veh_A", "veh_B"]


def test_a_record_read_before_in_the_same_session_is_read_again(database: Database, rulebook: Rulebook) -> None:
    """What a request has read of a record is older than what the shelf is told of it."""
    shop = Shop(FactReader(rulebook))
    with database.session() as session:
        create_record(session, "accessory", Draft(key="A", facts={"weight": "20 kg"}))
        weights(shop, session)
    with database.session() as reader:
        before = get_record(reader, "accessory", "A")
        with database.session() as writer:
            add_observation(writer, "accessory", "A", {"weight": "30 kg"}, Provenance(kind="measured"))
        assert weights(shop, reader) == {"A": (30.0, 30.0)}
        assert before.facts == {"weight": "30 kg"}
    with database.session() as reader:
        assert weights(shop, reader) == {"A": (30.0, 30.0)}
