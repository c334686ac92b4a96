"""A made-up shop's models and rigs as people write them, the same for the same number.

A model has the facts of its kind, drawn near what is usual of the kind (within a quarter up or down) in the steps in
which makers write them; some facts it leaves out, some it gives within a tolerance, and now and then it leaves two
plugs open. Makes and names are invented.
"""

from collections.abc import Iterator, Mapping
from random import Random
from typing import Final

from fitsvc.document import Document
from fitsvc.synthetic.usual import UsualKind

TITLES: Final = (
    "kind",
    "shank",
    "pin",
    "pin_supplied",
    "pin_span",
    "min_class",
    "weight [lb]",
    "trailer_rating [lb]",
    "tongue_rating [lb]",
    "capacity [lb]",
    "length",
    "rear_extent",
    "front_setback",
    "stow_setback",
    "stow_extent",
    "stow_height",
    "lowest_drop",
    "width",
    "rise",
    "rise_lowest",
    "rise_highest",
    "ball_hole",
    "platform_thickness",
    "bikes_max",
    "bike_weight_max [lb]",
    "tilts_clear",
    "obscures_plate",
    "plug",
)
"""The columns of facts that the shop's catalogue has."""
COLOURS: Final = ("black", "grey", "silver", "rust", "moss", "slate", "sand", "night")
_SHANKS: Final = (("2 in", 66), ("1-1/4 in", 20), ("2-1/2 in", 14))
_ASKED: Final = {"1-1/4 in": ("none", "I"), "2 in": ("none", "II", "III"), "2-1/2 in": ("none", "IV")}
_PINS: Final = {
    "1-1/4 in": "1/2 in",
    "2 in": "5/8 in",
    "2-1/2 in": "5/8 in",
}
_UNKNOWN: Final = 0.06
_ROUGH: Final = 0.08
_OPEN: Final = 0.02
_LEAST, _MOST = 0.78, 1.24
"""A figure is never further from what is usual than this, so that none looks wrong beside the others of its kind."""


_YES_NO: Final = ("no", "no", "no", "yes")
_MAKES: Final = ("Brannoch", "Oxter", "Dunmere", "Fellgate", "Marlock")
_BODIES: Final = ("pickup", "suv", "van", "wagon")
_CLASSES: Final = (
    ("I", "1-1/4 in", 2000, 200),
    ("II", "1-1/4 in", 3500, 350),
    ("III", "2 in", 6000, 600),
    ("III", "2 in", 8000, 800),
    ("IV", "2 in", 10000, 1000),
    ("V", "2-1/2 in", 17000, 1700),
)


def models(kinds: Mapping[str, UsualKind], count: int, seed: int) -> Iterator[dict[str, str]]:
    """So many models of these kinds, each as cells by column title; an empty cell is not known."""
    names, shares = list(kinds), [kind.share for kind in kinds.values()]
    for number in range(count):
        random = Random(f"{seed}-model-{number}")
        (name,) = random.choices(names, shares)
        yield _model(random, name, kinds[name])


def _model(random: Random, kind: str, of: UsualKind) -> dict[str, str]:
    (shank,) = random.choices([size for size, _ in _SHANKS], [share for _, share in _SHANKS])
    cells = dict.fromkeys(TITLES, "") | {"kind": kind, "shank": shank, "pin": _PINS[shank]}
    cells |= {"pin_supplied": random.choice(_YES_NO), "min_class": random.choice(_ASKED[shank])}
    for name, (usual, step) in (*of.usual.items(), ("pin_span", (3.0, 0.125))):
        title = f"{name} [lb]" if f"{name} [lb]" in TITLES else name
        if random.random() >= _UNKNOWN:
            cells[title] = _figure(random, name, usual, step)
    cells |= {name: random.choice(words) for name, words in of.words.items() if random.random() >= _UNKNOWN}
    if cells["plug"] and random.random() < _OPEN:
        cells["plug"] = "flat_4|blade_7"
    return cells


def _figure(random: Random, name: str, usual: float, step: float) -> str:
    figure = round(usual * random.uniform(_LEAST, _MOST) / step) * step
    if name == "bikes_max":
        return str(random.randint(2, 5))
    if f"{name} [lb]" in TITLES:
        return f"{figure:g}"
    return f"{inches(figure)} ± 1/8 in" if random.random() < _ROUGH else inches(figure)


def inches(figure: float) -> str:
    """A length in eighths of an inch, as it is written on a drawing."""
    whole, eighths = divmod(round(abs(figure) * 8), 8)
    sign = "-" if figure < 0 and (whole or eighths) else ""
    if not eighths:
        return f"{sign}{whole} in"
    least = next(size for size in (2, 4, 8) if eighths % (8 // size) == 0)
    part = f"{eighths * least // 8}/{least}"
    return f"{sign}{whole}-{part} in" if whole else f"{sign}{part} in"


def rig_records(count: int, seed: int) -> Iterator[Document]:
    """So many rigs as records: vehicles and receivers, then each mounting, then each rig."""
    vehicles = [_vehicle(Random(f"{seed}-vehicle-{number}"), number) for number in range(-(-count // 2))]
    receivers = [_receiver(number) for number in range(len(_CLASSES))]
    yield from vehicles
    yield from receivers
    for number in range(count):
        random = Random(f"{seed}-mounting-{number}")
        # Every class is there, and the two in the middle most often.
        of = number % len(receivers) if number % 2 else 2 + number // 2 % 2
        yield {
            "subject": "mounting",
            "id": f"mnt_{number:03}",
            "vehicle": vehicles[number // 2]["id"],
            "receiver": receivers[of]["id"],
            "facts": _mounting(random),
        }
    for number in range(count):
        yield {
            "subject": "rig",
            "id": f"rig_{number:03}",
            "name": f"Yard {number + 1}",
            "rig": {"mounting": {"id": f"mnt_{number:03}"}},
        }


def _vehicle(random: Random, number: int) -> Document:
    curb, share = random.randrange(3600, 5600, 10), random.uniform(0.54, 0.6)
    facts: Document = {
        "year": random.randint(2008, 2026),
        "make": random.choice(_MAKES),
        "model": f"Model {number:03}",
        "body": random.choice(_BODIES),
        "wheelbase": inches(random.uniform(108, 150)),
        "rear_overhang": inches(random.uniform(38, 50)),
        "curb_weight": f"{curb} lb",
        "curb_weight_front": f"{round(curb * share)} lb",
        "curb_weight_rear": f"{curb - round(curb * share)} lb",
        "gvwr": f"{curb + random.randrange(1300, 2000, 50)} lb",
        "gawr_front": f"{round(curb * 0.72)} lb",
        "gawr_rear": f"{round(curb * 0.78)} lb",
        "gcwr": f"{curb + random.randrange(6000, 12000, 100)} lb",
        "tow_rating": f"{random.randrange(3500, 9500, 100)} lb",
        "tongue_rating": f"{random.randrange(350, 950, 10)} lb",
        "spare_location": random.choice(("underbody", "inside", "none")),
        "socket": random.choice(("flat_4", "blade_7")),
    }
    left_out = [name for name in facts if name not in ("year", "make", "model") and random.random() < _UNKNOWN]
    return {
        "subject": "vehicle",
        "id": f"veh_{number:03}",
        "label": f"{facts['year']} {facts['make']} {number:03}",
        "facts": {name: value for name, value in facts.items() if name not in left_out},
    }


def _receiver(number: int) -> Document:
    of, opening, trailer, tongue = _CLASSES[number]
    facts = {
        "hitch_class": of,
        "opening": opening,
        "pin_hole": _PINS[opening],
        "tube_outside": "2-1/2 in",
        "pin_supplied": number % 3 == 0,
        "trailer_rating": f"{trailer} lb",
        "tongue_rating": f"{tongue} lb",
    }
    return {"subject": "receiver", "id": f"rcv_{number:03}", "label": f"Underfell {of}-{number}", "facts": facts}


def _mounting(random: Random) -> Document:
    facts: Document = {"height": inches(random.uniform(14, 21)), "pin_to_bumper": inches(random.uniform(0, 7))}
    if random.random() < 0.3:
        facts["pin_to_bumper"] = {"value": facts["pin_to_bumper"], "tolerance": "1/2 in"}
    if random.random() < 0.12:
        del facts["pin_to_bumper"]
    return facts
