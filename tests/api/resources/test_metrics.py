"""Who may read the counters; what they count is tested with `api.web.metrics`."""

from __future__ import annotations

import pytest

from api.app import create_app
from api.settings import Settings


@pytest.fixture
def asked(database):
    """Ask for the metrics of a server with some settings, as from an address."""

    def ask(address="127.0.0.1", headers=None, **settings):
        client = create_app(Settings(**settings), database).test_client()
        origin = {"REMOTE_ADDR": address}
        return client.get("/metrics", headers=headers, environ_overrides=origin)

    return ask


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.8.8", "::1"])
def test_a_caller_on_this_machine_needs_no_key(asked, address):
    answer = asked(address)
    assert answer.status_code == 200
    assert "tracehold_build_info" in answer.text


@pytest.mark.parametrize("address", ["192.0.2.7", "2001:db8::1", "", "unix"])
def test_others_need_one(asked, address):
    assert asked(address).status_code == 401


@pytest.mark.parametrize(
    "header", ["X-Forwarded-For", "Forwarded", "Via", "X-Real-Ip", "x-forwarded-for"]
)
def test_what_a_proxy_passed_on_is_not_of_this_machine(asked, header):
    assert asked(headers={header: "127.0.0.1"}).status_code == 401
    assert asked(headers={header: "127.0.0.1"}, trusted_proxies="1").status_code == 401


def test_where_nobody_is_trusted_a_caller_on_this_machine_needs_a_key_too(asked, keys):
    assert asked(metrics="nobody").status_code == 401
    assert asked(metrics="nobody", headers=keys.headers("read")).status_code == 200


def test_the_key_has_the_scope_read_and_is_the_laboratorys_own(asked, keys):
    far = "192.0.2.7"
    assert asked(far, keys.headers("read")).status_code == 200
    assert asked(far, keys.headers("record")).status_code == 403
    assert asked(far, keys.headers("read", customer="Lift Co")).status_code == 403


def test_recalls_and_the_certificates_on_their_lists_are_counted(recalled_now):
    client = recalled_now.client
    fault = recalled_now.recall["faults"][0]
    assert client.post("/v1/recalls", json={"fault": fault, "preview": True}).status_code == 200
    written = client.get("/metrics").text
    assert 'tracehold_recalls_total{kind="stored"} 1.0' in written
    assert 'tracehold_recalls_total{kind="preview"} 1.0' in written
    # C-1 to C-3 are affected, C-4 has no results.
    assert 'tracehold_certificates_recalled_total{list="affected"} 3.0' in written
    assert 'tracehold_certificates_recalled_total{list="indeterminate"} 1.0' in written
