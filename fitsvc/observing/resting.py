"""What an answer rests on: each fact of its findings, how that is known, by whom and since when."""

from collections.abc import Iterable, Mapping
from typing import Literal

import msgspec
from sqlmodel import Session, col, select

from fitsvc.answers.answer import Finding
from fitsvc.answers.question import Question
from fitsvc.document import Json
from fitsvc.store.tables import Observation


class RestsOn(msgspec.Struct, omit_defaults=True, kw_only=True):
    """A fact that an answer rests on, as it is told there: how it is known, of which record, by whom and seen when.

    Without a record it was told with the question. `observation` is the statement it comes from, or the last of those
    it follows from; `source` the feed that said it. `state` is there where it is in doubt.
    """

    fact: str
    told: str
    record: str = ""
    kind: str = ""
    by: str = ""
    at: str = ""
    source: str = ""
    observation: str = ""
    state: Literal["", "doubtful", "disputed", "stale"] = ""


def rests_on(session: Session, question: Question, findings: Iterable[Finding]) -> list[RestsOn]:
    """The facts that the findings of a question's answer rest on, in the order of these."""
    told: dict[str, str] = {}
    for finding in findings:
        told |= {name: text for name, text in finding.facts.items() if name not in told}
    how = _how(question)
    keys = {one["observation"] for name, (_, one) in how.items() if name in told and "observation" in one}
    said = {one.id: one for one in session.exec(select(Observation).where(col(Observation.id).in_(keys)))}
    found = []
    for name, text in told.items():
        if name in how:
            record, one = how[name]
            found.append(_of_record(name, text, record, one, said.get(one.get("observation", ""))))
        elif name in question.told_here:
            found.append(RestsOn(fact=name, told=text))
    return found


def _how(question: Question) -> dict[str, tuple[str, Mapping[str, Json]]]:
    """By whole names the facts that records tell of a question: of which record, and how each is known."""
    found: dict[str, tuple[str, Mapping[str, Json]]] = {}
    for stored in question.taken:
        for short, how in stored.provenance.items():
            name = short if "." in short else f"{stored.subject}.{short}"
            if short in stored.facts and (name == short or name not in question.told_here):
                found.setdefault(name, (stored.key, how))
    return found


def _of_record(name: str, told: str, record: str, how: Mapping[str, Json], said: Observation | None) -> RestsOn:
    found = RestsOn(fact=name, told=told, record=record, kind=how.get("kind", ""), state=how.get("state", ""))
    if said is not None:
        found.by, found.at, found.source, found.observation = said.by, said.at.isoformat(), said.source, said.id
    return found
