"""What may stand after the `?`: declared once, read and documented from that."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass
from datetime import datetime
from typing import Any, Final

import msgspec

from fitsvc.document import Json
from fitsvc.language.problems import Problem, ProblemsFound, nearest
from fitsvc.service.context import AnyRequest
from fitsvc.service.json_schema import NO_NUL
from fitsvc.store.observations import AHEAD
from fitsvc.store.tables import now
from fitsvc.tongues import later, t

_WHOLE = re.compile(r"[0-9]{1,9}", re.ASCII)
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One query or header parameter: a text, a whole number or one of a few words.

    `form` says in words what the schema's pattern does.
    """

    name: str
    about: str
    schema: Mapping[str, Json]
    _: KW_ONLY
    required: bool = False
    example: Json = None
    form: str = ""

    def read(self, text: str) -> Any:
        """Return the value of a text; ValueError says what was expected."""
        if "enum" in self.schema:
            if text not in self.schema["enum"]:
                raise ValueError(t("one of {listed}", listed=", ".join(f"`{word}`" for word in self.schema["enum"])))
            return text
        if self.schema["type"] != "integer":
            if len(text) > self.schema["maxLength"]:
                raise ValueError(t("at most {most} characters", most=self.schema["maxLength"]))
            if not re.search(self.schema.get("pattern", ""), text):
                raise ValueError(t(self.form))
            return text
        low, high = self.schema["minimum"], self.schema["maximum"]
        if not _WHOLE.fullmatch(text) or not low <= int(text) <= high:
            raise ValueError(t("a whole number from {low} to {high}", low=low, high=high))
        return int(text)


@dataclass(frozen=True, slots=True)
class Instant(Parameter):
    """A parameter that is an instant with its zone, or a date, which is its beginning in UTC as it is in the shell.

    It has been, at least where the day begins first: what is entered later cannot be told yet.
    """

    def read(self, text: str) -> datetime:
        """Return the instant; ValueError says what was expected, and ProblemsFound that it is yet to come."""
        try:
            day = f"{text}T00:00:00Z" if _DAY.fullmatch(text) else text.replace(" ", "+")
            found = msgspec.convert(day, datetime)
        except msgspec.ValidationError:
            found = None
        if found is None or found.tzinfo is None:
            raise ValueError(t("a date, or an instant with its zone, such as `2026-05-09T14:30:00Z`"))
        if found > now() + AHEAD:
            message = t("`{text}` of `{name}` is yet to come", text=text[:60], name=self.name)
            help = t("leave it out for what is known now")
            raise ProblemsFound([Problem(message, help, parameter=self.name, meaning=True, kind="implausible")])
        return found


@dataclass(frozen=True, slots=True)
class WordList(Parameter):
    """A parameter of one or more of a few words, with commas between."""

    def read(self, text: str) -> frozenset[str]:
        """Return the words; ValueError says what was expected."""
        if len(text) > self.schema["maxLength"] or not re.search(self.schema["pattern"], text):
            listed = ", ".join(f"`{word}`" for word in self.schema["x-words"])
            raise ValueError(t("one or more of {listed}, with commas between", listed=listed))
        return frozenset(text.strip().split(","))


def words(name: str, about: str, known: Sequence[str], example: str = "") -> Parameter:
    """Return a parameter of one or more of some words."""
    one = f"(?:{'|'.join(map(re.escape, known))})"
    schema = {"type": "string", "pattern": f"^{one}(?:,{one})*$", "maxLength": _LONGEST_LIST, "x-words": list(known)}
    return WordList(name, about, schema, example=example or ",".join(known[:2]))


@dataclass(frozen=True, slots=True)
class Keys(Parameter):
    """A parameter of one or more SKUs, with commas between; `most` of them at a time."""

    def read(self, text: str) -> frozenset[str]:
        """Return the SKUs; ValueError says what was expected."""
        found = frozenset(text.split(","))
        if len(text) > self.schema["maxLength"] or "" in found or len(found) > MOST_SKUS:
            raise ValueError(t("1 to {most} SKUs, with commas between", most=MOST_SKUS))
        return found


@dataclass(frozen=True, slots=True)
class FactsWanted(Parameter):
    """A parameter of facts to filter by, which `reads` reads."""

    _: KW_ONLY
    reads: Callable[[str], object]

    def read(self, text: str) -> str:
        """Return the text; ValueError says what was expected, and ProblemsFound what of it cannot be read."""
        if len(text) > self.schema["maxLength"]:
            raise ValueError(t("at most {most} characters", most=self.schema["maxLength"]))
        self.reads(text)
        return text


_LONGEST_LIST: Final = 1_000
MOST_SKUS: Final = 100
"""In one address: what servers and caches on the way read of one is some 8,000 characters."""
SKUS: Final = Keys(
    "sku",
    f"Only accessories under one of these SKUs, with commas between, at most {MOST_SKUS}; `POST /v1/matches` takes "
    "more, and those with a comma in them.",
    {"type": "string", "minLength": 1, "maxLength": 7_000, "pattern": "^[^,]+(?:,[^,]+){0,99}$"},
    example="DRY-RACK-4",
)
AS_OF: Final = Instant(
    "as_of",
    "By what had been entered by then. A date is its beginning in UTC.",
    {"type": "string", "anyOf": [{"format": "date-time"}, {"format": "date"}]},
    example="2026-05-09T14:30:00Z",
)
LIMIT: Final = Parameter(
    "limit",
    "How many to give at most.",
    {"type": "integer", "minimum": 1, "maximum": 1000, "default": 100},
    example=50,
)
AFTER: Final = Parameter(
    "after",
    "Give what comes after this id or SKU: the `next` of the page before, its last one. Pages are in the order of "
    "ids and SKUs, so any text is a place between two of them: where nothing goes by it, or nothing does any more, "
    "the page goes on where it would stand.",
    {"type": "string", "maxLength": 80, "pattern": NO_NUL},
    form=later("the `next` of the page before, which has no NUL character"),
)
PIN: Final = Parameter(
    "pin",
    "The digest of the rulebook to answer by, whichever is in force: one that was published or served here, or 404.",
    {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$", "maxLength": 71},
    form=later("a digest as answers tell it: `sha256:` and 64 hexadecimal digits"),
)
UNITS: Final = Parameter(
    "units", "Units to show figures in.", {"type": "string", "enum": ["us", "metric"], "default": "us"}, example="us"
)


def read_query(request: AnyRequest, known: Iterable[Parameter] = ()) -> dict[str, Any]:
    """Return the parameters given, with defaults; an unknown, repeated or unreadable one is a problem."""
    by_name = {one.name: one for one in known}
    values = {name: one.schema.get("default") for name, one in by_name.items()}
    if not request.scope["query_string"]:
        return values
    problems, seen = [], set[str]()
    for name, text in request.query_params.multi_items():
        if name not in by_name:
            problems.append(_unknown(name, by_name))
        elif name in seen:
            problems.append(
                Problem(t("the parameter `{name}` is given twice", name=name), t("give it once"), parameter=name)
            )
        else:
            try:
                values[name] = by_name[name].read(text)
            except ValueError as error:
                message = t("`{text}` is not a value of `{name}`", text=text[:60], name=name)
                problems.append(Problem(message, t("expected {what}", what=error), parameter=name))
            except ProblemsFound as found:
                problems += found.problems
        seen.add(name)
    if problems:
        raise ProblemsFound(problems)
    return values


def check_headers(request: AnyRequest, known: Iterable[Parameter]) -> None:
    """Refuse a header that an operation reads and cannot; passed over, a condition would not hold anybody up."""
    problems = []
    for one in known:
        given = request.headers.get(one.name.lower())
        if given is not None:
            try:
                one.read(given.strip())
            except ValueError as error:
                message = t("`{text}` is not a value of `{name}`", text=given[:60], name=one.name)
                problems.append(Problem(message, t("expected {what}", what=error), parameter=one.name))
    if problems:
        raise ProblemsFound(problems)


def _unknown(name: str, known: Mapping[str, Parameter]) -> Problem:
    near = nearest(name, known)
    listed = ", ".join(f"`{one}`" for one in known)
    others = t("known are {listed}", listed=listed) if known else t("none is known here")
    help = t("did you mean `{near}`?", near=near) if near else others
    return Problem(t("there is no parameter `{name}`", name=name[:60]), help, parameter=name[:60])
