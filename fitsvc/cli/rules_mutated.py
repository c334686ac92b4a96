"""What examples make of single changes to rules, for the person who writes them."""

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import paragraph

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitsvc.cli.console import Console
    from fitsvc.engine.mutating import Mutant, Mutating

_COLUMNS: Final = ("changes", "noticed", "argued", "left")


@dataclass(slots=True)
class Score:
    """How the changes of each file went: by an example, by a reason that stands beside, or not at all."""

    of: dict[str, Counter[str]] = field(default_factory=dict)

    def count(self, file: str, way: str) -> None:
        """Count one change."""
        self.of.setdefault(file, Counter()).update(["changes", way])

    @property
    def left(self) -> int:
        """How many neither an example nor a reason answers for."""
        return sum(counts["left"] for counts in self.of.values())


def show_mutants(console: "Console", mutating: "Mutating", mutants: "Iterable[Mutant]", search: bool) -> Score:
    """Judge mutants, and print each that survives with an example that would notice it, ready to paste."""
    from fitsvc.engine.noticing import Noticing

    score, noticing = Score(), Noticing(mutating)
    for mutant in mutants:
        file, noticed = mutant.mark.file, mutating.noticed(mutant)
        way = "noticed" if noticed else "argued" if mutant.why_same else "left"
        score.count(file, "left" if noticed and mutant.why_same else way)
        if noticed and mutant.why_same:
            _survivor(console, mutant, "`same` says that nothing can notice this, and an example does: take it out", "")
        elif way == "left":
            found = noticing.example(mutant) if search else None
            told = f"an example of `{found[0]}` that would notice it:" if found else _hint(mutant) if search else ""
            _survivor(console, mutant, told, f"- {found[1]}" if found else "")
    return score


def _hint(mutant: "Mutant") -> str:
    return (
        "no example was found that would notice it. Where it comes to the same, say why in its entry: "
        f'same: {{"{mutant.told}": REASON}}'
    )


def _survivor(console: "Console", mutant: "Mutant", told: str, example: str) -> None:
    paragraph(console, f"{mutant.mark.file}:{mutant.mark.line} {mutant.name}", style="bold")
    paragraph(console, mutant.told, indent=2, hang=2)
    if told:
        paragraph(console, told, indent=4)
    if example:
        console.print(f"      {example}")


def show_score(console: "Console", score: Score) -> None:
    """Print a line a file, and the whole: of a hundred changes, how many an example or a reason answers for."""
    wide = max((len(file) for file in score.of), default=0)
    if score.left:
        console.print()
    whole: Counter[str] = sum(score.of.values(), Counter())
    for file, counts in [*sorted(score.of.items()), ("all", whole)]:
        told = ", ".join(f"{counts[column]} {column}" for column in _COLUMNS)
        share = 100 * (1 - counts["left"] / counts["changes"]) if counts["changes"] else 100.0
        console.print(f"{file.ljust(wide)}  {told}: {share:.1f} %")
