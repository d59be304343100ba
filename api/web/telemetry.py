"""OpenTelemetry: spans of requests, of services and of SQL, where somebody asks for them.

They are made only if the extra `otel` is installed and the standard variables ask for traces:
OTEL_TRACES_EXPORTER names an exporter, or OTEL_EXPORTER_OTLP_ENDPOINT (or its _TRACES_ form) an
address. The SDK reads the other variables itself: resource, sampler, limits, headers, time-outs.
Otherwise nothing here is imported, hooked or called.

Choice: own hooks and not the contributed instrumentations, which would bring a beta release for
each library and do not know route templates or our streams. A statement stands in its span without
its parameters; an address by its route template.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, g, request
from sqlalchemy import Connection, Engine, ExceptionContext, event

from api import spans
from api.version import VERSION
from api.web.observing import method, route
from api.web.request_id import request_id

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.export import SpanExporter
    from opentelemetry.trace import Span, Tracer

log = logging.getLogger(__name__)
ENDPOINTS = ("OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT")
PROTOCOLS = ("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL", "OTEL_EXPORTER_OTLP_PROTOCOL")
EXPORTERS = {"http/protobuf": "otlp_proto_http", "grpc": "otlp_proto_grpc"}
GROUP = "opentelemetry_traces_exporter"
LONGEST_STATEMENT = 2_000


def asked_for(environment: Mapping[str, str]) -> str | None:
    """Return the name of the exporter that the standard variables ask for; None for no traces."""
    if environment.get("OTEL_SDK_DISABLED", "").lower() == "true":
        return None
    named = environment.get("OTEL_TRACES_EXPORTER", "").strip().lower()
    if not named and any(environment.get(name) for name in ENDPOINTS):
        named = "otlp"
    if named in ("", "none"):
        return None
    if named != "otlp":
        return named
    protocol = next((environment[name] for name in PROTOCOLS if environment.get(name)), "")
    return EXPORTERS.get(protocol or "http/protobuf", protocol)


def configure(app: Flask, engine: Engine, environment: Mapping[str, str]) -> bool:
    """Trace the app as the environment asks; return whether it is traced.

    What is asked for and cannot be had is told as a warning: the server works without it.
    """
    wanted = asked_for(environment)
    if wanted is None:
        return False
    found = list(entry_points(group=GROUP, name=wanted))
    if not found:
        log.warning("OpenTelemetry has no exporter %s here; pip install 'tracehold[otel]'", wanted)
        return False
    named = "OTEL_SERVICE_NAME" in environment
    named |= "service.name" in environment.get("OTEL_RESOURCE_ATTRIBUTES", "")
    install(app, engine, provider_of(found[0].load()(), named))
    return True


def provider_of(exporter: SpanExporter, named: bool) -> TracerProvider:
    """Return a provider that exports in the background; `named`: the service has a name."""
    from opentelemetry.sdk.resources import SERVICE_NAME, SERVICE_VERSION, Resource
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.export import BatchSpanProcessor

    facts = {SERVICE_VERSION: VERSION} | ({} if named else {SERVICE_NAME: "tracehold"})
    provider = TracerProvider(resource=Resource.create(facts))
    provider.add_span_processor(BatchSpanProcessor(exporter))
    return provider


def install(app: Flask, engine: Engine, provider: TracerProvider) -> None:
    """Make spans of the app's requests, of services and of the engine's statements."""
    tracer = provider.get_tracer("tracehold", VERSION)
    spans.install(_opener_of(tracer))
    _trace_requests(app, tracer)
    _trace_statements(engine, tracer)


def _opener_of(tracer: Tracer) -> spans.Opener:
    @contextmanager
    def opened(name: str, *, current: bool = True) -> Iterator[Any]:
        if current:
            with tracer.start_as_current_span(name) as span:
                yield span
            return
        span = tracer.start_span(name)
        try:
            yield span
        except Exception as error:
            _failed(span, error)
            raise
        finally:
            span.end()

    return opened


def _trace_requests(app: Flask, tracer: Tracer) -> None:
    from opentelemetry import context
    from opentelemetry.propagate import extract
    from opentelemetry.trace import SpanKind, set_span_in_context

    def begin() -> None:
        name = f"{method()} {route()}"
        facts = {"http.request.method": method(), "http.route": route()}
        facts["tracehold.request_id"] = request_id()
        parent = extract(request.headers)
        span = tracer.start_span(name, parent, SpanKind.SERVER, facts)
        g.span, g.span_token = span, context.attach(set_span_in_context(span))

    def answered(response: Response) -> Response:
        span: Span = g.span
        span.set_attribute("http.response.status_code", response.status_code)
        if "key" in g:
            span.set_attribute("tracehold.key", g.key.public_id)
        if response.status_code >= 500:
            _failed(span, None)
        if response.is_streamed:
            response.call_on_close(span.end)
        else:
            span.end()
        return response

    def left(_error: BaseException | None) -> None:
        token = g.pop("span_token", None)
        if token is not None:
            context.detach(token)

    app.before_request_funcs.setdefault(None, []).insert(0, begin)
    app.after_request_funcs.setdefault(None, []).insert(0, answered)
    app.teardown_request(left)


def _trace_statements(engine: Engine, tracer: Tracer) -> None:
    from opentelemetry.trace import SpanKind

    def before(
        _connection: Connection, _cursor: Any, statement: str, _given: Any, on: Any, _many: bool
    ) -> None:
        verb = statement.split(None, 1)[0].upper() if statement.strip() else "SQL"
        facts = {
            "db.system.name": engine.dialect.name,
            "db.operation.name": verb,
            "db.query.text": statement[:LONGEST_STATEMENT],
        }
        # A driver's call has no context of its own.
        if on is not None:
            on._tracehold_span = tracer.start_span(verb, None, SpanKind.CLIENT, facts)

    def after(
        _connection: Connection, _cursor: Any, _statement: str, _given: Any, on: Any, _many: bool
    ) -> None:
        if (span := _taken(on)) is not None:
            span.end()

    def failed(found: ExceptionContext) -> None:
        if (span := _taken(found.execution_context)) is not None:
            _failed(span, None, type(found.original_exception).__name__)
            span.end()

    event.listen(engine, "before_cursor_execute", before)
    event.listen(engine, "after_cursor_execute", after)
    event.listen(engine, "handle_error", failed)


def _taken(on: Any) -> Span | None:
    return None if on is None else on.__dict__.pop("_tracehold_span", None)


def _failed(span: Span, error: BaseException | None, description: str | None = None) -> None:
    from opentelemetry.trace import Status, StatusCode

    if error is not None:
        span.record_exception(error)
        description = type(error).__name__
    span.set_status(Status(StatusCode.ERROR, description))
