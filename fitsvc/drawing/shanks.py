"""A shank that does not go in, drawn apart from the opening: both to one scale, what stands over hatched."""

from typing import Final

from fitsvc.drawing.panel import INCH, Panel, PanelWords
from fitsvc.drawing.scene import Scene
from fitsvc.language.display import show
from fitsvc.language.quantities import LENGTH
from fitsvc.language.typed import reads
from fitsvc.tongues import t

_LEFT: Final = -9.0
_RIGHT: Final = 12.0


def shank_before_opening(scene: Scene, prefix: str, top: float, words: PanelWords) -> tuple[list[str], float] | None:
    """The drawing from `top` down and its end, where a rule finds that shank and opening do not go together."""
    m = scene.measures
    shank, opening = m.size("shank"), m.size("opening_size")
    if shank is None or opening is None or shank == opening or not _refused(scene):
        return None
    big = max(shank, opening)
    high = big / 2 + 2.4 * INCH
    panel = Panel(name="apart", left=_LEFT * INCH, right=_RIGHT * INCH, low=-high, high=high, top=top, words=words)
    _tube(panel, opening)
    panel.rect("v-steel", (3.4 * INCH, 13 * INCH, -shank / 2, shank / 2))
    panel.circle("v-hole", 5.6 * INCH, 0.0, 8.0)
    over = (shank - opening) / 2
    hatch = f"url(#{prefix}-strikes)"
    if over > 0:
        for bottom, upper in ((opening / 2, shank / 2), (-shank / 2, -opening / 2)):
            panel.rect("v-hit", (3.4 * INCH, 4.1 * INCH, bottom, upper), fill=hatch)
    for z in (-opening / 2, opening / 2):
        panel.path("v-ext", [(0.0, z), (3.4 * INCH, z)], close=False)
    foot = _told(panel, shank, opening, big)
    return [panel.svg(prefix)], max(panel.foot, foot) + 6.0


def _tube(panel: Panel, opening: float) -> None:
    wall = 0.44 * INCH
    panel.rect("v-steel", (-8 * INCH, 0.0, -opening / 2 - wall, opening / 2 + wall))
    panel.rect("v-hole", (-7 * INCH, 0.0, -opening / 2, opening / 2))
    collar = opening / 2 + wall + 0.35 * INCH
    panel.rect("v-steel", (-0.9 * INCH, 0.0, opening / 2, collar), 4.0)
    panel.rect("v-steel", (-0.9 * INCH, 0.0, -collar, -opening / 2), 4.0)
    panel.circle("v-pin", -2.4 * INCH, 0.0, 7.0)


def _told(panel: Panel, shank: float, opening: float, big: float) -> float:
    """The two sizes above, and below what is too much."""
    m = panel.words
    over = abs(shank - opening)
    y = panel.y(big / 2 + 1.1 * INCH)
    m.say(panel.x(-4.4 * INCH), y, t("opening {size}", size=_size(opening)), "middle")
    m.say(panel.x(7.7 * INCH), y, t("shank {size}", size=_size(shank)), "middle", "v-strong")
    word = t("too thick: it does not go in") if shank > opening else t("too thin: it is loose")
    return m.say(
        panel.x(1.5 * INCH), panel.y(-big / 2 - 1.4 * INCH), f"{_size(over)} {word}", "middle", "v-strong v-hit-word"
    )


def _size(mm: float) -> str:
    """A size as it is called: in inches, whatever the rest is told in."""
    return show(mm, mm, LENGTH, "in", "us")


def _refused(scene: Scene) -> bool:
    """Whether a rule that holds the shank to the opening fails."""
    m = scene.measures
    named = {m.name("shank"), m.name("opening_size")}
    return any(
        named <= reads(rule.requires).keys() and m.wording.engine.judge(number, m.case) == "fails"
        for number, rule in enumerate(m.wording.rulebook.rules)
    )
