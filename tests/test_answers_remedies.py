"""What would make it work: every remedy is a question whose own answer is what the remedy states."""

import json
from dataclasses import replace
from random import Random
from typing import Any

from demo_world import answerer, question, stock, world

from fitsvc.answers.answer import Answer
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import read_question
from fitsvc.answers.records import Stored
from fitsvc.answers.remedies import MOST_CHANGES
from fitsvc.answers.shelf import EMPTY, Stock, read_items
from fitsvc.answers.summary import changes_untried
from fitsvc.facts import at_place
from fitsvc.language.types import ListType, Mask
from fitsvc.paths import data_dir

_STEP, _SMALLER = ("step", "2-1/2 in"), ("step", "2 in")
FAILING = ("08-two-inch-in-a-peewit.json", "09-imported-pantry.json", "10-scooter-behind-the-coach.json")


def answer(document: dict[str, Any]) -> Answer:
    """The answer with remedies from the demo world's shelf."""
    return answerer().answer(document, world(), shelf=stock())


def random_load(kind: str, random: Random) -> dict[str, Any]:
    """What somebody might want to hang on an accessory of a kind: one time in six what it is not made for."""
    bikes = {"bikes": random.randrange(1, 6), "bike_weight": "45 lb"}
    cargo = {"cargo_weight": f"{random.randrange(50, 600)} lb"}
    people = {"occupants_weight": f"{random.randrange(150, 1500)} lb"}
    if random.random() < 1 / 6:
        return random.choice((bikes, cargo))
    return bikes if kind == "bike_carrier" else cargo if kind.endswith("_carrier") else people


def random_questions(count: int, seed: int = 3) -> list[dict[str, Any]]:
    """Questions on random demo mountings, items and loads; many of them fail."""
    random = Random(seed)
    mountings = [one for one in world().records if one.subject == "mounting"]
    items = stock().items("accessory")
    kinds = {one.key: str(one.facts.get("kind")) for one in world().of("accessory")}
    found = []
    for _ in range(count):
        mounting, item = random.choice(mountings), random.choice(items)
        rig = {"vehicle": {"id": mounting.links["vehicle"]}, "receiver": {"id": mounting.links["receiver"]}}
        load = random_load(kinds[item.sku], random)
        found.append({"rig": rig, "accessory": {"sku": item.sku}, "load": {"facts": load}})
    return found


def test_a_failing_question_has_remedies() -> None:
    """Each failing demo question is told a remedy, or what a part would have to be."""
    for name in FAILING:
        assert answer(question(name)).remedies, name


def test_every_remedy_comes_to_what_it_states() -> None:
    """Asked again with the change, every remedy's question gives the outcome stated: all of them.

    What only gets past what fails is told where no part does more.
    """
    tried = 0
    for document in (*map(question, FAILING), *random_questions(150)):
        told = answer(document).remedies
        for remedy in told:
            if remedy.change != "none":
                tried += 1
                assert answer(remedy.question).outcome == remedy.outcome in ("works", "conditional", "undetermined")
        past = [one for one in told if one.outcome == "undetermined"]
        assert not past or not any(one.sku for one in told if one not in past)
    assert tried > 100


def test_mount_and_ball_that_are_both_wrong_are_both_exchanged() -> None:
    """Where no mount takes the ball and no ball goes on the mount, what is told is a mount with a ball, and it does."""
    named = {
        "rig": {"id": "rig_farm_muckle"},
        "accessory": {"sku": "TUG-25-D6-10"},
        "ball": {"sku": "RBL-2-E"},
        "trailer": {"sku": "DUN-CART-612"},
    }
    for own in (named, {**named, "ball": {"facts": {"diameter": "2 in", "shank_diameter": "1-1/4 in"}}}):
        found = answer({**own, "load": {"facts": {"occupants_weight": "400 lb"}}})
        assert found.outcome == "fails" and found.remedies
        for one in found.remedies:
            assert (one.change, len(one.skus)) == ("swap", 2)
            assert [one.question[name]["sku"] for name in ("accessory", "ball")] == one.skus
            assert answer(one.question).outcome == one.outcome == "conditional"


def test_a_mount_of_another_kind_is_told_where_none_of_its_own_would_do() -> None:
    """6,900 lb are more than any plain mount on the shelf pulls there: a head for spring bars with its ball does."""
    document = {
        "rig": {"id": "rig_farm_muckle"}, "accessory": {"sku": "TUG-2-D2-10"}, "ball": {"sku": "RBL-2516-C"},
        "trailer": {"sku": "BRW-BARROW-24"},
    }  # fmt: skip
    found = answerer().answer(document, world(), shelf=stock())
    assert found.outcome == "fails" and found.remedies
    heads = {item.sku for item in stock().items("accessory") if "weight distribution head" in item.label}
    assert all(one.change == "swap" and one.skus and one.skus[0] in heads for one in found.remedies)
    for one in found.remedies:
        assert answerer().answer(one.question, world(), shelf=stock()).outcome == one.outcome != "fails"


def test_a_carrier_is_no_remedy_for_a_mount() -> None:
    """Of another kind is tried only what a role says may do instead: what tows, and nothing that is hung on."""
    vocabulary = answerer().rulebook.vocabulary
    kinds = vocabulary.facts["accessory.kind"].type
    assert isinstance(kinds, ListType)
    bit = {member: Mask(1 << place) for place, member in enumerate(kinds.members)}
    others = {"adjustable_ball_mount", "weight_distribution_head", "pintle_mount"}
    assert vocabulary.kinds_instead("accessory.kind", bit["ball_mount"]) == [
        bit[one] for one in kinds.members if one in others
    ]
    assert vocabulary.kinds_instead("accessory.kind", bit["bike_carrier"]) == []
    assert vocabulary.kinds_instead("accessory.kind", Mask(bit["ball_mount"] | bit["step"])) == []
    assert vocabulary.kinds_instead("accessory.kind", None) == []


def test_the_shortest_adapter_is_told_first() -> None:
    """Of extensions with which it comes out alike the one stands first that adds least, whatever its SKU."""
    lengths = {one.sku: one.values.get("adapter.adds_length", (0.0, 0.0)) for one in stock().items("adapter")}
    document = {
        "rig": {"id": "rig_moss_trail"},
        "accessory": {"sku": "SPK-TRUG-2"},
        "load": {"facts": {"bikes": 2, "bike_weight": "40 lb"}},
    }
    told = [one.sku for one in answer(document).remedies if one.change == "add" and one.outcome == "conditional"]
    assert len(told) > 1 and told == sorted(told, key=lengths.__getitem__) != sorted(told)


def test_adapters_that_leave_least_to_see_to_are_told() -> None:
    """A shorter one that hardly clears, and asks for a look the more, gives way to those that clear well."""
    ids = {"vehicle": "veh_saltmarsh_2022", "receiver": "rcv_velmora_saltmarsh", "mounting": "mnt_saltmarsh_own"}
    rig: dict[str, Any] = {name: {"id": one} for name, one in ids.items()}
    rig["mounting"] |= {"facts": {"pin_to_bumper": "14 in"}}
    load = {"bikes": 2, "bike_weight": "30 lb", "occupants_weight": "300 lb"}
    document = {"rig": rig, "accessory": {"sku": "SPK-TRUG-2"}, "load": {"facts": load}}
    told = [one.sku for one in answer(document).remedies if one.change == "add"]
    left = {}
    for item in stock().items("adapter"):
        alone = answer({**document, "rig": {**rig, "adapters": [{"sku": item.sku}]}})
        if alone.outcome == "conditional":
            left[item.sku] = len(alone.to_see_to)
    assert len(told) > 1 and max(left[sku] for sku in told) < max(left.values())
    assert max(left[sku] for sku in told) <= min(count for sku, count in left.items() if sku not in told)


def test_that_nothing_does_is_said_of_single_parts() -> None:
    """What a part would have to be stands behind what was tried, each part of the shelf by itself."""
    told = [one.because for name in FAILING for one in answer(question(name)).remedies if one.change == "none"]
    assert told and all("no single part" in one.lower() for one in told)


def test_remedies_leave_the_question_alone() -> None:
    """Looking for remedies does not change the question that was asked."""
    document = question(FAILING[2])
    before = json.dumps(document)
    answer(document)
    assert json.dumps(document) == before


def test_a_smaller_load_is_the_largest_that_works() -> None:
    """One pound more than the load named, and the answer fails again."""
    document = question("10-scooter-behind-the-coach.json")
    (less,) = [remedy for remedy in answer(document).remedies if remedy.change == "reduce"]
    figure, unit = str(less.question["load"]["facts"]["cargo_weight"]).split()
    more = json.loads(json.dumps(less.question))
    more["load"]["facts"]["cargo_weight"] = f"{int(figure) + 1} {unit}"
    assert answer(more).outcome == "fails"


def test_less_is_taken_of_what_the_rulebook_says_it_can_be() -> None:
    """Where no fact serves for it, no smaller load is told, by whatever name the load goes."""
    book = answerer().rulebook
    facts = {name: replace(fact, serves="") for name, fact in book.vocabulary.facts.items()}
    silent = Answerer(replace(book, vocabulary=replace(book.vocabulary, facts=facts)))
    document = question("10-scooter-behind-the-coach.json")
    assert not any(one.change == "reduce" for one in silent.answer(document, world(), shelf=stock()).remedies)


def own_trailer(gross: str, **more: Any) -> dict[str, Any]:
    """A trailer of the customer's own behind a truck whose rating is higher with weight distribution: 9300 for 5000."""
    rig = {"vehicle": {"id": "veh_muckle_2023_long"}, "receiver": {"id": "rcv_ironmoss_yoke_4"}}
    facts = {"gross_weight": gross, "coupler": "2-5/16 in", "brakes": "electric", "plug": "blade_7"}
    return {"rig": rig, "trailer": {"facts": facts}, **more}


def test_what_a_customer_can_take_up_is_a_remedy() -> None:
    """Too heavy for the plain rating, a trailer is no lost sale where spring bars rate the vehicle higher."""
    first, *rest = answer(own_trailer("7000 lb")).remedies
    assert (first.change, first.outcome) == ("take up", "conditional")
    assert first.because.startswith("If weight distribution is used, it works only if ")
    assert first.question["trailer"]["facts"]["weight_distribution"] is True
    assert answer(first.question).outcome == "conditional"
    assert [one.change for one in rest] == ["reduce"]


def test_what_is_taken_up_makes_no_yes_of_what_is_too_heavy_with_it_too() -> None:
    """Above the rating with weight distribution nothing is taken up, and nothing where it is used already."""
    for gross, facts in (("9400 lb", {}), ("7000 lb", {"weight_distribution": True, "coupler_rating": "6000 lb"})):
        document = own_trailer(gross)
        document["trailer"]["facts"] |= facts
        found = answer(document)
        assert found.outcome == "fails"
        assert not [one for one in found.remedies if one.change == "take up"]


def test_what_is_taken_up_takes_a_part_made_for_it() -> None:
    """In place of a plain mount another part does it, as no mount would do; a ball that is too large is no cause."""
    mount, large = {"accessory": {"sku": "TUG-2-D2-10"}}, {"ball": {"sku": "RBL-2516-E"}}
    (found,) = [one for one in answer(own_trailer("7000 lb", **mount, **large)).remedies if one.change == "take up"]
    assert "with a part made for it in place of this one" in found.because
    assert not {"accessory", "ball"} & set(found.question)
    light = answer(own_trailer("3000 lb", **mount, **large))
    assert light.outcome == "fails"
    assert not [one for one in light.remedies if one.change == "take up"]


def test_what_works_is_told_no_remedy() -> None:
    """An answer that works or is conditional has none."""
    for file in sorted((data_dir("seed_demo") / "questions").glob("*.json")):
        found = answer(question(file.name))
        assert found.outcome == "fails" or not found.remedies


def test_fewest_changes_come_first() -> None:
    """A smaller load, then one part, then two."""
    order = {"take up": 0, "reduce": 0, "swap": 1, "receiver": 2, "add": 3, "none": 4}
    for document in random_questions(60, seed=5):
        told = [(order[remedy.change], len(remedy.skus)) for remedy in answer(document).remedies]
        assert told == sorted(told)


def test_adapters_of_a_saved_rig_stay_in_it() -> None:
    """A remedy for a rig asked about by its id keeps the adapters that the rig has, but where one is taken out."""
    saved = next(key for key, rig in world().rigs.items() if rig["rig"].get("adapters"))
    kept = world().rigs[saved]["rig"]["adapters"]
    told = []
    for item in stock().items("accessory"):
        found = answer({"rig": {"id": saved}, "accessory": {"sku": item.sku}})
        told += [
            remedy.question["rig"].get("adapters", [])
            for remedy in found.remedies
            if remedy.change not in ("none", "remove")
        ]
    assert told
    assert all(adapters[: len(kept)] == kept for adapters in told)


def test_a_sleeve_in_the_way_is_taken_out() -> None:
    """What goes into the receiver itself works with the sleeve taken out, before anything is sold for it."""
    step = next(one for one in world().of("accessory") if (one.facts.get("kind"), one.facts.get("shank")) == _STEP)
    found = answer({"rig": {"id": "rig_quarry_oxter"}, "accessory": {"sku": step.key}})
    first = found.remedies[0]
    assert (first.change, first.question["rig"]["adapters"]) == ("remove", [])
    assert "the adapter taken out of the opening" in first.because
    assert answer(first.question).outcome == first.outcome


def test_of_several_adapters_the_one_in_the_way_is_named() -> None:
    """A second sleeve that leaves the opening too small is taken out by its place, counted from the receiver."""
    sleeves = [
        {"facts": {"kind": "reducer_sleeve", "fits_opening": fits, "offers_opening": offers}}
        for fits, offers in (("2-1/2 in", "2 in"), ("2 in", "1-1/4 in"))
    ]
    step = next(one for one in world().of("accessory") if (one.facts.get("kind"), one.facts.get("shank")) == _SMALLER)
    rig = {"vehicle": {"id": "veh_oxter_2024"}, "receiver": {"id": "rcv_brannoch_oxter"}, "adapters": sleeves}
    found = answer({"rig": rig, "accessory": {"sku": step.key}})
    taken = [one for one in found.remedies if one.change == "remove"]
    assert [one.question["rig"]["adapters"] for one in taken] == [sleeves[:1]]
    assert "adapter 2 taken out of the opening" in taken[0].because


def test_what_a_part_would_have_to_be_keeps_what_passes_passing() -> None:
    """A trailer too heavy for its 1-7/8 in coupler and ball: a larger ball alone would not go into the coupler."""
    document = question("01-farm-trailer.json")
    document["trailer"]["facts"] = {
        "gross_weight": "2001 lb",
        "tongue_weight": "220 lb",
        "coupler": "1-7/8 in",
        "coupler_rating": "3500 lb",
    }
    document["ball"]["facts"] = {"diameter": "1-7/8 in", "rating": "3500 lb"}
    found = answerer().answer(document, world(), shelf=stock())
    assert [one.rule for one in found.findings if one.result == "fails"] == ["ball-large-enough-for-class"]
    assert not [remedy.because for remedy in found.remedies if remedy.change == "none"]


def test_another_wiring_adapter_is_the_remedy_for_a_wrong_one() -> None:
    """One whose plug does not go into the vehicle's socket is told with those of the shelf that go into both ends."""
    rig = {"vehicle": {"facts": {"socket": "blade_7"}}}
    trailer = {"facts": {"plug": "flat_4", "brakes": "none"}}
    document = {"rig": rig, "wiring_adapter": {"sku": "GLB-6-4"}}
    found = answerer().answer(document, world(), shelf=stock())
    assert found.outcome == "fails"
    towing = answerer().answer({**document, "trailer": trailer}, world(), shelf=stock())
    refused = {one.rule for one in towing.findings if one.result == "fails"}
    assert "wiring-adapter-fits-socket" in refused
    skus = {remedy.question["wiring_adapter"]["sku"] for remedy in found.remedies if remedy.question}
    assert skus and skus <= {"GLB-7-4", "GLB-7-5", "GLB-7-6"}


def test_an_adapter_from_the_shelf_is_taken_as_one_that_the_question_names() -> None:
    """What it tells is in the question, and so what is usual of one that tells nothing is not taken for it."""
    reader, bare = answerer().reader, question("01-farm-trailer.json")
    told = set()
    for part in stock().items("adapter"):
        rig = {**bare["rig"], "adapters": [{"sku": part.sku}]}
        asked = read_question({**bare, "rig": rig}, reader, world()).case
        stacked = reader.stacked(read_question(bare, reader, world()).case, [part.values])
        assert (stacked.adapters, stacked.present) == (asked.adapters, asked.present)
        told |= {name for name in asked.present if name.startswith(at_place(1, "adapter."))}
    assert told


def test_the_search_for_remedies_is_bounded_and_says_what_it_left() -> None:
    """On a shelf of many adapters only so many changes are tried, and those that were not are counted."""
    extensions = [
        Stored(
            subject="adapter",
            key=f"EXT-{number}",
            facts={"kind": "extension", "fits_opening": "1-1/4 in", "offers_opening": "1-1/4 in"},
            label=f"extension {number}",
        )
        for number in range(300)
    ]
    shelf = Stock(read_items(answerer().reader, extensions), {})
    receiver, step = {"opening": "2 in", "pin_hole": "5/8 in"}, {"kind": "step", "shank": "2-1/2 in"}
    document = {"rig": {"receiver": {"facts": receiver}}, "accessory": {"facts": step}}
    found = answerer().answer(document, world(), shelf=shelf)
    assert found.outcome == "fails" and not found.remedies
    tried = 300 + 300**2 - found.untried_changes
    assert 0 < tried <= 2 * MOST_CHANGES
    assert str(found.untried_changes) in changes_untried(found)
    assert not answerer().answer(document, world(), shelf=EMPTY).untried_changes


def test_a_pin_of_the_wrong_size_is_offered_no_adapter() -> None:
    """A size adapter has the pin's hole, and the receiver's, which the pin is bought for, stays as it is."""
    facts = {"opening": "2 in", "pin_hole": "5/8 in", "tube_outside": "2.75 in", "tongue_rating": "350 lb"}
    rig = {"receiver": {"facts": facts}, "mounting": {"facts": {"fitted": True}}}
    pin = {"kind": "locking_pin", "pin": "1/2 in", "pin_span": "3.5 in"}
    found = answerer().answer({"rig": rig, "accessory": {"facts": pin}}, world(), shelf=stock())
    assert found.outcome == "fails"
    assert {one.change for one in found.remedies} == {"swap"}


def test_what_a_part_would_have_to_be_leaves_alone_what_cannot_be_otherwise_by_itself() -> None:
    """Of a mount whose settings end too low it is the highest that would be higher: the lowest is never above it."""
    rig = {"mounting": {"facts": {"height": "18 in", "fitted": True}}}
    head = {"kind": "weight_distribution_head", "rise_lowest": "-6 in", "rise_highest": "4 in"}
    trailer = {"gross_weight": "7000 lb", "coupler_height": "30 in"}
    document = {"rig": rig, "accessory": {"facts": head}, "trailer": {"facts": trailer}}
    found = answerer().answer(document, world(), shelf=stock())
    (told,) = (one.because for one in found.remedies if one.change == "none")
    assert "highest setting" in told and "at least 11 in" in told
    assert "lowest setting" not in told


def test_what_gets_past_what_fails_is_told_with_what_stays_open() -> None:
    """A ball too weak, and a trailer of which the place decides: a stronger ball is told, with what is open.

    That nothing on the shelf would do is not said then.
    """
    document: dict[str, Any] = {
        "rig": {"id": "rig_farm_muckle"},
        "accessory": {"sku": "TUG-2-D2-10"},
        "ball": {"sku": "RBL-2-B"},
        "trailer": {"sku": "TIN-HALYARD-19", "facts": {"chain_count": 0}},
    }
    found = answer(document)
    assert found.outcome == "fails"
    assert {(one.change, one.sku) for one in found.remedies} == {("swap", "RBL-2-C"), ("swap", "RBL-2-D")}
    for one in found.remedies:
        again = answer(one.question)
        (open_,) = [each.reason for each in again.findings if answerer().wording.effect(each) == "unknown"]
        assert one.outcome == again.outcome == "undetermined" and one.because.endswith(f", it no longer fails. {open_}")
        assert open_.startswith("Name the place it is driven in")


def test_a_bound_is_told_once_whatever_stands_behind_its_figure() -> None:
    """A carrier for bikes of at most 34 lb is not told to take bikes of at most 34 lb at most."""
    carrier = {"kind": "bike_carrier", "bike_weight_max": {"at_most": "34 lb"}}
    asked = {"accessory": {"facts": carrier}, "load": {"facts": {"bikes": 1, "bike_weight": "35 lb"}}}
    assert "the carrier takes bikes of at most 34 lb: at least 1 lb too much" in answerer().answer(asked).summary
