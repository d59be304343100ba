"""How probable it is that a normal item and its normal result lie in two given intervals.

Choice: the bivariate normal distribution by two Owen's T for each corner of the rectangle. The
slopes are written in differences, not in the correlation, which loses all digits as the spread of
the measurement vanishes. Absolute error about 1e-16. Not checked: the order of the limits.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, owens_t

Floats = NDArray[np.float64]


def usual_rectangle(
    t_l: Floats, t_u: Floats, a_l: Floats, a_u: Floats, sd: Floats, um: Floats
) -> Floats:
    """Return P(t_l <= X <= t_u and a_l <= X + E <= a_u), X and E normal about 0 with sd and um.

    All numbers must be finite, none zero. These are the four quadrants of `quadrant`; what they
    have in common but for the sign is left out.
    """
    joint = np.zeros(np.shape(sd))
    # A quotient may be too large for a float: T is then a quarter of the tail.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        spread, v = np.hypot(sd, um), um / sd
        for x, upper_x in ((t_u, True), (t_l, False)):
            h, left = x / sd, x < 0.0
            for y, upper_y in ((a_u, True), (a_l, False)):
                apart = (y - x) / um
                tails = owens_t(h, apart / h) + owens_t(y / spread, (h * v - apart) / (y / sd))
                tails += 0.5 * (left != (y < 0.0))
                joint += -tails if upper_x == upper_y else tails
    return joint


def quadrant(x: Floats, y: Floats, s: Floats, e: Floats) -> Floats:
    """Return P(X <= x and X + E <= y) for X and E normal about 0 with s and e, both above 0."""
    # Slopes may be infinite: T is then a quarter of the tail, which is what they tend to.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        v, h, k = e / s, x / s, y / np.hypot(s, e)
        a_h = (y - x) / e / h
        a_k = ((x - y) / e + np.where(h == 0.0, 0.0, h * v)) / (y / s)
    bounded = np.isfinite(x) & np.isfinite(y)
    unbounded = np.where(np.isposinf(y), ndtr(h), ndtr(k))
    unbounded = np.where(np.isneginf(x) | np.isneginf(y), 0.0, unbounded)
    h, k = np.where(bounded, h, 1.0), np.where(bounded, k, 1.0)
    # On an axis the slope is infinite, towards the other argument, and T is a quarter.
    a_h = np.where(h == 0.0, np.copysign(np.inf, y), np.where(bounded, a_h, 0.0))
    a_k = np.where(k == 0.0, np.copysign(np.inf, x), np.where(bounded, a_k, 0.0))
    # Signs, because a product of two small numbers would vanish.
    sides = np.sign(h) * np.sign(k)
    apart = (sides < 0.0) | ((sides == 0.0) & (h + k < 0.0))
    half = 0.5 * (ndtr(h) + ndtr(k)) - np.where(apart, 0.5, 0.0)
    value = half - owens_t(h, a_h) - owens_t(k, a_k)
    # Both zero: Sheppard's orthant formula, with the correlation 1/sqrt(1 + v^2) as an angle.
    origin = (h == 0.0) & (k == 0.0)
    value = np.where(origin, 0.5 - np.arctan(v) / (2.0 * np.pi), value)
    return np.where(bounded, value, unbounded)
