"""The side view to scale: the picture, its dimensions and key, and all of it told in sentences."""

from collections.abc import Mapping

from fitsvc.answers.phrases import joined
from fitsvc.answers.wording import Wording
from fitsvc.drawing import ink
from fitsvc.drawing.ink import Drawing, number
from fitsvc.drawing.key import Key
from fitsvc.drawing.margins import heights, lengths
from fitsvc.drawing.measures import Measures
from fitsvc.drawing.picture import Picture
from fitsvc.drawing.scene import Scene
from fitsvc.drawing.staging import scene_of
from fitsvc.facts import Case
from fitsvc.language.display import System
from fitsvc.tongues import spoken, t


def side_view(
    wording: Wording, case: Case, system: System = "us", prefix: str = "side", labels: Mapping[str, str] | None = None
) -> Drawing:
    """The rear of the rig from its left, to scale: what is known solid, what is known in bounds dashed.

    `labels` names the subjects as their records do; `prefix` starts every id, for several drawings on a page.
    """
    scene, key = scene_of(Measures(wording, case, system)), Key()
    picture = Picture(scene, key, prefix)
    picture.draw()
    frame = picture.frame
    beside, bottom = heights(scene.heights, frame, key)
    below, bottom = lengths(scene.lengths, frame, key, max(bottom, frame.ground + 6.0) + 12.0)
    rows, bottom = key.draw(bottom + 8.0, _left_out(scene))
    title, description = _title(labels or {}), describe(scene)
    svg = ink.document(
        prefix,
        title,
        description,
        bottom + 4.0,
        [*picture.parts, *picture.over, *beside, *below, *rows],
        ink.patterns(prefix) + "".join(picture.clips),
        data_units_per_mm=f"{frame.scale:.9g}",
        data_ground=number(frame.ground),
        data_bumper=number(frame.x(0.0)),
    )
    return Drawing(svg, title, description)


def _title(labels: Mapping[str, str]) -> str:
    names = [labels[subject] for subject in ("accessory", "vehicle") if labels.get(subject)]
    return t("Side view to scale: {listed}", listed=t(" on ").join(names)) if names else t("Side view to scale")


def describe(scene: Scene) -> str:
    """All that the drawing shows, in sentences: what strikes first, then the dimensions, then what is left out."""
    told = [mark.reason for mark in scene.marks]
    shown = [spoken(box.label) for box in scene.boxes.values() if box.name != "front"]
    if shown:
        told.append(t("Drawn as boxes: {shown}.", shown=joined(shown)))
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.heights]
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.lengths]
    told += [f"{_capital(one.label)}: {one.text}." for one in scene.angles]
    grade = "steepest_grade"
    if scene.measures.known(grade) is not None:
        told.append(f"{_capital(scene.measures.label(grade))}: {scene.measures.text(grade)}.")
    if scene.closure:
        told.append(t("Drawn shut: {the} and its sweep.", the=spoken(scene.closure.label)))
    if scene.measures.sure("tilts_clear"):
        told.append(t("The accessory tilts or swings clear of the rear closure."))
    told += _left_out(scene)
    told.append(t("The vehicle's outline is a sketch; only what is measured is to scale."))
    return " ".join(told)


def _left_out(scene: Scene) -> list[str]:
    """What is not drawn, and why."""
    if not scene.measures.wording.rulebook.side_view:
        return [t("Nothing is drawn: this rulebook has no `drawing.yaml` that says what a side view is drawn by.")]
    told = [t("Not known, and left out: {missing}.", missing=joined(scene.missing))] if scene.missing else []
    if scene.unplaced:
        told.append(t("For want of that, not drawn: {unplaced}.", unplaced=joined(scene.unplaced)))
    if scene.measures.sure("spare_underneath"):
        told.append(t("The spare under the body is not drawn: no fact says where it hangs."))
    return told


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
