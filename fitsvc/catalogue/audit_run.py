"""An audit from files to results: a catalogue judged against rigs, block by block, taken up again where it ended.

Memory: about 250 MB for the program and rulebook, and 150 bytes for each item of the catalogue; the rest of what is
allowed is shared out between a block of items, results that are kept, and the pairs about to be written.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pyarrow as pa

from fitsvc import __version__
from fitsvc.catalogue.audit_blocks import Kernel, pairs_table
from fitsvc.catalogue.audit_changes import read_earlier
from fitsvc.catalogue.audit_claims import ClaimReader, Claims, read_claims_file
from fitsvc.catalogue.audit_items import BAD_CLAIMS, Items, append_problems, read_block, read_items
from fitsvc.catalogue.audit_mapping import read_mapping
from fitsvc.catalogue.audit_missing import OpenFacts
from fitsvc.catalogue.audit_pairs import pairs_folder, part_of, write_part
from fitsvc.catalogue.audit_rigs import AuditRig
from fitsvc.catalogue.audit_spool import Spool, digest_of, digest_of_text
from fitsvc.catalogue.audit_tally import Tally, Teller
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


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be audited, and how."""

    catalogue: Path
    out: Path
    claims: Path | None = None
    mapping: Path | None = None
    against: Path | None = None
    format: str = "parquet"
    memory: int = 1_024


@dataclass(frozen=True, slots=True)
class Shares:
    """How the allowed memory is shared out: items in a block, pairs in a part, bytes of results kept."""

    rows: int
    pairs: int
    kept: int


def shares(memory: int) -> Shares:
    """The shares of so many megabytes; ProblemsFound when they are too few."""
    if memory < LEAST_MB:
        raise ProblemsFound([Problem(f"{memory} MB of memory are too few", f"give at least {LEAST_MB}")])
    free = (memory - PROGRAM_MB) * _MEGABYTE
    return Shares(int(free * 0.5 / _ROW_BYTES), min(4_000_000, int(free * 0.3 / _PAIR_BYTES)), int(free * 0.2))


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
            raise ProblemsFound([Problem("is not a file", "check the path", file=str(asked.catalogue))])
        self.earlier = read_earlier(asked.against) if asked.against else None
        self.mapping = read_mapping(asked.mapping)
        self.spool = Spool(asked.out, self._run(rulebook))
        # What is kept is kept twice, for bare receivers and for those with adapters in them.
        self.kernel = Kernel(rulebook, self.shares.kept // 2)
        self.facts = OpenFacts(self.kernel)
        self.reader = FactReader(rulebook)

    def _run(self, rulebook: Rulebook) -> dict[str, Any]:
        """All that the results follow from."""
        asked = self.asked
        against = asked.against / "summary.json" if asked.against else None
        return {
            "catalogue": digest_of(asked.catalogue), "claims": digest_of(asked.claims),
            "mapping": digest_of(asked.mapping), "against": digest_of(against),
            "rigs": digest_of_text("\n".join(f"{rig.key} {rig.vehicle} {rig.document()}" for rig in self.rigs)),
            "rulebook": rulebook.digest, "format": asked.format, "memory": asked.memory, "program": __version__,
        }  # fmt: skip

    def read(self) -> dict[str, Any]:
        """Read the catalogue and the claims, unless that is done."""
        if not self.spool.has("read.json"):
            claims = ClaimReader(self.rigs, str(self.asked.catalogue))
            found, places = read_items(
                self.asked.catalogue, self.reader, self.mapping, claims, self.spool, self.shares.rows,
                lambda rows: self.tell("reading the catalogue", rows, 0),
            )  # fmt: skip
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
        pairs_folder(self.asked.out, self.asked.format).mkdir(exist_ok=True)
        arrays = self.spool.read_arrays("claims.npz")
        claims = Claims(arrays["item"], arrays["rig"]) if read["claims_told"] else None
        total, done, start = read["items"] * len(self.rigs), 0, 0
        for number in range(read["blocks"]):
            items = read_block(self.spool, number)
            groups = self.groups(len(items.skus))
            if not all(self.spool.has(tally_name(number, group)) for group in range(len(groups))):
                of_block = claims.of(start, start + len(items.skus)) if claims else None
                self._judge_block(number, items, groups, of_block, done, total)
            start, done = start + len(items.skus), done + len(items.skus) * len(self.rigs)
            self.tell("judging pairs", done, total)

    def groups(self, rows: int) -> list[range]:
        """The rigs in groups of which each makes one part with a block of so many items."""
        size = max(1, self.shares.pairs // rows)
        return [range(start, min(start + size, len(self.rigs))) for start in range(0, len(self.rigs), size)]

    def _judge_block(
        self, number: int, items: Items, groups: list[range], claims: Claims | None, done: int, total: int
    ) -> None:
        block = self.kernel.block(items.columns, len(items.skus))
        skus, teller = pa.array(items.skus, pa.string()), Teller(self.kernel, self.facts)
        for group, places in enumerate(groups):
            if self.spool.has(tally_name(number, group)):
                continue
            rigs = [self.rigs[place] for place in places]
            tally = Tally(self.kernel, self.facts, block, len(rigs))
            results = []
            for place, rig in enumerate(rigs):
                judged, result = block.judge(rig)
                tally.add(place, rig, judged, result)
                results.append(result)
            of_group = claims.among(places) if claims else None
            path = part_of(self.asked.out, self.asked.format, number, group)
            write_part(path, pairs_table(block, skus, rigs, results, of_group))
            rows = teller.rows(items, rigs, block, results, tally.waiting, of_group) if of_group else []
            self.spool.write(f"claims-{number:05}-{group:05}.json", rows)
            self.spool.write_arrays(tally_name(number, group), tally.arrays(of_group, results))
            self.tell("judging pairs", done + len(items.skus) * places.stop, total)


def tally_name(block: int, group: int) -> str:
    """The name under which a part's counts are kept; once they are there, the part is done."""
    return f"tally-{block:05}-{group:05}.npz"
