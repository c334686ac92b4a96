"""What hangs there at the same time, on one receiver or in front: its part of the form, lines, each one's outcome."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fitsvc.answers.answer import Answer
from fitsvc.answers.things import Thing
from fitsvc.document import Document
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.rulebook.outcomes import Outcome
from fitsvc.service.counter.asking import Asker, Option, Options
from fitsvc.service.counter.choosing import Settled
from fitsvc.service.counter.fields import Field, FieldMaker
from fitsvc.service.counter.links import (
    ALSO,
    FRONT,
    HANGS_ON,
    OF_FRONT,
    REAR,
    also_places,
    chosen_places,
    link,
    own_fields,
    thing_field,
    without_also,
    write_fields,
)
from fitsvc.service.counter.rendering import shown_units
from fitsvc.subjects import STORED

_NOTHING: Final = Case({}, frozenset())


@dataclass(frozen=True, slots=True, kw_only=True)
class AlsoPart:
    """One more thing as it is asked for: what may be meant, records told of it that can be let go, and its fields.

    In front the receiver there is chosen of those `stored` for the vehicle, or told by fields of its own, which stand
    in `receiver`.
    """

    place: str
    chosen: bool
    in_front: bool
    stored: Options
    receiver: Sequence[Field]
    found: Options
    kept: Sequence[tuple[str, Option]]
    fields: Sequence[Field]


@dataclass(frozen=True, slots=True, kw_only=True)
class EachView:
    """One of several things: what it comes to beside the others, in a sentence, and what by itself."""

    name: str
    outcome: Outcome
    summary: str
    alone: Outcome
    href: str


def also_parts(asker: Asker, settled: Settled, maker: FieldMaker, system: System) -> list[AlsoPart]:
    """A part for each thing that is there at the same time, and one more while there is room."""
    fields = settled.fields
    places = also_places(fields)
    if fields.get("about") == "spare" or not (places or fields.get("accessory")):
        return []
    things = dict(zip(chosen_places(fields), asker.read(fields, system).things[1:], strict=False))
    return [_part(asker, settled, maker, place, things.get(place), system) for place in ALSO[: len(places) + 1]]


def each_of(answer: Answer, document: Document, system: System) -> list[EachView]:
    """Each thing of an answer about several, with the link to the answer about it alone; none of what hangs in front.

    Alone it would be a question about the rig's one receiver, which is the one at the rear.
    """
    fields = write_fields(document)
    shared = write_fields({name: document[name] for name in ("rig", "load") if document.get(name)}) | shown_units(
        system
    )
    return [
        EachView(
            name=one.name,
            outcome=one.answer.outcome,
            summary=one.answer.summary,
            alone=one.alone,
            href=link("/answer", shared | (own_fields(fields, place) if place else without_also(fields)))
            if one.hangs_on == REAR
            else "",
        )
        for place, one in zip(("", *ALSO), answer.together, strict=False)
    ]


def _part(
    asker: Asker, settled: Settled, maker: FieldMaker, place: str, thing: Thing | None, system: System
) -> AlsoPart:
    fields = list[Field]()
    if thing is not None:
        journey = {f"{place}.{name}" for name in asker.vocabulary.serving("shared")}
        asked, _ = asker.load_fields(maker, thing.question.case, f"{place}.load")
        fields = [field for field in asked if field.name not in journey]
    facts, in_front = asker.vocabulary.facts, settled.fields.get(f"{place}.{HANGS_ON}") == FRONT
    first = [name for name in asker.answerer.rulebook.words.first if name.partition(".")[0] in OF_FRONT]
    receiver = [maker.of(facts[name], f"{place}.{name.partition('.')[0]}") for name in first] if in_front else []
    shown = {field.name for field in (*fields, *receiver)} | {place, f"{place}.{HANGS_ON}"}
    stored = asker.receivers(settled.fields, place) if in_front else Options()
    shown |= {f"{place}.receiver"} if stored.choices else set()
    kept = list[tuple[str, Option]]()
    for name in [name for name in settled.fields if thing_field(name)[0] == place and name not in shown]:
        inner = thing_field(name)[1]
        if inner in facts:
            fields.append(maker.of(facts[inner], name.rpartition(".")[0]))
        elif settled.fields[name]:
            kept.append((name, _kept(asker, inner, settled.fields[name])))
    return AlsoPart(
        place=place,
        chosen=bool(settled.fields.get(place)),
        in_front=in_front,
        stored=stored,
        receiver=receiver,
        found=asker.sold(settled, place, _NOTHING, system),
        kept=kept,
        fields=fields,
    )


def _kept(asker: Asker, inner: str, key: str) -> Option:
    """What is told there beside facts, by its label where it is a record, so that it can be let go."""
    subject = inner.partition(".")[0]
    record = asker.records.find(subject, key) if subject in STORED else None
    return Option(key, (record.label if record else "") or key, key, True)
