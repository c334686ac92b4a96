"""What is chosen, by what was typed and what was chosen before: the vehicle typed now is the one that is answered for.

A choice that what is typed does not mean is dropped. What was told of a rig stays with its vehicle: the field `on` says
of which vehicle and receiver the rest was told, and when another is chosen the rest is let go.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import parse_qsl, urlencode

from sqlmodel import Session

from fitsvc.answers.answering import Answerer
from fitsvc.answers.parts import called as called_in_words
from fitsvc.answers.question import read_question
from fitsvc.answers.records import NAMES, Named
from fitsvc.answers.searching import Found
from fitsvc.answers.shelf import Item
from fitsvc.answers.taken import folded
from fitsvc.inventory.shelf import Shop
from fitsvc.inventory.stored import StoreRecords
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.counter.links import (
    ALSO,
    HANGS_ON,
    OF_FRONT,
    PLACES,
    REAR,
    Fields,
    also_closed_up,
    also_places,
    cell,
    link,
    subject_at,
    thing_field,
)
from fitsvc.service.selecting import Selections
from fitsvc.tongues import as_said, is_clause, later, t

FIND: Final = "find."
SEEN: Final = "seen."
"""The text that a list was shown for: when what is typed is another, it counts for more than what was chosen."""
ON: Final = "on"
WANTED: Final = "want."
"""A wish that a kind of accessory serves, by its kind: ticked on the page of what to sell."""
ABOUT: Final = ("accessory", "trailer", "spare")
DRAFT: Final = "draft"
"""Given while the form is still being filled: nothing is planned for it yet."""
PICKED: Final = "pick."
"""An item picked to be compared, by its SKU."""
BASKET: Final = "basket"
"""One basket of those that a plan comes to, by the numbers of its parts."""
PAGE: Final = ("units", "about", ON, DRAFT, BASKET)
"""Fields that are the page's own and no part of the question."""
SOLD: Final = ("accessory", "ball", "trailer", "wiring_adapter", *PLACES, *ALSO)
_OF_RIG: Final = ("rig", "mounting", "receiver")
_OF_OPENING: Final = ("receiver.", "mounting.", "adapter.", f"{FIND}adapter.", f"{SEEN}adapter.")
_NOT_BESIDE_SPARE: Final = ("accessory", "ball", "trailer", "wiring_adapter", "also")
_MEASURED: Final = "tape"
_CHANGED: Final[Mapping[str, str]] = {
    "vehicle": later("the vehicle"),
    "receiver": later("the receiver"),
    "front": later("the receiver at the front"),
}
"""What was changed, so that what was told of it is let go."""


def is_page(name: str) -> bool:
    """Whether a field is the page's own and no part of the question."""
    return name in PAGE or name.startswith((FIND, SEEN, WANTED, PICKED))


@dataclass(frozen=True, slots=True, kw_only=True)
class Hits:
    """What goes by what is typed at one place: `one` is what it means by itself, empty where that is not one."""

    text: str = ""
    count: int = 0
    vehicles: Sequence[Named] = ()
    items: Sequence[Item] = ()
    one: str = ""
    same: str = ""
    told: str = ""


@dataclass(frozen=True, slots=True)
class LetGo:
    """What stays with the vehicle or receiver it was told of: which, what, and the address that takes it back."""

    what: str
    stays_with: str
    told: str
    undo: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """The fields as they are meant; what was let go, and places where what is typed is no choice."""

    fields: dict[str, str]
    hits: Mapping[str, Hits]
    let_go: LetGo | None
    problems: Sequence[Problem]

    def question(self) -> dict[str, str]:
        """The fields without the page's own."""
        return {name: text for name, text in self.fields.items() if not is_page(name)}


class Chooser:
    """Settles the fields of one request."""

    def __init__(self, answerer: Answerer, shop: Shop, session: Session, selections: Selections) -> None:
        self.answerer, self.shop, self.session, self.selections = answerer, shop, session, selections
        self.vocabulary = answerer.rulebook.vocabulary
        self.records = StoreRecords(session, shop.vehicles)
        self._naming = self.vocabulary.naming()

    def settle(self, fields: Fields) -> Settled:
        """What some fields mean."""
        told, problems = also_closed_up(fields), list[Problem]()
        if told.get("about") == "spare":
            for name in [one for one in told if place_of(one) in _NOT_BESIDE_SPARE]:
                del told[name]
        hits: dict[str, Hits] = {}
        for place in ("vehicle", *SOLD):
            if text := told.get(f"{FIND}{place}", "").strip():
                hits[place] = self._hits(place, text)
                problems += self._choose(place, hits[place], told)
        for name in [one for one in told if thing_field(one)[0] in ALSO and not told.get(thing_field(one)[0])]:
            del told[name]  # what was told of a thing that is there no more
        for place in ALSO:
            if told.get(f"{place}.{HANGS_ON}") == REAR:  # it was in front, where another receiver held it
                del told[f"{place}.{HANGS_ON}"]
                for name in [one for one in told if _of_own_receiver(one) and thing_field(one)[0] == place]:
                    del told[name]
        let_go = self._let_go(fields, told)
        in_front = self._let_go_in_front(fields, told)
        let_go = let_go or in_front
        self._leave_to_rig(told)
        return Settled(fields=told, hits=hits, let_go=let_go, problems=problems)

    def _hits(self, place: str, text: str) -> Hits:
        if place == "vehicle":
            found, how = self.shop.matching_vehicles(self.session, text)
            same = [one.key for one in found if folded(text) in (folded(one.key), folded(one.label))]
            return _hits(text, how, [one.key for one in found], same, vehicles=found)
        subject = subject_at(place)
        items, how = self.shop.matching_items(self.session, "adapter" if subject == "accessory" else subject, text)
        count = len(items)
        if subject == "accessory":
            named = self.selections.named(text)
            if items and how.exact >= named.found.exact:
                how = named.found if named.matching and named.found.exact else how
            else:
                items, how, count = [], named.found, 0
            items, count = [*(named.items if how.exact >= named.found.exact else ()), *items], count + named.matching
        same = [one.sku for one in items if folded(text) in (folded(one.sku), folded(one.label))]
        return _hits(text, how, [one.sku for one in items], same, items=items, count=count)

    def _choose(self, place: str, hits: Hits, told: dict[str, str]) -> list[Problem]:
        """Choose what is meant at a place, and say where that is nothing."""
        chosen, seen = told.get(place, ""), told.get(f"{SEEN}{place}")
        retyped = seen is not None and seen != hits.text
        if place == "vehicle" and not chosen and any(name.startswith("vehicle.") for name in told):
            chosen = self._called(self.named(told))
        if hits.same and (retyped or not chosen):
            meant = hits.same
        elif chosen and self._goes_by(place, hits, chosen):
            return []
        else:
            meant = hits.one
        if chosen != meant:
            told.pop(place, None)
            if place == "vehicle":
                for name in self.named(told):
                    del told[name]
        if meant:
            told[place] = meant
            return []
        return [_no_choice(place, hits)]

    def _goes_by(self, place: str, hits: Hits, chosen: str) -> bool:
        if place == "vehicle":
            if "=" not in chosen:
                return any(one.key == chosen for one in hits.vehicles)
            return chosen in [value for value, *_ in self.any_of(hits.vehicles)]
        if any(one.sku == chosen for one in hits.items):
            return True
        return subject_at(place) == "accessory" and self.selections.goes_by(hits.text, chosen)

    def named(self, fields: Fields) -> dict[str, str]:
        """The fields by which a vehicle without an id is called."""
        return {} if fields.get("vehicle") else {name: text for name, text in fields.items() if name in self._naming}

    def several(self, fields: Fields) -> Sequence[Named]:
        """The stored vehicles that one called by what it is may be; none where it is chosen, or is not called."""
        facts = {name.partition(".")[2]: text for name, text in self.named(fields).items()}
        if not facts:
            return ()
        try:
            document = {"rig": {"vehicle": {"facts": facts}}, "accessory": {}}
            return read_question(document, self.answerer.reader, self.records).candidates
        except ProblemsFound:
            return ()

    def _called(self, named: Mapping[str, str]) -> str:
        """What a vehicle is called, as the value of one field; a request's fields come in any order."""
        return urlencode({name: named[name] for name in self._naming if name in named})

    def as_called(self, named: Mapping[str, str]) -> str:
        """What a vehicle is called by, as people say it: its year, make and model, then what else is told."""
        first = [*self.vocabulary.serving("model_year"), *(f"vehicle.{name}" for name in NAMES)]
        words = self.vocabulary.words
        said = {name: words.get(self._naming[name].kind, {}).get(text, text) for name, text in named.items()}
        name = " ".join(said[one] for one in first if one in said)
        return ", ".join(filter(None, (name, *(said[one] for one in said if one not in first))))

    def any_of(self, found: Sequence[Named]) -> list[tuple[str, str, int]]:
        """For each make and model that several vehicles share, all of them as one choice: value, label, how many."""
        groups: dict[tuple[str, ...], list[Named]] = {}
        names = [f"vehicle.{name}" for name in NAMES]
        for one in found:
            if all(name in one.texts for name in names):
                groups.setdefault(tuple(folded(one.texts[name]) for name in names), []).append(one)
        choices = []
        for group in groups.values():
            if len(group) > 1:
                value = self._shared(group, {name: group[0].texts[name] for name in names})
                label = " ".join(
                    value[name] for name in (*self.vocabulary.serving("model_year"), *names) if name in value
                )
                choices.append((self._called(value), label, len(group)))
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

    # what is told of a rig stays with it

    def on(self, fields: Fields) -> tuple[str, str]:
        """The vehicle and the receiver that the rest is told of: ids, what a vehicle is called, or a saved rig."""
        saved = self.records.rig(fields.get("rig", "")) or {}
        mounting = self.records.find("mounting", fields["mounting"]) if fields.get("mounting") else None
        links = mounting.links if mounting else {}
        own = {name: str((saved.get(name) or {}).get("id") or "") for name in ("vehicle", "receiver")}
        rig = f"rig:{fields['rig']}" if fields.get("rig") else ""
        vehicle = fields.get("vehicle") or self._called(self.named(fields))
        return (
            vehicle or links.get("vehicle", "") or own["vehicle"] or rig,
            fields.get("receiver") or links.get("receiver", "") or own["receiver"],
        )

    def _let_go(self, before: Fields, told: dict[str, str]) -> LetGo | None:
        """Take from the fields what was told of another vehicle or receiver than they have now."""
        if ON not in before and told == before:
            return None
        vehicle, receiver = was = _parted(before[ON])[0] if ON in before else self.on(before)
        now = self.on({name: text for name, text in told.items() if name not in ("rig", "mounting")})
        kept = self.on({name: told[name] for name in ("rig", "mounting") if told.get(name)})
        if told.get(f"{FIND}vehicle", "").strip():
            kept = ("", kept[1])  # a vehicle is typed: what a saved rig or mounting says of it counts no more
        moved = bool(vehicle) and (now[0] or kept[0]) != vehicle and not self._narrows(vehicle, now[0])
        changed = bool(receiver) and (now[1] or kept[1]) != receiver
        if not moved and not changed:
            return None
        gone = {name: text for name, text in told.items() if self._stays(name, moved)}
        if not moved and told.get("receiver"):
            gone.pop("receiver", None)
        if not gone:
            return None
        for name in gone:
            told.pop(name)
        if not moved and vehicle and "=" not in vehicle and not vehicle.startswith("rig:"):
            told.setdefault("vehicle", vehicle)
        found = self._gone(before, gone, was, "vehicle" if moved else "receiver")
        return found if found.told else None

    def on_field(self, fields: Fields) -> str:
        """The page's field that says of what the rest is told: vehicle, receiver, and each receiver in front."""
        in_front = [fields.get(f"{place}.receiver", "") for place in ALSO]
        return "|".join((*self.on(fields), *in_front))

    def _let_go_in_front(self, before: Fields, told: dict[str, str]) -> LetGo | None:
        """Take from the fields what was told of another receiver in front than they have now."""
        moved = dict(zip(also_places(before), ALSO, strict=False))
        found: LetGo | None = None
        for place, was in zip(ALSO, _parted(before.get(ON, ""))[1], strict=False):
            own = moved.get(place, "")
            if not was or not own or before.get(f"{place}.receiver", "") == was:
                continue
            gone = {name: text for name, text in told.items() if _measured_in_front(name, own)}
            for name in gone:
                del told[name]
            if gone:
                back = {name: text for name, text in before.items() if name != ON} | {f"{place}.receiver": was}
                found = LetGo(
                    what=t(_CHANGED["front"]),
                    stays_with=self._label("receiver", was),
                    told=self._all_told(gone),
                    undo=link("/", back),
                )
        return found

    def _narrows(self, before: str, now: str) -> bool:
        """Whether one vehicle is now chosen of several that it was known to be one of."""
        if "=" not in before or "=" in now:
            return False
        texts = dict(parse_qsl(before))
        found = self.shop.vehicles(self.session, {}, {name: texts[name] for name in texts if name.endswith(NAMES)})
        return any(one.key == now for one in found)

    def _stays(self, name: str, moved: bool) -> bool:
        """Whether a field stays with the vehicle or receiver it was told of."""
        if name in _OF_RIG or name in PLACES or name.startswith(_OF_OPENING):
            return True
        if _of_own_receiver(name):
            return moved
        if moved and name.startswith("vehicle."):
            return name not in self._naming
        fact = self.vocabulary.facts.get(thing_field(name)[1])
        return fact is not None and fact.subject == "load" and fact.effort == _MEASURED

    def _gone(self, before: Fields, gone: Fields, was: tuple[str, str], of: str) -> LetGo:
        vehicle, receiver = was
        back = {name: text for name, text in before.items() if name not in (ON, f"{FIND}vehicle", f"{SEEN}vehicle")}
        back = {name: text for name, text in back.items() if place_of(name) != "vehicle" or name in gone}
        called: dict[str, str] = dict(parse_qsl(vehicle)) if "=" in vehicle else {"vehicle": vehicle}
        if not vehicle.startswith("rig:") and not back.get("rig") and not back.get("mounting"):
            back |= called
        back |= {"receiver": receiver} if "receiver" in back and receiver else {}
        return LetGo(
            what=t(_CHANGED[of]),
            stays_with=self._label(of, vehicle if of == "vehicle" else receiver),
            told=self._all_told(gone),
            undo=link("/", back),
        )

    def _label(self, subject: str, key: str) -> str:
        if "=" in key:
            return " ".join(text for _, text in parse_qsl(key))
        record = None if key.startswith("rig:") else self.records.find(subject, key)
        return (record.label if record else "") or key.removeprefix("rig:")

    def _all_told(self, gone: Fields) -> str:
        """All that was let go, in words, each once."""
        return ", ".join(dict.fromkeys(filter(None, (self._told(name, text) for name, text in gone.items()))))

    def _told(self, name: str, text: str) -> str:
        """One thing that was let go, in words."""
        name = thing_field(name)[1] or name
        if name == "rig":
            return t("the saved rig")
        if name in ("receiver", "mounting"):
            return t("its {name}", name=called_in_words(name))
        if name.startswith("adapter."):
            return t("what is in its opening")
        fact = self.vocabulary.facts.get(name)
        return as_told(fact, cell(text)) if fact else ""

    def _leave_to_rig(self, told: dict[str, str]) -> None:
        """Leave out what the saved rig says itself: named anew, a part would lose what the rig tells of it."""
        saved = self.records.rig(told["rig"]) if told.get("rig") else None
        for name in ("vehicle", "receiver"):
            if saved and told.get(name) and (saved.get(name) or {}).get("id") == told[name]:
                del told[name]


def _hits(
    text: str,
    how: Found,
    keys: Sequence[str],
    same: Sequence[str],
    *,
    vehicles: Sequence[Named] = (),
    items: Sequence[Item] = (),
    count: int | None = None,
) -> Hits:
    count = len(keys) if count is None else count
    the_same = same[0] if len(same) == 1 else ""
    one = the_same or (keys[0] if count == 1 and how.exact else "")
    return Hits(text=text, count=count, vehicles=vehicles, items=items, one=one, same=the_same, told=how.told)


def _no_choice(place: str, hits: Hits) -> Problem:
    if not hits.count:
        return Problem(
            t("nothing goes by “{what}”", what=hits.text),
            t("try another word, or clear the field"),
            pointer=place,
            meaning=True,
        )
    message = t("you typed “{what}” and nothing is chosen", what=hits.text)
    # That it is one of some, not known which, may stand among them too: they are not counted.
    several = t("choose one of those below") if hits.count > 1 else t("choose it below if it is meant")
    return Problem(message, t("{several}, or clear the field", several=several), pointer=place, meaning=True)


def _of_own_receiver(name: str) -> bool:
    """Whether a field is of the receiver in front that something else hangs in."""
    place, inner = thing_field(name)
    return bool(place) and inner.partition(".")[0] in OF_FRONT


def as_told(fact: Fact, text: str) -> str:
    """A fact and what is told of it: `bike weight 30 lb`, `the rear closure must open: yes`."""
    return f"{as_said(fact.label)}: {text}" if is_clause(fact.label) else f"{fact.label} {text}"


def _measured_in_front(name: str, place: str) -> bool:
    """Whether a field is told of the receiver in front that a thing hangs in, but for which one that is."""
    at, inner = thing_field(name)
    return at == place and inner != "receiver" and _of_own_receiver(name)


def _parted(on: str) -> tuple[tuple[str, str], list[str]]:
    """The vehicle and the receiver, and the receivers in front by the place of what hangs there."""
    vehicle, receiver, *in_front = (*on.split("|"), "") if "|" not in on else on.split("|")
    return (vehicle, receiver), in_front


def place_of(name: str) -> str:
    """The place of the question that a field is about, its search too."""
    return name.removeprefix(FIND).removeprefix(SEEN).partition(".")[0]
