"""What a fitter is asked over the counter, point by point: the right answer written down first, by hand.

Each row is one point, in plain words: what is changed of a rig that is a plain yes, what it then comes to, and which
rule has to say so. Figures are common practice unless the rules name a text.

Elsewhere stand: how far back a gate pushes a carrier (`test_rules_rear`), two things in one receiver
(`test_answers_together`), bed hitches, wiring and racks behind trailers (`test_rules_trade`), the laws of places
(`test_rules_law`), published figures (`test_rules_published`), and a fact blanked (`test_rules_blanked`). No row says:
that a load told loosely stops the answer where the vehicle's own rating is known, since what the vehicle's side leaves
open is a thing to find out and never a stop, and the weight that decides is asked for first; or what brakes a vehicle
towed on its own wheels must have, since nothing is asked or told here of such a one.
"""

from collections.abc import Mapping, Sequence

import pytest
from judging import Facts, answer, answerer, case, result
from several import asked, bikes
from test_answers_fitted import EXTENSION, without
from test_rules_trade import BIKES, TOWED

from fitsvc.answers.answer import Answer

Row = tuple[str, Facts, Sequence[Facts], str, Mapping[str, str]]
"""The point, the question, its adapters, the outcomes that are right, and what rules come to."""

NEVER_YES = "conditional undetermined fails"
NO_NO = "works conditional undetermined"
BASKET: Facts = {
    **without(BIKES, "load.bikes", "load.bike_weight", "accessory.bikes_max", "accessory.bike_weight_max"),
    "accessory.kind": "cargo_carrier",
    "accessory.capacity": "500 lb",
    "load.cargo_weight": "200 lb",
    "load.tie_down_limit": "600 lb",
}
STEP: Facts = {
    **without(BIKES, "load.bikes", "load.bike_weight", "accessory.bikes_max", "accessory.bike_weight_max"),
    "accessory.kind": "step",
    "accessory.weight": "20 lb",
    "accessory.capacity": "300 lb",
    "accessory.length": "8 in",
    "accessory.rear_extent": "12 in",
    "accessory.top_height": "2 in",
}
DUAL: Facts = {
    **EXTENSION,
    "kind": "dual_receiver",
    "adds_length": "1 in",
    "adds_rise": "4 in",
    "weight": "20 lb",
}
HALF: Facts = {**EXTENSION, "keeps_fraction": "50 %"}
ON_DOOR: Facts = {
    "spare.stowed_where": "rear_door",
    "spare.tyre": "195/65R15 91H",
    "vehicle.spare_location": "rear_door",
    "vehicle.tyre": "195/65R15 91H",
}
PLUGS: Facts = {"wiring_adapter.plug": "blade_7", "wiring_adapter.socket": "flat_4", "vehicle.socket": "blade_7"}
DOOR: Facts = {
    "vehicle.rear_closure": "side_hinged",
    "vehicle.spare_location": "rear_door",
    "vehicle.spare_protrusion": "9 in",
}
BARS: Facts = {
    **TOWED,
    "accessory.kind": "weight_distribution_head",
    "accessory.weight": "80 lb",
    "accessory.rise_lowest": "-6 in",
    "accessory.rise_highest": "4 in",
    "accessory.trailer_rating": "10000 lb",
    "accessory.tongue_rating": "1000 lb",
    "trailer.weight_distribution": True,
    "receiver.weight_distribution_allowed": True,
    "vehicle.tow_rating_wd": "9000 lb",
    "receiver.trailer_rating_wd": "10000 lb",
    "receiver.tongue_rating_wd": "1000 lb",
    "vehicle.tongue_rating_wd": "900 lb",
    "vehicle.gawr_front": "3700 lb",
    "ball.rating": "10000 lb",
}
UNBRAKED: Facts = {**TOWED, "trailer.brakes": "none", "trailer.breakaway": False, "trailer.plug": "flat_4"}
HOOK: Facts = {
    **without(TOWED, "ball.diameter", "ball.shank_diameter", "ball.shank_length", "ball.rating"),
    "accessory.kind": "pintle_mount",
    "accessory.hook_supplied": True,
}
SPARE: Facts = {
    "vehicle.tyre": "245/75R16 111T",
    "vehicle.spare_location": "underbody",
    "mounting.spare_fits_up_to": "34 in",
    "spare.tyre": "245/75R16 111T",
    "spare.stowed_where": "underbody",
}

DANGEROUS: Sequence[Row] = [
    ("an S value binds a loaded bike carrier", {**BIKES, "receiver.vertical_rating": "75 kg", "load.bikes": 4,
     "load.bike_weight": "35 lb"}, (), "fails", {"hanging-weight": "fails"}),
    ("an S value binds cargo", {**BASKET, "receiver.vertical_rating": "110 lb"}, (), "fails",
     {"hanging-weight": "fails"}),
    ("an S value binds an empty step", {**STEP, "receiver.vertical_rating": "19 lb"}, (), "fails",
     {"accessory-within-s-value": "fails"}),
    ("bikes named beside a ball mount are borne by nothing", {**TOWED, "load.bikes": 4, "load.bike_weight": "35 lb"},
     (DUAL,), "fails", {"load-is-borne": "fails"}),
    ("a carrier in a dual receiver tows no trailer by itself", {**BIKES, "trailer.gross_weight": "2000 lb"}, (DUAL,),
     "fails", {"accessory-tows": "fails"}),
    ("New Hampshire lets a trailer of 2,900 lb go without brakes only within 40 % of the axle ratings", {**UNBRAKED,
     "load.jurisdiction": "new_hampshire", "trailer.gross_weight": "2900 lb", "trailer.tongue_weight": "350 lb",
     "vehicle.gawr_front": "2600 lb", "vehicle.gawr_rear": "3200 lb"}, (), "fails", {"brakes-where-driven": "fails"}),
    ("naming Texas takes no caution of the manual away", {**without(UNBRAKED, "vehicle.tow_rating_unbraked"),
     "trailer.gross_weight": "4000 lb", "trailer.tongue_weight": "450 lb"}, (), "conditional undetermined",
     {"unbraked-rating-looked-up": "undetermined"}),
    ("a camper of 2,000 lb without brakes is no plain yes in California", {**UNBRAKED,
     "load.jurisdiction": "california", "trailer.body": "camping", "trailer.gross_weight": "2000 lb",
     "trailer.tongue_weight": "240 lb"}, (), NEVER_YES, {"brakes-where-driven": "fails"}),
    ("Australia asks for brakes on 4,400 lb", {**UNBRAKED, "load.jurisdiction": "australia",
     "trailer.gross_weight": "4400 lb", "trailer.tongue_weight": "480 lb"}, (), "fails",
     {"brakes-where-driven": "fails"}),
    ("commerce between states asks for brakes on 4,400 lb", {**UNBRAKED, "load.jurisdiction": "interstate_commerce",
     "trailer.gross_weight": "4400 lb", "trailer.tongue_weight": "480 lb"}, (), "fails",
     {"brakes-where-driven": "fails"}),
    ("the manual's figure for an unbraked trailer is held", {**UNBRAKED, "trailer.gross_weight": "2001 lb",
     "trailer.tongue_weight": "240 lb"}, (), "fails", {"unbraked-trailer-within-vehicle": "fails"}),
    ("a step of which no rating is known is no yes", without(STEP, "accessory.capacity", "receiver.tongue_rating",
     "vehicle.tongue_rating"), (), NEVER_YES, {}),
    ("whoever a strong step takes may be too heavy for the receiver", {**STEP, "receiver.tongue_rating": "200 lb"}, (),
     "conditional", {"step-within-tongue-rating": "fails"}),
    ("a person too heavy for the step", {**STEP, "load.person_weight": "301 lb"}, (), "fails",
     {"step-bears-the-person": "fails"}),
    ("a person and step too heavy for the receiver", {**STEP, "load.person_weight": "190 lb",
     "receiver.tongue_rating": "200 lb"}, (), "fails", {"person-within-tongue-rating": "fails"}),
    ("cargo on a step is borne by nothing", {**STEP, "load.cargo_weight": "500 lb"}, (), "fails",
     {"load-is-borne": "fails"}),
    ("an extension takes its share of the vehicle's own rating too", {**BIKES, "receiver.tongue_rating": "1000 lb",
     "vehicle.tongue_rating": "250 lb", "accessory.extension_allowed": True}, (HALF,), "fails",
     {"vehicle-bears-the-extension": "fails"}),
    ("spring bars do not switch the rear axle off", {**BARS, "vehicle.gawr_rear": "2300 lb"}, (), NEVER_YES,
     {"rear-axle-with-bars": "fails"}),
    ("an axle that carries more empty than it may", {**BARS, "vehicle.gawr_rear": "2100 lb"}, (), NEVER_YES,
     {"curb-weight-rear-within-rating": "fails"}),
]  # fmt: skip
"""What once was a yes that could hurt somebody, or a law told wrong."""

FITS_AFTER_ALL: Sequence[Row] = [
    ("a step sits below the spare on the door", {**STEP, **DOOR, "vehicle.spare_bottom_height": "30 in"}, (), NO_NO,
     {"low-thing-clears-door-spare": "passes"}),
    ("a winch mount is not struck by a door spare above it", {**without(STEP, "accessory.capacity"), **DOOR,
     "accessory.kind": "winch_mount", "vehicle.spare_bottom_height": "30 in"}, (),
     "works conditional undetermined fails", {"low-thing-clears-door-spare": "passes"}),
    ("a combination hook takes a ball coupler by its ball", {**HOOK, "trailer.coupler_kind": "ball_coupler",
     "accessory.hook_ball": "2 in", "accessory.hook_ball_rating": "6000 lb"}, (), "works",
     {"coupling-suits-mount": "passes"}),
    ("a 2 in ball under 7,000 lb is nothing unusual", {**BARS, "trailer.gross_weight": "7000 lb",
     "trailer.tongue_weight": "800 lb", "trailer.coupler_rating": "7000 lb", "trailer.chain_rating_each": "7000 lb"},
     (), NO_NO, {"ball-usual-for-heavy-trailers": "not_applicable"}),
    ("a size adapter with a collar of half an inch is no extension", {**BIKES, "receiver.opening": "2-1/2 in",
     "accessory.extension_allowed": False}, ({**EXTENSION, "kind": "size_adapter", "fits_opening": "2-1/2 in",
     "adds_length": "1/2 in"},), NO_NO, {"extension-allowed": "not_applicable"}),
    ("a locking pin is not asked whether it is allowed in an extension", {**without(TOWED, "accessory.rise",
     "accessory.length", *(name for name in TOWED if name.startswith("trailer."))), "accessory.kind": "locking_pin",
     "accessory.pin_span": "4 in"}, (DUAL,), NO_NO, {"extension-allowed": "not_applicable"}),
    ("a trailer is pulled by no locking pin", {**TOWED, "accessory.kind": "locking_pin"}, (), "fails",
     {"accessory-tows": "fails"}),
    ("a receiver's two ratings told the wrong way round", {**BIKES, "receiver.trailer_rating": "350 lb",
     "receiver.tongue_rating": "3500 lb"}, (), "conditional", {"tongue-rating-below-trailer-rating": "fails"}),
    ("axle weights that miss a seventh of the vehicle", {**TOWED, "vehicle.curb_weight": "6000 lb",
     "vehicle.curb_weight_front": "2980 lb", "vehicle.curb_weight_rear": "2170 lb", "vehicle.gvwr": "9000 lb"}, (),
     "conditional", {"curb-weights-add-up": "fails"}),
    ("weight distribution that nobody mentions is not used", without(TOWED, "trailer.weight_distribution"), (), "works",
     {"weight-distribution-allowed": "not_applicable"}),
    ("usual pins that nobody measured are a thing to check", without(BIKES, "accessory.pin", "receiver.pin_hole"), (),
     "conditional", {"pin-fits-hole": "undetermined"}),
    ("a sleeve without a label is a thing to check", {**BIKES, "receiver.opening": "2-1/2 in"},
     ({"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in"},), "conditional",
     {"sleeve-rating-told": "fails"}),
    ("a sleeve whose hole is too small for the receiver's pin", {**BIKES, "receiver.opening": "2-1/2 in"},
     ({"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in", "pin_hole": "1/2 in"},),
     "fails", {"adapter-pins-fit-holes": "fails"}),
    ("a dual receiver that keeps all is held to its label", {**BIKES, "accessory.extension_allowed": True},
     ({**DUAL, "keeps_fraction": "100 %"},), NO_NO,
     {"hanging-weight": "passes"}),
    ("a receiver said to be of 2 in and class I is asked about", {**TOWED, "receiver.hitch_class": "I"}, (),
     "conditional", {"rating-suits-class": "fails"}),
    ("ten pounds between scale and papers are a thing to check", {**TOWED, "trailer.gross_weight": "3390 lb",
     "trailer.empty_weight": "1700 lb", "trailer.cargo_weight": "1700 lb"}, (), "conditional",
     {"trailer-weighs-more-loaded": "passes", "trailer-parts-agree-with-the-scale": "fails"}),
]  # fmt: skip
"""What every fitter says yes to, or calls a thing to check."""

MISLED: Sequence[Row] = [
    ("5,000 lb on a tongue rating of 350 lb cannot be loaded right", {**without(TOWED, "trailer.tongue_weight"),
     "trailer.gross_weight": "5000 lb", "receiver.tongue_rating": "350 lb"}, (), "fails", {"tongue-weight": "fails"}),
    ("3,000 lb on 500 lb is a matter of loading", {**without(TOWED, "trailer.tongue_weight"),
     "trailer.gross_weight": "3000 lb"}, (), "conditional", {"tongue-weight": "passes"}),
    ("cargo told loosely leaves the receiver open", {**BASKET, "load.cargo_weight": {"at_least": "100 lb",
     "at_most": "900 lb"}, "receiver.tongue_rating": "350 lb", "accessory.capacity": "900 lb"}, (), "undetermined",
     {"hanging-weight": "undetermined"}),
    ("a tongue weight told loosely leaves the receiver open", {**TOWED, "trailer.tongue_weight": {"value": "350 lb",
     "tolerance": "60 lb"}, "receiver.tongue_rating": "400 lb"}, (), "undetermined", {"tongue-weight": "undetermined"}),
    ("a door that swings aside may meet the trailer's jack", {**TOWED, "vehicle.rear_closure": "twin_doors",
     "load.needs_closure_open": True, "trailer.jack_height": "45 in", "trailer.jack_behind_ball": "8 in",
     "trailer.jack_width": "6 in"}, (), NEVER_YES, {"closure-that-must-open-clears-jack": "undetermined"}),
    ("a tilt frees no door that swings sideways", {**BIKES, "vehicle.rear_closure": "side_hinged",
     "accessory.tilts_clear": True, "load.needs_closure_open": True}, (), NEVER_YES,
     {"closure-opens-past-accessory": "undetermined"}),
    ("bikes are asked about where a spare hangs on the door", {**BIKES, **DOOR, "accessory.stow_setback": "16 in",
     "accessory.front_setback": "18 in", "vehicle.spare_bottom_height": "20 in"}, (), NEVER_YES,
     {"load-clears-door-spare": "undetermined"}),
    ("nothing left to the door spare is no plain yes", {**BIKES, **DOOR, "accessory.stow_setback": "13 in",
     "accessory.front_setback": "18 in", "load.front_setback": "18 in"}, (), NEVER_YES,
     {"close-to-door-spare": "fails"}),
    ("a spare much wider than its place is a thing to see", {**BIKES, **SPARE, "spare.tyre": "33X12.50R17LT"}, (),
     NEVER_YES, {"spare-no-wider-than-its-place": "fails"}),
    ("surge brakes under spring bars are a thing to ask", {**BARS, "trailer.brakes": "surge"}, (), NEVER_YES,
     {"surge-brakes-under-bars": "fails"}),
    ("a spare that stows nowhere is no yes", {**BIKES, **SPARE, "spare.stowed_where": "none"}, (), NEVER_YES,
     {"spare-goes-somewhere": "fails"}),
    ("a low point nobody measured is asked for", without(BIKES, "accessory.lowest_drop"), (), "conditional",
     {"well-above-the-ground": "undetermined"}),
    ("a height nobody measured is asked for where it hangs low", {**without(BIKES, "mounting.height"),
     "accessory.lowest_drop": "5 in"}, (), "conditional", {"well-above-the-ground": "undetermined"}),
    ("an adjustable mount hangs lower where it is set lower", {**without(TOWED, "accessory.rise"),
     "accessory.kind": "adjustable_ball_mount", "accessory.rise_lowest": "-12 in", "accessory.rise_highest": "2 in",
     "mounting.height": "13 in", "trailer.coupler_height": "5 in"}, (), NEVER_YES, {"well-above-the-ground": "fails"}),
    ("a loaded weight of which half is told nowhere", {**TOWED, "trailer.empty_weight": "1000 lb",
     "trailer.cargo_weight": "600 lb"}, (), "conditional", {"cargo-accounts-for-the-weight": "fails"}),
    ("an empty trailer of 10 lb is weighed again", {**TOWED, "trailer.empty_weight": "10 lb",
     "trailer.cargo_weight": "3390 lb"}, (), "conditional", {"empty-trailer-weighs-something": "fails"}),
    ("a trailer that is all cargo is weighed again", {**TOWED, "trailer.cargo_weight": TOWED["trailer.gross_weight"]},
     (), "conditional", {"cargo-leaves-the-trailer-something": "fails"}),
    ("a class III receiver bears no 2,000 lb on the tongue", {**TOWED, "receiver.hitch_class": "III",
     "receiver.tongue_rating": "2000 lb"}, (), "conditional", {"tongue-rating-suits-class": "fails"}),
    ("a 2 in opening bears no 2,000 lb on the tongue", {**without(TOWED, "receiver.hitch_class"),
     "receiver.tongue_rating": "2000 lb"}, (), "conditional", {"tongue-rating-suits-opening": "fails"}),
    ("350 lb on the tongue go with no 9,000 lb in recovery", {**without(STEP, "accessory.capacity"),
     "accessory.kind": "winch_mount", "accessory.line_pull": "8000 lb", "receiver.recovery_allowed": True,
     "receiver.recovery_rating": "9000 lb", "receiver.tongue_rating": "350 lb"}, (), NEVER_YES,
     {"recovery-rating-suits-receiver": "fails"}),
    ("a tailgate hangs no 50 in ahead of the bumper", {**BIKES, "load.needs_closure_open": False,
     "vehicle.rear_closure": "drop_tailgate", "vehicle.closure_hinge_setback": "50 in"}, (), NEVER_YES,
     {"hinge-near-the-bumper": "fails"}),
    ("a lift gate of an SUV hangs no 12 ft high", {**BIKES, "load.needs_closure_open": False,
     "vehicle.rear_closure": "lift_gate", "vehicle.closure_hinge_height": "144 in"}, (), NEVER_YES,
     {"hinge-height-suits-closure": "fails"}),
    ("a lift gate is no 9 in long", {**BIKES, "load.needs_closure_open": False, "vehicle.rear_closure": "lift_gate",
     "vehicle.closure_length": "9 in"}, (), NEVER_YES, {"closure-as-long-as-such": "fails"}),
    ("nobody named rides along, and it is said who is counted", {**without(TOWED, "load.occupants_weight"),
     "vehicle.placard_capacity": "500 lb"}, (), "fails", {"driver-within-payload": "fails"}),
]  # fmt: skip
"""What was right and useless, or a reading that misled."""

EXCEEDED: Sequence[Row] = [
    ("a carrier heavier than its adapter bears", {**without(BASKET, "load.cargo_weight", "receiver.tongue_rating"),
     "accessory.weight": "150 lb", "receiver.opening": "2-1/2 in"}, ({**EXTENSION, "kind": "size_adapter",
     "fits_opening": "2-1/2 in", "adds_length": "0 in", "tongue_rating": "100 lb"},), "fails",
     {"accessory-on-receiver": "fails"}),
    ("a share that is told counts for an adapter without length", {**BASKET, "receiver.tongue_rating": "350 lb"},
     ({**DUAL, "adds_length": "0 in", "keeps_fraction": "50 %"},), "fails", {"hanging-weight": "fails"}),
    ("a step is held to the vehicle's rating and the S value", {**STEP, "load.person_weight": "200 lb",
     "vehicle.tongue_rating": "150 lb"}, (), "fails", {"person-within-tongue-rating": "fails"}),
    ("an empty carrier counts against the payload", {**without(BASKET, "load.cargo_weight", "load.occupants_weight"),
     "accessory.weight": "300 lb", "vehicle.placard_capacity": "440 lb"}, (), "fails",
     {"accessory-within-payload": "fails"}),
    ("an empty carrier counts on the rear axle", {**without(BASKET, "load.cargo_weight"), "accessory.weight": "300 lb",
     "vehicle.gawr_rear": "2400 lb"}, (), "fails", {"rear-axle-with-accessory": "fails"}),
    ("a scooter in a carrier that holds it by itself needs no straps, on a tray it does", {**BASKET,
     "load.tie_down_limit": "0 lb"}, (), NEVER_YES, {}),
    ("a winch mount heavier than the receiver bears", {**without(STEP, "accessory.capacity"),
     "accessory.kind": "winch_mount", "accessory.weight": "601 lb"}, (), "fails", {"accessory-on-receiver": "fails",
     "accessory-on-vehicle": "fails"}),
    ("the mount weighs beside the tongue on the payload", {**TOWED, "accessory.weight": "30 lb",
     "vehicle.placard_capacity": "829 lb"}, (), "fails", {"people-and-luggage": "fails"}),
    ("axle weights beyond their ratings contradict each other", {**without(BIKES, "load.bikes", "load.bike_weight"),
     "vehicle.gawr_rear": "2100 lb"}, (), NEVER_YES, {"curb-weight-rear-within-rating": "fails"}),
    ("somebody drives, whoever is named", {**TOWED, "load.occupants_weight": "0 lb", "vehicle.gcwr": "8640 lb"}, (),
     "fails", {"trailer-weight": "fails"}),
    ("the greater of scale and papers is held to the ratings", {**TOWED, "trailer.gross_weight": "4990 lb",
     "trailer.tongue_weight": "499 lb", "trailer.empty_weight": "2500 lb", "trailer.cargo_weight": "2501 lb"}, (),
     "fails", {"trailer-weight": "passes", "trailer-in-parts-within-ratings": "fails"}),
    ("and to what the manual allows without brakes", {**UNBRAKED, "trailer.gross_weight": "1990 lb",
     "trailer.tongue_weight": "240 lb", "trailer.empty_weight": "1000 lb", "trailer.cargo_weight": "1001 lb"}, (),
     "fails", {"unbraked-trailer-within-vehicle": "fails"}),
    ("tyres that bear less than the axle", {**BIKES, "vehicle.tyre": "245/75R16 80T"}, (), NEVER_YES,
     {"tyres-bear-the-rear-axle": "fails"}),
    ("600 lb on 200 lb is a no, whatever an extension keeps", {**BASKET, "load.cargo_weight": "540 lb",
     "accessory.capacity": "600 lb", "receiver.tongue_rating": "200 lb", "accessory.extension_allowed": True},
     (EXTENSION,), "fails", {"hanging-weight": "fails"}),
    ("two heavy adapters weigh on the receiver", {**BASKET, "receiver.tongue_rating": "350 lb",
     "accessory.extension_allowed": True}, ({**EXTENSION, "kind": "dual_receiver", "adds_length": "0 in",
     "weight": "50 lb"}, {**EXTENSION, "keeps_fraction": "80 %", "weight": "80 lb"}), "fails",
     {"hanging-weight": "fails"}),
]  # fmt: skip
"""Ratings that were surely exceeded."""

TRADE: Sequence[Row] = [
    ("brakes without a breakaway switch", {**TOWED, "trailer.breakaway": False}, (), NEVER_YES, {}),
    ("LED lamps on a vehicle that watches its lamps", {**TOWED, "trailer.led_lamps": True,
     "vehicle.lamps_monitored": True}, (), NEVER_YES, {"led-lamps-and-computer": "fails"}),
    ("cargo behind the axle lifts the tongue", {**without(TOWED, "trailer.tongue_weight"),
     "trailer.empty_tongue_weight": "80 lb", "trailer.cargo_weight": "1700 lb", "trailer.coupler_to_axle": "100 in",
     "trailer.coupler_to_cargo": "106 in"}, (), "fails", {"tongue-presses-down": "fails"}),
    ("brakes in the bed's trailer go on by themselves where the law asks for that", {**without(TOWED,
     *(name for name in TOWED if name.startswith(("accessory.", "ball.")))), "receiver.place": "bed",
     "trailer.coupler_kind": "gooseneck_coupler", "trailer.gross_weight": "4900 lb", "trailer.tongue_weight": "900 lb",
     "trailer.breakaway": False, "load.jurisdiction": "virginia"}, (), "fails", {"breakaway-where-driven": "fails"}),
    ("and are a thing to see to where no law of the place is known", {**without(TOWED,
     *(name for name in TOWED if name.startswith(("accessory.", "ball.")))), "receiver.place": "bed",
     "trailer.coupler_kind": "gooseneck_coupler", "trailer.gross_weight": "4900 lb", "trailer.tongue_weight": "900 lb",
     "receiver.tongue_rating": "1000 lb", "trailer.breakaway": False}, (), "undetermined",
     {"braked-trailer-has-breakaway": "fails"}),
    ("a gooseneck coupler is not set on a ball behind the bumper", {**TOWED,
     "trailer.coupler_kind": "gooseneck_coupler"}, (), "fails", {}),
    ("a shank with play rattles", {**BIKES, "accessory.play": "1/8 in", "accessory.anti_rattle": False}, (), NEVER_YES,
     {"shank-sits-tight": "fails"}),
    ("a motorcycle is tied down", {**BASKET, "accessory.kind": "motorcycle_carrier", "load.tie_down_limit": "50 lb"},
     (), NEVER_YES, {}),
    ("bikes stand clear of an exhaust that blows back", {**BIKES, "vehicle.exhaust_outlet": "straight_back",
     "load.exhaust_distance": "6 in"}, (), NEVER_YES, {"load-clear-of-exhaust": "fails"}),
    ("a rack behind a trailer has its maker's word", {**BIKES, "vehicle.body": "towed",
     "accessory.approved_behind_trailer": False}, (), "fails", {"approved-behind-trailer": "fails"}),
    ("a shank too long for its receiver", {**BIKES, "accessory.shank_ahead": "8 in", "receiver.room_inside": "6 in"},
     (), "fails", {"shank-goes-home": "fails"}),
    ("a bumper bears less than the receiver on it", {**TOWED, "receiver.place": "bumper",
     "vehicle.bumper_trailer_rating": "2000 lb", "vehicle.bumper_tongue_rating": "500 lb"}, (), "fails",
     {"bumper-bears-the-trailer": "fails"}),
    ("a winch pulls no harder than the receiver is rated", {**without(STEP, "accessory.capacity"),
     "accessory.kind": "winch_mount", "accessory.line_pull": "9000 lb", "receiver.recovery_allowed": True,
     "receiver.recovery_rating": "8000 lb"}, (), "fails", {"line-pull-within-rating": "fails"}),
    ("a light tongue under stiff spring bars", {**BARS, "accessory.spring_bars_least": "600 lb"}, (), NEVER_YES,
     {"spring-bars-not-too-stiff": "fails"}),
    ("a heavy camper without sway control", {**BARS, "trailer.body": "camping", "trailer.gross_weight": "4500 lb",
     "trailer.tongue_weight": "540 lb", "trailer.sway_control": False}, (), NEVER_YES,
     {"camper-has-sway-control": "fails"}),
    ("the heaviest bike of unlike ones", {**BIKES, "load.heaviest_bike": "41 lb"}, (), "fails",
     {"heaviest-bike-within-limit": "fails"}),
    ("a loaded rear that sags takes a higher mount", {**TOWED, "load.rear_sag": "3 in"}, (), NEVER_YES,
     {"trailer-level-on-fixed-mount": "fails"}),
    ("a vehicle that may not tow", {**TOWED, "vehicle.tow_rating": "0 lb"}, (), "fails",
     {"vehicle-is-for-towing": "fails"}),
    ("a front axle that is overloaded empty", {**BIKES, "vehicle.gawr_front": "2900 lb",
     "vehicle.curb_weight_front": "3000 lb"}, (), "fails", {"curb-weight-front-within-rating": "fails"}),
    ("a ride height that no vehicle has", {**BIKES, "vehicle.ride_height": "60 in"}, (), NEVER_YES,
     {"ride-height-is-one-vehicles-have": "fails"}),
    ("a ride height as any vehicle has it", {**BIKES, "vehicle.ride_height": "20 in"}, (), "works",
     {"ride-height-is-one-vehicles-have": "passes"}),
    ("a setting that the mount does not have", {**TOWED, "accessory.kind": "adjustable_ball_mount",
     "accessory.rise": "-10 in", "accessory.rise_lowest": "-8 in", "accessory.rise_highest": "4 in"}, (), NEVER_YES,
     {"setting-is-one-that-the-mount-has": "fails"}),
    ("adapters that lead back to where they began", {**BIKES, "accessory.extension_allowed": True}, (
     {"kind": "size_adapter", "fits_opening": "2 in", "offers_opening": "2-1/2 in", "adds_length": "6 in"},
     {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in"}), "fails",
     {"adapters-lead-somewhere": "fails"}),
    ("bikes beside a spare, and nothing to hold them", {**ON_DOOR, "load.bikes": 3}, (), "fails",
     {"load-is-borne": "fails"}),
    ("bikes of so much each beside a spare", {**ON_DOOR, "load.bike_weight": "40 lb"}, (), "fails",
     {"load-is-borne": "fails"}),
    ("a heaviest bike beside a spare", {**ON_DOOR, "load.heaviest_bike": "40 lb"}, (), "fails",
     {"load-is-borne": "fails"}),
    ("cargo beside a spare", {**ON_DOOR, "load.cargo_weight": "100 lb"}, (), "fails", {"load-is-borne": "fails"}),
    ("somebody to stand on a spare", {**ON_DOOR, "load.person_weight": "150 lb"}, (), "fails",
     {"only-steps-are-stood-upon": "fails"}),
    ("no bike and no cargo beside a spare", {**ON_DOOR, "load.bikes": 0, "load.cargo_weight": "0 lb"}, (), "works",
     {"load-is-borne": "passes"}),
    ("people in the vehicle with a spare", {**ON_DOOR, "load.occupants_weight": "300 lb"}, (), "works",
     {"load-is-borne": "not_applicable"}),
    ("cargo beside a plug", {**PLUGS, "load.cargo_weight": "100 lb"}, (), "fails", {"load-is-borne": "fails"}),
    ("somebody to stand on a plug", {**PLUGS, "load.person_weight": "150 lb"}, (), "fails",
     {"only-steps-are-stood-upon": "fails"}),
    ("plugs alone", PLUGS, (), "works", {}),
    ("what hangs behind has no receiver in front", {**BIKES, "beside.hangs_on": "rear_receiver", "beside.things": 0,
     "receiver.place": "front"}, (), "fails", {"hangs-behind-where-its-receiver-is": "fails"}),
    ("weight beside it of nothing that is there", {**TOWED, "beside.things": 0, "beside.weight": "700 lb"}, (),
     NEVER_YES, {"weight-beside-is-of-something": "fails"}),
    ("weight on a trailer on which nothing hangs", {**TOWED, "beside.loads_trailer": False,
     "beside.on_trailer": "2500 lb"}, (), NEVER_YES, {"load-on-the-trailer-is-of-something": "fails"}),
    ("a trailer loaded past its own label", {**TOWED, "trailer.gvwr": "2000 lb"}, (), "fails",
     {"trailer-within-its-own-label": "fails"}),
    ("weight on an axle of nothing that hangs there", {**TOWED, "beside.things": 0, "beside.weight": "0 lb",
     "beside.on_vehicle": "0 lb", "beside.on_rear_axle": "500 lb"}, (), NEVER_YES,
     {"weight-on-an-axle-is-of-something": "fails"}),
    ("a pin wanted by nothing", {**TOWED, "beside.things": 0, "beside.leans_on_pin": True}, (), NEVER_YES,
     {"pin-is-wanted-by-something": "fails"}),
    ("a tongue heavier than the coupler's trailer may be", {**without(TOWED, "trailer.gross_weight"),
     "trailer.coupler_rating": "250 lb", "trailer.tongue_weight": "350 lb"}, (), "fails",
     {"trailer-weight/trailer.coupler_rating": "fails"}),
    ("a trailer of 700 kg without brakes whose label allows 1,000 kg, in Europe", {**UNBRAKED,
     "trailer.gross_weight": "700 kg", "trailer.gvwr": "1000 kg", "trailer.tongue_weight": "70 kg",
     "load.jurisdiction": "european_union"}, (), NEVER_YES, {"brakes-by-the-trailers-label": "fails"}),
    ("chains of 3,500 lb by a coupler of 5,000, in Saskatchewan", {**TOWED, "trailer.chain_rating_each": "3500 lb",
     "trailer.coupler_rating": "5000 lb", "load.jurisdiction": "saskatchewan", "trailer.drawbar_length": "60 in"}, (),
     "conditional", {"chain-as-strong-as-the-coupling": "fails"}),
    ("chains as strong as the coupler, in Saskatchewan", {**TOWED, "trailer.chain_rating_each": "5000 lb",
     "trailer.coupler_rating": "5000 lb", "load.jurisdiction": "saskatchewan", "trailer.drawbar_length": "60 in"}, (),
     "works", {"chain-as-strong-as-the-coupling": "passes"}),
    ("a drawbar that nobody measured, in Saskatchewan", {**TOWED, "trailer.chain_rating_each": "5000 lb",
     "trailer.coupler_rating": "5000 lb", "load.jurisdiction": "saskatchewan"}, (), "conditional",
     {"drawbar-where-driven": "undetermined"}),
    ("a drawbar that nobody measured, in Ohio", {**TOWED, "load.jurisdiction": "ohio"}, (), "works",
     {"drawbar-where-driven": "not_applicable"}),
    ("surge brakes under a label that nobody read, in Virginia", {**TOWED, "trailer.brakes": "surge",
     "trailer.gross_weight": "3500 lb", "load.jurisdiction": "virginia"}, (), "conditional",
     {"surge-brakes-that-the-driver-works": "undetermined"}),
    ("people who overload the vehicle by themselves, with a spare", {**ON_DOOR, "load.occupants_weight": "1001 lb",
     "vehicle.gvwr": "6000 lb", "vehicle.curb_weight": "5000 lb"}, (), "fails",
     {"people-alone-within-payload": "fails"}),
    ("a share of all of it at 8 in counts as what can be so, and is read again", {**BIKES,
     "accessory.extension_allowed": True}, ({**EXTENSION, "keeps_fraction": "100 %"},), "conditional",
     {"share-suits-length": "fails"}),
    ("a vehicle that may not tow carries bikes", {**BIKES, "vehicle.tow_rating": "0 lb"}, (), "works", {}),
    ("a trailer on a plate of the European sort is held to its S value", {**TOWED,
     "load.jurisdiction": "european_union", "receiver.vertical_rating": "75 kg"}, (), "fails",
     {"tongue-weight-within-s-value": "fails"}),
]  # fmt: skip
"""The rest of the trade."""

ROWS = [*DANGEROUS, *FITS_AFTER_ALL, *MISLED, *EXCEEDED, *TRADE]


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_a_point_of_the_trade(row: Row) -> None:
    """A question of the counter comes to what a fitter says, by the rule that he would name."""
    _, facts, adapters, outcomes, rules = row
    found = {rule: result(rule, facts, adapters) for rule in rules}
    outcome = answerer().engine.evaluate(case(facts, adapters)).outcome
    assert (outcome in outcomes.split(), found) == (True, dict(rules)), outcome


def reading(found: Answer) -> str:
    """All that an answer says of itself."""
    return " ".join([found.summary, *(one.reason for one in found.findings if one.result != "passes")])


def test_the_question_of_the_trade_reads_plain_labels_first() -> None:
    """A 3,000 lb trailer on a class III receiver: the plain ratings are read, none for bars, and none of 0 lb."""
    told = {"receiver.opening": "2 in", "receiver.hitch_class": "III", "vehicle.body": "suv"}
    found = answer({**told, "trailer.gross_weight": "3000 lb"})
    asked = [step.fact for step in found.next]
    assert asked[:3] == ["receiver.trailer_rating", "vehicle.tow_rating", "receiver.tongue_rating"]
    assert not [name for name in asked if name.endswith("_wd")]
    assert " 0 lb" not in found.summary and not [step for step in found.next if "at most 0 lb" in step.works_if]


def test_a_part_that_nobody_weighed_weighs_something() -> None:
    """No reading says that a mount or an adapter may weigh nothing, nor that it fails from one pound on."""
    heavy = {**TOWED, "vehicle.placard_capacity": "800 lb"}
    arm = {**EXTENSION, "keeps_fraction": "80 %", "weight": None}
    full = {**BIKES, "accessory.extension_allowed": True, "receiver.tongue_rating": "163 lb"}
    for found in (answer(heavy), answer(full, [arm])):
        (step,) = (step for step in found.next if step.fact in ("accessory.weight", "adapter.weight"))
        assert (step.works_if, step.fails_if) == ("", "")


def test_hidden_lamps_are_one_thing_to_see_to() -> None:
    """A caution and a need of one defect are told once."""
    found = answer({**BIKES, "accessory.obscures_lamps": True, "vehicle.socket": "flat_4"})
    assert len(found.to_see_to) == 1 and "lamp board" in found.summary


def test_a_mount_is_turned_over_before_another_is_sold() -> None:
    """Where the same mount comes within an inch the other way up, it is said."""
    found = answer({**TOWED, "trailer.coupler_height": "22 in", "accessory.rise_turned_over": "2 in"})
    assert "Turned over it has 2 in" in found.summary


def test_no_next_step_offers_what_makes_no_difference() -> None:
    """A pin that comes with it or not, a box's load ahead of its front, a front from nothing on: none is asked for."""
    gate = {"load.needs_closure_open": True, "vehicle.closure_hinge_setback": "14 in", "accessory.tilts_clear": False}
    lift = {**gate, "vehicle.rear_closure": "lift_gate", "vehicle.closure_hinge_height": "76 in"}
    lid = {**gate, "vehicle.rear_closure": "trunk_lid", "vehicle.closure_hinge_height": "40 in"}
    box = {**BASKET, **lift, "vehicle.closure_length": "46 in", "accessory.kind": "enclosed_carrier"}
    tray = {**BASKET, **lid, "vehicle.closure_length": "30 in", "accessory.stow_height": "8 in"}
    pin = without(STEP, "accessory.pin_supplied", "receiver.pin_supplied")
    asked = {
        name: {step.fact: step for step in answer(facts).next}
        for name, facts in (("pin", pin), ("box", box), ("tray", tray))
    }
    assert not {"accessory.pin_supplied", "receiver.pin_supplied"} & asked["pin"].keys()
    assert "load.front_setback" not in asked["box"] and "load.top_height" not in asked["box"]
    assert all("at least 0 in" not in step.works_if for steps in asked.values() for step in steps.values())
    spare = answer(without({**BIKES, **SPARE}, "spare.stowed_where")).next
    vocabulary = answerer().rulebook.vocabulary
    words = vocabulary.words[vocabulary.facts["spare.stowed_where"].kind]
    assert not [
        step
        for step in spare
        if step.fact == "spare.stowed_where" and set(step.works_if.split(" or ")) == set(words.values())
    ]


def test_figures_are_told_by_their_sure_end() -> None:
    """A spare's place and a ramp are told by what is sure of them, never from below nothing up."""
    wide = {**BIKES, **SPARE, "spare.tyre": "37X12.50R17LT", "mounting.spare_blocked_from": "31 in"}
    found = answer(without(wide, "mounting.spare_fits_up_to"))
    assert found.outcome == "fails" and "at most 31 in" in reading(found) and "-0.0" not in reading(found)
    steep = answer({**BIKES, "load.steepest_grade": "40 %", "vehicle.tyre_radius": "15 in"})
    assert "0 % to" not in reading(steep) and "0 in to" not in reading(steep)


def test_a_shank_larger_than_the_opening_takes_no_reducer() -> None:
    """A reducer makes an opening smaller, so it is no help where the opening is too small already."""
    (rule,) = (one for one in answerer().rulebook.rules if one.id == "shank-fits-opening")
    helps = dict(zip(("opening", "shank"), rule.remedy.split("where ")[1:], strict=True))
    assert "reducer" in helps["opening"] and helps["shank"].startswith("the shank is")
    assert "reducer" not in helps["shank"] and "step up" in helps["shank"]


def test_a_trailer_told_in_parts_is_told_what_they_come_to() -> None:
    """Empty weight and cargo are added up, and what they come to is told among what is assumed."""
    parts = {**without(TOWED, "trailer.gross_weight"), "trailer.empty_weight": "1000 lb"}
    found = answer({**parts, "trailer.cargo_weight": "2400 lb"})
    assert found.outcome == "works"
    assert any("3400 lb" in line for line in found.assumed)
    assert answer({**parts, "trailer.cargo_weight": "4001 lb"}).outcome == "fails"


@pytest.mark.parametrize(
    ("changed", "outcome", "rule"),
    [
        (
            {"load.parking_room": "20 in", "accessory.stow_extent": "12 in"},
            "conditional",
            "fits-where-it-is-parked-loaded",
        ),
        ({"load.parking_room": "40 in", "accessory.stow_extent": "12 in"}, "works", ""),
        ({"ball.diameter": "2 in"}, "conditional", "something-takes-the-ball"),
        ({"vehicle.tyre_radius": "15 in", "mounting.height": "13 in"}, "works", ""),
        ({"vehicle.tyre_radius": "15 in", "mounting.height": "9 in"}, "conditional", "takes-a-usual-driveway"),
    ],
)
def test_a_careful_yes_says_what_it_takes(changed: Facts, outcome: str, rule: str) -> None:
    """A loaded tray that would have to fold, a ball that nothing takes and a rear that scrapes are told."""
    found = answer({**BIKES, **changed})
    assert found.outcome == outcome
    assert not rule or rule in {one.rule for one in found.findings if one.result == "fails"}


def test_a_pin_beside_another_thing_is_not_weighed() -> None:
    """Of a locking pin in the same receiver 5 lb are counted, and nobody is asked what it weighs."""
    pin = {"kind": "locking_pin", "pin": "5/8 in", "pin_span": "4 in"}
    thing = {"name": "pin", "hangs_on": "rear_receiver", "accessory": {"facts": pin}}
    found = answerer().answer(asked([bikes(2), thing]))
    results = {one.rule: one.result for one in found.findings}
    assert results["weight-on-one-receiver/opening.tongue_rating"] == "passes"
    assert "accessory.weight" not in {step.fact for one in found.together for step in one.answer.next}


def test_a_braked_trailer_in_europe_is_asked_for_its_cable_before_any_chain() -> None:
    """Such a trailer has a breakaway cable and no chains: nobody counts what need not be there."""
    chain = ("trailer.chain_count", "trailer.chain_rating_each", "trailer.chain_hook_size")
    told = {**without(TOWED, "trailer.breakaway", *chain),
            "load.jurisdiction": "european_union", "trailer.brakes": "surge"}  # fmt: skip
    steps = [step.fact for step in answer(told).next if "breakaway" in step.fact or "chain" in step.fact]
    assert steps == ["trailer.breakaway"]
    sure = answer({**told, "trailer.breakaway": True})
    assert not any("chain" in step.fact for step in sure.next)
    assert not any("chain" in one.rule and one.result == "undetermined" for one in sure.findings)


def test_no_chain_at_all_is_told_as_the_count_that_fails() -> None:
    """Of a count that may be none or one, none is as likely as the other and is the one that decides."""
    told = {**TOWED, "trailer.chain_count": {"at_most": 1}, "load.jurisdiction": "texas"}
    (step,) = (one for one in answer(told).next if one.fact == "trailer.chain_count")
    assert (step.works_if, step.fails_if) == ("", "0")
    assert answer({**told, "trailer.chain_count": 0}).outcome == "fails"
    assert answer({**told, "trailer.chain_count": 1}).outcome != "fails"


def test_no_reading_past_what_is_known_is_told_to_work() -> None:
    """At most 1500 kg are no 3307 lb, which is the next whole pound: with a chain for a cable that would be a no."""
    chain = {"trailer.chain_count": 1, "trailer.chain_rating_each": "2000 kg", "trailer.breakaway": False}
    plate = {"receiver.d_value": "14 kN", "receiver.vertical_rating": "90 kg"}
    told = {**TOWED, **chain, **plate, "trailer.brakes": "surge", "load.jurisdiction": "great_britain"}
    told |= {
        "trailer.gross_weight": {"at_most": "1500 kg"},
        "trailer.gvwr": "1500 kg",
        "trailer.tongue_weight": "85 kg",
    }
    assert answer({**told, "trailer.gross_weight": "3307 lb"}).outcome == "fails"
    steps = [one for one in answer(told).next if one.fact == "trailer.gross_weight"]
    assert steps and not any("3307" in one.works_if for one in steps)
