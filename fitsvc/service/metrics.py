"""Counters, gauges and times for a Prometheus server.

The library looks once, when it is imported, whether several processes count together: so it is imported late.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from tempfile import TemporaryDirectory
from typing import Final

_FOLDER: Final = "PROMETHEUS_MULTIPROC_DIR"
CONTENT_TYPE = "text/plain; version=0.0.4"
_SECONDS = (0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"})


class Metrics:
    """One service's counters; a registry of its own, so that several services can live in one process."""

    def __init__(self) -> None:
        from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector

        self._registry = CollectorRegistry()
        ProcessCollector(registry=self._registry)
        self._requests = Counter(
            "fitsvc_requests", "Requests answered", ["method", "route", "status"], registry=self._registry
        )
        self._seconds = Histogram(
            "fitsvc_request_seconds", "Time to answer", ["route"], buckets=_SECONDS, registry=self._registry
        )
        self._outcomes = Counter(
            "fitsvc_answers", "Questions answered, by outcome", ["outcome"], registry=self._registry
        )
        self._shortcut = Counter(
            "fitsvc_shortcut_faults",
            "Faults on the short way to an answer; the question then went the usual way",
            registry=self._registry,
        )
        self.inside = Gauge(
            "fitsvc_requests_inside",
            "Requests being worked on or waiting, now",
            registry=self._registry,
            multiprocess_mode="livesum",
        )
        self.index_age = Gauge(
            "fitsvc_index_age_seconds",
            "Since the index for selections was last held to the store, where it was asked",
            registry=self._registry,
            multiprocess_mode="livemostrecent",
        )
        self._rulebook = Gauge(
            "fitsvc_rulebook",
            "1 for the digest of the rulebook that is answered by, of several processes how many",
            ["digest"],
            registry=self._registry,
            multiprocess_mode="livesum",
        )
        self._schedules_looked, self._schedules_waiting = (
            Gauge(f"fitsvc_schedules_{name}", about, registry=self._registry, multiprocess_mode="livemostrecent")
            for name, about in (
                ("looked_timestamp_seconds", "When schedules were last looked after, where they are"),
                ("waiting_seconds", "How long the run that is under way the longest had been then; 0 where none is"),
            )
        )
        self._pull_failures, self._pull_looked, self._release_made = (
            Gauge(f"fitsvc_{name}", about, registry=self._registry, multiprocess_mode="livemostrecent")
            for name, about in (
                ("pull_failures", "Looks in a row at which no rules could be pulled"),
                ("pull_looked_timestamp_seconds", "When what rules are pulled from was last found as it should be"),
                ("release_made_timestamp_seconds", "When the release of rules was made that was taken last"),
            )
        )
        self.pages_known = Counter(
            "fitsvc_pages_known",
            "Pages of selections that the caller had, not made",
            registry=self._registry,
        )
        self.pages_made = Counter("fitsvc_pages_made", "Pages of selections that were made", registry=self._registry)
        self._digest = ""
        # Finding a counter by its labels costs more than counting.
        self._request = cache(self._requests.labels)
        self._second = cache(self._seconds.labels)
        self._outcome = cache(self._outcomes.labels)

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request and its seconds under its route's template, never its path, so that the series stay few."""
        method = method if method in _METHODS else "other"
        self._request(method, route, str(status)).inc()
        self._second(route).observe(seconds)

    def answers_by(self, digest: str) -> None:
        """Note the rulebook that is answered by from now on."""
        if self._digest:
            self._rulebook.labels(self._digest).set(0)
        self._rulebook.labels(digest).set(1)
        self._digest = digest

    def pulled(self, failures: int, looked_at: datetime | None, made_at: datetime | None) -> None:
        """Note how pulling rules stands."""
        self._pull_failures.set(failures)
        self._pull_looked.set(looked_at.timestamp() if looked_at else 0)
        self._release_made.set(made_at.timestamp() if made_at else 0)

    def scheduled(self, looked_at: datetime, under_way_since: datetime | None) -> None:
        """Note that schedules were looked after, and since when the oldest of their runs is under way."""
        self._schedules_looked.set(looked_at.timestamp())
        self._schedules_waiting.set((looked_at - under_way_since).total_seconds() if under_way_since else 0)

    def answer(self, outcome: str) -> None:
        """Count an answer."""
        self._outcome(outcome).inc()

    def shortcut_fault(self) -> None:
        """Count a fault of the short way to an answer, which no caller sees unless the usual way has it too."""
        self._shortcut.inc()

    def text(self) -> bytes:
        """Return everything counted, by all processes that count together, as Prometheus reads it."""
        from prometheus_client import CollectorRegistry, generate_latest
        from prometheus_client.multiprocess import MultiProcessCollector

        if _FOLDER not in os.environ:
            return generate_latest(self._registry)
        together = CollectorRegistry()
        MultiProcessCollector(together)  # type: ignore[no-untyped-call]  # of a library without types
        return generate_latest(together)


@contextmanager
def counted_together() -> Iterator[Callable[[int], None]]:
    """Let processes that are begun inside count together; what is given is told the id of each that has ended."""
    with TemporaryDirectory(prefix="fitsvc-counts-") as folder:
        os.environ[_FOLDER] = folder
        try:
            yield _ended
        finally:
            del os.environ[_FOLDER]


def _ended(pid: int) -> None:
    from prometheus_client.multiprocess import mark_process_dead

    mark_process_dead(pid)  # type: ignore[no-untyped-call]  # as above
