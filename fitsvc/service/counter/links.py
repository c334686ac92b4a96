"""A question as the fields of a link, and back: a page's address is the whole question.

`vehicle`, `receiver`, `mounting`, `accessory`, `ball`, `trailer` and `rig` name stored records, `adapter.1` and
so on the adapters from the receiver outwards, `adapter.1=none` that there is none; `load.bikes` is a fact of a subject;
`with` lists subjects that are in the question with nothing told of them. Values are written as in a cell of a CSV
file. `also.1` and so on name what hangs there at the same time, and `also.1.load.bikes` tells a fact of it: on the
same receiver, or with `also.1.hangs_on` on one in front, which `also.1.receiver` names or `also.1.receiver.opening`
tells of.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import parse_qsl, urlencode

from fitsvc.answers import things
from fitsvc.answers.parts import TOGETHER
from fitsvc.answers.things import MOST_THINGS
from fitsvc.document import Document, Json
from fitsvc.facts import MOST_ADAPTERS, FactReader, unknown_fact
from fitsvc.language.display import System, unit_in
from fitsvc.language.problems import Problem, nearest
from fitsvc.loading.cells import read_cell
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.subjects import BESIDE_RIG, OF_RIG, PLACE, SUBJECTS
from fitsvc.tongues import ENGLISH, t, tongue

Fields = Mapping[str, str]
ONE_EACH: Final = (*OF_RIG, *BESIDE_RIG)
"""The parts of which a question has one at the most, each under its own name."""
PLACES: Final = tuple(f"adapter.{number}" for number in range(1, MOST_ADAPTERS + 1))
"""The names of the adapters, from the receiver outwards."""
TAKEN_OUT: Final = "none"
"""In place of the first adapter, that there is none: those that a saved rig has are taken out."""
ALSO: Final = tuple(f"also.{number}" for number in range(1, MOST_THINGS))
"""The names of what hangs there at the same time."""
REAR: Final = things.REAR
FRONT: Final = "front_receiver"
"""Where it hangs: at the rear what says nothing, in the one receiver that the rig names, which is judged by
what it says itself of its place; in front, in a receiver that is told with the thing."""
HANGS_ON: Final = PLACE.partition(".")[2]
"""The field of what hangs there too that says in which receiver."""
OF_FRONT: Final = ("receiver", "mounting")
"""What of a rig is told of what hangs in front: its receiver, and how that sits on the same vehicle."""
AT_FRONT: Final = "front"
"""The place of a stored receiver that is in front, among what the fact `fastened_to` of the rulebook lists."""
BESIDE: Final = "with"
LEAST: Final = "least."
"""On the page of what fits, a figure that an item has to have at least, by its fact."""
_ADAPTER: Final = re.compile(r"(adapter\.[1-9])(?:\.(.+))?\Z")
_ALSO: Final = re.compile(r"(also\.[1-9])(?:\.(.+))?\Z")
_THING: Final = re.compile(rf"/{TOGETHER}/(\d+)(/.+)")
_WISH: Final = re.compile(r"\A/wishes/\d+(?=/)")
_POINTER: Final = re.compile(r"/(?:rig/)?(?:adapters/(\d+)|([a-z_]+))(?:/(facts/([^/]+)|id|sku))?")


@dataclass(frozen=True, slots=True)
class QuestionFields:
    """A question as its fields tell it, what is wrong with them, and those that were left out.

    A name without a dot that is none of ours, nor nearly one, was put there by someone else, as mailers do.
    """

    document: Document
    problems: tuple[Problem, ...]
    left_out: tuple[str, ...] = ()


def unit_of(fact: Fact, system: System) -> str:
    """The unit that a bare number in a fact's field has; the field's label names it."""
    return unit_in(fact.shown_in, system)


def read_fields(fields: Fields, reader: FactReader, system: System) -> QuestionFields:
    """The question that fields ask, whatever their order. A field's problem has the field's name for its pointer."""
    of_each: dict[str, dict[str, str]] = {"": {}, **{place: {} for place in ALSO}}
    for name, text in fields.items():
        found = _ALSO.match(name)
        if found and found[1] in ALSO:
            of_each[found[1]][found[2] or "accessory"] = text
        else:
            of_each[""][name] = text
    hung = {place: of_each[place].pop(HANGS_ON, "").strip() or REAR for place in ALSO}
    read = {place: _read(own, reader, system) for place, own in of_each.items()}
    problems, left_out = list(read[""].problems), read[""].left_out
    document, things = read.pop("").document, list[Document]()
    for place, one in read.items():
        problems += [replace(wrong, pointer=_within(place, wrong.pointer)) for wrong in one.problems]
        left_out += tuple(_within(place, name) for name in one.left_out)
        if one.document:
            things.append(_hung(one.document, hung[place]))
            problems += _wrongly_hung(place, one.document, hung[place])
    if things:
        own = {name: document.pop(name) for name in BESIDE_RIG if name in document}
        document[TOGETHER] = [_hung(own, REAR), *things]
    return QuestionFields(document, tuple(problems), left_out)


def _read(fields: Fields, reader: FactReader, system: System) -> QuestionFields:
    """The question that fields ask about one thing."""
    vocabulary = reader.vocabulary
    parts: dict[str, Document] = {}
    problems: list[Problem] = []
    left_out: list[str] = []
    for name, text in fields.items():
        text = text.strip()
        if not text or name == "rig":
            continue
        if name == BESIDE:
            for subject in text.split(","):
                if subject in ONE_EACH:
                    parts.setdefault(subject, {})
            continue
        place, short = _place(name)
        subject = place.partition(".")[0]
        if subject not in ONE_EACH and place not in PLACES:
            near = nearest(name, [*ONE_EACH, *PLACES])
            if near is None and "." not in name:
                left_out.append(name)
                continue
            help = t("did you mean `{near}`?", near=near) if near else t("take it out of the link")
            problems.append(Problem(t("a question has no `{name}`", name=name[:60]), help, pointer=name))
        elif name == PLACES[0] and text == TAKEN_OUT:
            continue
        elif not short:
            if key := SUBJECTS[subject].key:
                parts.setdefault(place, {})[key] = text
        else:
            fact = vocabulary.facts.get(f"{subject}.{short}") or vocabulary.former(subject).get(short)
            if fact is None:
                problems.append(unknown_fact(subject, short, vocabulary.of(subject), name))
            elif fact.short in (facts := parts.setdefault(place, {}).setdefault("facts", {})):
                help = t("leave out what goes by the former name")
                problems.append(Problem(t("{the} is told twice", the=fact.the), help, pointer=name))
            else:
                facts[fact.short] = read_cell(text, fact, unit_of(fact, system), reader.bounds)
    order = {name: number for number, name in enumerate(vocabulary.facts)}
    for place, part in parts.items():
        if told := part.get("facts"):
            subject = place.partition(".")[0]
            part["facts"] = dict(sorted(told.items(), key=lambda one: order[f"{subject}.{one[0]}"]))
    bare = fields.get(PLACES[0], "").strip() == TAKEN_OUT
    document = _document(parts, fields.get("rig", "").strip(), bare)
    return QuestionFields(document, tuple(problems), tuple(sorted(left_out)))


def write_fields(document: Mapping[str, Json]) -> dict[str, str]:
    """The fields that ask a question; `read_fields` of them asks the same."""
    if document.get(TOGETHER):
        return _write_several(document)
    fields: dict[str, str] = {}
    empty: list[str] = []
    rig = document.get("rig") or {}
    if rig.get("id") is not None:
        fields["rig"] = str(rig["id"])
        fields |= {PLACES[0]: TAKEN_OUT} if rig.get("adapters") == [] else {}
    places = [(name, rig.get(name)) for name in OF_RIG]
    places += list(zip(PLACES, rig.get("adapters") or (), strict=False))
    places += [(name, document.get(name)) for name in BESIDE_RIG]
    for place, part in places:
        if part is None:
            continue
        key = SUBJECTS[place.partition(".")[0]].key
        told = {place: str(part[key])} if key and part.get(key) is not None else {}
        told |= {f"{place}.{name}": text for name, wire in (part.get("facts") or {}).items() if (text := cell(wire))}
        fields |= told
        if not told and place in ONE_EACH:
            empty.append(place)
    if empty:
        fields[BESIDE] = ",".join(empty)
    return fields


def _write_several(document: Mapping[str, Json]) -> dict[str, str]:
    """The fields of a question about several things: what is told for all of them stands with the first."""
    first, *more = document[TOGETHER]
    shared = {name: document[name] for name in ("rig", "load") if document.get(name)}
    fields = write_fields(shared)
    for place, thing in zip(("", *ALSO), (first, *more), strict=False):
        own = write_fields({name: part for name, part in thing.items() if name in BESIDE_RIG})
        if thing["hangs_on"] == FRONT:
            in_front = thing.get("rig") or {}
            own |= {HANGS_ON: FRONT} | write_fields(
                {"rig": {name: in_front[name] for name in OF_FRONT if in_front.get(name)}}
            )
        fields |= {_within(place, name): text for name, text in own.items()} if place else own
    return fields


_SIGNS: Final = {"at_least": "≥", "at_most": "≤"}


def cell(wire: Json) -> str:
    """A wire value as people write it in one field, which reads as it in every language."""
    if wire is None:
        return ""
    if isinstance(wire, bool):
        return "yes" if wire else "no"
    if isinstance(wire, list):
        return " | ".join(map(cell, wire))
    if isinstance(wire, Mapping):
        if "value" in wire:
            return f"{cell(wire['value'])} ± {cell(wire.get('tolerance'))}"
        ends = {key: cell(wire[key]) for key in ("at_least", "at_most") if key in wire}
        if tongue() is not ENGLISH and all(end[:1].isdecimal() for end in ends.values()):
            # By signs, as not every language has words for bounds that can be read.
            marked = (f"{_SIGNS[key]} {end}" for key, end in ends.items())
            return " \N{EN DASH} ".join(ends.values()) if len(ends) > 1 else "".join(marked)
        return ", ".join(f"{key.replace('_', ' ')} {end}" for key, end in ends.items())
    return str(wire)


def alike(one: str, other: str) -> bool:
    """Whether two texts tell a figure in the same way, spaces and commas of thousands apart."""
    plain, again = (text.replace(",", "").replace(" ", "").casefold() for text in (one, other))
    return plain == again


def link(path: str, fields: Fields) -> str:
    """A path with fields behind it."""
    return f"{path}?{urlencode(fields)}" if fields else path


def spread(fields: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Fields as a form sends them: of one that comes twice the last counts, and a choice may stand for several.

    A list of vehicles offers "any of these" as `vehicle=vehicle.make=...&vehicle.model=...`.
    """
    found: dict[str, str] = {}
    for name, text in fields:
        if name == "vehicle" and "=" in text:
            found |= {inner: value for inner, value in parse_qsl(text) if inner.startswith("vehicle.")}
        elif text.strip() or name not in found:
            found[name] = text
    return found


def field_of(problem: Problem) -> str:
    """The field that a question's problem is about, by its pointer; the pointer itself where that is one."""
    thing = _THING.match(problem.pointer)
    if thing:
        inner = field_of(replace(problem, pointer=thing[2]))
        return inner if thing[1] == "0" else _within(f"also.{thing[1]}", inner)
    found = _POINTER.match(_WISH.sub("", problem.pointer))
    if not found:
        return problem.pointer
    number, subject, _, fact = found.groups()
    place = f"adapter.{int(number) + 1}" if number is not None else subject
    return f"{place}.{fact}" if fact else place


def adapter_places(fields: Fields) -> Sequence[str]:
    """The places of the adapters that fields tell of."""
    named = [name for name, text in fields.items() if text != TAKEN_OUT or name != PLACES[0]]
    return [place for place in PLACES if any(name == place or name.startswith(f"{place}.") for name in named)]


def subject_at(place: str) -> str:
    """The subject that a place of the question has."""
    return "accessory" if place in ALSO else place.partition(".")[0]


def also_places(fields: Fields) -> Sequence[str]:
    """The places of what hangs there at the same time that fields tell of."""
    return [place for place in ALSO if any(text and _of_also(name) == place for name, text in fields.items())]


def without_also(fields: Fields) -> dict[str, str]:
    """The fields without what hangs there at the same time."""
    return {name: text for name, text in fields.items() if not _of_also(name)}


def also_closed_up(fields: Fields) -> dict[str, str]:
    """The fields with what hangs there at the same time counted from the first, none left out between."""
    moved = dict(zip(also_places(fields), ALSO, strict=False))
    return {_moved(name, moved): text for name, text in fields.items() if not _of_also(name) or _of_also(name) in moved}


def thing_field(name: str) -> tuple[str, str]:
    """A field's thing among those that hang there, empty of the first, and what it tells of it."""
    found = _ALSO.match(name)
    return (found[1], found[2] or "") if found else ("", name)


def chosen_places(fields: Fields) -> Sequence[str]:
    """The places at which something more is named, in the order of the question's things."""
    return [place for place in ALSO if fields.get(place)]


def own_fields(fields: Fields, place: str) -> dict[str, str]:
    """The fields of what hangs at one of these places, as they are told of it alone."""
    parted = ((*thing_field(name), text) for name, text in fields.items())
    return {inner or "accessory": text for at, inner, text in parted if at == place}


def _of_also(name: str) -> str:
    return thing_field(name.removeprefix("find.").removeprefix("seen."))[0]


def _moved(name: str, moved: Mapping[str, str]) -> str:
    place = _of_also(name)
    return name.replace(place, moved[place], 1) if place else name


def _within(place: str, name: str) -> str:
    """A field of what hangs at a place, which the place itself names."""
    return place if name == "accessory" else f"{place}.{name}"


def _hung(document: Document, where: str) -> Document:
    """One of several things, with where it hangs; one in front has a receiver of its own, untold as it may be."""
    hung: Document = {"hangs_on": where, **document}
    if where == FRONT:
        hung["rig"] = {"receiver": {}, **(document.get("rig") or {})}
    return hung


def _wrongly_hung(place: str, document: Document, where: str) -> list[Problem]:
    """What is told of a rig that is not the thing's own, and a place that is none of those on a page."""
    found, field = list[Problem](), f"{place}.{HANGS_ON}"
    if where not in (REAR, FRONT):
        listed = t("write one of {listed}", listed=f"`{REAR}`, `{FRONT}`")
        found.append(
            Problem(t("`{text}` is not one of the places", text=where[:60]), listed, pointer=field, meaning=True)
        )
    if not {*(document.get("rig") or {})} <= {*(OF_FRONT if where == FRONT else ())}:
        help = t("tell it of the rig, which is one for all that hangs there")
        found.append(Problem(t("`{place}` has no rig of its own", place=place), help, pointer=place, meaning=True))
    return found


def _place(name: str) -> tuple[str, str]:
    """A field's part of the question, and the fact of it."""
    found = _ADAPTER.match(name)
    if found:
        return found[1], found[2] or ""
    place, _, short = name.partition(".")
    return place, short


def _document(parts: Mapping[str, Document], rig_id: str, bare: bool) -> Document:
    rig: Document = {"id": rig_id} if rig_id else {}
    rig |= {name: parts[name] for name in OF_RIG if name in parts}
    adapters = [parts[place] for place in PLACES if place in parts]
    if adapters or bare:
        rig["adapters"] = adapters
    rest = {name: parts[name] for name in BESIDE_RIG if name in parts}
    return {**({"rig": rig} if rig else {}), **rest}
