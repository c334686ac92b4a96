"""What an observation asks of earlier ones: to be retracted, corrected or settled."""

from collections.abc import Mapping
from typing import Final

from fitsvc.document import Json
from fitsvc.language.problems import Problem
from fitsvc.store.observations import Provenance
from fitsvc.store.taking_back import NO_REQUEST, Act, Request
from fitsvc.subjects import RIG
from fitsvc.tongues import t

ACTS: Final[tuple[Act, ...]] = ("retracts", "corrects", "settles")
"""The members of an observation of which it has one at the most: an observation's id, and of what is settled true."""
_LISTED: Final = "`retracts`, `corrects` or `settles`"


def unfit_for_rig(subject: Json, told: Provenance, pointer: str) -> list[Problem]:
    """What is wrong with telling something of a saved rig so: over what its records say no guess is told."""
    if subject != RIG or told.kind != "assumed":
        return []
    help = t("tell what was seen of this one, or what its maker says; a guess is typed into a question")
    return [Problem(t("nothing is assumed of one rig over what its records say"), help, pointer=pointer, meaning=True)]


def read_request(document: Mapping[str, Json]) -> tuple[Request, list[Problem]]:
    """Read what an observation does to earlier ones; what was told is checked by its shape alone."""
    named = [name for name in ACTS if document.get(name) not in (None, False)]
    reason = document.get("reason") or ""
    if len(named) > 1:
        help = t("one of {names} at a time", names=_LISTED)
        return NO_REQUEST, [Problem(t("an observation does one thing to earlier ones"), help, pointer=f"/{named[1]}")]
    problems = []
    if not isinstance(reason, str):
        problems.append(Problem(t("`reason` is not a text"), t("write why"), pointer="/reason"))
    for name in named:
        value = document[name]
        if name == "settles" and value is not True:
            problems.append(Problem(t("`settles` is not true"), t("write true, or leave it out"), pointer="/settles"))
        elif name != "settles" and not isinstance(value, str):
            problems.append(
                Problem(t("`{name}` is not a text", name=name), t("write the observation's id"), pointer=f"/{name}")
            )
    if named and not document.get("reason"):
        help = t("say why, for whoever looks later")
        problems.append(Problem(t("the `reason` is missing"), help, pointer="/reason", meaning=True))
    if problems:
        return NO_REQUEST, problems
    if not named:
        return Request(reason=reason), []
    act = named[0]
    target = document[act] if act != "settles" else ""
    return Request(act, target, reason), []
