"""`fitsvc rules`: checking, testing and reading a folder of rules."""

import json
import os
from contextlib import suppress
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, NoReturn

import click

from fitsvc.cli.console import FAULTS, help_for, out, refuse, show_problems
from fitsvc.cli.options import FILE, Commands, folder_argument, rules_folder, rules_option
from fitsvc.cli.rules_published import activate, key, publish, published, rollback
from fitsvc.cli.rules_released import pull, release
from fitsvc.cli.rules_written import fmt, lsp, schema
from fitsvc.language.problems import Problem, ProblemsFound

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitsvc.engine.examples import Ran
    from fitsvc.rulebook.rules import Rulebook


@click.group(cls=Commands)
def rules() -> None:
    """Check, test and read rules."""


@rules.command()
@folder_argument
def check(folder: Path | None) -> None:
    """Check all rule files, and tell all that is wrong with them."""
    folder = rules_folder(folder)
    rulebook = _load(folder)
    if problems := _faults(rulebook, folder):
        _fail(problems)
    _tell_cautions(rulebook, folder)
    out().print(rulebook.digest)
    for day, then in _to_come(folder):
        if problems := _faults(then, folder):
            _fail(problems)
        out().print(f"from {day} on {_counts(then)}: no problems, {then.digest}")
    from fitsvc.cli.source_view import show_stale

    show_stale(out(), rulebook)


@rules.command()
@folder_argument
def test(folder: Path | None) -> None:
    """Run the examples that stand beside the rules. No text may say "unknown" where a figure should be."""
    from fitsvc.answers.saying import Teller
    from fitsvc.engine.broken import broken
    from fitsvc.engine.examples import run_examples
    from fitsvc.engine.point import Point
    from fitsvc.facts import FactReader

    folder = rules_folder(folder)
    rulebook = _load(folder)
    ran: list[Ran] = []
    try:
        ran = run_examples(Point(rulebook), FactReader(rulebook))
        for _, then in _to_come(folder):
            ran += run_examples(Point(then), FactReader(then))
    except ProblemsFound as found:
        _fail(found.problems)
    lost, untold = broken(ran, folder), list(Teller(rulebook).unknown_told())
    show_problems([*lost, *untold], out())
    told = f', {len(untold)} texts say "unknown"' if untold else ""
    counts = {id(one.example): True for one in ran}
    counts |= {id(one.example): False for one in ran if not one.kept}  # one that promises several things counts once
    kept = sum(counts.values())
    out().print(f"{len(counts)} examples, {kept} kept, {len(counts) - kept} broken{told}")
    if lost or untold:
        raise click.exceptions.Exit(FAULTS)


@rules.command()
@click.argument("id", metavar="[ID]", required=False, help="A rule, limit, need or caution, as answers name it.")
@folder_argument
@click.option("--coverage", is_flag=True, help="Show what each topic reads, and the facts that nothing reads.")
@click.option("--kind", metavar="KIND", help="Show what a kind is, and the rules that can apply to it.")
def show(id: str | None, folder: Path | None, coverage: bool, kind: str | None) -> None:
    """Show a rule, limit, need or caution. Or what all of them read, or those of a kind."""
    if kind is not None:
        if coverage or (id is not None and folder is not None):
            refuse("`--kind` shows the rules of a kind", "leave `--coverage` and any id out")
        from fitsvc.cli.rule_view import show_kind

        show_kind(out(), _load(rules_folder(Path(id) if id is not None else folder)), kind)
        return
    if coverage:
        if id is not None and folder is not None:
            refuse("`--coverage` shows all rules, not one", f"leave `{id}` out")
        _coverage(rules_folder(Path(id) if id is not None else folder))
        return
    if id is None:
        refuse("no rule is named", "give the id of a rule, limit, need or caution, or `--coverage` or `--kind KIND`")
    from fitsvc.cli.rule_view import find_rule, show_rule

    show_rule(out(), find_rule(rules_folder(folder), id))


@rules.command()
@click.argument("words", metavar="[WORD]...", nargs=-1, help="A source's name, or words of what it says.")
@rules_option
def sources(words: tuple[str, ...], rules: Path | None) -> None:
    """List the sources that rules cite.

    Tells what each says, how that was seen and when, and what rests on it.
    """
    from fitsvc.cli.source_view import show_sources

    show_sources(out(), _load(rules_folder(rules)), words)


@rules.command()
@folder_argument
@click.option("--to", metavar="FILE", type=FILE, required=True, help="The HTML file that is written.")
def book(folder: Path | None, to: Path) -> None:
    """Write the rules as one book, to read or print.

    It has each rule in sentences, with its sources' words, its border cases and its examples, the tables, and indexes.
    """
    from fitsvc.service.counter.book import book_file

    try:
        to.write_text(book_file(_load(rules_folder(folder))), "utf-8")
    except OSError as fault:
        refuse(f"`{to}` cannot be written: {fault.strerror}", "name a file in a folder that is there")
    out().print(f"{to}")


@rules.command()
@click.argument("words", metavar="[WORD]...", nargs=-1, help="Words of a fact's name, meaning or choices; or its name.")
@click.option("--kind", metavar="KIND", help="Only facts that rules about a kind of accessory read.")
@click.option("--json", "as_json", is_flag=True, help="Print them as the service sends its vocabulary.")
@rules_option
def facts(words: tuple[str, ...], kind: str | None, as_json: bool, rules: Path | None) -> None:
    """List facts. Tells what each means, how it is measured and how it may be written."""
    from fitsvc.cli.fact_view import found_facts, show_facts

    rulebook = _load(rules_folder(rules))
    found = found_facts(rulebook, words, kind)
    if not as_json:
        show_facts(out(), rulebook, found)
        return
    from fitsvc.service.knowledge import vocabulary_document

    click.echo(json.dumps(vocabulary_document(rulebook.vocabulary, found), ensure_ascii=False, indent=2))


@rules.command()
@click.argument("old", metavar="OLD", type=FILE, help="A folder of rules.")
@click.argument("new", metavar="[NEW]", type=FILE, required=False, help="Another one; fitsvc's own when left out.")
@click.option("--on", metavar="URL|FILE", help="Judge a store's rigs and accessories too, or a file of questions.")
@click.option("--database", metavar="URL", help="The store whose records the questions of that file name.")
@click.option("--sold", metavar="FILE", type=FILE, help="What sells, CSV with `sku` and `sold`: it is told first.")
@click.option("--to", metavar="FILE", type=FILE, help="Write what changes as a page (.html) or a comment (.md).")
@click.option("--counter", metavar="URL", default="", help="Where the counter over that store is, to link cases to.")
@click.option("--prove", is_flag=True, help="Prove that rules mean the same, or tell the smallest rig that differs.")
def compare(
    old: Path,
    new: Path | None,
    on: str | None,
    database: str | None,
    sold: Path | None,
    to: Path | None,
    counter: str,
    prove: bool,
) -> None:
    """Compare two folders of rules. Tells what differs, on their examples and on what you name."""
    from fitsvc.cli.rules_compared import hold_to_endings, show_differences, show_examples, sold_of

    if on is None and (sold or to or counter):
        refuse("`--sold`, `--to` and `--counter` are of what `--on` asks", "name a store or a file of questions")
    if database is not None and (on is None or "://" in on):
        refuse("`--database` is of questions in a file", "name the file behind `--on`; of a store, its address alone")
    if to is not None:
        hold_to_endings(to)
    sells = sold_of(sold) if sold else {}
    from fitsvc.engine.compared import compare_examples
    from fitsvc.rulebook.meaning import differences

    folders = rules_folder(old), rules_folder(new)
    before, after = (_load(folder) for folder in folders)
    found = differences(*folders)
    show_differences(out(), found)
    compared = compare_examples(before, after)
    if found and compared.changed:
        out().print()
    show_examples(out(), compared)
    if found or compared.changed:
        out().print()
    counted = f"{len(found)} difference{'s' if len(found) != 1 else ''}, {len(compared.changed)} of {compared.asked}"
    gone = f"; {compared.gone} examples are gone with what they stood beside" if compared.gone else ""
    out().print(f"{counted} shared examples get another result{gone}")
    if prove:
        from fitsvc.cli.rules_proved import show_meaning

        show_meaning(out(), *folders)
    for word, rulebook in (("old", before), ("new", after)):
        out().print(f"{word} {rulebook.digest}")
    from fitsvc.audits.impact import unsigned

    looser = compared.looser()
    if on is None:
        out().print(
            "Whose answers change: `--on` a store or questions; on a catalogue `fitsvc audit ... --against AUDIT`."
        )
        if problems := unsigned(looser, before, after):
            _fail(problems)
        return
    from fitsvc.audits.impact_page import ImpactTold
    from fitsvc.cli.rules_compared import impact_on, show_impact, shown_name, unasked, write_impact

    impact = impact_on(before, after, on, sells, database)
    show_impact(out(), impact)
    if "://" in on and impact.changed:
        out().print("Ask one under either: `fitsvc answer --rig ID --accessory SKU --database URL --rules OLD|NEW`")
        out().print(
            'Of a mounting, put `{"rig": {"mounting": {"id": ID}}, "accessory": {"sku": SKU}}` in a file and name that.'
        )
    problems = unsigned([*impact.looser(), *looser], before, after)
    if to is not None:
        said = " ".join(f"{one.message}: {one.help}" for one in problems)
        told = ImpactTold(impact=impact, old=before, new=after, on=shown_name(on), counter=counter, unsigned=said)
        write_impact(told, to)
        out().print(f"{to}")
    if problems := problems + ([] if impact.asked else [unasked(on, database)]):
        _fail(problems)


@rules.command()
@click.argument("what", metavar="[FILE|ID]...", nargs=-1, help="Only these files, rules, needs, cautions or values.")
@rules_option
@click.option("--no-search", is_flag=True, help="Look for no examples: tell only what none of them notices.")
def mutate(what: tuple[str, ...], rules: Path | None, no_search: bool) -> None:
    """Change rules, one thing at a time. Tells what no example notices, and an example that would."""
    from fitsvc.cli.rules_mutated import show_mutants, show_score
    from fitsvc.engine.mutating import Mutating

    folder = rules_folder(rules)
    try:
        mutating = Mutating(folder)
    except ProblemsFound as found:
        _fail(found.problems)
    files = {_within(folder, one) for one in what if one.endswith(".yaml")}
    names = {one for one in what if not one.endswith(".yaml")}
    unknown = [one for one in names if one not in mutating.entries] + [
        one for one in files if one not in mutating.files
    ]
    if unknown:
        _refuse_unknown(folder, unknown[0], [*mutating.entries, *mutating.files])
    broken = mutating.broken(names)
    if broken:
        _fail(broken)
    score = show_mutants(out(), mutating, mutating.mutants(files, names), search=not no_search)
    show_score(out(), score)
    if score.left:
        raise click.exceptions.Exit(FAULTS)


@rules.command()
@click.argument("what", metavar="[FILE|ID]...", nargs=-1, help="Only these files, rules, limits, needs or cautions.")
@rules_option
def coverage(what: tuple[str, ...], rules: Path | None) -> None:
    """Show what examples leave out.

    That is kinds, facts, results, and words that none tells. Of what is named all that they show is told.
    """
    from fitsvc.answers.saying import Teller
    from fitsvc.cli.rules_covered import show_covered
    from fitsvc.engine.examples import name_of
    from fitsvc.rulebook.rules import Limit, Need, Rule

    folder = rules_folder(rules)
    teller = Teller(_load(folder))
    names: list[str] = []
    known = [name_of(owner) for owner in teller.owners()]
    by_file: dict[str, list[str]] = {}
    for owner in teller.owners():
        if isinstance(owner, Rule | Limit | Need):
            by_file.setdefault(f"{owner.topic}.yaml", []).append(owner.id)
    for name in what:
        if name not in known and name not in by_file:
            _refuse_unknown(folder, name, [*known, *by_file])
        names += by_file.get(name, [name])
    show_covered(out(), teller, names)


for _one in (key, publish, activate, rollback, published, release, pull, schema, fmt, lsp):
    rules.add_command(_one)


def _refuse_unknown(folder: Path, name: str, known: list[str]) -> NoReturn:
    """Refuse a name of nothing that holds today; what stands there and does not is told so."""
    from fitsvc.rulebook.overlay import asleep_in

    if asleep := next((one for one in asleep_in(folder) if one.name == name), None):
        refuse(asleep.message, "with `as_of: DAY` in a copy of the folder its rules are those of that day")
    refuse(f"there is nothing called `{name}`", help_for(name, known))


def _within(folder: Path, file: str) -> str:
    """A file's path within the folder, however it is named."""
    for parent in (folder, Path(folder.name)):
        with suppress(ValueError):
            return Path(file).relative_to(parent).as_posix()
    return file


@rules.command()
@click.argument(
    "name", metavar="[RULE|FILE]", required=False, help="A rule or limit, or a file of rules; all if not said."
)
@click.option(
    "--only", multiple=True, metavar="WHAT", help="Only claims of a kind, such as `hazards`; repeat for several."
)
@click.option(
    "--all", "show_all", is_flag=True, help="Tell every verdict, each with its question; so for a single rule."
)
@click.option(
    "--minutes",
    metavar="MINUTES",
    type=click.FloatRange(0, min_open=True),
    default=60,
    show_default=True,
    help="No claim is begun after so many minutes; what is then left is told.",
)
@click.option(
    "--processes",
    metavar="COUNT",
    type=click.IntRange(1, 64),
    default=os.cpu_count() or 1,
    show_default="one for each core",
    help="How many processes look into claims.",
)
@rules_option
def prove(
    name: str | None, only: tuple[str, ...], show_all: bool, minutes: float, processes: int, rules: Path | None
) -> None:
    """Prove what can be proven of rules, or refute it by a question. Ends with 1 where a rule is at fault."""
    from fitsvc.cli.rules_proved import named_rules, prover_of, show_verdicts, wanted

    prover = prover_of(rules_folder(rules))
    prover.until = perf_counter() + minutes * 60
    found, whats = named_rules(prover, name), wanted(only, name)
    show_all = show_all or (found is not None and len(found) == 1)
    if show_verdicts(out(), prover, found, whats, show_all=show_all, processes=processes):
        raise click.exceptions.Exit(FAULTS)


def _faults(rulebook: "Rulebook", folder: Path) -> "list[Problem]":
    """What is wrong with a rulebook that can be read, its texts that say "unknown", and words in other tongues."""
    from fitsvc.answers.saying import Teller
    from fitsvc.engine.checking import faults_of
    from fitsvc.rulebook.translated import words_at_fault

    return faults_of(rulebook) or [*Teller(rulebook).unknown_told(), *words_at_fault(rulebook, folder)]


def _coverage(folder: Path) -> None:
    """Print the coverage; a fact that nothing reads is a fault."""
    from fitsvc.cli.rule_view import show_coverage
    from fitsvc.rulebook.coverage import coverage_of

    rulebook = _load(folder)
    found = coverage_of(rulebook)
    show_coverage(out(), rulebook, found)
    if found.unread or found.unread_tables:
        raise click.exceptions.Exit(FAULTS)


def _to_come(folder: Path) -> "Iterator[tuple[str, Rulebook]]":
    """The rulebooks that a folder comes to on days to come, with these; each is checked as today's is."""
    from fitsvc.rulebook.loader import load_rulebook
    from fitsvc.rulebook.overlay import days_of

    try:
        for day in days_of(folder):
            yield day.isoformat(), load_rulebook(folder, day=day)
    except ProblemsFound as found:
        _fail(found.problems)


def _load(folder: Path) -> "Rulebook":
    """The rulebook; its problems are what a check has found."""
    from fitsvc.rulebook.cache import cached_rulebook

    try:
        return cached_rulebook(folder)
    except ProblemsFound as found:
        _fail(found.problems)
        raise


def _fail(problems: "list[Problem] | tuple[Problem, ...]") -> None:
    show_problems(problems, out())
    out().print(f"{len(problems)} problem{'s' if len(problems) != 1 else ''}")
    raise click.exceptions.Exit(FAULTS)


def _tell_cautions(rulebook: "Rulebook", folder: Path) -> None:
    """Print what is no error and hardly ever meant, and then what the rulebook has."""
    from fitsvc.engine.cautioning import cautions_of

    cautions = cautions_of(rulebook, folder)
    show_problems(cautions, out(), as_cautions=True)
    told = f", {len(cautions)} caution{'s' if len(cautions) != 1 else ''}" if cautions else ""
    out().print(f"{_counts(rulebook)}: no problems{told}")


def _counts(rulebook: "Rulebook") -> str:
    from fitsvc.engine.checking import examples_of

    counts = {
        "rules": len([rule for rule in rulebook.rules if not rule.limit]),
        "limits": len(rulebook.limits),
        "needs": len(rulebook.needs),
        "tables": len(rulebook.tables),
        "facts": len(rulebook.vocabulary.facts),
        "examples": len(examples_of(rulebook)),
    }
    return f"{rulebook.name}: " + ", ".join(f"{number} {word}" for word, number in counts.items())
