"""What an angle of the load line does: cosine error and side load, by geometry (math, mpmath)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from mpmath import cos, mp, radians, sin

from api.services.setups.angles import angle_finding

LIMIT = {"max_misalignment_deg": "1"}


def found(setup_of, angle, *, required=None, **more):
    request = {} if angle is None else {"misalignment_deg": Decimal(angle)}
    return angle_finding(setup_of(required=required, request=request, **more))


@pytest.mark.parametrize("angle", ["0.1", "1", "5", "45"])
def test_cosine_error_and_side_load_follow_from_the_angle(setup_of, angle):
    computed = found(setup_of, angle, planned=["20000 lbf"])["computed"]
    with mp.workdps(40):
        x = radians(mp.mpf(angle))
        wanted = {"cosine_error_rel": 1 - cos(x), "side_load_rel": sin(x)}
        for name, number in wanted.items():
            assert abs(mp.mpf(computed[name]) / number - 1) < 1e-11
        force, unit = computed["side_load"].split()
        assert unit == "lbf"
        assert abs(mp.mpf(force) / (20_000 * sin(x)) - 1) < 1e-11


def test_the_sentence_says_what_is_lost_and_what_pushes_sideways(setup_of):
    # 1 - cos 1 deg = 0.000152304843609, sin 1 deg = 0.0174524064373; of 20000 lbf 349.048128746
    said = found(setup_of, "1", planned=["5000 lbf", "20000 lbf"])["sentence"]
    assert "the axis gets 0.0152 % less of the force" in said
    assert "1.75 % of it pushes sideways: 349.048128746 lbf at 20000 lbf" in said


def test_an_angle_on_the_limit_agrees_and_one_beyond_it_differs(setup_of):
    on, beyond = (found(setup_of, angle, required=LIMIT) for angle in ("1.00", "1.25"))
    assert on["outcome"] == "agrees"
    assert on["found"] == "1.00"
    assert beyond["outcome"] == "differs"
    # 1.25 - 1 = 0.25 degrees, a quarter of what is allowed
    assert beyond["off_by"] == {"absolute": "0.25 deg", "relative": "0.25"}
    assert beyond["required_by"] == "requirement LINK version 1"
    assert beyond["remedy"]


def test_without_a_limit_the_figures_are_given_and_nothing_is_judged(setup_of):
    shown = found(setup_of, "3")
    assert shown["outcome"] == "not_checked"
    assert shown["missing"] == "max_misalignment_deg in the requirement"
    assert Decimal(shown["computed"]["cosine_error_rel"]) == Decimal("0.00137046524543")
    assert "required_by" not in shown


def test_an_angle_that_nobody_gave_is_not_taken_to_be_zero(setup_of):
    shown = found(setup_of, None, required=LIMIT)
    assert (shown["outcome"], shown["required"]) == ("not_checked", "1")
    assert shown["missing"] == "misalignment_deg in the request"
    assert "computed" not in shown


def test_no_force_is_invented_where_none_is_planned(setup_of):
    shown = found(setup_of, "1", required=LIMIT)
    assert shown["computed"].keys() == {"cosine_error_rel", "side_load_rel"}


def test_a_straight_load_line_has_no_likely_effect_and_a_crooked_one_may(setup_of):
    # A crane scale may read 0.1 % otherwise: common practice, no source
    scale = {"type": "crane_scale"}
    assert "likely_effect" not in found(setup_of, "0", **scale)
    assert found(setup_of, "1", **scale)["likely_effect"]["error_rel_high"] == "0.001"
    assert "likely_effect" not in found(setup_of, "1", required=LIMIT, **scale)


def test_the_finding_is_about_the_instrument_if_one_is_named(setup_of):
    assert found(setup_of, "1")["about"] == ["TL-1"]
    assert found(setup_of, "1", instrument=None)["about"] == []
