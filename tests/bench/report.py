"""What one run of all benchmarks measured, as it is kept, and as the guide shows it: tables and a chart.

The run is kept in `measured.json`, from which `python -m documents` writes the guide's tables and the chart, so that
no figure in them is kept by hand.
"""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from html import escape
from importlib import import_module
from math import floor, inf, log10
from pathlib import Path
from typing import Any, Final, NamedTuple

import msgspec
from msgspec.structs import replace

from bench.measuring import Group, Row, ratio, seconds, show

MEASURED: Final = Path(__file__).with_name("measured.json")
HISTORY: Final = Path(__file__).parents[2] / ".ci" / "speed.json"
_MOST_KEPT: Final = 30
"""Runs in the history: a figure of each in every line, the last one last, where a diff shows it beside those before."""
_TABLES: Final = re.compile(r"(?<=\n## What was measured\n).*", re.DOTALL)
_HEAD: Final = "| what | processor | by the clock | spread | beside it |\n| --- | ---: | ---: | ---: | --- |\n"
_TIMES, _A_SECOND, _AS_LONG = "×", "a second", "× as long"
REST: Final = "the rest"
_HELD: Final = "| what | held |\n| --- | ---: |\n"


MODULES: Final = (
    "bench_point",
    "bench_answer",
    "bench_service",
    "bench_next",
    "bench_plans",
    "bench_matches",
    "bench_columns",
    "bench_selection",
    "bench_audit",
    "bench_workers",
    "bench_startup",
    "bench_statements",
    "bench_catalogue",
    "bench_million",
    "bench_tried",
    "profiled",
    "bench_growth",
)
"""In the order of the guide."""
LONG: Final = ("profiled", "bench_growth")
"""The last of them, which a small run leaves out."""

Figures = tuple[int, float, float, float, float, float]
"""Signatures; seconds to fold and index; milliseconds of a never-seen rig and of a seen one; MB held, and at most."""
GROWN: Final = (
    "Of the processor all times. Held is what the catalogue takes beside what the process held before, with sixty rigs "
    "seen; most is the whole process from then on, interpreter, rulebook and made-up columns among it."
)
Growth = tuple[str, list[tuple[str, Figures]]]
"""What grows, and the figures at each size of it."""


WHOLE: Final = (
    "No single step is most of it, and none of what was tried halves it, but for not telling in words what passes: "
    "see *What was tried*."
)
POSTED: Final = (
    "At half as many requests as of bytes that are only sent, an answer may take as long as a request takes the server "
    "without it; the whole answer above takes many times that."
)
FRAMED: Final = (
    "Beside the framework, which the prebuilt route passes too, and the whole answer above, what fails is told with "
    "what the store sells instead, for which it is asked what has changed."
)
LONGER: Final = (
    "Rules with a guard in common are passed over together, but what is read under several guards is fetched before "
    "any of them is looked at: how many facts are fetched stands with the table."
)
KEPT: Final = "What is kept is found by the bytes of the question, and counted as used last and by its outcome."
OPEN: Final = (
    "It goes by how much is open: to find what to learn next each open rule is judged over the readings of each fact "
    "that it waits for, up to a count of judgements, and each open choice with each of its values."
)
PLAN: Final = (
    "Openings with adapters are judged one by one and whole columns of the shelf in each of them, up to a count of "
    "judgements; what is left over is told as not tried."
)
RIG: Final = (
    "Rules that rest on the rig's new figures are judged over sixty thousand rows, and what they leave open is decided "
    "by cases, each open choice with each of its values."
)
MANY: Final = "Rigs share what they have alike; what is new on each is judged, and decided by cases, for each."


STATEMENT: Final = "Who tell at once share a flush of the disk, and one interpreter works for all of them."
TOGETHER: Final = (
    "One interpreter reads, checks and folds all of them, and each is held to all that was said of its part before."
)
CATALOGUE: Final = "One interpreter reads, checks, stores and folds all of them in one transaction."
EFFECTS: Final = (
    "Each sort of rig is judged as it was and as it is: the rules that rest on its figures over all accessories, and "
    "the cases of what they leave open, as for rigs in a row above. "
    "Most sorts that are unlike in a few figures come to the same: of 300 that differ in where the receiver sits,"
    " rules told six apart over 20,000 accessories. To find which are alike took longer one by one than to judge "
    "them (12 ms of the processor each, on a busy machine); with all judged at once before by the few rules that "
    "rest on those figures, with each value of what is open of the accessories, 2 ms and 3 ms for that: a way "
    "that is open, and pays only where such rules are few."
)
FIRST_PAGE: Final = "What a first rig needs of the rules, over all items, is compiled and folded when it comes."
FIRST_PLAN: Final = (
    "Accessories are judged as the index holds them; some rules are laid out over them when they are first asked for."
)
CHANGING: Final = (
    "Two cores are shared by the server, the one who changes and the one who asks: how busy they are stands with the "
    "table. Once what has changed is taken in, the pages of all rigs are made anew, each rig judged with the items of "
    "each part that is new to it, and one never seen with all of them. That comes at once, so that pages wait for one "
    "another: two are made at a time, and by one interpreter."
)
LATE: Final = "Of what its threads do while the slowest twentieth of the pages wait"
MEMORY: Final = (
    "What a server holds that has nothing stored stands in the table, and is more than the goal. The most is held "
    "while items are folded anew and those before are still asked about."
)
HELD: Final = "Of what it holds once the changes are over"


AUDIT_READ: Final = "A parse neither judges nor finds nor tells; what is told is as long for any number of rows."
AUDIT_PAIRS: Final = "The floor copies pairs that are judged already, whose figures it neither judges nor counts."
AUDIT_TWO: Final = (
    "Blocks are judged by two; the catalogue is read, and the findings are written, by one, and each of the two starts "
    "and compiles the rules for itself."
)


class Goal(NamedTuple):
    """What is aimed at of the groups with some words in their title, and where the time goes while it is missed.

    `reached` is seconds, of which at most `aim` are wanted, or something else by its `unit`: how many times as quick,
    or how many a second, of which at least so many are wanted, or megabytes.
    """

    title: str
    aim: float
    reached: Callable[[Group], float]
    why: str
    unit: str = ""
    profile: str = ""
    """The work of `bench.profiled` whose parts say where the time goes."""
    parts_of: str = "Of its time"

    @property
    def at_least(self) -> bool:
        """Whether more is better: of ratios and rates."""
        return self.unit in (_TIMES, _A_SECOND)

    def met(self, group: Group) -> bool:
        """Whether a group reaches it."""
        return self.reached(group) >= self.aim if self.at_least else self.reached(group) <= self.aim

    def told(self, value: float) -> str:
        """What is aimed at, or reached, in words."""
        if self.unit in ("", _TIMES):
            return ratio(value) if self.unit else seconds(value)
        if self.unit == _AS_LONG:
            return f"{value:.2g} {self.unit}"
        return f"{value:,.0f} {self.unit}"


def _ours(row: int = 0) -> Callable[[Group], float]:
    return lambda group: group.rows[row].time.middle


def _clock(row: int = 0) -> Callable[[Group], float]:
    return lambda group: group.rows[row].time.wall or inf


def _a_second(row: int) -> Callable[[Group], float]:
    return lambda group: 1 / _clock(row)(group)


def _rate(group: Group) -> float:
    """Ours beside the last row, in requests a second."""
    return group.rows[-1].time.middle / group.ours.time.middle


def _beside(row: int) -> Callable[[Group], float]:
    """How many times as long ours takes as another way does."""
    return lambda group: group.ours.time.middle / group.rows[row].time.middle


def _grown(group: Group) -> float:
    """How many times as long it takes with as many rules again that do not apply."""
    return group.rows[1].time.middle / group.ours.time.middle


def _clocks() -> Callable[[Group], float]:
    return lambda group: _clock(0)(group) / _clock(1)(group)


GOALS: Final = (
    Goal(
        "rules on one case, its facts handed over before",
        8.0,
        lambda group: min(row.time.middle for row in group.rows if row.part == "beside") / group.ours.time.middle,
        "The floor, a straight line of Python on exact figures, knows one end of each figure and two values of each "
        "truth where ours knows two and three. The same function as machine code would reach it: see *What was tried*.",
        unit=_TIMES,
    ),
    Goal("with a rulebook twice as long", 1.1, _grown, LONGER, unit=_AS_LONG),
    Goal("never asked, after", 150e-6, _ours(), WHOLE, profile="answer"),
    Goal("never asked, before the framework", 0.5, _rate, POSTED, unit=_TIMES),
    Goal("never asked, by the framework", 0.5, _rate, FRAMED, unit=_TIMES, profile="posted"),
    Goal("`POST /v1/answers`, asked again", 0.8, _rate, KEPT, unit=_TIMES),
    Goal("hardly anything is known", 50e-3, _ours(1), OPEN, profile="open"),
    Goal("A plan on", 250e-3, _ours(1), PLAN, profile="plan"),
    Goal("The very first rig", 4e-3, _ours(1), RIG, profile="rig"),
    Goal("A never-seen rig", 1.5e-3, _ours(1), RIG, profile="rig"),
    Goal("10,000 rigs with one process and with two", 1.6, _clock(1), MANY, profile="rigs"),
    Goal("Statements told one a transaction", 1_000, _a_second(1), STATEMENT, unit=_A_SECOND, profile="statement"),
    Goal("Statements told in a file", 1_000, _a_second(0), TOGETHER, unit=_A_SECOND),
    Goal("records over HTTP", 60.0, _clock(), CATALOGUE),
    Goal("reading, to its effects on", 1.0, _clock(), EFFECTS),
    Goal("on 1 rig, CSV in to Parquet out, one process", 3.0, _beside(2), AUDIT_READ, unit=_AS_LONG, profile="audit"),
    Goal(
        "on 1,000 rigs, CSV in to Parquet out, one process",
        0.6,
        _beside(1),
        AUDIT_PAIRS,
        unit=_AS_LONG,
        profile="audits",
    ),
    Goal("two processes beside one, by the clock", 0.55, _clocks(), AUDIT_TWO, unit=_AS_LONG),
    Goal("The first page after a start", 0.5, _clock(), FIRST_PAGE),
    Goal("The first plan after a start", 0.5, _clock(), FIRST_PLAN),
    Goal("while 1,000 items a second change", 40e-3, _clock(1), CHANGING, profile="late", parts_of=LATE),
    Goal(
        "Memory of a server",
        200,
        lambda group: max(row.held for row in group.rows),
        MEMORY,
        unit="MB",
        profile="held",
        parts_of=HELD,
    ),
)
"""In the order of the guide."""


class Run(msgspec.Struct, frozen=True):
    """One run of all: on what it ran, what was measured, and how things grow."""

    at: str
    cores: int
    load: float
    versions: dict[str, str]
    digest: str
    rules: int
    needs: int
    groups: list[Group]
    growth: list[Growth]
    missing: list[str] = []
    machine: str = ""
    took: dict[str, float] = {}
    """Seconds that each module took by the clock."""
    shares: dict[str, dict[str, float]] = {}
    """Of works that were profiled, the share of each part of theirs."""
    earlier: dict[str, str] = {}
    """Of modules that another run measured, when and by what; a part may be measured anew by itself."""


def begun(digest: str, rules: int, needs: int, modules: Sequence[str], before: Run | None = None) -> Run:
    """A run that has measured nothing yet; of another one before it, what that has is taken over."""
    run = Run(**on_what(), digest=digest, rules=rules, needs=needs, groups=[], growth=[], missing=[*modules])
    if before is None:
        return run
    told = f"on {before.at} by the rulebook `{_short(before.digest)}`, with a load of {before.load:.1f}"
    missing = [name for name in modules if name in before.missing or name not in before.took]
    earlier = {name: before.earlier.get(name, told) for name in modules if name not in missing}
    kept = {name: getattr(before, name) for name in ("groups", "growth", "shares", "took")}
    return replace(run, missing=missing, earlier=earlier, **kept)


def measured(module: str) -> dict[str, Any]:
    """What one module measures, told as it comes: groups, how things grow, or shares."""
    one = import_module(f"bench.{module}")
    for what in ("growth", "shares"):
        if hasattr(one, what):
            return {what: getattr(one, what)()}
    return {"groups": show(one.groups())}


def with_part(
    run: Run,
    module: str,
    groups: Sequence[Group] | None = None,
    growth: list[Growth] | None = None,
    shares: dict[str, dict[str, float]] | None = None,
    took: float | None = None,
) -> Run:
    """The run with a module measured, in place of what there was of it."""
    others = [group for group in run.groups if group.command != f"bench.{module}"]
    return replace(
        run,
        groups=run.groups if groups is None else sorted([*others, *groups], key=_place),
        growth=run.growth if growth is None else growth,
        shares=run.shares if shares is None else shares,
        missing=[name for name in run.missing if name != module],
        took=run.took if took is None else {**run.took, module: round(took, 1)},
        earlier={name: told for name, told in run.earlier.items() if name != module},
    )


def _place(group: Group) -> int:
    return MODULES.index(group.command.removeprefix("bench."))


def keep(run: Run) -> None:
    """Keep a whole run."""
    MEASURED.write_text(json.dumps(msgspec.to_builtins(run), indent=1) + "\n", "utf-8")


def kept() -> Run:
    """The whole run that is kept."""
    return msgspec.json.decode(MEASURED.read_bytes(), type=Run)


def note(run: Run) -> None:
    """Add a small run to the history: of each of our ways what it took, or held, in a line after the runs before."""
    old: dict[str, list[Any]] = json.loads(HISTORY.read_text("utf-8")) if HISTORY.exists() else {}
    before = len(old.get("runs", ()))
    new: dict[str, Any] = {"runs": f"{run.at}, {_short(run.digest)}, {run.cores} cores, load {run.load}"}
    new |= {_name(group, row): _figure(row) for group in run.groups for row in group.rows if row.part == "ours"}
    every = {name: [*old.get(name, [None] * before), new.get(name)][-_MOST_KEPT:] for name in {**old, **new}}
    lines = (f"{json.dumps(name, ensure_ascii=False)}: {json.dumps(figures)}" for name, figures in every.items())
    HISTORY.write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")


def _name(group: Group, row: Row) -> str:
    """A way's name in the history, with what its figures are."""
    of = "MB" if row.held else "µs by the clock" if row.time.processor is None else "µs of the processor"
    return f"{group.title}: {row.what}, {of}"


def _figure(row: Row) -> float:
    return round(row.held or row.time.middle * 1e6, 1)


def _short(digest: str) -> str:
    return digest.removeprefix("sha256:")[:12]


def in_guide(text: str) -> str:
    """The guide's page with its figures written anew from the run that is kept."""
    return _TABLES.sub(lambda _: f"\n{figures(kept()).rstrip()}\n", text)


def figures(run: Run) -> str:
    """All figures of a run, in Markdown."""
    versions = ", ".join(f"{name} {version}" for name, version in run.versions.items())
    head = (
        f"Measured on {run.at} on {run.cores} cores{run.machine}, with a load of {run.load:.1f} when it began, "
        f"by {versions}; "
        f"the rulebook `{_short(run.digest)}` with "
        f"{run.rules} rules and limits and {run.needs} needs."
    )
    for told in dict.fromkeys(run.earlier.values()):
        names = ", ".join(f"`bench.{name}`" for name, one in run.earlier.items() if one == told)
        head += f" Measured {told}: {names}."
    if not run.earlier and not run.missing and run.took:
        head += f" All of it took {sum(run.took.values()) / 60:.0f} minutes."
    if run.missing:
        head += f" Not measured in this run: {', '.join(f'`bench.{name}`' for name in run.missing)}."
    return "\n".join([head, "", *_goals(run), *(_group(group) for group in run.groups), *_growth(run)])


def _goals(run: Run) -> Iterator[str]:
    found = [(one, group) for group in run.groups for one in GOALS if one.title in group.title]
    if not found:
        return
    yield "### What is aimed at\n\n| work | goal | reached | why it is missed | alone |"
    yield "| --- | ---: | ---: | --- | --- |"
    said = set[str]()
    for one, group in found:
        why = "" if one.met(group) else "as above" if one.why in said else f"{one.why}{_shares(run, one)}"
        said |= {one.why} if why else set()
        reached = one.told(one.reached(group))
        yield f"| {group.title} | {one.told(one.aim)} | {reached} | {why} | `{group.command}` |"
    yield ""


def _shares(run: Run, goal: Goal) -> str:
    """Where the time of a work goes, the most first and the rest last, with the command that shows it."""
    parts = dict(run.shares.get(goal.profile, {}))
    if not parts:
        return ""
    rest = parts.pop(REST, 0.0)
    told = [f"{what} {share:.0%}" for what, share in sorted(parts.items(), key=lambda one: -one[1])]
    told.append(f"{REST} {rest:.0%}")
    return f" {goal.parts_of}: {', '.join(told)}. `bench.profiled {goal.profile}`"


def _group(group: Group) -> str:
    notes = "".join(f"{one} " for one in group.notes)
    rows = _HELD if group.ours.held else _HEAD
    rows += "".join(f"| {row.what} | {row.held:,.0f} MB |\n" if row.held else _line(group, row) for row in group.rows)
    return f"### {group.title}\n\n`{group.command}`. {notes}".rstrip() + f"\n\n{rows}"


def _line(group: Group, row: Row) -> str:
    of, told = group.beside(row), ""
    if of is not None:
        told = f"{ratio(of)} as long as ours" if row.part == "beside" else f"floor; ours takes {ratio(of)} as long"
    time = row.time
    return f"| {row.what} | {seconds(time.processor)} | {seconds(time.wall)} | {time.spread} | {told} |\n"


def _growth(run: Run) -> Iterator[str]:
    for of, rows in run.growth:
        yield f"### As {of.split(',')[0]} grow\n\n`bench.bench_growth`. {GROWN}\n\n{table(of, rows)}"


def table(of: str, rows: Sequence[tuple[str, Figures]]) -> str:
    """How something grows, as a table in Markdown."""
    text = f"| {of} | signatures | fold and index | a new rig | a rig seen | held | most |\n|{' ---: |' * 7}\n"
    for name, (signatures, indexed, new, warm, held, most) in rows:
        cells = (name, f"{signatures:,}", f"{indexed:.2f} s", f"{new:.2f} ms", f"{warm:.2f} ms", f"{held:.0f} MB")
        text += "".join(f"| {cell} " for cell in (*cells, f"{most:,.0f} MB")) + "|\n"
    return text


LEFT, WIDE, ROW, HEADING, PAD = 380, 900, 18, 30, 8
_COLOURS: Final = {"ours": "#1f6f8b", "beside": "#b5651d", "floor": "#8a8f98"}


def chart(_: str = "") -> str:
    """The groups that have something beside them, as bars on a scale of powers of ten."""
    groups = [group for group in kept().groups if len({row.part for row in group.rows}) > 1 and not group.again]
    least, most = _ends(groups)
    bars, top = list[str](), 46
    for group in groups:
        bars.append(f'<text x="{PAD}" y="{top + 14}" class="title">{escape(group.title.replace("`", ""))}</text>')
        top += HEADING - 8
        for row in group.rows:
            bars += _bar(row, top, least, most)
            top += ROW
        top += 14
    scale = [_tick(power, least, most, top) for power in range(least, most + 1)]
    return _svg(top + PAD, [*scale, *bars])


def _ends(groups: Sequence[Group]) -> tuple[int, int]:
    times = [row.time.middle for group in groups for row in group.rows if row.time.middle > 0]
    return floor(log10(min(times))), floor(log10(max(times))) + 1


def _x(value: float, least: int, most: int) -> float:
    return LEFT + (log10(value) - least) / (most - least) * (WIDE - LEFT - 90)


def _bar(row: Row, top: int, least: int, most: int) -> list[str]:
    end = _x(max(row.time.middle, 10.0**least), least, most)
    what = row.what if len(row.what) <= 58 else f"{row.what[:57]}…"
    return [
        f'<text x="{LEFT - 8}" y="{top + 12}" text-anchor="end">{escape(what)}</text>',
        f'<rect x="{LEFT}" y="{top + 2}" width="{end - LEFT:.1f}" height="{ROW - 5}" fill="{_COLOURS[row.part]}"/>',
        f'<text x="{end + 5:.1f}" y="{top + 12}">{escape(seconds(row.time.middle))}</text>',
    ]


def _tick(power: int, least: int, most: int, bottom: int) -> str:
    x, told = _x(10.0**power, least, most), seconds(10.0**power).replace(".00", "").replace(".0", "")
    return (
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="34" y2="{bottom}"/>'
        f'<text x="{x:.1f}" y="30" text-anchor="middle" class="tick">{told}</text>'
    )


def _svg(height: int, parts: Sequence[str]) -> str:
    legend = "".join(
        f'<rect x="{PAD + n * 130}" y="6" width="10" height="10" fill="{_COLOURS[part]}"/>'
        f'<text x="{PAD + 15 + n * 130}" y="15">{told}</text>'
        for n, (part, told) in enumerate({"ours": "fitsvc", "beside": "beside it", "floor": "floor"}.items())
    )
    styles = (
        "text{font:11px sans-serif;fill:#1b1d20}.title{font-weight:bold;font-size:12px}.tick{fill:#666;font-size:10px}"
        ".paper{fill:#fff}line{stroke:#ddd}"
        "@media (prefers-color-scheme:dark)"
        "{text{fill:#f1eadc}.tick{fill:#b8ad9a}.paper{fill:#1b1814}line{stroke:#463f33}}"
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {height}" role="img" '
        'aria-label="Processor time of fitsvc, of what stands beside it and of floors, in powers of ten; the '
        "clock's where its row in the tables has no other\">\n"
        f"<style>{styles}</style>\n"
        f'<rect width="{WIDE}" height="{height}" class="paper"/>\n{legend}\n' + "\n".join(parts) + "\n</svg>\n"
    )


def on_what() -> dict[str, Any]:
    """What a run ran on: cores, memory and versions, and nothing that names a machine."""
    import os
    import platform
    import sqlite3
    from datetime import UTC, datetime
    from importlib.metadata import version

    named = {"DuckDB": "duckdb", "CEL": "common-expression-language"}
    named |= {name: name for name in ("numpy", "pyarrow", "msgspec", "litestar", "uvicorn", "sqlalchemy")}
    versions = {"Python": platform.python_version(), **{name: version(of) for name, of in named.items()}}
    versions["SQLite"] = sqlite3.sqlite_version
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / (1 << 30)
    return {
        "machine": f" ({platform.machine()}, {platform.system()}) with {memory:.0f} GB of memory",
        "at": datetime.now(UTC).date().isoformat(),
        "cores": os.cpu_count() or 1,
        "load": round(os.getloadavg()[0], 1),
        "versions": versions,
    }
