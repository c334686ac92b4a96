"""The facts of a rulebook, printed to be found by a word of them: what each means, how it is measured and written."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from fitsvc.cli.console import paragraph, refuse
from fitsvc.language.problems import nearest
from fitsvc.language.quantities import DIMENSIONS, UNITS
from fitsvc.rulebook.coverage import coverage_of
from fitsvc.rulebook.kinds import applying_to, kinds_of
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.rulebook.yaml_text import to_plain

if TYPE_CHECKING:
    from fitsvc.cli.console import Console

_MOST_WHOLE: Final = 6
"""So many facts are told whole; of more a line each, so that the one that is meant can be named."""
_MOST_EXAMPLES: Final = 3
_EFFORTS: Final = {
    "ask": "ask the customer",
    "label": "read it off a label or sheet",
    "tape": "measure it with a tape",
    "scales": "weigh it",
    "dealer": "look it up in a manual or at a dealer",
}


def found_facts(rulebook: Rulebook, words: Sequence[str], kind: str | None) -> list[Fact]:
    """The facts that have all of these words, of those that rules about a kind read; refused where there is none.

    A word that is a fact's whole name, or its name within its subject, means that fact and no other.
    """
    facts = list(rulebook.vocabulary.facts.values())
    if kind is not None:
        read = _read_of(rulebook, kind)
        facts = [fact for fact in facts if fact.name in read]
    wanted = [word.casefold() for word in words]
    named = [fact for fact in facts if len(wanted) == 1 and wanted[0] in (fact.name, fact.short)]
    found = named or [fact for fact in facts if all(word in _searched(rulebook, fact) for word in wanted)]
    if not found:
        names = [name for fact in facts for name in (fact.name, fact.short)]
        near = next((one for word in wanted if (one := nearest(word, names))), "")
        help = f"did you mean `{near}`?" if near else "leave a word out, or name none for all of them"
        of_it = f" that rules about `{kind}` read" if kind else ""
        refuse(f"no fact{of_it} has `{' '.join(words)}` in its name or meaning", help)
    return found


def show_facts(console: "Console", rulebook: Rulebook, facts: Sequence[Fact]) -> None:
    """Print facts: a few of them whole, of many a line each."""
    if len(facts) > _MOST_WHOLE:
        for fact in facts:
            paragraph(console, f"{fact.label} ({fact.kind.replace('_', ' ')})", sign=fact.name, colour="cyan", hang=34)
        console.print()
        paragraph(console, f"{len(facts)} facts. Name one, or more words of it, to be told how it is written.")
        return
    examples = _written(rulebook, {fact.name for fact in facts})
    for number, fact in enumerate(facts):
        if number:
            console.print()
        paragraph(console, f"{fact.name}: {fact.label}", style="bold")
        for sign, text in _lines(rulebook, fact, examples.get(fact.name, [])):
            if text:
                paragraph(console, text, sign=sign, colour="cyan", indent=2, hang=12)


def _lines(rulebook: Rulebook, fact: Fact, examples: Sequence[str]) -> list[tuple[str, str]]:
    between = f"between {fact.range_text[0]} and {fact.range_text[1]}" if fact.range_text else ""
    usual = rulebook.usual.get(fact.name)
    return [
        ("means", fact.meaning),
        ("found by", f"{fact.how_to_measure} ({_EFFORTS[fact.effort]})"),
        ("written", _how(fact)),
        ("choices", _choices(rulebook, fact)),
        ("plausible", between),
        ("off by", f"{fact.tolerance_text} where a measurement does not say it" if fact.tolerance_text else ""),
        ("usually", f"{usual.text}{f', where {usual.when}' if usual.when else ''}" if usual else ""),
        ("such as", ", ".join(examples)),
    ]


def _how(fact: Fact) -> str:
    """How the fact is written, and what of it may be left open."""
    if fact.tyre:
        return "as it stands on the sidewall, such as `235/65R17`"
    if fact.kind == "yes_no":
        return "`yes` or `no`; `null` is not known"
    if fact.kind == "text":
        return "as it is told to people; no rule reads it"
    if fact.kind not in DIMENSIONS:
        return "one of its choices; several in a list where it may be any of them"
    units = {factor: unit for unit, (of, factor) in reversed(UNITS.items()) if of == DIMENSIONS[fact.kind]}
    unit = "as a whole number" if fact.kind == "count" else f"with a unit ({', '.join(reversed(units.values()))})"
    return f"a figure {unit}, with a tolerance (`... ± ...`), or within bounds (`at least ..., at most ...`)"


def _choices(rulebook: Rulebook, fact: Fact) -> str:
    words = rulebook.vocabulary.words.get(fact.kind, {})
    return ", ".join(member if word == member else f"{member} ({word})" for member, word in words.items())


def _written(rulebook: Rulebook, names: set[str]) -> Mapping[str, list[str]]:
    """How the examples beside the rules write some facts: a few ways each, differing ones."""
    from fitsvc.engine.examples import owners_of

    found: dict[str, list[str]] = {}
    for one in (one for name in owners_of(rulebook) for one in rulebook.examples.get(name, ())):
        for facts in (one.facts, *one.adapters):
            for name in names.intersection(facts):
                text = _plain(to_plain(facts[name]))
                several = found.setdefault(name, [])
                if text not in several and len(several) < _MOST_EXAMPLES:
                    several.append(text)
    return found


def _plain(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(str, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key}: {inner}' for key, inner in value.items())}}}"
    return str(value)


def _read_of(rulebook: Rulebook, name: str) -> set[str]:
    """The facts that the rules and needs read that can apply to a kind."""
    kinds = kinds_of(rulebook.vocabulary)
    if name not in kinds:
        near, known = nearest(name, kinds), ", ".join(f"`{one}`" for one in kinds)
        refuse(f"`{name}` is not a kind with roles", f"did you mean `{near}`?" if near else f"it is one of {known}")
    applying = {one.id.partition("/")[0] for one in applying_to(rulebook, kinds[name])}
    entries = (entry for several in coverage_of(rulebook).topics.values() for entry in several)
    return {fact for entry in entries if entry.id in applying for fact in entry.facts}


def _searched(rulebook: Rulebook, fact: Fact) -> str:
    words = rulebook.vocabulary.words.get(fact.kind, {})
    texts = (fact.name, fact.label, fact.meaning, fact.how_to_measure, fact.kind, *words, *words.values())
    return " ".join(texts).replace("_", " ").casefold() + f" {fact.name}"
