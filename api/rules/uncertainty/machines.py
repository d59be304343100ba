"""What do verification runs say of a testing machine? Errors, spread, zero and resolution.

Choice: the figures of ISO 7500-1:2018 (from memory, verify), in percent: the accuracy error q of a
point is that of the mean over the series, b is the spread of the errors of the series, v the
difference between falling and rising force (the worst series), f_0 the indication that is left
without force, of the largest force of the range, and a the resolution, of the force. Either the
indication is held at a point and the true force read from the proving instrument, or the true force
is held; what is held is the same number in every series and names the point. ASTM E4 (from memory,
verify) limits the error of every series by itself: `largest_error`.

U of q is twice the root sum of squares of the standard deviation of the mean of the errors, of the
resolution a/(2 sqrt 3) and of the reference (ISO 7500-1:2018, annex C, from memory, verify).

Not checked: preloading, temperature, or the class of the proving instrument.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import FieldError, ratio, square_root
from api.rules.uncertainty.runs import Figure

HUNDRED = 100
# The figures of a point, in the order in which they are answered.
MACHINE_FIGURES = (
    "accuracy",
    "largest_error",
    "repeatability",
    "reversibility",
    "zero",
    "resolution",
)


@dataclass(frozen=True, slots=True)
class MachineReading:
    """One reading.

    Parameters
    ----------
    true : Fraction
        The force by the proving instrument, above 0.
    indicated : Fraction
        What the machine indicated, in the same unit.
    """

    true: Fraction
    indicated: Fraction


@dataclass(frozen=True, slots=True)
class MachineSeries:
    """One series of a verification.

    Parameters
    ----------
    ascending : mapping of Fraction to MachineReading
        By what is held at the point.
    descending : mapping of Fraction to MachineReading
        The same at falling force, at points of `ascending`.
    zero_after : Fraction, optional
        Indication without force after the series.
    """

    ascending: Mapping[Fraction, MachineReading]
    descending: Mapping[Fraction, MachineReading]
    zero_after: Fraction | None = None


@dataclass(frozen=True, slots=True)
class MachinePoint:
    """What the series say at one point.

    Attributes
    ----------
    held : Fraction
        What is held: the indication or the true force.
    errors : tuple of Fraction
        Relative error of the indication in each series, in percent.
    figures : mapping of str to Figure
        Those of MACHINE_FIGURES, in percent.
    u_parts : mapping of str to Fraction
        Squares of the relative standard uncertainties, in percent, by their name.
    """

    held: Fraction
    errors: tuple[Fraction, ...]
    figures: Mapping[str, Figure]
    u_parts: Mapping[str, Fraction]

    @property
    def U_rel_pct(self) -> Decimal:
        """Expanded uncertainty of the accuracy error, k = 2, in percent of the force."""
        return 2 * square_root(ratio(sum(self.u_parts.values(), Fraction(0)), Fraction(1)))


def evaluate_machine(
    series: Sequence[MachineSeries],
    resolution: Fraction | None = None,
    range_maximum: Fraction | None = None,
    reference_u_pct: Fraction | None = None,
) -> list[MachinePoint]:
    """Evaluate the verification of a testing machine in one range.

    Parameters
    ----------
    series : sequence of MachineSeries
        At least one, of the same points.
    resolution : Fraction, optional
        Of the indication, in its unit.
    range_maximum : Fraction, optional
        Largest force of the range; the largest that was held unless given.
    reference_u_pct : Fraction, optional
        Relative standard uncertainty of the proving instrument, in percent.

    Returns
    -------
    list of MachinePoint
        The smallest first.

    Raises
    ------
    FieldError
        If a series lacks a point of the first, or has one more.
    """
    points = sorted(series[0].ascending)
    for i, one in enumerate(series[1:], 1):
        if sorted(one.ascending) != points:
            raise FieldError(
                f"/series/{i}/ascending",
                "its points are not those of the first series; hold the same numbers in each",
            )
    largest = points[-1] if range_maximum is None else range_maximum
    zero = _zero(series, largest)
    return [_point(series, held, zero, resolution, reference_u_pct) for held in points]


def _point(
    series: Sequence[MachineSeries],
    held: Fraction,
    zero: Figure,
    resolution: Fraction | None,
    reference_u_pct: Fraction | None,
) -> MachinePoint:
    readings = [one.ascending[held] for one in series]
    errors = tuple(_error(one.indicated, one.true) for one in readings)
    size = len(readings)
    true = sum((one.true for one in readings), Fraction(0)) / size
    indicated = sum((one.indicated for one in readings), Fraction(0)) / size
    few = Figure(None, "fewer than two series")
    a = Figure(None, "no resolution was given")
    if resolution is not None:
        a = Figure(resolution / true * HUNDRED)
    parts = {}
    if size > 1:
        mean = sum(errors, Fraction(0)) / size
        squares = sum(((one - mean) ** 2 for one in errors), Fraction(0))
        parts["repeatability"] = squares / (size - 1) / size
    if a.value is not None:
        parts["resolution"] = a.value**2 / 12
    if reference_u_pct is not None:
        parts["reference"] = reference_u_pct**2
    figures = {
        "accuracy": Figure(_error(indicated, true)),
        "largest_error": Figure(max(errors, key=abs)),
        "repeatability": Figure(max(errors) - min(errors)) if size > 1 else few,
        "reversibility": _reversibility(series, held),
        "zero": zero,
        "resolution": a,
    }
    return MachinePoint(held, errors, figures, parts)


def _error(indicated: Fraction, true: Fraction) -> Fraction:
    return (indicated - true) / true * HUNDRED


def _reversibility(series: Sequence[MachineSeries], held: Fraction) -> Figure:
    """Return the worst difference between falling and rising force.

    (F - F')/F for true forces at a held indication, (I' - I)/F for indications at a held force;
    what is held cancels in the sum of both.
    """
    found = []
    for one in series:
        if held in one.descending:
            up, down = one.ascending[held], one.descending[held]
            apart = (up.true - down.true) + (down.indicated - up.indicated)
            found.append(apart / up.true * HUNDRED)
    if not found:
        return Figure(None, "no reading at falling force", applicable=False)
    return Figure(max(found, key=abs))


def _zero(series: Sequence[MachineSeries], largest: Fraction) -> Figure:
    left = [one.zero_after for one in series if one.zero_after is not None]
    if len(left) < len(series):
        return Figure(None, f"{len(series) - len(left)} series without a zero after it")
    return Figure(max(left, key=abs) / largest * HUNDRED)
