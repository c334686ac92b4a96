"""JSON Schemas of facts and questions, made from the vocabulary: nothing about a fact is written twice.

A schema lets through all that is well formed. What is well formed and cannot be (a weight of 900 t) is
answered with 422, so the plausible ranges stand beside the schema, under `x-range`, and not in it.
"""

from collections.abc import Collection, Sequence
from typing import Final

from fitsvc.answers.things import LONGEST_NAME, MOST_THINGS
from fitsvc.fact_values import LONGEST_TEXT
from fitsvc.facts import MOST_ADAPTERS
from fitsvc.language import tyres
from fitsvc.language.quantities import DIMENSIONS, LENGTH, MASS, TAPE, UNITS, WEIGHTS
from fitsvc.language.quantities import LONGEST_TEXT as LONGEST_QUANTITY
from fitsvc.language.types import ListType
from fitsvc.rulebook.vocabulary import Fact, Vocabulary
from fitsvc.service.json_schema import NO_NUL, NULL, Schema, array, closed, nullable, parts, reference, text, word
from fitsvc.store.tables import KEY
from fitsvc.subjects import ASKED, BESIDE_RIG, OF_RIG, OF_YARD, PLACE, SUBJECTS


def _below(bottom: int) -> str:
    """Return the pattern of the whole numbers from 0 to below one of at most two digits."""
    tens, ones = divmod(bottom - 1, 10)
    if not tens:
        return f"[0-{ones}]"
    between = [f"[1-{tens - 1}][0-9]"] if tens > 1 else []
    return f"(?:{'|'.join(['[0-9]', *between, f'{tens}[0-{ones}]'])})"


_PROPER_FRACTION: Final = "|".join(f"{_below(bottom)} */ *{bottom}" for bottom in sorted(TAPE))
"""A fraction below one of those that a tape shows, as it stands after a whole number."""
_ANY_FRACTION: Final = rf" */ *(?:{'|'.join(map(str, sorted(TAPE)))})"
_NUMBER: Final = (
    rf"[0-9]{{1,9}}(?:(?:-| +)(?:{_PROPER_FRACTION})|{_ANY_FRACTION}|\.[0-9]+)?"
    r"|[1-9][0-9]{0,2}(?:,[0-9]{3}){1,2}(?:\.[0-9]+)?|\.[0-9]+"
)
_SIGN: Final = r"[-−]?"
_SAMPLES: Final = {
    "length": "2-1/2 in",
    "mass": "300 lb",
    "angle": "12 deg",
    "force": "14.3 kN",
    "torque": "80 ft-lb",
    "ratio": "12 %",
}


def schemas(vocabulary: Vocabulary) -> dict[str, Schema]:
    """Return the components that a vocabulary gives: quantities, lists, facts by subject, and a question."""
    found = {_title(kind): quantity(kind) for kind in DIMENSIONS if kind != "count"}
    found |= {"Count": _count(), "YesNo": _yes_no(), "Text": _text(), "Tyre": tyre() | {"type": ["string", "null"]}}
    chosen = {fact.kind for fact in vocabulary.facts.values()}
    lists = {name: kind for name, kind in vocabulary.lists.items() if name in chosen}
    found |= {f"{_title(name)}Choice": _list(vocabulary, kind) for name, kind in lists.items()}
    for subject in vocabulary.subjects:
        found[f"{_title(subject)}Facts"] = _facts(vocabulary, subject)
        found[f"{_title(subject)}Part"] = _part(vocabulary, subject)
    found["RigFacts"] = _rig_facts(vocabulary)
    return found | {"Rig": _rig(), "Thing": _thing(vocabulary), "Question": _question()}


def facts_name(subject: str) -> str:
    """Return the name of the component with a subject's facts."""
    return f"{_title(subject)}Facts"


def quantity(kind: str) -> Schema:
    """Return the schema of a figure with its unit: exact, with a tolerance, within bounds, or unknown."""
    sample, form = _SAMPLES[kind], f"fitsvc-{kind}"
    exact, off = (
        text(format=form, pattern=pattern, maxLength=LONGEST_QUANTITY)
        for pattern in (quantity_pattern(kind), quantity_pattern(kind, sign=""))
    )
    about = f"A {kind} with its unit, such as `{sample}`: exact, with a tolerance, within bounds, or unknown. "
    about += f"In one text it is written `{sample} ± {sample}`, `at least {sample}`, or `exactly {sample}`, which says "
    about += "that a measured figure is not off by what a tape is."
    told = text(format=form, pattern=told_pattern(kind), maxLength=LONGEST_QUANTITY)
    return {"description": about, "anyOf": [told, *_known(exact, off)[1:]]}


_JOINED: Final = {LENGTH: ("ft", "in"), MASS: ("lb", "oz")}


def told_pattern(kind: str) -> str:
    """Return the pattern of a figure in one text: by itself, with a tolerance, within bounds, or said to be exact.

    A generator of requests builds each part of a pattern for every fact, so that the figure stands here twice and not
    for each of these forms; which of them go together is said beforehand.
    """
    one = _figure(kind)
    first, second = rf"(?:(?:[Ee]xactly|{_BOUND})\s)?\s*{_SIGN}", rf"(?:\band\b|[,;])\s*{_BOUND}\s\s*{_SIGN}"
    return rf"^{''.join(map(_unless, _NEVER))}\s*{first}{one}(?:(?:±|\+-|\+/-|{second}){one})?$"


_BOUND: Final = r"[Aa]t (?:least|most)"
_NEVER: Final = (
    r"\s*[AaEe][\s\S]*[±+]",  # exactly, at least or at most so much, with a tolerance
    r"\s*[^AaEe\s][\s\S]*(?:least|most)",  # so much, and at least or at most so much
    r"\s*[Ee][\s\S]*(?:least|most)",  # exactly so much, and at least or at most so much
    r"[\s\S]*least[\s\S]*least",
    r"[\s\S]*most[\s\S]*most",
)


def _unless(pattern: str) -> str:
    return f"(?!{pattern})"


def quantity_pattern(kind: str, sign: str = _SIGN) -> str:
    """Return the pattern of a figure with a unit of a dimension, below nothing too unless without a `sign`.

    Feet and inches may stand together, and pounds and ounces.
    """
    return rf"^\s*{sign}{_figure(kind)}$"


def _figure(kind: str) -> str:
    """Return the pattern of a figure with its unit and without a sign, blanks around it."""
    dimension = DIMENSIONS[kind]
    units = [spelling for spelling, (of, _) in UNITS.items() if of == dimension]
    unit = _one_of(units)
    if joined := _JOINED.get(dimension):
        sizes = {unit: UNITS[unit][1] for unit in units}
        large, small = ([unit for unit in units if sizes[unit] == sizes[name]] for name in joined)
        unit = rf"(?:{unit}|{_one_of(large)}\s*(?:{_NUMBER})\s*{_one_of(small)})"
    return rf"\s*{_not_thousands(units)}(?:{_NUMBER})\s*{unit}\s*"


def _not_thousands(units: Sequence[str]) -> str:
    """Return where a figure is not one of those units whose point may part thousands: `1.700 lb` is refused."""
    weights = [unit for unit in units if UNITS[unit] in WEIGHTS]
    return _unless(rf"[1-9][0-9]{{0,2}}\.[0-9]{{3}}\s*{_one_of(weights)}") if weights else ""


def facts_wanted_pattern(vocabulary: Vocabulary, slots: Collection[str]) -> str:
    """Return the pattern of a filter's facts and values, of those that rules read (`slots`); none if there are none.

    Facts of one type share what may stand behind them, so that it stands here once.
    """
    of_type: dict[str, list[str]] = {}
    for name, fact in vocabulary.of("accessory").items():
        if fact.name in slots:
            of_type.setdefault(_plain_value(fact), []).append(name)
    one = "|".join(f"(?:{'|'.join(names)})={value}" for value, names in of_type.items())
    return rf"^(?:\s*|(?:{one})(?:,(?:{one}))*)$"


def _plain_value(fact: Fact) -> str:
    """Return the pattern of a fact's value as it stands in a filter, where commas part one fact from the next."""
    if isinstance(fact.type, ListType):
        return f"(?:{'|'.join(map(_literally, fact.type.members))})"
    if fact.kind == "count" and fact.range:
        return f"(?:{_whole(*map(int, fact.range))})"
    if fact.kind in DIMENSIONS:
        units = [unit for unit, (of, _) in UNITS.items() if of == DIMENSIONS[fact.kind]]
        fraction = _PROPER_FRACTION.replace(" */ *", "/")
        figure = rf"[0-9]{{1,9}}(?:(?:-| )(?:{fraction})|\.[0-9]{{1,9}})?"
        return rf"(?:{_BOUND} )?{_SIGN}{_not_thousands(units)}{figure} ?(?:{'|'.join(map(_literally, units))})"
    return "(?:yes|no)"


def _one_of(units: Sequence[str]) -> str:
    """Return the pattern of some units, in capitals or small letters; single letters are not read in both."""
    single = [unit for unit in units if len(unit) == 1 and unit.isalpha()]
    branches = [_branches({unit.lower() for unit in units if unit not in single})]
    return f"(?:{'|'.join([*branches, *sorted(single)])})" if single else _branches(set(units) - set(single))


def _branches(words: set[str]) -> str:
    """Return the pattern of some words, in which what several begin with stands once."""
    rest = {word[0]: {other[1:] for other in words if other[:1] == word[0]} for word in sorted(words) if word}
    found = [_either_case(first) + (_branches(tails) if tails != {""} else "") for first, tails in rest.items()]
    if "" not in words:
        return found[0] if len(found) == 1 else f"(?:{'|'.join(found)})"
    return f"(?:{'|'.join(found)})?"


def _either_case(character: str) -> str:
    if character.isascii() and character.isalpha():
        return f"[{character.lower()}{character.upper()}]"
    return r"\s+" if character == " " else _literally(character)


def _literally(text: str) -> str:
    """Return the pattern of a text itself; what needs no escape has none, which other languages' patterns refuse."""
    return "".join(f"\\{one}" if one in ".^$*+?()[]{}|\\/" else one for one in text)


def _known(exact: Schema, off: Schema) -> list[Schema]:
    """The forms that something is known in: exactly, `off` by a tolerance, within bounds, or not."""
    tolerance = closed(value=exact, tolerance=off)
    bounds = parts(at_least=exact, at_most=exact) | {"minProperties": 1}
    return [exact, tolerance, bounds, NULL]


def _count() -> Schema:
    number: Schema = {"type": "integer"}
    pattern = rf"^\s*{_SIGN}\s*(?:{_NUMBER})\s*(?:%|percent)?\s*$"
    written = text(format="fitsvc-count", maxLength=LONGEST_QUANTITY, pattern=pattern)
    either: Schema = {"anyOf": [number, written]}
    return {"description": "A whole number.", "anyOf": _known(either, either)}


def _count_between(low: int, high: int) -> list[Schema]:
    """What is left of the forms of a count where it is known to lie between two numbers; it may be off by any."""
    number: Schema = {"type": "integer", "minimum": low, "maximum": high}
    off: Schema = {"anyOf": [{"type": "integer", "minimum": 0}, text(pattern="^[0-9]{1,9}$")]}
    return _known({"anyOf": [number, text(pattern=rf"^(?:{_whole(low, high)})$")]}, off)


def _whole(low: int, high: int) -> str:
    """Return the pattern of whole numbers between two, as few of them as hundreds are told by their beginning."""
    found = list[str]()
    for hundred in range(low // 100, high // 100 + 1):
        inside = range(max(low, 100 * hundred), min(high, 100 * hundred + 99) + 1)
        found += [f"{hundred}[0-9][0-9]"] if hundred and len(inside) == 100 else map(str, inside)
    return "|".join(found)


def _yes_no() -> Schema:
    words = word(("yes", "no", "true", "false"))
    return {"description": "Yes or no; null is unknown.", "anyOf": [{"type": "boolean"}, words, NULL]}


def _text() -> Schema:
    return {"type": ["string", "null"], "maxLength": LONGEST_TEXT, "pattern": NO_NUL}


def tyre() -> Schema:
    """Return the schema of a tyre's designation."""
    return {
        "description": "A tyre's designation as it stands on the sidewall.",
        "type": "string",
        "format": "fitsvc-tyre",
        "maxLength": tyres.LONGEST_TEXT,
        "pattern": _tyre_pattern(),
        "examples": ["245/75R16"],
    }


def _tyre_pattern() -> str:
    """Return the pattern of what is read as a tyre's designation: the forms of `tyres`, figures within its bounds."""
    rim, load = r"(?:(?:[89]|1[0-9]|2[0-5])(?:\.5)?|26)", r"(?:[5-9][0-9]|1[0-4][0-9]|150)"
    speed, more = r"(?: ?[A-Za-z][0-9]?)?", r"(?: (?:XL|xl|REINF|reinf))?"
    end = rf"{rim} ?(?:LT|lt|[Cc])?(?: ?/?[A-Ha-h])?{more}(?: {load}{speed}(?:/[0-9]{{2,3}}{speed})?)?{more}"
    width, aspect = "(?:[1-4][0-9]{2}|500)", "(?:[2-9][0-9]|100)"
    metric = rf"(?:LT|lt|ST|st|[PpTtCc])? ?{width} ?/ ?{aspect} ?(?:[Zz]?[Rr][Ff]?|[DdBb-]) ?{end}"
    full = rf"(?:LT|lt|ST|st|[PpTt])? ?{width} ?[Rr] ?{end}"
    wide = r"(?:(?:[4-9]|1[0-8])(?:\.[0-9]{1,2})?|19(?:\.[0-5][0-9]?)?)"
    flotation = rf"(?:LT|lt)? ?(?:2[89]|[3-9][0-9])(?:\.[0-9]{{1,2}})? ?[Xx×] ?{wide} ?(?:[Rr]|[DdBb-]) ?{end}"
    return rf"^(?:{metric}|{full}|{flotation})$"


def _list(vocabulary: Vocabulary, kind: ListType) -> Schema:
    one = word(kind.members)
    if kind.sizes:
        about = "A nominal size; another figure of the very same length is read as it."
    else:
        words = vocabulary.words.get(kind.name, {})
        about = "; ".join(f"`{member}`: {words.get(member, member)}" for member in kind.members)
    choices = [one, array(one, minItems=1), NULL]
    return {"description": f"{about}. Several are candidates: one of them it is.", "anyOf": choices}


def _facts(vocabulary: Vocabulary, subject: str) -> Schema:
    properties = {name: _fact(fact) for name, fact in vocabulary.of(subject).items()}
    return parts(f"Facts: {vocabulary.subjects[subject].title.lower()}.", **properties)


def _rig_facts(vocabulary: Vocabulary) -> Schema:
    properties = {fact.name: _fact(fact) for part in OF_YARD for fact in vocabulary.of(part).values()}
    return parts("Facts of one saved rig, by their whole names.", **properties)


def _fact(fact: Fact) -> Schema:
    name = f"{_title(fact.kind)}Choice" if isinstance(fact.type, ListType) else _title(fact.kind)
    schema = reference(name) | {"description": fact.meaning, "x-fact": fact.name}
    if fact.kind == "count" and fact.range:
        schema["anyOf"] = _count_between(*map(int, fact.range))
    return schema | {"x-range": list(fact.range_text)} if fact.range_text else schema


def _part(vocabulary: Vocabulary, subject: str) -> Schema:
    key = SUBJECTS[subject].key
    properties: Schema = {"facts": nullable(reference(f"{_title(subject)}Facts"))}
    about = "Inline facts."
    if key:
        named = text(minLength=1, maxLength=KEY, pattern=NO_NUL)
        properties = {key: nullable(named), **properties}
        about = f"A stored record by its `{key}`, inline facts, or both: then inline facts win."
    return parts(f"{vocabulary.subjects[subject].title}. {about}", **properties)


def _rig() -> Schema:
    named = {one: nullable(reference(f"{_title(one)}Part")) for one in OF_RIG}
    ordered = "Adapters in the opening, the one nearest the receiver first."
    adapters = array(reference("AdapterPart"), ordered, maxItems=MOST_ADAPTERS)
    saved = text("A saved rig; what is given beside it takes its place.", minLength=1, maxLength=KEY, pattern=NO_NUL)
    about = "Vehicle, receiver and mounting, with what is in the opening and the spare."
    return parts(about, id=nullable(saved), **named, adapters=nullable(adapters))


def _question() -> Schema:
    named = {one: nullable(reference(f"{_title(one)}Part")) for one in BESIDE_RIG}
    about = (
        "What is on one rig at the same time, in place of an accessory, ball, trailer or wiring adapter; `load` is "
        f"then what is told for all of them. At most {MOST_THINGS}."
    )
    several = array(reference("Thing"), about, minItems=2, maxItems=MOST_THINGS)
    about = "Will this work on this rig? Or with `together`: will these, all at once?"
    whole = parts(about, rig=nullable(reference("Rig")), **named, together=nullable(several))
    return whole | {"not": {"anyOf": [_about_nothing(), _about_one_and_several()]}}


def _about_nothing() -> Schema:
    """Where nothing is asked about: neither things nor, on the rig, something in the opening or a spare."""
    bare = none_of("spare", "id") | {"type": "object"}
    bare["properties"]["adapters"] = {"anyOf": [NULL, array({}, maxItems=0)]}
    nothing = none_of(*(one for one in ASKED if not SUBJECTS[one].in_rig), "together")
    nothing["properties"]["rig"] = {"anyOf": [NULL, bare]}
    return nothing


def _about_one_and_several() -> Schema:
    """Where something is named beside several things that are."""
    return named_in("together") | {"anyOf": [named_in(name) for name in BESIDE_RIG if name != "load"]}


def named_in(name: str, *below: str) -> Schema:
    """Return the schema of an object that has a member, and members below it."""
    inner: Schema = {"type": "object"} | named_in(*below) if below else {"not": NULL}
    return {"required": [name], "properties": {name: inner}}


def none_of(*names: str) -> Schema:
    """Return the schema of an object that has none of some members, or only as null."""
    return {"properties": dict.fromkeys(names, NULL)}


def _thing(vocabulary: Vocabulary) -> Schema:
    """Return one of several things on a rig: a question's parts, with the receiver that it hangs on."""
    place = vocabulary.facts[PLACE].type
    assert isinstance(place, ListType)
    named = {one: nullable(reference(f"{_title(one)}Part")) for one in BESIDE_RIG if one != PLACE.partition(".")[0]}
    one = closed(
        ["hangs_on"],
        "One of several things on a rig: an accessory, or a trailer on the towbar's own ball or on one in a step "
        "bumper. Things in one place hang on one receiver; one in another place has a `rig` of its own, the whole of "
        "it as that receiver sees it. In the same receiver its `rig` may have `adapters` of its own.",
        name=nullable(text("What to call it.", minLength=1, maxLength=LONGEST_NAME)),
        hangs_on=word(place.members),
        rig=nullable(reference("Rig")),
        **named,
    )
    return one | {"anyOf": [named_in("accessory"), named_in("trailer")]}


def _title(name: str) -> str:
    return "".join(part.capitalize() for part in name.split("_"))
