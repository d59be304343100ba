"""What the server counts, in the form that Prometheus reads.

Choice: each application has meters of its own. Several worker processes (gunicorn) add theirs up
through files, where the environment variable PROMETHEUS_MULTIPROC_DIR names a folder; it must be
set before this module is imported, which `api.gunicorn_conf` does. Labels are bounded: route
templates, methods, statuses, verdicts, lists, classes of errors; never an id, a path or a name.

What the database knows (the journal's last position) is asked for when it is read, so that it is
the same in every process.
"""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator, Mapping
from typing import Any

from flask import Flask, current_app
from prometheus_client import CollectorRegistry, Counter, Histogram, ProcessCollector
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector
from sqlalchemy import ExceptionContext, event
from sqlalchemy.exc import SQLAlchemyError

from api.rules import ENGINE_VERSION
from api.services.upkeep import journal
from api.store.database import Database
from api.version import VERSION
from graph.lists import LISTS

EXTENSION = "tracehold.meters"
FOLDER = "PROMETHEUS_MULTIPROC_DIR"
SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60)
SIZES = (1, 2, 4, 8, 16, 32, 64, 128)


class Meters:
    """Counters and histograms of one application."""

    def __init__(self, database: Database) -> None:
        self._database = _OfTheDatabase(database)
        self.registry = CollectorRegistry()
        self.requests = self._counter("requests", "Requests answered", "method", "route", "status")
        self.seconds = Histogram(
            "tracehold_request_duration_seconds",
            "Time from a request to the end of its answer",
            ["method", "route"],
            buckets=SECONDS,
            registry=self.registry,
        )
        self._of_requests: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}
        self.decisions = self._counter("decisions", "Results decided", "kind", "verdict")
        self.recalls = self._counter("recalls", "Recalls worked out", "kind")
        self.recalled = self._counter(
            "certificates_recalled", "Certificates listed by stored recalls", "list"
        )
        self.group_sizes = Histogram(
            "tracehold_group_commit_size",
            "Decisions written in one transaction",
            buckets=SIZES,
            registry=self.registry,
        )
        self.database_errors = self._counter(
            "database_errors", "Statements and connections that failed", "error"
        )
        self._engine = database.engine
        event.listen(self._engine, "handle_error", self._failed)

    def _counter(self, name: str, meaning: str, *labels: str) -> Counter:
        return Counter(f"tracehold_{name}", meaning, labels, registry=self.registry)

    def _failed(self, context: ExceptionContext) -> None:
        error = context.sqlalchemy_exception or context.original_exception
        self.database_errors.labels(type(error).__name__).inc()

    def stop(self) -> None:
        """Count the errors of the database no longer."""
        event.remove(self._engine, "handle_error", self._failed)

    def seen(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request and the time that it took."""
        # Finding a child by its labels costs more than counting.
        found = self._of_requests.get((method, route, status))
        if found is None:
            counter = self.requests.labels(method, route, str(status))
            found = counter, self.seconds.labels(method, route)
            self._of_requests[method, route, status] = found
        counter, histogram = found
        counter.inc()
        histogram.observe(seconds)

    def decided(self, kind: str, by_verdict: dict[str, int]) -> None:
        """Count decisions of a kind: stored, unstored or batch."""
        for verdict, count in by_verdict.items():
            if count:
                self.decisions.labels(kind, verdict).inc(count)

    def stored_recall(self, summary: Mapping[str, Any]) -> None:
        """Count a stored recall and the certificates on its lists."""
        self.recalls.labels("stored").inc()
        for name in LISTS:
            self.recalled.labels(name).inc(summary[name])

    def written(self, accept: str) -> tuple[bytes, str]:
        """Return everything as text in the form asked for, and its media type."""
        shown = CollectorRegistry()
        shown.register(self._database)  # first: that it failed is counted already
        if os.environ.get(FOLDER):
            MultiProcessCollector(shown)  # type: ignore[no-untyped-call]
        else:
            shown.register(self.registry)
            ProcessCollector(registry=shown)
        encode, media_type = choose_encoder(accept)
        return encode(shown), media_type


class _OfTheDatabase(Collector):
    """What the database and the program are, asked for at each reading."""

    def __init__(self, database: Database) -> None:
        self._store = database

    def collect(self) -> Iterator[Metric]:
        about = GaugeMetricFamily(
            "tracehold_build_info",
            "Version of the program, its engine and Python",
            labels=["version", "engine_version", "python"],
        )
        about.add_metric([VERSION, ENGINE_VERSION, platform.python_version()], 1)
        yield about
        head: dict[str, Any] | None = None
        try:
            with self._store.read() as session:
                head = journal.head(session)
        except SQLAlchemyError:
            pass  # told by the next gauge, and counted
        yield GaugeMetricFamily(
            "tracehold_database_up", "Whether the database answered", value=int(head is not None)
        )
        if head is not None:
            yield GaugeMetricFamily(
                "tracehold_journal_position",
                "Position of the journal's last line",
                value=head["position"],
            )


def meters() -> Meters:
    """Meters of the current app."""
    found: Meters = current_app.extensions[EXTENSION]
    return found


def install(app: Flask, database: Database) -> Meters:
    """Give the app meters that stand at nought; those it had count no longer."""
    before: Meters | None = app.extensions.get(EXTENSION)
    if before is not None:
        before.stop()
    found = app.extensions[EXTENSION] = Meters(database)
    return found
