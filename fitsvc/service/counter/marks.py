"""The marks of outcomes: four outlines that no eye takes for one another, in grey and in forced colours too."""

from collections.abc import Mapping
from typing import Final

from markupsafe import Markup

_SHAPES: Final[Mapping[str, Markup]] = {
    "works": Markup('<circle class="full" cx="12" cy="12" r="11"/><path class="cut" d="m6.6 12.4 3.7 3.7 7.1-8"/>'),
    "conditional": Markup('<path class="full" d="M12 .4 23.6 12 12 23.6.4 12Z"/><text x="12" y="16.6">{}</text>'),
    "undetermined": Markup(
        '<circle class="ring" cx="12" cy="12" r="10.4" stroke-width="2.4" stroke-dasharray="4.4 2.134"/>'
        '<path class="ring" d="M8.7 9.4a3.4 3.4 0 1 1 4.9 3c-1.1.6-1.6 1.2-1.6 2.3" stroke-width="2.3"/>'
        '<circle class="glyph" cx="12" cy="17.6" r="1.5"/>'
    ),
    "fails": Markup(
        '<rect class="full" x="1.5" y="1.5" width="21" height="21" rx="2"/>'
        '<path class="cut" d="m7.2 7.2 9.6 9.6m0-9.6-9.6 9.6"/>'
    ),
}
"""A disc with a tick, a square on its tip with a number, a broken ring with a question mark, a square with a cross."""


_DRAWN: Final = Markup('<svg viewBox="0 0 24 24" aria-hidden="true">{}</svg>')


def mark(outcome: str, count: int = 0) -> Markup:
    """An outcome's mark; `count` is how many things there are to see to, where that is counted."""
    return _DRAWN.format(_SHAPES[outcome].format(count or "!"))


def mark_to_repeat(outcome: str) -> tuple[Markup, Markup]:
    """An outcome's mark as it is drawn first on a page, and as it is drawn again there in fewer bytes.

    What is drawn again is styled by what stands in the group, so that the group is a mark by itself.
    """
    first = Markup('<g id="again-{}" class="mark">{}</g>').format(outcome, _SHAPES[outcome])
    return _DRAWN.format(first), _DRAWN.format(Markup('<use href="#again-{}"/>').format(outcome))
