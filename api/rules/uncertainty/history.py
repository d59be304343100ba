"""How near to its limits is an item, and how fast does it move? From its calibrations.

Choice: a change is counted from what one calibration left to what the next one found, at points of
the same name, so that adjustments do not count as drift. Limits are those of the later readings.

Not checked: that the points were measured the same way each time, or the uncertainty of a change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from scipy.special import stdtrit

from api.rules.exact import from_float, ratio, square_root

# A drift that is not seen ends nowhere; a number of days that is longer than any interval.
NEVER = 10**6


@dataclass(frozen=True, slots=True)
class Reading:
    """One error as found or as left, with its limits, in one unit.

    Parameters
    ----------
    point : str
        The name by which it is compared with other calibrations.
    error : Decimal
        The error of indication.
    lower, upper : Decimal or None
        Its limits; None is absent.
    """

    point: str
    error: Decimal
    lower: Decimal | None
    upper: Decimal | None


@dataclass(frozen=True, slots=True)
class Event:
    """One calibration.

    Parameters
    ----------
    label : str
        What reasons call it.
    day : int
        Its day, counted from any origin.
    found, left : sequence of Reading
        What was found, and what was left.
    applications_before : int, optional
        Load applications in the interval that it ended.
    """

    label: str
    day: int
    found: Sequence[Reading]
    left: Sequence[Reading]
    applications_before: int | None = None


def share_of_tolerance(readings: Sequence[Reading]) -> Decimal | None:
    """Return the largest |error| as a share of its limit on that side.

    Parameters
    ----------
    readings : sequence of Reading
        Of one calibration.

    Returns
    -------
    Decimal or None
        2 where an error is beyond a limit that has no shares; None if none has limits.

    Examples
    --------
    >>> share_of_tolerance([Reading("1", Decimal("-0.4"), Decimal("-0.5"), Decimal("0.1"))])
    Decimal('0.8')
    """
    shares = [share for one in readings if (share := _share(one)) is not None]
    return max(shares, default=None)


def changes(events: Sequence[Event]) -> dict[str, list[Fraction]]:
    """Return the changes a day from what was left to what was found next, by point.

    Parameters
    ----------
    events : sequence of Event
        Calibrations, the oldest first.

    Returns
    -------
    dict of str to list of Fraction
        In the unit of the errors a day.
    """
    rates: dict[str, list[Fraction]] = {}
    for before, after in pairwise(events):
        elapsed = after.day - before.day
        left = {one.point: one.error for one in before.left}
        for one in after.found:
            if elapsed > 0 and one.point in left:
                change = Fraction(one.error) - Fraction(left[one.point])
                rates.setdefault(one.point, []).append(change / elapsed)
    return rates


def days_to_limit(reading: Reading, rates: Sequence[Fraction], reliability: Decimal) -> int | None:
    """Return the days until the error, moving at the bound of its rate, is at a limit.

    The bound is one-sided at the reliability, by Student's t, of one more change.

    Parameters
    ----------
    reading : Reading
        What was left, with its limits.
    rates : sequence of Fraction
        Changes a day in the same unit, at least two.
    reliability : Decimal
        Between 0 and 1.

    Returns
    -------
    int or None
        Whole days, cut down; None without limits, NEVER if the error moves away from them.
    """
    mean = sum(rates, Fraction(0)) / len(rates)
    squares = sum((rate - mean) ** 2 for rate in rates)
    scatter = square_root(ratio(Fraction(squares) / (len(rates) - 1), Decimal(1)))
    quantile = from_float(float(stdtrit(len(rates) - 1, float(reliability))))
    # One more change scatters about a mean that is itself not sure.
    wider = square_root(ratio(Fraction(len(rates) + 1, len(rates)), Decimal(1)))
    margin = Fraction(quantile) * Fraction(scatter) * Fraction(wider)
    ends = []
    for limit, speed, sign in (
        (reading.upper, mean + margin, 1),
        (reading.lower, mean - margin, -1),
    ):
        if limit is None:
            continue
        room = (Fraction(limit) - Fraction(reading.error)) * sign
        if room <= 0:
            ends.append(0)
        elif speed * sign > 0:
            ends.append(whole_days(room / (speed * sign)))
    if not ends and reading.lower is None and reading.upper is None:
        return None
    return min(ends, default=NEVER)


def _share(reading: Reading) -> Decimal | None:
    if reading.upper is None and reading.lower is None:
        return None
    error = reading.error
    outside = (reading.upper is not None and error > reading.upper) or (
        reading.lower is not None and error < reading.lower
    )
    limit = reading.upper if error >= 0 else reading.lower
    share = ratio(error, limit) if limit else Decimal(0)
    # A limit of zero, or on the other side of it, has no shares: beyond it counts as twice.
    return Decimal(2) if outside and share <= 1 else share


def whole_days(value: Fraction) -> int:
    """Return a number of days without its fraction."""
    return value.numerator // value.denominator
