"""Two rulebooks on the examples of both: which rules, limits and needs give another result."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from fitsvc.engine.alike import on_one_ground
from fitsvc.engine.examples import Owner, brings_about, owners_of, run_example
from fitsvc.engine.point import Point
from fitsvc.facts import FactReader
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.rulebook.renamed import by_both_names
from fitsvc.rulebook.rules import Example, Limit, Rulebook
from fitsvc.rulebook.yaml_text import to_plain

_Side = tuple[Point, FactReader, dict[str, Owner]]


@dataclass(frozen=True, slots=True)
class Changed:
    """An example on which two rulebooks differ: what each gives, or why one of them cannot be asked it."""

    owner: str
    example: Example
    old: str
    new: str
    looser: bool = False
    """Whether what it gives brings about a better outcome than before."""


@dataclass(frozen=True, slots=True)
class Compared:
    """How many examples both rulebooks were asked, and those on which they differ.

    `gone` are the examples of what only the old one has: nothing of the new one is held to them. `dropped` is what of
    it stood in the way of a yes in an example; nothing, where the two share no rule: they are then two of their own.
    """

    asked: int
    changed: tuple[Changed, ...]
    gone: int
    dropped: tuple[str, ...] = ()

    def looser(self) -> list[str]:
        """Rules, limits and needs that say yes to more: by an example, or as they are there no more."""
        return [*dict.fromkeys(one.owner for one in self.changed if one.looser), *self.dropped]


def compare_examples(old: Rulebook, new: Rulebook) -> Compared:
    """Ask both rulebooks every example of either, where both have the rule, limit or need it stands beside.

    An example that names facts one of them lacks is told as changed, since that rulebook has no answer to it; a fact
    that has another name there is none of those.
    """
    old, new = by_both_names(old, new)
    ids = {**old.renamed, **new.renamed}
    sides = tuple((Point(one), FactReader(one), _owners(one, ids)) for one in (old, new))
    shared = sides[0][2].keys() & sides[1][2].keys()
    apart = {name for name in shared if _parts(old, sides[0][2][name]) != _parts(new, sides[1][2][name])}
    apart = apart if on_one_ground(old, new) else shared
    seen: set[tuple[str, str]] = set()
    changed: list[Changed] = []
    for named, example in (pair for rulebook in (old, new) for pair in _examples(rulebook)):
        owner = ids.get(named, named)
        key = (owner, repr(to_plain(example.node)))
        if owner not in shared or key in seen:
            continue
        seen.add(key)
        if owner not in apart:  # both come to the same
            continue
        before, after = (_gives(engine, reader, owners[owner], example) for engine, reader, owners in sides)
        if before != after:
            changed.append(Changed(owner, example, _told(before), _told(after), looser=_is_looser(before, after)))
    only = [name for name in owners_of(old) if ids.get(name, name) not in shared]
    gone = sum(len(old.examples.get(name, ())) for name in only)
    hindering = (name for name in only if shared and _hinders(sides[0], old, ids.get(name, name), name))
    return Compared(len(seen), tuple(changed), gone, tuple(hindering))


def _owners(book: Rulebook, ids: Mapping[str, str]) -> dict[str, Owner]:
    """What examples stand beside, by the ids of today."""
    return {ids.get(name, name): owner for name, owner in owners_of(book).items()}


def _parts(book: Rulebook, owner: Owner) -> list[object]:
    """All that makes up a rule, limit or need, apart from what it reads."""
    return [owner, *(rule for rule in book.rules if isinstance(owner, Limit) and rule.limit == owner.id)]


def _gives(engine: Point, reader: FactReader, owner: Owner, example: Example) -> list[str] | str:
    """What an example comes to, promise by promise; or why it cannot be asked."""
    try:
        return [ran.found for ran in run_example(engine, reader, owner, example)]
    except ProblemsFound as found:
        return f"no answer: {found.problems[0].message}"


def _told(gives: list[str] | str) -> str:
    return gives if isinstance(gives, str) else ", ".join(gives)


def _is_looser(before: list[str] | str, after: list[str] | str) -> bool:
    """Whether an example comes to a better outcome; what cannot be asked gets no answer, and so no yes."""
    if isinstance(before, str) or isinstance(after, str):
        return False
    return _worst(after) < _worst(before)


def _worst(gives: Iterable[str]) -> int:
    return max((OUTCOMES.index(brings_about(one)) for one in gives), default=0)


def _hinders(side: _Side, book: Rulebook, id: str, name: str) -> bool:
    """Whether a rule, limit or need stands in the way of a yes in one of its examples."""
    engine, reader, owners = side
    gives = (_gives(engine, reader, owners[id], example) for example in book.examples.get(name, ()))
    return any(not isinstance(one, str) and _worst(one) for one in gives)


def _examples(rulebook: Rulebook) -> Iterator[tuple[str, Example]]:
    for name in owners_of(rulebook):
        yield from ((name, example) for example in rulebook.examples.get(name, ()))
