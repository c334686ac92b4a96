"""Road law and fitting: said where a place is named or a figure is near, and otherwise out of the way."""

import pytest
from judging import Facts, answer, open_needs, result

CARRIER: Facts = {
    "vehicle.body": "suv",
    "vehicle.wheelbase": "113 in",
    "vehicle.rear_overhang": "43 in",
    "vehicle.overall_width": "77-1/2 in",
    "receiver.opening": "2 in",
    "mounting.pin_to_bumper": "3-1/2 in",
    "accessory.kind": "bike_carrier",
    "accessory.rear_extent": "34 in",
    "accessory.width": "62 in",
    "accessory.obscures_plate": False,
    "accessory.obscures_lamps": False,
    "accessory.plug": "none",
    "load.bikes": 2,
}
PLACES = (
    "texas",
    "district_of_columbia",
    "south_dakota",
    "california",
    "new_hampshire",
    "interstate_commerce",
    "australia",
    "elsewhere",
)
OVERHANG = {"reach-behind-in-california", "overhang-in-australia"}
UNBRAKED: Facts = {"trailer.brakes": "none", "trailer.gross_weight": "4000 lb"}
FITTING = {"fitting", "drilling", "fascia-trimming", "exhaust-lowering", "spare-lowering"}


def _cautions(facts: Facts, word: str) -> list[str]:
    return [text for text in answer(facts).cautions if word in text]


def _judged(facts: Facts, rules: set[str]) -> set[str]:
    return {rule for rule in rules if result(rule, facts) != "not_applicable"}


@pytest.mark.parametrize("place", PLACES)
def test_the_place_picks_the_overhang_rule(place: str) -> None:
    """Each place is judged by its own overhang rule, and a place the book has none for by none."""
    own = {"california": {"reach-behind-in-california"}, "australia": {"overhang-in-australia"}}
    assert _judged({**CARRIER, "load.jurisdiction": place}, OVERHANG) == own.get(place, set())


def test_without_a_place_overhang_is_a_caution_only() -> None:
    """A loaded question that names no place is judged by no overhang rule, but told when it is near one."""
    # 43 - 3-1/2 + 34 = 73-1/2 in behind the axle; six tenths of 113 in are 67.8 in.
    assert _judged(CARRIER, OVERHANG) == set()
    assert _cautions(CARRIER, "Australia")
    assert not _cautions({**CARRIER, "accessory.rear_extent": "28 in"}, "Australia")


def test_australian_overhang_differs_from_californian() -> None:
    """The same carrier is too long in Australia and not in California."""
    assert result("overhang-in-australia", {**CARRIER, "load.jurisdiction": "australia"}) == "fails"
    assert result("reach-behind-in-california", {**CARRIER, "load.jurisdiction": "california"}) == "passes"


@pytest.mark.parametrize("place", [None, "elsewhere", "michigan", "oklahoma"])
def test_no_known_law_leaves_brakes_a_caution(place: str | None) -> None:
    """Without a place whose rule the book holds, an unbraked trailer is a caution from the lowest figure on."""
    facts = {**UNBRAKED, **({"load.jurisdiction": place} if place else {})}
    assert result("brakes-where-driven", facts) == "not_applicable"
    assert result("heavy-trailer-has-brakes", facts) == "fails"
    assert result("heavy-trailer-has-brakes", {**facts, "trailer.gross_weight": "999 lb"}) == "passes"
    assert result("heavy-trailer-has-brakes", {**facts, "trailer.brakes": "surge"}) == "passes"


@pytest.mark.parametrize("place", ["kansas", "mississippi", "quebec"])
def test_a_law_known_in_part_leaves_brakes_a_caution(place: str) -> None:
    """Where the book holds only part of the law, that part is told, and no figure of other places."""
    facts = {**UNBRAKED, "load.jurisdiction": place}
    assert result("brakes-where-driven", facts) == "not_applicable"
    assert result("heavy-trailer-has-brakes", facts) == "not_applicable"
    assert result("brakes-where-no-weight-is-set", facts) == "fails"
    assert result("brakes-where-no-weight-is-set", {**facts, "trailer.brakes": "surge"}) == "passes"


def test_no_brakes_is_no_reading_that_works_on_a_heavy_trailer() -> None:
    """Asked for the brakes of a heavy trailer, the answer never says that it works without."""
    facts = {"accessory.kind": "ball_mount", "trailer.gross_weight": "4800 lb", "trailer.breakaway": True}
    steps = answer(facts).next
    (brakes,) = (step for step in steps if step.fact == "trailer.brakes")
    assert "no brakes" not in brakes.works_if
    assert "electric" in brakes.works_if


def test_the_place_picks_the_brake_rule() -> None:
    """4,000 lb without brakes may go in Texas, and in none of the others here that the book knows."""
    found = {place: result("brakes-where-driven", {**UNBRAKED, "load.jurisdiction": place}) for place in PLACES}
    assert found == {
        "texas": "passes",
        "district_of_columbia": "fails",
        "south_dakota": "fails",
        "california": "fails",
        "new_hampshire": "fails",
        "interstate_commerce": "fails",
        "australia": "fails",
        "elsewhere": "not_applicable",
    }


def test_places_that_disagree_stay_open() -> None:
    """A place known only as one of two is never quietly taken for the kinder."""
    both = {**UNBRAKED, "load.jurisdiction": ["texas", "california"]}
    assert result("brakes-where-driven", both) == "undetermined"
    light = {"trailer.gross_weight": "2999 lb", "trailer.body": "utility"}
    assert result("brakes-where-driven", {**both, **light}) == "passes"
    assert result("brakes-where-driven", {**both, "trailer.gross_weight": "4501 lb"}) == "fails"


def test_brakes_not_known_are_asked_for_only_when_it_matters() -> None:
    """A light trailer passes whatever its brakes; a heavy one has to say."""
    texas = {"load.jurisdiction": "texas"}
    assert result("brakes-where-driven", {**texas, "trailer.gross_weight": "3000 lb"}) == "passes"
    assert result("brakes-where-driven", {**texas, "trailer.gross_weight": "5000 lb"}) == "undetermined"


def test_reasons_name_both_figures_and_defer_to_the_law() -> None:
    """What reaches too far is told with its reach and the figure, and once that the law of the place decides."""
    long = {**CARRIER, "accessory.rear_extent": "54 in", "accessory.width": "90 in"}
    found = answer(long)
    reasons = {finding.rule: finding.reason for finding in found.findings}
    for word in ("50-1/2 in", "48 in", "49 CFR 393.87"):
        assert word in reasons["reach-behind-without-flag"]
    for word in ("90 in", "77-1/2 in", "4 in", "49 CFR 393.87"):
        assert word in reasons["reach-aside-without-flag"]
    assert sum("Check it where the vehicle is driven" in caution for caution in found.cautions) == 1


def test_cargo_is_tied_down() -> None:
    """A cargo carrier with a load needs tie-downs, told with what they must hold."""
    facts = {"accessory.kind": "cargo_carrier", "load.cargo_weight": "300 lb"}
    (need,) = (need for need in answer(facts).needs if need["need"] == "tie_downs")
    assert (need["working_load_limit"], need["breaking_strength"]) == ("150 lb", "240 lb")
    assert need["because"].startswith("Tie the cargo down"), "of straps that nobody tells nothing is said"
    assert "tie-downs" in open_needs({"accessory.kind": "cargo_carrier"})  # what it may carry is promised
    assert "tie-downs" not in open_needs({"accessory.kind": "bike_carrier"})


def test_hidden_lamps_need_a_lamp_board() -> None:
    """A carrier that hides the lamps and has none needs a board with the plug of the vehicle's socket."""
    hidden = {**CARRIER, "accessory.obscures_lamps": True, "vehicle.socket": "flat_4"}
    (need,) = (need for need in answer(hidden).needs if need["need"] == "lamp_board")
    assert need["plug"] == "4-way flat"
    assert "lamp-board" not in open_needs({**hidden, "accessory.plug": "flat_4"})
    assert "lamp-board" not in open_needs(CARRIER)


def test_fitting_is_silent_unless_it_is_still_to_do() -> None:
    """Nothing about fitting is asked when the receiver is on the vehicle, or nobody said that it is not."""
    work = {
        "mounting.drilling": True,
        "mounting.fascia_trim": "visible",
        "mounting.exhaust_lowering": True,
        "mounting.spare_lowering": True,
    }
    assert not open_needs({**CARRIER, **work}) & FITTING
    assert not open_needs({**CARRIER, **work, "mounting.fitted": True}) & FITTING
    assert open_needs({**CARRIER, **work, "mounting.fitted": False}) >= FITTING


def test_fitting_tells_the_makers_torque() -> None:
    """The need says that the maker's instructions come first, and the maker's figure for the fasteners."""
    facts = {**CARRIER, "mounting.fitted": False, "mounting.fastener_torque": "68 ft-lb"}
    (need,) = (need for need in answer(facts).needs if need["need"] == "fitting")
    assert need["torque"] == "68 ft-lb"
    assert "maker's instructions" in need["because"]


def test_trimming_that_shows_is_a_caution() -> None:
    """A customer is told of trimming that shows, and not of trimming that does not."""
    unfitted = {**CARRIER, "mounting.fitted": False}
    rule = "trimming-does-not-show"
    assert result(rule, {**unfitted, "mounting.fascia_trim": "visible"}) == "fails"
    assert result(rule, {**unfitted, "mounting.fascia_trim": "hidden"}) == "passes"
    assert result(rule, {**CARRIER, "mounting.fascia_trim": "visible"}) == "not_applicable"
