"""Two audits compared: what fits now, what fits no more, and why."""

from dataclasses import replace
from pathlib import Path

import pytest
from audit_world import accessories, audit, facts_of, found, pair_of, pairs, rigs, small_blocks, summary, write_csv
from demo_world import answerer

from fitsvc.audits.rigs import AuditRig
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.problems import ProblemsFound
from fitsvc.paths import data_dir
from fitsvc.rulebook.drafting import Drafting


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Audit the demo's accessories."""
    folder = tmp_path_factory.mktemp("first")
    with small_blocks():
        audit(write_csv(folder / "items.csv", accessories()), folder / "out")
    return folder / "out"


def _expected(first: Path, second: Path) -> set[tuple[str, str, str]]:
    """The pairs of two audits whose fit differs, by their own files."""
    before, after = (
        {(row["rig"], row["sku"]): row["outcome"] in ("works", "conditional") for row in pairs(out)}
        for out in (first, second)
    )
    return {(*pair, "new" if after[pair] else "lost") for pair in before.keys() & after if before[pair] != after[pair]}


def _told(out: Path) -> set[tuple[str, str, str]]:
    return {(row["rig"], row["sku"], row["change"]) for row in found(out, "changes")}


def test_nothing_changed(first: Path, tmp_path: Path) -> None:
    """The same catalogue against the same rigs has no changes."""
    audit(write_csv(tmp_path / "items.csv", accessories()), tmp_path / "out", against=first)
    assert found(tmp_path / "out", "changes") == []


def test_items_rigs_and_order(first: Path, tmp_path: Path) -> None:
    """Changed items and rigs are told with their fits lost and new; the order of rows and blocks matters nothing."""
    rows, of = accessories()[::-1], rigs()[::-1]
    changed = [row for row in rows if row["kind"] == "cargo_carrier"][:3]
    for row in changed:
        row["shank"] = "1-1/4 in" if row["shank"] == "2 in" else "2 in"
    opening = answerer().rulebook.vocabulary.slots()["receiver.opening"]
    case = of[0].case
    small = case.facts["receiver.opening"] == opening.mask("1-1/4 in")  # type: ignore[union-attr]  # the slot is a choice
    facts = {**case.facts, "receiver.opening": opening.mask("2 in" if small else "1-1/4 in")}  # type: ignore[union-attr]  # as above
    of[0] = replace(of[0], case=Case(facts, case.present, case.adapters, case.texts))
    del rows[0]
    with small_blocks(23, 300):
        audit(write_csv(tmp_path / "items.csv", rows), tmp_path / "out", of, against=first)
    told = found(tmp_path / "out", "changes")
    assert _told(tmp_path / "out") == _expected(first, tmp_path / "out")
    skus = {row["sku"] for row in changed}
    was, now = {row["sku"]: row for row in accessories()}, {row["sku"]: row for row in rows}
    both = {one.key: (before, one) for before, one in zip(rigs()[::-1], of, strict=True)}
    for row in told:
        causes = [name for name, is_it in (("item", row["sku"] in skus), ("rig", row["rig"] == of[0].key)) if is_it]
        assert row["cause"] == _cause(was[row["sku"]], now[row["sku"]], *both[row["rig"]], causes)
        assert row["rules"]
    assert {row["cause"] for row in told} >= {"item", "rig"}
    assert {"shank-fits-opening"} <= {rule for row in told for rule in row["rules"].split()}
    assert summary(tmp_path / "out")["changes"]["gone_items"] == 1
    gone = [(row["sku"], row["change"]) for row in found(tmp_path / "out", "items_changed")]
    assert gone == [(accessories()[-1]["sku"], "gone")]


def _cause(was: dict[str, str], now: dict[str, str], rig_was: AuditRig, rig: AuditRig, causes: list[str]) -> str:
    """What brings a change about by the evaluator of single cases, of an item and a rig that were others."""
    if len(causes) < 2:
        return causes[0]

    def fits(item: dict[str, str], one: AuditRig) -> bool:
        return answerer().engine.evaluate(pair_of(one, facts_of(item))).outcome in ("works", "conditional")

    alone = [name for name, pair in (("item", (now, rig_was)), ("rig", (was, rig))) if fits(*pair) == fits(now, rig)]
    return " or ".join(alone) or "item and rig"


def test_a_new_rulebook_is_not_blamed_for_what_an_item_did(first: Path, tmp_path: Path) -> None:
    """A rule whose going turns nothing is no cause: what a changed item brings about is told as the item's."""
    book, rows = answerer().rulebook, accessories()
    row = next(row for row in rows if row["kind"] == "cargo_carrier" and row["shank"] == "2 in")
    row["shank"] = "3 in"
    fewer = replace(book, rules=tuple(r for r in book.rules if r.id != "ball-fits-coupler"), digest="sha256:other")
    assert len(fewer.rules) < len(book.rules)
    with small_blocks():
        audit(write_csv(tmp_path / "items.csv", rows), tmp_path / "out", rulebook=fewer, against=first)
    told = found(tmp_path / "out", "changes")
    assert _told(tmp_path / "out") == _expected(first, tmp_path / "out") != set()
    assert {(one["sku"], one["change"], one["cause"]) for one in told} == {(row["sku"], "lost", "item")}
    assert all("shank-fits-opening" in one["rules"].split() for one in told)


def test_an_item_is_named_beside_the_rules_where_each_alone_loses_a_fit(first: Path, tmp_path: Path) -> None:
    """A stricter rule and changed shanks: with the rules taken back the shank would still be told."""
    drafting, rows = Drafting(data_dir("rules")), accessories()
    entry = drafting.entry("above-the-ground")
    assert entry is not None and ">= 2 in" in entry.text
    strict = drafting.tried(entry, entry.text.replace(">= 2 in", ">= 15 in")).book
    assert strict is not None
    was = {row["sku"]: row for row in accessories()}
    for row in [row for row in rows if row["kind"] in ("cargo_carrier", "bike_carrier") and row["shank"] == "2 in"][:6]:
        row["shank"] = "3 in"
    with small_blocks():
        audit(write_csv(tmp_path / "items.csv", rows), tmp_path / "out", rulebook=strict, against=first)
    now, of, old, new = (
        {row["sku"]: row for row in rows},
        {rig.key: rig for rig in rigs()},
        answerer().engine,
        Point(strict),
    )

    def fits(engine: Point, item: dict[str, str], rig: str) -> bool:
        return engine.evaluate(engine.opened(pair_of(of[rig], facts_of(item)))).outcome in ("works", "conditional")

    told = found(tmp_path / "out", "changes")
    for row in told:
        each = {"item": (old, now[row["sku"]], row["rig"]), "rulebook": (new, was[row["sku"]], row["rig"])}
        assert row["cause"] == " or ".join(name for name, pair in each.items() if not fits(*pair))
    assert {(row["change"], row["cause"]) for row in told} == {
        ("lost", cause) for cause in ("item", "rulebook", "item or rulebook")
    }
    assert "lost fits, by the item or the rules" in (tmp_path / "out" / "summary.html").read_text("utf-8")


def test_the_rulebook_is_a_cause(first: Path, tmp_path: Path) -> None:
    """With a rule less, what fits more is by the rulebook."""
    book = answerer().rulebook
    fewer = replace(book, rules=tuple(r for r in book.rules if r.id != "shank-fits-opening"), digest="sha256:other")
    catalogue = write_csv(tmp_path / "items.csv", accessories())
    with small_blocks():
        audit(catalogue, tmp_path / "out", rulebook=fewer, against=first)
    told = found(tmp_path / "out", "changes")
    assert _told(tmp_path / "out") == _expected(first, tmp_path / "out")
    assert {(row["change"], row["cause"], row["rules"]) for row in told} == {("new", "rulebook", "shank-fits-opening")}


def test_a_claimed_fit_with_less_or_more_on_it_is_told(tmp_path: Path) -> None:
    """As both audits tell what it carries, with why it is otherwise; of a pair claimed only now nothing."""
    rows, of = [row for row in accessories() if row["sku"] in ("LLH-TRAY-48", "PKM-ALU-60", "SPK-TRUG-2")], rigs()[:3]
    claimed = [row | {"fits": " ".join(rig.key for rig in of[:2])} for row in rows]
    later = [
        {**row, "capacity [lb]": {"LLH-TRAY-48": "200", "PKM-ALU-60": "410"}.get(row["sku"], row["capacity [lb]"])}
        | {"fits": " ".join(rig.key for rig in of)}
        for row in rows
    ]
    with small_blocks(2, 4):
        audit(write_csv(tmp_path / "first.csv", claimed), tmp_path / "first", of)
        audit(write_csv(tmp_path / "second.csv", later), tmp_path / "second", of, against=tmp_path / "first")
    was, now = (
        {(row["sku"], row["rig"]): row["told"] for row in found(tmp_path / name, "carried")}
        for name in ("first", "second")
    )
    words = {"LLH-TRAY-48": "less", "PKM-ALU-60": "more"}
    told = found(tmp_path / "second", "changes")
    assert {(row["sku"], row["rig"], row["change"], row["before"], row["after"], row["cause"]) for row in told} == {
        (*key, words[key[0]], text, now[key], "item") for key, text in was.items() if text != now[key]
    }
    counts = summary(tmp_path / "second")["changes"]
    assert counts["less"] == {"item": sum(row["change"] == "less" for row in told)} and counts["less"]["item"] > 0
    assert counts["more"] == {"item": sum(row["change"] == "more" for row in told)} and counts["more"]["item"] > 0
    assert "claimed fits with less on them, by the item" in (tmp_path / "second" / "summary.html").read_text("utf-8")


def test_another_load_is_blamed_on_what_moved_it(tmp_path: Path) -> None:
    """Rules that have no say in it are no cause; those that have are, alone or beside the item or the rig."""
    book, rig = answerer().rulebook, rigs()[0]
    row = next(row for row in accessories() if row["sku"] == "LLH-TRAY-48") | {"fits": rig.key}
    less, more = ({**row, "capacity [lb]": figure} for figure in ("100", "410"))
    rated = {"receiver.tongue_rating": (120.0, 120.0), "vehicle.tongue_rating": (120.0, 120.0)}  # kilograms
    weak = replace(rig, case=replace(rig.case, facts={**rig.case.facts, **rated}))
    without = {
        part: replace(book, rules=tuple(rule for rule in book.rules if part not in rule.id), digest=f"sha256:{part}")
        for part in ("ball-fits-coupler", "hanging-weight")
    }
    audit(write_csv(tmp_path / "first.csv", [row]), tmp_path / "first", [weak])
    for name, item, one, part, told in [
        ("a", less, weak, "ball-fits-coupler", ("less", "item")),
        ("b", row, rig, "ball-fits-coupler", ("more", "rig")),
        ("c", less, rig, "ball-fits-coupler", ("less", "item")),
        ("d", row, weak, "hanging-weight", ("more", "rulebook")),
        ("e", more, weak, "hanging-weight", ("more", "item and rulebook")),
        ("f", less, weak, "hanging-weight", ("less", "item")),
    ]:
        catalogue = write_csv(tmp_path / f"{name}.csv", [item])
        audit(catalogue, tmp_path / name, [one], rulebook=without[part], against=tmp_path / "first")
        assert [(of["change"], of["cause"]) for of in found(tmp_path / name, "changes")] == [told], name


def test_what_is_no_audit_is_refused(tmp_path: Path) -> None:
    """A folder that holds no audit cannot be compared with."""
    catalogue = write_csv(tmp_path / "items.csv", accessories())
    (tmp_path / "old").mkdir()
    with pytest.raises(ProblemsFound, match="holds no audit"):
        audit(catalogue, tmp_path / "out", against=tmp_path / "old")
