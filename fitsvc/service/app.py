"""The service as one ASGI application."""

import hashlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

import msgspec
from anyio import to_thread
from litestar import Litestar
from litestar.types import ASGIApp, ControllerRouterHandler

from fitsvc.answers.answering import Answerer
from fitsvc.answers.borders import Borders
from fitsvc.inventory.shelf import Shop
from fitsvc.planning.planner import Planner
from fitsvc.service import (
    asking,
    catalogue,
    feed,
    health,
    knowledge,
    matches,
    observations,
    pages,
    plans,
    problems,
    records,
    remarks,
    rigs,
    selections,
    webhooks,
    worklist,
    written,
)
from fitsvc.service.audits import handlers as audits
from fitsvc.service.audits import schedules
from fitsvc.service.audits.folder import MOST_BYTES, Audits, audits_root
from fitsvc.service.audits.nightly import Schedules
from fitsvc.service.audits.notices import Notices
from fitsvc.service.audits.running import Running
from fitsvc.service.audits.suppliers import suppliers
from fitsvc.service.compressing import Compressing
from fitsvc.service.context import Description, Service, keep
from fitsvc.service.counter import handlers as counter
from fitsvc.service.counter.rendering import no_such_address
from fitsvc.service.edge import Edge, Slashes
from fitsvc.service.gate import Gate
from fitsvc.service.keys import admitted
from fitsvc.service.leaving import Leaving
from fitsvc.service.masking import Masks
from fitsvc.service.metrics import Metrics
from fitsvc.service.openapi import describe
from fitsvc.service.published import Followed
from fitsvc.service.recording import Recorder, Recording
from fitsvc.service.rule_trials import RuleTrials
from fitsvc.service.selecting import Selections
from fitsvc.service.settings import Settings
from fitsvc.service.shortcut import Shortcut
from fitsvc.service.speaking import Speaking, choices, spoken_tongues
from fitsvc.service.threads import THREADS
from fitsvc.store.database import Database

_DEFAULT_BODY_BYTES = 16_000
_USUAL: Final = Settings()


def create_app(
    database: Database,
    answerer: Answerer,
    audits_in: Path | None = None,
    audit_bytes: int = MOST_BYTES,
    index_in: Path | None = None,
    settings: Settings = _USUAL,
    rules: Path | None = None,
    metrics: Metrics | None = None,
    published: Followed | None = None,
    answers_only: bool = False,
) -> Litestar:
    """Return the application over an open database, which stays the caller's to close.

    Audits are kept in a folder of their own (see `audits.folder.audits_root`); one of their files may have so many
    bytes. With a folder for the selection index, it is opened at the start and shared with other services of the
    machine; without one, it is built in memory when it is first asked for. Audits read the folder of
    `rules` that the answerer has its rulebook from, fitsvc's own when left out. Applications that follow each other
    count in the same `metrics`, and say what is in force among what is `published`. One that `answers_only` stands
    beside such a one: it carries out no audits and tells nobody what changed, nor that its rulebook answers.
    """
    shared = Selections(answerer, database, index_in)
    counted = metrics or Metrics()
    kept = Audits(audits_root(audits_in))
    running = Running(kept, database.url, answerer.rulebook.digest, rules, settings.operator.address)
    runs: list[Callable[[], None]] = (
        [] if answers_only else [running.start, partial(counted.answers_by, answerer.rulebook.digest)]
    )
    app = Litestar(
        route_handlers=_routes(shared),
        on_startup=[_few_threads, shared.start, *runs],
        on_shutdown=[shared.stop] if answers_only else [running.stop, shared.stop],
        guards=[admitted],
        middleware=[Slashes],
        plugins=[problems.plugin()],
        exception_handlers={404: no_such_address},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=_DEFAULT_BODY_BYTES,
    )
    service = Service(
        database=database,
        judge=answerer,
        metrics=counted,
        shop=Shop(answerer.reader, shared.best, shared.folded),
        planner=Planner(answerer),
        selections=shared,
        rule_trials=RuleTrials(rules, answerer.rulebook.digest, database, shared),
        audits=kept,
        audit_bytes=audit_bytes,
        nightly=settings.nightly,
        public=settings.public,
        max_age=settings.max_age,
        description=_described(app, answerer),
        operator=settings.operator,
        published=published,
        tongues=choices(spoken_tongues(rules)),
        borders=Borders(answerer.engine, answerer.reader),
    )
    keep(service, app)
    if not answers_only:
        tongues = spoken_tongues(rules)
        for beside in (
            webhooks.Webhooks(service, settings.hooks),
            Schedules(service, settings.nightly, tongues),
            Notices(service, settings.nightly.reports, tongues),
        ):
            app.on_startup.append(beside.start)
            app.on_shutdown.insert(0, beside.stop)
    inner: ASGIApp = Shortcut(Leaving(app.asgi_handler, settings.body_seconds), service)
    if settings.record is not None:
        masks = Masks(settings.record_without, answerer.rulebook.vocabulary)
        recorder = Recorder(settings.record, settings.record_days)
        inner = Recording(inner, recorder, answerer.rulebook.digest, settings.record_share, masks)
    inner = Speaking(inner, spoken_tongues(rules))
    app.asgi_handler = Edge(Gate(Compressing(inner), settings, service.metrics), service.metrics)
    return app


async def _few_threads() -> None:
    to_thread.current_default_thread_limiter().total_tokens = THREADS


def _routes(shared: Selections) -> list[ControllerRouterHandler]:
    return [
        asking.answer,
        plans.plan,
        *records.routers(),
        rigs.router(),
        audits.router(),
        suppliers,
        schedules.router(),
        *selections.handlers(shared.selector),
        *matches.handlers(),
        feed.list_changes,
        catalogue.load,
        observations.router(),
        worklist.worklist,
        remarks.router(),
        knowledge.list_rulebooks,
        knowledge.reload,
        knowledge.list_rules,
        knowledge.get_rule,
        knowledge.list_needs,
        knowledge.get_vocabulary,
        health.live,
        health.ready,
        health.metrics,
        written.list_page,
        webhooks.list_page,
        pages.description,
        *counter.handlers(),
    ]


def _described(app: Litestar, answerer: Answerer) -> Description:
    body = msgspec.json.encode(describe(app, answerer))
    return Description(body, f'"{hashlib.sha256(body).hexdigest()[:32]}"')
