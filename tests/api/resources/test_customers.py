"""Customers over HTTP."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab

WHO = {"name": "Harbour Cranes", "contact": "Stores", "email": "a@example.org", "note": "Gate 2"}


@pytest.fixture
def made(client):
    """Answer to the recording of one customer."""
    return client.post("/v1/customers", json=WHO)


def test_a_customer_comes_back_as_it_was_sent(client, made):
    assert made.status_code == 201
    shown = client.get(made.headers["Location"])
    assert shown.get_json() == WHO | {"id": 1, "version": 1}
    assert shown.headers["ETag"] == made.headers["ETag"]


def test_a_name_is_recorded_once(client, made):
    again = client.post("/v1/customers", json=WHO)
    assert again.status_code == 409
    assert again.get_json()["errors"][0]["pointer"] == "/name"


def test_a_contact_changes_in_the_version_that_was_read(client, made):
    address, etag = made.headers["Location"], {"If-Match": made.headers["ETag"]}
    assert client.patch(address, json={"contact": "Office"}).status_code == 428
    changed = client.patch(address, json={"contact": "Office"}, headers=etag)
    assert changed.get_json() == WHO | {"contact": "Office", "id": 1, "version": 2}
    assert client.patch(address, json={"contact": "Dock"}, headers=etag).status_code == 412


def test_the_name_stands_on_certificates_and_stays(client, made):
    etag = {"If-Match": made.headers["ETag"]}
    assert (
        client.patch(made.headers["Location"], json={"name": "X"}, headers=etag).status_code == 422
    )


def test_certificates_record_their_customers_once_and_are_found_by_them(client, made):
    client.post(
        "/v1/imports",
        json=lab(
            cal("C-1", "A", "02-01", [], customer="Harbour Cranes"),
            cal("C-2", "A", "03-01", [], customer="Mine Works"),
            cal("C-3", "A", "04-01", [], customer="Mine Works"),
        ),
    )
    names = [one["name"] for one in client.get("/v1/customers").get_json()["items"]]
    assert names == ["Harbour Cranes", "Mine Works"]
    found = client.get("/v1/certificates?customer=Mine Works").get_json()["items"]
    assert [one["certificate"] for one in found] == ["C-2", "C-3"]
    assert {one["customer"] for one in found} == {"Mine Works"}


def test_the_list_is_paged(client):
    for number in range(3):
        client.post("/v1/customers", json={"name": f"N-{number}"})
    page = client.get("/v1/customers?limit=2").get_json()
    assert [one["name"] for one in page["items"]] == ["N-0", "N-1"]
    assert [one["name"] for one in client.get(page["next"]).get_json()["items"]] == ["N-2"]


def test_an_unknown_customer_is_not_found(client):
    assert client.get("/v1/customers/77").status_code == 404
