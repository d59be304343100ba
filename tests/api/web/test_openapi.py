"""When the OpenAPI document is written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from api.web.openapi import Api


@pytest.fixture
def app(own_app):
    """Application whose document nobody has asked for."""
    return own_app


def test_it_is_written_when_it_is_first_asked_for(app, client):
    api: Api = app.extensions["tracehold.openapi"]
    assert api.spec.to_dict()["paths"] == {}
    served = client.get("/v1/openapi.json").get_json()
    assert {"/v1/items", "/metrics"} <= served["paths"].keys()
    assert served == api.document()


def test_several_who_ask_first_at_once_get_the_whole(app):
    api: Api = app.extensions["tracehold.openapi"]
    with ThreadPoolExecutor(8) as pool:
        written = list(pool.map(lambda _: api.document(), range(8)))
    assert {"/v1/items", "/metrics"} <= written[0]["paths"].keys()
    assert written == [written[0]] * 8
