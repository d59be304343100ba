"""The decision on one chunk of floats: verdicts, risks, and the rows that floats cannot settle.

Choice: every step is a whole-array operation on a chunk that stays in the cache. Rows without a
usable answer are given harmless numbers first, so that no warning arises in the others, and are
blanked at the end. See `vector` for the columns and their meaning.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from api.rules.bands import Bands, Rows, guard_bands
from api.rules.risk import Floats, both_probabilities, global_risk, posterior
from api.rules.rule import Rule

UNDECIDED = -1
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

Columns = dict[str, NDArray[Any]]
Mask = NDArray[np.bool_]


def decide_chunk(given: Rows, rule: Rule, out: Columns) -> None:
    """Fill the arrays of `out` for one chunk; absent limits, dof and priors are NaN in `given`."""
    bad = _unusable(given)
    rows = _harmless(given, bad) if bad.any() else given
    bands = guard_bands(rule, rows)
    low, high = rows.lower + bands.lower, rows.upper - bands.upper
    out["verdict"][:] = _verdicts(rows, bands, low, high, rule.zones)
    bad |= bands.unusable
    near = _near(rows, bands, low, high, rule.zones)
    out["exact_needed"][:] = bad | near
    for name, limit in zip(LIMITS, (low, high), strict=True):
        out[name][:] = np.where(bands.closed, np.nan, limit) if bands.closed.any() else limit
    u = rows.U / rows.k
    found = both_probabilities(rows.value, u, rows.lower, rows.upper, rows.dof)
    for name, column in zip(RISKS, found, strict=True):
        out[name][:] = column
    if rows.prior_mean is not None and rows.prior_sd is not None:
        low = np.where(bands.closed, np.inf, low)
        _with_prior(rows, rows.prior_mean, rows.prior_sd, (low, high), u, out)
    if bad.any():
        _blank(out, bad, keep=())
        out["verdict"][bad] = UNDECIDED
    # Almost without uncertainty a probability jumps on the limit, and floats cannot tell where.
    sharp = near & (u < _SHARP * bands.doubt)
    if sharp.any():
        _blank(out, sharp, keep=LIMITS)


def _verdicts(rows: Rows, bands: Bands, low: Floats, high: Floats, zones: int) -> NDArray[np.int8]:
    """Return 0 pass, 1 conditional pass, 2 conditional fail, 3 fail; an edge is the better zone."""
    value = rows.value
    # An absent limit is NaN: nothing is below or above it.
    passed = ~((value < low) | (value > high) | bands.closed)
    if zones == 2:
        return 3 * (~passed).astype(np.int8)
    inside = ~((value < rows.lower) | (value > rows.upper))
    beyond = (value < rows.lower - bands.lower) | (value > rows.upper + bands.upper)
    outside = np.where(beyond, np.int8(3), np.int8(2))
    return np.where(passed, np.int8(0), np.where(inside, np.int8(1), outside))


def _near(rows: Rows, bands: Bands, low: Floats, high: Floats, zones: int) -> Mask:
    """Mark rows whose value is within the error of floats of any edge.

    Where a rule accepts nothing its limits meet in the middle, and so does this test.
    """
    edges = [low, high]
    if zones == 4:
        edges += [rows.lower, rows.upper, rows.lower - bands.lower, rows.upper + bands.upper]
    near = np.zeros(len(rows.value), dtype=np.bool_)
    for edge in edges:
        near |= abs(rows.value - edge) <= bands.doubt
    return near


def _with_prior(
    rows: Rows, mean: Floats, sd: Floats, accepted: tuple[Floats, Floats], u: Floats, out: Columns
) -> None:
    joint = global_risk(rows.lower, rows.upper, *accepted, mean, sd, u)
    after = posterior(mean, sd, rows.value, u, rows.lower, rows.upper)
    for name, column in zip(GLOBAL_RISKS + POSTERIOR, (*joint, *after), strict=True):
        out[name][:] = column


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
    )


def _blank(out: Columns, rows: Mask, keep: tuple[str, ...]) -> None:
    for name, column in out.items():
        if column.dtype == np.float64 and name not in keep:
            column[rows] = np.nan
