"""What both databases can keep; everything else is refused with its field named."""

import json
import math
import re
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import get_args
from unicodedata import is_normalized

from fitsvc.document import Json
from fitsvc.language.problems import ProblemKind
from fitsvc.store.errors import FieldProblem, InvalidValue, shown
from fitsvc.store.tables import KEY, Kind
from fitsvc.subjects import SoldAs, Subject, refused_character
from fitsvc.tongues import later, t

PREFIXES = {
    "vehicle": "veh_",
    "receiver": "rcv_",
    "mounting": "mnt_",
    "observation": "obs_",
    "rig": "rig_",
    "key": "key_",
    "audit": "aud_",
    "remark": "rem_",
    "schedule": "sch_",
}
"""How the ids of each kind of record begin."""

_ID_TAIL = re.compile(r"[A-Za-z0-9_-]{1,60}")
_FACT_BYTES, _DOCUMENT_BYTES, _DEPTH, _TEXT = 100_000, 200_000, 20, 5_000
_REFUSED = {
    "": "",
    "NUL": later("holds a NUL character; leave it out"),
    "surrogate": later("holds half of a surrogate pair, which is no character; leave it out"),
}
_WHOLE = 2**53 - 1
_PAGE = 10_000


def new_id(subject: str) -> str:
    """Return a fresh id with the subject's prefix."""
    return PREFIXES[subject] + secrets.token_hex(10)


@dataclass(slots=True)
class Checks:
    """Collects the problems of one input, each under its JSON pointer."""

    prefix: str = ""
    problems: list[FieldProblem] = field(default_factory=list)

    def refuse(self, pointer: str, message: str, kind: ProblemKind = "") -> None:
        """Note one problem."""
        self.problems.append(FieldProblem(self.prefix + pointer, message, kind))

    def finish(self) -> None:
        """Raise everything that was noted, if anything was."""
        if self.problems:
            raise InvalidValue(self.problems)

    def text(self, pointer: str, value: object, longest: int, *, required: bool = False) -> None:
        """Check a text: its length, and no character that a database refuses."""
        if not isinstance(value, str):
            self.refuse(pointer, t("expected a text"))
        elif fault := _text_fault(value, longest):
            self.refuse(pointer, fault)
        elif required and not value.strip():
            self.refuse(pointer, t("is empty; give a text"))

    def one_of(self, pointer: str, value: object, members: tuple[str, ...]) -> None:
        """Check a word against the words allowed."""
        if value not in members:
            self.refuse(
                pointer, t("`{value}` is not one of {listed}", value=shown(str(value)), listed=", ".join(members))
            )

    def subject(self, value: object) -> None:
        """Check the name of a kind of record."""
        self.one_of("/subject", value, get_args(Subject))

    def kind(self, value: object) -> None:
        """Check how a fact is known."""
        self.one_of("/kind", value, get_args(Kind))

    def sold_as(self, value: object) -> None:
        """Check what an accessory is sold as."""
        self.one_of("/subject", value, get_args(SoldAs))

    def key(self, subject: str, value: object) -> None:
        """Check the id or SKU of a record to be made."""
        fault = _sku_fault(value) if subject == "accessory" else _id_fault(value, PREFIXES[subject])
        if fault:
            sku = subject == "accessory"
            self.refuse("/sku" if sku else "/id", fault, "unprintable" if sku else "")

    def instant(self, pointer: str, value: object) -> None:
        """Check a time: zone given, and a year that every database can keep."""
        if not isinstance(value, datetime) or value.utcoffset() is None:
            self.refuse(pointer, t("expected a date and time with its zone, such as `2024-05-01T12:00:00Z`"))
        elif not 1900 <= value.year <= 2200:
            self.refuse(pointer, t("the year {year} is outside 1900 to 2200", year=value.year), "implausible")

    def facts(self, value: object) -> None:
        """Check a batch of facts: names, and values that are JSON."""
        self._object("/facts", value, _FACT_BYTES)

    def document(self, pointer: str, value: object) -> None:
        """Check a whole JSON object, such as a saved rig."""
        self._object(pointer, value, _DOCUMENT_BYTES)

    def _object(self, pointer: str, value: object, most_bytes: int) -> None:
        if not isinstance(value, Mapping):
            self.refuse(pointer, t("expected an object of names and values"))
        elif faults := list(_json_faults(value, pointer, 0)):
            for place, fault in faults:
                self.refuse(place, fault)
        elif len(json.dumps(value)) > most_bytes:
            self.refuse(pointer, t("is larger than {most} kB", most=most_bytes // 1000))


def page_size(limit: int) -> int:
    """Return a page's size, refusing one that is no page."""
    if not 1 <= limit <= _PAGE:
        raise InvalidValue([FieldProblem("/limit", t("expected 1 to {most}, not {limit}", most=_PAGE, limit=limit))])
    return limit


def _text_fault(value: str, longest: int) -> str:
    if len(value) > longest:
        return t("has {count} characters; at most {most} are kept", count=len(value), most=longest)
    return t(_REFUSED[refused_character(value)])


def _id_fault(value: object, prefix: str) -> str:
    if isinstance(value, str) and value.startswith(prefix) and _ID_TAIL.fullmatch(value[len(prefix) :]):
        return ""
    return t(
        "`{value}` is not an id: expected `{prefix}` and 1 to 60 letters, digits, `_` or `-`",
        value=shown(str(value)),
        prefix=prefix,
    )


def _sku_fault(value: object) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= KEY:
        return t("expected a SKU of 1 to {most} characters", most=KEY)
    if not value.isprintable() or value != value.strip():
        return t(
            "`{value}` is not a SKU: expected printable characters, and no space at either end", value=shown(value)
        )
    if not is_normalized("NFC", value):  # else two that nobody can tell apart would be two things
        return t(
            "`{value}` is not a SKU: write a letter with its accent as one character (Unicode's form NFC)",
            value=shown(value),
        )
    # A client shortens these two away before a path with them reaches the service.
    return t("`{value}` is not a SKU", value=value) if value in (".", "..") else ""


def _json_faults(value: object, pointer: str, depth: int) -> Iterator[tuple[str, str]]:
    if depth > _DEPTH:
        yield pointer, t("is nested deeper than {most} levels", most=_DEPTH)
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            if fault := _name_fault(name):
                yield pointer, t("the name `{name}` {fault}", name=shown(str(name)), fault=fault)
            else:
                yield from _json_faults(inner, f"{pointer}/{_escaped(name)}", depth + 1)
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            yield from _json_faults(inner, f"{pointer}/{number}", depth + 1)
    elif fault := _scalar_fault(value):
        yield pointer, fault


def _name_fault(name: object) -> str:
    if not isinstance(name, str):
        return t("is not a text")
    return _text_fault(name, KEY) if name else t("is empty")


def _scalar_fault(value: Json) -> str:
    if isinstance(value, str):
        return _text_fault(value, _TEXT)
    if isinstance(value, float) and not math.isfinite(value):
        return t("is not a finite number")
    if isinstance(value, int) and abs(value) > _WHOLE:
        return t("is a whole number beyond {most}", most=_WHOLE)
    if value is None or isinstance(value, bool | int | float):
        return ""
    return t("expected a text, number, yes or no, list or object")


def _escaped(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")
