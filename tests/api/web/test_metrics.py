"""Counters count what happened, under labels whose number does not grow with use."""

from __future__ import annotations

import re

import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from api.app import create_app
from api.settings import Settings
from api.store.database import Database
from api.version import VERSION

DECISION = {
    **{"value": "10.8", "U": "0.2", "unit": "kN", "rule": "guard_U"},
    "limits": {"lower": "9", "upper": "11"},
}
GOOD, BAD = b"value,U,upper\n1,0.1,2\n", b"value,U,upper\n3,0.1,2\n"


def samples(client):
    """Every sample by its name and labels, as Prometheus reads them."""
    found = {}
    for family in text_string_to_metric_families(client.get("/metrics").text):
        for one in family.samples:
            found[one.name, *(f"{name}={v}" for name, v in sorted(one.labels.items()))] = one.value
    return found


def of(found, name):
    """Samples of one name by their labels."""
    return {
        labels: value
        for (one, *labels_), value in found.items()
        if one == name
        for labels in [tuple(labels_)]
    }


def test_requests_are_counted_by_template_method_and_status(client):
    for item in ("A", "B", "C"):
        client.get(f"/v1/items/{item}")
    client.get("/no/such/address")
    client.get("/v1/items")
    found = of(samples(client), "tracehold_requests_total")
    by_status = {labels[2]: value for labels, value in found.items() if "items/<" in labels[1]}
    assert by_status == {"status=404": 3}
    assert found["method=GET", "route=unmatched", "status=404"] == 1
    assert found["method=GET", "route=/v1/items", "status=200"] == 1


def test_labels_do_not_grow_with_guessed_addresses_and_methods(client):
    client.get("/guess/0")
    client.open("/v1/items", method="M0")
    before = len(samples(client))
    for n in range(1, 30):
        client.get(f"/guess/{n}")
        client.get(f"/v1/certificates/{n}")
        client.open("/v1/items", method=f"M{n}")
    client.get("/metrics")
    new = [key for key in samples(client) if "guess" in str(key) or "=M" in str(key)]
    assert new == []
    # One template of certificates and /metrics itself were added, each with its buckets.
    assert len(samples(client)) - before < 60


def test_the_time_of_requests_is_a_histogram(client):
    client.get("/v1/items")
    found = samples(client)
    labels = ("method=GET", "route=/v1/items")
    assert found[("tracehold_request_duration_seconds_count", *labels)] == 1
    assert 0 < found[("tracehold_request_duration_seconds_sum", *labels)] < 60
    assert found[("tracehold_request_duration_seconds_bucket", "le=+Inf", *labels)] == 1


def test_decisions_are_counted_by_kind_and_verdict(client):
    for body in (DECISION, DECISION, DECISION | {"value": "12"}, DECISION | {"store": False}):
        assert client.post("/v1/decisions", json=body).status_code in (200, 201)
    for body in (GOOD, BAD + b"x,0.1,2\n"):
        sent = client.post("/v1/batches?rule=simple", data=body, content_type="text/csv")
        assert sent.status_code == 200
    found = of(samples(client), "tracehold_decisions_total")
    assert found == {
        ("kind=stored", "verdict=pass"): 2,
        ("kind=stored", "verdict=fail"): 1,
        ("kind=unstored", "verdict=pass"): 1,
        ("kind=batch", "verdict=pass"): 1,
        ("kind=batch", "verdict=fail"): 1,
    }


def test_a_stored_decision_is_seen_in_the_sizes_of_group_commits(client):
    for _ in range(3):
        client.post("/v1/decisions", json=DECISION)
    found = samples(client)
    assert found[("tracehold_group_commit_size_sum",)] == 3
    assert found[("tracehold_group_commit_size_bucket", "le=1.0")] == 3


def test_the_journals_position_is_that_of_the_database(client):
    client.post("/v1/items", json={"id": "A", "kind": "adapter"})
    head = client.get("/v1/journal/head").json["position"]
    assert head >= 1
    assert samples(client)[("tracehold_journal_position",)] == head


def test_the_build_is_told(client):
    (labels,) = of(samples(client), "tracehold_build_info")
    assert f"version={VERSION}" in labels


def test_errors_of_the_database_are_counted_by_their_class(client, database):
    with pytest.raises(DBAPIError) as raised, database.read() as session:
        session.execute(text("SELECT * FROM no_such_table"))
    found = of(samples(client), "tracehold_database_errors_total")
    assert found == {(f"error={type(raised.value).__name__}",): 1}


def test_metrics_are_read_while_the_database_is_away(tmp_path):
    lost = Database(f"sqlite:///{tmp_path / 'no such folder' / 'lost.db'}")
    found = samples(create_app(Settings(), lost).test_client())
    assert found[("tracehold_database_up",)] == 0
    assert ("tracehold_journal_position",) not in found
    assert ("tracehold_database_errors_total", "error=OperationalError") in found


def test_each_application_counts_for_itself(database, client):
    client.get("/v1/items")
    other = create_app(Settings(), database).test_client()
    assert of(samples(other), "tracehold_requests_total") == {}


def test_the_form_is_the_one_asked_for(client):
    plain = client.get("/metrics")
    assert plain.content_type.startswith("text/plain; version=")
    accept = {"Accept": "application/openmetrics-text; version=1.0.0"}
    asked = client.get("/metrics", headers=accept)
    assert asked.content_type.startswith("application/openmetrics-text")
    assert asked.text.endswith("# EOF\n")


def test_every_metric_is_explained(client):
    written = client.get("/metrics").text
    named = set(re.findall(r"^# TYPE (\S+)", written, re.MULTILINE))
    explained = set(re.findall(r"^# HELP (\S+) \S", written, re.MULTILINE))
    assert {name for name in named if name.startswith("tracehold_")} <= explained
