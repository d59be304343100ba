"""The decision on one chunk of floats: verdicts, risks, and the rows that floats cannot settle.

Choice: every step is a whole-array operation on a chunk that stays in the cache, and only what the
caller has room for in `out` is calculated. A verdict is read from the signs of three margins: the
distances inside the acceptance limits, inside the tolerance limits and inside the outer edges of
the four zones. Rows without a usable answer are given harmless numbers first, so that no warning
arises in the others, and are blanked at the end. See `vector` for the columns and their meaning.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from api.rules.bands import Bands, Offsets, Rows, guard_bands
from api.rules.reported import REPORTED
from api.rules.risk import Floats, GlobalRisk, Posterior, global_risk, posterior, split
from api.rules.rule import Rule

UNDECIDED = -1
# Arrays that one chunk is calculated in.
WORK = 8
# Errors of a limit may move a probability by less than one part in this.
_SHARP = 1e6
LIMITS = ("acceptance_lower", "acceptance_upper")
RISKS = ("specific_risk", "conformance_probability")
GLOBAL_RISKS = (
    "global_consumer_risk",
    "global_producer_risk",
    "global_consumer_risk_given_accepted",
    "global_accepted",
)
POSTERIOR = ("posterior_mean", "posterior_sd", "posterior_risk")

# Of what is there: an absent limit is NaN.
_LOWEST, _HIGHEST = np.fmin.reduce, np.fmax.reduce
# Of all: NaN if a number is missing, which no comparison lets through.
_LEAST, _GREATEST = np.minimum.reduce, np.maximum.reduce

Columns = dict[str, NDArray[Any]]
Mask = NDArray[np.bool_]


def decide_chunk(given: Rows, rule: Rule, out: Columns, work: Floats | None = None) -> None:
    """Fill the arrays of `out` for one chunk; absent limits, dof and priors are NaN in `given`.

    `verdict` and `exact_needed` must be in `out`; of the others, those that are. `work` may be a
    WORK x n array to calculate in: new arrays of this size cost more in page faults than what is
    calculated in them.
    """
    if rule.decides_on == REPORTED:
        _leave(out)
        return
    size = len(given.value)
    work = np.empty((WORK, size)) if work is None else work[:, :size]
    largest = _largest_if_usable(given)
    bad = _unusable(given) if largest is None else None
    rows = given if bad is None or not bad.any() else _harmless(given, bad)
    bands = guard_bands(rule, rows)
    most_doubt = bands.most_doubt(_largest(rows) if largest is None else largest)
    low = np.add(rows.lower, bands.lower, out=out.get(LIMITS[0], work[0]))
    high = np.subtract(rows.upper, bands.upper, out=out.get(LIMITS[1], work[1]))
    # An absent limit is NaN: it is never the nearer one.
    inside = _between(rows.value, low, high, work[2:4])
    margins = [np.fmin(*inside, out=inside[0])]
    inside = _between(rows.value, rows.lower, rows.upper, work[4:6])
    inner, outer = np.fmin(*inside, out=work[6]), np.maximum(*inside, out=work[7])
    if rule.zones == 4:
        margins += [inner, np.fmin(inside[0] + bands.lower, inside[1] + bands.upper)]
    near = _near(margins, rows, bands, most_doubt, work[3])
    if bands.closed is not None:
        margins[0][bands.closed] = -np.inf
        low[bands.closed] = high[bands.closed] = np.nan
    _verdicts(margins, out["verdict"])
    if rows.prior_mean is not None and rows.prior_sd is not None and GLOBAL_RISKS[0] in out:
        _with_prior(rows, rows.prior_mean, rows.prior_sd, bands, (low, high), out)
    if not out.keys().isdisjoint(RISKS):
        if rows.below is not None and rows.above is not None:
            per_u = (
                np.fmin(rows.below, rows.above, out=inner),
                np.maximum(rows.below, rows.above, out=outer),
            )
            _risks(rows, *per_u, work, out)
        else:
            sharp = _HIGHEST(rows.k) * most_doubt * _SHARP > _LOWEST(rows.U)
            if sharp and rule.zones == 2:
                near = np.union1d(near, _near([inner], rows, bands, most_doubt, work[3]))
            _risks(rows, *_per_u(rows, inner, outer, work[0]), work, out)
    _set_aside(rows, bands, near, bad, out)


def _leave(out: Columns) -> None:
    """Leave all rows to exact arithmetic: their digits are rounded, and floats have others."""
    for column in out.values():
        column[:] = np.nan if column.dtype == np.float64 else 0
    out["verdict"][:] = UNDECIDED
    out["exact_needed"][:] = True


def _between(value: Floats, low: Floats, high: Floats, work: Floats) -> tuple[Floats, Floats]:
    """Return how far values lie above `low` and below `high`; negative is outside."""
    return np.subtract(value, low, out=work[0]), np.subtract(high, value, out=work[1])


def _verdicts(margins: list[Floats], verdict: NDArray[np.int8]) -> None:
    """Write 0 pass, 1 conditional pass, 2 conditional fail, 3 fail; an edge is the better zone.

    A margin that is no number is outside.
    """
    if len(margins) == 1:
        np.multiply(~(margins[0] >= 0.0), 3, out=verdict, casting="unsafe")
        return
    # Zones refuse a negative w, so each interval lies in the next.
    verdict[:] = 0
    for margin in margins:
        verdict += ~(margin >= 0.0)


def _near(
    margins: list[Floats], rows: Rows, bands: Bands, most_doubt: float, work: Floats
) -> NDArray[np.intp]:
    """Return the rows whose value is within the error of floats of an edge that decides.

    A margin is the distance from the nearer edge; where edges cross, the other one decides
    nothing. Where a rule accepts nothing its limits meet in the middle, and so does this test.
    """
    candidates = [np.flatnonzero(np.abs(margin, out=work) <= most_doubt) for margin in margins]
    some = candidates[0] if len(candidates) == 1 else np.unique(np.concatenate(candidates))
    if not some.size:
        return some
    doubt = bands.doubt(rows, some)
    close = [np.abs(margin[some]) <= doubt for margin in margins]
    return some[np.logical_or.reduce(close)]


def _per_u(rows: Rows, inner: Floats, outer: Floats, work: Floats) -> tuple[Floats, Floats]:
    """Return distances from the limits in units of u, in place."""
    # Infinity is the right distance where u is zero or small beyond measure; on the limit itself
    # it is NaN, and the row is set aside.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        per_u = np.divide(rows.k, rows.U, out=work)
        inner *= per_u
        outer *= per_u
    return inner, outer


def _risks(rows: Rows, inner: Floats, outer: Floats, work: Floats, out: Columns) -> None:
    """Write the risks that are wanted; `inner` and `outer` are in units of u, and are changed."""
    with np.errstate(invalid="ignore", over="ignore"):
        found = split(inner, outer, rows.dof, work[2:6])
    for name, column in zip(RISKS, found, strict=True):
        if name in out:
            out[name][:] = column


def _with_prior(
    rows: Rows,
    mean: Floats,
    sd: Floats,
    bands: Bands,
    accepted: tuple[Floats, Floats],
    out: Columns,
) -> None:
    low, high = accepted
    if bands.closed is not None:
        low = np.where(bands.closed, np.inf, low)
    u, seen = rows.U / rows.k, rows.offsets
    if seen is None:
        joint = global_risk(rows.lower, rows.upper, low, high, mean, sd, u)
        after = posterior(mean, sd, rows.value, u, rows.lower, rows.upper)
    else:
        joint, after = _seen_from_mean(rows, seen, mean, sd, bands)
    for name, column in zip(GLOBAL_RISKS + POSTERIOR, (*joint, *after), strict=True):
        out[name][:] = column


def _seen_from_mean(
    rows: Rows, seen: Offsets, mean: Floats, sd: Floats, bands: Bands
) -> tuple[GlobalRisk, Posterior]:
    """Return the risks with a prior by the steps of a single decision, hence with its bits."""
    low, high, limits = seen.accepted_lower, seen.accepted_upper, (seen.lower, seen.upper)
    if bands.closed is not None and rows.band is None:
        low, high = np.where(bands.closed, 1.0, low), np.where(bands.closed, -1.0, high)
    joint = global_risk(*limits, low, high, 0.0, sd, seen.u)
    centre, width, risk = posterior(0.0, sd, seen.value, seen.u, *limits)
    centre = mean + centre
    exact = rows.U == 0.0
    if exact.any() and rows.below is not None and rows.above is not None:
        # The result is believed.
        outside = (rows.below < 0.0) | (rows.above < 0.0)
        centre, risk = np.where(exact, rows.value, centre), np.where(exact, outside, risk)
        width = np.where(exact, 0.0, width)
    return joint, Posterior(centre, width, risk)


def _set_aside(
    rows: Rows, bands: Bands, near: NDArray[np.intp], bad: Mask | None, out: Columns
) -> None:
    """Mark the rows for exact arithmetic; blank what floats do not know of them."""
    out["exact_needed"][:] = False
    if bands.unusable is not None:
        bad = bands.unusable if bad is None else bad | bands.unusable
    if bad is not None and bad.any():
        _blank(out, bad, keep=())
        out["verdict"][bad] = UNDECIDED
        out["exact_needed"][bad] = True
    if not near.size:
        return
    out["exact_needed"][near] = True
    # Almost without uncertainty a probability jumps on the limit, and floats cannot tell where.
    sharp = rows.U[near] / rows.k[near] < _SHARP * bands.doubt(rows, near)
    if sharp.any():
        _blank(out, near[sharp], keep=LIMITS)


def _largest(rows: Rows) -> float:
    """Return the largest magnitude of values and limits."""
    columns = (rows.value, rows.lower, rows.upper)
    return float(max(max(_HIGHEST(column), -_LOWEST(column)) for column in columns))


def _largest_if_usable(rows: Rows) -> float | None:
    """Return `_largest` if a quick look shows that `_unusable` would mark no row, else None."""
    if rows.dof is not None or rows.prior_sd is not None:
        return None
    low, high = _LEAST(rows.value), _GREATEST(rows.value)
    bottom, top = _LEAST(rows.lower), _GREATEST(rows.upper)
    # Comparisons with NaN are false: a number that is missing, and rows with a single limit, need
    # the closer look.
    usable = (
        (rows.lower <= rows.upper).all()
        and 0.0 <= _LEAST(rows.U) <= _GREATEST(rows.U) < np.inf
        and 0.0 < _LEAST(rows.k) <= _GREATEST(rows.k) < np.inf
        and -np.inf < low <= high < np.inf
        and -np.inf < bottom <= top < np.inf
    )
    return float(max(-low, high, -bottom, top)) if usable else None


def _unusable(rows: Rows) -> Mask:
    """Mark rows that the scalar decision refuses, or whose numbers floats cannot hold."""
    bad = ~(np.isfinite(rows.value) & np.isfinite(rows.U) & np.isfinite(rows.k))
    bad |= (rows.U < 0.0) | (rows.k <= 0.0)
    bad |= np.isinf(rows.lower) | np.isinf(rows.upper) | (rows.lower > rows.upper)
    bad |= np.isnan(rows.lower) & np.isnan(rows.upper)
    if rows.dof is not None:
        bad |= np.isinf(rows.dof) | (rows.dof < 1.0)
    mean, sd = rows.prior_mean, rows.prior_sd
    if mean is not None and sd is not None:
        bad |= np.isinf(mean) | np.isinf(sd) | (sd < 0.0) | (np.isnan(mean) != np.isnan(sd))
    return bad


def _harmless(rows: Rows, bad: Mask) -> Rows:
    def safe(column: Floats | None, number: float) -> Any:
        return None if column is None else np.where(bad, number, column)

    return Rows(
        value=safe(rows.value, 0.0),
        U=safe(rows.U, 1.0),
        k=safe(rows.k, 2.0),
        lower=safe(rows.lower, -1.0),
        upper=safe(rows.upper, 1.0),
        dof=safe(rows.dof, np.nan),
        prior_mean=safe(rows.prior_mean, np.nan),
        prior_sd=safe(rows.prior_sd, np.nan),
        below=safe(rows.below, 1.0),
        above=safe(rows.above, 1.0),
        offsets=None if rows.offsets is None else rows.offsets.harmless(bad),
        band=safe(rows.band, 0.0),
    )


def _blank(out: Columns, rows: NDArray[Any], keep: tuple[str, ...]) -> None:
    for name, column in out.items():
        if column.dtype == np.float64 and name not in keep:
            column[rows] = np.nan
