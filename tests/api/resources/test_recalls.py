"""Recalls over HTTP: stored as a snapshot, shown again, listed, paged, linked where they are large.

What a recall finds is tested in tests/whole and tests/graph.
"""

from __future__ import annotations

import base64
import json

import pytest
from oracle_cases import OPEN, answered, cal, force_fault, lab, ref

from api.services.recalls import recalls
from graph.lists import LISTS

FAULT = force_fault("REF")


@pytest.fixture
def bench(client):
    """Five certificates that used REF, one of them outside the window."""
    made = [cal(f"C-{n}", f"I-{n}", f"0{n}-01", [ref("REF")]) for n in range(2, 7)]
    made.append(cal("C-9", "I-9", "2026-02-01T00:00:00Z", [ref("REF")]))
    client.post("/v1/imports", json=lab(*made))
    return client


def report(client, **request):
    return client.post("/v1/recalls", json={"fault": FAULT} | request)


def test_a_recall_is_stored_under_a_number_and_shown_again(bench):
    made = report(bench)
    assert made.status_code == 201
    body = json.loads(made.text)
    assert (body["id"], body["number"], body["previous"]) == (1, "R-00001", None)
    assert made.headers["Location"] == "/v1/recalls/1"
    assert json.loads(bench.get("/v1/recalls/1").text) == body
    assert [one["certificate"] for one in body["cleared"]] == ["C-9"]
    assert body["cleared"][0]["reason"] == "window"
    assert body["faults"] == [FAULT]


def test_a_stored_recall_stays_when_the_records_change(bench):
    before = json.loads(report(bench).text)
    assert before.pop("stale") is False
    assert before.pop("staleness")["history"] == []
    bench.post("/v1/certificates/C-2/void", json={"reason": "typing error"})
    stored = json.loads(bench.get("/v1/recalls/1", query_string={"exact": "true"}).text)
    assert stored.pop("stale") is True
    assert stored.pop("staleness")["cause"] == "certificate C-2 was voided"
    assert stored == before
    again = json.loads(report(bench, previous=1).text)
    assert again["previous"] == 1
    assert again["result_hash"] != before["result_hash"]
    assert again["input_hash"] != before["input_hash"]
    assert [one["certificate"] for one in again["traced_not_recalled"]] == ["C-2"]


def test_a_preview_has_no_number_and_is_not_stored(bench):
    answer = report(bench, preview=True)
    assert answer.status_code == 200
    assert not {"id", "number"} & answer.get_json().keys()
    assert "Location" not in answer.headers
    assert bench.get("/v1/recalls").get_json()["items"] == []


def test_an_open_end_stays_open_and_gives_the_same_hashes(bench):
    fault = FAULT | {"isolated_at": None}
    first, second = (json.loads(report(bench, fault=fault).text) for _ in range(2))
    assert first["window"]["end"] is None
    assert first["summary"]["affected"] == 6
    assert first["result_hash"] == second["result_hash"]


def test_an_instant_of_the_records_is_not_accepted_since_they_are_those_of_today(bench):
    answer = report(bench, fault=FAULT, as_of="2025-04-15T00:00:00Z")
    assert answer.status_code == 422
    (issue,) = answer.get_json()["errors"]
    assert issue["pointer"] == "/as_of"
    assert bench.get("/v1/recalls").get_json()["items"] == []


def test_several_faults_give_their_windows_in_order(bench):
    other = force_fault("I-2", last_good_at="2025-03-01T00:00:00Z")
    answer = bench.post("/v1/recalls", json={"faults": [FAULT, other]}).get_json()
    assert [window["item"] for window in answer["windows"]] == ["REF", "I-2"]
    assert "window" not in answer


def test_recalls_are_listed_newest_first_without_their_lists(bench):
    for _ in range(3):
        report(bench)
    page = bench.get("/v1/recalls?limit=2").get_json()
    assert [one["number"] for one in page["items"]] == ["R-00003", "R-00002"]
    assert not set(LISTS) & page["items"][0].keys()
    rest = bench.get(page["next"]).get_json()["items"]
    assert [one["number"] for one in rest] == ["R-00001"]


def test_one_list_is_paged_in_its_order(bench):
    stored = json.loads(report(bench).text)
    found, address = [], "/v1/recalls/1/affected?limit=2"
    while address:
        answer = bench.get(address)
        page = json.loads(answer.text)
        assert ("Link" in answer.headers) is (page["next"] is not None)
        found += page["items"]
        address = page["next"]
    assert found == stored["affected"]


@pytest.mark.parametrize("key", [[], ["x"], [10**30], [None], [1.5], [1, 2]])
def test_a_forged_cursor_is_refused(bench, key):
    report(bench)
    cursor = base64.urlsafe_b64encode(json.dumps(key).encode()).decode().rstrip("=")
    assert bench.get(f"/v1/recalls/1/affected?cursor={cursor}").status_code == 422


def test_a_large_recall_gives_links_in_the_place_of_lists(bench, monkeypatch):
    monkeypatch.setattr(recalls, "ENTRIES_AT_ONCE", 3)
    answer = json.loads(report(bench).text)
    assert not set(LISTS) & answer.keys()
    assert set(answer["links"]) == set(LISTS)
    assert answer["summary"]["affected"] == 5
    assert json.loads(bench.get("/v1/recalls/1").text) == answer
    items = json.loads(bench.get(answer["links"]["affected"]).text)["items"]
    assert len(items) == 5


def test_a_large_preview_is_sent_whole_piece_by_piece(bench, monkeypatch):
    monkeypatch.setattr("api.resources.recalls.now_us", lambda: 1_767_225_600_000_000)
    whole = report(bench, preview=True)
    monkeypatch.setattr(recalls, "ENTRIES_AT_ONCE", 3)
    monkeypatch.setattr("api.resources.recalls.LOT", 2)
    pieces = report(bench, preview=True)
    assert whole.content_length == len(whole.data)
    assert pieces.content_length is None
    assert (pieces.status_code, pieces.text) == (200, whole.text)
    assert len(json.loads(pieces.text)["affected"]) == 5


@pytest.mark.parametrize("address", ["77", "77/affected", "1/nothing"])
def test_what_is_not_there_is_not_found(bench, address):
    report(bench)
    assert bench.get(f"/v1/recalls/{address}").status_code == 404


def test_a_fault_of_the_whole_force_leaves_an_error_in_percent_unknown(bench):
    # Twice the weight of delta = -0.5 takes all of the force away.
    result = {"point": 1, "error_rel_pct": "0", "U_rel_pct": "0.1", "tolerance_rel_pct": "1"}
    record = cal("C-X", "I-2", "05-05", [ref("REF", "2")], [result | {"rule": "simple"}])
    assert bench.post("/v1/calibrations", json=answered(record)).status_code == 201
    body = json.loads(report(bench, fault=FAULT | {"delta_rel": "-0.5"}, preview=True).text)
    (entry,) = [one for one in body["affected"] if one["certificate"] == "C-X"]
    point = entry["points"][0]
    assert (point["delta_rel"], point["shift"], point["verdict_after"]) == ("-1", None, None)


def test_reporting_a_fault_needs_the_recall_scope(app, bench, keys):
    other = app.test_client()
    request = {"fault": FAULT}
    answer = other.post("/v1/recalls", json=request, headers=keys.headers("read", "record"))
    assert answer.status_code == 403


@pytest.mark.parametrize(
    ("channels", "list_name"), [(["A"], "affected"), (["A", "B"], "indeterminate")]
)
def test_a_use_without_channel_is_resolved_where_the_readout_has_only_one(
    client, channels, list_name
):
    laboratory = lab(cal("C-1", "CI", "02-01", [{"item": "RO", "role": "readout_dut"}]))
    for one in laboratory["items"]:
        one |= {"kind": "readout", "channels": channels} if one["id"] == "RO" else {}
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    fault = {"item": "RO", "channel": "A", "kind": "readout_gain", "gain": "1.0005"} | OPEN
    found = client.post("/v1/recalls", json={"fault": fault, "preview": True}).get_json()
    assert [one["certificate"] for one in found[list_name]] == ["C-1"]
