"""The application as a process makes it: from the environment, behind as many proxies as said."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from flask import request

from api.app import create_app
from api.settings import Settings

ROOT = Path(__file__).parents[2]
CODE = "import api.serving; api.serving.application().test_client().get('/nothing')"


@pytest.fixture
def seen(database):
    """What a view sees of a request that came with these headers, by the number of proxies."""

    def ask(proxies, headers):
        app = create_app(Settings(trusted_proxies=str(proxies)), database)

        @app.route("/seen")
        def view():
            return {"address": request.remote_addr, "url": request.url}

        origin = {"REMOTE_ADDR": "192.0.2.1"}
        return app.test_client().get("/seen", headers=headers, environ_overrides=origin).json

    return ask


FORWARDED = {
    "X-Forwarded-For": "203.0.113.5, 198.51.100.9",
    "X-Forwarded-Proto": "https",
    "X-Forwarded-Host": "lab.example",
}


def test_without_trusted_proxies_their_headers_say_nothing(seen):
    assert seen(0, FORWARDED) == {"address": "192.0.2.1", "url": "http://localhost/seen"}


def test_one_trusted_proxy_says_who_asked_and_by_which_address(seen):
    assert seen(1, FORWARDED) == {"address": "198.51.100.9", "url": "https://lab.example/seen"}


def test_with_two_the_address_is_the_one_that_the_outer_proxy_saw(seen):
    headers = FORWARDED | {
        "X-Forwarded-Proto": "https, http",
        "X-Forwarded-Host": "lab.example, inner",
    }
    assert seen(2, headers) == {"address": "203.0.113.5", "url": "https://lab.example/seen"}


def started(tmp_path, **settings):
    """Make the application in a process of its own, and ask it once."""
    clean = {name: v for name, v in os.environ.items() if not name.startswith("TRACEHOLD")}
    url = f"sqlite:///{tmp_path / 'own.db'}"
    return subprocess.run(
        [sys.executable, "-c", CODE],
        cwd=ROOT,
        env=clean | {"TRACEHOLD_DATABASE_URL": url} | settings,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_wsgi_server_gets_an_application_that_logs_as_json(tmp_path):
    done = started(tmp_path, TRACEHOLD_LOG_LEVEL="info")
    assert done.returncode == 0
    (line,) = done.stderr.splitlines()
    assert json.loads(line)["route"] == "unmatched"


def test_it_logs_as_text_where_that_is_asked_for(tmp_path):
    done = started(tmp_path, TRACEHOLD_LOG_FORMAT="text")
    assert " INFO GET unmatched 404 logger=api.requests " in done.stderr


def test_a_variable_that_means_nothing_is_warned_about(tmp_path):
    done = started(tmp_path, TRACEHOLD_LOG_LEVEL="warning", TRACEHOLD_DATABASE="x")
    (line,) = done.stderr.splitlines()
    assert "TRACEHOLD_DATABASE is no setting of this version; did you mean" in line
    assert "TRACEHOLD_DATABASE_URL?" in line


def test_a_value_that_cannot_be_used_stops_it_at_the_start(tmp_path):
    done = started(tmp_path, TRACEHOLD_STOP_SECONDS="soon")
    assert done.returncode != 0
    assert 'TRACEHOLD_STOP_SECONDS cannot be used as it is, "soon"' in done.stderr
