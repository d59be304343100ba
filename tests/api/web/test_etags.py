"""ETag, If-Match and If-None-Match (RFC 9110 sections 8.8.3, 13.1; RFC 6585 section 3; read)."""

from __future__ import annotations

import pytest

from api.web.blueprints import Blueprint
from api.web.etags import check_if_match, etag_of, needs_if_match


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


@pytest.fixture
def trial(app, client):
    """Client of an app with one record at version 3."""
    blp = Blueprint("trial", __name__)

    @blp.route("/record")
    def show():
        return {"a": 1}, 200, {"ETag": etag_of("WS-20", 3)}

    @blp.route("/record", methods=["PUT"])
    @needs_if_match
    @blp.response(200)
    def change():
        check_if_match(etag_of("WS-20", 3))
        return {"changed": True}

    app.register_blueprint(blp)
    return client


def test_a_tag_changes_with_the_version_and_with_the_record():
    tags = {etag_of("A", 1), etag_of("A", 2), etag_of("B", 1), etag_of("1\nA", 1)}
    assert len(tags) == 4


def test_a_change_without_if_match_is_428(trial):
    answer = trial.put("/record")
    assert answer.status_code == 428
    assert "If-Match" in answer.get_json()["errors"][0]["remedy"]


@pytest.mark.parametrize("tag", ['"old"', 'W/"old"', '"a", "b"', "garbage"])
def test_a_change_of_an_old_version_is_412(trial, tag):
    answer = trial.put("/record", headers={"If-Match": tag})
    assert answer.status_code == 412
    assert answer.get_json()["type"] == "/problems/stale-version"
    assert "ETag" in answer.get_json()["errors"][0]["remedy"]


def test_a_weak_tag_never_allows_a_change(trial):
    weak = "W/" + etag_of("WS-20", 3)
    assert trial.put("/record", headers={"If-Match": weak}).status_code == 412


@pytest.mark.parametrize("form", ["{0}", '"old", {0}', "*"])
def test_a_change_of_the_version_that_was_read_passes(trial, form):
    tag = form.format(trial.get("/record").headers["ETag"])
    assert trial.put("/record", headers={"If-Match": tag}).get_json() == {"changed": True}


def test_what_the_caller_has_already_is_304(trial):
    tag = trial.get("/record").headers["ETag"]
    same = trial.get("/record", headers={"If-None-Match": tag})
    assert (same.status_code, same.get_data()) == (304, b"")
    assert trial.get("/record", headers={"If-None-Match": '"old"'}).status_code == 200


def test_an_answer_with_a_tag_may_be_kept_but_must_be_asked_for_again(trial):
    assert trial.get("/record").headers["Cache-Control"] == "no-cache"
