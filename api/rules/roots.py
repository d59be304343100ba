"""Root finding: where a monotone function crosses zero, for many rows at once.

Choice: Chandrupatla's bracketing method (inverse quadratic steps where they are safe, halving
otherwise; Adv. Eng. Software 28, 1997, from memory). It needs no derivative and never leaves the
bracket. Scalar answers use the same code on one row, so that they equal the column's.

A bracket is proved before it is searched: a function that does not change sign between the ends has
no root to give, and where rounding alone decides its sign at an end the bracket is to be wider.

Not checked: that there is only one root.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

_STEPS = 100
# The bracket of a root is closed when it is this small, relative and absolute.
_PRECISION, _SMALLEST = 4.0 * float(np.finfo(np.float64).eps), 1e-300


def bracketed_root(function: Callable[[Floats, Rows], Floats], low: Floats, high: Floats) -> Floats:
    """Return x in [low, high] with function(x) = 0, row by row, for one-dimensional brackets.

    `function(x, rows)` gets the values and the indices of the rows that are still open, and
    returns an array of their length.

    Raises
    ------
    ArithmeticError
        If the function is not a number at an end of a bracket, or has one sign at both.

    Examples
    --------
    >>> squares = np.array([2.0, 9.0])
    >>> roots = bracketed_root(lambda x, rows: x * x - squares[rows], np.zeros(2), squares)
    >>> roots.round(12).tolist()
    [1.414213562373, 3.0]
    """
    # a: newest point, b: the end on the other side of the root, c: the point before a.
    found, rows = low.astype(np.float64), np.arange(len(low))
    a, b = high.astype(np.float64), found.copy()
    fa, fb = function(a, rows), function(b, rows)
    if not (np.sign(fa) * np.sign(fb) <= 0.0).all():
        raise ArithmeticError("the function does not change sign in a bracket")
    share = np.full_like(a, 0.5)
    for _ in range(_STEPS):
        x = a + share * (b - a)
        fx = function(x, rows)
        same = np.sign(fx) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        best = np.where(np.abs(fa) < np.abs(fb), a, b)
        found[rows] = best
        with np.errstate(divide="ignore", invalid="ignore"):
            room = (_PRECISION * np.abs(best) + _SMALLEST) / np.abs(b - a)
            share = _next_share(a, b, c, fa, fb, fc)
        share = np.clip(share, np.minimum(room, 0.5), np.maximum(1.0 - room, 0.5))
        going = (room < 0.5) & (fa != 0.0) & (fb != 0.0)
        if not going.any():
            break
        rows, share = rows[going], share[going]
        a, b, fa, fb = a[going], b[going], fa[going], fb[going]
    return found


def _next_share(a: Floats, b: Floats, c: Floats, fa: Floats, fb: Floats, fc: Floats) -> Floats:
    """Return how far to go from a towards b: inverse quadratic where it is safe, else half."""
    xi = (a - b) / (c - b)
    phi = (fa - fb) / (fc - fb)
    safe = (phi * phi < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
    quadratic = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (
        fc - fb
    )
    return np.where(safe & np.isfinite(quadratic), quadratic, 0.5)
