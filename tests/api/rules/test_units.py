"""Force units have exact factors, and an ambiguous name is refused with its remedy.

Sources: the international pound (0.45359237 kg) and standard gravity (9.80665 m/s2), read in
secondary sources; the products are arithmetic.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.units import (
    FORCE_UNITS,
    UnknownUnit,
    convert,
    factor,
    is_force,
    parse_quantity,
    to_newton,
)


@pytest.mark.parametrize(
    ("unit", "newtons"),
    [
        ("N", "1"),
        ("kN", "1000"),
        ("MN", "1000000"),
        ("lbf", "4.4482216152605"),
        ("kip", "4448.2216152605"),
        ("klbf", "4448.2216152605"),
        ("kgf", "9.80665"),  # standard gravity: 3rd CGPM, 1901
        ("gf", "0.00980665"),
        ("tf", "9806.65"),
        ("tonf_US", "8896.443230521"),
        ("tonf_UK", "9964.01641818352"),
    ],
)
def test_every_factor_is_exact(unit, newtons):
    assert factor(unit) == Fraction(newtons)
    assert unit in FORCE_UNITS
    assert is_force(unit)


def test_the_table_of_factors_has_no_other_unit():
    assert len(FORCE_UNITS) == 11


@pytest.mark.parametrize(
    ("name", "remedy"),
    [
        ("kg", "unit of mass.*use kgf"),
        ("g", "unit of mass.*use gf"),
        ("lb", "unit of mass.*use lbf"),
        ("klb", "unit of mass.*use klbf"),
        ("tonne", "unit of mass.*use tf"),
        ("ton", "several units.*tonf_US"),
        ("t", "several units.*tonf_UK"),
        ("T", "several units.*tf"),
        ("K", "several units.*kip"),
        ("kn", "not spelled.*use kN"),
        ("LBF", "not spelled.*use lbf"),
        ("parsec", "not a unit of force; use one of N, kN"),
        ("", "not a unit of force"),
    ],
)
def test_an_ambiguous_or_unknown_name_is_refused_with_what_to_write(name, remedy):
    with pytest.raises(UnknownUnit, match=remedy):
        factor(name)
    assert not is_force(name)


def test_no_unit_is_not_a_force():
    assert not is_force(None)


def test_a_conversion_and_back_loses_nothing():
    for unit in FORCE_UNITS:
        for target in FORCE_UNITS:
            there = convert(Decimal("0.1"), unit, target)
            assert convert(there, target, unit) == Fraction(1, 10)


def test_equal_unit_texts_need_no_factor():
    assert convert(Decimal("0.5"), "%", "%") == Fraction(1, 2)
    with pytest.raises(UnknownUnit):
        convert(Decimal("0.5"), "%", "N")


def test_newtons_of_a_reading_are_exact():
    assert to_newton(Decimal("2248.2"), "lbf") == Fraction("10000.4918354286561")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5 kN", (Decimal(5), "kN")),
        (" -1.50e3lbf ", (Decimal("-1.50E+3"), "lbf")),
        ("2 tonf_US", (Decimal(2), "tonf_US")),
    ],
)
def test_a_quantity_is_split_into_number_and_unit(text, expected):
    found = parse_quantity(text)
    assert found == expected
    assert str(found[0]) == str(expected[0])


@pytest.mark.parametrize("text", ["5", "kN", "five kN", "1.2.3 kN", "5 kN extra", ". N", ""])
def test_a_text_that_is_no_quantity_is_refused(text):
    with pytest.raises(ValueError, match="number"):
        parse_quantity(text)


def test_a_quantity_in_a_mass_unit_names_the_remedy():
    with pytest.raises(UnknownUnit, match="use kgf"):
        parse_quantity("5 kg")
