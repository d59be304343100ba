"""The request id goes out, and comes in if it can be trusted in a log line."""

from __future__ import annotations

import pytest


def test_each_answer_has_a_fresh_id(client):
    first, second = (client.get("/healthz").headers["X-Request-Id"] for _ in range(2))
    assert len(first) == 32
    assert first != second


def test_an_id_that_was_sent_comes_back(client):
    answer = client.get("/healthz", headers={"X-Request-Id": "job-12.a_b"})
    assert answer.headers["X-Request-Id"] == "job-12.a_b"


@pytest.mark.parametrize("sent", ["", "a b", "x" * 65, "a/b", "é"])
def test_an_id_that_could_forge_a_log_line_is_replaced(client, sent):
    answer = client.get("/healthz", headers={"X-Request-Id": sent})
    assert answer.headers["X-Request-Id"] != sent
    assert len(answer.headers["X-Request-Id"]) == 32
