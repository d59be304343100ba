"""Check values from standards and papers, each named with its source and how far to trust it.

`provenance` in the data says whether the source was read or is quoted from memory; a derived value
was calculated independently (40-digit quadrature or plain arithmetic).
"""

import json
from collections.abc import Callable, Iterator
from decimal import Decimal
from math import asin, inf, isnan, nan, pi, sqrt
from pathlib import Path
from typing import Any

import pytest
from scipy.special import owens_t

from api.rules.acceptance import MANAGED_CONSTANTS, acceptance
from api.rules.at_95 import uncertainty_at_95, uncertainty_ratio
from api.rules.decide import Prior, breakpoints, decide, verdict
from api.rules.limits import Limits, half_width
from api.rules.risk import conformance_probability, global_risk, specific_risk
from api.rules.rule import BUILT_IN, Guard, Rule
from api.rules.solve import band_for_global_risk, band_for_specific_risk
from api.rules.units import to_newton

Check = dict[str, Any]

DATA = Path(__file__).parents[3] / "fixtures" / "published" / "decision_checks.json"
CHECKS: list[Check] = json.loads(DATA.read_text(encoding="utf-8"))

# What the project does not offer, so that no check is passed over in silence.
NOT_OFFERED = {
    "RP10-LIN": "the linear guard-band factor K = 1.25 - 1/TUR is no basis of ours",
    "REL-U": "U is taken as stated; it does not scale with the reading inside a decision",
    "EDGE-RECT": "the measurand given the result is normal or Student's t, never rectangular",
}


def family(*prefixes: str) -> pytest.MarkDecorator:
    found = [c for c in CHECKS if c["id"].startswith(prefixes)]
    assert found, prefixes
    labels = [f"{c['id']}-{c['provenance']}" for c in found]
    return pytest.mark.parametrize("check", found, ids=labels)


def number(value: object) -> Decimal:
    return Decimal(str(value))


def close(check: Check, name: str) -> Any:
    return pytest.approx(check["expected"][name], abs=check["tolerance"], rel=0)


@family("J106-T1")
def test_conformance_probability_of_table_1_belongs_to_its_distance_from_the_limit(check):
    z = check["expected"]["z"]
    assert band_for_specific_risk(1 - check["inputs"]["p_c"], inf) == pytest.approx(
        z, abs=check["tolerance"]
    )


@family("J106-ZENER")
def test_a_negative_quantity_with_an_upper_limit_keeps_its_sign(check):
    given = check["inputs"]
    p = conformance_probability(given["y_V"], given["u_V"], -inf, given["TU_V"])
    assert p == close(check, "p_c")


@family("J106-CM")
def test_capability_index_is_the_width_over_four_standard_uncertainties(check):
    given = check["inputs"]
    limits = Limits(number(given["TL"]), number(given["TU"]))
    found = decide(limits.upper, 2 * number(given["u_m"]), limits, BUILT_IN["simple"])
    assert float(found.capability) == close(check, "C_m")


@family("G8-6SIGMA", "G8-3SIGMA", "G8-G8-2009", "G8-14253", "G8-SIMPLE")
def test_risk_on_the_acceptance_limit_stays_below_the_printed_bound(check):
    r, k = number(check["inputs"]["r"]), number(check["inputs"]["k"])
    limits = Limits(None, Decimal(10))
    rule = Rule(guard=Guard("U", factor=r))
    edge = acceptance(limits, Decimal("0.2"), rule, k=k).upper
    found = decide(edge, Decimal("0.2"), limits, rule, k=k)
    assert found.verdict == "pass"
    assert 0 < found.specific_risk["consumer"] <= check["expected"]["pfa_upper_bound"]


@family("G8-UNCRIT")
def test_negative_guard_band_widens_acceptance_and_bounds_false_rejection(check):
    given, U = check["inputs"], number(check["inputs"]["U"])
    # The published example guards a limit from one side: rejected only beyond TL + U.
    limits = Limits(None, number(given["TL"]))
    rule = Rule(guard=Guard("U", factor=number(given["r"])))
    edge = acceptance(limits, U, rule, k=number(given["k"])).upper
    assert float(edge) == close(check, "AL")
    rejected = decide(edge + Decimal("1e-9"), U, limits, rule)
    assert rejected.verdict == "fail"
    assert rejected.specific_risk["producer"] <= check["expected"]["pfr_upper_bound"]


@family("G8-NOMINAL10")
def test_acceptance_limits_of_ten_plus_or_minus_one(check):
    given = check["inputs"]
    limits = Limits(number(given["TL"]), number(given["TU"]))
    for r, low, high in zip(
        given["r"], check["expected"]["AL"], check["expected"]["AU"], strict=True
    ):
        found = acceptance(limits, number(given["U"]), Rule(guard=Guard("U", factor=number(r))))
        assert (found.lower, found.upper) == (number(low), number(high))


@family("G8-PCTBAND")
def test_guard_band_as_share_of_tolerance_is_not_a_share_of_U(check):
    half = number(check["inputs"]["L"])
    rule = Rule(guard=Guard("tolerance", share=number(check["inputs"]["fraction"])))
    found = acceptance(Limits(-half, half), Decimal("0.123"), rule)
    assert found.upper == number(check["expected"]["acceptance"])


@family("G8-BIN-MICROM")
def test_micrometer_deviations_are_decided_in_decimal(check):
    given = check["inputs"]
    limits = Limits(-number(given["MPE"]), number(given["MPE"]))
    found = [
        decide(number(d), number(given["U"]), limits, BUILT_IN["guard_U"])
        for d in given["deviations"]
    ]
    assert [d.verdict for d in found] == check["expected"]["binary_guarded"]
    assert str(found[0].acceptance.upper) == check["expected"]["acceptance_limit"]


@family("TUR-DEF")
def test_uncertainty_ratio_is_half_the_width_over_U(check):
    given = check["inputs"]
    limits = Limits(number(given["TL"]), number(given["TU"]))
    assert uncertainty_ratio(limits, number(given["U"]), Decimal(2)) == check["expected"]["TUR"]


@family("I14253-095")
def test_guard_band_for_95_percent_conformance(check):
    z = float(band_for_specific_risk(1 - check["inputs"]["p"], inf))
    assert z == close(check, "h_over_u")
    assert z / check["inputs"]["k"] == close(check, "h_over_U")


@family("Z540-PFA")
def test_two_percent_rule_meets_its_ceiling(check):
    target = check["expected"]["pfa_max"]
    w = float(band_for_global_risk(target, -1.0, 1.0, 0.5))
    joint = global_risk(-1.0, 1.0, -1.0 + w, 1.0 - w, 0.0, 1.0, 0.5)
    assert w > 0
    assert joint.consumer == pytest.approx(target, abs=1e-12)


@family("M6-TUR")
def test_managed_guard_band(check):
    half, tur = Decimal(1), number(check["inputs"]["TUR"])
    # U = L/TUR has no end for TUR = 3, so the tolerance is scaled instead.
    limits = Limits(-half * tur, half * tur)
    found = acceptance(limits, Decimal(1), Rule(guard=Guard("managed")))
    assert float(found.guard_upper) == close(check, "M")
    assert float(found.upper / tur) == close(check, "AL_over_L")


@family("M6-ZERO")
def test_managed_guard_band_is_clamped_at_zero_above_tur_4_6(check):
    zero = check["expected"]["TUR_where_M_is_0"]
    for tur, guarded in ((zero - 0.05, True), (zero + 0.05, False), (20, False)):
        limits = Limits(-number(tur), number(tur))
        found = acceptance(limits, Decimal(1), Rule(guard=Guard("managed")))
        assert (found.guard_upper > 0) is guarded
        assert found.guard_upper >= 0
    assert MANAGED_CONSTANTS[0] == Decimal("1.04")


@family("DOBBERT-WU")
def test_guard_band_of_U_keeps_the_global_risk_under_two_percent_for_any_prior(check):
    for tur in check["inputs"]["TUR_scanned"]:
        U = 1 / tur
        spreads = [0.02 * 1.25**i for i in range(30)]
        risks = global_risk(-1.0, 1.0, -1.0 + U, 1.0 - U, 0.0, spreads, U / 2)
        assert risks.consumer.max() <= check["expected"]["max_pfa_le"]


@family("RDS-TUR")
def test_root_difference_of_squares(check):
    tur = number(check["inputs"]["TUR"])
    found = acceptance(Limits(-tur, tur), Decimal(1), Rule(guard=Guard("rds")))
    assert not found.empty
    assert float(found.upper / tur) == close(check, "AL_over_L")


@family("K08-")
def test_guard_band_solved_for_a_target_global_risk(check):
    given = check["inputs"]
    prior = Prior(Decimal(0), number(given["u0"]))
    rule = Rule(guard=Guard("global_risk", target=number(given["target_pfa"])))
    found = acceptance(Limits(Decimal(-1), Decimal(1)), 2 * number(given["um"]), rule, prior=prior)
    assert float(found.upper) == close(check, "K")


@family("RP1342-CRPR")
def test_consumers_and_producers_risk_of_simple_acceptance(check):
    given = check["inputs"]
    L = given["L"]
    found = global_risk(-L, L, -L, L, 0.0, given["sigma_x"], given["sigma_m"])
    assert found.consumer == close(check, "CR")
    assert found.producer == close(check, "PR")


@family("OWENT")
def test_owens_t_of_the_library_in_use(check):
    T = check["expected"]["T"]
    assert owens_t(check["inputs"]["h"], check["inputs"]["a"]) == pytest.approx(T, rel=1e-14)


@family("BVN-ORTHANT")
def test_both_limits_at_the_prior_mean_follow_the_orthant_formula(check):
    rho = check["inputs"]["rho"]
    u = sqrt(1 / rho**2 - 1)
    found = global_risk(-inf, 0.0, -inf, 0.0, 0.0, 1.0, u)
    both = 0.5 - float(found.producer)
    assert both == close(check, "Phi2")
    assert both == pytest.approx(0.25 + asin(rho) / (2 * pi), abs=1e-15)


@family("GUM-G2")
def test_a_coverage_factor_of_table_g_2_marks_U_as_a_95_percent_uncertainty(check):
    for nu, k in zip(check["inputs"]["nu"], check["expected"]["k"], strict=True):
        assert uncertainty_at_95(Decimal(1), number(k), float(nu)) == (1, 1)
        assert uncertainty_at_95(Decimal(1), number(1.5 * k), float(nu)) != (1, 1)


@family("EDGE-ONLIMIT")
def test_a_value_on_the_limit_passes_with_a_conformance_of_one_half(check):
    given = check["inputs"]
    limits = Limits(None, number(given["TU"]))
    found = decide(number(given["y"]), 2 * number(given["u"]), limits, BUILT_IN["simple"])
    assert found.verdict == check["expected"]["simple_acceptance"]
    assert found.conformance_probability == close(check, "p_c")


@family("EDGE-U0")
def test_without_uncertainty_conformance_is_a_step_and_the_ratio_null(check):
    limits = Limits(Decimal(0), number(check["inputs"]["TU"]))
    for y, p in zip(check["inputs"]["y"], check["expected"]["p_c"], strict=True):
        found = decide(number(y), Decimal(0), limits, BUILT_IN["guard_U"])
        assert found.conformance_probability == p
        assert found.tur is None
        assert found.capability is None


@family("EDGE-EMPTY")
def test_crossed_acceptance_limits_are_kept_and_accept_nothing(check):
    given, expected = check["inputs"], check["expected"]
    limits = Limits(number(given["TL"]), number(given["TU"]))
    w = number(given["w"])
    rule = Rule(guard=Guard("absolute", width=(w, w)))
    prior = Prior(Decimal(0), number(given["u0"]))
    found = decide(Decimal(0), 2 * number(given["um"]), limits, rule, prior=prior)
    assert found.acceptance.empty is expected["acceptance_empty"]
    assert found.acceptance.reason
    assert found.verdict == "fail"
    assert (found.acceptance.lower, found.acceptance.upper) == (
        number(expected["AL"]),
        number(expected["AU"]),
    )
    assert found.global_risk["consumer"] == expected["PFA"]
    assert found.global_risk["producer"] == close(check, "PFR")
    assert found.global_risk["consumer_given_accepted"] is None


@family("EDGE-POINT")
def test_acceptance_of_a_single_point_is_not_empty(check):
    given = check["inputs"]
    w = number(given["w"])
    limits = Limits(number(given["TL"]), number(given["TU"]))
    rule = Rule(guard=Guard("absolute", width=(w, w)))
    found = [decide(number(y), Decimal(1), limits, rule).verdict for y in given["y"]]
    assert found == check["expected"]["statements"]


@family("EDGE-TOL-COMPOSITE")
def test_composite_tolerance_is_a_sum_unless_root_sum_square_is_asked_for(check):
    given = check["inputs"]
    scales = {
        "reading": number(given["reading"]),
        "full_scale": number(given["FS"]),
        "resolution": number(given["digit"]),
    }
    terms = [
        {"kind": "percent_of_reading", "value": str(given["pct_rdg"])},
        {"kind": "percent_of_full_scale", "value": str(given["pct_fs"])},
        {"kind": "digits_of_resolution", "value": given["n_digits"]},
    ]
    assert half_width({"terms": terms}, scales) == number(check["expected"]["tolerance_N"])
    rss = half_width({"terms": terms, "combine": "rss"}, scales)
    # The note of the check gives 0.3092 for the root-sum-square.
    assert float(rss) == pytest.approx(0.3092, abs=5e-5)


@family("EDGE-ROUND")
def test_limits_are_compared_with_the_unrounded_value(check):
    limits = Limits(None, number(check["inputs"]["limit"]))
    found = decide(number(check["inputs"]["observed"]), Decimal(0), limits, BUILT_IN["simple"])
    assert found.verdict == check["expected"]["absolute"]


@family("EDGE-K")
def test_the_stated_coverage_factor_gives_the_standard_uncertainty(check):
    given, again = check["inputs"], check["recomputed"]
    limits = Limits(None, number(given["TU"]))
    y, U, k = (number(given[name]) for name in ("y", "U", "k"))
    normal = decide(y, U, limits, BUILT_IN["simple"], k=k)
    assert normal.conformance_probability == close(check, "p_c_normal")
    student = decide(y, U, limits, BUILT_IN["simple"], k=k, dof=Decimal(5))
    assert student.conformance_probability == pytest.approx(again["p_c_t_nu5"], abs=1e-12)


@family("EDGE-WIDE")
def test_both_tails_count(check):
    given = check["inputs"]
    p = conformance_probability(given["y"], given["u"], given["TL"], given["TU"])
    assert p == close(check, "p_c")
    assert specific_risk(given["y"], given["u"], given["TL"], given["TU"]) == 1 - p


@family("EDGE-UNITS")
def test_a_reading_in_another_unit_is_converted_exactly_before_it_is_compared(check):
    limit, reading = (check["inputs"][name].split() for name in ("TU", "y"))
    limits = Limits(None, to_newton(number(limit[0]), limit[1]))
    value = to_newton(number(reading[0]), reading[1])
    assert float(value / 1000) == close(check, "y_kN")
    found = decide(value, Decimal(0), limits, BUILT_IN["simple"])
    assert found.verdict == check["expected"]["simple"]
    # 10 kN = 2248.089 lbf, by exact arithmetic.
    for pounds, expected in (("2248.0", "pass"), ("2248.1", "fail")):
        value = to_newton(Decimal(pounds), "lbf")
        assert decide(value, Decimal(0), limits, BUILT_IN["simple"]).verdict == expected


@family("GR-")
def test_global_risks_by_quadrature(check):
    given = check["inputs"]
    limits = [nan if given[name] is None else given[name] for name in ("TL", "TU", "AL", "AU")]
    found = global_risk(*limits, given["mu0"], given["u0"], given["um"])
    assert found.consumer == close(check, "PFA")
    assert found.producer == close(check, "PFR")
    assert found.consumer == pytest.approx(check["expected"]["PFA"], abs=1e-12, rel=0)
    assert not isnan(found.consumer_given_accepted)


def marked() -> Iterator[str]:
    tests: list[Callable[..., object]] = [v for n, v in globals().items() if n.startswith("test_")]
    for test in tests:
        for mark in getattr(test, "pytestmark", ()):
            yield from (check["id"] for check in mark.args[1])


def test_every_published_check_is_used_or_named_as_not_offered():
    refused = tuple(NOT_OFFERED)
    expected = {c["id"] for c in CHECKS if not c["id"].startswith(refused)}
    assert set(marked()) == expected
    assert all(c["provenance"] in ("read", "memory") for c in CHECKS)


def test_the_four_zones_of_a_published_interval_meet_at_its_edges():
    # ILAC-G8:09/2019, 4.2.3 (from memory): conditional zones lie within w of the limits.
    limits = Limits(Decimal(9), Decimal(11))
    found = acceptance(limits, Decimal("0.2"), BUILT_IN["four_state_U"])
    edges = breakpoints(limits, found, 4)
    assert [str(edge) for edge in edges] == ["8.8", "9", "9.2", "10.8", "11", "11.2"]
    zones = [verdict(edge, limits, found, 4) for edge in edges[3:]]
    assert zones == ["pass", "conditional_pass", "conditional_fail"]
