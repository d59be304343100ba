"""Specifications over HTTP."""

from __future__ import annotations

import pytest

TERMS = {
    "terms": [
        {"kind": "percent_of_reading", "value": "0.50"},
        {"kind": "digits_of_resolution", "value": "2"},
    ],
    "combine": "rss",
}
GAUGE = {
    "id": "ours/7",
    "title": "Force gauges",
    "edition": "2020",
    "source": "from memory, verify",
    "unit": "kN",
    "tolerance": TERMS,
    "resolution": "0.010",
    "note": "compression only",
}


def test_a_specification_keeps_its_digits_edition_and_source(client):
    made = client.post("/v1/specifications", json=GAUGE)
    assert made.status_code == 201
    assert made.get_json() == {**GAUGE, "version": 1}
    shown = client.get(made.headers["Location"]).get_json()
    assert shown == {**GAUGE, "version": 1, "versions": [1]}


def test_other_content_is_the_next_version_and_the_same_content_is_not(client):
    client.post("/v1/specifications", json=GAUGE)
    again = client.post("/v1/specifications", json=GAUGE)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    changed = client.post("/v1/specifications", json={**GAUGE, "edition": "2024"})
    assert (changed.status_code, changed.get_json()["version"]) == (201, 2)
    old = client.get("/v1/specifications/ours/7?version=1").get_json()
    assert (old["edition"], old["versions"]) == ("2020", [1, 2])
    (listed,) = client.get("/v1/specifications").get_json()["items"]
    assert (listed["version"], listed["edition"]) == (2, "2024")


@pytest.mark.parametrize("tolerance", ["0.10", {"lower": "-0.1", "upper": "0.20"}, {"upper": "1"}])
def test_a_tolerance_may_be_a_number_or_a_pair(client, tolerance):
    made = client.post("/v1/specifications", json={**GAUGE, "tolerance": tolerance})
    assert made.get_json()["tolerance"] == tolerance


def test_percentages_alone_need_no_unit(client):
    tolerance = {"terms": [{"kind": "percent_of_nominal", "value": "1"}]}
    made = client.post("/v1/specifications", json={"id": "P", "tolerance": tolerance})
    assert made.status_code == 201


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"unit": None}, "/unit"),
        ({"unit": "kg"}, "/unit"),
        ({"tolerance": {"lower": "1", "upper": "-1"}}, "/tolerance/lower"),
        ({"tolerance": {"terms": []}}, "/tolerance/terms"),
        ({"tolerance": {"terms": [{"kind": "percent", "value": "1"}]}}, "/tolerance/terms/0/kind"),
        ({"tolerance": {"middle": "1"}}, "/tolerance/middle"),
        ({"tolerance": {}}, "/tolerance"),
        ({"tolerance": "-1"}, "/tolerance"),
        ({"tolerance": None}, "/tolerance"),
        ({"id": "0.5"}, "/id"),
        ({"full_scale": "0"}, "/full_scale"),
    ],
)
def test_a_specification_that_judges_nothing_is_refused(client, changes, pointer):
    sent = {name: part for name, part in {**GAUGE, **changes}.items() if part is not None}
    answer = client.post("/v1/specifications", json=sent)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_an_unknown_specification_is_not_found(client):
    assert client.get("/v1/specifications/none").status_code == 404
    client.post("/v1/specifications", json=GAUGE)
    assert "ours/7" in client.get("/v1/specifications/none").get_json()["detail"]
