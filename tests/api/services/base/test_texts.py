"""A request is kept with the digits that were sent."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from api.services.base.texts import texted


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("1.20", "1.20"),
        ("-0.0", "-0.0"),
        ("1E+3", "1000"),  # plain text has no exponent
        ("1E-7", "0.0000001"),
        ("0.30000000000000000000000000000000000001", "0.30000000000000000000000000000000000001"),
    ],
)
def test_a_number_is_its_digits_without_an_exponent(number, text):
    assert texted(Decimal(number)) == text


def test_numbers_at_every_depth_become_text_and_nothing_else_changes():
    sent = {"U": {"value": Decimal("0.20"), "unit": "kN"}, "points": (Decimal(1), [None, True, 3])}
    kept = texted(sent)
    assert kept == {"U": {"value": "0.20", "unit": "kN"}, "points": ["1", [None, True, 3]]}
    assert json.loads(json.dumps(kept)) == kept
    assert sent["U"]["value"] == Decimal("0.20")
    assert sent["points"][1][1] is kept["points"][1][1] is True
