"""A question as people send it → a case and what is to be told of its facts, or every problem with it.

A subject is a stored record (`id`, or `sku` for what is sold), inline `facts`, or both; inline facts win, but that
they lift no rating, nor what else a maker allows or asks for, above what its record says: there the stricter counts,
and both are told as disputed.
A vehicle without an `id` whose facts name a make or model is each of the stored vehicles that agree with
them: one alone is taken, as one that it may be unless what is told leaves no other; several are the question's
candidates.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from fitsvc.answers.called_vehicle import vehicle_called
from fitsvc.answers.gathering import Gathered
from fitsvc.answers.on_record import hold_to_its_place, hold_to_its_record, leave_what_leant
from fitsvc.answers.parts import OF_A_RIG, OF_QUESTION, TOGETHER, called, names_fact
from fitsvc.answers.records import Doubt, Named, Records, Stored
from fitsvc.answers.spelling import joined_rig, rig_today
from fitsvc.answers.tried_things import came_of, note_tried, take_tried
from fitsvc.document import Document, Json
from fitsvc.facts import MOST_ADAPTERS, Case, FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.subjects import ASKED, BESIDE_RIG
from fitsvc.tongues import t
from fitsvc.tried import ThingTried

_MOST_NAMED: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question read: the case, its assumed facts, the stored facts that inline ones replaced, and labels.
    `doubts` are those of its facts of which what was said cannot all hold; `rubbed` the very things asked about that
    went in and rubbed when they were tried; `tried` how the accessory asked about did when it was.

    `candidates` are the stored vehicles that a vehicle without an id may be. The facts of one alone are in
    the case; those of several are not. Where it is not sure that it is of them, `guessed` are the facts that say so.
    `vehicle` is the part that names them, a saved rig's own joined to it.
    `unstored` are the facts by which it names none of the vehicles stored; empty where it names some or none is asked.
    `taken` are the records it takes facts from, a saved rig's own first; `told_here` are the facts it tells itself.
    `taken_out` are the adapters of a saved rig in whose place others, or none, are told.
    `not_asked` are the facts that follow from what else is in the question, so that nobody is asked for them, and
    `summed` those that were told in their parts only.
    """

    case: Case
    assumed: frozenset[str]
    replaced: frozenset[str]
    labels: Mapping[str, str]
    candidates: tuple[Named, ...] = ()
    vehicle: Mapping[str, Json] = field(default_factory=dict)
    guessed: Mapping[str, Json] = field(default_factory=dict)
    unstored: tuple[str, ...] = ()
    not_asked: frozenset[str] = frozenset()
    summed: frozenset[str] = frozenset()
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    rubbed: tuple[str, ...] = ()
    tried: tuple[ThingTried, ...] = ()
    taken: tuple[Stored, ...] = ()
    told_here: frozenset[str] = frozenset()
    taken_out: tuple[str, ...] = ()

    def about(self, document: Mapping[str, Json], candidate: Named) -> Document:
        """The question's document with one of the candidates named by its id; what is told of the vehicle stays."""
        named = {**self.vehicle, "id": candidate.key}
        if self.guessed:
            named["facts"] = {**self.vehicle["facts"], **self.guessed}
        return {**document, "rig": {**document["rig"], "vehicle": named}}


def read_question(document: Json, reader: FactReader, records: Records) -> Question:
    """Read a question; ProblemsFound has every problem, with JSON pointers.

    One that names several things is read by `things`, and here refused.
    """
    gathered = Gathered(reader, records)
    if isinstance(document, dict) and document.get(TOGETHER, 0) is None:
        document = {name: part for name, part in document.items() if name != TOGETHER}
    if gathered.is_mapping(document, "", t("a question"), OF_QUESTION, (TOGETHER,)):
        _rig(gathered, document.get("rig"))
        for subject in BESIDE_RIG:
            gathered.subject(subject, document.get(subject), f"/{subject}")
        if gathered.present.isdisjoint(ASKED) and not gathered.adapters and not gathered.problems:
            help = t("name an `accessory`, a `trailer`, a `wiring_adapter` or a `rig.spare`")
            gathered.complain("", t("the question asks about nothing"), help, meaning=True)
    if gathered.problems:
        raise ProblemsFound(gathered.problems)
    return _read(gathered)


def hold_to_one_vehicle(question: Question) -> None:
    """Refuse a question whose vehicle may be several of those stored, by whoever judges by one case alone.

    Without their facts such a case asks less than any of them. ProblemsFound names some to choose from.
    """
    count = len(question.candidates)
    if count < 2:
        return
    named = ", ".join(f"`{one.key}`" for one in question.candidates[:_MOST_NAMED])
    more = count - _MOST_NAMED
    listed = t("{named} and {more} more", named=named, more=more) if more > 0 else named
    message = t("{count} stored vehicles go by that name", count=count)
    help = t("give the `id` of one: {listed}", listed=listed)
    raise ProblemsFound([Problem(message, help, pointer="/rig/vehicle", meaning=True, kind="several records")])


def _read(gathered: Gathered) -> Question:
    """The question that was gathered without a problem."""
    for stored in gathered.trials:
        take_tried(gathered, stored)
        note_tried(gathered, stored)
    of_items = came_of(gathered.reader, gathered.things, gathered.row)
    gathered.values |= of_items.get(gathered.sku, {})
    one_end = gathered.reader.told_by_one_end(gathered.values, gathered.against_here)
    summed = gathered.reader.add_up(gathered.values)
    gathered.values |= one_end
    present = gathered.reader.named(gathered.values, gathered.adapters) | gathered.present | gathered.ratings_untold()
    case = Case(
        gathered.values,
        present,
        tuple(gathered.adapters),
        gathered.texts,
        of_items=of_items,
        things=tuple(gathered.things),
        row=tuple(gathered.row),
    )
    return Question(
        case=case,
        assumed=frozenset(gathered.assumed),
        replaced=frozenset(gathered.replaced),
        labels=gathered.labels,
        candidates=gathered.candidates,
        vehicle=gathered.vehicle,
        guessed=gathered.guessed,
        unstored=gathered.unstored,
        summed=summed,
        doubts=gathered.doubts,
        rubbed=tuple(gathered.rubbed),
        taken=tuple(gathered.taken),
        told_here=frozenset(gathered.told_here),
        taken_out=tuple(gathered.taken_out),
        tried=tuple(gathered.tried),
    )


def _rig(gathered: Gathered, rig: Json) -> None:
    if rig is None or not gathered.is_mapping(rig, "/rig", t("a rig"), OF_A_RIG):
        return
    given: Mapping[str, Json] = rig
    told: Stored | None = None
    if rig.get("id") is not None:
        rig, told = _saved(gathered, rig)
    stored = {name: gathered.subject(name, rig.get(name), f"/rig/{name}") for name in ("vehicle", "receiver")}
    if stored["vehicle"] is None and not gathered.problems:
        stored["vehicle"] = vehicle_called(gathered, rig)
    _mounting(gathered, rig.get("mounting"), stored)
    _adapters(gathered, rig.get("adapters"))
    gathered.subject("spare", rig.get("spare"), "/rig/spare")
    if told is not None:
        gathered.doubts |= {name: doubt for name, doubt in told.doubts.items() if not names_fact(given, name)}
        facts = {name: value for name, value in told.facts.items() if not names_fact(given, name)}
        gathered.taken.insert(0, replace(told, facts=facts))
        gathered.hold_limits({name: value for name, value in told.facts.items() if names_fact(given, name)})
    hold_to_its_record(gathered, given)
    hold_to_its_place(gathered, given)
    leave_what_leant(gathered)


def _saved(gathered: Gathered, rig: Mapping[str, Json]) -> tuple[Mapping[str, Json], Stored | None]:
    if isinstance(rig["id"], str) and not gathered.can_be_stored(rig["id"], "/rig/id"):
        return rig_today(rig, gathered.reader), None
    saved = gathered.records.rig(rig["id"]) if isinstance(rig["id"], str) else None
    told = gathered.today(gathered.records.rig_told(rig["id"])) if saved is not None else None
    if saved is None:
        known = isinstance(rig["id"], str)
        help = gathered.near("rig", rig["id"], t("check the id")) if known else t("write the rig's id")
        message = t("there is no saved rig `{rig}`", rig=rig["id"])
        gathered.complain("/rig/id", message, help, known, "missing record" if known else "")
        saved = {}
    joined = joined_rig(rig_today(saved, gathered.reader), rig_today(rig, gathered.reader))
    gathered.taken_out += _taken_out(saved.get("adapters"), joined.get("adapters"))
    return joined, told


def _taken_out(saved: Json, now: Json) -> list[str]:
    """The adapters of a saved rig that are not among those told in their place, by what they are sold under."""
    if not isinstance(saved, list) or not isinstance(now, list):
        return []
    left = [one.get("sku") or one for one in now if isinstance(one, dict)]
    out = [one for one in saved if isinstance(one, dict) and (one.get("sku") or one) not in left]
    return [str(one.get("sku") or t("an adapter told by its facts")) for one in out]


def _mounting(gathered: Gathered, part: Json, stored: Mapping[str, Stored | None]) -> None:
    """The mounting named, or the one that is stored for the vehicle and receiver named.

    Of a receiver that is stored on other vehicles only it is asked whether it is made for this one.
    """
    named = gathered.subject("mounting", part, "/rig/mounting")
    vehicle, receiver = stored["vehicle"], stored["receiver"]
    if named is None:
        if vehicle and receiver:
            found = gathered.records.mountings(vehicle.key, receiver.key)
            if len(found) == 1:
                gathered.take(found[0], "/rig/mounting", only_missing=True)
            elif not found and gathered.records.mountings(None, receiver.key):
                gathered.present.update(gathered.reader.vocabulary.serving("made_for"))
        return
    for subject, record in stored.items():
        linked = named.links.get(subject, "")
        if record is not None and linked and linked != record.key:
            message = t(
                "mounting `{key}` belongs to {subject} `{linked}`, not to `{key2}`",
                key=named.key,
                subject=called(subject),
                linked=linked,
                key2=record.key,
            )
            gathered.complain(
                "/rig/mounting/id",
                message,
                t("name another mounting or leave the {subject} out", subject=called(subject)),
                True,
                "other record",
            )
        elif record is None and linked:
            found_part = gathered.records.find(subject, linked)
            if found_part:
                gathered.take(found_part, f"/rig/{subject}", only_missing=True)


def _adapters(gathered: Gathered, parts: Json) -> None:
    if parts is None:
        return
    if not isinstance(parts, list):
        gathered.complain("/rig/adapters", t("adapters are a list, from the receiver outwards"), t("write `[{...}]`"))
        return
    if len(parts) > MOST_ADAPTERS:
        gathered.complain(
            "/rig/adapters",
            t("{count} adapters are more than anyone stacks", count=len(parts)),
            t("at most {MOST_ADAPTERS}", MOST_ADAPTERS=MOST_ADAPTERS),
        )
        return
    for i, part in enumerate(parts):
        _adapter(gathered, part, f"/rig/adapters/{i}")


def _adapter(gathered: Gathered, part: Json, pointer: str) -> None:
    outer, gathered.values = gathered.values, {}
    gathered.subject("adapter", part, pointer)
    if isinstance(part, dict):
        gathered.add_adapter(part)
    elif part is None:
        gathered.complain(pointer, t("an adapter is an object"), t("give its `sku` or its `facts`"))
    gathered.values = outer
