"""Rules are versioned records that read back as they were written."""

from decimal import Decimal

import pytest

from api.rules.rule import BASES, BUILT_IN, Guard, Rule, RuleError, rule_from_mapping

GUARDS = [
    {"basis": "none"},
    {"basis": "U", "factor": "0.83"},
    {"basis": "U", "factor": "-1"},
    {"basis": "absolute", "width": "0.2"},
    {"basis": "absolute", "width": {"lower": "0.1", "upper": "0.2"}},
    {"basis": "tolerance", "share": "0.2"},
    {"basis": "rds"},
    {"basis": "managed"},
    {"basis": "specific_risk", "target": "0.025"},
    {"basis": "global_risk", "target": "0.02"},
]


@pytest.mark.parametrize("guard", GUARDS, ids=str)
def test_every_guard_reads_back_as_it_was_written(guard):
    rule = rule_from_mapping({"id": "r", "version": 3, "guard": guard, "zones": 2})
    assert rule.to_mapping() == {"id": "r", "version": 3, "guard": guard, "zones": 2}


def test_the_list_of_guards_above_covers_every_basis():
    assert {guard["basis"] for guard in GUARDS} == set(BASES)


def test_the_record_says_who_prescribed_and_agreed():
    mapping = {
        "id": "class-1",
        "version": 1,
        "guard": {"basis": "none"},
        "zones": 2,
        "title": "Class 1 machines",
        "prescribed_by": "ISO 7500-1",
        "agreed_with": "Customer 12",
        "agreed_at": "2024-05-01",
        "source": "from memory, verify",
        "edition": "2018",
        "note": "the rule is part of the class",
    }
    assert rule_from_mapping(mapping).to_mapping() == mapping


def test_a_width_may_be_absent_on_one_side():
    rule = rule_from_mapping({"guard": {"basis": "absolute", "width": {"upper": "0.2"}}})
    assert rule.guard.width == (Decimal(0), Decimal("0.2"))
    assert (rule.id, rule.version, rule.zones) == ("inline", 1, 2)


def test_the_built_in_rules_are_simple_guarded_and_four_state():
    assert {id_: (rule.guard.basis, rule.zones) for id_, rule in BUILT_IN.items()} == {
        "simple": ("none", 2),
        "guard_U": ("U", 2),
        "four_state_U": ("U", 4),
    }


@pytest.mark.parametrize(
    ("mapping", "field", "message"),
    [
        ([], "", "an object"),
        ({}, "/guard", "needed"),
        ({"guard": "U"}, "/guard", "an object"),
        ({"guard": {}}, "/guard/basis", "basis must be one of"),
        ({"guard": {"basis": "u"}}, "/guard/basis", "basis must be one of"),
        ({"guard": {"basis": 1}}, "/guard/basis", "text is needed"),
        ({"guard": {"basis": "U"}}, "/guard/factor", "needs a factor"),
        ({"guard": {"basis": "U", "factor": 0.5}}, "/guard/factor", "decimal number"),
        ({"guard": {"basis": "U", "factor": True}}, "/guard/factor", "decimal number"),
        ({"guard": {"basis": "U", "factor": "one"}}, "/guard/factor", "not a number"),
        ({"guard": {"basis": "U", "factor": "NaN"}}, "/guard/factor", "finite"),
        ({"guard": {"basis": "U", "factor": "1E+5000"}}, "/guard/factor", "exponent"),
        ({"guard": {"basis": "U", "factor": "1", "share": "1"}}, "/guard/share", "takes no share"),
        ({"guard": {"basis": "absolute", "width": {}}}, "/guard/width", "at least one"),
        ({"guard": {"basis": "absolute", "width": {"left": "1"}}}, "/guard/width/left", "unknown"),
        ({"guard": {"basis": "none", "w": "1"}}, "/guard/w", "unknown key"),
        ({"guard": {"basis": "none"}, "zone": 2}, "/zone", "unknown key"),
        ({"guard": {"basis": "none"}, "zones": 3}, "/zones", "2 or 4"),
        ({"guard": {"basis": "none"}, "zones": "2"}, "/zones", "whole number"),
        ({"guard": {"basis": "none"}, "version": 0}, "/version", "from 1"),
        ({"guard": {"basis": "none"}, "version": Decimal("1.5")}, "/version", "whole number"),
        ({"guard": {"basis": "none"}, "id": ""}, "/id", "empty"),
        ({"guard": {"basis": "none"}, "title": 1}, "/title", "text is needed"),
        ({"guard": {"basis": "specific_risk", "target": "1"}}, "/guard/target", "probability"),
        ({"guard": {"basis": "global_risk", "target": "0"}}, "/guard/target", "probability"),
    ],
)
def test_a_rule_that_cannot_be_used_is_refused_with_its_place(mapping, field, message):
    with pytest.raises(RuleError, match=message) as caught:
        rule_from_mapping(mapping)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("guard", "field"),
    [
        ({"basis": "U", "factor": "-0.1"}, "/guard/factor"),
        ({"basis": "absolute", "width": {"lower": "0.1", "upper": "-0.1"}}, "/guard/width"),
        ({"basis": "tolerance", "share": "-0.1"}, "/guard/share"),
        ({"basis": "specific_risk", "target": "0.51"}, "/guard/target"),
    ],
)
def test_four_zones_refuse_a_negative_guard_band(guard, field):
    assert rule_from_mapping({"guard": guard, "zones": 2}).zones == 2
    with pytest.raises(RuleError, match="four zones") as caught:
        rule_from_mapping({"guard": guard, "zones": 4})
    assert caught.value.field == field


def test_a_rule_built_in_code_is_checked_like_one_from_a_request():
    with pytest.raises(RuleError, match="takes no factor"):
        Guard("none", factor=Decimal(1))
    with pytest.raises(RuleError, match="whole number from 1"):
        Rule(version=True)
