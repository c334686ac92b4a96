"""What a search for plans has found, answered in full and told: the sets, and what a wish without one misses."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.answers.answer import Answer, RulebookName
from fitsvc.answers.answering import LITTLE_WORK, Answerer
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.phrases import capped, joined
from fitsvc.answers.question import read_question
from fitsvc.answers.records import Records
from fitsvc.answers.shelf import Item
from fitsvc.document import Document
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.typed import presences
from fitsvc.planning.excess import Excess
from fitsvc.planning.parts import PartSet, Provision, Site, Stack, stacked, tried_on, with_items
from fitsvc.planning.plan import AtOnce, PinHeld, Plan, PlanMiss, PlanPart, PlanSet, Role, WishServed
from fitsvc.planning.search import MOST_SPOILT, Search, StillOpen
from fitsvc.rulebook.filling import ACCESSORY
from fitsvc.rulebook.outcomes import OUTCOMES
from fitsvc.tongues import later, t

MOST_TOLD: Final = 4
"""How many sets are told, the best one counted."""

MOST_MISSES: Final = 6
MOST_NEAR: Final = 60
"""Accessories that are nearest and of which it is asked whether the best set's adapters serve them."""
_OTHERS: Final = 5
_UNTRIED: Final = later(" There is more on the shelf than was tried: fewer parts, or better ones, may do as well.")


class PlanTelling:
    """A search's findings being answered in full and told."""

    def __init__(self, answerer: Answerer, search: Search, records: Records, system: System) -> None:
        self.answerer, self.search, self.records, self.system = answerer, search, records, system
        self.wanted, self.wares = search.wanted, search.wares

    def plan(self) -> Plan:
        """The whole plan."""
        at_most = self.wanted.at_most
        fewest = self.search.found[0].rank[0] if self.search.found else None
        sets = list(self._sets(one for one in self.search.found if at_most is None or one.rank[0] <= at_most))
        best = sets[0] if sets else None
        misses = self._misses(self.search.found[0].site if self.search.found else None)
        summary = _summary(best, fewest, at_most, misses, self.wanted.place is not None, self.search.untried)
        misses = [*self._spoilt(), *misses]
        name = RulebookName(self.answerer.rulebook.digest, self.answerer.rulebook.name)
        return Plan(
            summary=summary,
            best=best,
            runners_up=sets[1:],
            fewest=fewest,
            misses=misses,
            rulebook=name,
            untried=self.search.untried,
        )

    def _sets(self, found: Iterable[PartSet]) -> Iterator[PlanSet]:
        """The best few sets; one that only adds to a better one is none of them."""
        told: list[frozenset[str]] = []
        for one in found:
            if len(told) < MOST_TOLD and not any(better < one.skus for better in told):
                told.append(one.skus)
                yield self._set(one)

    def _set(self, found: PartSet) -> PlanSet:
        served = [self._served(found, wish) for wish in range(len(found.choices))]
        pins = [self._pin(found, wish) for wish, choice in enumerate(found.choices) if choice.pin is not None]
        count, conditional, opens, *_ = found.rank
        return PlanSet(
            outcome="conditional" if conditional else "works",
            count=count,
            open=opens,
            parts=self._parts(found),
            wishes=served,
            pins=pins,
            together=self._together(found.site, found.choices)[0] if self.wanted.place is not None else None,
        )

    def _together(self, site: Site, choices: Sequence[Provision]) -> tuple[AtOnce, Answer]:
        """All wishes at the same time, asked and answered."""
        assert self.wanted.place is not None
        first, pin = choices[0], any(choice.pin is not None for choice in choices)
        things = []
        for wish, choice in enumerate(choices):
            parts = {item.subject: {"sku": item.sku} for item in self.search.items(choice)}
            one = self.wanted.wishes[wish]
            things.append({"name": one.name, "hangs_on": self.wanted.place[0], **parts, **one.parts})
        question = self._question(site, None, [], first.provider.stack.adapters, pin) | {TOGETHER: things}
        answer = self.answerer.answer(question, self.records, self.system, most=LITTLE_WORK)
        return AtOnce(answer.outcome, answer.summary, question), answer

    def _question(
        self, site: Site, wish: int | None, items: Sequence[Item], adapters: Sequence[int], pin: bool
    ) -> Document:
        """The question about some items on a receiver, with adapters added and a pin at hand."""
        rig = dict(site.rig)
        if adapters:
            added = [{"sku": self.wares.adapters.items[i].sku} for i in adapters]
            rig["adapters"] = [*(rig.get("adapters") or []), *added]
        by_pin = self.search.by_accessory
        if pin and by_pin is not None:
            place, _, fact = by_pin.gives.partition(".")
            part = rig.get(place) or {}
            rig[place] = {**part, "facts": {**(part.get("facts") or {}), fact: True}}
        parts = {} if wish is None else self.wanted.wishes[wish].parts
        return {"rig": rig, **{item.subject: {"sku": item.sku} for item in items}, **parts}

    def _served(self, found: PartSet, wish: int) -> WishServed:
        choice = found.choices[wish]
        items, adapters = self.search.items(choice), choice.provider.stack.adapters
        question = self._question(found.site, wish, items, adapters, choice.pin is not None)
        answer = self.answerer.answer(question, self.records, self.system, most=LITTLE_WORK)
        parts = [
            *([found.site.receiver.key] if found.site.receiver else []),
            *(self.wares.adapters.items[i].sku for i in adapters),
            *(item.sku for item in items),
        ]
        parts += [] if choice.pin is None else [self.wares.accessories.items[choice.pin].sku]
        name = self.wanted.wishes[wish].name
        return WishServed(
            wish=wish,
            name=name,
            parts=parts,
            outcome=answer.outcome,
            summary=answer.summary,
            needs=answer.needs,
            question=question,
            allowance=answer.allowance,
            assumed=answer.assumed,
            disputed=answer.disputed,
        )

    def _pin(self, found: PartSet, wish: int) -> PinHeld:
        choice = found.choices[wish]
        assert choice.pin is not None
        pin = self.wares.accessories.items[choice.pin]
        question = self._question(found.site, None, [pin], choice.provider.stack.adapters, False)
        answer = self.answerer.answer(question, self.records, self.system, most=LITTLE_WORK)
        return PinHeld(wish, pin.sku, answer.outcome, answer.summary, question)

    def _parts(self, found: PartSet) -> list[PlanPart]:
        """Every part once, in the order they go together."""
        site, parts = found.site, list[PlanPart]()
        if site.receiver is not None:
            parts.append(PlanPart(role="receiver", label=site.receiver.label, id=site.receiver.key, there=site.there))
        for stack in dict.fromkeys(choice.provider.stack for choice in found.choices):
            for i in stack.adapters:
                item = self.wares.adapters.items[i]
                parts.append(
                    PlanPart(
                        role="adapter",
                        label=item.label,
                        sku=item.sku,
                        others=_others(set(stack.same) - tried_on(site.plain), item.sku),
                    )
                )
        for place in dict.fromkeys(choice.provider.item for choice in found.choices):
            alike = [self._as_well(found, wish) for wish, one in enumerate(found.choices) if one.provider.item == place]
            parts.append(self._part(site, "accessory", place, sorted(set.intersection(*alike))))
        for ball in dict.fromkeys(choice.ball for choice in found.choices if choice.ball is not None):
            parts.append(self._part(site, "ball", ball, found.same_balls[ball]))
        for pin in dict.fromkeys(choice.pin for choice in found.choices if choice.pin is not None):
            parts.append(self._part(site, "pin", pin, found.same_pins[pin]))
        return list({(part.role, part.sku): part for part in parts}.values())

    def _as_well(self, found: PartSet, wish: int) -> set[int]:
        """What serves a wish as well as what was chosen: the same is open of it, with the same rise or drop if that is.

        As much may be open of a mount that is level and hides the plate as of one that sits too low.
        """
        choice, engine, items = found.choices[wish], self.answerer.engine, self.wares.accessories.items
        adapters = [self.wares.adapters.items[i] for i in choice.provider.stack.adapters]
        own_case = stacked(found.site.cases[wish], self.answerer.reader, adapters)
        balls = [self.wares.balls.items[choice.ball]] if choice.ball is not None else []

        def open_of(item: Item) -> tuple[list[int], ...]:
            verdict = engine.rule_by_rule(with_items(own_case, self.answerer.reader, item, *balls))
            return verdict.fails, verdict.unknown, verdict.open_needs, verdict.cautions, verdict.doubts

        chosen, facts = items[choice.provider.item], engine.rulebook.vocabulary.facts
        *_, cautions, doubts = first = open_of(chosen)
        hangs_on = {
            read.name
            for number in (*cautions, *doubts)
            for read in engine.support(number, bool(adapters)).leaves
            if read.name.startswith(f"{ACCESSORY}.") and facts[read.name].below_zero
        }
        own = {name: chosen.values.get(name) for name in hangs_on}
        alike = (one for one in choice.provider.same if all(items[one].values.get(n) == v for n, v in own.items()))
        return {one for one in islice(alike, 2 * _OTHERS) if open_of(items[one]) == first}

    def _part(self, site: Site, role: Role, place: int, alike: Sequence[int]) -> PlanPart:
        fold = self.wares.balls if role == "ball" else self.wares.accessories
        item = fold.items[place]
        skus = {sku for one in alike for sku in (fold.items[one].sku, *fold.twins[one])} - tried_on(site.plain)
        return PlanPart(role=role, label=item.label, sku=item.sku, others=_others(skus, item.sku))

    def _misses(self, best: Site | None) -> list[PlanMiss]:
        """What comes nearest without serving: on receivers that leave a wish unserved, then beside the best set."""
        sites = sorted(self.search.sites, key=lambda site: (-len(self.search.served.get(site.number, ())), site.number))
        wishes = range(len(self.wanted.wishes))
        wanted = [(site, wish) for site in sites for wish in wishes if wish not in self.search.served[site.number]]
        wanted += [(best, wish) for wish in wishes] if best is not None else []
        misses = [miss for site, wish in wanted[:MOST_MISSES] if (miss := self._miss(site, wish)) is not None]
        if best is None:
            # What only waits to be known is nearer than what is refused, and says what to find out first.
            misses = sorted([*misses, *self._undecided()], key=lambda miss: OUTCOMES.index(miss.outcome))[:MOST_MISSES]
        if not sites:
            misses = [
                PlanMiss(
                    wish=wish,
                    name=one.name,
                    outcome="fails",
                    because=t("No receiver that mounts on this vehicle is stored."),
                )
                for wish, one in enumerate(self.wanted.wishes)
            ]
        return misses

    def _undecided(self) -> Iterator[PlanMiss]:
        """What would serve a wish behind adapters, if what is open of it were known."""
        told = (self._if_known(wish, one) for wish, one in sorted(self.search.undecided.items()))
        yield from (miss for miss in told if miss.outcome == "undetermined")

    def _if_known(self, wish: int, one: StillOpen) -> PlanMiss:
        mount = self.wares.accessories.items[one.item]
        adapters = [self.wares.adapters.items[i] for i in one.stack.adapters]
        case = with_items(stacked(one.site.cases[wish], self.answerer.reader, adapters), self.answerer.reader, mount)
        balls = self._nearest_ball(case) if one.ball else []
        question = self._question(one.site, wish, [mount, *balls], one.stack.adapters, False)
        asked = read_question(question, self.answerer.reader, self.records)
        answer = self.answerer.answer_question(asked, self.system)
        receiver = [one.site.receiver.key] if one.site.receiver else []
        return PlanMiss(
            wish=wish,
            name=self.wanted.wishes[wish].name,
            outcome=answer.outcome,
            because=answer.summary,
            parts=[*receiver, *(item.sku for item in (*adapters, mount, *balls))],
            question=question,
            disputed=answer.disputed,
        )

    def _spoilt(self) -> Iterator[PlanMiss]:
        """What comes nearest to serving all wishes at the same time, where nothing does: an opening for all of them."""
        sets = [] if self.search.found else [(site, choices) for _, site, choices in self.search.spoilt]
        held = [one for one in sets if one[1][0].provider.stack.adapters]
        whole, opened = [one for one in held if self._each_by_itself(*one)], list[tuple[Site, tuple[Provision, ...]]]()
        for _, site, stack in [] if whole else self.search.unheld:
            opened += [(site, _in(stack, choices)) for at, choices in sets[:1] if at.number == site.number]
        whole = whole or [one for one in opened if self._each_by_itself(*one)]
        # An opening for all of them that spoils a wish by itself is told of too, or it would seem that there is none.
        nearest = whole or [*opened[: MOST_SPOILT - 1], *sets]
        yield from (self._not_at_once(*one) for one in nearest[:MOST_SPOILT])

    def _each_by_itself(self, site: Site, choices: Sequence[Provision]) -> bool:
        """Whether each wish is served by itself."""
        reader, cases = self.answerer.reader, zip(site.cases, choices, strict=True)
        adapters = [self.wares.adapters.items[i] for i in choices[0].provider.stack.adapters]
        return all(
            self._holds(with_items(stacked(case, reader, adapters), reader, *self.search.items(choice)))
            for case, choice in cases
        )

    def _not_at_once(self, site: Site, choices: Sequence[Provision]) -> PlanMiss:
        """A set of which each wish is served by itself and not beside the others, by the one that comes out worst."""
        told, answer = self._together(site, choices)
        worst = max(range(len(choices)), key=lambda wish: OUTCOMES.index(answer.together[wish].answer.outcome))
        adapters = [self.wares.adapters.items[i] for i in choices[0].provider.stack.adapters]
        parts = [*adapters, *(item for choice in choices for item in self.search.items(choice))]
        return PlanMiss(
            wish=worst,
            name=self.wanted.wishes[worst].name,
            outcome=told.outcome,
            because=told.summary,
            parts=[*([site.receiver.key] if site.receiver else []), *dict.fromkeys(item.sku for item in parts)],
            question=told.question,
            disputed=answer.disputed,
        )

    def _miss(self, site: Site, wish: int) -> PlanMiss | None:
        """The accessory that comes nearest to serving a wish bare, and does not; None where there is none."""
        one, rows, fold = self.wanted.wishes[wish], self.search.bare[site.number, wish], self.wares.accessories
        kinds = fold.of_kinds(one.kinds)
        if not kinds.any():
            return PlanMiss(
                wish=wish,
                name=one.name,
                outcome="fails",
                because=t("Nothing of the kind that would serve is on the shelf."),
            )
        served = wish in self.search.served[site.number]
        near = (
            np.flatnonzero(kinds & ~rows.works)
            if served or not (kinds & rows.works).any()
            else np.flatnonzero(kinds & rows.works)
        )
        if not len(near):
            return None
        place = self._nearest(site, wish, near)
        if place is None:
            return None
        items = [fold.items[place]]
        if rows.ball[place]:
            items += self._nearest_ball(with_items(site.cases[wish], self.answerer.reader, items[0]))
        question = self._question(site, wish, items, (), False)
        asked = read_question(question, self.answerer.reader, self.records)
        answer = self.answerer.answer_question(asked, self.system)
        if answer.outcome in ("works", "conditional"):
            because = t("No ball on the shelf does.")
            return PlanMiss(
                wish=wish,
                name=one.name,
                outcome="fails",
                because=because,
                parts=[item.sku for item in items],
                question=question,
                disputed=answer.disputed,
            )
        parts = [*([site.receiver.key] if site.receiver else []), *(item.sku for item in items)]
        return self._without(site, wish, answer) or PlanMiss(
            wish=wish,
            name=one.name,
            outcome=answer.outcome,
            because=answer.summary,
            parts=parts,
            question=question,
            disputed=answer.disputed,
        )

    def _without(self, site: Site, wish: int, refused: Answer) -> PlanMiss | None:
        """A trailer by itself where nothing at all goes into the receiver, since a ball is in place; else None.

        What is refused is then refused by no fact of its own, and the question without it is not.
        """
        one = self.wanted.wishes[wish]
        whatever = any(
            finding.result == "fails" and not any(name.startswith(f"{ACCESSORY}.") for name in finding.facts)
            for finding in refused.findings
        )
        if "trailer" not in one.parts or not whatever:
            return None
        question = self._question(site, wish, (), (), False)
        answer = self.answerer.answer(question, self.records, self.system, most=LITTLE_WORK)
        needs = self.answerer.rulebook.needs
        # A part that is asked for only since there is no accessory is one to sell, so that something does go in.
        missed = {need.name for need in needs if need.guard and not need.work and ACCESSORY in presences(need.guard)}
        if answer.outcome == "fails" or missed & {told["need"] for told in answer.needs}:
            return None
        because = t("It takes no mount here. {told}", told=answer.summary)
        return PlanMiss(
            wish=wish,
            name=one.name,
            outcome=answer.outcome,
            because=because,
            question=question,
            disputed=answer.disputed,
        )

    def _nearest(self, site: Site, wish: int, near: NDArray[np.intp]) -> int | None:
        """The accessory that breaks the fewest rules, by the least; one that the best set's adapters serve is none."""
        case, rows, fold = site.cases[wish], self.search.bare[site.number, wish], self.wares.accessories
        excess = Excess(self.answerer.engine, self.answerer.reader, case, fold)
        adapted = self._adapters_of_best(site, wish)
        behind = stacked(case, self.answerer.reader, adapted)
        by_fails = (near[rows.fails[near] == count] for count in np.unique(rows.fails[near]))
        nearest: Iterator[int] = (
            i for some in by_fails for i in some[np.lexsort((some, rows.opens[some], excess.of(some)))].tolist()
        )
        for i in islice(nearest, MOST_NEAR):
            if not adapted or not self._holds(with_items(behind, self.answerer.reader, fold.items[i])):
                return i
        return None

    def _adapters_of_best(self, site: Site, wish: int) -> list[Item]:
        best = self.search.found[0] if self.search.found else None
        if best is None or best.site.number != site.number:
            return []
        return [self.wares.adapters.items[i] for i in best.choices[wish].provider.stack.adapters]

    def _holds(self, case: Case) -> bool:
        return self.answerer.engine.evaluate(case).outcome in ("works", "conditional")

    def _nearest_ball(self, mounted: Case) -> list[Item]:
        balls = self.wares.balls
        rows = balls.rows(balls.judged(mounted))
        order = sorted(
            range(len(rows.works)), key=lambda i: (not rows.works[i], int(rows.fails[i]), int(rows.opens[i]), i)
        )
        return [self.wares.balls.items[order[0]]] if order else []


def _in(stack: Stack, choices: Sequence[Provision]) -> tuple[Provision, ...]:
    """The same choices with other adapters in the opening."""
    return tuple(one._replace(provider=replace(one.provider, stack=stack)) for one in choices)


def _others(skus: Iterable[str], own: str) -> list[str]:
    return sorted(sku for sku in skus if sku != own)[:_OTHERS]


def _summary(
    best: PlanSet | None,
    fewest: int | None,
    at_most: int | None,
    misses: Sequence[PlanMiss],
    together: bool,
    untried: int,
) -> str:
    every = t("every wish at once") if together else t("every wish")
    left = t(_UNTRIED) if untried else ""
    if best is None and fewest is not None and at_most is not None:
        return t(
            "Not with {parts}: it takes at least {fewest}.{left}", parts=_counted(at_most), fewest=fewest, left=left
        )
    if best is None:
        alone = (
            t(" Each is served by itself, and no set of parts holds all of them at the same time.") if together else ""
        )
        first = f" {misses[0].name}: {misses[0].because}" if misses else alone
        nothing = t("Of what was tried of the shelf nothing") if untried else t("Nothing on the shelf")
        if misses and misses[0].outcome == "undetermined":
            # It is no refusal: more has to be known first.
            nothing = t("{nothing} surely", nothing=nothing)
        return t(
            "{nothing} serves {every} with one receiver.{first}{left}",
            nothing=nothing,
            every=every,
            first=first,
            left=left,
        )
    bought = [t("the {label}", label=part.label) for part in best.parts if not part.there]
    there = [t("the {label}", label=part.label) for part in best.parts if part.there]
    text = t("{parts} for {every}: {bought}", parts=capped(_counted(best.count)), every=every, bought=joined(bought))
    text += t(", on {there} already fitted", there=joined(there)) if there else ""
    see_to = "" if best.outcome == "works" else t(" See to what each wish asks for.")
    return f"{text}.{see_to}{left}"


def _counted(count: int) -> str:
    return t("1 part") if count == 1 else t("{count} parts", count=count)
