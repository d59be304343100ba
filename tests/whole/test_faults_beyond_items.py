"""Faults of a certificate and of a method, gaps in the records, and what to look at first.

All numbers are worked out by hand beside the check.
"""

from __future__ import annotations

from typing import Any

import pytest
from oracle_cases import OPEN, cal, lab, ref, row

CONSTANT = {"kind": "true_force_relative_error", "delta_rel": "-0.0005"}


def names(answer: dict[str, Any], list_name: str) -> list[str]:
    return [entry["certificate"] for entry in answer[list_name]]


@pytest.fixture
def ask(client):
    """Import a laboratory and report a fault on it."""

    def asked(laboratory: dict[str, Any], **fault: Any) -> dict[str, Any]:
        imported = client.post("/v1/imports", json=laboratory)
        assert imported.status_code == 201, imported.get_json()
        answered = client.post("/v1/recalls", json={"fault": fault})
        assert answered.status_code == 201, answered.get_json()
        return answered.get_json()

    return asked


def test_a_wrong_certificate_reaches_exactly_those_who_took_its_value(ask):
    laboratory = lab(
        cal("W-1", "WS", "01-10", [ref("REF")]),
        cal("C-1", "A", "02-01", [ref("WS")], [row("10", "0.003")]),
        cal("W-2", "WS", "03-01", [ref("REF")]),
        cal("C-2", "B", "04-01", [ref("WS")]),
        cal("C-3", "D", "05-01", [ref("A", "0.5")], [row("10", "0")]),
    )
    answer = ask(laboratory, certificate="W-1", **CONSTANT)
    assert names(answer, "affected") == ["C-1", "C-3"]
    first, second = answer["affected"]
    assert first["reason_paths"] == [["W-1", "WS", "C-1"]]
    # 0.003 + 0.0005 x 10 = 0.008; the share of 0.5 passes half on: 0 + 0.00025 x 10 = 0.0025
    assert first["points"][0]["corrected_error"] == "0.008"
    assert second["reason_paths"] == [["W-1", "WS", "C-1", "A", "C-3"]]
    assert second["points"][0]["shift"] == "0.0025"
    assert answer["window"]["start"] is answer["window"]["end"] is None


def test_a_certificate_that_nobody_recorded_cannot_be_at_fault(client):
    answered = client.post("/v1/recalls", json={"fault": {"certificate": "X-9", **CONSTANT}})
    assert answered.status_code == 422
    assert answered.get_json()["errors"][0]["pointer"] == "/fault/certificate"


def test_a_wrong_method_reaches_every_calibration_that_recorded_it(ask):
    laboratory = lab(
        cal("C-1", "A", "02-01", [ref("REF")], [row("10", "0")], method="MP-12 v3"),
        cal("C-2", "B", "02-02", [ref("REF")], method="MP-12 v4"),
        cal("C-3", "D", "03-01", [ref("A")], [row("20", "0")]),
    )
    answer = ask(laboratory, method="MP-12 v3", **CONSTANT)
    assert [entry["reason_paths"] for entry in answer["affected"]] == [
        [["method:MP-12 v3", "C-1"]],
        [["method:MP-12 v3", "C-1", "A", "C-3"]],
    ]
    # 0.0005 x 10 and 0.0005 x 20
    assert [entry["points"][0]["shift"] for entry in answer["affected"]] == ["0.005", "0.01"]


@pytest.mark.parametrize("extra", [{"certificate": "W-1"}, {"method": "M"}])
def test_a_fault_names_one_thing(client, extra):
    sent = {"fault": {"item": "REF", **OPEN, **CONSTANT, **extra}}
    assert client.post("/v1/recalls", json=sent).status_code == 422


def test_a_gap_in_the_records_hides_nothing(ask):
    adapter = {"item": "ADP", "role": "adapter"}
    laboratory = lab(
        cal("C-1", "A", "02-01", [ref("REF"), adapter]),
        cal("C-2", "B", "02-02", [ref("REF"), adapter | {"item": "OTHER"}]),
        cal("C-3", "D", "02-03", [ref("REF")]),
        cal("C-4", "E", "02-04", [ref("REF")], status="draft"),
        cal("C-5", "F", "02-05", [], external=True, issuer="Institute"),
        cal("C-6", "G", "12-30", [ref("REF")]),
    )
    window = {"last_good_at": "2025-01-01T00:00:00Z", "isolated_at": "2025-06-01T00:00:00Z"}
    answer = ask(laboratory, item="ADP", kind="unknown", **window)
    assert names(answer, "indeterminate") == ["C-1"]
    # C-2 names another adapter; a draft, another laboratory's certificate and one after the window
    # are no gap of this fault.
    assert names(answer, "cannot_be_excluded") == ["C-3"]
    assert "adapter" in answer["cannot_be_excluded"][0]["detail"]
    assert answer["summary"]["cannot_be_excluded"] == 1


def test_the_lists_can_be_sorted_filtered_and_totalled(ask, client):
    laboratory = lab(
        # shift 0.005 at 10 kN: 0.004 + 0.005 = 0.009, against 0.01 - 0.002 = 0.008: fails
        cal("C-1", "A", "02-01", [ref("REF")], [row("10", "0.004")], customer="Alder"),
        cal(
            "C-2", "B", "02-02", [ref("REF")], [row("20", "0", tolerance="0.02")], customer="Birch"
        ),
        cal("C-3", "A", "02-03", [ref("REF")], [row("5", "0")], customer="Alder"),
    )
    answer = ask(laboratory, item="REF", **OPEN, **CONSTANT)
    base = f"/v1/recalls/{answer['id']}"

    def listed(query: str) -> list[str]:
        got = client.get(f"{base}/affected?{query}")
        assert got.status_code == 200, got.get_json()
        return [entry["certificate"] for entry in got.get_json()["items"]]

    assert listed("") == ["C-1", "C-2", "C-3"]
    assert listed("sort=changed")[0] == "C-1"
    # |shift|/U: 0.005/0.002, 0.01/0.002 and 0.0025/0.002
    assert listed("sort=shift_over_U") == ["C-2", "C-1", "C-3"]
    assert listed("customer=Alder") == ["C-1", "C-3"]
    assert listed("item=B") == ["C-2"]
    assert listed("verdict_changes=true") == ["C-1"]
    assert listed("min_shift_over_U=2.5") == ["C-1", "C-2"]
    assert listed("generation=2") == []
    first = client.get(f"{base}/affected?sort=shift_over_U&limit=2").get_json()
    rest = client.get(first["next"]).get_json()
    assert [entry["certificate"] for entry in rest["items"]] == ["C-3"]
    totals = client.get(f"{base}/totals").get_json()["affected"]
    assert totals["by_customer"][0] == {"of": "Alder", "certificates": 2, "verdict_changes": 1}
    assert client.get(f"{base}/affected?sort=colour").status_code == 422
