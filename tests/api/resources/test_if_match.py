"""Corrections and exchanges honour If-Match (RFC 9110 section 13.1.1, read): 412, nothing changed.

They need no header: a correction names what was wrong, and a laboratory may send many at once.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, part, ref

SAID = {"by": "M. Tarn", "reason": "the work sheet says otherwise"}
CERTIFICATE, HOLDING = "/v1/certificates/K-1", "/v1/compositions/1"
CHECK, ITEM = "/v1/checks/C-1", "/v1/items/B"
VOID = {"reason": "a slip"}
CHANGES = {
    "use added": (CERTIFICATE, f"{CERTIFICATE}/uses", SAID | {"use": ref("B", "0")}),
    "use corrected": (CERTIFICATE, f"{CERTIFICATE}/uses/0/corrections", SAID | {"use": ref("B")}),
    "use removed": (CERTIFICATE, f"{CERTIFICATE}/uses/0/corrections", SAID | {"use": None}),
    "voided": (CERTIFICATE, f"{CERTIFICATE}/void", VOID),
    "issued": ("/v1/certificates/D-1", "/v1/certificates/D-1/issue", {"issued_at": "2025-06-01"}),
    "holding": (HOLDING, f"{HOLDING}/corrections", SAID | {"withdrawn": True}),
    "check": (CHECK, f"{CHECK}/corrections", SAID | {"withdrawn": True}),
}
SWAP = SAID | {"items": ["A", "B"], "from": "2025-01-01T00:00:00Z"}


def work(client):
    """One record of each kind that can be corrected."""
    check = {"id": "C-1", "item": "A", "at": "2025-02-15T00:00:00Z", "result": "pass"}
    records = lab(
        cal("K-1", "X", "02-01", [ref("A")]),
        cal("D-1", "Y", "02-02", [], status="draft"),
        composition=[part("RIG", "A")],
        checks=[check],
        kinds={"RIG": "force_machine", "B": "working_standard"},
    )
    made = client.post("/v1/imports", json=records)
    assert made.status_code == 201, made.get_json()


@pytest.fixture
def recorded(once, client):
    once(work)
    return client


def sent(client, path, body, *tags):
    return client.post(path, json=body, headers={"If-Match": ", ".join(tags)})


@pytest.mark.parametrize("name", CHANGES)
def test_an_old_tag_is_412_with_the_current_one_and_changes_nothing(recorded, name):
    shown, path, body = CHANGES[name]
    before = recorded.get(shown)
    refused = sent(recorded, path, body, '"old"')
    assert refused.status_code == 412, refused.text
    assert refused.get_json()["type"] == "/problems/stale-version"
    assert refused.headers["ETag"] == before.headers["ETag"]
    assert recorded.get(shown).get_json() == before.get_json()


@pytest.mark.parametrize("name", CHANGES)
def test_the_current_tag_passes_once(recorded, name):
    shown, path, body = CHANGES[name]
    tag = recorded.get(shown).headers["ETag"]
    answer = sent(recorded, path, body, tag)
    assert answer.status_code in (200, 201), answer.text
    assert answer.headers["ETag"] == recorded.get(shown).headers["ETag"] != tag
    assert sent(recorded, path, body, tag).status_code == 412


def test_an_exchange_names_the_tags_of_both_items(recorded):
    tags = [recorded.get(f"/v1/items/{one}").headers["ETag"] for one in ("A", "B")]
    path = "/v1/identity-swaps"
    for some, current in (([tags[0]], tags[1]), ([tags[1]], tags[0]), (['"old"'], tags[0])):
        refused = sent(recorded, path, SWAP, *some)
        assert refused.status_code == 412
        assert refused.headers["ETag"] == current
    assert sent(recorded, path, SWAP, *tags).status_code == 201
    # The same exchange again would take it back.
    assert sent(recorded, path, SWAP, *tags).status_code == 412
    assert sent(recorded, path, SWAP, "*").status_code == 201


@pytest.mark.parametrize("name", CHANGES)
def test_without_the_header_they_go_through_as_ever(recorded, name):
    _, path, body = CHANGES[name]
    assert recorded.post(path, json=body).status_code in (200, 201)
