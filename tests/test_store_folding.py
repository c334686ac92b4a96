"""The law by which statements become facts, held to its plain words over random histories."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from math import inf
from typing import Any

import pytest
from effort import TIMED, tries
from hypothesis import HealthCheck, assume, given
from hypothesis import strategies as st
from msgspec.structs import replace as said_as

from fitsvc.document import Json
from fitsvc.language.intervals import TOLERANCE
from fitsvc.store.folding import KnownFact, current_facts, fold, fold_fact, standing
from fitsvc.store.spans import Span, agree, apart, same
from fitsvc.store.statements import ALL, PUBLISHED, FactLaw, Said

DAY = datetime(2026, 11, 1, tzinfo=UTC)
TOLD: dict[str, Any] = {"fact": "x", "by": "Bo", "at": DAY, "observation": "obs_x", "source": ""}


@dataclass(frozen=True)
class Told:
    """One observation, as the fold sees it."""

    facts: dict[str, Json]
    kind: str = "measured"
    by: str = ""
    id: str = "obs_x"
    at: datetime = DAY
    written_by: str = ""
    source: str = ""
    evidence: dict[str, Json] | None = None
    takes_back: dict[str, Sequence[str]] | None = None
    ground: dict[str, Json] | None = None


class Ranges:
    """A law of facts whose values are pairs of numbers, or lists of letters."""

    def __init__(self, **law: Any) -> None:
        self._law = FactLaw(read=lambda value, kind: (value, _span(value)), write=_written, **law)

    def fact(self, name: str) -> FactLaw:
        """The law of every fact."""
        return self._law

    def whole(self, name: str) -> str:
        """A fact's name as others lean on it."""
        return f"s.{name}"

    def taught(self, evidence: Any) -> Any:
        """What was tried is said as it is."""
        return evidence

    def bounded(self, evidence: Any, around: Any) -> Any:
        """Nothing follows from anything around it."""
        return {}

    def supposed(self, evidence: Any, around: Any) -> Any:
        """Nothing would follow from anything around it."""
        return {}

    def teaches(self, evidence: Any) -> Any:
        """What was tried is said as it is."""
        return list(evidence)

    def tried(self, evidence: Any) -> None:
        """Nothing answers for itself."""

    def changed(self, name: str, was: Json, now: Json) -> bool:
        """Whether it is another."""
        return bool(was != now)


def _span(value: Json) -> Span:
    return frozenset(value) if isinstance(value, str) else (float(value[0]), float(value[1]))


def _written(span: Span, like: Json) -> Json:
    return "".join(sorted(span)) if isinstance(span, frozenset) else list(span)


LAW = Ranges()
ENDS = st.tuples(st.integers(0, 40), st.integers(0, 12)).map(lambda pair: [pair[0], pair[0] + pair[1]])
LETTERS = st.sets(st.sampled_from("abcde"), min_size=1).map(lambda found: "".join(sorted(found)))
PEOPLE = st.sampled_from(["", "Ann", "Bo", "Cy"])
SEEN = st.just("measured")
RARE = tries(200, suppress_health_check=(*TIMED, HealthCheck.filter_too_much))
"""For a law of histories of a sort that chance seldom makes."""
KINDS = st.sampled_from(["assumed", "published", "measured", "read"])


def histories(values: st.SearchStrategy[Json], kinds: st.SearchStrategy[str] = KINDS) -> st.SearchStrategy[list[Told]]:
    """Histories of one fact, each statement seen at its own time, in any order of entry."""
    told = st.lists(st.tuples(values, kinds, PEOPLE), min_size=1, max_size=6)
    return told.flatmap(
        lambda rows: st.permutations(range(len(rows))).map(
            lambda order: [
                Told({"x": value}, kind, by, f"obs_{n}", DAY + timedelta(hours=order[n]))
                for n, (value, kind, by) in enumerate(rows)
            ]
        )
    )


def known(history: Sequence[Told], law: Ranges = LAW) -> KnownFact:
    """What is known of the one fact."""
    return fold(history, law)["x"]


def within(one: Span | None, other: Span | None) -> bool:
    """Whether one span allows nothing that the other does not."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return other[0] - TOLERANCE <= one[0] and one[1] <= other[1] + TOLERANCE
    assert isinstance(one, frozenset) and isinstance(other, frozenset)
    return one <= other


@given(st.one_of(histories(ENDS), histories(LETTERS)), st.randoms())
def test_the_order_of_entry_does_not_matter(history: list[Told], chance: Any) -> None:
    """What is known, how sure and from which statements is the same in whatever order they were typed."""
    mixed = list(history)
    chance.shuffle(mixed)
    one, other = known(history), known(mixed)
    assert (one.value, one.state, one.kind) == (other.value, other.state, other.kind)
    assert {said.observation for said in one.counts} == {said.observation for said in other.counts}


@RARE
@given(st.one_of(histories(ENDS), histories(LETTERS)), st.one_of(ENDS, LETTERS))
def test_a_statement_that_agrees_with_all_that_stand_only_tightens(history: list[Told], value: Json) -> None:
    """Nothing becomes possible by one more reading that agrees with every other one, and with what is known.

    A choice that is disputed is left out: a member for which too few spoke before may come to stand beside those left
    ("abcd", "be", "e", then "de"), so that it opens, and stays disputed until a person settles it.
    """
    said, span = standing(history, LAW)["x"], _span(value)
    assume(known(history).state != "disputed" or isinstance(span, tuple))
    spans = [known(history).span, *(one.span for one in said)]
    assume(all(one is not None and isinstance(one, tuple) == isinstance(span, tuple) for one in spans))
    assume(all(one is not None and agree(one, span) for one in spans))
    assume(any(one.kind in ("measured", "read") for one in said))
    more = [*history, Told({"x": value}, "measured", "", "obs_new", DAY + timedelta(days=9))]
    assert within(known(more).span, known(history).span)


@RARE
@given(st.one_of(histories(ENDS, SEEN), histories(LETTERS, SEEN)), st.one_of(ENDS, LETTERS))
def test_a_statement_that_disputes_what_is_known_only_widens(history: list[Told], value: Json) -> None:
    """What was possible stays possible: so an answer can come to be open by it, and never to be sure."""
    before, span = known(history), _span(value)
    assume(before.state == "" and isinstance(before.span, tuple) == isinstance(span, tuple))
    assert before.span is not None
    assume(apart(before.span, span))
    after = known([*history, Told({"x": value}, "measured", "", "obs_new", DAY + timedelta(days=9))])
    assert after.state == "disputed"
    assert within(before.span, after.span)
    assert within(span, after.span) or any(not apart(span, one.span) for one in after.counts[:-1] if one.span)


@given(histories(ENDS), ENDS, KINDS, PEOPLE)
def test_retracting_restores_exactly(history: list[Told], value: Json, kind: str, by: str) -> None:
    """A statement and its retraction leave no trace in what is known, and a retraction retracted leaves it said."""
    said = Told({"x": value}, kind, by, "obs_new", DAY + timedelta(days=9))
    taken = Told({}, "assumed", "", "obs_gone", DAY, takes_back={ALL: ["obs_new"]})
    restored = Told({}, "assumed", "", "obs_back", DAY, takes_back={ALL: ["obs_gone"]})
    assert current_facts([*history, said, taken], LAW) == current_facts(history, LAW)
    assert current_facts([*history, said, taken, restored], LAW) == current_facts([*history, said], LAW)


@given(st.dictionaries(st.sampled_from(["Ann", "Bo", "Cy", "Di", "Ed"]), ENDS, min_size=1))
def test_ranges_fold_to_their_plain_words(told: dict[str, Json]) -> None:
    """Between the outermost points that as many readings allow as any point that they all allow does."""
    spans = [(float(value[0]), float(value[1])) for value in told.values()]
    assume(all(apart(a, b) or agree(a, b) for a, b in combinations(spans, 2)))
    history = [Told({"x": value}, "measured", by, f"obs_{by}") for by, value in told.items()]
    points = [n / 2 for n in range(110)]
    allowed = {p: frozenset(i for i, (lo, hi) in enumerate(spans) if lo <= p <= hi) for p in points}
    best = [p for p, by in allowed.items() if by and not any(by < other for other in allowed.values())]
    assert known(history).span == (min(best), max(best))
    everything = any(len(by) == len(spans) for by in allowed.values())
    assert known(history).state == ("" if everything else "disputed")


@given(st.lists(LETTERS, min_size=1, max_size=5))
def test_members_fold_to_their_plain_words(told: list[str]) -> None:
    """A member is possible unless another is allowed by all that allow it, and by more."""
    history = [Told({"x": value}, "measured", f"p{n}", f"obs_{n}") for n, value in enumerate(told)]
    found = known(history).span
    for member in "abcde":
        by = {n for n, value in enumerate(told) if member in value}
        beaten = any(by < {n for n, value in enumerate(told) if other in value} for other in "abcde")
        assert (member in (found or ())) == (bool(by) and not beaten)


def test_f8_readings_that_hardly_overlap_tighten_nothing() -> None:
    """4 ± 1/4 and 4.47 ± 1/4 share 0.03 of half an inch: everything that either allows is left, and it says so."""
    found = known([Told({"x": [3.75, 4.25]}, by="Ann", id="obs_a"), Told({"x": [4.22, 4.72]}, by="Bo", id="obs_b")])
    assert (found.span, found.state) == ((3.75, 4.72), "doubtful")
    half = known([Told({"x": [3.75, 4.25]}, by="Ann", id="obs_a"), Told({"x": [4, 4.5]}, by="Bo", id="obs_b")])
    assert (half.span, half.state) == ((4, 4.25), "")


@pytest.mark.parametrize("late", [False, True])
def test_f2_one_person_is_believed_as_of_when_it_was_seen(late: bool) -> None:
    """A reading of last month that is entered today does not take the place of today's, whoever else is silent."""
    october = Told({"x": [9, 9]}, by="Cy", id="obs_o", at=DAY - timedelta(days=31))
    november = Told({"x": [3, 3]}, by="Cy", id="obs_n", at=DAY)
    found = known([november, october] if late else [october, november])
    assert (found.span, found.state, found.observation) == ((3, 3), "", "obs_n")


def test_f1_two_people_leave_both_words() -> None:
    """Neither who typed last nor who said it twice decides."""
    ann, bo = Told({"x": [14, 14]}, by="Ann", id="obs_a"), Told({"x": [4, 4]}, by="Bo", id="obs_b")
    again = replace(ann, id="obs_c", at=DAY + timedelta(days=1))
    for history in ([ann, bo], [bo, ann], [ann, bo, again], [bo, ann, again]):
        assert (known(history).span, known(history).state) == ((4, 14), "disputed")


def test_a_name_that_is_only_the_keys_is_nobody() -> None:
    """Two readings that came in by one key without a name may be two people's."""
    told = [
        Told({"x": [value, value]}, by="yard", written_by="yard", id=f"obs_{value}", at=DAY + timedelta(days=value))
        for value in (4, 14)
    ]
    assert known(told).state == "disputed"


def test_f1_a_better_kind_of_telling_does_not_lift_a_rating() -> None:
    """Published 450 lb and a label read as 600 lb: nothing above 450 may pass; a label of 400 lb is simply taken."""
    law = Ranges(rating=True)
    published = Told({"x": [450, 450]}, "published", "", "obs_p")
    lifted = known([published, Told({"x": [600, 600]}, "read", "Bo", "obs_r")], law)
    assert (lifted.span, lifted.state) == ((450, 600), "disputed")
    lowered = known([published, Told({"x": [400, 400]}, "read", "Bo", "obs_r")], law)
    assert (lowered.span, lowered.state) == ((400, 400), "")
    assert known([published, Told({"x": [300, 300]}, "assumed", "", "obs_g")], law).span == (450, 450)


def test_a_makers_no_is_not_lifted_by_a_better_kind_of_telling() -> None:
    """Published as not allowed and read as allowed: both stay possible; of what is no limit the reading counts."""
    no, yes = frozenset({"no"}), frozenset({"yes"})
    said = [Said(**TOLD, value=False, kind="published", span=no), Said(**TOLD, value=True, kind="read", span=yes)]
    law = FactLaw(read=lambda value, kind: (value, yes if value else no), write=lambda span, like: None, rating=True)
    held, let = fold_fact(said, law), fold_fact(said, replace(law, rating=False))
    assert (held.span, held.state, held.value) == (no | yes, "disputed", None)
    assert (let.span, let.state, let.value) == (yes, "", True)
    assert fold_fact([said_as(said[0], span=yes, value=True), said_as(said[1], span=no, value=False)], law).span == no


def test_a_published_figure_stands_within_what_was_only_tried() -> None:
    """A trial that went tells no figure: at most 5 in and a published 3 in both hold, whoever keeps that it went."""
    published, went = Told({"x": [3, 3]}, "published", "", "obs_p"), Told({"x": [0, 5]}, "tried", "Ann", "obs_t")
    both = known([published, went])
    assert (both.span, both.kind, both.state) == ((3, 3), "published", "")
    assert known([went, published]).span == (3, 3)
    assert {one.observation for one in both.counts} == {"obs_p", "obs_t"}
    contradicted = known([Told({"x": [6, 6]}, "published", "", "obs_p"), went])
    assert (contradicted.span, contradicted.kind) == ((0, 5), "tried")
    assert known([Told({"x": [3, 8]}, "published", "", "obs_p"), went]).span == (0, 5)
    assert known([Told({"x": [3, 3]}, "assumed", "", "obs_a"), went]).span == (0, 5)
    assert known([published, went, Told({"x": [4, 4]}, "measured", "Bo", "obs_m")]).span == (4, 4)
    assert known([published, went, Told({"x": [8, 9]}, "tried", "Bo", "obs_b")]).state == "disputed"
    assert known([published, Told({"x": [2, 2]}, "published", "", "obs_q", source="b"), went]).span == (0, 5)


def test_what_is_only_supposed_puts_in_dispute_and_rules_nothing_out() -> None:
    """Beside what it holds with, it says nothing; beside what it does not, all that either allows is possible."""
    law = FactLaw(read=lambda value, kind: (value, _span(value)), write=_written)

    def left(*spans: tuple[float, float], kind: str = "measured") -> tuple[Span | None, str]:
        firm, *others = spans
        said = [Said(**TOLD, value=list(firm), kind=kind, span=firm)]
        said += [
            Said(**TOLD | {"by": "Bo", "person": "Bo"}, value=list(one), kind="tried", span=one, supposed=True)
            for one in others
        ]
        found = fold_fact(said, law)
        return found.span, found.state

    for kind in ("published", "measured", "assumed"):
        assert left((2, 5), (3, 9), kind=kind) == ((2, 5), "")
        assert left((2, 5), (8, 9), kind=kind) == ((2, 9), "disputed")
        assert left((2, 5), (8, inf), kind=kind) == ((2, inf), "disputed")
        assert left((2, 5), (3, 9), (0, 1), kind=kind) == ((0, 5), "disputed")
        assert left((2, 5), (4.9, 9), kind=kind) == ((2, 9), "doubtful")


@pytest.mark.parametrize("kind", ["published", "assumed"])
def test_who_publishes_otherwise_takes_no_place_but_their_own(kind: str) -> None:
    """Two lists that contradict each other are disputed, in either order; one that says otherwise later is not.

    A feed is one list whoever sends it; what has no name at all is the record's own word.
    """
    first, second = Told({"x": [600, 600]}, kind, id="obs_1"), Told({"x": [12, 12]}, kind, "second", "obs_2", DAY)
    feeds = [replace(first, source="s1"), replace(first, facts={"x": [12, 12]}, source="s2", id="obs_2")]
    for told in ([first, second], [second, first], [replace(first, by="first"), second], feeds):
        assert (known(told).span, known(told).state) == ((12, 600), "disputed"), told
    later = DAY + timedelta(days=1)
    for own in (first, second, feeds[0]):
        told = [own, replace(own, facts={"x": [9, 9]}, id="obs_3", at=later)]
        assert (known(told).span, known(told).state) == ((9, 9), "")
    sent = [replace(feeds[0], by="Ann"), replace(feeds[0], facts={"x": [9, 9]}, by="Bo", id="obs_3", at=later)]
    assert (known(sent).span, known(sent).state) == ((9, 9), "")
    same = [first, replace(second, facts=first.facts)]
    assert (known(same).span, known(same).state) == ((600, 600), "")


def test_kinds_rank() -> None:
    """Seen before published before assumed, in whatever order they came."""
    told = [Told({"x": [n, n]}, kind, "", f"obs_{n}") for n, kind in enumerate(("measured", "published", "assumed"))]
    assert known(told).span == known(told[::-1]).span == (0, 0)
    assert known(told[1:]).span == (1, 1)


def test_f15_a_vague_reading_keeps_what_agrees_with_it() -> None:
    """A published 2 in stands within a reading of 2 in or 2-1/2 in; one that does not is outranked."""
    assert known([Told({"x": "a"}, "published"), Told({"x": "ab"}, "measured", id="obs_m")]).span == frozenset("a")
    assert known([Told({"x": "c"}, "published"), Told({"x": "ab"}, "measured", id="obs_m")]).span == frozenset("ab")


def test_what_is_known_keeps_the_words_of_the_statement_it_comes_from() -> None:
    """One statement alone is told as it was typed, and so is one that says all there is to say."""
    narrow = Told({"x": [4, 5]}, by="Ann", id="obs_a")
    wide = Told({"x": [0, 9]}, by="Bo", id="obs_b", at=DAY + timedelta(days=1))
    found = known([narrow, wide])
    assert (found.value, found.observation) == ([4, 5], "obs_a")


def test_a_text_is_the_latest_seen() -> None:
    """What cannot be compared is not disputed."""
    law = FactLaw(read=lambda value, kind: (value, None), write=lambda span, like: like)
    said = standing([Told({"x": "old"}, id="obs_a"), Told({"x": "new"}, id="obs_b", at=DAY + timedelta(1))], LAW)["x"]
    assert fold_fact([said_as(one, span=None) for one in said], law).value == "new"


def test_same_spans_are_the_same_within_the_float() -> None:
    """A hair decides nothing."""
    assert same((1.0, 2.0), (1.0 + TOLERANCE / 2, 2.0))
    assert not same((1.0, 2.0), (1.1, 2.0))


def test_f5_a_reading_holds_while_what_it_leans_on_is_what_it_was() -> None:
    """With other tyres it is not known, and what was published of it neither; with the old ones back it is again."""
    law = Ranges(leans_on=("v.tyre",))
    history = [
        Told({"x": [9, 9]}, "published", id="obs_p"),
        Told({"x": [4, 4]}, by="Ann", id="obs_a", ground={"v.tyre": "small"}),
    ]
    for tyre, state, value in (("small", "", [4, 4]), ("large", "stale", None), (None, "", [4, 4])):
        found = fold(history, law, {"v.tyre": tyre})["x"]
        assert (found.state, found.value) == (state, value)
    again = Told({"x": [5, 5]}, by="Bo", id="obs_b", ground={"v.tyre": "large"}, at=DAY + timedelta(days=1))
    assert fold([*history, again], law, {"v.tyre": "large"})["x"].value == [5, 5]


def test_what_is_published_holds_while_what_it_leans_on_is_as_published() -> None:
    """A maker's figure is of the thing as it was sold: with other tyres on it nobody knows, whoever measured them."""
    law, history = Ranges(leans_on=("v.tyre",)), [Told({"x": [9, 9]}, "published", id="obs_p")]
    sold = {f"{PUBLISHED}v.tyre": "small"}
    for tyre, state, value in (("small", "", [9, 9]), ("large", "stale", None), (None, "", [9, 9])):
        found = fold(history, law, {"v.tyre": tyre, **sold})["x"]
        assert (found.state, found.value) == (state, value)
    guess = Told({"x": [7, 7]}, "assumed", id="obs_g")
    assert fold([*history, guess], law, {"v.tyre": "large", **sold})["x"].state == "stale"
    seen = Told({"x": [5, 5]}, by="Bo", id="obs_b", ground={"v.tyre": "large"})
    assert fold([*history, seen], law, {"v.tyre": "large", **sold})["x"].value == [5, 5]
    # What is published anew goes by what is published with it.
    assert fold(history, law, {"v.tyre": "large"})["x"].value == [9, 9]
