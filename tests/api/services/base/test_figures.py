"""What all pictures share: the same bytes, text that fits, ticks at round numbers."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.services.base import figures

ROOT = Path(__file__).parents[4]


def test_the_application_starts_without_the_drawing_library():
    code = "import sys, api.app; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_text_is_measured_broken_and_cut_to_its_width():
    lines = figures.lines_of("one two three four five six seven eight nine ten", 60)
    assert len(lines) == 2
    assert all(figures.width_of(line) <= 60 for line in lines)
    assert lines[-1].endswith("…")
    assert figures.lines_of("short", 60) == ["short"]
    assert figures.width_of(figures.cut("x" * 200, 60)) <= 60


def test_a_character_that_the_font_lacks_is_replaced():
    assert figures.drawable("Regel µ 規則 $x$") == "Regel µ ?? $x$"


ends = st.fractions(-(10**6), 10**6, max_denominator=10**4)


@given(ends, st.fractions(Fraction(1, 10**6), 10**6), st.integers(3, 8))
def test_ticks_are_round_evenly_spaced_and_inside(low, span, most):
    found = figures.ticks(low, low + span, most)
    assert 0 < len(found) <= most + 1
    assert all(low <= Fraction(tick) <= low + span for tick in found)
    steps = {after - before for before, after in pairwise(found)}
    assert len(steps) <= 1
    assert all(step.normalize().as_tuple().digits in ((1,), (2,), (5,)) for step in steps)


@pytest.mark.parametrize(
    ("number", "span", "shown"),
    [
        (Decimal("9.20"), Fraction(2), "9.20"),
        (Fraction(1, 3), Fraction(2), "≈ 0.3333"),
        (Decimal("9.205374891063182"), Fraction(2), "≈ 9.2054"),
        (Decimal("10000000.00015"), Fraction(1, 1000), "10000000.00015"),
        (Decimal("123456789012345"), Fraction(10**14), "123456789012345"),
    ],
)
def test_a_number_is_written_in_full_or_as_finely_as_can_be_seen(number, span, shown):
    assert figures.short(number, span) == shown
