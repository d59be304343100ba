"""The joined application."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import sqlalchemy as sa

from api.app import create_app, work_on
from api.settings import Settings
from api.store.database import Database
from api.version import VERSION


def test_the_version_is_that_of_the_package():
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert project["version"] == VERSION


def test_an_app_from_settings_opens_its_own_database(tmp_path):
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'own.db'}"))
    assert app.test_client().get("/readyz").status_code == 503
    app.extensions["tracehold"].dispose()


def test_two_apps_live_side_by_side(database):
    first, second = (create_app(Settings(), database) for _ in range(2))
    assert first.test_client().get("/v1/openapi.json").text == (
        second.test_client().get("/v1/openapi.json").text
    )


def test_an_app_that_is_given_another_database_knows_nothing_of_the_one_before(
    own_database, keys, sqlite_template, tmp_path
):
    app = create_app(Settings(failed_keys_per_minute="1"), own_database)
    first = app.extensions["tracehold.meters"]
    client = app.test_client()

    def fail():
        with pytest.raises(sa.exc.DatabaseError), own_database.read() as session:
            session.execute(sa.text("SELECT nothing FROM nowhere"))

    def counted():
        written = client.get("/metrics").text.splitlines()
        return [line for line in written if line.startswith("tracehold_requests_total{")]

    def errors():
        return sum(
            sample.value
            for metric in first.database_errors.collect()
            for sample in metric.samples
            if sample.name.endswith("_total")
        )

    good, bad = keys.headers("read"), {"Authorization": "Bearer th_unknown"}
    asked = [client.get("/v1/items", headers=sent).status_code for sent in (good, bad, bad, good)]
    assert asked == [200, 401, 429, 200]
    assert len(counted()) == 3
    fail()
    assert errors() == 1

    path = tmp_path / "another.db"
    path.write_bytes(sqlite_template.read_bytes())
    other = Database(f"sqlite:///{path}")
    work_on(app, other)
    assert counted() == []
    # The address has its failures again, and the key is none here.
    asked = [client.get("/v1/items", headers=sent).status_code for sent in (good, bad)]
    assert asked == [401, 429]
    fail()
    assert errors() == 1
    other.dispose()


def test_an_address_may_end_with_a_slash(client):
    assert client.get("/v1/keys/").status_code == 200
