"""How much of its life has a part used? Share, state, and when it will be at the end.

Choice: load applications are counted, each as one, and compared with the design life as a count; a
part that has reached its life exactly has not passed it, and is warned of from 90 %. The end is
foreseen in a straight line at the present rate. A weighted count takes each application as
(F/F_rated)^m, m chosen by the user (3 to 5 is usual for steel, from memory); the applications of a
calibration are shared equally among the forces that it recorded.

Not checked: whether a count of this kind says when a part fails. It does not.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import shortened

WARN_FROM = Fraction(9, 10)
# How much of its life a part has used: below 90 %, from there on, more than all of it.
ACTIVE, WARN, PAST = "active", "warn", "past_life"
STATES = (ACTIVE, WARN, PAST)
US_A_DAY = 86_400_000_000


def state(used: int, life: int) -> str:
    """Return "active", "warn" (from 90 % of the life) or "past_life" (more than all of it).

    Parameters
    ----------
    used, life : int
        Load applications counted, and those that the part is made for.

    Returns
    -------
    str
        One of STATES.

    Examples
    --------
    >>> state(89, 100), state(90, 100), state(100, 100), state(101, 100)
    ('active', 'warn', 'warn', 'past_life')
    """
    if used > life:
        return PAST
    return WARN if used >= WARN_FROM * life else ACTIVE


def retirement_us(used: int, life: int, recent: int, days: int, at_us: int) -> int | None:
    """Return when the life is used up if it goes on as in the last days.

    Parameters
    ----------
    used, life : int
        Load applications counted, and those that the part is made for.
    recent, days : int
        `recent` applications were made in `days` up to `at_us`.
    at_us : int
        Microseconds since 1970-01-01T00:00:00Z.

    Returns
    -------
    int or None
        Microseconds since then; None where there was no recent one, or the life is used up already.
    """
    if recent <= 0 or used >= life:
        return None
    return at_us + (life - used) * days * US_A_DAY // recent


def weighted(applications: int, forces: Sequence[Fraction], rated: Fraction, m: int) -> Fraction:
    """Return applications at these forces as so many at the rated capacity.

    Parameters
    ----------
    applications : int
        How many, shared equally among the forces.
    forces : sequence of Fraction
        In the unit of `rated`; without any each application counts whole.
    rated : Fraction
        The rated capacity, above 0.
    m : int
        Exponent, above 0; 3 to 5 is usual for steel, from memory.

    Returns
    -------
    Fraction

    Raises
    ------
    ValueError
        For a rated capacity or an exponent that is not above zero.

    Examples
    --------
    >>> weighted(10, [Fraction(5), Fraction(10)], Fraction(10), 3)
    Fraction(45, 8)
    """
    if rated <= 0 or m <= 0:
        raise ValueError("the rated capacity and the exponent are above zero")
    if not forces:
        return Fraction(applications)
    total = sum(((abs(force) / rated) ** m for force in forces), Fraction(0))
    return applications * total / len(forces)


def counted(total: Fraction) -> Decimal:
    """Return a weighted count with 12 significant digits; a sum of powers has no end worth writing.

    Parameters
    ----------
    total : Fraction
        As `weighted` gives it, or a sum of such.

    Returns
    -------
    Decimal

    Examples
    --------
    >>> counted(Fraction(1, 3))
    Decimal('0.333333333333')
    """
    return shortened(total)
