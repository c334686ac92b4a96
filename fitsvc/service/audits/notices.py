"""Telling addresses what nightly audits came to: programs by signed messages, people by mail, until they take it.

A notice is made with the end of its run, so that whatever fails it is still to be told. Servers of one store take turns
at each; one whose server died while it told it is told again, under the same name.
"""

import logging
from collections.abc import Mapping
from threading import Event, Thread
from typing import Final

import msgspec

from fitsvc.document import Document
from fitsvc.service.audits.run_words import headline, lines
from fitsvc.service.context import Service
from fitsvc.service.mailing import Mail, mail
from fitsvc.service.reporting import Reports, is_person, mailbox_of
from fitsvc.service.signing import post_to, signed
from fitsvc.service.speaking import with_point
from fitsvc.store.schedules import due_notice, get_schedule, hold_notice, note_notice
from fitsvc.store.tables import Notice, Schedule, ScheduledRun, now
from fitsvc.store.webhooks import MOST_ATTEMPTS
from fitsvc.tongues import ENGLISH, Tongue, speaking, t

_EVERY: Final = 1.0
"""Seconds between two looks at whether there is anything to tell."""
_PATIENCE: Final = 30.0
"""Longer than an attempt takes, each of whose steps has 10 s."""
_log = logging.getLogger("fitsvc.audits")


class Notices:
    """The threads of one server that tell addresses what runs came to, one for each, so that none waits for another."""

    def __init__(self, service: Service, reports: Reports, tongues: Mapping[str, Tongue]) -> None:
        self._service, self._reports, self._tongues = service, reports, tongues
        self._hooks = {one.address: one for one in reports.hooks.targets}
        self._stopping, self._threads = Event(), list[Thread]()

    def start(self) -> None:
        """Begin to look whether there is anything to tell."""
        self._stopping.clear()
        self._threads = [
            Thread(target=self._look, args=(one,), name="notices", daemon=True) for one in self._reports.addresses
        ]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Begin nothing more; an attempt that has begun is ended within its time."""
        self._stopping.set()
        for thread in self._threads:
            thread.join(_PATIENCE)

    def _look(self, address: str) -> None:
        while not self._stopping.wait(_EVERY):
            try:
                while not self._stopping.is_set() and self.tell(address):
                    pass
            except Exception:
                # Whatever is wrong with the store now, the address is told when it is there again.
                _log.exception("%s could not be told what an audit came to", host_of(address))

    def tell(self, address: str) -> bool:
        """Tell an address the oldest run that it is still to be told; false where there is none, or another has it."""
        with self._service.database.session() as session:
            found = due_notice(session, address, now())
            if found is None or not hold_notice(session, found[0]):
                return False
            notice, run = found
            schedule = get_schedule(session, run.schedule_id)
        failure = self._send(notice, schedule, run)
        with self._service.database.session() as session:
            attempts = note_notice(session, notice, failure)
        if failure:
            more = "it is given up" if attempts >= MOST_ATTEMPTS else "it is tried again"
            told = "%s was not told what run %s came to, attempt %d: %s; %s"
            _log.warning(told, host_of(address), run.sequence, attempts, failure, more)
        return True

    def _send(self, notice: Notice, schedule: Schedule, run: ScheduledRun) -> str:
        """Send what a run came to; returns what was wrong, nothing when it was taken."""
        name = f"{schedule.id}-{run.sequence}"
        with speaking(with_point(schedule.language, self._tongues) or ENGLISH):
            document = self._document(schedule, run)
            if is_person(notice.address):
                assert self._reports.server is not None
                to = mailbox_of(notice.address)
                one = Mail(name=name, to=to, subject=document["summary"], text=_text(document))
                return mail(self._reports.server, one)
        body = msgspec.json.encode(document)
        headers = signed(self._reports.hooks.secrets, name, int(now().timestamp()), body)
        return post_to(self._hooks[notice.address], body, headers)

    def _document(self, schedule: Schedule, run: ScheduledRun) -> Document:
        address = self._service.operator.address
        told = run_document(schedule, run)
        page = f"{address}/audits/{run.audit}" if address and run.audit else ""
        return {**told, "supplier": schedule.supplier, "path": schedule.file, "page": page}


def run_document(schedule: Schedule, run: ScheduledRun) -> Document:
    """Return a run as it is told to programs, with its words in the language that is spoken."""
    ended = run.told is not None
    return {
        "run": run.sequence,
        "schedule": schedule.id,
        "state": run.state,
        "due_at": run.due_at,
        "missed": run.missed,
        "asked_by": run.asked_by,
        "made_at": run.made_at,
        "ended_at": run.ended_at,
        "audit": run.audit or None,
        "summary": headline(schedule, run) if ended else "",
        "lines": list(lines(schedule, run)) if ended else [],
        "told": {name: value for name, value in run.told.items() if name != "state"} if run.told else None,
    }


def host_of(address: str) -> str:
    """Return where an address is, without the rest, which may have a secret in it."""
    if is_person(address):
        return t("mail to {host}", host=mailbox_of(address).rpartition("@")[2])
    return address.partition("://")[2].partition("/")[0].partition("?")[0]


def _text(document: Document) -> str:
    """The text of a mail."""
    where = [document["page"] or t("Audit {audit}", audit=document["audit"])] if document["audit"] else []
    return "\n".join([document["summary"], "", *document["lines"], "", *where, ""])
