"""An audit from files to results: a catalogue judged against rigs, block by block, taken up again where it ended.

Memory: each process that judges takes about 300 MB for the program and rulebook, and the rest of LEAST_MB for a block
of items, results that are kept, and the pairs about to be written; there are as many as the allowed memory and the
machine's cores let be. Beside that 300 bytes for each item of the catalogue, 25 for each claim and 150 for each that
does not hold are held.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from fitsvc import __version__
from fitsvc.audits.changes import read_earlier
from fitsvc.audits.claim_lines import LinesWritten
from fitsvc.audits.claims import ClaimReader, read_claims_file
from fitsvc.audits.item_files import digest_of, digest_of_text
from fitsvc.audits.items import ReadReport
from fitsvc.audits.judging import BlockTask, Elsewhere, judge_all
from fitsvc.audits.mapping import read_mapping
from fitsvc.audits.outliers import Usual
from fitsvc.audits.reading import append_problems, read_items
from fitsvc.audits.rescues import StockedAdapter
from fitsvc.audits.rigs import AuditRig
from fitsvc.audits.source import missing
from fitsvc.audits.spool import SUMMARY
from fitsvc.audits.state import AuditState, Progress, Shares, Task
from fitsvc.document import Document, Json
from fitsvc.facts import FactReader
from fitsvc.garbage import collected_seldom
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.rulebook.rules import Rulebook
from fitsvc.rulebook.tongues import in_tongue
from fitsvc.tongues import ENGLISH, Tongue

PROGRAM_MB: Final = 300
LEAST_MB: Final = 512
_ROW_BYTES: Final = 2_000
_PAIR_BYTES: Final = 64
_MEGABYTE: Final = 1 << 20
_SELDOM: Final = 10_000
"""Containers after which the collector looks: Python's own are 700, which a chunk of rows makes many times over.

Rows make no cycles, and to go through a rulebook's objects again and again took a fifth of the reading.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditOrder:
    """What is to be audited, and how; `aside` says why rigs were set aside, each in words.

    `title` is what the page calls the catalogue, where that is not the name of its file, `supplier` whose it is, `day`
    the one on which it is audited (ISO 8601), and `counter` the address of a counter whose store has the same rigs.
    `usual` is what is usual of the goods of a store, and `adapters` those that it has. In `tongue` all that is for
    people is said: a language with a decimal point, as the catalogue is read while it is spoken.
    """

    catalogue: Path
    out: Path
    claims: Path | None = None
    mapping: Path | None = None
    against: Path | None = None
    format: str = "parquet"
    memory: int = 1_024
    aside: tuple[str, ...] = ()
    title: str = ""
    supplier: str = ""
    day: str = ""
    counter: str = ""
    usual: Usual = field(default_factory=dict)
    adapters: tuple[StockedAdapter, ...] = ()
    tongue: Tongue = ENGLISH


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

    def __init__(
        self,
        asked: AuditOrder,
        rulebook: Rulebook,
        rigs: Sequence[AuditRig],
        tell: Progress,
        elsewhere: Elsewhere | None = None,
    ) -> None:
        """Where it is to be judged `elsewhere`, only the judging is: the bytes are the same."""
        self.asked, self.tell, self.elsewhere = asked, tell, elsewhere
        assert asked.tongue.decimal == "."  # else what is spoken would decide what `1,250` of the catalogue is
        share = shares(asked.memory)
        if asked.against and asked.format != "parquet":
            raise ProblemsFound(
                [Problem("an audit is compared with an earlier one as Parquet", "leave `--format` out")]
            )
        if not asked.catalogue.is_file():
            raise ProblemsFound([missing(asked.catalogue)])
        self.earlier = read_earlier(asked.against) if asked.against else None
        self.mapping = read_mapping(asked.mapping, rulebook.vocabulary)
        told = reading = in_tongue(rulebook, asked.tongue)
        if told is not rulebook:
            reading = replace(told, vocabulary=replace(told.vocabulary, words=rulebook.vocabulary.words))
        task = Task(
            out=asked.out,
            run=_run_of(asked, rulebook, rigs),
            format=asked.format,
            rulebook=told,
            reading=reading,
            rigs=rigs,
            shares=share,
            tongue=None if asked.tongue is ENGLISH else asked.tongue,
        )
        self.state = AuditState(task)

    def read(self) -> ReadReport:
        """Read the catalogue and the claims, unless that is done."""
        report = self.state.spool.report()
        if report is None:
            with collected_seldom(_SELDOM):
                report = self._read()
        return report

    def _read(self) -> ReadReport:
        asked, spool, rulebook = self.asked, self.state.spool, self.state.task.reading
        with LinesWritten(spool.claim_lines) as lines:
            claims = ClaimReader(self.state.rigs, str(asked.catalogue), rulebook, lines.tell)
            report, places = self._catalogue(claims, FactReader(rulebook))
            report.file = asked.title or asked.catalogue.name
            if asked.claims:
                claims.file, claims.apart, passed_over = str(asked.claims), True, dict[str, str]()
                report.claims_told, report.claims_file = True, asked.claims.name
                found = read_claims_file(asked.claims, places, claims, passed_over)
                report.bad_claims_apart = append_problems(spool.bad_claims, found)
                report.bad_claims += report.bad_claims_apart
                report.claims_passed_over = list(passed_over)
                report.claims_meant = {title: name for title, name in passed_over.items() if name}
        report.claim_titles = list(lines.titles)
        report.untold = [(*told, count) for told, count in claims.untold.most_common()]
        report.claims_of_ours = claims.of_ours
        spool.keep_other_claims(claims.of_others)
        pairs = claims.claims()
        report.claims = len(pairs.item)
        spool.keep_report(report, pairs)
        return report

    def _catalogue(self, claims: ClaimReader, reader: FactReader) -> tuple[ReadReport, dict[str, int]]:
        """Read the catalogue, and the claims in it."""
        asked, spool = self.asked, self.state.spool
        try:
            return read_items(
                asked.catalogue,
                reader,
                self.mapping,
                claims,
                spool,
                self.state.task.shares.rows,
                lambda rows: self.tell("reading the catalogue", rows, 0),
            )
        except ProblemsFound:
            spool.close()  # nothing is worth keeping, so the folder takes the mended catalogue
            raise

    def judge(self, report: ReadReport) -> None:
        """Judge every block with every group of rigs that is not judged yet."""
        claims = self.state.spool.all_claims() if report.claims_told else None
        parts, start = list[BlockTask](), 0
        for number in range(report.blocks):
            rows = min(self.state.task.shares.rows, report.items - start)
            parts.append(BlockTask(number, rows, claims.of(start, start + rows) if claims else None))
            start += rows
        judge_all(self.state, parts, lambda done, total: self.tell("judging pairs", done, total), self.elsewhere)


def _run_of(asked: AuditOrder, rulebook: Rulebook, rigs: Sequence[AuditRig]) -> Document:
    """All that the results follow from."""
    against = asked.against / SUMMARY if asked.against else None
    return {
        "catalogue": digest_of(asked.catalogue),
        "claims": digest_of(asked.claims),
        "mapping": digest_of(asked.mapping),
        "against": digest_of(against),
        "rigs": digest_of_text("\n".join(f"{rig.key} {rig.vehicle} {rig.name} {rig.document()}" for rig in rigs)),
        "rulebook": rulebook.digest,
        "format": asked.format,
        "program": __version__,
        "adapters": digest_of_text(repr(asked.adapters)) if asked.adapters else "",
        "usual": digest_of_text(repr(sorted(asked.usual.items()))) if asked.usual else "",
        **({"language": asked.tongue.code} if asked.tongue is not ENGLISH else {}),
    } | {name: value for name in ("aside", "supplier", "counter") if (value := _told(getattr(asked, name)))}


def _told(value: str | tuple[str, ...]) -> Json:
    return value if isinstance(value, str) else list(value)
