"""The lengths below a picture, each a row of its own with its words: so that no two can meet, and no key is needed."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from fitsvc.drawing.ink import element, number, text_at
from fitsvc.drawing.panel import INCH, TEXT, WIDE, Panel, Spot, wide
from fitsvc.language.display import System
from fitsvc.tongues import t

_ROW, _BELOW = 23.0, 15.0
_CLEAR = 5.0
"""So far words below a row stand off the line at its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRow:
    """One length from `start` to `end` in mm; `decides` is what the answer rests on, `hit` what it fails by.

    `within` are the bounds of the end that is not known exactly.
    """

    start: float
    end: float
    text: str
    decides: bool = False
    hit: bool = False
    within: Spot | None = None


def draw_rows(panel: Panel, rows: Sequence[KeyRow], y: float) -> tuple[list[str], float]:
    """The rows from y down, and where they end. Lines stand behind words, so that none runs through one."""
    lines, words = list[str](), list[str]()
    for row in rows:
        low, high = sorted((panel.x(row.start), panel.x(row.end)))
        lines.append(_stroke("v-ext", f"M{number(low)} {number(y)}V{number(panel.foot)}"))
        lines.append(_stroke("v-ext", f"M{number(high)} {number(y)}V{number(panel.foot)}"))
        ends = "".join(f"M{number(x)} {number(y - 4.5)}v9" for x in (low, high))
        kind = "v-dim v-decides" if row.decides else "v-dim"
        words.append(_stroke(kind, f"M{number(low)} {number(y)}H{number(high)}{ends}"))
        if row.within:
            near, far = (panel.x(one) for one in row.within)
            words.append(element("rect", x=near, y=y - 5, width=max(far - near, 1.0), height=10, class_="v-band"))
            low, high = min(low, near), max(high, far)
        across, foot = wide(row.text) * (1.07 if row.decides else 1.0), y + 4.6
        if high + 8 + across <= WIDE - 2:
            x = high + 8
        elif low - 8 - across >= 2:
            x = low - 8 - across
        else:
            x, foot, y = max(2.0, min(low + _CLEAR, WIDE - 2 - across)), y + 19, y + _BELOW
        look = "v-text" + " v-strong" * row.decides + " v-hit-word" * row.hit
        words.append(text_at(x, foot, row.text, TEXT, class_=look))
        y += _ROW
    return [*lines, *words], y


def ruler(panel: Panel, system: System) -> tuple[list[str], float]:
    """Inches, or centimetres, behind the bumper, zero at its rearmost point; and where the ruler ends."""
    unit, every, word = (INCH, 5, "in") if system == "us" else (10.0, 10, "cm")
    y = panel.foot
    low, high = ceil(panel.left / unit), floor(panel.right / unit)
    while every * unit * panel.scale < 30:
        every *= 2
    fine = unit * panel.scale >= 2.5
    marks = [i for i in range(low, high + 1) if fine or i % every == 0]
    ticks = "".join(f"M{number(panel.x(i * unit))} {number(y)}v{6 if i % every == 0 else 3}" for i in marks)
    drawn = [_stroke("v-ruler", f"M0 {number(y)}H{number(WIDE)}{ticks}")]
    clear = wide(t("bumper")) / 2 + wide("000") / 2 + 4
    last = 0.0
    for i in range(low, high + 1):
        x = panel.x(i * unit)
        text = t("bumper") if i == 0 else f"{abs(i)} {word}" if i + every > high else str(abs(i))
        half = wide(text) / 2
        if i % every or (i and abs(x - panel.x(0.0)) < clear) or x - half < last or x + half > WIDE:
            continue
        drawn.append(text_at(x, y + 18, text, TEXT, "middle", class_="v-text v-soft"))
        last = x + half + 4
    return drawn, y + 24.0


def _stroke(kind: str, path: str) -> str:
    return element("path", d=path, class_=kind)
