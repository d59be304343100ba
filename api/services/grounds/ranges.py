"""Whether references cover the forces at which they were used, and the uncertainty stated.

The force on a reference is |weight| x share x |applied|. The uncertainty of a result is held
against the root of the summed squares of what its references contribute at their forces: relative
standard uncertainties, interpolated between calibrated points, the ends held. Where a reference
states no uncertainty, or shares are not settled, nothing is added, so that the bound is too low
rather than too high. Where shares are not settled it is said that neither can be shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from math import sqrt

from api.rules.exact import plain
from api.services.grounds.candidates import (
    REFERENCE,
    Candidates,
    Carrier,
    Used,
    forces,
    measuring_alone,
)
from api.services.grounds.finding import MIND, STOP, Finding, told_apart
from api.services.grounds.values import Found
from graph.model import VALUE_STAGES, Calibration, Held, Point

Nodes = Sequence[tuple[Fraction, Fraction]]


def range_findings(asked: Candidates) -> Found:
    """Yield forces outside the calibrated range of what was used as force reference."""
    yield from _borne(asked)
    for one in asked.uses:
        if one.use.role == REFERENCE:
            yield from ((one.certificate.key, found) for found in _unsettled(asked, one))


def _borne(asked: Candidates) -> Found:
    seen: set[tuple[int, str, str]] = set()
    for one, carrier in _references(asked):
        span = carrier.certificate.span
        if span is None:
            continue
        key = one.certificate.key
        points = asked.measured[key][0].points
        for point, force in forces(carrier, one.use, points):
            if span[0] <= force <= span[1] or (key, carrier.item, point.key) in seen:
                continue
            seen.add((key, carrier.item, point.key))
            name = carrier.certificate.number
            yield (
                key,
                Finding(
                    "outside_range",
                    STOP,
                    f"{carrier.item} bore {plain(force)} N at point {point.key}; {name} calibrated "
                    f"it from {plain(span[0])} N to {plain(span[1])} N",
                    f"use a reference calibrated at that force, or leave the point out; stay "
                    f"within the rated capacity of {carrier.item}",
                    carrier.item,
                    point.key,
                ),
            )


def _unsettled(asked: Candidates, one: Used) -> Iterator[Finding]:
    """Find what can be said of parts whose shares are not settled.

    Together they bore what the others did not. More than all their ranges hold is outside, however
    it was shared; of anything else nobody can say.
    """
    use = one.use
    parts = measuring_alone(use) if use.source is None else []
    waiting = [held for held in parts if held.share is None]
    names = " and ".join(sorted(held.part for held in waiting if held.source is not None))
    if not names:
        return
    rest = 1 - sum((held.share for held in parts if held.share is not None), Fraction(0))
    ends = [_end(asked, held) for held in waiting]
    most = None if None in ends else sum((end for end in ends if end is not None), Fraction(0))
    loaded = [
        (point, abs(use.weight_at(point.key) * rest * (point.force_n or 0)))
        for point in asked.measured[one.certificate.key][0].points
    ]
    for point, force in loaded:
        if most is not None and force > most:
            yield Finding(
                "outside_range",
                STOP,
                f"{names} bore {plain(force)} N together at point {point.key}, and were calibrated "
                f"up to {plain(most)} N together",
                "use references calibrated at that force, or leave the point out; stay within the "
                f"rated capacity of what {use.item} holds",
                use.item,
                point.key,
            )
    if any(force and (most is None or force <= most) for _, force in loaded):
        yield Finding(
            "outside_range",
            MIND,
            f"the shares of the force that {names} bore in {use.item} are not settled by the "
            "records: whether these lay within the calibrated range, and what they contribute to "
            "the uncertainty, cannot be shown",
            f"record the share of every measuring part of {use.item}, summing to 1 "
            "(POST /v1/compositions/{id}/corrections)",
            use.item,
        )


def _end(asked: Candidates, held: Held) -> Fraction | None:
    """Largest force at which a part was calibrated; None where that is not known."""
    span = None if held.source is None else asked.by_key[held.source].span
    return None if span is None else span[1]


def uncertainty_findings(asked: Candidates) -> Found:
    """Yield results whose uncertainty is smaller than that of their references alone."""
    references = list(_references(asked))
    sources = {carrier.certificate.key for _, carrier in references}
    nodes = {key: _nodes(one) for key, (one, _) in asked.results_of(sources).items()}
    squares: dict[int, dict[Point, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    for one, carrier in references:
        known = nodes[carrier.certificate.key]
        key = one.certificate.key
        for point, force in (
            forces(carrier, one.use, asked.measured[key][0].points) if known else ()
        ):
            whole = abs(point.force_n or force)  # `forces` leaves out points without one
            part = force / whole * _between(known, force)
            squares[key][point] += part * part
    for key, by_point in squares.items():
        yield from ((key, finding) for finding in _too_small(by_point))


def _too_small(squares: Mapping[Point, Fraction]) -> Iterator[Finding]:
    for point, least in squares.items():
        own = _relative(point)
        if own is not None and own * own < least:
            yield Finding(
                "U_below_reference",
                STOP,
                f"U/k at point {point.key} is {_percent(float(own))} of the force; its references "
                f"alone contribute {_percent(sqrt(least))}",
                "work out the uncertainty again, with that of the references in it",
                point=point.key,
                stage=told_apart(point.stage),
            )


def _references(asked: Candidates) -> Iterator[tuple[Used, Carrier]]:
    for one in asked.uses:
        if one.use.role == REFERENCE:
            for carrier in asked.carriers(one.use):
                yield one, carrier


def _relative(point: Point) -> Fraction | None:
    """Relative standard uncertainty of a point; None where it states none, or at zero force."""
    if point.U is None or not point.applied or not point.force_n:
        return None
    return Fraction(point.U) / Fraction(point.k) / abs(Fraction(point.applied))


def _nodes(calibration: Calibration) -> Nodes:
    """Forces of a calibration, in order, with the mean of the uncertainties stated there."""
    for stage in VALUE_STAGES:
        found: dict[Fraction, list[Fraction]] = defaultdict(list)
        for point in calibration.points:
            u = _relative(point) if point.stage == stage else None
            if u is not None and point.force_n is not None:
                found[abs(point.force_n)].append(u)
        if found:
            return [
                (force, sum(some, Fraction(0)) / len(some)) for force, some in sorted(found.items())
            ]
    return []


def _between(nodes: Nodes, force: Fraction) -> Fraction:
    if force <= nodes[0][0]:
        return nodes[0][1]
    for (low, below), (high, above) in pairwise(nodes):
        if force <= high:
            return below + (above - below) * (force - low) / (high - low)
    return nodes[-1][1]


def _percent(share: float) -> str:
    return f"{Decimal(f'{share * 100:.3g}'):f} %"
