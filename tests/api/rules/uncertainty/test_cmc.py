"""Capabilities: which holds, and its U; expected values are the arithmetic beside them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.exact import FieldError
from api.rules.uncertainty.cmc import Cmc, allowed, capability, check, holds
from api.rules.units import FORCE_UNITS, convert, factor

TENSION = Cmc("T", 1, "tension", Decimal(1), Decimal(100), "kN", Decimal("0.02"))


def test_a_percentage_and_an_absolute_term_add_up():
    both = replace(TENSION, U_abs=Decimal("0.003"))
    assert allowed(both, Decimal(20), "kN") == Decimal("0.007")  # 0.004 + 0.003
    assert allowed(replace(both, U_abs=None), Decimal(-20), "kN") == Decimal("0.004")
    assert allowed(replace(both, combine="rss"), Decimal(20), "kN") == Decimal("0.005")
    assert allowed(replace(both, U_rel_pct=None), Decimal(20), "kN") == Decimal("0.003")


# NIST SP 811, B.8 (from memory): printed with seven digits.
SP_811 = {"lbf": "4.448222", "kip": "4448.222", "kgf": "9.80665", "tonf_US": "8896.443"}


@pytest.mark.parametrize("unit", SP_811)
def test_a_capability_holds_in_any_unit_of_force(unit):
    newtons = Decimal(SP_811[unit])
    assert float(factor(unit)) == pytest.approx(float(newtons), rel=1.5e-7)
    force = Decimal(10_000) / newtons  # 10 kN
    assert holds(TENSION, force, unit, "tension", None)
    U = allowed(replace(TENSION, U_abs=Decimal("0.001")), force, unit)
    assert float(U * newtons) == pytest.approx(3, rel=1e-6)  # 0.02 % of 10 kN and 1 N


@pytest.mark.parametrize("unit", FORCE_UNITS)
def test_its_share_of_a_force_does_not_depend_on_the_unit(unit):
    both = replace(TENSION, U_abs=Decimal("0.003"))
    force = Decimal(str(round(float(convert(50, "kN", unit)), 6)))
    share = Fraction(allowed(both, force, unit)) / Fraction(force)
    assert float(share) == pytest.approx(0.00026, rel=1e-5)


def test_the_ends_of_the_range_are_in_it():
    for force, expected in (("1", True), ("100", True), ("0.999", False), ("100.001", False)):
        assert holds(TENSION, Decimal(force), "kN", "tension", None) is expected
    assert holds(replace(TENSION, mode="compression"), Decimal(-50), "kN", "compression", None)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [("tension", True), (" Tension ", True), (None, True), ("compression", False), ("x", False)],
)
def test_a_capability_is_for_its_mode(mode, expected):
    assert holds(TENSION, Decimal(10), "kN", mode, None) is expected
    assert holds(replace(TENSION, mode="any"), Decimal(10), "kN", mode, None)


def test_the_most_particular_capability_counts_and_then_the_best():
    force = Decimal(10), "kN", "tension", "load_cell"
    general = replace(TENSION, id="G", mode="any", U_rel_pct=Decimal("0.01"))
    best = replace(TENSION, id="B", U_rel_pct=Decimal("0.015"))
    typed = replace(TENSION, id="L", instrument_type="load_cell", U_rel_pct=Decimal("0.05"))
    other = replace(typed, id="O", instrument_type="crane_scale", U_rel_pct=Decimal("0.001"))

    def chosen(*cmcs):
        found = capability(cmcs, *force)
        return None if found is None else found.cmc.id

    assert chosen(general) == "G"
    assert chosen(general, TENSION, best) == "B"
    assert chosen(general, TENSION, best, typed, other) == "L"
    assert chosen(other) is None
    assert chosen() is None
    found = capability([general, TENSION], Decimal(10), "kN", None, None)
    assert found is not None
    assert found.cmc.id == "G"  # without a mode both hold alike, and the smaller U counts


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"unit": "kg"}, "/range/unit"),
        ({"unit": "mV/V"}, "/range/unit"),
        ({"lower": Decimal(200)}, "/range"),
        ({"U_rel_pct": None}, "/U_rel_pct"),
        ({"U_rel_pct": Decimal(0)}, "/U_rel_pct"),
    ],
)
def test_a_capability_that_allows_nothing_is_refused(changes, pointer):
    with pytest.raises(FieldError) as caught:
        check(replace(TENSION, **changes))
    assert caught.value.field == pointer
