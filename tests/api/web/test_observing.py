"""Each request leaves one line of the log, which says what happened and tells no secret."""

from __future__ import annotations

import json
import logging
import uuid

import pytest
from flask import Response
from sqlalchemy import text

from api.services.access.keys import SCOPES, create_key
from api.web.logs import FACTS, JsonFormatter
from api.web.problems import Problem

ITEM = {"id": "REF-1", "kind": "reference_standard"}


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


@pytest.fixture
def lines(caplog):
    """The lines of requests so far, as they are written."""
    caplog.set_level(logging.DEBUG, "api.requests")
    caplog.handler.setFormatter(JsonFormatter())
    return lambda: [line for line in written(caplog) if line["logger"] == "api.requests"]


def written(caplog):
    """Every line so far, of whatever logger, as it was written when it was logged."""
    return [json.loads(line) for line in caplog.text.splitlines()]


def test_a_request_is_one_line_with_all_that_is_asked_of_it(client, lines):
    answer = client.post("/v1/items", json=ITEM)
    (line,) = lines()
    assert answer.status_code == 201
    expected = {"level": "INFO", "method": "POST", "route": "/v1/items", "status": 201}
    assert expected.items() <= line.items()
    assert line["request_id"] == answer.headers["X-Request-Id"]
    assert line["key"] == client.token.split("_")[1]
    assert line["person"] is None
    assert 0 < line["duration_ms"] < 60_000


def test_an_address_is_told_by_its_template_and_no_line_holds_a_path(client, lines):
    client.get("/v1/items/SECRET-CUSTOMER?cursor=SECRET")
    client.get("/SECRET/guess")
    first, second = lines()
    assert first["route"].startswith("/v1/items/<")
    assert second["route"] == "unmatched"
    assert "SECRET" not in json.dumps([first, second])


def test_the_token_stands_in_no_line_of_any_logger(client, caplog):
    caplog.set_level(logging.DEBUG)
    caplog.handler.setFormatter(JsonFormatter())
    client.get("/v1/items")
    client.get("/v1/items", headers={"Authorization": f"Bearer {client.token}x"})
    secret = client.token.split("_", 2)[2]
    assert "/v1/items" in caplog.text
    assert secret not in caplog.text


def test_the_person_is_the_one_whom_the_key_speaks_for_or_whom_a_change_names(
    client, database, lines
):
    for person in ("QM", "TECH"):
        sent = {"id": person, "name": f"Person {person}"}
        assert client.post("/v1/persons", json=sent).status_code == 201
    with database.write() as session:
        _, token = create_key(session, "bound", SCOPES, person="QM", now=1)
    client.get("/v1/items", headers={"Authorization": f"Bearer {token}"})
    client.post("/v1/items", json=ITEM, headers={"Tracehold-Person": "TECH"})
    assert [line["person"] for line in lines()[-2:]] == ["Person QM", "Person TECH"]


def test_a_fault_of_ours_is_an_error_with_its_traceback_under_the_same_id(app, client, caplog):
    caplog.handler.setFormatter(JsonFormatter())

    @app.route("/broken")
    def broken():
        raise RuntimeError("inside")

    answer = client.get("/broken", headers={"X-Request-Id": "job-9"})
    assert answer.status_code == 500
    errors = [line for line in written(caplog) if line["level"] == "ERROR"]
    assert {line["request_id"] for line in errors} == {"job-9"}
    (told,) = [line for line in errors if "traceback" in line]
    assert "RuntimeError: inside" in told["traceback"]
    assert [line["status"] for line in errors if "status" in line] == [500]


def test_what_a_statement_was_given_stays_out_of_a_traceback(app, client, database, caplog):
    caplog.handler.setFormatter(JsonFormatter())
    given = {"code": uuid.uuid4().hex}

    @app.route("/broken")
    def broken():
        with database.read() as session:
            session.execute(text("SELECT no_such_column FROM item WHERE code = :code"), given)

    assert client.get("/broken").status_code >= 500
    assert "no_such_column" in caplog.text
    assert given["code"] not in caplog.text


def test_a_stream_is_over_when_its_last_part_is_made(app, client, lines):
    begun = []

    @app.route("/stream")
    def stream():
        def parts():
            yield b"a"
            begun.append(lines())
            yield b"b"

        return Response(parts())

    with client.get("/stream") as answer:
        assert answer.data == b"ab"
    assert begun == [[]]
    assert [line["route"] for line in lines()] == ["/stream"]


def test_a_request_that_is_refused_before_its_view_is_a_line_too(client, lines):
    client.get("/v1/items?x=%00")
    assert [line["status"] for line in lines()] == [400]


@pytest.mark.parametrize("probe", ["/healthz", "/readyz", "/metrics"])
def test_questions_of_health_are_told_at_debug_only(client, lines, probe):
    client.get(probe)
    assert [line["level"] for line in lines()] == ["DEBUG"]


def test_a_method_that_nobody_knows_is_one_word(client, lines):
    client.open("/v1/items", method="BREW")
    (line,) = lines()
    assert (line["method"], line["status"]) == ("other", 405)


def test_nothing_is_made_for_a_line_that_nobody_reads(client, caplog):
    caplog.set_level(logging.WARNING, "api.requests")
    client.get("/v1/items")
    assert [one for one in caplog.records if hasattr(one, FACTS)] == []


def test_a_problem_raised_by_the_web_is_told_with_its_status(app, client, lines):
    @app.route("/busy")
    def busy():
        raise Problem("unavailable", "not now")

    client.get("/busy")
    assert [(line["status"], line["level"]) for line in lines()] == [(503, "ERROR")]
