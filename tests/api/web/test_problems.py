"""Every error is problem details (RFC 9457, read), whatever raised it."""

from __future__ import annotations

import logging

import pytest
from flask import abort
from sqlalchemy import text
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm.exc import StaleDataError

from api import errors
from api.app import create_app
from api.errors import Issue
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText
from api.settings import Settings
from api.store.tables import Customer
from api.web.blueprints import Blueprint
from api.web.json import MalformedJson
from api.web.problems import KINDS, MAX_ISSUES, Problem, of_database_error
from api.web.transactions import writing

RAISED: dict[str, Exception] = {}


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


def problem_of(response, status):
    """Body of a problem answer, after the checks that hold for each of them."""
    body = response.get_json()
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    assert list(body)[:6] == ["type", "title", "status", "detail", "instance", "errors"]
    assert body["status"] == status
    assert body["instance"] == response.headers["X-Request-Id"]
    assert body["type"].removeprefix("/problems/") in KINDS
    return body


@pytest.fixture
def trial(app, client):
    """Client of an app with views that fail on request."""
    blp = Blueprint("trial", __name__, url_prefix="/trial")

    @blp.route("/raise/<name>")
    def failing(name):
        raise RAISED[name]

    @blp.route("/abort/<int:status>")
    def aborting(status):
        abort(status)

    @blp.route("/value", methods=["POST"])
    @blp.arguments(StrictSchema.from_dict({"U": DecimalText(required=True)}))
    def valued(sent):
        return {"U": sent["U"]}

    app.register_blueprint(blp)
    return client


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (errors.InvalidRecord("bad"), 422, "invalid-record"),
        (errors.UnknownReference("bad"), 422, "unknown-reference"),
        (errors.NotFound("bad"), 404, "not-found"),
        (errors.Conflict("bad"), 409, "conflict"),
        (errors.StaleVersion("bad"), 412, "stale-version"),
        (errors.Forbidden("bad"), 403, "forbidden"),
        (type("Special", (errors.Conflict,), {"code": "special"})("bad"), 409, "conflict"),
        (Problem("precondition-required", "bad"), 428, "precondition-required"),
    ],
)
def test_each_error_of_the_domain_has_one_status_and_type(trial, error, status, code):
    RAISED["one"] = error
    body = problem_of(trial.get("/trial/raise/one"), status)
    assert body["type"] == f"/problems/{code}"
    assert body["detail"] == "bad"


def test_the_faults_of_a_domain_error_keep_pointer_remedy_and_value(trial):
    RAISED["issues"] = errors.InvalidRecord(
        "bad", [Issue("/a/0", "wrong", "mend", "7"), Issue("", "x")]
    )
    body = problem_of(trial.get("/trial/raise/issues"), 422)
    assert body["errors"] == [
        {"pointer": "/a/0", "detail": "wrong", "remedy": "mend", "value": "7"},
        {"pointer": "", "detail": "x"},
    ]


def test_a_flood_of_faults_is_cut_and_counted(trial):
    RAISED["many"] = errors.InvalidRecord("bad", [Issue(f"/{n}", "x") for n in range(250)])
    body = problem_of(trial.get("/trial/raise/many"), 422)
    assert len(body["errors"]) == MAX_ISSUES
    assert body["errors_total"] == 250


@pytest.mark.parametrize(
    "status", [400, 401, 403, 404, 405, 406, 409, 412, 413, 415, 422, 428, 429]
)
def test_each_status_of_http_becomes_a_problem(trial, status):
    assert problem_of(trial.get(f"/trial/abort/{status}"), status)["detail"]


def test_a_status_without_a_kind_of_its_own_keeps_its_number_and_phrase(trial):
    assert problem_of(trial.get("/trial/abort/410"), 410)["title"] == "Gone"


def test_an_unknown_address_is_a_problem_that_names_it(trial):
    assert "/nowhere" in problem_of(trial.get("/nowhere"), 404)["detail"]


def test_a_method_that_is_not_offered_is_a_problem_with_the_allowed_ones(trial):
    response = trial.delete("/trial/value")
    problem_of(response, 405)
    assert "POST" in response.headers["Allow"]


@pytest.mark.parametrize("body", ['{"U": ', '{"U": NaN}', '{"U": 1, "U": 2}', b"\xff"])
def test_malformed_json_is_400_and_says_why(trial, body):
    response = trial.post("/trial/value", data=body, content_type="application/json")
    assert problem_of(response, 400)["type"] == "/problems/malformed-json"


def test_json_beyond_a_limit_is_422_and_says_which(trial):
    response = trial.post("/trial/value", data="[" * 100_000, content_type="application/json")
    problem = problem_of(response, 422)
    assert problem["type"] == "/problems/limit-exceeded"
    assert "nested deeper than 64 levels" in problem["detail"]


def test_a_body_of_another_media_type_is_415(trial):
    problem_of(trial.post("/trial/value", data="U=1", content_type="text/plain"), 415)


def test_a_schema_fault_is_422_with_a_pointer(trial):
    body = problem_of(trial.post("/trial/value", json={"U": "x"}), 422)
    assert body["errors"][0]["pointer"] == "/U"
    assert body["errors"][0]["value"] == "x"


def test_an_empty_body_lacks_its_required_fields(trial):
    body = problem_of(trial.post("/trial/value"), 422)
    assert body["errors"] == [
        {"pointer": "/U", "detail": "required field is missing", "remedy": "add it"}
    ]


def test_a_number_keeps_its_digits_from_body_to_answer(trial):
    response = trial.post("/trial/value", data='{"U": 0.00400}', content_type="application/json")
    assert response.get_data() == b'{"U":"0.00400"}'


def test_a_body_larger_than_the_limit_is_413(database):
    small = create_app(Settings(max_body_bytes="100"), database)

    @small.post("/take")
    def take():
        from flask import request

        return {"length": len(request.get_data())}

    client = small.test_client()
    assert client.post("/take", data="x" * 100).get_json() == {"length": 100}
    problem_of(client.post("/take", data="x" * 101), 413)


def test_an_unforeseen_error_tells_nothing_but_the_id_that_the_log_explains(trial, caplog):
    RAISED["bug"] = RuntimeError("password is hunter2")
    with caplog.at_level(logging.ERROR):
        response = trial.get("/trial/raise/bug", headers={"X-Request-Id": "trial-7"})
    problem_of(response, 500)
    assert "hunter2" not in response.text
    assert "RuntimeError" not in response.text
    assert "trial-7" in caplog.text
    assert "hunter2" in caplog.text


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (StaleDataError("0 rows"), 412),
        (OperationalError("select", {}, Exception("no route")), 503),
        (MalformedJson("odd"), 400),
    ],
)
def test_lost_races_and_lost_databases_have_their_own_status(trial, error, status):
    RAISED["db"] = error
    assert "select" not in problem_of(trial.get("/trial/raise/db"), status)["detail"]


def test_a_lost_race_for_an_identity_is_409_and_a_broken_constraint_of_ours_500(app, client):
    @app.post("/twice")
    def twice():
        with writing() as session:
            session.add_all([Customer(name="Lift Co"), Customer(name="Lift Co")])
        return {}

    @app.post("/nameless")
    def nameless():
        with writing() as session:
            session.execute(text("INSERT INTO customer (name, version) VALUES (NULL, 1)"))
        return {}

    problem_of(client.post("/twice"), 409)
    problem_of(client.post("/nameless"), 500)


def test_each_kind_of_problem_has_its_page(client):
    for code, kind in KINDS.items():
        page = client.get(f"/problems/{code}")
        assert page.status_code == 200
        assert kind.title in page.text
    problem_of(client.get("/problems/none-such"), 404)


def test_a_full_disk_on_postgresql_is_told_by_its_own_code(app):
    class DiskFull(Exception):
        sqlstate = "53100"  # PostgreSQL, appendix A: disk_full

    with app.test_request_context():
        told = of_database_error(OperationalError("INSERT", {}, DiskFull()))
    assert told.status_code == 507
    assert "full" in told.json["detail"]
