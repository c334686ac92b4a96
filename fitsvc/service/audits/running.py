"""Keeping the processes that carry audits out: one at a time for each server, begun anew after a restart."""

import logging
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Final

from fitsvc.language.problems import Problem
from fitsvc.paths import RULES_VARIABLE
from fitsvc.service.audits.folder import AuditFolder, Audits

COUNTER_VARIABLE: Final = "FITSVC_COUNTER"
"""Tells an audit's process the address that customers reach the service by, where there is one."""
_EVERY: Final = 0.25
_AT_ONCE: Final = 1
_log = logging.getLogger("fitsvc.audits")


class Running:
    """Looks for audits that are wanted and that nobody carries out, and starts a process for each."""

    def __init__(
        self, audits: Audits, database_url: str, digest: str, rules: Path | None = None, address: str = ""
    ) -> None:
        self._audits, self._digest = audits, digest
        told = {"FITSVC_DATABASE_URL": database_url, RULES_VARIABLE: str(rules.absolute()) if rules else ""}
        self._environment = {**os.environ, **told, COUNTER_VARIABLE: address}
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        self._stopping = threading.Event()
        self._ended: set[tuple[str, int]] = set()
        self._thread = threading.Thread()

    def start(self) -> None:
        """Begin to look."""
        self._stopping.clear()
        self._thread = threading.Thread(target=self._look, name="audits", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the processes; what they have done is kept, and the next server goes on with it."""
        self._stopping.set()
        self._thread.join()
        for process in self._processes.values():
            process.terminate()
        for process in self._processes.values():
            process.wait()
        self._processes.clear()

    def _look(self) -> None:
        while not self._stopping.wait(_EVERY):
            try:
                self._reap()
                if len(self._processes) < _AT_ONCE:
                    self._begin_next()
            except Exception:
                # Whatever is wrong with one audit or with the folder, the others are looked after.
                _log.exception("audits could not be looked after")

    def _begin_next(self) -> None:
        for folder in self._audits.listed():
            if (made := folder.made()) in self._ended:
                continue
            if folder.is_wanted() and not folder.is_held():
                command = [sys.executable, "-m", "fitsvc.service.audits.worker", str(folder.path), self._digest]
                self._processes[folder.key] = subprocess.Popen(command, env=self._environment, stdin=subprocess.DEVNULL)
                return
            if folder.is_ended():
                self._ended.add(made)

    def _reap(self) -> None:
        """Note the audits whose process ended without saying how."""
        for key, process in list(self._processes.items()):
            status = process.poll()
            if status is None:
                continue
            del self._processes[key]
            if status:
                how = f"by signal {-status}" if status < 0 else "by a fault that is in the service's log"
                help = "start it again; it goes on where it was"
                _log.error("the process of audit %s was ended %s", key, how)
                folder = AuditFolder(self._audits.root / key)
                folder.end("interrupted", [Problem(f"the audit's process was ended {how}", help)])
