"""Where the tape goes: a small sketch of a rear end, not to scale, for each fact that names its measuring points."""

from typing import Final

from fitsvc.drawing import ink
from fitsvc.drawing.ink import Drawing, element, line, lines_of, text_at
from fitsvc.rulebook.measuring import POINTS, Tape
from fitsvc.rulebook.vocabulary import Fact
from fitsvc.tongues import spoken, t

GROUND: Final = 200.0
PLACES: Final = {
    "ground": (250.0, GROUND, ""),
    "rear_axle": (85.0, 160.0, ""),
    "bumper": (172.0, 126.0, ""),
    "hinge": (150.0, 30.0, ""),
    "closure_edge": (150.0, 104.0, ""),
    "door_spare": (192.0, 76.0, "spare"),
    "wall": (392.0, 120.0, "wall"),
    "pin_hole": (160.0, 152.0, ""),
    "opening_top": (182.0, 146.0, ""),
    "shank_top": (190.0, 146.0, ""),
    "adapter_pin_hole": (228.0, 136.0, "adapter"),
    "adapter_top": (238.0, 130.0, "adapter"),
    "front": (226.0, 110.0, "carrier"),
    "front_top": (226.0, 62.0, "carrier"),
    "rear_end": (326.0, 124.0, "carrier"),
    "top": (230.0, 62.0, "carrier"),
    "lowest": (284.0, 166.0, "carrier"),
    "folded_front": (204.0, 90.0, "folded"),
    "folded_rear": (262.0, 90.0, "folded"),
    "folded_top": (232.0, 40.0, "folded"),
    "load_front": (210.0, 80.0, "load"),
    "load_top": (270.0, 26.0, "load"),
    "ball_hole": (268.0, 160.0, "mount"),
    "platform_top": (268.0, 160.0, "mount"),
    "ball": (268.0, 150.0, "mount"),
    "coupler": (276.0, 154.0, "trailer"),
    "jack": (330.0, 130.0, "trailer"),
    "jack_top": (336.0, 92.0, "trailer"),
}
"""Each named point: x, y, and the part beside the vehicle that has to be drawn for it."""

_BASE: Final = (
    "M8 30H150V104L168 110V142H134V136H8",
    "M140 146H182M140 158H182M182 143V146M182 158V161",
)
_ROUND: Final = 84.0
_LEAST_ACROSS: Final = 240.0
"""What is shown beside the tape where it is shown close by, and the least across; in the sketch's units."""
_CLOSE: Final = (330.0, 138.0)
"""What a telephone has for it, in CSS pixels: a unit of the numbers is no smaller than one of them."""
_PARTS: Final = {
    "": (),
    "spare": ("M152 44h40v64h-40z",),
    "wall": ("M392 20V200",),
    "adapter": ("M150 146H190V130H250M150 158H202V142H250M250 127V130M250 142V145",),
    "carrier": ("M146 146H226V62H234V146H326V124M234 146V158H278V166H290V158H326V146",),
    "folded": ("M146 146H204V40H262V146H204",),
    "load": (
        "M146 146H226V70H234V146H320M210 80H330M270 26L240 116M270 26L306 116",
        "M210 116a28 28 0 1 0 56 0a28 28 0 1 0 -56 0M284 116a28 28 0 1 0 56 0a28 28 0 1 0 -56 0",
    ),
    "mount": ("M146 146H222V160H284V166H216V156H146M263 160V154H273V160", "M260 146a8 8 0 1 0 16 0a8 8 0 1 0 -16 0"),
    "trailer": (
        "M146 146H222V160H284V166H216V156H146M263 160V154H273V160",
        "M260 146a8 8 0 1 0 16 0a8 8 0 1 0 -16 0M256 154V140Q256 134 264 134H400M256 154H284V144H400",
        "M330 92H342V176H330ZM324 92H348",
    ),
}
"""Outlines of the vehicle's rear and of the parts, as paths."""


def points_of(fact: Fact) -> list[str]:
    """The points that the tape joins, in words; none for a fact that names none."""
    return [spoken(t(POINTS[point])) for point in (fact.tape.start, fact.tape.end)] if fact.tape else []


def sketch(fact: Fact, prefix: str = "sketch", *, close: bool = False) -> Drawing | None:
    """The sketch of a fact's measuring points; None for a fact that names none.

    Close by it shows the tape alone, as large as a telephone allows; the points' words then stand beside it.
    """
    if fact.tape is None:
        return None
    tape = fact.tape
    title = t("Where the tape goes: {label}", label=fact.label)
    way = t("along the ground") if tape.lies == "along" else t("straight up")
    description = t(
        "Measured {way} between {one} and {other}. Not to scale.",
        way=way,
        one=spoken(t(POINTS[tape.start])),
        other=spoken(t(POINTS[tape.end])),
    )
    if close:
        left, top, across, high = _window(tape)
        large = max(1.0, high / _CLOSE[1], across / _CLOSE[0])
        window = " ".join(map(ink.number, (left, top, across, high)))
        svg = ink.document(prefix, title, description, high, _drawn(tape, large), window=window)
        return Drawing(svg, title, description)
    parts = _drawn(tape, 1.0)
    y = GROUND + (34.0 if tape.lies == "along" else 14.0)
    for sign, point in (("1", tape.start), ("2", tape.end)):
        parts.append(ink.badge(12, y + 6, sign))
        for row in lines_of(t(POINTS[point]), ink.WIDTH - 40, 13):
            parts.append(text_at(28, y + 10, row, 13))
            y += 17.0
        y += 4.0
    svg = ink.document(prefix, title, description, y + 4, parts)
    return Drawing(svg, title, description)


def _drawn(tape: Tape, large: float) -> list[str]:
    """Vehicle and tape, with the numbers of the points so many times their size."""
    return [*_rig(tape), *(_along(tape, large) if tape.lies == "along" else _up(tape, large))]


def _window(tape: Tape) -> tuple[float, float, float, float]:
    """What is shown close by: the tape with some of the vehicle round it, down to the ground."""
    (x1, y1), (x2, y2) = PLACES[tape.start][:2], PLACES[tape.end][:2]
    xs = (x2, x2) if tape.start == "ground" else (x1, x2)
    left, right = max(0.0, min(xs) - _ROUND), min(ink.WIDTH, max(xs) + _ROUND)
    left = max(0.0, min(left, right - _LEAST_ACROSS))
    right = max(right, left + _LEAST_ACROSS)
    top = max(0.0, min(y1, y2) - _ROUND / 3)
    return left, top, right - left, GROUND + (_ROUND / 3 if tape.lies == "along" else 8.0) - top


def _badge(x: float, y: float, sign: str, large: float) -> str:
    """A point's number, so many times its size."""
    if large == 1.0:
        return ink.badge(x, y, sign)
    place = f"translate({ink.number(x)} {ink.number(y)}) scale({ink.number(large)})"
    return element("g", ink.badge(0, 0, sign), transform=place)


def _rig(tape: Tape) -> list[str]:
    """The vehicle's rear with whatever the tape's points are on."""
    parts = dict.fromkeys(PLACES[point][2] for point in (tape.start, tape.end))
    outlines = [*_BASE, *(path for part in parts for path in _PARTS[part])]
    drawn = [line(4, GROUND, 416, GROUND, "d-ground", stroke_width="2")]
    drawn.append(element("circle", cx=85, cy=160, r=40, fill="none", stroke="currentColor", class_="d-body"))
    drawn += [element("path", d=path, fill="none", stroke="currentColor", class_="d-body") for path in outlines]
    drawn.append(element("circle", cx=150, cy=30, r=2.5, fill="currentColor", class_="d-hinge"))
    return drawn


def _point(x: float, y: float) -> str:
    return element("circle", cx=x, cy=y, r=4, fill="currentColor", class_="d-point")


def _along(tape: Tape, large: float) -> list[str]:
    """Lines dropped from both points to a tape below the ground."""
    ends = [PLACES[tape.start][:2], PLACES[tape.end][:2]]
    y = GROUND + 16.0
    drawn = [line(x, top, x, y + 5, "d-extension", "4 3") for x, top in ends]
    drawn += [_point(*end) for end in ends]
    drawn.append(line(ends[0][0], y, ends[1][0], y, "d-tape", stroke_width="3"))
    left, right = sorted((0, 1), key=lambda i: ends[i][0])
    return [
        *drawn,
        _badge(ends[left][0] - 13 * large, y, "12"[left], large),
        _badge(ends[right][0] + 13 * large, y, "12"[right], large),
    ]


def _up(tape: Tape, large: float) -> list[str]:
    """Level lines from both points to a tape that hangs plumb beside them."""
    (x1, y1), (x2, y2) = PLACES[tape.start][:2], PLACES[tape.end][:2]
    if tape.start == "ground":
        x1 = x2
    x = max(x1, x2) + 46.0
    drawn = [line(at, y, x + 5, y, "d-extension", "4 3") for at, y in ((x1, y1), (x2, y2))]
    drawn += [_point(x1, y1), _point(x2, y2), line(x, y1, x, y2, "d-tape", stroke_width="3")]
    low, high = ("1", "2") if y1 > y2 else ("2", "1")
    bottom, top = max(y1, y2), min(y1, y2)
    if bottom - top < 18:
        return [*drawn, _badge(x, top - 12 * large, high, large), _badge(x, bottom + 12 * large, low, large)]
    above = 8 * large if tape.start == "ground" else 0.0
    return [*drawn, _badge(x + 15 * large, top, high, large), _badge(x + 15 * large, bottom - above, low, large)]
