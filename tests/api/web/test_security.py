"""What a request may not hold, and headers for browsers."""

from __future__ import annotations

import gzip

import pytest
import requests


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


def test_a_number_in_an_address_that_no_key_can_have_is_not_found(own_app):
    @own_app.get("/number/<int:key>")
    def number(key):
        return {"key": key}

    client = own_app.test_client()
    assert client.get(f"/number/{2**63 - 1}").get_json() == {"key": 2**63 - 1}
    assert client.get(f"/number/{2**63}").status_code == 404


PATHS = [
    "/v1/items",
    "/v1/docs",
    "/healthz",
    "/v1/nothing",
    "/problems/conflict",
    "/v1/openapi.json",
]


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_keeps_browsers_from_misusing_it_and_sets_no_cookie(client, path):
    headers = client.get(path).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert "Set-Cookie" not in headers
    assert "Access-Control-Allow-Origin" not in headers


def test_strict_transport_is_asked_for_only_where_there_is_tls(client):
    plain = client.get("/healthz")
    secure = client.get("/healthz", base_url="https://tracehold.example")
    assert "Strict-Transport-Security" not in plain.headers
    assert secure.headers["Strict-Transport-Security"] == "max-age=31536000"


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "zstd", "gzip, gzip"])
@pytest.mark.parametrize("path", ["/v1/items", "/v1/imports", "/v1/batches"])
def test_a_packed_body_is_refused_and_never_unpacked(client, path, coding):
    bomb = gzip.compress(bytes(50_000_000))
    headers = {"Content-Encoding": coding, "Content-Type": "application/json"}
    answer = client.post(path, data=bomb, headers=headers)
    assert answer.status_code == 415
    assert answer.headers["Accept-Encoding"] == "identity"
    assert answer.mimetype == "application/problem+json"


def test_a_body_is_bounded_by_what_its_address_is_for(app, client):
    app.config.update(MAX_RECORD_BYTES=2_000, MAX_CONTENT_LENGTH=20_000)
    long = {"id": "REF-1", "kind": "reference_standard", "note": "x" * 1_990}
    refused = client.post("/v1/items", json=long)
    assert refused.status_code == 413
    assert refused.get_json()["type"] == "/problems/body-too-large"
    assert "2000 bytes" in refused.get_json()["detail"]
    assert client.post("/v1/imports", json={"items": [long]}).status_code == 201
    assert client.post("/v1/imports", data=" " * 20_001).status_code == 413
    # With Idempotency-Key the body is read before the view; the limit holds there too.
    headers = {"Idempotency-Key": "k-1"}
    assert client.post("/v1/items", json=long, headers=headers).status_code == 413


def test_a_body_without_a_length_is_bounded_too(app, server, keys):
    app.config.update(MAX_RECORD_BYTES=2_000)
    parts = iter([b'{"id": "', *[b"x" * 100] * 50, b'"}'])
    headers = keys.headers() | {"Content-Type": "application/json"}
    # requests sends what has no length in chunks.
    answer = requests.post(f"{server}/v1/items", data=parts, headers=headers, timeout=10)
    assert answer.status_code == 413
