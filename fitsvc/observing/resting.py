"""What an answer, or a plan, rests on: each fact of its findings, how that is known, by whom and since when."""

from collections.abc import Iterable, Iterator, Mapping

from sqlmodel import Session, col, select

from fitsvc.answers.answer import Finding, RestsOn, ToldBy
from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import Records
from fitsvc.document import Json
from fitsvc.fact_values import as_written
from fitsvc.language.display import System
from fitsvc.planning.plan import Plan
from fitsvc.store.tables import Observation


def rests_on(session: Session, question: Question, findings: Iterable[Finding]) -> list[RestsOn]:
    """The facts that the findings of a question's answer rest on, in the order of these."""
    told: dict[str, str] = {}
    for finding in findings:
        told |= {name: text for name, text in finding.facts.items() if name not in told}
    how = _how(question)
    keys = {key for name, (_, one) in how.items() if name in told for key in _observations(one)}
    said = {one.id: one for one in session.exec(select(Observation).where(col(Observation.id).in_(keys)))}
    found = []
    for name, text in told.items():
        if name in how:
            record, one = how[name]
            found.append(_of_record(name, text, record, one, said))
        elif name in question.told_here:
            found.append(RestsOn(fact=name, told=text))
    return found


def tell_what_rests(session: Session, answerer: Answerer, plan: Plan, records: Records, system: System) -> None:
    """Write beside each wish of a plan what the answer that proves it rests on."""
    for one in (*((plan.best,) if plan.best else ()), *plan.runners_up):
        for served in one.wishes:
            answer = answerer.answer(served.question, records, system, most=0, remedies=False)
            asked = read_question(served.question, answerer.reader, records)
            served.rests_on = rests_on(session, asked, answer.findings)


def _how(question: Question) -> dict[str, tuple[str, Mapping[str, Json]]]:
    """By whole names the facts that records tell of a question: of which record, and how each is known."""
    found: dict[str, tuple[str, Mapping[str, Json]]] = {}
    for stored in question.taken:
        for short, how in stored.provenance.items():
            name = short if "." in short else f"{stored.subject}.{short}"
            if short in stored.facts and (name == short or name not in question.told_here):
                found.setdefault(name, (stored.key, how))
    return found


def _observations(how: Mapping[str, Json]) -> Iterator[str]:
    """The observations that a fact follows from, as its record keeps them."""
    for one in (how, *how.get("said", ())):
        if one.get("observation"):
            yield one["observation"]


def _of_record(
    name: str, told: str, record: str, how: Mapping[str, Json], observations: Mapping[str, Observation]
) -> RestsOn:
    found = RestsOn(fact=name, told=told, record=record, kind=how.get("kind", ""), state=how.get("state", ""))
    said = observations.get(how.get("observation", ""))
    if said is not None:
        found.by, found.at, found.source, found.observation = said.by, said.at.isoformat(), said.source, said.id
    found.said = [_told_by(one, observations.get(one["observation"])) for one in how.get("said", ())]
    return found


def _told_by(one: Mapping[str, Json], observation: Observation | None) -> ToldBy:
    """One statement of a fact in doubt; what a record says that a rig uses has no observation of the rig's."""
    found = ToldBy(said=as_written(one["value"]), kind=one["kind"], by=one["by"])
    if observation is not None:
        found.at, found.source, found.observation = observation.at.isoformat(), observation.source, observation.id
    return found
