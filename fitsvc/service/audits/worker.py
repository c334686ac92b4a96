"""The process that carries one audit out: `python -m fitsvc.service.audits.worker FOLDER`.

It runs beside the server at a lower priority, takes up what an earlier one left, and ends when the audit is cancelled.
The database's URL comes by FITSVC_DATABASE_URL, the folder of rules by FITSVC_RULES, and the digest of the service's
rulebook as the second argument.
"""

import json
import logging
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.parquet as pq

from fitsvc import __version__
from fitsvc.audits.goods import StoreGoods, goods_of, stored_goods
from fitsvc.audits.intake import mapping_of, take_in
from fitsvc.audits.newly import newly_contradicted
from fitsvc.audits.rigs import (
    AuditRig,
    aside_of_table,
    read_rigs,
    rigs_of_table,
    rigs_table,
    stored_rigs,
    told_aside,
)
from fitsvc.audits.run import Audit, AuditOrder
from fitsvc.audits.spool import begun
from fitsvc.audits.summary import run
from fitsvc.facts import FactReader
from fitsvc.files import NO_ROOM, of_the_machine, write_text, written
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import RULES_VARIABLE, data_dir
from fitsvc.rulebook.cache import cached_rulebook
from fitsvc.rulebook.rules import Rulebook
from fitsvc.service.audits.folder import DIFFERENCE, STORED_GOODS, STORED_RIGS, SUPPLIERS, AuditFolder, write
from fitsvc.service.audits.running import COUNTER_VARIABLE
from fitsvc.service.speaking import spoken_tongues, with_point
from fitsvc.store.database import Database
from fitsvc.store.errors import StoreError
from fitsvc.tongues import ENGLISH, Tongue

_AGAIN: Final = "start it again when that is put right; it goes on where it was"
_NICE: Final = 10
_TOLD_EVERY: Final = 0.5
_TRIES: Final = 20
_log = logging.getLogger("fitsvc.audits")


class Cancelled(Exception):
    """The audit is not wanted any more."""


def main(folder: AuditFolder, digest: str) -> None:
    """Carry the audit out, unless somebody else does."""
    for _ in range(_TRIES):
        with folder.holding() as held:
            if held:
                if folder.is_wanted():
                    _carry_out(folder, digest)
                return
        # Whoever asks whether the audit is held holds it for a moment too.
        time.sleep(0.05)


def _carry_out(folder: AuditFolder, digest: str) -> None:
    try:
        aside = _audit(folder, digest)
    except Cancelled:
        return
    except ProblemsFound as found:
        folder.end("failed", found.problems)
    except ChildProcessError as error:
        folder.end("interrupted", [Problem(str(error.strerror), _AGAIN)])
    except OSError as error:
        if not of_the_machine(error):
            raise
        full, why = error.errno in NO_ROOM, str(error.strerror).lower()
        told = "the disk of the service is full" if full else f"the service cannot go on: {why}"
        folder.end("interrupted", [Problem(told, _AGAIN)])
    except MemoryError:
        folder.end("interrupted", [Problem("the service has not the memory that it takes", _AGAIN)])
    except StoreError as error:
        folder.end("interrupted", [Problem(str(error), _AGAIN)])
    else:
        folder.end("finished", aside)


def _audit(folder: AuditFolder, digest: str) -> Sequence[Problem]:
    """Carry the audit out, and return why saved rigs are set aside."""
    progress = _Progress(folder)
    progress.tell("reading the rules", 0, 0)
    rulebook = cached_rulebook(Path(os.environ.get(RULES_VARIABLE) or data_dir("rules")))
    if rulebook.digest != digest:
        raise ProblemsFound([Problem("the rules were changed while the service ran", "start the service anew")])
    # Rigs that were sent are not at the counter, which knows those of the store.
    counter = "" if folder.file("rigs") else os.environ.get(COUNTER_VARIABLE, "")
    _begin_anew_if_changed(folder, rulebook.digest, counter)
    progress.tell("reading the rigs", 0, 0)
    rigs, aside, goods = _rigs(folder, rulebook)
    catalogue = folder.file("catalogue")
    assert catalogue is not None
    asked = AuditOrder(
        catalogue=catalogue,
        title=f"catalogue{catalogue.suffix}",
        out=folder.out,
        supplier=folder.told().get("name", ""),
        day=str(folder.told().get("created_at") or "")[:10],
        counter=counter,
        claims=folder.file("claims"),
        mapping=folder.file("mapping"),
        against=_against(folder),
        aside=tuple(map(told_aside, aside)),
        usual=goods.usual,
        adapters=goods.adapters,
        tongue=_tongue(str(folder.told().get("language") or ENGLISH.code)),
    )
    run(Audit(asked, rulebook, rigs, progress.tell))
    if folder.told().get("nightly"):
        _tell_difference(folder, asked, rulebook)
    return aside


def _tell_difference(folder: AuditFolder, asked: AuditOrder, rulebook: Rulebook) -> None:
    """Write down what is new since the audit before, and what of the file is not as its mapping was made for.

    It is done here, beside the service, since it reads as many lines as there are claims.
    """
    kept, drifted = folder.path.parent / SUPPLIERS, list[str]()
    if mapping_of(kept, asked.supplier).is_file():
        drifted += take_in(asked.catalogue, FactReader(rulebook), kept, asked.supplier).drifted
    contradicted = newly_contradicted(asked.out, asked.against) if asked.against else None
    write(folder.path / DIFFERENCE, {"contradicted": contradicted, "drifted": drifted})


def _tongue(code: str) -> Tongue:
    """The language of who made the audit; English where the rules have no words for it any more."""
    rules = os.environ.get(RULES_VARIABLE)
    return with_point(code, spoken_tongues(Path(rules) if rules else None)) or ENGLISH


def _begin_anew_if_changed(folder: AuditFolder, rulebook: str, counter: str) -> None:
    """Let go of what was done by other rules or another version, whose results would not go together."""
    by = begun(folder.out)
    now = (rulebook, __version__, counter)
    if by is not None and (by["rulebook"], by["program"], by.get("counter", "")) != now:
        folder.forget()


def _rigs(folder: AuditFolder, rulebook: Rulebook) -> tuple[Sequence[AuditRig], Sequence[Problem], StoreGoods]:
    """The rigs that were sent, or those of the store as they were when the audit began, and why others are not.

    Of the store come its goods too, what is usual of them and its adapters, as they were then.
    """
    reader, carried = FactReader(rulebook), folder.told().get("carried", {})
    if (sent := folder.file("rigs")) is not None:
        return read_rigs([sent], reader, carried), (), StoreGoods()
    kept, goods = folder.path / STORED_RIGS, folder.path / STORED_GOODS
    if not (kept.is_file() and goods.is_file()):
        database = Database()
        try:
            with database.session() as session:
                aside = list[Problem]()
                table = rigs_table(stored_rigs(session, reader, carried, aside), aside)
                told = json.dumps(stored_goods(session, reader).document())
        finally:
            database.close()
        with written(kept) as place:
            pq.write_table(table, place)
        write_text(goods, told)
    table = pq.read_table(kept)
    return rigs_of_table(table), aside_of_table(table), goods_of(json.loads(goods.read_text("utf-8")))


def _against(folder: AuditFolder) -> Path | None:
    against = folder.told().get("against")
    return folder.path.parent / against / "out" if against else None


class _Progress:
    """Writes down how far the audit is, and looks whether it is still wanted."""

    def __init__(self, folder: AuditFolder) -> None:
        self._folder, self._stage, self._told = folder, "", 0.0
        self._began, self._first = 0.0, 0

    def tell(self, stage: str, done: int, total: int) -> None:
        """Take what the audit tells of itself."""
        now = time.monotonic()
        if stage != self._stage:
            self._stage, self._began, self._first, self._told = stage, now, done, 0.0
        if now - self._told < _TOLD_EVERY:
            return
        self._told = now
        if not self._folder.is_wanted():
            raise Cancelled
        new = done - self._first
        left = (now - self._began) / new * (total - done) if total and new else None
        self._folder.tell(stage, done, total, left)


if __name__ == "__main__":
    os.nice(_NICE)
    pa.set_cpu_count(1)
    pa.set_io_thread_count(1)
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    main(AuditFolder(Path(sys.argv[1])), sys.argv[2])
