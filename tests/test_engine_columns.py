"""Columns say of every rig and item what point says of the case made of both, on random rulebooks and the real one."""

import gc
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise
from math import inf, isclose
from pathlib import Path
from random import Random
from threading import Barrier
from typing import Any
from weakref import ref

import numpy as np
import pytest
from effort import EFFORT, NIGHTLY
from random_rulebooks import Made, by_one_end, made_of, random_case, random_rulebook, shipped_rulebook

from fitsvc.engine.columns import boxes as column_boxes
from fitsvc.engine.columns import programs as column_programs
from fitsvc.engine.columns import rules as column_rules
from fitsvc.engine.columns.bitmaps import unpack
from fitsvc.engine.columns.kernel import Columns, Judged, LimitColumn
from fitsvc.engine.columns.signatures import Catalogue
from fitsvc.engine.limits import limits_of
from fitsvc.engine.verdict import RESULTS
from fitsvc.facts import Case, at_place
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.selection.results import deciding

FACT = "label: l, meaning: m, how_to_measure: h, effort: tape"
Item = tuple[Mapping[str, Value], frozenset[str]]


def split(made: Made, case: Case, subjects: frozenset[str]) -> Item:
    """The part of a case that is about some subjects, as an item: of a bound on it one end alone was told."""
    facts = {name: value for name, value in case.facts.items() if name.split(".", 1)[0] in subjects}
    return by_one_end(made, facts), frozenset(name for name in case.present if name.split(".", 1)[0] in subjects)


def rest(case: Case, subjects: frozenset[str]) -> Case:
    """The part of a case that is about the others."""
    facts = {name: value for name, value in case.facts.items() if name.split(".", 1)[0] not in subjects}
    present = frozenset(name for name in case.present if name.split(".", 1)[0] not in subjects)
    return Case(facts, present, case.adapters)


def joined(rig: Case, item: Item) -> Case:
    """The case made of a rig and an item."""
    return Case({**rig.facts, **item[0]}, rig.present | item[1], rig.adapters)


def told(made: Made, case: Case) -> tuple[object, ...]:
    """What point says of a case: outcome, results, open needs and limits."""
    case = made.engine.opened(case)
    verdict = made.engine.evaluate(case)
    results, lows = verdict.results(len(made.rulebook.rules)), limits_of(made.engine, case)
    limits = {
        limit.id: (
            inf if low.at_most is None else low.at_most,
            -1 if low.governs is None else limit.ratings.index(low.governs),
            tuple(low.unknown),
        )
        for limit in made.rulebook.limits
        if (low := lows.get(limit.id)) is not None
    }
    return verdict.outcome, results, sorted(verdict.open_needs), limits


class Told:
    """What columns say of a rig with each signature, in point's words."""

    def __init__(self, made: Made, judged: Judged) -> None:
        self.made = made
        self.outcome = judged.outcome()
        self.results = [judged.results(number) for number in range(len(made.rulebook.rules))]
        self.needs = [judged.open_needs(number) for number in range(len(made.rulebook.needs))]
        self.limits = judged.limits()

    def of(self, row: int) -> tuple[object, ...]:
        """One signature."""
        limits = {
            limit.id: (
                float(column.at_most[row]),
                int(column.governs[row]),
                tuple(one.name for i, one in enumerate(limit.ratings) if int(column.unknown[row]) >> i & 1),
            )
            for limit in self.made.rulebook.limits
            if (column := self.limits[limit.id]).applies[row]
        }
        results = [RESULTS[column[row]] for column in self.results]
        return OUTCOMES[self.outcome[row]], results, [i for i, open_ in enumerate(self.needs) if open_[row]], limits


def assert_agree(
    made: Made,
    columns: Columns,
    rigs: Sequence[Case],
    items: Sequence[Item],
    subjects: frozenset[str],
    trial: str,
    together: bool,
) -> int:
    """Hold columns to point on every pair of a rig and an item, rigs judged together or each alone; the pairs held."""
    catalogue = columns.catalogue([facts for facts, _ in items], subjects, [present for _, present in items])
    singly = (columns.judge(catalogue, rig) for rig in rigs)
    for number, judged in enumerate(columns.judge_all(catalogue, rigs) if together else singly):
        rig, found = rigs[number], Told(made, judged)
        kept = {row: found.of(row) for row in range(catalogue.count)}
        for place, item in enumerate(items):
            wanted = told(made, joined(rig, item))
            got = kept[int(catalogue.signature_of[place])]
            assert alike(got, wanted), f"{trial}, rig {number}: {different(made, got, wanted)}; {joined(rig, item)}"
        assert_counts(judged, catalogue, made)
    return len(rigs) * len(items)


def alike(found: tuple[Any, ...], wanted: tuple[Any, ...]) -> bool:
    """The same, but for the last digits of a limit that an angle or a root went into."""
    figures = zip(found[3].values(), wanted[3].values(), strict=False)
    return (
        found[:3] == wanted[:3]
        and {name: limit[1:] for name, limit in found[3].items()} == {name: one[1:] for name, one in wanted[3].items()}
        and all(isclose(a[0], b[0], rel_tol=1e-12, abs_tol=1e-9) for a, b in figures)
    )


def different(made: Made, found: tuple[Any, ...], wanted: tuple[Any, ...]) -> list[object]:
    """What differs, with the texts of the rules that do."""
    rules = [
        (rule.id, ours, theirs, rule.applies_text, rule.requires_text)
        for rule, ours, theirs in zip(made.rulebook.rules, found[1], wanted[1], strict=True)
        if ours != theirs
    ]
    return [*rules, *((a, b) for a, b in zip(found, wanted, strict=True) if a != b)]


def assert_counts(judged: Judged, catalogue: Catalogue, made: Made) -> None:
    """Hold the weighted counts to the columns they count."""
    of_items = catalogue.to_items(judged.outcome())
    counted = {name: int((of_items == place).sum()) for place, name in enumerate(OUTCOMES)}
    assert judged.counts() == counted
    for number, counts in enumerate(judged.rule_counts()):
        results = catalogue.to_items(judged.results(number))
        assert counts == tuple(int((results == result).sum()) for result in range(4))
    decided = Counter[str]()
    for one in deciding(judged):
        decided[OUTCOMES[one.place]] += judged.catalogue.counter.of(one.where)
    assert decided["fails"] == counted["fails"]
    assert decided["undetermined"] == counted["undetermined"]
    assert decided["conditional"] == counted["conditional"]


RIGS, ITEMS = 20 if NIGHTLY else 10, 100
BLOCKS, BOOKS = 10, 200 if NIGHTLY else 4
"""Random trials: blocks of rulebooks, each with so many rigs and items (40,000 pairs, or 4,000,000 by night)."""
REAL, REAL_RIGS, REAL_ITEMS = (100, 40, 200) if NIGHTLY else (5, 20, 100)
SUBJECTS = (frozenset({"item"}), frozenset({"cargo"}), frozenset({"item", "cargo"}), frozenset({"base"}))


@pytest.mark.parametrize("block", range(BLOCKS))
def test_random_rulebooks_agree(block: int) -> None:
    """On random rulebooks every rule, need, limit, count and outcome is what point says, whatever the items are."""
    for seed in range(block * BOOKS, (block + 1) * BOOKS):
        made, rng, subjects = random_rulebook(seed), Random(seed), SUBJECTS[seed % len(SUBJECTS)]
        rigs = [rest(random_case(rng, made), subjects) for _ in range(RIGS)]
        items = [split(made, random_case(rng, made), subjects) for _ in range(ITEMS)]
        assert_agree(made, Columns(made.engine), rigs, items, subjects, f"rulebook seed {seed}", bool(seed & 4))


@pytest.mark.parametrize("seed", range(REAL))
def test_the_real_rulebook_agrees(seed: int) -> None:
    """On the rulebook that is shipped, too, with accessories, balls, trailers, receivers or several of them."""
    rng, real = Random(seed), shipped_rulebook()
    choices = ({"accessory"}, {"accessory", "ball"}, {"trailer"}, {"accessory", "load"}, {"receiver"})
    subjects = frozenset(choices[seed % 5])
    rigs = [rest(random_case(rng, real), subjects) for _ in range(REAL_RIGS)]
    items = [split(real, random_case(rng, real), subjects) for _ in range(REAL_ITEMS)]
    assert_agree(real, Columns(real.engine), rigs, items, subjects, f"real rulebook, seed {seed}", bool(seed & 1))


@pytest.mark.parametrize("seed", range(20 * EFFORT))
def test_large_catalogues_agree(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is done for many rows only, rows in blocks and numbers on rows of their own, changes no answer."""
    monkeypatch.setattr(column_rules, "_BLOCK", 5)
    monkeypatch.setattr(column_rules, "_FEW", 0)
    monkeypatch.setattr(column_boxes, "_LEAST_ROWS", 1)
    monkeypatch.setattr(column_boxes, "_WORTH", 1)
    monkeypatch.setattr(column_boxes, "_SIZES", (3, 12))
    monkeypatch.setattr(column_rules, "_MOST_RUNS", seed % 3)
    made, rng, subjects = random_rulebook(seed), Random(seed), SUBJECTS[seed % len(SUBJECTS)]
    rigs = [rest(random_case(rng, made), subjects) for _ in range(RIGS // 2)]
    items = [split(made, random_case(rng, made), subjects) for _ in range(ITEMS // 2)]
    assert_agree(made, Columns(made.engine), rigs, items, subjects, f"rulebook seed {seed}", bool(seed & 4))


@pytest.mark.parametrize("seed", range(4 * EFFORT))
def test_a_fact_supposed_of_a_rig_is_as_if_it_were_told(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What rests on an open choice is computed anew by itself once many have asked, and comes to the same as all."""
    monkeypatch.setattr(column_programs, "_SELDOM", 0)
    made, rng, subjects = shipped_rulebook(), Random(seed), frozenset({("accessory", "trailer")[seed % 2]})
    rigs = [rest(random_case(rng, made), subjects) for _ in range(RIGS // 2)]
    columns, held = Columns(made.engine), 0
    for rig in rigs:
        program = columns.program(subjects, len(rig.adapters))
        values = program.rig_values(rig)
        for choice in made.engine.choices(bool(rig.adapters)).all if not program.written_out else ():
            if choice.of_adapter or choice.subject in subjects or (choice.opens and rig.adapters):
                continue
            supposed = program.supposing(rig, values, choice.name)
            assert supposed is not None
            for value in choice.values(None):
                assert supposed(value) == program.rig_values(choice.supposed(rig, None, value))
                held += 1
    assert held > 100
    items = [split(made, random_case(rng, made), subjects) for _ in range(ITEMS // 5)]
    assert_agree(made, columns, rigs, items, subjects, f"real rulebook, seed {seed}", together=False)


def nearly(rng: Random, made: Made, rig: Case, subjects: frozenset[str]) -> Case:
    """The rig with some of its facts told as of another, or not at all."""
    other = rest(random_case(rng, made), subjects)
    names = sorted(rig.facts.keys() | other.facts.keys())
    names = rng.sample(names, min(len(names), rng.randint(1, 3)))
    kept = {name: value for name, value in rig.facts.items() if name not in names}
    told_anew = {name: other.facts[name] for name in names if name in other.facts and rng.random() < 0.8}
    return replace(rig, facts={**kept, **told_anew})


@pytest.mark.parametrize("block", range(3 * EFFORT))
def test_what_is_unlike_in_two_rigs_decides_where_they_differ(block: int) -> None:
    """Elsewhere both come to the same, and of some signatures alone each comes to what it does of all of them.

    However the two are unlike: a fact otherwise, known or open, a choice that decides by cases, beneath adapters.
    """
    differ = spared = 0
    for seed in range(6 * block, 6 * block + 6):
        made = shipped_rulebook() if seed % 6 == 0 else random_rulebook(seed)
        subjects = frozenset({"accessory"}) if seed % 6 == 0 else SUBJECTS[seed % len(SUBJECTS)]
        for unlike, alike in _unlike(made, Random(seed), subjects, f"seed {seed}"):
            differ, spared = differ + unlike, spared + alike
    assert differ > 5 and spared > 1_000


def _unlike(made: Made, rng: Random, subjects: frozenset[str], trial: str) -> Iterator[tuple[int, int]]:
    """Of pairs of rigs how many signatures they differ with, and how many they need not be judged with."""
    columns, apart = Columns(made.engine), Columns(made.engine)
    items = [split(made, random_case(rng, made), subjects) for _ in range(ITEMS)]
    held = [one.catalogue([f for f, _ in items], subjects, [p for _, p in items]) for one in (columns, apart)]
    for _ in range(2 * RIGS):
        rig = rest(random_case(rng, made), subjects)
        pair = rig, nearly(rng, made, rig, subjects)
        was, now = (columns.judge(held[0], one) for one in pair)
        wanted = [apart.judge(held[1], one) for one in pair]
        among = columns.unlike(held[0], *pair)
        if among is None:
            continue
        flags = unpack(among, held[0].count)
        before, after = (one.outcome() for one in wanted)
        assert np.array_equal(before[~flags], after[~flags]), f"{trial}: {pair}"
        for judged, whole in zip((was, now), wanted, strict=True):
            for outcome, words in judged.bitmaps_among(among).items():
                assert np.array_equal(words, whole.bitmaps()[outcome] & among), f"{trial}: {outcome} of {pair}"
        yield int((before != after).sum()), int((~flags).sum())


@pytest.mark.parametrize("seed", range(20))
def test_adapters_as_items_agree(seed: int) -> None:
    """An adapter among the items goes into the opening after the rig's own."""
    rng, subjects = Random(seed), frozenset({"adapter"})
    made = shipped_rulebook() if seed < 2 else random_rulebook(seed)
    rigs = [random_case(rng, made) for _ in range(RIGS)]
    adapters = [by_one_end(made, adapter) for _ in range(20) for adapter in random_case(rng, made).adapters]
    columns = Columns(made.engine)
    catalogue = columns.catalogue(adapters, subjects)
    for rig in rigs:
        found = Told(made, columns.judge(catalogue, rig))
        for place, adapter in enumerate(adapters):
            named = {at_place(len(rig.adapters) + 1, name) for name in made.rulebook.named & adapter.keys()}
            case = Case(rig.facts, rig.present | named, (*rig.adapters, adapter))
            got, wanted = found.of(int(catalogue.signature_of[place])), told(made, case)
            assert alike(got, wanted), f"seed {seed}: {different(made, got, wanted)}; {case}"


@pytest.mark.parametrize("seed", range(10))
def test_columns_agree_with_the_specification(seed: int) -> None:
    """Outcome, results and open needs are the specification's, without point in between."""
    made, rng, subjects = random_rulebook(1000 + seed), Random(seed), frozenset({"item"})
    rigs = [rest(random_case(rng, made), subjects) for _ in range(10)]
    items = [split(made, random_case(rng, made), subjects) for _ in range(20)]
    columns = Columns(made.engine)
    catalogue = columns.catalogue([facts for facts, _ in items], subjects, [present for _, present in items])
    for rig in rigs:
        found = Told(made, columns.judge(catalogue, rig))
        for place, item in enumerate(items):
            wanted = made.specification.judge(joined(rig, item))
            needs = [i for i, need in enumerate(made.rulebook.needs) if need.id in wanted.open_needs]
            expected = (wanted.outcome, [result for _, result in wanted.results], needs)
            assert found.of(int(catalogue.signature_of[place]))[:3] == expected


def test_answers_do_not_depend_on_what_is_kept() -> None:
    """A cache that is emptied over and over gives the same answers as one that never is."""
    made, rng, subjects = shipped_rulebook(), Random(5), frozenset({"accessory"})
    items = [split(made, random_case(rng, made), subjects)[0] for _ in range(100)]
    roomy, tight = Columns(made.engine), Columns(made.engine, most_kept=1)
    wide, narrow = roomy.catalogue(items, subjects), tight.catalogue(items, subjects)
    for _ in range(30):
        rig = rest(random_case(rng, made), subjects)
        assert np.array_equal(roomy.judge(wide, rig).outcome(), tight.judge(narrow, rig).outcome())


@pytest.mark.parametrize("seed", range(3 * EFFORT))
def test_answers_do_not_depend_on_what_only_made_judges(seed: int) -> None:
    """What is let go of, once before any rig and once between two, is computed anew for those that need it."""
    made, rng, subjects = shipped_rulebook(), Random(seed), frozenset({"accessory"})
    items = [split(made, random_case(rng, made), subjects) for _ in range(ITEMS)]
    columns, fresh = Columns(made.engine), Columns(made.engine)
    held = [one.catalogue([f for f, _ in items], subjects, [p for _, p in items]) for one in (columns, fresh)]
    for adapters in (0, 1):
        columns.index(held[0], adapters).let_go()
    for number in range(RIGS):
        rig = rest(random_case(rng, made), subjects)
        one, other = columns.judge(held[0], rig), fresh.judge(held[1], rig)
        assert np.array_equal(one.outcome(), other.outcome())
        assert (one.counts(), one.rule_counts()) == (other.counts(), other.rule_counts())
        assert all(np.array_equal(a.at_most, b.at_most) for a, b in _pairs(one.limits(), other.limits()))
        if number % 3 == 0:
            columns.index(held[0], len(rig.adapters)).let_go()


def _pairs(one: Mapping[str, LimitColumn], other: Mapping[str, LimitColumn]) -> list[tuple[LimitColumn, LimitColumn]]:
    return [(one[name], other[name]) for name in one.keys() | other.keys()]


def test_what_is_kept_is_bounded() -> None:
    """However many rigs are judged, no more is kept than was allowed and what one rig adds."""
    made, rng, subjects, most = shipped_rulebook(), Random(6), frozenset({"accessory"}), 1 << 17
    columns = Columns(made.engine, most)
    catalogue = columns.catalogue([split(made, random_case(rng, made), subjects)[0] for _ in range(20)], subjects)
    kept = []
    for _ in range(100):
        judged = columns.judge(catalogue, replace(rest(random_case(rng, made), subjects), adapters=()))
        kept.append(sum(len(judge.seen) for judge in columns.index(catalogue, 0).judges))
        assert len(judged.entries) == len(made.rulebook.rules) + len(made.rulebook.needs)
        assert kept[-1] * column_rules.KEY_BYTES <= most + len(judged.entries) * column_rules.KEY_BYTES
    assert any(later < earlier for earlier, later in pairwise(kept))


@pytest.mark.parametrize("most_kept", [1, 1 << 20])
def test_threads_share_an_evaluator(most_kept: int) -> None:
    """Threads that judge different rigs at the same time, one by one or many together, get what each gets alone."""
    made, rng, subjects = shipped_rulebook(), Random(11), frozenset({"accessory"})
    items = [split(made, random_case(rng, made), subjects)[0] for _ in range(100)]
    rigs = [rest(random_case(rng, made), subjects) for _ in range(24)]
    alone, shared = Columns(made.engine), Columns(made.engine, most_kept)
    apart, catalogue = alone.catalogue(items, subjects), shared.catalogue(items, subjects)
    wanted = [(judged.outcome().tolist(), judged.rule_counts()) for judged in alone.judge_all(apart, rigs)]
    start = Barrier(6)

    def work(thread: int) -> Sequence[object]:
        mine = rigs[thread:] + rigs[:thread]
        start.wait()
        singly = (shared.judge(catalogue, rig) for rig in mine)
        found = [
            (j.outcome().tolist(), j.rule_counts())
            for j in (singly if thread % 2 else shared.judge_all(catalogue, mine))
        ]
        return found[len(rigs) - thread :] + found[: len(rigs) - thread]

    with ThreadPoolExecutor(6) as threads:
        for found in threads.map(work, range(6)):
            assert found == wanted


def test_nothing_is_kept_of_a_catalogue_or_an_evaluator_that_is_gone() -> None:
    """What was worked out about a catalogue goes with it, while the evaluator lives; and the other way round."""
    made, rng, subjects = shipped_rulebook(), Random(5), frozenset({"accessory"})
    items, rig = [split(made, random_case(rng, made), subjects)[0] for _ in range(20)], random_case(rng, made)
    columns, passing = Columns(made.engine), Columns(made.engine)
    catalogue, staying = (columns.catalogue(items, subjects) for _ in range(2))
    for one in (catalogue, staying):
        columns.judge(one, rig).outcome()
    passing.judge(staying, rig).outcome()
    gone: list[ref[Any]] = [
        ref(catalogue),
        ref(columns.index(catalogue, 0)),
        ref(passing),
        ref(passing.index(staying, 0)),
    ]
    index = columns.index(staying, 0)
    del catalogue, passing, one
    gc.collect()
    assert [each() for each in gone] == [None] * 4
    assert columns.index(staying, 0) is index


ENDLESS = {
    "rulebook.yaml": "name: endless\n",
    "vocabulary/rig.yaml": f"""subject: rig
title: The rig
presence: always
facts:
  grade: {{type: ratio, range: [0 %, 100 %], {FACT}}}
  whole: {{type: ratio, range: [0 %, 100 %], {FACT}}}
""",
    "vocabulary/item.yaml": f"""subject: item
title: The item
presence: asked
facts:
  angle: {{type: angle, range: [0 deg, 90 deg], {FACT}}}
""",
    "ground.yaml": """topic: ground
about: What a ramp may be.
rules:
  - id: grade-in-reach
    title: The grade is in reach
    requires: rig.grade / rig.whole <= grade_of_angle(item.angle)
    severity: blocking
    fails_because: no
    source: {kind: common_practice}
    examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]
""",
}


def test_what_is_endless_is_at_most_what_is_as_endless(tmp_path: Path) -> None:
    """The grade of a right angle is in reach of any, known or not: an open end alone does not leave it undetermined."""
    for name, text in ENDLESS.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    made = made_of(tmp_path)
    items: list[Item] = [({"item.angle": (angle, angle)}, frozenset({"item"})) for angle in (0.0, 45.0, 90.0)]
    rigs = [Case({}, frozenset({"rig"})), Case({"rig.whole": (0.0, 1.0)}, frozenset({"rig"}))]
    assert told(made, joined(rigs[0], items[2]))[0] == "works"
    assert assert_agree(made, Columns(made.engine), rigs, items, frozenset({"item"}), "endless", together=False) == 6


def test_equal_items_share_a_signature() -> None:
    """Items that differ only in what no rule reads are one signature, which stands for all of them."""
    made = shipped_rulebook()
    weights = ((20.0, 20.0), (10.0, 10.0), (20.0, 20.0), (0.0, inf))
    items: list[Mapping[str, Value]] = [{"accessory.weight": weight} for weight in weights]
    catalogue = Columns(made.engine).catalogue(items, ["accessory"])
    assert catalogue.weights.tolist() == [2, 1, 1]
    assert catalogue.signature_of.tolist() == [0, 1, 0, 2]


def test_an_empty_catalogue_is_judged() -> None:
    """No items are no signatures, and every count is nothing."""
    made = shipped_rulebook()
    columns = Columns(made.engine)
    judged = columns.judge(columns.catalogue([], ["accessory"]), Case({}, frozenset()))
    assert judged.counts() == dict.fromkeys(judged.counts(), 0)
    assert len(judged.outcome()) == 0
