"""Which uses stand on a failure: between the good evidence before it and the next good behind it.

Worked by hand; that a use on a bare date lies inside where any instant of the day does is the rule
for windows of a recall.
"""

from __future__ import annotations

import pytest

from api.services.recalls.later_uses import Span, span_of
from api.services.recalls.soundness import Evidence


def evidence(at_us, good):
    return Evidence(at_us, good, 1, at_us, "", "E")


@pytest.mark.parametrize(
    ("history", "span"),
    [
        ([], (None, None)),
        # Good at 3 and 7 around the failure at 5; a failure at 6 ends nothing.
        ([(3, True), (5, False), (6, False), (7, True), (9, True)], (3, 7)),
        # Values as left at the instant of those as found.
        ([(1, True), (3, True), (5, False), (5, True)], (3, 5)),
        ([(5, False)], (None, None)),
    ],
)
def test_a_failure_speaks_between_the_good_evidence_around_it(history, span):
    assert span_of([evidence(*one) for one in history], 5) == Span(*span)
