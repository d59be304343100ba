"""Values that do not hold: each finding fires, and is silent just inside (DESIGN by hand).

The rules are those of the trade: a value is used while its calibration is in force and not overdue
(ISO/IEC 17025:2017, 6.4.6, 6.4.9 and 6.5, from memory); instants below are chosen a day apart.
"""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, lab, part, ref, row

from tests.api.services.grounds.conftest import SPAN, candidate

STOP = "stop"


def test_a_complete_certificate_has_nothing_against_it(bench):
    bench.imported()
    assert bench.codes(candidate()) == []
    bench.post("/v1/calibrations", candidate())
    kept = bench.get("/v1/certificates/N-1/grounds")
    assert (kept["grounds"], kept["today"]) == ([], [])


@pytest.mark.parametrize(
    ("void", "found"),
    [
        ({"voided_at": "2025-05-31T00:00:00Z"}, True),  # before the use
        ({"voided_at": "2025-06-02T00:00:00Z"}, True),  # after the use, before the issue (now)
        ({}, True),  # nobody knows when
        (None, False),  # not at all
    ],
)
def test_a_value_voided_by_the_issue_does_not_fall_back_on_an_older_one(bench, void, found):
    status = {} if void is None else {"status": "voided", "void_reason": "wrong"} | void
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], SPAN, **status))
    codes = [code for code, _ in bench.codes(candidate())]
    assert ("voided_value" in codes) is found


@pytest.mark.parametrize(
    ("issued", "found"),
    [
        ("2025-06-09T00:00:00Z", False),  # the day before the void
        ("2025-06-10T00:00:00Z", True),  # at its very instant the new state holds
        (None, True),  # it is issued now
    ],
)
def test_the_time_of_the_issue_is_the_one_that_is_stated(bench, issued, found):
    """Used on 1 June, voided on 10 June: recorded by itself, issued as a draft, or imported."""
    void = {"status": "voided", "void_reason": "wrong", "voided_at": "2025-06-10T00:00:00Z"}
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], SPAN, **void))
    kept = [("voided_value", STOP)] if found else []
    assert bench.codes(candidate(issued_at=issued)) == kept
    bench.post("/v1/imports", lab(candidate(issued_at=issued, number="N-2")) | {"items": []})
    imported = bench.get("/v1/certificates/N-2/grounds")
    assert [(one["code"], one["weight"]) for one in imported["grounds"]] == kept
    assert [one["code"] for one in imported["today"]] == ["voided_value"]  # were it issued now
    if issued is not None:
        bench.post("/v1/calibrations", candidate(status="draft", number="N-3"))
        body = {"issued_at": issued}
        answer = bench.post("/v1/certificates/N-3/issue", body, 409 if found else 200)
        assert [one["code"] for one in answer.get("errors", [])] == [code for code, _ in kept]


def test_a_void_of_another_mode_or_of_a_calibration_after_the_use_is_none(bench):
    void = {"status": "voided", "void_reason": "wrong", "voided_at": "2025-05-01T00:00:00Z"}
    bench.imported(
        cal("W-2", "WS", "03-01", [ref("REF")], SPAN, mode="tension", **void),
        cal("W-3", "WS", "06-02", [ref("REF")], SPAN, **void | {"voided_at": "2025-07-01"}),
    )
    assert bench.codes(candidate(mode="compression")) == []
    assert bench.codes(candidate(mode="tension")) == [("voided_value", STOP)]


def test_a_named_certificate_that_was_voided_is_one(bench):
    void = {"status": "voided", "void_reason": "wrong", "voided_at": "2025-05-01T00:00:00Z"}
    bench.imported(cal("W-0", "WS", "01-20", [ref("REF")], SPAN, **void))
    assert bench.codes(candidate(ref("WS", certificate="W-0", revision=0))) == [
        ("voided_value", STOP)
    ]
    assert bench.codes(candidate(ref("WS", certificate="W-1"))) == []


def test_a_reference_has_a_value(bench):
    bench.imported(kinds={"BARE": "working_standard", "RIG": "force_machine"})
    found = bench.found(candidate(ref("BARE")))
    assert [(one["code"], one["weight"], one["item"]) for one in found] == [
        ("no_value", STOP, "BARE")
    ]
    readout = {"item": "BARE", "role": "readout_reference"}
    assert bench.codes(candidate(ref("WS"), readout)) == [("no_value", STOP)]
    monitor = {"item": "BARE", "role": "environment"}
    assert bench.codes(candidate(ref("WS"), monitor)) == []
    held = {"assembly": "RIG", "part": "WS", "from": "2025-01-01", "until": "2025-06-02"}
    bench.post("/v1/compositions", held)
    assert bench.codes(candidate(ref("RIG"))) == []
    assert bench.codes(candidate(ref("RIG"), at="06-03")) == [("no_value", STOP)]


@pytest.mark.parametrize(
    ("shares", "named"),
    [
        ((None, None), [("no_value", "stop", "BARE"), ("outside_range", "mind", "RIG")]),
        (("0.5", "0.5"), [("no_value", "stop", "BARE")]),
    ],
)
def test_every_measuring_part_of_an_assembly_without_a_value_has_one(bench, shares, named):
    bench.imported(
        kinds={"RIG": "force_machine", "BARE": "working_standard", "RO": "readout"},
        composition=[
            part("RIG", "WS", shares[0]),
            part("RIG", "BARE", shares[1]),
            part("RIG", "RO"),  # measures no force
        ],
    )
    record = candidate(ref("RIG"), results=[row(applied="20", U="0.1")])
    found = [(one["code"], one["weight"], one["item"]) for one in bench.found(record)]
    assert found == named


def test_an_inner_assembly_counts_by_its_parts_unless_it_has_a_value_of_its_own(bench):
    inside = [part("RIG", "WS", "0.5"), part("RIG", "PAIR", "0.5"), part("PAIR", "BARE")]
    kinds = {"RIG": "force_machine", "PAIR": "force_machine", "BARE": "working_standard"}
    bench.imported(kinds=kinds, composition=inside)
    record = candidate(ref("RIG"), results=[row(applied="20", U="0.1")])
    (one,) = bench.found(record)
    assert (one["code"], one["item"]) == ("no_value", "BARE")
    assert "a measuring part of RIG" in one["detail"]
    own = cal("P-1", "PAIR", "05-01", [ref("WS")], SPAN)
    bench.post("/v1/calibrations", answered(own))
    assert bench.codes(record) == []


@pytest.mark.parametrize(
    ("due", "at", "found"),
    [
        ("2025-05-31", "2025-06-01T00:00:00Z", True),
        ("2025-06-01", "2025-06-01T23:59:59Z", False),  # to the end of the day
        ("2025-06-01T10:00:00Z", "2025-06-01T10:00:00Z", False),
        ("2025-06-01T10:00:00Z", "2025-06-01T10:00:01Z", True),
    ],
)
def test_a_value_is_not_used_after_it_was_due(bench, due, at, found):
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], SPAN, due_at=due))
    assert bench.codes(candidate(at=at)) == ([("overdue", STOP)] if found else [])


def test_a_later_calibration_that_confirmed_limits_does_not_extend_the_date(bench):
    bench.imported(
        cal("W-2", "WS", "03-01", [ref("REF")], SPAN, due_at="2025-05-01"),
        cal("W-3", "WS", "04-20", [ref("REF")], [], due_at="2026-05-01", assigns_value=False),
    )
    assert bench.codes(candidate()) == [("overdue", STOP)]
    assert bench.codes(candidate(ref("WS", certificate="W-2"))) == [("overdue", STOP)]


def test_a_named_certificate_is_one_of_the_mode(bench):
    bench.imported(cal("W-2", "WS", "03-01", [ref("REF")], SPAN, mode="tension"))
    named = ref("WS", certificate="W-2")
    assert bench.codes(candidate(named, mode="compression")) == [("mode_mismatch", STOP)]
    assert bench.codes(candidate(named, mode="tension")) == []
    assert bench.codes(candidate(named)) == []


@pytest.mark.parametrize(("at", "found"), [("03-31", False), ("04-02", True)])
def test_a_part_calibrated_after_the_assembly_is_borne_in_mind(bench, at, found):
    bench.imported(
        cal("R-1", "RIG", "04-01", [ref("WS")], SPAN),
        cal("W-2", "WS", at, [ref("REF")], SPAN, assigns_value=False, adjusted=True),
        kinds={"RIG": "force_machine"},
        composition=[part("RIG", "WS")],
    )
    assert bench.codes(candidate(ref("RIG"))) == ([("part_changed", "mind")] if found else [])
