"""Counters and times for a Prometheus server."""

from functools import cache

from prometheus_client import CollectorRegistry, Counter, Histogram, ProcessCollector, generate_latest

CONTENT_TYPE = "text/plain; version=0.0.4"
_SECONDS = (0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"})


class Metrics:
    """One service's counters; a registry of its own, so that several services can live in one process."""

    def __init__(self) -> None:
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
        # Finding a counter by its labels costs more than counting.
        self._request = cache(self._requests.labels)
        self._second = cache(self._seconds.labels)
        self._outcome = cache(self._outcomes.labels)

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request and its seconds under its route's template, never its path, so that the series stay few."""
        method = method if method in _METHODS else "other"
        self._request(method, route, str(status)).inc()
        self._second(route).observe(seconds)

    def answer(self, outcome: str) -> None:
        """Count an answer."""
        self._outcome(outcome).inc()

    def shortcut_fault(self) -> None:
        """Count a fault of the short way to an answer, which no caller sees unless the usual way has it too."""
        self._shortcut.inc()

    def text(self) -> bytes:
        """Return everything counted, as Prometheus reads it."""
        return generate_latest(self._registry)
