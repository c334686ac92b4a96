"""Towing and wiring: a whole question works, and what is asked depends on what the question is about."""

import pytest
from judging import Facts, answer, open_needs, result

WHOLE: Facts = {
    "vehicle.body": "pickup", "vehicle.wheelbase": "145 in", "vehicle.rear_overhang": "48 in",
    "vehicle.curb_weight": "5150 lb", "vehicle.curb_weight_front": "2980 lb", "vehicle.curb_weight_rear": "2170 lb",
    "vehicle.gvwr": "7050 lb", "vehicle.gawr_rear": "4000 lb", "vehicle.gcwr": "15500 lb",
    "vehicle.tow_rating": "5000 lb", "vehicle.tongue_rating": "500 lb", "vehicle.socket": "blade_7",
    "vehicle.brake_controller": True, "vehicle.rear_closure": "none",
    "receiver.hitch_class": "IV", "receiver.opening": "2 in", "receiver.pin_hole": "5/8 in",
    "receiver.pin_supplied": True, "receiver.tube_outside": "3 in", "receiver.trailer_rating": "5000 lb",
    "receiver.tongue_rating": "500 lb", "receiver.chain_loop_opening": "1-1/4 in",
    "mounting.height": "19-1/2 in", "mounting.pin_to_bumper": "2-1/4 in",
    "accessory.kind": "ball_mount", "accessory.shank": "2 in", "accessory.pin": "5/8 in",
    "accessory.pin_supplied": False, "accessory.trailer_rating": "7500 lb", "accessory.tongue_rating": "750 lb",
    "accessory.min_class": "none", "accessory.length": "9-1/2 in", "accessory.rear_extent": "11-1/4 in",
    "accessory.rise": "-2 in", "accessory.ball_hole": "1 in", "accessory.platform_thickness": "3/4 in",
    "ball.diameter": "2 in", "ball.shank_diameter": "1 in", "ball.shank_length": "2-1/8 in", "ball.rating": "6000 lb",
    "trailer.gross_weight": "3400 lb", "trailer.tongue_weight": "400 lb", "trailer.coupler": "2 in",
    "trailer.coupler_rating": "5000 lb", "trailer.coupler_height": "17-1/2 in", "trailer.brakes": "electric",
    "trailer.plug": "blade_7", "trailer.chain_count": 2, "trailer.chain_rating_each": "5000 lb",
    "trailer.chain_hook_size": "3/4 in", "trailer.weight_distribution": False,
}  # fmt: skip
"""A towing question with everything these topics ask for."""

OURS = {
    "each-chain-strong-enough",
    "chains-together-strong-enough",
    "chains-by-law-where-driven",
    "chain-hook-goes-through-loop",
    "pull-within-d-value",
    "tongue-weight-within-s-value",
    "tongue-weight-not-too-light",
    "tongue-weight-not-too-heavy",
    "trailer-level-on-fixed-mount",
    "trailer-plug-fits-socket",
    "trailer-plug-feeds-brakes",
    "brakes-where-driven",
}


def _told(facts: Facts) -> dict[str, str]:
    return {finding.rule: finding.result for finding in answer(facts).findings if finding.rule in OURS}


def test_a_whole_question_leaves_nothing_open() -> None:
    """With everything known, each rule of towing passes and no need is open."""
    assert set(_told(WHOLE).values()) == {"passes"}
    assert open_needs(WHOLE) == set()


@pytest.mark.parametrize(
    ("fact", "rules"),
    [
        ("trailer.chain_rating_each", {"each-chain-strong-enough", "chains-together-strong-enough"}),
        ("trailer.chain_count", {"chains-together-strong-enough"}),
        ("trailer.chain_hook_size", {"chain-hook-goes-through-loop"}),
        ("receiver.chain_loop_opening", {"chain-hook-goes-through-loop"}),
        ("trailer.plug", {"trailer-plug-fits-socket", "trailer-plug-feeds-brakes"}),
        ("vehicle.socket", {"trailer-plug-fits-socket"}),
    ],
)
def test_a_blank_fact_leaves_its_rules_open(fact: str, rules: set[str]) -> None:
    """Without a fact, the rules that rest on it are undetermined and no others."""
    told = _told({name: wire for name, wire in WHOLE.items() if name != fact})
    assert {rule for rule, found in told.items() if found == "undetermined"} == rules


def test_plate_values_speak_when_the_plate_has_them() -> None:
    """D and S are judged only where a receiver carries them, and then with any coupler."""
    assert not _told(WHOLE).keys() & {"pull-within-d-value", "tongue-weight-within-s-value"}
    plated = {**WHOLE, "receiver.d_value": "10 kN", "receiver.vertical_rating": "100 kg"}
    told = _told(plated)
    # 3,198 kg and 1,542 kg come to 10.21 kN; 400 lb are 181 kg.
    assert (told["pull-within-d-value"], told["tongue-weight-within-s-value"]) == ("fails", "fails")
    assert answer(plated).outcome == "fails"


def test_the_place_picks_among_chain_rules() -> None:
    """Chains that hold the trailer together, but not each, are lawful between states and not in New Hampshire."""
    weak = {**WHOLE, "trailer.chain_rating_each": "2000 lb"}
    law = "chains-by-law-where-driven"
    assert law not in _told(weak)
    assert _told({**weak, "load.jurisdiction": "interstate_commerce"})[law] == "passes"
    assert _told({**weak, "load.jurisdiction": "new_hampshire"})[law] == "fails"
    assert _told({**weak, "load.jurisdiction": ["new_hampshire", "texas"]})[law] == "undetermined"


def test_weak_chains_are_told_whatever_the_place() -> None:
    """Where the rules disagree and no place is named, the caution says by which rule it speaks."""
    weak = {**WHOLE, "trailer.chain_rating_each": "2000 lb"}
    found = answer(weak)
    reasons = {finding.rule: finding.reason for finding in found.findings}
    assert found.outcome == "conditional"
    for word in ("2000 lb", "3400 lb", "3500 lb", "SAE J684", "New Hampshire", "FMCSA"):
        assert word in reasons["each-chain-strong-enough"]


@pytest.mark.parametrize(
    ("tongue", "rule"),
    [
        ("300 lb", "tongue-weight-not-too-light"),
        ("500 lb", "tongue-weight-not-too-heavy"),
        ("520 lb", "tongue-weight-not-too-heavy"),
    ],
)
def test_tongue_weight_names_its_source(tongue: str, rule: str) -> None:
    """A tongue too light or too heavy is told with the practice that is used and those that differ."""
    reasons = {
        f.rule: f
        for f in answer({**WHOLE, "trailer.tongue_weight": tongue, "trailer.gross_weight": "3200 lb"}).findings
    }
    assert reasons[rule].result == "fails"
    assert reasons[rule].severity == "caution"
    for word in (tongue, "3200 lb", "Common practice asks for 10 to 15 %", "7 to 12 %"):
        assert word in reasons[rule].reason


def test_a_plug_bridged_is_a_need() -> None:
    """A flat plug behind a blade socket works once the wiring adapter is at hand."""
    bridged = {
        **WHOLE,
        "trailer.plug": "flat_4",
        "trailer.brakes": "none",
        "trailer.gross_weight": "2900 lb",
        "trailer.tongue_weight": "350 lb",
    }
    (need,) = answer(bridged).needs
    assert (need["need"], need["from"], need["to"]) == ("wiring_adapter", "7-way blade", "4-way flat")
    assert open_needs({**bridged, "trailer.wiring_adapter": True}) == set()


LEAD: Facts = {"wiring_adapter.plug": "blade_7", "wiring_adapter.socket": "flat_4"}
"""A wiring adapter from a 7-way blade socket to a 4-way flat plug."""


def test_a_wiring_adapter_is_judged_by_what_is_told_of_it() -> None:
    """It works in the socket that its plug is of; where a fact about either end is not told, it is never a yes."""
    assert answer({**LEAD, "vehicle.socket": "blade_7"}).outcome == "works"
    assert answer({**LEAD, "vehicle.socket": "flat_4"}).outcome == "fails"
    assert answer(LEAD).outcome == "undetermined"
    assert answer({"wiring_adapter.socket": "flat_4", "vehicle.socket": "blade_7"}).outcome == "undetermined"
    assert answer({"wiring_adapter.plug": "blade_7", "vehicle.socket": "blade_7"}).outcome == "conditional"
    assert answer({**LEAD, "vehicle.socket": "blade_7", "trailer.plug": "round_6"}).outcome == "fails"
    assert answer({**LEAD, "wiring_adapter.socket": "none", "vehicle.socket": "blade_7"}).outcome == "fails"


@pytest.mark.parametrize("change", [{"vehicle.socket": "round_6"}, {"wiring_adapter.socket": "flat_5"}, {}])
def test_a_wiring_adapter_in_the_question_meets_the_need_of_one(change: Facts) -> None:
    """The need of a wiring adapter is met by the one that goes into both ends, and by no other."""
    towed: Facts = {"vehicle.socket": "blade_7", "trailer.plug": "flat_4", "trailer.brakes": "none"}
    assert "wiring-adapter" in open_needs({**towed, **change})
    found = answer({**towed, **LEAD, **change})
    assert ("wiring-adapter" in open_needs({**towed, **LEAD, **change})) == bool(change)
    refused = {one.rule for one in found.findings if one.result == "fails"}
    assert bool(refused & {"wiring-adapter-fits-socket", "wiring-adapter-takes-plug"}) == bool(change)


def test_lamps_of_a_carrier_want_their_own_end() -> None:
    """Beside a carrier with lamps of its own it is their plug that goes in."""
    carrier: Facts = {"accessory.kind": "bike_carrier", "accessory.plug": "flat_4", "vehicle.socket": "blade_7"}
    assert "lamp-wiring-adapter" in open_needs(carrier)
    assert "lamp-wiring-adapter" not in open_needs({**carrier, **LEAD})
    assert result("wiring-adapter-takes-lamps", {**carrier, **LEAD, "accessory.plug": "flat_5"}) == "fails"


def test_no_adapter_bridges_separate_signals() -> None:
    """A 13-pin plug with turn signals of its own does not go to a socket that burns them with the stop lamps."""
    facts = {**WHOLE, "trailer.plug": "iso_13", "trailer.brakes": "none"}
    assert result("trailer-plug-fits-socket", facts) == "fails"
    assert "wiring-adapter" not in open_needs(facts)


def test_towing_is_silent_with_a_carrier() -> None:
    """A question about a carrier is not asked about the trailer's chains."""
    carrier = {"accessory.kind": "bike_carrier", "receiver.d_value": "5 kN", "trailer.gross_weight": "9000 lb"}
    silent = OURS - {"trailer-plug-fits-socket", "trailer-plug-feeds-brakes"}
    assert {rule for rule in silent if result(rule, carrier) != "not_applicable"} == set()


def test_a_trailer_alone_is_told_the_mount_its_coupling_takes() -> None:
    """A ring is told its size, and nobody with a ring is sent for a ball mount."""
    ring = {"trailer.coupler_kind": "lunette_ring", "trailer.ring_diameter": "2-1/2 in", "receiver.opening": "2 in"}
    ball = {"trailer.coupler": "2 in", "receiver.opening": "2 in"}
    told = [{need["need"]: need for need in answer(facts).needs} for facts in (ring, ball)]
    assert told[0]["pintle_mount"]["ring"] == "2-1/2 in" and "towing_mount" not in told[0]
    assert told[1]["towing_mount"]["ball"] == "2 in" and "pintle_mount" not in told[1]


PLATED: Facts = {
    **{name: wire for name, wire in WHOLE.items() if name != "trailer.tongue_weight"},
    "vehicle.tongue_rating": "75 kg",
    "receiver.tongue_rating": "75 kg",
    "trailer.gross_weight": "1300 kg",
    "load.occupants_weight": "300 lb",
}
"""A trailer of 1,300 kg, its tongue not weighed, behind a vehicle and a receiver that bear 75 kg."""


@pytest.mark.parametrize("place", ["european_union", "great_britain", "other_european"])
def test_a_trailer_is_loaded_up_to_its_plate(place: str) -> None:
    """StVZO 44(3): no less than 4 % or 25 kg. That S is used up is common practice."""
    plated = {**PLATED, "load.jurisdiction": place, "receiver.vertical_rating": "75 kg"}
    found = answer(plated)
    (need,) = [need for need in found.needs if need["need"] == "load_the_tongue_to_its_plate"]
    assert found.outcome not in {"fails", "works"}
    assert (need["at_least"], need["at_most"]) == ("149 lb", "165 lb")
    assert not any("may sway" in one.reason for one in answer({**plated, "trailer.tongue_weight": "70 kg"}).findings)
    for tongue, light, up, rated in (
        ("0 kg", "fails", "not_applicable", "passes"),
        ("24 kg", "fails", "not_applicable", "passes"),
        ("25 kg", "passes", "fails", "passes"),
        ("66 kg", "passes", "fails", "passes"),
        ("76 kg", "passes", "passes", "fails"),
    ):
        told = {**plated, "trailer.tongue_weight": tongue}
        assert result("tongue-weight-not-too-light-by-plate", told) == light
        assert result("tongue-loaded-up-to-its-plate", told) == up
        assert result("tongue-weight", told) == rated


@pytest.mark.parametrize("place", [{}, {"load.jurisdiction": "texas"}, {"load.jurisdiction": "australia"}])
def test_an_s_value_makes_no_light_tongue_right(place: Facts) -> None:
    """Common practice, no source: but where trailers are loaded to a plate, less than a twentieth is a no anywhere."""
    light = {**PLATED, "receiver.vertical_rating": "250 kg", "trailer.tongue_weight": "45 kg", **place}
    assert result("tongue-bears-a-twentieth", light) == answer(light).outcome == "fails"
    assert result("tongue-weight-not-too-light", {**light, "trailer.tongue_weight": "70 kg"}) == "fails"


def test_without_a_plate_a_tenth_stays_the_least() -> None:
    """Common practice, no source: 5,000 lb on 350 lb is a no in Texas, and where nobody names a place."""
    heavy = {**PLATED, "receiver.tongue_rating": "350 lb", "trailer.gross_weight": "5000 lb"}
    for place in ({}, {"load.jurisdiction": "texas"}):
        assert result("tongue-weight", {**heavy, **place}) == answer({**heavy, **place}).outcome == "fails"
        assert not {"load-the-tongue", "load-the-tongue-to-its-plate"} & set(open_needs({**heavy, **place}))
        assert "load-the-tongue" in open_needs({**PLATED, "trailer.gross_weight": "700 kg", **place})


def test_a_tongue_on_a_plate_is_open_while_the_trailer_is() -> None:
    """Nothing is taken to rest on the plate until the trailer's weight is known."""
    unknown = {name: wire for name, wire in PLATED.items() if name != "trailer.gross_weight"}
    unknown["receiver.vertical_rating"] = "75 kg"
    assert result("tongue-weight-within-s-value", unknown) == result("tongue-weight", unknown) == "undetermined"


def test_an_s_value_is_the_rating_of_a_plate_that_gives_no_other() -> None:
    """UN Regulation 55, the S value, as quoted in secondary sources; such a coupling has no class."""
    plate = {
        "receiver.vertical_rating": "80 kg",
        "receiver.trailer_rating": "1500 kg",
        "vehicle.tongue_rating": "100 kg",
    }
    carrier = {**plate, "accessory.kind": "bike_carrier", "accessory.weight": "20 kg", "load.bikes": 2}
    assert result("hanging-weight", {**carrier, "load.bike_weight": "30 kg"}) == "passes"
    assert result("hanging-weight", {**carrier, "load.bike_weight": "31 kg"}) == "fails"
    lower = {**carrier, "load.bike_weight": "30 kg", "receiver.tongue_rating": "79 kg"}
    assert result("hanging-weight", lower) == "fails"
    assert result("rating-suits-class", plate) == "not_applicable"
    assert result("rating-suits-class", {**plate, "receiver.vertical_rating": None}) == "undetermined"


def test_a_trailer_told_in_parts_is_judged_by_their_sum() -> None:
    """1,000 lb empty with 4,000 lb on it are 5,000 lb: a yes on 5,000 lb, and a no with 4,500 lb, told as a sum."""
    parts = {name: wire for name, wire in WHOLE.items() if name != "trailer.gross_weight"}
    parts["trailer.empty_weight"] = "1000 lb"
    heavy = answer({**parts, "trailer.cargo_weight": "4500 lb"})
    assert heavy.outcome == "fails"
    assert "500 lb too much" in heavy.findings[0].reason
    whole = answer({**WHOLE, "trailer.gross_weight": "5000 lb"})
    light = answer({**parts, "trailer.cargo_weight": "4000 lb"})
    assert light.outcome == whole.outcome
    assert any("is taken as 5000 lb" in text for text in light.assumed)
    assert not any("is taken as" in text for text in whole.assumed)


def test_a_weight_told_within_bounds_is_no_less_than_its_parts() -> None:
    """At most 5,200 lb are a no on 5,000 lb where the parts come to 5,100 lb; a bound below these stays as told."""
    parts = {**WHOLE, "trailer.empty_weight": "1000 lb", "trailer.cargo_weight": "4100 lb"}
    bounded = answer({**parts, "trailer.gross_weight": {"at_most": "5200 lb"}})
    assert (bounded.outcome, bounded.findings[0].result) == ("fails", "fails")
    assert not any("is taken as" in text for text in bounded.assumed)
    below = answer({**parts, "trailer.gross_weight": {"at_most": "4800 lb"}})
    assert (below.outcome, below.findings[0].rule) == ("fails", "trailer-weighs-more-loaded")


def test_a_trailer_of_which_one_part_is_told_stays_open_and_is_held_to_that_part() -> None:
    """What lies on it is not nothing: 1,000 lb empty leave it open on 5,000 lb, and 5,500 lb empty are a no."""
    parts = {name: wire for name, wire in WHOLE.items() if name != "trailer.gross_weight"}
    assert answer({**parts, "trailer.empty_weight": "1000 lb"}).outcome == "undetermined"
    heavy = answer({**parts, "trailer.empty_weight": "5500 lb"})
    assert (heavy.outcome, heavy.findings[0].rule) == ("fails", "trailer-in-parts-within-ratings")
    loose = answer({**parts, "trailer.empty_weight": "1000 lb", "trailer.cargo_weight": {"at_least": "1000 lb"}})
    assert loose.outcome == "undetermined"


def test_a_weight_that_is_the_sum_of_bounds_is_not_held_against_its_own_parts() -> None:
    """2,000 lb empty and at most 1,000 lb on it are 2,000 to 3,000 lb, as if told so: nobody wants it heavier."""
    parts = {name: wire for name, wire in WHOLE.items() if name != "trailer.gross_weight"}
    parts |= {"trailer.empty_weight": "2000 lb", "trailer.tongue_weight": "300 lb"}
    told = answer({**parts, "trailer.cargo_weight": {"at_most": "1000 lb"}})
    for rule in ("trailer-weighs-more-loaded", "trailer-parts-agree-with-the-scale"):
        assert {one.result for one in told.findings if one.rule == rule} == {"passes"}
    assert not any(step.fact == "trailer.gross_weight" for step in told.next)
    heavy = answer({**parts, "trailer.cargo_weight": {"at_least": "3500 lb", "at_most": "4000 lb"}})
    assert heavy.outcome == "fails"


def test_a_slip_of_the_pen_is_told_before_what_follows_from_it() -> None:
    """A tongue of 2600 lb on a trailer of 2500 lb breaks every rating there is; first is told that it cannot be."""
    found = answer(
        {
            "accessory.kind": "ball_mount",
            "accessory.tongue_rating": "600 lb",
            "receiver.tongue_rating": "500 lb",
            "vehicle.tongue_rating": "500 lb",
            "vehicle.curb_weight_rear": "2170 lb",
            "vehicle.gawr_rear": "4000 lb",
            "trailer.gross_weight": "2500 lb",
            "trailer.tongue_weight": "2600 lb",
        }
    )
    assert found.outcome == "fails" and found.findings[0].rule == "tongue-weight-within-trailer"
    assert "2600 lb" in found.summary and "one of the two is wrong" in found.summary
    assert len([one for one in found.findings if one.result == "fails"]) > 2
