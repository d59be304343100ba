"""Figures of raw runs, worked by hand with the formulas of ISO 376:2011 (from memory, verify)."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.exact import FieldError
from api.rules.uncertainty.runs import Runs, Series, evaluate_runs


def series(rotation="0", up=None, down=None, before="0", after="0"):
    def readings(pairs):
        return {Decimal(force): Decimal(value) for force, value in pairs.items()}

    return Series(
        Decimal(rotation),
        readings(up),
        Decimal(before),
        None if down is None else readings(down),
        None if after is None else Decimal(after),
    )


# The zero of the first series is 0.0001; deflections at 10 kN 0.2000, 0.2002, 0.2004.
RUNS = Runs(
    series=[
        series("0", {"10": "0.2001", "20": "0.4001"}, before="0.0001", after="0.0003"),
        series("120", {"10": "0.2002", "20": "0.4004"}, {"10": "0.2004"}),
        series("240", {"10": "0.2004", "20": "0.4002"}, {"10": "0.2010"}, after="-0.0001"),
    ],
    repeated=[series("360", {"10": "0.2001", "20": "0.4000"})],
    resolution=Decimal("0.0001"),
    creep=(Decimal("0.4000"), Decimal("0.4003")),
    degree=1,
    constant=False,
)


@pytest.fixture
def point():
    """The figures at 10 kN."""
    return evaluate_runs(RUNS).points[0]


def test_deflections_are_less_the_zero_before_their_series(point):
    assert [one.value for one in point.deflections] == [
        Fraction(text) for text in ("0.2000", "0.2002", "0.2004", "0.2001")
    ]
    assert point.mean == Fraction("0.2002")  # the repeated series is not in it


def test_spreads_are_in_percent_of_their_mean(point):
    figures = point.figures
    assert figures["reproducibility"].value == Fraction("0.0004") / Fraction("0.2002") * 100
    # 0.2000 and 0.2001 at the same rotation (360 degrees is 0), mean 0.20005
    assert figures["repeatability"].value == Fraction("0.0001") / Fraction("0.20005") * 100


def test_reversibility_is_the_mean_of_the_series_that_went_down(point):
    first, second = Fraction("0.0002") / Fraction("0.2002"), Fraction("0.0006") / Fraction("0.2004")
    assert point.figures["reversibility"].value == (first + second) / 2 * 100


def test_zero_and_creep_refer_to_the_deflection_at_the_largest_force(point):
    # Means at 20 kN: (0.4000 + 0.4004 + 0.4002) / 3 = 0.4002; the worst zero moved by 0.0002.
    assert point.figures["zero"].value == Fraction("0.0002") / Fraction("0.4002") * 100
    assert point.figures["creep"].value == Fraction("0.0003") / Fraction("0.4002") * 100


def test_interpolation_keeps_its_sign_and_resolution_is_a_ratio():
    found = evaluate_runs(RUNS)
    # Least squares of y = a x: sum xy / sum xx over six readings, 10 x 0.6006 + 20 x 1.2006 over
    # 3 x (100 + 400).
    slope = Fraction("30.018") / 1500
    wanted = [(Fraction("0.2002") - 10 * slope) / (10 * slope) * 100]
    wanted += [(Fraction("0.4002") - 20 * slope) / (20 * slope) * 100]
    assert [point.figures["interpolation"].value for point in found.points] == wanted
    assert wanted[0] > 0 > wanted[1]
    assert found.points[0].figures["resolution_ratio"].value == 2002
    assert found.fit.coefficients == (0, slope)


def test_the_largest_force_has_no_descending_reading_by_nature():
    figures = evaluate_runs(RUNS).points[1].figures
    assert figures["reversibility"].value is None
    assert not figures["reversibility"].applicable


def test_runs_in_compression_with_negative_readings_have_the_same_figures():
    def turned(one):
        return Series(
            one.rotation_deg,
            {force: -value for force, value in one.ascending.items()},
            -one.zero_before,
            None if one.descending is None else {f: -v for f, v in one.descending.items()},
            -one.zero_after,
        )

    mirrored = replace(
        RUNS,
        series=[turned(one) for one in RUNS.series],
        repeated=[turned(one) for one in RUNS.repeated],
        creep=(-RUNS.creep[0], -RUNS.creep[1]),
    )
    there, here = evaluate_runs(mirrored).points[0].figures, evaluate_runs(RUNS).points[0].figures
    for name in here:
        assert abs(there[name].value) == abs(here[name].value)


def test_what_the_runs_lack_is_none_with_its_reason():
    found = evaluate_runs(Runs([series("0", {"10": "0.2"}, after=None)]))
    reasons = {name: one.reason for name, one in found.points[0].figures.items()}
    assert all(one.value is None for one in found.points[0].figures.values())
    assert reasons["repeatability"] == "no repeated series at the same rotation"
    assert reasons["reproducibility"] == "fewer than two rotations at this force"
    assert "without a zero after" in reasons["zero"]
    assert "4 coefficients" in reasons["interpolation"]
    assert found.fit is None


def test_a_deflection_of_zero_has_no_percentages():
    found = evaluate_runs(
        replace(
            RUNS,
            series=[series("0", {"10": "0"}), series("120", {"10": "0"}, {"10": "0.1"})],
            repeated=[series("0", {"10": "0"})],
        )
    )
    values = {name: one.value for name, one in found.points[0].figures.items()}
    assert values.pop("resolution_ratio") == 0
    assert set(values.values()) == {None}
    assert found.ratio is None


def test_a_rotation_backwards_is_the_same_position():
    found = evaluate_runs(replace(RUNS, repeated=[series("-240", {"10": "0.2004"})]))
    # -240 is 120 degrees: 0.2002 and 0.2004, mean 0.2003
    wanted = Fraction("0.0002") / Fraction("0.2003") * 100
    assert found.points[0].figures["repeatability"].value == wanted


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"series": [RUNS.series[0], RUNS.series[0]]}, "/series/1/rotation_deg"),
        ({"repeated": [series("90", {"10": "0.2"})]}, "/repeated/0/rotation_deg"),
        ({"repeated": [series("0", {"30": "0.6"})]}, "/repeated/0/ascending"),
        ({"series": [series("0", {"10": "0.2"}, {"5": "0.1"})]}, "/series/0/descending"),
        ({"repeated": [series("0", {"10": "0.2"}, {"5": "0.1"})]}, "/repeated/0/descending"),
    ],
)
def test_series_that_contradict_each_other_are_refused(changes, place):
    with pytest.raises(FieldError) as refused:
        evaluate_runs(replace(RUNS, **changes))
    assert refused.value.field == place
