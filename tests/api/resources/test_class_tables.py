"""Class tables over HTTP."""

from __future__ import annotations

import pytest

TABLE = {
    "id": "ours/376",
    "title": "Force-proving instruments",
    "edition": "2011",
    "source": "our copy of the standard, checked by two persons",
    "classes": ["1", "2"],
    "criteria": [
        {"criterion": "repeatability", "at_most": ["0.10", "0.20"]},
        {"criterion": "resolution_ratio", "at_least": ["1000", "500"]},
    ],
    "cases": {"short": ["repeatability"]},
    "lowest_share_pct": "2.0",
    "lower_limits": {
        "factor": "2.40",
        "minimum_series": 3,
        "classes": [{"name": "A", "multiple": "400"}],
    },
    "note": "for the small machine",
}


def test_a_table_keeps_its_digits_edition_and_source(client):
    made = client.post("/v1/class-tables", json=TABLE)
    assert made.status_code == 201
    assert made.get_json() == {**TABLE, "version": 1, "shipped": False}
    shown = client.get(made.headers["Location"]).get_json()
    assert shown == {**TABLE, "version": 1, "shipped": False, "versions": [1]}


def test_other_content_is_the_next_version_and_the_same_content_is_not(client):
    client.post("/v1/class-tables", json=TABLE)
    again = client.post("/v1/class-tables", json=TABLE)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    changed = client.post("/v1/class-tables", json={**TABLE, "edition": "2024"})
    assert (changed.status_code, changed.get_json()["version"]) == (201, 2)
    old = client.get("/v1/class-tables/ours/376?version=1").get_json()
    assert (old["edition"], old["versions"]) == ("2011", [1, 2])


def test_the_tables_that_come_along_are_listed_as_from_memory(client):
    client.post("/v1/class-tables", json=TABLE)
    listed = client.get("/v1/class-tables").get_json()["items"]
    assert [(one["id"], one["shipped"]) for one in listed] == [
        ("astm_e4", True),
        ("astm_e74", True),
        ("iso_376_2011", True),
        ("iso_7500_1_2018", True),
        ("ours/376", False),
    ]
    assert {one["source"] for one in listed[:4]} == {"from memory, verify"}
    first = client.get("/v1/class-tables?limit=1").get_json()
    assert [one["id"] for one in first["items"]] == ["astm_e4"]
    assert client.get(first["next"]).get_json()["items"][0]["id"] == "astm_e74"


def test_a_table_that_comes_along_cannot_be_redefined(client):
    answer = client.post("/v1/class-tables", json={**TABLE, "id": "astm_e74"})
    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["pointer"] == "/id"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"source": None}, "/source"),
        ({"criteria": None, "cases": None, "lower_limits": None}, ""),
        ({"classes": ["1"]}, "/criteria/0/at_most"),
        ({"criteria": [{"criterion": "beauty", "at_most": ["1", "2"]}]}, "/criteria/0/criterion"),
        ({"cases": {"short": ["creep"]}}, "/cases/short"),
        ({"lower_limits": {"factor": "0", "classes": []}}, "/lower_limits/factor"),
    ],
)
def test_a_table_that_judges_nothing_is_refused(client, changes, pointer):
    sent = {name: part for name, part in {**TABLE, **changes}.items() if part is not None}
    answer = client.post("/v1/class-tables", json=sent)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_an_unknown_table_or_version_is_not_found(client):
    answer = client.get("/v1/class-tables/none")
    assert answer.status_code == 404
    assert "iso_376_2011" in answer.get_json()["detail"]
    assert client.get("/v1/class-tables/astm_e74?version=1").status_code == 404


def test_recording_a_table_needs_the_scope_admin(client, keys):
    answer = client.post("/v1/class-tables", json=TABLE, headers=keys.headers("record", "decide"))
    assert answer.status_code == 403
