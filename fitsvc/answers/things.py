"""Several things on one rig as people send them → a question for each, or every problem with them.

Each thing is the rest of a question (accessory, ball, trailer, load) with the receiver it hangs on. A trailer on a ball
that no mount holds, the towbar's own or in a step bumper, has no accessory. A thing shares the rig that is told for
all, its own adapters apart, or has a rig of its own: the whole of it, as that receiver sees it, but for
a vehicle that is told for all.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import Records
from fitsvc.answers.spelling import rig_spelt_out
from fitsvc.answers.taken import apart, folded, within
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader, escape
from fitsvc.language.problems import Problem, ProblemKind, ProblemsFound, nearest
from fitsvc.language.types import ListType, Value
from fitsvc.subjects import BEHIND_TRAILER, BESIDE_RIG, PLACE
from fitsvc.tongues import t

MOST_THINGS: Final = 4
"""Two in a dual receiver, one in front and one on the trailer: more nobody hangs on a rig. Each is judged beside each
other one, so the work grows with the square."""
LONGEST_NAME: Final = 200

_TOP: Final = ("rig", "load", TOGETHER)
_PARTS: Final = tuple(name for name in BESIDE_RIG if name != PLACE.partition(".")[0])
_THING: Final = ("name", "hangs_on", "rig", *_PARTS)
_HUNG: Final = ("accessory", "trailer")
"""What a thing is known by. That a trailer has a ball to go on, the rules see to: without one a mount is a need."""
_OTHER_RIG: Final = ("id", "vehicle", "receiver", "mounting")
"""What of a thing's own `rig` says that it hangs on another receiver than the one told for all."""
_AT_OPENING: Final = ("id", "receiver", "mounting")
VEHICLE: Final = "vehicle"
REAR: Final = "rear_receiver"
"""Where a thing hangs of which a question about it alone says nothing."""
_LOAD: Final = "load"


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """One thing: what it is called (nothing where nobody says), the receiver it hangs on as written and as a value, and
    its question as if it were alone.
    """

    name: str
    hangs_on: str
    place: Value
    question: Question


def names_several(document: Json) -> bool:
    """Whether a question names several things."""
    return isinstance(document, dict) and document.get(TOGETHER) is not None


def read_things(document: Document, reader: FactReader, records: Records) -> list[Thing]:
    """Read a question that names several things; ProblemsFound has every problem, with JSON pointers."""
    return _ThingReading(document, reader, records).things()


def left_off(document: Document, number: int, reader: FactReader, records: Records) -> Document | None:
    """A question that has been read without one of its things: of two it is about the other alone.

    What that one tells of the way that the whole rig goes is told for the rest. None where the other hangs elsewhere
    than at the rear: no question about one thing says so.
    """
    reading = _ThingReading(document, reader, records)
    rest = [thing for place, thing in enumerate(document[TOGETHER]) if place != number]
    if len(rest) > 1:
        load = {} if reading.for_all is None else {_LOAD: reading.for_all}
        return {**document, **load, TOGETHER: rest}
    return reading.alone(rest[0]) if rest[0]["hangs_on"] == REAR else None


def has_own_rig(thing: Mapping[str, Json]) -> bool:
    """Whether one of several things says of a rig what is its own, its adapters alone it may be."""
    return bool(thing.get("rig"))


class _ThingReading:
    """One question's things being read."""

    def __init__(self, document: Document, reader: FactReader, records: Records) -> None:
        self.document, self.reader, self.records = document, reader, records
        self.problems: dict[tuple[str, str], Problem] = {}
        self.for_all = self._told_for_all()

    def things(self) -> list[Thing]:
        given = self.document[TOGETHER]
        self._top()
        if not isinstance(given, list) or not 2 <= len(given) <= MOST_THINGS:
            help = t('write `[{"hangs_on": ..., "accessory": {...}}, ...]`')
            self._complain(
                f"/{TOGETHER}",
                t("what is on one rig together is a list of 2 to {MOST_THINGS} things", MOST_THINGS=MOST_THINGS),
                help,
            )
            given = []
        found = [self._thing(thing, f"/{TOGETHER}/{number}", number) for number, thing in enumerate(given)]
        things = [thing for thing in found if thing is not None]
        if not self.problems:
            self._hold_to_their_receivers(things)
            self._hold_to_the_receiver_told()
            self._hold_to_what_is_told_for_all()
            self._hold_to_one_vehicle(things)
        if self.problems:
            raise ProblemsFound(self.problems.values())
        return things

    def _complain(self, pointer: str, message: str, help: str, meaning: bool = False, kind: ProblemKind = "") -> None:
        self._keep(Problem(message, help, pointer=pointer, meaning=meaning, kind=kind))

    def _keep(self, problem: Problem) -> None:
        """Keep a problem once: one with the rig is a problem of each thing on it."""
        self.problems.setdefault((problem.pointer, problem.message), problem)

    def _top(self) -> None:
        for key in self.document:
            if key in (*_PARTS, *BESIDE_RIG) and key not in _TOP and self.document[key] is not None:
                help = t("name it as one of the things in `{TOGETHER}`", TOGETHER=TOGETHER)
                self._complain(
                    f"/{key}", t("`{key}` stands beside the things that are named", key=key), help, meaning=True
                )
        self._known(self.document, "", t("a question"), (*_TOP, *BESIDE_RIG))

    def _known(self, given: Mapping[str, Json], pointer: str, what: str, known: tuple[str, ...]) -> None:
        for key in given:
            if key not in known:
                near = nearest(key, known)
                may = t("it may have ") + ", ".join(f"`{name}`" for name in known)
                help = t("did you mean `{near}`?", near=near) if near else may
                self._complain(f"{pointer}/{escape(key)}", t("{what} has no part `{key}`", what=what, key=key), help)

    def _thing(self, thing: Json, pointer: str, number: int) -> Thing | None:
        if not isinstance(thing, dict):
            self._complain(pointer, t("a thing is an object"), t('write `{"hangs_on": ..., "accessory": {...}}`'))
            return None
        self._known(thing, pointer, t("a thing"), _THING)
        place = self._place(thing.get("hangs_on"), f"{pointer}/hangs_on")
        described = any(isinstance(thing.get(name), dict) for name in _HUNG)
        if not described:
            help = t(
                "give its `sku` or its `facts`; of a trailer, the mount it is coupled to, or the `trailer` alone where "
                "it goes on the towbar's own ball or on one in a step bumper"
            )
            self._complain(f"{pointer}/accessory", t("it is not said what goes into the receiver"), help)
        name = thing.get("name")
        if name is not None and not (isinstance(name, str) and 1 <= len(name) <= LONGEST_NAME):
            self._complain(
                f"{pointer}/name",
                t("a thing's name is a text"),
                t("write 1 to {LONGEST_NAME} characters", LONGEST_NAME=LONGEST_NAME),
            )
        question = self._question(thing, number) if described else None
        if question is None or place is None:
            return None
        if len(question.candidates) > 1:
            message = t("{count} stored vehicles go by that name", count=len(question.candidates))
            help = t("name the vehicle by its `id`")
            self._complain("/rig/vehicle", message, help, meaning=True, kind="several records")
        called = name or next((question.labels[one] for one in _HUNG if question.labels.get(one)), "")
        return Thing(name=called, hangs_on=thing["hangs_on"], place=place, question=question)

    def _place(self, told: Json, pointer: str) -> Value | None:
        """Where it hangs: one place, and never a guess."""
        fact = self.reader.vocabulary.facts[PLACE]
        assert isinstance(fact.type, ListType)
        if isinstance(told, str) and told in fact.type.members:
            return fact.type.mask(told)
        near = nearest(told, fact.type.members) if isinstance(told, str) else None
        listed = ", ".join(f"`{member}`" for member in fact.type.members)
        help = t("did you mean `{near}`?", near=near) if near else t("write one of {listed}", listed=listed)
        self._complain(pointer, t("it is not said which receiver it hangs on"), help)
        return None

    def _question(self, thing: Mapping[str, Json], number: int) -> Question | None:
        """The thing's question, as if it were alone on the rig."""
        try:
            return read_question(self.alone(thing), self.reader, self.records)
        except ProblemsFound as found:
            for one in found.problems:
                own = _resolves(thing, one.pointer) or not _resolves(self.document, one.pointer)
                self._keep(replace(one, pointer=f"/{TOGETHER}/{number}{one.pointer}") if own else one)
            return None

    def alone(self, thing: Mapping[str, Json]) -> Document:
        """The question about one thing, with what is told for all."""
        parts = {name: thing[name] for name in _PARTS if thing.get(name) is not None}
        load = _both(self.for_all, self._own_load(thing.get(_LOAD)))
        return {"rig": self._rig(thing), **parts, **({_LOAD: load} if load is not None else {})}

    def _rig(self, thing: Mapping[str, Json]) -> Json:
        """The rig a thing hangs on: the one told for all, with what is its own of it, or another."""
        shared, own = self.document.get("rig"), thing.get("rig")
        if own is None or not isinstance(own, dict):
            return shared if own is None else own
        if not isinstance(shared, dict):
            return own
        if _has_own(thing):
            # Whatever hangs on the vehicle is on one vehicle: what is told of it for all holds here too.
            other = own.get("id") is not None or thing.get("hangs_on") == BEHIND_TRAILER
            told = None if other else self._vehicle_for_all(shared)
            return own if told is None else {**own, VEHICLE: _one_vehicle(told, own.get(VEHICLE))}
        return {**shared, **{name: part for name, part in own.items() if part is not None}}

    def _vehicle_for_all(self, shared: Mapping[str, Json]) -> Json:
        """The vehicle of the rig that is told for all, which may be a saved one."""
        key = shared.get("id")
        known = isinstance(key, str) and self.records.rig(key) is not None
        return (rig_spelt_out(shared, self.records, self.reader) if known else shared).get(VEHICLE)

    def _hold_to_their_receivers(self, things: list[Thing]) -> None:
        """Things in one place share one receiver, and those in two places do not."""
        receivers: dict[str, Json] = {}
        shared_at = ""
        for number, thing in enumerate(things):
            given = self.document[TOGETHER][number]
            own = _has_own(given)
            receiver = {part: given["rig"].get(part) for part in _OTHER_RIG} if own else None
            pointer = f"/{TOGETHER}/{number}"
            if receivers.setdefault(thing.hangs_on, receiver) != receiver:
                message = t("`{hangs_on}` is another receiver here than for the thing before", hangs_on=thing.hangs_on)
                help = t("things in one place hang on one receiver")
                self._complain(f"{pointer}/rig", message, help, meaning=True, kind="contradiction")
            elif not own and shared_at and shared_at != thing.hangs_on:
                message = t(
                    "it is not said what `{hangs_on}` is: the receiver of the rig is `{shared_at}`",
                    hangs_on=thing.hangs_on,
                    shared_at=shared_at,
                )
                help = t("give the thing a `rig` of its own: the `receiver` there, and the vehicle or trailer it is on")
                self._complain(pointer, message, help, meaning=True, kind="contradiction")
            elif not own:
                shared_at = thing.hangs_on

    def _hold_to_the_receiver_told(self) -> None:
        """The receiver told for all, or that of a saved rig, has a thing on it: else its ratings would be held to
        nothing, unseen.
        """
        given, shared = self.document[TOGETHER], self.document.get("rig")
        told = {part: shared[part] for part in _AT_OPENING if shared.get(part)} if isinstance(shared, dict) else {}
        if told and all(_has_own(one) and any(one["rig"].get(part) != told[part] for part in told) for one in given):
            message = t(
                "nothing hangs on the receiver that is told for all: each thing has another in a `rig` of its own"
            )
            help = t("leave the `rig` out of the thing that hangs on it, or tell no receiver for all")
            self._complain(f"/rig/{next(iter(told))}", message, help, meaning=True, kind="contradiction")

    def _own_load(self, load: Json) -> Json:
        """A thing's own load, without what is told for all more closely."""
        facts, shared = _facts_of(load), _facts_of(self.for_all)
        again = [name for name in facts if name in shared and self._is_within(name, shared[name], facts[name])]
        if not isinstance(load, dict) or not again:
            return load
        return {**load, "facts": {name: wire for name, wire in facts.items() if name not in again}}

    def _told_for_all(self) -> Json:
        """The load that is told for all, with what one thing alone tells of the way that the whole rig goes.

        Of a place told as one of several by one, and as one of these by another, the latter is told. What cannot be
        read is left to the thing that tells it.
        """
        load, things = self.document.get(_LOAD), self.document[TOGETHER]
        own = {} if load is None else load
        if not isinstance(own, dict) or not isinstance(own.get("facts"), dict | None):
            return load
        loads = [thing.get(_LOAD) for thing in things if isinstance(thing, dict)] if isinstance(things, list) else []
        told = {name: wire for name, wire in _facts_of(own).items() if wire is not None}
        for name, wire in (each for one in loads for each in _facts_of(one).items()):
            if self._shared(name, wire) is not None and not self._is_within(name, told.get(name), wire):
                told[name] = wire
        return {**own, "facts": told} if told else load

    def _shared(self, name: str, wire: Json) -> Value | None:
        """What is told of a fact of the load that is of the whole rig; nothing of another or what cannot be read."""
        fact = self.reader.fact(_LOAD, name)
        if fact is None or fact.serves != "shared" or wire is None:
            return None
        try:
            return self.reader.value(fact, wire).get(fact.name)
        except ProblemsFound:
            return None

    def _is_within(self, name: str, one: Json, other: Json) -> bool:
        """Whether what is told of a fact of the whole rig leaves no more open than what else is told of it."""
        fact, close, wide = self.reader.fact(_LOAD, name), self._shared(name, one), self._shared(name, other)
        if fact is None or close is None or wide is None:
            return one is not None
        return within(self.reader.slots[fact.name], close, wide)

    def _hold_to_what_is_told_for_all(self) -> None:
        """What holds for all that is on one rig, such as the place and the people, is no other for one of the things.

        Of choices that holds whatever they are. Two things tell no other of it either.
        """
        told, kinds = list[tuple[str, Value, Json]](), self.reader.slots
        parts = {"": self.document, **{f"/{TOGETHER}/{i}": one for i, one in enumerate(self.document[TOGETHER])}}
        for pointer, part in parts.items():
            for name, wire in _facts_of(part.get(_LOAD)).items():
                fact = self.reader.fact(_LOAD, name)
                kind = kinds.get(fact.name) if fact is not None else None
                if fact is None or kind is None or wire is None:
                    continue
                value = self.reader.value(fact, wire)[fact.name]
                known = [was for same, other, was in told if same == fact.name and apart(kind, value, other)]
                if known:
                    message = t("{the} is told otherwise for all: {told}", the=fact.the, told=known[0])
                    help = t("tell it once, or tell every one of them for all")
                    place = f"{pointer}/{_LOAD}/facts/{escape(name)}"
                    self._complain(place, message, help, meaning=True, kind="contradiction")
                if fact.serves == "shared" or (not pointer and isinstance(kind, ListType)):
                    told.append((fact.name, value, wire))

    def _hold_to_one_vehicle(self, things: list[Thing]) -> None:
        """Whatever hangs on the vehicle is on one vehicle: what two things tell of it can both be so."""
        on_it = [number for number, thing in enumerate(things) if thing.hangs_on != BEHIND_TRAILER]
        for number in on_it[1:]:
            what = vehicle_told_otherwise(self.reader, *(things[at].question for at in (on_it[0], number)))
            if what:
                own = number if _has_own(self.document[TOGETHER][number]) else on_it[0]
                message = t("the vehicle is another here than for the rest: {what}", what=what)
                help = t("tell the same of the vehicle in each `rig`; ask by itself about what is on another vehicle")
                pointer = f"/{TOGETHER}/{own}/rig/vehicle"
                self._complain(pointer, message, help, meaning=True, kind="contradiction")


def vehicle_told_otherwise(reader: FactReader, one: Question, other: Question) -> str:
    """What two questions tell of one vehicle that cannot both be so, in words; empty where it may be the same."""
    keys = [next((stored.key for stored in each.taken if stored.subject == VEHICLE), "") for each in (one, other)]
    if all(keys) and keys[0] != keys[1]:
        return t("`{one}` is not `{other}`", one=keys[1], other=keys[0])
    texts, others = one.case.texts, other.case.texts
    named = [name for name in reader.naming if name in texts and name in others]
    found = [name for name in named if folded(texts[name]) != folded(others[name])]
    for slot, kind in reader.slots.items():
        if slot.startswith(f"{VEHICLE}.") and slot in one.case.facts and slot in other.case.facts:
            found += [slot] if apart(kind, one.case.facts[slot], other.case.facts[slot]) else []
    fact = reader.vocabulary.fact_of(found[0]) if found else None
    return t("{the} is told otherwise", the=fact.the) if fact is not None else ""


def _facts_of(part: Json) -> Mapping[str, Json]:
    """The facts that a part of a question tells."""
    facts = part.get("facts") if isinstance(part, dict) else None
    return facts if isinstance(facts, dict) else {}


def _has_own(thing: Mapping[str, Json]) -> bool:
    own = thing.get("rig")
    return isinstance(own, dict) and any(own.get(part) is not None for part in _OTHER_RIG)


def _both(shared: Json, own: Json) -> Json:
    """What is told for all with a thing's own facts over it, and not with one left empty, which un-tells nothing.

    Of what is no object the own goes on to be refused.
    """
    if own is None or not isinstance(shared, dict):
        return shared if own is None else own
    facts = own.get("facts") if isinstance(own, dict) else own
    if facts is None:
        return {**own, **shared} if isinstance(own, dict) else own
    told = shared.get("facts")
    if not isinstance(facts, dict) or not isinstance(told, dict):
        return own
    return {**own, "facts": {**told, **{name: wire for name, wire in facts.items() if wire is not None}}}


def _one_vehicle(shared: Json, own: Json) -> Json:
    """The vehicle that is told for all, with what a thing tells of it beside that; one that it names is looked up."""
    if isinstance(own, dict) and own.get("id") is not None:
        return own
    both = _both(shared, own)
    return {**shared, **both} if isinstance(shared, dict) and isinstance(both, dict) else both


def _resolves(document: Json, pointer: str) -> bool:
    """Whether there is something at a JSON pointer in a document."""
    for step in pointer.split("/")[1:]:
        name = step.replace("~1", "/").replace("~0", "~")
        if isinstance(document, list) and name.isdigit() and int(name) < len(document):
            document = document[int(name)]
        elif isinstance(document, dict) and name in document:
            document = document[name]
        else:
            return False
    return bool(pointer)
