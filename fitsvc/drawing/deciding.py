"""What a picture is about: what strikes, is open or clears by least, the lengths that say so, and where to look."""

from dataclasses import dataclass
from typing import Final

from fitsvc.drawing.measures import middle
from fitsvc.drawing.panel import INCH
from fitsvc.drawing.rows import KeyRow
from fitsvc.drawing.scene import Box, Mark, Scene
from fitsvc.language.intervals import Bounds
from fitsvc.tongues import later, t

_LENGTHWAYS: Final = ("bumper", "spare")
_NAMES: Final = {
    "folded": later("folded carrier"),
    "in use": later("carrier"),
    "load": later("load"),
    "front": later("carrier"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DecidingPlace:
    """The state that a carrier is drawn in near by, the mark that decides, and the lengths told, the rearmost first.

    `whole` says that the rear of the vehicle has to be seen as high as it is, for what decides stands up there.
    """

    state: str
    mark: Mark | None
    rows: tuple[KeyRow, ...]
    whole: bool


def deciding(scene: Scene) -> DecidingPlace:
    """What the picture of a scene is about."""
    failing = [mark for mark in scene.marks if mark.result == "fails"]
    mark = next(iter((*failing, *scene.marks)), None)
    if scene.others:
        return _of_several(scene, mark)
    shape = mark.shape if mark else ""
    state = shape if shape in scene.boxes and shape != "front" else "folded" if _folds(scene) else "in use"
    whole = mark is not None and mark.against not in _LENGTHWAYS
    rows = _of_towing(scene) if scene.ball else _of_carrier(scene, state, mark)
    if scene.wall:
        rows = [
            *rows,
            KeyRow(
                start=0.0,
                end=middle(scene.wall),
                text=t("wall {length} behind", length=scene.measures.length_text(scene.wall)),
            ),
        ]
    if scene.pin is not None:
        told = scene.measures.text("pin_to_bumper")
        within = scene.pin if scene.pin[0] != scene.pin[1] else None
        rows = [
            *rows,
            KeyRow(start=middle(scene.pin), end=0.0, text=t("pin hole to bumper {length}", length=told), within=within),
        ]
    return DecidingPlace(state=state, mark=mark, rows=_rearmost_first(rows), whole=whole)


def _rearmost_first(rows: list[KeyRow]) -> tuple[KeyRow, ...]:
    """What ends rearmost stands first, so that no line down to a row runs through the words of another."""
    return tuple(sorted(rows, key=lambda row: -max(row.start, row.end)))


def _of_several(scene: Scene, mark: Mark | None) -> DecidingPlace:
    """Of several things in one receiver how far back each reaches, all of them in use and seen as high as they are."""
    rows = [row for one in (scene, *scene.others) if (row := _reach(one)) is not None]
    return DecidingPlace(state="in use", mark=mark, rows=_rearmost_first(rows), whole=True)


def _reach(scene: Scene) -> KeyRow | None:
    """How far behind the bumper one of several things reaches, or its ball stands."""
    box, told = scene.boxes.get("in use"), scene.measures.length_text
    if scene.ball:
        text = t("{name}: ball at {length}", name=scene.name, length=told(scene.ball))
        return KeyRow(start=0.0, end=middle(scene.ball), text=text)
    if box is None or box.partial:
        return None
    text = t("{name}: back to {length}", name=scene.name, length=told(box.right))
    return KeyRow(start=0.0, end=middle(box.right), text=text)


def _folds(scene: Scene) -> bool:
    """Whether it is another shape folded up; a tray that does not fold is stowed as it is used."""
    use, stowed = scene.boxes.get("in use"), scene.boxes.get("folded")
    return stowed is not None and (use is None or (use.left, use.right) != (stowed.left, stowed.right))


def _of_carrier(scene: Scene, state: str, mark: Mark | None) -> list[KeyRow]:
    """How far it stands off what it could strike, what that is made of, and how far back it reaches."""
    box, m = scene.boxes.get(state), scene.measures
    if box is None:
        return []
    spare = scene.boxes.get("spare")
    against = mark.against if mark and mark.against in _LENGTHWAYS else "spare" if spare else "bumper"
    edge = spare.right if spare and against == "spare" else (0.0, 0.0)
    gap: Bounds = (box.left[0] - edge[1], box.left[1] - edge[0])
    rows = [_gap(scene, box, edge, gap)]
    if edge != (0.0, 0.0):
        rows.append(
            KeyRow(start=0.0, end=middle(edge), text=t("spare reaches back {length}", length=m.length_text(edge)))
        )
        rows.append(
            KeyRow(
                start=0.0,
                end=middle(box.left),
                text=t("{it} leaves {length}", it=t(_NAMES.get(state, state)), length=m.length_text(box.left)),
            )
        )
    elif not box.partial:
        reach = m.length_text(box.right)
        says = t("reaches forward {it}", it=reach) if m.sure("at_front") else t("reaches back {it}", it=reach)
        rows.append(KeyRow(start=0.0, end=middle(box.right), text=says))
    return rows


def _gap(scene: Scene, box: Box, edge: Bounds, gap: Bounds) -> KeyRow:
    """The room between a carrier and what it could strike: too little, enough, or not known to be either."""
    told = scene.measures.length_text
    start, end = middle(edge), middle(box.left)
    if gap[1] < 0.0:
        text = t("{length} too little", length=told((-gap[1], -gap[0])))
        return KeyRow(start=start, end=end, text=text, decides=True, hit=True)
    if gap[0] >= 0.0:
        return KeyRow(start=start, end=end, text=t("clears by {room}", room=told(gap)), decides=True)
    return KeyRow(start=start, end=end, text=t("room {room}", room=told(gap)), decides=True, within=box.left)


def _of_towing(scene: Scene) -> list[KeyRow]:
    """Where the ball stands, and how far back an open tailgate reaches."""
    m, rows = scene.measures, list[KeyRow]()
    if scene.ball:
        text = t("ball {length} behind bumper", length=m.length_text(scene.ball))
        within = scene.ball if scene.ball[0] != scene.ball[1] else None
        rows.append(KeyRow(start=0.0, end=middle(scene.ball), text=text, decides=True, within=within))
    if scene.closure and not scene.closure.door and (far := scene.closure.x + middle(scene.closure.length)) > INCH:
        rows.append(KeyRow(start=0.0, end=far, text=f"{scene.closure.label} {m.length_text((far, far))}"))
    return rows
