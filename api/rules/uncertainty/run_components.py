"""What makes up the uncertainty of a calibrated instrument at one force? w1 to w8.

Choice: the relative standard uncertainties w1 to w8 of EURAMET cg-4 and ISO 376 Annex C (from
memory, verify), each also as a component that a budget takes unchanged. They are combined here as a
plain root of squares with U = 2 w, as the guide does; a budget that counts the degrees of freedom
of w2 finds a larger coverage factor.

Not covered: what comes after the calibration (drift, reversibility where decreasing forces are
measured, adapters and misalignment at the place of use).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import (
    exact_arithmetic,
    plain,
    ratio,
    reported_uncertainty,
    root_sum_square,
    square_root,
)
from api.rules.uncertainty.runs import Figure, PointFigures

__all__ = [
    "COVERAGE",
    "ESSENTIAL",
    "SOURCE",
    "Combined",
    "Contribution",
    "LeftOut",
    "Reference",
    "Temperature",
    "combine",
    "reported",
]

# Whose formulas these are, and the coverage factor of the guide.
SOURCE = "EURAMET cg-4 and ISO 376 Annex C, from memory, verify"
COVERAGE = Decimal(2)
# Without these two a combined uncertainty would look better than the instrument is.
ESSENTIAL = ("w1", "w2")


@dataclass(frozen=True, slots=True)
class Reference:
    """What is known of the reference force.

    Parameters
    ----------
    U_rel_pct : Decimal
        Expanded uncertainty in percent.
    k : Decimal
        Its coverage factor, above 0.
    """

    U_rel_pct: Decimal
    k: Decimal


@dataclass(frozen=True, slots=True)
class Temperature:
    """What is known of the temperature.

    Parameters
    ----------
    range_K : Decimal
        Its whole range in K.
    coefficient_pct_per_K : Decimal
        Effect on the deflection in percent a kelvin.
    """

    range_K: Decimal
    coefficient_pct_per_K: Decimal


@dataclass(frozen=True, slots=True)
class Contribution:
    """One of w1 to w8.

    Attributes
    ----------
    label, name : str
        "w1" to "w8", and what it is.
    u_rel_pct : Decimal
        Standard uncertainty in percent, 50 digits.
    component : mapping
        The form that a budget takes.
    """

    label: str
    name: str
    u_rel_pct: Decimal
    component: Mapping[str, str | bool]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A contribution that the runs cannot give.

    Attributes
    ----------
    label, name : str
        "w1" to "w8", and what it is.
    reason : str
        Why not.
    """

    label: str
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Combined:
    """All contributions at one force.

    Attributes
    ----------
    contributions : tuple of Contribution
        What was found.
    left_out : tuple of LeftOut
        What was not.
    u_rel_pct, U_rel_pct : Decimal or None
        Combined and expanded (k = 2), in percent; None for the `reason`.
    reason : str or None
        What is missing that may not be.
    """

    contributions: tuple[Contribution, ...]
    left_out: tuple[LeftOut, ...]
    u_rel_pct: Decimal | None
    U_rel_pct: Decimal | None
    reason: str | None

    def U_at(self, applied: Decimal) -> Decimal | None:
        """Return U in the unit of the force.

        Parameters
        ----------
        applied : Decimal
            The force.

        Returns
        -------
        Decimal or None
            None where it could not be combined.
        """
        if self.U_rel_pct is None:
            return None
        return ratio(Fraction(self.U_rel_pct) * Fraction(applied) / 100, Decimal(1))


def combine(
    point: PointFigures,
    reference: Reference | None,
    temperature: Temperature | None,
) -> Combined:
    """Gather w1 to w8 at one force and combine them.

    EURAMET cg-4 and ISO 376 Annex C, from memory, verify.

    Parameters
    ----------
    point : PointFigures
        What the runs gave there.
    reference : Reference or None
        For w1.
    temperature : Temperature or None
        For w7.

    Returns
    -------
    Combined
    """
    made = [
        _reference(point, reference),
        _reproducibility(point),
        _bounded(point, "w3", "repeatability", point.figures["repeatability"], "b'/sqrt(3)"),
        _resolution(point),
        _bounded(point, "w5", "creep", point.figures["creep"], "c/sqrt(3)"),
        _plain(point, "w6", "zero", "f_0"),
        _temperature(point, temperature),
        _plain(point, "w8", "interpolation", "f_c"),
    ]
    found = tuple(one for one in made if isinstance(one, Contribution))
    left_out = tuple(one for one in made if isinstance(one, LeftOut))
    lacking = [one for one in left_out if one.label in ESSENTIAL]
    if lacking:
        reason = "; ".join(f"{one.label} ({one.name}) is missing: {one.reason}" for one in lacking)
        return Combined(found, left_out, None, None, reason)
    u = root_sum_square([one.u_rel_pct for one in found])
    with exact_arithmetic():
        return Combined(found, left_out, u, COVERAGE * u, None)


def reported(U: Decimal) -> str:
    """Write U rounded up to two significant digits, in plain notation.

    Parameters
    ----------
    U : Decimal
        Expanded uncertainty, 0 or more.

    Returns
    -------
    str

    Examples
    --------
    >>> reported(Decimal("0.01234"))
    '0.013'
    """
    return format(reported_uncertainty(U), "f")


def _component(
    point: PointFigures,
    label: str,
    name: str,
    formula: str,
    u_rel_pct: Decimal,
    **figures: str,
) -> Contribution:
    common: dict[str, str | bool] = {"relative": True, "of": plain(point.applied)}
    source = {"source": f"{label} = {formula}; {SOURCE}"}
    return Contribution(label, name, u_rel_pct, {"name": name, **figures, **common, **source})


def _reference(point: PointFigures, reference: Reference | None) -> Contribution | LeftOut:
    label, name = "w1", "calibration force"
    if reference is None:
        return LeftOut(label, name, "no uncertainty of the reference was given")
    u = ratio(reference.U_rel_pct, reference.k)
    figures = {
        "distribution": "normal",
        "U": plain(reference.U_rel_pct),
        "k": plain(reference.k),
    }
    return _component(point, label, name, "U/k of the reference", u, **figures)


def _reproducibility(point: PointFigures) -> Contribution | LeftOut:
    label, name = "w2", "reproducibility"
    values, why = point.over_rotations, point.figures[name].reason
    if why is not None:
        return LeftOut(label, name, why)
    squares = sum(((value - point.mean) ** 2 for value in values), Fraction(0))
    variance = squares / (len(values) * (len(values) - 1)) / point.mean**2
    u = square_root(ratio(variance * 10_000, Decimal(1)))
    figures = {"distribution": "normal", "u": plain(u), "dof": str(len(values) - 1)}
    formula = "sqrt(sum (X - mean)^2 / (n (n - 1))) / mean over the rotations"
    return _component(point, label, name, formula, u, **figures)


def _resolution(point: PointFigures) -> Contribution | LeftOut:
    label, name = "w4", "resolution"
    steps = point.figures["resolution_ratio"]
    if steps.value is None or not steps.value:
        reason = steps.reason or "the deflection is zero"
        return LeftOut(label, name, reason)
    half = ratio(Fraction(100) / steps.value, Decimal(1))
    u = _over_root(half, 6)
    figures = {"distribution": "triangular", "half_width": plain(half)}
    return _component(point, label, name, "r/(F sqrt(6)), two readings", u, **figures)


def _bounded(
    point: PointFigures, label: str, name: str, figure: Figure, formula: str
) -> Contribution | LeftOut:
    """Return what is known by its bounds alone: rectangular."""
    if figure.value is None:
        return LeftOut(label, name, figure.reason or "not measured")
    half = ratio(abs(figure.value), Decimal(1))
    figures = {"distribution": "rectangular", "half_width": plain(half)}
    return _component(point, label, name, formula, _over_root(half, 3), **figures)


def _plain(point: PointFigures, label: str, name: str, formula: str) -> Contribution | LeftOut:
    """Return what the guide takes as a standard uncertainty as it stands."""
    figure = point.figures[name]
    if figure.value is None:
        return LeftOut(label, name, figure.reason or "not measured")
    u = ratio(abs(figure.value), Decimal(1))
    return _component(point, label, name, formula, u, distribution="normal", u=plain(u))


def _temperature(point: PointFigures, temperature: Temperature | None) -> Contribution | LeftOut:
    if temperature is None:
        return LeftOut("w7", "temperature", "no range and coefficient of temperature were given")
    half = Fraction(temperature.range_K) * Fraction(temperature.coefficient_pct_per_K) / 2
    return _bounded(point, "w7", "temperature", Figure(half), "K dT / 2 / sqrt(3)")


def _over_root(half: Decimal, divisor: int) -> Decimal:
    return square_root(ratio(Fraction(half) ** 2 / divisor, Decimal(1)))
