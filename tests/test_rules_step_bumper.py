"""A ball that no mount holds: what a rule says of a ball on a mount it says of that too, or there is a reason.

A step bumper has no opening, a towbar with a ball of its own neither, and the question no accessory, so a rule that is
guarded by the accessory's kind leaves them out without a word. Each that does is named here with why that is right. All
that a question can name is named with it: loads, people, a spare, and what else is on the rig.
"""

from dataclasses import replace

import pytest
from judging import Facts, answerer, case

SHANK = "nothing goes into an opening: there is neither shank nor pin, sleeve nor adapter"
MOUNT = "it is about the mount itself, and there is none"
FRONT = "it is about what hangs at the front, and nothing is towed there"
TRIED = "only an accessory is tried on a rig"
OWN = "rules of the ball in place judge it: its hole, its place, its size, its height, its rating, its axles"
BARS = "weight distribution is refused on a ball in place"
LEFT_OUT = {
    "above-the-ground": MOUNT,
    "accessory-on-receiver": MOUNT,
    "accessory-on-vehicle": MOUNT,
    "accessory-plug-fits-socket": MOUNT,
    "accessory-tows": MOUNT,
    "accessory-within-s-value": MOUNT,
    "allowed-at-the-front": FRONT,
    "another-hitch-pin": SHANK,
    "approved-behind-motorhome": MOUNT,
    "approved-behind-trailer": MOUNT,
    "ball-behind-bumper": OWN,
    "ball-bushing": SHANK,
    "ball-clears-bumper": OWN,
    "ball-near-once-the-rear-is-down": OWN,
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
    "closure-touched-through-others-when-tried": TRIED,
    "coupling-suits-mount": "the ball's size is held to the coupler's, and a ring has none",
    "ends-behind-its-front": MOUNT,
    "extensions-not-stacked": SHANK,
    "fits-where-it-is-parked": "what stands out behind the bumper there does so whatever is asked about",
    "folded-ends-behind-its-front": MOUNT,
    "folded-reaches-no-farther": MOUNT,
    "front-axle-restored": BARS,
    "front-axle-with-trailer": OWN,
    "front-clears-the-grade": FRONT,
    "front-no-higher-than-the-top": MOUNT,
    "headlamps-in-sight": FRONT,
    "hitch-pin": SHANK,
    "lamp-board": MOUNT,
    "lamp-wiring-adapter": MOUNT,
    "length-ahead-of-its-end": MOUNT,
    "lowest-point-behind-the-bumper": MOUNT,
    "lowest-point-below-the-platform": MOUNT,
    "lowest-point-within-the-accessory": MOUNT,
    "mount-tongue-rating-below-trailer-rating": MOUNT,
    "openings-stand-apart": "nothing else goes into what holds it: that is refused",
    "openings-told-apart": "nothing else goes into what holds it: that is refused",
    "pin-fits-hole": SHANK,
    "pin-fits-unusual-hole": SHANK,
    "pin-hole-has-metal-ahead": SHANK,
    "pin-hole-is-closed": SHANK,
    "pin-hole-is-usual": SHANK,
    "pin-longer-than-the-opening": SHANK,
    "pin-no-longer-than-it-needs": SHANK,
    "pin-spans-receiver": SHANK,
    "pin-suits-large-opening": SHANK,
    "plate-in-sight": "what a ball in place hides is no fact; makers leave the plate in sight",
    "play-is-no-size-smaller": SHANK,
    "play-is-of-its-size": SHANK,
    "pulled-by-recovery-gear-only": MOUNT,
    "rating-suits-class": "a ball in place is of no class",
    "rating-suits-hook-ball": MOUNT,
    "reach-ahead": FRONT,
    "reach-aside-flagged-where-driven": MOUNT,
    "reach-aside-where-driven": MOUNT,
    "reach-aside-without-flag": MOUNT,
    "reach-suits-kind": MOUNT,
    "rear-axle-bears-the-least": MOUNT,
    "rear-axle-with-accessory": MOUNT,
    "rear-axle-with-bars": BARS,
    "rear-axle-with-trailer": OWN,
    "rear-end-clears-steepest-grade": MOUNT,
    "rubbed-when-tried": TRIED,
    "shank-fits-opening": SHANK,
    "shank-goes-home": SHANK,
    "shank-suits-ratings": MOUNT,
    "sleeve-adds-no-length": SHANK,
    "sleeves-not-stacked": SHANK,
    "something-takes-the-ball": MOUNT,
    "things-stand-apart": "nothing else goes into what holds it: that is refused",
    "tongue-rating-suits-class": "a ball in place is of no class",
    "tongue-weight/accessory.tongue_rating": MOUNT,
    "touched-through-others-when-tried": TRIED,
    "trailer-bears-what-hangs-on-it": "a second trailer behind a trailer is refused",
    "trailer-level-on-fixed-mount": OWN,
    "trailer-weight/accessory.trailer_rating": MOUNT,
    "trailer-with-what-hangs-on-it/accessory.trailer_rating": MOUNT,
    "two-inch-shank-suits-ratings": MOUNT,
    "weigh-the-tongue-again": "a second trailer behind a trailer is refused",
    "weight-distribution-through-its-head": BARS,
    "weight-suits-kind": MOUNT,
    "well-above-the-ground": MOUNT,
    "width-on-the-road": MOUNT,
    "width-where-driven": MOUNT,
}
BESIDE: Facts = {
    "trailer.coupler": "2 in",
    "load.occupants_weight": "300 lb",
    "ball.rating": "5000 lb",
    "spare.stowed_where": "inside",
    "beside.hangs_on": "rear_receiver",
    "wiring_adapter.plug": "flat_4",
}
"""A fact of each subject that the question is about beside the rig; none of them is known to the rules."""


def _speaking(facts: Facts) -> set[str]:
    """Give the rules and needs that may say something where no more is known, and all else or nothing else is named."""
    engine = answerer().engine
    book = engine.rulebook
    one = case({**facts, **BESIDE})
    subjects = one.present & set(book.vocabulary.subjects)
    known = {name: value for name, value in one.facts.items() if name in facts}
    found: set[str] = set()
    # Where it is named that the ball is the towbar's own, nothing else speaks of a ball on a mount.
    every = frozenset(name for name in book.named if name.split(".")[0] in subjects) - {"receiver.own_ball"}
    for named in (frozenset[str](), every):
        asked = replace(one, facts=known, present=subjects | named | (facts.keys() & book.named))
        verdict = engine.evaluate(asked)
        results = verdict.results(len(book.rules))
        found |= {rule.id for rule, told in zip(book.rules, results, strict=True) if told != "not_applicable"}
        found |= {book.needs[number].id for number in verdict.open_needs}
    return found


@pytest.mark.parametrize("place", ["step_bumper", "towball"])
def test_no_rule_of_a_ball_on_a_mount_forgets_the_ball_in_place(place: str) -> None:
    """A rule that leaves step bumper and towbar out has a reason here, and no reason outlives its need."""
    mount = _speaking({"accessory.kind": "ball_mount", "receiver.place": "frame"})
    in_place = _speaking({"receiver.place": place})
    assert mount - in_place - LEFT_OUT.keys() == set()
    assert LEFT_OUT.keys() & in_place == set()
    assert LEFT_OUT.keys() <= mount


def test_all_that_a_question_can_name_is_named() -> None:
    """No rule is forgotten since the question left its subject out."""
    assert {name.split(".")[0] for name in BESIDE} | {"vehicle", "receiver", "mounting", "accessory", "adapter"} == {
        *answerer().engine.rulebook.vocabulary.subjects
    }
