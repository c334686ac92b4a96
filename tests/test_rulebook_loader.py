"""Loading a folder of rule files: what is refused and where, all problems at once, and what the digest is of."""

from collections.abc import Mapping
from math import inf
from pathlib import Path

import pytest

from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.truth import NO, YES
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rulebook

FACT = "label: l, meaning: m, how_to_measure: h, effort: tape"
FILES = {
    "rulebook.yaml": "name: small\ncautions:\n  - {id: c, text: Take care., source: {kind: common_practice}}\n",
    "vocabulary/lists.yaml": """lists:
  opening_size: {dimension: length, members: [1-1/4 in, 2 in, 2-1/2 in]}
  kind: {members: {step: hitch step, ball_mount: ball mount}}
""",
    "vocabulary/receiver.yaml": f"""subject: receiver
title: The receiver
presence: always
facts:
  opening: {{type: opening_size, {FACT}}}
  tongue_rating: {{type: mass, range: [0 lb, 3000 lb], {FACT}}}
  notes: {{type: text, {FACT}}}
""",
    "vocabulary/accessory.yaml": f"""subject: accessory
title: The accessory
presence: asked
facts:
  shank: {{type: opening_size, {FACT}}}
  kind: {{type: kind, {FACT}}}
  weight: {{type: mass, range: [0 lb, 900 lb], {FACT}}}
  length: {{type: length, range: [0 in, 90 in], {FACT}}}
""",
    "vocabulary/adapter.yaml": f"""subject: adapter
title: An adapter
presence: repeated
facts:
  offers: {{type: opening_size, {FACT}}}
""",
    "tables/classes.yaml": """tables:
  - id: heavy
    title: t
    key: kind
    gives: mass
    rows: {step: 10 lb, ball_mount: 20 lb}
    source: {kind: common_practice}
""",
    "adapters.yaml": """topic: adapters
about: What is in the opening.
adapters:
  bare: {size: receiver.opening}
  each: {size: adapter.offers}
  facts: {size: {type: opening_size, label: opening}}
""",
    "coupling.yaml": """topic: coupling
about: What goes into what.
derived:
  - {name: carried.weight, label: carried weight, type: mass, is: accessory.weight + 10 lb}
rules:
  - id: shank-fits
    title: The shank fits
    applies_when: accessory.kind == step
    requires: accessory.shank == opening.size
    severity: blocking
    fails_because: "The shank is {accessory.shank}."
    source: {kind: common_practice}
    examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]
  - id: not-too-heavy
    title: Not too heavy
    requires: carried.weight <= receiver.tongue_rating
    severity: caution
    fails_because: "{margin} too much."
    source: {kind: estimate, because: a guess}
    examples: [{gives: passes}, {gives: fails, so: caution}, {gives: undetermined, so: caution}]
""",
}
REQUIRES = "accessory.shank == opening.size"


def write(folder: Path, changes: Mapping[str, str]) -> Path:
    """Write the small rulebook with some files changed, added, or left out when empty."""
    top = folder / "rules"
    for name, text in {**FILES, **changes}.items():
        path = top / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8") if text else path.unlink(missing_ok=True)
    return top


def loaded(folder: Path, **changes: str) -> Rulebook:
    """The small rulebook with the coupling file's texts exchanged: `old=new` by keyword pairs a, b."""
    return load_rulebook(write(folder, changes))


def changed(old: str, new: str, file: str = "coupling.yaml") -> dict[str, str]:
    """One file with a text in it exchanged."""
    assert old in FILES[file]
    return {file: FILES[file].replace(old, new)}


def problems(folder: Path, changes: Mapping[str, str]) -> tuple[Problem, ...]:
    """The problems of the small rulebook with changes that are wrong."""
    with pytest.raises(ProblemsFound) as caught:
        load_rulebook(write(folder, changes))
    return caught.value.problems


def problem(folder: Path, old: str, new: str, file: str = "coupling.yaml") -> Problem:
    """The one problem of an exchange."""
    (found,) = problems(folder, changed(old, new, file))
    return found


def place(found: Problem) -> tuple[str, int, int]:
    """Where a problem stands."""
    return (found.file, found.line, found.column)


def test_a_small_rulebook_loads(tmp_path: Path) -> None:
    """Rules, derived values, the opening, tables and cautions are all there."""
    rulebook = loaded(tmp_path)
    assert [rule.id for rule in rulebook.rules] == ["shank-fits", "not-too-heavy"]
    assert [rule.subjects for rule in rulebook.rules] == [("accessory",), ("accessory",)]
    assert (list(rulebook.derived), list(rulebook.opening)) == (["carried.weight"], ["opening.size"])
    assert (list(rulebook.tables), [caution.id for caution in rulebook.cautions]) == (["heavy"], ["c"])
    assert rulebook.digest.startswith("sha256:") and len(rulebook.digest) == 71


def test_the_shipped_rulebook_loads() -> None:
    """The rules that ship with fitsvc load without a problem."""
    assert load_rulebook(data_dir("rules")).rules


def test_a_length_compared_with_a_mass_is_refused_in_place(tmp_path: Path) -> None:
    """The line and column are the YAML file's, at the operator."""
    found = problem(tmp_path, REQUIRES, "accessory.length <= receiver.tongue_rating")
    assert str(found) == (
        "rules/coupling.yaml:9:32: a length cannot be compared with a mass: `accessory.length` and "
        "`receiver.tongue_rating`\n"
        "        requires: accessory.length <= receiver.tongue_rating\n"
        "                                   ^\n"
        "    help: write something of the same dimension on both sides of `<=`"
    )


@pytest.mark.parametrize(
    ("old", "new", "at", "message", "help"),
    [
        (REQUIRES, "accessory.shnk == opening.size", (9, 15), "there is no fact `accessory.shnk`", "accessory.shank"),
        (REQUIRES, "accessory.kind == stepp", (9, 33), "`stepp` is not in kind", "did you mean `step`?"),
        (REQUIRES, '"accessory.kind in [step,\n      stp]"', (10, 7), "`stp` is not in kind", "did you mean `step`?"),
        (REQUIRES, "opening.added_length == 2 in", (9, 15), "there is no fact `opening.added_length`", "adapters.yaml"),
        (REQUIRES, "adapter.offers == 2 in", (9, 15), "there is no fact `adapter.offers`", ""),
        (REQUIRES, "receiver.notes == yes", (9, 15), "`receiver.notes` is a text, and no rule can read a text", ""),
        (REQUIRES, "accessory.length", (9, 15), "`accessory.length` is a length, expected a yes/no", ""),
        (REQUIRES, "lookup(heavi, accessory.kind) <= 1 kg", (9, 22), "there is no table `heavi`", "`heavy`"),
        (
            REQUIRES,
            "lookup(heavy.over, accessory.kind) <= 1 kg",
            (9, 22),
            "the table `heavy` has no columns",
            "`lookup(h",
        ),
        (
            "    source: {kind: common_practice}\n",
            "",
            (6, 5),
            "a rule lacks `source`",
            "add `source: {kind: published | ",
        ),
        ("{kind: common_practice}", "{kind: rumour}", (12, 20), "`rumour` is not a kind", ""),
        ("{kind: common_practice}", "{kind: published}", (12, 13), "a source of kind `published` says `cite`", ""),
        (
            "{kind: common_practice}",
            "{kind: published, cite: Act 1}",
            (12, 13),
            "what is published has words that can be looked up",
            "`named: [...]`",
        ),
        ("severity: blocking", "severity: bloking", (10, 15), "`bloking` is not a severity", "`blocking`"),
        ("severity: blocking", "severty: blocking", (10, 5), "a rule has no key `severty`", "`severity`"),
        ("id: shank-fits", "id: Shank Fits", (6, 9), "`Shank Fits` cannot be an id", "hyphens"),
        ("id: not-too-heavy", "id: shank-fits", (14, 9), "`shank-fits` is taken by an entry in `coupling`", ""),
        ("{accessory.shank}", "{accessory.shnk}", (11, 35), "there is no fact `accessory.shnk`", "accessory.shank"),
        ("{accessory.shank}", "{margin}", (11, 35), "`{margin}` needs a `requires` that is one comparison of two", ""),
        ("{accessory.shank}", "{accessory.shank", (11, 34), "`{` has no partner", "`{braces}`"),
        ("{accessory.shank}", "[{accessory.shank}|so", (11, 34), "`[` has no partner", "`[brackets]`"),
        ("is {accessory.shank}", "[is so]", (11, 31), "no value stands in `[brackets]`", "name one in `{braces}`"),
        ("{accessory.shank}", "[{accessory.shnk}|so]", (11, 36), "there is no fact `accessory.shnk`", ""),
        ("severity: caution", "severity: caution\n    if_unknown: caution", (18, 17), "`if_unknown` is for", ""),
        (
            "{gives: fails, so: blocks}",
            "{gives: fails}",
            (13, 33),
            "an example that gives `fails` says what",
            "add `so: blocks` or `so: caution`: `blocks` makes the answer no",
        ),
        (
            "{gives: undetermined, so: open}",
            "{gives: undetermined}",
            (13, 61),
            "an example that gives",
            "add `so: open` or `so: caution`",
        ),
        ("fails, so: blocks", "fails, so: open", (13, 52), "`open` is not what `fails` may bring", "it is one of"),
        (
            "[{gives: passes}",
            "[{gives: passes, so: open}",
            (13, 36),
            "what gives `passes` brings nothing to the answer",
            "take `so` out",
        ),
        ("topic: coupling", "topic: towing", (1, 1), "the topic of this file is `coupling`", ""),
        ("is: accessory.weight", "is: carried.weight", (4, 67), "`carried.weight` depends on itself: ", "break"),
        ("type: mass, is", "type: length, is", (4, 69), "`accessory.weight + 10 lb` is a mass, expected a length", ""),
        ("name: carried.weight", "name: accessory.weight", (4, 5), "`accessory.weight` is declared already", ""),
    ],
)
def test_what_is_wrong_is_told_in_place(
    tmp_path: Path, old: str, new: str, at: tuple[int, int], message: str, help: str
) -> None:
    """Each fault of a rule is told at its line and column, with what to write instead."""
    found = problems(tmp_path, changed(old, new))[0]
    assert (place(found), help in found.help) == (("rules/coupling.yaml", *at), True)
    assert found.message.startswith(message)


@pytest.mark.parametrize("gives", ["passes", "fails", "undetermined"])
def test_a_rule_needs_an_example_of_each_result(tmp_path: Path, gives: str) -> None:
    """A rule without an example that passes, one that fails or one that is undetermined is refused."""
    old = "examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]\n  - id: not"
    so = {"passes": "", "fails": ", so: blocks", "undetermined": ", so: open"}
    left = ", ".join(f"{{gives: {one}{brings}}}" for one, brings in so.items() if one != gives)
    found = problem(tmp_path, old, f"examples: [{left}]\n  - id: not")
    assert (found.message, found.help) == (f"no example gives `{gives}`", "add one of each")
    assert place(found) == ("rules/coupling.yaml", 13, 15)


def test_problems_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    """One loading tells the problems of every file, in the order of the files."""
    changes = changed(REQUIRES, "accessory.shnk == 2 in")
    changes |= changed("adapter.offers", "adapter.offer", "adapters.yaml")
    changes |= changed("step: 10 lb, ", "", "tables/classes.yaml")
    changes |= changed("effort: tape}", "effort: tap}", "vocabulary/receiver.yaml")
    changes |= changed("2-1/2 in]", "two]", "vocabulary/lists.yaml")
    found = problems(tmp_path, changes)
    assert [one.file.removeprefix("rules/") for one in found if "tap`" not in one.message] == [
        "adapters.yaml",
        "coupling.yaml",
        "tables/classes.yaml",
        "vocabulary/lists.yaml",
    ]
    assert sum("`tap` is not an effort" in one.message or "`tap`" in one.message for one in found) == 3


def test_what_a_fact_cannot_lean_on_is_told_where_it_is_written(tmp_path: Path) -> None:
    """The place is that of the name, not the file's first line."""
    old, file = f"3000 lb], {FACT}", "vocabulary/receiver.yaml"
    found = problem(tmp_path, old, f"{old}, leans_on: [receiver.bore]", file)
    assert "`receiver.tongue_rating` cannot lean on `receiver.bore`" in found.message
    line = FILES[file].splitlines()[5].replace(old, f"{old}, leans_on: [")
    assert place(found) == (f"rules/{file}", 6, line.index("leans_on: [") + len("leans_on: [") + 1)


@pytest.mark.parametrize("part", ["receiver.bore", "receiver.none"])
def test_what_a_fact_cannot_be_the_sum_of_is_told_where_it_is_written(tmp_path: Path, part: str) -> None:
    """A weight is the sum of weights of the same thing."""
    old, file = f"3000 lb], {FACT}", "vocabulary/receiver.yaml"
    found = problems(tmp_path, changed(old, f"{old}, sum_of: [{part}, {part}]", file))
    assert [one.message for one in found] == [f"`receiver.tongue_rating` cannot be a sum of `{part}`"] * 2


@pytest.mark.parametrize(
    ("serves", "message"),
    [
        ("fitted", "`receiver.tongue_rating` cannot serve as `fitted`"),
        ("equipment", "`receiver.tongue_rating` cannot serve as `equipment`"),
        ("shared", "`receiver.tongue_rating` cannot serve as `shared`"),
        ("taken_up", "`receiver.tongue_rating` cannot serve as `taken_up`"),
        ("lesened", "`lesened` is not what a fact may serve for"),
        ("weighed_anew}\n  other: {type: mass, range: [0 lb, 9 lb], LIKE", "`tongue_rating` serves as `weighed_anew`"),
        (
            "lessened}\n  other: {type: text, TOLD, serves: makers_limit",
            "`receiver.other` cannot serve as `makers_limit`",
        ),
    ],
)
def test_what_a_fact_cannot_serve_for_is_told(tmp_path: Path, serves: str, message: str) -> None:
    """fitsvc goes by what a fact says that it serves for: a slip there would leave something undone without a word."""
    old = f"3000 lb], {FACT}"
    new = f"{old}, serves: {serves.replace('LIKE', f'{FACT}, serves: weighed_anew')}"
    assert message in problem(tmp_path, old, new.replace("TOLD", FACT), "vocabulary/receiver.yaml").message


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "is: accessory.weight + 10 lb}",
            (
                "is: x.b}\n  - {name: x.b, label: b, type: mass, is: x.c}\n"
                "  - {name: x.c, label: c, type: mass, is: carried.weight}"
            ),
            "`carried.weight` depends on itself: carried.weight -> x.b -> x.c -> carried.weight",
        ),
        (
            "is: accessory.weight + 10 lb}",
            "is: carried.weight + 1 kg}",
            "`carried.weight` depends on itself: carried.weight -> carried.weight",
        ),
    ],
)
def test_circles_of_derived_values(tmp_path: Path, old: str, new: str, message: str) -> None:
    """A derived value that needs itself is refused, with the way round."""
    assert problem(tmp_path, old, new).message == message


def derived(*expressions: str) -> dict[str, str]:
    """The small rulebook with derived values x.d0, x.d1, ... of the given expressions."""
    lines = [f"  - {{name: x.d{i}, label: l, type: mass, is: {text}}}" for i, text in enumerate(expressions)]
    head = "  - {name: carried.weight, label: carried weight, type: mass, is: accessory.weight + 10 lb}"
    return changed(head, "\n".join([head, *lines]))


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("x.d{a} + 1 kg", "`x.d26` is 51 levels deep with all it reads; at most 50 are allowed"),
        ("x.d{a} + x.d{b}", "`x.d14` comes to 2903 parts with all it reads; at most 2000 are allowed"),
        ("(x.d{a} if present(accessory) else x.d{a})", "`x.d10` comes to 2556 parts with all it reads; at most 2000"),
    ],
)
def test_derived_values_do_not_pile_up(tmp_path: Path, step: str, message: str) -> None:
    """A chain or a tree of derived values is refused before it can cost more than an error."""
    texts = ["1 kg + 1 kg", "1 kg", *(step.format(a=i - 1, b=i - 2) for i in range(2, 300))]
    assert problems(tmp_path, derived(*texts))[0].message.startswith(message)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("bare: {size: receiver.opening}", "bare: {size: opening.size}", "there is no fact `opening.size`"),
        ("bare: {size: receiver.opening}", "bare: {size: adapter.offers}", "there is no fact `adapter.offers`"),
        ("each: {size: adapter.offers}", "each: {size: carried.weight}", "there is no fact `carried.weight`"),
        ("each: {size: adapter.offers}", "each: {}", "`size` needs an expression under both `bare` and `each`"),
        ("each: {size: adapter.offers}", "each: {size: adapter.offers, sise: yes}", "`sise` is not declared under"),
    ],
)
def test_the_opening_reads_facts_and_itself_before(tmp_path: Path, old: str, new: str, message: str) -> None:
    """The bare opening reads facts; after an adapter it reads facts, the adapter and the opening before it."""
    assert problems(tmp_path, changed(old, new, "adapters.yaml"))[0].message.startswith(message)


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("vocabulary/accessory.yaml", "range: [0 lb, 900 lb]", "range: [0 in, 900 lb]", "`0 in` is a length"),
        ("vocabulary/accessory.yaml", "range: [0 lb, 900 lb]", "range: [900 lb, 0 lb]", "a range has two ends"),
        ("vocabulary/accessory.yaml", "range: [0 lb, 900 lb], ", "", "`accessory.weight` has no plausible range"),
        ("vocabulary/accessory.yaml", "  weight:", "  Weight:", "`Weight` cannot be a fact's name"),
        ("vocabulary/accessory.yaml", "presence: asked", "presence: askd", "`askd` is not a presence"),
        ("vocabulary/receiver.yaml", "subject: receiver", "subject: accessory", "subject `accessory` is declared"),
        ("vocabulary/accessory.yaml", "type: kind", "type: kinds", "`kinds` is not a type"),
        ("vocabulary/lists.yaml", "step:", "a-step:", "`a-step` cannot be a member's name"),
        (
            "vocabulary/lists.yaml",
            "lists:\n",
            "tolerances: {tape: {lenght: 1 in}}\nlists:\n",
            "tolerances of `tape` has no key `lenght`",
        ),
        ("tables/classes.yaml", "step: 10 lb", "step: 10 in", "`10 in` is a length, expected a mass"),
        ("tables/classes.yaml", "ball_mount: 20", "zebra: 1 lb, ball_mount: 20", "`zebra` is not in kind"),
        ("tables/classes.yaml", "step: 10 lb, ", "", "the table has no row for `step`"),
        (
            "tables/classes.yaml",
            "key: kind\n    gives: mass\n    rows: {step: 10 lb, ball_mount: 20 lb}",
            "key: mass\n    gives: kind\n    bands: [{up_to: 2 lb, is: step}, {up_to: 1 lb, is: step}, {is: step}]",
            "a table by bands has rising `up_to`",
        ),
    ],
)
def test_faults_of_vocabulary_and_tables(tmp_path: Path, file: str, old: str, new: str, message: str) -> None:
    """A vocabulary or table that is wrong is told so at its own file."""
    first = next(one for one in problems(tmp_path, changed(old, new, file)) if one.file == f"rules/{file}")
    assert first.message.startswith(message) and first.line > 0


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("topic: coupling\nabout: a\nabout: b\n", 3, "the key `about` stands here a second time"),
        ("topic: &t coupling\nabout: *t\n", 1, "an anchor `&t` is not allowed"),
        ("a: &a [1,1]\nb: &b [*a,*a]\nc: &c [*b,*b]\n", 1, "an anchor `&a` is not allowed"),
        ("topic: !!python/object:os.system coupling\n", 1, "a tag `tag:yaml.org,2002:python/object:os.system` is not"),
        ("topic: coupling\n\tabout: a\n", 2, "a tab in the indentation"),
        ("topic: coup\0ling\n", 1, "the character U+0000 is not allowed"),
        ("topic: [coupling\n", 2, ""),
        ("- a\n", 1, "a rule file is written as `key: value` lines"),
        ("rules:\n" + "  [" * 60 + "\n", 2, "lists and mappings are nested more than 50 deep"),
    ],
    ids=["repeated", "anchor", "bomb", "tag", "tab", "nul", "open", "list", "deep"],
)
def test_hostile_yaml_is_told_by_file_and_line(tmp_path: Path, text: str, line: int, message: str) -> None:
    """What the YAML reader refuses comes out of the loader with the file's name and line."""
    found = problems(tmp_path, {"coupling.yaml": text})
    first = found[0]
    assert (first.file, first.line) == ("rules/coupling.yaml", line)
    assert first.message.startswith(message)


@pytest.mark.parametrize("size", [1_900, 15_000, 1_000_000])
def test_hostile_expressions_cost_an_error(tmp_path: Path, size: int) -> None:
    """A deep or endless expression in a rule file is an error at its place, at once."""
    found = problems(tmp_path, changed(REQUIRES, "not " * (size // 4) + "yes"))
    assert (found[0].file, found[0].line) == ("rules/coupling.yaml", 9)
    assert "nested deeper" in found[0].message or "characters" in found[0].message


def test_a_folder_without_rulebook_yaml(tmp_path: Path) -> None:
    """A folder that is no rulebook says what it lacks."""
    (found,) = problems(tmp_path, {"rulebook.yaml": ""})
    assert (found.message, found.help) == ("the rulebook has no rulebook.yaml", "add one with `name: ...`")


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("coupling.yaml", "topic: coupling\n", "# a remark\ntopic: coupling   # another\n\n"),
        ("coupling.yaml", "topic: coupling\nabout: What", "about: What goes into what.\ntopic: coupling\n# What"),
        ("coupling.yaml", REQUIRES, "(accessory.shank  ==\n      opening.size)"),
        ("coupling.yaml", REQUIRES, f'"{REQUIRES}"'),
        ("coupling.yaml", "[{gives: passes}", "[{gives: passes}, {gives: passes}"),
        ("coupling.yaml", "source: {kind: common_practice}", "source:\n      kind: common_practice"),
        ("adapters.yaml", "bare: {size: receiver.opening}", "bare: {size: (receiver.opening)}"),
    ],
    ids=["comments", "key order", "spacing", "quotes", "examples", "layout", "brackets"],
)
def test_the_digest_is_of_meaning(tmp_path: Path, file: str, old: str, new: str) -> None:
    """Comments, the order of keys, spacing, quotes and examples do not change the digest."""
    assert load_rulebook(write(tmp_path / "b", changed(old, new, file))).digest == loaded(tmp_path / "a").digest


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("coupling.yaml", "+ 10 lb", "+ 11 lb"),
        ("coupling.yaml", "The shank is", "Its shank is"),
        ("coupling.yaml", "severity: caution", "severity: blocking"),
        ("coupling.yaml", "title: Not too heavy", "title: Light enough"),
        ("coupling.yaml", "because: a guess", "because: two guesses"),
        ("coupling.yaml", "carried.weight <= r", "carried.weight < r"),
        ("tables/classes.yaml", "step: 10 lb", "step: 12 lb"),
        ("vocabulary/accessory.yaml", "[0 lb, 900 lb]", "[0 lb, 901 lb]"),
        ("adapters.yaml", "size: adapter.offers", "size: adapter.offers if yes else opening.size"),
        ("rulebook.yaml", "Take care.", "Mind."),
    ],
)
def test_the_digest_changes_with_meaning(tmp_path: Path, file: str, old: str, new: str) -> None:
    """A threshold, a reason, a severity, a source, a table's cell: each changes the digest."""
    assert load_rulebook(write(tmp_path / "b", changed(old, new, file))).digest != loaded(tmp_path / "a").digest


ACT = """sources:
  act-1: {cite: Act 1, seen: text, as_of: "1999", read: 2026-11, words: no more than 5 lb}
"""
LAW = """tables:
  - id: law
    title: t
    key: kind
    columns:
      over: {gives: mass, meaning: m}
      wide: {gives: length, otherwise: 90 in, meaning: m}
    rows:
      step: {over: 5 lb, asks: nothing over 5 lb, source: act-1}
    source: {kind: common_practice}
"""


def test_a_table_with_columns_is_looked_up_by_each(tmp_path: Path) -> None:
    """Each column is a table; a member without a row has anything in it, and `known` says that it has none."""
    wanted = "lookup(law.over, accessory.kind) <= 1 kg and lookup(law.known, accessory.kind)"
    rulebook = load_rulebook(
        write(tmp_path, {"tables/law.yaml": LAW, "sources.yaml": ACT, **changed(REQUIRES, wanted)})
    )
    entry = rulebook.tables["law"]
    columns = entry.lookups
    assert set(columns) == {"law.over", "law.wide", "law.known", "law.asks", "law.cite"}
    over, wide = ([*columns[name].values] for name in ("law.over", "law.wide"))
    assert over == [pytest.approx((5 * 0.45359237,) * 2), (-inf, inf)]
    assert wide == [pytest.approx((90 * 25.4,) * 2), (-inf, inf)]
    assert columns["law.known"].values == (YES, NO)
    source = entry.rows["step"].source
    assert (source.cite, source.seen, source.as_of, source.words) == ("Act 1", "text", "1999", "no more than 5 lb")
    assert columns["law.asks"].gives.members == ("nothing over 5 lb",)  # type: ignore[union-attr]  # the column is a list of names


def test_a_table_says_what_stands_without_a_row(tmp_path: Path) -> None:
    """As a row would: a column with `otherwise` may be left out, any other has to be told."""
    told = LAW.replace("    rows:\n", "    without_row: {over: 9 lb}\n    rows:\n")
    wanted = "lookup(law.over, accessory.kind) <= 1 kg and lookup(law.known, accessory.kind)"
    rulebook = load_rulebook(
        write(tmp_path, {"tables/law.yaml": told, "sources.yaml": ACT, **changed(REQUIRES, wanted)})
    )
    columns = rulebook.tables["law"].lookups
    over, wide = ([*columns[name].values] for name in ("law.over", "law.wide"))
    assert over == [pytest.approx((pounds * 0.45359237,) * 2) for pounds in (5, 9)]
    assert wide == [pytest.approx((90 * 25.4,) * 2)] * 2
    assert columns["law.known"].values == (YES, NO)


@pytest.mark.parametrize(
    ("left", "message"),
    [
        ("{}", "`without_row` lacks `over`"),
        ("{over: 5 in}", "is a length, expected a mass"),
        ("{over: 5 lb, wde: 2 in}", "`without_row` has no key `wde`"),
    ],
)
def test_a_fault_in_what_stands_without_a_row_is_told(tmp_path: Path, left: str, message: str) -> None:
    """Cells that are wrong or lacking are told where they stand."""
    told = LAW.replace("    rows:\n", f"    without_row: {left}\n    rows:\n")
    found = problems(tmp_path, {"tables/law.yaml": told, "sources.yaml": ACT})
    assert any(message in one.message for one in found), found


@pytest.mark.parametrize(
    ("old", "new", "message", "help"),
    [
        ("      step: {", "      stp: {", "`stp` is not in kind", "did you mean `step`?"),
        ("over: 5 lb, ", "", "row `step` lacks `over`", ""),
        ("over: 5 lb", "over: 5 in", "is a length, expected a mass", ""),
        ("over: 5 lb", "over: 5 lb, wde: 2 in", "row `step` has no key `wde`", "did you mean `wide`?"),
        (", source: act-1", "", "row `step` lacks `source`", ""),
        ("source: act-1", "source: act-2", "there is no source `act-2` in sources.yaml", "did you mean `act-1`?"),
        ("      over: {", "      known: {", "`known` is in every table with columns", "choose another name"),
        ("gives: mass, meaning: m", "gives: mas, meaning: m", "`mas` is not a gives", "did you mean `mass`?"),
    ],
)
def test_a_fault_in_a_table_with_columns_is_told(tmp_path: Path, old: str, new: str, message: str, help: str) -> None:
    """Wrong rows, cells, columns and sources are told where they stand."""
    assert old in LAW
    found = problems(tmp_path, {"tables/law.yaml": LAW.replace(old, new), "sources.yaml": ACT})
    assert any(message in one.message and help in (one.help or "") for one in found), found
    assert all(one.file == "rules/tables/law.yaml" or "nothing cites" in one.message for one in found)


def test_other_words_for_choices_are_of_lists_that_there_are_and_of_their_choices(tmp_path: Path) -> None:
    """A word that leads to no choice would lead whoever writes it nowhere."""
    words = """called:
  hitch_clas: {large: [I]}
not_judged:
  - {of: nothing_like_it, said: [tow bar], instead: "Ask who fits tow bars."}
"""
    found = problems(tmp_path, {"words.yaml": words})
    assert [one.message for one in found] == ["there is no list `hitch_clas`", "there is no list `nothing_like_it`"]
