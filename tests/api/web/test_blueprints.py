"""What a view's decorators leave in the OpenAPI document."""

from __future__ import annotations

from decimal import Decimal

import pytest
from flask import Response
from marshmallow import fields

from api.app import create_app
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText
from api.settings import Settings
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.etags import needs_if_match
from api.web.idempotency import idempotent
from api.web.openapi import Api


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


def test_scope_headers_and_fields_are_documented(database):
    blp = Blueprint("trial", __name__)
    body = StrictSchema.from_dict({"U": DecimalText(allow_none=True)}, name="Body")
    query = StrictSchema.from_dict({"dry_run": fields.Boolean()}, name="Query")

    @blp.route("/trial", methods=["POST"])
    @requires("decide")
    @idempotent
    @needs_if_match
    @blp.arguments(body)
    @blp.arguments(query, location="query")
    @blp.response(201, body)
    def view(sent, asked):
        """Try it."""

    app = create_app(Settings(), database)
    api: Api = app.extensions["flask-smorest"]["apis"][""]["ext_obj"]
    api.register_blueprint(blp)
    document = api.document()
    operation = document["paths"]["/trial"]["post"]
    assert operation["x-scope"] == "decide"
    assert operation["security"] == [{"apiKey": []}]
    assert {(p["in"], p["name"], p["required"]) for p in operation["parameters"]} == {
        ("query", "dry_run", False),
        ("header", "Idempotency-Key", False),
        ("header", "If-Match", True),
    }
    assert "requestBody" in operation
    number = document["components"]["schemas"]["Body"]["properties"]["U"]
    assert number == {"type": ["string", "null"], "format": "decimal"}


def test_a_view_may_return_a_body_with_status_and_headers_or_a_response(app, client):
    blp = Blueprint("trial", __name__)
    shape = StrictSchema.from_dict({"U": DecimalText()}, name="Shape")
    answers = {
        "body": {"U": Decimal("0.10"), "secret": 1},
        "status": ({"U": Decimal("1")}, 202),
        "headers": ({"U": Decimal("1")}, {"X-Kind": "a"}),
        "all": ({"U": Decimal("1")}, 202, {"X-Kind": "a"}),
        "response": Response("plain", 200),
        "empty": ("", 204),
    }

    @blp.route("/view/<name>")
    @blp.response(201, shape)
    def view(name):
        return answers[name]

    @blp.route("/bare")
    @blp.response(200)
    def bare():
        return {"any": Decimal("1.0")}

    app.register_blueprint(blp)
    assert client.get("/view/body").get_data() == b'{"U":"0.10"}'
    statuses = {name: client.get(f"/view/{name}").status_code for name in answers}
    assert statuses == {
        "body": 201,
        "status": 202,
        "headers": 201,
        "all": 202,
        "response": 200,
        "empty": 204,
    }
    assert client.get("/view/all").headers["X-Kind"] == "a"
    assert client.get("/view/headers").headers["X-Kind"] == "a"
    assert client.get("/view/response").text == "plain"
    assert client.get("/view/empty").get_data() == b""
    assert client.get("/bare").get_json() == {"any": "1.0"}


def test_a_schema_is_made_once_and_not_at_each_request(app, client):
    blp = Blueprint("trial", __name__)
    made = []

    class CountedSchema(StrictSchema):
        def __init__(self, **kwargs):
            made.append(1)
            super().__init__(**kwargs)

    @blp.route("/counted", methods=["POST"])
    @blp.arguments(CountedSchema)
    @blp.response(200, CountedSchema)
    def view(sent):
        return sent

    app.register_blueprint(blp)
    before = len(made)
    for _ in range(3):
        assert client.post("/counted", json={}).status_code == 200
    assert len(made) == before


def test_an_operation_may_carry_facts_of_its_own(database):
    blp = Blueprint("trial", __name__)

    @blp.route("/trial")
    @blp.doc(operationId="tryIt")
    @blp.response(200)
    @blp.alt_response(202, description="Later")
    def view():
        """Try it."""

    app = create_app(Settings(), database)
    api: Api = app.extensions["flask-smorest"]["apis"][""]["ext_obj"]
    api.register_blueprint(blp)
    operation = api.document()["paths"]["/trial"]["get"]
    assert operation["operationId"] == "tryIt"
    assert operation["responses"]["202"]["description"] == "Later"
