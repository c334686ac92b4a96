"""Problems in a clerk's words: what is told to a program, as somebody at a counter says it, and at which field."""

import re
from dataclasses import replace
from functools import lru_cache
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.service.counter.links import ALSO, LEAST, ONE_EACH, PLACES, field_of
from fitsvc.tongues import later, t

_SAID: Final = (
    (
        "the question asks about nothing",
        later("nothing is asked about yet"),
        later("choose what goes into the opening, a trailer or a spare"),
    ),
    (
        "no {subject} is stored under `{name}`",
        later("there is no {subject} “{name}” in the store"),
        later("look for it by a word of its name"),
    ),
    (
        "mounting `{key}` belongs to {subject} `{linked}`, not to `{key2}`",
        later("the mounting is of another {subject}"),
        later("let it go, or choose the one it is of"),
    ),
    (
        "{count} stored vehicles go by that name",
        later("{count} vehicles go by that name"),
        later("choose which one it is"),
    ),
    ("{what} is not a quantity", later("“{what}” is no figure"), ""),
    ("{what} is not one of {listed}", later("“{what}” is not one of the list"), later("choose one of the list")),
)
"""What is told to a program, in whatever language is spoken, and what is told to people in its stead.

Where nothing stands for what to do, that is told as to a program.
"""
_DOTTED: Final = (*ONE_EACH, "adapter", "also", LEAST.rstrip("."))
"""What the names of fields with a dot in them begin with; no other is on a page."""
_QUOTED: Final = re.compile(r"`([^`]*)`")


def plainly(one: Problem) -> Problem:
    """A problem in words without the interface's names; what was typed stands in quotes."""
    for told, message, help in _SAID:
        if found := _pattern(t(told)).fullmatch(one.message):
            named = {name: text.strip("`") for name, text in found.groupdict().items()}
            near, otherwise, _ = one.help.partition(t("? If not, "))
            meant = _QUOTED.sub("“\\1”", near) + otherwise if otherwise else ""
            return replace(one, message=t(message, **named), help=meant + t(help) if help else _help(one))
    return replace(one, message=_QUOTED.sub("“\\1”", t(one.message)), help=_help(one))


def _help(one: Problem) -> str:
    """What to do about a problem, with what is written in quotes."""
    return _QUOTED.sub("“\\1”", t(one.help).rstrip("?."))


@lru_cache(maxsize=100)
def _pattern(told: str) -> re.Pattern[str]:
    """By what a problem's text is known, in the words of the language that is spoken; its values are groups."""
    parts = re.split(r"\{(\w+)\}", told)
    known = (f"(?P<{part}>.+?)" if number % 2 else re.escape(part) for number, part in enumerate(parts))
    return re.compile("".join(known), re.IGNORECASE)


def field_id(one: Problem) -> str:
    """The id of the field that a problem is about; empty where it is of none."""
    name = field_of(one).strip("/")
    of, dot, _ = name.partition(".")
    if not name or "/" in name or (dot and of not in _DOTTED):
        return ""
    id = name.replace(".", "-").replace("_", "-")
    return f"find-{id}" if name in (*ONE_EACH, *PLACES, *ALSO) else id
