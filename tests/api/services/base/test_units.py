"""Units that a result may have."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.rules.limits import LimitsError
from api.rules.units import FORCE_UNITS, UnknownUnit
from api.services.base.units import OTHER_UNITS, check_unit, in_unit


@pytest.mark.parametrize("unit", [*FORCE_UNITS, *OTHER_UNITS])
def test_known_units_are_accepted(unit):
    check_unit(unit)


@pytest.mark.parametrize(("unit", "remedy"), [("kg", "kgf"), ("kn", "kN"), ("ton", "tonf_US")])
def test_a_name_of_mass_a_misspelling_or_an_ambiguous_name_is_refused(unit, remedy):
    with pytest.raises(UnknownUnit, match=remedy):
        check_unit(unit)


def test_a_force_becomes_a_percentage_of_the_applied_force_and_back():
    applied = (Decimal(-20), "kN")
    assert in_unit(Decimal(50), "N", "%", applied) == Decimal("0.25")
    assert in_unit(Decimal("0.25"), "%", "N", applied) == Decimal(50)


def test_there_is_no_way_from_a_length_to_a_force_or_a_percentage():
    for unit, target in (("mm", "kN"), ("mm", "%"), ("%", "mm")):
        with pytest.raises(LimitsError):
            in_unit(Decimal(1), unit, target, (Decimal(1), "kN"))
