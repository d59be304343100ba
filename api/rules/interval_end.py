"""What a result will be at the end of the interval: value and U with the drift until then.

Choice: a drift whose direction is not known leaves the value and adds a rectangle of half-width
rate x time to its uncertainty (divisor sqrt 3, JCGM 100:2008, 4.3.7; that a statement for the whole
interval needs it: EURAMET cg-4 on use after calibration, from memory). A known drift moves the
value by rate x time, with the uncertainty of the rate. Both add in quadrature with u = U/k, and k
stays: U at the end is k times the root. Degrees of freedom grow by the Welch-Satterthwaite formula,
in which the drift has infinitely many (JCGM 100:2008, G.4.1). A year is 365.25 days.

Not checked: that the drift goes on as it did.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import FieldError, Number, ratio, square_root

DAYS_A_YEAR = Fraction("365.25")


@dataclass(frozen=True, slots=True)
class Drift:
    """How a value moves in service.

    Parameters
    ----------
    days : Decimal
        From the calibration to the end of the interval, above 0.
    per_year : Decimal or Fraction
        Rate, in the unit of the value a year; its sign counts where `known`.
    U_per_year : Decimal or Fraction
        Expanded uncertainty (k = 2) of a known rate, 0 or more.
    known : bool
        Whether the direction is known.

    Raises
    ------
    FieldError
        If a number is out of range, or a rate that is not known has an uncertainty.
    """

    days: Decimal
    per_year: Number
    U_per_year: Number = Decimal(0)
    known: bool = False

    def __post_init__(self) -> None:
        if not self.days > 0:
            raise FieldError("/days", "not above 0; give the days until the end of the interval")
        if self.U_per_year < 0:
            raise FieldError("/U_per_year", "a negative number; send its magnitude")
        if self.U_per_year and not self.known:
            raise FieldError(
                "/U_per_year", "it is of a known drift; say known, or widen per_year by it"
            )

    @property
    def years(self) -> Fraction:
        """The time until the end of the interval."""
        return Fraction(self.days) / DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class AtEnd:
    """A result at the end of the interval, all but growth in the unit of the value.

    Attributes
    ----------
    value : Decimal or Fraction
        Moved by a known drift.
    U : Decimal
        Expanded uncertainty with the same k, 50 digits.
    u_drift : Decimal
        Standard uncertainty that the drift adds.
    growth : Fraction
        Square of u over the square of what it was; None where that was 0.
    """

    value: Number
    U: Decimal
    u_drift: Decimal
    growth: Fraction | None


def at_interval_end(value: Number, U: Number, k: Number, drift: Drift) -> AtEnd:
    """Return a result as it will be at the end of the interval.

    Parameters
    ----------
    value, U : Decimal or Fraction
        The result and its expanded uncertainty now, in one unit.
    k : Decimal or Fraction
        Coverage factor of U, above 0.
    drift : Drift
        In the same unit.

    Returns
    -------
    AtEnd

    Examples
    --------
    u = 0.04 and a drift of up to 0.03 sqrt(3) either way: u = 0.05 at the end.

    >>> drift = Drift(Decimal("365.25"), Decimal("0.0519615242270663"))
    >>> round(at_interval_end(Decimal(10), Decimal("0.08"), Decimal(2), drift).U, 12)
    Decimal('0.100000000000')
    """
    moved = Fraction(drift.per_year) * drift.years
    if drift.known:
        variance = (Fraction(drift.U_per_year) * drift.years / 2) ** 2
        value = ended_sum(value, moved)
    else:
        variance = moved**2 / 3
    now = (Fraction(U) / Fraction(k)) ** 2
    total = now + variance
    return AtEnd(
        value,
        square_root(ratio(total * Fraction(k) ** 2, Fraction(1))),
        square_root(ratio(variance, Fraction(1))),
        total / now if now else None,
    )


def ended_sum(value: Number, moved: Fraction) -> Decimal:
    """Return a value moved by a fraction, to 50 digits."""
    return ratio(Fraction(value) + moved, Fraction(1))


def dof_at_end(dof: Number | None, growth: Fraction | None) -> Decimal | None:
    """Return the degrees of freedom at the end; None is infinitely many.

    >>> dof_at_end(Decimal(4), Fraction(2))  # u^4 is 4 times what it was
    Decimal('16')
    """
    if dof is None or growth is None:
        return None
    return ratio(Fraction(dof) * growth**2, Fraction(1))
