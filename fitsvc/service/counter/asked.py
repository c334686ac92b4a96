"""A question on its way to a page: what is wrong with it, the page to mend it on, and what was asked in lines."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Final

from litestar import Response
from sqlmodel import Session

from fitsvc.answers.things import Thing
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.language.problems import Problem
from fitsvc.language.types import NumberType
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.counter.also import also_parts
from fitsvc.service.counter.asking import Asker
from fitsvc.service.counter.choosing import FIND, Settled, as_told
from fitsvc.service.counter.fields import FieldMaker
from fitsvc.service.counter.links import (
    ALSO,
    ONE_EACH,
    PLACES,
    REAR,
    TAKEN_OUT,
    Fields,
    alike,
    cell,
    chosen_places,
    own_fields,
    without_also,
)
from fitsvc.service.counter.rendering import page
from fitsvc.store.errors import NotFound
from fitsvc.store.rigs import get_rig
from fitsvc.subjects import PLACE, SOLD
from fitsvc.tongues import later, t

PARTS: Final[Mapping[str, str]] = {
    "rig": later("Saved rig"),
    "vehicle": later("Vehicle"),
    "receiver": later("Receiver"),
    "mounting": later("Mounting"),
    "spare": later("Spare"),
    "accessory": later("Accessory"),
    "ball": later("Ball"),
    "trailer": later("Trailer"),
    "wiring_adapter": later("Wiring adapter"),
    "load": later("Load"),
    **dict.fromkeys(PLACES, later("In the opening")),
}
"""What the parts of a question are called on pages."""
_LOOK_AGAIN: Final = Problem(
    later("what was told of another vehicle or receiver was let go"),
    later("look at what is asked now, and answer again"),
    meaning=True,
)


def asker_of(request: AnyRequest, session: Session) -> Asker:
    """What makes the pages that ask, for one session."""
    service = service_of(request)
    return Asker(service.answerer, service.shop, session, service.selections)


def wrong_with(settled: Settled, problems: Sequence[Problem]) -> list[Problem]:
    """What keeps a question from being asked: typed and not chosen, let go and not looked at again, or unreadable."""
    again = [_LOOK_AGAIN] if settled.let_go else []
    return [*again, *settled.problems, *problems]


def ask_page(
    request: AnyRequest, asker: Asker, settled: Settled, system: System, problems: Sequence[Problem]
) -> Response[str]:
    """The page that asks, with what has been typed and chosen so far and what is wrong with it."""
    fields, vocabulary = settled.fields, service_of(request).answerer.rulebook.vocabulary
    shown = asker.page(settled, system, problems)
    places = FieldMaker(vocabulary, fields, problems, system)
    status = 200 if not problems else 422 if all(one.meaning for one in problems) else 400
    searched = (f"{FIND}{place}" for place in (*ONE_EACH, *PLACES, *ALSO))
    filled = {name: fields.get(name, "") for name in (*ONE_EACH, "with", *searched)}
    left_out = asker.rig(fields, system).left_out
    return page(
        request,
        "ask.html",
        status=status,
        page=shown,
        also=also_parts(asker, settled, places, system),
        fields=filled,
        system=system,
        problems=problems,
        left_out=left_out,
        empty=asker.empty(),
        at=places.errors_at,
    )


def asked_lines(
    asker: Asker, told: Fields, case: Case | None, system: System, things: Sequence[Thing] = ()
) -> list[tuple[str, str]]:
    """What was asked, a line for each part: the record's label, and the facts given beside it as understood.

    Of several `things` each after the first has a line of its own.
    """
    lines = _lines_of_one(asker, without_also(told), case, system)
    for place, thing in zip(chosen_places(told), things[1:], strict=False):
        own = _lines_of_one(asker, own_fields(told, place), thing.question.case, system)
        words = asker.vocabulary.words[asker.vocabulary.facts[PLACE].kind]
        where = [words[thing.hangs_on]] if thing.hangs_on != REAR else []
        lines.append((t("At the same time"), ", ".join([*where, *(said for _, said in own)])))
    return lines


def _lines_of_one(asker: Asker, told: Fields, case: Case | None, system: System) -> list[tuple[str, str]]:
    lines: dict[str, list[str]] = {}
    if named := asker.chooser.named(told):
        lines["vehicle"] = [asker.chooser.as_called(named)]
    for name, text in told.items():
        if name in named:
            continue
        place = next((one for one in PLACES if name == one or name.startswith(f"{one}.")), name.partition(".")[0])
        if place not in PARTS:
            continue
        if name == PLACES[0] and text == TAKEN_OUT:
            lines[place] = [t("none")]
        elif name == place:
            subject = "adapter" if place in PLACES else place
            label = _label(asker, subject, text)
            number = f" ({text})" if subject in SOLD and label != text else ""
            lines.setdefault(place, []).insert(0, label + number)
        else:
            lines.setdefault(place, []).append(_fact_asked(asker, place, name, text, case, system))
    return [(t(PARTS[place]), ", ".join(said)) for place, said in lines.items()]


def _label(asker: Asker, subject: str, key: str) -> str:
    """What a record or a saved rig is called; its key where it has no name, or is not there."""
    if subject == "rig":
        with suppress(NotFound):
            return get_rig(asker.session, key).name or key
        return key
    record = asker.records.find(subject, key)
    return (record.label if record else "") or key


def _in_words(asker: Asker, fact: Fact | None, typed: str) -> str:
    """What was typed; the word for it where it is one of a list."""
    if fact is None:
        return typed
    return asker.vocabulary.words.get(fact.kind, {}).get(typed) or (t(typed) if fact.kind == "yes_no" else typed)


def _fact_asked(asker: Asker, place: str, name: str, text: str, case: Case | None, system: System) -> str:
    """A fact that was asked about as it was typed, and beside that as it is understood where that reads otherwise."""
    fact = asker.vocabulary.facts.get(f"{place.partition('.')[0]}.{name.removeprefix(place + '.')}")
    label, typed = fact.label if fact else name, cell(text)
    if fact is None or not isinstance(fact.type, NumberType) or case is None or fact.name not in case.facts:
        said = _in_words(asker, fact, typed)
        return as_told(fact, said) if fact else f"{label} {said}"
    understood = asker.answerer.wording.fact_text(fact.name, case, system)
    return f"{label} {typed}" + (
        "" if alike(understood, typed) else t(" (understood as {understood})", understood=understood)
    )
