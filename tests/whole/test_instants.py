"""Instants that cannot be are refused on every way in, and nothing is stored.

A calibration, a use and a check are recorded after they were made, and a certificate is issued
after its calibration (ISO/IEC 17025:2017, 7.8.2.1 lists both dates, from memory). That a clock may
be a day ahead: common practice, no source.
"""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta

import pytest
from oracle_cases import cal, lab, part, ref

NOW = datetime.now(UTC)
SOON, LATE = (NOW + timedelta(hours=hours) for hours in (23, 25))
YEARS, TOMORROW = (NOW + timedelta(days=days) for days in (800, 1))
CHECK = {"id": "K", "item": "REF", "at": "2025-02-01", "result": "pass"}


def impossible():
    """A laboratory with one impossible instant: where, which, and what is said."""
    used = ref("REF", performed_at=LATE.isoformat())
    early = {"issued_at": "2025-01-31"}
    before = {"issued_at": "2025-02-01T09:59:59Z"}
    gone = part("RIG", "REF") | {"until": "2023-12-31"}
    return {
        "calibration": (lab(cal("C", "A", LATE.isoformat(), [])), "performed_at", "future"),
        "bare date": (lab(cal("C", "A", str(YEARS.date()), [])), "performed_at", "future"),
        "use": (lab(cal("C", "A", "02-01", [used])), "uses/0/performed_at", "future"),
        "issue by date": (lab(cal("C", "A", "02-01", [], **early)), "issued_at", "issued before"),
        "issue": (lab(cal("C", "A", "02-01", [], **before)), "issued_at", "issued before"),
        "check": (
            lab(cal("C", "A", "02-01", [ref("REF")]), checks=[CHECK | {"at": LATE.isoformat()}]),
            "/checks/0/at",
            "future",
        ),
        "holding": (
            lab(cal("C", "A", "02-01", [ref("REF"), ref("RIG")]), composition=[gone]),
            "/composition/0/until",
            "ends before it begins",
        ),
    }


@pytest.mark.parametrize("name", impossible())
def test_an_import_names_place_value_and_remedy_and_stores_nothing(client, name):
    records, place, said = impossible()[name]
    place = place if place.startswith("/") else f"/calibrations/0/{place}"
    refused = client.post("/v1/imports", json=records)
    assert refused.status_code == 422, refused.text
    (issue,) = refused.get_json()["errors"]
    assert issue["pointer"] == place
    assert said in issue["detail"]
    value = records
    for step in place.strip("/").split("/"):
        value = value[int(step) if step.isdigit() else step]
    assert issue["value"] == value
    assert issue["remedy"]
    assert client.get("/v1/items").get_json()["items"] == []
    assert client.get("/v1/certificates").get_json()["items"] == []


def test_other_ways_in_refuse_it_too(client):
    assert client.post("/v1/imports", json=lab(cal("B", "A", "01-01", []))).status_code == 201
    late = cal("C", "A", LATE.isoformat(), [])
    assert client.post("/v1/calibrations", json=late).status_code == 422
    lines = json.dumps({"calibrations": late}).encode()
    kind = {"Content-Type": "application/x-ndjson"}
    refused = client.post("/v1/imports", data=io.BytesIO(lines), headers=kind)
    assert refused.status_code == 422
    assert "future" in refused.text
    check = CHECK | {"item": "A", "at": LATE.isoformat()}
    assert client.post("/v1/checks", json=check).status_code == 422
    draft = cal("D", "A", "02-01", [], status="draft")
    assert client.post("/v1/calibrations", json=draft).status_code == 201
    refused = client.post("/v1/certificates/D/issue", json={"issued_at": "2025-01-31"})
    assert refused.status_code == 422
    (issue,) = refused.get_json()["errors"]
    assert (issue["pointer"], issue["value"]) == ("/issued_at", "2025-01-31")
    assert client.get("/v1/certificates/D").get_json()["status"] == "draft"
    assert client.get("/v1/certificates?limit=9").get_json()["items"][-1]["certificate"] == "D"


@pytest.mark.parametrize(
    "sent",
    [
        cal("C", "A", SOON.isoformat(), []),
        cal("C", "A", str(TOMORROW.date()), []),
        # On the day of a bare date: nobody knows which came first.
        cal("C", "A", "02-01", [], issued_at="2025-02-01"),
        cal("C", "A", "02-01", [], issued_at="2025-02-01T10:00:00Z"),
        cal("C", "A", "2025-02-01", [], issued_at="2025-02-01T00:00:00Z"),
        # What lies ahead by its nature.
        cal("C", "A", "02-01", [], due_at=str(YEARS.date())),
    ],
)
def test_what_may_be_is_recorded(client, sent):
    assert client.post("/v1/imports", json=lab(sent)).status_code == 201
