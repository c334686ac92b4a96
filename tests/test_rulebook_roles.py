"""Roles of kinds: what is refused and where, what they are over an unknown kind, and that every kind is weighed."""

import shutil
from pathlib import Path

import pytest
from judging import answer, answerer, case, value

from fitsvc.answers.answering import Answerer
from fitsvc.cli import main
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.truth import NO, UNKNOWN, YES
from fitsvc.language.typed import reads
from fitsvc.paths import data_dir
from fitsvc.rulebook.coverage import facts_read
from fitsvc.rulebook.kinds import KnownKind, applying_to, kinds_of
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Hazard

LISTS = "vocabulary/lists.yaml"
STEP = "      step: {word: hitch step, is: [stood_upon]}\n"
RULEBOOK = answerer().rulebook
KINDS = kinds_of(RULEBOOK.vocabulary)
ROLES = [role.name for role in RULEBOOK.vocabulary.roles["accessory_kind"]]
RATINGS = {
    "receiver.tongue_rating": "receiver",
    "adapter.tongue_rating": "an adapter",
    "vehicle.tongue_rating": "vehicle",
    "vehicle.gvwr": "payload",
    "vehicle.gawr_rear": "rear axle",
}
"""Every rating above what hangs in the opening."""
DERIVED = {name: one.node for name, one in RULEBOOK.derived.items()}
CAREFUL = {
    "trailer.chain_rating_each": "published rules of chains differ",
    "load.tie_down_limit": "straps are a need, which is open until they hold",
    "vehicle.gawr_front": "told in contradiction with the axle's weight, for what hangs behind",
    "vehicle.tyre.load": "twin tyres are not told apart",
    "vehicle.gcwr": "a pin adds nothing to it",
}
"""The ratings that some kind exceeds with a caution only, or with a need, and why."""


def changed(folder: Path, old: str, new: str) -> Path:
    """Copy the shipped rules with one place of the lists changed."""
    shutil.copytree(data_dir("rules"), folder / "rules")
    text = (folder / "rules" / LISTS).read_text()
    assert old in text
    (folder / "rules" / LISTS).write_text(text.replace(old, new, 1))
    return folder / "rules"


def first(folder: Path, old: str, new: str) -> tuple[Problem, str]:
    """Give the first problem of the changed lists, and the line of the file it is told of."""
    rules = changed(folder, old, new)
    with pytest.raises(ProblemsFound) as found:
        load_rulebook(rules)
    problem = found.value.problems[0]
    assert problem.file == f"rules/{LISTS}"
    return problem, (rules / LISTS).read_text().splitlines()[problem.line - 1]


@pytest.mark.parametrize(
    ("old", "new", "line", "message", "help"),
    [
        (STEP, f"{STEP}      work_bench: work bench\n", "work_bench: work bench", "`work_bench` says no role",
         "write `work_bench: {word: work bench, is: [ROLE, ...]}`, of `tows`"),
        (STEP, f"{STEP}      work_bench: {{word: work bench, is: []}}\n", "is: []", "`work_bench` says no role",
         "of `tows`"),
        (STEP, f"{STEP}      work_bench: {{word: work bench}}\n", "word: work bench", "`work_bench` lacks `is`", ""),
        ("ski carrier, is: [carries, ", "ski carrier, is: [caries, ", "caries",
         "`caries` is not a role of `accessory_kind`", "did you mean `carries`?"),
        ("is: [stood_upon]", "is: [stood_upon, stood_upon]", "stood_upon, stood_upon", "says `stood_upon` twice",
         "leave one out"),
        (", is: [stood_upon]", ", is: [stays_low]", "stood_upon: {label", "no member of", "take it out"),
        ("flat_4: 4-way flat", "flat_4: {word: 4-way flat, is: [lamps]}", "flat_4:", "`flat_4` is told by a word",
         "has `roles`"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_roles_is_told_at_its_line(
    tmp_path: Path, old: str, new: str, line: str, message: str, help: str
) -> None:
    """A kind that says no role, a role that is none, one that no kind has: each an error with file and line."""
    problem, at = first(tmp_path, old, new)
    assert message in problem.message
    assert help in problem.help
    assert line in at


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (["bike_carrier", "ski_carrier"], YES),
        (["step", "winch_mount"], NO),
        (["bike_carrier", "step"], UNKNOWN),
        (None, UNKNOWN),
    ],
)
def test_a_role_is_sure_where_all_kinds_that_may_be_meant_agree(kinds: list[str] | None, expected: int) -> None:
    """Over a kind that is not exactly known a role is yes or no only where every one of them says so."""
    assert value("kind.carries", {"accessory.kind": kinds}) == expected


@pytest.mark.parametrize("kind", KINDS)
def test_every_rating_above_can_refuse_every_kind(kind: str) -> None:
    """For every kind and every rating above the opening there is a blocking rule that reads it and can apply."""
    blocking = {one.id for one in applying_to(RULEBOOK, KINDS[kind]) if one.effect == "blocking"}
    read = {name for rule in RULEBOOK.rules if rule.id in blocking for name in facts_read(RULEBOOK, rule)}
    assert RATINGS.keys() - read == set()


def reads_trailer(line: Hazard) -> bool:
    """Whether a line is about what a trailer weighs."""
    return line.exceeded is not None and any(name.startswith("trailer.") for name in reads(line.exceeded))


@pytest.mark.parametrize("kind", KINDS)
def test_every_rating_that_a_kind_can_exceed_has_a_rule_that_refuses_it(kind: str) -> None:
    """For every kind and every rating that something of it bears on, a blocking rule reads the rating and can apply.

    A trailer behind what does not tow is refused whole, whatever it weighs.
    """
    known = KnownKind(DERIVED, KINDS[kind])
    lines = [line for line in RULEBOOK.hazards if not line.accepted and known.may(line.guard)]
    applying = {one.id: one.effect for one in applying_to(RULEBOOK, KINDS[kind])}
    lines = [line for line in lines if not (reads_trailer(line) and applying.get("accessory-tows") == "blocking")]
    reading = {
        name: effect
        for effect in ("caution", "blocking")
        for rule in RULEBOOK.rules
        if applying.get(rule.id) == effect
        for name in facts_read(RULEBOOK, rule)
    }
    facts = {line.rating: RULEBOOK.vocabulary.fact_of(line.rating) for line in lines}
    left = {rating for rating, fact in facts.items() if fact is None or reading.get(fact.name) != "blocking"}
    assert left <= CAREFUL.keys()


@pytest.mark.parametrize(
    ("bears", "adapters"),
    [
        ({"receiver.tongue_rating": "350 lb"}, []),
        ({"receiver.tongue_rating": "2000 lb", "vehicle.tongue_rating": "350 lb"}, []),
        ({"receiver.tongue_rating": "2000 lb", "vehicle.gvwr": "6000 lb", "vehicle.curb_weight": "5500 lb"}, []),
        (
            {
                "receiver.tongue_rating": "2000 lb",
                "vehicle.gawr_rear": "3000 lb",
                "vehicle.curb_weight_rear": "2900 lb",
                "vehicle.wheelbase": "120 in",
                "vehicle.rear_overhang": "40 in",
                "mounting.pin_to_bumper": "4 in",
                "accessory.length": "10 in",
            },
            [],
        ),
        ({}, [{"kind": "reducer_sleeve", "tongue_rating": "350 lb"}]),
    ],
    ids=["receiver", "vehicle", "payload", "rear axle", "adapter"],
)
@pytest.mark.parametrize("kind", [*KINDS, None])
def test_nothing_heavier_than_a_rating_passes(
    kind: str | None, bears: dict[str, str], adapters: list[dict[str, str]]
) -> None:
    """900 lb in an opening fail on each rating that bears less, whatever the thing is, known or not."""
    asked = case({"accessory.weight": "900 lb", **({"accessory.kind": kind} if kind else {}), **bears}, adapters)
    assert answerer().engine.evaluate(asked).fails


@pytest.mark.parametrize("role", ROLES)
def test_a_new_kind_is_weighed_whatever_role_it_says(tmp_path: Path, role: str) -> None:
    """One line adds a kind; with any one role alone, 900 lb of it on 350 lb fail."""
    rules = changed(tmp_path, STEP, f"{STEP}      work_bench: {{word: work bench, is: [{role}]}}\n")
    facts = {"kind": "work_bench", "weight": "900 lb", "pin_supplied": True, "shank": "2 in", "pin": "5/8 in"}
    rig = {"receiver": {"facts": {"tongue_rating": "350 lb", "opening": "2 in", "pin_hole": "5/8 in"}}}
    found = Answerer(load_rulebook(rules)).answer({"rig": rig, "accessory": {"facts": facts}})
    assert (found.outcome, "accessory-on-receiver" in {one.rule for one in found.findings}) == ("fails", True)


def test_what_is_weighed_alone_and_what_with_its_load() -> None:
    """A carrier whose load is named is judged with it; one without, and what carries none, by itself."""
    bears = {"receiver.tongue_rating": "350 lb", "accessory.weight": "300 lb"}
    loaded = answer({**bears, "accessory.kind": "cargo_carrier", "load.cargo_weight": "51 lb"})
    assert {"hanging-weight/opening.tongue_rating"} <= {one.rule for one in loaded.findings if one.result == "fails"}
    assert "accessory-on-receiver" not in {one.rule for one in loaded.findings}
    alone = answer({**bears, "accessory.kind": "winch_mount", "load.cargo_weight": "51 lb"})
    assert "accessory-on-receiver" in {one.rule for one in alone.findings if one.result == "passes"}


def test_no_rule_names_a_kind() -> None:
    """The shipped rules ask for roles and never for a kind, so that none forgets one."""
    texts = [(rule.id, f"{rule.applies_text} {rule.requires_text}") for rule in RULEBOOK.rules]
    texts += [(need.id, need.applies_text) for need in RULEBOOK.needs]
    texts += [(limit.id, limit.applies_text) for limit in RULEBOOK.limits]
    texts += [(name, one.text) for name, one in RULEBOOK.derived.items() if not name.startswith("kind.")]
    assert {id for id, text in texts if "accessory.kind" in text} == set()
    guards = [caution.guard for caution in RULEBOOK.cautions if caution.guard is not None]
    assert {name for guard in guards for name in reads(guard)} & {"accessory.kind"} == set()


def test_a_kind_is_shown_with_its_roles_and_rules(capsys: pytest.CaptureFixture[str]) -> None:
    """`rules show --kind` tells what a kind is and what can apply to it, and no rule of other kinds."""
    assert main(["rules", "show", "--kind", "step"]) == 0
    told = capsys.readouterr().out
    assert "kind.stood_upon" in told
    assert "accessory-on-receiver" in told.partition("Rules that can ask for care")[0]
    assert "step-within-tongue-rating" in told
    assert "ball-shank-fills-hole" not in told
    assert "folded-clears-bumper" not in told


def test_a_kind_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A slip of the pen is told with the kind that is near."""
    assert main(["rules", "show", "--kind", "bike_carier"]) == 2
    assert "did you mean `bike_carrier`?" in capsys.readouterr().err
