"""Persons apart from keys: the journal says who, not only which program."""

from __future__ import annotations

import pytest

from api.app import create_app
from api.settings import Settings

ADA = {"id": "a.quill", "name": "Ada Quill", "office": "quality manager"}
CUSTOMER = {"name": "Quillback Hire"}


@pytest.fixture
def made(client):
    """Answer to the recording of one person."""
    return client.post("/v1/persons", json=ADA)


def last_line(client):
    return client.get("/v1/journal?limit=1&operation=customers.record_customer").json["items"][0]


def test_a_person_comes_back_as_sent_and_is_recorded_once(client, made):
    assert made.status_code == 201
    shown = client.get("/v1/persons/a.quill")
    assert shown.json == ADA | {"active": True, "version": 1}
    assert client.post("/v1/persons", json=ADA).status_code == 409
    assert client.get("/v1/persons").json["items"] == [shown.json]


def test_only_an_administrator_records_persons(client, keys):
    headers = keys.headers("read", "record", "recall")
    assert client.post("/v1/persons", json=ADA, headers=headers).status_code == 403


def test_a_program_names_the_person_at_work_with_each_request(client, made):
    client.post("/v1/customers", json=CUSTOMER, headers={"Tracehold-Person": "a.quill"})
    assert last_line(client)["person"] == "Ada Quill"


def test_a_person_who_is_not_recorded_is_refused_and_nothing_is_stored(client):
    sent = client.post("/v1/customers", json=CUSTOMER, headers={"Tracehold-Person": "nobody"})
    assert sent.status_code == 422
    assert "nobody" in sent.json["detail"]
    assert client.get("/v1/customers").json["items"] == []


def test_a_key_bound_to_a_person_speaks_for_that_one_alone(client, made):
    client.post("/v1/persons", json={"id": "b.reed", "name": "Bram Reed"})
    key = client.post(
        "/v1/keys", json={"name": "Ada's desk", "scopes": ["admin"], "person": "a.quill"}
    ).json
    assert key["person"] == "Ada Quill"
    own = {"Authorization": f"Bearer {key['token']}"}
    assert client.post("/v1/customers", json=CUSTOMER, headers=own).status_code == 201
    assert last_line(client)["person"] == "Ada Quill"
    other = own | {"Tracehold-Person": "b.reed"}
    refused = client.post("/v1/customers", json={"name": "Another"}, headers=other)
    assert refused.status_code == 403


def test_nobody_acts_in_the_name_of_another(client, made):
    item = {"id": "REF-1", "kind": "reference_standard"}
    client.post("/v1/items", json=item)
    fault = {
        "item": "REF-1",
        "kind": "unknown",
        "last_good_at": "2025-01-01T00:00:00Z",
        "isolated_at": "2025-02-01T00:00:00Z",
    }
    client.post("/v1/recalls", json={"fault": fault})
    case = client.get("/v1/recalls/1/case")
    speaking = {"Tracehold-Person": "a.quill", "If-Match": case.headers["ETag"]}
    step = {"state": "assessed", "by": "Bram Reed", "reason": "looked at"}
    refused = client.patch("/v1/recalls/1/case", json=step, headers=speaking)
    assert refused.status_code == 403
    assert refused.json["errors"][0]["pointer"] == "/by"
    taken = client.patch("/v1/recalls/1/case", json=step | {"by": "Ada Quill"}, headers=speaking)
    assert taken.status_code == 200


def test_the_key_of_a_person_who_left_opens_nothing(client, made):
    key = client.post(
        "/v1/keys", json={"name": "desk", "scopes": ["read"], "person": "a.quill"}
    ).json
    own = {"Authorization": f"Bearer {key['token']}"}
    assert client.get("/v1/items", headers=own).status_code == 200
    left = client.patch(
        "/v1/persons/a.quill", json={"active": False}, headers={"If-Match": made.headers["ETag"]}
    )
    assert left.json["active"] is False
    assert client.get("/v1/items", headers=own).status_code == 401
    named = client.post("/v1/customers", json=CUSTOMER, headers={"Tracehold-Person": "a.quill"})
    assert named.status_code == 422


def test_a_laboratory_may_require_a_person_for_every_change(database, keys):
    app = create_app(Settings(require_person="yes"), database)
    client, headers = app.test_client(), keys.headers()
    refused = client.post("/v1/customers", json=CUSTOMER, headers=headers)
    assert refused.status_code == 403
    assert refused.json["type"] == "/problems/person-required"
    assert client.get("/v1/customers", headers=headers).status_code == 200


def test_who_is_named_by_id_is_kept_by_name_and_who_left_is_refused(client, made):
    client.post("/v1/imports", json={"items": [{"id": "WS", "kind": "working_standard"}]})
    check = {"id": "K-1", "item": "WS", "at": "2025-02-10", "result": "fail"}
    client.post("/v1/checks", json=check)
    for said, kept in (("a.quill", "Ada Quill"), ("Ada Quill", "Ada Quill"), ("Somebody", None)):
        answer = {"by": said, "reason": f"looked into by {said}"}
        shown = client.post("/v1/alerts/1/answers", json=answer)
        assert shown.status_code == 201, shown.text
        assert shown.json["answers"][-1]["by"] == (kept or said)
    etag = {"If-Match": client.get("/v1/persons/a.quill").headers["ETag"]}
    client.patch("/v1/persons/a.quill", json={"active": False}, headers=etag)
    for said in ("a.quill", "A.Quill"):
        refused = client.post("/v1/alerts/1/answers", json={"by": said, "reason": "x"})
        assert refused.status_code == 422
        assert "not active any more" in refused.text
        assert refused.json["errors"][0]["pointer"] == "/by"


def test_an_override_keeps_the_person_of_an_id(client, made):
    items = [{"id": name, "kind": "working_standard"} for name in ("WS", "REF")]
    client.post("/v1/imports", json={"items": items})
    use = {"item": "REF", "role": "force_reference"}
    result = {"point": 1, "stage": "single", "applied": "10", "error": "0", "unit": "kN"}
    sent = {"certificate": "C-1", "item": "WS", "performed_at": "2025-02-01T10:00:00Z"}
    sent |= {"status": "issued", "uses": [use], "results": [result | {"U": "0.01", "k": "2"}]}
    sent["override"] = {"by": "a.quill", "reason": "REF is told elsewhere"}
    assert client.post("/v1/calibrations", json=sent).status_code == 201
    kept = client.get("/v1/certificates/C-1/grounds").json["override"]
    assert kept == {"by": "Ada Quill", "reason": "REF is told elsewhere"}


def test_who_assessed_a_case_is_known_by_id_and_by_name(client, made):
    client.post("/v1/imports", json={"items": [{"id": "WS", "kind": "working_standard"}]})
    fault = {"item": "WS", "kind": "unknown", "last_good_at": None, "isolated_at": "2025-03-01"}
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201

    def sends(method, path, **body):
        etag = {"If-Match": client.get("/v1/recalls/1/case").headers["ETag"]}
        return client.open(f"/v1/recalls/1/{path}", method=method, json=body, headers=etag)

    step = {"state": "assessed", "by": "a.quill", "reason": "window known"}
    assert sends("PATCH", "case", **step).status_code == 200
    for same in ("Ada Quill", "a.quill", "A.QUILL"):
        assert sends("POST", "resumption", by=same, reason="fit").status_code == 409
    assert sends("POST", "resumption", by="Bram Reed", reason="fit").status_code == 200


def test_an_id_in_other_case_is_not_another_persons(client, made):
    refused = client.post("/v1/persons", json={"id": "A.QUILL", "name": "Somebody Else"})
    assert refused.status_code == 409
