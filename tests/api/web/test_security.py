"""What a request may not hold, and headers for browsers."""

from __future__ import annotations

import pytest


def test_an_answer_is_neither_sniffed_nor_stored(client):
    headers = client.get("/v1/keys").headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"


def test_a_page_may_load_only_from_this_server_and_run_nothing_inline(client):
    policy = client.get("/v1/docs").headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe-inline" not in policy
    assert "http" not in policy


@pytest.mark.parametrize("address", ["/v1/keys/a%00b", "/%00", "/v1/keys?cursor=%00"])
def test_a_nul_in_an_address_is_refused_before_it_reaches_the_database(client, address):
    answer = client.get(address)
    assert answer.status_code == 400
    assert answer.mimetype == "application/problem+json"


def test_a_number_in_an_address_that_no_key_can_have_is_not_found(app, client):
    @app.get("/number/<int:key>")
    def number(key):
        return {"key": key}

    assert client.get(f"/number/{2**63 - 1}").get_json() == {"key": 2**63 - 1}
    assert client.get(f"/number/{2**63}").status_code == 404
