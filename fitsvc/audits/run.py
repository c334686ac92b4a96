"""An audit from files to results: a catalogue judged against rigs, block by block, taken up again where it ended.

Memory: each process that judges takes about 300 MB for the program and rulebook, and the rest of LEAST_MB for a block
of items, results that are kept, and the pairs about to be written; there are as many as the allowed memory and the
machine's cores let be. Beside that 300 bytes for each item of the catalogue and 25 for each claim are held.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fitsvc import __version__
from fitsvc.audits.changes import read_earlier
from fitsvc.audits.claims import ClaimReader, Claims, read_claims_file
from fitsvc.audits.items import BAD_CLAIMS, append_problems, read_items
from fitsvc.audits.judging import Judging, Part, Shares, Task
from fitsvc.audits.mapping import read_mapping
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.spool import digest_of, digest_of_text
from fitsvc.facts import FactReader
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Rulebook

PROGRAM_MB: Final = 300
LEAST_MB: Final = 512
_ROW_BYTES: Final = 8_000
_PAIR_BYTES: Final = 64
_MEGABYTE: Final = 1 << 20
Progress = Callable[[str, int, int], None]
"""Told of a stage's name, how much of it is done, and how much there is (0 where that is not known)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be audited, and how."""

    catalogue: Path
    out: Path
    claims: Path | None = None
    mapping: Path | None = None
    against: Path | None = None
    format: str = "parquet"
    memory: int = 1_024


def shares(memory: int) -> Shares:
    """The shares of so many megabytes; ProblemsFound when they are too few.

    More memory lets more processes judge, each with the same shares, so that blocks and parts are the same however
    many there are.
    """
    if memory < LEAST_MB:
        raise ProblemsFound([Problem(f"{memory} MB of memory are too few", f"give at least {LEAST_MB}")])
    free = (LEAST_MB - PROGRAM_MB) * _MEGABYTE
    return Shares(
        int(free * 0.5 / _ROW_BYTES), int(free * 0.3 / _PAIR_BYTES), int(free * 0.2), min(memory // LEAST_MB, _cores())
    )


def _cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Audit:
    """One audit. What is in its folder already is not done again."""

    def __init__(self, asked: Asked, rulebook: Rulebook, rigs: Sequence[AuditRig], tell: Progress) -> None:
        self.asked, self.rigs, self.tell = asked, rigs, tell
        self.shares = shares(asked.memory)
        if asked.against and asked.format != "parquet":
            raise ProblemsFound(
                [Problem("an audit is compared with an earlier one as Parquet", "leave `--format` out")]
            )
        if not asked.catalogue.is_file():
            what = "is not a file" if asked.catalogue.exists() else "does not exist"
            raise ProblemsFound([Problem(what, "check the path", file=str(asked.catalogue))])
        self.earlier = read_earlier(asked.against) if asked.against else None
        self.mapping = read_mapping(asked.mapping, rulebook.vocabulary)
        task = Task(
            out=asked.out,
            run=self._run(rulebook),
            format=asked.format,
            rulebook=rulebook,
            rigs=rigs,
            shares=self.shares,
        )
        self.judging = Judging(task)
        self.spool, self.kernel, self.facts = self.judging.spool, self.judging.kernel, self.judging.facts
        self.groups = self.judging.groups
        self.reader = FactReader(rulebook)

    def _run(self, rulebook: Rulebook) -> dict[str, Any]:
        """All that the results follow from."""
        asked = self.asked
        against = asked.against / "summary.json" if asked.against else None
        return {
            "catalogue": digest_of(asked.catalogue), "claims": digest_of(asked.claims),
            "mapping": digest_of(asked.mapping), "against": digest_of(against),
            "rigs": digest_of_text("\n".join(f"{rig.key} {rig.vehicle} {rig.document()}" for rig in self.rigs)),
            "rulebook": rulebook.digest, "format": asked.format, "program": __version__,
        }  # fmt: skip

    def read(self) -> dict[str, Any]:
        """Read the catalogue and the claims, unless that is done."""
        if not self.spool.has("read.json"):
            claims = ClaimReader(self.rigs, str(self.asked.catalogue))
            try:
                found, places = read_items(
                    self.asked.catalogue, self.reader, self.mapping, claims, self.spool, self.shares.rows,
                    lambda rows: self.tell("reading the catalogue", rows, 0),
                )  # fmt: skip
            except ProblemsFound:
                self.spool.close()  # nothing is worth keeping, so the folder takes the mended catalogue
                raise
            if self.asked.claims:
                claims.file = str(self.asked.claims)
                problems = read_claims_file(self.asked.claims, places, claims)
                found.bad_claims += append_problems(self.spool.folder / BAD_CLAIMS, problems)
            pairs = claims.claims()
            self.spool.write_arrays("claims.npz", {"item": pairs.item, "rig": pairs.rig})
            told = {name: getattr(found, name) for name in found.__slots__}
            told["claims_told"] = bool(found.claims_told or self.asked.claims)
            self.spool.write("read.json", told | {"claims": len(pairs.item)})
        found_again: dict[str, Any] = self.spool.read("read.json")
        return found_again

    def judge(self, read: dict[str, Any]) -> None:
        """Judge every block with every group of rigs that is not judged yet."""
        arrays = self.spool.read_arrays("claims.npz")
        claims = Claims(arrays["item"], arrays["rig"]) if read["claims_told"] else None
        parts, start = [], 0
        for number in range(read["blocks"]):
            rows = min(self.shares.rows, read["items"] - start)
            parts.append(Part(number, rows, claims.of(start, start + rows) if claims else None))
            start += rows
        self.judging.judge_all(parts, lambda done, total: self.tell("judging pairs", done, total))
