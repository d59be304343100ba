"""Calibrations over HTTP: recorded with their certificate, and given back digit for digit."""

from __future__ import annotations

import json

import pytest

SENT = {
    "certificate": "C/25-7",
    "revision": 2,
    "status": "issued",
    "item": "CELL",
    "performed_at": "2025-03-10T11:30:00-05:00",
    "issued_at": "2025-03-12",
    "due_at": "2026-03-10",
    "customer": "Harbour Cranes",
    "external": False,
    "accreditation": "scope 12",
    "method": "M-1",
    "mode": "compression",
    "adjusted": True,
    "assigns_value": True,
    "amendment": "serial number corrected",
    "load_applications": 12,
    "note": "first line\nsecond line",
    "title": "t",
    "meaning": "m",
    "override": {"by": "Robin Manager", "reason": "neither REF nor BOX has a certificate here"},
    "uses": [
        {
            "item": "REF",
            "role": "force_reference",
            "weight": {"1": "0.50", "high": "1.0"},
            "points": [1, "high"],
            "performed_at": "2025-03-10T16:00:00Z",
            "factor_applied": "1.000120",
            "note": "n",
            "title": "t",
        },
        {"item": "BOX", "role": "readout_dut", "channel": "A", "weight": "0.250"},
    ],
    "results": [
        {
            "point": 1,
            "stage": "as_found",
            "direction": "up",
            "applied": "10.00",
            "indicated": "10.0100",
            "error": "0.0100",
            "U": "0.0020",
            "k": "2.00",
            "dof": "50",
            "unit": "kN",
            "tolerance": {"lower": "-0.050", "upper": "0.0500"},
            "rule": "guard_U",
            "verdict_reported": "pass",
            "note": "n",
            "meaning": "m",
        },
        {
            "point": "high",
            "stage": "as_left",
            "error_rel_pct": "1.2300",
            "U_rel_pct": "0.10",
            "tolerance_rel_pct": "0.500",
            "rule": "simple",
        },
    ],
}


@pytest.fixture
def bench(client):
    """A client of a laboratory with a cell, a reference and a readout."""
    items = [{"id": code, "kind": "working_standard"} for code in ("CELL", "REF")]
    items.append({"id": "BOX", "kind": "readout"})
    client.post("/v1/imports", json={"items": items})
    return client


def post(client, **changes):
    return client.post("/v1/calibrations", json=SENT | changes)


def test_a_calibration_comes_back_exactly_as_it_was_sent(bench):
    made = post(bench)
    assert made.status_code == 201, made.text
    assert made.headers["Location"] == "/v1/certificates/C%2F25-7?revision=2"
    shown = json.loads(bench.get(made.headers["Location"]).text)
    for result in shown["results"]:
        assert result.pop("rule_version") == 1
        result.pop("verdict")
    assert shown["uses"] == SENT["uses"]
    assert shown["results"] == SENT["results"]
    assert {name: shown[name] for name in SENT} == SENT


def test_json_numbers_keep_the_digits_they_were_written_with(bench):
    result = '{"point": 1, "unit": "kN", "applied": 1.2300, "error": -0.0010, "U": 1e-3}'
    record = '{"certificate": "N", "item": "CELL", "performed_at": "2025-03-10", "results": [%s]}'
    body = record % result
    assert (
        bench.post("/v1/calibrations", data=body, content_type="application/json").status_code
        == 201
    )
    (shown,) = json.loads(bench.get("/v1/certificates/N").text)["results"]
    assert [shown[name] for name in ("applied", "error", "U")] == ["1.2300", "-0.0010", "0.001"]


def test_the_same_again_is_unchanged_and_other_content_is_a_conflict(bench):
    first, again = post(bench), post(bench)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert again.headers["ETag"] == first.headers["ETag"]
    assert post(bench, method="M-2").status_code == 409


def test_a_default_may_be_sent_or_left_out(bench):
    bare = {"certificate": "D", "item": "CELL", "performed_at": "2025-03-10"}
    assert bench.post("/v1/calibrations", json=bare).status_code == 201
    spelt = bare | {"revision": 0, "status": "issued", "external": False, "assigns_value": True}
    assert bench.post("/v1/calibrations", json=spelt).status_code == 200


def test_two_issuers_may_use_one_number(bench):
    assert post(bench, issuer="Institute", external=True).status_code == 201
    made = post(bench, issuer="Other Institute", external=True)
    assert made.status_code == 201
    shown = bench.get(made.headers["Location"]).get_json()
    assert shown["issuer"] == "Other Institute"
    ambiguous = bench.get("/v1/certificates/C%2F25-7")
    assert ambiguous.status_code == 409
    assert "issuer" in ambiguous.get_json()["errors"][0]["remedy"]
    # The laboratory's own certificate of that number goes first.
    post(bench)
    assert "issuer" not in bench.get("/v1/certificates/C%2F25-7").get_json()


def test_a_revision_beyond_the_column_is_refused(bench):
    assert post(bench, revision=2**31).status_code == 422


def test_the_list_holds_every_revision_and_its_filters_combine(bench):
    for revision, status in enumerate(("superseded", "voided", "issued")):
        post(bench, revision=revision, status=status)
    post(bench, certificate="B", item="BOX", customer="Mine Works", uses=[])
    page = bench.get("/v1/calibrations?limit=3").get_json()
    rest = bench.get(page["next"]).get_json()
    listed = [(one["certificate"], one["revision"]) for one in page["items"] + rest["items"]]
    assert listed == [("C/25-7", 0), ("C/25-7", 1), ("C/25-7", 2), ("B", 2)]
    assert page["items"][0]["item"] == "CELL"
    assert "results" not in page["items"][0]
    for query, expected in {
        "status=issued&item=CELL": [2],
        "status=voided": [1],
        "customer=Mine Works": [2],
        "item=GHOST": [],
    }.items():
        found = bench.get(f"/v1/calibrations?{query}").get_json()["items"]
        assert [one["revision"] for one in found] == expected


def refused(answer):
    """Pointer and detail of the one fault of a refusal that says how to mend it."""
    assert answer.status_code == 422, answer.text
    (error,) = answer.get_json()["errors"]
    assert error["remedy"]
    return error["pointer"], error["detail"]


def test_what_took_over_is_a_revision_or_a_certificate(bench):
    wrong = {"certificate": "C/25-7", "revision": 3}
    pointer, detail = refused(post(bench, status="superseded", superseded_by=wrong))
    assert (pointer, detail) == ("/superseded_by", "not a revision or certificate")
    assert post(bench, status="superseded", superseded_by="C/25-8").status_code == 201


def test_a_mode_is_tension_or_compression(bench):
    assert refused(post(bench, mode="torsion"))[0] == "/mode"
    assert post(bench, mode="Compression").get_json()["mode"] == "compression"


@pytest.mark.parametrize(
    ("changes", "detail"),
    [
        ({"status": "issued", "voided_at": "2026-01-01"}, "issued, not voided"),
        ({"status": "superseded", "voided_at": "2026-01-01"}, "superseded, not voided"),
        ({"status": "voided", "voided_at": "2025-03-09"}, "before the calibration"),
        ({"status": "voided", "voided_at": "2026-01-01T00:00:00"}, "no time zone"),
    ],
)
def test_an_instant_of_a_void_that_contradicts_the_record_is_refused(bench, changes, detail):
    pointer, found = refused(post(bench, **changes))
    assert (pointer, detail in found) == ("/voided_at", True)


def test_the_instant_of_a_void_comes_back_as_it_was_sent(bench):
    made = post(bench, status="voided", void_reason="wrong item", voided_at="2026-01-01")
    assert made.get_json()["voided_at"] == "2026-01-01"
