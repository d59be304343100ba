"""Capabilities (CMC) over HTTP, and the results that they flag."""

from __future__ import annotations

import json

import pytest

TENSION = {
    "id": "scope/T",
    "mode": "tension",
    "range": {"lower": "1", "upper": "100.0", "unit": "kN"},
    "U_rel_pct": "0.050",
    "U_abs": "0.001",
    "combine": "sum",
    "source": "scope of accreditation, invented",
    "accreditation": "L-1",
    "note": "from 1 kN",
}


def result(**changes):
    row = {"point": 1, "applied": "20", "error": "0.002", "U": "0.0100", "unit": "kN"}
    return {name: part for name, part in (row | changes).items() if part is not None}


@pytest.fixture
def calibrated(client):
    """Record a calibration with these results, and give back its results as they are answered."""
    items = [{"id": "CELL", "kind": "customer_instrument", "type": "load_cell"}]
    assert client.post("/v1/imports", json={"items": items}).status_code == 201

    def record(*results, **more):
        sent = {"certificate": "C-1", "item": "CELL", "performed_at": "2025-03-10"}
        sent |= {"mode": "tension", "results": list(results)} | more
        answer = client.post("/v1/calibrations", json=sent)
        assert answer.status_code == 201, answer.text
        return lambda: json.loads(client.get("/v1/certificates/C-1").text)["results"]

    return record


def test_a_capability_keeps_its_digits_and_source(client):
    made = client.post("/v1/cmcs", json=TENSION)
    assert made.status_code == 201
    assert made.get_json() == {**TENSION, "version": 1}
    shown = client.get(made.headers["Location"]).get_json()
    assert shown == {**TENSION, "version": 1, "versions": [1]}


def test_other_content_is_the_next_version_and_the_same_content_is_not(client):
    client.post("/v1/cmcs", json=TENSION)
    again = client.post("/v1/cmcs", json=TENSION)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    changed = client.post("/v1/cmcs", json={**TENSION, "U_rel_pct": "0.04"})
    assert (changed.status_code, changed.get_json()["version"]) == (201, 2)
    old = client.get("/v1/cmcs/scope/T?version=1").get_json()
    assert (old["U_rel_pct"], old["versions"]) == ("0.050", [1, 2])
    (listed,) = client.get("/v1/cmcs").get_json()["items"]
    assert (listed["version"], listed["U_rel_pct"]) == (2, "0.04")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"mode": "torsion"}, "/mode"),
        ({"range": {"lower": "1", "upper": "10", "unit": "kg"}}, "/range/unit"),
        ({"range": {"lower": "10", "upper": "1", "unit": "kN"}}, "/range"),
        ({"range": {"lower": "-1", "upper": "1", "unit": "kN"}}, "/range/lower"),
        ({"U_rel_pct": None, "U_abs": None}, "/U_rel_pct"),
        ({"U_rel_pct": "0", "U_abs": "0"}, "/U_rel_pct"),
        ({"U_abs": "-1"}, "/U_abs"),
        ({"version": 2}, "/version"),
    ],
)
def test_a_capability_that_allows_nothing_is_refused(client, changes, pointer):
    sent = {name: part for name, part in {**TENSION, **changes}.items() if part is not None}
    answer = client.post("/v1/cmcs", json=sent)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_an_unknown_capability_or_version_is_not_found(client):
    client.post("/v1/cmcs", json=TENSION)
    assert client.get("/v1/cmcs/other").status_code == 404
    assert client.get("/v1/cmcs/scope/T?version=2").status_code == 404


def test_recording_takes_the_admin_scope(client, keys):
    answer = client.post("/v1/cmcs", json=TENSION, headers=keys.headers("record"))
    assert answer.status_code == 403


def test_a_result_below_the_capability_is_flagged_and_never_refused(client, calibrated):
    # At 20 kN: 0.05 % is 0.010 kN, and 0.001 kN; 0.011 in all. 0.0100 is below it, 0.011 is not.
    shown = calibrated(result(), result(point=2, U="0.011"))
    assert [one.get("below_cmc") for one in shown()] == [None, None]
    client.post("/v1/cmcs", json=TENSION)
    flagged, other = shown()
    assert flagged["below_cmc"] == {"cmc": "scope/T", "version": 1, "U_cmc": "0.011"}
    assert "below_cmc" not in other
    client.post("/v1/cmcs", json={**TENSION, "U_rel_pct": "0.06"})  # 0.013 now
    assert [one["below_cmc"]["version"] for one in shown()] == [2, 2]


def test_a_relative_result_is_compared_in_percent(client, calibrated):
    client.post("/v1/cmcs", json={**TENSION, "U_abs": None} | {"U_abs": "0"})
    relative = {"error": None, "U": None, "error_rel_pct": "0.01"}
    shown = calibrated(
        result(**relative, U_rel_pct="0.049"),
        result(**relative, U_rel_pct="0.05", point=2),
        result(**relative, U_rel_pct="0.049", point=3, applied="200"),  # beyond the range
        result(**relative, U_rel_pct="0.049", point=4, applied=None, unit=None),
    )
    below = [one.get("below_cmc") for one in shown()]
    assert below == [{"cmc": "scope/T", "version": 1, "U_cmc": "0.05"}, None, None, None]


def test_a_result_in_another_unit_of_force_is_compared_in_its_own(client, calibrated):
    # 1000 lbf = 4448.2216152605 N (NIST SP 811, read in a secondary source): 0.05 % and 1 N.
    client.post("/v1/cmcs", json=TENSION)
    (shown,) = calibrated(result(applied="1000", error="0", U="0.7", unit="lbf"))()
    assert shown["below_cmc"]["U_cmc"] == "0.7248089431"  # 0.5 lbf and 1/4.4482216... lbf


@pytest.mark.parametrize(
    "more",
    [
        {"external": True, "issuer": "Elsewhere"},
        {"mode": "compression"},
    ],
)
def test_other_certificates_and_other_modes_are_not_measured_by_it(client, calibrated, more):
    client.post("/v1/cmcs", json=TENSION)
    (shown,) = calibrated(result(), **more)()
    assert "below_cmc" not in shown


def test_a_capability_for_a_type_of_instrument_goes_first(client, calibrated):
    client.post("/v1/cmcs", json=TENSION)
    typed = {**TENSION, "id": "L", "instrument_type": "load_cell", "U_rel_pct": "0.001"}
    client.post("/v1/cmcs", json=typed)
    (shown,) = calibrated(result(U="0.0100"))()
    assert "below_cmc" not in shown  # 0.0012 for load cells
