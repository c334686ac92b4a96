"""What hangs on the same receiver at the same time: its part of the form, its lines, and each one's own outcome."""

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
    also_places,
    chosen_places,
    link,
    own_fields,
    thing_field,
    without_also,
    write_fields,
)
from fitsvc.service.counter.rendering import shown_units

_NOTHING: Final = Case({}, frozenset())


@dataclass(frozen=True, slots=True, kw_only=True)
class AlsoPart:
    """One more thing as it is asked for: what may be meant, records told of it that can be let go, and its fields."""

    place: str
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
    """Each thing of an answer about several, with the link to the answer about it alone."""
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
            href=link("/answer", shared | (own_fields(fields, place) if place else without_also(fields))),
        )
        for place, one in zip(("", *ALSO), answer.together, strict=False)
    ]


def _part(
    asker: Asker, settled: Settled, maker: FieldMaker, place: str, thing: Thing | None, system: System
) -> AlsoPart:
    facts, fields = asker.vocabulary.facts, list[Field]()
    if thing is not None:
        journey = {f"{place}.{name}" for name in asker.answerer.rulebook.words.for_all}
        asked, _ = asker.load_fields(maker, thing.question.case, f"{place}.load")
        fields = [field for field in asked if field.name not in journey]
    shown = {field.name for field in fields}
    kept = list[tuple[str, Option]]()
    for name in [name for name in settled.fields if thing_field(name)[0] == place and name not in (place, *shown)]:
        inner = thing_field(name)[1]
        if inner in facts:
            fields.append(maker.of(facts[inner], name.rpartition(".")[0]))
        elif settled.fields[name]:
            kept.append((name, _kept(asker, inner, settled.fields[name])))
    return AlsoPart(place=place, found=asker.sold(settled, place, _NOTHING, system), kept=kept, fields=fields)


def _kept(asker: Asker, subject: str, key: str) -> Option:
    record = asker.records.find(subject, key)
    return Option(key, (record.label if record else "") or key, key, True)
