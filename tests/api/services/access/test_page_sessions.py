"""Sessions of the pages, on every engine."""

from __future__ import annotations

import time

from api.services.access import keys as key_service
from api.services.access import page_sessions
from api.services.access.page_sessions import IDLE_US


def key_of(database, keys):
    """Verify a new key."""
    with database.read() as session:
        return key_service.verify(session, keys.token("read"), time.time_ns() // 1000)


def test_a_session_is_found_by_its_cookie_until_it_was_idle_too_long(database, keys):
    key, now = key_of(database, keys), time.time_ns() // 1000
    with database.write() as session:
        cookie = page_sessions.open_session(session, key, None, now)
    with database.read() as session:
        assert page_sessions.key_of(session, cookie, now) == (key, now)
        assert page_sessions.key_of(session, cookie + "x", now) is None
        assert page_sessions.key_of(session, cookie, now + IDLE_US) is None


def test_use_prolongs_a_session(database, keys):
    key, now = key_of(database, keys), time.time_ns() // 1000
    with database.write() as session:
        cookie = page_sessions.open_session(session, key, None, now)
    later = now + IDLE_US - 1
    assert page_sessions.note_seen(database, cookie, later)
    with database.read() as session:
        assert page_sessions.key_of(session, cookie, now + IDLE_US) == (key, later)


def test_whoever_only_looks_never_waits_for_a_writer(database, keys):
    key, now = key_of(database, keys), time.time_ns() // 1000
    with database.write() as session:
        cookie = page_sessions.open_session(session, key, None, now)
    with database.write() as session:
        page_sessions.open_session(session, key, None, now)
        began = time.monotonic()
        # On PostgreSQL the rows of others are not locked.
        noted = page_sessions.note_seen(database, cookie, now + 1)
        assert noted is not database.is_sqlite
        assert time.monotonic() - began < 5


def test_ending_a_session_leaves_the_others(database, keys):
    key, now = key_of(database, keys), time.time_ns() // 1000
    with database.write() as session:
        one = page_sessions.open_session(session, key, None, now)
        other = page_sessions.open_session(session, key, None, now)
        page_sessions.end_session(session, one)
    with database.read() as session:
        assert page_sessions.key_of(session, one, now) is None
        assert page_sessions.key_of(session, other, now) is not None


def test_the_token_of_a_form_belongs_to_one_session():
    token = page_sessions.form_token("one")
    assert page_sessions.is_form_token("one", token)
    assert not page_sessions.is_form_token("other", token)
    assert not page_sessions.is_form_token("one", "")
