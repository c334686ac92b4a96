"""Which fact stands behind a rating: the one whose figure it is, and of an unknown one those that are not known.

A limit's rating is often a derived value: with or without weight distribution, the lowest of the receiver
and the adapters in it. People are told the label to look at, not the name of the computation.
"""

from collections.abc import Iterable, Iterator

from fitsvc.engine.point import Point, Values
from fitsvc.engine.support import Support
from fitsvc.facts import Case
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.typed import Read
from fitsvc.language.types import NumberType, Value, is_exact
from fitsvc.rulebook.rules import Rating


def prepare(engine: Point, ratings: Iterable[Rating]) -> None:
    """Compile what is compiled when a rating behind an opening is first told."""
    for name, (bare, each) in engine.opening_supports.items():
        _decisions(engine, ("bare", name), bare).prepare()
        _decisions(engine, ("each", name), each).prepare()
    for rating in ratings:
        for adapted in (False, True):
            _decisions(engine, *_of_rating(engine, rating, adapted)).prepare()


def governing_fact(engine: Point, rating: Rating, at_most: float, case: Case) -> str:
    """The fact whose figure is the rating's; the rating's own name where several together make it."""
    # Most ratings are worked out of several figures, and none of these is theirs: then it is all one which matter.
    _, support = _of_rating(engine, rating, bool(case.adapters))
    if not any(read.name.startswith("opening.") or _is(case.facts.get(read.name), at_most) for read in support.leaves):
        return rating.name
    for read, value in _behind(engine, rating, case):
        if _alike(read, rating.node) and _is(value, at_most):
            return read.name
    return rating.name


def unknown_facts(engine: Point, rating: Rating, case: Case) -> list[str]:
    """The facts that are not known of an unknown rating; its own name where none can be named."""
    return _open(_behind(engine, rating, case)) or [rating.name]


def unknown_in_opening(engine: Point, opening: Read, case: Case) -> list[str]:
    """The facts not known of a figure of the working opening, the receiver's own and the adapters'."""
    return _open(_in_opening(engine, opening.name, case))


def unsaid_in_opening(engine: Point, opening: Read, case: Case) -> list[str]:
    """Those of them of which nothing is told."""
    facts = _in_opening(engine, opening.name, case)
    return list(dict.fromkeys(read.name for read, value in facts if value == read.type.unknown))


def open_facts(engine: Point, matter: Iterable[Read], case: Case) -> list[str]:
    """Those of the facts that matter to a rule in an opened case that are not exactly known, the adapters' own too."""
    found: list[str] = []
    for read in matter:
        if not is_exact(read.type, case.facts.get(read.name, read.type.unknown)):
            found += (
                (unknown_in_opening(engine, read, case) or [read.name])
                if read.name in engine.rulebook.opening
                else [read.name]
            )
    return found


def _open(facts: Iterable[tuple[Read, Value]]) -> list[str]:
    found = (read.name for read, value in facts if isinstance(value, tuple) and value[1] - value[0] > TOLERANCE)
    return list(dict.fromkeys(found))


def _behind(engine: Point, rating: Rating, case: Case) -> Iterator[tuple[Read, Value]]:
    """The facts of a rating that matter in an opened case, those behind the working opening too."""
    for read in _relevant(engine, *_of_rating(engine, rating, bool(case.adapters)), case):
        if read.name.startswith("opening."):
            yield from _in_opening(engine, read.name, case)
        else:
            yield read, case.facts.get(read.name, read.type.unknown)


def _in_opening(engine: Point, name: str, case: Case) -> Iterator[tuple[Read, Value]]:
    """The facts that matter to a figure of the working opening: the receiver's own, and of each adapter in it."""
    wanted, found = {name}, list[tuple[Read, Value]]()
    for seen in reversed(engine.seen(case)):
        reads = [
            read
            for one in sorted(wanted)
            for read in _relevant(engine, ("each", one), engine.opening_supports[one][1], seen)
        ]
        own = [read for read in reads if read.name.startswith("adapter.")]
        found += [(read, seen.facts.get(read.name, read.type.unknown)) for read in own]
        wanted = {read.name for read in reads if read.name.startswith("opening.")}
    for one in sorted(wanted):
        for read in _relevant(engine, ("bare", one), engine.opening_supports[one][0], case):
            yield read, case.facts.get(read.name, read.type.unknown)
    yield from reversed(found)


def _of_rating(engine: Point, rating: Rating, adapted: bool) -> tuple[tuple[object, ...], Support]:
    """What a rating rests on, with the key that it is kept by."""
    key, derived = ("rating", rating.name, adapted), engine.derived if adapted else engine.bare_derived
    return key, engine.kept(key, lambda: Support([rating.node], derived))


def _relevant(engine: Point, key: tuple[object, ...], support: Support, case: Case) -> list[Read]:
    """What of a support matters in a case."""
    return [support.leaves[place] for place in support.relevant(_decisions(engine, key, support).of(case))]


def _decisions(engine: Point, key: tuple[object, ...], support: Support) -> Values:
    """What decides which facts of a support matter, compiled at the first call."""
    return engine.values(("decisions", *key), lambda: support.decisions)


def _is(value: Value | None, figure: float) -> bool:
    """Whether what is known of a fact is at least a figure, and no more that is sure."""
    return isinstance(value, tuple) and abs(value[0] - figure) <= TOLERANCE


def _alike(read: Read, node: object) -> bool:
    kind, wanted = read.type, getattr(node, "type", None)
    return isinstance(kind, NumberType) and isinstance(wanted, NumberType) and kind.dimension == wanted.dimension
