"""Records as a question sees them, where they come from, and by what facts a vehicle is called.

The store has them (`inventory`), and as of a time (`observing/earlier`); the demo's files have them for tests.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, Protocol

from fitsvc.document import Json
from fitsvc.language.types import Value
from fitsvc.tried import ThingTried

NAMES: Final = ("make", "model")
"""The vehicle's facts that people call it by; naming one of them, they mean a vehicle that may be stored."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """A fact of which what was said cannot all hold, or hardly can, or was seen before what it leans on changed.

    Each statement is its value as written, by whom, and when. `changed` is what a stale one leans on and is another.
    """

    state: Literal["doubtful", "disputed", "stale"]
    said: tuple[tuple[Json, str, str], ...]
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """A stored record as a question sees it; `links` are a mounting's vehicle and receiver.

    `tried` are the values that facts have for the very things that were tried, by their designations; `rubbed` those
    that went in and rubbed; `things` the accessories that were tried, the latest last. `provenance` is how each fact is
    known, as the store has it.
    """

    subject: str
    key: str
    label: str
    facts: Mapping[str, Json]
    assumed: frozenset[str] = frozenset()
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    tried: Mapping[str, Mapping[str, Json]] = field(default_factory=dict)
    rubbed: frozenset[str] = frozenset()
    things: tuple[ThingTried, ...] = ()
    links: Mapping[str, str] = field(default_factory=dict)
    provenance: Mapping[str, Mapping[str, Json]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Named:
    """A stored vehicle as it is named: its id, its label, and those of its facts that are names, choices or counts.

    `figures` are all that is stored of it as written, without what is only assumed.
    """

    key: str
    label: str
    values: Mapping[str, Value]
    texts: Mapping[str, str]
    figures: Mapping[str, Json] = field(default_factory=dict)


class Records(Protocol):
    """Where stored records come from."""

    @property
    def earlier(self) -> bool:
        """Whether they are as of an earlier time, so that what has been stored since is not there."""
        ...

    def find(self, subject: str, key: str) -> Stored | None:
        """The record of a subject under its id or SKU; for `accessory`, whatever is sold under the SKU."""
        ...

    def keys_near(self, subject: str, key: str) -> Iterable[str]:
        """A few ids or SKUs that are stored of a subject, or of `rig`, near one that is not."""
        ...

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        """The mountings of a receiver on a vehicle, or some of them on whichever."""
        ...

    def rig(self, key: str) -> Mapping[str, Json] | None:
        """A saved rig, as the `rig` of a question."""
        ...

    def rig_told(self, key: str) -> Stored:
        """What was told of a saved rig that is there, over what its records say, by whole names."""
        ...

    def vehicles(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> Sequence[Named] | None:
        """The vehicles that agree with these naming facts, in the order of their ids; None where none has a name."""
        ...


class NoRecords:
    """The source of records where there is no store: it has none."""

    earlier = False

    def find(self, subject: str, key: str) -> Stored | None:
        """No record."""
        return None

    def keys_near(self, subject: str, key: str) -> Iterable[str]:
        """No key."""
        return ()

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        """No mounting."""
        return []

    def rig(self, key: str) -> Mapping[str, Json] | None:
        """No rig."""
        return None

    def rig_told(self, key: str) -> Stored:
        """Nothing was told of any rig."""
        return Stored(subject="rig", key=key, label="", facts={})

    def vehicles(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> Sequence[Named] | None:
        """No vehicle."""
        return None


def sure_of(stored: Stored) -> dict[str, Json]:
    """What a record says, by whole names, without what is only assumed."""
    known = {short: wire for short, wire in stored.facts.items() if short not in stored.assumed and wire is not None}
    return {f"{stored.subject}.{short}": wire for short, wire in known.items()}
