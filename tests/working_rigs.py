"""Rigs that are a plain yes: of every kind, on every body, with none to two adapters, by plain figures and by chance.

Each begins with all that can be told, in figures with room to spare. From there figures and what is told at all are
changed by chance, as long as the answer stays a plain yes.
"""

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from random import Random
from typing import Any, Final

from judging import case
from random_rulebooks import Slot, narrower, shipped_rulebook

from fitsvc.facts import Case, at_place
from fitsvc.language.types import ListType, Value
from fitsvc.rulebook.kinds import Kind, kinds_of

MADE: Final = shipped_rulebook()
BOOK: Final = MADE.rulebook
KINDS: Final[Mapping[str, Kind]] = kinds_of(BOOK.vocabulary)
Facts = Mapping[str, Any]

TOWED: Final = "towed"
"""A trailer in the vehicle's place: but for a pin, what hangs behind one is never a plain yes."""

_RIG: Final[Facts] = {
    "vehicle.wheelbase": "120 in", "vehicle.rear_overhang": "40 in", "vehicle.overall_width": "80 in",
    "vehicle.curb_weight": "4500 lb", "vehicle.curb_weight_front": "2500 lb", "vehicle.curb_weight_rear": "2000 lb",
    "vehicle.gvwr": "7500 lb", "vehicle.placard_capacity": "2900 lb", "vehicle.gawr_front": "3600 lb",
    "vehicle.gawr_rear": "4500 lb", "vehicle.gcwr": "16000 lb", "vehicle.tow_rating": "7000 lb",
    "vehicle.tow_rating_wd": "7000 lb", "vehicle.tow_rating_unbraked": "3000 lb", "vehicle.tongue_rating": "900 lb",
    "vehicle.tongue_rating_wd": "900 lb", "vehicle.tyre": "245/75R16 111T", "vehicle.tyre_radius": "14 in",
    "vehicle.departure_angle": "25 deg", "vehicle.rear_closure": "none", "vehicle.closure_hinge_height": "70 in",
    "vehicle.closure_length": "30 in", "vehicle.closure_hinge_setback": "10 in", "vehicle.socket": "blade_7",
    "vehicle.closure_hinge_offset": "20 in", "vehicle.spare_location": "underbody", "vehicle.spare_protrusion": "0 in",
    "vehicle.spare_bottom_height": "60 in", "vehicle.spare_well_diameter": "34 in", "vehicle.brake_controller": True,
    "vehicle.air_supply": True, "receiver.hitch_class": "V", "receiver.pin_hole": "5/8 in",
    "receiver.pin_supplied": True, "receiver.recovery_allowed": True, "receiver.tube_outside": "3 in",
    "receiver.trailer_rating": "8000 lb", "receiver.tongue_rating": "1000 lb", "receiver.trailer_rating_wd": "8000 lb",
    "receiver.tongue_rating_wd": "1000 lb", "receiver.weight_distribution_allowed": True, "receiver.d_value": "100 kN",
    "receiver.chain_loop_opening": "2 in", "receiver.vertical_rating": "1000 lb", "mounting.height": "18 in",
    "mounting.pin_to_bumper": "4 in", "mounting.spare_fits_up_to": "31 in", "mounting.spare_blocked_from": "40 in",
    "mounting.spare_room_taken": "0 in", "mounting.fitted": True, "mounting.drilling": False,
    "mounting.fascia_trim": "none", "mounting.exhaust_lowering": False, "mounting.spare_lowering": False,
    "mounting.fastener_torque": "80 ft-lb", "receiver.recovery_rating": "9000 lb",
}  # fmt: skip
_ACCESSORY: Final[Facts] = {
    "accessory.shank": "2 in", "accessory.pin": "5/8 in", "accessory.pin_supplied": True, "accessory.pin_span": "4 in",
    "accessory.weight": "30 lb", "accessory.capacity": "300 lb", "accessory.min_class": "none",
    "accessory.trailer_rating": "8000 lb", "accessory.tongue_rating": "750 lb", "accessory.length": "14 in",
    "accessory.rear_extent": "30 in", "accessory.front_setback": "14 in", "accessory.stow_setback": "12 in",
    "accessory.stow_extent": "28 in", "accessory.stow_height": "30 in", "accessory.tilts_clear": True,
    "accessory.lowest_drop": "1 in", "accessory.lowest_behind": "14 in", "accessory.front_height": "5 in",
    "accessory.top_height": "6 in", "accessory.width": "40 in", "accessory.rise": "0 in",
    "accessory.rise_lowest": "-6 in", "accessory.rise_highest": "6 in", "accessory.ball_hole": "1 in",
    "accessory.platform_thickness": "1/2 in", "accessory.bikes_max": 4, "accessory.bike_weight_max": "60 lb",
    "accessory.extension_allowed": True, "accessory.approved_behind_motorhome": True,
    "accessory.obscures_plate": False, "accessory.obscures_lamps": False, "accessory.plug": "blade_7",
    "accessory.wiring_adapter": True, "accessory.hook_supplied": True, "accessory.bikes_held_by": "wheels",
}  # fmt: skip
_TRAILER: Final[Facts] = {
    "trailer.gross_weight": "3000 lb",
    "trailer.empty_weight": "1500 lb",
    "trailer.body": "utility",
    "trailer.tongue_weight": "375 lb",
    "trailer.coupler_rating": "5000 lb",
    "trailer.coupler_height": "18 in",
    "trailer.brakes": "electric",
    "trailer.breakaway": True,
    "trailer.plug": "blade_7",
    "trailer.chain_count": 2,
    "trailer.chain_rating_each": "8000 lb",
    "trailer.chain_hook_size": "1 in",
    "trailer.weight_distribution": False,
    "trailer.wiring_adapter": True,
    "trailer.drawbar_length": "60 in",
    "trailer.jack_behind_ball": "40 in",
    "trailer.jack_height": "30 in",
    "trailer.jack_width": "3 in",
    "load.occupants_weight": "150 lb",
}
_BALL: Final[Facts] = {
    "ball.diameter": "2 in",
    "ball.shank_diameter": "1 in",
    "ball.shank_length": "4 in",
    "ball.rating": "8000 lb",
}
_UNBRAKED: Final[Facts] = {
    "trailer.gross_weight": "500 lb",
    "trailer.empty_weight": "300 lb",
    "trailer.tongue_weight": "60 lb",
    "trailer.brakes": "none",
    "trailer.breakaway": False,
}
_OTHERS: Final[Facts] = {
    "beside.hangs_on": "rear_receiver",
    "beside.things": 1,
    "beside.weight": "20 lb",
    "beside.on_vehicle": "20 lb",
    "beside.adapters": "5 lb",
    "beside.on_rear_axle": "30 lb",
    "beside.off_front_axle": "5 lb",
    "beside.on_front_axle": "0 lb",
    "beside.in_combination": "20 lb",
    "beside.on_trailer": "0 lb",
    "beside.loads_trailer": False,
    "beside.tows": False,
    "beside.uses_socket": False,
    "beside.rear_end": "5 in",
    "beside.underside": "60 in",
    "beside.top": "70 in",
}
_BESIDE: Final[Sequence[Facts]] = (
    {},
    {"load.jurisdiction": "ontario", "load.occupants_weight": "150 lb"},
    {"spare.tyre": "245/75R16 111T", "spare.stowed_where": "underbody"},
    {
        "receiver.place": "bumper",
        "vehicle.bumper_trailer_rating": "5000 lb",
        "vehicle.bumper_tongue_rating": "500 lb",
        "accessory.allowed_on_bumper": True,
    },
    _OTHERS,
    {**_OTHERS, "beside.things": 0, "beside.loads_trailer": True, "beside.on_trailer": "20 lb"},
    {
        **_OTHERS,
        "beside.hangs_on": "front_receiver",
        "beside.things": 0,
        "beside.on_front_axle": "30 lb",
        "accessory.allowed_at_front": True,
        "accessory.obscures_headlamps": False,
    },
)
"""What else the question may be about."""

_ADAPTER: Final[Facts] = {
    "pin": "5/8 in",
    "pin_hole": "5/8 in",
    "pin_supplied": True,
    "tube_outside": "2-1/2 in",
    "adds_length": "0 in",
    "adds_rise": "0 in",
    "trailer_rating": "8000 lb",
    "tongue_rating": "1000 lb",
    "keeps_fraction": "100 %",
    "weight": "15 lb",
    "fits_opening": "2 in",
    "offers_opening": "2 in",
}
_SLEEVE: Final = {**_ADAPTER, "kind": "reducer_sleeve", "fits_opening": "2-1/2 in"}
_EXTENSION: Final = {**_ADAPTER, "kind": "extension", "adds_length": "8 in", "keeps_fraction": "80 %"}
_DUAL: Final = {**_ADAPTER, "kind": "dual_receiver"}
_SIZE: Final = {**_ADAPTER, "kind": "size_adapter", "fits_opening": "2-1/2 in"}
STACKS: Final[Sequence[tuple[Facts, ...]]] = (
    (),
    (_SLEEVE,),
    (_EXTENSION,),
    (_DUAL,),
    (_SIZE,),
    (_SLEEVE, _EXTENSION),
    (_EXTENSION, _DUAL),
    (_SIZE, _DUAL),
)


@dataclass(frozen=True, slots=True)
class Rig:
    """A question that is a plain yes, and the kind of its accessory."""

    kind: str
    case: Case


_REFUSED: Final = deque[int](maxlen=4)
"""The rules that refused the last cases: of many that are alike, the next is refused by one of them too."""


def works(one: Case) -> bool:
    """Whether a case is a plain yes. One blocking rule that fails is enough to know that it is not."""
    opened = MADE.engine.opened(one)
    if any(MADE.engine.judge(number, opened) == "fails" for number in _REFUSED):
        return False
    verdict = MADE.engine.evaluate(opened)
    _REFUSED.extend(verdict.fails[:1])
    return verdict.outcome == "works"


def has(kind: str, role: str) -> bool:
    """Whether a kind has a role."""
    return f"kind.{role}" in KINDS[kind].roles


def _with_it(kind: str) -> list[Facts]:
    """What a kind is asked about together with: nothing, a trailer, a load."""
    found: list[Facts] = [{}]
    if has(kind, "tows"):
        coupled = {"trailer.coupler_kind": "ball_coupler", "trailer.coupler": "2 in", **_BALL}
        if has(kind, "takes_ring"):
            hook = {"accessory.hook_ball": "2 in", "accessory.hook_ball_rating": "5000 lb"}
            found.append({**_TRAILER, "trailer.coupler_kind": "ball_coupler", "trailer.coupler": "2 in", **hook})
            coupled = {"trailer.coupler_kind": "lunette_ring", "trailer.ring_diameter": "2-1/2 in"}
        found += [{**_TRAILER, **coupled}, {**_TRAILER, **coupled, **_UNBRAKED}]
        if has(kind, "spreads_weight"):
            found.append({**_TRAILER, **coupled, "trailer.weight_distribution": True})
    if has(kind, "takes_bikes"):
        bikes = {"load.bikes": 2, "load.bike_weight": "40 lb", "load.heaviest_bike": "45 lb"}
        found.append({**bikes, "load.occupants_weight": "150 lb"})
    elif has(kind, "carries"):
        goods = {"load.cargo_weight": "150 lb", "load.tie_down_limit": "400 lb"}
        found.append({**goods, "load.occupants_weight": "150 lb"})
    if has(kind, "stood_upon"):
        found.append({"load.person_weight": "200 lb"})
    if has(kind, "only_pin"):
        found.append({**_TRAILER, "trailer.coupler_kind": "ball_coupler", "trailer.coupler": "2 in"})
    if has(kind, "recovers"):
        found.append({"accessory.line_pull": "8000 lb", "accessory.capacity": "9500 lb"})
    return found


def bodies() -> tuple[str, ...]:
    """Every body a vehicle may have."""
    kind = BOOK.vocabulary.facts["vehicle.body"].type
    assert isinstance(kind, ListType)
    return kind.members


@cache
def _plain(kind: str, body: str, stack: int) -> tuple[Rig, ...]:
    """The rigs of plain figures of a kind on a body with some adapters."""
    adapters = STACKS[stack]
    own = {"accessory.kind": kind, "vehicle.body": body}
    opening = {"receiver.opening": adapters[0]["fits_opening"] if adapters else "2 in"}
    asked = [
        case({**_RIG, **_ACCESSORY, **opening, **beside, **with_it, **own}, adapters)
        for with_it in _with_it(kind)
        for beside in _BESIDE
    ]
    return tuple(Rig(kind, one) for one in asked if works(one))


def plain_facts(kind: str) -> Facts:
    """The facts of a plain rig of a kind on a pickup without adapters, with all that it can be asked about together."""
    own = {"receiver.opening": "2 in", "accessory.kind": kind, "vehicle.body": "pickup"}
    asked = ({**_RIG, **_ACCESSORY, **with_it, **own} for with_it in reversed(_with_it(kind)))
    return next(facts for facts in asked if works(case(facts)))


def plain_rigs(kind: str, body: str, adapters: int | None = None) -> list[Rig]:
    """The rigs of plain figures of a kind on a body, with so many adapters, or any number."""
    stacks = [n for n, stack in enumerate(STACKS) if adapters is None or len(stack) == adapters]
    return [rig for number in stacks for rig in _plain(kind, body, number)]


def random_rigs(rng: Random, kind: str, count: int, suits: Callable[[Case], bool] = works) -> Iterator[Rig]:
    """Rigs of a kind, of such as suit where some do: one as it is, others changed by chance in figures and facts."""
    for number in range(count):
        body = rng.choice([body for body in bodies() if body != TOWED])
        rig = rng.choice(_suiting(kind, body, number % 3, suits))
        yield _told_less(rng, _changed(rng, rig)) if number else rig


def _suiting(kind: str, body: str, adapters: int, suits: Callable[[Case], bool]) -> list[Rig]:
    """The plain rigs with so many adapters that suit, or of any number of them, or such as do not."""
    for size in (adapters, None):
        if found := [rig for rig in plain_rigs(kind, body, size) if suits(rig.case)]:
            return found
    return plain_rigs(kind, body, adapters) or plain_rigs(kind, body)


def _changed(rng: Random, rig: Rig) -> Rig:
    """The rig with some figures changed, each where it stays a plain yes."""
    one = rig.case
    for name in rng.sample(sorted(one.facts), rng.randrange(len(one.facts))):
        other = put(one, name, any_value(rng, name))
        one = other if name != "accessory.kind" and works(other) else one
    return Rig(rig.kind, one)


def _told_less(rng: Random, rig: Rig) -> Rig:
    """The rig with some facts not told, each where it stays a plain yes."""
    one = rig.case
    for name in rng.sample(sorted(one.facts), rng.choice((0, len(one.facts) // 2, len(one.facts)))):
        less = blanked(one, name)
        one = less if name != "accessory.kind" and works(less) else one
    return Rig(rig.kind, one)


def any_value(rng: Random, name: str) -> Value:
    """Any value that a fact may have; a count is a whole number, and an accessory that weighs nothing is none."""
    slot, fact = slot_of(name), BOOK.vocabulary.fact_of(name)
    if name == "accessory.weight":
        slot = replace(slot, low=1.0)
    value = narrower(rng, slot, slot.kind.unknown, exactly=True)
    whole = isinstance(value, tuple) and fact is not None and fact.kind == "count"
    return (float(round(value[0])),) * 2 if whole and isinstance(value, tuple) else value


def slot_of(name: str) -> Slot:
    """What a fact can be."""
    return MADE.slots[name.partition(".")[0]][name]


def put(one: Case, name: str, value: Value, adapter: int | None = None) -> Case:
    """The case with a fact told so, and its subject in the question; of an adapter, the one at that place."""
    named = {name} & BOOK.named
    if adapter is None:
        present = one.present | named | {name.partition(".")[0]}
        return replace(one, facts={**one.facts, name: value}, present=present)
    stack = [{**each, name: value} if n == adapter else each for n, each in enumerate(one.adapters)]
    return replace(one, adapters=tuple(stack), present=one.present | {at_place(adapter + 1, each) for each in named})


def blanked(one: Case, name: str, adapter: int | None = None) -> Case:
    """The case with a fact not told; of an adapter, the one at that place. Its subject stays in the question."""
    if adapter is None:
        left = {slot: value for slot, value in one.facts.items() if slot != name}
        fact = BOOK.vocabulary.fact_of(name)
        return replace(one, facts=left, present=one.present - {name, *([fact.name] if fact else [])})
    stack = tuple(
        {slot: value for slot, value in each.items() if (slot, n) != (name, adapter)}
        for n, each in enumerate(one.adapters)
    )
    return replace(one, adapters=stack, present=one.present - {at_place(adapter + 1, name)})
