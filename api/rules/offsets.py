"""Results and limits as seen from a prior mean: for columns, with the bits of single decisions.

Choice: as in `distances`, differences of decimals are those of whole numbers, rounded once. An
acceptance limit that ends is such a number too. One that comes from a root or a solved risk is
worked out with more digits than a float has, where the machine has them, and its error bounded:
where the bound leaves two floats to choose from, the row is worked out one by one, as are texts of
too many digits.

Not checked: the numbers; rows that cannot be decided get some offset or other.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from math import inf, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from api.rules.acceptance import MANAGED_CONSTANTS, acceptance
from api.rules.at_95 import COVERAGE_95, UP_TO_2
from api.rules.bands import Offsets
from api.rules.decide import offset
from api.rules.decimals import Long, exact_factors
from api.rules.distances import DOUBT, Mask, RowTexts, Whole, each, over
from api.rules.exact import ratio
from api.rules.guard import Guard, Step
from api.rules.risk import Floats
from api.rules.rule import Rule
from api.rules.settling import row_from_text
from api.rules.solve import band_for_global_risk, band_for_specific_risk

_EPS = float(np.finfo(np.float64).eps)
_LONG_EPS = np.finfo(np.longdouble).eps
# Half a unit in the last place for each product and sum, up to two for a power or exponential.
_SUMS, _PRODUCTS, _ROOT, _POWER = 2, 4, 4, 8
_HALF = Decimal("0.5")
# Digits of a solved band that are meant, see `exact.from_float`.
_SOLVED_DIGITS = 15


@dataclass(frozen=True, slots=True)
class Band:
    """Guard bands of n rows with the most digits that the machine has, and bounds on their errors.

    `solved` is w in units of u or of the prior's sd, NaN where nothing is accepted, if a risk was
    solved for it.
    """

    lower: Long
    upper: Long
    doubt: Long
    solved: Floats | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """Columns of n decimals; `texts` gives cells of rows, dof and prior too.

    Absent columns are NaN; offsets need a prior.
    """

    value: Whole
    U: Whole
    k: Whole
    lower: Whole
    upper: Whole
    mean: Whole
    sd: Whole
    dof: Floats | None
    texts: RowTexts
    bands: dict[Guard, Band] = field(default_factory=dict)

    def some(self, rows: NDArray[np.intp]) -> "Seen":
        """Return the columns of some rows."""
        texts = self.texts
        columns = {
            one.name: getattr(self, one.name).some(rows)
            for one in fields(self)
            if one.type is Whole
        }
        dof = None if self.dof is None else self.dof[rows]
        return Seen(**columns, dof=dof, texts=lambda part: texts(rows[part]))

    def band(self, guard: Guard) -> Band:
        """Return w, worked out once; its doubt is infinite where only the texts tell it."""
        if guard not in self.bands:
            self.bands[guard] = _band(self, guard)
        return self.bands[guard]

    def limits(self, guard: Guard) -> tuple[tuple[Whole, Long, Long], tuple[Whole, Long, Long]]:
        """Return of each side the tolerance limit, w inwards, and what both may be off by."""
        band = self.band(guard)
        one, other = (self.lower, band.lower), (self.upper, -band.upper)
        return (*one, _doubt(*one, band.doubt)), (*other, _doubt(*other, band.doubt))

    def offsets(self, rule: Rule) -> Offsets:
        """Return the offsets under a rule without precondition, which has the prior of `mean`."""
        return _offsets(self, rule)


def _offsets(given: Seen, rule: Rule) -> Offsets:
    lower, upper, value = (one.minus(given.mean) for one in (given.lower, given.upper, given.value))
    one = Whole.constant(Decimal(1), len(value.units))
    u, sure = _over(given.U, one, given.k)
    bands, solved = _ending(given, rule.guard), None
    if bands is None:
        band = given.band(rule.guard)
        solved = band.solved
        low, low_sure = _moved(lower, band.lower, band.doubt)
        high, high_sure = _moved(upper, -band.upper, band.doubt)
        sure = sure & low_sure & high_sure
    else:
        limits = lower.plus(bands[0]), upper.plus(bands[1].negative())
        low, high = (limit.rounded() for limit in limits)
        sure = sure & limits[0].known & limits[1].known
    for known in (lower.known, upper.known, value.known):
        sure = sure & known
    # Whether limits that meet as floats cross over, only their digits tell.
    sure &= ~(low == high)
    if solved is not None:
        low, high = np.where(np.isnan(solved), 1.0, low), np.where(np.isnan(solved), -1.0, high)
    found = Offsets(lower.rounded(), upper.rounded(), low, high, value.rounded(), u)
    _alone(found, given, rule, np.flatnonzero(~sure))
    return found


def _alone(found: Offsets, given: Seen, rule: Rule, rows: NDArray[np.intp]) -> None:
    """Work out one by one the rows that are text, or short floats, or whose floats cancel."""
    if not rows.size:
        return
    columns = (given.value, given.U, given.k, given.lower, given.upper, given.mean)
    if not any(column.written for column in columns):
        short = np.logical_and.reduce([column.known[rows] for column in columns])
        value, U, k, lower, upper, mean = (column.numbers[rows] for column in columns)
        largest = np.abs(value) + np.fmax(np.abs(lower), np.abs(upper)) + np.abs(mean)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            doubt = _EPS * largest * k / U
        rows = rows[short | ~(doubt <= DOUBT)]
    for row, cells in each(given.texts, rows):
        numbers = _of_one(cells, rule)
        if numbers is not None:
            for one, number in zip(fields(found), numbers, strict=True):
                getattr(found, one.name)[row] = number


def _of_one(texts: Mapping[str, str | None], rule: Rule) -> tuple[float, ...] | None:
    """Return the offsets of one row; None of one that cannot be decided."""
    try:
        row = row_from_text(texts)
        if row.prior is None:
            return None
        accepted = acceptance(row.limits, row.U, rule, **row.circumstances())
        mean, limits = row.prior.mean, (row.limits.lower, row.limits.upper)
        outer = [offset(limit, mean, nan) for limit in limits]
        low, high = 1.0, -1.0
        if not accepted.empty:
            low, high = (offset(one, mean, nan) for one in (accepted.lower, accepted.upper))
        return (*outer, low, high, offset(row.value, mean, nan), float(ratio(row.U, row.k)))
    except (ArithmeticError, ValueError):
        return None


def _ending(given: Seen, guard: Guard) -> tuple[Whole, Whole] | None:
    """Return w on both sides where it is a decimal; None if it comes from a root or a risk."""
    size = len(given.value.units)
    if guard.steps is not None:
        w = _of_table(given, guard.steps)
        return w, w
    factors = exact_factors(guard)
    if factors is None:
        return None
    constants = [Whole.constant(factor, size) for factor in (factors[0], factors[-1])]
    if guard.factor is None and guard.share is None:
        return constants[0], constants[1]
    w = given.U if guard.factor is not None else given.upper.minus(given.lower)
    w = w.times(constants[0])
    return w, w


def _of_table(given: Seen, steps: tuple[Step, ...]) -> Whole:
    """Return w by the step that TUR reaches; rows too near to a step are settled elsewhere."""
    width = given.upper.minus(given.lower)
    with np.errstate(divide="ignore", invalid="ignore"):
        U_95 = _at_95(given, given.U.numbers / given.k.numbers).astype(np.float64)
        tur = width.numbers / (2.0 * U_95)
    begins = [float(step.from_tur) for step in steps]
    place = np.searchsorted(begins, np.where(given.U.numbers == 0.0, inf, tur), side="right") - 1
    size, nothing = len(place), Decimal(0)
    w = Whole.constant(nothing, size)
    for number, step in enumerate(steps):
        of_U = Whole.constant(step.factor or nothing, size).times(given.U)
        of_width = Whole.constant((step.share or nothing) * _HALF, size).times(width)
        w = (of_width if step.factor is None else of_U).where(place == number, w)
    return w


def _band(given: Seen, guard: Guard) -> Band:
    ending = _ending(given, guard)
    if ending is not None:
        low, high = (w.long() for w in ending)
        known = ending[0].known & ending[1].known
        size = np.fmax(np.abs(low), np.abs(high))
        return Band(low, high, np.where(known, _LONG_EPS * size, inf))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if guard.target is not None:
            return _solved(given, guard, float(guard.target))
        U_95 = _at_95(given, given.U.long() / given.k.long())
        half = given.upper.minus(given.lower).long() / 2
        w, doubt = (_managed if guard.basis == "managed" else _root_difference)(half, U_95)
        none = given.U.numbers == 0.0
        w, doubt = np.where(none, 0, w), np.where(none, 0, doubt)
    return Band(w, w, doubt)


def _solved(given: Seen, guard: Guard, target: float) -> Band:
    usable = given.U.numbers > 0.0
    if guard.basis == "specific_risk":
        width = given.upper.minus(given.lower)
        relative, sure = _over(width, given.k, given.U)
        relative = np.where(usable & ~(relative < 0.0) & ~np.isnan(relative), relative, inf)
        band, unit = band_for_specific_risk(target, relative, given.dof), None
    else:
        band, sure = _for_global_risk(given, target)
        unit = given.sd.long()
    digits, told = _fifteen(band)
    w = np.where(usable, digits * (given.U.long() / given.k.long() if unit is None else unit), 0)
    doubt = np.where((sure & told) | ~usable, _PRODUCTS * _LONG_EPS * np.abs(w), inf)
    return Band(w, w, doubt, band)


def _for_global_risk(given: Seen, target: float) -> tuple[Floats, Mask]:
    """Return w in units of the prior's sd, and where that is the one of a single decision."""
    one = Whole.constant(Decimal(1), len(given.value.units))
    (low, sure), (high, too), (u, also) = (
        _over(given.lower.minus(given.mean), one, given.sd),
        _over(given.upper.minus(given.mean), one, given.sd),
        _over(given.U, one, given.k.times(given.sd)),
    )
    bad = ~((given.sd.numbers > 0.0) & (u > 0.0) & np.isfinite(u)) | (low > high)
    low = np.where(np.isnan(low) | bad, -inf, low)
    high = np.where(np.isnan(high) | bad, inf, high)
    band = band_for_global_risk(target, low, high, np.where(bad, 1.0, u))
    return band, sure & too & also


def _over(difference: Whole, k: Whole, U: Whole) -> tuple[Floats, Mask]:
    """Return `over`, and what floats tell where it is not exact."""
    found, sure = over(difference, k, U)
    if sure.all():
        return found, sure
    return np.where(sure, found, difference.numbers * k.numbers / U.numbers), sure


def _at_95(given: Seen, u: NDArray[Any]) -> Long:
    """Return U at 95 % by the convention of `at_95.uncertainty_at_95`; `u` is U/k."""
    usual: Long = 2 * u.astype(np.longdouble)
    if given.dof is None:
        return usual
    some = np.isfinite(given.dof)
    t, _ = _fifteen(np.where(some, stdtrit(np.where(some, given.dof, 1.0), UP_TO_2), 2.0))
    coverage = 1.0 - 2.0 * stdtr(given.dof, -given.k.numbers)
    stated = (coverage >= COVERAGE_95[0]) & (coverage <= COVERAGE_95[1])
    return np.where(stated, given.U.long(), t * u)


def _managed(half: Long, U_95: Long) -> tuple[Long, Long]:
    ceiling, exponent, constant = (np.longdouble(str(number)) for number in MANAGED_CONSTANTS)
    power = np.exp(constant) * (half / U_95) ** exponent
    doubt = _POWER * _LONG_EPS * (ceiling + power)
    # Beyond the ratio that needs a guard band there is none, without doubt.
    doubt = np.where(power - ceiling > doubt, 0, doubt)
    return np.maximum(ceiling - power, 0) * U_95, doubt * U_95


def _root_difference(half: Long, U_95: Long) -> tuple[Long, Long]:
    """Return (1 - K) L, which is L - sqrt(L^2 - U_95^2)."""
    root = np.sqrt((half - U_95) * (half + U_95))
    return half - root, _ROOT * _LONG_EPS * half * (1 + half / root)


def _fifteen(column: Floats) -> tuple[Long, Mask]:
    """Return numbers with 15 digits as `exact.from_float` has them, and where that is sure."""
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.floor(np.log10(np.abs(column))) - (_SOLVED_DIGITS - 1)
        scale = np.longdouble(10) ** -np.where(np.isfinite(exponent), exponent, 0.0)
        units = column * scale
        nearest = np.rint(units)
        margin = _PRODUCTS * _LONG_EPS * 10.0**_SOLVED_DIGITS
        whole = np.abs(nearest) >= 10.0 ** (_SOLVED_DIGITS - 1)
        sure = (np.abs(np.abs(units - nearest) - 0.5) > margin) & whole
    return nearest / scale, sure | (column == 0.0) | np.isnan(column)


def _moved(limit: Whole, w: Long, doubt: Long) -> tuple[Floats, Mask]:
    """Return limit + w as floats, and where no other float is within the doubt."""
    found = limit.long() + w
    told = np.isnan(found) & (doubt != inf)
    doubt = _doubt(limit, w, doubt)
    with np.errstate(invalid="ignore", over="ignore"):
        low, high = (found - doubt).astype(np.float64), (found + doubt).astype(np.float64)
    return found.astype(np.float64), (low == high) | told


def _doubt(limit: Whole, w: Long, doubt: Long) -> Long:
    """Return what limit + w may be off by."""
    return doubt + _SUMS * _LONG_EPS * (np.abs(limit.numbers) + np.abs(w))
