"""What questions, links and records are about: by what each subject is named, and where it stands. One table."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

Subject = Literal["vehicle", "receiver", "mounting", "accessory"]
"""What a stored record is about; adapters, balls, trailers and wiring adapters are accessories sold as such."""

Told = Literal["vehicle", "receiver", "mounting", "accessory", "rig"]
"""What something may be told of: a stored record, or one saved rig, which then is not as its records say."""

RIG: Final[Told] = "rig"
"""What one saved rig is told of as; its facts go by their whole names."""

SoldAs = Literal["accessory", "adapter", "ball", "trailer", "wiring_adapter"]
"""Which subject of a question an accessory's SKU fills."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectRow:
    """One subject: the key that names a record of it (`id`, `sku`; nothing where none is stored), the records it is
    stored with, their word in a path, the records that each names, and whether a question has it as a part of its rig.
    """

    key: Literal["id", "sku", ""] = ""
    stored_as: Subject | None = None
    many: str = ""
    links: tuple[Subject, ...] = ()
    in_rig: bool = False


SUBJECTS: Final[Mapping[str, SubjectRow]] = {
    "vehicle": SubjectRow(key="id", stored_as="vehicle", many="vehicles", in_rig=True),
    "receiver": SubjectRow(key="id", stored_as="receiver", many="receivers", in_rig=True),
    "mounting": SubjectRow(
        key="id", stored_as="mounting", many="mountings", links=("vehicle", "receiver"), in_rig=True
    ),
    "spare": SubjectRow(in_rig=True),
    "accessory": SubjectRow(key="sku", stored_as="accessory", many="accessories"),
    "adapter": SubjectRow(key="sku", stored_as="accessory", many="adapters", in_rig=True),
    "ball": SubjectRow(key="sku", stored_as="accessory", many="balls"),
    "trailer": SubjectRow(key="sku", stored_as="accessory", many="trailers"),
    "wiring_adapter": SubjectRow(key="sku", stored_as="accessory", many="wiring adapters"),
    "load": SubjectRow(),
    "beside": SubjectRow(),
}
"""Every subject; of adapters a rig has a list, from the receiver outwards, of every other one at the most."""

KIND: Final = "accessory.kind"
"""The fact by whose roles an accessory is judged, planned with and sorted.

It and the place are named here as subjects and `id` are: they are of the form of a question, which clients send.
"""

LONGEST_KEY: Final = 80
"""Characters of an id or SKU: of one that is longer nothing is ever stored."""

PLACE: Final = "beside.hangs_on"
"""The fact by which each of several things says which receiver it hangs on; its subject tells of the others."""

BEHIND_TRAILER: Final = "trailer"
"""The place that is on no vehicle: what hangs there tells of the trailer as its rig's vehicle."""

SOLD: Final[tuple[SoldAs, ...]] = get_args(SoldAs)
"""What is sold under a SKU; all of it is stored as accessories."""
ASKED: Final = ("accessory", "trailer", "spare", "wiring_adapter")
"""What a question can be about, of which it names one at least, unless it has something in the opening."""
STORED: Final = tuple(name for name, row in SUBJECTS.items() if row.key)
"""What records, and files of them, may be about."""
OF_YARD: Final[tuple[Subject, ...]] = ("vehicle", "receiver", "mounting")
"""What stands on a yard to be measured, and may be told of one saved rig alone."""
OF_RIG: Final = tuple(name for name, row in SUBJECTS.items() if row.in_rig and name != "adapter")
"""The parts of a rig, its adapters apart."""
BESIDE_RIG: Final = tuple(name for name, row in SUBJECTS.items() if not row.in_rig)
"""The parts of a question beside its rig."""


def storable(key: str) -> bool:
    """Whether a key could be stored at all, so that asking for it reaches no database error."""
    return len(key) <= LONGEST_KEY and not refused_character(key)


def refused_character(text: str) -> Literal["", "NUL", "surrogate"]:
    """The character in a text that some database refuses: a NUL, or half of a surrogate pair."""
    if text.isprintable():
        return ""
    if "\0" in text:
        return "NUL"
    return "surrogate" if any("\ud800" <= c <= "\udfff" for c in text) else ""


def stored_as(subject: str) -> Subject:
    """What a record about a subject of `STORED` is stored as."""
    found = SUBJECTS[subject].stored_as
    assert found is not None
    return found


def sold_as(subject: str) -> SoldAs:
    """A subject of `SOLD`."""
    return next(one for one in SOLD if one == subject)


def plural(subject: str) -> str:
    """The word for several; what is no subject has its plural by an `s`."""
    row = SUBJECTS.get(subject)
    return row.many if row and row.many else f"{subject.replace('_', ' ')}s"


def counted(number: int, subject: str) -> str:
    """`1 vehicle`, `2 accessories`."""
    return f"{number} {subject.replace('_', ' ') if number == 1 else plural(subject)}"
