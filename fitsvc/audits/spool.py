"""Where an audit keeps what it has done, so that it may be ended at any moment and taken up again.

Every file has its name once it is whole; the names are known here alone. A catalogue is read to blocks of items, and
each block is judged with one group of rigs after the other: the two make a part. What an audit is of stands in
`run.json`; a folder is only taken up again by the audit that began it.
"""

import json
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, fields
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fitsvc.audits.claims import Claims
from fitsvc.audits.item_files import items_in, save_arrays, skus_file, write_items
from fitsvc.audits.items import Items, ReadReport
from fitsvc.audits.parts import Array, ClaimCarried, ClaimFate, PartCounts
from fitsvc.document import Json
from fitsvc.files import locked, write_text
from fitsvc.language.problems import Problem, ProblemsFound

SUMMARY: Final = "summary.json"
_SPOOL: Final = ".spool"
_RUN: Final = "run.json"
_REPORT: Final = "read.json"
_CLAIMS: Final = "claims.npz"
_DAY: Final = "day.json"
_LAYOUT: Final = "layout.json"
_FIELDS: Final = [list(one._fields) for one in (PartCounts, ClaimFate, ClaimCarried, Claims, Items)] + [
    [one.name for one in fields(ReadReport)]
]
"""What is kept of what was read and judged: another version of the program may keep other things."""
_OTHER_CLAIMS: Final = "other_claims.json"
_BALL_CLAIMS: Final = "ball_claims.json"
_LOCK: Final = "judging.lock"
_ALONE: Final = "audit.lock"


class Spool:
    """The folder of one audit."""

    def __init__(self, out: Path, run: Mapping[str, Json]) -> None:
        self.out, self.run = out, dict(run)
        self.folder = out / _SPOOL
        self.finished = self._open()

    def _open(self) -> bool:
        """Make the folder, or find it to be this audit's; whether the audit is done already."""
        if self.out.exists() and not self.out.is_dir():
            raise ProblemsFound([Problem("is a file", "name a folder for the results", file=str(self.out))])
        summary, begun = self.out / SUMMARY, self.folder / _RUN
        if summary.is_file():
            self._same(_read_json(summary).get("run"), "holds the results of another audit")
            shutil.rmtree(self.folder, ignore_errors=True)
            return True
        if begun.is_file():
            self._same(_read_json(begun), "holds another audit that was not ended")
            self._kept_likewise()
            return False
        if self.out.exists() and any(self.out.iterdir()) and not self.folder.is_dir():
            raise ProblemsFound([Problem("is not empty", "name a new folder for the results", file=str(self.out))])
        self.folder.mkdir(parents=True, exist_ok=True)
        with locked(self.folder / _ALONE):
            if begun.is_file():  # by another that began in the same moment
                self._same(_read_json(begun), "holds another audit that was not ended")
            else:
                self._write(_LAYOUT, _FIELDS)
                self._write(_RUN, self.run)
        return False

    def _kept_likewise(self) -> None:
        """Refuse what another version of the program has begun, whose parts would not be read for what they are."""
        if not (self.folder / _LAYOUT).is_file() or self._read(_LAYOUT) != _FIELDS:
            message = "holds an audit that another version of fitsvc has begun"
            raise ProblemsFound([Problem(message, "remove the folder and begin anew", file=str(self.out))])

    def _same(self, found: Json, message: str) -> None:
        if found == self.run:
            return
        told = found if isinstance(found, dict) else {}
        differ = [name for name in {**self.run, **told} if told.get(name) != self.run.get(name)]
        help = f"its {', '.join(differ)} differ{'s' if len(differ) == 1 else ''}; name a new folder, or remove this one"
        raise ProblemsFound([Problem(message, help, file=str(self.out))])

    @contextmanager
    def alone(self) -> Iterator[bool]:
        """Hold the lock of the one process that carries the audit out; whether that is left to be done.

        ProblemsFound where another is at work on it.
        """
        with ExitStack() as held:
            try:
                mine = held.enter_context(locked(self.folder / _ALONE, wait=False))
            except FileNotFoundError:  # another has ended it meanwhile
                mine = True
            if not mine:
                help = "wait until it has ended: the same command then tells what it found"
                raise ProblemsFound([Problem("another audit is at work in this folder", help, file=str(self.out))])
            yield not (self.out / SUMMARY).is_file()

    def day(self, today: str) -> str:
        """The day on which the audit was begun, which is kept however often it is taken up again."""
        if not (self.folder / _DAY).is_file():
            self._write(_DAY, today)
        return str(self._read(_DAY))

    def close(self) -> None:
        """Let go of all but the results."""
        shutil.rmtree(self.folder, ignore_errors=True)

    @contextmanager
    def helping(self) -> Iterator[None]:
        """Hold the lock of a process that helps to judge."""
        with locked(self.folder / _LOCK, shared=True):
            yield

    @contextmanager
    def holding(self, block: int) -> Iterator[None]:
        """Hold the lock of a block: of several it was given to, one judges it, and the next finds it judged."""
        with locked(self.folder / f"block-{block:05}.lock"):
            yield

    def await_helpers(self) -> None:
        """Wait until no process helps any more that an audit left behind when it was killed."""
        with locked(self.folder / _LOCK):
            pass

    # what reading the catalogue gave

    @property
    def bad_rows(self) -> Path:
        """The file of what is wrong with rows of the catalogue."""
        return self.folder / "bad_rows.csv"

    @property
    def bad_cells(self) -> Path:
        """The file of cells that could not be read, of rows that are judged."""
        return self.folder / "bad_cells.csv"

    @property
    def bad_claims(self) -> Path:
        """The file of what is wrong with claims."""
        return self.folder / "bad_claims.csv"

    @property
    def claim_lines(self) -> Path:
        """The file of claims as their lines have them, with the rigs that each names."""
        return self.folder / "claim_lines.jsonl"

    def keep_others(self, others: Mapping[str, Items]) -> None:
        """Keep the items that are no accessories, by subject."""
        for subject, items in others.items():
            self.keep_block(subject, items)

    def other(self, subject: str) -> Items | None:
        """The items of a subject that are no accessories; None where there are none."""
        return self.block(subject) if (self.folder / skus_file(subject)).is_file() else None

    def keep_block(self, block: int | str, items: Items) -> None:
        """Keep a block of items, by its number; of items that are no accessories by their subject."""
        write_items(self.folder, block, items)

    def block(self, block: int | str) -> Items:
        """A block of items."""
        return items_in(self.folder, block)

    def skus(self, block: int | str) -> list[str]:
        """The SKUs of a block's items."""
        found: list[str] = self._read(skus_file(block))
        return found

    def keep_other_claims(self, claims: Mapping[str, Iterable[int]]) -> None:
        """Keep the rigs that each item which is no accessory is claimed to fit."""
        self._write(_OTHER_CLAIMS, {sku: sorted(rigs) for sku, rigs in claims.items()})

    def other_claims(self) -> dict[str, set[int]]:
        """The rigs that each item which is no accessory is claimed to fit, by their places."""
        return {sku: set(rigs) for sku, rigs in self._read(_OTHER_CLAIMS).items()}

    def keep_ball_claims(self, claims: Mapping[str, Sequence[str]]) -> None:
        """Keep the mounts that each ball is claimed to stand on."""
        self._write(_BALL_CLAIMS, {sku: list(mounts) for sku, mounts in claims.items()})

    def ball_claims(self) -> dict[str, list[str]]:
        """The mounts that each ball is claimed to stand on, by their SKUs."""
        found: dict[str, list[str]] = self._read(_BALL_CLAIMS)
        return found

    def keep_report(self, report: ReadReport, claims: Claims) -> None:
        """Keep what came of reading the catalogue, and all claims; the reading is then done."""
        self._write_arrays(_CLAIMS, claims._asdict())
        self._write(_REPORT, asdict(report))

    def report(self) -> ReadReport | None:
        """What came of reading the catalogue; None where that is not done."""
        return ReadReport(**self._read(_REPORT)) if (self.folder / _REPORT).is_file() else None

    def all_claims(self) -> Claims:
        """All claims."""
        return Claims(**self._arrays(_CLAIMS))

    # what judging a block with a group of rigs gave

    def keep_part(
        self,
        block: int,
        group: int,
        counts: PartCounts,
        fates: Sequence[ClaimFate],
        carried: Sequence[ClaimCarried],
    ) -> None:
        """Keep what was counted of a part, and what became of its claims; the part, whose pairs are there, is done."""
        self._write(_fates(block, group), fates)
        self._write(_carried(block, group), carried)
        self._write_arrays(_tally(block, group), counts._asdict())

    def is_judged(self, block: int, group: int) -> bool:
        """Whether a part is done."""
        return (self.folder / _tally(block, group)).is_file()

    def counts(self, block: int, group: int) -> PartCounts:
        """What was counted of a part."""
        return PartCounts(**self._arrays(_tally(block, group)))

    def claim_outcomes(self, block: int, group: int) -> Array:
        """What each claim of a part comes to, without the other counts."""
        with np.load(self.folder / _tally(block, group), allow_pickle=False) as arrays:
            found: Array = arrays["claim_outcomes"]
            return found

    def fates(self, block: int, group: int) -> list[ClaimFate]:
        """What became of the claims of a part that do not hold."""
        return [ClaimFate(*row) for row in self._read(_fates(block, group))]

    def carried(self, block: int, group: int) -> list[ClaimCarried]:
        """What the items of a part's claims that hold may carry."""
        return [ClaimCarried(*row) for row in self._read(_carried(block, group))]

    # what the comparison with an earlier audit needs

    def outcomes_before(self, rigs: int, items: int) -> NDArray[np.uint8]:
        """A place on the disk, and not in memory, for the earlier outcome of every pair."""
        return np.memmap(self.folder / "old-outcomes.u8", np.uint8, "w+", shape=(rigs, items))

    def rules_before(self, rigs: int, items: int) -> NDArray[np.int32]:
        """A place on the disk for what decided every pair earlier."""
        return np.memmap(self.folder / "old-rules.i32", np.int32, "w+", shape=(rigs, items))

    def _write(self, name: str, document: Json) -> None:
        write_text(self.folder / name, json.dumps(document, ensure_ascii=False, sort_keys=True))

    def _read(self, name: str) -> Json:
        return _read_json(self.folder / name)

    def _write_arrays(self, name: str, arrays: Mapping[str, Array]) -> None:
        save_arrays(self.folder / name, arrays, packed=False)

    def _arrays(self, name: str) -> dict[str, Array]:
        with np.load(self.folder / name, allow_pickle=False) as arrays:
            return dict(arrays)


def _tally(block: int, group: int) -> str:
    return f"tally-{block:05}-{group:05}.npz"


def _fates(block: int, group: int) -> str:
    return f"claims-{block:05}-{group:05}.json"


def _carried(block: int, group: int) -> str:
    return f"carried-{block:05}-{group:05}.json"


def _read_json(path: Path) -> Json:
    try:
        return json.loads(path.read_text("utf-8"))
    except (FileNotFoundError, ValueError) as error:  # of another fault of the disk nothing is damaged
        help = "remove the folder and begin anew"
        raise ProblemsFound([Problem(f"cannot be read: {error}", help, file=str(path))]) from None


def begun(out: Path) -> Json:
    """What the audit that was begun in a folder is of; None where there is none that was not ended."""
    path = out / _SPOOL / _RUN
    return _read_json(path) if path.is_file() else None
