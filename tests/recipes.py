"""How to add something, step by step: the steps that DEVELOPERS.md tells, and that a test carries out.

Each step says what complains when it is left out. The test leaves out one after the other, in a copy of the tree, and
expects just that; with all steps done every one of those commands has to be content.
"""

import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

ROOT: Final = Path(__file__).parent.parent
COPIED: Final = ("fitsvc", "rules", "migrations", "seed_demo", "tests", ".pictures", "pyproject.toml", "DEVELOPERS.md")
Do: TypeAlias = Callable[[Path], None]
NEW_LINE: Final = "\n"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what is told of it, how it is done in a tree, and which command says what without it."""

    text: str
    do: Do
    command: str
    says: str


@dataclass(frozen=True, slots=True)
class Recipe:
    """What is added: how it begins, its steps in order, what follows without a step, and commands that hold that."""

    name: str
    text: str
    begin: Do
    steps: tuple[Step, ...]
    follows: str
    held_by: tuple[str, ...] = ()


def written(file: str, text: str) -> Do:
    """Write a new file."""

    def do(tree: Path) -> None:
        (tree / file).write_text(text, "utf-8")

    return do


def appended(file: str, text: str) -> Do:
    """Add a text at the end of a file."""

    def do(tree: Path) -> None:
        path = tree / file
        path.write_text(f"{path.read_text('utf-8').rstrip(NEW_LINE)}{NEW_LINE}{text}", "utf-8")

    return do


def replaced(file: str, *changes: tuple[str, str], count: int = 1) -> Do:
    """Replace texts of a file, each so often; what is not there is left alone, and then missed by what is run."""

    def do(tree: Path) -> None:
        path = tree / file
        text = path.read_text("utf-8")
        for old, new in changes:
            text = text.replace(old, new, count)
        path.write_text(text, "utf-8")

    return do


def ran(command: str) -> Do:
    """Run a command in the tree; it may fail where a step before it was left out."""

    def do(tree: Path) -> None:
        run(command, tree)

    return do


def run(command: str, tree: Path) -> "subprocess.CompletedProcess[str]":
    """Run one of the commands that steps name on a tree; both its streams are read as one.

    The tests so run need no fixture and no plugin of pytest, which would take longer to load than they to run.
    """
    name, *words = shlex.split(command)
    module = ["-m", "fitsvc"] if name == "fitsvc" else ["-m", name] if name == "pytest" else []
    bare = ["-q", "-c", os.devnull, "--rootdir", ".", "--noconftest", "-p", "no:cacheprovider"]
    env = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    env |= {"PYTHONPATH": f"{tree}:{tree / 'tests'}", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    return subprocess.run(
        [sys.executable, *module, *words, *(bare if name == "pytest" else [])],
        cwd=tree,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )


def together(commands: Iterable[str]) -> list[str]:
    """Commands, each once, with all those of pytest as one."""
    each = list(dict.fromkeys(commands))
    split = [shlex.split(one) for one in each if one.startswith("pytest ")]
    files = dict.fromkeys(word for words in split for word in words[1:] if word.startswith("tests/"))
    chosen = " or ".join(f"({words[words.index('-k') + 1]})" for words in split)
    tests = [f"pytest {' '.join(files)} -k '{chosen}'"] if split else []
    return [one for one in each if not one.startswith("pytest ")] + tests


def copy_tree(into: Path) -> Path:
    """Copy what the steps change and the commands read."""
    for file in _files(ROOT):
        (into / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / file, into / file)
    return into


def restore(tree: Path) -> None:
    """Take back what steps have done to a copy; what was compiled of the rest stays."""
    there = set(_files(ROOT))
    for file in set(_files(tree)) - there:
        (tree / file).unlink()
    for file in there:
        if (tree / file).read_bytes() != (ROOT / file).read_bytes():
            shutil.copy2(ROOT / file, tree / file)


def _files(tree: Path) -> list[Path]:
    """The copied files of a tree, without what was compiled of them."""
    listed = [
        one for name in COPIED for one in ([tree / name] if (tree / name).is_file() else (tree / name).rglob("*"))
    ]
    return [one.relative_to(tree) for one in listed if one.is_file() and "__pycache__" not in one.parts]


def told(recipe: Recipe) -> str:
    """A recipe as DEVELOPERS.md has it."""
    steps = "".join(
        f"{number}. {step.text} Left out, `{step.command}` says `` {step.says} ``.\n"
        for number, step in enumerate(recipe.steps, start=1)
    )
    return f"**{recipe.name}.** {recipe.text}\n\n{steps}\n{recipe.follows}\n"


def _rule(reads: str, *, source: str = "", examples: str = "") -> str:
    """A topic with one rule, whole or without its source and its examples."""
    return f"""\
topic: steps
about: Whether a step can be stood upon.
rules:
  - id: step-is-large-enough
    title: The step is large enough for a foot
    applies_when: kind.stood_upon
    requires: {reads} >= 4 in
    severity: caution
    fails_because: "For a foot {{{reads}}} is too little."
{source}{examples}"""


_SOURCE: Final = "    source: {kind: common_practice}\n"


def _examples(reads: str, enough: str, short: str) -> str:
    given = "accessory.kind: step"
    return f"""\
    examples:
      - {{{given}, {reads}: {enough}, gives: passes}}
      - {{{given}, {reads}: {short}, gives: fails, so: caution}}
      - {{{given}, gives: undetermined, so: caution}}
      - {{accessory.kind: ball_mount, gives: not_applicable}}
"""


_DEPTH: Final = "accessory.tread_depth"
_WIDTH: Final = "accessory.width"
_TOPIC: Final = "rules/steps.yaml"

FACT: Final = Recipe(
    "A fact",
    "All of it is data; here the depth of a step's tread.",
    lambda tree: None,
    (
        Step(
            "Its entry in `rules/vocabulary/SUBJECT.yaml`: type, plausible range, label, meaning with its measuring "
            "points, how to measure, effort, and for a length the two points that the tape goes between.",
            appended(
                "rules/vocabulary/accessory.yaml",
                """\
  tread_depth:
    type: length
    range: [0 in, 20 in]
    label: depth of the tread
    meaning: How deep the step's tread is, front to rear.
    how_to_measure: Measure the tread from front to rear.
    effort: tape
""",
            ),
            "fitsvc rules check rules",
            f"there is no fact `{_DEPTH}`",
        ),
        Step(
            "A rule, need or caution that reads it.",
            written(_TOPIC, _rule(_DEPTH, source=_SOURCE, examples=_examples(_DEPTH, "4 in", "3-15/16 in"))),
            "fitsvc rules show --coverage rules",
            f"Facts that nothing reads {_DEPTH}",
        ),
    ),
    "The API's schemas, the loader's columns, the fields of the pages and the error texts follow from the entry.",
    ("pytest tests/test_service_schema.py -k take_the_same_forms",),
)

RULE: Final = Recipe(
    "A rule",
    "An entry in a topic file, or in a new one: its id, a title that is true when it passes, when it applies, what it "
    "requires, its severity, and what is said when it fails; [rules/README.md](rules/README.md) tells all of it.",
    written(_TOPIC, _rule(_WIDTH)),
    (
        Step(
            "Its source: a text that can be looked up, common practice, or an estimate and why.",
            appended(_TOPIC, _SOURCE),
            "fitsvc rules check rules",
            "lacks `source`",
        ),
        Step(
            "Examples that pass, fail and stay undetermined, and one for each guard that keeps it silent.",
            appended(_TOPIC, _examples(_WIDTH, "20 in", "1 in")),
            "fitsvc rules check rules",
            "lacks `examples`",
        ),
        Step(
            "Examples at the very figure, and one unit of display past it.",
            replaced(_TOPIC, ("20 in, gives", "4 in, gives"), ("1 in, gives", "3-15/16 in, gives")),
            "pytest tests/test_rules_thresholds.py -k step-is-large-enough",
            "owners: ['step-is-large-enough']",
        ),
        Step(
            "The rules in SQL, for the benchmarks: `PYTHONPATH=tests python -m bench.sql_written`.",
            ran("python -m bench.sql_written"),
            "pytest tests/test_bench_sql.py -k sql_file",
            "write it anew",
        ),
    ),
    "The digest changes, and every evaluator, page and audit has the rule.",
    ("fitsvc rules test rules",),
)

_TREAD: Final = "accessory.tread_rating"

RATING: Final = Recipe(
    "A rating",
    "A fact that a maker allows, here what the tread of a step bears: a fact as above, of a mass or a force.",
    appended(
        "rules/vocabulary/accessory.yaml",
        """\
  tread_rating:
    type: mass
    range: [0 lb, 1000 lb]
    label: rating of the tread
    meaning: What the step's tread bears.
    how_to_measure: Read it on the tread.
    effort: label
""",
    ),
    (
        Step(
            "Its lines in `rules/hazards.yaml`: what bears on it, kind by kind, or why nothing of a kind does.",
            replaced(
                "rules/hazards.yaml",
                (
                    "  accessory.capacity:\n",
                    (
                        f"  {_TREAD}:\n    - when: kind.stood_upon\n"
                        f"      exceeded_when: load.person_weight > {_TREAD}\n"
                        "    - when: not kind.stood_upon\n      accepted: Nobody stands on it.\n  accessory.capacity:\n"
                    ),
                ),
            ),
            "fitsvc rules check rules",
            f"nothing is said of what bears on `{_TREAD}`",
        ),
        Step(
            "A rule that holds what bears on it to it, with its examples.",
            written(
                _TOPIC,
                f"""\
topic: steps
about: Whether a step can be stood upon.
rules:
  - id: tread-bears-the-person
    title: The tread bears who stands on it
    applies_when: kind.stood_upon and present(load.person_weight)
    requires: load.person_weight <= {_TREAD}
    severity: blocking
    fails_because: "The tread bears [{{{_TREAD}}}|less]."
{_SOURCE}    examples:
      - {{accessory.kind: step, load.person_weight: 200 lb, {_TREAD}: 200 lb, gives: passes}}
      - {{accessory.kind: step, load.person_weight: 201 lb, {_TREAD}: 200 lb, gives: fails, so: blocks}}
      - {{accessory.kind: step, load.person_weight: 200 lb, gives: undetermined, so: open}}
      - {{accessory.kind: step, gives: not_applicable}}
      - {{accessory.kind: ball_mount, load.person_weight: 200 lb, gives: not_applicable}}
""",
            ),
            "pytest tests/test_rules_hazards.py -k tread_rating",
            "and it works",
        ),
    ),
    "A kind that can exceed it then has a rule that refuses it, which `fitsvc rules show --kind KIND` lists.",
    ("fitsvc rules test rules", "pytest tests/test_rulebook_roles.py -k can_exceed"),
)

KIND: Final = Recipe(
    "A kind of accessory",
    "A member of `accessory_kind` in `rules/vocabulary/lists.yaml`, with its word for people.",
    replaced("rules/vocabulary/lists.yaml", ("      step: {", "      kennel: kennel\n      step: {")),
    (
        Step(
            "Its roles, by which rules know it; whatever weighs on the rig is held without one.",
            replaced("rules/vocabulary/lists.yaml", ("l: kennel", "l: {word: kennel, is: [carries, encloses]}")),
            "fitsvc rules check rules",
            "`kennel` says no role",
        ),
        Step(
            "An item of it in the demo's shop, `seed_demo/accessories.csv`.",
            appended(
                "seed_demo/accessories.csv", f"PKM-KENNEL-2,accessory,Packmoor Kennel (one dog),kennel,2 in{',' * 52}\n"
            ),
            "pytest tests/test_demo_world.py -k every_kind_is_present",
            "kennel",
        ),
    ),
    "Then look at `fitsvc rules show --kind KIND`: what is listed there can refuse it, and nothing else can.",
    ("fitsvc rules test rules", "fitsvc rules show --kind kennel rules", "pytest tests/test_demo_world.py -k reads"),
)

_AFTER_ROWS: Final = ")  # fmt: skip\n\nFUNCTIONS"
_ROW: Final = """\
    Function("shortfall", (LENGTH, LENGTH), LENGTH, (1, -1), "what is there less than wanted",
             formula=geometry.shortfall, never_negative=True),
"""

FUNCTION: Final = Recipe(
    "A function of the language",
    "Here `shortfall(wanted, there)`, what a length lacks.",
    lambda tree: None,
    (
        Step(
            "Its formula for one case in `fitsvc/language/forms/`: total, so that infinite arguments give a number.",
            appended(
                "fitsvc/language/forms/geometry.py",
                """

def shortfall(wanted: float, there: float) -> float:
    \"\"\"What is there less than wanted, in the unit of both; never below zero.\"\"\"
    return max(_less(wanted, there), 0.0)
""",
            ),
            "pytest tests/test_language_checker.py -k every_function_has_words",
            "has no attribute 'shortfall'",
        ),
        Step(
            "Its row in `fitsvc/language/functions.py`: dimensions, the direction in which the result moves with each "
            "argument (or its own form over bounds), what it is, and its source.",
            replaced("fitsvc/language/functions.py", (_AFTER_ROWS, f"{_ROW}{_AFTER_ROWS}")),
            "pytest tests/test_language_forms_columns.py -k every_form_is_of_a_function",
            "shortfall",
        ),
        Step(
            "Its form over whole columns, under its name in `fitsvc/language/forms/column_forms.py`.",
            lambda tree: _column_form(tree),
            "pytest tests/test_language_forms_columns.py -k 'agree_with_rows and shortfall'",
            "`shortfall` has no form over columns",
        ),
        Step(
            "The author's table of functions, which is written from the rows: `PYTHONPATH=tests python -m documents`.",
            ran("python -m documents"),
            "pytest tests/test_documents.py -k README",
            "rules/README.md lags behind",
        ),
    ),
    "The specification (`tests/interpreter.py`) and the random rulebooks that are held to it take the row as it is. A "
    "function with a form over bounds of its own is written once more in the specification.",
    ("pytest tests/test_language_checker.py tests/test_language_forms_columns.py -k shortfall",),
)


def _column_form(tree: Path) -> None:
    """The form over columns and its name."""
    text = """

def _lacking(wanted: Floats, there: Floats) -> Any:
    return np.maximum(_less(wanted, there), 0.0)


shortfall = monotone(_lacking, 1, -1)
"""
    appended("fitsvc/language/forms/geometry_columns.py", text)(tree)
    place = '    "turning_angle": geometry.turning_angle,\n'
    replaced("fitsvc/language/forms/column_forms.py", (place, f'{place}    "shortfall": geometry.shortfall,\n'))(tree)


FIELD: Final = Recipe(
    "A field of the answer",
    "Here `units`, the units that an answer is told in.",
    lambda tree: None,
    (
        Step(
            "The field of `Answer` in `fitsvc/answers/answer.py`, with its type; without a default, unless it "
            "may be left out.",
            replaced(
                "fitsvc/answers/answer.py",
                ("RulebookName\n    candidates", 'RulebookName\n    units: Literal["us", "metric"]\n    candidates'),
            ),
            "pytest tests/test_answers_limits.py -k whose_rating_it_is",
            "Unexpected keyword argument 'units'",
        ),
        Step(
            "Its value where an answer is made, `fitsvc/answers/answering.py`: for one rig, and for a vehicle that may "
            "be several.",
            replaced("fitsvc/answers/answering.py", ("remedies=[],", "remedies=[], units=system,"), count=2),
            "pytest tests/test_answers_limits.py -k whose_rating_it_is",
            "Missing required argument 'units'",
        ),
    ),
    "It is on the wire and in `/openapi.json` by its name. Where people see it is said in `fitsvc/cli/answer_view.py` "
    "and `fitsvc/service/counter/templates/answer.html`: that nothing can miss.",
    ("pytest tests/test_service_wire.py -k the_wire_is_walked",),
)

RECIPES: Final = (FACT, RULE, RATING, KIND, FUNCTION, FIELD)
