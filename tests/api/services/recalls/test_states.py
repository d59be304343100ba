"""May a certificate be relied on: the gravest word of the recalls, stored ones and fresh ones."""

from __future__ import annotations

from oracle_cases import cal, ref


def test_what_only_a_fresh_recall_recalls_is_under_review_until_a_look_lists_it(recalled, recheck):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    recheck()
    assert [recalled.state(n) for n in ("W-1", "C-3", "G-1")] == [
        "recalled",
        "under_review",
        "none",
    ]
    recalled.report()  # of the same fault, but no second look
    assert recalled.state("C-3") == "recalled"


def test_a_decision_on_other_numbers_frees_nobody(recalled, recheck):
    chosen = [{"certificate": "C-2", "revision": 0}]
    body = {"certificates": chosen, "action": "no_action", "by": "A. Q.", "justification": "small"}
    etag = recalled.client.get("/v1/recalls/1/case").headers["ETag"]
    address = "/v1/recalls/1/dispositions"
    made = recalled.client.post(address, json=body, headers={"If-Match": etag})
    assert made.status_code == 201, made.get_json()
    assert recalled.state("C-2") == "none"
    use = {"use": ref("WS", "0.5"), "by": "M. Tarn", "reason": "work sheet"}
    recalled.post("/v1/certificates/C-2/uses/0/corrections", use)
    recheck()
    assert recalled.state("C-2") == "under_review"


def test_what_a_second_look_does_not_list_stays_under_review(recalled):
    recalled.fault = recalled.fault | {"last_good_at": "2025-02-15T00:00:00Z"}
    recalled.report(previous=1)
    assert [recalled.state(n) for n in ("W-1", "C-1", "G-1")] == [*["under_review"] * 2, "none"]
