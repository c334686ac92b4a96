"""Spans of requests: by route, under their caller's, and without a secret."""

from pathlib import Path

import pytest
from demo_world import answerer
from litestar.testing import TestClient
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter

from fitsvc.service.app import create_app
from fitsvc.service.examples import QUESTION
from fitsvc.service.traces import Traced
from fitsvc.store.database import Database

CALLER = "0af7651916cd43dd8448eb211c80319c"
PARENT = {"traceparent": f"00-{CALLER}-b7ad6b7169203331-01"}
"""The example of the W3C's recommendation Trace Context, 3.2."""


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_request_is_a_span_of_its_callers_trace(database: Database, tmp_path: Path) -> None:
    """Each request, also one on the short way and one that leads nowhere, is told by its route, status and outcome."""
    kept, made_by = InMemorySpanExporter(), TracerProvider()
    made_by.add_span_processor(SimpleSpanProcessor(kept))
    app = create_app(database, answerer(), tmp_path / "audits")
    app.asgi_handler = Traced(app.asgi_handler, made_by)
    with TestClient(app, raise_server_exceptions=False) as client:
        outcome = client.post("/v1/answers?units=metric", json=QUESTION, headers=PARENT).json()["outcome"]
        client.get("/v1/vehicles/veh_hidden", headers={"X-API-Key": "secret"})
        client.head("/no/where")
    answered, refused, lost = kept.get_finished_spans()
    assert (answered.name, f"{answered.context.trace_id:032x}") == ("POST /v1/answers", CALLER)
    told = dict(answered.attributes or {})
    assert (told["http.response.status_code"], told["fitsvc.outcome"]) == (200, outcome)
    assert (refused.name, (refused.attributes or {})["http.response.status_code"]) == ("GET /v1/vehicles/{key}", 401)
    assert lost.name == "HEAD none"
    assert not any(
        word in one.to_json() for one in (answered, refused, lost) for word in ("metric", "hidden", "secret")
    )
