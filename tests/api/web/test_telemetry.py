"""Spans of requests, services and statements, and when they are made at all."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import text

from api import spans
from api.app import create_app
from api.settings import Settings
from api.web import telemetry
from api.web.telemetry import asked_for, configure

if not all(importlib.util.find_spec(one) for one in ("opentelemetry", "opentelemetry.sdk")):
    pytest.skip("the extra otel is not installed", allow_module_level=True)

from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

LABORATORY = {
    "items": [{"id": "REF-1", "kind": "reference_standard"}],
    "calibrations": [],
}
FAULT = {
    **{"item": "REF-1", "kind": "unknown"},
    **{"last_good_at": "2024-01-01T00:00:00Z", "isolated_at": "2024-06-01T00:00:00Z"},
}
# 00-<trace>-<parent>-01 as in W3C Trace Context, 3.2 (from memory).
TRACE, PARENT = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"


@pytest.fixture
def database(own_database):
    """Database whose engine tests here listen to."""
    return own_database


@pytest.fixture
def traced(database, keys):
    """Client of a traced app, and its finished spans by name."""
    exporter = InMemorySpanExporter()
    provider = TracerProvider()
    provider.add_span_processor(SimpleSpanProcessor(exporter))
    app = create_app(Settings(), database)
    telemetry.install(app, database.engine, provider)
    headers = keys.headers()
    exporter.clear()

    def ask(method, path, **sent):
        exporter.clear()
        sent["headers"] = headers | sent.get("headers", {})
        answer = app.test_client().open(path, method=method, **sent)
        answer.get_data()
        answer.close()
        return answer, exporter.get_finished_spans()

    yield ask
    spans.install(None)


def named(found, name):
    """The one span of this name."""
    (one,) = [one for one in found if one.name == name]
    return one


@pytest.mark.parametrize(
    ("environment", "exporter"),
    [
        ({}, None),
        ({"OTEL_SERVICE_NAME": "lab"}, None),
        ({"OTEL_TRACES_EXPORTER": "none", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://c:4318"}, None),
        ({"OTEL_TRACES_EXPORTER": "otlp", "OTEL_SDK_DISABLED": "true"}, None),
        ({"OTEL_TRACES_EXPORTER": "console"}, "console"),
        ({"OTEL_TRACES_EXPORTER": "otlp"}, "otlp_proto_http"),
        ({"OTEL_EXPORTER_OTLP_ENDPOINT": "http://c:4318"}, "otlp_proto_http"),
        ({"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": "http://c:4318/v1/traces"}, "otlp_proto_http"),
        (
            {"OTEL_TRACES_EXPORTER": "otlp", "OTEL_EXPORTER_OTLP_PROTOCOL": "grpc"},
            "otlp_proto_grpc",
        ),
    ],
)
def test_traces_are_made_only_where_the_standard_variables_ask_for_them(environment, exporter):
    assert asked_for(environment) == exporter


def test_an_app_that_is_not_traced_has_no_hooks_of_tracing(database):
    app = create_app(Settings(), database)
    before = len(app.before_request_funcs[None]), len(app.after_request_funcs[None])
    assert not configure(app, database.engine, {})
    assert (len(app.before_request_funcs[None]), len(app.after_request_funcs[None])) == before
    assert spans.span("a") is spans.span("b")


def test_an_exporter_that_is_not_installed_is_named_and_the_server_goes_on(database, caplog):
    app = create_app(Settings(), database)
    assert not configure(app, database.engine, {"OTEL_TRACES_EXPORTER": "zip"})
    assert "no exporter zip" in caplog.text
    assert "tracehold[otel]" in caplog.text
    assert app.test_client().get("/healthz").status_code == 200


def test_what_the_variables_ask_for_is_exported(database_url):
    code = (
        "import sys, api.serving; from api.settings import Settings; "
        "from api.store.database import Database; "
        "app = api.serving.made(Settings(), Database(sys.argv[1])); "
        "app.test_client().get('/readyz')"
    )
    environment = os.environ | {"OTEL_TRACES_EXPORTER": "console"}
    done = subprocess.run(
        [sys.executable, "-c", code, database_url],
        cwd=Path(__file__).parents[3],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert '"name": "GET /readyz"' in done.stdout
    assert '"service.name": "tracehold"' in done.stdout


def test_the_exporter_and_the_resource_are_the_sdks_own(monkeypatch):
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter

    monkeypatch.setenv("OTEL_SERVICE_NAME", "second laboratory")
    provider = telemetry.provider_of(OTLPSpanExporter(), named=True)
    assert provider.resource.attributes["service.name"] == "second laboratory"
    provider.shutdown()


def test_a_request_is_a_span_of_its_template_with_its_id(traced):
    answer, found = traced("GET", "/v1/items/SECRET", headers={"X-Request-Id": "job-3"})
    (span,) = [one for one in found if one.kind is SpanKind.SERVER]
    assert span.name.startswith("GET /v1/items/<")
    assert span.attributes["http.response.status_code"] == answer.status_code == 404
    assert span.attributes["tracehold.request_id"] == "job-3"
    assert span.status.status_code is StatusCode.UNSET
    assert "SECRET" not in json.dumps([dict(one.attributes) for one in found])


def test_a_request_joins_the_trace_of_its_caller(traced):
    _, found = traced("GET", "/v1/items", headers={"traceparent": f"00-{TRACE}-{PARENT}-01"})
    span = named(found, "GET /v1/items")
    assert f"{span.context.trace_id:032x}" == TRACE
    assert f"{span.parent.span_id:016x}" == PARENT


def test_an_import_stands_within_its_request_and_its_statements_within_it(traced):
    _, found = traced("POST", "/v1/imports", json=LABORATORY)
    request, work = named(found, "POST /v1/imports"), named(found, "import")
    assert work.parent.span_id == request.context.span_id
    inserts = [one for one in found if one.name == "INSERT"]
    assert inserts
    assert {one.attributes["db.system.name"] for one in inserts} <= {"sqlite", "postgresql"}
    within = [one for one in inserts if one.parent.span_id == work.context.span_id]
    assert any("INTO item" in one.attributes["db.query.text"] for one in within)
    assert not [one for one in found if "REF-1" in json.dumps(dict(one.attributes))]


def test_a_recall_is_a_span(traced):
    traced("POST", "/v1/imports", json=LABORATORY)
    answer, found = traced("POST", "/v1/recalls", json={"fault": FAULT})
    assert answer.status_code == 201
    assert named(found, "recall").parent.span_id == named(found, "POST /v1/recalls").context.span_id


def test_a_batch_is_a_span_that_ends_with_its_stream_and_is_nobodys_parent(traced):
    rows = b"value,U,upper\n" + b"1,0.1,2\n" * 60_000
    answer, found = traced("POST", "/v1/batches?rule=simple", data=rows, content_type="text/csv")
    assert "Tracehold-Summary" not in answer.headers  # it was streamed
    assert answer.data.count(b"\n") == 60_001
    request, work = named(found, "POST /v1/batches"), named(found, "batch")
    assert work.parent.span_id == request.context.span_id
    assert work.end_time <= request.end_time
    assert not [one for one in found if one.parent and one.parent.span_id == work.context.span_id]


def test_a_failed_statement_and_the_request_that_it_fails_are_errors(traced, database):
    with database.engine.begin() as connection:
        connection.execute(text("ALTER TABLE laboratory RENAME TO laboratory_away"))
    try:
        answer, found = traced("POST", "/v1/imports", json=LABORATORY)
    finally:
        with database.engine.begin() as connection:
            connection.execute(text("ALTER TABLE laboratory_away RENAME TO laboratory"))
    assert answer.status_code >= 500
    failed = [one for one in found if one.status.status_code is StatusCode.ERROR]
    assert {"SELECT", "import", "POST /v1/imports"} <= {one.name for one in failed}


def test_one_request_after_another_has_a_trace_of_its_own(traced):
    _, first = traced("GET", "/healthz")
    _, second = traced("GET", "/healthz")
    assert first[0].parent is second[0].parent is None
    assert first[0].context.trace_id != second[0].context.trace_id
