"""Alerts over HTTP: listed through filters, page by page, for the laboratory alone."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref

from tests.api.services.alerts.alert_laboratory import Laboratory, check


@pytest.fixture
def laboratory(client):
    return Laboratory(client)


def test_the_list_is_filtered_and_paged(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "03-10", [ref("STD")]),
        checks=[check("K-1"), check("K-2", item="REF", at="2025-02-12")],
        kinds={"REF": "working_standard"},
    )
    assert len(laboratory.alerts(item="STD")) == 2
    assert laboratory.alerts(item="nobody") == []
    assert [one["says"] for one in laboratory.alerts(failed_before="2025-02-11")] == [
        "STD failed check K-1"
    ]
    assert laboratory.alerts(since="2100-01-01") == []
    assert len(laboratory.alerts(since="2025-01-01")) == 3
    page = laboratory.read("alerts?limit=2")
    after = laboratory.read(page["next"].removeprefix("/v1/"))
    assert [one["id"] for one in (*page["items"], *after["items"])] == [1, 2, 3]
    laboratory.read("alerts?state=closed", 422)


def test_a_key_of_a_customer_sees_no_alert(laboratory, keys):
    laboratory.brings(
        cal("C-1", "I-1", "02-05", [ref("STD")], customer="Harbour"), checks=[check("K-1")]
    )
    theirs = keys.headers("read", customer="Harbour")
    assert laboratory.client.get("/v1/alerts", headers=theirs).status_code == 403
    events = laboratory.client.get("/v1/changes", headers=theirs).get_json()["items"]
    assert {one["event"] for one in events} == {"certificate.recorded"}


def test_a_webhook_can_ask_for_alerts(laboratory):
    sent = {"url": "https://lims.example/hook", "events": ["alert.raised"]}
    assert laboratory.send("webhooks", sent)["events"] == ["alert.raised"]
