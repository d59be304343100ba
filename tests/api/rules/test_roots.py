"""Roots are found row by row, to the last digits, also where the function is steep or flat."""

import numpy as np
import pytest

from api.rules.roots import bracketed_root


@pytest.mark.parametrize(
    ("function", "root", "high"),
    [
        (lambda x: x**3 - 2.0, 2.0 ** (1 / 3), 2.0),
        (lambda x: np.exp(x) - 1e-3, np.log(1e-3), 10.0),
        (lambda x: np.tanh(50.0 * (x - 1.0)), 1.0, 40.0),
        (lambda x: (x - 0.3) ** 9, 0.3, 7.0),
        (lambda x: 1.0 - x, 1.0, 3.0),
    ],
)
def test_a_root_is_found_inside_its_bracket(function, root, high):
    found = bracketed_root(lambda x, rows: function(x), np.array([-10.0]), np.array([high]))
    assert found[0] == pytest.approx(root, rel=1e-14, abs=1e-2 if root == 0.3 else 0)


def test_rows_do_not_disturb_each_other_and_finished_ones_are_left_alone():
    targets = np.array([1.0, 2.0, 1e-8, 1e8])
    seen = []

    def excess(x, rows):
        seen.append(len(rows))
        return x * x - targets[rows]

    found = bracketed_root(excess, np.zeros(4), np.full(4, 1e5))
    assert found == pytest.approx(np.sqrt(targets), rel=1e-14)
    alone = [
        bracketed_root(lambda x, rows, t=t: x * x - t, np.zeros(1), np.full(1, 1e5))[0]
        for t in targets
    ]
    assert found.tolist() == alone
    assert seen[-1] < seen[0]


def test_no_rows_have_no_roots():
    assert bracketed_root(lambda x, rows: x, np.empty(0), np.empty(0)).size == 0


@pytest.mark.parametrize("function", [lambda x: x * x + 1.0, lambda x: x - np.nan])
def test_a_bracket_without_a_change_of_sign_is_refused(function):
    with pytest.raises(ArithmeticError, match="change sign"):
        bracketed_root(lambda x, rows: function(x), np.array([-1.0]), np.array([1.0]))


def test_an_end_that_is_the_root_is_kept():
    ends = np.array([0.0, 1.0])
    found = bracketed_root(lambda x, rows: x - ends[rows], np.zeros(2), np.ones(2))
    assert found.tolist() == [0.0, 1.0]
