"""Items over HTTP: recorded once, changed only in the version that was read, listed in pages."""

from __future__ import annotations

import json

from oracle_cases import answered

LINK = {
    "id": "TL-1",
    "kind": "customer_instrument",
    "type": "tension_link",
    "capacity": "25 tonf_US",
    "cycles_at_last_inspection": 12,
    "in_service_from": "2025-03-10T11:30:00-05:00",
    "note": "two lines\nof remarks",
    "title": "Link",
    "meaning": "a remark",
}


def post(client, **item):
    return client.post("/v1/items", json=item)


def patch(client, address: str, etag: str, **changes):
    return client.patch(address, json=changes, headers={"If-Match": etag})


def test_an_item_comes_back_exactly_as_it_was_sent(client):
    made = post(client, **LINK)
    assert made.status_code == 201
    shown = client.get(made.headers["Location"])
    assert shown.get_json() == LINK | {"version": 1}
    assert shown.headers["ETag"] == made.headers["ETag"]


def test_properties_keep_the_digits_of_their_numbers(client):
    body = '{"id": "A", "kind": "software", "properties": {"gain": 1.2300, "deep": [{"n": 1e2}]}}'
    client.post("/v1/items", data=body, content_type="application/json")
    shown = json.loads(client.get("/v1/items/A").text)
    assert shown["properties"] == {"gain": "1.2300", "deep": [{"n": "100"}]}


def test_the_same_item_again_is_unchanged(client):
    first = post(client, **LINK)
    again = post(client, **LINK)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()


def test_another_item_under_the_same_id_is_a_conflict(client):
    post(client, **LINK)
    answer = post(client, **LINK | {"capacity": "50 kN"})
    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["pointer"] == ""


def test_ids_with_slashes_and_signs_are_addressed_by_their_location(client):
    for code in ("A/1", "A//2", "Ü #1?", "50%"):
        made = post(client, id=code, kind="adapter")
        assert client.get(made.headers["Location"]).get_json()["id"] == code


def test_a_change_needs_the_etag_of_the_version_that_was_read(client):
    made = post(client, **LINK)
    address, etag = made.headers["Location"], made.headers["ETag"]
    assert client.patch(address, json={"owner": "Lab"}).status_code == 428
    changed = patch(client, address, etag, owner="Lab", properties={"colour": "red"})
    assert changed.status_code == 200
    assert changed.get_json() == LINK | {
        "owner": "Lab",
        "properties": {"colour": "red"},
        "version": 2,
    }
    assert patch(client, address, etag, owner="Other").status_code == 412
    assert client.get(address).get_json()["owner"] == "Lab"


def test_a_change_adds_to_the_properties_and_remarks(client):
    made = post(client, id="A", kind="adapter", properties={"a": "1", "b": "2"}, title="old")
    changes = {"properties": {"b": "3"}, "title": "new", "meaning": "more"}
    changed = patch(client, made.headers["Location"], made.headers["ETag"], **changes)
    body = changed.get_json()
    assert body["properties"] == {"a": "1", "b": "3"}
    assert (body["title"], body["meaning"]) == ("new", "more")


def test_after_a_later_start_of_service_an_earlier_use_is_refused(client):
    made = post(client, id="REF", kind="reference_standard")
    post(client, id="X", kind="customer_instrument")
    when = {"in_service_from": "2025-06-01"}
    patch(client, made.headers["Location"], made.headers["ETag"], **when)
    record = {"certificate": "C", "item": "X", "performed_at": "2025-05-31T23:59:59Z"}
    record["uses"] = [{"item": "REF", "role": "force_reference"}]
    record = answered(record)
    answer = client.post("/v1/calibrations", json=record)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == "/uses/0/item"
    assert (
        client.post("/v1/calibrations", json=record | {"performed_at": "2025-06-01"}).status_code
        == 201
    )


def test_id_and_kind_cannot_change(client):
    made = post(client, **LINK)
    answer = patch(client, made.headers["Location"], made.headers["ETag"], kind="software")
    assert answer.status_code == 422


def test_a_read_with_the_known_etag_is_answered_without_body(client):
    made = post(client, **LINK)
    address = made.headers["Location"]
    answer = client.get(address, headers={"If-None-Match": made.headers["ETag"]})
    assert (answer.status_code, answer.data) == (304, b"")


def test_the_list_is_paged_and_filtered(client):
    for number in range(5):
        kind = "adapter" if number % 2 else "readout"
        post(client, id=f"I-{number}", kind=kind, owner="Lab" if number < 2 else "Other")
    found, address = [], "/v1/items?limit=2"
    while address:
        page = client.get(address).get_json()
        assert len(page["items"]) <= 2
        found += [item["id"] for item in page["items"]]
        address = page["next"]
    assert found == [f"I-{number}" for number in range(5)]
    for query, expected in {
        "kind=adapter": ["I-1", "I-3"],
        "owner=Lab": ["I-0", "I-1"],
        "kind=readout&owner=Other": ["I-2", "I-4"],
        "type=pin": [],
    }.items():
        items = client.get(f"/v1/items?{query}").get_json()["items"]
        assert [item["id"] for item in items] == expected


def test_a_filter_that_is_not_known_is_refused(client):
    assert client.get("/v1/items?colour=red").status_code == 422


def test_an_unknown_item_is_not_found(client):
    assert client.get("/v1/items/GHOST").status_code == 404
    assert patch(client, "/v1/items/GHOST", "*", owner="Lab").status_code == 404


def test_reading_and_recording_need_their_scopes(app, keys):
    other = app.test_client()
    read, record = keys.headers("read"), keys.headers("record")
    assert other.post("/v1/items", json=LINK, headers=read).status_code == 403
    assert other.post("/v1/items", json=LINK, headers=record).status_code == 201
    assert other.get("/v1/items", headers=record).status_code == 403
    assert other.get("/v1/items").status_code == 401
