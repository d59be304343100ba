"""Answers behind Idempotency-Key: kept a day, for one API key, in the request's own transaction."""

from __future__ import annotations

import dataclasses

import pytest

from api.services.access import kept_answers
from api.services.access.kept_answers import Claim, Kept
from api.services.access.keys import SCOPES, create_key

NOW = 1_750_000_000_000_000
DAY = 24 * 60 * 60 * 1_000_000  # microseconds
ANSWER = Kept("hash", 201, {"Location": "/v1/items/A"}, '{"id":"A"}')


@pytest.fixture
def claim(database):
    """A request of an API key; the key after it exists too."""
    with database.write() as session:
        first, _ = create_key(session, "one", SCOPES, None, None, now=NOW)
        create_key(session, "two", SCOPES, None, None, now=NOW)
        return Claim(first.id, "k", "hash", NOW)


def answered(database, claim):
    with database.write() as session:
        assert kept_answers.take(session, claim)
        kept_answers.keep(session, claim, ANSWER)


def known(database, claim, **changed):
    with database.read() as session:
        return kept_answers.known(session, dataclasses.replace(claim, **changed))


def test_an_answer_is_given_again_as_it_was_for_a_day(database, claim):
    answered(database, claim)
    assert known(database, claim) == ANSWER
    assert known(database, claim, now_us=NOW + DAY - 1) == ANSWER
    assert known(database, claim, now_us=NOW + DAY) is None


def test_the_hash_of_the_first_request_is_told_so_that_another_one_can_be_refused(database, claim):
    answered(database, claim)
    assert known(database, claim, request_hash="other").request_hash == "hash"


def test_another_api_key_or_idempotency_key_knows_nothing_of_it(database, claim):
    answered(database, claim)
    assert known(database, claim, api_key=claim.api_key + 1) is None
    assert known(database, claim, key="K") is None


def test_a_key_is_taken_once_a_day(database, claim):
    answered(database, claim)
    with database.write() as session:
        late = dataclasses.replace(claim, request_hash="other", now_us=NOW + DAY - 1)
        assert not kept_answers.take(session, late)
        assert kept_answers.take(session, dataclasses.replace(late, key="another"))
    assert known(database, claim) == ANSWER
    with database.write() as session:
        assert kept_answers.take(session, dataclasses.replace(claim, now_us=NOW + DAY))
        assert kept_answers.known(session, dataclasses.replace(claim, now_us=NOW + DAY)) != ANSWER


def test_a_request_that_fails_leaves_its_key_free(database, claim):
    with database.write() as session:
        assert kept_answers.take(session, claim)
        session.rollback()
    assert known(database, claim) is None
    answered(database, claim)


def test_a_key_that_is_left_is_free_for_another_request(database, claim):
    with database.write() as session:
        kept_answers.take(session, claim)
        kept_answers.leave(session, claim)
    assert known(database, claim) is None
    answered(database, claim)


def test_what_is_older_than_a_day_is_forgotten_and_nothing_else(database, claim):
    young = dataclasses.replace(claim, key="young", now_us=NOW + 1)
    answered(database, claim)
    answered(database, young)
    kept_answers.forget_old(database, NOW + DAY)
    assert known(database, claim) is None  # even to one who asks as of then
    assert known(database, young) == ANSWER
