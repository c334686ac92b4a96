"""What was tried, and what cannot hold beside a new statement.

A spare that stowed raises the largest diameter known to stow, one that did not lowers the smallest known not to. What
disagrees is never lost: it stands in the log, the fact is disputed, and the observer is told of every statement
that cannot hold beside what was said.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from fitsvc.answers.parts import called
from fitsvc.document import Document, Json
from fitsvc.fact_values import as_written
from fitsvc.facts import FactReader
from fitsvc.language.intervals import TOLERANCE
from fitsvc.language.problems import Problem
from fitsvc.language.tyres import TyreError, designation, parse_tyre
from fitsvc.observing.trials import Trials
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.store.folding import present
from fitsvc.store.spans import apart
from fitsvc.store.statements import Said, Trial
from fitsvc.tongues import t

FITS, BLOCKED = "spare_fits_up_to", "spare_blocked_from"
OTHER: Final = {FITS: BLOCKED, BLOCKED: FITS}
EVIDENCE: Final = ("tyre", "stowed", "rubbed")


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A fact with statements that cannot all hold, the newest last."""

    fact: str
    because: str
    said: tuple[Said, ...] = field(default=())


def taught(evidence: Mapping[str, Json]) -> Document:
    """What was tried, as a statement: the diameter that is sure of a spare that stowed, or did not.

    Nothing of one that is told with more than is known here, as a newer version may have taken it.
    """
    tyre = evidence.get("tyre")
    if not isinstance(tyre, str) or not evidence.keys() <= set(EVIDENCE):
        return {}
    try:
        low, high = parse_tyre(tyre).diameter
    except TyreError:
        return {}
    return {FITS: _millimetres(low)} if evidence.get("stowed") else {BLOCKED: _millimetres(high)}


def tried(evidence: Mapping[str, Json]) -> Trial | None:
    """What was tried, as it answers for its own designation, however wide a band that is: it stows, or does not."""
    tyre = evidence.get("tyre")
    if not isinstance(tyre, str) or not taught(evidence):
        return None
    low, high = parse_tyre(tyre).diameter
    rubbed = evidence.get("rubbed") is True
    if evidence.get("stowed"):
        return Trial(FITS, designation(tyre), _millimetres(high), rubbed)
    return Trial(BLOCKED, designation(tyre), _millimetres(low), rubbed)


def read_evidence(reader: FactReader, evidence: Json, subject: Json, pointer: str) -> list[Problem]:
    """Return what is wrong with evidence: an accessory that was tried, or a spare and whether it stowed."""
    if isinstance(evidence, dict) and "sku" in evidence:
        problems = list(Trials(reader).problems(evidence, pointer))
        if subject != "mounting":
            help = t("what goes into a receiver on a vehicle is tried there: name their mounting")
            problems.append(
                Problem(
                    t("nothing is tried on a {subject}", subject=called(subject)), help, pointer=pointer, meaning=True
                )
            )
        return problems
    if not isinstance(evidence, dict):
        help = t('write `{"tyre": "265/70R17", "stowed": true}`')
        return [Problem(t("`evidence` is not an object"), help, pointer=pointer)]
    problems = [
        Problem(
            t("`{name}` has no place in evidence", name=name),
            t("it has `tyre` and `stowed`, and may have `rubbed`"),
            pointer=f"{pointer}/{name}",
        )
        for name in evidence
        if name not in EVIDENCE
    ]
    if subject != "mounting":
        help = t("a spare stows, or does not, with a receiver on a vehicle: name their mounting")
        problems.append(
            Problem(
                t("a {subject} has no evidence of a spare", subject=called(subject)),
                help,
                pointer=pointer,
                meaning=True,
            )
        )
    if not isinstance(evidence.get("stowed"), bool):
        help = t("write true where the spare went in, rubbing or not, and false where it did not")
        problems.append(Problem(t("`stowed` is neither true nor false"), help, pointer=f"{pointer}/stowed"))
    if not isinstance(evidence.get("rubbed", False), bool):
        help = t("write true where the spare went in and rubbed")
        problems.append(Problem(t("`rubbed` is neither true nor false"), help, pointer=f"{pointer}/rubbed"))
    tyre = evidence.get("tyre")
    if not isinstance(tyre, str):
        help = t("write it as on the sidewall, such as `245/75R16`")
        return [*problems, Problem(t("`tyre` is not a tyre designation"), help, pointer=f"{pointer}/tyre")]
    try:
        parse_tyre(tyre)
    except TyreError as error:
        problems.append(Problem(error.message, error.help, pointer=f"{pointer}/tyre"))
    return problems


def contradictions(
    known: Mapping[str, Fact], stands: Mapping[str, Sequence[Said]], observation: str
) -> list[Contradiction]:
    """What is said at present of a record and cannot hold beside one of its observations; guesses contradict nothing.

    `known` are the facts of its vocabulary, by their short names.
    """
    about = {name for name, of in stands.items() if any(one.observation == observation for one in of)}
    about |= {OTHER[name] for name in about & OTHER.keys()}
    against, told = dict[str, Sequence[Said]](), list[Said]()
    for name in (one for one in stands if one in about and one in known):
        sure = [one for one in stands[name] if one.kind != "assumed"]
        new = [one for one in sure if one.observation == observation]
        others = [one for one in sure if one.observation != observation]
        # Who holds to what now is asked for where something is against something, which it seldom is.
        if name in OTHER or any(_apart(known[name], one, other) for one in new for other in others):
            against[name] = _at_present(known, others)
            told += [one for one in _at_present(known, sure) if one.observation == observation]
    found = []
    for one in told:
        apart_from = [other for other in against.get(one.fact, ()) if _apart(known[one.fact], one, other)]
        if apart_from:
            because = t(
                "{the} cannot be {value} and {other}",
                the=known[one.fact].the,
                value=as_written(one.value),
                other=as_written(apart_from[-1].value),
            )
            found.append(Contradiction(one.fact, because, (*apart_from, one)))
    return found + _spare(against, told)


def left_standing(
    known: Mapping[str, Fact], stands: Mapping[str, Sequence[Said]], facts: Mapping[str, Json], kind: str
) -> list[Contradiction]:
    """What nulls of a kind did not take back, since it is better known, or what another source said."""
    found = []
    for name, value in facts.items():
        said = stands.get(name, ()) if value is None and name in known else ()
        if said:
            because = (
                f"{known[name].the} was {said[-1].kind} before, which a null told as `{kind}` does not take back: "
                "retract that observation"
            )
            found.append(Contradiction(name, because, tuple(said)))
    return found


def _at_present(known: Mapping[str, Fact], said: Sequence[Said]) -> Sequence[Said]:
    """What each person holds to now: of one who has said otherwise since, what was entered late is no contradiction."""
    return said if not said or known[said[0].fact].gathered else present(said)


def _millimetres(bound: float) -> str:
    return f"{bound:.3f}".rstrip("0").rstrip(".") + " mm"


def _apart(fact: Fact, one: Said, other: Said) -> bool:
    """Whether two statements of a fact have nothing in common; a raised or lowered bound of the spare has."""
    return not fact.gathered and one.span is not None and other.span is not None and apart(one.span, other.span)


def _spare(against: Mapping[str, Sequence[Said]], told: Iterable[Said]) -> list[Contradiction]:
    """A spare said to stow that is no smaller than one said not to, where either is told now."""
    new = {one.fact: one for one in told if one.fact in OTHER}
    for name, one in new.items():
        other = OTHER[name]
        before = [*against.get(other, ()), *([new[other]] if other in new else ())]
        crossed = [each for each in before if _crossed({name: one, other: each})]
        if crossed:
            value = {name: as_written(one.value), other: as_written(crossed[-1].value)}
            because = t(
                "a spare of {tyre} is known to stow, and one of {other} not to", tyre=value[FITS], other=value[BLOCKED]
            )
            return [Contradiction(name, because, (*crossed, one))]
    return []


def _crossed(said: Mapping[str, Said]) -> bool:
    """Whether what stows is surely no smaller than what does not."""
    fits, blocked = said[FITS].span, said[BLOCKED].span
    return isinstance(fits, tuple) and isinstance(blocked, tuple) and fits[0] >= blocked[1] - TOLERANCE
