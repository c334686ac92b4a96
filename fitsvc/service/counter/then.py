"""A link to an answer says by which rulebook it was made, and its page what that says beside today's answer."""

from typing import Final

from fitsvc.answers.answer import Answer
from fitsvc.answers.records import Records
from fitsvc.language.display import System
from fitsvc.service.context import Service
from fitsvc.service.counter.asking import Asked
from fitsvc.service.earlier import answered_then, is_digest
from fitsvc.tongues import t

BY: Final = "by"
"""The field of a link that has the first digits of the rulebook's digest."""


def rulebook_of(fields: dict[str, str]) -> dict[str, str]:
    """Take the rulebook's field out of a link's, and give it back where it is one."""
    by = fields.pop(BY, "")
    return {BY: by} if is_digest(by) else {}


def then_told(service: Service, by: dict[str, str], asked: Asked, records: Records, system: System, now: Answer) -> str:
    """What is told of the rulebook that a link was made by; empty where that is what answers now, or none is named."""
    then = answered_then(service, by[BY], asked.document, records, system) if by else None
    if then is None:
        return ""
    if then.outcome is None:
        return t(
            "This link was made by other rules ({rules}). {why} Go by today's answer.", rules=then.of, why=then.summary
        )
    if (then.outcome, then.summary) == (now.outcome, now.summary):
        return t("This link was made by the rules of {rules}, which say the same.", rules=then.of)
    return t(
        "This link was made by the rules of {rules}, which say: {said} Go by today's answer.",
        rules=then.of,
        said=then.summary,
    )
