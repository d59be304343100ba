"""Tolerance limits from numbers, offsets and terms."""

from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.limits import Limits, LimitsError, half_width, tolerance_offsets


def terms(*pairs, combine="sum"):
    listed = [{"kind": kind, "value": value} for kind, value in pairs]
    return {"terms": listed, "combine": combine}


def test_a_symmetric_tolerance_lies_around_the_nominal():
    limits = Limits.from_nominal(Decimal("10.00"), "0.5")
    assert (limits.lower, limits.upper) == (Decimal("9.5"), Decimal("10.5"))
    assert limits.two_sided


def test_offsets_are_signed_and_one_may_be_absent():
    limits = Limits.from_nominal(Decimal(10), {"lower": "-0.1", "upper": "0.3"})
    assert (limits.lower, limits.upper) == (Decimal("9.9"), Decimal("10.3"))
    single = Limits.from_nominal(Decimal(10), {"lower": None, "upper": "0.3"})
    assert single == Limits(None, Decimal("10.3"))
    assert not single.two_sided


def test_terms_use_the_reading_the_nominal_the_full_scale_and_the_resolution():
    limits = Limits.from_nominal(
        Decimal(0),
        terms(
            ("percent_of_reading", "0.1"),
            ("percent_of_full_scale", "0.02"),
            ("absolute", "1"),
            ("digits_of_resolution", 2),
        ),
        reading=Decimal(-500),
        full_scale=Decimal(1000),
        resolution=Decimal("0.1"),
    )
    # 0.5 + 0.2 + 1 + 0.2
    assert limits == Limits(Decimal("-1.9"), Decimal("1.9"))


def test_percent_of_nominal_is_taken_of_the_nominal():
    assert Limits.from_nominal(Decimal(200), terms(("percent_of_nominal", "1"))) == Limits(
        Decimal(198), Decimal(202)
    )


def test_root_sum_square_of_a_pythagorean_pair_is_exact():
    both = terms(("absolute", "3"), ("absolute", "4"), combine="rss")
    assert half_width(both, {}) == Decimal(5)


def test_limits_may_be_fractions():
    assert Limits(Fraction(1, 3), Decimal(1)).lower == Fraction(1, 3)


@pytest.mark.parametrize(
    ("call", "field", "message"),
    [
        (lambda: Limits(), "", "at least one"),
        (lambda: Limits(Decimal(2), Decimal(1)), "/lower", "must not be above"),
        (lambda: Limits(Decimal("NaN"), None), "/lower", "finite"),
        (lambda: Limits(None, 1.5), "/upper", "not float"),
        (lambda: tolerance_offsets("-1"), "/tolerance", "negative"),
        (lambda: tolerance_offsets("wide"), "/tolerance", "'wide' is not a number"),
        (lambda: tolerance_offsets(None), "/tolerance", "NoneType"),
        (lambda: tolerance_offsets({}), "/tolerance", "at least one"),
        (lambda: tolerance_offsets({"low": "1"}), "/tolerance/low", "unknown key"),
        (lambda: half_width(terms(), {}), "/tolerance/terms", "at least one term"),
        (lambda: half_width({"terms": ["1"]}, {}), "/tolerance/terms/0", "a kind and a value"),
        (
            lambda: half_width(terms(("absolute", "1"), combine="max"), {}),
            "/tolerance/combine",
            "'sum' or 'rss'",
        ),
        (
            lambda: half_width(terms(("absolute", "1"), ("percent", "1")), {}),
            "/tolerance/terms/1/kind",
            "kind must be one of",
        ),
        (
            lambda: half_width(terms(("absolute", "-1")), {}),
            "/tolerance/terms/0/value",
            "negative",
        ),
        (
            lambda: half_width(terms(("percent_of_full_scale", "1")), {}),
            "/tolerance/terms/0/kind",
            "needs the full scale",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_place(call, field, message):
    with pytest.raises(LimitsError, match=message) as caught:
        call()
    assert caught.value.field == field
