"""Making and looking after the runs of schedules: one at a time, whatever number of servers there is.

Whoever looks holds a lock in the folder of audits, which servers of one store share, so that a step is never done
twice. A run is an audit like any other, carried out beside the service; here its file is taken over, and what came of
it is written down with whom that is to be told. Whatever stands in the way of a run is what it came to: nothing that
was planned passes in silence.
"""

import json
import logging
import shutil
from collections.abc import Mapping
from contextlib import AbstractContextManager, suppress
from datetime import datetime
from pathlib import Path
from threading import Event, Thread
from typing import Final

from sqlmodel import Session

from fitsvc.audits.intake import mapping_of
from fitsvc.audits.pairs import pairs_folder
from fitsvc.audits.spool import SUMMARY
from fitsvc.audits.thresholds import MEASURES
from fitsvc.document import Document, Json
from fitsvc.files import NO_ROOM, PART, locked
from fitsvc.language.problems import ProblemsFound
from fitsvc.service.audits.deliveries import Delivered, NotDelivered, take
from fitsvc.service.audits.folder import BEFORE, DIFFERENCE, SUPPLIERS, AuditFolder, Audits, digest_of
from fitsvc.service.context import Service
from fitsvc.service.reporting import Nightly
from fitsvc.service.speaking import with_point
from fitsvc.store.errors import Conflict, NotFound, StoreError
from fitsvc.store.schedules import (
    RunPlace,
    begin_run,
    end_run,
    finished_before,
    list_schedules,
    make_due_runs,
    runs_under_way,
)
from fitsvc.store.tables import Schedule, ScheduledRun, now
from fitsvc.tongues import ENGLISH, Tongue, speaking, t

KEPT_AUDITS: Final = 30
"""Audits of a schedule that are kept whole, a month's: what older ones came to stays with their runs."""
_EVERY: Final = 1.0
"""Seconds between two looks, each of two rows where nothing is to be done."""
_LOCK: Final = "schedules.lock"
_PATIENCE: Final = 5.0
_FIGURES: Final = ("bad_rows", "bad_cells", "contradicted", "undecided", "suspicious")
_log = logging.getLogger("fitsvc.audits")


class Schedules:
    """The thread of one server that looks after the runs of schedules."""

    def __init__(self, service: Service, nightly: Nightly, tongues: Mapping[str, Tongue]) -> None:
        self._service, self._nightly, self._tongues = service, nightly, tongues
        self._stopping = Event()
        self._thread = Thread()

    def start(self) -> None:
        """Begin to look, where the operator said what is needed for it; where schedules wait in vain, say so."""
        self._stopping.clear()
        if not self._nightly.deliveries:
            with suppress(StoreError), self._service.database.session() as session:
                if list_schedules(session):
                    _log.warning("schedules are kept, and not carried out: there is no `--deliveries`")
            return
        self._thread = Thread(target=self._look, name="schedules", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Look no more; a file that is being taken over is let go of, and taken anew by the next server."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(_PATIENCE)  # a storage that hangs holds nobody up

    def _look(self) -> None:
        while not self._stopping.wait(_EVERY):
            try:
                self.look(now())
            except Exception:
                # Whatever is wrong with the store or the folder now, the runs are made when it is there again.
                _log.exception("the schedules could not be looked after")

    def look(self, instant: datetime) -> None:
        """Make the runs whose time has come at an instant, note those that have ended, and begin the next."""
        audits = self._service.audits
        audits.root.mkdir(parents=True, exist_ok=True)
        with locked(audits.root / _LOCK, wait=False) as mine:
            if not mine:
                return
            with self._service.database.session() as session:
                make_due_runs(session, instant)
                under_way = runs_under_way(session)
            self._service.metrics.scheduled(instant, min((one.run.due_at for one in under_way), default=None))
            busy, seen = False, set[str]()
            for place in under_way:
                with self._speaking(place.schedule):
                    busy = self._step(place, place.schedule.id in seen, busy) or busy
                seen.add(place.schedule.id)

    def _speaking(self, schedule: Schedule) -> AbstractContextManager[None]:
        return speaking(with_point(schedule.language, self._tongues) or ENGLISH)

    def _step(self, place: RunPlace, overlaps: bool, busy: bool) -> bool:
        """Do what is next for one run; whether it is at work then. A fault is what it came to, and told as that."""
        try:
            if overlaps:
                self._end(place, "skipped", {"why": t("the run before it is still under way")})
                return False
            if place.run.state == "running":
                return not self._note(place)
            return not (busy or self._stopping.is_set()) and self._begin(place)
        except StoreError:
            _log.exception("a run of schedule %s has to wait", place.schedule.id)
            return True
        except Exception:
            _log.exception("a run of schedule %s failed", place.schedule.id)
            self._end(place, "failed", {"why": t("by a fault that is in the service's log")})
            return False

    def _begin(self, place: RunPlace) -> bool:
        """Take the files over and let them be audited; false where the run came to nothing."""
        schedule, run = place.schedule, place.run
        try:
            told = self._audit(schedule, run)
        except NotDelivered as found:
            if found.state == "waiting":
                return True
            self._end(place, found.state, {"why": found.why})
            return False
        except OSError as error:
            full = error.errno in NO_ROOM
            why = t("the disk of the service is full") if full else t("the service could not keep the file")
            _log.exception("the files of schedule %s could not be kept", schedule.id)
            self._end(place, "interrupted", {"why": why})
            return False
        with self._service.database.session() as session:
            return begin_run(session, run, told)

    def _audit(self, schedule: Schedule, run: ScheduledRun) -> str:
        """Make the audit of a run and let it be carried out; returns its id, the same however often it is begun."""
        folder = self._folder(schedule, run)
        if folder.state() not in BEFORE:
            return folder.key
        mapping = self._mapping(schedule)
        root, most = self._nightly.deliveries, self._service.audit_bytes
        for name, path in (("catalogue", schedule.file), ("claims", schedule.claims)):
            if path:
                taken = take(root, path, folder.path, most, lambda: not self._stopping.is_set())
                folder.add_file(name, taken.part, taken.format, taken.size, taken.sha256, modified_at(taken))
        part = folder.path / f"mapping{PART}"
        shutil.copyfile(mapping, part)
        folder.add_file("mapping", part, "yaml", part.stat().st_size, digest_of(part))
        folder.start()
        return folder.key

    def _folder(self, schedule: Schedule, run: ScheduledRun) -> AuditFolder:
        """The audit of a run, which an earlier server may have made."""
        key = f"aud_{schedule.id.partition('_')[2]}_{run.sequence}"
        against = self._against(run)
        told: dict[str, Json] = {
            "name": schedule.supplier,
            "against": against,
            "carried": {},
            "created_by": schedule.created_by,
            "language": schedule.language,
            "nightly": True,
        }
        audits = self._service.audits
        found = AuditFolder(audits.root / key)
        if found.path.exists() and not found.told():  # a server was ended while it made it
            shutil.rmtree(found.path)
        return found if found.told() else audits.create(key, told)

    def _against(self, run: ScheduledRun) -> str | None:
        """The last finished audit of the schedule that can still be compared with."""
        for earlier in self._finished(run):
            folder = AuditFolder(self._service.audits.root / earlier.audit)
            if folder.told() and folder.is_ended() and pairs_folder(folder.out, "parquet").is_dir():
                return earlier.audit
        return None

    def _finished(self, run: ScheduledRun) -> list[ScheduledRun]:
        with self._service.database.session() as session:
            return list(finished_before(session, run))

    def _mapping(self, schedule: Schedule) -> Path:
        """The supplier's mapping; NotDelivered where none is kept."""
        kept = kept_mapping(self._service.audits, schedule.supplier)
        if kept is None:
            told = t("no mapping of `{supplier}` is kept any more: take its file in first", supplier=schedule.supplier)
            raise NotDelivered("refused", told)
        return kept

    def _note(self, place: RunPlace) -> bool:
        """Write down what came of a run whose audit has ended; false while it has not."""
        folder = AuditFolder(self._service.audits.root / place.run.audit)
        if not folder.told():
            self._end(place, "cancelled", {"why": t("its audit was deleted before it was finished")})
            return True
        state = folder.state()
        if state not in (*BEFORE, "finished"):
            return False
        if state == "new":
            self._end(place, "cancelled", {"why": t("other files were sent to its audit before it was finished")})
            return True
        self._end(place, state, self._found(folder) if state == "finished" else _problems(folder), folder)
        return True

    def _found(self, folder: AuditFolder) -> Document:
        """What a finished audit came to."""
        summary = json.loads((folder.out / SUMMARY).read_text("utf-8"))
        claims = (summary["claims"] or {}).get("claims", 0)
        changes = summary["changes"]
        figures = {name: MEASURES[name].count(summary) for name in _FIGURES}
        difference = json.loads((folder.path / DIFFERENCE).read_text("utf-8"))
        return {
            "figures": {"rows": summary["rows"]["rows"], "claims": claims, **figures, "fixes": summary["fixes"]},
            "changes": changes and {name: value for name, value in changes.items() if name != "before"},
            **difference,
        }

    def _end(self, place: RunPlace, state: str, found: Document, folder: AuditFolder | None = None) -> None:
        """Keep what a run came to, and whom that is to be told."""
        schedule, run = place.schedule, place.run
        files = folder.files() if folder else {}
        told: Document = {
            "state": state,
            "why": "",
            "problems": [],
            "file": _file(files.get("catalogue")),
            "unchanged_since": self._unchanged_since(run, files) if state == "finished" else None,
            "against": folder.told().get("against") if folder else None,
            "figures": None,
            "changes": None,
            "contradicted": None,
            "drifted": [],
        }
        with self._service.database.session() as session:
            ended = end_run(session, run, state, told | found, self._nightly.reports.addresses)
            gone = _too_old(session, run) if ended and state == "finished" else []
        if ended:
            _log.info("schedule %s, run %s: %s", schedule.id, run.sequence, state)
        for audit in gone:
            _remove(self._service.audits, audit)

    def _unchanged_since(self, run: ScheduledRun, files: Mapping[str, Document]) -> str | None:
        """When the file was first audited as it is, where it is that of the run before; else None."""
        for earlier in self._finished(run)[:1]:
            told = earlier.told or {}
            if _digests(told.get("file")) == _digests(_file(files.get("catalogue"))):
                return told.get("unchanged_since") or earlier.made_at.isoformat()
        return None


def kept_mapping(audits: Audits, supplier: str) -> Path | None:
    """Where the mapping of a supplier is kept; None where there is none."""
    try:
        kept = mapping_of(audits.root / SUPPLIERS, supplier)
    except ProblemsFound:
        return None
    return kept if kept.is_file() else None


def modified_at(taken: Delivered) -> str | None:
    """When a file was last written, as it is kept."""
    return taken.modified_at.isoformat() if taken.modified_at else None


def _digests(file: Document | None) -> str | None:
    return str(file["sha256"]) if file else None


def _file(kept: Document | None) -> Document | None:
    return kept and {name: kept.get(name) for name in ("bytes", "sha256", "modified_at")}


def _problems(folder: AuditFolder) -> Document:
    return {"problems": folder.document()["problems"]}


def _too_old(session: Session, run: ScheduledRun) -> list[str]:
    """The audits of a schedule's runs beyond those that are kept, this one being the newest."""
    return [one.audit for one in finished_before(session, run)[KEPT_AUDITS - 1 :] if one.audit]


def _remove(audits: Audits, key: str) -> None:
    try:
        audits.get(key).delete()
    except (NotFound, Conflict):
        _log.info("audit %s is left for now", key)
