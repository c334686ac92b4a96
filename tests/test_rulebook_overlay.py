"""A shop's overlay: what it adds, what it may change of the core by itself, and what only by name, as answers tell."""

import json
import random
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from test_rulebook_loader import FACT, FILES

from fitsvc.cli import main
from fitsvc.engine.point import Point
from fitsvc.facts import Case
from fitsvc.language.checker import Names, check
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.source import Source
from fitsvc.language.types import TRUTH, Mask, Value
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.folder import lay_out, texts_of
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.meaning import differences, digest_of
from fitsvc.rulebook.rules import Caution, Need, Reference, Rule
from fitsvc.rulebook.strictness import surely_within
from fitsvc.service.published import Published
from fitsvc.store.database import Database
from fitsvc.store.publications import publish
from fitsvc.store.written import Write

KINDS = """lists:
  opening_size: {dimension: length, members: [1-1/4 in, 2 in, 2-1/2 in]}
  kind:
    roles:
      carries: {label: whether it carries, meaning: It carries a load.}
      stood_upon: {label: whether it is stood upon, meaning: People stand upon it.}
    members: {step: {word: hitch step, is: [stood_upon]}, ball_mount: {word: ball mount, is: [carries]}}
"""
EXAMPLES = "examples: [{gives: passes}, {gives: fails, so: blocks}, {gives: undetermined, so: open}]"
SOURCE = "source: {kind: common_practice}"
MORE = f"""  - id: short-enough
    title: Short enough
    applies_when: kind.carries
    requires: accessory.length <= 48 in and accessory.weight < 500 lb
    severity: blocking
    if_unknown: caution
    fails_because: "Too long."
    {SOURCE}
    {EXAMPLES.replace("so: open", "so: caution")}
needs:
  - id: a-pin
    title: A pin
    applies_when: accessory.kind == step
    met_when: accessory.weight <= 5 lb
    because: "It needs one."
    {SOURCE}
    examples: [{{gives: open}}]
"""
CAUTION = """  - id: mind
    text: Mind that.
    applies_when: accessory.kind == step
    SOURCE
    examples: [{gives: told}, {gives: not_told}]
"""
CORE = {
    **FILES,
    "vocabulary/lists.yaml": KINDS,
    "coupling.yaml": FILES["coupling.yaml"] + MORE,
    "rulebook.yaml": FILES["rulebook.yaml"] + CAUTION.replace("SOURCE", SOURCE),
}
SHOP = f"""topic: shop
about: What the shop asks for.
rules:
  - id: shop-light
    title: Light
    applies_when: kind.carries
    requires: accessory.tread <= 9 in
    severity: blocking
    fails_because: "Its tread is {{accessory.tread}}."
    {SOURCE}
    {EXAMPLES}
"""
OVERLAY = {
    "overlay.yaml": f"name: the yard\ncautions:\n  - {{id: hours, text: Open until five., {SOURCE}}}\n",
    "shop.yaml": SHOP,
    "vocabulary/accessory.yaml": "subject: accessory\nfacts:\n"
    f"  tread: {{type: length, range: [0 in, 20 in], {FACT}}}\n",
    "vocabulary/lists.yaml": "lists: {kind: {members: {kennel: {word: kennel, is: [carries]}}}}\n",
    "tables/shop.yaml": FILES["tables/classes.yaml"]
    .replace("id: heavy", "id: shop_heavy")
    .replace("{step: 10 lb, ball_mount: 20 lb}", "{step: 1 lb, ball_mount: 2 lb, kennel: 3 lb}"),
}
ROW = "changes: [{of: heavy, because: b, rows: {kennel: 30 lb}}]\n"
"""The core's table is by kind, so a new one needs its row there."""


def write(folder: Path, overlay: Mapping[str, str], core: Mapping[str, str] = CORE) -> Path:
    """Write an overlay with its core."""
    lay_out({**overlay, **{f"core/{name}": text for name, text in core.items()}}, folder)
    return folder


def changing(*changes: str) -> dict[str, str]:
    """An overlay that does nothing but change the core."""
    return {"overlay.yaml": "name: the yard\nchanges:\n" + "".join(f"  - {{because: b, {one}}}\n" for one in changes)}


def refused(folder: Path) -> tuple[Problem, ...]:
    """The problems of an overlay that is none."""
    with pytest.raises(ProblemsFound) as caught:
        load_rulebook(folder)
    return caught.value.problems


def test_an_overlay_and_its_core_are_one_rulebook(tmp_path: Path) -> None:
    """Rules, facts, a kind with its role, tables and cautions are added; the core's stand as they were, before them."""
    core = load_rulebook(write(tmp_path / "core_alone", CORE, {}))
    overlay = {**OVERLAY, "overlay.yaml": OVERLAY["overlay.yaml"] + ROW}
    folder = write(tmp_path / "yard", overlay)
    found = load_rulebook(folder)
    assert [one.id for one in found.rules] == [*(one.id for one in core.rules), "shop-light"]
    assert [one.id for one in found.cautions] == [*(one.id for one in core.cautions), "hours"]
    assert (found.name, list(found.tables)) == ("the yard", ["heavy", "shop_heavy"])
    assert {name: one for name, one in found.vocabulary.facts.items() if name != "accessory.tread"}.keys() == {
        *core.vocabulary.facts
    }
    assert found.derived["kind.carries"].text == "accessory.kind in [ball_mount, kennel]"
    assert cached_rulebook(folder) == cached_rulebook(folder) == found
    assert {one.name for one in differences(tmp_path / "core_alone", folder)} >= {"shop-light", "heavy", "hours"}


def test_the_digest_is_of_both(tmp_path: Path) -> None:
    """It changes with what either means and with nothing else; what is published reads as the same again."""
    folder = write(tmp_path / "yard", changing("of: short-enough, severity: blocking"))
    before = load_rulebook(folder).digest
    assert digest_of(folder) == before
    lay_out(texts_of(folder), tmp_path / "again")
    assert load_rulebook(tmp_path / "again").digest == before
    held = CORE["coupling.yaml"]
    for text, same in (
        (held + "# a word beside\n", True),
        (held.replace("<= 48 in", "<= 47 in"), False),
    ):
        (folder / "core" / "coupling.yaml").write_text(text)
        assert (cached_rulebook(folder).digest == before) == same
    (folder / "core" / "coupling.yaml").write_text(held)
    (folder / "overlay.yaml").write_text(changing("of: not-too-heavy, severity: blocking")["overlay.yaml"])
    assert cached_rulebook(folder).digest != before


STRICTER = {
    "a lower figure": "of: short-enough, requires: accessory.length <= 36 in and accessory.weight < 500 lb",
    "a condition more": "of: shank-fits, requires: accessory.shank == opening.size and kind.stood_upon",
    "for more kinds": "of: short-enough, applies_when: kind.carries or kind.stood_upon",
    "for all": 'of: short-enough, applies_when: "yes"',
    "not knowing leaves open": "of: short-enough, if_unknown: undetermined",
    "a caution blocks": "of: not-too-heavy, severity: blocking",
    "other words": "of: short-enough, title: Not too long, fails_because: Ours is shorter.",
    "a need that is met by less": "of: a-pin, met_when: accessory.weight <= 4 lb",
    "a caution told of more": "of: mind, applies_when: kind.stood_upon or accessory.kind == step",
}


@pytest.mark.parametrize("change", STRICTER)
def test_what_is_stricter_is_changed_without_more_ado(tmp_path: Path, change: str) -> None:
    """It takes the core's place, nothing is told of it, and to allow it to loosen is an error."""
    core, folder = (
        load_rulebook(write(tmp_path / "core", CORE, {})),
        write(tmp_path / "yard", changing(STRICTER[change])),
    )
    found = load_rulebook(folder)
    assert found.digest != core.digest
    assert [one.id for one in found.cautions] == [one.id for one in core.cautions]
    (folder / "overlay.yaml").write_text(changing(f"loosens: yes, {STRICTER[change]}")["overlay.yaml"])
    (problem,) = refused(folder)
    assert "is no looser" in problem.message


LOOSER = {
    "a higher figure": (
        "of: short-enough, title: Short, requires: accessory.length <= 60 in and accessory.weight < 500 lb",
        "what it requires",
    ),
    "a condition less": ("of: short-enough, title: Short, requires: accessory.length <= 48 in", "what it requires"),
    "another fact": (
        "of: short-enough, title: Short, requires: receiver.tongue_rating <= 48 lb and accessory.weight < 500 lb",
        "what it requires",
    ),
    "for fewer kinds": ("of: shank-fits, applies_when: kind.stood_upon and kind.carries", "where it applies"),
    "never": ('of: short-enough, applies_when: "no"', "where it applies"),
    "no longer blocks": ("of: short-enough, severity: caution, if_unknown: ", "milder"),
    "not knowing is a caution": ("of: shank-fits, if_unknown: caution", "milder"),
    "not asked for": ('of: short-enough, asks: "no"', "its asks"),
    "a need met sooner": ("of: a-pin, met_when: accessory.weight <= 6 lb", "when it is met"),
    "a caution of other words": ("of: mind, text: All is well.", "its text"),
    "a caution told of fewer": (
        "of: mind, applies_when: kind.stood_upon and kind.carries", "where it applies",
    ),
    "a derived value": ("of: carried.weight, is: accessory.weight", "what rests on it"),
    "a row": ("of: heavy, rows: {step: 11 lb}", "its row `step`"),
}  # fmt: skip


@pytest.mark.parametrize("change", LOOSER)
def test_what_lets_more_pass_says_so_by_name_and_answers_tell(tmp_path: Path, change: str) -> None:
    """Without a word it is refused at its line, and the core's is named; with it, every answer it touches tells it."""
    text, why = LOOSER[change]
    folder = write(tmp_path / "yard", changing(text))
    (problem,) = refused(folder)
    of = text.partition(": ")[2].partition(",")[0]
    assert problem.message.startswith(f"`{of}` may let more pass than in core/") and why in problem.message
    assert ((problem.file, problem.line), "loosens: yes" in problem.help) == (("yard/overlay.yaml", 3), True)
    (folder / "overlay.yaml").write_text(changing(f"{text}, loosens: yes")["overlay.yaml"])
    told = load_rulebook(folder).cautions[-1]
    assert str(told.text[0]).startswith("the yard lets more pass than the rules it adds to, at “")
    assert str(told.text[0]).endswith("”: b")


TREAD = f"{{type: length, range: [0 in, 20 in], {FACT}}}"
REFUSED = {
    "a fact of the same name": (
        {"vocabulary/accessory.yaml": f"subject: accessory\nfacts:\n  weight: {TREAD}\n"},
        "yard/vocabulary/accessory.yaml", 3, "the core has `weight` already",
    ),
    "a kind that is renamed": (
        {"vocabulary/lists.yaml": "lists:\n  kind:\n    members:\n      step: {word: tread, is: [carries]}\n"},
        "yard/vocabulary/lists.yaml", 4, "the core has `step` already",
    ),
    "a kind without roles": (
        {
            "vocabulary/lists.yaml": "lists:\n  kind:\n    members:\n      kennel: kennel\n",
            "overlay.yaml": f"name: the yard\n{ROW}",
        },
        "yard/vocabulary/lists.yaml", 4, "`kennel` says no role",
    ),
    "a role of a kind that is there": (
        {"vocabulary/lists.yaml": "lists:\n  kind:\n    roles: {mild: {label: l, meaning: m}}\n"},
        "yard/vocabulary/lists.yaml", 3, "`roles` is the core's to say",
    ),
    "a kind beside the lists": (
        {"vocabulary/lists.yaml": "kind: {members: {kennel: {word: kennel, is: [carries]}}}\nlists: {}\n"},
        "yard/vocabulary/lists.yaml", 1, "`kind` stands beside `lists`",
    ),
    "a fact beside the facts": (
        {"vocabulary/accessory.yaml": f"subject: accessory\ntread: {TREAD}\n"},
        "yard/vocabulary/accessory.yaml", 2, "`tread` stands beside `facts`",
    ),
    "another tolerance": (
        {"vocabulary/lists.yaml": "tolerances: {tape: {length: 1 in}}\nlists: {}\n"},
        "yard/vocabulary/lists.yaml", 1, "`tolerances` is the core's to say",
    ),
    "another presence": (
        {"vocabulary/accessory.yaml": f"subject: accessory\npresence: always\nfacts: {{tread: {TREAD}}}\n"},
        "yard/vocabulary/accessory.yaml", 2, "`presence` is the core's to say",
    ),
    "facts in a file of its own": (
        {"vocabulary/shop.yaml": f"subject: accessory\nfacts: {{tread: {TREAD}}}\n"},
        "yard/vocabulary/shop.yaml", 1, "the core has no file `vocabulary/shop.yaml`",
    ),
    "a topic of the core's name": (
        {"coupling.yaml": SHOP.replace("topic: shop", "topic: coupling")}, "yard/coupling.yaml", 1,
        "the core has a file `coupling.yaml` already",
    ),
    "a rule of the core's id": (
        {"shop.yaml": SHOP.replace("shop-light", "short-enough").replace("accessory.tread <= 9 in", "kind.carries")
         .replace("{accessory.tread}", "long")},
        "yard/shop.yaml", 4, "`short-enough` is taken",
    ),
    "a table of the core's id": (
        {"tables/shop.yaml": FILES["tables/classes.yaml"]}, "yard/tables/shop.yaml", 2,
        "there is a table `heavy` already, in core/tables/classes.yaml, line 2",
    ),
    "a top of a whole rulebook": (
        {"rulebook.yaml": "name: mine\n"}, "yard/rulebook.yaml", 1, "the core has a file `rulebook.yaml` already",
    ),
    "what an adapter changes": (
        {"adapters.yaml": FILES["adapters.yaml"]}, "yard/adapters.yaml", 1,
        "the core has a file `adapters.yaml` already",
    ),
    **{
        f"the core's {key}": ({"overlay.yaml": f"name: the yard\n{key}: []\n"}, "yard/overlay.yaml", 2, f"`{key}`")
        for key in ("wishes", "usual", "trials", "allowances")
    },
    "nothing of that name": (changing("of: short-enuf, severity: caution"), "yard/overlay.yaml", 3, "nothing called"),
    "a row": (changing("of: heavy.x, severity: caution"), "yard/overlay.yaml", 3, "nothing called `heavy.x`"),
    "the name itself": (changing("of: short-enough, id: other"), "yard/overlay.yaml", 3, "has no key `id`"),
    "no such key": (changing("of: short-enough, seveerity: x"), "yard/overlay.yaml", 3, "has no key `seveerity`"),
    "no change": (changing("of: short-enough"), "yard/overlay.yaml", 3, "nothing is changed"),
    "twice": (
        changing("of: short-enough, title: a", "of: short-enough, severity: caution"), "yard/overlay.yaml", 4,
        "`short-enough` is changed in line 3 already",
    ),
}  # fmt: skip


def test_a_row_is_changed_in_its_table(tmp_path: Path) -> None:
    """Who names the row is told how, and not that the table's name is nearly so."""
    (found,) = refused(write(tmp_path / "yard", changing("of: heavy.x, severity: caution")))
    assert found.help == "change it in its table: `of: heavy`, and under `rows` `x: ...`, the whole row"


@pytest.mark.parametrize("slip", REFUSED)
def test_a_slip_is_refused_where_it_stands(tmp_path: Path, slip: str) -> None:
    """Nothing of the core is exchanged by being written again; each slip is one problem with its file and line."""
    files, file, line, message = REFUSED[slip]
    found = refused(write(tmp_path / "yard", {"overlay.yaml": OVERLAY["overlay.yaml"], **files}))
    assert [(one.file, one.line) for one in found] == [(file, line)], found
    assert message in found[0].message


SHORTER = "of: short-enough, requires: accessory.length <= 36 in and accessory.weight < 500 lb"
FIGURED = (
    CORE["coupling.yaml"]
    .replace("title: Short enough", "title: Shorter than 4 ft")
    .replace('"Too long."', '"Over {48 in}."')
)


@pytest.mark.parametrize("key", ["title", "fails_because"])
def test_no_text_of_the_core_tells_its_figure_beside_another(tmp_path: Path, key: str) -> None:
    """Each such text is refused where the requirement is changed, stricter or not; written anew both are taken."""
    texts = {"title": "Shorter than 3 ft", "fails_because": "Over ours."}
    core = {**CORE, "coupling.yaml": FIGURED}
    said = "".join(f", {name}: {text}" for name, text in texts.items())
    assert load_rulebook(write(tmp_path / "whole", changing(SHORTER + said), core)).digest
    lacking = "".join(f", {name}: {text}" for name, text in texts.items() if name != key)
    (problem,) = refused(write(tmp_path / "yard", changing(SHORTER + lacking), core))
    assert problem.message == f"`{key}` of `short-enough` is still the core's and tells its figure"
    assert (problem.file, problem.line, problem.column) == ("yard/overlay.yaml", 3, 36)


def test_a_rule_that_requires_less_is_not_titled_as_before(tmp_path: Path) -> None:
    """Its title is read out as true where it passes; a text without a figure is untrue then as well."""
    more = changing("loosens: yes, of: short-enough, requires: accessory.length <= 60 in")
    (problem,) = refused(write(tmp_path / "yard", more))
    assert "is told where it passes by the core's `title`" in problem.message


BY_LAW = "source: {kind: published, cite: A law, named: [law]}"
LAW = "sources:\n  law: {cite: A law, seen: memory, as_of: '2026', says: Less than 48 in.}\n"


@pytest.mark.parametrize(
    ("change", "owner"),
    [
        (SHORTER, "short-enough"),
        ("of: short-enough, applies_when: kind.carries or kind.stood_upon", "short-enough"),
        ("of: a-pin, met_when: accessory.weight <= 4 lb", "a-pin"),
        ("of: mind, text: Mind this., loosens: yes", "mind"),
    ],
)
def test_no_law_is_named_for_what_the_shop_asks(tmp_path: Path, change: str, owner: str) -> None:
    """The source is then the overlay's own reason, unless it names one; what only blocks harder keeps its law."""
    core = {name: text.replace(SOURCE, BY_LAW) for name, text in CORE.items()} | {"sources.yaml": LAW}

    def source(folder: str, said: str) -> Reference:
        book = load_rulebook(write(tmp_path / folder, changing(said), core))
        owners: list[Rule | Need | Caution] = [*book.rules, *book.needs, *book.cautions]
        return next(one.source for one in owners if one.id == owner)

    assert source("yard", change) == Reference("estimate", because="b")
    assert source("own", f"{change}, {SOURCE}") == Reference("common_practice")
    harder = {"short-enough": "if_unknown: undetermined", "a-pin": "title: A good pin", "mind": "applies_when: yes"}
    if owner != "mind":
        assert source("harder", f"of: {owner}, {harder[owner]}").kind == "published"


def test_an_example_that_a_change_breaks_is_told_at_the_change(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The core's own cannot be mended from there; also of what rests on what is changed."""
    folder = write(tmp_path / "yard", {"overlay.yaml": MILDER + "    loosens: yes\n"}, {})
    assert main(["rules", "test", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "yard/overlay.yaml:3:9: error: `shank-fits-opening` gives fails, so: caution where the core's" in told
    assert "mend the change, or write `examples:` in it" in told and "mend the rule or the example" not in told
    more = MILDER.replace("shank-fits-opening", "road.behind_bumper").replace("severity: caution", "is: 0 in")
    (folder / "overlay.yaml").write_text(more + "    loosens: yes\n")
    assert main(["rules", "test", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "yard/overlay.yaml: error: `reach-behind-without-flag` gives passes where the core's example" in told
    assert "change `reach-behind-without-flag` too, with `examples:` of its own" in told


ROWS = """tables:
  - id: law_of
    title: laws
    key: kind
    columns: {most: {gives: length, meaning: m}}
    rows:
      step: {most: 4 ft, asks: Four feet., source: law}
      ball_mount: {most: 4 ft, asks: Four feet., source: law}
    source: {kind: published, cite: laws}
"""


def test_a_row_of_law_that_is_another_names_another_source(tmp_path: Path) -> None:
    """A figure of the shop's own is not told as the law's."""
    core = {**CORE, "tables/law.yaml": ROWS, "sources.yaml": LAW}
    row = "of: law_of, loosens: yes, rows: {step: {most: 5 ft, asks: Five feet., source: law}}"
    (problem,) = refused(write(tmp_path / "yard", changing(row), core))
    assert problem.message == "row `step` is another, and names the core's source for it"
    ours = {"sources.yaml": LAW.replace("law:", "ours:").replace("A law", "Ours")}
    folder = write(tmp_path / "own", {**changing(row.replace("source: law", "source: ours")), **ours}, core)
    told = load_rulebook(folder).tables["law_of"].rows
    assert [told[kind].source.cite for kind in ("step", "ball_mount")] == ["Ours", "A law"]


@pytest.mark.parametrize("key", ["severity", "examples", "source"])
def test_what_every_rule_has_is_not_left_out(tmp_path: Path, key: str) -> None:
    """Told once, at the line of the overlay that would leave it out."""
    lines = f"name: the yard\nchanges:\n  - of: short-enough\n    because: b\n    {key}:\n"
    (problem,) = refused(write(tmp_path / "yard", {"overlay.yaml": lines}))
    assert problem.message == f"`{key}` of `short-enough` cannot be left out"
    assert (problem.file, problem.line) == ("yard/overlay.yaml", 5)


def test_a_rule_with_one_subject_more_is_looser(tmp_path: Path) -> None:
    """It would say nothing of a question without a trailer, of which the core's rule says no."""
    weight = f"{{type: mass, range: [0 lb, 9 lb], {FACT}}}"
    trailer = f"subject: trailer\ntitle: t\npresence: asked\nfacts: {{weight: {weight}}}\n"
    stricter = "carried.weight <= receiver.tongue_rating and trailer.weight <= 5 lb"
    change = changing(f"of: not-too-heavy, requires: {stricter}, fails_because: x")
    folder = write(tmp_path / "yard", change, {**CORE, "vocabulary/trailer.yaml": trailer})
    assert "silent now where a question leaves out `trailer`" in refused(folder)[0].message


LEAVES = (
    "accessory.length <= F in",
    "accessory.length < F in",
    "F in <= accessory.length",
    "accessory.weight <= accessory.length / 1 in * 1 lb",
    "accessory.kind == step",
    "accessory.kind != step",
    "accessory.shank in [2 in, 2-1/2 in]",
    "accessory.shank == 2 in",
)


def drawn(rng: random.Random, deep: int) -> str:
    """A condition, drawn."""
    if not deep or rng.random() < 0.3:
        leaf = rng.choice(LEAVES).replace("F", str(rng.choice((8, 9, 10))))
        return f"not ({leaf})" if rng.random() < 0.2 else leaf
    return "(" + f" {rng.choice(('and', 'or'))} ".join(drawn(rng, deep - 1) for _ in range(2)) + ")"


def a_case(rng: random.Random) -> Case:
    """Facts that are exact, within bounds, or not known."""
    values: dict[str, Value] = {}
    for name, unit in (("accessory.length", 25.4), ("accessory.weight", 0.45359237)):
        low, high = sorted(rng.choice((7, 8, 9, 10, 11)) * unit for _ in range(2))
        if rng.random() < 0.8:
            values[name] = (low, rng.choice((low, high)))
    for name, members in (("accessory.kind", 2), ("accessory.shank", 3)):
        if rng.random() < 0.8:
            values[name] = Mask(rng.randrange(1, 2**members))
    return Case(values, frozenset(("receiver", "accessory")))


def test_what_shows_as_stricter_is_so_for_all_bounds(tmp_path: Path) -> None:
    """Of drawn conditions of which the form says that one is within another, no case tells otherwise.

    Held to the engine's three values, with facts exact, within bounds or not known; and it says so of enough.
    """
    rng, rulebook = random.Random(0), load_rulebook(write(tmp_path, CORE, {}))
    engine, told = Point(rulebook), 0
    names = Names(rulebook.vocabulary.slots(), frozenset(rulebook.vocabulary.subjects))
    cases = [a_case(rng) for _ in range(200)]
    while told < 60:
        one, other = (check(Source.plain(drawn(rng, 2)), names, TRUTH) for _ in range(2))
        if one != other and surely_within(one, other):
            told += 1
            values = engine.values((one, other), partial(list, (one, other)))
            found: list[Any] = [values.of(case) for case in cases]
            assert all(low <= high for low, high in found), (one, other)


MILDER = """name: the yard
changes:
  - of: shank-fits-opening
    severity: caution
    because: We shim them.
"""
QUESTION = """{"rig": {"receiver": {"facts": {"opening": "2 in"}}},
 "accessory": {"facts": {"kind": "step", "shank": "1-1/4 in"}}}"""


def test_what_is_served_is_both_and_tells_of_what_it_allows(
    tmp_path: Path, sqlite: Database, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of fitsvc's own rules: refused unless by name; then a command's answer tells it, and a publication's does."""
    folder = write(tmp_path / "yard", {"overlay.yaml": MILDER}, {})
    (tmp_path / "question.json").write_text(QUESTION)
    asked = ["answer", str(tmp_path / "question.json"), "--rules", str(folder)]
    assert main(asked) == 2
    told = capsys.readouterr().err
    assert "yard/overlay.yaml:4:5:" in told and "coupling.yaml, line" in told and "the answer is milder" in told
    (folder / "overlay.yaml").write_text(MILDER + "    loosens: yes\n")
    assert main(asked) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert (
        "FAILS" not in told and "the yard lets more pass than the rules it adds to" in told and "We shim them." in told
    )
    found = Published(sqlite, tmp_path / "below")
    (tmp_path / "below").mkdir()
    digest = cached_rulebook(folder).digest
    with sqlite.session() as session:
        publish(session, digest, "yard", texts_of(folder), Write(by="who"))
    served = found.load(digest)
    assert served is not None and found.refused == {}
    assert any("We shim them." in one for one in served.answerer.answer(json.loads(QUESTION)).cautions)
