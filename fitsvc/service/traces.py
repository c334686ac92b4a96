"""Traces by OpenTelemetry: a span for each request, for who has installed `fitsvc[traces]` and asks for them.

A span has what a line of the log has, and no more: never a key, a body, a query or a path.
"""

from collections.abc import Mapping
from typing import Any, cast

from litestar.enums import ScopeType
from litestar.types import ASGIApp, Message, Receive, Scope, Send
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.propagate import extract
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import Span, TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace import SpanKind, Status, StatusCode

import fitsvc


def provider() -> TracerProvider:
    """Return what makes spans and sends them on, to where the standard `OTEL_EXPORTER_OTLP_` variables say."""
    made = TracerProvider(resource=Resource.create({"service.name": "fitsvc", "service.version": fitsvc.__version__}))
    made.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    return made


class Traced:
    """An application whose requests are told as spans, each under that of its caller (`traceparent`)."""

    def __init__(self, app: ASGIApp, made_by: TracerProvider) -> None:
        self._app, self._tracer = app, made_by.get_tracer("fitsvc")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        method = scope["method"]
        with self._tracer.start_as_current_span(method, extract(headers), SpanKind.SERVER) as started:
            span = cast(Span, started)

            async def tell(message: Message) -> None:
                if message["type"] == "http.response.start":
                    span.set_attribute("http.response.status_code", message["status"])
                    if message["status"] >= 500:
                        span.set_status(Status(StatusCode.ERROR))
                await send(message)

            try:
                await self._app(scope, receive, tell)
            finally:
                _name(span, method, cast(Any, scope))


def _name(span: Span, method: str, scope: Mapping[str, Any]) -> None:
    """Name a span by its route, which is known at its end only."""
    route = str(scope.get("path_template") or "none")
    span.update_name(f"{method} {route}")
    told = {"http.request.method": method, "http.route": route, "fitsvc.request": scope.get("request_id", "")}
    span.set_attributes(told | ({"fitsvc.outcome": scope["outcome"]} if "outcome" in scope else {}))
