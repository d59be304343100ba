"""The probabilities of one result, bit for bit those of a column."""

from math import inf

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from api.rules.risk import both_probabilities
from api.rules.tails import probabilities

distances = st.floats(-40, 40) | st.sampled_from([0.0, 8.6, -8.6, 1e-300])


@given(distances, st.floats(0, 60), st.none() | st.floats(1, 300))
@example(-8.7, 17.4, None)
@example(2.0, 0.0, None)
def test_one_result_and_a_column_give_the_same_bits(below, width, dof):
    found = both_probabilities(0.0, 1.0, below, below + width, dof)
    assert probabilities(below, below + width, dof) == tuple(map(float, found))


@pytest.mark.parametrize("dof", [None, 5.0, inf])
@pytest.mark.parametrize(
    ("below", "above"), [(-inf, 1.5), (-1.5, inf), (-inf, -1.5), (-inf, inf), (inf, inf)]
)
def test_an_absent_limit_or_an_exact_result_needs_no_special_care(below, above, dof):
    found = both_probabilities(0.0, 1.0, below, above, dof)
    assert probabilities(below, above, dof) == tuple(map(float, found))
