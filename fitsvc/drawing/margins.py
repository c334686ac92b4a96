"""The dimensions about a picture: heights on a staff to its right, lengths in rows below it."""

from collections.abc import Sequence
from typing import Final

from fitsvc.drawing.ink import DASH, WIDTH, badge, line, text_at, width_of
from fitsvc.drawing.key import Key
from fitsvc.drawing.measures import middle
from fitsvc.drawing.placing import RIGHT, Frame, fits, spread
from fitsvc.drawing.scene import Height, Length

_SMALL: Final = 11.0


def heights(all_: Sequence[Height], frame: Frame, key: Key) -> tuple[list[str], float]:
    """Heights above the ground as marks on a staff, their labels kept apart; and where these end."""
    rows = [_folded(one.text) for one in all_]
    sizes = [max(19.0, 13.0 * len(row) + 4) for row in rows]
    middles = spread([frame.y(middle(one.z)) for one in all_], sizes, 4.0, frame.ground + 6.0)
    staff = RIGHT + 6.0
    drawn = [line(staff, frame.y(frame.top), staff, frame.ground, "d-staff")]
    for one, row, y in zip(all_, rows, middles, strict=True):
        sign = key.number(f"{one.label}: {one.text}")
        low, high = frame.y(one.z[0]), frame.y(one.z[1])
        at = (low + high) / 2
        drawn.append(line(frame.x(one.x), at, staff, at, "d-extension", "1 4"))
        drawn += [
            line(staff - 4, y1, staff + 4, y1, "d-tick", data_height=one.name) for y1 in dict.fromkeys((low, high))
        ]
        if low != high:
            drawn.append(line(staff, low, staff, high, "d-range", DASH, stroke_width="3", data_height=one.name))
        drawn += [line(staff + 4, at, staff + 12, y, "d-leader"), badge(staff + 20, y, sign)]
        first = y + 4 - (len(row) - 1) * 6.25
        drawn += [text_at(staff + 31, first + i * 12.5, text, _SMALL) for i, text in enumerate(row)]
    return drawn, max((y + size / 2 for y, size in zip(middles, sizes, strict=True)), default=frame.ground)


def lengths(all_: Sequence[Length], frame: Frame, key: Key, y: float) -> tuple[list[str], float]:
    """Lengths along the ground, each in a row of its own from y down; and where the rows end."""
    drawn = list[str]()
    for one in all_:
        near, far = sorted(one.reach, key=abs)
        x0, x1, x2 = (frame.x(one.start + each) for each in (0.0, near, far))
        low, high = min(x0, x1, x2), max(x0, x1, x2)
        width = 22.0 + width_of(one.text, _SMALL)
        at, level = high + 5 if fits(high + 5, width) else low - 5 - width, y
        if not fits(at, width):
            at, y = min(max(low, 0.0), WIDTH - width), y + 16.0
        drawn += [
            badge(at + 9, level, key.number(f"{one.label}: {one.text}")),
            text_at(at + 20, level + 4, one.text, _SMALL),
        ]
        drawn += [line(x, y - 4, x, y + 4, "d-tick") for x in dict.fromkeys((x0, x1, x2))]
        drawn.append(line(x0, y, x1, y, "d-length", data_length=one.name))
        if x1 != x2:
            drawn.append(line(x1, y, x2, y, "d-length d-range", DASH, data_length=one.name))
        y += 18.0
    return drawn, y


def _folded(text: str) -> list[str]:
    """A value in the narrow column: a range on two lines."""
    for sign in (" ± ", " to "):
        if sign in text:
            first, rest = text.split(sign, 1)
            return [first, f"{sign.strip()} {rest}"]
    return [text]
