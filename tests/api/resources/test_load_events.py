"""Load events over HTTP."""

from __future__ import annotations

import pytest

SENT = {
    "id": "E/1",
    "item": "PIN",
    "at": "2025-03-10T11:30:00-05:00",
    "kind": "overload",
    "force": "120.50",
    "unit": "kN",
    "applications": 1,
    "person": "Robin Manager",
    "note": "pump ran on",
    "title": "a",
}


@pytest.fixture
def shop(client):
    """A client of a laboratory with two pins."""
    items = [{"id": code, "kind": "adapter_part"} for code in ("PIN", "PIN-2")]
    client.post("/v1/imports", json={"items": items})
    return client


def test_an_event_comes_back_exactly_as_it_was_sent(shop):
    made = shop.post("/v1/load-events", json=SENT)
    assert made.status_code == 201
    assert made.headers["Location"] == "/v1/load-events/E%2F1"
    assert shop.get(made.headers["Location"]).get_json() == SENT


def test_the_same_event_again_is_unchanged_and_another_is_a_conflict(shop):
    shop.post("/v1/load-events", json=SENT)
    assert shop.post("/v1/load-events", json=SENT).status_code == 200
    clash = shop.post("/v1/load-events", json=SENT | {"kind": "dropped"})
    assert (clash.status_code, clash.get_json()["errors"][0]["pointer"]) == (409, "/id")


def test_events_are_listed_by_item_and_kind_in_pages(shop):
    for number in range(3):
        shop.post("/v1/load-events", json=SENT | {"id": f"E-{number}"})
    shop.post("/v1/load-events", json=SENT | {"id": "E-9", "item": "PIN-2", "kind": "shock"})
    page = shop.get("/v1/load-events?item=PIN&limit=2").get_json()
    assert [one["id"] for one in page["items"]] == ["E-0", "E-1"]
    assert [one["id"] for one in shop.get(page["next"]).get_json()["items"]] == ["E-2"]
    (shock,) = shop.get("/v1/load-events?kind=shock").get_json()["items"]
    assert shock["item"] == "PIN-2"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"item": "GHOST"}, "/item"),
        ({"at": "2025-03-10T11:30:00"}, "/at"),
        ({"kind": "earthquake"}, "/kind"),
        ({"unit": None}, "/unit"),
        ({"force": None}, "/force"),
        ({"force": "0"}, "/force"),
        ({"unit": "t"}, "/unit"),
        ({"applications": -1}, "/applications"),
        ({"person": None}, "/person"),
        ({"who": "me"}, "/who"),
    ],
)
def test_an_event_that_cannot_be_is_refused(shop, changes, pointer):
    sent = {name: part for name, part in {**SENT, **changes}.items() if part is not None}
    answer = shop.post("/v1/load-events", json=sent)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == pointer
    assert error["remedy"]


def test_an_unknown_event_is_not_found(shop):
    assert shop.get("/v1/load-events/GHOST").status_code == 404
