"""Which mount and ball of the catalogue tow a trailer behind a rig that it is claimed for.

A trailer is judged by itself with a rig, maybe with a ball that the rig has. Here the same question is asked with each
mount and ball of the catalogue that go together, by the same rules as any answer, and what works is told.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from fitsvc.audits.ball_pairs import BallPair
from fitsvc.audits.items import Items
from fitsvc.audits.other_pairs import OthersClaimed
from fitsvc.audits.others import BALL
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.state import AuditState
from fitsvc.facts import Case
from fitsvc.language.types import Value
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome

_TRAILER: Final = "trailer"
_GOOD: Final = OUTCOMES[: OUTCOMES.index("undetermined")]
_MOST_TRIED: Final = 50_000
"""Judgements in all, under a millisecond each: claims that are left over are counted, and told as not looked at."""
_TOLD: Final = 3
"""Mounts and balls that are told of one claim, the best first."""
_MOST: Final = 500
"""Pairs of a mount and a ball that are tried, the first of the catalogue."""


class Hitched(NamedTuple):
    """A trailer that is claimed for a rig: what it comes to alone, and with which mount and ball it comes to what."""

    trailer: str
    rig: str
    alone: str
    mount: str
    ball: str
    outcome: str


class _Piece(NamedTuple):
    """What is known of an item, and the names of its facts that could not be read."""

    values: Mapping[str, Value]
    unread: AbstractSet[str]


@dataclass(slots=True, kw_only=True)
class Hitches:
    """The search; `found` counts claims that a mount and ball serve, `none` those without, `untried` what was left."""

    state: AuditState
    blocks: int
    found: int = 0
    none: int = 0
    untried: int = 0
    _left: int = field(default_factory=lambda: _MOST_TRIED)
    _go_together: list[tuple[str, str]] = field(default_factory=list)

    def noting(self, pairs: Iterable[BallPair]) -> Iterator[BallPair]:
        """Pairs of balls and mounts as they are, those noted that go together."""
        for one in pairs:
            if one.outcome in _GOOD and len(self._go_together) < _MOST:
                self._go_together.append((one.mount, one.ball))
            yield one

    def of(self, claimed: OthersClaimed) -> Iterator[Hitched]:
        """What serves the trailers of a catalogue that has mounts and balls, claim by claim."""
        trailers, balls = self.state.spool.other(_TRAILER), self.state.spool.other(BALL)
        if trailers is None or balls is None or not self._go_together:
            return
        of_mounts = self._mounts({mount for mount, _ in self._go_together})
        of_balls = {sku: self._told(balls, place) for place, sku in enumerate(balls.skus)}
        for place, sku in enumerate(trailers.skus):
            trailer = self._told(trailers, place)
            for rig, (alone, _) in sorted(claimed.get(sku, {}).items()):
                if self._left < len(self._go_together):
                    self.untried += 1
                    continue
                tried = self._tried(self.state.rigs[rig], trailer, of_mounts, of_balls)
                best = sorted(tried, key=lambda one: OUTCOMES.index(one[2]))[:_TOLD]
                self.found += bool(best)
                self.none += not best
                yield from (Hitched(sku, self.state.rigs[rig].key, alone, *one) for one in best)

    def _tried(
        self, rig: AuditRig, trailer: _Piece, mounts: Mapping[str, _Piece], balls: Mapping[str, _Piece]
    ) -> Sequence[tuple[str, str, Outcome]]:
        """Each mount and ball with which a trailer may be towed behind a rig; no more once enough work as they are."""
        engine, found, works = self.state.kernel.engine, list[tuple[str, str, Outcome]](), 0
        for mount, ball in self._go_together:
            case = self._case(rig, mount, (trailer, mounts[mount], balls[ball]))
            outcome = engine.evaluate(engine.opened(case)).outcome
            self._left -= 1
            if outcome in _GOOD:
                found.append((mount, ball, outcome))
                works += outcome == _GOOD[0]
                if works == _TOLD:
                    break
        return found

    def _case(self, rig: AuditRig, mount: str, items: Sequence[_Piece]) -> Case:
        """A rig with a trailer, a mount and a ball, which stands in place of the one that the rig has."""
        facts = {name: value for name, value in rig.case.facts.items() if not name.startswith(f"{BALL}.")}
        for one in items:
            facts |= one.values
        facts |= rig.case.of_items.get(mount, {})
        unread = frozenset[str]().union(*(one.unread for one in items))
        named = self.state.kernel.rulebook.named & (facts.keys() | unread)
        kept = {name for name in rig.case.present if name != BALL and not name.startswith(f"{BALL}.")}
        return replace(rig.case, facts=facts, present=frozenset(kept) | {_TRAILER, "accessory", BALL} | named)

    def _mounts(self, wanted: AbstractSet[str]) -> dict[str, _Piece]:
        """What is known of some accessories of the catalogue."""
        found: dict[str, _Piece] = {}
        for items in map(self.state.spool.block, range(self.blocks)):
            found |= {sku: self._told(items, place) for place, sku in enumerate(items.skus) if sku in wanted}
        return found

    def _told(self, items: Items, place: int) -> _Piece:
        return _Piece(items.facts_of(place, self.state.kernel.slots), items.unread_of(place))
