"""A bar chart of the ratings in a chain against what is asked of them, the lowest one named."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf, isfinite
from typing import Final

from fitsvc.answers.governing import governing_fact
from fitsvc.answers.phrases import UNKNOWN, joined
from fitsvc.answers.wording import Wording
from fitsvc.drawing import ink
from fitsvc.drawing.ink import Drawing, element, line, lines_of, text_at, width_of
from fitsvc.engine.limits import Lowest, limits_of
from fitsvc.facts import Case
from fitsvc.language.display import System, show
from fitsvc.language.intervals import Bounds
from fitsvc.language.quantities import MASS
from fitsvc.language.truth import NO
from fitsvc.language.typed import ALWAYS, LessOrEqual
from fitsvc.language.types import NumberType
from fitsvc.rulebook.rules import Limit, Rating
from fitsvc.tongues import spoken, t

_LEFT: Final = 10.0
_LONGEST: Final = 400.0
_DASH: Final = "5 4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One rating: its wording, its bounds, whether it is the lowest, and the result of the rule that judges by it."""

    name: str
    label: str
    text: str
    bounds: Bounds
    lowest: bool
    result: str


@dataclass(frozen=True, slots=True)
class Chain:
    """One limit: its ratings, what is asked of them (None where nothing is), and a sentence that names the lowest."""

    title: str
    bars: tuple[Bar, ...]
    asked: Bounds | None
    asked_text: str
    told: str


def rating_bars(wording: Wording, case: Case, system: System = "us", prefix: str = "ratings") -> Drawing | None:
    """The chart of every limit in weight that applies to a case; None where none does."""
    chains = list(_chains(wording, wording.engine.opened(case), system))
    if not chains:
        return None
    title = t("Ratings against what is asked of them")
    description = " ".join(_described(chain) for chain in chains)
    parts: list[str] = []
    y = 6.0
    for chain in chains:
        y = _draw(chain, parts, y, prefix) + 12.0
    svg = ink.document(prefix, title, description, y, parts, ink.patterns(prefix))
    return Drawing(svg, title, description)


def _chains(wording: Wording, case: Case, system: System) -> Iterator[Chain]:
    lows = limits_of(wording.engine, case)
    for limit in wording.rulebook.limits:
        kind = limit.ratings[0].node.type
        if limit.id in lows and isinstance(kind, NumberType) and kind.dimension == MASS:
            yield _chain(wording, limit, lows[limit.id], case, system)


def _chain(wording: Wording, limit: Limit, low: Lowest, case: Case, system: System) -> Chain:
    """One limit with those of its ratings that apply; each is judged by the rule named after both."""
    numbers = {rule.id: number for number, rule in enumerate(wording.rulebook.rules) if rule.limit == limit.id}
    rules = [numbers[f"{limit.id}/{rating.name}"] for rating in limit.ratings]
    first = wording.rulebook.rules[rules[0]].requires
    assert isinstance(first, LessOrEqual)
    nodes = [first.left, *(node for rating in limit.ratings for node in (rating.node, rating.guard or ALWAYS))]
    asked, *found = wording.engine.values(("chain", limit.id), lambda: nodes).of(case)
    unit = limit.ratings[0].shown.unit
    bars = []
    for i, (rating, rule) in enumerate(zip(limit.ratings, rules, strict=True)):
        bounds, guard = found[2 * i], found[2 * i + 1]
        if guard == NO or not all(subject in case.present for subject in rating.subjects):
            continue
        assert isinstance(bounds, tuple)
        label = _label(wording, rating, bounds, case)
        result = wording.engine.judge(rule, case)
        text = show(*bounds, MASS, unit, system)
        bars.append(
            Bar(
                name=rating.name,
                label=label,
                text=text,
                bounds=bounds,
                # By name: the words' rulebook is another one than the engine's in every language but English.
                lowest=low.governs is not None and rating.name == low.governs.name,
                result=result,
            )
        )
    assert isinstance(asked, tuple)
    text = show(*asked, MASS, unit, system)
    known = None if text == t(UNKNOWN) else asked
    return Chain(limit.title, tuple(bars), known, text, _lowest_told(bars, low))


def _label(wording: Wording, rating: Rating, bounds: Bounds, case: Case) -> str:
    """The part whose figure a rating is, where one alone makes it."""
    if not isfinite(bounds[0]):
        return rating.label
    fact = governing_fact(wording.engine, rating, bounds[0], case)
    return rating.label if fact == rating.name else wording.label(fact)


def _lowest_told(bars: list[Bar], low: Lowest) -> str:
    lowest = next((bar for bar in bars if bar.lowest), None)
    if lowest is None:
        return t("No rating is known.")
    unknown = [spoken(bar.label) for bar in bars if bar.name in low.unknown]
    if not unknown:
        return t("The lowest is {the}.", the=spoken(lowest.label))
    return t(
        "The lowest that is known is {the}; not known well enough: {unknown}.",
        the=spoken(lowest.label),
        unknown=joined(unknown),
    )


def _said(bar: Bar, chain: Chain) -> str:
    """What the rule says of a rating, where something is asked of it."""
    words = {"fails": t(": too little"), "undetermined": t(": open")}
    return words.get(bar.result, "") if chain.asked else ""


def _described(chain: Chain) -> str:
    asked = t(" Asked: {figure}.", figure=chain.asked_text) if chain.asked else ""
    each = "; ".join(f"{bar.label} {bar.text}{_said(bar, chain)}" for bar in chain.bars)
    return f"{chain.title}.{asked} {each[:1].upper()}{each[1:]}. {chain.told}"


def _draw(chain: Chain, parts: list[str], y: float, prefix: str) -> float:
    """One limit's bars, from y down; where they end."""
    ends = [one for bar in chain.bars for one in bar.bounds if isfinite(one)]
    ends += [one for one in (chain.asked or ()) if isfinite(one)]
    unit = _LONGEST * 0.94 / max(*ends, 1e-9, 0.0)
    for row in lines_of(chain.title, _LONGEST, 14):
        y += 18.0
        parts.append(text_at(_LEFT, y - 4, row, 14, class_="d-text d-heading"))
    if chain.asked:
        y += 16.0
        parts.append(
            _asked_text(t("asked: {figure}", figure=chain.asked_text), _LEFT + _end(chain.asked) * unit, y - 4)
        )
    several = len(chain.bars) > 1
    for bar in chain.bars:
        for row in lines_of(
            f"{bar.label}: {bar.text}{t(' (lowest)') if bar.lowest and several else ''}{_said(bar, chain)}",
            _LONGEST,
            12,
        ):
            y += 15.0
            parts.append(text_at(_LEFT, y - 2, row, 12, class_="d-text d-lowest" if bar.lowest else "d-text"))
        y += 3.0
        parts += _bar(bar, y, unit, prefix)
        parts += _asked_marks(chain.asked, y, unit)
        y += 18.0
    for row in lines_of(chain.told, _LONGEST, 12) if several else ():
        y += 15.0
        parts.append(text_at(_LEFT, y, row, 12))
    return y + 4.0


def _asked_marks(asked: Bounds | None, y: float, unit: float) -> Iterator[str]:
    """What is asked, as a stroke across a bar that shows on dark and light; dashed at both ends of a range."""
    ends = [_LEFT + one * unit for one in dict.fromkeys(asked or ()) if isfinite(one)]
    for x in ends:
        yield element("line", x1=x, y1=y - 3, x2=x, y2=y + 15, stroke="Canvas", stroke_width=6, class_="d-paper")
        yield line(x, y - 3, x, y + 15, "d-asked", "3 2" if len(ends) > 1 else None, stroke_width="2.5")


def _end(bounds: Bounds) -> float:
    return bounds[1] if isfinite(bounds[1]) else bounds[0]


def _asked_text(text: str, x: float, y: float) -> str:
    """The figure above its line, on whichever side there is room."""
    wide = width_of(text, 12)
    return text_at(x + 4, y, text, 12) if x + 4 + wide <= ink.WIDTH else text_at(x - 4, y, text, 12, "end")


def _bar(bar: Bar, y: float, unit: float, prefix: str) -> Iterator[str]:
    """Solid as far as the rating surely goes, dashed as far as it may; open to the right where it has no end."""
    low, high = max(bar.bounds[0], 0.0), bar.bounds[1]
    far = _LONGEST if high == inf else high * unit
    fails = bar.result == "fails"
    fill = f"url(#{prefix}-strikes)" if fails else "currentColor"
    kind = "d-bar d-strikes" if fails else "d-bar d-lowest" if bar.lowest else "d-bar"
    look: dict[str, float | str | None] = {"y": y, "height": 12, "stroke": "currentColor", "data_fact": bar.name}
    if isfinite(low) and low > 0.0:
        solid = 1.0 if fails or bar.lowest else 0.35
        yield element("rect", x=_LEFT, width=low * unit, fill=fill, fill_opacity=solid, class_=kind, **look)
    if high > low:
        start = _LEFT + (low * unit if isfinite(low) else 0.0)
        wide = max(_LEFT + far - start, 0.0)
        yield element("rect", x=start, width=wide, fill="none", stroke_dasharray=_DASH, class_="d-bar d-range", **look)
