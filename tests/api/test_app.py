"""The joined application."""

from __future__ import annotations

import tomllib
from pathlib import Path

from api.app import create_app
from api.settings import Settings
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


def test_an_address_may_end_with_a_slash(client):
    assert client.get("/v1/keys/").status_code == 200
