"""Imports over HTTP: all or nothing, safe to repeat, with a trial run."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, lab, ref
from sqlalchemy import select

from api.store.tables import ImportRun

LAB = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS")]),
    composition=[{"assembly": "A", "part": "WS", "from": "2025-01-01"}],
    checks=[{"id": "K", "item": "WS", "at": "2025-01-15", "result": "pass"}],
)
COUNTS = {"items": 3, "composition": 1, "calibrations": 2, "checks": 1}
NONE = dict.fromkeys(COUNTS, 0)


def test_an_import_counts_what_it_created(client):
    answer = client.post("/v1/imports", json=LAB)
    assert answer.status_code == 201
    assert answer.get_json() == {"created": COUNTS, "unchanged": NONE}


def test_the_same_again_is_unchanged(client):
    client.post("/v1/imports", json=LAB)
    answer = client.post("/v1/imports", json=LAB)
    assert answer.get_json() == {"created": NONE, "unchanged": COUNTS}


def test_a_larger_file_adds_what_is_new(client):
    client.post("/v1/imports", json=LAB)
    more = lab(*LAB["calibrations"], cal("C-2", "B", "03-01", [ref("WS")]))
    answer = client.post("/v1/imports", json=more).get_json()
    assert answer["created"] == NONE | {"items": 1, "calibrations": 1}
    assert answer["unchanged"] == NONE | {"items": 3, "calibrations": 2}


def test_an_empty_file_is_an_import_of_nothing(client):
    assert client.post("/v1/imports", json={}).get_json() == {"created": NONE, "unchanged": NONE}


def test_a_dry_run_counts_and_stores_nothing(client):
    answer = client.post("/v1/imports?dry_run=true", json=LAB)
    assert answer.status_code == 200
    assert answer.get_json() == {"created": COUNTS, "unchanged": NONE, "dry_run": True}
    assert client.get("/v1/items").get_json()["items"] == []
    assert client.post("/v1/imports", json=LAB).get_json()["created"] == COUNTS


def test_a_dry_run_finds_the_faults(client):
    bad = lab(cal("C-1", "A", "02-01", [ref("WS", "x")]))
    assert client.post("/v1/imports?dry_run=true", json=bad).status_code == 422


def test_texts_beside_the_records_are_kept_with_the_import(client, database):
    beside = {"id": "L", "title": "t", "note": "n", "traps": ["one"], "composition_bounds": "b"}
    client.post("/v1/imports", json=LAB | beside)
    with database.read() as session:
        run = session.scalars(select(ImportRun)).one()
    assert (run.annotations, run.counts) == (beside, COUNTS)


def test_order_within_the_file_does_not_matter(client):
    turned = LAB | {"calibrations": LAB["calibrations"][::-1], "items": LAB["items"][::-1]}
    assert client.post("/v1/imports", json=turned).status_code == 201
    (use,) = client.get("/v1/certificates/C-1").get_json()["uses"]
    assert use["in_force"] == {"certificate": "W-1", "revision": 0}


def test_a_reference_that_comes_in_later_is_in_force_for_earlier_records(client):
    first, second = LAB["calibrations"]
    client.post("/v1/imports", json=LAB | {"calibrations": [second]})
    assert "in_force" not in client.get("/v1/certificates/C-1").get_json()["uses"][0]
    client.post("/v1/imports", json=LAB | {"calibrations": [first]})
    (use,) = client.get("/v1/certificates/C-1").get_json()["uses"]
    assert use["in_force"] == {"certificate": "W-1", "revision": 0}


def bare(at: str, until: str = "2025-03-10", **more):
    """A laboratory in which A, calibrated at `at`, used WS, itself calibrated on `until`."""
    return lab(cal("W-1", "WS", until, []), cal("C-1", "A", at, [ref("WS")])) | more


@pytest.mark.parametrize(
    ("zone", "at", "found"),
    [
        # 10 March in Vienna begins at 9 March 23:00 UTC.
        ("Europe/Vienna", "2025-03-09T23:00:00Z", True),
        ("Europe/Vienna", "2025-03-09T22:59:59Z", False),
        ("UTC", "2025-03-09T23:00:00Z", False),
    ],
)
def test_a_bare_date_is_the_day_of_the_laboratory_s_zone(client, zone, at, found):
    assert client.post("/v1/imports", json=bare(at, time_zone=zone)).status_code == 201
    (use,) = client.get("/v1/certificates/C-1").get_json()["uses"]
    assert ("in_force" in use) is found


BARE = {
    "calibration": {"calibrations": [cal("C", "A", "2025-03-10", [])]},
    "due": {"calibrations": [cal("C", "A", "01-10", [], due_at="2026-03-10")]},
    "use": {"calibrations": [cal("C", "A", "01-10", [ref("B", performed_at="2025-03-10")])]},
    "check": {"checks": [{"id": "K", "item": "A", "at": "2025-03-10", "result": "pass"}]},
    "holding": {"composition": [{"assembly": "A", "part": "B", "from": "2025-03-10"}]},
    "until": {
        "composition": [
            {"assembly": "A", "part": "B", "from": "2025-01-01T00:00:00Z", "until": "2025-03-10"}
        ]
    },
    "service": {"items": [{"id": "C", "kind": "adapter", "in_service_from": "2025-03-10"}]},
}


@pytest.mark.parametrize("name", BARE)
def test_the_zone_stays_once_a_bare_date_was_read_in_it(client, name):
    items = [{"id": code, "kind": "adapter"} for code in ("A", "B")]
    items += BARE[name].get("items", [])
    assert client.post("/v1/imports", json=BARE[name] | {"items": items}).status_code == 201
    answer = client.post("/v1/imports", json={"time_zone": "Europe/Vienna"})
    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["pointer"] == "/time_zone"
    assert client.post("/v1/imports", json={"time_zone": "UTC"}).status_code == 201


def test_the_zone_may_change_while_all_instants_have_their_own(client):
    assert client.post("/v1/imports", json=bare("04-01", "03-01")).status_code == 201
    assert client.post("/v1/imports", json={"time_zone": "Europe/Vienna"}).status_code == 201
    assert client.post("/v1/imports", json=bare("04-01", "03-01")).status_code == 201


def test_a_retry_with_the_same_key_is_done_once(client):
    headers = {"Idempotency-Key": "import-1"}
    first = client.post("/v1/imports", json=LAB, headers=headers)
    again = client.post("/v1/imports", json=LAB, headers=headers)
    assert again.get_json() == first.get_json()
    assert again.headers["Idempotency-Replayed"] == "true"


def test_requirements_come_with_a_laboratory_and_are_versions_of_their_ids(client):
    pin = {"id": "q", "applies_to": {"make": "Quill", "model": "L-20"}, "source": "leaf 3"}
    sent = {"requirements": [pin | {"pin": {"diameter": "2 in"}}]}
    for created, unchanged in ((1, 0), (0, 1)):
        answer = client.post("/v1/imports", json=sent).get_json()
        counts = answer["created"]["requirements"], answer["unchanged"]["requirements"]
        assert counts == (created, unchanged)
    sent["requirements"][0]["pin"]["diameter"] = "51 mm"
    client.post("/v1/imports", json=sent)
    assert client.get("/v1/requirements/q").get_json()["versions"] == [1, 2]
    # A line by itself, and an item that nobody recorded.
    own = pin | {"id": "own", "applies_to": {"item": "GHOST"}, "pin": {"diameter": "2 in"}}
    line = json.dumps(own).encode()
    refused = client.post("/v1/imports", data=line, content_type="application/x-ndjson")
    assert refused.status_code == 422
    assert "GHOST" in refused.text
    twice = client.post("/v1/imports", json={"requirements": [own, own]})
    assert "stands twice" in twice.text
