"""What the examples beside rules show, and what they leave out, for the person who writes them."""

from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import paragraph

if TYPE_CHECKING:
    from collections.abc import Collection

    from fitsvc.answers.saying import ShownByExamples, Teller
    from fitsvc.cli.console import Console

_HANG: Final = 4


def show_covered(console: "Console", teller: "Teller", names: "Collection[str]") -> None:
    """Print for each rule, limit, need and caution what its examples leave out; of those named all that they show."""
    from fitsvc.engine.examples import name_of

    kinds = facts = untold = one_sided = count = 0
    for owner in teller.owners():
        name = name_of(owner)
        if names and name not in names:
            continue
        found = teller.shown(owner)
        count += 1
        kinds += not all(found.kinds.values())
        facts += 0 in found.facts.values()
        untold += len(found.untold)
        one_sided += len(found.one_sided)
        _show(console, name, found, whole=bool(names))
    console.print()
    console.print(
        f"{count} with examples: {kinds} not shown for every kind they may apply to, {facts} with facts that no"
    )
    console.print(
        f"example tells, {untold} texts that no example tells, {one_sided} parts in brackets told one way only"
    )


def _show(console: "Console", name: str, found: "ShownByExamples", *, whole: bool) -> None:
    shown = [kind for kind, is_shown in found.kinds.items() if is_shown]
    lines = [f"gives {', '.join(f'{result} {count}' for result, count in found.results.items())}"] if whole else []
    if len(shown) < len(found.kinds):
        others = ", ".join(kind for kind in found.kinds if kind not in shown) if whole else ""
        lines.append(f"shown for {len(shown)} of {len(found.kinds)} kinds" + (f", not for {others}" if others else ""))
    lines += [f"no example tells {fact}" for fact, count in found.facts.items() if not count]
    lines += [f"no example tells `{key}`" for key in found.untold]
    lines += [f"told one way only: {part}" for part in found.one_sided]
    if lines:
        paragraph(console, name, style="bold")
    for line in lines:
        paragraph(console, line, indent=2, hang=_HANG)
