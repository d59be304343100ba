"""Ranges and uncertainties of references, worked by hand beside each case."""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, part, ref, row

from tests.api.services.grounds.conftest import SPAN, candidate

OUTSIDE, SMALL = ("outside_range", "stop"), ("U_below_reference", "stop")


def at(force: str, weight: str | None = None, **more):
    """One point at a force in kN with plenty of U (0.1 %)."""
    U = format(abs(float(force)) * 0.001, "f")
    return candidate(ref("WS", weight), results=[row(applied=force, U=U, tolerance="1")], **more)


@pytest.mark.parametrize(
    ("force", "weight", "found"),
    [
        ("10", None, False),  # the ends of 10 kN to 100 kN are inside
        ("100", None, False),
        ("9.999", None, True),
        ("100.001", None, True),
        ("-50", None, False),  # the size of the force
        ("0", None, False),  # zero is left out
        ("200", "0.5", False),  # half of it is 100 kN
        ("19", "0.5", True),  # half of it is 9.5 kN
        ("200", "-0.5", False),
        ("5", "0", False),  # it bore nothing
    ],
)
def test_a_force_lies_in_the_calibrated_range(bench, force, weight, found):
    bench.imported()
    codes = [one for one in bench.codes(at(force, weight)) if one == OUTSIDE]
    assert codes == ([OUTSIDE] if found else [])


def test_the_point_and_the_item_are_named(bench):
    bench.imported()
    result = row(applied="150", U="1")
    refused = bench.post(
        "/v1/calibrations", candidate(results=[row(U="0.004"), result | {"point": "high"}]), 409
    )
    (issue,) = refused["errors"]
    assert (issue["code"], issue["value"]) == ("outside_range", "WS")
    assert "150000 N at point high" in issue["detail"]
    assert "10000 N to 100000 N" in issue["detail"]


def test_points_that_a_use_did_not_serve_are_not_its(bench):
    bench.imported()
    results = [row(U="0.004"), row(point=2, applied="150", U="1")]
    assert bench.codes(candidate(ref("WS", points=[1]), results=results)) == []


def test_the_range_is_that_of_the_mode(bench):
    wide = [row(applied="10"), row(point=2, applied="200", U="0.04")]
    bench.imported(
        cal("W-2", "WS", "03-01", [ref("REF", points=[1])], wide, mode="tension"),
        cal("W-3", "WS", "03-02", [ref("REF")], SPAN, mode="compression"),
    )
    assert OUTSIDE not in bench.codes(at("150", mode="tension"))
    assert OUTSIDE in bench.codes(at("150", mode="compression"))


@pytest.mark.parametrize(("force", "found"), [("200", False), ("201", True), ("19", True)])
def test_cells_of_a_build_up_bear_their_share(bench, force, found):
    # Two cells with half each, both calibrated from 10 kN to 100 kN.
    bench.imported(
        cal("W-2", "WS-2", "02-02", [ref("REF")], SPAN),
        kinds={"RIG": "force_machine"},
        composition=[part("RIG", "WS", "0.5"), part("RIG", "WS-2", "0.5")],
    )
    record = candidate(ref("RIG"), results=[row(applied=force, U="1")])
    assert bench.codes(record) == ([OUTSIDE] * 2 if found else [])


@pytest.mark.parametrize(
    ("force", "found"),
    [
        ("200", [("outside_range", "mind", None)]),  # 100 kN each, or more on one of them
        ("200.001", [("outside_range", "stop", "1")]),  # more than both were calibrated for
        ("0", []),
    ],
)
def test_where_shares_settle_nothing_the_range_cannot_be_shown(bench, force, found):
    # Two cells of 10 kN to 100 kN whose recorded shares are 0.9 together.
    bench.imported(
        cal("W-2", "WS-2", "02-02", [ref("REF")], SPAN),
        kinds={"RIG": "force_machine"},
        composition=[part("RIG", "WS", "0.5"), part("RIG", "WS-2", "0.4")],
    )
    record = candidate(ref("RIG"), results=[row(applied=force, U="1")])
    told = [(one["code"], one["weight"], one.get("point")) for one in bench.found(record)]
    assert told == found
    bench.post("/v1/calibrations", answered(record))
    kinds = {one["kind"] for one in bench.get("/v1/certificates/N-1/chain")["breaks"]}
    assert ("outside_range" in kinds) is ("stop" in {weight for _, weight, _ in told})


@pytest.mark.parametrize(
    ("U", "found"),
    [
        ("0.01", False),  # 0.02 % of 50 kN, as the reference has at 10 kN and at 100 kN
        ("0.0099", True),
    ],
)
def test_a_result_is_not_better_than_its_reference(bench, U, found):
    bench.imported()
    record = candidate(results=[row(applied="50", U=U)])
    assert bench.codes(record) == ([SMALL] if found else [])


@pytest.mark.parametrize(
    ("force", "U", "found"),
    [
        # Relative U: 0.04 % at 10 kN, 0.02 % at 30 kN; at 20 kN 0.03 %, which is 6 N.
        ("20", "0.006", False),
        ("20", "0.00599", True),
        ("30", "0.006", False),
        ("30", "0.00599", True),
    ],
)
def test_the_uncertainty_of_a_reference_is_interpolated(bench, force, U, found):
    rows = [row(applied="10", U="0.004"), row(point=2, applied="30", U="0.006")]
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], rows))
    record = candidate(results=[row(applied=force, U=U)])
    assert bench.codes(record) == ([SMALL] if found else [])


@pytest.mark.parametrize(
    ("U_rel_pct", "k", "found"),
    [
        # Two references of weight 0.5, each u = 0.01 %: root of 2 x (0.5 x 0.01)^2 = 0.0070711 %.
        ("0.014143", "2", False),
        ("0.014142", "2", True),
        ("0.0070711", "1", False),
        ("0.0070710", "1", True),
    ],
)
def test_several_references_add_in_squares(bench, U_rel_pct, k, found):
    bench.imported(cal("W-2", "WS-2", "02-02", [ref("REF")], SPAN))
    result = {"point": 1, "applied": "50", "unit": "kN", "error_rel_pct": "0"}
    result |= {"U_rel_pct": U_rel_pct, "k": k}
    record = candidate(ref("WS", "0.5"), ref("WS-2", "0.5"), results=[result])
    assert bench.codes(record) == ([SMALL] if found else [])


def test_a_result_or_reference_without_uncertainty_is_not_compared(bench):
    bare = {"point": 1, "applied": "50", "unit": "kN", "error": "0"}
    bench.imported()
    assert bench.codes(candidate(results=[bare])) == []
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], [bare]))
    assert bench.codes(candidate(results=[row(applied="50", U="0")])) == []
