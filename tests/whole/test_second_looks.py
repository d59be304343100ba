"""A second look names the first and lists what it changes; two views can be compared; a failed
as-found calibration becomes a fault. Numbers are worked out by hand beside the check.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

CONSTANT = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"}
WIDE = {"last_good_at": "2025-01-01T00:00:00Z", "isolated_at": "2025-12-31T00:00:00Z"}
NARROW = {"last_good_at": "2025-02-15T00:00:00Z", "isolated_at": "2025-12-31T00:00:00Z"}
LABORATORY = lab(
    cal("C-1", "A", "02-01", [ref("REF")]),
    cal("C-2", "B", "03-01", [ref("REF")]),
)


@pytest.fixture
def filled(client):
    assert client.post("/v1/imports", json=LABORATORY).status_code == 201
    return client


def test_a_second_look_lists_the_differences_and_leaves_the_first_as_it_was(filled):
    first = filled.post("/v1/recalls", json={"fault": CONSTANT | NARROW}).get_json()
    request = {"fault": CONSTANT | WIDE, "previous": first["id"]}
    second = filled.post("/v1/recalls", json=request).get_json()
    assert second["previous"] == first["id"]
    found = second["differences"]
    # C-1 was cleared by the narrow window.
    assert found["moved"]["certificates"] == [
        {
            "certificate": "C-1",
            "revision": 0,
            "class": "affected",
            "from": "cleared",
            "to": "affected",
        }
    ]
    assert [found[name]["count"] for name in ("added", "removed", "changed")] == [0, 0, 0]
    again = filled.get(f"/v1/recalls/{first['id']}").get_json()
    assert again["result_hash"] == first["result_hash"]
    assert again["affected"] == first["affected"]


def test_two_effects_are_compared_and_nothing_is_stored(filled):
    request = {"first": CONSTANT | WIDE, "second": CONSTANT | WIDE | {"delta_rel": "-0.0006"}}
    answer = filled.post("/v1/recalls/comparisons", json=request)
    assert answer.status_code == 200
    assert answer.get_json()["differences"]["changed"]["count"] == 2
    assert answer.get_json()["first"]["summary"]["affected"] == 2
    assert filled.get("/v1/recalls").get_json()["items"] == []


def test_a_failed_as_found_calibration_becomes_a_fault(client):
    results = [
        row("10", "0.01", stage="as_found", U="0.002"),
        row("20", "-0.02", point=2, stage="as_found", U="0.002"),
        row("10", "0", stage="as_left"),
    ]
    laboratory = lab(
        cal("S-1", "STD", "01-10", []),
        cal("C-1", "A", "02-01", [ref("STD")], [row("10", "0")]),
        cal("S-2", "STD", "06-01", [], results),
    )
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    drafted = client.post("/v1/recalls/fault-drafts", json={"certificate": "S-2"})
    assert drafted.status_code == 200, drafted.get_json()
    fault = drafted.get_json()["fault"]
    # e = 0.001 at 10 kN: 1/1.001 - 1 = -0.000999000999...; e = -0.001 at 20 kN: 1/0.999 - 1
    assert fault["segments"] == [
        {"above_kN": "0", "up_to_kN": "15", "delta_rel": "-0.000999000999001"},
        {"above_kN": "15", "up_to_kN": None, "delta_rel": "0.001001001001"},
    ]
    assert fault["last_good_at"] == "2025-01-10T10:00:00Z"
    assert fault["isolated_at"] == "2025-06-01T10:00:00Z"
    # 0.002/10 is larger than 0.002/20
    assert fault["U_delta_rel"] == "0.0002"
    recalled = client.post("/v1/recalls", json={"fault": fault}).get_json()
    (entry,) = recalled["affected"]
    assert entry["certificate"] == "C-1"
    # -(-0.000999000999001) x 10
    assert entry["points"][0]["shift"] == "0.00999000999001"


def test_a_certificate_without_as_found_results_gives_no_fault(filled):
    answer = filled.post("/v1/recalls/fault-drafts", json={"certificate": "C-9"})
    assert answer.status_code == 404
