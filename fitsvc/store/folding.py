"""What is known of a record, from all that was said of it: one law for every fact, pure and without order.

What was taken back does not count, and taking the taking back restores it. Of what is left a better kind outranks a
lesser one: seen (measured, read off the part, tried) before published before assumed. What one person says of a
fact later takes the place of what they said before, where the two cannot both hold; who publishes, a feed or else a
person, says one thing at a time. What then stands and agrees leaves what all of it allows. What cannot all hold is
disputed, and leaves everything that was said until a person settles it. Two readings that overlap by less than a third
of the narrower are doubtful, and leave all that either allows. What is only supposed counts where something known
cannot hold beside it, and puts that in dispute. What is known of a value is a `Span`: a range, or the
members it may be. The rulebook's part comes in as a `Law`, since the store knows no rules.
"""

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import groupby
from math import inf
from operator import attrgetter
from typing import Final, TypeGuard

from msgspec.structs import replace as replace_told

from fitsvc.document import Document, Json
from fitsvc.language.intervals import TOLERANCE
from fitsvc.store.spans import Span, State, agree, apart, joined, same
from fitsvc.store.statements import ALL, PLAIN, PUBLISHED, RANK, SEEN, FactLaw, Law, Said, Statement, Trial
from fitsvc.tried import CLEAR, RUBBED, TOUCHED, ThingTried

_OF_RECORD: Final = "its record"
_MOST_TOLD: Final = 20
"""Statements of one dispute, and things tried, that a record carries along; the log has them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFact:
    """What is known of one fact: `value` is None where nothing usable is left.

    `counts` are the statements it follows from, oldest first; `beside` those that stand and do not count, of which
    some may be `stale` beside fresh ones; `changed` is what a stale fact leans on and is not what it was, by whole
    names.
    """

    value: Json
    span: Span | None
    kind: str
    observation: str
    state: State = ""
    counts: tuple[Said, ...] = ()
    beside: tuple[Said, ...] = ()
    stale: tuple[Said, ...] = ()
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CurrentFacts:
    """What holds of a record, and for each fact how and from which observation it is known."""

    facts: Document = field(default_factory=dict)
    provenance: dict[str, Document] = field(default_factory=dict)


_NO_GROUND: Final[Mapping[str, Json]] = {}


def current_facts(
    observations: Iterable[Statement],
    law: Law = PLAIN,
    ground: Mapping[str, Json] = _NO_GROUND,
    stands: Mapping[str, Sequence[Said]] | None = None,
) -> CurrentFacts:
    """Return what follows from a record's observations, given in the order they were recorded.

    `ground` are the facts of other records that its own may lean on, by whole names, as they are now; `stands` is what
    `standing` gives of these observations, for who has it.
    """
    every = list(observations)
    known = _folded(standing(every, law, ground) if stands is None else stands, law, ground, every)
    facts = {name: one.value for name, one in known.items() if one.value is not None}
    told = {name: _provenance(one) for name, one in known.items() if name in facts or one.state}
    for key, tried in _tried(every, law):
        if isinstance(tried, ThingTried):
            told.setdefault(tried.fact, {"kind": "tried", "observation": key})
            told[tried.fact].setdefault("things", []).append(tried.document())
        elif tried.fact in told:
            told[tried.fact].setdefault("tried", {})[tried.what] = tried.value
            if tried.rubbed:
                told[tried.fact].setdefault("rubbed", []).append(tried.what)
    return CurrentFacts(facts, told)


def _tried(every: Sequence[Statement], law: Law) -> list[tuple[str, Trial | ThingTried]]:
    """What was tried and stands, each with its observation: the latest of it, and all that touched or rubbed."""
    told = _told_of_trials(every, law, taken_back(every))
    # What touched or rubbed must never be forgotten; there is one for each accessory and way to try it, by each person.
    touched = {
        (tried.sku, tried.how, tried.through, tried.by, tried.result): key
        for key, tried in told[:-_MOST_TOLD]
        if _counts(tried)
    }
    return [(key, tried) for key, tried in told[:-_MOST_TOLD] if key in touched.values()] + told[-_MOST_TOLD:]


def _told_of_trials(
    every: Sequence[Statement], law: Law, dead: AbstractSet[tuple[str, str]]
) -> list[tuple[str, Trial | ThingTried]]:
    """All that was tried and not taken back, each with its observation, and whether it is settled since."""
    found = [(one, law.tried(one.evidence)) for one in every if one.evidence]
    live = [(one, tried) for one, tried in found if tried and not {(one.id, ALL), (one.id, tried.fact)} & dead]
    went: dict[tuple[str, ...], datetime] = {}
    for one, tried in live:
        if isinstance(tried, ThingTried) and tried.result != TOUCHED:
            for worse in (TOUCHED,) if tried.result != CLEAR else (TOUCHED, RUBBED):
                key = (*_trial_of(one, tried), worse)
                went[key] = max(one.at, went.get(key, one.at))
    return [(one.id, _as_told(one, tried, went)) for one, tried in live]


def _as_told(one: Statement, tried: Trial | ThingTried, went: Mapping[tuple[str, ...], datetime]) -> Trial | ThingTried:
    if not isinstance(tried, ThingTried):
        return tried
    last = went.get((*_trial_of(one, tried), tried.result)) if _person(one) else None
    settled = last is not None and last > one.at
    return replace(tried, by=one.by, at=one.at.isoformat(), settled=settled)


def _trial_of(one: Statement, tried: ThingTried) -> tuple[str, ...]:
    return tried.sku, tried.how, tried.through, _person(one)


def _counts(tried: Trial | ThingTried) -> TypeGuard[ThingTried]:
    return isinstance(tried, ThingTried) and tried.counts


def first_told(row: Document, law: Law) -> CurrentFacts:
    """Return what follows from the columns of a record's first observation: what it says, as each fact counts."""
    kind, told = row["kind"], row["facts"]
    facts = {name: law.fact(name).read(value, kind)[0] if RANK[kind] == SEEN else value for name, value in told.items()}
    return CurrentFacts(facts, {name: {"kind": kind, "observation": row["id"]} for name in facts})


def fold(observations: Iterable[Statement], law: Law, ground: Mapping[str, Json] = _NO_GROUND) -> dict[str, KnownFact]:
    """Return what is known of each fact of which anything stands: first of those that lean on nothing."""
    every = list(observations)
    return _folded(standing(every, law, ground), law, ground, every)


def _folded(
    stands: Mapping[str, Sequence[Said]], law: Law, ground: Mapping[str, Json], every: Sequence[Statement]
) -> dict[str, KnownFact]:
    found, now = dict[str, KnownFact](), dict(ground)
    sold = {**_sold_as(ground), **{law.whole(name): value for name, value in published_in(every).items()}}
    for name in sorted(stands, key=lambda one: bool(law.fact(one).leans_on)):
        of, said = law.fact(name), stands[name]
        if of.rating and (beneath := ground.get(law.whole(name))) is not None:
            # Of one rig: what is told of it does not lift what its record says.
            said = [_of_record(name, beneath, of), *said]
        stale = [one for one in said if _changed(one, of, law, now, sold)] if of.leans_on else []
        fresh = [one for one in said if one not in stale]
        firm = [RANK[one.kind] for one in fresh if not one.supposed]
        if not firm and not stale:
            continue
        if stale and max(firm, default=0) < max(RANK[one.kind] for one in stale):
            # What a maker says of the part as it was sold is no better ground than what was seen since.
            changed = dict.fromkeys(on for one in stale for on in _changed(one, of, law, now, sold))
            found[name] = _left_out(stale, fresh, tuple(changed))
        else:
            known = fold_fact(fresh, of)
            found[name] = replace(known, beside=(*known.beside, *stale), stale=tuple(stale)) if stale else known
        now[law.whole(name)] = found[name].value
    return found


def _of_record(name: str, value: Json, of: FactLaw) -> Said:
    """What a record says of a fact, beside what is told of one rig that uses the record."""
    first, span = datetime.min.replace(tzinfo=UTC), of.read(value, "published")[1]
    return Said(
        fact=name, value=value, kind="published", by=_OF_RECORD, at=first, observation="", source=_OF_RECORD, span=span
    )


def _changed(one: Said, of: FactLaw, law: Law, now: Mapping[str, Json], sold: Mapping[str, Json]) -> list[str]:
    """What a statement leans on and has changed since: what was not known then, or is not now, has not.

    What is published is so of the thing as it was `sold`; what is assumed is of any.
    """
    was = one.ground if RANK[one.kind] == SEEN else sold if one.kind == "published" else _NO_GROUND
    return [
        name
        for name in of.leans_on
        if was.get(name) is not None
        and now.get(name) not in (None, was[name])
        and law.changed(name, was[name], now[name])
    ]


def _sold_as(ground: Mapping[str, Json]) -> dict[str, Json]:
    """What is published of other records' facts: what they come to, where nothing else was seen."""
    told = {name.removeprefix(PUBLISHED): value for name, value in ground.items() if name.startswith(PUBLISHED)}
    return {**ground, **told} if told else dict(ground)


def published_in(observations: Iterable[Statement]) -> Document:
    """What is published last of each fact of a record, settled otherwise since or not: with it the others came."""
    told = sorted((one for one in observations if one.kind == "published"), key=attrgetter("at"))
    return {name: value for one in told for name, value in one.facts.items() if value is not None}


def _left_out(stale: Sequence[Said], beside: Sequence[Said], changed: tuple[str, ...]) -> KnownFact:
    """A fact of which only stale readings are left: it is not known."""
    last = max(stale, key=lambda one: (one.at, one.place))
    return KnownFact(
        value=None,
        span=None,
        kind=last.kind,
        observation=last.observation,
        state="stale",
        counts=tuple(stale),
        beside=tuple(beside),
        changed=changed,
    )


def standing(
    observations: Iterable[Statement], law: Law, ground: Mapping[str, Json] = _NO_GROUND, *, and_settled: bool = False
) -> dict[str, list[Said]]:
    """Return the statements of each fact that were not taken back, in the order they were recorded.

    What follows from a trial only with what is known around it follows from what was said without such trials. From one
    that is settled nothing follows, as what it left possible may hold beside that it went since; it is told
    `and_settled` for who takes back what was said, since else it would come to stand again.
    """
    every = list(observations)
    dead, found = taken_back(every), dict[str, list[Said]]()
    for place, one in enumerate(every):
        if (one.id, ALL) in dead:
            continue
        for said in told_in(one, law, place):
            if (one.id, said.fact) not in dead:
                found.setdefault(said.fact, []).append(said)
    tried = [(key, one) for key, one in _told_of_trials(every, law, dead) if isinstance(one, ThingTried)]
    if not tried:
        return found
    left_out = {key for key, of in dead if of == ALL} | {key for key, one in tried if one.settled and not and_settled}
    trials = [(place, one) for place, one in enumerate(every) if one.evidence and one.id not in left_out]
    known = _folded(found, law, ground, every)
    around = {**ground, **{law.whole(name): one.value for name, one in known.items()}}
    for place, one in trials:
        evidence = one.evidence or {}
        for supposed, follows in ((False, law.bounded(evidence, around)), (True, law.supposed(evidence, around))):
            for name, value in follows.items():
                if (one.id, name) not in dead:
                    told = _said(one, name, value, "tried", law, place)
                    found.setdefault(name, []).append(replace_told(told, supposed=True) if supposed else told)
    return {name: sorted(of, key=attrgetter("place")) for name, of in found.items()}


def told_in(one: Statement, law: Law, place: int = 0) -> list[Said]:
    """Return the statements of one observation: its facts, and what its trial teaches by itself."""
    found = [_said(one, name, value, one.kind, law, place) for name, value in one.facts.items() if value is not None]
    taught = law.taught(one.evidence) if one.evidence else {}
    return found + [_said(one, name, value, "tried", law, place) for name, value in taught.items()]


def taken_back(observations: Sequence[Statement]) -> set[tuple[str, str]]:
    """Return the facts of observations that are taken back.

    What an observation takes back comes to stand again where the observation is taken back as a whole, and not where
    one of its facts is told anew: a correction corrected leaves the first slip corrected. Only an earlier observation
    can be named, so that going backwards each is settled before what it takes back.
    """
    dead = set[tuple[str, str]]()
    for one in reversed(observations):
        if one.takes_back and (one.id, ALL) not in dead:
            dead |= {(earlier, fact) for fact, ids in one.takes_back.items() for earlier in ids}
    return dead


def fold_fact(said: Sequence[Said], law: FactLaw) -> KnownFact:
    """Return what follows from the statements of one fact that stand, of which one at least is not supposed."""
    supposed = [one for one in said if one.supposed]
    if supposed:
        firm = fold_fact([one for one in said if not one.supposed], law)
        return _disputed_by(firm, [one for one in present(_seen(said)) if one.supposed], law)
    if len(said) == 1:  # as most facts are told: once
        one = said[0]
        value, counts = law.read(one.value, one.kind)[0], (one,)
        return KnownFact(value=value, span=one.span, kind=one.kind, observation=one.observation, counts=counts)
    best = max(RANK[one.kind] for one in said)
    ranked = _ranked(said, law, best)
    counting = _gathered(ranked) if law.gathered else present(ranked)
    readable = [one for one in counting if one.span is not None]
    span: Span | None
    state: State = ""
    if not readable:
        counting = counting[-1:]
        span = None
    elif law.gathered:
        counting = [_extreme(readable, law.gathered)]
        span = counting[0].span
    else:
        counting = readable
        span, state = joined([one.span for one in readable if one.span is not None])
        lesser = [] if state else _lesser(said, ranked, best)
        for one in lesser:
            # A maker's figure is nominal, and does not sharpen what a tape says of this part; a maker's choice does.
            if isinstance(span, frozenset) and isinstance(one.span, frozenset) and span & one.span:
                span &= one.span
        published = [one for one in lesser if _stands_by_trials(one, span, counting)]
        if len(published) == len(lesser) == 1:
            counting, span = [*counting, *published], published[0].span
    ids = {id(one) for one in counting}
    main = next((one for one in reversed(counting) if span is not None and same(one.span, span)), counting[-1])
    return KnownFact(
        value=_value(main, span, law),
        span=span,
        kind=main.kind,
        observation=main.observation,
        state=state,
        counts=tuple(counting),
        beside=tuple(one for one in said if id(one) not in ids),
    )


def _seen(said: Sequence[Said]) -> list[Said]:
    return [one for one in said if RANK[one.kind] == SEEN]


def _disputed_by(firm: KnownFact, supposed: Sequence[Said], law: FactLaw) -> KnownFact:
    """What is known of a fact beside what is supposed of it: where both cannot hold, all that either allows."""
    known = firm.span
    against = [
        (one, one.span) for one in supposed if known is not None and one.span is not None and not agree(known, one.span)
    ]
    ends = [span for span in (known, *(span for _, span in against)) if isinstance(span, tuple)]
    if not against or len(ends) <= len(against):
        return firm
    span = min(low for low, _ in ends), max(high for _, high in ends)
    disputed = firm.state == "disputed" or any(apart(ends[0], other) for other in ends[1:])
    return replace(
        firm,
        value=_value(against[-1][0], span, law),
        span=span,
        state="disputed" if disputed else "doubtful",
        counts=(*firm.counts, *(one for one, _ in against)),
    )


def _lesser(said: Sequence[Said], ranked: Sequence[Said], best: int) -> list[Said]:
    """What each source of a lesser rank says at present, but for what counts among the best."""
    found = [one for one in said if 0 < RANK[one.kind] < best]
    return present([one for one in found if one not in ranked]) if found else []


def _stands_by_trials(published: Said, span: Span, seen: Sequence[Said]) -> bool:
    """Whether a published figure lies within what was only tried: a trial tells no figure, so that both hold."""
    told = published.span
    if not isinstance(told, tuple) or not isinstance(span, tuple) or any(one.kind != "tried" for one in seen):
        return False
    return span[0] <= told[0] + TOLERANCE and told[1] <= span[1] + TOLERANCE


def _said(one: Statement, name: str, value: Json, kind: str, law: Law, place: int) -> Said:
    return Said(
        fact=name,
        value=value,
        kind=kind,
        by=one.by,
        at=one.at,
        observation=one.id,
        place=place,
        person=_person(one),
        source=one.source,
        span=law.fact(name).read(value, kind)[1],
        ground=one.ground or {},
    )


def _person(one: Statement) -> str:
    """Who said it: a name that is only the key's is everybody's who uses it, and nobody's in particular."""
    return one.by if one.by != one.written_by else ""


_IN_ORDER: Final = attrgetter("at", "place")
_NO: Final = frozenset({"no"})
_YES: Final = frozenset({"yes"})


def _ranked(said: Sequence[Said], law: FactLaw, best: int) -> list[Said]:
    """The statements of the best rank; of a rating also those lesser ones that say less, which nothing lifts."""
    found = [one for one in said if RANK[one.kind] == best]
    if law.gathered:
        return [one for one in said if RANK[one.kind] > 0] or found
    if not law.rating or best < SEEN:
        return found
    lowest = min((one.span[0] for one in found if isinstance(one.span, tuple)), default=-inf)
    lesser = [one for one in said if 0 < RANK[one.kind] < best]
    less = [one for one in lesser if isinstance(one.span, tuple) and one.span[1] < lowest - TOLERANCE]
    return found + less + [one for one in lesser if one.span == _NO and all(seen.span == _YES for seen in found)]


def present(said: Iterable[Said]) -> list[Said]:
    """What each person and source says at present, in the order of when it was seen.

    Seen by one person: a later statement takes the place of earlier ones that it cannot hold beside. Of one source
    that publishes or assumes, the latest alone: that is a feed, else a person, and what comes without a name is the
    record's own word.
    """
    by = dict[tuple[bool, str, str], list[Said]]()
    for one in said:
        by.setdefault(_speaker(one), []).append(one)
    kept: list[Said] = []
    for speaker in sorted(by):
        seen, _, person = speaker
        mine = sorted(by[speaker], key=_IN_ORDER)
        if not seen:
            kept.append(mine[-1])
        elif not person:
            kept += mine
        else:
            kept += _latest_first(mine)
    return sorted(kept, key=_IN_ORDER)


def _gathered(said: Sequence[Said]) -> list[Said]:
    """Each case that was seen, since one person's later one is another case, and what each source says at present."""
    seen = [one for one in said if RANK[one.kind] == SEEN]
    return seen + present(one for one in said if RANK[one.kind] < SEEN)


def _speaker(one: Said) -> tuple[bool, str, str]:
    seen = RANK[one.kind] == SEEN
    return seen, "" if seen else f"{one.kind} {one.source}", "" if one.source and not seen else one.person


def _latest_first(mine: Sequence[Said]) -> list[Said]:
    """What one person says of a fact: going back, what holds beside all that came after; one instant is no order."""
    kept: list[Said] = []
    later = set[Span]()
    known = dict[Span | None, bool]()  # a tape is read to one of a few marks, each held to the others once
    for _, group in groupby(reversed(mine), key=attrgetter("at")):
        found = list[Said]()
        for one in group:
            holds = known.get(one.span)
            if holds is None:
                holds = known[one.span] = one.span is None or all(agree(one.span, other) for other in later)
            if holds:
                found.append(one)
        kept += found
        for one in found:
            if one.span is not None and one.span not in later:
                later.add(one.span)
                known.clear()
    return kept


def _extreme(said: Sequence[Said], which: str) -> Said:
    """The largest of what is known to do, or the smallest of what is known not to."""
    ends = [(one.span, one) for one in said if isinstance(one.span, tuple)]
    if which == "largest":
        return max(ends, key=lambda each: (each[0][0], each[1].at, each[1].place))[1]
    return min(ends, key=lambda each: (each[0][1], each[1].at, each[1].place))[1]


def _value(main: Said, span: Span | None, law: FactLaw) -> Json:
    """A fact's value: as one statement said it where that is all there is to it, else what all of them leave."""
    if span is None or same(main.span, span):
        return law.read(main.value, main.kind)[0]
    if law.plausible is not None and isinstance(span, tuple):
        # An end that nobody told stays open only in a dispute with a bound: it is written, and so taken for no bound.
        low, high = law.plausible
        span = max(span[0], low), min(span[1], high)
    return law.write(span, main.value)


def _provenance(one: KnownFact) -> Document:
    found: Document = {"kind": one.kind, "observation": one.observation}
    if one.state:
        told = sorted(one.counts, key=lambda said: (said.at, said.place))[-_MOST_TOLD:]
        found |= {"state": one.state, "said": [said_document(said) for said in told]}
        found |= {"changed": list(one.changed)} if one.changed else {}
    return found


def said_document(said: Said) -> Document:
    """A statement as a record keeps it; what a record says that a rig uses was said at no time of its own."""
    told = {"value": said.value, "kind": said.kind, "by": said.by, "observation": said.observation}
    if not said.observation:
        return told
    return told | ({"source": said.source} if said.source else {}) | {"at": said.at.isoformat()}
