"""Is the process alive, and can it do its work? No key is needed to ask.

Life asks nothing of the database: a process must not be killed because its database is away.
Readiness is for whoever sends requests here, a proxy or an operator.
"""

from __future__ import annotations

from flask import Response
from sqlalchemy.exc import SQLAlchemyError

from api.schemas.health import HealthSchema
from api.schemas.problem import ProblemSchema
from api.store.readiness import hindrance
from api.web.blueprints import Blueprint
from api.web.problems import CONTENT_TYPE, answer
from api.web.transactions import database

blp = Blueprint("health", __name__, description="Life and readiness of the server")


@blp.route("/healthz")
@blp.response(200, HealthSchema)
def alive() -> dict[str, str]:
    """Say that the process answers."""
    return {"status": "ok"}


@blp.route("/readyz")
@blp.response(200, HealthSchema)
@blp.alt_response(503, schema=ProblemSchema, content_type=CONTENT_TYPE, description="Not ready")
def ready() -> dict[str, str] | Response:
    """Say whether the database is reachable, at the current migration and takes changes.

    It does not while it is read-only or its disk is full.
    """
    try:
        found = hindrance(database())
    except SQLAlchemyError:
        found = "The database cannot be reached."
    if found is not None:
        return answer("unavailable", found, (), {"Retry-After": "5"})
    return {"status": "ready"}
