"""Figures of a testing machine by hand; formulas of ISO 7500-1:2018 and ASTM E4 from memory."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction as F

import pytest

from api.rules.exact import FieldError
from api.rules.uncertainty.classes import class_begins, classify, shipped_tables
from api.rules.uncertainty.machines import MachineReading, MachineSeries, evaluate_machine

ISO, E4 = (shipped_tables()[name] for name in ("iso_7500_1_2018", "astm_e4"))


def series(ascending, descending=(), zero="0"):
    """Readings as pairs (indicated, true), by the indication."""
    up, down = (
        {F(i): MachineReading(F(true), F(i)) for i, true in pairs}
        for pairs in (ascending, descending)
    )
    return MachineSeries(up, down, None if zero is None else F(zero))


THREE = [
    series([("20", "19.90"), ("100", "99.8")], zero="0.02"),
    series([("20", "20.00"), ("100", "99.9")]),
    series([("20", "20.04"), ("100", "100.0")], [("20", "20.14")], zero="-0.03"),
]


def test_the_figures_of_held_indications():
    low, high = evaluate_machine(THREE, F("0.01"))
    # (20 - 19.98)/19.98, 19.98 being the mean of 19.90, 20.00 and 20.04.
    assert float(low.figures["accuracy"].value) == pytest.approx(2 / 19.98, rel=1e-14)
    errors = [100 * (20 - true) / true for true in (19.90, 20.00, 20.04)]
    assert [float(one) for one in low.errors] == pytest.approx(errors, abs=1e-12)
    assert float(low.figures["repeatability"].value) == pytest.approx(errors[0] - errors[2])
    assert float(low.figures["largest_error"].value) == pytest.approx(errors[0])
    # (20.04 - 20.14)/20.04
    assert float(low.figures["reversibility"].value) == pytest.approx(-10 / 20.04)
    assert low.figures["zero"].value == F("-0.03")  # of 100
    assert float(low.figures["resolution"].value) == pytest.approx(1 / 19.98)
    assert high.figures["reversibility"].applicable is False


def test_the_figures_of_held_forces():
    # Indications 20.02, 19.98 and 20.06 at a true 20: errors 0.1, -0.1 and 0.3 %.
    made = [
        MachineSeries(
            {F(20): MachineReading(F(20), F(i))}, {F(20): MachineReading(F(20), F(j))}, F(0)
        )
        for i, j in (("20.02", "20.06"), ("19.98", "20.00"), ("20.06", "20.06"))
    ]
    (point,) = evaluate_machine(made, range_maximum=F(100))
    found = {name: figure.value for name, figure in point.figures.items()}
    assert found["accuracy"] == F("0.1")
    assert found["repeatability"] == F("0.4")
    assert found["largest_error"] == F("0.3")
    assert found["reversibility"] == F("0.2")  # (20.06 - 20.02)/20
    assert (found["zero"], found["resolution"]) == (0, None)


def test_the_uncertainty_of_the_error_is_the_root_of_its_parts():
    made = [
        MachineSeries({F(20): MachineReading(F(20), F(i))}, {}, F(0))
        for i in ("20.02", "19.98", "20.06")
    ]
    (point,) = evaluate_machine(made, F("0.04"), reference_u_pct=F("0.06"))
    # Errors 0.1, -0.1, 0.3: s = 0.2, of the mean 0.2/sqrt 3; a = 0.2: 0.2/(2 sqrt 3); 0.06.
    expected = 2 * (0.04 / 3 + 0.04 / 12 + 0.0036) ** 0.5
    assert float(point.U_rel_pct) == pytest.approx(expected, rel=1e-14)
    (alone,) = evaluate_machine(made[:1])
    assert float(alone.U_rel_pct) == 0
    assert alone.figures["repeatability"].reason == "fewer than two series"


def classes(points, table, case=None, count=3):
    return [
        (Decimal(int(point.held)), classify(table, point.figures, case, count, "series"))
        for point in points
    ]


def test_classes_of_iso_7500_1():
    points = evaluate_machine(THREE, F("0.01"))
    judged = classes(points, ISO, "increasing")
    # b = 0.70 % at 20: class 1; 0.20 % at 100: class 0.5. f0 = 0.03 % and a = 0.05 %: class 0.5.
    assert [one.meets for _, one in judged] == ["1", "0.5"]
    begins = {one.name: one.begins for one in class_begins(ISO, judged)}
    assert begins == {"0.5": None, "1": 20, "2": 20, "3": 20}  # 0.5 from 100 only, not from 20
    both = classes(points, ISO, "both_directions")
    assert [one.meets for _, one in both] == ["1", "0.5"]
    two = classes(points, ISO, "increasing", 2)[0][1]
    assert (two.meets, two.reason) == (None, "not judged: accuracy, repeatability")
    assert two.criteria[0].reason == "3 series are needed, there are 2"


def test_e4_limits_every_error_and_not_only_the_mean():
    # Errors 1.2, 0.4 and 0.4 %: the mean 0.67 % is within 1 %, the first series is not.
    made = [
        MachineSeries({F(20): MachineReading(F(20), F(i))}, {}, F(0))
        for i in ("20.24", "20.08", "20.08")
    ]
    points = evaluate_machine(made, F("0.01"))
    assert classes(points, E4)[0][1].meets is None
    assert classes(points, ISO, "increasing")[0][1].meets == "1"
    good = classes(evaluate_machine(THREE, F("0.01")), E4)
    assert [one.meets for _, one in good] == ["verified", "verified"]
    # 200 times the resolution: 0.1 at 20 is 0.5 %, 0.11 is more.
    assert classes(evaluate_machine(made[1:], F("0.1")), E4)[0][1].meets == "verified"
    assert classes(evaluate_machine(made[1:], F("0.11")), E4)[0][1].meets is None


def test_without_a_zero_of_every_series_there_is_none():
    made = [series([("20", "20")]), series([("20", "20")], zero=None)]
    (point,) = evaluate_machine(made)
    assert point.figures["zero"].reason == "1 series without a zero after it"


def test_series_of_other_points_are_refused():
    with pytest.raises(FieldError, match="hold the same numbers") as caught:
        evaluate_machine([series([("20", "20")]), series([("21", "20")])])
    assert caught.value.field == "/series/1/ascending"
