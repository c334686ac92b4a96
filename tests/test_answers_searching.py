"""What is typed at a counter, and what goes by it: words of the trade, sizes as sizes, a letter wrong, no dead end."""

from functools import cache

import numpy as np
import pytest
from demo_world import answerer, stock, world
from hypothesis import given
from hypothesis import strategies as st

from fitsvc.answers.searching import MOST_TERMS, find, flags_of, terms_of
from fitsvc.answers.vehicles import Vehicles
from fitsvc.language.types import ListType

READER = answerer().reader
PIECES = ("2", "in", "ball", "bike", "5/8", "-", "'23", "1-1/4", "((", "drop", '"', "zzzz")


@cache
def told(subject: str) -> list[tuple[str, str]]:
    """The items of a subject: their numbers, and what is told of them."""
    fact = READER.vocabulary.facts.get(f"{subject}.kind")
    found = []
    for item in stock().items(subject):
        kind = ""
        if fact is not None and isinstance(fact.type, ListType) and isinstance(item.kind, int):
            (member,) = fact.type.names(item.kind)  # type: ignore[arg-type]  # of a fact that is a choice
            kind = f"{member.replace('_', ' ')} {READER.vocabulary.words[fact.kind][member]}"
        found.append((item.sku, f"{item.label}\n{item.sku}\n{kind}".casefold()))
    return found


def going_by(text: str, subject: str = "accessory") -> tuple[list[str], str]:
    """The numbers that go by a text, and what was made of it."""
    items = {item.sku: item.values for item in stock().items(subject)}
    records = [(words, items[sku]) for sku, words in told(subject)]
    found = find(terms_of(text, READER), [flags_of(records)], len(records))
    return [sku for (sku, _), flag in zip(told(subject), found.flags[0], strict=True) if flag], found.told


@pytest.mark.parametrize(
    ("text", "subject", "kinds"),
    [
        ("bike rack", "accessory", {"bike_carrier"}),
        ("two bike rack", "accessory", {"bike_carrier"}),
        ("2-bike", "accessory", {"bike_carrier"}),
        ("bike carier", "accessory", {"bike_carrier"}),
        ("hitch step", "accessory", {"step"}),
        ("stinger", "accessory", {"ball_mount", "adjustable_ball_mount"}),
        ("ball mont", "accessory", {"ball_mount", "adjustable_ball_mount"}),
        ("2 inch drop", "accessory", {"ball_mount"}),
        ("portabicicletas", "accessory", {"bike_carrier"}),
        ("portabicis para dos bicicletas", "accessory", {"bike_carrier"}),
        ("escalón", "accessory", {"step"}),
        ("portabola con caída de 2 pulgadas", "accessory", {"ball_mount"}),
    ],
)
def test_words_of_the_trade_find_their_kind(text: str, subject: str, kinds: set[str]) -> None:
    """What a customer says first finds something, nearly all of it of the kind that is meant."""
    fact = READER.vocabulary.facts["accessory.kind"].type
    assert isinstance(fact, ListType)
    found, _ = going_by(text, subject)
    by_sku = {item.sku: item for item in stock().items(subject)}
    names = [fact.names(by_sku[sku].kind)[0] for sku in found]  # type: ignore[arg-type]  # as above
    assert kinds <= set(names)
    assert sum(name in kinds for name in names) > 0.9 * len(names)


def test_a_size_is_a_size() -> None:
    """A figure is of what its word names: no ball of 1-7/8 in goes by 2 in, no rise by a drop."""
    sizes = {item.sku: item.values["ball.diameter"] for item in stock().items("ball")}
    fact = READER.vocabulary.facts["ball.diameter"]
    two = {sku for sku, size in sizes.items() if size == READER.value(fact, "2 in")[fact.name]}
    for text in ("2 in ball", "2 ball", '2" ball', "2in ball", "2 inch balls", "ball of 2 in", "bola de 2 pulgadas"):
        assert set(going_by(text, "ball")[0]) == two, text
    rises = {item.sku: item.values.get("accessory.rise") for item in stock().items("accessory")}
    dropped, _ = going_by("2 in drop")
    assert dropped and all(rises[sku] == (-50.8, -50.8) for sku in dropped)
    carriers, _ = going_by("1-1/4 in rack")
    shanks = {item.sku: item.values.get("accessory.shank") for item in stock().items("accessory")}
    assert len({shanks[sku] for sku in carriers}) == 1


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ("muckel", ["Muckle"]),
        ("muckle '23", ["2023", "Muckle"]),
        ("longbed", ["long bed"]),
        ("long-bed pickup", ["long bed"]),
        ("crewcab", ["crew cab"]),
        ("4wd", ["4x4"]),
        ("dunlin long bed", ["Dunlin"]),
        ("2022 zebra dunlin", ["Dunlin"]),
        ("camioneta muckle caja larga", ["Muckle", "long bed"]),
    ],
)
def test_vehicles_go_by_what_people_call_them(text: str, labels: list[str]) -> None:
    """One letter wrong, joined and parted words, a year by its end; a name counts for more than what many are."""
    found, _ = Vehicles(READER, world().of("vehicle")).matching(text)
    assert found and all(word in one.label for one in found for word in labels)


def test_what_was_not_found_is_said() -> None:
    """A word taken for the nearest, one left out, and nothing at all are told, each with its word."""
    assert going_by("trug")[1] == ""
    assert "“carier”; the nearest is shown" in going_by("bike carier")[1]
    assert "“zebra”; shown without" in going_by("zebra trug")[1]
    assert going_by("zebra") == ([], "Nothing goes by “zebra”.")


@given(st.text(max_size=60) | st.lists(st.sampled_from(PIECES)).map(" ".join))
def test_any_text_is_read(text: str) -> None:
    """Whatever is typed is read to a few terms, whose patterns can be looked for."""
    terms = terms_of(text, READER)
    assert len(terms) <= MOST_TERMS
    going_by(text)


def test_a_whole_label_finds_its_item() -> None:
    """An item goes by its own number and by every word of its own label."""
    for sku, _ in told("accessory")[::7]:
        assert sku in going_by(sku)[0]
    for item in stock().items("accessory")[::7]:
        assert item.sku in going_by(" ".join(item.label.replace("(", " ").replace(")", " ").split()[:3]))[0], item.label


def test_the_rarer_word_counts_for_more() -> None:
    """Of two words that nothing goes by together, the one that fewer records go by is found."""
    flags = [np.array([True, False, False, False]), np.array([False, True, True, True])]
    terms = terms_of("one other", READER)
    found = find(terms, [lambda step: flags[0] if "one" in step.pattern else flags[1]], 4)
    assert found.flags[0].tolist() == [True, False, False, False]
    assert found.left_out == ("other",)
