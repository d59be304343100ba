"""Risks of a table have the bits of those of single decisions, whatever its cells came as."""

from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.decide import decide
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.services.batches.columns import decide_frame

# Of 250 kN in 0.01 N and of N in kN, with few digits and with many.
numbers = st.decimals(-250, 250, places=5) | st.decimals(-9, 9, places=19)
sizes = st.decimals("0.00001", 2, places=5)


@st.composite
def rows(draw):
    middle, half = draw(numbers), draw(sizes)
    row = {
        "value": middle + draw(st.decimals(-2, 2, places=draw(st.sampled_from([2, 5, 17])))),
        "U": draw(sizes | st.just(Decimal(0))),
        "k": draw(st.sampled_from([None, Decimal(2), Decimal("2.87")])),
        "dof": draw(st.none() | st.just(Decimal(4))),
    }
    around = draw(st.booleans())
    return row | (
        {"nominal": middle, "tolerance": half}
        if around
        else {"lower": None, "upper": middle + half}
    )


def check(table, kind):
    names = ("value", "U", "k", "dof", "lower", "upper", "nominal", "tolerance")
    cells = {
        name: [None if row.get(name) is None else kind(row[name]) for row in table]
        for name in names
    }
    found = decide_frame(pl.DataFrame(cells), BUILT_IN, BUILT_IN["guard_U"], row_fault)
    assert not found.errors
    for place, row in enumerate(table):
        exact = {n: None if c is None else Decimal(str(kind(c))) for n, c in row.items()}
        limits = (
            Limits.from_nominal(exact["nominal"], exact["tolerance"])
            if "nominal" in row
            else Limits(exact["lower"], exact["upper"])
        )
        alone = decide(
            exact["value"],
            exact["U"],
            limits,
            BUILT_IN["guard_U"],
            k=exact["k"] or Decimal(2),
            dof=exact["dof"],
        )
        risks = found.risks["specific_risk"][place], found.risks["conformance_probability"][place]
        assert risks == (alone.specific_risk["consumer"], alone.conformance_probability)


@pytest.mark.parametrize("kind", [str, lambda number: number])
@given(st.lists(rows(), min_size=1, max_size=8))
@settings(deadline=None, max_examples=60)
def test_text_and_decimals(kind, table):
    check(table, kind)


@given(st.lists(rows(), min_size=1, max_size=8))
@settings(deadline=None, max_examples=60)
def test_floats_of_at_most_fifteen_digits(table):
    check([{n: None if c is None else round(c, 5) for n, c in row.items()} for row in table], float)
