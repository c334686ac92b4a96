"""The service as one ASGI application."""

import hashlib
from pathlib import Path

import msgspec
from litestar import Litestar
from litestar.datastructures import State

from fitsvc.answers.answering import Answerer
from fitsvc.inventory.shelf import Shop
from fitsvc.planning.planner import Planner
from fitsvc.service import asking, health, knowledge, observations, pages, plans, problems, records, rigs
from fitsvc.service.audits import handlers as audits
from fitsvc.service.audits.folder import Audits, audits_root
from fitsvc.service.audits.running import Running
from fitsvc.service.context import Service
from fitsvc.service.counter import handlers as counter
from fitsvc.service.edge import Edge
from fitsvc.service.metrics import Metrics
from fitsvc.service.openapi import describe
from fitsvc.service.selections import Selections
from fitsvc.service.shortcut import Shortcut
from fitsvc.store.database import Database

_DEFAULT_BODY_BYTES = 16_000


def create_app(
    database: Database, answerer: Answerer, audits_in: Path | None = None, audit_bytes: int = audits.MOST_BYTES,
    index_in: Path | None = None,
) -> Litestar:  # fmt: skip
    """Return the application over an open database, which stays the caller's to close.

    Audits are kept in a folder of their own (see `audits_folder.audits_root`); one of their files may have so many
    bytes. With a folder for the selection index, it is opened at the start and shared with other services of the
    machine; without one, it is built in memory when it is first asked for.
    """
    selections = Selections(answerer, database, index_in)
    service = Service(database, answerer, Metrics(), Shop(answerer.reader, selections.best))
    kept = Audits(audits_root(audits_in))
    running = Running(kept, database.url, answerer.rulebook.digest)
    app = Litestar(
        route_handlers=[
            asking.answer,
            plans.plan,
            *records.routers(),
            rigs.router(),
            audits.router(),
            *selections.handlers(),
            observations.router(),
            knowledge.list_rulebooks,
            knowledge.list_rules,
            knowledge.get_rule,
            knowledge.get_vocabulary,
            health.live,
            health.ready,
            health.metrics,
            pages.description,
            pages.docs,
            pages.asset,
            *counter.handlers(),
        ],
        state=State(
            {
                "service": service,
                "planner": Planner(answerer),
                "selections": selections,
                "audits": kept,
                "audit_bytes": audit_bytes,
            }
        ),
        on_startup=[running.start, selections.start],
        on_shutdown=[running.stop, selections.stop],
        plugins=[problems.plugin()],
        openapi_config=None,
        logging_config=None,
        request_max_body_size=_DEFAULT_BODY_BYTES,
    )
    described = msgspec.json.encode(describe(app, service.answerer))
    app.state["openapi"] = (described, f'"{hashlib.sha256(described).hexdigest()[:32]}"')
    app.asgi_handler = Edge(Shortcut(app.asgi_handler, service), service.metrics)
    return app
