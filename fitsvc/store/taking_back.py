"""What a new statement takes back of earlier ones: by a null, or because it retracts, corrects or settles."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from fitsvc.document import Json
from fitsvc.store.errors import FieldProblem, InvalidValue
from fitsvc.store.folding import standing, taken_back
from fitsvc.store.observations import Entered, Provenance, TakingBack
from fitsvc.store.spans import agree
from fitsvc.store.statements import ALL, RANK, Law, Said, Trial
from fitsvc.store.tables import NOTE
from fitsvc.store.validation import Checks
from fitsvc.tongues import t
from fitsvc.tried import ThingTried

Act = Literal["retracts", "corrects", "settles"]
"""What may be asked of an earlier statement."""


@dataclass(frozen=True, slots=True)
class Request:
    """What somebody asks of earlier statements, and why.

    An observation is retracted as a whole, or corrected in the facts that are told anew. What is settled is every
    statement of the facts told that cannot hold beside them, and every trial of the same thing in the same way of which
    something else came.
    """

    act: Act | Literal[""] = ""
    observation: str = ""
    reason: str = ""

    def check(self, checks: Checks) -> None:
        """Note what of this cannot be."""
        checks.text("/reason", self.reason, NOTE, required=bool(self.act))
        if self.reason and not self.act:
            wrong = t("is for what is retracted, corrected or settled: say which, as `settles`, or write a `note`")
            checks.refuse("/reason", wrong)


NO_REQUEST: Final = Request()


def taking_of(
    earlier: Sequence[Entered],
    law: Law,
    facts: Mapping[str, Json],
    evidence: Mapping[str, Json] | None,
    told: Provenance,
    request: Request,
    ground: Mapping[str, Json],
) -> tuple[TakingBack, Provenance]:
    """Return what a new statement takes back, and how it is told: a correction was seen when the first was."""
    if not request.act and None not in facts.values():
        return TakingBack(), told
    said = standing(earlier, law, ground, and_settled=True)
    of = _by_nulls(said, facts, told)
    if request.act in ("retracts", "corrects"):
        target = _target(earlier, said, request)
        names = [ALL] if request.act == "retracts" else [*facts, *_tried(law, evidence, target)]
        of |= {name: [*of.get(name, ()), target.id] for name in dict.fromkeys(names)}
        told = replace(told, at=told.at or target.at) if request.act == "corrects" else told
    elif request.act == "settles":
        for name, value in facts.items():
            of[name] = [one.observation for one in said.get(name, ()) if _against(law, one, value, told.kind)]
        for one in _tried_otherwise(earlier, law, evidence):
            for name in law.teaches(one.evidence or {}):
                of.setdefault(name, []).append(one.id)
    of = {name: list(dict.fromkeys(ids)) for name, ids in of.items() if ids}
    return TakingBack(request.act or ("retracts" if of else ""), of or None, request.reason), told


def _by_nulls(said: Mapping[str, Sequence[Said]], facts: Mapping[str, Json], told: Provenance) -> dict[str, list[str]]:
    """What nulls take back: what is no better known than they are, and of a feed only its own."""
    return {
        name: [one.observation for one in _within(said.get(name, ()), told)]
        for name, value in facts.items()
        if value is None
    }


def _within(said: Iterable[Said], told: Provenance) -> Iterator[Said]:
    for one in said:
        if RANK[one.kind] <= RANK[told.kind] and told.source in ("", one.source):
            yield one


def _target(earlier: Sequence[Entered], said: Mapping[str, Sequence[Said]], request: Request) -> Entered:
    """The observation that is retracted or corrected: one of this record, of which something stands."""
    found = next((one for one in earlier if one.id == request.observation), None)
    pointer = f"/{request.act}"
    if found is None:
        message = t("is no observation of this record; name one of its own")
        raise InvalidValue([FieldProblem(pointer, message, "missing record")])
    stands = any(one.observation == found.id for of in said.values() for one in of) or (
        found.evidence and (found.id, ALL) not in taken_back(earlier)
    )
    if not stands and not found.takes_back:
        raise InvalidValue([FieldProblem(pointer, t("was taken back before; nothing of it stands"), "missing record")])
    return found


def _tried(law: Law, evidence: Mapping[str, Json] | None, target: Entered) -> list[str]:
    """What was tried in place of the corrected observation's own trial, and what that taught."""
    return [] if evidence is None else [*law.teaches(evidence), *law.teaches(target.evidence or {})]


def _tried_otherwise(earlier: Sequence[Entered], law: Law, evidence: Mapping[str, Json] | None) -> Iterator[Entered]:
    """The trials of the same thing in the same way of which something else came: it touched, and now it did not."""
    now = law.tried(evidence) if evidence is not None else None
    for one in earlier if now is not None else ():
        then = law.tried(one.evidence) if one.evidence else None
        if now is not None and then is not None and _came_otherwise(now, then):
            yield one


def _came_otherwise(now: Trial | ThingTried, then: Trial | ThingTried) -> bool:
    if isinstance(now, ThingTried) and isinstance(then, ThingTried):
        return (then.sku, then.how, then.through) == (now.sku, now.how, now.through) and then.result != now.result
    return isinstance(now, Trial) and isinstance(then, Trial) and then.what == now.what and then.fact != now.fact


def _against(law: Law, one: Said, value: Json, kind: str) -> bool:
    span = law.fact(one.fact).read(value, kind)[1]
    return span is None or one.span is None or not agree(span, one.span)
