"""Limits that a specification gives, in the unit of the result.

The figures are invented; the expected limits are worked out by hand beside each case.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.rules.limits import LimitsError
from api.services.decisions.specifications import Bounds, Definition, limits_of_error

READING = {"kind": "percent_of_reading", "value": "0.5"}
NOMINAL = {"kind": "percent_of_nominal", "value": "0.5"}
FULL_SCALE = {"kind": "percent_of_full_scale", "value": "0.1"}
ABSOLUTE = {"kind": "absolute", "value": "0.03"}
ABSOLUTE_RESULT = {"applied": Decimal(20), "error": Decimal("0.4"), "unit": "kN"}
RELATIVE_RESULT = {"applied": Decimal(20), "error_rel_pct": Decimal(2), "unit": "kN"}


def limits(result, tolerance, **fields) -> Bounds:
    return limits_of_error(Definition("S", 1, tolerance, **fields), result)


def test_a_number_is_symmetric_and_a_pair_is_signed():
    found = limits(ABSOLUTE_RESULT, "0.1", unit="kN")
    assert found == (Decimal("-0.1"), Decimal("0.1"))
    assert limits(ABSOLUTE_RESULT, {"upper": "0.2"}, unit="kN") == (None, Decimal("0.2"))


def test_the_unit_of_the_result_counts():
    # 100 N are 0.1 kN; 1 kip is 4.4482216152605 kN exactly
    assert limits(ABSOLUTE_RESULT, "100", unit="N").upper == Decimal("0.1")
    assert limits(ABSOLUTE_RESULT, "1", unit="kip").upper == Decimal("4.4482216152605")


def test_the_reading_is_what_was_indicated():
    # 0.5 % of (20 + 0.4), and of an indication that is stated
    assert limits(ABSOLUTE_RESULT, {"terms": [READING]}).upper == Decimal("0.102")
    stated = {**ABSOLUTE_RESULT, "indicated": Decimal(21)}
    assert limits(stated, {"terms": [READING]}).upper == Decimal("0.105")


def test_terms_add_up_or_combine_as_root_sum_square():
    # nominal 0.1, full scale 0.05, absolute 0.03
    terms = [NOMINAL, FULL_SCALE, ABSOLUTE]
    found = limits(ABSOLUTE_RESULT, {"terms": terms}, unit="kN", full_scale=Decimal(50))
    assert found.upper == Decimal("0.18")
    pair = [ABSOLUTE, {"kind": "absolute", "value": "0.04"}]
    assert limits(ABSOLUTE_RESULT, {"terms": pair, "combine": "rss"}, unit="kN").upper == Decimal(
        "0.05"
    )


def test_for_a_relative_result_everything_is_a_percentage_of_the_applied_force():
    # nominal: 0.5 %; reading: 0.5 % of 102 %; full scale: 0.05 kN of 20 kN; absolute: 0.03 of 20
    for terms, expected in (
        ([NOMINAL], "0.5"),
        ([READING], "0.51"),
        ([FULL_SCALE], "0.25"),
        ([ABSOLUTE], "0.15"),
    ):
        found = limits(RELATIVE_RESULT, {"terms": terms}, unit="kN", full_scale=Decimal(50))
        assert found.upper == Decimal(expected)


def test_a_specification_in_percent_serves_both_kinds_of_result():
    assert limits(RELATIVE_RESULT, "0.5", unit="%").upper == Decimal("0.5")
    assert limits(ABSOLUTE_RESULT, "0.5", unit="%").upper == Decimal("0.1")  # of 20 kN


@pytest.mark.parametrize(
    ("result", "tolerance", "unit", "message"),
    [
        ({"error": Decimal(1), "unit": "kN"}, {"terms": [NOMINAL]}, None, "needs the nominal"),
        ({"applied": Decimal(1), "unit": "kN"}, {"terms": [READING]}, None, "needs the reading"),
        (ABSOLUTE_RESULT, {"terms": [FULL_SCALE]}, "kN", "needs the full scale"),
        ({"error_rel_pct": Decimal(1)}, "0.1", "kN", "needs an applied force"),
        ({**RELATIVE_RESULT, "applied": Decimal(0)}, "0.1", "kN", "other than 0"),
        (ABSOLUTE_RESULT, "0.1", "mm", "cannot be expressed in kN"),
        ({"error": Decimal(1)}, "0.1", "kN", "a unit is needed"),
    ],
)
def test_what_a_result_lacks_is_named(result, tolerance, unit, message):
    with pytest.raises(LimitsError, match=message):
        limits(result, tolerance, unit=unit)


def test_the_specification_s_own_scale_is_asked_for_only_where_a_term_needs_it():
    result = {"error_rel_pct": Decimal(1)}
    found = limits(result, {"terms": [NOMINAL]}, unit="kN", full_scale=Decimal(50))
    assert found.upper == Decimal("0.5")
