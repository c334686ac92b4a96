"""What can go wrong with stored records, each in one sentence a person can act on.

The classes are named for what happened, as callers catch them, not with an `Error` suffix.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fitsvc.language.problems import ProblemKind
from fitsvc.tongues import later, t

_CALLED: Final = (
    *(later("vehicle"), later("receiver"), later("mounting"), later("accessory"), later("adapter"), later("ball")),
    *(later("trailer"), later("wiring adapter"), later("rig"), later("observation"), later("rulebook")),
    *(later("audit"), later("remark"), later("schedule"), later("key")),
)
"""What is stored, as people call it."""


def called(subject: str) -> str:
    """A kind of what is stored, as people call it in the language that is spoken."""
    return t(subject.replace("_", " ")) if subject.replace("_", " ") in _CALLED else subject


class StoreError(Exception):
    """Anything the store refuses or cannot do; its text is fit to be shown."""


@dataclass(frozen=True, slots=True)
class FieldProblem:
    """One field that cannot be stored: its JSON pointer inside the record, what is wrong, and of what kind that is."""

    field: str
    message: str
    kind: ProblemKind = ""

    def __str__(self) -> str:
        return f"{self.field}: {self.message}"


class InvalidValue(StoreError):
    """Values that the store cannot keep, all of them."""

    def __init__(self, problems: Iterable[FieldProblem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))


class NotFound(StoreError):
    """There is no such record."""

    def __init__(self, subject: str, key: str) -> None:
        self.subject, self.key = subject, key
        super().__init__(t("there is no {subject} `{key}`", subject=called(subject), key=shown(key)))


class AlreadyExists(StoreError):
    """One or more records with these ids or SKUs are stored already, or were given twice."""

    def __init__(self, subject: str, keys: Iterable[str]) -> None:
        self.subject, self.keys = subject, tuple(keys)
        if len(self.keys) == 1:
            told = t("{subject} {keys} exists already; change it, or give another id or SKU", **self._told())
        else:
            told = t("records {keys} exist already; change it, or give another id or SKU", **self._told())
        super().__init__(told)

    def _told(self) -> dict[str, str]:
        return {"subject": called(self.subject), "keys": _listed(self.keys)}


class VersionConflict(StoreError):
    """The record was changed since the caller read it."""

    def __init__(self, subject: str, key: str, *, expected: int, found: int) -> None:
        self.subject, self.key, self.expected, self.found = subject, key, expected, found
        super().__init__(
            t(
                "{subject} `{key}` is at version {found}, not {expected}: read it again and repeat the change",
                subject=called(subject),
                key=shown(key),
                found=found,
                expected=expected,
            )
        )


class StillReferenced(StoreError):
    """The record cannot be deleted while others name it."""

    def __init__(self, subject: str, key: str, by: Iterable[str]) -> None:
        self.subject, self.key, self.by = subject, key, tuple(by)
        told = {"subject": called(subject), "key": shown(key), "by": _listed(self.by)}
        super().__init__(t("{subject} `{key}` is still used by {by}; delete that first", **told))


class Conflict(StoreError):
    """Another change at the same time got in the way; trying again is safe."""


class NotMigrated(StoreError):
    """The database has not the tables of this version of fitsvc."""


class Unreachable(StoreError):
    """The database does not answer."""


class Busy(Unreachable):
    """The database answers, but is too busy for this change; trying again is safe."""


def shown(text: str, longest: int = 80) -> str:
    """Return a caller's text fit for a message: printable, storable and not too long."""
    clean = "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text[:longest])
    return clean if len(text) <= longest else clean + "..."


def _listed(keys: tuple[str, ...], most: int = 5) -> str:
    listed = ", ".join(f"`{shown(key)}`" for key in keys[:most])
    return listed if len(keys) <= most else t("{listed} and {more} more", listed=listed, more=len(keys) - most)
