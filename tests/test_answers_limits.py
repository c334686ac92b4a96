"""A limit names the part that governs it and the ones not known, by the facts that people can look up."""

from typing import Any

from demo_world import answerer

from fitsvc.answers.answer import LimitShown

MOUNT = {"kind": "ball_mount", "shank": "2 in", "trailer_rating": "6000 lb"}
EXTENSION = {"kind": "extension", "fits_opening": "2 in", "offers_opening": "2 in", "keeps_fraction": "50 %"}


def trailer_limit(receiver: dict[str, Any], adapters: list[dict[str, Any]], **parts: Any) -> LimitShown:
    """The trailer-weight limit of a mount behind a receiver with adapters in it."""
    rig = {"receiver": {"facts": receiver}, "adapters": [{"facts": facts} for facts in adapters], **parts}
    found = answerer().answer({"rig": rig, "accessory": {"facts": MOUNT}})
    return next(limit for limit in found.limits if limit.limit == "trailer_weight")


def test_the_receiver_governs_by_its_own_fact() -> None:
    """With nothing in the opening, the receiver's rating is named as the receiver's."""
    limit = trailer_limit({"trailer_rating": "5000 lb"}, [])
    assert (limit.at_most, limit.governed_by) == ("5000 lb", "receiver.trailer_rating")


def test_an_adapter_that_governs_is_named() -> None:
    """An extension rated lower than what it leaves of the receiver's rating is the part to look at."""
    limit = trailer_limit({"trailer_rating": "5000 lb"}, [{**EXTENSION, "trailer_rating": "1500 lb"}])
    assert (limit.at_most, limit.governed_by) == ("1500 lb", "adapter.trailer_rating")


def test_unknown_ratings_are_named_by_the_facts_missing() -> None:
    """Where the extension's share is not known, that is what stands under `unknown`, not a computation."""
    vehicle = {"vehicle": {"facts": {"tow_rating": "7000 lb"}}}
    limit = trailer_limit({}, [], **vehicle)
    assert "receiver.trailer_rating" in limit.unknown
    vocabulary = answerer().rulebook.vocabulary
    assert all(name in vocabulary.facts for name in limit.unknown)


def test_the_same_facts_are_told_the_same_limits() -> None:
    """A limit kept from an earlier question is told again only for the same facts."""
    lower = trailer_limit({"trailer_rating": "4000 lb"}, [])
    again = trailer_limit({"trailer_rating": "5000 lb"}, [])
    assert (lower.at_most, again.at_most) == ("4000 lb", "5000 lb")


def test_a_rating_surely_below_nothing_and_open_below_is_told() -> None:
    """A vehicle heavier than its GVWR has nothing left for people, by how much is told, and no figure below nothing."""
    vehicle = {"facts": {"gvwr": "5000 lb", "curb_weight": "6000 lb"}}
    document = {"rig": {"vehicle": vehicle}, "trailer": {"facts": {"coupler": "2 in"}}}
    limits = {limit.limit: limit for limit in answerer().answer(document).limits}
    assert (limits["people_and_luggage"].at_most, limits["people_and_luggage"].over) == ("0 lb", "1000 lb")
    assert not limits["trailer_weight"].over
    assert "trailer.gross_weight" in limits["people_and_luggage"].unknown


def test_a_driver_is_counted_where_no_load_is_named() -> None:
    """Payload for the tongue weight but not for a driver of 150 lb as well is no yes (common practice, no source)."""
    trailer = {"facts": {"gross_weight": "2200 lb", "tongue_weight": "220 lb"}}
    for gvwr, result in (("5230 lb", "fails"), ("5370 lb", "passes")):
        rig = {"vehicle": {"facts": {"gvwr": gvwr, "curb_weight": "5000 lb"}}}
        found = answerer().answer({"rig": rig, "trailer": trailer})
        assert next(one.result for one in found.findings if one.rule == "driver-within-payload") == result


RATED = {"trailer_rating": "5000 lb"}


def reason(adapters: list[dict[str, Any]], gross: str = "4000 lb", receiver: dict[str, Any] = RATED) -> str:
    """What the finding of the opening's trailer rating says."""
    rig = {"receiver": {"facts": receiver}, "adapters": [{"facts": facts} for facts in adapters]}
    trailer = {"facts": {"gross_weight": gross, "weight_distribution": False}}
    found = answerer().answer({"rig": rig, "accessory": {"facts": MOUNT}, "trailer": trailer})
    return next(one.reason for one in found.findings if one.rule == "trailer-weight/towing.opening_trailer_rating")


def test_a_reason_names_the_part_whose_rating_it_is() -> None:
    """Whose label to look at is told of the same receiver with one thing or another in it, in turn."""
    sleeve = {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in"}
    assert "the receiver's trailer rating is 5000 lb: 1000 lb too much" in reason([], "6000 lb")
    lower = [{**EXTENSION, "trailer_rating": "1500 lb"}]
    assert "the adapter's trailer rating is 1500 lb: 2500 lb too much" in reason(lower)
    halved = [{**EXTENSION, "trailer_rating": "9000 lb"}]
    assert "the receiver's trailer rating with what is in it is 2500 lb: 1500 lb too much" in reason(halved)
    higher = [{**sleeve, "trailer_rating": "9000 lb"}]
    assert "the receiver's trailer rating is 5000 lb: 1000 lb too much" in reason(higher, "6000 lb")
    assert "within the adapter's trailer rating" in reason([{**sleeve, "trailer_rating": "4500 lb"}])


def test_a_reason_names_the_part_whose_rating_is_missing() -> None:
    """That of the dual receiver in it and its share are what to look for; a sleeve's is a caution."""
    sleeve = {"kind": "reducer_sleeve", "fits_opening": "2-1/2 in", "offers_opening": "2 in"}
    found = reason([{**sleeve, "kind": "dual_receiver", "adds_length": "0 in"}])
    unknown = "The adapter's trailer rating and the share of the ratings the adapter keeps are not known, so it is open"
    assert found.startswith(unknown)
    assert found.endswith("within the receiver's trailer rating with what is in it.")
    found = reason([{**sleeve, "trailer_rating": "9000 lb"}], receiver={})
    assert found.startswith("The receiver's trailer rating is not known, so it is open")
