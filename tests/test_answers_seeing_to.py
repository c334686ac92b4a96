"""What an answer asks to be seen to: all of it, each thing once, and a summary that can be read out.

The questions are those of the demo world's that are read aloud, whole ones and such that much is missing of.
"""

import re
from collections.abc import Iterator
from typing import Final

from demo_world import world
from judging import answer, answerer
from test_answers_reading_aloud import answers
from test_rules_trade import TOWED

from fitsvc.answers.answer import Answer, ToSeeTo
from fitsvc.answers.seeing_to import told_once
from fitsvc.answers.summary import MOST_SEEN_TO

_COUNTED: Final = re.compile(r"(\d+) (?:job|part|thing)s? to (?:do|have|look at|find out)")
_NOT_FITTED: Final = {
    "accessory.kind": "step",
    "mounting.fitted": False,
    "mounting.drilling": True,
    "mounting.fascia_trim": "visible",
    "mounting.exhaust_lowering": True,
    "mounting.spare_lowering": True,
}


def seen_to() -> Iterator[Answer]:
    """Those that are neither yes nor no."""
    return (one for one in answers() if one.outcome in ("conditional", "undetermined"))


def said_by(one: Answer) -> frozenset[str]:
    """The rules that the allowance tells already."""
    limited = one.allowance is not None and one.allowance.at_most and not one.allowance.whole
    return answerer().wording.told_by(one.allowance.allowance) if one.allowance and limited else frozenset()


def test_all_that_is_to_be_seen_to_is_there_once() -> None:
    """Each caution, doubt and need belongs to one thing, and no thing is made of anything else."""
    effect = answerer().wording.effect
    for one in seen_to():
        minded = [found for found in one.findings if effect(found) in ("cautions", "doubts")]
        wanted = [found.rule for found in minded if found.result != "fails" or found.rule not in said_by(one)]
        assert sorted(rule for thing in one.to_see_to for rule in thing.rules) == sorted(wanted)
        needs = [need["need"] for need in one.needs]
        assert sorted(need for thing in one.to_see_to for need in thing.needs) == sorted(needs)
        assert all(thing.rules or thing.needs for thing in one.to_see_to)


def test_no_sentence_is_told_twice() -> None:
    """Neither within a thing nor between two."""
    for one in seen_to():
        told = [text for thing in one.to_see_to for text in (thing.told, *thing.also)]
        assert len(told) == len(set(told)), told


def test_a_yes_and_a_no_have_nothing_to_see_to() -> None:
    """A no can wait with what it would need; a plain yes has nothing."""
    assert not any(one.to_see_to for one in answers() if one.outcome in ("works", "fails"))


def test_what_may_yet_be_a_no_comes_first() -> None:
    """Doubts of rules that refuse, then what is surely amiss, then jobs, then parts, then the rest."""
    blocking = {rule.id for rule in answerer().rulebook.rules if rule.blocks}
    for one in seen_to():
        usual = frozenset(one.if_usual.settles if one.if_usual else ())
        may_be_no = [not (blocking - usual).isdisjoint(thing.rules) for thing in one.to_see_to]
        assert may_be_no == sorted(may_be_no, reverse=True)


def test_a_summary_reads_out_three_things_and_counts_the_rest() -> None:
    """What is read out and what is counted come to all there is; no summary is longer than can be kept in mind."""
    several = [one for one in seen_to() if one.outcome == "conditional" and len(one.to_see_to) > 1]
    assert several
    for one in several:
        first, then, counted = one.summary.partition(" Then ")
        assert f"see to {len(one.to_see_to)} things" in first
        left = sum(map(int, _COUNTED.findall(counted)))
        assert 1 <= len(one.to_see_to) - left <= MOST_SEEN_TO, one.summary
        assert bool(then) == bool(left)


def test_a_receiver_to_be_fitted_is_one_job() -> None:
    """Drilling, trimming and lowering are part of it; that the trimming shows stands in place of the trimming."""
    found = answer(_NOT_FITTED)
    (job,) = (thing for thing in found.to_see_to if "fitting" in thing.needs)
    assert set(job.needs) == {"fitting", "drilling", "fascia_trimming", "exhaust_lowering", "spare_lowering"}
    assert job.sort == "do" and job.rules == ["trimming-does-not-show"]
    assert len(job.also) == 4 and not any("trimming" in text for text in job.also)
    hidden = answer({**_NOT_FITTED, "mounting.fascia_trim": "hidden"})
    (job,) = (thing for thing in hidden.to_see_to if "fitting" in thing.needs)
    assert "Fitting the receiver takes trimming that does not show on the bumper fascia." in (job.told, *job.also)


def test_doubts_that_wait_for_the_same_facts_are_one_thing() -> None:
    """The distance from pin hole to bumper settles the coupler's room and the ball's place at once."""
    facts = {"accessory.kind": "ball_mount", "accessory.length": "9 in", "trailer.gross_weight": "1000 lb"}
    (thing,) = (one for one in answer(facts).to_see_to if "ball-clears-bumper" in one.rules)
    assert set(thing.rules) == {"ball-behind-bumper", "ball-clears-bumper"} and len(thing.also) == 1


def test_what_is_nearly_always_so_is_seen_to_last() -> None:
    """A shank that hardly ever is too long leads no answer: what is surely amiss does, and is read out first."""
    found = answer({**TOWED, "receiver.room_inside": "6 in", "trailer.tongue_weight": "180 lb"})
    assert [thing.sort for thing in found.to_see_to] == ["look at", "find out"]
    assert [thing.rules for thing in found.to_see_to][1] == ["shank-goes-home"]
    assert found.if_usual and found.if_usual.settles == ["shank-goes-home"]
    assert "may sway" in found.summary.partition("Push the shank in")[0]
    (step,) = found.next
    assert (step.fact, step.usual) == ("accessory.shank_ahead", "3 in ± 1 in")
    # Told to be longer than most, it is asked about first again.
    long = answer({**TOWED, "accessory.shank_ahead": {"at_least": "5 in"}, "trailer.tongue_weight": "180 lb"})
    assert long.to_see_to[0].rules == ["shank-goes-home"] and long.if_usual is None


def test_several_answers_tell_each_sentence_where_it_first_stands() -> None:
    """What two things on one rig are both to be seen to for is told once, also where it is not the first of its own."""
    first = ToSeeTo(sort="find out", told="Read it.", also=["Weigh all."], rules=["a", "b"], needs=[])
    other = ToSeeTo(sort="find out", told="Weigh all.", also=["Ask."], rules=["b", "c"], needs=[])
    same = ToSeeTo(sort="find out", told="Read it.", also=[], rules=["a"], needs=[])
    assert [(one.told, one.also) for one in told_once([first, other, same])] == [
        ("Read it.", ["Weigh all."]),
        ("Ask.", []),
    ]


def test_nothing_is_asked_for_that_decides_nothing() -> None:
    """Of what is known closely enough nobody is sent for a nearer reading: what is to be done is said in its place."""
    document = {
        "rig": {
            "vehicle": {"id": "veh_muckle_2023_short"},
            "receiver": {"id": "rcv_brannoch_muckle"},
            "mounting": {"id": "mnt_muckle_short_own"},
        },
        "accessory": {"sku": "EVK-2-1000"},
        "ball": {"sku": "RBL-2516-E"},
        "trailer": {"sku": "BRW-BARROW-24"},
        "load": {"facts": {"occupants_weight": "600 lb"}},
    }
    found = answerer().answer(document, world())
    (thing,) = found.to_see_to
    assert found.outcome == "conditional" and found.next == []
    assert found.summary == f"Only if you see to this. {thing.told}"
    for weight in ("810 lb", "850 lb"):
        told = {**document, "trailer": {"sku": "BRW-BARROW-24", "facts": {"tongue_weight": weight}}}
        assert answerer().answer(told, world()).summary == found.summary
