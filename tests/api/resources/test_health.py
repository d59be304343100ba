"""Life and readiness."""

from __future__ import annotations

import pytest

from api.app import create_app
from api.settings import Settings
from api.store.database import Database


def test_life_and_readiness_need_no_key(app):
    bare = app.test_client()
    assert bare.get("/healthz").get_json() == {"status": "ok"}
    assert bare.get("/readyz").get_json() == {"status": "ready"}


def test_a_database_that_was_not_migrated_is_not_ready_and_the_remedy_is_named(tmp_path):
    empty = Database(f"sqlite:///{tmp_path / 'empty.db'}")
    answer = create_app(Settings(), empty).test_client().get("/readyz")
    assert answer.status_code == 503
    assert "tracehold migrate" in answer.get_json()["detail"]
    assert answer.headers["Retry-After"]
    empty.dispose()


def test_a_database_out_of_reach_is_not_ready_but_the_process_lives(tmp_path):
    lost = Database(f"sqlite:///{tmp_path / 'no such folder' / 'lost.db'}")
    client = create_app(Settings(), lost).test_client()
    assert client.get("/readyz").status_code == 503
    assert client.get("/healthz").status_code == 200
    lost.dispose()


def test_a_read_only_database_is_not_ready(database, database_url):
    if not database.is_sqlite:
        pytest.skip("tests/api/store/test_readiness.py does it on PostgreSQL")
    path = database_url.removeprefix("sqlite:///")
    opened = Database(f"sqlite:///file:{path}?mode=ro&uri=true")
    answer = create_app(Settings(), opened).test_client().get("/readyz")
    assert answer.status_code == 503
    assert "read-only" in answer.json["detail"]
    opened.dispose()
