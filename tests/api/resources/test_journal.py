"""The journal over HTTP: who did what, and only for those who may know."""

from __future__ import annotations

import json

from api.services.upkeep import journal


def test_a_change_names_the_key_the_operation_and_the_request(client):
    client.post(
        "/v1/items",
        json={"id": "REF-1", "kind": "reference_standard"},
        headers={"X-Request-Id": "r-1"},
    )
    line = client.get("/v1/journal?operation=items.record_item").json["items"][0]
    assert line["path"] == "/v1/items"
    assert line["request_id"] == "r-1"
    assert line["facts"][0]["what"] == "recorded in items"
    assert line["facts"][0]["id"] == "REF-1"
    assert line["key_name"] == "all"


def test_a_person_is_found_by_name(client):
    client.post("/v1/customers", json={"name": "Quillback Hire"})
    assert client.get("/v1/journal?person=Ada Quill").json["items"] == []


def test_a_refused_change_is_not_in_it(client):
    before = client.get("/v1/journal/head").json["position"]
    refused = client.post("/v1/items", json={"id": "REF-1", "kind": "no such kind"})
    assert refused.status_code == 422
    assert client.get("/v1/journal/head").json["position"] == before


def test_a_dry_run_is_not_in_it(client):
    before = client.get("/v1/journal/head").json["position"]
    answer = client.post("/v1/imports?dry_run=true", json={"items": []})
    assert answer.status_code == 200
    assert client.get("/v1/journal/head").json["position"] == before


def test_only_an_administrator_reads_it(client, keys):
    for path in ("/v1/journal", "/v1/journal/head", "/v1/journal/export.ndjson"):
        refused = client.get(path, headers=keys.headers("read", "record", "recall"))
        assert refused.status_code == 403


def test_the_first_use_of_a_key_is_in_it(client):
    client.get("/v1/items")
    used = client.get("/v1/journal?operation=key used").json["items"]
    assert used[0]["key_name"] == "all"


def test_an_export_can_be_checked_without_the_server(client):
    for name in ("Quillback Hire", "Morrowick Docks"):
        client.post("/v1/customers", json={"name": name})
    answer = client.get("/v1/journal/export.ndjson")
    assert answer.mimetype == "application/x-ndjson"
    lines = answer.data.splitlines()
    head = client.get("/v1/journal/head").json
    assert list(journal.breaches(journal.read_export(lines), head)) == []
    assert len(lines) == head["position"]
    del lines[1]
    assert list(journal.breaches(journal.read_export(lines)))
    assert json.loads(lines[0])["hash"] != head["hash"]


def test_pages_go_back_in_time(client):
    for n in range(3):
        client.post("/v1/customers", json={"name": f"Customer {n}"})
    page = client.get("/v1/journal?operation=customers.record_customer&limit=2")
    assert [line["facts"][0]["name"] for line in page.json["items"]] == ["Customer 2", "Customer 1"]
    rest = client.get(page.json["next"])
    assert [line["facts"][0]["name"] for line in rest.json["items"]] == ["Customer 0"]


def test_a_preview_is_in_it_though_nothing_else_is_stored(client):
    client.post("/v1/items", json={"id": "REF-1", "kind": "reference_standard"})
    fault = {
        "item": "REF-1",
        "kind": "unknown",
        "last_good_at": "2025-01-01T00:00:00Z",
        "isolated_at": "2025-02-01T00:00:00Z",
    }
    answer = client.post("/v1/recalls", json={"fault": fault, "preview": True})
    assert answer.status_code == 200
    line = client.get("/v1/journal?operation=recalls.report_fault").json["items"][0]
    assert line["facts"][0]["what"] == "recall preview"
    assert client.get("/v1/recalls").json["items"] == []
