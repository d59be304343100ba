"""What do the raw runs of a force instrument say of it? Spread, zero, creep and fit at each force.

Choice: the formulas of ISO 376:2011 (from memory, verify), in percent of the deflection, which is
the reading less the zero before the series. Readings belong together when their applied force is
the same number; where the true forces differ, the readings must be corrected to the nominal first.
The mean, reproducibility and the fit take one series for each rotation; repeated series serve the
repeatability alone, so that no rotation counts twice. With two series at a rotation, and with
three rotations, the formulas are those of the standard; with more, spread stays spread.

Not checked: preloading, waiting times and temperature during the runs, or who turned the
instrument. What the runs cannot give is None with the reason, never a guess.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import FieldError, ratio
from api.rules.uncertainty.interpolation import Fit, NotEnoughReadings, fit_polynomial

HUNDRED = 100
_NO_DEFLECTION = "the deflection is zero, so nothing can be a percentage of it"


@dataclass(frozen=True, slots=True)
class Series:
    """One series of readings.

    Parameters
    ----------
    rotation_deg : Decimal
        Position of the instrument about the load axis, in degrees.
    ascending : mapping of Decimal to Decimal
        Indications by applied force, each in its unit.
    zero_before : Decimal
        Indication without force before the series.
    descending : mapping of Decimal to Decimal, optional
        Indications at falling force.
    zero_after : Decimal, optional
        Indication without force after the series.
    """

    rotation_deg: Decimal
    ascending: Mapping[Decimal, Decimal]
    zero_before: Decimal
    descending: Mapping[Decimal, Decimal] | None = None
    zero_after: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Runs:
    """All runs of one calibration.

    Parameters
    ----------
    series : sequence of Series
        One for each rotation, at least one with a reading.
    repeated : sequence of Series
        Further ones at rotations of `series`.
    resolution : Decimal, optional
        Smallest step, in the unit of indication, above 0.
    creep : tuple of Decimal, optional
        Indications at 30 s and at 300 s.
    degree : int
        Of the polynomial that is fitted.
    constant : bool
        Whether it has a constant.
    """

    series: Sequence[Series]
    repeated: Sequence[Series] = ()
    resolution: Decimal | None = None
    creep: tuple[Decimal, Decimal] | None = None
    degree: int = 3
    constant: bool = True


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure, or the reason why there is none.

    Attributes
    ----------
    value : Fraction or None
        In percent unless its name says otherwise.
    reason : str or None
        Why there is none.
    applicable : bool
        False where the runs cannot have it by their nature.
    """

    value: Fraction | None
    reason: str | None = None
    applicable: bool = True


@dataclass(frozen=True, slots=True)
class Deflection:
    """The deflection of one series at one force.

    Attributes
    ----------
    rotation_deg : Decimal
        Of the series.
    value : Fraction
        Reading less the zero before, in the unit of indication.
    repeated : bool
        Whether the series is one of `Runs.repeated`.
    descending : Fraction or None
        The same at falling force.
    """

    rotation_deg: Decimal
    value: Fraction
    repeated: bool
    descending: Fraction | None


@dataclass(frozen=True, slots=True)
class PointFigures:
    """What the runs give at one force.

    Attributes
    ----------
    applied : Decimal
        The force.
    deflections : tuple of Deflection
        Of all series.
    mean : Fraction
        Mean deflection over the rotations.
    fitted : Fraction or None
        Deflection of the fitted polynomial.
    figures : mapping of str to Figure
        repeatability, reproducibility, reversibility, interpolation, zero and creep in percent, and
        resolution_ratio (deflection over resolution).
    """

    applied: Decimal
    deflections: tuple[Deflection, ...]
    mean: Fraction
    fitted: Fraction | None
    figures: Mapping[str, Figure]

    @property
    def over_rotations(self) -> list[Fraction]:
        """The deflections that the mean is taken over."""
        return [one.value for one in self.deflections if not one.repeated]


@dataclass(frozen=True, slots=True)
class RunFigures:
    """The whole evaluation.

    Attributes
    ----------
    points : tuple of PointFigures
        The smallest force first.
    fit : Fit or None
        The fitted polynomial.
    fit_reason : str or None
        Why there is none.
    ratio : Decimal or None
        Mean of force over deflection of all fitted readings; None where a deflection is zero.
    readings : int
        How many were fitted.
    """

    points: tuple[PointFigures, ...]
    fit: Fit | None
    fit_reason: str | None
    ratio: Decimal | None
    readings: int


def evaluate_runs(runs: Runs) -> RunFigures:
    """Evaluate runs, at every force of the series, the smallest first.

    The formulas are those of ISO 376:2011 (from memory, verify).

    Parameters
    ----------
    runs : Runs
        All runs of one calibration.

    Returns
    -------
    RunFigures

    Raises
    ------
    FieldError
        For series that contradict each other.
    """
    _check(runs)
    forces = sorted({force for one in runs.series for force in one.ascending})
    gathered = {force: _deflections(runs, force) for force in forces}
    readings = [
        (Fraction(force), one.value)
        for force, found in gathered.items()
        for one in found
        if not one.repeated
    ]
    fit, reason = _fitted(runs, readings)
    means = {
        force: _mean(one.value for one in found if not one.repeated)
        for force, found in gathered.items()
    }
    whole = _of_the_whole(runs, means[forces[-1]])
    points = tuple(
        _point(runs, force, found, means[force], fit, reason, whole, force == forces[-1])
        for force, found in gathered.items()
    )
    return RunFigures(points, fit, reason, _mean_ratio(readings), len(readings))


def _fitted(
    runs: Runs, readings: Sequence[tuple[Fraction, Fraction]]
) -> tuple[Fit | None, str | None]:
    try:
        return fit_polynomial(readings, runs.degree, constant=runs.constant), None
    except NotEnoughReadings as few:
        return None, str(few)


def _mean_ratio(readings: Sequence[tuple[Fraction, Fraction]]) -> Decimal | None:
    if not all(deflection for _, deflection in readings):
        return None
    # Rounded to 50 digits each: as rationals their common denominator would have thousands.
    ratios = [Fraction(ratio(force, abs(deflection))) for force, deflection in readings]
    return ratio(_mean(ratios), Decimal(1))


def _deflections(runs: Runs, force: Decimal) -> tuple[Deflection, ...]:
    found = []
    for repeated, some in ((False, runs.series), (True, runs.repeated)):
        for one in some:
            if force in one.ascending:
                zero = Fraction(one.zero_before)
                back = (one.descending or {}).get(force)
                found.append(
                    Deflection(
                        one.rotation_deg,
                        Fraction(one.ascending[force]) - zero,
                        repeated,
                        None if back is None else Fraction(back) - zero,
                    )
                )
    return tuple(found)


def _point(
    runs: Runs,
    force: Decimal,
    deflections: tuple[Deflection, ...],
    mean: Fraction,
    fit: Fit | None,
    fit_reason: str | None,
    whole: Mapping[str, Figure],
    largest: bool,
) -> PointFigures:
    fitted = None if fit is None else fit.at(Fraction(force))
    rotations = [one.value for one in deflections if not one.repeated]
    if len(rotations) < 2:
        reproducibility = Figure(None, "fewer than two rotations at this force")
    else:
        reproducibility = _spread(rotations)
    if runs.resolution is None:
        resolution = Figure(None, "no resolution was given")
    else:
        resolution = Figure(abs(mean) / Fraction(runs.resolution))
    return PointFigures(
        force,
        deflections,
        mean,
        fitted,
        {
            "repeatability": _repeatability(deflections),
            "reproducibility": reproducibility,
            "reversibility": _reversibility(deflections, largest),
            "interpolation": _interpolation(mean, fitted, fit_reason),
            **whole,
            "resolution_ratio": resolution,
        },
    )


def _repeatability(deflections: Sequence[Deflection]) -> Figure:
    """Spread without rotation, the worst of the rotations that were repeated (b')."""
    by_rotation: dict[Fraction, list[Fraction]] = {}
    for one in deflections:
        by_rotation.setdefault(_turn(one.rotation_deg), []).append(one.value)
    spreads = [_spread(values) for values in by_rotation.values() if len(values) > 1]
    if not spreads:
        return Figure(None, "no repeated series at the same rotation")
    values = [spread.value for spread in spreads if spread.value is not None]
    return Figure(max(values)) if len(values) == len(spreads) else Figure(None, _NO_DEFLECTION)


def _spread(values: Sequence[Fraction]) -> Figure:
    """Return (largest - smallest) / mean, in percent."""
    mean = _mean(values)
    if not mean:
        return Figure(None, _NO_DEFLECTION)
    return Figure((max(values) - min(values)) / abs(mean) * HUNDRED)


def _reversibility(deflections: Sequence[Deflection], largest: bool) -> Figure:
    """Return the mean over the series of |down - up| / up (v)."""
    pairs = [(one.value, one.descending) for one in deflections if one.descending is not None]
    if not pairs:
        if largest:
            return Figure(None, "descending starts from the largest force", applicable=False)
        return Figure(None, "no descending reading at this force")
    if not all(up for up, _ in pairs):
        return Figure(None, _NO_DEFLECTION)
    return Figure(_mean(abs((down - up) / up) * HUNDRED for up, down in pairs))


def _interpolation(mean: Fraction, fitted: Fraction | None, reason: str | None) -> Figure:
    """Return (mean - fitted) / fitted, with its sign (f_c)."""
    if fitted is None:
        return Figure(None, reason)
    if not fitted:
        return Figure(None, "the fitted deflection is zero")
    return Figure((mean - fitted) / fitted * HUNDRED)


def _of_the_whole(runs: Runs, full: Fraction) -> dict[str, Figure]:
    """Zero error f_0 (the worst series, with its sign) and creep c, of the largest deflection."""
    if not full:
        return {name: Figure(None, _NO_DEFLECTION) for name in ("zero", "creep")}
    every = [*runs.series, *runs.repeated]
    lacking = sum(one.zero_after is None for one in every)
    zero = Figure(None, f"{lacking} series without a zero after it")
    if not lacking:
        drifts = [
            (Fraction(one.zero_after) - Fraction(one.zero_before)) / abs(full) * HUNDRED
            for one in every
            if one.zero_after is not None
        ]
        zero = Figure(max(drifts, key=abs))
    creep = Figure(None, "no creep readings were given")
    if runs.creep is not None:
        early, late = map(Fraction, runs.creep)
        creep = Figure((late - early) / abs(full) * HUNDRED)
    return {"zero": zero, "creep": creep}


def _mean(values: Iterable[Fraction]) -> Fraction:
    found = list(values)
    return sum(found, Fraction(0)) / len(found)


def _turn(rotation_deg: Decimal) -> Fraction:
    """Return a rotation from 0 up to 360 degrees; a Decimal would keep its minus sign."""
    return Fraction(rotation_deg) % 360


def _check(runs: Runs) -> None:
    rotations: dict[Fraction, int] = {}
    for index, one in enumerate(runs.series):
        first = rotations.setdefault(_turn(one.rotation_deg), index)
        if first != index:
            raise FieldError(
                f"/series/{index}/rotation_deg",
                f"has the rotation of series {first}; give it under repeated",
            )
        _check_descending(f"/series/{index}", one)
    known = {force for one in runs.series for force in one.ascending}
    for index, one in enumerate(runs.repeated):
        place = f"/repeated/{index}"
        if _turn(one.rotation_deg) not in rotations:
            raise FieldError(
                f"{place}/rotation_deg", "repeats no rotation of series; give it under series"
            )
        if strange := sorted(one.ascending.keys() - known):
            raise FieldError(
                f"{place}/ascending", f"{strange[0]} is applied in no series; leave it out"
            )
        _check_descending(place, one)


def _check_descending(place: str, one: Series) -> None:
    if strange := sorted((one.descending or {}).keys() - one.ascending.keys()):
        raise FieldError(
            f"{place}/descending",
            f"{strange[0]} has no ascending reading in its series; leave it out",
        )
