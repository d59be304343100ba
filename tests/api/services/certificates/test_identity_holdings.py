"""Cutting a holding at the bounds of a time; intervals worked by hand, the end is exclusive."""

from __future__ import annotations

import pytest

from api.services.certificates.identity_holdings import Piece, pieces

START, END = 10, 20


@pytest.mark.parametrize(
    ("held", "expected"),
    [
        ((10, 20), [(10, 20, True)]),
        ((12, 15), [(12, 15, True)]),
        ((0, 10), [(0, 10, False)]),
        ((20, None), [(20, None, False)]),
        ((0, 15), [(0, 10, False), (10, 15, True)]),
        ((15, 30), [(15, 20, True), (20, 30, False)]),
        ((0, None), [(0, 10, False), (10, 20, True), (20, None, False)]),
        ((10, None), [(10, 20, True), (20, None, False)]),
    ],
)
def test_a_holding_is_cut_at_the_bounds(held, expected):
    assert pieces(*held, START, END) == [Piece(*one) for one in expected]
