"""Risks of a table have the bits of those of single decisions, whatever its cells came as."""

from decimal import Decimal
from io import BytesIO

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.rules.acceptance import acceptance
from api.rules.decide import decide
from api.rules.decimals import acceptance_texts
from api.rules.kernel import GLOBAL_RISKS, LIMITS, POSTERIOR
from api.rules.limits import Limits
from api.rules.rule import BUILT_IN, Rule
from api.schemas.batches import row_fault
from api.services.batches import columns
from api.services.batches.columns import decide_frame
from api.services.batches.rows import decide_one_by_one
from tests.api.rules.test_offsets import GUARDS, NEEDS_BOTH, alone
from tests.api.rules.test_offsets import rows as rows_with_prior

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


@pytest.mark.parametrize("guard", GUARDS, ids=lambda guard: f"{guard.basis}-{guard.factor}")
def test_with_a_prior_text_decimals_and_parquet(guard):
    """Decimals of at most 15 digits are the same numbers in all of them."""
    rule, two_sided = Rule(guard=guard), guard.basis in NEEDS_BOTH
    table = [around(row) for row in rows_with_prior(120, 5, two_sided, fine=False)]
    expected = [alone(row, rule) for row in table]
    for kind in (str, lambda number: number, float):
        frame = pl.DataFrame(
            {n: [None if row[n] is None else kind(row[n]) for row in table] for n in table[0]}
        )
        if kind is float:
            file = BytesIO()
            frame.write_parquet(file)
            file.seek(0)
            frame = pl.read_parquet(file)
        # Not both kinds of limits in one row.
        cells = frame.with_columns(
            pl.when(pl.col("tolerance").is_null()).then(pl.col(side)).alias(side)
            for side in ("lower", "upper")
        )
        found = decide_frame(cells, BUILT_IN, rule, row_fault)
        assert not found.errors
        risks = [found.risks[name] for name in GLOBAL_RISKS + POSTERIOR]
        assert np.array_equal(np.transpose(risks), expected, equal_nan=True)


def around(row):
    """Give every third row that has both limits by nominal value and tolerance, too."""
    given = row["lower"] is not None and row["upper"] is not None
    if not given or row["dof"] != 4:
        return row | {"nominal": None, "tolerance": None}
    middle = (row["lower"] + row["upper"]) / 2
    return row | {"nominal": middle, "tolerance": row["upper"] - middle}


@pytest.mark.parametrize(
    "guard", [one for one in GUARDS if one.basis in ("rds", "managed", "specific_risk")]
)
def test_solved_limits_are_those_of_single_decisions_and_hardly_any_is_made_one_by_one(
    guard, monkeypatch
):
    rule, alone_ = Rule(guard=guard), []

    def counted(texts, rule):
        alone_.extend(texts["value"])
        return decide_one_by_one(texts, rule)

    monkeypatch.setattr(columns, "decide_one_by_one", counted)
    table = rows_with_prior(400, 6, guard.basis in NEEDS_BOTH, fine=False)
    names = ("value", "U", "k", "dof", "lower", "upper")
    cells = {n: [None if row[n] is None else str(row[n]) for row in table] for n in names}
    found = decide_frame(pl.DataFrame(cells), BUILT_IN, rule, row_fault)
    for place, row in enumerate(table):
        limits = Limits(row["lower"], row["upper"])
        accepted = acceptance(limits, row["U"], rule, k=row["k"] or Decimal(2), dof=row["dof"])
        assert tuple(found.limits[name][place] for name in LIMITS) == acceptance_texts(
            guard, accepted.lower, accepted.upper
        )
    # Those with a value on an edge, with a root that ends, or with limits that coincide.
    assert len(alone_) < 0.05 * len(table)
