"""What goes wrong: a page with a way back for a browser, problem details for a program."""

from __future__ import annotations

import pytest

from api.app import create_app
from api.settings import Settings
from tests.api.pages.conftest import Visitor

# What browsers send for a page.
BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}


@pytest.mark.parametrize("address", ["/no/such/page", "/item/REF-500A", "/favicon.ico"])
def test_a_browser_gets_a_page_for_an_address_that_is_not_there(visitor, stranger, address):
    answer = visitor.get(address, headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert "There is nothing here" in answer.text
    assert f"There is nothing at {address}." in answer.text
    assert 'href="/">Back to the start' in answer.text
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    answer = stranger.get(address, headers=BROWSER)
    assert answer.status_code == 404
    assert 'href="/sign-in">Sign in' in answer.text
    assert "Back to the start" not in answer.text


@pytest.mark.parametrize("accept", ["*/*", "application/json", "", None])
def test_a_program_gets_problem_details_there(stranger, accept):
    headers = {} if accept is None else {"Accept": accept}
    answer = stranger.get("/no/such/page", headers=headers)
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


@pytest.mark.parametrize("address", ["/v1/nothing", "/v1", "/v1/items/NOSUCH"])
def test_below_v1_everybody_gets_problem_details(visitor, keys, address):
    answer = visitor.client.get(address, headers=BROWSER | keys.headers())
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


def test_a_page_asked_for_in_a_way_it_does_not_offer_says_so(visitor):
    answer = visitor.client.post("/items/REF-500A", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (405, "text/html")
    assert "This cannot be done here" in answer.text


def test_more_than_a_page_takes_is_said_in_plain_words(visitor, app):
    most = app.config["MAX_RECORD_BYTES"]
    answer = visitor.client.post("/decide", data={"value": "1" * (most + 1)})
    assert (answer.status_code, answer.mimetype) == (413, "text/html")
    assert "That was too much at once" in answer.text
    assert "bytes" not in answer.text


def test_who_tries_too_many_keys_is_told_to_wait(database):
    visitor = Visitor(create_app(Settings(failed_keys_per_minute="2"), database))
    for _ in range(2):
        assert visitor.sign_in("th_0000000000000000_wrong").status_code == 422
    answer = visitor.sign_in("th_1111111111111111_wrong")
    assert (answer.status_code, answer.mimetype) == (429, "text/html")
    assert "Wait a minute, then try again." in answer.text
    assert answer.headers["Retry-After"]


def test_a_key_that_may_not_do_something_is_told_which_scope_it_lacks(signed_in):
    answer = signed_in("read").get("/recalls/new")
    assert answer.status_code == 403
    assert "This is not allowed" in answer.text
    assert "lacks the scope" in answer.text


@pytest.mark.parametrize("address", ["/", "/problems/conflict"])
def test_an_unforeseen_error_says_nothing_of_the_inside(visitor, monkeypatch, address):
    from api.pages import docs, start

    def broken(*_, **__):
        raise RuntimeError("secret detail")

    monkeypatch.setattr(start.start, "open_work", broken)
    monkeypatch.setattr(docs, "render_template", broken)
    answer = visitor.get(address, headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (500, "text/html")
    assert "Something went wrong on our side" in answer.text
    assert "Number of this request" in answer.text
    assert "secret detail" not in answer.text


def test_when_the_records_cannot_be_reached_a_page_still_comes(visitor, monkeypatch):
    from sqlalchemy.exc import OperationalError

    from api.pages import layout, start

    def gone(*_):
        raise OperationalError("SELECT", {}, Exception("gone"))

    monkeypatch.setattr(start.start, "open_work", gone)
    monkeypatch.setattr(layout, "zone_of", gone)
    answer = visitor.get("/", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (503, "text/html")
    assert "The records cannot be reached" in answer.text
