"""Which part is in which assembly, over HTTP."""

from __future__ import annotations

import pytest

HELD = {"assembly": "ADP", "part": "PIN", "from": "2025-03-10T11:30:00-05:00"}


@pytest.fixture
def parts(client):
    """A client of a laboratory with two adapters, a clevis and a pin."""
    kinds = {"ADP": "adapter", "ADP-2": "adapter", "CLV": "adapter_part", "PIN": "adapter_part"}
    items = [{"id": code, "kind": kind} for code, kind in kinds.items()]
    client.post("/v1/imports", json={"items": items})
    return client


def post(client, **holding):
    return client.post("/v1/compositions", json=holding)


def end(client, made, until: str):
    headers = {"If-Match": made.headers["ETag"]}
    return client.patch(made.headers["Location"], json={"until": until}, headers=headers)


def test_a_holding_comes_back_exactly_as_it_was_sent(parts):
    made = post(parts, **HELD, note="left side", title="a", meaning="b", amendment="c")
    assert made.status_code == 201
    shown = parts.get(made.headers["Location"]).get_json()
    remarks = {"note": "left side", "title": "a", "meaning": "b", "amendment": "c"}
    assert shown == HELD | remarks | {"id": 1, "until": None, "version": 1}


def test_the_same_holding_again_is_unchanged_and_another_is_a_conflict(parts):
    first, again = post(parts, **HELD), post(parts, **HELD)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert post(parts, **HELD, until="2026-01-01").status_code == 409


def test_the_same_instant_written_in_another_zone_is_the_same_holding(parts):
    post(parts, **HELD)
    # 11:30 at UTC-5 is 16:30 UTC
    assert post(parts, **HELD | {"from": "2025-03-10T16:30:00Z"}).status_code == 409


def test_a_holding_is_ended_once_and_after_it_began(parts):
    made = post(parts, **HELD)
    early = end(parts, made, "2025-03-10T16:30:00Z")
    assert early.status_code == 422
    assert early.get_json()["errors"][0]["pointer"] == "/until"
    ended = end(parts, made, "2025-04-01T00:00:00Z")
    assert ended.status_code == 200
    assert ended.get_json()["until"] == "2025-04-01T00:00:00Z"
    assert ended.headers["ETag"] != made.headers["ETag"]
    assert end(parts, made, "2025-05-01T00:00:00Z").status_code == 412
    assert end(parts, ended, "2025-05-01T00:00:00Z").status_code == 409


def test_ending_a_holding_needs_the_etag(parts):
    made = post(parts, **HELD)
    body = {"until": "2025-04-01"}
    assert parts.patch(made.headers["Location"], json=body).status_code == 428


def test_a_part_may_come_back_and_may_swap_places_over_time(parts):
    post(parts, **HELD, until="2025-04-01T00:00:00Z")
    assert post(parts, **HELD | {"from": "2025-05-01T00:00:00Z"}).status_code == 201
    # CLV in PIN while PIN is in ADP is lawful; ADP in CLV at that time would be a circle.
    assert post(parts, assembly="PIN", part="CLV", **{"from": "2025-06-01"}).status_code == 201
    circle = post(parts, assembly="CLV", part="ADP", **{"from": "2025-07-01"})
    assert circle.status_code == 422
    assert "within itself" in circle.get_json()["errors"][0]["detail"]
    # Before any of them began there is no circle.
    before = {"from": "2025-01-01", "until": "2025-02-01"}
    assert post(parts, assembly="CLV", part="ADP", **before).status_code == 201


def test_holdings_are_listed_by_assembly_and_part_in_pages(parts):
    for month in range(1, 6):
        assembly = "ADP" if month % 2 else "ADP-2"
        span = {"from": f"2025-0{month}-01", "until": f"2025-0{month}-20"}
        assert post(parts, assembly=assembly, part="PIN", **span).status_code == 201
    page = parts.get("/v1/compositions?part=PIN&limit=3").get_json()
    rest = parts.get(page["next"]).get_json()
    found = [one["from"] for one in page["items"] + rest["items"]]
    assert found == [f"2025-0{month}-01" for month in range(1, 6)]
    assert rest["next"] is None
    ours = parts.get("/v1/compositions?assembly=ADP-2").get_json()["items"]
    assert [one["from"] for one in ours] == ["2025-02-01", "2025-04-01"]
    assert parts.get("/v1/compositions?part=GHOST").get_json()["items"] == []


def test_an_unknown_holding_is_not_found(parts):
    assert parts.get("/v1/compositions/77").status_code == 404
