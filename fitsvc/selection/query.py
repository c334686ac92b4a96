"""What a caller wants to see of a selection, and where a page of it ended."""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error as BadBase64
from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, replace
from hashlib import blake2b
from typing import Final, NamedTuple

import msgspec

from fitsvc.document import Json
from fitsvc.facts import FactReader, unknown_fact
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.types import Value
from fitsvc.selection.rows import SUBJECT
from fitsvc.selection.segments import Facts, Sort
from fitsvc.tongues import t

LONGEST_CURSOR: Final = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SelectionQuery:
    """What a caller wants to see of what a question comes to: nothing named is everything."""

    question: Mapping[str, Json]
    kinds: frozenset[str] = frozenset()
    outcomes: frozenset[str] = frozenset()
    text: str = ""
    sort: Sort = "sku"
    limit: int = 50
    after: str | None = None
    compact: bool = False
    system: System = "us"
    facts: Facts = ()
    skus: frozenset[str] = frozenset()

    @property
    def filters(self) -> bool:
        """Whether anything but outcomes is filtered by."""
        return bool(self.kinds or self.text or self.facts or self.skus)

    @property
    def passing(self) -> Hashable:
        """What decides which items pass, whatever they come to."""
        return self.kinds, self.text, self.facts, self.skus

    def digest(self) -> str:
        """What a cursor is good for: the same selection in the same order."""
        told = (self.question, sorted(self.kinds), sorted(self.outcomes), self.text, self.facts, self.sort)
        both = (told, sorted(self.skus))
        return blake2b(msgspec.json.encode(both, order="deterministic"), digest_size=6).hexdigest()


class Cursor(NamedTuple):
    """Where a page ended: the selection, the revision, and the last item's place in the order."""

    digest: str
    revision: str
    place: int
    key: str
    sku: str

    def text(self) -> str:
        """The cursor as callers hold it."""
        return urlsafe_b64encode(msgspec.json.encode(self)).rstrip(b"=").decode()


def read_facts_wanted(text: str, reader: FactReader, slots: Collection[str]) -> Facts:
    """The facts to filter by, of those that rules read (`slots`); ProblemsFound has all that cannot be read."""
    found, problems = list[tuple[str, Value]](), list[Problem]()
    known = {name: fact for name, fact in reader.subjects[SUBJECT].items() if fact.name in slots}
    for part in text.split(",") if text.strip() else ():
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if not equals:
            said = t("`where`: `{part}` is not a fact and a value", part=part)
            problems.append(Problem(said, t("write it as `shank=2 in`"), parameter="where"))
        elif name not in known:
            stranger = unknown_fact(SUBJECT, name, known, "")
            problems.append(replace(stranger, message=f"`where`: {stranger.message}", parameter="where"))
        else:
            try:
                found += reader.value(known[name], value).items()
            except ProblemsFound as refused:
                problems += [
                    replace(one, message=f"`where`, {name}: {one.message}", pointer="", parameter="where")
                    for one in refused.problems
                ]
    if problems:
        raise ProblemsFound(problems)
    return tuple(sorted(found))


def read_cursor(wanted: SelectionQuery) -> Cursor:
    """The cursor a caller has given back; ProblemsFound when it is none, or another selection's."""
    raw = (wanted.after or "").encode()
    try:
        cursor = Cursor(
            *msgspec.json.decode(urlsafe_b64decode(raw + b"=" * (-len(raw) % 4)), type=tuple[str, str, int, str, str])
        )
    except (BadBase64, ValueError):
        help = t("give the `next` of the page before, as it is")
        raise _refused(t("`after` is not where a page ended"), help) from None
    if cursor.digest != wanted.digest():
        help = t("ask for the same rig, filters and order, or leave `after` out to begin anew")
        raise _refused(t("`after` is where a page of another selection ended"), help)
    return cursor


def _refused(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help, parameter="after", meaning=True, kind="not given")])
