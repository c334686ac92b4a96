"""The vehicles of an audit's rigs as they are called, and what each word of a name asks of them."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from fitsvc.answers.records import NAMES
from fitsvc.answers.taken import agree, folded
from fitsvc.audits.naming import (
    EARLIEST,
    LATEST,
    PhraseReader,
    VehicleTold,
    Wanted,
    Years,
    is_one_of,
    plain,
    without_exceptions,
)
from fitsvc.audits.rigs import AuditRig
from fitsvc.language.truth import NO, UNKNOWN, YES, Truth
from fitsvc.language.types import ListType
from fitsvc.rulebook.rules import Rulebook
from fitsvc.tongues import t

ASKED: Final = "ask"
"""The effort of learning what people call a vehicle by."""


class CalledVehicles:
    """The vehicles of some rigs, each once with the places of its rigs, and tests of what they are called."""

    def __init__(self, rigs: Sequence[AuditRig], rulebook: Rulebook) -> None:
        vocabulary = rulebook.vocabulary
        self.facts, self.words = vocabulary.naming(), rulebook.words
        self._list_words = vocabulary.words
        self.year = next(iter(vocabulary.serving("model_year")), "")
        self.names = [f"vehicle.{name}" for name in NAMES if f"vehicle.{name}" in self.facts]
        self.all: dict[tuple[object, ...], tuple[VehicleTold, list[int]]] = {}
        for place, rig in enumerate(rigs):
            self._put(place, rig)
        self._by_model: dict[str, list[tuple[VehicleTold, list[int]]]] = {}
        for one in self.all.values():
            for begins in _beginnings(folded(one[0].texts.get(self.names[-1], ""))):
                self._by_model.setdefault(begins, []).append(one)
        self._trims = frozenset(word for one, _ in self.all.values() for word in _words(" ".join(self._rest(one))))
        self.called = {
            name: {folded(one.texts[name]) for one, _ in self.all.values() if name in one.texts} for name in self.names
        }
        known = frozenset(word for one, _ in self.all.values() for word in one.words | one.words_denied)
        self.reader = PhraseReader(self._phrases(), known, self.words.passed_over, self._word)
        self.vocabulary = sorted({*known, *(one for names in self.called.values() for one in names)})

    def candidates(self, models: Sequence[str]) -> Iterable[tuple[VehicleTold, list[int]]]:
        """Of some models the vehicles whose own begins so and those that tell none; of no model all."""
        if not models:
            return self.all.values()
        found = (one for model in ("", *models) for one in self._by_model.get(model, ()))
        return {id(one[1]): one for one in found}.values()

    def _put(self, place: int, rig: AuditRig) -> None:
        texts = {name: text for name, text in rig.case.texts.items() if name in self.facts}
        if not any(name in texts for name in self.names):
            return  # a receiver by itself is of no vehicle that anyone names
        values = {name: value for name, value in rig.case.facts.items() if name in self.facts}
        key = (rig.label, *sorted(texts.items()), *sorted(values.items()))
        if key not in self.all:
            parts = [part for text in (rig.label, *texts.values()) for part in plain(text).split(",")]
            split = [without_exceptions(part) for part in parts]
            says, denies = " | ".join(part for part, _ in split), " | ".join(no for _, nos in split for no in nos)
            told = VehicleTold(
                label=rig.label or " ".join(texts.values()),
                texts=texts,
                values=values,
                says=says,
                denies=denies,
                words=frozenset(_words(says)),
                words_denied=frozenset(_words(denies)),
            )
            self.all[key] = (told, [])
        self.all[key][1].append(place)

    def _rest(self, one: VehicleTold) -> Iterator[str]:
        """What a vehicle is called beside the names that it goes by, such as its trim."""
        return (plain(text) for name, text in one.texts.items() if name not in self.names)

    def _phrases(self) -> dict[str, dict[str, Wanted]]:
        """Every phrase that is known as a whole, with what it is about."""
        found: dict[str, dict[str, Wanted]] = {}
        for name in self.names:
            for text in self.called[name]:
                found.setdefault(plain(text), {})[name] = self._of_name(name, text)
        for group, members in self.words.variants.items():
            for member, written in members.items():
                for text in written:
                    found.setdefault(text, {})[group] = self.of_variant(group, member, text)
        for name, fact in self.facts.items():
            if isinstance(fact.type, ListType) and fact.effort == ASKED:
                for text, member in self.members(name).items():
                    found.setdefault(text, {})[name] = self.of_list(name, member, text)
        return found

    def members(self, name: str) -> dict[str, str]:
        """The members of a list by all that people call them."""
        fact = self.facts[name]
        assert isinstance(fact.type, ListType)
        words = self._list_words.get(fact.kind, {})
        found = {plain(words.get(member, member)): member for member in fact.type.members}
        found |= {member.replace("_", " "): member for member in fact.type.members}
        for word, meant in self.words.stands_for.items():
            if len(meant) == 1 and meant[0] in found:
                found.setdefault(word, found[meant[0]])
        return found

    def _of_name(self, name: str, text: str) -> Wanted:
        def holds(one: VehicleTold) -> Truth:
            own = one.texts.get(name)
            return is_one_of(None if own is None else folded(own), text)

        return Wanted(text, holds, theirs=True)

    def of_variant(self, group: str, member: str, said: str) -> Wanted:
        """Whether it is a variant: its label says so, or that it is another."""
        members = self.words.variants[group]

        def holds(one: VehicleTold) -> Truth:
            is_it, denied = _has(one.says, members[member]), _has(one.denies, members[member])
            other = any(_has(one.says, written) for name, written in members.items() if name != member)
            if is_it and not other and not denied:
                return YES
            return NO if not is_it and (other or denied) else UNKNOWN

        return Wanted(said, holds)

    def of_list(self, name: str, member: str, said: str) -> Wanted:
        """Whether a fact of a list is this member of it."""
        kind = self.facts[name].type
        assert isinstance(kind, ListType)
        mask = kind.mask(member)

        def holds(one: VehicleTold) -> Truth:
            own = one.values.get(name)
            if not isinstance(own, int):
                return UNKNOWN
            return YES if own == mask else UNKNOWN if own & mask else NO

        return Wanted(said, holds)

    def of_years(self, years: Sequence[Years]) -> Wanted:
        """Whether its year is one of some."""

        def holds(one: VehicleTold) -> Truth:
            own = one.values.get(self.year)
            if not isinstance(own, tuple):
                return UNKNOWN
            if any(first <= own[0] and own[1] <= last for first, last in years):
                return YES
            return UNKNOWN if any(agree(own, (float(first), float(last))) for first, last in years) else NO

        return Wanted(in_words(years), holds)

    def _word(self, word: str) -> Wanted:
        """Whether a vehicle's label or texts have a word; a trim that is told and has it not is another one's."""
        meant = {word, *self.words.stands_for.get(word, ())}

        def holds(one: VehicleTold) -> Truth:
            says, denies = bool(meant & one.words), bool(meant & one.words_denied)
            if says != denies:
                return YES if says else NO
            is_trim = word in self._trims and any(True for _ in self._rest(one))
            return NO if is_trim and not says else UNKNOWN

        return Wanted(word, holds)


def _beginnings(text: str) -> list[str]:
    """A name and all that it begins with, word by word; of none the empty one."""
    words = text.split()
    return [" ".join(words[:count]) for count in range(1, len(words) + 1)] or [""]


def _words(text: str) -> set[str]:
    return {word.strip(".'-/|") for word in text.replace("|", " ").replace(",", " ").split()}


def _has(text: str, written: Iterable[str]) -> bool:
    padded = f" {text.replace('|', ' | ')} "
    return any(f" {one} " in padded for one in written)


def in_words(years: Iterable[Years]) -> str:
    """Years as they are told."""
    return ", ".join(map(_span, years))


def _span(years: Years) -> str:
    first, last = years
    if first == EARLIEST or last == LATEST:
        return t("up to {last}", last=last) if first == EARLIEST else t("{first} and later", first=first)
    return str(first) if first == last else t("{first} to {last}", first=first, last=last)
