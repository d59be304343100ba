"""Agreements over HTTP: recorded in versions, ended, never edited; the narrowest counts."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from api.services.decisions.agreements import Book, Wanted
from graph.moments import instant_us

UTC = ZoneInfo("UTC")
ALDER, BIRCH = "Alder Rigging", "Birch Lifting"
AGREED = {
    "id": "AG/1",
    "customer": ALDER,
    "rule": {"id": "guard_U", "version": 1},
    "from": "2025-01-01",
    "agreed_with": "P. Alder",
    "by": "R. Manager",
    "note": "offer 12",
}


@pytest.fixture
def shop(client):
    """A client of a laboratory with two customers, two items and a specification."""
    items = [
        {"id": "CELL", "kind": "customer_instrument", "type": "load_cell"},
        {"id": "LINK", "kind": "customer_instrument", "type": "tension_link"},
    ]
    assert client.post("/v1/imports", json={"items": items}).status_code == 201
    for name in (ALDER, BIRCH):
        assert client.post("/v1/customers", json={"name": name}).status_code == 201
    sent = {"id": "S", "tolerance": "0.1", "unit": "%"}
    assert client.post("/v1/specifications", json=sent).status_code == 201
    return client


def record(client, **changes):
    sent = {name: part for name, part in (AGREED | changes).items() if part is not None}
    read = client.get(f"/v1/agreements/{sent['id']}")
    headers = {"If-Match": read.headers["ETag"]} if read.status_code == 200 else {}
    return client.post("/v1/agreements", json=sent, headers=headers)


def test_an_agreement_comes_back_as_it_was_sent(shop):
    made = record(shop, specification="S", order="PO 7")
    assert made.status_code == 201
    assert made.headers["Location"] == "/v1/agreements/AG%2F1?version=1"
    wanted = AGREED | {
        "version": 1,
        "order": "PO 7",
        "specification": {"id": "S", "version": 1},
    }
    assert made.get_json() == wanted
    shown = shop.get(made.headers["Location"]).get_json()
    assert shown == wanted | {"versions": [1]}


def test_the_same_again_is_no_new_version_and_what_was_agreed_is_never_edited(shop):
    record(shop)
    assert record(shop).status_code == 200
    changed = record(shop, rule="simple", **{"from": "2025-06-01"})
    assert (changed.status_code, changed.get_json()["version"]) == (201, 2)
    first = shop.get("/v1/agreements/AG/1?version=1").get_json()
    assert (first["rule"]["id"], first["versions"]) == ("guard_U", [1, 2])
    assert shop.patch("/v1/agreements/AG/1", json={}).status_code == 405
    assert shop.delete("/v1/agreements/AG/1").status_code == 405


def test_a_next_version_names_the_one_that_it_takes_the_place_of(shop):
    """RFC 9110, 13.1.1: of two persons who read version 1, the second to write is told so."""
    read = record(shop).headers["ETag"]
    assert shop.get("/v1/agreements/AG/1").headers["ETag"] == read
    first, second = (AGREED | {"rule": {"id": one, "version": 1}} for one in ("simple", "guard_U"))
    second["note"] = "offer 13"
    unread = shop.post("/v1/agreements", json=first)
    assert (unread.status_code, unread.get_json()["type"]) == (
        428,
        "/problems/precondition-required",
    )
    assert shop.post("/v1/agreements", json=first, headers={"If-Match": read}).status_code == 201
    lost = shop.post("/v1/agreements", json=second, headers={"If-Match": read})
    assert (lost.status_code, lost.get_json()["type"]) == (412, "/problems/stale-version")
    assert shop.get("/v1/agreements/AG/1").get_json()["rule"]["id"] == "simple"
    # What is recorded already changes nothing.
    assert shop.post("/v1/agreements", json=first).status_code == 200


OTHERWISE = ["alder rigging", " Alder\u00a0 Rigging", "\uff21lder Rig\u200bging"]


@pytest.mark.parametrize("name", OTHERWISE)
def test_agreements_that_differ_only_in_spelling_are_refused_by_name(shop, name):
    record(shop, order="PO 7")
    assert shop.post("/v1/customers", json={"name": name}).status_code == 201
    clash = record(shop, id="B", customer=name, order="po  7")
    assert clash.status_code == 409
    assert '"AG/1" holds for the same' in clash.get_json()["errors"][0]["detail"]
    assert record(shop, id="B", customer=name, order="PO 8").status_code == 201
    listed = shop.get("/v1/agreements", query_string={"customer": name}).get_json()["items"]
    assert [one["id"] for one in listed] == ["AG/1", "B"]


def test_a_rule_without_a_version_is_the_latest_and_stays_so(shop):
    rule = {"id": "G", "guard": {"basis": "none"}, "zones": 2}
    shop.post("/v1/decision-rules", json=rule)
    assert record(shop, rule="G").get_json()["rule"] == {"id": "G", "version": 1}
    shop.post("/v1/decision-rules", json=rule | {"guard": {"basis": "U"}})
    assert shop.get("/v1/agreements/AG/1").get_json()["rule"]["version"] == 1


def test_agreements_are_listed_in_their_latest_version_and_by_customer(shop):
    record(shop)
    record(shop, rule="simple")
    record(shop, id="B", customer=BIRCH)
    listed = shop.get("/v1/agreements").get_json()["items"]
    assert [(one["id"], one["version"]) for one in listed] == [("AG/1", 2), ("B", 1)]
    page = shop.get("/v1/agreements", query_string={"limit": 1}).get_json()
    assert [one["id"] for one in page["items"]] == ["AG/1"]
    assert page["next"]
    (one,) = shop.get("/v1/agreements", query_string={"customer": BIRCH}).get_json()["items"]
    assert one["id"] == "B"
    assert shop.get("/v1/agreements?customer=Nobody").get_json()["items"] == []
    assert shop.get("/v1/agreements/none").status_code == 404
    assert shop.get("/v1/agreements/AG/1?version=9").status_code == 404


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"customer": "Nobody"}, "/customer"),
        ({"item": "NONE"}, "/item"),
        ({"rule": "none"}, "/rule"),
        ({"rule": {"id": "guard_U", "version": 2}}, "/rule"),
        ({"specification": "none"}, "/specification"),
        ({"until": "2024-12-31"}, "/until"),
        ({"item": "CELL", "type": "load_cell"}, "/type"),
        ({"item": "CELL", "order": "PO 7"}, "/item"),
        ({"by": None}, "/by"),
        ({"from": None}, "/from"),
        ({"from": "2025-01-01T00:00:00"}, "/from"),
        ({"version": 2}, "/version"),
    ],
)
def test_what_cannot_be_agreed_is_refused_with_its_place(shop, changes, pointer):
    answer = record(shop, **changes)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == pointer
    assert error["remedy"]
    assert shop.get("/v1/agreements").get_json()["items"] == []


def test_a_next_version_is_for_the_same_customer_and_subject(shop):
    record(shop)
    for changes in ({"customer": BIRCH}, {"item": "CELL"}, {"order": "PO 7"}):
        answer = record(shop, **changes)
        assert (answer.status_code, answer.get_json()["errors"][0]["pointer"]) == (422, "/id")


def test_two_agreements_do_not_hold_for_the_same_at_once(shop):
    record(shop, until="2025-06-01")
    # The end is exclusive: the very instant of it is free.
    clash = record(shop, id="B", **{"from": "2025-05-31"})
    assert clash.status_code == 409
    assert '"AG/1" holds for the same' in clash.get_json()["errors"][0]["detail"]
    assert record(shop, id="B", **{"from": "2024-01-01"}).status_code == 409
    before = record(shop, id="B", until="2025-01-01", **{"from": "2024-01-01"})
    assert before.status_code == 201
    assert record(shop, id="C", **{"from": "2025-06-01"}).status_code == 201
    # For something else, or somebody else, there is no clash.
    assert record(shop, id="D", item="CELL").status_code == 201
    assert record(shop, id="E", customer=BIRCH).status_code == 201


@pytest.fixture
def holding(shop, database):
    """Which agreement holds for a calibration of CELL for a customer."""

    def ask(at, order=None, customer=ALDER, item=1, kind="load_cell"):
        with database.read() as session:
            row = Book(session).of(Wanted(customer, item, kind, order, instant_us(at, UTC)))
            return None if row is None else (row.code, row.agreement_version)

    return ask


def test_the_narrowest_agreement_counts(shop, holding):
    record(shop, id="ALL")
    record(shop, id="TYPE", type="load_cell")
    record(shop, id="ITEM", item="CELL")
    record(shop, id="ORDER", order="PO 7")
    at = "2025-03-01T00:00:00Z"
    assert holding(at, "PO 7") == ("ORDER", 1)
    assert holding(at, "PO 8") == ("ITEM", 1)
    assert holding(at, item=2) == ("TYPE", 1)
    assert holding(at, item=2, kind="tension_link") == ("ALL", 1)
    assert holding(at, item=2, kind=None) == ("ALL", 1)
    assert holding(at, customer=BIRCH) is None


def test_a_version_holds_from_its_beginning_until_its_end(shop, holding):
    record(shop)
    record(shop, rule="simple", **{"from": "2025-06-01"})
    record(shop, rule="simple", until="2025-09-01T12:00:00Z", **{"from": "2025-06-01"})
    assert holding("2024-12-31T23:59:59Z") is None
    assert holding("2025-01-01T00:00:00Z") == ("AG/1", 1)
    assert holding("2025-05-31T23:59:59Z") == ("AG/1", 1)
    assert holding("2025-06-01T00:00:00Z") == ("AG/1", 3)
    assert holding("2025-09-01T11:59:59Z") == ("AG/1", 3)
    assert holding("2025-09-01T12:00:00Z") is None


def test_a_customer_reads_no_agreements_and_a_reader_records_none(shop, keys):
    own = keys.headers("read", customer=ALDER)
    assert shop.get("/v1/agreements", headers=own).status_code == 403
    answer = shop.post("/v1/agreements", json=AGREED, headers=keys.headers("read"))
    assert answer.status_code == 403


def test_the_journal_holds_agreements_to_what_was_recorded(shop):
    record(shop)
    facts = [
        fact
        for line in shop.get("/v1/journal").get_json()["items"]
        for fact in line["facts"]
        if fact["what"] == "agreement"
    ]
    assert [(one["code"], one["agreement_version"]) for one in facts] == [("AG/1", 1)]


def decide(client, **changes):
    sent = {"value": "0.05", "U": "0.02", "unit": "%", "agreement": "AG/1"} | changes
    return client.post("/v1/decisions", json=sent)


def test_a_decision_goes_by_the_rule_and_specification_of_an_agreement(shop):
    record(shop, specification="S")
    made = decide(shop)
    assert made.status_code == 201
    answer = made.get_json()
    # |0.05| <= 0.1 - 0.02 = 0.08 % under guard_U.
    assert (answer["verdict"], answer["acceptance"]["upper"]) == ("pass", "0.08")
    assert answer["rule"] == AGREED["rule"]
    assert answer["agreement"] == {"id": "AG/1", "version": 1, "customer": ALDER}
    assert f"agreed with {ALDER} (agreement AG/1, version 1)" in answer["statement"]
    # A later version changes no stored decision: it is decided again by the one that it names.
    record(shop, rule="simple", specification="S")
    again = shop.post(f"/v1/decisions/{answer['id']}/replay").get_json()
    assert (again["identical"], again["differences"]) == (True, [])
    assert decide(shop).get_json()["agreement"]["version"] == 2
    old = decide(shop, agreement={"id": "AG/1", "version": 1}, store=False)
    assert (old.status_code, old.get_json()["rule"]["id"]) == (200, "guard_U")


def test_a_decision_may_bring_its_own_limits_to_an_agreement(shop):
    record(shop)
    answer = decide(shop, limits={"upper": "0.06"}).get_json()
    assert (answer["verdict"], answer["acceptance"]["upper"]) == ("fail", "0.04")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"agreement": "none"}, "/agreement"),
        ({"agreement": {"id": "AG/1", "version": 2}}, "/agreement"),
        ({}, "/agreement"),  # neither limits nor a specification
        ({"rule": "simple"}, "/agreement"),
        ({"nominal": "10"}, "/nominal"),
        ({"agreement": None}, "/agreement"),
    ],
)
def test_a_decision_that_an_agreement_does_not_settle_is_refused(shop, changes, pointer):
    record(shop)
    answer = decide(shop, **changes)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer
