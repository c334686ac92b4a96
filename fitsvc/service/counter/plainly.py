"""Problems in a clerk's words: what is told to a program, as somebody at a counter says it, and at which field."""

import re
from dataclasses import replace
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.service.counter.links import ALSO, ONE_EACH, PLACES, field_of
from fitsvc.tongues import later, t

_SAID: Final = (
    (
        "asks about nothing",
        later("nothing is asked about yet"),
        later("choose what goes into the opening, a trailer or a spare"),
    ),
    (
        r"no (\w+) is stored under `([^`]*)`",
        later("there is no \\1 “\\2” in the store"),
        later("look for it by a word of its name"),
    ),
    (
        r"mounting `([^`]*)` belongs to (\w+)",
        later("the mounting is of another \\2"),
        later("let it go, or choose the one it is of"),
    ),
    (r"(\d+) stored vehicles go by that name", later("\\1 vehicles go by that name"), later("choose which one it is")),
    (r"`([^`]*)` is not a quantity", later("“\\1” is no figure"), later("write 3, 2-1/2 in or 300 lb")),
    (r"`([^`]*)` is not one of", later("“\\1” is not one of the list"), later("choose one of the list")),
)
"""What is told to a program, and what is told to people in its stead."""
_QUOTED: Final = re.compile(r"`([^`]*)`")


def plainly(one: Problem) -> Problem:
    """A problem in words without the interface's names; what was typed stands in quotes."""
    for pattern, message, help in _SAID:
        if found := re.search(pattern, one.message, re.IGNORECASE):
            near, _, _ = one.help.partition("? If not")
            meant = _QUOTED.sub("“\\1”", near) + t("? If not, ") if near != one.help else ""
            return replace(one, message=found.expand(t(message)), help=meant + t(help))
    help = t(one.help).rstrip("?.")
    return replace(one, message=_QUOTED.sub("“\\1”", t(one.message)), help=_QUOTED.sub("“\\1”", help))


def field_id(one: Problem) -> str:
    """The id of the field that a problem is about; empty where it is of none."""
    name = field_of(one).strip("/")
    if not name or "/" in name:
        return ""
    id = name.replace(".", "-").replace("_", "-")
    return f"find-{id}" if name in (*ONE_EACH, *PLACES, *ALSO) else id
