"""Preconditions are read, written and refused with the field, the value and a remedy."""

from __future__ import annotations

from fractions import Fraction

import pytest

from api.rules.precondition import Precondition, precondition_from_mapping, ratio_text
from api.rules.rule_parts import RuleError


@pytest.mark.parametrize(
    ("sent", "limit", "written"),
    [
        ({"least_tur": "4"}, Fraction(4), {"least_tur": "4"}),
        ({"least_tur": "4.0"}, Fraction(4), {"least_tur": "4"}),
        ({"least_tur": 3}, Fraction(3), {"least_tur": "3"}),
        ({"greatest_U_over_T": "0.25"}, Fraction(1, 4), {"greatest_U_over_T": "0.25"}),
        # A third has no decimal: it is kept as a quotient, in lowest terms.
        ({"greatest_U_over_T": "2/6"}, Fraction(1, 3), {"greatest_U_over_T": "1/3"}),
        ({"greatest_U_over_T": "1/4"}, Fraction(1, 4), {"greatest_U_over_T": "0.25"}),
    ],
)
def test_a_ratio_is_a_decimal_or_a_quotient(sent, limit, written):
    found = precondition_from_mapping(sent)
    assert found.limit == limit
    assert found.to_mapping() == written
    assert precondition_from_mapping(written) == found


@pytest.mark.parametrize(
    ("sent", "field", "parts"),
    [
        ({"least_tur": "0"}, "/precondition/least_tur", ("0 is no limit", "above 0")),
        ({"least_tur": "-4"}, "/precondition/least_tur", ("-4 is no limit", "above 0")),
        ({"greatest_U_over_T": "0/3"}, "/precondition/greatest_U_over_T", ("0 is no", "above 0")),
        ({"greatest_U_over_T": "1/0"}, "/precondition/greatest_U_over_T", ("1/0", "above 0")),
        ({"least_tur": "1e9"}, "/precondition/least_tur", ("1000000000", "to 1000000")),
        ({"least_tur": "four"}, "/precondition/least_tur", ("'four'", "give a decimal number")),
        ({"least_tur": 4.0}, "/precondition/least_tur", ("give a decimal number",)),
        ({"tur": "4"}, "/precondition/tur", ("unknown key 'tur'",)),
        ({}, "/precondition", ("neither is given", "least_tur")),
        (
            {"least_tur": "4", "greatest_U_over_T": "1/3"},
            "/precondition",
            ("both are given", "give one"),
        ),
        ("TUR 4", "/precondition", ("not an object", "least_tur")),
    ],
)
def test_what_is_no_precondition_is_refused_with_a_remedy(sent, field, parts):
    with pytest.raises(RuleError) as refused:
        precondition_from_mapping(sent)
    assert refused.value.field == field
    for part in parts:
        assert part in str(refused.value)


def test_an_unknown_kind_is_refused():
    with pytest.raises(RuleError, match="give least_tur or greatest_U_over_T"):
        Precondition("most_tur", Fraction(4))


def test_it_says_what_it_asks():
    assert Precondition("least_tur", Fraction(4)).words == "TUR is at least 4"
    assert Precondition("greatest_U_over_T", Fraction(1, 3)).words == "U/T is at most 1/3"
    assert ratio_text(Fraction(2, 3)) == "2/3"
