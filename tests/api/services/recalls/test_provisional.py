"""As long as nobody knows, whoever may be newly reached is under review, and nobody else."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref


def test_a_certificate_that_rests_on_what_is_watched_waits_for_the_answer(recalled, recheck):
    recalled.record(
        cal("C-3", "X", "05-01", [ref("WS")]),
        cal("C-4", "Y", "05-02", [ref("X")]),
        cal("Z-1", "PIN", "05-03", [ref("GOOD")]),
    )
    assert [recalled.state(n) for n in ("C-3", "C-4", "Z-1")] == ["under_review"] * 2 + ["none"]
    recheck()
    # Both are affected by a fresh recall, and no stored one lists them yet.
    assert [recalled.state(n) for n in ("C-3", "C-4", "Z-1")] == ["under_review"] * 2 + ["none"]
    recalled.report(previous=1)
    assert [recalled.state(n) for n in ("C-3", "C-4")] == ["recalled"] * 2


def test_one_that_turns_out_to_have_nothing_to_do_with_it_is_free_again(recalled, recheck):
    # Used before W-1 calibrated WS with the faulty standard.
    recalled.record(cal("C-3", "X", "01-05", [ref("WS")]))
    assert recalled.state("C-3") == "under_review"
    recheck()
    assert recalled.state("C-3") == "none"


def test_older_certificates_wait_too_where_a_holding_or_check_may_bring_them_in(recalled, recheck):
    recalled.record(
        cal("K-1", "X", "05-01", [ref("GOOD"), {"item": "Y", "role": "adapter"}]),
        cal("K-2", "PIN", "05-02", [ref("GOOD")]),
    )
    recheck()
    assert [recalled.state(n) for n in ("K-1", "K-2")] == ["none", "none"]
    body = {"assembly": "Y", "part": "A", "from": "2025-01-01T00:00:00Z"}
    recalled.post("/v1/compositions", body)
    assert [recalled.state(n) for n in ("K-1", "K-2")] == ["under_review", "none"]


@pytest.mark.parametrize("fault", [{"method": "M-1"}, {"certificate": "G-1"}])
def test_faults_of_methods_and_certificates_watch_too(recalled, recheck, fault):
    recalled.fault = fault | {"kind": "unknown"}
    recalled.report()
    recalled.record(
        cal("C-3", "X", "05-01", [ref("GOOD")], method="M-1"),
        cal("C-4", "Y", "05-01", [ref("GOLD")]),
    )
    assert [recalled.state(n) for n in ("C-3", "C-4")] == ["under_review", "none"]
    recheck()
    assert [recalled.state(n) for n in ("C-3", "C-4")] == ["under_review", "none"]
