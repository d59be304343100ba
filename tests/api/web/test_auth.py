"""Who is let in: bearer keys, scopes, and how soon a revocation works."""

from __future__ import annotations

import time

import pytest
from flask import g
from sqlalchemy import event

from api.services.access.keys import SCOPES
from api.web import auth
from api.web.auth import requires
from api.web.blueprints import Blueprint


@pytest.fixture
def database(own_database):
    """Database whose engine tests here listen to."""
    return own_database


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


@pytest.fixture
def trial(app):
    """Client without a key, of an app with one view per scope."""
    blp = Blueprint("trial", __name__)
    for scope in SCOPES:

        @blp.route(f"/trial/{scope}", endpoint=scope)
        @requires(scope)
        @blp.response(200)
        def view():
            return {"name": g.key.name, "customer": g.key.customer}

    @blp.route("/trial/own")
    @requires("read", customers=True)
    @blp.response(200)
    def own():
        return {"name": g.key.name, "customer": g.key.customer}

    app.register_blueprint(blp)
    return app.test_client()


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer ", "Basic abc", "Bearer nonsense", "Bearer th_a_b", "th_a_b"]
)
def test_without_a_valid_key_the_answer_is_401_with_the_scheme(trial, header):
    answer = trial.get("/trial/read", headers={"Authorization": header})
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    assert answer.get_json()["type"] == "/problems/unauthorized"


def test_a_key_without_the_scope_is_403_and_the_scope_is_named(trial, keys):
    answer = trial.get("/trial/recall", headers=keys.headers("read", "decide"))
    assert answer.status_code == 403
    assert "recall" in answer.get_json()["detail"]
    assert 'scope="recall"' in answer.headers["WWW-Authenticate"]


def test_each_scope_opens_its_own_door_only_and_admin_all(trial, keys):
    for held in SCOPES:
        headers = keys.headers(held)
        opened = [s for s in SCOPES if trial.get(f"/trial/{s}", headers=headers).status_code == 200]
        assert opened == (list(SCOPES) if held == "admin" else [held])


def test_a_view_sees_name_and_customer_of_its_caller(trial, keys):
    answer = trial.get("/trial/own", headers=keys.headers("read", customer="Lift Co"))
    assert answer.get_json() == {"name": "read", "customer": "Lift Co"}


def test_a_route_is_closed_to_keys_of_customers_unless_it_says_otherwise(trial, keys):
    answer = trial.get("/trial/read", headers=keys.headers("admin", customer="Lift Co"))
    assert answer.status_code == 403
    assert answer.get_json()["type"] == "/problems/forbidden"
    # What it lacks besides is said first.
    answer = trial.get("/trial/recall", headers=keys.headers("read", customer="Lift Co"))
    assert answer.get_json()["type"] == "/problems/missing-scope"


def test_a_key_verified_a_moment_ago_does_not_ask_the_database(trial, keys, database):
    headers = keys.headers("read")
    trial.get("/trial/read", headers=headers)
    asked = []
    event.listen(database.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    assert trial.get("/trial/read", headers=headers).status_code == 200
    assert asked == []


def test_a_revocation_takes_effect_once_the_memory_is_over(app, trial, client, keys, monkeypatch):
    headers = keys.headers("read")
    trial.get("/trial/read", headers=headers)
    listed = client.get("/v1/keys").get_json()["items"]
    (found,) = [key for key in listed if key["name"] == "read"]
    other = type(app.extensions[auth.EXTENSION])()
    mine = app.extensions[auth.EXTENSION]
    app.extensions[auth.EXTENSION] = other  # the revocation reaches another process
    client.delete(f"/v1/keys/{found['id']}")
    app.extensions[auth.EXTENSION] = mine
    assert trial.get("/trial/read", headers=headers).status_code == 200
    monkeypatch.setattr(auth, "REMEMBERED_S", -1.0)
    assert trial.get("/trial/read", headers=headers).status_code == 401


def test_the_process_that_revokes_forgets_at_once(trial, client, keys):
    headers = keys.headers("read")
    trial.get("/trial/read", headers=headers)
    listed = client.get("/v1/keys").get_json()["items"]
    (found,) = [key for key in listed if key["name"] == "read"]
    client.delete(f"/v1/keys/{found['id']}")
    assert trial.get("/trial/read", headers=headers).status_code == 401


def test_an_expiry_is_seen_even_while_the_key_is_remembered(trial, keys):
    soon = time.time_ns() // 1000 + 1_500_000
    headers = {"Authorization": f"Bearer {keys.token('read', expires=soon)}"}
    assert trial.get("/trial/read", headers=headers).status_code == 200
    time.sleep(1.6)
    assert trial.get("/trial/read", headers=headers).status_code == 401


def test_the_memory_of_keys_does_not_grow_without_end(trial, keys, monkeypatch):
    monkeypatch.setattr(auth, "MAX_REMEMBERED", 2)
    remembered = trial.application.extensions[auth.EXTENSION].found
    for _ in range(5):
        trial.get("/trial/read", headers=keys.headers("read"))
        assert len(remembered) <= 2


def test_the_time_of_last_use_is_noted(trial, keys, client):
    trial.get("/trial/read", headers=keys.headers("read"))
    listed = client.get("/v1/keys").get_json()["items"]
    assert all(key["last_used_at"] for key in listed)


def test_a_scope_that_does_not_exist_is_a_fault_of_the_programmer():
    with pytest.raises(ValueError, match="unknown scope"):
        requires("write")
