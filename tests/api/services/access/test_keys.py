"""API keys: made once, verified by hash, ended by revocation or expiry."""

from __future__ import annotations

import hashlib
import hmac
import time

import pytest
from sqlalchemy import select

from api.errors import InvalidRecord, NotFound
from api.services.access import keys
from api.store.tables import ApiKey, Person

NOW = 1_700_000_000_000_000
MINUTE = 60_000_000


@pytest.fixture
def made(database):
    """Record and token of a key that may read."""
    with database.write() as session:
        return keys.create_key(session, "bench", ["read"], "Lift Co", NOW + MINUTE, now=NOW)


def verify(database, token, now=NOW):
    with database.read() as session:
        return keys.verify(session, token, now)


def test_a_new_key_is_found_by_its_token(database, made):
    record, token = made
    assert verify(database, token) == record
    assert (record.name, record.scopes, record.customer) == ("bench", ("read",), "Lift Co")


def test_only_the_hash_of_the_secret_is_stored(database, made):
    secret = made[1].split("_", 2)[2]
    with database.read() as session:
        row = session.scalars(select(ApiKey)).one()
    assert row.secret_hash == hashlib.sha256(secret.encode()).hexdigest()
    assert all(secret not in str(value) for value in vars(row).values())


def test_the_secret_has_256_random_bits_and_differs_each_time(database, made):
    with database.write() as session:
        _, other = keys.create_key(session, "bench", ["read"], now=NOW)
    assert len(other.split("_", 2)[2]) == 43  # 32 bytes in base64url without padding
    assert other != made[1]


@pytest.mark.parametrize("change", [lambda t: t[:-1], lambda t: t + "x", lambda t: "xx" + t[2:]])
def test_a_changed_token_is_unknown(database, made, change):
    assert verify(database, change(made[1])) is None


@pytest.mark.parametrize(
    "token", ["", "th", "th_", "th__x", "th_a_b", "th_%_x", "é_ü_ß", "th_\0_x"]
)
def test_garbage_is_unknown(database, token):
    assert verify(database, token) is None


def test_a_key_ends_at_its_expiry(database, made):
    assert verify(database, made[1], NOW + MINUTE - 1) is not None
    assert verify(database, made[1], NOW + MINUTE) is None


def test_a_revoked_key_is_unknown_at_once_and_for_good(database, made):
    record, token = made
    with database.write() as session:
        first = keys.revoke(session, record.public_id, NOW + 1)
    with database.write() as session:
        assert keys.revoke(session, record.public_id, NOW + 5) == first
    assert verify(database, token) is None


def test_revoking_a_key_that_is_not_there_is_not_found(database):
    with database.write() as session, pytest.raises(NotFound):
        keys.revoke(session, "none", NOW)


@pytest.mark.parametrize(
    ("scopes", "expires", "where"),
    [([], None, "/scopes"), (["write"], None, "/scopes"), (["read"], NOW, "/expires")],
)
def test_a_key_without_scope_or_future_is_refused(database, scopes, expires, where):
    with database.write() as session, pytest.raises(InvalidRecord) as refused:
        keys.create_key(session, "bench", scopes, None, expires, now=NOW)
    assert refused.value.issues[0].pointer == where


def test_admin_holds_every_scope_and_the_others_only_themselves(database, made):
    with database.write() as session:
        admin, _ = keys.create_key(session, "boss", ["admin"], now=NOW)
    assert all(admin.allows(scope) for scope in keys.SCOPES)
    assert [scope for scope in keys.SCOPES if made[0].allows(scope)] == ["read"]


def test_two_keys_of_one_customer_share_its_record(database, made):
    with database.write() as session:
        keys.create_key(session, "other", ["read"], "Lift Co", now=NOW)
        found, _ = keys.list_keys(session)
    assert [key.customer for key in found] == ["Lift Co", "Lift Co"]


def test_the_last_use_is_noted_at_most_once_a_minute(database, made):
    record, token = made
    keys.note_use(database, record, NOW)
    keys.note_use(database, record, NOW + MINUTE - 1)
    assert verify(database, token).last_used_us == NOW
    keys.note_use(database, record, NOW + MINUTE)
    with database.read() as session:
        assert keys.get_key(session, record.public_id).last_used_us == NOW + MINUTE


def test_noting_a_use_never_waits_for_another_writer(database, made):
    if not database.is_sqlite:
        pytest.skip("PostgreSQL locks rows, not the database")
    with database.write() as session:
        session.flush()
        session.connection()
        started = time.monotonic()
        assert keys.note_use(database, made[0], NOW) is False
        assert time.monotonic() - started < 5
    assert keys.note_use(database, made[0], NOW) is True
    with database.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == 30_000


@pytest.mark.parametrize(
    ("text", "microseconds"),
    [(None, None), ("1970-01-02", 86_400_000_000), ("1970-01-01T01:00:00.5+01:00", 500_000)],
)
def test_an_expiry_is_an_instant_or_the_start_of_a_day(text, microseconds):
    assert keys.expiry_of(text) == microseconds


def test_an_expiry_without_zone_is_refused():
    with pytest.raises(InvalidRecord):
        keys.expiry_of("2030-01-01T00:00:00")


def test_a_hash_is_compared_in_constant_time_for_a_key_that_nobody_has_too(
    database, made, monkeypatch
):
    compared = []
    compare = hmac.compare_digest
    monkeypatch.setattr(
        hmac, "compare_digest", lambda a, b: compared.append((a, b)) or compare(a, b)
    )
    record, token = made
    other = keys.PREFIX + "_" + "0" * 16 + "_" + token.split("_", 2)[2]
    for sent in (token, token[:-1] + "x", other):
        verify(database, sent)
    # As much is compared in each case: two hashes of 64 hexadecimal digits.
    assert [(len(a), len(b)) for a, b in compared] == [(64, 64)] * 3
    assert verify(database, token) == record
    assert verify(database, other) is None


def test_a_rotation_keeps_the_person_and_ends_no_later_than_before(database):
    with database.write() as session:
        session.add(Person(code="P-1", name="Ada Quill", recorded_us=NOW))
        session.flush()
        old, token = keys.create_key(
            session, "bench", ["read"], None, NOW + MINUTE, person="P-1", now=NOW
        )
    with database.write() as session:
        replaced, made, _ = keys.rotate(session, old.public_id, keys.HOUR_US, now=NOW)
    assert replaced.expires_us == NOW + MINUTE
    assert (made.person, made.expires_us) == ("Ada Quill", NOW + MINUTE)
    assert verify(database, token, NOW + MINUTE - 1) is not None
    assert verify(database, token, NOW + MINUTE) is None
