"""What a reader of a budget is told beside its numbers: a reason for every null, and the notes."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from api.rules.uncertainty.budget import Combined, Component
from api.rules.uncertainty.cmc import Capability, Cmc
from api.rules.uncertainty.coverage import Dominated, Trapezoid
from api.rules.uncertainty.distributions import standard
from api.services.uncertainty.budget_notes import dof_notes, dominance_note, floor_note, reasons

CMC = Cmc("T", 3, "tension", Decimal(1), Decimal(500), "kN", U_abs=Decimal("0.2"))


def combined(variance=1, dof=None, groups=()):
    shares = (Fraction(1),) if variance else None
    return Combined(Fraction(variance), Decimal(variance), shares, dof, None, groups)


def answer(u_rel_pct="1", dof_for_k=5, method="student"):
    return {"u_rel_pct": u_rel_pct, "dof_for_k": dof_for_k, "coverage": {"method": method}}


def component(name, dof=None):
    figures = {"u": Decimal(1)} if dof is None else {"u": Decimal(1), "dof": Decimal(dof)}
    return Component(name, standard("normal", figures))


def test_numbers_that_are_there_need_no_reason():
    assert reasons(answer(), combined(dof=Fraction(5))) == {}


@pytest.mark.parametrize(
    ("method", "why"),
    [
        ("student", "infinitely many: k is that of the normal distribution"),
        ("stated", "k was stated"),
        ("dominant_rectangular", "k comes from the density"),
    ],
)
def test_each_way_to_k_says_why_there_are_no_degrees_of_freedom(method, why):
    found = reasons(answer(dof_for_k=None, method=method), combined(dof=Fraction(5)))
    assert found == {"dof_for_k": why}


def test_a_value_of_zero_and_an_uncertainty_of_zero_are_reasons():
    zero = reasons(answer(u_rel_pct=None), combined(dof=Fraction(5)))
    assert zero == {"u_rel_pct": "the value is 0", "U_rel_pct": "the value is 0"}
    nothing = reasons(answer(), combined(variance=0))
    assert nothing["share"] == nothing["dof_effective"] == "the combined uncertainty is 0"
    many = reasons(answer(), combined())
    assert many == {"dof_effective": "infinitely many, or more than 10^9"}


def test_correlated_components_with_few_degrees_of_freedom_are_explained():
    # GUM G.4.1, note 1: the formula is for uncorrelated inputs.
    groups = (("a", "b"), ("c", "d"))
    parts = [component("a", 5), component("b"), component("c"), component("d")]
    (note,) = dof_notes(combined(groups=groups), parts)
    assert note.startswith("a, b are correlated")
    assert dof_notes(combined(groups=groups), [component(name) for name in "abcd"]) == []


def test_a_dominating_density_is_named_with_the_k_that_would_do():
    shape = Trapezoid(("drift", "digit"), Fraction(1), Fraction(1, 2), Fraction(1, 6))
    found = Dominated(Decimal("1.6454321"), shape, Decimal("0.1"))
    note = dominance_note(found, Decimal("95.45"), Decimal("2.00001"))
    assert note.startswith("drift and digit outweighs the rest")
    assert "k = 1.6454 would cover 95.45 %" in note
    assert "the k = 2 used" in note


@pytest.mark.parametrize(
    ("floor", "asked", "below", "otherwise"),
    [
        ("0.2", {}, True, False),
        ("0.1", {}, False, False),  # U is as large: nothing is taken its place
        ("0.05", {"k": Decimal(2)}, False, False),
        ("0.05", {"probability_pct": Decimal(95)}, False, False),
        ("0.05", {"probability_pct": Decimal(99)}, False, True),
        ("0.2", {"k": Decimal(3)}, True, True),
    ],
)
def test_a_capability_is_named_where_it_counts_or_covers_otherwise(floor, asked, below, otherwise):
    notes = floor_note(Capability(CMC, Decimal(floor)), Decimal("0.1"), asked)
    assert any("stated in its place" in note for note in notes) is below
    assert any("about 95 %" in note for note in notes) is otherwise
    assert all("CMC T version 3" in note for note in notes)
