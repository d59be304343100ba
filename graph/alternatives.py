"""Each value that a use took, and the certificates that may have given it instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from graph.in_force import Candidate, Doubt, beyond_range, beyond_unknown_share
from graph.links import Path
from graph.model import ONE, SHIELDED, Point, Use


def values_of(
    use: Use, points: Sequence[Point]
) -> Iterator[tuple[Path, int | None, list[tuple[int, str]]]]:
    """Yield each value that a use took, and those that it may have been instead.

    Parameters
    ----------
    use : Use
        Of an item or an assembly.
    points : sequence of Point
        Of the calibration; those that the use served say which forces it was asked for.

    Yields
    ------
    tuple of (tuple of str, int or None, list of Doubt)
        The item, or a part with what held it, the certificate in force, and the doubts about it.
    """
    ranges = _beyond(use, use.ranked, points, ONE)
    yield (use.item,), use.source, [*use.doubts, *ranges]
    for one in use.held:
        ranges = _beyond(use, one.ranked, points, one.share)
        source = None if one.bearing == SHIELDED else one.source
        yield one.chain, source, [*one.doubts, *ranges]


def _beyond(
    use: Use, ranked: Sequence[Candidate], points: Sequence[Point], share: Fraction | None
) -> list[Doubt]:
    """Doubts by range at the points that a use served; without a share at whatever was borne."""
    if len(ranked) < 2:
        return []
    borne = ONE if share is None else share
    served = [point.carried(borne).force_n for point in points if use.weight_at(point.key)]
    forces = [force for force in served if force is not None]
    return (beyond_unknown_share if share is None else beyond_range)(ranked, forces)
