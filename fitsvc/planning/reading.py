"""Wishes as people send them → what a plan has to serve, or every problem with it.

A wish is the rest of a question (`load`, `trailer`) with the accessory left open: only its `kind` is said, or
follows from what is wished. Each wish is read by the reader of questions, so a fact is written as it is there.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.records import Records
from fitsvc.answers.spelling import rig_spelt_out
from fitsvc.answers.things import MOST_THINGS
from fitsvc.document import Json
from fitsvc.engine.point import Point
from fitsvc.facts import Case, FactReader, escape
from fitsvc.language.problems import Problem, ProblemKind, ProblemsFound, nearest
from fitsvc.language.truth import NO, YES
from fitsvc.language.typed import AnyTyped
from fitsvc.language.types import ListType, Value
from fitsvc.subjects import KIND, PLACE
from fitsvc.tongues import t

MOST_WISHES: Final = 6
MOST_PARTS: Final = 20
LONGEST_NAME: Final = 200

_TOP: Final = ("rig", "wishes", "parts_at_most", TOGETHER)
_WISH: Final = ("name", "kind", "load", "trailer")


@dataclass(frozen=True, slots=True)
class Wish:
    """One wish: the kinds of accessory that may serve it (a mask), and its parts of a question as written."""

    name: str
    kinds: int
    parts: Mapping[str, Json]


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is wished of one rig; `vehicle` is its id where the receiver is still to be chosen.

    `place` is where the receiver is that has to hold all of it at the same time, as written and as a value; None where
    the wishes are served one at a time.
    """

    rig: Mapping[str, Json]
    wishes: tuple[Wish, ...]
    at_most: int | None
    vehicle: str | None
    place: tuple[str, Value] | None = None


def read_wishes(document: Json, engine: Point, reader: FactReader, records: Records) -> Wishes:
    """Read the body of a plan; ProblemsFound has every problem, with JSON pointers."""
    return _WishReading(engine, reader, records).wanted(document)


def kinds_serving(engine: Point, reader: FactReader, asked: Case) -> list[str] | None:
    """The kinds that serve what is wished, where the rulebook makes that plain: one thing to carry or to tow."""
    kinds = reader.vocabulary.facts[KIND].type
    assert isinstance(kinds, ListType)
    found = [nodes for nodes in engine.rulebook.wishes if _value(engine, nodes.when, asked) == YES]
    if len(found) != 1:
        return None
    with_it = replace(asked, present=asked.present | {"accessory"})
    each = {kind: replace(with_it, facts={**asked.facts, KIND: kinds.mask(kind)}) for kind in kinds.members}
    return [kind for kind, case in each.items() if _value(engine, found[0].served_by, case) != NO] or None


def _value(engine: Point, node: AnyTyped, case: Case) -> Value:
    return engine.values(("wish", node), lambda: [node]).of(engine.opened(case))[0]


class _WishReading:
    """One plan's wishes being read."""

    def __init__(self, engine: Point, reader: FactReader, records: Records) -> None:
        self.engine, self.reader, self.records = engine, reader, records
        self.problems: list[Problem] = []

    def wanted(self, document: Json) -> Wishes:
        if not self._is_object(document, "", t("a plan"), _TOP):
            raise ProblemsFound(self.problems)
        asked = self._check({"rig": document.get("rig"), "accessory": {}}, "")
        rig = self._whole(document.get("rig") or {}) if asked else {}
        vehicle = self._vehicle(rig, asked, document.get("rig") or {}) if asked else None
        wishes = self._wishes(document.get("wishes"))
        at_most = self._at_most(document.get("parts_at_most"))
        place = self._place(document.get(TOGETHER), len(wishes))
        if self.problems:
            raise ProblemsFound(self.problems)
        return Wishes(rig=rig, wishes=wishes, at_most=at_most, vehicle=vehicle, place=place)

    def _complain(self, pointer: str, message: str, help: str, meaning: bool = False, kind: ProblemKind = "") -> None:
        self.problems.append(Problem(message, help, pointer=pointer, meaning=meaning, kind=kind))

    def _is_object(self, document: Json, pointer: str, what: str, known: tuple[str, ...]) -> bool:
        may = t("it may have ") + ", ".join(f"`{name}`" for name in known)
        if not isinstance(document, dict):
            self._complain(pointer, t("{what} is an object", what=what), may)
            return False
        for key in document:
            if key not in known:
                near = nearest(key, known)
                help = t("did you mean `{near}`?", near=near) if near else may
                self._complain(f"{pointer}/{escape(key)}", t("{what} has no part `{key}`", what=what, key=key), help)
        return True

    def _check(self, question: Mapping[str, Json], pointer: str) -> Question | None:
        """Read a question made of these parts; what is wrong with it is kept."""
        try:
            return read_question(question, self.reader, self.records)
        except ProblemsFound as found:
            self.problems += [replace(one, pointer=pointer + one.pointer) for one in found.problems]
            return None

    def _whole(self, rig: Mapping[str, Json]) -> Mapping[str, Json]:
        """The rig with a saved rig's parts written out, so that parts can be added to them."""
        if rig.get("id") is None:
            return {name: part for name, part in rig.items() if part is not None}
        whole = rig_spelt_out(rig, self.records, self.reader)
        return {name: part for name, part in whole.items() if part is not None}

    def _vehicle(self, rig: Mapping[str, Json], asked: Question, told: Mapping[str, Json]) -> str | None:
        """The vehicle's id, where a receiver for it is to be chosen; one that only one stored vehicle fits has that."""
        if rig.get("receiver") is not None or rig.get("mounting") is not None:
            return None
        vehicle = (rig.get("vehicle") or {}).get("id")
        if vehicle is None and len(asked.candidates) == 1:
            vehicle = asked.candidates[0].key
        if not isinstance(vehicle, str):
            several = len(asked.candidates)
            what = (
                t("{several} stored vehicles go by that name", several=several)
                if several
                else t("there is no receiver to plan with")
            )
            # A saved rig, or what is told of a vehicle, may yet lead to one that is stored.
            named = told.get("id") is not None or told.get("vehicle") is not None
            kind: ProblemKind = "several records" if several else "missing record" if named else ""
            help = t("name the vehicle by its `id`, or give `rig.receiver`")
            self._complain("/rig", what, help, meaning=True, kind=kind)
            return None
        return vehicle

    def _wishes(self, wishes: Json) -> tuple[Wish, ...]:
        if not isinstance(wishes, list) or not 1 <= len(wishes) <= MOST_WISHES:
            help = t('write `[{"load": {"facts": {"bikes": 2}}}]`')
            self._complain("/wishes", t("wishes are a list of 1 to {MOST_WISHES}", MOST_WISHES=MOST_WISHES), help)
            return ()
        read = [self._wish(wish, f"/wishes/{number}", number) for number, wish in enumerate(wishes)]
        return tuple(wish for wish in read if wish is not None)

    def _wish(self, wish: Json, pointer: str, number: int) -> Wish | None:
        before = len(self.problems)
        if not self._is_object(wish, pointer, t("a wish"), _WISH):
            return None
        parts = {name: wish[name] for name in ("load", "trailer") if wish.get(name) is not None}
        asked = self._check({**parts, "accessory": {}}, pointer)
        name = t("wish {more}", more=number + 1) if wish.get("name") is None else wish["name"]
        if not isinstance(name, str) or not 1 <= len(name) <= LONGEST_NAME:
            self._complain(
                f"{pointer}/name",
                t("a wish's name is a text"),
                t("write 1 to {LONGEST_NAME} characters", LONGEST_NAME=LONGEST_NAME),
            )
        sound = asked is not None and len(self.problems) == before
        return Wish(name, self._kinds(wish.get("kind"), pointer, asked.case) if asked and sound else 0, parts)

    def _kinds(self, kind: Json, pointer: str, asked: Case) -> int:
        fact = self.reader.vocabulary.facts[KIND]
        if kind is None:
            kind = kinds_serving(self.engine, self.reader, asked)
        if kind is None:
            known = self.reader.vocabulary.facts[KIND].type
            assert isinstance(known, ListType)
            help = t('write `"kind": "{more}"`, or another kind of accessory', more=known.members[0])
            message = t("it is not said which kind of accessory is to serve this wish")
            self._complain(pointer, message, help, meaning=True, kind="not given")
            return 0
        try:
            mask = self.reader.value(fact, kind)[KIND]
        except ProblemsFound as found:
            self.problems += [one.at(f"{pointer}/kind") for one in found.problems]
            return 0
        assert isinstance(mask, int)
        return mask

    def _place(self, told: Json, wishes: int) -> tuple[str, Value] | None:
        """The receiver that has to hold all wishes at the same time."""
        if told is None:
            return None
        fact = self.reader.vocabulary.facts[PLACE].type
        assert isinstance(fact, ListType)
        if not isinstance(told, str) or told not in fact.members:
            listed = ", ".join(f"`{member}`" for member in fact.members)
            self._complain(
                f"/{TOGETHER}",
                t("it is not said which receiver holds all of it"),
                t("write one of {listed}", listed=listed),
            )
            return None
        if not 2 <= wishes <= MOST_THINGS:
            help = t(
                "wish for 2 to {MOST_THINGS} things, or leave `{TOGETHER}` out: one at a time",
                MOST_THINGS=MOST_THINGS,
                TOGETHER=TOGETHER,
            )
            self._complain(
                f"/{TOGETHER}", t("{wishes} wishes do not hold at the same time", wishes=wishes), help, meaning=True
            )
            return None
        return told, fact.mask(told)

    def _at_most(self, number: Json) -> int | None:
        whole = isinstance(number, int | float) and not isinstance(number, bool) and number == number // 1
        if number is not None and not (whole and 1 <= number <= MOST_PARTS):
            self._complain(
                "/parts_at_most",
                t("the most parts allowed is a whole number"),
                t("write 1 to {MOST_PARTS}", MOST_PARTS=MOST_PARTS),
            )
            return None
        return None if number is None else int(number)
