"""The parts that a question may have, what they are called, and what one says before it is read."""

from collections.abc import Mapping
from typing import Final

from fitsvc.answers.records import NAMES
from fitsvc.document import Json
from fitsvc.subjects import BESIDE_RIG, OF_RIG, SUBJECTS
from fitsvc.tongues import later, t

OF_QUESTION: Final = ("rig", *BESIDE_RIG)
"""What a question may have."""
OF_A_RIG: Final = ("id", *OF_RIG, "adapters")
"""What its rig may have."""
TOGETHER: Final = "together"
"""The part of a question that names several things at once."""
PARTS: Final = {
    subject: (f"`{subject}`", (row.key, "facts") if row.key else ("facts",)) for subject, row in SUBJECTS.items()
}
"""What the part of a question for each subject is called, and may have."""
_CALLED: Final = {
    "vehicle": later("vehicle"),
    "receiver": later("receiver"),
    "mounting": later("mounting"),
    "accessory": later("accessory"),
    "adapter": later("adapter"),
    "ball": later("ball"),
    "wiring_adapter": later("wiring adapter"),
    "trailer": later("trailer"),
    "load": later("load"),
    "spare": later("spare"),
    "rig": later("rig"),
}


def called(subject: str) -> str:
    """What a subject is called in what people are told of a question."""
    return t(_CALLED.get(subject, subject))


def refers_to_records(document: Json) -> bool:
    """Whether a question names a stored record anywhere, so that reading it needs the store."""
    if not isinstance(document, dict):
        return False
    parts, rig = list(document.values()), document.get("rig")
    several = document.get(TOGETHER)
    if isinstance(several, list) and any(refers_to_records(thing) for thing in several):
        return True
    if isinstance(rig, dict):
        parts += rig.values()
        adapters = rig.get("adapters")
        parts += adapters if isinstance(adapters, list) else []
    return any(isinstance(part, dict) and ("id" in part or "sku" in part) for part in parts)


def names_vehicle(document: Json) -> bool:
    """Whether a question calls its vehicle by make or model alone, so that the store may know it."""
    rig = document.get("rig") if isinstance(document, dict) else None
    part = rig.get("vehicle") if isinstance(rig, dict) else None
    facts = part.get("facts") if isinstance(part, dict) and part.get("id") is None else None
    return isinstance(facts, dict) and any(isinstance(facts.get(name), str) for name in NAMES)


def names_fact(rig: Mapping[str, Json], name: str) -> bool:
    """Whether a rig as it is given says something of a fact, by its whole name."""
    subject, _, short = name.partition(".")
    part = rig.get(subject)
    return isinstance(part, dict) and isinstance(part.get("facts"), dict) and short in part["facts"]


def elsewhere(key: str, known: tuple[str, ...]) -> str:
    """Where a part belongs that stands in the wrong place."""
    if key in known:
        return ""
    if key in OF_A_RIG and "rig" in known:
        return t("write it as `rig.{key}`: what a rig has stands within it", key=key)
    return t("write it beside `rig`, not within it") if key in BESIDE_RIG and known == OF_A_RIG else ""


def may_have(known: tuple[str, ...]) -> str:
    """What may stand in a place, said where something else does."""
    return t("it may have ") + ", ".join(f"`{name}`" for name in known)
