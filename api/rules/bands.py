"""Guard bands on columns: how wide w is in every row, and how far a float may be trusted there.

Choice: the formulas of `acceptance` in floats, with a bound on their error per row, so that the
caller can send the rows near an edge through exact arithmetic. An absent limit is NaN.

Not checked: the inputs; `vector` masks rows whose numbers cannot be used.
"""

from dataclasses import dataclass, fields
from math import isnan
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from api.rules.acceptance import MANAGED_CONSTANTS
from api.rules.at_95 import COVERAGE_95, UP_TO_2
from api.rules.guard import Step
from api.rules.risk import Floats
from api.rules.rule import Rule
from api.rules.solve import band_for_global_risk, band_for_specific_risk

_EPS = float(np.finfo(np.float64).eps)
# Two parsings, a product and a sum cost less than four half units in the last place.
_ROUNDINGS = 8.0
# Below this a product of floats has lost its digits.
_TINY = 1e-300
# A solved w has 15 digits, and a logarithm in floats may lose one.
_SOLVED = 1e-13


@dataclass(frozen=True, slots=True)
class Offsets:
    """Of n results: tolerance limits, acceptance limits and value, less the prior mean; u = U/k.

    A limit that is absent is NaN; an acceptance interval without any result is crossed over.
    """

    lower: Floats
    upper: Floats
    accepted_lower: Floats
    accepted_upper: Floats
    value: Floats
    u: Floats

    def some(self, rows: Any) -> "Offsets":
        """Return those of some rows, by a slice or their numbers."""
        return Offsets(*(getattr(self, field.name)[rows] for field in fields(self)))

    def harmless(self, bad: NDArray[np.bool_]) -> "Offsets":
        """Return offsets that raise no warning in bad rows."""
        pairs = zip(fields(self), (-1.0, 1.0, -1.0, 1.0, 0.0, 0.5), strict=True)
        return Offsets(*(np.where(bad, one, getattr(self, field.name)) for field, one in pairs))


@dataclass(frozen=True, slots=True)
class Rows:
    """A chunk of results as floats, all arrays of one length; dof and prior may be absent.

    `below` and `above` are (value - lower)/u and (upper - value)/u, where they are known better
    than floats tell; so are `offsets`, with a prior, and
    `band`, w in units of u or of the prior's sd, where the rule solves a risk for it.
    """

    value: Floats
    U: Floats
    k: Floats
    lower: Floats
    upper: Floats
    dof: Floats | None = None
    prior_mean: Floats | None = None
    prior_sd: Floats | None = None
    below: Floats | None = None
    above: Floats | None = None
    offsets: Offsets | None = None
    band: Floats | None = None


@dataclass(frozen=True, slots=True)
class Bands:
    """Guard bands of a chunk.

    `closed` marks rows where the rule accepts nothing, `unusable` rows to which it cannot be
    applied; None stands for no such row. `solved` bounds what solving for w adds to the error of
    an acceptance limit, in the unit of the limits.
    """

    lower: Floats
    upper: Floats
    closed: NDArray[np.bool_] | None = None
    unusable: NDArray[np.bool_] | None = None
    solved: Floats | None = None

    def doubt(self, rows: Rows, some: NDArray[np.intp]) -> Floats:
        """Return a bound on the error of the acceptance limits in some rows of the chunk."""
        limit = np.fmax(np.abs(rows.lower[some]), np.abs(rows.upper[some]))
        w = np.maximum(np.abs(self.lower[some]), np.abs(self.upper[some]))
        found = _ROUNDINGS * _EPS * (np.abs(rows.value[some]) + limit + w) + _TINY
        return found if self.solved is None else found + self.solved[some]

    def most_doubt(self, largest: float) -> float:
        """Return a bound on all of `doubt` for values and limits of at most this magnitude."""
        sides = (self.lower,) if self.lower is self.upper else (self.lower, self.upper)
        w = max(max(np.fmax.reduce(side), -np.fmin.reduce(side)) for side in sides)
        solved = 0.0 if self.solved is None else np.fmax.reduce(self.solved)
        most = float(_ROUNDINGS * _EPS * (2.0 * largest + w) + _TINY + solved)
        # NaN where the rule serves no row of the chunk.
        return 0.0 if isnan(most) else most


def guard_bands(rule: Rule, rows: Rows) -> Bands:
    """Return w on both sides for every row of the chunk."""
    guard, size = rule.guard, len(rows.value)
    if guard.basis == "none":
        nothing = np.zeros(size)
        return Bands(nothing, nothing)
    if guard.width is not None:
        return Bands(*(np.full(size, float(width)) for width in guard.width))
    if guard.factor is not None:
        w = float(guard.factor) * rows.U
        return Bands(w, w)
    return _from_tolerance(rule, rows)


def _from_tolerance(rule: Rule, rows: Rows) -> Bands:
    """Return the bands that depend on the tolerance interval or on a target risk."""
    guard = rule.guard
    width = rows.upper - rows.lower
    two_sided = np.isfinite(width)
    half = np.where(two_sided, width / 2.0, 0.0)
    closed = unusable = np.zeros(len(width), dtype=np.bool_)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if guard.target is None:
            unusable = ~two_sided
            tur = np.where(rows.U > 0.0, half / uncertainty_at_95(rows), np.inf)
        if guard.steps is not None:
            w, unsure = _from_table(guard.steps, rows, tur, half)
            unusable = unusable | unsure
        elif guard.share is not None:
            w = float(guard.share) * half
        elif guard.basis == "managed":
            ceiling, exponent, constant = map(float, MANAGED_CONSTANTS)
            share = np.maximum(ceiling - np.exp(constant) * tur**exponent, 0.0)
            w = share * uncertainty_at_95(rows)
        elif guard.basis == "rds":
            closed = tur < 1.0
            # Floats cannot tell whether a single point is accepted or none.
            unusable = unusable | (np.abs(tur - 1.0) <= _SOLVED)
            w = half - half * np.sqrt(np.where(closed, 0.0, 1.0 - 1.0 / tur**2))
        elif guard.basis == "specific_risk":
            w, closed = _specific(float(guard.target or 0), rows, width, half)
        else:
            w, unusable = _global(float(guard.target or 0), rows)
        # A relative error d of the width becomes sqrt(d) where acceptance is about to vanish.
        loss = np.sqrt(_EPS * (abs(rows.lower) + abs(rows.upper)) / width)
        spread = np.where(width > 0.0, loss * (width + rows.U), 0.0)
        # Of numbers that floats hardly hold, such as U = 5e-324, w may be none.
        unusable = unusable | np.isnan(w)
    solved = 4.0 * spread + _SOLVED * abs(w)
    if guard.basis == "global_risk":
        # Solved from a probability known to 1e-16 for targets down to 1e-9.
        solved = solved + 1e-6 * (rows.U + abs(w))
    return Bands(w, w, closed, unusable, solved)


def _from_table(
    steps: tuple[Step, ...], rows: Rows, tur: Floats, half: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Return w by the step that TUR reaches, and the rows that are too near to a step to tell."""
    begins = np.array([float(step.from_tur) for step in steps])
    # NaN, where limits coincide without uncertainty, is sorted last and is unsure anyway.
    place = np.searchsorted(begins, tur, side="right") - 1
    factor, share = (
        np.array([float(getattr(step, name) or 0) for step in steps])[place]
        for name in ("factor", "share")
    )
    # Limits that nearly cancel have lost digits of their difference.
    doubt = _SOLVED + _ROUNDINGS * _EPS * (abs(rows.lower) + abs(rows.upper)) / half
    near = np.abs(tur[:, None] - begins[1:]) <= doubt[:, None] * begins[1:]
    return factor * rows.U + share * half, near.any(axis=1) | np.isnan(tur)


def uncertainty_at_95(rows: Rows) -> Floats:
    """Return U at 95 % by the convention of `acceptance.uncertainty_at_95`."""
    usual = 2.0 * (rows.U / rows.k)
    if rows.dof is None:
        return usual
    # What stdtrit has no value for is none or infinitely many.
    some = np.isfinite(rows.dof)
    t = np.where(some, stdtrit(np.where(some, rows.dof, 1.0), UP_TO_2), 2.0)
    usual = t * (rows.U / rows.k)
    coverage = 1.0 - 2.0 * stdtr(rows.dof, -rows.k)
    return np.where((coverage >= COVERAGE_95[0]) & (coverage <= COVERAGE_95[1]), rows.U, usual)


def _specific(
    target: float, rows: Rows, width: Floats, half: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    relative = np.where((rows.U > 0.0) & np.isfinite(width), width * rows.k / rows.U, np.inf)
    band = rows.band
    if band is None:
        band = band_for_specific_risk(target, relative, rows.dof)
    closed = np.isnan(band)
    return np.where(closed, half, band * rows.U / rows.k), closed


def _global(target: float, rows: Rows) -> tuple[Floats, NDArray[np.bool_]]:
    size = len(rows.value)
    if rows.prior_mean is None or rows.prior_sd is None:
        return np.zeros(size), np.ones(size, dtype=np.bool_)
    unusable = ~(rows.prior_sd > 0.0) | np.isnan(rows.prior_mean)
    sd = np.where(unusable, 1.0, rows.prior_sd)
    mean = np.where(unusable, 0.0, rows.prior_mean)
    u = np.where(rows.U > 0.0, rows.U / rows.k / sd, 1.0)
    lower, upper = (rows.lower - mean) / sd, (rows.upper - mean) / sd
    band = rows.band
    if band is None:
        band = band_for_global_risk(target, *_infinite(lower, upper), u)
    return np.where(rows.U > 0.0, band * sd, 0.0), unusable


def _infinite(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    return np.where(np.isnan(lower), -np.inf, lower), np.where(np.isnan(upper), np.inf, upper)
