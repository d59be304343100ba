"""A calibration is sent again after its uses were corrected: what stands now is the same record.

That a recorded amendment is kept and not undone by repeating the original entry: ISO/IEC
17025:2017, 7.5.2, from memory; that importing is safe to repeat: DESIGN section 3.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

SAID = {"by": "M. Tarn", "reason": "the work sheet says otherwise"}
USES = [
    ref("REF", "0.50", note="left side", title="first"),
    ref("WS", {"1": "0.5"}, points=[1], factor_applied="1.0010", channel="B"),
    ref("WS", "0", performed_at="2025-01-31", certificate="W", revision=0),
]
SENT = cal("K/1", "A", "02-01", USES, mode="tension")


def work(client):
    """K/1 used REF and WS; W calibrated WS before."""
    records = lab(cal("W", "WS", "01-10", [ref("REF")]), SENT)
    records["items"] += [{"id": "P", "kind": "adapter"}, {"id": "A2", "kind": "working_standard"}]
    assert client.post("/v1/imports", json=records).status_code == 201


@pytest.fixture
def used(once, client):
    once(work)
    return client


def correct(client, position, use):
    at = f"/v1/certificates/K%2F1/uses/{position}/corrections"
    assert client.post(at, json=SAID | {"use": use}).status_code == 201


def add(client, use):
    at = "/v1/certificates/K%2F1/uses"
    assert client.post(at, json=SAID | {"use": use}).status_code == 201


def again(client, uses, **changed):
    return client.post("/v1/imports", json={"calibrations": [SENT | {"uses": uses} | changed]})


NEW = ref("P", "1", note="right side", meaning="mended")


def replaced(client):
    correct(client, 0, NEW)
    return [NEW, *USES[1:]]


def removed(client):
    correct(client, 1, None)
    return [USES[0], USES[2]]


def added(client):
    add(client, NEW)
    return [*USES, NEW]


def often(client):
    """The added one replaced, the first one twice, the second taken out."""
    add(client, NEW)
    correct(client, 3, ref("REF", "0.25"))
    correct(client, 0, NEW)
    correct(client, 0, ref("P", role="adapter"))
    correct(client, 1, None)
    return [ref("P", role="adapter"), USES[2], ref("REF", "0.25")]


@pytest.mark.parametrize("change", [replaced, removed, added, often])
def test_what_stands_is_the_same_and_what_stood_names_the_correction(used, change):
    stands = change(used)
    answer = again(used, stands)
    assert answer.status_code == 201, answer.text
    assert answer.get_json()["unchanged"]["calibrations"] == 1
    alone = used.post("/v1/calibrations", json=SENT | {"uses": stands})
    assert alone.status_code == 200
    refused = again(used, USES)
    assert refused.status_code == 409
    (issue,) = refused.get_json()["errors"]
    assert issue["pointer"] == "/calibrations/0"
    assert "corrected since" in issue["detail"]
    assert "by M. Tarn at 2" in issue["detail"]
    assert SAID["reason"] in issue["detail"]
    assert "GET /v1/certificates/K/1" in issue["remedy"]


@pytest.mark.parametrize("change", [replaced, removed, added, often])
def test_anything_else_is_other_content_as_ever(used, change):
    stands = change(used)
    for uses, more in (
        (stands, {"mode": "compression"}),
        (stands, {"item": "A2"}),
        (USES, {"mode": "compression"}),
        ([ref("REF", "0.1")], {}),
        ([], {}),
    ):
        refused = again(used, uses, **more)
        assert refused.status_code == 409
        (issue,) = refused.get_json()["errors"]
        assert "recorded with other content" in issue["detail"]


def test_what_stood_between_two_corrections_is_not_what_stands(used):
    correct(used, 0, NEW)
    correct(used, 0, ref("REF", "0.75"))
    between = again(used, [NEW, *USES[1:]])
    assert "corrected since" in between.get_json()["errors"][0]["detail"]
    assert again(used, [ref("REF", "0.75"), *USES[1:]]).status_code == 201


def test_a_correction_that_was_taken_back_leaves_the_file_it_came_from_the_same(used):
    correct(used, 0, NEW)
    correct(used, 0, USES[0])
    assert again(used, USES).status_code == 201
    assert again(used, [NEW, *USES[1:]]).status_code == 409


def test_a_calibration_without_uses_to_which_one_was_added(used):
    bare = {name: value for name, value in cal("K-2", "A", "02-02", []).items() if name != "uses"}
    for sent in (bare, bare | {"certificate": "K-3", "uses": []}):
        assert used.post("/v1/calibrations", json=sent).status_code == 201
        at = f"/v1/certificates/{sent['certificate']}/uses"
        assert used.post(at, json=SAID | {"use": NEW}).status_code == 201
        assert used.post("/v1/calibrations", json=sent | {"uses": [NEW]}).status_code == 200
        assert used.post("/v1/calibrations", json=sent).status_code == 409


def test_after_an_exchange_the_calibration_as_it_stands_is_the_same(used):
    swap = SAID | {"items": ["A", "A2"], "from": "2025-01-01", "until": "2025-03-01"}
    assert used.post("/v1/identity-swaps", json=swap).status_code == 201
    correct(used, 0, NEW)
    assert again(used, [NEW, *USES[1:]], item="A2").status_code == 201
    assert again(used, [NEW, *USES[1:]], item="A").status_code == 409
