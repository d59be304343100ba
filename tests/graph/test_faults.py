"""What each kind of fault does to one use, and how the uses of one calibration add up."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from graph_records import DAY, at, cal, percent, point, use, whole

from graph.faults import (
    NO_EFFECT,
    UNKNOWN,
    Effect,
    EffectByType,
    Fault,
    ForceError,
    IndicatesHigh,
    LinearDrift,
    ReadoutGain,
    Segment,
    SegmentedForceError,
    UnknownEffect,
    WithinInterval,
    WrongCorrectionFactor,
    WrongCurve,
)
from graph.polynomials import AssignedCurve

F = Fraction
OPEN: dict[str, Any] = {"item": "REF", "start_us": 0, "end_us": 100 * DAY}
KILO = F(1000)


def effect(fault: Fault, *uses: Any, on: Any = None, **more: Any) -> Effect:
    used = uses or (use(),)
    return fault.effect(used, cal(1, *used, **more), on or point())


def segmented(*segments: tuple[Any, Any, str]) -> SegmentedForceError:
    made = [
        Segment(
            None if above is None else F(above) * KILO,
            None if up_to is None else F(up_to) * KILO,
            F(delta),
        )
        for above, up_to, delta in segments
    ]
    return SegmentedForceError(**OPEN, segments=tuple(made))


def test_a_constant_error_adds_up_over_uses_by_weight():
    fault = ForceError(**OPEN, delta_rel=F("0.0006"))
    # 0.5 x 0.0006 + 0.25 x 0.0006 = 0.00045, and the weights of both paths together 0.75
    assert effect(fault, use(weight="0.5"), use(weight="0.25")) == Effect(F("0.00045"), F("0.75"))


def test_weights_that_cancel_leave_no_delta_and_keep_their_sum():
    fault = ForceError(**OPEN, delta_rel=F("0.0006"))
    assert effect(fault, use(weight="1"), use(weight="-1")) == Effect(F(0), F(0))


def test_a_point_at_zero_force_is_never_moved():
    zero = point(kn="0")
    for fault in (
        ForceError(**OPEN, delta_rel=F(1)),
        UnknownEffect(**OPEN),
        ReadoutGain(**OPEN, gain=F(2)),
    ):
        assert effect(fault, on=zero) == NO_EFFECT


def test_a_segment_is_open_below_and_closed_above():
    fault = segmented((None, "10", "0"), ("10", "20", "0.001"))
    deltas = [effect(fault, on=point(kn=kn)).delta for kn in ("10", "10.0001", "20", "20.0001")]
    assert deltas == [0, F("0.001"), F("0.001"), None]
    assert effect(fault, on=point(kn=None)) == UNKNOWN


def test_a_use_is_cleared_by_range_when_all_it_served_lies_outside_the_faulty_one():
    fault = segmented((None, "10", "0"), ("10", "20", "0.001"))
    points = [point(1, "0"), point(2, "10"), point(3, "15")]
    calibration = cal(1, points=points)
    assert not fault.cleared_by_range(use(), calibration)
    assert fault.cleared_by_range(use(points=frozenset({"1", "2"})), calibration)
    assert not fault.cleared_by_range(use(), cal(1, points=()))  # nothing shows that it did
    beyond = cal(1, points=[point(1, "30")])
    assert not fault.cleared_by_range(use(), beyond)  # outside all segments nothing is known


def test_what_indicates_high_had_less_force():
    # 1/(1 + 0.25) - 1 = -0.2
    fault = IndicatesHigh(**OPEN, indication_rel=F("0.25"))
    assert effect(fault).delta == F("-0.2")
    assert fault.smallest() == F("0.2")


def test_a_wrong_factor_is_judged_by_its_record():
    fault = WrongCorrectionFactor(**OPEN, factor_applied=F("0.8"), factor_right=F(1))
    # Without a record 1/0.8 - 1 = 0.25; with 1.25 it is 1/1.25 - 1 = -0.2
    assert effect(fault).delta == F("0.25")
    assert effect(fault, use(factor_applied=F("1.25"))).delta == F("-0.2")
    records = [None, F("1.25"), F("1.0")]
    assert [fault.by_record(use(factor_applied=one)) for one in records] == [None, True, False]
    window = fault.window()
    assert (window.start_inclusive, window.end_inclusive) == (True, False)
    assert fault.smallest() is None


def test_an_adapter_acts_by_the_type_of_the_instrument():
    effects = {"tension_link": F("-0.0015"), "crane_scale": F(0)}
    fault = EffectByType(**OPEN, effect_rel=effects)
    assert effect(fault, item_type="tension_link").delta == F("-0.0015")
    assert effect(fault, item_type="crane_scale") == Effect(F(0), F(0))
    assert effect(fault, item_type="load_cell") == UNKNOWN
    assert effect(fault, item_type=None) == UNKNOWN
    assert fault.smallest() == F("0.0015")
    others = EffectByType(**OPEN, effect_rel=effects, other_types=F("0.0001"))
    assert effect(others, item_type="load_cell").delta == F("0.0001")
    assert others.smallest() == F("0.0001")


@pytest.mark.parametrize(
    ("roles", "delta"),
    [
        (["readout_dut"], "0.25"),  # 1.25/1 - 1
        (["readout_reference"], "-0.2"),  # 1/1.25 - 1
        (["readout_reference", "readout_dut"], "0"),  # it cancels
        (["readout_dut", "readout_dut"], "0.25"),  # one gain, read twice
        (["environment"], "0"),
    ],
)
def test_a_gain_acts_on_what_it_read(roles, delta):
    fault = ReadoutGain(**OPEN, gain=F("1.25"))
    assert effect(fault, *[use(role=role) for role in roles]).delta == F(delta)


def test_a_gain_acts_only_where_the_use_served():
    fault = ReadoutGain(**OPEN, gain=F("1.25"))
    served = use(role="readout_dut", points=frozenset({"1"}))
    assert effect(fault, served, on=point(1)).delta == F("0.25")
    assert effect(fault, served, on=point(2)) == NO_EFFECT


@pytest.mark.parametrize(
    "fault",
    [
        ReadoutGain(**OPEN, channel="A", gain=F("1.25")),
        ForceError(**OPEN, channel="A", delta_rel=F("0.1")),
    ],
)
def test_a_use_without_its_channel_is_unknown(fault):
    assert effect(fault, use(role="readout_dut")) == UNKNOWN
    assert effect(fault, use(role="readout_dut", channel="A")).delta != 0
    # Without weight the missing channel does not matter.
    assert effect(fault, use(role="readout_dut", weight="0")).delta == 0


def test_an_interval_is_one_unknown_common_to_all_uses():
    fault = WithinInterval(**OPEN, bound_rel=F("0.002"))
    assert fault.bounded
    # 0.002 x (0.5 + 0.5)
    assert effect(fault, use(weight="0.5"), use(weight="0.5")).delta == F("0.002")
    assert fault.smallest() is None


def test_an_unknown_effect_is_unknown_unless_the_use_weighs_nothing():
    fault = UnknownEffect(**OPEN)
    assert effect(fault) == UNKNOWN
    assert effect(fault, use(weight="0")) == NO_EFFECT


def test_a_drift_grows_with_time_from_zero_and_goes_on():
    fault = LinearDrift(**OPEN, delta_rel=F("0.001"), good_us=10 * DAY, measured_us=20 * DAY)
    # (day - 10)/(20 - 10) x 0.001
    deltas = [effect(fault, use(day=day)).delta for day in (5, 10, 15, 20, 30)]
    assert deltas == [0, 0, F("0.0005"), F("0.001"), F("0.002")]
    # A bare date counts at noon: (15.5 - 10)/10 x 0.001
    assert effect(fault, use(when=whole(15))).delta == F("0.00055")


def test_relative_results_get_the_same_delta_as_absolute_ones():
    fault = ForceError(**OPEN, delta_rel=F("0.0006"))
    assert effect(fault, on=percent()) == effect(fault, on=point())


def test_the_base_of_all_faults_says_what_it_lacks():
    with pytest.raises(NotImplementedError):
        Fault(**OPEN).delta(use(), cal(1), point())
    assert Fault(**OPEN).window().holds(at(100))


def curves(right: tuple[str, ...], of: str = "force", recorded: tuple[str, ...] = ("0", "100")):
    made = [AssignedCurve(of, tuple(map(F, one)), F(10), F(300)) for one in (recorded, right)]
    return WrongCurve(**OPEN, recorded=made[0], right=made[1], unit_n=KILO)


def test_a_wrong_curve_of_force_gives_the_true_force_at_the_deflection_that_was_read():
    # F = 100 d was used, F = 99 d + 0.5 d^2 is right. 50 kN: d = 0.5, true 49.5 + 0.125 = 49.625,
    # delta = -0.375/50 = -0.0075; 200 kN: d = 2, true 198 + 2 = 200, none; 300 kN: d = 3, true
    # 297 + 4.5 = 301.5, delta = 0.005.
    fault = curves(("0", "99", "0.5"))
    assert effect(fault, on=point(kn="50")) == Effect(F("-0.0075"), F(1))
    assert effect(fault, on=point(kn="200")) == Effect(F(0), F(0))
    assert effect(fault, on=point(kn="300")) == Effect(F("0.005"), F(1))
    assert effect(fault, on=point(kn="0")) == NO_EFFECT
    assert not fault.uniform
    assert fault.by_points


def test_a_wrong_curve_of_deflection_gives_the_force_that_has_the_deflection():
    # d = 0.01 F was used, d = 0.01 F + 0.00001 F^2 is right. 110 kN: d = 1.1, which the right curve
    # has at 100 kN (1 + 0.1): delta = -10/110, which does not end and is exact all the same.
    fault = curves(("0", "0.01", "0.00001"), "deflection", ("0", "0.01"))
    assert effect(fault, on=point(kn="110")).delta == F(-1, 11)
    # 50 kN: d = 0.5; F^2 + 1000 F - 50000 = 0, F = -500 + sqrt(300000) = 47.7225575051661...
    # (mpmath); delta = 47.7225575051661/50 - 1, cut to 15 digits
    assert effect(fault, on=point(kn="50")).delta == F("-0.0455488498966777")


def test_outside_the_range_of_a_wrong_curve_nothing_is_known():
    fault = curves(("0", "99"))
    assert effect(fault, on=point(kn="9.999")) == UNKNOWN
    assert effect(fault, on=point(kn="10")).delta == F("-0.01")
    assert effect(fault, on=point(kn="-50")) == UNKNOWN
    assert effect(fault, on=point(kn="300.001")) == UNKNOWN


def test_a_check_must_see_the_smallest_effect_of_a_wrong_curve_where_it_was_used():
    fault = curves(("0", "99", "0.5"))
    # -0.0075 at 50 kN, none at 200 kN, 0.005 at 300 kN, unknown beyond
    assert fault.smallest([50 * KILO, 200 * KILO, 300 * KILO]) == F("0.005")
    assert fault.smallest([50 * KILO]) == F("0.0075")
    assert fault.smallest([50 * KILO, 301 * KILO]) is None
    assert fault.smallest([]) is None
    assert fault.smallest([200 * KILO]) is None
