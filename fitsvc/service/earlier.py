"""What an earlier answer was by: the rulebook that it names, asked once more beside the one that answers now.

Whoever holds an old answer, as a link, a printed sheet or a row, so sees whether it stands, and what stands instead.
"""

from datetime import datetime
from typing import Final

import msgspec

from fitsvc.answers.records import Records
from fitsvc.document import Json
from fitsvc.language.display import System
from fitsvc.language.problems import ProblemsFound
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.service.context import Service
from fitsvc.service.published import digits_are_of
from fitsvc.service.queries import Parameter
from fitsvc.tongues import later, t

_PREFIX: Final = "sha256:"
DIGITS: Final = 8
"""So many of a digest's digits are put into a link: of the rulebooks that one store keeps no two have them alike."""
RULEBOOK: Final = Parameter(
    "rulebook",
    "The digest of the rulebook that an earlier answer is by, or its first eight digits or more: what that says to the "
    "question is told under `then`, where it is another than answers now; else `then` is null.",
    {"type": "string", "pattern": f"^(?:{_PREFIX})?[0-9a-f]{{8,64}}$", "maxLength": 71},
    example="d8ac522205f8b1d1",
    form=later("a digest as answers tell it, or its first eight digits or more"),
)


class AnsweredThen(msgspec.Struct, frozen=True, kw_only=True):
    """What a question comes to by the rulebook that an earlier answer was by, on what is stored now.

    `outcome` is null where that rulebook is not kept here, or cannot read the question; `summary` then says so.
    `published_at` is when it was published, null of one that was not.
    """

    rulebook: str
    published_at: datetime | None
    outcome: Outcome | None
    summary: str

    @property
    def of(self) -> str:
        """The rulebook as people are told of it: by its day, or else by its digits."""
        return self.published_at.date().isoformat() if self.published_at else digits_of(self.rulebook)


def digits_of(digest: str) -> str:
    """The digits of a digest that a link has."""
    return digest.removeprefix(_PREFIX)[:DIGITS]


def is_digest(text: str) -> bool:
    """Whether a text is a digest, or begins one."""
    digits = text.removeprefix(_PREFIX)
    return 8 <= len(digits) <= 64 and set(digits) <= set("0123456789abcdef")


def answered_then(
    service: Service, digest: str, document: Json, records: Records, system: System
) -> AnsweredThen | None:
    """What a question comes to by a rulebook that an earlier answer names; None where that is what answers now."""
    digits = digest.removeprefix(_PREFIX)
    if digits_are_of(digits, service.answerer.rulebook.digest):
        return None
    found = service.published.earlier(digits) if service.published else None
    if found is None:
        told = t("That rulebook is not kept here.")
        return AnsweredThen(rulebook=_PREFIX + digits, published_at=None, outcome=None, summary=told)
    try:
        answer = found.answerer.spoken.answer(document, records, system, remedies=False)
    except ProblemsFound:
        told = t("That rulebook cannot read the question as it is asked now.")
        return AnsweredThen(rulebook=found.digest, published_at=found.published_at, outcome=None, summary=told)
    return AnsweredThen(
        rulebook=found.digest, published_at=found.published_at, outcome=answer.outcome, summary=answer.summary
    )
