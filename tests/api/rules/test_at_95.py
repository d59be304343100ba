"""U at 95 % and TUR, for normal results and for those with few degrees of freedom."""

from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import norm
from scipy.stats import t as scipy_t

from api.rules.at_95 import uncertainty_at_95, uncertainty_ratio
from api.rules.limits import Limits

TWO = Limits(Decimal("9.00"), Decimal("11.00"))
UPPER = Limits(None, Decimal(11))
U = Decimal("0.50")


def test_uncertainty_at_95_percent_is_two_standard_uncertainties():
    three = uncertainty_ratio(TWO, Decimal("0.75"), Decimal(3))
    assert three == uncertainty_ratio(TWO, Decimal("0.5"), Decimal(2)) == 2
    assert uncertainty_ratio(UPPER, U, Decimal(2)) is None
    assert uncertainty_ratio(TWO, Decimal(0), Decimal(2)) is None


def test_a_factor_for_95_percent_with_its_degrees_of_freedom_is_taken_as_it_stands():
    # Student's t for 95 %, 4 degrees of freedom: 2.776 (tables, from memory)
    assert uncertainty_at_95(U, Decimal("2.776"), 4.0) == (U, 1)


def test_uncertainty_at_95_percent_grows_with_few_degrees_of_freedom():
    # JCGM 100:2008, table G.2, column 95.45 %: t = 2.87 for 4, 2.28 for 10 degrees of freedom.
    for dof, t in ((4.0, 2.87), (10.0, 2.28)):
        U_95, k = uncertainty_at_95(U, Decimal(1), dof)
        assert float(U_95 / U / k) == pytest.approx(t, abs=0.005)
    # k = 2 for 4 degrees of freedom covers 88.4 %: TUR is that of 2.87 u, not of 2 u.
    found = uncertainty_ratio(TWO, Decimal("0.25"), Decimal(2), 4.0)
    assert float(found) == pytest.approx(4 * 2 / scipy_t.ppf(norm.cdf(2), 4), rel=1e-12)
    fraction = uncertainty_ratio(TWO, Fraction(1, 4), Fraction(2), 4.0)
    assert fraction == found
