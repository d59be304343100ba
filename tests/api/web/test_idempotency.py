"""A POST that is sent twice is done once (draft-ietf-httpapi-idempotency-key-header-07)."""

from __future__ import annotations

import threading
import time

import pytest
from flask import Response, request
from sqlalchemy import func, select, update

from api.errors import Conflict
from api.store.tables import Customer, IdempotentAnswer
from api.web import idempotency as web
from api.web.auth import requires
from api.web.blueprints import Blueprint, takes_bulk
from api.web.idempotency import idempotent
from api.web.transactions import writing

KEY = {"Idempotency-Key": "8e03978e-40d5-43dd-bc93-6894a57f9324"}
DAY = 24 * 3600 * 1_000_000


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


@pytest.fixture
def steps():
    """What the trial view shall do, and an event that holds it up."""
    return {"fail": None, "after": None, "written": threading.Event(), "body": None}


@pytest.fixture
def trial(app, client, steps):
    """Client of an app whose POST records one customer a call."""
    blp = Blueprint("trial", __name__)

    @blp.route("/make", methods=["POST"])
    @requires("record")
    @takes_bulk
    @idempotent
    def make():
        if steps["fail"] is not None:
            raise steps["fail"]
        with writing() as session:
            made = Customer(name=f"C-{time.time_ns()}")
            session.add(made)
            session.flush()
            number = made.id
        steps["written"].set()
        if steps["after"] is not None:
            assert steps["after"].wait(20)
        if steps["body"] is not None:
            return steps["body"]
        body = {"id": number, "sent": request.get_data(as_text=True)}
        return body, 201, {"Location": f"/made/{number}", "ETag": f'"{number}"'}

    app.register_blueprint(blp)
    return client


def count(database) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(Customer))


def test_without_the_header_each_post_is_done(trial, database):
    trial.post("/make")
    trial.post("/make")
    assert count(database) == 2


def test_a_repeated_post_is_done_once_and_answered_the_same(trial, database):
    first = trial.post("/make", json={"a": 1}, headers=KEY)
    again = trial.post("/make", json={"a": 1}, headers=KEY)
    assert count(database) == 1
    assert first.status_code == again.status_code == 201
    assert first.get_data() == again.get_data()
    for header in ("Location", "ETag", "Content-Type"):
        assert first.headers[header] == again.headers[header]
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"


def test_the_view_still_reads_its_body(trial):
    assert trial.post("/make", data=b"x" * 100, headers=KEY).get_json()["sent"] == "x" * 100


def test_a_large_body_is_hashed_and_read_without_loss(trial):
    large = b"0123456789" * 600_000
    assert len(trial.post("/make", data=large, headers=KEY).get_json()["sent"]) == len(large)
    assert trial.post("/make", data=large[:-1] + b"x", headers=KEY).status_code == 422


def test_the_quoted_form_of_the_draft_is_the_same_key(trial, database):
    trial.post("/make", headers={"Idempotency-Key": "abc"})
    again = trial.post("/make", headers={"Idempotency-Key": '"abc"'})
    assert again.headers["Idempotency-Replayed"] == "true"
    assert count(database) == 1


@pytest.mark.parametrize(
    "other", [{"data": b"y"}, {"query_string": "a=1"}, {"content_type": "text/csv", "data": b"x"}]
)
def test_the_same_key_for_another_request_is_422(trial, database, other):
    trial.post("/make", data=b"x", headers=KEY)
    answer = trial.post("/make", headers=KEY, **other)
    assert answer.status_code == 422
    assert answer.get_json()["type"] == "/problems/idempotency-key-reused"
    assert "another Idempotency-Key" in answer.get_json()["errors"][0]["remedy"]
    assert count(database) == 1


def test_two_callers_may_choose_the_same_key(trial, keys, database):
    trial.post("/make", headers=KEY)
    trial.post("/make", headers={**KEY, **keys.headers("record")})
    assert count(database) == 2


@pytest.mark.parametrize("key", ["", "a b", "x" * 256, 'a"b', "a\\b"])
def test_a_key_that_is_not_visible_ascii_is_400(trial, key):
    assert trial.post("/make", headers={"Idempotency-Key": key}).status_code == 400


@pytest.mark.parametrize(("fail", "status"), [(RuntimeError("bug"), 500), (Conflict("no"), 409)])
def test_a_failed_request_is_not_kept_and_may_be_repeated(trial, steps, database, fail, status):
    steps["fail"] = fail
    assert trial.post("/make", headers=KEY).status_code == status
    steps["fail"] = None
    assert trial.post("/make", headers=KEY).status_code == 201
    assert count(database) == 1


def test_an_error_that_is_returned_rather_than_raised_is_taken_back_too(trial, steps, database):
    steps["body"] = ({"no": 1}, 503)
    assert trial.post("/make", headers=KEY).status_code == 503
    assert count(database) == 0
    steps["body"] = None
    assert trial.post("/make", headers=KEY).status_code == 201


def test_a_duplicate_that_arrives_while_the_first_is_writing_waits_and_is_answered_the_same(
    app, trial, steps, database
):
    steps["after"] = threading.Event()
    answers = {}

    def send(name):
        sender = app.test_client()
        sender.token = trial.token
        answers[name] = sender.post("/make", headers=KEY)

    threads = [threading.Thread(target=send, args=(name,)) for name in ("first", "second")]
    threads[0].start()
    assert steps["written"].wait(20)
    threads[1].start()
    threads[1].join(0.3)
    assert answers == {}
    steps["after"].set()
    for thread in threads:
        thread.join()
    assert answers["first"].get_data() == answers["second"].get_data()
    replayed = ["Idempotency-Replayed" in answers[name].headers for name in ("first", "second")]
    assert replayed == [False, True]
    assert count(database) == 1


def test_of_many_parallel_duplicates_exactly_one_is_done(app, trial, database):
    trial.get("/v1/keys")
    start = threading.Barrier(6)
    statuses = []

    def send() -> None:
        sender = app.test_client()
        sender.token = trial.token
        start.wait()
        statuses.append(sender.post("/make", headers=KEY).status_code)

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert count(database) == 1
    assert statuses == [201] * 6


def age(database, microseconds: int) -> None:
    with database.write() as session:
        session.execute(
            update(IdempotentAnswer).values(created_us=IdempotentAnswer.created_us - microseconds)
        )


def test_after_a_day_the_key_is_free_again(trial, database):
    trial.post("/make", headers=KEY)
    age(database, DAY - 60_000_000)
    assert "Idempotency-Replayed" in trial.post("/make", headers=KEY).headers
    age(database, 61_000_000)
    assert "Idempotency-Replayed" not in trial.post("/make", headers=KEY).headers
    assert count(database) == 2


def test_what_was_not_answered_was_not_done_either(trial, steps, database, monkeypatch):
    def dies(*_):
        raise MemoryError

    monkeypatch.setattr(web.kept_answers, "keep", dies)
    assert trial.post("/make", headers=KEY).status_code == 500
    monkeypatch.undo()
    assert count(database) == 0
    assert trial.post("/make", headers=KEY).status_code == 201
    assert count(database) == 1


@pytest.mark.parametrize("body", [b"PAR1\x00\xff\xfe", b"a\x00b", "tümpel".encode()])
def test_any_body_is_given_again_byte_for_byte(trial, steps, body):
    steps["body"] = Response(body, 201, mimetype="application/octet-stream")
    first = trial.post("/make", headers=KEY)
    again = trial.post("/make", headers=KEY)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert first.get_data() == again.get_data() == body


def test_a_streamed_answer_is_not_kept(trial, steps):
    steps["body"] = Response(iter(["a", "b"]), 200)
    assert trial.post("/make", headers=KEY).text == "ab"
    steps["body"] = None
    assert "Idempotency-Replayed" not in trial.post("/make", headers=KEY).headers


def test_old_answers_are_deleted_now_and_then(trial, database, monkeypatch):
    trial.post("/make", headers=KEY)
    age(database, DAY + 60_000_000)
    monkeypatch.setattr(web, "FORGET_EVERY_S", 0.0)
    trial.application.extensions["tracehold.idempotency"]["due"] = 0.0
    trial.post("/make", headers={"Idempotency-Key": "other"})
    with database.read() as session:
        assert session.scalars(select(IdempotentAnswer.idempotency_key)).all() == ["other"]
