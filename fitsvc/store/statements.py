"""Statements, one fact of an observation each, and the law by which they are read, as the store knows no rules."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, Protocol

import msgspec

from fitsvc.document import Json
from fitsvc.language.intervals import Bounds
from fitsvc.store.spans import Span
from fitsvc.tried import ThingTried

RANK: Final[Mapping[str, int]] = {"assumed": 0, "published": 1, "read": 2, "measured": 2, "tried": 2}
"""How well each kind of telling knows."""
SEEN: Final = 2
"""The rank of what somebody saw on the part itself."""
ALL: Final = "*"
"""Stands for every fact of an observation, where it is taken back as a whole."""
THING: Final = "sku:"
"""Before the SKU of a thing that was tried, under which the ground has what is known of it."""
PUBLISHED: Final = "published:"
"""Before a whole name, under which the ground has what is published of it, where what was seen since may be another."""


class Said(msgspec.Struct, frozen=True, kw_only=True):
    """One statement of a fact: its value as it was said, how it is known, by whom, seen when, in which observation.

    What is `supposed` rules nothing out by itself, and puts in dispute what does not hold beside it.

    A structure and no dataclass, which takes ten times as long to make: all that was said of a record is made into them
    whenever a word is added.
    """

    fact: str
    value: Json
    kind: str
    by: str
    at: datetime
    observation: str
    place: int = 0
    person: str = ""
    source: str = ""
    span: Span | None = None
    ground: Mapping[str, Json] = msgspec.field(default_factory=dict)
    supposed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FactLaw:
    """How a fact's statements are read and written.

    `read` gives a value as it counts for a kind of telling (a tape has a tolerance, said or not), and what that allows:
    None for a text. `write` gives a span as a value, in the unit of another one. Of a `rating` a better kind of
    telling does not lift what a lesser one says, be it a figure or a maker's no. Of what is `gathered` each statement
    is one case, and the largest or the smallest is what is asked for. What was seen of it holds while what it
    `leans_on` is what it was, and what was published of it while that is what was published. What is left of several
    statements of a figure is written within what is `plausible` of it, as nothing else can be told of it.
    """

    read: Callable[[Json, str], tuple[Json, Span | None]]
    write: Callable[[Span, Json], Json]
    rating: bool = False
    gathered: Literal["", "largest", "smallest"] = ""
    leans_on: tuple[str, ...] = ()
    plausible: Bounds | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """What was tried, by its designation: the fact it bears on, its value for that very thing, whether it rubbed."""

    fact: str
    what: str
    value: Json
    rubbed: bool


class Law(Protocol):
    """What the fold has to know of a subject's facts."""

    def whole(self, name: str) -> str:
        """A fact's name with its subject before it, as others lean on it."""
        ...

    def fact(self, name: str) -> FactLaw:
        """The law of one fact."""
        ...

    def taught(self, evidence: Mapping[str, Json]) -> Mapping[str, Json]:
        """What was tried, as statements of facts."""
        ...

    def bounded(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """What follows, as statements of facts, from what was tried with all that is known around it."""
        ...

    def supposed(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """What would follow besides, were it sure what the thing touched, or was measured to."""
        ...

    def teaches(self, evidence: Mapping[str, Json]) -> Sequence[str]:
        """The facts of which what was tried may state something."""
        ...

    def tried(self, evidence: Mapping[str, Json]) -> "Trial | ThingTried | None":
        """What was tried, as it answers for the very same thing."""
        ...

    def changed(self, name: str, was: Json, now: Json) -> bool:
        """Whether a fact that others lean on, by its whole name, is surely not what it was."""
        ...


Laws = Callable[[str], Law]
"""The law of each subject."""


TEXT: Final = FactLaw(read=lambda value, kind: (value, None), write=lambda span, like: like)
"""The law of a fact of which nothing is known: every value stands for itself."""


def who_said(by: str, source: str) -> str:
    """Whose word a statement is: a person's or a feed's, or a person's that came by a feed; empty where nobody says."""
    return f"{by} ({source})" if by and source else by or source


class _Plain:
    """The law of facts that nothing is known of: the latest of the best kind holds."""

    def whole(self, name: str) -> str:
        """Nothing leans on it, so that its name is enough."""
        return name

    def fact(self, name: str) -> FactLaw:
        """Every value stands for itself."""
        return TEXT

    def taught(self, evidence: Mapping[str, Json]) -> Mapping[str, Json]:
        """Nothing that was tried teaches anything."""
        return {}

    def bounded(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """Nothing follows from anything around it."""
        return {}

    def supposed(self, evidence: Mapping[str, Json], around: Mapping[str, Json]) -> Mapping[str, Json]:
        """Nothing would follow from anything around it."""
        return {}

    def teaches(self, evidence: Mapping[str, Json]) -> Sequence[str]:
        """Nothing that was tried teaches anything."""
        return ()

    def tried(self, evidence: Mapping[str, Json]) -> "Trial | ThingTried | None":
        """Nothing that was tried answers for anything."""
        return None

    def changed(self, name: str, was: Json, now: Json) -> bool:
        """Nothing leans on anything."""
        return False


def plain(subject: str) -> Law:
    """The law without a rulebook: it compares nothing, so it is for records whose facts mean nothing."""
    return PLAIN


PLAIN: Final = _Plain()
"""The law of what no rulebook says anything of."""


class Statement(Protocol):
    """What the fold needs of an observation."""

    @property
    def id(self) -> str:
        """Its id."""

    @property
    def facts(self) -> Mapping[str, Json]:
        """The facts told, null for one taken back."""

    @property
    def kind(self) -> str:
        """How its facts are known."""

    @property
    def by(self) -> str:
        """Who said it."""

    @property
    def written_by(self) -> str:
        """The name of the key it came in by."""

    @property
    def at(self) -> datetime:
        """When it was seen."""

    @property
    def source(self) -> str:
        """The feed it came by, if by one."""

    @property
    def evidence(self) -> Mapping[str, Json] | None:
        """What was tried."""

    @property
    def takes_back(self) -> Mapping[str, Sequence[str]] | None:
        """The observations it takes back, by fact, or under `*` as a whole."""

    @property
    def ground(self) -> Mapping[str, Json] | None:
        """What its facts lean on, by whole names, as it was when they were told."""
