"""The SQL that the benchmarks compare with, as a file to read: `PYTHONPATH=tests python -m bench.sql_written`.

It writes `rules.sql` beside itself: the cross join of a table of rigs and a table of items, as it is run.
"""

from pathlib import Path

from bench.sql_rules import judged, with_rig_columns
from fitsvc.engine.columns.kernel import Columns
from fitsvc.engine.columns.programs import Program
from fitsvc.engine.point import Point
from fitsvc.language import typed
from fitsvc.language.types import ListType, NumberType
from fitsvc.paths import data_dir
from fitsvc.rulebook.loader import load_rulebook
from fitsvc.rulebook.rules import Rule

FILE = Path(__file__).with_name("rules.sql")
HEAD = """\
-- The rules in SQL, as DuckDB runs them beside fitsvc (tests/bench/bench_columns.py). Written from the rules by
-- tests/bench/sql_rules.py and held up to date by a test; do not edit.
--
-- A number is two columns, its low and high ends (_lo, _hi); a list value a bit mask of the members that are
-- possible; a condition two columns, surely yes and surely no (_y, _n). A result is 0 passes, 1 fails,
-- 2 undetermined, 3 not applicable; an outcome 0 works, 1 conditional, 2 undetermined, 3 fails. What depends on
-- the items alone, or on the rig alone, is computed before, outside the time measured. Both tables are ordered by
-- their first column and hold a row for each signature, or rig; there is nothing for an index to find, for every
-- row is judged.
"""


def written(program: Program) -> str:
    """The file's text."""
    tables = [
        _table(program, "items", "i", ["id INTEGER", "w BIGINT"], program.items),
        _table(program, "rigs", "g", ["rig INTEGER"], program.rig),
    ]
    query = judged(with_rig_columns(program).query(), "rig", "rigs, items", [_name(m.of) for m in program.members])
    return f"{HEAD}\n{tables[0]}\n{tables[1]}\n{query};\n"


def _name(of: object) -> str:
    if not isinstance(of, Rule):
        return f"need {of.id}"  # type: ignore[attr-defined]  # a need has one
    guard = f" where {of.applies_text}" if of.applies_text else ""
    return " ".join(f"{of.id}{guard}: {of.requires_text}".split())


def _table(program: Program, name: str, letter: str, columns: list[str], parts: list[int]) -> str:
    lines = [f"  {column}," for column in columns]
    for number in parts:
        node = program.graph.steps[number].node
        if isinstance(node, typed.Constant):
            continue
        read = ", ".join([*typed.reads(node), *sorted(typed.presences(node))])
        what = read if isinstance(node, typed.Read) else f"{type(node).__name__} of {read}"
        kind = "DOUBLE" if isinstance(node.type, NumberType) else "BOOLEAN"
        ends = ("_lo", "_hi") if isinstance(node.type, NumberType) else ("_y", "_n")
        listed = f"{letter}{number} BIGINT" if isinstance(node.type, ListType) else None
        lines.append(f"  {listed or ', '.join(f'{letter}{number}{end} {kind}' for end in ends)},  -- {what}")
    last = lines[-1].replace(",  --", "  --")
    return "\n".join([f"CREATE TABLE {name} (", *lines[:-1], last, ");"]) + "\n"


def main() -> None:
    """Write the file."""
    columns = Columns(Point(load_rulebook(data_dir("rules"))))
    FILE.write_text(written(columns.program(frozenset({"accessory"}), 0)), "utf-8")


if __name__ == "__main__":
    main()
