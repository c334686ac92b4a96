"""What the page that asks shows: the parts that may be meant by what has been typed, and the fields they call for."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final

from sqlmodel import Session

from fitsvc.answers.answering import LITTLE_WORK, Answerer
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.phrases import joined
from fitsvc.answers.question import Question, read_question
from fitsvc.answers.shelf import Item, read_items
from fitsvc.answers.spelling import rig_spelt_out
from fitsvc.answers.things import Thing, names_several, read_things
from fitsvc.answers.wording import Wording
from fitsvc.document import Document, Json
from fitsvc.facts import Case
from fitsvc.inventory.shelf import Shop
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.truth import YES
from fitsvc.rulebook.outcomes import OUTCOMES, Outcome
from fitsvc.service.counter.choosing import ABOUT, Chooser, Hits, LetGo, Settled, is_page
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import (
    AT_FRONT,
    PLACES,
    TAKEN_OUT,
    Fields,
    adapter_places,
    field_of,
    read_fields,
    subject_at,
    without_also,
)
from fitsvc.service.selecting import Selections
from fitsvc.store.errors import NotFound
from fitsvc.store.records import find_mountings, get_record, get_records, list_records
from fitsvc.store.rigs import get_rig
from fitsvc.subjects import RIG
from fitsvc.tongues import t

_MOST: Final = 12
_MOST_RECEIVERS: Final = 30
_MOST_JUDGED: Final = 50
"""Balls or trailers of which it is said what they come to: each is judged by itself."""
_TOLD: Final = ("ask", "label", "scales")
_LABEL: Final = ("label", "ask")
_WIRING: Final = "wiring_adapter"
_MEASURED: Final = ("tape",)
_ONE: Final = (1, 1)
"""Just one of what is counted, as bounds."""


@dataclass(frozen=True, slots=True)
class Option:
    """One record to choose: the value of its field, what it is called, what else is told of it, what it comes to."""

    value: str
    label: str
    beside: str = ""
    chosen: bool = False
    outcome: str = ""


@dataclass(frozen=True, slots=True)
class Options:
    """What a search gives: choices, how many there are in all, and what was made of the text."""

    choices: Sequence[Option] = ()
    count: int = 0
    told: str = ""

    @property
    def more(self) -> bool:
        """Whether there are more than are shown."""
        return self.count > len(self.choices)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """All that the page shows."""

    about: str
    rigs: Sequence[tuple[str, Option]]
    vehicles: Options
    receivers: Options
    accessories: Options
    balls: Options
    wirings: Options
    trailers: Options
    adapters: Sequence[Options]
    opening: str
    tows: bool
    so_far: tuple[Outcome, str] | None
    fitted: Field | None
    first_fields: Sequence[Field]
    label_fields: Sequence[Field]
    measured_fields: Sequence[Field]
    load_fields: Sequence[Field]
    more_fields: Sequence[Field]
    spare_fields: Sequence[Field]
    trailer_fields: Sequence[Field]
    told_fields: Sequence[Field]
    on: str
    let_go: LetGo | None
    problems: Sequence[Problem]


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as fields ask it: as a document, as it was read where it could be, what is wrong, and left out.

    Of one about several things at once `question` is the first one's, and `things` are all of them.
    """

    document: Document
    question: Question | None
    problems: list[Problem]
    left_out: tuple[str, ...]
    things: Sequence[Thing] = ()


class Asker:
    """Makes the page for one session of the store."""

    def __init__(self, answerer: Answerer, shop: Shop, session: Session, selections: Selections) -> None:
        self.answerer, self.shop, self.session, self.selections = answerer, shop, session, selections
        self.vocabulary = answerer.rulebook.vocabulary
        self.chooser = Chooser(answerer, shop, session, selections)
        self.records = self.chooser.records

    def read(self, fields: Fields, system: System) -> "Asked":
        """The question of some fields, as a document and as it was read, with all that is wrong with it."""
        told = read_fields(
            {name: text for name, text in fields.items() if not is_page(name)}, self.answerer.reader, system
        )
        problems = list(told.problems)
        document, question, things = self._in_front(self._shared(told.document)), None, list[Thing]()
        try:
            if names_several(document):
                things = read_things(document, self.answerer.reader, self.records)
                question = things[0].question
            else:
                question = read_question(document, self.answerer.reader, self.records)
        except ProblemsFound as found:
            problems += found.problems
        return Asked(document, question, problems, told.left_out, things)

    def _shared(self, document: Document) -> Document:
        """A question about several things with what is told of the journey told for all of them."""
        if not names_several(document):
            return document
        told = (document[TOGETHER][0].get("load") or {}).get("facts") or {}
        journey = {name: told[name] for name in told if f"load.{name}" in self.answerer.rulebook.words.for_all}
        return {**document, "load": {"facts": journey}} if journey else document

    def _in_front(self, document: Document) -> Document:
        """A question about several things, each that has a receiver of its own in front on the same vehicle."""
        things = document.get(TOGETHER) or []
        if not any("rig" in thing for thing in things):
            return document
        vehicle = self._vehicle_of(document.get("rig") or {})
        own = [{**one, "rig": {**one["rig"], **vehicle}} if "rig" in one else one for one in things]
        return {**document, TOGETHER: own}

    def _vehicle_of(self, rig: Mapping[str, Json]) -> Document:
        """The vehicle of a rig as a part of another one; of a saved rig with what was told of it there."""
        saved = self.records.rig(rig["id"]) if rig.get("id") else None
        whole = rig_spelt_out(rig, self.records, self.answerer.reader) if saved else rig
        part, mounting = whole.get("vehicle"), (whole.get("mounting") or {}).get("id")
        record = self.records.find("mounting", mounting) if mounting and not (part or {}).get("id") else None
        if record is not None and record.links.get("vehicle"):
            part = {"id": record.links["vehicle"], **(part or {})}
        told = self.answerer.reader.today(RIG, self.records.rig_told(rig["id"]).facts) if saved else {}
        facts = {name.partition(".")[2]: wire for name, wire in told.items() if name.startswith("vehicle.")}
        facts |= (part or {}).get("facts") or {}
        return {"vehicle": {**(part or {}), "facts": facts}} if part or facts else {}

    def rig(self, fields: Fields, system: System) -> "Asked":
        """The question without an accessory that some fields ask, and what is wrong with the fields themselves."""
        told = read_fields(
            {name: text for name, text in fields.items() if not is_page(name)}, self.answerer.reader, system
        )
        return Asked(told.document, None, list(told.problems), told.left_out)

    def page(self, settled: Settled, system: System, problems: Sequence[Problem]) -> Asking:
        """The page for what has been typed and chosen so far."""
        fields = settled.fields
        case = self.case(fields, system)
        about = fields.get("about", "")
        if about not in ABOUT:
            subjects = {name.partition(".")[0] for name in fields}
            named = (one for one in ("spare", "trailer") if one in subjects and "accessory" not in subjects)
            about = next(named, "accessory")
        tows = about == "trailer" or self._asks_for("trailer", case)
        maker = FieldMaker(self.vocabulary, fields, problems, system)
        load, more = self.load_fields(maker, case)
        first = [maker.of(self.vocabulary.facts[name]) for name in self.answerer.rulebook.words.first]
        label = maker.of_subject("receiver", _LABEL, besides=self.answerer.rulebook.words.first)
        there = self.vocabulary.serving("fitted")
        fitted = next((maker.of(self.vocabulary.facts[name]) for name in there), None)
        measured = maker.of_subject("mounting", _MEASURED, besides=there)
        spare = maker.of_subject("spare", ("ask", "label"))
        trailer = maker.of_subject("trailer", _TOLD) if tows else []
        shown = {field.name for field in (*load, *more, *first, *label, *measured, *spare, *trailer)} | {*there}
        told = [
            maker.of(fact, place) for place, fact in self._facts_told(fields) if f"{place}.{fact.short}" not in shown
        ]
        return Asking(
            about=about,
            rigs=self._kept(fields),
            vehicles=self.vehicles(settled),
            receivers=self.receivers(fields),
            accessories=self.sold(settled, "accessory", case, system),
            balls=self.sold(settled, "ball", case, system) if tows else Options(),
            trailers=self.sold(settled, "trailer", case, system) if tows else Options(),
            wirings=self.sold(settled, _WIRING, case, system) if tows or _WIRING in case.present else Options(),
            adapters=self._adapters(settled, case, system),
            opening=self._opening(fields),
            on=self.chooser.on_field(fields),
            let_go=settled.let_go,
            tows=tows,
            so_far=self._so_far(fields, system) if not problems and not settled.problems else None,
            fitted=fitted,
            first_fields=first,
            label_fields=label,
            measured_fields=measured,
            load_fields=load,
            more_fields=more,
            spare_fields=spare,
            trailer_fields=trailer,
            told_fields=told,
            problems=maker.left(),
        )

    def empty(self) -> bool:
        """Whether nothing is stored that a question could be about."""
        return not any(list_records(self.session, subject, limit=1) for subject in ("vehicle", "accessory"))

    def _kept(self, fields: Fields) -> list[tuple[str, Option]]:
        """A saved rig and a mounting that the question names, each a choice that can be let go."""
        found = []
        if fields.get("rig"):
            with suppress(NotFound):
                name = get_rig(self.session, fields["rig"]).name
                found.append(("rig", Option(fields["rig"], name or fields["rig"], fields["rig"], True)))
        if fields.get("mounting"):
            record = self.records.find("mounting", fields["mounting"])
            label = (record.label if record else "") or fields["mounting"]
            found.append(("mounting", Option(fields["mounting"], label, fields["mounting"], True)))
        return found

    def _opening(self, fields: Fields) -> str:
        """What the saved rig that the question names has in its opening, by what it is sold under."""
        saved = (self.records.rig(fields["rig"]) or {}) if fields.get("rig") else {}
        parts = [part for part in saved.get("adapters") or () if isinstance(part, dict)]
        return joined([str(part.get("sku") or t("an adapter told by its facts")) for part in parts])

    def vehicles(self, settled: Settled) -> Options:
        """The vehicles that what is typed may mean; of some that share make and model, any of them too."""
        hits, fields = settled.hits.get("vehicle", Hits()), settled.fields
        chosen, _ = self.chooser.on(fields)
        choices = [Option(one.key, one.label or one.key, "", one.key == chosen) for one in hits.vehicles[:_MOST]]
        for value, label, count in self.chooser.any_of(hits.vehicles):
            told = t("one of {count}, it is not known which", count=count)
            choices.append(Option(value, t("{vehicle}: any", vehicle=label), told, value == chosen))
        named = self.chooser.named(fields)
        if named and not hits.vehicles:
            choices += [Option(one.key, one.label or one.key) for one in self.chooser.several(fields)[:_MOST]]
        if chosen and all(not one.chosen for one in choices) and not chosen.startswith("rig:"):
            record = self.records.find("vehicle", chosen) if not named else None
            label = self.chooser.as_called(named) or (record.label if record else "") or chosen
            choices.insert(0, Option(chosen, label, t("as far as it is known") if named else "", True))
        told = hits.told
        if told and not choices:
            told = f"{told} {t('A saved rig is found by its name under Records.')}"
        return Options(choices, max(hits.count, len(choices)), told)

    def receivers(self, fields: Fields, in_front_for: str = "") -> Options:
        """The receivers that are stored for the vehicle, or for those that it may be.

        For a thing that hangs in front, named by its place, only those that are stored as being there.
        """
        vehicle, chosen = self.chooser.on(fields)
        chosen = fields.get(f"{in_front_for}.receiver", "") if in_front_for else chosen
        named = self.chooser.named(fields)
        keys = [vehicle] if vehicle and not named and not vehicle.startswith("rig:") else []
        if named:
            keys = [one.key for one in self.chooser.several(fields)]
        mountings = [one for key in keys[:_MOST_RECEIVERS] for one in find_mountings(self.session, key)]
        found = get_records(self.session, "receiver", dict.fromkeys(one.receiver_id for one in mountings))
        if in_front_for:
            found = {key: one for key, one in found.items() if self._at_front(one.facts)}
        if chosen and chosen not in found:
            with suppress(NotFound):
                found = {chosen: get_record(self.session, "receiver", chosen), **found}
        choices = [
            Option(key, one.label or key, ", ".join(self._beside(one.facts)), key == chosen)
            for key, one in sorted(found.items(), key=lambda each: bool(self._at_front(each[1].facts)))
        ]
        return Options(choices[:_MOST_RECEIVERS], len(choices))

    def _at_front(self, facts: Mapping[str, Json]) -> str:
        """That a stored receiver is in front, in words; empty where it is told otherwise or not at all."""
        for name in self.vocabulary.serving("fastened_to"):
            fact = self.vocabulary.facts[name]
            if facts.get(fact.short) == AT_FRONT:
                return self.vocabulary.words.get(fact.kind, {}).get(AT_FRONT, AT_FRONT)
        return ""

    def _beside(self, facts: Mapping[str, Json]) -> list[str]:
        """What a receiver is told apart by."""
        return [text for text in (str(facts.get("opening") or ""), self._at_front(facts)) if text]

    def sold(self, settled: Settled, place: str, case: Case, system: System) -> Options:
        """What is sold for a place and goes by what is typed, with what it comes to on the rig; the best first."""
        hits, subject, chosen = settled.hits.get(place), subject_at(place), settled.fields.get(place, "")
        items: Sequence[Item] = hits.items if hits else ()
        # Once something is in the opening, the lists of more are shown for what is typed alone.
        if hits is None and subject != "accessory" and not (subject == "adapter" and adapter_places(settled.fields)):
            items = self.shop.stock(self.session, subject).items(subject)
        marked = self._marked(place, hits, items, case)
        choices = [self._option(item, outcome, chosen, system) for item, outcome in marked[:_MOST]]
        if chosen and all(not one.chosen for one in choices):
            record = self.records.find(subject, chosen)
            read = read_items(self.answerer.reader, [record]) if record else []
            choices[:0] = [self._option(item, "", chosen, system) for item in read] or [
                Option(chosen, chosen, "", True)
            ]
        return Options(choices, max(hits.count if hits else len(items), len(choices)), hits.told if hits else "")

    def _marked(self, place: str, hits: Hits | None, items: Sequence[Item], case: Case) -> list[tuple[Item, str]]:
        """Items with what they come to on the rig that is chosen so far, the best first where one is."""
        subject = subject_at(place)
        if place != "accessory" and subject == "accessory":
            return [(item, "") for item in items if item.subject == subject]
        if subject == "adapter" or not is_rig(case) or (subject == "ball" and "accessory" not in case.present):
            return [(item, "") for item in items]
        if place == "accessory":
            beside = [(item, "") for item in items if item.subject != place]
            best = self.selections.best_named(hits.text, without(case, place), _MOST) if hits else []
            return [*best, *beside]
        judged = [(item, self._outcome(without(case, place), item)) for item in items[:_MOST_JUDGED]]
        return sorted(judged, key=lambda one: OUTCOMES.index(one[1]))

    def _outcome(self, case: Case, item: Item) -> Outcome:
        facts = {**case.facts, **item.values}
        present = case.present | {item.subject} | self.answerer.reader.named(facts)
        return self.answerer.engine.evaluate(replace(case, facts=facts, present=present)).outcome

    def _option(self, item: Item, outcome: str, chosen: str, system: System) -> Option:
        beside = " · ".join([item.sku, *told_apart(item, self.answerer.wording, system)])
        return Option(item.sku, item.label or item.sku, beside, item.sku == chosen, outcome)

    def _adapters(self, settled: Settled, case: Case, system: System) -> list[Options]:
        """One list for each adapter that is named, and one more; what a saved rig has can be taken out."""
        places, first = adapter_places(settled.fields), settled.fields.get(PLACES[0])
        fields = {name: text for name, text in settled.fields.items() if name != PLACES[0] or text != TAKEN_OUT}
        named = replace(settled, fields=fields)
        found = [self.sold(named, place, case, system) for place in PLACES[: len(places) + 1]]
        if self._opening(settled.fields):
            bare = Option(TAKEN_OUT, t("none: it is taken out"), "", first == TAKEN_OUT)
            found[0] = replace(found[0], choices=[bare, *found[0].choices], count=found[0].count + 1)
        return found

    def case(self, fields: Fields, system: System) -> Case:
        """What is known so far, however little; what cannot be read is left out."""
        fields = without_also(fields)
        asked = self.read(fields, system)
        if asked.question is None:
            wrong = {field_of(one) for one in asked.problems}
            left = {name: text for name, text in fields.items() if name not in wrong}
            asked = self.read({**left, "with": "accessory"}, system)
            if asked.question is not None and not left.get("accessory"):
                return without(asked.question.case, "accessory")
        return asked.question.case if asked.question is not None else Case({}, frozenset())

    def _so_far(self, fields: Fields, system: System) -> tuple[Outcome, str] | None:
        """What the question comes to as it stands; None where it is none yet."""
        asked = self.read(fields, system)
        if asked.question is None or asked.problems:
            return None
        answer = self.answerer.answer(asked.document, self.records, system, most=LITTLE_WORK)
        return answer.outcome, answer.summary

    def _asks_for(self, subject: str, case: Case) -> bool:
        """Whether the rulebook asks for a subject beside the accessory that is named."""
        when = self.answerer.rulebook.asks_for.get(subject)
        if when is None or "accessory" not in case.present:
            return False
        (asks,) = self.answerer.engine.values(("counter asks for", subject), lambda: [when]).of(case)
        return asks == YES

    def load_fields(self, maker: FieldMaker, case: Case, place: str = "load") -> tuple[list[Field], list[Field]]:
        """The facts of the load that some rule would read here: those that people know, and those they measure.

        Before an accessory is chosen they are those by which a customer says what is to be carried. What goes with
        every wish, such as the place driven in, is asked for always.
        """
        facts, words = self.vocabulary.of("load"), self.answerer.rulebook.words
        if "accessory" not in case.present:
            names = [*(name for wish in words.wishes for name in wish.facts), *words.for_all]
            return [maker.of(self.vocabulary.facts[name]) for name in names if name.startswith("load.")], []
        asked = {fact.name for fact in facts.values()} & self.answerer.rulebook.named
        opened = self.answerer.engine.opened(replace(case, present=case.present | {"load"} | asked))
        found = self.answerer.findings(self.answerer.engine.evaluate(opened), opened)
        asking = {rule.id for rule in self.answerer.rulebook.rules if rule.asks}
        read = set(words.for_all).union(*(finding.facts for finding in found if finding.rule in asking))
        fields = [(fact, maker.of(fact, place)) for fact in facts.values() if fact.name in read]
        first = [field for fact, field in fields if fact.effort in _TOLD]
        return first, [field for fact, field in fields if fact.effort not in _TOLD]

    def _facts_told(self, fields: Fields) -> list[tuple[str, Json]]:
        """The facts among the fields, with their places; a vehicle's names are told with the vehicles."""
        found = []
        for name in fields:
            place, _, short = name.rpartition(".")
            fact = self.vocabulary.facts.get(f"{place.partition('.')[0]}.{short}")
            if fact is not None and not (fact.subject == "vehicle" and not fields.get("vehicle")):
                found.append((place, fact))
        return found


def is_rig(case: Case) -> bool:
    """Whether anything is known of a rig, so that it can be said what it comes to with an item."""
    return any(name.startswith(("vehicle.", "receiver.", "mounting.")) for name in case.facts)


def without(case: Case, subject: str) -> Case:
    """A case without what is told of one of its subjects."""
    facts = {name: value for name, value in case.facts.items() if not name.startswith(f"{subject}.")}
    texts = {name: text for name, text in case.texts.items() if not name.startswith(f"{subject}.")}
    present = frozenset(one for one in case.present if one != subject and not one.startswith(f"{subject}."))
    return replace(case, facts=facts, texts=texts, present=present)


def told_apart(item: Item, wording: Wording, system: System) -> list[str]:
    """The figures by which items of one name are told apart, but for those that the label tells."""
    case, found = Case(item.values, frozenset()), list[str]()
    for apart in wording.rulebook.words.told_apart:
        if apart.fact in item.values:
            said = apart.told_of_one if item.values[apart.fact] == _ONE else apart.told
            told = said.replace("{}", wording.fact_text(apart.fact, case, system))
            found += [told] if told not in item.label else []
    return found
