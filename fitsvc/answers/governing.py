"""Which fact stands behind a rating: the one whose figure it is, and of an unknown one those that are not known.

A limit's rating is often a derived value: with or without weight distribution, the lowest of the receiver
and the adapters in it. People are told the label to look at, not the name of the computation.
"""

from collections.abc import Iterable, Iterator

from fitsvc.engine.point import Point
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.typed import Read
from fitsvc.language.types import NumberType, Value, is_exact
from fitsvc.rulebook.rules import Rating


def governing_fact(engine: Point, rating: Rating, at_most: float, case: Case) -> str:
    """The fact whose figure is the rating's; the rating's own name where several together make it."""
    for name, value in _behind(engine, rating, case):
        if isinstance(value, tuple) and abs(value[0] - at_most) <= TOLERANCE:
            return name
    return rating.name


def unknown_facts(engine: Point, rating: Rating, case: Case) -> list[str]:
    """The facts that are not known of an unknown rating; its own name where none can be named."""
    return _open(_behind(engine, rating, case)) or [rating.name]


def unknown_in_opening(engine: Point, opening: Read, case: Case) -> list[str]:
    """The facts not known of a figure of the working opening, the receiver's own and the adapters'."""
    return _open(_in_opening(engine, opening, case))


def open_facts(engine: Point, number: int, case: Case) -> list[str]:
    """The facts that matter to an open rule in an opened case and are not exactly known, the adapters' own too."""
    adapted = bool(case.adapters)
    support = engine.support(number, adapted)
    decided = engine.values(("decisions", number, adapted), lambda: support.decisions).of(case)
    found: list[str] = []
    for place in support.relevant(decided):
        read = support.leaves[place]
        if not is_exact(read.type, case.facts.get(read.name, read.type.unknown)):
            found += (
                (unknown_in_opening(engine, read, case) or [read.name])
                if read.name in engine.rulebook.opening
                else [read.name]
            )
    return found


def _open(facts: Iterable[tuple[str, Value]]) -> list[str]:
    found = (name for name, value in facts if isinstance(value, tuple) and value[1] - value[0] > TOLERANCE)
    return list(dict.fromkeys(found))


def _behind(engine: Point, rating: Rating, case: Case) -> Iterator[tuple[str, Value]]:
    """The facts of a rating's dimension that matter in an opened case, those behind the working opening too."""
    adapted = bool(case.adapters)
    derived = engine.derived if adapted else engine.bare_derived
    support = engine.kept(("rating", rating.name, adapted), lambda: Support([rating.node], derived))
    nodes = [*support.leaves, *support.decisions]
    values = engine.values(("rating", rating.name, adapted), lambda: nodes).of(case)
    for place in support.relevant(values[len(support.leaves) :]):
        read = support.leaves[place]
        if not _alike(read, rating.node):
            continue
        if read.name.startswith("opening."):
            yield from _in_opening(engine, read, case)
        else:
            yield read.name, values[place]


def _in_opening(engine: Point, opening: Read, case: Case) -> Iterator[tuple[str, Value]]:
    one = engine.rulebook.opening[opening.name]
    own = Support([one.bare], engine.derived).leaves
    each = [read for read in Support([one.each], engine.derived).leaves if read.name.startswith("adapter.")]
    places = [(read, case.facts) for read in own] + [(read, facts) for facts in case.adapters for read in each]
    for read, facts in places:
        if _alike(read, opening):
            yield read.name, facts.get(read.name, read.type.unknown)


def _alike(read: Read, node: object) -> bool:
    kind, wanted = read.type, getattr(node, "type", None)
    return isinstance(kind, NumberType) and isinstance(wanted, NumberType) and kind.dimension == wanted.dimension
