"""A record that comes late re-resolves what was in force; recalls that it changes are flagged.

Expected: `stale` is true exactly if a fresh recall differs in its windows or in any list but
`cleared`, for open and closed recalls, first looks and second ones, and until that is known
"checking". ISO/IEC 17025:2017, 7.10.1 (from memory): nonconforming work is evaluated whenever it
comes to light.
"""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, answered, cal, lab, ref, row

FAULT = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"} | OPEN


@pytest.fixture
def recalled(client):
    """A laboratory with one recall: WS was calibrated with REF and used for C-1 and C-2."""
    laboratory = lab(
        cal("W-1", "WS", "01-10", [ref("REF")]),
        cal("C-1", "A", "02-01", [ref("WS")]),
        cal("C-2", "B", "04-01", [ref("WS")]),
        cal("G-1", "GOOD", "01-05", [ref("ROOT")]),
    )
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    return client.post("/v1/recalls", json={"fault": FAULT}).get_json()


@pytest.fixture
def told(client, recheck):
    """What a recall says of itself, before and after it was compared with a fresh one."""

    def shown(recall):
        return client.get(f"/v1/recalls/{recall['id']}").get_json()

    def of(recall):
        assert shown(recall)["stale"] == "checking"
        recheck()
        found = shown(recall)
        return found["stale"], found["staleness"]

    return of


def test_a_late_recalibration_flags_the_recall_and_leaves_the_snapshot(client, recalled, told):
    assert recalled["stale"] is False
    late = cal("W-2", "WS", "03-01", [ref("GOOD")])
    assert client.post("/v1/calibrations", json=answered(late)).status_code == 201
    state, flag = told(recalled)
    assert state is True
    assert [one["certificate"] for one in flag["differences"]["removed"]["certificates"]] == ["C-2"]
    assert "W-2" in flag["cause"]
    again = client.get(f"/v1/recalls/{recalled['id']}").get_json()
    assert again["affected"] == recalled["affected"]
    second = client.post("/v1/recalls", json={"fault": FAULT, "previous": recalled["id"]})
    assert [one["certificate"] for one in second.get_json()["affected"]] == ["W-1", "C-1"]


def test_a_void_flags_the_recall(client, recalled, told):
    since = {"reason": "wrong item on it", "voided_at": "2025-01-15T00:00:00Z"}
    voided = client.post("/v1/certificates/W-1/void", json=since)
    assert voided.status_code == 200
    found = told(recalled)[1]["differences"]
    # Without W-1 at the time of use nothing carries the fault to C-1 and C-2; W-1 itself is traced,
    # not recalled.
    assert {one["certificate"] for one in found["removed"]["certificates"]} == {"C-1", "C-2"}
    assert found["moved"]["certificates"][0]["to"] == "traced_not_recalled"


def test_a_void_of_today_takes_nobody_from_the_recall(client, recalled):
    voided = client.post("/v1/certificates/W-1/void", json={"reason": "withdrawn"})
    assert voided.status_code == 200
    request = {"fault": FAULT, "preview": True}
    again = client.post("/v1/recalls", json=request).get_json()
    assert [one["certificate"] for one in again["affected"]] == ["C-1", "C-2"]
    assert [one["certificate"] for one in again["traced_not_recalled"]] == ["W-1"]


def test_a_certificate_of_the_other_mode_does_not_end_the_chain(client):
    tension, compression = {"mode": "tension"}, {"mode": "compression"}
    laboratory = lab(
        cal("W-T", "WS", "02-01", [ref("REF")], **tension),
        cal("W-C", "WS", "02-02", [ref("REF2")], **compression),
        cal("K-1", "A", "03-01", [ref("WS")], **tension),
        cal("K-2", "B", "03-01", [ref("WS")], **compression),
    )
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    answer = client.post("/v1/recalls", json={"fault": FAULT, "preview": True}).get_json()
    assert [one["certificate"] for one in answer["affected"]] == ["W-T", "K-1"]


def test_a_record_that_has_nothing_to_do_with_it_flags_nothing(client, recalled):
    other = cal("Z-1", "Z", "05-01", [ref("GOOD")], [row("10", "0")])
    assert (
        client.post("/v1/items", json={"id": "Z", "kind": "customer_instrument"}).status_code == 201
    )
    assert client.post("/v1/calibrations", json=answered(other)).status_code == 201
    shown = client.get(f"/v1/recalls/{recalled['id']}").get_json()
    assert (shown["stale"], shown["staleness"]["history"]) == (False, [])


def test_a_record_that_might_and_does_not_change_it_leaves_no_trace(client, recalled, told):
    # Of an item that the recall lists, before anything that it lists.
    late = cal("A-1", "A", "01-02", [ref("GOOD")])
    assert client.post("/v1/calibrations", json=answered(late)).status_code == 201
    state, flag = told(recalled)
    assert (state, flag["history"]) == (False, [])


def closed(client, recall):
    """Close the case of a recall, every certificate withdrawn."""
    address = f"/v1/recalls/{recall['id']}"
    everybody = [
        {"certificate": one["certificate"], "revision": one["revision"]}
        for name in ("affected", "indeterminate")
        for one in recall[name]
    ]
    body = {"certificates": everybody, "action": "withdraw", "by": "Ada Quill"}
    etag = client.get(f"{address}/case").headers["ETag"]
    made = client.post(f"{address}/dispositions", json=body, headers={"If-Match": etag})
    assert made.status_code == 201, made.get_json()
    for state in ("assessed", "notified", "closed"):
        step = {"state": state, "by": "Ada Quill", "reason": "as agreed"}
        etag = client.get(f"{address}/case").headers["ETag"]
        answer = client.patch(f"{address}/case", json=step, headers={"If-Match": etag})
        assert answer.status_code == 200, answer.get_json()


def listed(client, **query):
    return [one["id"] for one in client.get("/v1/recalls", query_string=query).get_json()["items"]]


def record(client, *calibrations):
    for one in calibrations:
        answer = client.post("/v1/calibrations", json=answered(one))
        assert answer.status_code == 201, answer.get_json()


def test_a_closed_case_is_flagged_and_listed_until_somebody_looks_again(client, recalled, told):
    closed(client, recalled)
    assert client.get("/v1/recalls/1/case").get_json()["reopen"] is False
    record(client, cal("C-3", "A", "05-01", [ref("WS")]))
    assert client.get("/v1/certificates/C-3").get_json()["recall_state"] == "under_review"
    state, flag = told(recalled)
    assert (state, flag["reopen"]) == (True, True)
    assert flag["differences"]["added"]["certificates"][0]["certificate"] == "C-3"
    assert client.get("/v1/certificates/C-3").get_json()["recall_state"] == "under_review"
    assert client.get("/v1/recalls/1/case").get_json()["reopen"] is True
    assert listed(client, reopen="true") == listed(client, stale="true") == [1]
    again = client.post("/v1/recalls", json={"fault": FAULT, "previous": 1}).get_json()
    assert again["stale"] is False
    assert listed(client, reopen="true") == []
    # The first look still differs from today's records, as any other stored recall would.
    assert listed(client, stale="true") == [1]
    assert client.get("/v1/certificates/C-3").get_json()["recall_state"] == "recalled"


def test_a_first_look_stays_watched_for_its_own_window(client, recalled, told):
    closed(client, recalled)
    narrow = FAULT | {"last_good_at": "2025-02-15T00:00:00Z"}
    second = client.post("/v1/recalls", json={"fault": narrow, "previous": 1}).get_json()
    # Used before the narrow window begins, inside the first one.
    record(client, cal("C-3", "A", "01-20", [ref("REF")]))
    state, flag = told(recalled)
    assert (state, flag["reopen"]) == (True, True)
    assert client.get(f"/v1/recalls/{second['id']}").get_json()["stale"] is False


def test_a_flag_ends_when_the_records_are_as_they_were(client, recalled, told):
    use = client.get("/v1/certificates/C-2").get_json()["uses"][0]
    body = {"by": "M. Tarn", "reason": "the work sheet says half"}
    address = "/v1/certificates/C-2/uses/0/corrections"
    assert client.post(address, json={**body, "use": ref("WS", "0.5")}).status_code == 201
    state, flag = told(recalled)
    assert (state, flag["differences"]["changed"]["count"]) == (True, 1)
    assert client.post(address, json={**body, "use": ref("WS")}).status_code == 201
    state, flag = told(recalled)
    assert use["item"] == "WS"
    assert state is False
    assert [one["stale"] for one in flag["history"]] == [True, False]
    assert flag["history"][1]["cause"] == "a use of C-2 was corrected"
    assert "differences" not in flag


def test_a_wrongly_recorded_use_is_corrected_and_the_old_one_stays_readable(client, recalled, told):
    wrong = client.get("/v1/certificates/C-2").get_json()
    assert wrong["uses"][0]["in_force"]["certificate"] == "W-1"
    body = {"use": ref("GOOD"), "by": "M. Tarn", "reason": "the work sheet says GOOD"}
    mended = client.post("/v1/certificates/C-2/uses/0/corrections", json=body)
    assert mended.status_code == 201, mended.get_json()
    shown = mended.get_json()
    assert shown["uses"][0]["in_force"]["certificate"] == "G-1"
    (kept,) = shown["use_corrections"]
    assert (kept["before"]["item"], kept["after"]["item"], kept["by"]) == ("WS", "GOOD", "M. Tarn")
    found = told(recalled)[1]["differences"]
    assert found["removed"]["certificates"][0]["certificate"] == "C-2"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"use": ref("NOBODY"), "by": "M. Tarn", "reason": "x"}, "/use/item"),
        ({"use": ref("GOOD", {"9": "1"}), "by": "M. Tarn", "reason": "x"}, "/use/weight"),
        ({"use": ref("B"), "by": "M. Tarn", "reason": "x"}, ""),
        ({"use": ref("GOOD"), "reason": "x"}, "/by"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_and_changes_nothing(
    client, recalled, body, pointer
):
    before = client.get("/v1/certificates/C-2").get_json()
    answer = client.post("/v1/certificates/C-2/uses/0/corrections", json=body)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer
    assert client.get("/v1/certificates/C-2").get_json() == before


def test_a_revision_that_names_another_item_flags_what_rested_on_the_first(client, recalled, told):
    # From its issue on WS has no value any more, so that C-2 rests on nothing.
    client.post("/v1/items", json={"id": "WS-2", "kind": "working_standard"})
    revised = cal("W-1", "WS-2", "01-10", [ref("REF")], revision=1, amendment="serial number")
    sent = revised | {"issued_at": "2025-03-01T00:00:00Z"}
    assert client.post("/v1/certificates/W-1/revisions", json=answered(sent)).status_code == 201
    removed = told(recalled)[1]["differences"]["removed"]["certificates"]
    assert [one["certificate"] for one in removed] == ["C-2"]
