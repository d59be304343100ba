"""Which issued certificates would be stopped today; a bounded number looked at for each page."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

from api.services.overview import stopped

SPAN = [row(applied, U="0.0001", point=n) for n, applied in enumerate(("1", "20"), 1)]


@pytest.fixture
def laboratory(client):
    """C-1 to C-5 rest on WS, which failed a check after C-3; NI-1 is its source."""
    national = cal("NI-1", "REF", "01-02", [], SPAN, external=True, issuer="NI")
    value = cal("W-1", "WS", "01-10", [ref("REF")], SPAN)
    made = [
        cal(f"C-{n}", f"I-{n}", f"0{n + 1}-01", [ref("WS")], customer="Pier") for n in range(1, 6)
    ]
    checks = [{"id": "K-1", "item": "WS", "at": "2025-04-15T12:00:00Z", "result": "fail"}]
    sent = lab(national, value, *made, checks=checks, kinds={"REF": "reference_standard"})
    sent["checks"] += [{"id": "K-2", "item": "WS", "at": "2025-04-20T12:00:00Z", "result": "pass"}]
    assert client.post("/v1/imports", json=sent).status_code == 201
    return client


def pages(client, query):
    found, address = [], f"/v1/certificates?stopped=true{query}"
    while address:
        answer = client.get(address).get_json()
        found.append(answer["items"])
        address = answer["next"]
    return found


@pytest.mark.parametrize(("most", "query", "sizes"), [
    (200, "", [3]),
    (200, "&limit=2", [2, 1]),
    # C-5 and C-4 lie behind the passed check; then two stopped ones; C-1 and W-1; NI-1.
    (2, "", [0, 2, 1, 0]),
])  # fmt: skip
def test_each_is_found_once_however_much_a_page_looks_at(
    laboratory, monkeypatch, most, query, sizes
):
    monkeypatch.setattr(stopped, "MOST_LOOKED_AT", most)
    found = pages(laboratory, query)
    assert [len(one) for one in found] == sizes
    assert [one["certificate"] for some in found for one in some] == ["C-3", "C-2", "C-1"]
    for one in (one for some in found for one in some):
        assert {stop["code"] for stop in one["stops"]} == {"failed_check"}
        grounds = laboratory.get(f"/v1/certificates/{one['certificate']}/grounds").get_json()
        assert one["stops"] == [stop for stop in grounds["today"] if stop["weight"] == "stop"]


def test_it_is_narrowed_like_the_list_and_not_for_customers(laboratory, keys):
    assert [len(one) for one in pages(laboratory, "&item=I-2")] == [1]
    assert [len(one) for one in pages(laboratory, "&item=I-4")] == [0]
    assert [len(one) for one in pages(laboratory, "&customer=Nobody")] == [0]
    headers = keys.headers("read", customer="Pier")
    assert laboratory.get("/v1/certificates?stopped=true", headers=headers).status_code == 403
    assert laboratory.get("/v1/certificates?stopped=false", headers=headers).status_code == 200
