"""Pictures of a few things that one rig may have, one at a time: the vehicle is to one scale on all of them."""

from collections.abc import Sequence

from fitsvc.answers.wording import Wording
from fitsvc.drawing.ink import Drawing
from fitsvc.drawing.measures import Measures
from fitsvc.drawing.staging import scene_of
from fitsvc.drawing.whole_view import picture_of, reach_of
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.tongues import t


def views_side_by_side(
    wording: Wording, things: Sequence[tuple[str, Case]], system: System = "us"
) -> list[Drawing | None]:
    """A picture for each thing, named by its label, in the order given; None where nothing could be drawn of it."""
    scenes = [scene_of(Measures(wording, case, system)) for _, case in things]
    reaches = [reach_of(scene) for scene in scenes]
    all_of_them = (max(far for far, _ in reaches), max(high for _, high in reaches)) if reaches else (0.0, 0.0)
    return [
        picture_of(scene, f"beside-{number}", t("Side view: {listed}", listed=label), all_of_them)
        for number, ((label, _), scene) in enumerate(zip(things, scenes, strict=True))
    ]
