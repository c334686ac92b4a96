"""A plan as it goes over the wire: typed structs, encoded as JSON in the order written here."""

from typing import Literal

import msgspec

from fitsvc.answers.answer import AllowanceShown, Disputed, RestsOn, RulebookName
from fitsvc.document import Document
from fitsvc.rulebook.outcomes import Outcome

Role = Literal["receiver", "adapter", "accessory", "ball", "pin"]


class PlanPart(msgspec.Struct, omit_defaults=True, kw_only=True):
    """One part of a set; `others` are SKUs that do as well in its place, `there` says it is on the vehicle already."""

    role: Role
    label: str
    id: str = ""
    sku: str = ""
    there: bool = False
    others: list[str] = []


class WishServed(msgspec.Struct, omit_defaults=True, kw_only=True):
    """How one wish is served: by which parts, and the question that proves it with what it was answered.

    `allowance` is what a carrier may carry, of a wish that names no load; `assumed` and `disputed` what the answer
    rests on that nobody measured, or that does not agree; `rests_on`, where it is asked for, all that it rests on.
    """

    wish: int
    name: str
    parts: list[str]
    outcome: Outcome
    summary: str
    needs: list[dict[str, str]]
    question: Document
    allowance: AllowanceShown | None = None
    assumed: list[str] = []
    disputed: list[Disputed] = []
    rests_on: list[RestsOn] = []


class PinHeld(msgspec.Struct):
    """The question that proves a pin to hold where a wish needs one, with what it was answered."""

    wish: int
    sku: str
    outcome: Outcome
    summary: str
    question: Document


class AtOnce(msgspec.Struct):
    """The question that proves all wishes to hold at the same time, with what it was answered."""

    outcome: Outcome
    summary: str
    question: Document


class PlanSet(msgspec.Struct, omit_defaults=True, kw_only=True):
    """One set of parts that serves every wish; `count` leaves out what is there, `open` is how much to mind.

    `together` is there where all wishes hold at the same time.
    """

    outcome: Outcome
    count: int
    open: int
    parts: list[PlanPart]
    wishes: list[WishServed]
    pins: list[PinHeld]
    together: AtOnce | None = None


class PlanMiss(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A set of parts that comes near and does not serve a wish, why not, and what of the rig is `disputed`."""

    wish: int
    name: str
    outcome: Outcome
    because: str
    parts: list[str] = []
    question: Document = {}
    disputed: list[Disputed] = []


class Plan(msgspec.Struct, kw_only=True):
    """What serves all wishes: the best set, the next best, what nearly would; `fewest` whatever number is allowed.

    `untried` counts what was left out, there being too much to try: with any, `fewest` is of what was tried.
    """

    summary: str
    best: PlanSet | None
    runners_up: list[PlanSet]
    fewest: int | None
    misses: list[PlanMiss]
    rulebook: RulebookName
    untried: int = 0


encode = msgspec.json.Encoder().encode
"""Encode a plan as JSON bytes; the same plan gives the same bytes."""
