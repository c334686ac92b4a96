"""What the page that asks shows: the parts that may be meant by what has been typed, and the fields they call for."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import urlencode

from sqlmodel import Session

from fitsvc.answers.answering import Answerer
from fitsvc.answers.question import NAMES, Named, Question, read_question
from fitsvc.answers.shelf import Item
from fitsvc.answers.vehicles import folded
from fitsvc.document import Document, Json
from fitsvc.facts import Case
from fitsvc.inventory.shelf import Shop
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.display import System
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.language.truth import YES
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import PLACES, Fields, adapter_places, read_fields
from fitsvc.store.errors import NotFound
from fitsvc.store.records import find_mountings, get_record, get_records, search_sold

FIND: Final = "find."
ABOUT: Final = ("accessory", "trailer", "spare")
_MOST: Final = 12
_MOST_RECEIVERS: Final = 30
_TOLD: Final = ("ask", "label", "scales")
_LABEL: Final = ("label",)

FindAccessories = Callable[[str, int], Sequence[Item]]
"""Finds accessories by what is typed, so many at most."""


@dataclass(frozen=True, slots=True)
class Option:
    """One record to choose: the value of its field, what it is called, what else is told of it."""

    value: str
    label: str
    beside: str = ""
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class Options:
    """What a search gives: choices, and how many more there are than are shown."""

    choices: Sequence[Option] = ()
    more: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """All that the page shows."""

    about: str
    vehicles: Options
    receivers: Options
    accessories: Options
    balls: Options
    trailers: Options
    adapters: Sequence[Options]
    tows: bool
    label_fields: Sequence[Field]
    load_fields: Sequence[Field]
    more_fields: Sequence[Field]
    spare_fields: Sequence[Field]
    trailer_fields: Sequence[Field]
    told_fields: Sequence[Field]
    problems: Sequence[Problem]


class Asker:
    """Makes the page for one session of the store."""

    def __init__(self, answerer: Answerer, shop: Shop, session: Session, named: FindAccessories) -> None:
        self.answerer, self.shop, self.session, self._named = answerer, shop, session, named
        self.vocabulary = answerer.rulebook.vocabulary
        self.records = StoreRecords(session, shop.vehicles)

    def read(self, fields: Fields, system: System) -> tuple[Document, Question | None, list[Problem]]:
        """The question of some fields, as a document and as it was read, with all that is wrong with it."""
        asked = read_fields(fields, self.vocabulary, system)
        problems = list(asked.problems)
        question = None
        try:
            question = read_question(asked.document, self.answerer.reader, self.records)
        except ProblemsFound as found:
            problems += found.problems
        return asked.document, question, problems

    def rig(self, fields: Fields, system: System) -> tuple[Document, list[Problem]]:
        """The question without an accessory that some fields ask, and what is wrong with the fields themselves."""
        asked = read_fields(fields, self.vocabulary, system)
        return asked.document, list(asked.problems)

    def page(self, fields: Fields, system: System, problems: Sequence[Problem]) -> Asking:
        """The page for what has been typed and chosen so far."""
        case = self._case(fields, system)
        about = fields.get("about", "")
        if about not in ABOUT:
            subjects = {name.partition(".")[0] for name in fields}
            named = (one for one in ("spare", "trailer") if one in subjects and "accessory" not in subjects)
            about = next(named, "accessory")
        tows = about == "trailer" or self._asks_for("trailer", case)
        maker = FieldMaker(self.vocabulary, fields, problems, system)
        load, more = self._load_fields(maker, case) if "accessory" in case.present else ([], [])
        label = maker.of_subject("receiver", _LABEL)
        spare = maker.of_subject("spare", ("ask", "label"))
        trailer = maker.of_subject("trailer", _TOLD) if tows else []
        shown = {field.name for field in (*load, *more, *label, *spare, *trailer)}
        told = [
            maker.of(fact, place) for place, fact in self._facts_told(fields) if f"{place}.{fact.short}" not in shown
        ]
        return Asking(
            about=about,
            vehicles=self.vehicles(fields),
            receivers=self.receivers(fields, system),
            accessories=self.sold(fields, "accessory"),
            balls=self.sold(fields, "ball") if tows else Options(),
            trailers=self.sold(fields, "trailer") if tows else Options(),
            adapters=self._adapters(fields),
            tows=tows,
            label_fields=label,
            load_fields=load,
            more_fields=more,
            spare_fields=spare,
            trailer_fields=trailer,
            told_fields=told,
            problems=maker.left(),
        )

    def vehicles(self, fields: Fields) -> Options:
        """The vehicles that what is typed may mean; of some that share make and model, any of them too."""
        text, chosen = fields.get(f"{FIND}vehicle", ""), fields.get("vehicle", "")
        named = {name: value for name, value in fields.items() if name.startswith("vehicle.")}
        found = self.shop.matching_vehicles(self.session, text) if text.strip() else []
        choices = [Option(one.key, one.label or one.key, "", one.key == chosen) for one in found[:_MOST]]
        if text.strip() and len(found) > 1:
            choices += self._any_of(found, named)
        if chosen and all(not one.chosen for one in choices):
            record = self.records.find("vehicle", chosen)
            choices.insert(0, Option(chosen, (record.label if record else "") or chosen, "", True))
        elif named and all(not one.chosen for one in choices):
            said = ", ".join(named.values())
            choices.insert(0, Option(urlencode(named), said, "as far as it is known", True))
        return Options(choices, len(found) > _MOST)

    def _any_of(self, found: Sequence[Named], named: Mapping[str, str]) -> list[Option]:
        """For each make and model that several of the vehicles share, all of them as one choice."""
        groups: dict[tuple[str, ...], list[Named]] = {}
        names = [f"vehicle.{name}" for name in NAMES]
        for one in found:
            if all(name in one.texts for name in names):
                groups.setdefault(tuple(folded(one.texts[name]) for name in names), []).append(one)
        choices = []
        for group in groups.values():
            if len(group) > 1:
                texts = {name: group[0].texts[name] for name in names}
                value = self._shared(group, texts)
                label = " ".join(value[name] for name in ("vehicle.year", *names) if name in value)
                told = f"one of {len(group)}, it is not known which"
                choices.append(Option(urlencode(value), f"{label}: any", told, value == named))
        return choices

    def _shared(self, group: Sequence[Named], texts: Mapping[str, str]) -> dict[str, str]:
        """The naming facts that a group shares and that keep others of the same make and model out."""
        said = [{**one.texts, **self.shop.said(one.values)} for one in group]
        inside = {one.key for one in group}
        others = [one for one in self.shop.vehicles(self.session, {}, texts) if one.key not in inside]
        outside = [{**one.texts, **self.shop.said(one.values)} for one in others]
        shared = {
            name: text
            for name, text in said[0].items()
            if all(one.get(name) == text for one in said) and any(one.get(name) != text for one in outside)
        }
        return {**texts, **shared}

    def receivers(self, fields: Fields, system: System) -> Options:
        """The receivers that are stored for the vehicle, or for those that it may be."""
        chosen = fields.get("receiver", "")
        keys = [fields["vehicle"]] if fields.get("vehicle") else []
        if not keys:
            named = {name: text for name, text in fields.items() if name.startswith("vehicle.")}
            _, question, _ = self.read({**named, "with": "accessory"}, system) if named else ({}, None, [])
            keys = [one.key for one in question.candidates] if question else []
        mountings = [one for key in keys[:_MOST_RECEIVERS] for one in find_mountings(self.session, key)]
        found = get_records(self.session, "receiver", dict.fromkeys(one.receiver_id for one in mountings))
        if chosen and chosen not in found:
            with suppress(NotFound):
                found = {chosen: get_record(self.session, "receiver", chosen), **found}
        choices = [
            Option(key, one.label or key, str(one.facts.get("opening") or ""), key == chosen)
            for key, one in found.items()
        ]
        return Options(choices[:_MOST_RECEIVERS], len(choices) > _MOST_RECEIVERS)

    def sold(self, fields: Fields, subject: str, place: str = "") -> Options:
        """What is sold as a subject and goes by what is typed; of an accessory adapters too."""
        place = place or subject
        text, chosen = fields.get(f"{FIND}{place}", "").strip(), fields.get(place, "")
        found: list[tuple[str, str]] = []
        if text and subject == "accessory":
            found = [(item.sku, item.label) for item in self._named(text, _MOST + 1)]
        if text or subject != "accessory":
            sold_as: Any = "adapter" if subject == "accessory" else subject
            found += [(one.sku, one.label) for one in search_sold(self.session, text, sold_as, limit=_MOST + 1)]
        choices = [Option(sku, label or sku, sku, sku == chosen) for sku, label in found[:_MOST]]
        if chosen and all(not one.chosen for one in choices):
            record = self.records.find(subject, chosen)
            choices.insert(0, Option(chosen, (record.label if record else "") or chosen, chosen, True))
        return Options(choices, len(found) > _MOST)

    def _adapters(self, fields: Fields) -> list[Options]:
        """One list for each adapter that is named, and one more."""
        places = adapter_places(fields)
        return [self.sold(fields, "adapter", place) for place in PLACES[: len(places) + 1]]

    def _case(self, fields: Fields, system: System) -> Case:
        """What is known so far, however little; what cannot be read is left out."""
        told = {name: text for name, text in fields.items() if not name.startswith(FIND) and name not in PAGE}
        for some in (told, {name: text for name, text in told.items() if "." not in name}):
            _, question, _ = self.read(some, system)
            if question is not None:
                return question.case
        return Case({}, frozenset())

    def _asks_for(self, subject: str, case: Case) -> bool:
        """Whether the rulebook asks for a subject beside the accessory that is named."""
        when = self.answerer.rulebook.asks_for.get(subject)
        if when is None or "accessory" not in case.present:
            return False
        (asks,) = self.answerer.engine.values(("counter asks for", subject), lambda: [when]).of(case)
        return asks == YES

    def _load_fields(self, maker: FieldMaker, case: Case) -> tuple[list[Field], list[Field]]:
        """The facts of the load that some rule would read here: those that people know, and those they measure."""
        facts = self.vocabulary.of("load")
        asked = {fact.name for fact in facts.values()} & self.answerer.rulebook.named
        opened = self.answerer.engine.opened(replace(case, present=case.present | {"load"} | asked))
        found = self.answerer.findings(self.answerer.engine.evaluate(opened), opened)
        asking = {rule.id for rule in self.answerer.rulebook.rules if rule.asks}
        read = set[str]().union(*(finding.facts for finding in found if finding.rule in asking))
        fields = [(fact, maker.of(fact)) for fact in facts.values() if fact.name in read]
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


PAGE: Final = ("units", "about")
"""Fields that are the page's own and no part of the question."""
