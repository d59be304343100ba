"""Rules are versioned records that read back as they were written."""

from decimal import Decimal

import pytest

from api.rules.precondition import precondition_from_mapping
from api.rules.rule import (
    BASES,
    BUILT_IN,
    Guard,
    Rule,
    RuleError,
    refuse_unreachable,
    rule_from_mapping,
)

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
    {"basis": "tur_table", "steps": [{"from_tur": "0", "factor": "1"}]},
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


NONE, TUR = {"basis": "none"}, {"least_tur": "4"}


def nested(levels: int) -> dict:
    """A rule object with so many branches, the last without a precondition."""
    rule: dict = {"guard": NONE}
    for _ in range(levels - 1):
        rule = {"guard": NONE, "precondition": TUR, "otherwise": rule}
    return rule


def test_a_chain_of_fallbacks_reads_back_as_it_was_written():
    sent = {
        "id": "steps",
        "guard": NONE,
        "precondition": TUR,
        "otherwise": {
            "guard": {"basis": "U", "factor": "1"},
            "zones": 4,
            "precondition": {"greatest_U_over_T": "1/3"},
            "otherwise": {"id": "guard_U", "version": 1},
        },
    }
    rule = rule_from_mapping(sent)
    assert [one.id for one in rule.chain()] == ["steps", "inline", "guard_U"]
    assert rule_from_mapping(rule.to_mapping()) == rule
    # What was named stands in the rule whole, with its version; what was sent inline without.
    written = rule.to_mapping()["otherwise"]
    assert "version" not in written
    assert (written["otherwise"]["id"], written["otherwise"]["version"]) == ("guard_U", 1)


@pytest.mark.parametrize("otherwise", ["no_statement", None])
def test_without_a_fallback_nothing_is_stated(otherwise):
    rule = rule_from_mapping({"guard": NONE, "precondition": TUR, "otherwise": otherwise})
    assert rule.otherwise is None
    assert rule.to_mapping()["otherwise"] == "no_statement"
    assert "otherwise" not in rule_from_mapping({"guard": NONE}).to_mapping()


@pytest.mark.parametrize(
    ("changes", "field", "message"),
    [
        ({"otherwise": "guard_U", "precondition": None}, "/otherwise", "never reached; give a pre"),
        ({"otherwise": "mine"}, "/otherwise", "'mine' is not known; record it first"),
        ({"otherwise": {"id": "simple", "version": 2}}, "/otherwise", "version 2, is not known"),
        ({"otherwise": {"id": "simple", "guards": 1}}, "/otherwise/guards", "unknown key"),
        ({"otherwise": "own"}, "/otherwise", "'own' comes back to itself; name another"),
        ({"otherwise": 5}, "/otherwise", "text is needed"),
        ({"otherwise": {"guard": {"basis": "u"}}}, "/otherwise/guard/basis", "basis must be"),
        (
            {"otherwise": {"guard": NONE, "precondition": {"least_tur": "0"}}},
            "/otherwise/precondition/least_tur",
            "0 is no limit for TUR; give a ratio above 0",
        ),
        ({"precondition": {"least_TUR": "4"}}, "/precondition/least_TUR", "unknown key"),
        ({"otherwise": nested(5)}, "/otherwise", "leave some out"),
        ({"otherwise": nested(2000)}, "/otherwise", "leave some out"),
    ],
)
def test_a_chain_that_cannot_be_used_is_refused_with_its_place(changes, field, message):
    with pytest.raises(RuleError, match=message) as caught:
        rule_from_mapping({"id": "own", "guard": NONE, "precondition": TUR} | changes)
    assert caught.value.field == field


def test_a_chain_that_comes_back_by_another_rule_is_refused():
    older = Rule("own", precondition=precondition_from_mapping(TUR))
    between = Rule("between", precondition=precondition_from_mapping(TUR), otherwise=older)
    with pytest.raises(RuleError, match="'own' comes back to itself"):
        Rule("own", 2, precondition=precondition_from_mapping(TUR), otherwise=between)


@pytest.mark.parametrize(
    ("steps", "field", "message"),
    [
        ([], "/guard/steps", "give 1 to 50"),
        ("4", "/guard/steps", "a list of steps"),
        (["4"], "/guard/steps/0", "a step is an object"),
        ([{"factor": "1"}], "/guard/steps/0/from_tur", "it is missing"),
        ([{"from_tur": "0"}], "/guard/steps/0", "neither is given"),
        ([{"from_tur": "0", "factor": "1", "share": "1"}], "/guard/steps/0", "both are given"),
        ([{"from_tur": "2", "factor": "1"}], "/guard/steps/0/from_tur", "nothing is said below"),
        ([{"from_tur": "0", "factor": "x"}], "/guard/steps/0/factor", "not a number"),
        ([{"from_tur": "0", "factors": "1"}], "/guard/steps/0/factors", "unknown key"),
        (
            [{"from_tur": "0", "factor": "1"}, {"from_tur": "0", "factor": "0"}],
            "/guard/steps/1/from_tur",
            "not above the step before; put them in order",
        ),
        (
            [{"from_tur": "0", "factor": "1"}, {"from_tur": "1e7", "factor": "0"}],
            "/guard/steps/1/from_tur",
            "no TUR is that large",
        ),
        (None, "/guard/steps", "needs a steps"),
    ],
)
def test_a_table_without_an_answer_for_every_ratio_is_refused(steps, field, message):
    with pytest.raises(RuleError, match=message) as caught:
        rule_from_mapping({"guard": {"basis": "tur_table", "steps": steps}})
    assert caught.value.field == field


def test_a_table_that_relaxes_has_two_zones():
    steps = [{"from_tur": "0", "factor": "1"}, {"from_tur": "10", "share": "-0.1"}]
    guard = {"basis": "tur_table", "steps": steps}
    assert rule_from_mapping({"guard": guard}).guard.to_mapping() == guard
    with pytest.raises(RuleError, match="use zones 2") as caught:
        rule_from_mapping({"guard": guard, "zones": 4})
    assert caught.value.field == "/guard/steps"


@pytest.mark.parametrize(
    ("asked", "then", "field", "remedy"),
    [
        ({"least_tur": "4"}, {"least_tur": "4"}, "least_tur", "ask for less than 4"),
        ({"least_tur": "4"}, {"least_tur": "4.5"}, "least_tur", "ask for less than 4"),
        (
            {"greatest_U_over_T": "1/3"},
            {"greatest_U_over_T": "0.25"},
            "greatest_U_over_T",
            "ask for more than 1/3",
        ),
    ],
)
def test_a_branch_that_is_never_reached_is_refused(asked, then, field, remedy):
    # Where TUR >= 4 did not hold, neither does TUR >= 4.5; algebra.
    fallback = {"guard": NONE, "precondition": then}
    rule = rule_from_mapping({"guard": NONE, "precondition": asked, "otherwise": fallback})
    with pytest.raises(RuleError, match=remedy) as caught:
        refuse_unreachable(rule)
    assert caught.value.field == f"/otherwise/precondition/{field}"
    between = {"guard": NONE, "precondition": {"least_tur": "9"}, "otherwise": fallback}
    if field != "least_tur":  # an earlier one of the same kind, with another between
        rule = rule_from_mapping({"guard": NONE, "precondition": asked, "otherwise": between})
        with pytest.raises(RuleError) as caught:
            refuse_unreachable(rule)
        assert caught.value.field == f"/otherwise/otherwise/precondition/{field}"


def test_a_named_branch_that_is_never_reached_is_refused_where_it_is_named():
    named = Rule("strict", precondition=precondition_from_mapping({"least_tur": "5"}))
    rule = Rule(precondition=precondition_from_mapping(TUR), otherwise=named)
    with pytest.raises(RuleError, match="never holds") as caught:
        refuse_unreachable(rule)
    assert caught.value.field == "/otherwise"


@pytest.mark.parametrize(
    ("asked", "then"),
    [
        ({"least_tur": "4"}, {"least_tur": "3.999"}),
        ({"greatest_U_over_T": "1/3"}, {"greatest_U_over_T": "0.334"}),
        ({"least_tur": "4"}, {"greatest_U_over_T": "0.1"}),  # k lies between the two ratios
    ],
)
def test_a_branch_that_may_be_reached_is_kept(asked, then):
    fallback = {"guard": NONE, "precondition": then, "otherwise": "guard_U"}
    refuse_unreachable(
        rule_from_mapping({"guard": NONE, "precondition": asked, "otherwise": fallback})
    )
    refuse_unreachable(BUILT_IN["simple"])


def test_a_chain_may_have_five_branches():
    assert len([*rule_from_mapping(nested(5)).chain()]) == 5


def test_a_rule_built_in_code_is_checked_like_one_from_a_request():
    with pytest.raises(RuleError, match="takes no factor"):
        Guard("none", factor=Decimal(1))
    with pytest.raises(RuleError, match="whole number from 1"):
        Rule(version=True)
