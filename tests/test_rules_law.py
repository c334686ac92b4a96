"""The law on trailers and loads, place by place: figures as their sources print them, and what holds without a place.

Each figure stands here a second time beside its section, so that a slip in the tables of law breaks a test. "Seen"
means that the section's text was read on an official or law publisher's page (in a city code that repeats it where
that is said), "agency" an agency's own page, "quoted" a quotation elsewhere, "memory" neither.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from judging import Facts, answer, answerer, result, value
from test_rules_trade import TOWED

from fitsvc.language.types import ListType

BRAKES, BREAKAWAY, TWO = "brakes-where-driven", "breakaway-where-driven", "two-chains-where-driven"
SURGE = "surge-brakes-where-driven"
STRENGTH, BEHIND, ASIDE, DRAWBAR = (
    "chains-by-law-where-driven",
    "reach-behind-where-driven",
    "reach-aside-where-driven",
    "drawbar-where-driven",
)
_BARE: Facts = {"trailer.brakes": "none"}
_BRAKED: Facts = {"trailer.brakes": "electric", "trailer.breakaway": False}
_OVERRUN: Facts = {"trailer.brakes": "surge"}
_GROSS = "trailer.gross_weight"
_CARRIED: Facts = {"accessory.kind": "cargo_carrier", "mounting.pin_to_bumper": "0 in"}
_WIDE: Facts = {"accessory.kind": "cargo_carrier", "vehicle.overall_width": "70 in"}

Border = tuple[str, str, str, Facts, str, Any, Any]
"""The source, the place, the rule, the other facts, a fact, and two values of it: one passes, the next fails."""


def _brakes(source: str, place: str, inside: str, past: str, **more: str) -> Border:
    facts = {name.replace("__", "."): wire for name, wire in more.items()}
    return (source, place, BRAKES, {**_BARE, **facts}, _GROSS, inside, past)


BORDERS: list[Border] = [
    _brakes("A.R.S. 28-952, quoted: less than three thousand pounds need not", "arizona", "2999 lb", "3000 lb"),
    _brakes("a trade digest, quoted: 3,000 lb", "arkansas", "2999 lb", "3000 lb"),
    ("a trade digest, quoted: new trailers from 1,500 lb", "arkansas", "brakes-on-trailers-sold-new", _BARE, _GROSS,
     "1499 lb", "1500 lb"),
    _brakes("two trade digests, quoted: over 3,000 lb", "alabama", "3000 lb", "3001 lb"),
    _brakes("a trade digest, quoted: 3,000 lb or more; a city's police: more than 3,000 pounds", "colorado",
            "2999 lb", "3000 lb"),
    _brakes("two trade digests, quoted: 3,000 lb or more", "connecticut", "2999 lb", "3000 lb"),
    _brakes("California Vehicle Code 26302(b), seen: 3,000 pounds or more", "california", "2999 lb", "3000 lb",
            trailer__body="utility"),
    _brakes("California Vehicle Code 26303, seen: camp trailers, 1,500 pounds or more", "california",
            "1499 lb", "1500 lb", trailer__body="camping"),
    _brakes("18 DCMR 721, seen: in excess of three thousand pounds", "district_of_columbia", "3000 lb", "3001 lb"),
    _brakes("Florida 316.261, quoted: not exceeding 3,000 lb", "florida", "3000 lb", "3001 lb",
            vehicle__curb_weight="8000 lb"),
    _brakes("Florida 316.261, quoted: 40 percent of the gross weight", "florida", "1340 lb", "1341 lb",
            vehicle__curb_weight="2850 lb", load__occupants_weight="150 lb", trailer__tongue_weight="100 lb"),
    _brakes("625 ILCS 5/12-301, seen: over 3,000 pounds", "illinois", "3000 lb", "3001 lb"),
    _brakes("Louisiana R.S. 32:341, seen: 3,000 pounds or more", "louisiana", "2999 lb", "3000 lb"),
    _brakes("Maryland Transportation 22-302(d), session laws 2004, seen: not exceeding 3,000 pounds", "maryland",
            "3000 lb", "3001 lb", vehicle__curb_weight="8000 lb"),
    _brakes("the same, seen: 40 percent of the gross weight of the towing vehicle", "maryland", "1340 lb", "1341 lb",
            vehicle__curb_weight="2850 lb", load__occupants_weight="150 lb", trailer__tongue_weight="100 lb"),
    _brakes("Minnesota 169.67 subd. 3, seen: 3,000 or more pounds", "minnesota", "2999 lb", "3000 lb",
            vehicle__curb_weight="4000 lb"),
    _brakes("the same, seen: exceeds the empty weight of the towing vehicle", "minnesota", "2800 lb", "2801 lb",
            vehicle__curb_weight="2800 lb"),
    _brakes("Montana 61-9-304, quoted: not exceeding 3,000 pounds", "montana", "3000 lb", "3001 lb",
            vehicle__curb_weight="8000 lb"),
    _brakes("Montana 61-9-304, quoted: 40% of the gross weight", "montana", "1340 lb", "1341 lb",
            vehicle__curb_weight="2850 lb", load__occupants_weight="150 lb", trailer__tongue_weight="100 lb"),
    _brakes("Nebraska 60-6,246(2), seen: cabin trailers, three thousand pounds or more", "nebraska",
            "2999 lb", "3000 lb", trailer__body="camping"),
    _brakes("Nebraska 60-6,246(4), seen: recreational trailers carry boats", "nebraska", "2999 lb", "3000 lb",
            trailer__body="boat"),
    _brakes("NRS 484D.250(9)(a), seen: less than 1,500 pounds gross weight need not", "nevada", "1499 lb", "1500 lb"),
    _brakes("RSA 266:30, seen: less than 3,000 pounds", "new_hampshire", "2999 lb", "3000 lb", trailer__body="boat",
            vehicle__gawr_front="4000 lb", vehicle__gawr_rear="4000 lb"),
    _brakes("RSA 266:30 I, seen: no house trailer in excess of 1,500 pounds", "new_hampshire", "1500 lb", "1501 lb",
            trailer__body="house", vehicle__gawr_front="4000 lb", vehicle__gawr_rear="4000 lb"),
    _brakes("New York VTL 375(1)(c) in bill S4616, seen: in excess of three thousand pounds", "new_york",
            "3000 lb", "3001 lb", trailer__empty_weight="900 lb"),
    _brakes("North Carolina G.S. 20-124(f), quoted: two tons", "north_carolina", "3999 lb", "4000 lb",
            trailer__body="utility"),
    _brakes("the same, quoted: house trailers of 1,000 pounds or more", "north_carolina", "999 lb", "1000 lb",
            trailer__body="house"),
    _brakes("Ohio 4513.20, seen in a city code: boat trailers, 3,000 lb", "ohio", "2999 lb", "3000 lb",
            trailer__body="boat", trailer__empty_weight="900 lb"),
    _brakes("a trade digest, quoted: over 3,000 lb", "pennsylvania", "3000 lb", "3001 lb"),
    _brakes("SDCL 32-18-17, seen: in excess of three thousand pounds", "south_dakota", "3000 lb", "3001 lb"),
    _brakes("T.C.A. 55-9-204(c), seen: 3,000 lbs. or more", "tennessee", "2999 lb", "3000 lb"),
    _brakes("Texas DPS on 547.401, agency: 4,500 pounds or less", "texas", "4500 lb", "4501 lb"),
    _brakes("Virginia 46.2-1070, seen: 3,000 pounds or more", "virginia", "2999 lb", "3000 lb"),
    _brakes("RCW 46.37.340(3)(a), quoted: not exceeding three thousand pounds", "washington", "3000 lb", "3001 lb",
            vehicle__curb_weight="8000 lb"),
    _brakes("the same, quoted: forty percent of the gross weight", "washington", "1340 lb", "1341 lb",
            vehicle__curb_weight="2850 lb", load__occupants_weight="150 lb", trailer__tongue_weight="100 lb"),
    _brakes("Trans 305.51(4), seen: less than 3,000 pounds", "wisconsin", "2999 lb", "3000 lb"),
    _brakes("Alberta's guide, agency: 910 kilograms or less", "alberta", "910 kg", "911 kg",
            vehicle__curb_weight="1800 kg"),
    _brakes("British Columbia, quoted: 1,400 kg", "british_columbia", "1400 kg", "1401 kg",
            vehicle__curb_weight="3000 kg"),
    _brakes("British Columbia, quoted: more than 50 %", "british_columbia", "1000 kg", "1001 kg",
            vehicle__curb_weight="2000 kg"),
    _brakes("Ontario's ministry, agency: 1360 kg or more", "ontario", "1359 kg", "1360 kg"),
    _brakes("Great Britain, quoted: 750 kg", "great_britain", "750 kg", "751 kg", vehicle__curb_weight="2500 kg"),
    _brakes("Great Britain, quoted: half the kerb weight", "great_britain", "600 kg", "601 kg",
            vehicle__curb_weight="1200 kg"),
    _brakes("Irish Road Safety Authority, agency: more than 750 kg", "european_union", "750 kg", "751 kg",
            vehicle__curb_weight="2500 kg"),
    _brakes("StVZO 41(9) in Germany, from memory: half of the towing vehicle", "european_union", "600 kg", "601 kg",
            vehicle__curb_weight="1200 kg"),
    _brakes("ADR 38, quoted: 750 kg on the trailer's axles", "australia", "820 kg", "821 kg",
            trailer__tongue_weight="70 kg"),
    _brakes("New Zealand's agency, quoted: over 2000 kg", "new_zealand", "2000 kg", "2001 kg",
            vehicle__curb_weight="3000 kg"),
    _brakes("the same, quoted: three quarters of the unladen weight", "new_zealand", "1500 kg", "1501 kg",
            vehicle__curb_weight="2000 kg"),
    _brakes("South Africa, regulation 151, quoted: up to 750 kg", "south_africa", "750 kg", "751 kg",
            vehicle__curb_weight="2500 kg"),
    _brakes("the same, quoted: the tare must be double", "south_africa", "600 kg", "601 kg",
            vehicle__curb_weight="1200 kg"),
    ("UN Regulation 13, from memory: category O2 ends at 3,500 kg", "european_union", SURGE, _OVERRUN, _GROSS,
     "3500 kg", "3501 kg"),
    ("Great Britain, quoted: overrun brakes not exceeding 3,500 kg", "great_britain", SURGE, _OVERRUN, _GROSS,
     "3500 kg", "3501 kg"),
    ("British Columbia, quoted: no surge brake over 2,800 kg", "british_columbia", SURGE, _OVERRUN, _GROSS,
     "2800 kg", "2801 kg"),
    ("VSB 1, quoted: GTM up to and including 2000 kg", "australia", SURGE,
     {**_OVERRUN, "trailer.tongue_weight": "200 kg"}, _GROSS, "2200 kg", "2201 kg"),
    ("T.C.A. 55-9-204(c), seen: surge brakes to 7,500 lb", "tennessee", SURGE, _OVERRUN, _GROSS, "7500 lb", "7501 lb"),
    ("South Africa, regulation 151, quoted: the tare at least the trailer's mass", "south_africa", SURGE,
     {**_OVERRUN, "vehicle.curb_weight": "2000 kg"}, _GROSS, "2000 kg", "2001 kg"),
    _brakes("49 CFR 393.42(b)(3), seen in guidance: 3,000 pounds or less", "interstate_commerce", "3000 lb", "3001 lb",
            vehicle__curb_weight="8000 lb"),
    ("the same, seen: exceeds 40 percent of the towing vehicle's weight", "interstate_commerce", BRAKES,
     {**_BARE, _GROSS: "2900 lb", "vehicle.curb_weight": "1000 lb"}, "trailer.tongue_weight", "400 lb", "401 lb"),
    ("Idaho 49-933(3), seen: unladen weight of 1,500 pounds or more", "idaho", BRAKES,
     {**_BARE, _GROSS: "4000 lb"}, "trailer.empty_weight", "1499 lb", "1500 lb"),
    ("Ohio 4513.20, seen in a city code: an empty weight of 2,000 pounds or more", "ohio", BRAKES,
     {**_BARE, _GROSS: "4000 lb", "trailer.body": "utility"}, "trailer.empty_weight", "1999 lb", "2000 lb"),
    ("New York VTL 375(1)(c), seen: more than one thousand pounds unladen", "new_york", BRAKES,
     {**_BARE, _GROSS: "2900 lb"}, "trailer.empty_weight", "1000 lb", "1001 lb"),
    ("DC 18 DCMR 721, seen: on breakaway", "district_of_columbia", BREAKAWAY, _BRAKED, _GROSS, "3000 lb", "3001 lb"),
    ("SDCL 32-18-17, seen: upon breakaway", "south_dakota", BREAKAWAY, _BRAKED, _GROSS, "3000 lb", "3001 lb"),
    ("Louisiana R.S. 32:341, seen: accidental breakaway", "louisiana", BREAKAWAY, _BRAKED, _GROSS,
     "2999 lb", "3000 lb"),
    ("Minnesota 169.67, seen: more than 3,000 pounds", "minnesota", BREAKAWAY, _BRAKED, _GROSS, "3000 lb", "3001 lb"),
    ("19VAC30-70-100, seen: 3,000 pounds or more", "virginia", BREAKAWAY, _BRAKED, _GROSS, "2999 lb", "3000 lb"),
    ("Idaho 49-933(3), seen: accidental breakaway", "idaho", BREAKAWAY, {**_BRAKED, _GROSS: "4000 lb"},
     "trailer.empty_weight", "1499 lb", "1500 lb"),
    ("Nebraska 60-6,246(2), seen: breakaway switch", "nebraska", BREAKAWAY, {**_BRAKED, "trailer.body": "camping"},
     _GROSS, "2999 lb", "3000 lb"),
    ("ADR 38/02, quoted: over 2 tonnes, 15 minutes", "australia", BREAKAWAY, _BRAKED, _GROSS, "2000 kg", "2001 kg"),
    ("British Columbia, quoted: from 1,401 kg", "british_columbia", BREAKAWAY, _BRAKED, _GROSS, "1400 kg", "1401 kg"),
    ("WAC 204-70-070, seen: two chains", "washington", TWO, {_GROSS: "900 lb"}, "trailer.chain_count", 2, 1),
    ("Nebraska 60-6,246(3), seen: two safety chains", "nebraska", TWO, {_GROSS: "900 lb"}, "trailer.chain_count", 2, 1),
    ("Illinois 5/15-110, seen in a city code: 2 safety chains", "illinois", TWO, {_GROSS: "900 lb"},
     "trailer.chain_count", 2, 1),
    ("Michigan 257.721, seen in a city code: one on each side", "michigan", TWO, {_GROSS: "900 lb"},
     "trailer.chain_count", 2, 1),
    ("VSB 1, quoted: one chain to 2.5 t", "australia", TWO, {"trailer.chain_count": 1}, _GROSS, "2500 kg", "2501 kg"),
    ("New Zealand's agency, 2024: two chains over 2000 kg", "new_zealand", TWO, {"trailer.chain_count": 1}, _GROSS,
     "2000 kg", "2001 kg"),
    ("New Zealand's agency, 2024: each twice the laden weight", "new_zealand", STRENGTH,
     {_GROSS: "2500 kg", "trailer.chain_count": 2}, "trailer.chain_rating_each", "5000 kg", "4999 kg"),
    ("RSA 266:63, seen: each chain, at least the gross weight", "new_hampshire", STRENGTH,
     {_GROSS: "6000 lb", "trailer.chain_count": 2}, "trailer.chain_rating_each", "6000 lb", "5999 lb"),
    ("FMCSA guidance to 393.70(d), seen: combined breaking strength", "interstate_commerce", STRENGTH,
     {_GROSS: "6000 lb", "trailer.chain_count": 2}, "trailer.chain_rating_each", "3000 lb", "2999 lb"),
    ("Ontario's ministry, agency: each chain the gross weight", "ontario", STRENGTH,
     {_GROSS: "6000 lb", "trailer.chain_count": 2}, "trailer.chain_rating_each", "6000 lb", "5999 lb"),
    ("Texas 547.382(b), seen: more than four feet", "texas", BEHIND, _CARRIED, "accessory.rear_extent",
     "48 in", "48-1/16 in"),
    ("49 CFR 393.87, seen in part: more than 4 feet", "interstate_commerce", BEHIND, _CARRIED,
     "accessory.rear_extent", "48 in", "48-1/16 in"),
    ("A.C.A. 27-37-204, seen: four feet or more", "arkansas", BEHIND, _CARRIED, "accessory.rear_extent",
     "47-15/16 in", "48 in"),
    ("HRS 291-28, seen: four feet or more", "hawaii", BEHIND, _CARRIED, "accessory.rear_extent",
     "47-15/16 in", "48 in"),
    ("Iowa 321.394, seen: four feet or more", "iowa", BEHIND, _CARRIED, "accessory.rear_extent",
     "47-15/16 in", "48 in"),
    ("Ohio 4513.09, seen in a city code: four feet or more", "ohio", BEHIND, _CARRIED, "accessory.rear_extent",
     "47-15/16 in", "48 in"),
    ("GOV.UK on overhanging loads, agency: over 1 m", "great_britain", BEHIND, _CARRIED, "accessory.rear_extent",
     "1.00 m", "1.01 m"),
    ("Quebec C-24.1 423, seen: by more than one metre", "quebec", BEHIND, _CARRIED, "accessory.rear_extent",
     "1.00 m", "1.01 m"),
    ("Italy's road code 164(6), quoted: a panel on whatever reaches behind", "european_union", BEHIND, _CARRIED,
     "accessory.rear_extent", "0 mm", "1 mm"),
    ("South Africa, quoted: 300 mm", "south_africa", BEHIND, _CARRIED, "accessory.rear_extent", "300 mm", "301 mm"),
    ("Florida 316.510, seen: beyond the fenders on the left", "florida", ASIDE, _WIDE, "accessory.width",
     "70 in", "70-1/16 in"),
    ("Directive 96/53/EC, quoted: 2.55 m", "european_union", "width-where-driven", _WIDE, "accessory.width",
     "2550 mm", "2551 mm"),
    ("75 Pa.C.S. 4925(a), seen: beyond the left side", "pennsylvania", ASIDE, _WIDE, "accessory.width",
     "70 in", "70-1/16 in"),
    ("HRS 291-8, seen: beyond the extreme width", "hawaii", ASIDE, _WIDE, "accessory.width", "70 in", "70-1/16 in"),
    ("New South Wales, quoted: 150 mm a side of a bicycle carrier", "australia", ASIDE,
     {**_WIDE, "accessory.kind": "bike_carrier", "vehicle.overall_width": "1800 mm"},
     "accessory.width", "2100 mm", "2101 mm"),
    *(
        (f"{section}: 15 feet", place, DRAWBAR, {}, "trailer.drawbar_length", "180 in", "180-1/16 in")
        for section, place in (("A.R.S. 28-1108, seen", "arizona"),
                               ("Illinois 5/15-110, seen in a city code", "illinois"),
                               ("Ohio 4513.32, seen in a city code", "ohio"), ("Virginia 46.2-1118, seen", "virginia"),
                               ("Nebraska 60-6,284, seen", "nebraska"))
    ),
    ("Saskatchewan's handbook, agency: 1.83 m", "saskatchewan", DRAWBAR, {}, "trailer.drawbar_length",
     "1830 mm", "1831 mm"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("place", "rule", "facts", "fact", "inside", "past"),
    [row[1:] for row in BORDERS],
    ids=[f"{row[1]}: {row[0]}" for row in BORDERS],
)
def test_the_law_at_its_figure(place: str, rule: str, facts: Facts, fact: str, inside: Any, past: Any) -> None:
    """What the section still allows passes, and one unit past it fails."""
    there = {**facts, "load.jurisdiction": place}
    assert result(rule, {**there, fact: inside}) == "passes"
    assert result(rule, {**there, fact: past}) == "fails"


# the nine faults that reading the law found


def test_new_hampshire_holds_the_trailer_against_the_axle_ratings() -> None:
    """RSA 266:30 II(a), seen: at most 40 percent of the sum of the rated axle weights of the towing vehicle."""
    trailer = {
        **_BARE,
        _GROSS: "2999 lb",
        "trailer.tongue_weight": "300 lb",
        "trailer.body": "utility",
        "load.jurisdiction": "new_hampshire",
    }
    for rating, found in (("2400 lb", "fails"), ("4000 lb", "passes")):
        assert result(BRAKES, {**trailer, "vehicle.gawr_front": rating, "vehicle.gawr_rear": rating}) == found
    assert result(BRAKES, {**trailer, _GROSS: "2500 lb"}) == "undetermined"
    assert result(BRAKES, {**trailer, _GROSS: "3000 lb"}) == "fails"
    uneven = {"vehicle.gawr_front": "2600 lb", "vehicle.gawr_rear": "3200 lb"}
    assert result(BRAKES, {**trailer, _GROSS: "2900 lb", "trailer.tongue_weight": "320 lb", **uneven}) == "fails"


def test_what_the_trailer_is_for_decides_in_california() -> None:
    """Vehicle Code 26303, seen: a camp trailer needs brakes from 1,500 pounds; of an unknown kind nothing is said."""
    there = {**_BARE, "load.jurisdiction": "california"}
    assert result(BRAKES, {**there, _GROSS: "2000 lb"}) == "undetermined"
    assert result(BRAKES, {**there, _GROSS: "2000 lb", "trailer.body": "camping"}) == "fails"
    assert result(BRAKES, {**there, _GROSS: "2000 lb", "trailer.body": "utility"}) == "passes"
    assert answer({**there, "accessory.kind": "ball_mount", _GROSS: "2000 lb"}).outcome != "works"


@pytest.mark.parametrize("place", [{}, {"load.jurisdiction": "elsewhere"}, {"load.jurisdiction": "oklahoma"}])
def test_without_a_known_law_only_what_passes_everywhere_passes(place: Facts) -> None:
    """1,400 lb behind 3,000 lb is told by weight; 900 lb behind 2,000 lb by its share of the vehicle."""
    heavy = {**_BARE, **place, _GROSS: "1400 lb", "vehicle.curb_weight": "3000 lb"}
    light = {**_BARE, **place, _GROSS: "900 lb", "vehicle.curb_weight": "2000 lb"}
    small = {**_BARE, **place, _GROSS: "900 lb", "vehicle.curb_weight": "3000 lb"}
    by_weight, by_share = "heavy-trailer-has-brakes", "light-beside-the-vehicle"
    assert (result(by_weight, heavy), result(by_share, heavy)) == ("fails", "not_applicable")
    assert (result(by_weight, light), result(by_share, light)) == ("passes", "fails")
    assert (result(by_weight, small), result(by_share, small)) == ("passes", "passes")


@pytest.mark.parametrize("place", ["louisiana", "colorado", "pennsylvania"])
def test_a_share_known_from_a_summary_is_told(place: str) -> None:
    """Louisiana, Act 778 of 2026, a summary: 40 % of the towing vehicle's axle weights; its text was not seen.

    That the other two hold a lighter trailer against the vehicle is from a summary or from memory.
    """
    there = {**_BARE, "load.jurisdiction": place, _GROSS: "2999 lb", "vehicle.curb_weight": "5000 lb"}
    assert (result(BRAKES, there), result("light-beside-the-vehicle", there)) == ("passes", "fails")


def test_texas_lets_a_slow_trailer_go() -> None:
    """Texas DPS on 547.401, agency: 4,501 to 15,000 pounds drawn at not more than 30 miles per hour."""
    for weight, told in (("4501 lb", True), ("15000 lb", True), ("15001 lb", False)):
        facts = {"accessory.kind": "ball_mount", **_BARE, _GROSS: weight, "load.jurisdiction": "texas"}
        (reason,) = (found.reason for found in answer(facts).findings if found.rule == BRAKES)
        assert ("30 mph" in reason) is told
    assert "30 mph" not in _reason(BRAKES, {**_BARE, _GROSS: "3001 lb", "load.jurisdiction": "illinois"})


def test_australia_and_interstate_commerce_have_reasons_of_their_own() -> None:
    """ADR 38, quoted; 49 CFR 393.42, seen in guidance: no reason recites another place's law."""
    for place, words in (("australia", "ADR 38"), ("interstate_commerce", "49 CFR 393.42")):
        reason = _reason(BRAKES, {**_BARE, _GROSS: "1900 kg", "load.jurisdiction": place})
        assert words in reason and "Texas" not in reason and "California" not in reason


def test_one_chain_is_not_enough_where_the_law_asks_for_two() -> None:
    """WAC 204-70-070, seen: one chain fails in Washington, passes in Virginia, and is told everywhere."""
    one = {"accessory.kind": "ball_mount", _GROSS: "900 lb", "trailer.chain_count": 1}
    assert result(TWO, {**one, "load.jurisdiction": "washington"}) == "fails"
    assert result(TWO, {**one, "load.jurisdiction": "virginia"}) == "passes"
    assert {result("two-chains", {**one, **place}) for place in ({}, {"load.jurisdiction": "virginia"})} == {"fails"}
    assert any("a mount that comes out" in caution for caution in answer(one).cautions)


def test_a_table_is_said_to_be_from_the_text_it_is_in() -> None:
    """COMAR 11.13.08 and 15 NYCRR 57 agree on classes and test forces, but not on strengths: neither repeats J684."""
    for entry in answerer().rulebook.tables.values():
        assert "they repeat" not in entry.source.cite
    for rule in answerer().rulebook.rules:
        assert "wording from memory" not in rule.source.cite


# what is not judged by a figure


def test_the_manual_counts_wherever_it_is_driven() -> None:
    """Common practice: law is the floor and the vehicle's manual the limit; no place takes that away."""
    facts = {"accessory.kind": "ball_mount", **_BARE, _GROSS: "4000 lb"}
    for place in ({}, {"load.jurisdiction": "texas"}):
        found = {one.rule: one for one in answer({**facts, **place}).findings}["unbraked-rating-looked-up"]
        assert found.result == "undetermined" and "manual often asks for brakes sooner" in found.reason
        known = {**facts, **place, "vehicle.tow_rating_unbraked": "2000 lb"}
        assert answer(known).outcome == "fails"


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"load.jurisdiction": "kansas"}, "fails"),
        ({"load.jurisdiction": "mississippi"}, "fails"),
        ({"load.jurisdiction": "texas"}, "not_applicable"),
    ],
)
def test_a_law_without_a_plain_line_is_told(facts: Facts, found: str) -> None:
    """K.S.A. 8-1734 and Mississippi 63-7-51, seen: no weight, so the words are told and nobody is passed by them."""
    assert result("brakes-where-no-weight-is-set", {**_BARE, _GROSS: "500 lb", **facts}) == found


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("texas", "12 in square"),
        ("arkansas", "16 in square"),
        ("hawaii", "16 in square"),
        ("iowa", "16 in square"),
        ("ohio", "16 in square"),
        ("interstate_commerce", "18 in square"),
    ],
)
def test_flags_are_told_with_their_size(place: str, words: str) -> None:
    """547.382, A.C.A. 27-37-204, HRS 291-28, Iowa 321.394, Ohio 4513.09, seen; 49 CFR 393.87, quoted."""
    assert words in _reason(BEHIND, {**_CARRIED, "accessory.rear_extent": "50 in", "load.jurisdiction": place})


@pytest.mark.parametrize(
    ("reach", "words"), [("1.01 m", "clearly visible"), ("2.01 m", "marker boards"), ("3.06 m", "police")]
)
def test_britain_asks_more_the_farther_a_load_reaches(reach: str, words: str) -> None:
    """GOV.UK on overhanging loads, agency: over 1 m, over 2 m, over 3.05 m."""
    there = {**_CARRIED, "load.jurisdiction": "great_britain"}
    assert words in _reason(BEHIND, {**there, "accessory.rear_extent": reach})


@pytest.mark.parametrize(
    ("place", "words"), [("florida", "6 in past the right"), ("pennsylvania", "12 in past the right")]
)
def test_the_right_side_is_told_too(place: str, words: str) -> None:
    """Florida 316.510 and 75 Pa.C.S. 4925(a), seen: 6 and 12 inches; a carrier stands out alike on both sides."""
    assert words in _reason(ASIDE, {**_WIDE, "accessory.width": "90 in", "load.jurisdiction": place})


def test_washington_lets_a_carrier_hide_the_plate() -> None:
    """EHB 1784, 2022, seen; other places ask for the plate to be seen."""
    hidden = {**_CARRIED, "accessory.obscures_plate": True}
    found = {
        place: result("plate-in-sight", {**hidden, "load.jurisdiction": place})
        for place in ("washington", "ohio", "texas", "elsewhere")
    }
    assert found == {"washington": "passes", "ohio": "fails", "texas": "fails", "elsewhere": "fails"}


# the tables themselves

_LAWS = (
    "brake_law",
    "brake_law_without_line",
    "driver_brake_law",
    "breakaway_law",
    "chain_law",
    "drawbar_law",
    "overhang_law",
    "side_law",
    "plate_law",
)


def _rows() -> Iterator[tuple[str, str, str]]:
    """Each row of law: its table, its place and its section."""
    for name in _LAWS:
        for place, row in answerer().rulebook.tables[name].rows.items():
            yield name, place, row.source.cite


def test_the_law_is_data() -> None:
    """More than sixty sections in more than a hundred rows, and a row for every place that may be named."""
    rows = list(_rows())
    assert len({(place, cite) for _, place, cite in rows}) >= 60
    assert len(rows) >= 100
    places = answerer().rulebook.vocabulary.lists["jurisdiction"].members
    assert set(places) == {place for _, place, _ in rows} | {"elsewhere"}


def test_what_passes_without_a_place_is_below_every_row() -> None:
    """The figures that hold where no place is named are the least in the table of brake law."""
    columns = answerer().rulebook.tables["brake_law"].columns
    key = columns["line"].key
    assert isinstance(key, ListType)
    lines = ("line", "empty_from", "empty_over", "living_from", "living_over", "boat_from", "sold_new_from")
    known = [i for i, found in enumerate(columns["known"].values) if found == 2]
    least = min(columns[name].values[i][0] for name in lines for i in known)  # type: ignore[index]  # known where the row says so
    assert least == pytest.approx(1000 * 0.45359237)
    shares = [columns["share"].values[i][0] for i in known]  # type: ignore[index]  # as above
    assert min(share for share in shares if share >= 0.0) == pytest.approx(0.4)


def test_texts_of_a_row_are_looked_up() -> None:
    """What is told of a place's law is a value that a reason shows, and unknown of a place without a row."""
    asks = answerer().rulebook.tables["brake_law"].columns["asks"].gives
    assert isinstance(asks, ListType)
    found = value("lookup(brake_law.asks, load.jurisdiction)", {"load.jurisdiction": "ontario"})
    assert asks.names(found) == ["brakes from 1360 kg on"]  # type: ignore[arg-type]  # the column is a list of names
    assert value("lookup(brake_law.asks, load.jurisdiction)", {"load.jurisdiction": "kansas"}) == asks.unknown


def _reason(rule: str, facts: Facts) -> str:
    """What a rule that fails says."""
    (found,) = (found for found in answer(facts).findings if found.rule == rule)
    assert found.result == "fails"
    return found.reason


# brakes that the driver works, trailers sold new, drawbars and plates by the place

SURGE_WORDS = "surge-brakes-that-the-driver-works"


def test_surge_brakes_are_asked_about_where_the_words_want_the_drivers_brakes() -> None:
    """625 ILCS 5/12-301(a)4 and 4.1, seen: not on boat trailers; 19VAC30-70-100, seen, takes surge brakes for such."""
    towed = {"trailer.brakes": "surge", "trailer.gross_weight": "3500 lb", "trailer.gvwr": "5000 lb"}
    found = {
        (place, body): result(SURGE_WORDS, {**towed, "load.jurisdiction": place, "trailer.body": body})
        for place in ("illinois", "virginia", "texas")
        for body in ("utility", "boat")
    }
    assert found == {
        ("illinois", "utility"): "fails",
        ("illinois", "boat"): "passes",
        ("virginia", "utility"): "passes",
        ("virginia", "boat"): "passes",
        ("texas", "utility"): "not_applicable",
        ("texas", "boat"): "not_applicable",
    }


@pytest.mark.parametrize(
    ("place", "weighs", "most", "over", "light"),
    [
        ("virginia", "5000 lb", "9999 lb", "10000 lb", "2999 lb"),
        ("tennessee", "5000 lb", "7500 lb", "7501 lb", "2999 lb"),
        ("great_britain", "3300 kg", "3500 kg", "3501 kg", "1800 kg"),
        ("european_union", "3300 kg", "3500 kg", "3501 kg", "1800 kg"),
        ("other_european", "3300 kg", "3500 kg", "3501 kg", "1800 kg"),
        ("australia", "1900 kg", "2000 kg", "2001 kg", "1200 kg"),
        ("south_africa", "3300 kg", "3500 kg", "3501 kg", "1800 kg"),
    ],
)
def test_the_label_of_a_heavy_trailer_with_surge_brakes_is_asked_for(
    place: str, weighs: str, most: str, over: str, light: str
) -> None:
    """Where a law goes by it: untold it is open, told "at least" what the trailer weighs it is no more open.

    Of a light trailer it is asked in vain: untold, or told "at least" what it weighs, it is no reason to doubt.
    """
    rule = SURGE_WORDS if place == "virginia" else "surge-brakes-by-the-trailers-label"
    there = {
        "accessory.kind": "ball_mount",
        "trailer.brakes": "surge",
        "trailer.body": "utility",
        "load.jurisdiction": place,
        "vehicle.curb_weight": "4000 kg",
    }

    def comes_to(weight: str, label: Any = None) -> str:
        """What the rule comes to in an answer, which knows of a figure by which end it was told."""
        told = {} if label is None else {"trailer.gvwr": label}
        (found,) = (one for one in answer({**there, _GROSS: weight, **told}).findings if one.rule == rule)
        return found.result

    assert comes_to(weighs) == comes_to(weighs, {"at_least": weighs}) == "undetermined"
    assert (comes_to(weighs, most), comes_to(weighs, over)) == ("passes", "fails")
    assert comes_to(light) == comes_to(light, {"at_least": light}) == "passes"


def test_saskatchewan_asks_for_a_chain_as_strong_as_the_coupling() -> None:
    """The province's handbook, agency: "of equal strength to the coupling device", whatever the trailer weighs."""
    rule = "chain-as-strong-as-the-coupling"
    there = {"load.jurisdiction": "saskatchewan", _GROSS: "2500 lb", "trailer.chain_count": 2}
    told = {**there, "trailer.coupler_rating": "9000 lb", "trailer.chain_rating_each": "9000 lb"}
    assert result(rule, told) == "passes"
    assert result(rule, {**told, "trailer.chain_rating_each": "8999 lb"}) == "fails"
    for name in ("trailer.coupler_rating", "trailer.chain_rating_each"):
        assert result(rule, {fact: wire for fact, wire in told.items() if fact != name}) == "undetermined", name
    assert (
        result(rule, {**told, "trailer.chain_rating_each": "100 lb", "load.jurisdiction": "texas"}) == "not_applicable"
    )


def test_an_untold_drawbar_is_asked_for_where_the_law_wants_a_short_one() -> None:
    """1.83 m is what common trailers have between vehicle and body; 15 ft they have not, and nobody is asked."""
    towed = {**TOWED, "trailer.chain_rating_each": "9000 lb"}
    asked = answer({**towed, "load.jurisdiction": "saskatchewan"})
    assert asked.outcome == "conditional"
    assert [step.fact for step in asked.next] == ["trailer.drawbar_length"]
    longest = answerer().rulebook.tables["drawbar_law"].rows
    for place in longest.keys() - {"saskatchewan"}:
        assert result(DRAWBAR, {**towed, "load.jurisdiction": place}) == "not_applicable", place


def test_an_older_trailer_is_not_refused_for_what_new_ones_must_have() -> None:
    """Arkansas: brakes from 3000 lb on, and from 1500 lb on trailers sold new; nobody says when this one was."""
    facts = {"load.jurisdiction": "arkansas", "trailer.brakes": "none", "trailer.gross_weight": "1600 lb"}
    assert result("brakes-where-driven", facts) == "passes"
    assert result("brakes-on-trailers-sold-new", facts) == "fails"
    assert "sold" in _reason("brakes-on-trailers-sold-new", facts)


def test_a_hidden_plate_is_told_by_the_law_of_the_place_that_is_named() -> None:
    """A place with a row is named with its source; any other is told what most places ask."""
    hidden = {**_CARRIED, "accessory.obscures_plate": True}
    assert "left to right" in _reason("plate-in-sight", {**hidden, "load.jurisdiction": "ohio"})
    assert "1.3 m" in _reason("plate-in-sight", {**hidden, "load.jurisdiction": "australia"})
    assert "most places" in _reason("plate-in-sight", {**hidden, "load.jurisdiction": "texas"})
    assert "most places" in _reason("plate-in-sight", hidden)


def test_brakes_told_as_none_are_not_asked_about_again() -> None:
    """What is open of an unbraked trailer in California is its kind, and the words say so."""
    facts = {"load.jurisdiction": "california", "trailer.brakes": "none", "trailer.gross_weight": "2000 lb"}
    (found,) = (one for one in answer(facts).findings if one.rule == "brakes-where-driven")
    assert found.result == "undetermined"
    assert found.reason.startswith("The trailer has no brakes of its own")
    del facts["trailer.brakes"]
    (found,) = (one for one in answer(facts).findings if one.rule == "brakes-where-driven")
    assert found.reason.startswith("If the trailer has no brakes of its own")


@pytest.mark.parametrize("brakes", ["surge", "electric", "air"])
def test_where_brakes_stand_in_for_chains_the_place_decides_on_a_trailer_without_any(brakes: str) -> None:
    """Electric brakes do in Europe as overrun ones do; Quebec's section 245, seen, asks no chain of either."""
    facts = {**TOWED, "trailer.chain_count": 0, "trailer.brakes": brakes, "trailer.breakaway": True}
    unplaced = {name: wire for name, wire in facts.items() if name != "load.jurisdiction"}
    assert answer(unplaced).outcome == "undetermined"
    assert answer({**facts, "load.jurisdiction": "texas"}).outcome == "fails"
    there = answer({**facts, "load.jurisdiction": "quebec"})
    assert there.outcome == "conditional"
    assert "chains-spared-by-a-rows-words" in {one.rule for one in there.findings if one.result == "fails"}
    assert answer({**facts, "load.jurisdiction": "quebec", "trailer.breakaway": False}).outcome == "fails"
    rule = "chains-spared-where-driven" if brakes == "surge" else "trailer-has-safety-chains"
    assert result(rule, {**facts, "load.jurisdiction": "european_union"}) == "passes"


@pytest.mark.parametrize(
    "told", [{}, {"trailer.brakes": "surge"}, {"trailer.brakes": "electric"}, {"trailer.breakaway": True}]
)
def test_a_trailer_without_chains_is_no_sure_no_before_place_and_brakes_are_told(told: Facts) -> None:
    """Overrun brakes with a cable stand in for chains in Europe; where a place without that is named it is a no."""
    facts = {"trailer.chain_count": 0, "trailer.gross_weight": "1200 kg", **told}
    assert answer(facts).outcome != "fails"
    assert answer({**facts, "trailer.brakes": "surge", "trailer.breakaway": True}).outcome != "fails"
    there = {"trailer.brakes": "surge", "trailer.breakaway": True, "load.jurisdiction": "great_britain"}
    assert answer({**facts, **there}).outcome != "fails"
    assert answer({**facts, "load.jurisdiction": "texas"}).outcome == "fails"
    assert answer({**facts, "trailer.brakes": "none"}).outcome == "fails"
