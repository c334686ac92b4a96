"""A ball that sits in the bumper: what a rule says of a ball on a mount it says of that too, or there is a reason.

A step bumper has no opening and the question no accessory, so a rule that is guarded by the accessory's kind leaves it
out without a word. Each that does is named here with why that is right.
"""

from dataclasses import replace

from judging import Facts, answerer, case

SHANK = "nothing goes into an opening: there is neither shank nor pin, sleeve nor adapter"
MOUNT = "it is about the mount itself, and there is none"
LOAD = "it is about a load or a person on the accessory; none is borne here, and one that is named is refused"
TRIED = "only an accessory is tried on a rig"
OWN = "rules of the step bumper's own judge it: its hole, its thickness, its height, its rating, its axles"
BARS = "weight distribution is refused on a bumper"
LEFT_OUT = {
    "above-the-ground": MOUNT,
    "accessory-on-receiver": MOUNT,
    "accessory-on-vehicle": MOUNT,
    "accessory-plug-fits-socket": MOUNT,
    "accessory-tows": MOUNT,
    "accessory-within-s-value": MOUNT,
    "approved-behind-motorhome": MOUNT,
    "approved-behind-trailer": MOUNT,
    "ball-behind-bumper": "the ball stands on the bumper, with the bumper's own metal cut for the coupler",
    "ball-clears-bumper": "the ball stands on the bumper, with the bumper's own metal cut for the coupler",
    "ball-near-the-couplers-height": OWN,
    "ball-shank-enters-hole": OWN,
    "ball-shank-fills-hole": OWN,
    "ball-shank-long-enough": OWN,
    "bed-hitch-takes-no-shank": SHANK,
    "class-perhaps-asked-for": MOUNT,
    "cleared-when-tried": TRIED,
    "clears-steepest-grade": MOUNT,
    "clears-steepest-grade-with-room": MOUNT,
    "closure-opens-past-accessory": MOUNT,
    "closure-rubbed-when-tried": TRIED,
    "closure-that-must-open-cleared": TRIED,
    "coupling-suits-mount": "the ball's size is held to the coupler's, and a ring has none",
    "ends-behind-its-front": MOUNT,
    "extensions-not-stacked": SHANK,
    "fits-where-it-is-parked": "the ball stands over the bumper and is told to reach no farther back",
    "folded-ends-behind-its-front": MOUNT,
    "front-axle-restored": BARS,
    "front-axle-with-trailer": OWN,
    "length-ahead-of-its-end": MOUNT,
    "mount-tongue-rating-below-trailer-rating": MOUNT,
    "no-opening-beside-an-own-ball": SHANK,
    "no-opening-in-a-step-bumper": SHANK,
    "only-steps-are-stood-upon": LOAD,
    "pin-fits-hole": SHANK,
    "pin-fits-unusual-hole": SHANK,
    "pin-hole-is-usual": SHANK,
    "pin-longer-than-the-opening": SHANK,
    "pin-spans-receiver": SHANK,
    "pin-suits-large-opening": SHANK,
    "plate-in-sight": "a ball on the bumper is what makers leave the plate in sight with",
    "pulled-by-recovery-gear-only": MOUNT,
    "rating-suits-class": "a step bumper is of no class",
    "rear-axle-bears-the-least": MOUNT,
    "rear-axle-with-accessory": MOUNT,
    "rear-axle-with-bars": BARS,
    "rear-axle-with-trailer": OWN,
    "receiver-is-for-towing": "the bumper's trailer rating is held to whatever is coupled",
    "rubbed-when-tried": TRIED,
    "shank-fits-opening": SHANK,
    "shank-goes-home": SHANK,
    "sleeve-adds-no-length": SHANK,
    "sleeves-not-stacked": SHANK,
    "something-takes-the-ball": MOUNT,
    "tongue-weight/accessory.tongue_rating": MOUNT,
    "trailer-bears-what-hangs-on-it": "a second trailer behind a trailer is refused",
    "trailer-level-on-fixed-mount": OWN,
    "trailer-weight/accessory.trailer_rating": MOUNT,
    "vehicle-is-for-towing": "the vehicle's trailer rating is held to whatever is coupled",
    "weight-distribution-through-its-head": BARS,
    "well-above-the-ground": MOUNT,
}


def _speaking(facts: Facts) -> set[str]:
    """Give the rules that may say something where no more is known than this, and all else or nothing else is named."""
    engine = answerer().engine
    book = engine.rulebook
    others: Facts = {"trailer.coupler": "2 in", "load.occupants_weight": "300 lb", "ball.rating": "5000 lb"}
    one = case({**facts, **others})
    subjects = one.present & set(book.vocabulary.subjects)
    known = {name: value for name, value in one.facts.items() if name in facts}
    found: set[str] = set()
    for named in (frozenset[str](), frozenset(name for name in book.named if name.split(".")[0] in subjects)):
        asked = replace(one, facts=known, present=subjects | named | (facts.keys() & book.named))
        results = engine.evaluate(asked).results(len(book.rules))
        found |= {rule.id for rule, told in zip(book.rules, results, strict=True) if told != "not_applicable"}
    return found


def test_no_rule_of_a_ball_on_a_mount_forgets_the_ball_in_the_bumper() -> None:
    """A rule that leaves the step bumper out has a reason here, and no reason outlives its need."""
    mount = _speaking({"accessory.kind": "ball_mount", "receiver.place": "frame"})
    bumper = _speaking({"receiver.place": "step_bumper"})
    assert mount - bumper - LEFT_OUT.keys() == set()
    assert LEFT_OUT.keys() & bumper == set()
