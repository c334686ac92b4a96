"""SVG as text: elements with everything in them escaped, and text set in lines of a known width.

Nothing here carries a style or a script: looks are presentation attributes and classes, so that a strict content
security policy lets every drawing through, and a style sheet may change colours.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from html import escape
from textwrap import wrap
from typing import Final

WIDTH: Final = 420.0
"""Every drawing's width in its own units: at a phone's width a unit is a little less than a pixel."""
DASH: Final = "5 4"
"""How a range between bounds is dashed."""
EM: Final = 0.6
"""Width of a letter of the text, taken wide, as a share of its size."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing: SVG text to set into a page, its title, and in whole sentences all that it shows."""

    svg: str
    title: str
    description: str


def clean(text: str) -> str:
    """The text without what XML does not allow, such as control characters."""
    return text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)


def number(value: float) -> str:
    """A coordinate in the drawing's units, to a hundredth."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def element(name: str, content: str = "", /, **attributes: float | str | None) -> str:
    """An element; `content` is markup already, `class_` and `stroke_width` become `class` and `stroke-width`."""
    given = "".join(
        f' {_key(key)}="{escape(clean(value)) if isinstance(value, str) else number(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{given}>{content}</{name}>" if content else f"<{name}{given}/>"


@cache
def _key(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


def words(text: str) -> str:
    """Text as markup."""
    return escape(clean(text), quote=False)


def text_at(x: float, y: float, text: str, size: float = 12, anchor: str | None = None, class_: str = "d-text") -> str:
    """One line of text, its base line at y; place and size in the drawing's units."""
    return element(
        "text", words(text), x=x, y=y, font_size=size, text_anchor=anchor, class_=class_, fill="currentColor"
    )


def width_of(text: str, size: float) -> float:
    """How wide a line of text may come out, in the drawing's units."""
    return len(text) * size * EM


def lines_of(text: str, width: float, size: float) -> list[str]:
    """The text in lines that fit a width, in the drawing's units."""
    return wrap(clean(text), max(int(width / (size * EM)), 8)) or [""]


def badge(x: float, y: float, text: str, kind: str = "d-badge") -> str:
    """A round mark with a number or letter in it, for what the key below names; its centre in the drawing's units."""
    disc = element("circle", cx=x, cy=y, r=8, fill="Canvas", stroke="currentColor", class_=kind)
    return disc + text_at(x, y + 3.8, text, 11, "middle", "d-badge-text")


def line(x1: float, y1: float, x2: float, y2: float, class_: str, dash: str | None = None, **more: str) -> str:
    """A stroke between two points in the drawing's units; dashed where `dash` says how."""
    return element(
        "line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_, stroke="currentColor", stroke_dasharray=dash, **more
    )


def patterns(prefix: str) -> str:
    """The two fillings: slanted lines for what strikes or is too little, dots for what is open."""
    lines = element("path", d="M-2 2L2 -2M0 8L8 0M6 10L10 6", stroke="currentColor", stroke_width=2)
    dots = element("circle", cx=3, cy=3, r=1.3, fill="currentColor")
    kinds = (("strikes", lines, 8), ("open", dots, 6))
    return "".join(
        element(
            "pattern",
            drawn,
            id=f"{prefix}-{name}",
            width=size,
            height=size,
            class_=f"d-{name}",
            patternUnits="userSpaceOnUse",
        )
        for name, drawn, size in kinds
    )


def document(
    prefix: str,
    title: str,
    description: str,
    height: float,
    body: Iterable[str],
    defs: str = "",
    window: str = "",
    **data: str,
) -> str:
    """The whole drawing as an image with a title and a description, as high as it needs in its own units.

    Of a `window` onto it (left, top, width and height) only that is shown.
    """
    head = element("title", words(title), id=f"{prefix}-title") + element(
        "desc", words(description), id=f"{prefix}-desc"
    )
    return element(
        "svg",
        head + (element("defs", defs) if defs else "") + "".join(body),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=window or f"0 0 {number(WIDTH)} {number(height)}",
        class_="drawing",
        role="img",
        id=prefix,
        aria_labelledby=f"{prefix}-title",
        aria_describedby=f"{prefix}-desc",
        font_family="inherit",
        **data,
    )
