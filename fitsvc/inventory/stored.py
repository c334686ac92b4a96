"""Stored records as questions see them: where the store's wing and the engine's wing meet."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import fields
from typing import Any, Final, get_args

from sqlmodel import Session

from fitsvc.answers.records import Doubt, Named, Stored
from fitsvc.document import Json
from fitsvc.language.types import Value
from fitsvc.store.errors import NotFound
from fitsvc.store.folding import CurrentFacts
from fitsvc.store.records import find_mountings, get_record, get_records, keys_near
from fitsvc.store.rigs import get_rig, told_rig
from fitsvc.store.spans import State
from fitsvc.store.statements import who_said
from fitsvc.store.tables import Accessory, Mounting, Record, SavedRig
from fitsvc.subjects import OF_YARD, RIG, stored_as
from fitsvc.tried import RESULTS, TOUCHED, ThingTried

_OF_TRIAL: Final = tuple(one.name for one in fields(ThingTried))
FindVehicles = Callable[[Session, Mapping[str, Value], Mapping[str, str]], Sequence[Named]]
"""Finds a store's vehicles by their naming facts; `Shop.vehicles` is one."""


class StoreRecords:
    """The records of one session, for `read_question`; without a source of vehicles none is known by name alone."""

    earlier = False

    def __init__(self, session: Session, vehicles: FindVehicles | None = None) -> None:
        self._session, self._vehicles = session, vehicles
        self._held: list[Record] = []

    def hold(self, rigs: Collection[Mapping[str, Json]]) -> None:
        """Read the parts that many rigs name, at once: while these records are at hand, none is read again."""
        keys = {part: {key for rig in rigs if (key := (rig.get(part) or {}).get("id"))} for part in OF_YARD}
        mountings = get_records(self._session, "mounting", sorted(keys["mounting"])).values()
        for one in mountings:
            assert isinstance(one, Mounting)
            keys["vehicle"].add(one.vehicle_id)
            keys["receiver"].add(one.receiver_id)
        self._held += mountings
        for part in ("vehicle", "receiver"):
            self._held += get_records(self._session, part, sorted(keys[part])).values()

    def find(self, subject: str, key: str) -> Stored | None:
        """The record under an id or SKU, or None."""
        try:
            return stored(subject, get_record(self._session, stored_as(subject), key))
        except NotFound:
            return None

    def keys_near(self, subject: str, key: str) -> list[str]:
        """The ids or SKUs that are stored next to one that is not."""
        return keys_near(self._session, RIG if subject == RIG else stored_as(subject), key)

    def mountings(self, vehicle: str | None, receiver: str) -> list[Stored]:
        """The mountings of a receiver on a vehicle, or whichever; two are enough to know that there is not one."""
        return [stored("mounting", one) for one in find_mountings(self._session, vehicle, receiver, limit=2)]

    def rig(self, key: str) -> Mapping[str, Json] | None:
        """A saved rig's document, or None."""
        try:
            rig = get_rig(self._session, key)
        except NotFound:
            return None
        return told_rig(rig.document, rig.facts, rig.provenance)

    def rig_told(self, key: str) -> Stored:
        """What was told of a saved rig over what its records say, by whole names."""
        rig = get_rig(self._session, key)
        return stored_rig(rig, CurrentFacts(rig.facts, rig.provenance))

    def vehicles(self, values: Mapping[str, Value], texts: Mapping[str, str]) -> Sequence[Named] | None:
        """The vehicles that agree with these naming facts; None without a source of them."""
        return self._vehicles(self._session, values, texts) if self._vehicles else None


def stored(subject: str, record: Record) -> Stored:
    """A record as a question sees it."""
    return stored_so(subject, record, CurrentFacts(record.facts, record.provenance))


def stored_so(subject: str, record: Record, known: CurrentFacts) -> Stored:
    """A record as a question sees it, with what is known of it."""
    provenance = known.provenance
    links: dict[str, str] = {}
    if isinstance(record, Accessory):
        subject = record.subject
    if isinstance(record, Mounting):
        links = {"vehicle": record.vehicle_id, "receiver": record.receiver_id}
    return Stored(
        subject=subject,
        key=record.key,
        label=record.label,
        facts=known.facts,
        assumed=frozenset(name for name, how in provenance.items() if how.get("kind") == "assumed"),
        doubts=_doubts(provenance),
        tried={name: how["tried"] for name, how in provenance.items() if "tried" in how},
        rubbed=frozenset(what for how in provenance.values() for what in how.get("rubbed", ())),
        things=tuple(_trial(name, one) for name, how in provenance.items() for one in how.get("things", ())),
        links=links,
        provenance=provenance,
    )


def stored_rig(rig: SavedRig, known: CurrentFacts) -> Stored:
    """What was told of a saved rig as a question sees it."""
    return Stored(
        subject="rig",
        key=rig.id,
        label=rig.name,
        facts=known.facts,
        doubts=_doubts(known.provenance),
        provenance=known.provenance,
    )


def _trial(fact: str, thing: Mapping[str, Json]) -> ThingTried:
    """What was tried; what a newer version tells beside that is passed over, a result of its own is taken as a no."""
    result = thing["result"] if thing["result"] in RESULTS else TOUCHED
    told = {name: thing[name] for name in _OF_TRIAL if name in thing}
    return ThingTried(**told | {"fact": fact, "result": result})


def _doubts(provenance: Mapping[str, Json]) -> dict[str, Doubt]:
    """The facts of which what was said cannot all hold, hardly can, or is stale."""
    return {name: _doubt(how) for name, how in provenance.items() if how.get("state")}


def _doubt(how: Mapping[str, Json]) -> Doubt:
    said = tuple(
        (one["value"], who_said(one["by"], one.get("source", "")), one.get("at", "")) for one in how.get("said", ())
    )
    state: Any = how["state"] if how["state"] in get_args(State) else "disputed"
    return Doubt(state, said, tuple(how.get("changed", ())))
