"""What was proven of rules, told for the person who writes them: faults first, each with a question to ask."""

import json
from collections import Counter
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import help_for, paragraph, refuse
from fitsvc.cli.progress import progress
from fitsvc.language.problems import nearest
from fitsvc.paths import how_to_install

if TYPE_CHECKING:
    from fitsvc.cli.console import Console
    from fitsvc.proving.claims import Prover, Ruling, What
    from fitsvc.rulebook.rules import Rule

_COLOURS: Final = {"proven": "green", "refuted": "cyan", "undecided": "yellow"}
_HANG: Final = 10


def prover_of(folder: Path) -> "Prover":
    """A prover of a folder of rules, where the solver is installed."""
    from fitsvc.cli.options import load_rules

    try:
        from fitsvc.proving.claims import Prover
    except ModuleNotFoundError:
        refuse("the solver that proofs need is not installed", how_to_install("prove"))
    return Prover(load_rules(folder))


def wanted(only: Collection[str], name: str | None) -> "list[What]":
    """The kinds of claims that are named; all of them where none is. Some are about no single rule, or file of them."""
    from fitsvc.proving.claims import OF_ONE, WHATS

    for one in only:
        if one not in WHATS:
            near = nearest(one, WHATS)
            help = f"did you mean `{near}`?" if near else "it is one of " + ", ".join(f"`{what}`" for what in WHATS)
            refuse(f"`{one}` is no kind of claim", help)
        if name is not None and one not in OF_ONE:
            refuse(
                f"`{one}` is claimed of the whole rulebook, not of `{name}`", f"leave `{name}` out, or `--only {one}`"
            )
    return [what for what in WHATS if not only or what in only]


def named_rules(prover: "Prover", name: str | None) -> "list[Rule] | None":
    """The rules that are named, by an id, a limit's or a file's; None for all of them."""
    from fitsvc.proving.book import rules_of

    if name is None:
        return None
    wanted = Path(name).stem if name.endswith(".yaml") else name
    found = rules_of(prover.rulebook, wanted)
    if not found:
        known = [rule.id for rule in prover.rulebook.rules]
        known += prover.rulebook.topics
        refuse(f"there is no rule, limit or file of rules `{name}`", help_for(wanted, known))
    return found


def show_verdicts(
    console: "Console",
    prover: "Prover",
    rules: "Collection[Rule] | None",
    whats: "Collection[What]",
    *,
    show_all: bool,
    processes: int,
) -> bool:
    """Look into the claims, tell what is at fault or not decided (or all), and count; whether anything is."""
    from concurrent.futures.process import BrokenProcessPool

    from fitsvc.proving.book import parts_of
    from fitsvc.proving.claims import NOT_REACHED
    from fitsvc.proving.deciding import decided

    verdicts: list[Ruling] = []
    parts = parts_of(prover, rules, whats)
    try:
        with progress() as tell:
            for done, found in enumerate(decided(prover, parts, processes), 1):
                verdicts += found
                if len(parts) > 1:
                    tell("claims", done, len(parts))
                for verdict in found:
                    is_wanted = show_all or verdict.fault or verdict.state == "undecided"
                    if is_wanted and verdict.reason != NOT_REACHED:
                        _show(console, verdict)
    except BrokenProcessPool:
        refuse("a process that looked into claims was ended", "give `--processes 1`: it may want too much memory")
    _count(console, verdicts)
    return any(verdict.fault or verdict.state == "undecided" for verdict in verdicts)


def _show(console: "Console", verdict: "Ruling") -> None:
    colour = "red" if verdict.fault else _COLOURS[verdict.state]
    is_shown = verdict.state == "refuted" and not verdict.fault and bool(verdict.claim.shows)
    says, sign = (verdict.claim.shows, "shown") if is_shown else (verdict.claim.says, verdict.state)
    paragraph(console, says, sign=sign, colour=colour, hang=_HANG)
    if verdict.fault:
        from fitsvc.proving.claims import WHATS

        paragraph(console, f"fault: {WHATS[verdict.claim.what]}", indent=_HANG)
    if verdict.reason:
        paragraph(console, verdict.reason, style="dim", indent=_HANG)
    if verdict.document is not None:
        console.print(" " * _HANG + json.dumps(verdict.document, ensure_ascii=False))


def _count(console: "Console", verdicts: "Iterable[Ruling]") -> None:
    """Count the verdicts, and say what they hold for."""
    from fitsvc.proving.claims import MOST_ADAPTERS, NOT_REACHED

    found = list(verdicts)
    states = Counter(verdict.state for verdict in found)
    faults = sum(verdict.fault for verdict in found)
    console.print()
    console.print(
        f"{len(found)} claims: {states['proven']} proven, {states['refuted']} refuted by a case, "
        f"{states['undecided']} not decided; {faults} fault{'s' if faults != 1 else ''}"
    )
    late = Counter(verdict.claim.what for verdict in found if verdict.reason == NOT_REACHED)
    if late:
        told = ", ".join(f"`{what}` {count}" for what, count in late.items())
        paragraph(
            console, f"Not looked into before the time was over: {told}. More `--minutes`, or `--only`, reach them."
        )
    text = (
        "Proven is: of no question with facts within their ranges, exact or not known, and up to "
        f"{MOST_ADAPTERS} adapters; figures that are all but the same are left out."
    )
    paragraph(console, text, style="dim")


def show_meaning(console: "Console", old: Path, new: Path) -> None:
    """Tell of each rule and need that differs the smallest rig on which it does, and count those that are equal."""
    prover = prover_of(new)
    from fitsvc.answers.question import read_question
    from fitsvc.answers.records import NoRecords
    from fitsvc.cli.options import load_rules
    from fitsvc.proving.equal import TwoBooks

    books = TwoBooks(load_rules(old), prover)
    if gone := books.gone():
        help = "two rulebooks are proven over the same facts; of others `--on` a store tells what changes"
        refuse(f"the new rules have no fact called {', '.join(f'`{one}`' for one in gone)}", help)
    strange = books.strange()
    if strange:
        paragraph(console, f"Facts that the two do not have alike, as the new one has them: {', '.join(strange)}")
    rulings = [prover.decide(claim) for claim in books.claims()]
    for ruling in rulings:
        if ruling.state == "undecided":
            paragraph(console, f"{ruling.claim.about}: {ruling.reason}", sign="undecided", colour="yellow", hang=_HANG)
        elif ruling.document is not None:
            case = read_question(ruling.document, prover.reader, NoRecords()).case
            was, now = books.told(ruling.claim.about, case)
            paragraph(console, f"{ruling.claim.about}: {was}; now {now}", sign="differs", colour="red", hang=_HANG)
            console.print(" " * _HANG + json.dumps(ruling.document, ensure_ascii=False))
    states = Counter(ruling.state for ruling in rulings)
    told = f"{states['proven']} of {len(rulings)} rules and needs are equal in meaning, {states['refuted']} differ"
    console.print(f"{told}, {states['undecided']} are not decided")
