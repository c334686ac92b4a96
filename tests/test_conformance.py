"""Conformance: the engine, the specification and the SQL of the benchmarks give what the kept cases say."""

import json
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bench.sql_engine import Database
from bench.sql_rules import with_literals
from conformance.ours import SHIPPED, by_engine, by_specification, case_of, made
from conformance.run import FILES, FOLDER, GIVEN, Case, departures, read
from effort import NIGHTLY

from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.columns.signatures import column_of
from fitsvc.facts import Case as Facts
from fitsvc.language.types import NumberType

ROOT = FOLDER.parent.parent
LINES = 50
"""So many the runner may have: whoever holds an implementation to the cases reads it first."""
LARGEST = 3_000_000
"""Bytes of all cases together."""
WALKED = 1 if NIGHTLY else 6
"""The specification judges every one of so many cases of the shipped rules, which it is slow at."""
QUERIES, MOST_OF = 1_000 if NIGHTLY else 2, 400
"""Queries by day, each of the cases about the same subjects, and how many cases they judge at least."""
RENEW = "where that is meant: `PYTHONPATH=tests python -m conformance`, and read the diff"


@cache
def cases(file: str) -> list[Case]:
    """A file's cases, read once."""
    return read(file)


@pytest.mark.parametrize("file", FILES)
def test_the_engine_conforms(file: str) -> None:
    """Every case gives what it says."""
    wrong = departures(cases(file), [by_engine(case) for case in cases(file)])
    assert not wrong, f"{len(wrong)} otherwise; {RENEW}\n" + "\n".join(wrong[:20])


def test_the_specification_conforms() -> None:
    """The slow walk over the tree gives it too: of expressions all that mean something, and what rules come to."""
    refused = ({"value": "refused"}, {"value": "unreadable"})
    applies = [case for case in cases("language.jsonl") if case["gives"] not in refused]
    walked = [*applies, *cases("answers.jsonl"), *cases("shipped.jsonl")[::WALKED]]
    assert departures(walked, [by_specification(case) for case in walked]) == []


def test_sql_conforms() -> None:
    """The shipped rules in SQL come, rule by rule, to the codes of each case without adapters, all in few queries."""
    by_subjects: dict[frozenset[str], list[Case]] = {}
    for case in cases("shipped.jsonl"):
        if not case["adapters"] and not _told_as_anything(case):
            present = frozenset(name for name in case_of(case).present if "." not in name)
            by_subjects.setdefault(present, []).append(case)
    columns = Columns(made(SHIPPED).engine)
    largest = sorted(by_subjects.items(), key=lambda one: -len(one[1]))[:QUERIES]
    assert sum(len(some) for _, some in largest) > MOST_OF
    assert [line for subjects, some in largest for line in _otherwise(columns, subjects, some)] == []


def _told_as_anything(case: Case) -> bool:
    """Whether a fact that a question may name is told as any of its choices: in a column that is not told at all."""
    slots, told = made(SHIPPED).rulebook.vocabulary.slots(), case_of(case)
    named = made(SHIPPED).rulebook.named & (told.facts.keys() | told.present)
    return any(
        told.facts.get(name, kind.unknown) == kind.unknown
        for name in named
        if not isinstance(kind := slots[name], NumberType)
    )


def _otherwise(columns: Columns, subjects: frozenset[str], some: list[Case]) -> list[str]:
    """By name, the cases of which the database says otherwise: each is a row of the table of items."""
    told, slots = [case_of(case) for case in some], columns.slots(subjects)
    values: dict[str, Any] = {
        name: column_of(kind, (case.facts.get(name) for case in told)) for name, kind in slots.items()
    }
    catalogue = columns.catalogue_of(values, subjects, len(some), apart=range(len(some)))
    program = columns.program(subjects, 0)
    database = Database(program, catalogue, threads=1)
    query = with_literals(program, program.rig_values(Facts({}, frozenset()))).query()
    rows = database.connection.execute(database._judged(query, "id", "items") + " ORDER BY id").fetchnumpy()
    results = np.stack([np.asarray(rows[f"r{number}"]) for number in range(database.rules)], axis=1)
    found = results[catalogue.signature_of]
    rules = [rule.id for rule in columns.engine.rulebook.rules]
    return [
        f"{case['name']}: {codes}"
        for case, row in zip(some, found, strict=True)
        for codes in [
            {word: sorted(rules[n] for n in np.flatnonzero(row == place)) for place, word in enumerate(_WORDS, 1)}
        ]
        if any(codes[word] != case["gives"].get(word, []) for word in _WORDS)
    ]


_WORDS = ("fails", "undetermined")
"""What the database has 1 and 2 for."""


def test_cases_are_many_named_and_small() -> None:
    """Some 5,000, each with a name of its own, and nearly every rule refuses or is open in some."""
    named = [(file, case["name"]) for file in FILES for case in cases(file)]
    assert len(set(named)) == len(named) >= 4_900
    assert sum((FOLDER / file).stat().st_size for file in FILES) < LARGEST
    shown = [code for case in cases("shipped.jsonl") for word in _WORDS for code in case["gives"].get(word, ())]
    rules = {rule.id for rule in made(SHIPPED).rulebook.rules}
    assert len(rules - {*shown}) < len(rules) / 20, f"draw anew: {rules - {*shown}}"


def test_the_runner_judges_a_command(tmp_path: Path) -> None:
    """An implementation that always says the same is told every case it has wrong, and ends with 1."""
    told = ran(tmp_path, 'import sys\nfor line in sys.stdin:\n    print(\'{"value": "unknown"}\', flush=True)\n')
    unknown = sum(case["gives"] == {"value": "unknown"} for file in FILES for case in cases(file))
    total = sum(len(cases(file)) for file in FILES)
    assert (told.returncode, told.stdout.splitlines()[-1]) == (1, f"{total} cases, {total - unknown} otherwise")


def test_what_a_command_leaves_out_is_otherwise(tmp_path: Path) -> None:
    """One that reads nothing and ends has every case but the one it guessed wrong; and so is one line too many told."""
    first = cases(FILES[0])[0]
    total = sum(len(cases(file)) for file in FILES)
    told = ran(tmp_path, f"print({json.dumps(first['gives'])!r})\n")
    assert (told.returncode, told.stdout.splitlines()[-1]) == (1, f"{total} cases, {total - 1} otherwise")
    told = ran(tmp_path, f"print('{{}}\\n' * {total + 1}, end='')\n")
    assert told.returncode == 1 and not told.stdout


def test_more_than_a_case_gives_is_otherwise() -> None:
    """What a case does not name fails not and is not open; a list with nothing in it may be left out."""
    gives: Case = {"outcome": "conditional", "needs": ["a"]}
    assert departures([{"name": "plain", "gives": gives}], [{**gives, "fails": []}]) == []
    others: list[Case] = [{"fails": ["b"]}, {"undetermined": ["b"]}, {"needs": []}, {"outcome": "works"}]
    for other in others:
        assert len(departures([{"name": "plain", "gives": gives}], [{**gives, **other}])) == 1, other


def ran(folder: Path, program: str) -> subprocess.CompletedProcess[str]:
    """The runner run on a program."""
    command = folder / "other.py"
    command.write_text(program)
    line = [sys.executable, "-I", str(FOLDER / "run.py"), sys.executable, "-I", str(command)]
    return subprocess.run(line, check=False, capture_output=True, text=True)


def test_the_guide_says_what_a_command_is_given() -> None:
    """Each key of a case that goes to it, each file, and each word of what it gives; in no more than fifty lines."""
    guide = (ROOT / "fitsvc/guide/rules.md").read_text("utf-8")
    told = guide.partition("## Conformance")[2].partition("\n## ")[0]
    gives = [pair for file in FILES for case in cases(file) for pair in case["gives"].items()]
    words = {key for key, _ in gives} | {one for _, one in gives if isinstance(one, str)}
    assert [word for word in (*GIVEN, *FILES, *words) if word not in told] == []
    assert len((FOLDER / "run.py").read_text("utf-8").splitlines()) <= LINES
