"""What `rules check` cautions of: rules that are no error and hardly ever meant so, and how one is accepted."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from fitsvc.cli import main
from fitsvc.engine.cautioning import cautions_of
from fitsvc.engine.checking import faults_of, past_adapters
from fitsvc.paths import data_dir
from fitsvc.rulebook.habits import departures
from fitsvc.rulebook.loader import Loader
from fitsvc.rulebook.meaning import meaning_of
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.shape import Shape
from fitsvc.rulebook.topics import read_rule
from fitsvc.rulebook.yaml_text import read_yaml

BIG, TWO = "ball.rating >= 5000 lb", "ball.diameter == 2 in"
RULE = """id: ours
title: The ball is big enough
{applies}requires: "{requires}"
severity: {severity}
fails_because: No.
source: {{kind: common_practice}}
{more}examples:
  - {{ball.rating: 5000 lb, gives: passes}}
  - {{ball.rating: 4000 lb, gives: fails, so: {fails}}}
  - {{ball.rating: {{at_least: 4000 lb}}, gives: undetermined, so: {opens}}}
"""


@cache
def loaded() -> tuple[Loader, Rulebook]:
    """The shipped rules, and what reads another one by their names."""
    loader = Loader(data_dir("rules"), {})
    return loader, loader.load()


def written(requires: str, applies: str = "", severity: str = "blocking", more: str = "") -> str:
    """A rule as it stands in a file; its examples are of the ball's rating."""
    applies = f'applies_when: "{applies}"\n' if applies else ""
    fails, opens = ("blocks", "open") if severity == "blocking" else ("caution", "caution")
    return RULE.format(requires=requires, applies=applies, severity=severity, more=more, fails=fails, opens=opens)


def told(requires: str, applies: str = "", severity: str = "blocking", more: str = "") -> list[tuple[str, str]]:
    """What is cautioned of a rule, each with what to write instead."""
    loader, book = loaded()
    text = written(requires, applies, severity, more)
    read = replace(loader.read, shape=Shape(), presences=set(), examples={})
    rule = read_rule(read, read_yaml(text, "ours.yaml"), "ours", {})
    assert rule is not None and not read.shape.problems, read.shape.problems
    found = departures(replace(book, rules=(rule,), needs=(), cautions=()))
    return [(one.message, one.help) for one in found]


def test_the_shipped_rules_are_written_as_rules_are() -> None:
    """Or they say why not, and none says so of what is as rules are."""
    assert departures(loaded()[1]) == []


@pytest.mark.parametrize(
    ("requires", "applies", "said", "instead"),
    [
        (BIG, "accessory.kind == ball_mount", "asks `accessory.kind` for kinds", "`kind.takes_ball`"),
        (BIG, "accessory.kind not in [ball_mount, step]", "asks `accessory.kind`", "in `lists.yaml`"),
        ("receiver.opening == accessory.shank", "", "reads `receiver.opening` directly", "write `opening.size`"),
        ("accessory.pin == receiver.pin_hole", "present(receiver.pin_hole)", "`receiver.pin_hole`", "opening.pin_hole"),
        ("receiver.opening == 2 in", "present(accessory)", "reads `receiver.opening` directly", "write `opening.size`"),
        (f"not present(ball.rating) or {BIG}", "", "looked up `ball.rating`", "leave `not present(ball."),
        ("not (present(ball.rating) and ball.rating < 5000 lb)", "", "up `ball.rating`", "`if_unknown: caution`"),
        (f"{TWO} and (not (present(ball) and present(ball.rating)) or {BIG})", "", "up `ball.rating`", "leave"),
        ("not present(trailer.cargo_weight) or towing.parts <= 5000 lb", "", "`trailer.cargo_weight`", "leave"),
        (f"{BIG} if present(ball.rating) else yes", "", "up `ball.rating`", "leave `if present(ball.rating) else yes`"),
        (BIG, "present(ball.rating)", "silent where nobody has looked up `ball.rating`", "out of `applies_when`"),
        (f"{BIG} or {TWO}", "present(trailer) and present(ball.rating)", "silent where", "`if_unknown: caution`"),
        (f"{BIG} and {TWO}", "present(ball.diameter) and kind.tows", "looked up `ball.diameter`", "leave"),
        (f"{BIG} and accessory.extension_allowed", "present(accessory.extension_allowed)", "silent", "is then asked"),
        (f"{BIG} and chains.asked and receiver.hitch_class != I", "present(receiver.hitch_class)", "silent", "leave"),
    ],
)  # fmt: skip
def test_each_way_is_told_with_what_to_write(requires: str, applies: str, said: str, instead: str) -> None:
    """One caution for each, which names what is read, and what to write in its place or to say."""
    ((message, help),) = told(requires, applies)
    assert said in message and instead in help
    assert help.endswith("or, if it is meant, say why in the rule: `accepted: REASON`")
    assert told(requires, applies, more="accepted: It is meant.\n") == []


@pytest.mark.parametrize(
    ("requires", "applies", "severity"),
    [
        (BIG, "kind.tows", "blocking"),
        ("opening.size == accessory.shank", "", "blocking"),
        ("receiver.opening != 1-1/4 in", "present(receiver.hitch_class)", "caution"),
        ("receiver.opening == 2 in", "present(accessory) and present(receiver.opening)", "caution"),
        (f"not present(trailer) or {BIG}", "", "blocking"),
        ("not present(load.heaviest_bike) or load.heaviest_bike <= 60 lb", "", "blocking"),
        ("not present(ball.rating) or ball.rating.told <= 50000 lb", "", "caution"),
        (f"present(ball.rating) or {TWO}", "", "blocking"),
        (BIG, "not present(ball.rating) or ball.rating < 9000 lb", "blocking"),
        (BIG, "present(ball.rating)", "caution"),
        (BIG, "known(ball.rating)", "blocking"),
        (BIG, "present(ball.rating) or kind.tows", "blocking"),
        ("ball.rating.told <= 50000 lb", "present(ball.rating)", "blocking"),
        ("ball.rating <= accessory.trailer_rating", "present(ball.rating)", "blocking"),
        (f"{BIG} and load.heaviest_bike <= 60 lb", "present(load.heaviest_bike)", "blocking"),
    ],
)
def test_what_is_as_rules_are_is_not_told(requires: str, applies: str, severity: str) -> None:
    """Roles, the opening, a part left out, what a customer brings up, whether what was told can be; a wider guard.

    A guard that a fact is told is one too where the rule only cautions, or holds two facts to each other.
    """
    assert told(requires, applies, severity) == []
    ((message, help),) = told(requires, applies, severity, more="accepted: It is meant.\n")
    assert "written as rules are" in message and help == "leave `accepted` out"


def test_a_rule_that_reads_a_fact_only_to_refuse_it_may_be_silent() -> None:
    """It says so itself: `asks: no`, as nobody is to be asked for what only makes it worse."""
    assert told(BIG, "present(ball.rating)", more="asks: no\n") == []


def test_check_tells_them_where_they_stand_and_ends_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As cautions with file and line, before the counts and the digest; why one is accepted means nothing."""
    folder = tmp_path / "yard"
    folder.mkdir()
    (folder / "overlay.yaml").write_text("name: the yard's rules\n")
    lines = written(f"not present(ball.rating) or {BIG}").splitlines()
    topic = ["topic: yard", "about: Our yard.", "rules:", "  - " + lines[0], *("    " + line for line in lines[1:])]
    (folder / "yard.yaml").write_text("\n".join(topic) + "\n")
    meaning = meaning_of(folder)
    assert main(["rules", "check", str(folder)]) == 0
    found = capsys.readouterr().out.splitlines()
    assert found[0].startswith("yard/yard.yaml:4: caution: `ours` passes where nobody has looked up `ball.rating`")
    assert found[-2].endswith("no problems, 1 caution") and found[-1].startswith("sha256:")
    (folder / "yard.yaml").write_text("\n".join([*topic, "    accepted: We sell no other."]) + "\n")
    assert main(["rules", "check", str(folder)]) == 0
    assert capsys.readouterr().out.splitlines()[0].endswith("no problems")
    assert meaning_of(folder) == meaning


def test_a_figure_read_past_adapters_may_be_meant() -> None:
    """A blocking rule that holds goods to the receiver's own rating is a fault, and none where it says why."""
    loader, book = loaded()
    found = {}
    for more in ("", "accepted: It is meant.\n"):
        text = written("accessory.capacity <= receiver.tongue_rating", more=more)
        read = replace(loader.read, shape=Shape(), presences=set(), examples={})
        rule = read_rule(read, read_yaml(text, "ours.yaml"), "ours", {})
        assert rule is not None
        found[more] = replace(book, rules=(rule,), needs=(), cautions=(), examples={})
    ((problem, why),) = past_adapters(found[""])
    assert "`ours` reads `receiver.tongue_rating`" in problem.message and not why
    assert problem.help.endswith("or, if it is meant, say why in the rule: `accepted: REASON`")
    assert [one.message for one in faults_of(found[""])] == [problem.message]
    assert faults_of(found["accepted: It is meant.\n"]) == []
    told = [one.message for one in cautions_of(found["accepted: It is meant.\n"], data_dir("rules"))]
    assert [message for message in told if "`ours`" in message] == []
