"""Breaks of a chain that take a judgement; those of the records are in records/test_chains.py."""

from __future__ import annotations

from oracle_cases import ref, row

from tests.api.services.grounds.conftest import candidate


def breaks(bench):
    found = bench.get("/v1/certificates/N-1/chain")
    assert found["unbroken"] is (not found["breaks"])
    return [(one["kind"], one["certificate"], one["item"]) for one in found["breaks"]]


def test_a_whole_chain_has_none(bench):
    bench.imported(candidate())
    assert breaks(bench) == []


def test_recalled_links_are_named_up_to_the_certificate_itself(bench):
    bench.imported(candidate())
    bench.fault()
    assert breaks(bench) == [("recalled", "W-1", "WS"), ("recalled", "N-1", "CELL")]


def test_a_link_under_review_is_named_too(bench):
    bench.imported(candidate())
    window = {"last_good_at": "2025-01-15T00:00:00Z", "isolated_at": "2025-03-01T00:00:00Z"}
    bench.post("/v1/recalls", {"fault": {"item": "REF", "kind": "unknown"} | window})
    assert breaks(bench) == [("recalled", "W-1", "WS"), ("recalled", "N-1", "CELL")]


def test_a_force_outside_the_range_and_a_failed_check_far_up_are_named_where_they_are(bench):
    bench.imported(
        candidate(ref("WS"), results=[row(applied="150", U="1")]),
        checks=[{"id": "K", "item": "REF", "at": "2025-01-20", "result": "fail"}],
    )
    assert breaks(bench) == [("outside_range", "N-1", "WS"), ("failed_check", "W-1", "REF")]
