"""Remedies from a store's index: what a search through all that is sold finds, without reading all that is sold."""

from random import Random
from typing import Any

import pytest
from demo_world import answerer, question, stock, world
from litestar import Litestar
from litestar.testing import TestClient
from test_answers_remedies import FAILING, random_questions

from fitsvc.inventory.shelf import Shop
from fitsvc.loading.load import load_file
from fitsvc.paths import data_dir
from fitsvc.service.app import create_app
from fitsvc.service.context import service_in
from fitsvc.store.database import Database

Client = TestClient[Litestar]


@pytest.fixture
def demo(database: Database) -> Any:
    """Give a client of a service over the demo world, as it is loaded."""
    seed = data_dir("seed_demo")
    names = ("vehicles.yaml", "receivers.yaml", "mountings.yaml", "trailers.yaml", "accessories.csv", "rigs.yaml")
    for name in names:
        load_file(database, answerer().reader, seed / name)
    with TestClient(create_app(database, answerer())) as client:
        yield client


def test_remedies_are_those_of_a_search_through_everything(demo: Client) -> None:
    """Question by question the service tells the remedies that are found by trying all that is sold."""
    told = 0
    for document in (*map(question, FAILING), *random_questions(60, seed=11)):
        wanted = answerer().answer(document, world(), shelf=stock())
        found = demo.post("/v1/answers", json=document).json()
        assert found["outcome"] == wanted.outcome
        remedies = [(one["change"], one.get("sku", ""), one["because"]) for one in found["remedies"]]
        assert remedies == [(one.change, one.sku, one.because) for one in wanted.remedies]
        told += sum(one.change == "swap" for one in wanted.remedies)
    assert told > 20


def test_an_answer_does_not_read_every_accessory(demo: Client) -> None:
    """A store of a million accessories must not be read for one answer: the index alone looks at them."""
    read: list[str] = []
    inner = Shop._read

    def noted(self: Shop, session: Any, subject: str) -> None:
        read.append(subject)
        inner(self, session, subject)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Shop, "_read", noted)
        for name in FAILING:
            assert demo.post("/v1/answers", json=question(name)).json()["remedies"]
    assert read and "accessory" not in read


def test_accessories_are_found_by_what_is_typed(demo: Client) -> None:
    """What has every word in the label, the SKU or the kind is found, by SKU, whatever a word stands for besides."""
    shared = service_in(demo.app).selections
    random, items = Random(5), stock().items("accessory")
    kinds = answerer().rulebook.vocabulary.slots()["accessory.kind"].members  # type: ignore[union-attr]  # the slot is a choice
    words = [word for item in items for word in (item.label.split()[0], item.sku[:4], item.label[-5:])]
    texts = [
        "",
        "bike carrier",
        "trug 2",
        "zzz",
        "BIKE two",
        *(" ".join(random.sample(words, 2)) for _ in range(40)),
        *words,
    ]
    hits = 0
    for text in texts:
        wanted = []
        for item in items:
            assert isinstance(item.kind, int)
            told = f"{item.label} {item.sku} {kinds[item.kind.bit_length() - 1]}".casefold()
            wanted += [item.sku] if all(word in told for word in text.casefold().split()) else []
        found = shared.named(text)
        assert [item.sku for item in found.items] == sorted(item.sku for item in found.items)
        assert not wanted or found.found.exact or any(word[0].isdigit() for word in text.split()), text
        if found.matching <= len(found.items) and text and not any(one.isdigit() for one in text):
            assert {item.sku for item in found.items} >= set(wanted), text
        hits += bool(wanted)
    assert hits > 40
