"""What should a reader of a budget know beside its numbers? Notes and reasons, in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.rules.uncertainty.budget import Combined, Component
from api.rules.uncertainty.cmc import Capability
from api.rules.uncertainty.coverage import USUAL_PROBABILITY, Dominated
from api.rules.uncertainty.rounding import text

_NEAR_95 = (Decimal(95), USUAL_PROBABILITY)


def reasons(answer: Mapping[str, Any], combined: Combined) -> dict[str, str]:
    """Say of every number that is null why it is."""
    found = {}
    if answer["u_rel_pct"] is None:
        found["u_rel_pct"] = found["U_rel_pct"] = "the value is 0"
    if not combined.variance:
        found["share"] = "the combined uncertainty is 0"
    if combined.dof is None:
        found["dof_effective"] = (
            "infinitely many, or more than 10^9" if combined.variance else found["share"]
        )
    if answer["dof_for_k"] is None:
        method = answer["coverage"]["method"]
        found["dof_for_k"] = {
            "student": "infinitely many: k is that of the normal distribution",
            "stated": "k was stated",
            "dominant_rectangular": "k comes from the density",
        }[method]
    return found


def dof_notes(combined: Combined, components: Sequence[Component]) -> list[str]:
    """Say how correlated components entered the effective degrees of freedom."""
    finite = {one.name for one in components if one.standard.dof is not None}
    return [
        f"{', '.join(group)} are correlated: the Welch-Satterthwaite formula, which holds for "
        "uncorrelated inputs, takes them as one with their joint variance and the smallest finite "
        "number of degrees of freedom among them"
        for group in combined.groups
        if finite & set(group)
    ]


def dominance_note(found: Dominated, percent: Decimal, k: Decimal) -> str:
    """Say that k covers more than asked because a density with ends outweighs the rest."""
    names = " and ".join(found.trapezoid.names)
    return (
        f"{names} outweighs the rest and has a density with ends: k = {text(round(found.k, 4))} "
        f"would cover {text(percent)} %, less than the k = {text(round(k, 4))} used; "
        'coverage "dominant_rectangular" takes it'
    )


def floor_note(floor: Capability, U: Decimal, asked: Mapping[str, Any]) -> list[str]:
    """Say that a capability took the place of U, and where the two are not of one coverage."""
    notes = []
    named = f"CMC {floor.cmc.id} version {floor.cmc.version}"
    if floor.U > U:
        k = text(floor.cmc.k)
        notes.append(f"U is below the {named}, whose U is stated in its place, with its k = {k}")
    usual = asked.get("probability_pct", USUAL_PROBABILITY) in _NEAR_95
    if not usual or asked.get("k", Decimal(2)) != 2:
        notes.append(f"the {named} is for a coverage of about 95 %; compared as the numbers stand")
    return notes
