"""How probable is it that one result's item conforms? `risk.both_probabilities` without arrays.

Choice: the same steps on Python's floats with the same ufuncs, hence the same bits, at a tenth of
the time; a test compares the two. Not checked: that the distances belong together.
"""

from math import isinf

from scipy.special import ndtr, stdtr

# As in `risk`: beyond this a second normal tail is below half a unit in the last place.
_NEGLIGIBLE = 75.0


def probabilities(below: float, above: float, dof: float | None = None) -> tuple[float, float]:
    """Return (specific risk, conformance probability) from the distances to the limits.

    `below` is (lower - y)/u and `above` (upper - y)/u, infinite where there is no limit.

    >>> tuple(round(p, 6) for p in probabilities(-float("inf"), 2.0))
    (0.02275, 0.97725)
    """
    near, far = max(below, -above), min(below, -above)
    small, other = _tail(-abs(near), dof), 0.0
    if dof is not None or (far - near) * (far + near) < _NEGLIGIBLE:
        other = _tail(far, dof)
    if near > 0.0:
        small -= other
        return 1.0 - small, small
    small += other
    return small, 1.0 - small


def _tail(z: float, dof: float | None) -> float:
    if dof is None or isinf(dof) or isinf(z):
        return float(ndtr(z))
    return float(stdtr(dof, z))
