"""A record's sheet as its page tells it: each fact with where it comes from in words, disputes, what is stale."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fitsvc.document import Json
from fitsvc.fact_values import as_written
from fitsvc.observing.sheet import Sheet, SheetFact, SheetStatement, SheetTry
from fitsvc.rulebook.rules import Rulebook, TrialState
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.service.counter.fields import sentence
from fitsvc.store.observations import adapters_of
from fitsvc.tongues import as_said, dated, later, t

KINDS: Final[Mapping[str, str]] = {
    "measured": later("Measured"),
    "read": later("Read off the part"),
    "tried": later("Tried"),
    "published": later("Told by the maker"),
    "assumed": later("Assumed"),
}
"""How a fact is known, in words that a name follows."""
RESULTS: Final[Mapping[str, str]] = {
    "clear": later("nothing touched"),
    "rubbed": later("it rubbed"),
    "touched": later("it touched, and did not go"),
}
"""What can come of trying an item, in words."""
_STATES: Final[Mapping[str, str]] = {
    "": "",
    "doubtful": later("readings barely agree: measure again"),
    "disputed": later("disputed: measure again, and settle it"),
    "stale": later("measured before what it leans on changed: measure again"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementView:
    """One statement: what was said, how it is known and by whom, on what day, with what else; `why` it counts no more.

    `counts` says that what is known follows from it.
    """

    said: str
    how: str
    day: str
    beside: str
    photo: str
    observation: str
    counts: bool
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """One fact: the figure, how it stands, the statements that count, and the rest of what was ever said."""

    fact: str
    title: str
    value: str
    state: str
    trouble: str
    from_: Sequence[StatementView]
    others: Sequence[StatementView]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """A record's sheet: what it is of, its rows, what was tried, and what nobody has told, the easiest first."""

    subject: str
    title: str
    record: str
    label: str
    rows: Sequence[FactRow]
    tries: Sequence[tuple[str, StatementView]]
    missing: Sequence[Fact]

    @property
    def known(self) -> int:
        """How many facts are known."""
        return sum(bool(row.value) for row in self.rows)

    @property
    def troubled(self) -> Sequence[FactRow]:
        """The rows that somebody has to look at again."""
        return [row for row in self.rows if row.state]


def see_sheet(found: Sheet, rulebook: Rulebook, record: str) -> SheetView:
    """Make the view of a sheet; `record` is what the record is kept as."""
    vocabulary, of_rig = rulebook.vocabulary, found.subject not in rulebook.vocabulary.subjects
    facts = vocabulary.facts if of_rig else vocabulary.of(found.subject)
    return SheetView(
        subject=record,
        title=t("Saved rig") if of_rig else vocabulary.subjects[found.subject].title,
        record=found.record,
        label=found.label or found.record,
        rows=[_row(one, vocabulary, facts[one.fact]) for one in found.facts],
        tries=[(sentence(told_try(one.evidence, rulebook.trials)), _tried(one)) for one in found.tries],
        missing=[facts[name] for name in found.unknown],
    )


def day(at: str | datetime) -> str:
    """An instant as people write a day: `17 Apr 2026`."""
    when = datetime.fromisoformat(at) if isinstance(at, str) else at
    return dated(when.date(), "d MMM y")


def told_try(evidence: Mapping[str, Json], trials: Mapping[str, TrialState]) -> str:
    """What was tried and came out, in words."""
    if "tyre" in evidence:
        went = t("went up") if evidence.get("stowed") else t("did not go up")
        rubbed = t(", and rubbed") if evidence.get("rubbed") else ""
        return t("spare {tyre} {went}{rubbed}", tyre=evidence["tyre"], went=went, rubbed=rubbed)
    if "sku" not in evidence:
        return ""
    state = trials[evidence["state"]].title if evidence.get("state") in trials else str(evidence.get("state", ""))
    gap = t(", {gap} left", gap=as_written(evidence["gap"])) if evidence.get("gap") else ""
    through = ", ".join(map(str, adapters_of(evidence)))
    state += t(", through {adapter}", adapter=through) if through else ""
    return f"{evidence['sku']}, {state}: {t(RESULTS.get(evidence.get('result', ''), ''))}{gap}"


def _row(one: SheetFact, vocabulary: Vocabulary, fact: Fact) -> FactRow:
    lines = [(_line(said, vocabulary, fact), said.counts) for said in one.statements]
    counting = [line for line, counts in lines if counts]
    return FactRow(
        fact=fact.name,
        title=sentence(as_said(fact.label)),
        value=in_words(one.value, vocabulary, fact),
        state=one.state,
        trouble=t(_STATES[one.state]),
        from_=counting,
        others=[line for line, counts in lines if not counts],
    )


def in_words(value: str, vocabulary: Vocabulary, fact: Fact) -> str:
    """A value as it is written, or the words for the member of a list that it is."""
    words = vocabulary.words.get(fact.kind, {})
    return t(" or ").join(t(words.get(one, one)) for one in value.split(" or "))


def _line(said: SheetStatement, vocabulary: Vocabulary, fact: Fact) -> StatementView:
    beside = ", ".join(filter(None, (said.tool, said.condition, said.note)))
    return StatementView(
        said=in_words(said.said, vocabulary, fact),
        how=_how(said.kind, said.by, said.source),
        day=day(said.at),
        beside=beside,
        photo=said.photo,
        observation=said.observation,
        counts=said.counts,
        why=said.why,
    )


def _tried(one: SheetTry) -> StatementView:
    return StatementView(
        said="",
        how=_how("tried", one.by),
        day=day(one.at),
        beside=one.note,
        photo="",
        observation=one.observation,
        counts=not one.taken_back,
        why=t("taken back") if one.taken_back else "",
    )


def _how(kind: str, by: str, source: str = "") -> str:
    told = t(KINDS.get(kind, kind))
    told = t("{how} by {by}", how=told, by=by) if by and kind != "published" else told
    return t("{how}, according to {source}", how=told, source=source) if source else told
