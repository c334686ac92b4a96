"""Telling addresses of the operator's what changed: signed, tried again when it fails, and written down.

What is sent is what `/v1/changes` replies, from where the address was last told to. So nothing is lost by an attempt
that fails, a server that dies or an address that is away for a day: the next one tells all of it.
"""

import logging
from threading import Event, Thread
from typing import Final

import msgspec
from litestar import Response, get

from fitsvc.document import Document
from fitsvc.service.context import AnyRequest, Service, service_of
from fitsvc.service.feed import OutcomeChanges, changed, is_told, revision_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.replies import reply
from fitsvc.service.signing import Hooks, Target, post_to, signed
from fitsvc.store.tables import Webhook, now
from fitsvc.store.webhooks import (
    MOST_ATTEMPTS,
    ToldUpTo,
    begin_webhook,
    hold_webhook,
    is_due,
    list_webhooks,
    note_failure,
    note_told,
)

_EVERY: Final = 1.0
"""Seconds between two looks at whether anything changed."""
_log = logging.getLogger("fitsvc.service")
_WEBHOOKS: Final = Operation(
    id="list_webhooks",
    summary="Who is told what changed?",
    about="Every address that the operator has told of changes, with the revision it has been told up to, when it last "
    "took something, and since then how many attempts failed, how the last did, and when the next is due.",
    tag="Log",
    gives="Webhooks",
    scope="administer",
)


class Webhooks:
    """The threads of one server that tell addresses; servers of one store take turns at each address."""

    def __init__(self, service: Service, hooks: Hooks) -> None:
        self._service, self._hooks = service, hooks
        self._stopping, self._threads = Event(), list[Thread]()

    def start(self) -> None:
        """Begin to look what changed."""
        self._stopping.clear()
        self._threads = [Thread(target=self._look, args=(one,), daemon=True) for one in self._hooks.targets]
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Begin nothing more; an attempt that has begun is ended within its time."""
        self._stopping.set()
        for thread in self._threads:
            thread.join()

    def _look(self, target: Target) -> None:
        while not self._stopping.wait(_EVERY):
            try:
                self.tell(target)
            except Exception:
                # Whatever is wrong with the store now, the address is told when it is there again.
                _log.exception("%s could not be told what changed", target.host)

    def tell(self, target: Target) -> None:
        """Tell an address what changed since it was last told, if there is anything and its turn has come."""
        service, digest = self._service, self._service.answerer.rulebook.digest
        service.selections.index.held()
        upto = ToldUpTo(service.selections.index.sure, digest)
        with service.database.session() as session:
            hook = begin_webhook(session, target.address, upto)
        if ToldUpTo(hook.revision, hook.rulebook) == upto or not is_due(hook, upto.revision, now()):
            return
        found = changed(service, {"since": hook.revision, "rulebook": hook.rulebook, "rig": None, "sku": None})
        with service.database.session() as session:
            if not hold_webhook(session, hook):
                return
        upto = ToldUpTo(int(found.revision.partition(".")[0]), digest)
        failure = self._send(target, hook, found) if is_told(found) else None
        self._note(target, upto, failure)

    def _send(self, target: Target, hook: Webhook, found: OutcomeChanges) -> str:
        """Send what changed; returns what was wrong, nothing when it was taken."""
        body = msgspec.json.encode(found)
        name = f"changes-{hook.revision}-{found.revision}"
        return post_to(target, body, signed(self._hooks.secrets, name, int(now().timestamp()), body))

    def _note(self, target: Target, upto: ToldUpTo, failure: str | None) -> None:
        with self._service.database.session() as session:
            if not failure:
                note_told(session, target.address, upto, None if failure is None else now())
                return
            attempts = note_failure(session, target.address, upto, failure)
        more = "it is given up until more changes" if attempts == MOST_ATTEMPTS else "it is tried again"
        _log.warning("%s was not told what changed, attempt %d: %s; %s", target.host, attempts, failure, more)


def webhook_document(hook: Webhook) -> Document:
    """Return what is kept of an address as it is shown."""
    return {
        "address": hook.address,
        "revision": revision_of(hook.revision, hook.rulebook),
        "rulebook": hook.rulebook,
        "told_at": hook.told_at,
        "attempts": hook.attempts,
        "due_at": hook.due_at if 0 < hook.attempts < MOST_ATTEMPTS else None,
        "failure": hook.failure or None,
    }


@get("/v1/webhooks", opt=_WEBHOOKS.opt, sync_to_thread=True)
def list_page(request: AnyRequest) -> Response[bytes]:
    """Give every address with how it stands."""
    query_of(request)
    with service_of(request).database.session() as session:
        found = list_webhooks(session)
    return reply({"items": list(map(webhook_document, found))}, headers={"Cache-Control": "no-store"})
