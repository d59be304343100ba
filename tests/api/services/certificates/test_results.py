"""Rows of results: which tolerance holds, and the limits made of it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.services.base.recording import Recording
from api.services.certificates.results import ResultRows, is_relative
from api.services.decisions.specifications import record_specification

D = Decimal
BASE = {"point": 1, "stage": "single", "unit": "kN", "applied": D("50"), "error": D("0.01")}
SPEC = {
    "id": "SPEC",
    "tolerance": {"terms": [{"kind": "percent_of_nominal", "value": "0.1"}], "combine": "sum"},
}


@pytest.fixture
def rows(database):
    """Maker of rows in a transaction that is rolled back."""
    with database.write() as session:
        yield ResultRows(Recording(session, 0))
        session.rollback()


def limits(rows, **result):
    made = rows.row(BASE | result, 0, "/r")
    return made["limit_lower"], made["limit_upper"]


def test_a_number_is_symmetric_and_a_pair_is_signed(rows):
    assert limits(rows, tolerance=D("0.05")) == (D("-0.05"), D("0.05"))
    assert limits(rows, tolerance={"lower": D("-0.1")}) == (D("-0.1"), None)
    assert limits(rows) == (None, None)


def test_percent_of_the_applied_force_gives_limits_in_its_unit_exactly(rows):
    # 0.05 % of 50 kN = 0.025 kN, of -50 kN too
    assert limits(rows, tolerance_rel_pct=D("0.05")) == (D("-0.025"), D("0.025"))
    assert limits(rows, applied=D("-50"), tolerance_rel_pct=D("0.05")) == (D("-0.025"), D("0.025"))
    third = {"lower": D("-0.1"), "upper": D("0.333333333333333333333333333333")}
    assert limits(rows, applied=D("3"), tolerance_rel_pct=third) == (
        D("-0.003"),
        D("0.00999999999999999999999999999999"),
    )


def test_the_tolerance_in_the_terms_of_the_error_goes_first(rows):
    both = {"tolerance": D("0.05"), "tolerance_rel_pct": D("1")}
    assert limits(rows, **both) == (D("-0.05"), D("0.05"))
    assert limits(rows, error=None, error_rel_pct=D("0.1"), **both) == (D("-1"), D("1"))


def test_a_specification_serves_under_either_name(rows):
    record_specification(rows.recording.session, SPEC, 0)
    # 0.1 % of 50 kN; of 100 % for a relative error
    for name in ("tolerance", "tolerance_rel_pct"):
        made = rows.row(BASE | {name: "SPEC"}, 0, "/r")
        assert (made["limit_lower"], made["limit_upper"]) == (D("-0.050"), D("0.050"))
        assert made["specification_id"] == 1
        relative = limits(rows, error=None, error_rel_pct=D("0"), **{name: "SPEC"})
        assert relative == (D("-0.1"), D("0.1"))


@pytest.mark.parametrize(
    ("result", "place"),
    [
        ({"tolerance": "GHOST"}, "/r/tolerance"),
        ({"tolerance_rel_pct": "GHOST"}, "/r/tolerance_rel_pct"),
        ({"tolerance_rel_pct": D(1), "applied": None}, "/r/tolerance_rel_pct"),
        ({"error": None, "error_rel_pct": D(0), "tolerance": D(1)}, "/r/tolerance"),
        ({"rule": "ghost"}, "/r/rule"),
    ],
)
def test_what_gives_no_limits_is_noted_with_a_remedy(rows, result, place):
    rows.row(BASE | result, 0, "/r")
    (issue,) = rows.recording.issues
    assert issue.pointer == place
    assert issue.remedy


def test_a_rule_is_asked_for_once(rows):
    ids = {rows.row(BASE | {"rule": "guard_U"}, n, "/r")["rule_id"] for n in range(3)}
    assert ids == {1}
    for _ in range(2):
        assert rows.row(BASE | {"rule": "ghost"}, 0, "/r")["rule_id"] is None


def test_tolerances_are_kept_as_they_were_sent(rows):
    assert rows.row(BASE | {"tolerance": D("0.050")}, 0, "/r")["tolerance"] == "0.050"
    sided = {"upper": D("0.10")}
    assert rows.row(BASE | {"tolerance": sided}, 0, "/r")["tolerance"] == {"upper": "0.10"}


def test_a_result_is_relative_without_an_absolute_error():
    assert is_relative({"error_rel_pct": D(0)})
    assert not is_relative({"error_rel_pct": D(0), "error": D(0)})
    assert not is_relative({})
