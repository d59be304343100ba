"""The oracle judges the references of checks as was worked out by hand."""

from __future__ import annotations

import pytest
from recall_oracle import recall
from worked_references import CASES, fault, laboratory


@pytest.mark.parametrize("name", CASES)
def test_a_standard_that_rests_or_may_rest_on_the_fault_is_no_evidence(name: str) -> None:
    # 0.0002 + 0.0002 = 0.0004 < 0.0005: the check would have seen the fault.
    made, start = laboratory(name)
    assert recall(made, fault(name))["window"]["start"] == start
