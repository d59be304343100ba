"""U of the references in a checked set-up, which runs take from their certificates."""

from __future__ import annotations

import pytest

from tests.flow import RUNS, SET_UP, SPAN, measure, recorded

DAY = "2026-02-01T10:00:00Z"


@pytest.fixture
def bench(client, once):
    """The laboratory; REF-1 and REF-2 state 0.02 % of the force at 5 and 200 kN, k = 2."""
    once(measure)
    return client


def runs(bench, without=(), sent=None, **set_up):
    changed = {name: part for name, part in SET_UP.items() if name not in without} | set_up
    key = recorded(bench, "setup-checks", changed)["id"]
    body = RUNS | {"set_up_check": key, "store": False} | (sent or {})
    return recorded(bench, "run-evaluations", body, 200).get("reference")


def test_the_certificate_in_force_says_it(bench):
    of = [{"item": "REF-1", "certificate": "NI-7", "revision": 0}]
    assert runs(bench) == {"U_rel_pct": "0.02", "k": "2", "of": of}
    kept = bench.get("/v1/run-evaluations/1").get_json()
    assert kept["request"]["reference"]["U_rel_pct"] == "0.02"
    first = kept["points"][0]["uncertainty"]["contributions"][0]
    assert (first["label"], first["u_rel_pct"]) == ("w1", "0.01")


def test_shares_count_together(bench):
    halves = [{"item": "REF-1", "weight": "0.6"}, {"item": "REF-2", "weight": "0.8"}]
    # sqrt((0.6 x 0.01)^2 + (0.8 x 0.01)^2) = 0.01 %, twice
    assert runs(bench, references=halves)["U_rel_pct"] == "0.02"


def test_the_machine_counts_where_no_reference_is_named(bench):
    assert runs(bench, ("references",), machine="FM-9")["of"][0]["certificate"] == "NI-9"
    assert runs(bench, ("references",)) is None


def test_what_is_sent_stands(bench):
    assert runs(bench, sent={"reference": {"U_rel_pct": "0.05"}}) is None


@pytest.mark.parametrize(
    ("changes", "U"),
    [
        ({}, "0.1"),  # the largest: 0.005 of 5 kN; 0.04 of 200 kN is less
        ({"mode": "tension"}, "0.1"),
        ({"mode": "compression"}, "0.02"),
        ({"status": "draft"}, "0.02"),
        ({"assigns_value": False}, "0.02"),
        ({"performed_at": "2026-03-03T10:00:00Z"}, "0.02"),
    ],
)
def test_it_is_the_latest_that_serves_runs_of_this_mode(bench, changes, U):
    results = [SPAN[0] | {"U": "0.005"}, SPAN[1], {"point": 0, "applied": "0", "unit": "kN"}]
    made = {"certificate": "W-1", "item": "REF-1", "performed_at": DAY, "results": results}
    recorded(bench, "imports", {"calibrations": [made | changes]})
    assert runs(bench)["U_rel_pct"] == U


def test_percentages_count_too_and_one_without_u_gives_none(bench):
    point = {"point": 1, "error_rel_pct": "0", "U_rel_pct": "0.06", "k": "3"}
    made = {"certificate": "W-1", "item": "REF-1", "performed_at": DAY}
    recorded(bench, "imports", {"calibrations": [made | {"results": [point]}]})
    assert runs(bench)["U_rel_pct"] == "0.04"
    silent = [point, {"point": 2, "error_rel_pct": "0"}]
    later = made | {"certificate": "W-2", "performed_at": "2026-02-02", "results": silent}
    recorded(bench, "imports", {"calibrations": [later]})
    assert runs(bench) is None
