"""Which polynomial describes an instrument, and how far off are its readings? Least squares.

Choice: least squares by the normal equations, solved in rationals. They are badly conditioned in
floats (forces to the sixth power), but in exact arithmetic there is nothing to condition, so the
coefficients are those of the numbers that were sent. The residual standard deviation is rounded
once, to 50 digits.

Not checked: that a polynomial of this degree suits the instrument; look at the residuals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import ratio, square_root

DEGREES = (1, 2, 3)
Reading = tuple[Fraction, Fraction]


class NotEnoughReadings(ValueError):
    """Too few different forces for a polynomial that is more than a line through its points."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted polynomial: deflection in the unit of indication, force in the unit of force.

    Attributes
    ----------
    coefficients : tuple of Fraction
        From the power 0 upwards; without `constant` the first is zero and was not fitted.
    constant : bool
        Whether a constant was fitted.
    residual_sd : Decimal
        sqrt(sum of squared residuals / `dof`), in the unit of indication, 50 digits.
    dof : int
        Readings less coefficients.
    """

    coefficients: tuple[Fraction, ...]
    constant: bool
    residual_sd: Decimal
    dof: int

    def at(self, force: Fraction) -> Fraction:
        """Return the fitted deflection at a force.

        Parameters
        ----------
        force : Fraction
            In the unit of force.

        Returns
        -------
        Fraction
        """
        value = Fraction(0)
        for coefficient in reversed(self.coefficients):
            value = value * force + coefficient
        return value


def fit_polynomial(readings: Sequence[Reading], degree: int, *, constant: bool = True) -> Fit:
    """Fit deflections over forces, each reading by itself and with the same weight.

    Parameters
    ----------
    readings : sequence of (Fraction, Fraction)
        Force and deflection.
    degree : int
        Of the polynomial, 1 or more.
    constant : bool
        Whether it has a constant, or goes through zero.

    Returns
    -------
    Fit

    Raises
    ------
    NotEnoughReadings
        Unless there are more different forces than coefficients.

    Examples
    --------
    >>> fitted = fit_polynomial([(Fraction(x), Fraction(2 * x + 1)) for x in range(4)], 1)
    >>> fitted.coefficients, fitted.dof
    ((Fraction(1, 1), Fraction(2, 1)), 2)
    """
    powers = range(0 if constant else 1, degree + 1)
    wanted, different = len(powers), len({force for force, _ in readings})
    if different <= wanted:
        raise NotEnoughReadings(
            f"degree {degree} has {wanted} coefficients and needs more than {wanted} different "
            f"forces; there are {different}"
        )
    moments = [Fraction(0)] * (2 * degree + 1)
    products = [Fraction(0)] * (degree + 1)
    for force, deflection in readings:
        power = Fraction(1)
        for exponent in range(2 * degree + 1):
            moments[exponent] += power
            if exponent <= degree:
                products[exponent] += power * deflection
            power *= force
    matrix = [[*(moments[i + j] for j in powers), products[i]] for i in powers]
    solved = _solved(matrix)
    fitted = Fit((*([] if constant else [Fraction(0)]), *solved), constant, Decimal(0), 0)
    squares = sum((y - fitted.at(x)) ** 2 for x, y in readings)
    dof = len(readings) - wanted
    spread = square_root(ratio(Fraction(squares) / dof, Decimal(1)))
    return Fit(fitted.coefficients, constant, spread, dof)


def _solved(matrix: list[list[Fraction]]) -> list[Fraction]:
    """Solve a regular system given with its right side as the last column, by elimination."""
    size = len(matrix)
    for column in range(size):
        pivot = next(row for row in range(column, size) if matrix[row][column])
        matrix[column], matrix[pivot] = matrix[pivot], matrix[column]
        divisor = matrix[column][column]
        matrix[column] = [entry / divisor for entry in matrix[column]]
        for row in range(size):
            factor = matrix[row][column]
            if row != column and factor:
                matrix[row] = [
                    entry - factor * upper
                    for entry, upper in zip(matrix[row], matrix[column], strict=True)
                ]
    return [row[-1] for row in matrix]
