"""The pictures of several things on one rig: of each receiver what is in it, each at its own place and named."""

from collections.abc import Sequence

from fitsvc.answers.answering import Answerer
from fitsvc.answers.things import Thing
from fitsvc.answers.together import Beside, told_apart
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.measures import Measures
from fitsvc.drawing.scene import Scene
from fitsvc.drawing.staging import scene_of
from fitsvc.drawing.whole_view import picture_of
from fitsvc.language.display import System
from fitsvc.tongues import t


def several_view(
    answerer: Answerer, things: Sequence[Thing], system: System = "us", prefix: str = "several"
) -> Drawing | None:
    """The picture of what hangs where the first thing does; what strikes is what the rules say of one beside another.

    None where there is nothing to draw, or only one thing hangs there.
    """
    here = [i for i, thing in enumerate(things) if thing.place == things[0].place]
    return _view(answerer, things, here, system, prefix) if len(here) > 1 else None


def views_of_several(answerer: Answerer, things: Sequence[Thing], system: System = "us") -> list[Drawing]:
    """A picture for each receiver at which anything can be drawn, in the order of the things."""
    found = list[Drawing]()
    for number, place in enumerate(dict.fromkeys(thing.place for thing in things)):
        here = [i for i, thing in enumerate(things) if thing.place == place]
        drawn = _view(answerer, things, here, system, f"several-{number}" if number else "several")
        found += [drawn] if drawn else []
    return found


def _view(
    answerer: Answerer, things: Sequence[Thing], here: Sequence[int], system: System, prefix: str
) -> Drawing | None:
    """The picture of the things that hang in one receiver."""
    beside = Beside(answerer, [(thing.question.case, thing.place) for thing in things])
    names = told_apart([answerer.together.kind(thing, system) for thing in things])
    scenes = [_scene(answerer, beside, i, here, system) for i in here]
    for i, scene in zip(here, scenes, strict=True):
        scene.name = names[i]
    first, *others = scenes
    first.others = others
    title = t("Side view: {listed}", listed=", ".join(scene.name for scene in scenes))
    return picture_of(first, prefix, title)


def _scene(answerer: Answerer, beside: Beside, i: int, here: Sequence[int], system: System) -> Scene:
    """A thing's scene, with what the rules say of it beside each other one."""
    rest = [j for j in range(len(beside.things)) if j != i]
    near: list[int | None] = [j for j in here if j != i] or [None]
    seen = [scene_of(Measures(answerer.wording, beside.case(i, rest, one), system)) for one in near]
    seen[0].marks = list({(mark.rule, mark.result): mark for one in seen for mark in one.marks}.values())
    return seen[0]
