"""Intermediate checks over HTTP."""

from __future__ import annotations

import json

import pytest

SENT = {
    "id": "K/1",
    "item": "REF",
    "at": "2025-03-10T11:30:00-05:00",
    "kind": "comparison",
    "result": "pass",
    "acceptance_limit_rel": "0.00030",
    "U_rel": "0.00010",
    "independent": True,
    "against": "OTHER",
    "covers": ["50 kN", "100 kN"],
    "wear_pct": "1.20",
    "limit_pct": "10.0",
    "note": "stable",
    "title": "a",
    "meaning": "b",
    "amendment": "c",
}


@pytest.fixture
def bench(client):
    """A client of a laboratory with two reference standards."""
    items = [{"id": code, "kind": "reference_standard"} for code in ("REF", "OTHER")]
    client.post("/v1/imports", json={"items": items})
    return client


def test_a_check_comes_back_exactly_as_it_was_sent(bench):
    made = bench.post("/v1/checks", json=SENT)
    assert made.status_code == 201
    assert made.headers["Location"] == "/v1/checks/K%2F1"
    assert bench.get(made.headers["Location"]).get_json() == SENT


def test_the_same_check_again_is_unchanged_and_another_is_a_conflict(bench):
    bench.post("/v1/checks", json=SENT)
    assert bench.post("/v1/checks", json=SENT).status_code == 200
    assert bench.post("/v1/checks", json=SENT | {"result": "fail"}).status_code == 409


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ('"full range"', "full range"),
        ('["5 tf", "50 kN"]', ["5 tf", "50 kN"]),
        ('[50, "60.0"]', ["50 kN", "60.0 kN"]),
        ("[1e2]", ["100 kN"]),
        ('{"points": [1, 2.50], "unit": "klbf"}', ["1 klbf", "2.50 klbf"]),
    ],
)
def test_the_range_covered_is_kept_with_its_unit(bench, sent, kept):
    body = json.dumps(SENT | {"covers": "X"}).replace('"X"', sent)
    answer = bench.post("/v1/checks", data=body, content_type="application/json")
    assert answer.status_code == 201
    assert answer.get_json()["covers"] == kept


@pytest.mark.parametrize("sent", ["everything", [], ["5 stone"], [True], {"points": [1]}, 5])
def test_a_range_that_cannot_be_read_is_refused(bench, sent):
    answer = bench.post("/v1/checks", json=SENT | {"covers": sent})
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == "/covers"


def test_checks_are_listed_by_item_in_pages(bench):
    for number in range(3):
        bench.post("/v1/checks", json=SENT | {"id": f"K-{number}"})
    bench.post("/v1/checks", json=SENT | {"id": "K-9", "item": "OTHER"})
    page = bench.get("/v1/checks?item=REF&limit=2").get_json()
    assert [one["id"] for one in page["items"]] == ["K-0", "K-1"]
    assert [one["id"] for one in bench.get(page["next"]).get_json()["items"]] == ["K-2"]


def test_an_unknown_check_is_not_found(bench):
    assert bench.get("/v1/checks/GHOST").status_code == 404
