"""Is the process alive, and can it do its work? No key is needed to ask."""

from __future__ import annotations

from flask import Response
from sqlalchemy.exc import SQLAlchemyError

from api.schemas.health import HealthSchema
from api.store import migrate
from api.web.blueprints import Blueprint
from api.web.problems import answer
from api.web.transactions import database

blp = Blueprint("health", __name__, description="Life and readiness of the server")


@blp.route("/healthz")
@blp.response(200, HealthSchema)
def alive() -> dict[str, str]:
    """Say that the process answers."""
    return {"status": "ok"}


@blp.route("/readyz")
@blp.response(200, HealthSchema)
def ready() -> dict[str, str] | Response:
    """Say whether the database is reachable and at the current migration (else 503)."""
    try:
        current = migrate.is_current(database())
    except SQLAlchemyError:
        return answer("unavailable", "The database cannot be reached.", (), {"Retry-After": "5"})
    if not current:
        detail = "The database is not at the current migration; run: tracehold migrate."
        return answer("unavailable", detail, (), {"Retry-After": "5"})
    return {"status": "ready"}
