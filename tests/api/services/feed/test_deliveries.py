"""Deliveries to webhooks: signed, in order, claimed by one, and given up after many attempts.

The server at the other end is in tests/api/resources/test_webhooks.py; here it is a function.
"""

from __future__ import annotations

import hashlib
import json

import pytest

from api.services.feed import changes, webhooks
from api.services.feed.deliveries import MOST_ATTEMPTS, deliver, signature, wait_us
from api.store.casework import Change, Webhook, WebhookDelivery

SECOND = 1_000_000
START = 2_000_000_000 * SECOND


def test_the_signature_is_hmac_sha256_over_seconds_stop_and_body():
    # RFC 2104, 2: H(K xor opad, H(K xor ipad, text)), with K filled up to the block of 64 bytes.
    secret, body = "whsec_abc", b'{"a":1}'
    key = secret.encode().ljust(64, b"\0")
    inner = hashlib.sha256(bytes(k ^ 0x36 for k in key) + b"1750000000." + body).digest()
    outer = hashlib.sha256(bytes(k ^ 0x5C for k in key) + inner).hexdigest()
    assert signature(secret, 1_750_000_000, body) == f"t=1750000000,v1={outer}"


def test_each_wait_is_twice_the_one_before_up_to_six_hours():
    # 30 s x 2^9 = 15360 s; x 2^10 would be 30720 s, more than 21600 s.
    assert [wait_us(n) // SECOND for n in (1, 2, 9, 10, 11, MOST_ATTEMPTS)] == [
        *(30, 60, 7680, 15360),
        *(21600, 21600),
    ]


@pytest.fixture
def hooks(database):
    """Two webhooks that are told of everything, and one that is told of notices."""
    with database.write() as session:
        every = list(changes.EVENTS)
        for url, events in (("/a", every), ("/b", every), ("/n", ["notice.created"])):
            request = {"url": f"https://hooks.example.org{url}", "events": events}
            webhooks.create(session, request, START, to_private=False)


def happen(database, *details):
    with database.write() as session:
        for detail in details:
            changes.note(session, "case.changed", START, detail=detail)


class Wire:
    """Takes what is sent, at an instant in seconds after the start; accepts unless told not to."""

    def __init__(self, database):
        self.database, self.sent, self.refused = database, [], set()

    def send(self, claimed, now_us):
        told = [one["state"] for one in json.loads(claimed.body)["changes"]]
        self.sent.append((claimed.url[-2:], told))
        return claimed.url[-2:] not in self.refused, "HTTP 200"

    def run(self, seconds=0):
        self.sent = []
        outcomes = list(deliver(self.database, lambda: START + seconds * SECOND, self.send))
        assert len(outcomes) == len(self.sent)
        return self.sent


@pytest.fixture
def wire(database, hooks):
    return Wire(database)


def test_each_webhook_gets_what_happened_once_and_only_its_events(database, wire):
    happen(database, "assessed", "notified")
    assert wire.run() == [("/a", ["assessed", "notified"]), ("/b", ["assessed", "notified"])]
    assert wire.run(3600) == []
    with database.read() as session:
        last = session.query(Change.id).order_by(Change.id.desc()).limit(1).scalar()
        # One that was told of nothing has passed over it all the same.
        assert {one.cursor for one in session.query(Webhook)} == {last}


def test_one_that_refuses_holds_up_no_other_and_gets_the_same_again_first(database, wire):
    wire.refused = {"/a"}
    happen(database, "assessed")
    assert wire.run() == [("/a", ["assessed"]), ("/b", ["assessed"])]
    happen(database, "notified")
    assert wire.run(1) == [("/b", ["notified"])]
    wire.refused = set()
    assert wire.run(29) == []
    assert wire.run(30) == [("/a", ["assessed"]), ("/a", ["notified"])]


def test_what_a_process_claimed_and_never_sent_is_sent_after_a_minute(database, wire):
    happen(database, "assessed")

    def dies(claimed, now_us):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(deliver(database, lambda: START, dies))
    assert wire.run(59) == []
    assert wire.run(60) == [("/a", ["assessed"]), ("/b", ["assessed"])]


def test_a_webhook_is_suspended_at_the_last_attempt_and_every_outcome_is_kept(database, wire):
    wire.refused = {"/a"}
    happen(database, "assessed")
    with database.write() as session:
        session.query(Webhook).filter(Webhook.url.endswith("/b")).one().state = "paused"
    for attempt in range(MOST_ATTEMPTS + 2):
        wire.run(attempt * 21_600)
    with database.read() as session:
        assert [one.state for one in session.query(Webhook).order_by(Webhook.id)] == [
            *("suspended", "paused", "active")
        ]
        (delivery,) = session.query(WebhookDelivery)
        assert (delivery.state, delivery.attempts) == ("waiting", MOST_ATTEMPTS)
        assert len(delivery.outcomes) == MOST_ATTEMPTS
        assert delivery.outcomes[1] == {"at": "2033-05-18T09:33:20Z", "answer": "HTTP 200"}
