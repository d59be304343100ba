"""What a request asks: one unit for all numbers, exactly, and a pointer to what is wrong.

Requests are loaded by their schema, as those of a client are. Factors: 1 lbf = 0.45359237 kg x
9.80665 m/s2 = 4.4482216152605 N (NIST SP 811:2008, appendix B, from memory).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from api.errors import InvalidRecord, UnknownReference
from api.rules.rule import BUILT_IN
from api.schemas.decisions import NewDecisionSchema
from api.services.decisions.decision_rules import record_rule
from api.services.decisions.requests import (
    decide_request,
    needs_records,
    requested_rule,
    rules_of,
)
from api.services.decisions.specifications import record_specification

SENT = {
    "value": "10.8",
    "U": "0.2",
    "unit": "kN",
    "limits": {"lower": "9", "upper": "11"},
    "rule": "guard_U",
}
TOLERANCE = {"limits": None, "nominal": "10", "tolerance": "1"}


def loaded(**changes):
    sent = {name: part for name, part in {**SENT, **changes}.items() if part is not None}
    return NewDecisionSchema().load(sent)


def decided(session=None, **changes):
    request = loaded(**changes)
    rule, _, _ = requested_rule(session, request)
    return decide_request(session, request, rule)


def limits(**changes):
    found = decided(**changes).decision.limits
    return found.lower, found.upper


def refused(**changes):
    with pytest.raises(InvalidRecord) as found:
        decided(**changes)
    (issue,) = found.value.issues
    assert issue.remedy
    return issue


def test_limits_in_another_unit_of_force_are_converted_exactly():
    found = limits(
        limits={"lower": {"value": "9000", "unit": "N"}, "upper": {"value": "2500", "unit": "lbf"}}
    )
    # 2500 x 4.4482216152605 N
    assert found == (9, Decimal("11.12055403815125"))


def test_an_uncertainty_in_another_unit_is_converted_exactly():
    # 50 lbf are 222.411080763025 N
    decision = decided(U={"value": "50", "unit": "lbf"}).decision
    assert Fraction(decision.U) == Fraction("0.222411080763025")
    assert decision.verdict == "fail"  # 11 - 0.2224 is below 10.8


def test_an_uncertainty_in_percent_is_of_the_value_whatever_its_sign():
    # 0.25 % of 10.8; of -10.8 the same size
    assert Decimal("0.02700") == decided(U=None, U_rel_pct="0.25").decision.U
    both = {"value": "-10.8", "limits": {"lower": "-11"}}
    assert Decimal("0.02700") == decided(U=None, U_rel_pct="0.25", **both).decision.U


@pytest.mark.parametrize("changes", [{"value": "0"}, {"unit": "%"}])
def test_a_percentage_of_nothing_or_of_a_percentage_has_no_meaning(changes):
    issue = refused(U=None, U_rel_pct="0.25", **changes)
    assert (issue.pointer, issue.value) == ("/U_rel_pct", "0.25")


def test_a_tolerance_lies_around_its_nominal_or_around_zero_for_an_error():
    assert limits(**TOLERANCE) == (9, 11)
    assert limits(**TOLERANCE | {"nominal": "0"}, value="0.5") == (-1, 1)
    assert limits(**TOLERANCE | {"tolerance": {"lower": "-0.5", "upper": "0.2"}}) == (
        Decimal("9.5"),
        Decimal("10.2"),
    )


def test_a_nominal_in_another_unit_is_converted_and_the_tolerance_is_not():
    # 2000 lbf = 8.896443230521 kN, plus and minus 1 kN
    found = limits(**TOLERANCE | {"nominal": {"value": "2000", "unit": "lbf"}})
    assert found == (Decimal("7.896443230521"), Decimal("9.896443230521"))


def test_percent_of_reading_is_of_the_value_unless_a_reading_is_given():
    terms = {"terms": [{"kind": "percent_of_reading", "value": "1"}]}
    # 1 % of 10.8, of 20, and of 1 kip = 4.4482216152605 kN
    assert limits(**TOLERANCE | {"tolerance": terms})[1] == Decimal("10.108")
    assert limits(**TOLERANCE | {"tolerance": terms}, reading="20")[1] == Decimal("10.2")
    kip = {"value": "1", "unit": "kip"}
    found = limits(**TOLERANCE | {"tolerance": terms}, reading=kip)[1]
    assert found == Decimal("10.044482216152605")


def test_an_error_in_percent_is_of_a_nominal_of_a_hundred():
    # 0.5 % of nominal 100; the reading is 100 + 0.4
    nominal = {"terms": [{"kind": "percent_of_nominal", "value": "0.5"}]}
    reading = {"terms": [{"kind": "percent_of_reading", "value": "0.5"}]}
    asked = {"limits": None, "unit": "%", "value": "0.4", "U": "0.1", "nominal": "0"}
    assert limits(**asked, tolerance=nominal) == (Decimal("-0.5"), Decimal("0.5"))
    assert limits(**asked, tolerance=reading) == (Decimal("-0.502"), Decimal("0.502"))


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        ({"unit": "kg"}, "/unit", "unit of mass"),
        ({"U": {"value": "1", "unit": "kg"}}, "/U/unit", "unit of mass"),
        ({"U": {"value": "1", "unit": "mV/V"}}, "/U/unit", "cannot be expressed in kN"),
        (
            {"limits": {"upper": {"value": "1", "unit": "mm"}}},
            "/limits/upper/unit",
            "cannot be expressed in kN",
        ),
        ({"limits": {"lower": "12", "upper": "11"}}, "/limits/lower", "above upper"),
        ({**TOLERANCE, "tolerance": {"lower": "1", "upper": "-1"}}, "/tolerance", "above upper"),
        (
            {
                **TOLERANCE,
                "tolerance": {"terms": [{"kind": "percent_of_full_scale", "value": "1"}]},
            },
            "/tolerance/terms/0/kind",
            "full",
        ),
        (
            {"limits": {"upper": "11"}, "prior": {"reliability": "0.95"}},
            "/prior/mean",
            "mean of the items",
        ),
        (
            {"prior": {"reliability": "0.95", "mean": "50"}},
            "/prior/mean",
            "inside the limits",
        ),
        (
            {"limits": {"upper": "11"}, "rule": {"guard": {"basis": "rds"}, "zones": 2}},
            "/rule/guard/basis",
            "both limits",
        ),
    ],
)
def test_what_is_wrong_is_named_by_a_pointer_into_the_request(changes, place, words):
    issue = refused(**changes)
    assert issue.pointer == place
    assert words in issue.detail


def test_a_prior_from_the_observed_rate_is_the_middle_of_the_limits():
    # Observed inside 9 to 11 in 95.45 % of cases with u = 0.1: sqrt(0.5^2 - 0.1^2) = 0.4899
    found = decided(prior={"reliability": "0.954499736103642"}).prior
    assert found.mean == 10
    assert float(found.sd) == pytest.approx((0.5**2 - 0.1**2) ** 0.5, rel=1e-9)


def test_a_prior_may_come_in_another_unit():
    found = decided(prior={"mean": {"value": "10000", "unit": "N"}, "sd": "0.5"}).prior
    assert (found.mean, found.sd) == (10, Decimal("0.5"))


def test_only_what_names_a_record_needs_the_records():
    assert not needs_records(loaded())
    assert not needs_records(loaded(rule={"guard": {"basis": "none"}, "zones": 2}))
    assert not needs_records(loaded(**TOLERANCE))
    assert needs_records(loaded(rule="ours"))
    assert needs_records(loaded(rule={"id": "guard_U", "version": 2}))
    assert needs_records(loaded(limits=None, tolerance="SPEC-1"))
    assert needs_records(loaded(U=None, budget="UB-1"))


def test_a_request_that_needs_records_cannot_be_decided_without_them():
    for changes in ({"rule": "ours"}, {"limits": None, "tolerance": "SPEC-1"}):
        with pytest.raises(TypeError, match="needs a session"):
            decided(**changes)


def test_a_rule_object_is_shown_with_what_was_sent_and_its_digits():
    request = loaded(rule={"guard": {"basis": "U", "factor": "0.830"}, "zones": 2, "note": "ours"})
    rule, shown, row = requested_rule(None, request)
    assert rule.guard.factor == Decimal("0.830")
    assert shown["guard"] == {"basis": "U", "factor": "0.830"}
    assert (shown["note"], shown["zones"], row) == ("ours", 2, None)


def test_a_built_in_rule_is_shown_by_id_and_version():
    rule, shown, row = requested_rule(None, loaded())
    assert (rule, shown, row) == (BUILT_IN["guard_U"], {"id": "guard_U", "version": 1}, None)


def test_recorded_rules_and_specifications_are_found_by_id_and_version(database):
    ours = {"id": "ours", "guard": {"basis": "U", "factor": Decimal("0.5")}, "zones": 2}
    spec = {"id": "SPEC-1", "tolerance": Decimal("1"), "unit": "kN", "source": "ours"}
    with database.write() as session:
        record_rule(session, ours, 0)
        record_specification(session, spec, 0)
        record_specification(session, spec | {"tolerance": Decimal(2)}, 0)
        asked = {"limits": None, "nominal": "10", "tolerance": "SPEC-1", "rule": "ours"}
        decision, _, version = decided(session, **asked)
        # the latest version: 10 + 2; w = 0.5 x 0.2
        assert (decision.limits.upper, version) == (12, 2)
        assert decision.acceptance.upper == Decimal("11.9")
        first = asked | {"tolerance": {"specification": "SPEC-1", "version": 1}}
        assert decided(session, **first).decision.limits.upper == 11
        with pytest.raises(UnknownReference, match='"SPEC-2"'):
            decided(session, **asked | {"tolerance": "SPEC-2"})
        with pytest.raises(UnknownReference, match='"theirs"'):
            decided(session, **asked | {"rule": "theirs"})
        rules, default = rules_of(session, {"id": "ours"})
        assert {"ours", "simple", "guard_U"} <= rules.keys()
        assert default == rules["ours"]
        assert rules_of(session, None)[1] is None
