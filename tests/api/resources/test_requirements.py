"""Requirements over HTTP: what an instrument asks of its set-up."""

from __future__ import annotations

import pytest

LINK = {
    "id": "link/20",
    "applies_to": {"type": "tension_link", "capacity": "20000 lbf"},
    "top_pin": {"diameter": "2 in", "tolerance_plus": "0 mm", "tolerance_minus": "0.20 mm"},
    "bottom_pin": {"diameter": "50.8 mm"},
    "shackle": {"style": "bow", "size": "1 3/4 in"},
    "roller_bearings": False,
    "spherical_seat": True,
    "rod_thread": "shouldered",
    "orientation_kept": True,
    "max_misalignment_deg": "0.50",
    "source": "drawing 20",
    "edition": "3",
    "note": "both ends alike",
}
PIN = {"diameter": "50 mm"}


@pytest.fixture
def shop(client):
    """A client of a laboratory with four links, one of them of no known capacity."""
    items = [
        {"id": "TL-1", "capacity": "20 kip"},
        {"id": "TL-2", "capacity": "20001 lbf"},
        {"id": "TL-3"},
        {"id": "TL-4", "capacity": "twenty kip"},
    ]
    rest = {"kind": "customer_instrument", "type": "tension_link"}
    client.post("/v1/imports", json={"items": [one | rest for one in items]})
    return client


def requirement(code, **applies_to):
    return {"id": code, "applies_to": applies_to, "pin": PIN, "source": "ours"}


def best(client, item):
    found = client.get(f"/v1/requirements?best_for={item}").get_json()["items"]
    return [one["id"] for one in found]


def test_a_requirement_comes_back_as_it_was_sent(client):
    made = client.post("/v1/requirements", json=LINK)
    assert (made.status_code, made.get_json()) == (201, LINK | {"version": 1})
    assert made.headers["Location"] == "/v1/requirements/link%2F20?version=1"
    shown = client.get(made.headers["Location"]).get_json()
    assert shown == LINK | {"version": 1, "versions": [1]}


def test_other_content_is_the_next_version_and_the_same_content_is_not(client):
    client.post("/v1/requirements", json=LINK)
    again = client.post("/v1/requirements", json=LINK)
    assert (again.status_code, again.get_json()["version"]) == (200, 1)
    changed = client.post("/v1/requirements", json=LINK | {"edition": "4"})
    assert (changed.status_code, changed.get_json()["version"]) == (201, 2)
    assert client.get("/v1/requirements/link/20?version=1").get_json()["edition"] == "3"
    (listed,) = client.get("/v1/requirements").get_json()["items"]
    assert listed["version"] == 2


def test_the_items_own_record_counts_before_its_type_and_capacity_before_its_type(shop):
    shop.post("/v1/requirements", json=requirement("any", type="tension_link"))
    assert best(shop, "TL-1") == ["any"]
    # 20000 lbf are 20 kip, exactly.
    shop.post("/v1/requirements", json=LINK)
    assert best(shop, "TL-1") == ["link/20"]
    assert best(shop, "TL-2") == best(shop, "TL-3") == best(shop, "TL-4") == ["any"]
    shop.post("/v1/requirements", json=requirement("one", item="TL-1"))
    assert best(shop, "TL-1") == ["one"]
    assert best(shop, "GHOST") == []


def test_two_that_count_alike_are_an_error_that_names_both(shop):
    for code in ("b", "a"):
        shop.post("/v1/requirements", json=requirement(code, type="tension_link"))
    refused = shop.get("/v1/requirements?best_for=TL-3")
    assert refused.status_code == 422
    (issue,) = refused.get_json()["errors"]
    assert issue["detail"] == 'requirements "a" and "b" count alike, by its type'
    # Something more specific is about fewer instruments, and about none of the same as the other.
    narrowed = requirement("a", type="tension_link", capacity="20 kip")
    shop.post("/v1/requirements", json=narrowed)
    assert (best(shop, "TL-3"), best(shop, "TL-1")) == (["b"], ["a"])


def test_a_version_that_applies_to_something_else_no_longer_counts(shop):
    shop.post("/v1/requirements", json=requirement("r", type="tension_link"))
    shop.post("/v1/requirements", json=requirement("r", type="crane_scale"))
    assert best(shop, "TL-3") == []


def test_requirements_are_listed_by_item_and_type_in_pages(shop):
    for number in range(3):
        shop.post("/v1/requirements", json=requirement(f"t{number}", type="tension_link"))
    shop.post("/v1/requirements", json=requirement("own", item="TL-1"))
    page = shop.get("/v1/requirements?type=tension_link&limit=2").get_json()
    assert [one["id"] for one in page["items"]] == ["t0", "t1"]
    assert [one["id"] for one in shop.get(page["next"]).get_json()["items"]] == ["t2"]
    (own,) = shop.get("/v1/requirements?item=TL-1").get_json()["items"]
    assert own["applies_to"] == {"item": "TL-1"}
    assert shop.get("/v1/requirements?item=GHOST").get_json()["items"] == []


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"source": None}, "/source"),
        ({"applies_to": {}}, "/applies_to"),
        ({"applies_to": {"item": "TL-1", "type": "x"}}, "/applies_to"),
        ({"applies_to": {"item": "TL-1", "capacity": "5 kN"}}, "/applies_to/capacity"),
        ({"applies_to": {"type": "x", "capacity": "5 t"}}, "/applies_to/capacity"),
        ({"applies_to": {"make": "Quill"}}, "/applies_to/make"),
        ({"applies_to": {"type": "x", "model": "L-20"}}, "/applies_to/model"),
        ({"applies_to": {"type": "x", "make": "Quill", "model": "L-20"}}, "/applies_to"),
        ({"applies_to": {"type": "x", "capacity": "0 kN"}}, "/applies_to/capacity"),
        ({"applies_to": {"item": "GHOST"}}, "/applies_to/item"),
        ({"top_pin": {"diameter": "50"}}, "/top_pin/diameter"),
        ({"top_pin": {"diameter": "0 mm"}}, "/top_pin/diameter"),
        ({"top_pin": {"diameter": '2"'}}, "/top_pin/diameter"),
        ({"top_pin": {"tolerance_plus": "1 mm"}}, "/top_pin/diameter"),
        ({"top_pin": PIN | {"tolerance_minus": "-1 mm"}}, "/top_pin/tolerance_minus"),
        ({"pin": PIN}, "/pin"),
        ({"shackle": {}}, "/shackle"),
        ({"shackle": {"size": 2}}, "/shackle/size"),
        ({"roller_bearings": "yes"}, "/roller_bearings"),
        ({"max_misalignment_deg": "90"}, "/max_misalignment_deg"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_a_requirement_that_cannot_be_compared_with_is_refused(shop, changes, pointer):
    sent = {name: part for name, part in {**LINK, **changes}.items() if part is not None}
    answer = shop.post("/v1/requirements", json=sent)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == pointer
    assert error["remedy"]


def test_a_requirement_requires_something(client):
    sent = {"id": "r", "applies_to": {"type": "x"}, "source": "ours"}
    answer = client.post("/v1/requirements", json=sent)
    assert answer.status_code == 422
    assert "nothing is required" in answer.get_json()["errors"][0]["detail"]


def test_an_unknown_requirement_or_version_is_not_found(client):
    assert client.get("/v1/requirements/none").status_code == 404
    client.post("/v1/requirements", json=LINK)
    answer = client.get("/v1/requirements/link/20?version=9")
    assert answer.status_code == 404
    assert "known versions: 1" in answer.get_json()["detail"]


def test_recording_needs_the_scope_for_it(app, keys):
    reader = app.test_client()
    answer = reader.post("/v1/requirements", json=LINK, headers=keys.headers("read", "decide"))
    assert answer.status_code == 403
