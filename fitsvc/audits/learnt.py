"""What is usual of figures, learnt from earlier audits: each keeps the medians of its own, by kind and fact.

Of each supplier its last delivery counts, once, and of all suppliers the median: one whose figures are in another unit
moves nothing, where there are others. The supplier itself is left out, whose slip may be as old as its catalogue.
"""

import json
from collections.abc import Iterable
from pathlib import Path
from statistics import median
from typing import Final

from fitsvc.audits.outliers import Usual
from fitsvc.audits.scorecard import deliveries_of
from fitsvc.audits.spool import SUMMARY
from fitsvc.files import write_text
from fitsvc.language.problems import Problem, ProblemsFound

_USUAL: Final = "usual.json"


def keep_usual(out: Path, usual: Usual, wrong: Iterable[str]) -> None:
    """Keep what is usual of an audit's own figures, but for the facts whose whole columns look wrong."""
    left_out = set(wrong)
    rows = [[kind, fact, value] for (kind, fact), value in sorted(usual.items()) if fact not in left_out]
    write_text(out / _USUAL, json.dumps(rows) + "\n")


def usual_of_audits(folder: Path, supplier: str) -> list[Usual]:
    """What is usual in the last delivery of each other supplier, whose audits stand in a folder of folders.

    ProblemsFound where there is no such folder.
    """
    if not folder.is_dir():
        help = "name a folder in which `fitsvc audit` wrote folders with `--supplier`"
        raise ProblemsFound([Problem("is no folder", help, file=str(folder))])
    found = sorted(path.parent for path in folder.glob(f"*/{SUMMARY}"))
    last = {one.supplier: one.out / _USUAL for one in deliveries_of(found) if one.supplier != supplier}
    return [_read(path) for path in last.values() if path.is_file()]


def _read(path: Path) -> Usual:
    return {(kind, fact): float(value) for kind, fact, value in json.loads(path.read_text("utf-8"))}


def middle_of(several: Iterable[Usual]) -> Usual:
    """What is usual by several, of each kind and fact the median."""
    found: dict[tuple[str, str], list[float]] = {}
    for usual in several:
        for key, value in usual.items():
            found.setdefault(key, []).append(value)
    return {key: median(values) for key, values in sorted(found.items())}
