"""Signing in with a key, what the session allows, and how it ends."""

from __future__ import annotations

import hashlib

import pytest
from sqlalchemy import select, update

from api.pages import sessions
from api.services.access import keys as key_service
from api.services.access import page_sessions, persons
from api.settings import Settings
from api.store.journal import JournalLine
from api.store.pages import PageSession

PAGES = (
    "/",
    "/items/REF-500A",
    "/recalls/1",
    "/recalls/new",
    "/decide",
    "/certificates/MV-25-0075",
)


def cookie_of(response):
    """The session's cookie as it was set."""
    return next(c for c in response.headers.getlist("Set-Cookie") if c.startswith(sessions.COOKIE))


@pytest.mark.parametrize("address", PAGES)
def test_a_stranger_is_sent_to_the_sign_in_and_back_afterwards(stranger, keys, address):
    sent = stranger.get(address)
    assert sent.status_code == 303
    assert sent.headers["Location"].startswith("/sign-in?next=%2F")
    form = stranger.get(sent.headers["Location"]).text
    assert f'name="next" value="{address}"' in form
    assert stranger.sign_in(keys.token(), next=address).headers["Location"] == address


def test_the_cookie_is_kept_from_scripts_and_other_sites_and_only_its_hash_is_stored(
    stranger, keys, database
):
    cookie = cookie_of(stranger.sign_in(keys.token()))
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie
    assert "Secure" not in cookie
    value = cookie.split("=", 1)[1].split(";")[0]
    assert len(value) >= 43  # 256 random bits in base64url
    with database.read() as session:
        stored = session.scalars(select(PageSession)).one()
    assert stored.cookie_hash == hashlib.sha256(value.encode()).hexdigest()


def test_over_https_the_cookie_is_secure(stranger, keys):
    form = stranger.get("/sign-in", base_url="https://localhost").text
    token = form.split('name="token" value="')[1].split('"')[0]
    sent = {"token": token, "key": keys.token()}
    answer = stranger.client.post("/sign-in", data=sent, base_url="https://localhost")
    assert "Secure" in cookie_of(answer)


def test_a_wrong_key_is_refused_and_says_so(stranger):
    answer = stranger.sign_in("th_0000000000000000_wrong")
    assert answer.status_code == 422
    assert "unknown, revoked or expired" in answer.text
    assert stranger.get("/").status_code == 303


def test_the_sign_in_needs_its_own_token(stranger, keys):
    stranger.get("/sign-in")
    for token in ("", "0" * 64, "é"):
        sent = {"token": token, "key": keys.token()}
        assert stranger.client.post("/sign-in", data=sent).status_code == 403


@pytest.mark.parametrize(
    "address", ["//elsewhere.example", "/\\elsewhere", "https://elsewhere.example", "/sign-out"]
)
def test_nobody_is_sent_elsewhere_after_the_sign_in(stranger, keys, address):
    assert stranger.sign_in(keys.token(), next=address).headers["Location"] == "/"


def test_signing_out_ends_the_session_for_good(visitor):
    value = visitor.client.get_cookie(sessions.COOKIE).value
    page = visitor.get("/").text
    token = page.split('name="token" value="')[1].split('"')[0]
    assert visitor.client.post("/sign-out", data={"token": "0" * 64}).status_code == 403
    assert visitor.get("/").status_code == 200
    assert visitor.client.post("/sign-out", data={"token": token}).status_code == 303
    assert visitor.get("/").status_code == 303
    visitor.client.set_cookie(sessions.COOKIE, value)
    assert visitor.get("/").status_code == 303


def test_a_revoked_key_signs_out_at_once(stranger, keys, database):
    token = keys.token()
    stranger.sign_in(token)
    assert stranger.get("/").status_code == 200
    with database.write() as session:
        key_service.revoke(session, token.split("_")[1], 1)
    assert stranger.get("/").status_code == 303
    assert "session is over" in stranger.get("/sign-in").text


def test_a_session_ends_after_twelve_hours_without_use_and_not_while_it_is_used(
    visitor, database, monkeypatch
):
    hour = 3600 * 1_000_000
    began = sessions.now_us()
    for hours in (11, 22, 33):
        monkeypatch.setattr(sessions, "now_us", lambda hours=hours: began + hours * hour)
        assert visitor.get("/").status_code == 200
    monkeypatch.setattr(sessions, "now_us", lambda: began + 33 * hour + 12 * hour + 1_000_000)
    assert visitor.get("/").status_code == 303
    with database.write() as session:
        assert page_sessions.key_of(session, "unknown", began) is None
        assert session.scalar(select(PageSession.seen_us)) == began + 33 * hour


def test_sessions_that_are_over_are_forgotten_at_the_next_sign_in(visitor, keys, database, app):
    with database.write() as session:
        session.execute(update(PageSession).values(expires_us=1))
    visitor.sign_in(keys.token())
    with database.read() as session:
        assert len(session.scalars(select(PageSession)).all()) == 1


@pytest.mark.parametrize(
    ("scope", "address"),
    [("decide", "/"), ("read", "/decide"), ("read", "/recalls/new"), ("record", "/recalls/1")],
)
def test_a_page_beyond_the_scopes_of_the_key_says_which_one_it_lacks(signed_in, scope, address):
    answer = signed_in(scope).get(address)
    assert answer.status_code == 403
    assert answer.mimetype == "text/html"
    assert "lacks the scope" in answer.text


@pytest.mark.parametrize("address", PAGES[1:5])
def test_a_key_of_a_customer_does_not_open_the_pages_of_the_laboratory(signed_in, address):
    answer = signed_in(customer="Corvane Offshore").get(address)
    assert answer.status_code == 403
    assert "belongs to a customer" in answer.text


def test_pages_load_nothing_from_elsewhere_and_hold_nothing_inline(visitor):
    for address in (*PAGES, "/recalls/1?chosen=MV-25-0075", "/recalls/new?item=PIN-22A"):
        answer = visitor.get(address)
        policy = answer.headers["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "script-src 'self'" in policy
        assert answer.headers["Cache-Control"] == "no-store"
        for inline in (
            " style=",
            "<style",
            " onclick=",
            " onload=",
            "<script>",
            "http://",
            "https://",
        ):
            assert inline not in answer.text, f"{inline} in {address}"


def test_changes_are_written_in_the_name_of_the_key_and_the_person_at_work(
    stranger, keys, database
):
    with database.write() as session:
        persons.create(session, {"id": "qm", "name": "Ida Example"}, 1)
    assert stranger.sign_in(keys.token(), person="nobody").status_code == 422
    stranger.sign_in(keys.token(), person="qm")
    page = stranger.get("/recalls/1").text
    assert "Ida Example" in page
    fields = {"state": "assessed", "reason": "looked at", "by": "Somebody Else"}
    assert stranger.send("/recalls/1", "/recalls/1/case", **fields).status_code == 303
    with database.read() as session:
        line = session.scalars(select(JournalLine).order_by(JournalLine.position.desc())).first()
    assert line.person == "Ida Example"
    assert line.key_id is not None
    assert "Somebody Else" not in line.body


def test_a_key_that_speaks_for_somebody_cannot_be_used_as_another(stranger, database, keys):
    with database.write() as session:
        persons.create(session, {"id": "qm", "name": "Ida Example"}, 1)
        persons.create(session, {"id": "tm", "name": "Tor Example"}, 1)
        made = key_service.create_key(session, "bound", ["read"], person="qm", now=1)
    answer = stranger.sign_in(made[1], person="tm")
    assert answer.status_code == 422
    assert "speaks for Ida Example" in answer.text
    assert stranger.sign_in(made[1]).status_code == 303


def test_where_a_person_is_required_the_sign_in_asks_for_one(database, keys):
    from api.app import create_app
    from tests.api.pages.conftest import Visitor

    strict = Visitor(create_app(Settings(require_person="yes"), database))
    answer = strict.sign_in(keys.token())
    assert answer.status_code == 422
    assert "enter your person id" in answer.text


def test_an_unforeseen_error_is_a_page_without_details(visitor, monkeypatch):
    from api.pages import start

    def broken(*_):
        raise RuntimeError("secret detail")

    monkeypatch.setattr(start.start, "open_work", broken)
    answer = visitor.get("/")
    assert answer.status_code == 500
    assert answer.mimetype == "text/html"
    assert "secret detail" not in answer.text


def test_a_script_is_told_what_went_wrong_without_a_frame_around_it(visitor):
    answer = visitor.get("/recalls/99", headers={"Tracehold-Part": "yes"})
    assert answer.status_code == 404
    assert "does not exist" in answer.text
    assert "<html" not in answer.text


def test_a_script_whose_session_is_over_is_told_so_instead_of_shown_the_sign_in(stranger):
    assert stranger.get("/?q=x", headers={"Tracehold-Part": "yes"}).status_code == 401
